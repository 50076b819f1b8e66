package locate

import (
	"math"
	"math/cmplx"
)

// load is what ends the line when that is not a single point: an antenna. Its
// reflection is left free as a comb of delays (taps) from a little before its
// connector to the end of its ringing, fitted by weighted least squares. So
// nothing is assumed of the antenna but that it answers after it was asked.
type load struct {
	x      float64      // place of the connector
	phasor []complex128 // e^{−2Θ(f,x)}
	gamma  []complex128 // reflection at the connector, in the reference impedance
	taps   []complex128
	comb   [][]complex128 // per tap, e^{−j2πfτ}
	weight []float64      // of the fit, per frequency
	factor [][]complex128 // Cholesky factor of the normal matrix
	target []complex128
}

// newLoad prepares count taps spacingS apart from firstS (seconds after the
// connector's own delay; negative: in front of it), weighted by weight.
func newLoad(m *medium, x, firstS, spacingS float64, count int, weight []float64) *load {
	n := len(m.frequencyHz)
	l := &load{x: x, phasor: make([]complex128, n), gamma: make([]complex128, n), taps: make([]complex128, count),
		weight: make([]float64, n), target: make([]complex128, n)}
	m.phasors(l.phasor, x)
	for k := range l.weight {
		a := cmplx.Abs(l.phasor[k])
		l.weight[k] = weight[k] * a * a
	}
	flat := make([]complex128, n*count)
	for t := range count {
		l.comb = append(l.comb, flat[t*n:(t+1)*n])
	}
	for k, f := range m.frequencyHz {
		sin, cos := math.Sincos(-2 * math.Pi * f * spacingS)
		step := complex(cos, sin)
		e := cmplx.Exp(complex(0, -2*math.Pi*f*firstS))
		for t := range count {
			if t%32 == 0 { // keep the recursion's rounding down
				sin, cos := math.Sincos(-2 * math.Pi * f * (firstS + float64(t)*spacingS))
				e = complex(cos, sin)
			}
			l.comb[t][k] = e
			e *= step
		}
	}
	// The normal matrix of an even comb is Hermitian Toeplitz: one row says all.
	lag := make([]complex128, count)
	for t := range lag {
		var s complex128
		for k, w := range l.weight {
			s += complex(w, 0) * cmplx.Conj(l.comb[0][k]) * l.comb[t][k]
		}
		lag[t] = s
	}
	ridge := complex(1e-6*real(lag[0]), 0)
	l.factor = make([][]complex128, count)
	for i := range count {
		row := make([]complex128, i+1)
		for j := 0; j <= i; j++ {
			row[j] = cmplx.Conj(lag[i-j])
		}
		row[i] += ridge
		l.factor[i] = row
	}
	cholesky(l.factor)
	return l
}

// cholesky factors the lower triangle of a Hermitian positive definite matrix
// in place: A = L·Lᴴ.
func cholesky(a [][]complex128) {
	for i := range a {
		for j := 0; j <= i; j++ {
			s := a[i][j]
			ri, rj := a[i][:j], a[j][:j]
			for k := range ri {
				s -= ri[k] * cmplx.Conj(rj[k])
			}
			if i == j {
				a[i][i] = complex(math.Sqrt(math.Max(real(s), 1e-300)), 0)
			} else {
				a[i][j] = s / a[j][j]
			}
		}
	}
}

// solveCholesky solves L·Lᴴ·x = b in place of b.
func solveCholesky(l [][]complex128, b []complex128) {
	for i := range b {
		s := b[i]
		for k, v := range l[i][:i] {
			s -= v * b[k]
		}
		b[i] = s / l[i][i]
	}
	for i := len(b) - 1; i >= 0; i-- {
		b[i] /= l[i][i]
		for k, v := range l[i][:i] {
			b[k] -= cmplx.Conj(v) * b[i]
		}
	}
}

// fit moves the load's reflection to what the residual asks for. gain is the
// model's ∂S/∂Γ at the load.
func (l *load) fit(residual, gain []complex128) {
	for k, e := range residual {
		g := gain[k]
		a := real(g)*real(g) + imag(g)*imag(g)
		p := real(l.phasor[k])*real(l.phasor[k]) + imag(l.phasor[k])*imag(l.phasor[k])
		l.target[k] = l.gamma[k] + e*cmplx.Conj(g)/complex(a+1e-4*p, 0)
	}
	for t, comb := range l.comb {
		var s complex128
		for k, w := range l.weight {
			s += complex(w, 0) * cmplx.Conj(comb[k]) * l.target[k]
		}
		l.taps[t] = s
	}
	solveCholesky(l.factor, l.taps)
	clear(l.gamma)
	for t, comb := range l.comb {
		c := l.taps[t]
		for k := range l.gamma {
			l.gamma[k] += c * comb[k]
		}
	}
}
