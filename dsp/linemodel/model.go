package linemodel

import (
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
)

// Form says which two-port stands for a point of reflection. It fixes what the
// point lets through for what it throws back.
type Form int

const (
	Series  Form = iota // impedance z in series: r = z/(2+z), through 1−r
	Shunt               // admittance y across:   r = −y/(2+y), through 1+r
	Step                // change of impedance, or the end: r, through² 1−r²
	Wet                 // a stretch whose dielectric has taken up water
	Foreign             // a stretch of other cable
)

// Point is one place of reflection in the model. With q = f/f0, a point is a
// series impedance or a shunt admittance, relative to the line's,
//
//	z = Flat + j·(Rising·q − Falling/q)
//	y = Flat + Falling·q + j·Rising·q
//
// (a resistance, an inductance and a gap; a conductance, a lossy dielectric and
// a capacitance), or a step r = Flat·e^{−Rising·√q}, which may be the end of a
// line with more loss than its record.
//
// The two stretches begin at X and go on for Extent metres. A Wet one slows
// the wave by κ and lowers the impedance by the same factor,
//
//	κ(f) = (j·f/1 GHz)^{−δ/π}/(1 − Drop),  tan δ = Tangent
//
// (constant loss tangent with the dispersion that causality asks for: E.
// Kjartansson, J. Geophys. Res. 84(B9), 1979, from memory); its edges are
// tapered over Taper metres, which to first order in the small reflection
// multiplies it by sin(βT)/(βT). A Foreign one has Ratio times the impedance and
// LossScale times the attenuation, with sharp edges; its length and velocity
// cannot be told apart, so it goes at the record's velocity.
type Point struct {
	X                     float64 // m
	Flat, Rising, Falling float64
	Extent                float64 // m
	Drop, Ratio           float64
	Tangent, LossScale    float64
	Taper                 float64 // m
	Form                  Form
	Passive               bool              // keep Flat, Rising and Falling from falling below 0
	Fits                  Fitted            // which quantities are fitted
	Prior                 [quantities]Prior // what is known of them beforehand

	// Sampled at the model's frequencies by Sample, Phasors and Evaluate.
	Phasor  []complex128 // e^{−2Θ(f,x)}
	Reflect []complex128 // r
	Through []complex128 // T = S21·S12, over that of the line as recorded
	Behind  []complex128 // r', the reflection from behind, referred to X
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
	ByExtent
	ByDrop    // of a Foreign stretch: Ratio
	ByTangent // of a Foreign stretch: LossScale
	ByTaper
	quantities
)

// Fitted says which quantities are fitted.
type Fitted [quantities]bool

// Fitting marks the given quantities.
func Fitting(list ...int) (f Fitted) {
	for _, q := range list {
		f[q] = true
	}
	return f
}

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
	flat := make([]complex128, 7*n)
	p := &Point{X: x, Form: form}
	for i, dst := range []*[]complex128{&p.Phasor, &p.Reflect, &p.Through, &p.Behind, &p.Local, &p.Back, &p.Gain} {
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

// Sample computes r, T and r' of the point from its quantities.
func (m *Model) Sample(p *Point) {
	switch p.Form {
	case Step:
		r := p.Flat
		for k := range p.Reflect {
			if p.Rising != 0 {
				r = p.Flat * math.Exp(-p.Rising*math.Sqrt(m.Ratio[k]))
			}
			p.Reflect[k], p.Through[k], p.Behind[k] = complex(r, 0), complex(1-r*r, 0), complex(-r, 0)
		}
	case Series:
		for k, q := range m.Ratio {
			v := complex(p.Flat, p.Rising*q-p.Falling/q)
			r := quotient(v, 2+v)
			p.Reflect[k], p.Through[k], p.Behind[k] = r, (1-r)*(1-r), r
		}
	case Shunt:
		for k, q := range m.Ratio {
			v := complex(p.Flat+p.Falling*q, p.Rising*q)
			r := -quotient(v, 2+v)
			p.Reflect[k], p.Through[k], p.Behind[k] = r, (1+r)*(1+r), r
		}
	default:
		m.sampleStretch(p)
	}
}

// sampleStretch computes r, T and r' of a stretch: two opposite edges a with
// the wave e^{−γ'l} between them, l the way between the middles of the edges.
// From the recursion of two steps,
//
//	S11 = a·(1 − P²)/(1 − a²P²),  S21 = (1 − a²)·P/(1 − a²P²),  P = e^{−γ'l}
//
// referred to X, with the record's way through the stretch taken out, since
// the model counts that already.
func (m *Model) sampleStretch(p *Point) {
	taper := math.Min(math.Max(0, p.Taper), 0.9*p.Extent)
	length := p.Extent - taper
	from := p.X + taper/2
	at := m.SpanAt(from + length/2)
	velocity := cables.SpeedOfLight * m.Path.Spans[at].Medium.VelocityFactor
	first, last := m.SpanAt(from), m.SpanAt(from+length)
	delta := math.Atan(p.Tangent)
	for k, f := range m.FrequencyHz {
		// The record's way through the stretch.
		way := m.Start[last][k] + m.Gamma[last][k]*complex(from+length-m.Starts[last], 0) -
			m.Start[first][k] - m.Gamma[first][k]*complex(from-m.Starts[first], 0)
		kappa := complex128(1)
		ratio := complex(p.Ratio, 0)
		inside := complex(real(way)*p.LossScale, imag(way))
		if p.Form == Wet {
			size := math.Pow(f/1e9, -delta/math.Pi) / (1 - p.Drop)
			sin, cos := math.Sincos(-delta / 2)
			kappa = complex(size*cos, size*sin)
			ratio = quotient(1, kappa)
		}
		a := quotient(ratio-1, ratio+1)
		free := 2 * math.Pi * f / velocity
		if taper > 0 {
			turn := free * (1 + real(kappa)) / 2 * taper
			if turn > 1e-6 {
				a *= complex(math.Sin(turn)/turn, 0)
			}
		}
		if p.Form == Wet {
			inside = way + complex(0, free*length)*(kappa-1)
		}
		once := cmplx.Exp(-inside)
		square := once * once
		loop := 1 - a*a*square
		s11 := quotient(a*(1-square), loop)
		s21 := quotient((1-a*a)*once, loop)
		record := cmplx.Exp(way)
		lead := cmplx.Exp(-m.Gamma[first][k] * complex(taper, 0)) // to the middle of the edge and back
		p.Reflect[k] = s11 * lead
		s21 *= record
		p.Through[k] = s21 * s21
		p.Behind[k] = quotient(s11*record*record, lead)
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
		for k := range p.Gain {
			loop := 1 - q.Behind[k]*q.Back[k]
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
	for k := range m.LoadGain {
		loop := 1 - q.Behind[k]*q.Back[k]
		m.LoadGain[k] = quotient(q.Gain[k]*q.Through[k]*m.Load.Phasor[k], loop*loop*q.Phasor[k])
	}
}

// inward computes what the points see, from the load to the port, and the sum.
func (m *Model) inward() {
	for i := len(m.Points) - 1; i >= 0; i-- {
		p := m.Points[i]
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
			p.Local[k] = p.Reflect[k] + quotient(p.Through[k]*u, 1-p.Behind[k]*u)
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
	if quantity == ByPlace {
		// Farther out, the point's own echo comes later; what is behind stays.
		gamma := m.Gamma[m.SpanAt(p.X)]
		for k := range dst {
			u := p.Back[k]
			loop := 1 - p.Behind[k]*u
			dst[k] = 2 * p.Gain[k] * gamma[k] * (quotient(p.Through[k]*u, loop*loop) - p.Local[k])
		}
		return
	}
	if p.Form == Wet || p.Form == Foreign {
		m.stretchDerivative(dst, p, quantity)
		return
	}
	for k, q := range m.Ratio {
		r, u := p.Reflect[k], p.Back[k]
		loop := 1 - p.Behind[k]*u
		var drdv, dTdr complex128
		dBehind := complex128(1)
		switch p.Form {
		case Series:
			drdv, dTdr = (1-r)*(1-r)/2, -2*(1-r)
		case Shunt:
			drdv, dTdr = -(1+r)*(1+r)/2, 2*(1+r)
		default:
			drdv, dTdr, dBehind = 1, -2*r, -1
		}
		d := p.Gain[k] * drdv * (1 + quotient(dTdr*u*loop+dBehind*p.Through[k]*u*u, loop*loop))
		switch {
		case p.Form == Step && quantity == ByFlat:
			dst[k] = d * complex(math.Exp(-p.Rising*math.Sqrt(q)), 0)
		case p.Form == Step:
			dst[k] = -d * r * complex(math.Sqrt(q), 0)
		case quantity == ByFlat:
			dst[k] = d
		case quantity == ByRising:
			dst[k] = d * complex(0, q)
		case p.Form == Shunt:
			dst[k] = d * complex(q, 0)
		default:
			dst[k] = d * complex(0, -1/q)
		}
	}
}

// ExcessM is how much farther out, in metres of the record, what lies behind a
// stretch seems to be: (κ − 1) times its length, κ at 1 GHz; 0 for a point.
func (p *Point) ExcessM() float64 {
	if p.Form != Wet {
		return 0
	}
	return p.Drop / (1 - p.Drop) * math.Max(0, p.Extent-p.Taper)
}

// stretchDerivative is derivative for a stretch, by a small step of the
// quantity: its two-port is not worth differentiating by hand.
func (m *Model) stretchDerivative(dst []complex128, p *Point, quantity int) {
	const step = 1e-5
	v := p.quantity(quantity)
	held := *v
	*v += step
	local := append([]complex128(nil), p.Local...)
	m.Sample(p)
	for k, u := range p.Back {
		moved := p.Reflect[k] + quotient(p.Through[k]*u, 1-p.Behind[k]*u)
		dst[k] = p.Gain[k] * (moved - local[k]) / step
	}
	*v = held
	m.Sample(p)
}

// quotient is a/b for finite operands; the language's own division also
// minds infinities, at several times the cost.
func quotient(a, b complex128) complex128 {
	s := 1 / (real(b)*real(b) + imag(b)*imag(b))
	return complex((real(a)*real(b)+imag(a)*imag(b))*s, (imag(a)*real(b)-real(a)*imag(b))*s)
}
