package diagnose

import (
	"testing"

	"downlead/dsp/simulate"
)

// Between the joints of an arrestor 9 cm long a wave of 2 GHz turns all the way round: one reflection does not stand for its
// three. A sound line as drawn.
func TestShortDevicePartByPart(t *testing.T) {
	scenario := drawn(t, 95017, "none")
	made, err := simulate.Run(t.Context(), scenario)
	if err != nil {
		t.Fatal(err)
	}
	path, err := made.Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	v, err := look(t.Context(), made.Sweep, made.Line, path, Settings{}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	s := v.lineOfRecord()
	s.fit.Restore(cheapest(s.base))
	s.fit.Evaluate()
	if left, noise := s.fit.ResidualRMS(), v.found.NoiseRMS; left > 5*noise {
		t.Errorf("a sound line leaves %.5f, %.1f times the noise", left, left/noise)
	}
}
