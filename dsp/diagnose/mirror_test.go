package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// A contact with a small gap throws back nearly all that an open end behind it
// would, and bounces with it and with a dent in front of both over the whole
// band. Begun without the end, the search makes up for it by a third fault.
func TestGapInFrontOfAnOpenEnd(t *testing.T) {
	s := clearLine(cables.Open,
		simulate.Fault{Cause: string(PoorContact), At: "feeder / top jumper", SeriesOhm: 4, GapFarad: 6e-12},
		simulate.Fault{Cause: string(DentOrKink), DistanceM: 0.8, ExtentM: 0.06, ImpedanceOhm: 40})
	s.Sweep = simulate.Grid{Segments: []simulate.Segment{{LowHz: 25e6, HighHz: 1200e6, Points: 201}}}
	found, _ := diagnosed(t, s)
	faults := faultsOf(found)
	for _, f := range faults {
		t.Logf("told %s at %.2f m", f.Cause, f.DistanceM)
	}
	if len(faults) != 2 || faults[0].Cause != DentOrKink || math.Abs(faults[0].DistanceM-0.8) > 0.1 ||
		faults[1].Cause != PoorContact || math.Abs(faults[1].DistanceM-17) > 0.1 {
		t.Error("want a dent at 0.80 m and a contact at 17 m")
	}
}
