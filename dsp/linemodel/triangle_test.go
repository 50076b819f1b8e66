package linemodel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// The factor multiplied out, and a solution put in, against the matrix itself: a spectrum that is full of
// gaps, over a ridge of 1e-6, is as badly conditioned as an antenna's comb is.
func TestToeplitzFactorAgainstItsMatrix(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 3, 17, 160} {
		column := make([]complex128, n)
		for range 200 {
			f, power := 0.7*rng.Float64(), rng.Float64()
			for i := range column {
				column[i] += complex(power, 0) * cmplx.Exp(complex(0, 2*math.Pi*f*float64(i)))
			}
		}
		column[0] += 1e-6 * column[0]
		at := func(i, j int) complex128 {
			if i < j {
				return cmplx.Conj(column[j-i])
			}
			return column[i-j]
		}
		var l triangle
		l.toeplitzCholesky(append([]complex128(nil), column...))
		for i := range n {
			for j := range i + 1 {
				var sum complex128
				for k := range j + 1 {
					sum += l.columns[k][i-k] * cmplx.Conj(l.columns[k][j-k])
				}
				if cmplx.Abs(sum-at(i, j)) > 1e-13*real(column[0])*float64(n) {
					t.Fatalf("order %d: element %d, %d is %v instead of %v", n, i, j, sum, at(i, j))
				}
			}
		}
		b := make([]complex128, n)
		for i := range b {
			b[i] = complex(rng.NormFloat64(), rng.NormFloat64())
		}
		x := append([]complex128(nil), b...)
		l.solve(x)
		for i := range b {
			var sum complex128
			scale := 0.0
			for j, v := range x {
				sum += at(i, j) * v
				scale += cmplx.Abs(v)
			}
			if cmplx.Abs(sum-b[i]) > 1e-13*real(column[0])*scale {
				t.Errorf("order %d: row %d of A·x is %v instead of %v", n, i, sum, b[i])
			}
		}
	}
}
