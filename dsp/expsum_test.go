package dsp

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

func directSum(s, t []float64, c []complex128) []complex128 {
	y := make([]complex128, len(t))
	for n, tn := range t {
		for k, sk := range s {
			y[n] += c[k] * cmplx.Exp(complex(0, sk*tn))
		}
	}
	return y
}

// The sum itself is the reference; the promise is tolerance·Σ|c|.
func TestExponentialSumAgainstDirectSum(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	line := func(n int, from, step float64) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = from + step*float64(i)
		}
		return x
	}
	scattered := func(n int, from, width float64) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = from + width*random.Float64()
		}
		return x
	}
	holes := line(301, 40, 0.5)
	holes = append(holes[:100:100], holes[117:]...)
	for _, c := range []struct {
		name string
		s, t []float64
	}{
		{"lattice, whole period", line(301, 40, 0.5), line(700, 0, 4*math.Pi/700)},
		{"lattice, several periods", line(301, 40, 0.5), line(700, -20, 0.1)},
		{"lattice, small part", line(301, 40, 0.5), line(50, 3, 0.01)},
		{"lattice, scattered places", line(64, -3, 0.25), scattered(200, -4, 9)},
		{"lattice with a hole", holes, line(300, 0, 0.04)},
		{"scattered, scattered", scattered(200, 10, 90), scattered(300, 2, 5)},
		{"logarithmic", func() []float64 {
			x := make([]float64, 150)
			for i := range x {
				x[i] = math.Pow(10, 1+float64(i)/100)
			}
			return x
		}(), line(120, 0, 0.1)},
		{"one place", line(50, 1, 0.1), []float64{2.5}},
		{"one term", []float64{3}, line(20, 0, 0.3)},
		{"two terms", []float64{3, 5}, line(20, 0, 0.3)},
	} {
		values := randomComplex(11, len(c.s))
		scale := 0.0
		for _, v := range values {
			scale += cmplx.Abs(v)
		}
		want := directSum(c.s, c.t, values)
		for _, tolerance := range []float64{1e-4, 1e-8, 1e-12} {
			got := NewExponentialSum(c.s, c.t, tolerance).Evaluate(make([]complex128, len(c.t)), values)
			worst := 0.0
			for n := range want {
				worst = max(worst, cmplx.Abs(got[n]-want[n])/scale)
			}
			if !(worst <= tolerance) {
				t.Errorf("%s: error %.2g of full scale, tolerance %g", c.name, worst, tolerance)
			}
		}
	}
}

// M. Abramowitz, I. A. Stegun, "Handbook of Mathematical Functions", table
// 9.8 gives e^{-x}I0(x): 1, 0.46575 96077 (x = 1), 0.12783 33372 (x = 10); from memory,
// confirmed with scipy.special.i0e.
func TestBesselI0(t *testing.T) {
	for _, c := range []struct{ x, want float64 }{{0, 1}, {1, 0.4657596077}, {10, 0.1278333372}} {
		if got := math.Exp(-c.x) * BesselI0(c.x); math.Abs(got-c.want) > 5e-10 {
			t.Errorf("e^-x·I0(%g) = %.11f, want %.10f", c.x, got, c.want)
		}
	}
}

func BenchmarkExponentialSum(b *testing.B) {
	s, t := make([]float64, 2001), make([]float64, 4001)
	for i := range s {
		s[i] = 0.5 + float64(i)*0.001
	}
	for i := range t {
		t[i] = float64(i) * 0.8
	}
	c, y := randomComplex(1, len(s)), make([]complex128, len(t))
	p := NewExponentialSum(s, t, 1e-11)
	b.Run("evaluate", func(b *testing.B) {
		for b.Loop() {
			p.Evaluate(y, c)
		}
	})
	b.Run("plan", func(b *testing.B) {
		for b.Loop() {
			NewExponentialSum(s, t, 1e-11)
		}
	})
}
