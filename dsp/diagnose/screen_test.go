package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// A dent of three quarters of a wave throws back what one of a quarter wave does,
// but for the slope of its phase: only a search over places and lengths finds it,
// and only with the short behind it seen through the dent.
func TestDentOfThreeQuartersOfAWave(t *testing.T) {
	s := clearLine(cables.Short, simulate.Fault{Cause: string(DentOrKink), DistanceM: 11, ExtentM: 0.101, ImpedanceOhm: 38})
	s.Sweep = simulate.Grid{Segments: []simulate.Segment{{LowHz: 1710e6, HighHz: 2170e6, Points: 801}}}
	found, truth := diagnosed(t, s)
	f := nearestFault(t, found, 11)
	if f.Cause != DentOrKink {
		t.Fatalf("told %s at %.2f m", f.Cause, f.DistanceM)
	}
	if d := f.DistanceM - truth.Faults[0].DistanceM; math.Abs(d) > 0.03 { // a quarter wave is 3.4 cm
		t.Errorf("%.3f m off", d)
	}
	if math.Abs(f.ExtentM-0.101) > 0.01 {
		t.Errorf("%.3f m long, want 0.101 m", f.ExtentM)
	}
	if ohm := told(t, f, `→ `+number); math.Abs(ohm-38) > 1.5 {
		t.Errorf("%.1f ohm, want 38 ohm", ohm)
	}
}

// A contact where the record has no joint reflects upright at all frequencies,
// as no dent does: the circuit outweighs the place.
func TestContactAtASpliceThatNoRecordKnows(t *testing.T) {
	found, truth := diagnosed(t, clearLine(cables.Termination, simulate.Fault{Cause: string(PoorContact), DistanceM: 9, SeriesOhm: 12}))
	f := nearestFault(t, found, 9)
	if f.Cause != PoorContact || math.Abs(f.DistanceM-truth.Faults[0].DistanceM) > 0.05 {
		t.Fatalf("told %s at %.2f m", f.Cause, f.DistanceM)
	}
	if ohm := told(t, f, `resistance `+number); math.Abs(ohm-12) > 1.5 {
		t.Errorf("%.1f ohm, want 12 ohm", ohm)
	}
}

// nearestFault is the finding of a fault that is nearest to x.
func nearestFault(t *testing.T, found *Findings, x float64) *Finding {
	t.Helper()
	var best *Finding
	for _, f := range faultsOf(found) {
		if best == nil || math.Abs(f.DistanceM-x) < math.Abs(best.DistanceM-x) {
			best = f
		}
	}
	if best == nil {
		t.Fatal("no fault was told")
	}
	return best
}
