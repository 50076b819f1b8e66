package linemodel

import (
	"math/cmplx"
	"slices"

	"downlead/dsp"
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

	comb   *dsp.Comb
	weight []float64 // nominal, of the quick fit
	factor triangle  // Cholesky factor of the nominal normal matrix
	ridge  float64
	target []complex128
	stamp  int // changes with Gamma

	first, powered []complex128 // the comb's first delay, and that times weights
	lag            []complex128
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
	l.weigh(weight)
	l.comb = dsp.NewComb(m.FrequencyHz, firstS, spacingS, count)
	l.normal(&l.factor, l.weight)
	return l
}

// Reweighted returns l as NewLoad would return it for another weight of the fit, with its taps as they
// are.
func (l *Load) Reweighted(weight []float64) *Load {
	r := *l
	r.Gamma, r.Taps, r.target = slices.Clone(l.Gamma), slices.Clone(l.Taps), make([]complex128, len(l.target))
	r.weight, r.ridge = make([]float64, len(weight)), 0
	r.weigh(weight)
	r.factor = triangle{}
	r.normal(&r.factor, r.weight)
	return &r
}

// weigh takes the nominal weights and the ridge from the weights of the fit.
func (l *Load) weigh(weight []float64) {
	for k := range l.weight {
		a := cmplx.Abs(l.Phasor[k])
		l.weight[k] = weight[k] * a * a
		l.ridge += ridgeShare * l.weight[k]
	}
}

// normal computes the Cholesky factor of AᴴWA + ρ for the given power weights.
// The normal matrix of an even comb is Hermitian Toeplitz: one column says all.
func (l *Load) normal(factor *triangle, power []float64) {
	if l.first == nil {
		l.first, l.powered, l.lag = make([]complex128, len(power)), make([]complex128, len(power)), make([]complex128, len(l.Taps))
		unit := make([]complex128, len(l.Taps))
		unit[0] = 1
		l.comb.Compose(l.first, unit)
	}
	for k, c := range l.first {
		l.powered[k] = complex(power[k]*real(c), power[k]*imag(c))
	}
	lag := l.lag
	l.comb.Correlate(lag, l.powered)
	lag[0] = complex(real(lag[0])+l.ridge, 0)
	factor.toeplitzCholesky(lag)
}

// compose computes Gamma from the taps.
func (l *Load) compose() {
	l.stamp++
	l.comb.Compose(l.Gamma, l.Taps)
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
	l.comb.Correlate(l.Taps, l.target)
	l.factor.solve(l.Taps)
	l.compose()
	p.Evaluate()
}
