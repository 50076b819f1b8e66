package dsp

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/dsp/fourier"
)

func randomComplex(seed uint64, n int) []complex128 {
	random := rand.New(rand.NewPCG(seed, 1))
	x := make([]complex128, n)
	for i := range x {
		x[i] = complex(random.NormFloat64(), random.NormFloat64())
	}
	return x
}

// The definition itself is the reference; 2e-15·log2(n)·√n·rms is rounding.
func TestFFTAgainstDefinition(t *testing.T) {
	for n := 2; n <= 512; n *= 2 {
		x := randomComplex(uint64(n), n)
		want := make([]complex128, n)
		for l := range want {
			for k, v := range x {
				want[l] += v * cmplx.Exp(complex(0, 2*math.Pi*float64(k*l%n)/float64(n)))
			}
		}
		got := NewFFT(n).Transform(append([]complex128(nil), x...), make([]complex128, n))
		for l := range want {
			if cmplx.Abs(got[l]-want[l]) > 1e-13*float64(n) {
				t.Fatalf("n=%d l=%d: got %v, want %v", n, l, got[l], want[l])
			}
		}
		// Zero outside the first and last quarter.
		clear(x[n/4 : n-n/4])
		whole := NewFFT(n).Transform(append([]complex128(nil), x...), make([]complex128, n))
		ends := NewFFT(n).transformEnds(append([]complex128(nil), x...), make([]complex128, n))
		for l := range whole {
			if cmplx.Abs(whole[l]-ends[l]) > 1e-13*float64(n) {
				t.Fatalf("n=%d l=%d: ends only %v, whole %v", n, l, ends[l], whole[l])
			}
		}
	}
}

// gonum's transform as an independent reference at a length of the real work.
func TestFFTAgainstGonum(t *testing.T) {
	const n = 8192
	x := randomComplex(3, n)
	want := fourier.NewCmplxFFT(n).Sequence(nil, x)
	got := NewFFT(n).Transform(append([]complex128(nil), x...), make([]complex128, n))
	for l := range want {
		if cmplx.Abs(got[l]-want[l]) > 1e-11 {
			t.Fatalf("l=%d: got %v, gonum %v", l, got[l], want[l])
		}
	}
}

func BenchmarkFFT(b *testing.B) {
	for _, n := range []int{1024, 4096, 16384, 262144} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			x, y := randomComplex(1, n), make([]complex128, n)
			gonum := fourier.NewCmplxFFT(n)
			const rounds = 20
			start := time.Now()
			for range rounds {
				gonum.Sequence(y, x)
			}
			reference := time.Since(start).Seconds() / rounds
			plan := NewFFT(n)
			work := make([]complex128, n)
			for b.Loop() {
				copy(work, x)
				plan.Transform(work, y)
			}
			b.ReportMetric(reference/(b.Elapsed().Seconds()/float64(b.N)), "gonum/own")
		})
	}
}
