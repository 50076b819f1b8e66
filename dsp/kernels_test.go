package dsp

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

func draw(rng *rand.Rand, n int) []complex128 {
	out := make([]complex128, n)
	for i := range out {
		out[i] = complex(rng.NormFloat64(), rng.NormFloat64())
	}
	return out
}

// The standard library's exponential and sine are right to the last digit or the
// one before; 1e5 rad loses 1e5 times the last digit of 1 in the argument itself.
func TestExpAgainstLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{0, 1, 2, 3, 4, 5, 7, 8, 1001} {
		z := make([]complex128, n)
		for i := range z {
			z[i] = complex(20*rng.NormFloat64(), math.Pow(10, 6*rng.Float64()-1)*(2*rng.Float64()-1))
		}
		dst := make([]complex128, n+1)
		dst[n] = 7
		Exp(dst[:n], z)
		if dst[n] != 7 {
			t.Fatalf("%d values: one too many written", n)
		}
		for i, v := range z {
			sin, cos := math.Sincos(imag(v))
			want := complex(math.Exp(real(v))*cos, math.Exp(real(v))*sin)
			if off := cmplx.Abs(dst[i]-want) / cmplx.Abs(want); off > 1e-15 {
				t.Errorf("e^%v: %v, off by %.1e", v, dst[i], off)
			}
		}
		Exp(z, z)
		for i := range z {
			if z[i] != dst[i] {
				t.Errorf("in place: %v instead of %v", z[i], dst[i])
			}
		}
	}
	edges := []complex128{0, complex(0, math.Pi/4), complex(0, -math.Pi/4), complex(0, math.Pi), complex(0, 1.5*math.Pi), -700, 700}
	dst := make([]complex128, len(edges))
	Exp(dst, edges)
	for i, v := range edges {
		if want := cmplx.Exp(v); cmplx.Abs(dst[i]-want) > 4e-16*cmplx.Abs(want) {
			t.Errorf("e^%v: %v instead of %v", v, dst[i], want)
		}
	}
}

func TestProductsAgainstPlainSum(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, n := range []int{0, 1, 2, 3, 4, 1001} {
		a := draw(rng, n)
		b := [4][]complex128{draw(rng, n), draw(rng, n), draw(rng, n), draw(rng, n)}
		got := Products(a, b[0], b[1], b[2], b[3])
		for i := range b {
			want := 0.0
			for k, v := range a {
				want += real(cmplx.Conj(v) * b[i][k])
			}
			if math.Abs(got[i]-want) > 1e-12*math.Sqrt(float64(n+1)) {
				t.Errorf("%d terms: %v instead of %v", n, got[i], want)
			}
		}
	}
}

func BenchmarkExp1001(b *testing.B) {
	z := draw(rand.New(rand.NewPCG(5, 6)), 1001)
	dst := make([]complex128, len(z))
	for b.Loop() {
		Exp(dst, z)
	}
}
