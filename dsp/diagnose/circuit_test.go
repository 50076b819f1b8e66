package diagnose

import (
	"math"
	"testing"

	"downlead/dsp/linemodel"
)

// A contact beside the test port's joint, where no record has one, is no dent, in a narrow band either: it is in series.
func TestContactBesideAJoint(t *testing.T) {
	s := drawn(t, 87015, PoorContact)
	s.Faults[0].SeriesOhm, s.Faults[0].GapFarad = 15.8, 161e-12
	found, truth := diagnosed(t, s)
	alone(t, found, PoorContact, truth.Faults[0].DistanceM, 0.05)
}

// No dry connector has a reactance of any size: 2 nH and 1 pF cost a mismatch nothing, 8 pF, twice the spread of the logarithm
// above what is usual, two natural units.
func TestMismatchesHaveASize(t *testing.T) {
	const middleHz = 500e6
	for _, c := range circuits() {
		if c.cause != ConnectorMismatch {
			continue
		}
		for _, size := range []struct{ reactance, cost float64 }{ // of z or y at 1 GHz
			{2 * math.Pi * 1e9 * 2e-9 / 50, 0}, {2 * math.Pi * 1e9 * 1e-12 * 50, 0}, {usualMismatch * math.Exp(2*mismatchSpread), 2},
		} {
			p := &linemodel.Point{Rising: size.reactance * middleHz / 1e9}
			if got := c.unlikely(p, middleHz); math.Abs(got-size.cost) > 1e-9 {
				t.Errorf("reactance %.2f at 1 GHz costs %.3f, want %.3f", size.reactance, got, size.cost)
			}
		}
	}
}
