package linemodel

import (
	"math"
	"math/cmplx"
)

// Load is what ends the line when that is not a single point: an antenna. Its
// reflection is left free as a comb of delays (taps) from a little before its
// connector to the end of its ringing, fitted by weighted least squares. So
// nothing is assumed of the antenna but that it answers after it was asked.
type Load struct {
	X      float64      // place of the connector, m
	Phasor []complex128 // e^{−2Θ(f,x)}
	Gamma  []complex128 // reflection at the connector, in the reference impedance
	Taps   []complex128

	comb   [][]complex128 // per tap, e^{−j2πfτ}
	weight []float64      // nominal, of the quick fit
	factor [][]complex128 // Cholesky factor of the nominal normal matrix
	ridge  float64
	target []complex128
	stamp  int // changes with Gamma
}

// ridgeShare is the taps' prior, as a share of the diagonal of their normal
// matrix: enough to keep neighbouring taps from fighting each other.
const ridgeShare = 1e-6

// NewLoad prepares count taps spacingS seconds apart from firstS after the
// connector's own delay (negative: in front of it). weight is that of the fit.
func NewLoad(m *Medium, x, firstS, spacingS float64, count int, weight []float64) *Load {
	n := len(m.FrequencyHz)
	l := &Load{X: x, Phasor: make([]complex128, n), Gamma: make([]complex128, n), Taps: make([]complex128, count),
		weight: make([]float64, n), target: make([]complex128, n)}
	m.phasors(l.Phasor, nil, x)
	for k := range l.weight {
		a := cmplx.Abs(l.Phasor[k])
		l.weight[k] = weight[k] * a * a
		l.ridge += ridgeShare * l.weight[k]
	}
	flat := make([]complex128, n*count)
	for t := range count {
		l.comb = append(l.comb, flat[t*n:(t+1)*n])
	}
	for k, f := range m.FrequencyHz {
		sin, cos := math.Sincos(-2 * math.Pi * f * spacingS)
		step := complex(cos, sin)
		var e complex128
		for t := range count {
			if t%32 == 0 { // keep the recursion's rounding down
				sin, cos := math.Sincos(-2 * math.Pi * f * (firstS + float64(t)*spacingS))
				e = complex(cos, sin)
			}
			l.comb[t][k] = e
			e *= step
		}
	}
	l.factor = l.normal(l.weight)
	return l
}

// normal returns the Cholesky factor of AᴴWA + ρ for the given power weights.
// The normal matrix of an even comb is Hermitian Toeplitz: one row says all.
func (l *Load) normal(power []float64) [][]complex128 {
	z := make([]complex128, len(power))
	for k, c := range l.comb[0] {
		z[k] = complex(power[k]*real(c), power[k]*imag(c))
	}
	lag := l.correlate(z) // conjugated
	factor := make([][]complex128, len(lag))
	for i := range factor {
		row := make([]complex128, i+1)
		for j := 0; j <= i; j++ {
			row[j] = lag[i-j]
		}
		row[i] += complex(l.ridge, 0)
		factor[i] = row
	}
	cholesky(factor)
	return factor
}

// correlate returns Σ comb*·z, one value per tap. Four taps at a time share what
// is read of z, and their sums need not wait for each other.
func (l *Load) correlate(z []complex128) []complex128 {
	out := make([]complex128, len(l.comb))
	for t := 0; t < len(out); t += 4 {
		a, b, c, d := l.four(t)
		a, b, c, d = a[:len(z)], b[:len(z)], c[:len(z)], d[:len(z)]
		var are, aim, bre, bim, cre, cim, dre, dim float64
		for k, v := range z {
			x, y := real(v), imag(v)
			are += real(a[k])*x + imag(a[k])*y
			aim += real(a[k])*y - imag(a[k])*x
			bre += real(b[k])*x + imag(b[k])*y
			bim += real(b[k])*y - imag(b[k])*x
			cre += real(c[k])*x + imag(c[k])*y
			cim += real(c[k])*y - imag(c[k])*x
			dre += real(d[k])*x + imag(d[k])*y
			dim += real(d[k])*y - imag(d[k])*x
		}
		re, im := [4]float64{are, bre, cre, dre}, [4]float64{aim, bim, cim, dim}
		for i := range min(4, len(out)-t) {
			out[t+i] = complex(re[i], im[i])
		}
	}
	return out
}

// four returns the combs of tap t and the next three, the last one again where
// there are no more.
func (l *Load) four(t int) (a, b, c, d []complex128) {
	last := len(l.comb) - 1
	return l.comb[t], l.comb[min(t+1, last)], l.comb[min(t+2, last)], l.comb[min(t+3, last)]
}

// compose computes Gamma from the taps.
func (l *Load) compose() {
	l.stamp++
	clear(l.Gamma)
	n := len(l.Gamma)
	for t := 0; t < len(l.Taps); t += 4 {
		a, b, c, d := l.four(t)
		a, b, c, d = a[:n], b[:n], c[:n], d[:n]
		var p [4]complex128
		copy(p[:], l.Taps[t:])
		for k := range l.Gamma {
			l.Gamma[k] += p[0]*a[k] + p[1]*b[k] + p[2]*c[k] + p[3]*d[k]
		}
	}
}

// RenewLoad fits the load alone, from nothing: what it was fitted to was seen
// through another line.
func (p *Fit) RenewLoad() {
	clear(p.Load.Taps)
	p.Load.compose()
	p.Evaluate()
	p.QuickFitLoad()
}

// QuickFitLoad fits the load alone, with nominal weights: what points of
// reflection in front of it do to the weights is left out.
func (p *Fit) QuickFitLoad() {
	if p.Over() {
		return
	}
	l := p.Load
	p.Gains()
	for k, e := range p.Residual {
		g := p.LoadGain[k]
		a := real(g)*real(g) + imag(g)*imag(g)
		d := l.Phasor[k]
		full := real(d)*real(d) + imag(d)*imag(d)
		l.target[k] = complex(l.weight[k], 0) * (l.Gamma[k] + e*cmplx.Conj(g)/complex(a+1e-4*full, 0))
	}
	copy(l.Taps, l.correlate(l.target))
	solveCholesky(l.factor, l.Taps)
	l.compose()
	p.Evaluate()
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
