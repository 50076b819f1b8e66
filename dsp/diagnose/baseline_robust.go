package diagnose

import (
	"math"
	"math/cmplx"

	"downlead/dsp"

	"gonum.org/v1/gonum/mat"
)

// ridge solves min Σ w|e − Σ c_i·p_i|² + Σ |p_i|²/σ_i², the unknowns p complex,
// the last reals of them real. It works in units of σ. It returns nil where that
// cannot be solved, and the inverse of the normal matrix in these units, the
// real unknowns last.
func ridge(columns [][]complex128, sigma []float64, reals int, e []complex128, weight []float64) ([]complex128, *mat.SymDense) {
	count := len(columns)
	whole := count - reals
	size := 2*whole + reals
	a, b := mat.NewSymDense(size, nil), mat.NewVecDense(size, nil)
	place := func(i int) (re, im int) {
		if i < whole {
			return 2 * i, 2*i + 1
		}
		return whole + i, -1
	}
	columns, weight = rowsThatCount(append(columns[:count:count], e), weight)
	weighted, turned := make([]complex128, len(weight)), make([]complex128, len(weight)) // w·c_i and j·w·c_i
	for i, ci := range columns[:count] {
		ri, ii := place(i)
		for k, w := range weight {
			v := complex(w*real(ci[k]), w*imag(ci[k]))
			weighted[k], turned[k] = v, complex(-imag(v), real(v))
		}
		for j := i; j <= count; j += 4 { // of Σ w·conj(c_i)·others
			sums := dsp.ProductsOfTwo(weighted, turned, columns[j], columns[min(j+1, count)], columns[min(j+2, count)], columns[min(j+3, count)])
			for c := j; c <= min(j+3, count); c++ {
				re, im := sums[0][c-j]*sigma[i], sums[1][c-j]*sigma[i]
				if c == count {
					b.SetVec(ri, re)
					if ii >= 0 {
						b.SetVec(ii, im)
					}
					continue
				}
				re *= sigma[c]
				im *= sigma[c]
				rj, ij := place(c)
				a.SetSym(ri, rj, re)
				if ij >= 0 { // the column j·c_j
					a.SetSym(ri, ij, -im)
				}
				if ii >= 0 {
					a.SetSym(ii, rj, im)
				}
				if ii >= 0 && ij >= 0 {
					a.SetSym(ii, ij, re)
				}
			}
		}
		a.SetSym(ri, ri, a.At(ri, ri)*(1+1e-12)+1)
		if ii >= 0 {
			a.SetSym(ii, ii, a.At(ii, ii)*(1+1e-12)+1)
		}
	}
	var chol mat.Cholesky
	var solved mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&solved, b) != nil {
		return nil, nil
	}
	out := make([]complex128, count)
	for i := range out {
		re, im := place(i)
		out[i] = complex(sigma[i]*solved.AtVec(re), 0)
		if im >= 0 {
			out[i] += complex(0, sigma[i]*solved.AtVec(im))
		}
	}
	covariance := mat.NewSymDense(size, nil)
	if chol.InverseTo(covariance) != nil {
		return out, nil
	}
	return out, covariance
}

// rowsThatCount returns the rows of columns whose weight is not 0, and these weights.
func rowsThatCount(columns [][]complex128, weight []float64) ([][]complex128, []float64) {
	var rows []int
	var w []float64
	for k, v := range weight {
		if v != 0 {
			rows, w = append(rows, k), append(w, v)
		}
	}
	if len(rows) == len(weight) {
		return columns, weight
	}
	out := make([][]complex128, len(columns))
	flat := make([]complex128, len(columns)*len(rows))
	for i, c := range columns {
		out[i] = flat[i*len(rows) : (i+1)*len(rows)]
		for n, k := range rows {
			out[i][n] = c[k]
		}
	}
	return out, w
}

// variances returns what the difference of the profiles may vary by at each
// place: the noise, and share of what reflects there.
func (p *sweepPair) variances(a []complex128, share float64) []float64 {
	return p.variancesOf(envelope(a, perCell), share)
}

// variancesOf is variances where the size of what reflects around each place is
// known.
func (p *sweepPair) variancesOf(sizes []float64, share float64) []float64 {
	v := make([]float64, len(sizes))
	for i, size := range sizes {
		v[i] = p.noise + share*share*size*size
	}
	return v
}

// envelope returns the greatest magnitude within reach places.
func envelope(a []complex128, reach int) []float64 {
	size := make([]float64, len(a))
	for i, v := range a {
		size[i] = cmplx.Abs(v)
	}
	return widest(size, reach)
}

// widest returns the greatest of size within reach places. The greatest of each
// block, run forwards and backwards, gives it in linear time (M. van Herk,
// Pattern Recognition Letters 13, 1992, from memory).
func widest(size []float64, reach int) []float64 {
	n, width := len(size), 2*reach+1
	ahead, behind := make([]float64, n), make([]float64, n)
	for i := range n {
		ahead[i] = size[i]
		if i%width != 0 {
			ahead[i] = max(ahead[i-1], size[i])
		}
		j := n - 1 - i
		behind[j] = size[j]
		if j+1 < n && (j+1)%width != 0 {
			behind[j] = max(behind[j+1], size[j])
		}
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = max(behind[max(0, i-reach)], ahead[min(n-1, i+reach)])
		if i < reach || i+reach >= n { // a window that the ends cut
			for _, v := range size[max(0, i-reach):min(n, i+reach+1)] {
				out[i] = max(out[i], v)
			}
		}
	}
	return out
}

// noiseOf estimates the noise of a profile from its lower part; see
// locate's scan: what is coherent stands in few places.
func noiseOf(e []complex128) float64 {
	power := make([]float64, len(e))
	for i, v := range e {
		power[i] = real(v)*real(v) + imag(v)*imag(v)
	}
	return math.Max(1e-16, dsp.Ranked(power, len(power)*3/10)/0.3567)
}

// robustCost is minus twice the logarithm of Student's density, less a constant.
func robustCost(e []complex128, variance []float64) float64 {
	s := 0.0
	for i, v := range e {
		s += (robustNu + 2) * math.Log1p((real(v)*real(v)+imag(v)*imag(v))/(robustNu*variance[i]))
	}
	return s / perCell // neighbouring places say the same
}

func robustWeights(dst []float64, e []complex128, variance []float64) {
	for i, v := range e {
		q := (real(v)*real(v) + imag(v)*imag(v)) / variance[i]
		dst[i] = (robustNu + 2) / (robustNu + q) / variance[i] / perCell
	}
}

// stretchPrior is the cost of a change of velocity: heavy-tailed as well, since
// seasons exist.
func stretchPrior(epsilon float64) float64 {
	return 2 * math.Log1p(epsilon*epsilon/(baselineVelocitySigma*baselineVelocitySigma))
}
