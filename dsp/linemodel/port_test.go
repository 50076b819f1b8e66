package linemodel

import (
	"math"
	"math/cmplx"
	"testing"
)

// TestSphericalBessel holds the recurrence against the closed forms of Abramowitz & Stegun, "Handbook of Mathematical
// Functions", 10.1.11, and the first term of the series 10.1.2 for the highest order.
func TestSphericalBessel(t *testing.T) {
	for _, x := range []float64{0.01, 0.5, 1, 3, 6.5, 20} {
		s, c := math.Sin(x), math.Cos(x)
		want := []float64{s / x, s/(x*x) - c/x, (3/(x*x*x)-1/x)*s - 3/(x*x)*c}
		got := sphericalBessel(x)
		for l, w := range want {
			if x > 0.1 && math.Abs(got[l]-w) > 1e-12 || math.Abs(got[l]-w) > 1e-9 {
				t.Errorf("j%d(%g) is %.15g, want %.15g", l, x, got[l], w)
			}
		}
	}
	if got, want := sphericalBessel(0.01)[5], math.Pow(0.01, 5)/10395; math.Abs(got/want-1) > 1e-4 {
		t.Errorf("j5(0.01) is %.6g, want %.6g", got, want)
	}
}

// TestPortTerms holds the terms against what they stand for: an error of 40 dB that arises within the reach of the reference
// plane is followed to 80 dB over any span, by as many terms as that takes, and none is larger than is expected of it.
func TestPortTerms(t *testing.T) {
	for _, c := range []struct {
		spanMHz float64
		terms   int
	}{{35, 3}, {300, 3}, {1000, 4}, {2000, 6}} {
		m := New(testPath(t), testGrid(301, 500e6, 500e6+c.spanMHz*1e6))
		m.FollowPort()
		if m.terms != c.terms {
			t.Errorf("%.0f MHz: %d terms, want %d", c.spanMHz, m.terms, c.terms)
		}
		p := measuredFit(m)
		p.Noise = 1e-12
		for k, f := range p.FrequencyHz {
			for i, delay := range []float64{-0.35e-9, 0.05e-9, 0.35e-9} {
				p.Measured[k] += cmplx.Rect(0.01/math.Sqrt(3), float64(i)-2*math.Pi*f*delay)
			}
		}
		p.Evaluate()
		p.Refine(nil, true, false, 5)
		if left := p.ResidualRMS(); left > 1e-4 {
			t.Errorf("%.0f MHz: leaves %.2g", c.spanMHz, left)
		}
		for term, v := range p.Port[Directivity][:p.terms] {
			if cmplx.Abs(v) > 3*p.portSigma(Directivity, term) {
				t.Errorf("%.0f MHz: term %d is %.2g, expected %.2g", c.spanMHz, term, cmplx.Abs(v), p.portSigma(Directivity, term))
			}
		}
	}
}
