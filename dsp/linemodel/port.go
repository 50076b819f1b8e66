package linemodel

import (
	"math"

	"downlead/dsp"
)

// What is left of the instrument's own errors.

// portTerms is how many terms of a polynomial in frequency, of degree 0 up, stand for a residual
// error of the instrument at most, portFew how many unless FollowPort is asked for, each of which may be as
// large as the error.
const (
	portTerms = 6
	portFew   = 3
)

const (
	// portReachS is how far in front of and behind the reference plane, in seconds there and back, what
	// a calibration leaves arises: within the connectors, the standards and their offsets. Common
	// practice, no source.
	portReachS = 0.5e-9
	// portLeast is the rms over the span of a term, of an error of size 1, that is left out.
	portLeast = 0.01
)

// portSpread returns how large the Legendre coefficients of e^{−jωτ} are over a span, rms over delays
// of up to portReachS, the first few as large as the error, and how many are worth their place. From the expansion of a plane wave,
// e^{jθt} = Σ (2l+1)·j^l·j_l(θ)·P_l(t): Abramowitz & Stegun, "Handbook of Mathematical Functions", 10.1.47.
func portSpread(spanHz float64) (spread [portTerms]float64, terms int) {
	const steps = 64
	for i := range steps {
		bessel := sphericalBessel(math.Pi * spanHz * portReachS * (float64(i) + 0.5) / steps)
		for l, j := range bessel {
			c := float64(2*l+1) * j
			spread[l] += c * c / steps
		}
	}
	for l := range spread {
		spread[l] = math.Sqrt(spread[l])
		if l < portFew {
			spread[l] = 1
		}
		if l < portFew || terms == l && spread[l] > portLeast*math.Sqrt(float64(2*l+1)) {
			terms = l + 1
		}
	}
	return spread, terms
}

// FollowPort lets the port's errors turn as often over the span as what arises near the reference plane does. A wide sweep
// then leaves nothing of them beside the port, and what reflects there is told from them the less.
func (m *Model) FollowPort() {
	m.spread, m.terms = portSpread(m.FrequencyHz[len(m.FrequencyHz)-1] - m.FrequencyHz[0])
	m.legendre()
}

// legendre samples the polynomials in use over the span.
func (m *Model) legendre() {
	n := len(m.FrequencyHz)
	lo, hi := m.FrequencyHz[0], m.FrequencyHz[n-1]
	for i := range m.terms {
		m.basis[i] = make([]float64, n)
	}
	for k, f := range m.FrequencyHz {
		t := (2*f - lo - hi) / (hi - lo)
		below, here := 0.0, 1.0
		for i := range m.terms {
			m.basis[i][k] = here
			below, here = here, (float64(2*i+1)*t*here-float64(i)*below)/float64(i+1)
		}
	}
}

// sphericalBessel returns j_0 to those of the port's terms at x > 0, by Miller's downward recurrence
// (Abramowitz & Stegun, 10.5).
func sphericalBessel(x float64) (j [portTerms]float64) {
	above, here := 0.0, 1e-30
	for l := portTerms + 20 + int(x); l >= 0; l-- {
		if l < portTerms {
			j[l] = here
		}
		above, here = here, float64(2*l+1)/x*here-above
		if math.Abs(here) > 1e100 {
			above, here = above*1e-100, here*1e-100
			for i := range j {
				j[i] *= 1e-100
			}
		}
	}
	scale := math.Sin(x) / x / j[0]
	for i := range j {
		j[i] *= scale
	}
	return j
}

// The residual errors of the instrument.
const (
	Directivity = iota
	SourceMatch
	Tracking
	portErrors
)

// portSigmas is how large the instrument's residual directivity, source match and
// tracking are expected to be: 40 dB, 34 dB and 0.05 dB, common practice for a field
// calibration, no source.
var portSigmas = [portErrors]float64{0.01, 0.02, 0.006}

// portSigma is one standard deviation of a coefficient.
func (m *Model) portSigma(which, term int) float64 { return portSigmas[which] * m.spread[term] }

// samplePort computes of e00, e11 and 1 + t what has changed, from their coefficients.
func (m *Model) samplePort() {
	first := m.leaks == nil
	if first {
		m.leaks, m.tracks = make([]complex128, len(m.Ratio)), make([]complex128, len(m.Ratio))
	}
	for which, dst := range [portErrors][]complex128{m.leaks, m.Match, m.tracks} {
		terms := m.Port[which]
		if terms == m.sampled[which] && !first {
			continue
		}
		m.sampled[which] = terms
		one := complex(0, 0)
		if which == Tracking {
			one = 1
		}
		for k := range dst {
			dst[k] = terms[0] + one
		}
		for i := 1; i < m.terms; i++ {
			re, im := real(terms[i]), imag(terms[i])
			for k, b := range m.basis[i][:len(dst)] {
				dst[k] += complex(re*b, im*b)
			}
		}
	}
}

// portDerivative writes column c of J, of an error of the instrument, to dst; those of the
// terms before it must be there.
func (p *Fit) portDerivative(dst []complex128, c int, item parameter) {
	which, term, unit := item.portTerm()
	switch {
	case unit != 1:
		turn(dst, p.scratch[c-1])
	case term > 0: // term 0 is 1 throughout
		dsp.Weigh(dst, p.scratch[c-2*term], p.basis[term])
	case which == Directivity:
		copy(dst, p.Model.unit())
	default:
		dsp.Multiply(dst, p.Input, p.portLoop)
		if which == SourceMatch {
			for k, t := range dst {
				dst[k] = t * (t * p.tracks[k])
			}
		}
	}
}
