package dsp

import "testing"

func TestTickStep(t *testing.T) {
	for x, want := range map[float64]float64{1: 1, 1.01: 2, 2: 2, 2.1: 5, 0.3: 0.5, 0.051: 0.1, 7: 10, 5e8: 5e8, 1e-9: 1e-9} {
		if got := TickStep(x); got < want*(1-1e-12) || got > want*(1+1e-12) {
			t.Errorf("step for %g is %g, want %g", x, got, want)
		}
	}
}
