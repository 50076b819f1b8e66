package locate

import (
	"math"
	"sort"

	"downlead/cables"
)

// form says which two-port stands for a point of reflection. It fixes what the
// point lets through for what it throws back.
type form int

const (
	seriesForm form = iota // impedance z in series: r = z/(2+z), through 1−r
	shuntForm              // admittance y across:   r = −y/(2+y), through 1+r
	stepForm               // change of impedance, or the end: r, through² 1−r²
)

// scatterer is one point of reflection in the model. Its value, the impedance
// or admittance relative to the line's or, for a step, the reflection itself,
// runs with q = f/f0 as
//
//	v(f) = flat + j·(rising·q − falling/q)
//
// a resistance (conductance), an inductance (capacitance) and a gap. A step
// may instead lose on its way, as the end of a line with more loss than its
// record does: r(f) = flat·e^{−rising·√q}.
type scatterer struct {
	x                     float64
	flat, rising, falling float64
	form                  form
	fits                  [4]bool // which of flat, rising, falling and x are fitted

	// Sampled at the sweep's frequencies.
	phasor  []complex128 // e^{−2Θ(f,x)}
	reflect []complex128 // r
	through []complex128 // T = S21·S12
	rear    float64      // reflection seen from behind over r: 1, or −1 for a step
	local   []complex128 // Γ looking into the point from the left
	back    []complex128 // u, what comes back from behind the point
	gain    []complex128 // ∂S/∂Γ of the point
}

// The fitted quantities of a point.
const (
	byFlat = iota
	byRising
	byFalling
	byPlace
)

// byBoth stands for byFlat and byRising together.
const byBoth = -1

// medium is the path sampled at the sweep's frequencies.
type medium struct {
	path        *cables.Path
	frequencyHz []float64
	ratio       []float64 // q = f/f0
	f0          float64   // mean frequency
	gamma       [][]complex128
	start       [][]complex128 // Θ at the start of each span
	starts      []float64
	beta0       []float64 // per span: phase constant at f0, rad/m
}

// newMedium samples path at frequencyHz.
func newMedium(path *cables.Path, frequencyHz []float64) medium {
	n := len(frequencyHz)
	m := medium{path: path, frequencyHz: frequencyHz, ratio: make([]float64, n)}
	for _, f := range frequencyHz {
		m.f0 += f / float64(n)
	}
	for k, f := range frequencyHz {
		m.ratio[k] = f / m.f0
	}
	theta := make([]complex128, n)
	for _, span := range path.Spans {
		gamma := make([]complex128, n)
		start := append([]complex128(nil), theta...)
		for k, f := range frequencyHz {
			gamma[k], _ = span.Medium.Wave(f)
			theta[k] += gamma[k] * complex(span.LengthM, 0)
		}
		m.gamma = append(m.gamma, gamma)
		m.start = append(m.start, start)
		m.starts = append(m.starts, span.StartM)
		middle, _ := span.Medium.Wave(m.f0)
		m.beta0 = append(m.beta0, imag(middle))
	}
	return m
}

// spanAt is the index of the span that holds x.
func (m *medium) spanAt(x float64) int {
	i := sort.SearchFloat64s(m.starts, x)
	if i < len(m.starts) && m.starts[i] == x {
		return i
	}
	return max(0, i-1)
}

// phasors writes e^{−2Θ(f,x)} to dst.
func (m *medium) phasors(dst []complex128, x float64) {
	i := m.spanAt(x)
	inside := x - m.starts[i]
	gamma, start := m.gamma[i], m.start[i]
	for k := range dst {
		re := real(start[k]) + real(gamma[k])*inside
		im := imag(start[k]) + imag(gamma[k])*inside
		sin, cos := math.Sincos(-2 * im)
		e := math.Exp(-2 * re)
		dst[k] = complex(e*cos, e*sin)
	}
}

// model is a line with points of reflection on it and a load behind them. All
// reflections are exact: what bounces between the points is in the model.
type model struct {
	medium
	points []*scatterer // sorted by place
	load   *load        // nil: nothing comes back from behind the last point
	// port is what is left of the instrument's own errors: S = e00 + Γ/(1 − e11·Γ),
	// e00 (directivity) and e11 (source match) slow functions of frequency,
	// given by their coefficients over basis. Source: D. Rytting, "Network
	// analyzer error models and calibration methods" (from memory).
	port     [2][portTerms]complex128
	basis    [portTerms][]float64
	input    []complex128 // Γ at the reference plane
	match    []complex128 // e11
	sum      []complex128 // S at the test port
	loadGain []complex128 // ∂S/∂Γ at the load
}

// portTerms is how many terms of a polynomial in frequency, of degree 0 up,
// stand for a residual error of the instrument.
const portTerms = 3

const (
	directivity = iota
	sourceMatch
)

// newModel returns a model of the bare path.
func newModel(path *cables.Path, frequencyHz []float64) model {
	n := len(frequencyHz)
	m := model{medium: newMedium(path, frequencyHz), input: make([]complex128, n), match: make([]complex128, n),
		sum: make([]complex128, n), loadGain: make([]complex128, n)}
	lo, hi := frequencyHz[0], frequencyHz[n-1]
	for i := range m.basis {
		m.basis[i] = make([]float64, n)
	}
	for k, f := range frequencyHz { // Legendre polynomials over the span
		t := (2*f - lo - hi) / (hi - lo)
		m.basis[0][k], m.basis[1][k], m.basis[2][k] = 1, t, (3*t*t-1)/2
	}
	return m
}

// newPoint returns a point at x without reflection. It is not in the model yet.
func (m *model) newPoint(x float64, form form) *scatterer {
	n := len(m.frequencyHz)
	flat := make([]complex128, 6*n)
	p := &scatterer{x: x, form: form}
	for i, dst := range []*[]complex128{&p.phasor, &p.reflect, &p.through, &p.local, &p.back, &p.gain} {
		*dst = flat[i*n : (i+1)*n : (i+1)*n]
	}
	m.phasors(p.phasor, x)
	m.sample(p)
	return p
}

// insert puts p among the points.
func (m *model) insert(p *scatterer) {
	i := sort.Search(len(m.points), func(i int) bool { return m.points[i].x > p.x })
	m.points = append(m.points, nil)
	copy(m.points[i+1:], m.points[i:])
	m.points[i] = p
}

// remove takes p out.
func (m *model) remove(p *scatterer) {
	for i, q := range m.points {
		if q == p {
			m.points = append(m.points[:i], m.points[i+1:]...)
			return
		}
	}
}

// sample computes r and T of the point from its value.
func (m *model) sample(p *scatterer) {
	p.rear = 1
	if p.form == stepForm {
		p.rear = -1
		r := p.flat
		for k := range p.reflect {
			if p.rising != 0 {
				r = p.flat * math.Exp(-p.rising*math.Sqrt(m.ratio[k]))
			}
			p.reflect[k], p.through[k] = complex(r, 0), complex(1-r*r, 0)
		}
		return
	}
	for k, q := range m.ratio {
		v := complex(p.flat, p.rising*q-p.falling/q)
		r := quotient(v, 2+v)
		if p.form == shuntForm {
			r = -r
			p.reflect[k], p.through[k] = r, (1+r)*(1+r)
		} else {
			p.reflect[k], p.through[k] = r, (1-r)*(1-r)
		}
	}
}

// forward computes the sweep that the model predicts, and what each point
// sees. The recursion is that of a chain of scattering two-ports,
// Γ = r + T·u/(1 − r'·u), u the reflection from behind.
func (m *model) forward() {
	m.inward()
	// Gains from the port outwards.
	for i, p := range m.points {
		if i == 0 {
			for k := range p.gain {
				loop := 1 - m.match[k]*m.input[k]
				p.gain[k] = quotient(p.phasor[k], loop*loop)
			}
			continue
		}
		q := m.points[i-1]
		rear := complex(q.rear, 0)
		for k := range p.gain {
			loop := 1 - rear*q.reflect[k]*q.back[k]
			p.gain[k] = quotient(q.gain[k]*q.through[k]*p.phasor[k], loop*loop*q.phasor[k])
		}
	}
	if m.load == nil {
		return
	}
	if len(m.points) == 0 {
		for k := range m.loadGain {
			loop := 1 - m.match[k]*m.input[k]
			m.loadGain[k] = quotient(m.load.phasor[k], loop*loop)
		}
		return
	}
	q := m.points[len(m.points)-1]
	rear := complex(q.rear, 0)
	for k := range m.loadGain {
		loop := 1 - rear*q.reflect[k]*q.back[k]
		m.loadGain[k] = quotient(q.gain[k]*q.through[k]*m.load.phasor[k], loop*loop*q.phasor[k])
	}
}

// inward computes what the points see, from the load to the port, and the sum.
func (m *model) inward() {
	for i := len(m.points) - 1; i >= 0; i-- {
		p := m.points[i]
		rear := complex(p.rear, 0)
		switch {
		case i+1 < len(m.points):
			q := m.points[i+1]
			for k := range p.back {
				p.back[k] = quotient(q.local[k]*q.phasor[k], p.phasor[k])
			}
		case m.load != nil:
			for k := range p.back {
				p.back[k] = quotient(m.load.gamma[k]*m.load.phasor[k], p.phasor[k])
			}
		default:
			clear(p.back)
		}
		for k, u := range p.back {
			r := p.reflect[k]
			p.local[k] = r + quotient(p.through[k]*u, 1-rear*r*u)
		}
	}
	switch {
	case len(m.points) > 0:
		first := m.points[0]
		for k := range m.input {
			m.input[k] = first.local[k] * first.phasor[k]
		}
	case m.load != nil:
		for k := range m.input {
			m.input[k] = m.load.gamma[k] * m.load.phasor[k]
		}
	default:
		clear(m.input)
	}
	for k, g := range m.input {
		e00, e11 := m.port[directivity][0], m.port[sourceMatch][0]
		for i := 1; i < portTerms; i++ {
			b := m.basis[i][k]
			e00 += m.port[directivity][i] * complex(b, 0)
			e11 += m.port[sourceMatch][i] * complex(b, 0)
		}
		m.match[k] = e11
		m.sum[k] = e00 + quotient(g, 1-e11*g)
	}
}

// derivative writes ∂S/∂(quantity) of point p to dst, after forward.
func (m *model) derivative(dst []complex128, p *scatterer, quantity int) {
	rear := complex(p.rear, 0)
	if quantity == byPlace {
		// Farther out, the point's own echo comes later; what is behind stays.
		gamma := m.gamma[m.spanAt(p.x)]
		for k := range dst {
			u := p.back[k]
			loop := 1 - rear*p.reflect[k]*u
			dst[k] = 2 * p.gain[k] * gamma[k] * (quotient(p.through[k]*u, loop*loop) - p.local[k])
		}
		return
	}
	for k, q := range m.ratio {
		r, u := p.reflect[k], p.back[k]
		loop := 1 - rear*r*u
		var drdv, dTdr complex128
		switch p.form {
		case seriesForm:
			drdv, dTdr = (1-r)*(1-r)/2, -2*(1-r)
		case shuntForm:
			drdv, dTdr = -(1+r)*(1+r)/2, 2*(1+r)
		default:
			drdv, dTdr = 1, -2*r
		}
		d := p.gain[k] * drdv * (1 + quotient(dTdr*u*loop+rear*p.through[k]*u*u, loop*loop))
		switch {
		case p.form == stepForm && quantity == byFlat:
			dst[k] = d * complex(math.Exp(-p.rising*math.Sqrt(q)), 0)
		case p.form == stepForm:
			dst[k] = -d * r * complex(math.Sqrt(q), 0)
		case quantity == byFlat:
			dst[k] = d
		case quantity == byRising:
			dst[k] = d * complex(0, q)
		default:
			dst[k] = d * complex(0, -1/q)
		}
	}
}

// quotient is a/b for finite operands; the language's own division also
// minds infinities, at several times the cost.
func quotient(a, b complex128) complex128 {
	s := 1 / (real(b)*real(b) + imag(b)*imag(b))
	return complex((real(a)*real(b)+imag(a)*imag(b))*s, (imag(a)*real(b)-real(a)*imag(b))*s)
}
