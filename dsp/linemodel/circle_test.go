package linemodel

import (
	"math"
	"math/cmplx"
	"testing"
)

// TestCircle compares with the sine and cosine of the Go library, which are
// within an ulp or two of the exact values.
func TestCircle(t *testing.T) {
	c := newCircle()
	worst := 0.0
	for _, span := range []float64{1e-3, 1, 30, 1e3, 1e5} {
		for i := range 20000 {
			phi := span * (float64(i)/10000 - 1)
			sin, cos := math.Sincos(phi)
			worst = math.Max(worst, cmplx.Abs(c.at(phi)-complex(cos, sin)))
		}
	}
	t.Logf("worst error %.2g", worst)
	if worst > 1e-15 {
		t.Errorf("worst error %.2g", worst)
	}
}

func BenchmarkCircle(b *testing.B) {
	c := newCircle()
	phi, sum := 0.0, complex128(0)
	for b.Loop() {
		phi += 0.7
		sum += c.at(phi)
	}
	_ = sum
}

func BenchmarkSincos(b *testing.B) {
	phi, sum := 0.0, complex128(0)
	for b.Loop() {
		phi += 0.7
		sin, cos := math.Sincos(phi)
		sum += complex(cos, sin)
	}
	_ = sum
}
