package diagnose

import (
	"testing"

	"downlead/cables"
	"downlead/dsp/locate"
)

// A sound joint stands where the sweep shows it, as far as the record and the band's resolution let it; what is beside it
// or weaker is not it, and the test port has its place.
func TestSoundJointsStandWhereSeen(t *testing.T) {
	b := seen(t, clearLine(cables.Termination), 1710, 2170).bench
	found := []locate.Reflection{
		{Kind: locate.AtJoint, DistanceM: 17.08, ReturnLossDB: 38},
		{Kind: locate.AtJoint, DistanceM: 17.21, ReturnLossDB: 45},
		{Kind: locate.Mid, DistanceM: 17.02, ReturnLossDB: 20},
		{Kind: locate.AtJoint, DistanceM: 16.2, ReturnLossDB: 20},
		{Kind: locate.AtJoint, DistanceM: 0.04, ReturnLossDB: 30},
	}
	for _, c := range []struct {
		joint       int
		x, want     float64
		description string
	}{{2, 17, 17.08, "the stronger of two near it"}, {1, 3, 3, "none near it"}, {0, 0, 0, "the test port"}} {
		if got := seenAt(found, b.fit, c.joint, c.x, c.x); got != c.want {
			t.Errorf("%s: at %.2f m, want %.2f", c.description, got, c.want)
		}
	}
}
