package dsp

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// fuses says whether the compiler rounds a product and a sum as one: with (1 + 2⁻³⁰)² no more than 2⁻⁶⁰ is left then.
//
//go:noinline
func fuses(x, plus float64) bool { return x*x+plus != 0 }

// What is done value by value against the formulas, in lengths that fill whole vectors and not; and to the last
// digit as it is for one value alone, which no vector holds, unless plain code is compiled to round otherwise.
func TestPointwiseAgainstFormulas(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	exact := !fuses(1+0x1p-30, -1-0x1p-29)
	for _, n := range []int{0, 1, 2, 3, 4, 5, 7, 8, 1001} {
		var v [6][]complex128
		for i := range v {
			v[i] = draw(rng, n)
		}
		weight := make([]float64, n)
		for k := range weight {
			weight[k] = rng.Float64()
		}
		const a, b, step, rho = -1.7, 0.3, 1e-5, complex(0.4, -0.6)
		s := math.Sqrt(1 - real(rho)*real(rho) - imag(rho)*imag(rho))
		for _, f := range []struct {
			name string
			do   func(dst []complex128, v [6][]complex128, weight []float64)
			want func(v [6]complex128, w float64) complex128
		}{
			{"blend", func(dst []complex128, v [6][]complex128, _ []float64) { Blend(dst, a, v[0], b, v[1]) },
				func(v [6]complex128, _ float64) complex128 { return a*v[0] + b*v[1] }},
			{"scale", func(dst []complex128, v [6][]complex128, _ []float64) { Scale(dst, a, v[0]) },
				func(v [6]complex128, _ float64) complex128 { return a * v[0] }},
			{"weigh", func(dst []complex128, v [6][]complex128, w []float64) { Weigh(dst, v[0], w) },
				func(v [6]complex128, w float64) complex128 { return complex(w, 0) * v[0] }},
			{"multiply", func(dst []complex128, v [6][]complex128, _ []float64) { Multiply(dst, v[0], v[1]) },
				func(v [6]complex128, _ float64) complex128 { return v[0] * v[1] }},
			{"lateral", func(dst []complex128, v [6][]complex128, _ []float64) { Lateral(dst, v[0], v[1], -1, 0.5) },
				func(v [6]complex128, _ float64) complex128 { return 0.5 * v[0] * (1 - v[1]) * (1 - v[1]) }},
			{"changed", func(dst []complex128, v [6][]complex128, _ []float64) {
				Changed(dst, v[0], v[1], v[2], v[3], v[4], v[5], step)
			}, func(v [6]complex128, _ float64) complex128 {
				return v[0] * (v[2] + v[3]*v[5]/(1-v[4]*v[5]) - v[1]) / step
			}},
			{"mismatch", func(dst []complex128, v [6][]complex128, _ []float64) { Mismatch(dst, v[0], v[1]) },
				func(v [6]complex128, _ float64) complex128 { return (v[0] - v[1]) / (v[0] + v[1]) }},
			{"accumulate", func(dst []complex128, v [6][]complex128, _ []float64) {
				copy(dst, v[0])
				Accumulate(dst, rho, v[1])
			}, func(v [6]complex128, _ float64) complex128 { return v[0] + rho*v[1] }},
			{"rotate", func(dst []complex128, v [6][]complex128, _ []float64) {
				Rotate(dst, v[0], append([]complex128(nil), v[1]...), rho, s)
			}, func(v [6]complex128, _ float64) complex128 { return (v[0] - cmplx.Conj(rho)*v[1]) / complex(s, 0) }},
			{"rotate, the other", func(dst []complex128, v [6][]complex128, _ []float64) {
				copy(dst, v[1])
				Rotate(make([]complex128, len(dst)), v[0], dst, rho, s)
			}, func(v [6]complex128, _ float64) complex128 {
				return complex(s, 0)*v[1] - rho*(v[0]-cmplx.Conj(rho)*v[1])/complex(s, 0)
			}},
		} {
			dst := make([]complex128, n+1)
			f.do(dst[:n], v, weight)
			if dst[n] != 0 {
				t.Fatalf("%s of %d: one too many written", f.name, n)
			}
			for k := range n {
				var single [6][]complex128
				var value [6]complex128
				for i := range v {
					single[i], value[i] = v[i][k:k+1], v[i][k]
				}
				alone := make([]complex128, 1)
				f.do(alone, single, weight[k:k+1])
				// Rounding of a few operations, and what 1 − behind·back and step take.
				if want := f.want(value, weight[k]); cmplx.Abs(dst[k]-want) > 1e-13*(1+cmplx.Abs(want))/min(1, cmplx.Abs(1-value[4]*value[5]), cmplx.Abs(value[0]+value[1])) {
					t.Errorf("%s of %d at %d: %v instead of %v", f.name, n, k, dst[k], want)
				}
				if exact && dst[k] != alone[0] {
					t.Errorf("%s of %d at %d: %v among others, alone %v", f.name, n, k, dst[k], alone[0])
				}
			}
		}
	}
}

func TestProductsOfTwoAreThoseOfEach(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	for _, n := range []int{0, 1, 2, 3, 4, 1001} {
		a, also := draw(rng, n), draw(rng, n)
		b := [4][]complex128{draw(rng, n), draw(rng, n), draw(rng, n), draw(rng, n)}
		got := ProductsOfTwo(a, also, b[0], b[1], b[2], b[3])
		if want := Products(a, b[0], b[1], b[2], b[3]); got[0] != want {
			t.Errorf("%d terms: %v instead of %v", n, got[0], want)
		}
		if want := Products(also, b[0], b[1], b[2], b[3]); got[1] != want {
			t.Errorf("%d terms, the second: %v instead of %v", n, got[1], want)
		}
	}
}
