package linemodel

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// stepper solves the normal equations of a step, again and again in the same room.
type stepper struct {
	factor []float64
	work   []float64
	index  []int
	step   []float64
}

// tie says how much farther than the step near the step far goes.
type tie struct {
	near, far int
	apart     float64
}

// tieStiffness is how stiff a tie is, of the stiffest of what it ties.
const tieStiffness = 1e6

// solve returns the solution of A·x = b, the diagonal of A damped, those of x that are held being 0 (nil: none) and those that are tied
// as far apart as that, valid until it is called again; ok is false where A is not positive definite, or too near to what is not.
func (s *stepper) solve(a *mat.SymDense, b *mat.VecDense, damping float64, held []bool, ties []tie) (x []float64, ok bool) {
	n := a.SymmetricDim()
	if cap(s.factor) < n*n {
		s.factor, s.work, s.index, s.step = make([]float64, n*n), make([]float64, 3*n), make([]int, n), make([]float64, n)
	}
	raw := a.RawSymmetric()
	damped := blas64.Symmetric{N: n, Stride: n, Data: s.factor[:n*n], Uplo: blas.Upper}
	for i := range n {
		row := damped.Data[i*n : (i+1)*n]
		copy(row[i:], raw.Data[i*raw.Stride+i:i*raw.Stride+n])
		row[i] = row[i]*(1+damping) + 1e-300
	}
	x = s.step[:n]
	copy(x, b.RawVector().Data)
	for _, t := range ties {
		i, j := min(t.near, t.far), max(t.near, t.far)
		stiff := tieStiffness * math.Max(damped.Data[i*n+i], damped.Data[j*n+j])
		damped.Data[i*n+i] += stiff
		damped.Data[j*n+j] += stiff
		damped.Data[i*n+j] -= stiff
		x[t.near] -= stiff * t.apart
		x[t.far] += stiff * t.apart
	}
	for h, on := range held {
		if !on {
			continue
		}
		x[h] = 0
		for i := range h {
			damped.Data[i*n+h] = 0
		}
		clear(damped.Data[h*n+h+1 : (h+1)*n])
	}
	norm := lapack64.Lansy(mat.CondNorm, damped, s.work[:n])
	factor, ok := lapack64.Potrf(damped)
	if !ok {
		return nil, false
	}
	// The estimate of the condition takes as long as the factor: it is left out where a bound of it says enough.
	if !(norm*inverseBound(factor, s.work[:n]) < surelySound) && 1/lapack64.Pocon(damped, norm, s.work[:3*n], s.index[:n]) > mat.ConditionTolerance {
		return nil, false
	}
	lapack64.Potrs(factor, blas64.General{Rows: n, Cols: 1, Stride: 1, Data: x})
	return x, true
}

// surelySound is a bound of the condition number under which its estimate, rounding and all, is not above
// mat.ConditionTolerance.
const surelySound = mat.ConditionTolerance / 100

// inverseBound bounds the 1-norm of (UᵀU)⁻¹ from above by ‖M⁻¹‖₁·‖M⁻¹‖∞, where M is U with |diagonal| and
// −|all else|: M⁻¹ is nowhere less than |U⁻¹|, and as it is nowhere negative a solution with
// ones gives either norm (N. J. Higham, "Accuracy and Stability of Numerical Algorithms", 2nd ed., SIAM 2002, ch. 8, from
// memory).
func inverseBound(u blas64.Triangular, x []float64) float64 {
	rows := 0.0 // M·x = 1
	for i := u.N - 1; i >= 0; i-- {
		row := u.Data[i*u.Stride : i*u.Stride+u.N]
		sum := 1.0
		for j := i + 1; j < u.N; j++ {
			sum += math.Abs(row[j]) * x[j]
		}
		x[i] = sum / row[i]
		rows = math.Max(rows, x[i])
	}
	for i := range x {
		x[i] = 1
	}
	columns := 0.0 // Mᵀ·x = 1
	for i := range u.N {
		row := u.Data[i*u.Stride : i*u.Stride+u.N]
		x[i] /= row[i]
		columns = math.Max(columns, x[i])
		for j := i + 1; j < u.N; j++ {
			x[j] += math.Abs(row[j]) * x[i]
		}
	}
	return rows * columns
}
