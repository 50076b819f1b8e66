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
		both, inverse := make([]complex128, n), make([]complex128, n+1)
		inverse[n] = 7
		ExpBoth(both, inverse[:n], z)
		if inverse[n] != 7 {
			t.Fatalf("%d values: one too many written", n)
		}
		Exp(z, z)
		for i := range z {
			if z[i] != dst[i] || both[i] != dst[i] {
				t.Errorf("in place: %v, with the inverse %v instead of %v", z[i], both[i], dst[i])
			}
			if off := cmplx.Abs(inverse[i]*dst[i] - 1); off > 1e-15 {
				t.Errorf("the inverse of %v is %v, off by %.1e", dst[i], inverse[i], off)
			}
		}
	}
	z := []complex128{1 + 2i, -3 + 0.5i}
	plain, undone, got := make([]complex128, 2), make([]complex128, 2), make([]complex128, 2)
	expBothPlain(plain, undone, z)
	expPlain(got, z)
	for i, v := range z { // what serves other machines
		if want := cmplx.Exp(v); cmplx.Abs(plain[i]-want) > 1e-15*cmplx.Abs(want) || got[i] != plain[i] || cmplx.Abs(plain[i]*undone[i]-1) > 1e-15 {
			t.Errorf("e^%v: %v, %v, inverse %v", v, plain[i], got[i], undone[i])
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
	b.Run("here", func(b *testing.B) {
		for b.Loop() {
			Exp(dst, z)
		}
	})
	b.Run("library", func(b *testing.B) {
		for b.Loop() {
			expPlain(dst, z)
		}
	})
}

// The kernels of chains against their formulas, in lengths that fill whole vectors and not.
func TestChainKernelsAgainstTheirFormulas(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	near := func(a, b complex128) bool { return cmplx.Abs(a-b) < 1e-13*(1+cmplx.Abs(b)) }
	for _, n := range []int{0, 1, 2, 3, 8, 1001} {
		var v [6][]complex128
		for i := range v {
			v[i] = draw(rng, n)
			for k := range v[i] {
				v[i][k] *= 0.3
			}
		}
		back, loop, local := make([]complex128, n+1), make([]complex128, n+1), make([]complex128, n+1)
		Chain(back[:n], loop[:n], local[:n], v[0], v[1], v[2], v[3], v[4], v[5])
		passed := make([]complex128, n+1)
		Pass(passed[:n], v[0], v[1], v[2], v[3], v[4])
		stretch, crossed, moved := make([]complex128, n+1), make([]complex128, n+1), make([]complex128, n+1)
		Stretch(stretch[:n], crossed[:n], v[0], v[1], v[2])
		Moved(moved[:n], v[0], v[1], v[2], v[3], v[4], v[5])
		lumped, let := make([]complex128, n+1), make([]complex128, n+1)
		Lumped(lumped[:n], let[:n], v[0])
		if lumped[n] != 0 || let[n] != 0 || stretch[n] != 0 || crossed[n] != 0 || moved[n] != 0 {
			t.Fatalf("%d values: one too many written", n)
		}
		if back[n] != 0 || loop[n] != 0 || local[n] != 0 || passed[n] != 0 {
			t.Fatalf("%d values: one too many written", n)
		}
		here := append([]complex128(nil), v[0]...)
		along, power := March(here, v[1], v[2], v[3])
		for k := range n {
			u := v[0][k] * v[1][k] * v[2][k]
			w := 1 / (1 - v[5][k]*u)
			if !near(back[k], u) || !near(loop[k], w) || !near(local[k], v[3][k]+v[4][k]*u*w) {
				t.Errorf("chain of %d at %d: %v, %v, %v", n, k, back[k], loop[k], local[k])
			}
			if want := v[0][k] * v[1][k] * v[2][k] * v[2][k] * v[3][k] * v[4][k]; !near(passed[k], want) {
				t.Errorf("pass of %d at %d: %v instead of %v", n, k, passed[k], want)
			}
			a, p := v[0][k], v[1][k]*v[2][k]
			w = 1 / (1 - a*a*p*p)
			if t21 := (1 - a*a) * v[2][k] * w; !near(stretch[k], a*(1-p*p)*w) || !near(crossed[k], t21*t21) {
				t.Errorf("stretch of %d at %d: %v, %v", n, k, stretch[k], crossed[k])
			}
			if r := v[0][k] / (2 + v[0][k]); !near(lumped[k], r) || !near(let[k], (1-r)*(1-r)) {
				t.Errorf("lumped of %d at %d: %v, %v", n, k, lumped[k], let[k])
			}
			if want := 2 * v[0][k] * v[1][k] * (v[2][k]*v[3][k]*v[4][k]*v[4][k] - v[5][k]); !near(moved[k], want) {
				t.Errorf("moved of %d at %d: %v instead of %v", n, k, moved[k], want)
			}
			if !near(here[k], v[0][k]*v[1][k]) {
				t.Errorf("march of %d at %d: %v", n, k, here[k])
			}
			h := v[0][k]
			along -= real(cmplx.Conj(h) * v[2][k])
			power -= real(h)*real(h)*real(v[3][k]) + imag(h)*imag(h)*imag(v[3][k])
		}
		if math.Abs(along) > 1e-11 || math.Abs(power) > 1e-11 {
			t.Errorf("march of %d: sums off by %g and %g", n, along, power)
		}
	}
}
