package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// Two faults of a section within some cells of each other are two, and no unevenly wet stretch.
func TestTwoFaultsNearEachOther(t *testing.T) {
	if testing.Short() {
		t.Skip("two diagnoses")
	}
	dent := simulate.Fault{Cause: string(DentOrKink), DistanceM: 8.4, ExtentM: 0.08, ImpedanceOhm: 36}
	for _, c := range []struct {
		name          string
		lowHz, highHz float64
		other         simulate.Fault
	}{
		{"dent and other cable", 25e6, 1200e6, simulate.Fault{Cause: string(WrongImpedance), DistanceM: 9.3, ExtentM: 4.8, Cable: "braid-75"}},
		{"two dents", 700e6, 2700e6, simulate.Fault{Cause: string(DentOrKink), DistanceM: 9.3, ExtentM: 0.13, ImpedanceOhm: 29}},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, _ := diagnosed(t, band(clearLine(cables.Termination, dent, c.other), c.lowHz, c.highHz, 801))
			faults := faultsOf(found)
			for _, f := range faults {
				t.Logf("%s (%.2f) at %.3f ± %.3f m, extent %.3f m; %s", f.Cause, f.Confidence, f.DistanceM, f.SigmaM, f.ExtentM, f.Evidence)
			}
			if len(faults) != 2 || faults[0].Cause != DentOrKink || math.Abs(faults[0].DistanceM-8.4) > 0.1 ||
				faults[1].Cause != Cause(c.other.Cause) || math.Abs(faults[1].DistanceM-9.3) > 0.1 {
				t.Errorf("%d faults, want a dent at 8.4 m and %s at 9.3 m", len(faults), c.other.Cause)
			}
		})
	}
}

// A deep dent of half a wave reflects nothing in the middle of the band: its free points lie a cell to either side of it.
func TestDentOfHalfAWave(t *testing.T) {
	found, _ := diagnosed(t, band(clearLine(cables.Termination, simulate.Fault{Cause: string(DentOrKink), DistanceM: 8.4, ExtentM: 0.069, ImpedanceOhm: 20}), 1710e6, 2170e6, 801))
	alone(t, found, DentOrKink, 8.4, 0.05)
}
