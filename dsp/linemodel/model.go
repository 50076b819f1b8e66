package linemodel

import (
	"math"
	"sort"

	"downlead/cables"
)

// Form says which two-port stands for a point of reflection. It fixes what the
// point lets through for what it throws back.
type Form int

const (
	Series Form = iota // impedance z in series: r = z/(2+z), through 1−r
	Shunt              // admittance y across:   r = −y/(2+y), through 1+r
	Step               // change of impedance, or the end: r, through² 1−r²
)

// Point is one point of reflection in the model. Its value, the impedance
// or admittance relative to the line's or, for a step, the reflection itself,
// runs with q = f/f0 as
//
//	v(f) = flat + j·(rising·q − falling/q)
//
// a resistance (conductance), an inductance (capacitance) and a gap. A step
// may instead lose on its way, as the end of a line with more loss than its
// record does: r(f) = flat·e^{−rising·√q}.
type Point struct {
	X                     float64 // m
	Flat, Rising, Falling float64
	Form                  Form
	Fits                  [4]bool  // which of Flat, Rising, Falling and X are fitted
	Prior                 [4]Prior // what is known of them beforehand

	// Sampled at the model's frequencies by Sample, Place and Evaluate.
	Phasor  []complex128 // e^{−2Θ(f,x)}
	Reflect []complex128 // r
	Through []complex128 // T = S21·S12
	Rear    float64      // reflection seen from behind over r: 1, or −1 for a step
	Local   []complex128 // Γ looking into the point from the left
	Back    []complex128 // u, what comes back from behind the point
	Gain    []complex128 // ∂S/∂Γ of the point
}

// Prior is a normal distribution. Sigma 0: nothing is known.
type Prior struct{ Mean, Sigma float64 }

// The fitted quantities of a point.
const (
	ByFlat = iota
	ByRising
	ByFalling
	ByPlace
)

// ByBoth stands for ByFlat and ByRising together.
const ByBoth = -1

// Medium is a path sampled at the frequencies of a sweep.
type Medium struct {
	Path        *cables.Path
	FrequencyHz []float64
	Ratio       []float64      // q = f/f0
	MiddleHz    float64        // f0, the mean frequency
	Gamma       [][]complex128 // per span and frequency, 1/m
	Start       [][]complex128 // Θ at the start of each span
	Starts      []float64      // m
	Beta0       []float64      // per span: phase constant at f0, rad/m
}

// newMedium samples path at frequencyHz.
func newMedium(path *cables.Path, frequencyHz []float64) Medium {
	n := len(frequencyHz)
	m := Medium{Path: path, FrequencyHz: frequencyHz, Ratio: make([]float64, n)}
	for _, f := range frequencyHz {
		m.MiddleHz += f / float64(n)
	}
	for k, f := range frequencyHz {
		m.Ratio[k] = f / m.MiddleHz
	}
	theta := make([]complex128, n)
	for _, span := range path.Spans {
		gamma := make([]complex128, n)
		start := append([]complex128(nil), theta...)
		for k, f := range frequencyHz {
			gamma[k], _ = span.Medium.Wave(f)
			theta[k] += gamma[k] * complex(span.LengthM, 0)
		}
		m.Gamma = append(m.Gamma, gamma)
		m.Start = append(m.Start, start)
		m.Starts = append(m.Starts, span.StartM)
		middle, _ := span.Medium.Wave(m.MiddleHz)
		m.Beta0 = append(m.Beta0, imag(middle))
	}
	return m
}

// SpanAt is the index of the span that holds x.
func (m *Medium) SpanAt(x float64) int {
	i := sort.SearchFloat64s(m.Starts, x)
	if i < len(m.Starts) && m.Starts[i] == x {
		return i
	}
	return max(0, i-1)
}

// Phasors writes e^{−2Θ(f,x)} to dst.
func (m *Medium) Phasors(dst []complex128, x float64) {
	i := m.SpanAt(x)
	inside := x - m.Starts[i]
	gamma, start := m.Gamma[i], m.Start[i]
	for k := range dst {
		re := real(start[k]) + real(gamma[k])*inside
		im := imag(start[k]) + imag(gamma[k])*inside
		sin, cos := math.Sincos(-2 * im)
		e := math.Exp(-2 * re)
		dst[k] = complex(e*cos, e*sin)
	}
}

// Model is a line with points of reflection on it and a load behind them. All
// reflections are exact: what bounces between the points is in the model.
type Model struct {
	Medium
	Points []*Point // sorted by place
	Load   *Load    // nil: nothing comes back from behind the last point
	// Port is what is left of the instrument's own errors: S = e00 + Γ/(1 − e11·Γ),
	// e00 (directivity) and e11 (source match) slow functions of frequency,
	// given by their coefficients over Legendre polynomials. Source: D. Rytting,
	// "Network analyzer error models and calibration methods" (from memory).
	Port     [2][portTerms]complex128
	basis    [portTerms][]float64
	Input    []complex128 // Γ at the reference plane
	Match    []complex128 // e11
	Sum      []complex128 // S at the test port
	LoadGain []complex128 // ∂S/∂Γ at the load
}

// portTerms is how many terms of a polynomial in frequency, of degree 0 up,
// stand for a residual error of the instrument.
const portTerms = 3

const (
	Directivity = iota
	SourceMatch
)

// New returns the model of the bare path.
func New(path *cables.Path, frequencyHz []float64) Model {
	n := len(frequencyHz)
	m := Model{Medium: newMedium(path, frequencyHz), Input: make([]complex128, n), Match: make([]complex128, n),
		Sum: make([]complex128, n), LoadGain: make([]complex128, n)}
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

// NewPoint returns a point at x without reflection. It is not in the model yet.
func (m *Model) NewPoint(x float64, form Form) *Point {
	n := len(m.FrequencyHz)
	flat := make([]complex128, 6*n)
	p := &Point{X: x, Form: form}
	for i, dst := range []*[]complex128{&p.Phasor, &p.Reflect, &p.Through, &p.Local, &p.Back, &p.Gain} {
		*dst = flat[i*n : (i+1)*n : (i+1)*n]
	}
	m.Phasors(p.Phasor, x)
	m.Sample(p)
	return p
}

// Insert puts p among the points.
func (m *Model) Insert(p *Point) {
	i := sort.Search(len(m.Points), func(i int) bool { return m.Points[i].X > p.X })
	m.Points = append(m.Points, nil)
	copy(m.Points[i+1:], m.Points[i:])
	m.Points[i] = p
}

// Remove takes p out.
func (m *Model) Remove(p *Point) {
	for i, q := range m.Points {
		if q == p {
			m.Points = append(m.Points[:i], m.Points[i+1:]...)
			return
		}
	}
}

// Sample computes r and T of the point from its value.
func (m *Model) Sample(p *Point) {
	p.Rear = 1
	if p.Form == Step {
		p.Rear = -1
		r := p.Flat
		for k := range p.Reflect {
			if p.Rising != 0 {
				r = p.Flat * math.Exp(-p.Rising*math.Sqrt(m.Ratio[k]))
			}
			p.Reflect[k], p.Through[k] = complex(r, 0), complex(1-r*r, 0)
		}
		return
	}
	for k, q := range m.Ratio {
		v := complex(p.Flat, p.Rising*q-p.Falling/q)
		r := quotient(v, 2+v)
		if p.Form == Shunt {
			r = -r
			p.Reflect[k], p.Through[k] = r, (1+r)*(1+r)
		} else {
			p.Reflect[k], p.Through[k] = r, (1-r)*(1-r)
		}
	}
}

// Forward computes the sweep that the model predicts, and what each point
// sees. The recursion is that of a chain of scattering two-ports,
// Γ = r + T·u/(1 − r'·u), u the reflection from behind.
func (m *Model) Forward() {
	m.inward()
	// Gains from the port outwards.
	for i, p := range m.Points {
		if i == 0 {
			for k := range p.Gain {
				loop := 1 - m.Match[k]*m.Input[k]
				p.Gain[k] = quotient(p.Phasor[k], loop*loop)
			}
			continue
		}
		q := m.Points[i-1]
		rear := complex(q.Rear, 0)
		for k := range p.Gain {
			loop := 1 - rear*q.Reflect[k]*q.Back[k]
			p.Gain[k] = quotient(q.Gain[k]*q.Through[k]*p.Phasor[k], loop*loop*q.Phasor[k])
		}
	}
	if m.Load == nil {
		return
	}
	if len(m.Points) == 0 {
		for k := range m.LoadGain {
			loop := 1 - m.Match[k]*m.Input[k]
			m.LoadGain[k] = quotient(m.Load.Phasor[k], loop*loop)
		}
		return
	}
	q := m.Points[len(m.Points)-1]
	rear := complex(q.Rear, 0)
	for k := range m.LoadGain {
		loop := 1 - rear*q.Reflect[k]*q.Back[k]
		m.LoadGain[k] = quotient(q.Gain[k]*q.Through[k]*m.Load.Phasor[k], loop*loop*q.Phasor[k])
	}
}

// inward computes what the points see, from the load to the port, and the sum.
func (m *Model) inward() {
	for i := len(m.Points) - 1; i >= 0; i-- {
		p := m.Points[i]
		rear := complex(p.Rear, 0)
		switch {
		case i+1 < len(m.Points):
			q := m.Points[i+1]
			for k := range p.Back {
				p.Back[k] = quotient(q.Local[k]*q.Phasor[k], p.Phasor[k])
			}
		case m.Load != nil:
			for k := range p.Back {
				p.Back[k] = quotient(m.Load.Gamma[k]*m.Load.Phasor[k], p.Phasor[k])
			}
		default:
			clear(p.Back)
		}
		for k, u := range p.Back {
			r := p.Reflect[k]
			p.Local[k] = r + quotient(p.Through[k]*u, 1-rear*r*u)
		}
	}
	switch {
	case len(m.Points) > 0:
		first := m.Points[0]
		for k := range m.Input {
			m.Input[k] = first.Local[k] * first.Phasor[k]
		}
	case m.Load != nil:
		for k := range m.Input {
			m.Input[k] = m.Load.Gamma[k] * m.Load.Phasor[k]
		}
	default:
		clear(m.Input)
	}
	for k, g := range m.Input {
		e00, e11 := m.Port[Directivity][0], m.Port[SourceMatch][0]
		for i := 1; i < portTerms; i++ {
			b := m.basis[i][k]
			e00 += m.Port[Directivity][i] * complex(b, 0)
			e11 += m.Port[SourceMatch][i] * complex(b, 0)
		}
		m.Match[k] = e11
		m.Sum[k] = e00 + quotient(g, 1-e11*g)
	}
}

// derivative writes ∂S/∂(quantity) of point p to dst, after Forward.
func (m *Model) derivative(dst []complex128, p *Point, quantity int) {
	rear := complex(p.Rear, 0)
	if quantity == ByPlace {
		// Farther out, the point's own echo comes later; what is behind stays.
		gamma := m.Gamma[m.SpanAt(p.X)]
		for k := range dst {
			u := p.Back[k]
			loop := 1 - rear*p.Reflect[k]*u
			dst[k] = 2 * p.Gain[k] * gamma[k] * (quotient(p.Through[k]*u, loop*loop) - p.Local[k])
		}
		return
	}
	for k, q := range m.Ratio {
		r, u := p.Reflect[k], p.Back[k]
		loop := 1 - rear*r*u
		var drdv, dTdr complex128
		switch p.Form {
		case Series:
			drdv, dTdr = (1-r)*(1-r)/2, -2*(1-r)
		case Shunt:
			drdv, dTdr = -(1+r)*(1+r)/2, 2*(1+r)
		default:
			drdv, dTdr = 1, -2*r
		}
		d := p.Gain[k] * drdv * (1 + quotient(dTdr*u*loop+rear*p.Through[k]*u*u, loop*loop))
		switch {
		case p.Form == Step && quantity == ByFlat:
			dst[k] = d * complex(math.Exp(-p.Rising*math.Sqrt(q)), 0)
		case p.Form == Step:
			dst[k] = -d * r * complex(math.Sqrt(q), 0)
		case quantity == ByFlat:
			dst[k] = d
		case quantity == ByRising:
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
