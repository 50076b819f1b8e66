package dsp

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// Both sums against their formula, on grids of even and odd length and on one that is not
// even; frequencies and delays as a sweep of an antenna has them.
func TestCombAgainstItsFormula(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, size := range [][2]int{{1, 1}, {2, 1}, {5, 2}, {16, 7}, {101, 6}, {402, 33}, {1001, 160}} {
		for _, jitter := range []float64{0, 0.3} {
			n, count := size[0], size[1]
			f := make([]float64, n)
			for k := range f {
				f[k] = 700e6 + 2e6*(float64(k)+jitter*rng.Float64())
			}
			first, spacing := -0.75e-9, 0.4e-9
			c := NewComb(f, first, spacing, count)
			z, taps := draw(rng, n), draw(rng, count)
			sums, composed := make([]complex128, count), make([]complex128, n)
			c.Correlate(sums, z)
			c.Compose(composed, taps)
			want := make([]complex128, n)
			for i := range taps {
				var sum complex128
				for k := range f {
					e := cmplx.Exp(complex(0, -2*math.Pi*f[k]*(first+float64(i)*spacing)))
					sum += cmplx.Conj(e) * z[k]
					want[k] += e * taps[i]
				}
				if cmplx.Abs(sums[i]-sum) > 1e-12*float64(n) {
					t.Errorf("%d frequencies, jitter %g, delay %d of %d: %v instead of %v", n, jitter, i, count, sums[i], sum)
				}
			}
			for k := range want {
				if cmplx.Abs(composed[k]-want[k]) > 1e-12*float64(count) {
					t.Errorf("%d delays, jitter %g, frequency %d of %d: %v instead of %v", count, jitter, k, n, composed[k], want[k])
				}
			}
		}
	}
}

func TestCombVectorsAgainstPlain(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	half, rows := 12, 6
	table, planes := make([]float64, 2*half*rows), make([]float64, 4*half)
	for _, v := range [][]float64{table, planes} {
		for i := range v {
			v[i] = rng.NormFloat64()
		}
	}
	got, want := make([]float64, 4*rows), make([]float64, 4*rows)
	combSums(got, table, planes, half)
	combSumsPlain(want, table, planes, half)
	spread := append([]float64(nil), planes...)
	combSpread(spread, table, want, half)
	combSpreadPlain(planes, table, want, half)
	for i := range want {
		if math.Abs(got[i]-want[i]) > 1e-13 {
			t.Errorf("sum %d: %v instead of %v", i, got[i], want[i])
		}
	}
	for i := range planes {
		if math.Abs(spread[i]-planes[i]) > 1e-12 {
			t.Errorf("plane %d: %v instead of %v", i, spread[i], planes[i])
		}
	}
}

func BenchmarkComb1001By130(b *testing.B) {
	f := make([]float64, 1001)
	for k := range f {
		f[k] = 700e6 + 2e6*float64(k)
	}
	c := NewComb(f, -0.75e-9, 0.4e-9, 130)
	z, taps := draw(rand.New(rand.NewPCG(11, 12)), len(f)), make([]complex128, 130)
	b.Run("Correlate", func(b *testing.B) {
		for b.Loop() {
			c.Correlate(taps, z)
		}
	})
	plain := &Comb{count: 130}
	plain.fillPlain(f, -0.75e-9, 0.4e-9)
	b.Run("CorrelatePlainly", func(b *testing.B) {
		for b.Loop() {
			plain.Correlate(taps, z)
		}
	})
	b.Run("Compose", func(b *testing.B) {
		for b.Loop() {
			c.Compose(z, taps)
		}
	})
}
