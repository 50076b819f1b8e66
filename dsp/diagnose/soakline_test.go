package diagnose

import "testing"

// Between the joints of an arrestor 9 cm long a wave of 2 GHz turns all the way round: one reflection does not stand for its
// three. A sound line as drawn.
func TestShortDevicePartByPart(t *testing.T) {
	v := looked(t, drawn(t, 95017, "none"))
	s := v.lineOfRecord()
	s.fit.Restore(cheapest(s.base))
	s.fit.Evaluate()
	if left, noise := s.fit.ResidualRMS(), v.found.NoiseRMS; left > 5*noise {
		t.Errorf("a sound line leaves %.5f, %.1f times the noise", left, left/noise)
	}
}
