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

// Strong faults ten cells apart are two, however near to each other for a stretch of wet cable: each is named, and neither takes
// the other's reflection for its own.
func TestStrongFaultsOneBehindTheOther(t *testing.T) {
	if testing.Short() {
		t.Skip("two diagnoses")
	}
	deep := simulate.Fault{Cause: string(DentOrKink), DistanceM: 9.1, ExtentM: 0.05, ImpedanceOhm: 21}
	for _, c := range []struct {
		name    string
		other   simulate.Fault
		withinM float64 // of the dent: the velocity of other cable in front of it is not known
	}{
		{"two dents", simulate.Fault{Cause: string(DentOrKink), DistanceM: 8, ExtentM: 0.06, ImpedanceOhm: 24}, 0.05},
		{"other cable and a dent", simulate.Fault{Cause: string(WrongImpedance), DistanceM: 5.4, ExtentM: 2.1, Cable: "foam-75"}, 0.2},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, _ := diagnosed(t, band(clearLine(cables.Termination, c.other, deep), 25e6, 1200e6, 801))
			faults := faultsOf(found)
			for _, f := range faults {
				t.Logf("%s (%.2f) at %.3f ± %.3f m, extent %.3f m; %s", f.Cause, f.Confidence, f.DistanceM, f.SigmaM, f.ExtentM, f.Evidence)
			}
			if len(faults) != 2 || faults[0].Cause != Cause(c.other.Cause) || math.Abs(faults[0].DistanceM-c.other.DistanceM) > 0.1 ||
				faults[1].Cause != DentOrKink || math.Abs(faults[1].DistanceM-deep.DistanceM) > c.withinM {
				t.Errorf("%d faults, want %s at %.1f m and a dent at %.1f m", len(faults), c.other.Cause, c.other.DistanceM, deep.DistanceM)
			}
		})
	}
}
