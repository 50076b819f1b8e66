package linemodel

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
)

// Steps against gonum's own factorisation, which estimates the condition every time: to the last digit where it takes
// the matrix, none where it does not. One stepper solves them all, larger and smaller. The columns' sizes
// differ as those of places and of port errors do.
func TestStepsAgainstFactorisation(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	var s stepper
	taken, refused := 0, 0
	for _, n := range []int{1, 5, 40, 2, 70, 12} {
		for _, spread := range []float64{0, 3, 9} { // decades between the columns
			for _, damping := range []float64{0, 1e-12, 1e-4, 1} {
				j := mat.NewDense(n+3, n, nil)
				for c := range n {
					scale := math.Pow(10, spread*rng.Float64())
					for r := range n + 3 {
						j.Set(r, c, scale*rng.NormFloat64())
					}
				}
				if n > 2 { // two that are nearly one
					for r := range n + 3 {
						j.Set(r, 1, j.At(r, 0)*(1+1e-9*rng.NormFloat64()))
					}
				}
				var a mat.SymDense
				a.SymOuterK(1, j.T())
				b := mat.NewVecDense(n, nil)
				for i := range n {
					b.SetVec(i, rng.NormFloat64())
				}
				damped := mat.NewSymDense(n, nil)
				damped.CopySym(&a)
				for i := range n {
					damped.SetSym(i, i, a.At(i, i)*(1+damping)+1e-300)
				}
				var chol mat.Cholesky
				var want mat.VecDense
				sound := chol.Factorize(damped) && chol.SolveVecTo(&want, b) == nil
				got, ok := s.solve(&a, b, damping, nil, nil)
				if ok != sound {
					t.Errorf("order %d, %g decades, damped by %g: taken %v, should be %v", n, spread, damping, ok, sound)
				}
				if !ok || !sound {
					refused++
					continue
				}
				taken++
				for i, v := range got {
					if v != want.AtVec(i) {
						t.Errorf("order %d, %g decades, damped by %g: step %d is %g instead of %g", n, spread, damping, i, v, want.AtVec(i))
					}
				}
			}
		}
	}
	if taken == 0 || refused == 0 {
		t.Errorf("%d taken, %d refused: one of them is not tried", taken, refused)
	}
}

// The bound is no less than the norm of the inverse itself, and is that norm where U has no more than a diagonal.
func TestInverseBoundIsABound(t *testing.T) {
	rng := rand.New(rand.NewPCG(33, 34))
	for _, n := range []int{1, 2, 10, 30} {
		for _, beside := range []float64{0, 0.1, 1} { // of what is beside the diagonal
			u := mat.NewTriDense(n, mat.Upper, nil)
			for i := range n {
				u.SetTri(i, i, 0.1+rng.Float64())
				for j := i + 1; j < n; j++ {
					u.SetTri(i, j, beside*rng.NormFloat64())
				}
			}
			var square, inverse mat.Dense
			square.Mul(u.T(), u)
			if err := inverse.Inverse(&square); err != nil {
				if _, poor := err.(mat.Condition); !poor {
					t.Fatal(err)
				}
			}
			norm := mat.Norm(&inverse, 1)
			bound := inverseBound(blas64.Triangular(u.RawTriangular()), make([]float64, n))
			if bound < norm*(1-1e-9) || beside == 0 && bound > norm*(1+1e-12) {
				t.Errorf("order %d, %g beside the diagonal: %g bounds %g", n, beside, bound, norm)
			}
		}
	}
}
