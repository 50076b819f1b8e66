package linemodel

import (
	"math"

	"gonum.org/v1/gonum/blas/cblas128"

	"downlead/dsp"
)

// triangle is a lower triangular matrix, column after column from its diagonal
// down; that is real and positive.
type triangle struct {
	columns [][]complex128
	flat    []complex128
}

// toeplitzCholesky computes L of A = L·Lᴴ, A Hermitian, positive definite and
// Toeplitz with the given first column, which is used up. It is the generalised
// Schur algorithm, of the order of n² where Cholesky's own is of n³, with the
// rotations in the mixed form, which is stable: A. W. Bojanczyk, R. P. Brent, F.
// R. de Hoog, D. R. Sweet, SIAM J. Matrix Anal. Appl. 16(1), 1995, doi:10.1137/S0895479891221563
// (from memory).
func (t *triangle) toeplitzCholesky(column []complex128) {
	n := len(column)
	if len(t.columns) != n {
		t.columns, t.flat = make([][]complex128, n), make([]complex128, n*(n+1)/2)
	}
	flat := t.flat
	// A − Z·A·Zᵀ = u·uᴴ − v·vᴴ, Z the shift down by one.
	scale := 1 / math.Sqrt(math.Max(real(column[0]), 1e-300))
	u, v := flat[:n], column
	for i, c := range column {
		u[i] = complex(scale*real(c), scale*imag(c))
		v[i] = u[i]
	}
	t.columns[0] = u
	flat = flat[n:]
	for j := 1; j < n; j++ {
		v = v[1:]
		next := flat[:n-j]
		flat = flat[n-j:]
		pivot := real(u[0])
		rho := complex(real(v[0])/pivot, imag(v[0])/pivot)
		power := real(rho)*real(rho) + imag(rho)*imag(rho)
		s := math.Sqrt(math.Max(1-power, 1e-30)) // rounding may leave it short of definite
		dsp.Rotate(next, u, v, rho, s)
		next[0] = complex(real(next[0]), 0)
		t.columns[j], u = next, next
	}
}

// forward solves L·x = b in place of b.
func (t *triangle) forward(b []complex128) {
	for j, column := range t.columns {
		d := 1 / real(column[0])
		x := complex(d*real(b[j]), d*imag(b[j]))
		b[j] = x
		dsp.Accumulate(b[j+1:], -x, column[1:])
	}
}

// backward solves Lᴴ·x = b in place of b.
func (t *triangle) backward(b []complex128) {
	for j := len(t.columns) - 1; j >= 0; j-- {
		column := t.columns[j]
		n := len(column) - 1
		s := b[j]
		if n > 0 {
			s -= cblas128.Dotc(cblas128.Vector{N: n, Data: column[1:], Inc: 1}, cblas128.Vector{N: n, Data: b[j+1:], Inc: 1})
		}
		d := 1 / real(column[0])
		b[j] = complex(d*real(s), d*imag(s))
	}
}

// solve solves L·Lᴴ·x = b in place of b.
func (t *triangle) solve(b []complex128) {
	t.forward(b)
	t.backward(b)
}
