package linemodel

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"downlead/cables"
	"downlead/dsp"
)

// Form says which two-port stands for a point of reflection. It fixes what the
// point lets through for what it throws back.
type Form int

const (
	Series   Form = iota // impedance z in series: r = z/(2+z), through 1−r
	Shunt                // admittance y across:   r = −y/(2+y), through 1+r
	Step                 // change of impedance, or the end: r, through² 1−r²
	Wet                  // a stretch whose dielectric has taken up water
	Foreign              // a stretch of other cable
	Edgeless             // what a Wet stretch does to a wave that passes it, all at one place, and no reflection
	OpenEnd              // the line ends in admittance y: r = (1−y)/(1+y), nothing through
	ShortEnd             // the line ends in impedance z: r = (z−1)/(z+1), nothing through
)

// Ends says whether nothing passes such a point.
func (f Form) Ends() bool { return f == OpenEnd || f == ShortEnd }

// Point is one place of reflection in the model. With q = f/f0, a point is a
// series impedance or a shunt admittance, relative to the line's,
//
//	z = Flat + j·(Rising·q − Falling/q)
//	y = Flat + Falling·q + j·Rising·q
//
// (a resistance, an inductance and a gap; a conductance, a lossy dielectric and
// a capacitance), or a step r = Flat·e^{−Rising·√q}, which may be the end of a
// line with more loss than its record, as far as its size goes: a free step has
// no phase of its own, or its place would be free. At the two ends
//
//	y, z = Flat + j·Rising·q      r as above, times e^{−Falling·λ}
//
// where Flat and Rising, never below 0, are what leaks across an open end and its
// stray capacitance, or the resistance and the inductance of a short, and Falling
// is loss on the way there and back beyond the record, or less of it (D. M.
// Pozar, "Microwave Engineering", 4th ed., ch. 2.3, from memory). Such loss goes
// by the law of the line's own,
//
//	λ = c·√q·(1+j) + (1−c)·q
//
// c the conductors' share of it at f0: more resistance comes with as much more
// internal reactance.
//
// The two stretches begin at X and go on for Extent metres. A Wet one slows
// the wave by κ and lowers the impedance by the same factor,
//
//	κ(f) = (j·f/1 GHz)^{−δ/π}/(1 − Drop),  tan δ = Tangent
//
// (constant loss tangent with the dispersion that causality asks for: E.
// Kjartansson, J. Geophys. Res. 84(B9), 1979, from memory); its edges are
// tapered over Taper metres, which to first order in the small reflection
// multiplies it by sin(βT)/(βT), or, Round, by that of a raised cosine. A Foreign
// one has Ratio times the impedance, with sharp edges. They tell how long the wave
// is under way in it alone: Extent is the record's way of that delay. What lies
// behind seems to be Shift farther out for it, so it is Extent − Shift long. Over
// that length it loses LossScale times what the record's cable does. An Edgeless one stands for wet cable
// whose place is not known: Extent metres of it, at X.
type Point struct {
	X                     float64 // m
	Flat, Rising, Falling float64
	Extent                float64 // m
	Drop, Ratio           float64
	Tangent, LossScale    float64
	Taper, Shift          float64 // m
	Round                 bool    // the taper is a raised cosine, not straight
	// Inside says how a Wet stretch is uneven: by how much its impedance is higher,
	// relative, at as many places, evenly spaced between the middles of its edges.
	// To first order in them each reflects by
	//
	//	j·sin²(β'h)/(β'h)·Inside
	//
	// as a triangle of the impedance's logarithm does whose half width h is the
	// spacing, or a quarter wave at the top of the band where that is less.
	Inside      []float64
	InsideSigma float64 // what is known of them beforehand: 0 ± InsideSigma
	FitsInside  bool
	Form        Form
	Passive     bool              // keep of Flat, Rising and Falling those without a prior from falling below 0
	Fits        Fitted            // which quantities are fitted
	Prior       [quantities]Prior // what is known of them beforehand

	// Sampled at the model's frequencies by Sample, Move and Evaluate, the gain by
	// Gains.
	Phasor  []complex128 // e^{−2Θ(f,x)}
	Reflect []complex128 // r
	Through []complex128 // T = S21·S12, over that of the line as recorded
	Behind  []complex128 // r', the reflection from behind, referred to X
	Local   []complex128 // Γ looking into the point from the left
	Back    []complex128 // u, what comes back from behind the point
	Gain    []complex128 // ∂S/∂Γ of the point

	inside [][]complex128 // of each place of Inside: what a unit of it reflects, from X
	undo   []complex128   // 1/Phasor
	loop   []complex128   // 1/(1 − r'·u)
	stamp  int            // changes with whatever Sample and Move compute
	ways   *ways          // of a stretch
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
	ByShift
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
	rising      []complex128   // j·q
	MiddleHz    float64        // f0, the mean frequency
	Gamma       [][]complex128 // per span and frequency, 1/m
	Start       [][]complex128 // Θ at the start of each span
	Starts      []float64      // m
	Beta0       []float64      // per span: phase constant at f0, rad/m
	root        []float64      // √q
	octaves     []float64      // ln(f/1 GHz)
	reactive    [][]complex128 // per span and frequency: Zc over its high-frequency limit
	loss        []complex128   // λ
	circle      *circle
}

// newMedium samples path at frequencyHz.
func newMedium(path *cables.Path, frequencyHz []float64) Medium {
	n := len(frequencyHz)
	m := Medium{Path: path, FrequencyHz: frequencyHz, Ratio: make([]float64, n), rising: make([]complex128, n), root: make([]float64, n), octaves: make([]float64, n), circle: newCircle()}
	for _, f := range frequencyHz {
		m.MiddleHz += f / float64(n)
	}
	for k, f := range frequencyHz {
		m.Ratio[k] = f / m.MiddleHz
		m.rising[k] = complex(0, m.Ratio[k])
		m.root[k] = math.Sqrt(m.Ratio[k])
		m.octaves[k] = math.Log(f / 1e9)
	}
	m.loss = make([]complex128, n)
	c := conductorShare(path, m.MiddleHz)
	for k, q := range m.Ratio {
		m.loss[k] = complex(c*math.Sqrt(q)+(1-c)*q, c*math.Sqrt(q))
	}
	theta := make([]complex128, n)
	for _, span := range path.Spans {
		gamma := make([]complex128, n)
		start := append([]complex128(nil), theta...)
		reactive := make([]complex128, n)
		for k, f := range frequencyHz {
			gamma[k], reactive[k] = span.Medium.Wave(f)
			reactive[k] /= complex(span.Medium.ImpedanceOhm, 0)
			theta[k] += gamma[k] * complex(span.LengthM, 0)
		}
		m.reactive = append(m.reactive, reactive)
		m.Gamma = append(m.Gamma, gamma)
		m.Start = append(m.Start, start)
		m.Starts = append(m.Starts, span.StartM)
		middle, _ := span.Medium.Wave(m.MiddleHz)
		m.Beta0 = append(m.Beta0, imag(middle))
	}
	return m
}

// conductorShare is the share of the loss of path at frequencyHz that its
// conductors have; 1 for a path without loss.
func conductorShare(path *cables.Path, frequencyHz float64) float64 {
	conductors, all := 0.0, 0.0
	for _, span := range path.Spans {
		conductors += span.Medium.ConductorNp * math.Sqrt(frequencyHz) * span.LengthM
		all += span.Medium.AttenuationNp(frequencyHz) * span.LengthM
	}
	if all == 0 {
		return 1
	}
	return conductors / all
}

// SpanAt is the index of the span that holds x.
func (m *Medium) SpanAt(x float64) int {
	i := sort.SearchFloat64s(m.Starts, x)
	if i < len(m.Starts) && m.Starts[i] == x {
		return i
	}
	return max(0, i-1)
}

// phasors writes e^{−2Θ(f,x)} to dst and, unless that is nil, its inverse to
// undo.
func (m *Medium) phasors(dst, undo []complex128, x float64) {
	i := m.SpanAt(x)
	inside := -2 * (x - m.Starts[i])
	gamma, start := m.Gamma[i], m.Start[i]
	dsp.Blend(dst, inside, gamma, -2, start)
	if undo == nil {
		dsp.Exp(dst, dst)
		return
	}
	dsp.ExpBoth(dst, undo, dst)
}

// Way writes e^{−2γ·length} of the cable in a span to dst: what a way of so many
// metres there and back does to a wave.
func (m *Medium) Way(dst []complex128, span int, lengthM float64) {
	dsp.Scale(dst, -2*lengthM, m.Gamma[span])
	dsp.Exp(dst, dst)
}

// Turn returns e^{jφ} to some 1e-15, faster than the library does.
func (m *Medium) Turn(phi float64) complex128 { return m.circle.at(phi) }

// Model is a line with points of reflection on it and a load behind them. All
// reflections are exact: what bounces between the points is in the model.
type Model struct {
	Medium
	Points []*Point // sorted by place
	Load   *Load    // nil: nothing comes back from behind the last point
	// Port is what is left of the instrument's own errors: S = e00 + (1 + t)·Γ/(1 − e11·Γ),
	// e00 (directivity), e11 (source match) and t (tracking) slow functions of frequency,
	// given by their coefficients over Legendre polynomials. Source: D. Rytting,
	// "Network analyzer error models and calibration methods" (from memory).
	Port     [portErrors][portTerms]complex128
	basis    [portTerms][]float64 // of the terms in use
	terms    int
	spread   [portTerms]float64 // of the terms' sizes, of an error of size 1
	Input    []complex128       // Γ at the reference plane
	Match    []complex128       // e11
	Sum      []complex128       // S at the test port
	LoadGain []complex128       // ∂S/∂Γ at the load, by Gains

	portLoop    []complex128                      // 1/(1 − e11·Γ)
	leaks, ones []complex128                      // e00, and 1 throughout
	tracks      []complex128                      // 1 + t
	sampled     [portErrors][portTerms]complex128 // what these and Match belong to
	left        []complex128                      // of beyond
	slow, slip  []complex128                      // of a stretch: κ, and what it does to a wave besides the record
	next        []complex128                      // of an uneven one
	moved       [3][]complex128                   // of stretchDerivative
	movedInside [][]complex128
	movedWays   ways
	clock       int
	seen        seen // what inward has computed last
	gained      int  // how many points' gains belong to that
	loadGain    bool // whether the load's does
}

// seen is what the model was when it was evaluated last: what lies behind the
// last change looks the same to what is in front of it.
type seen struct {
	valid  bool
	points []stamped
	load   *Load
	stamp  int
	port   [portErrors][portTerms]complex128
}

type stamped struct {
	point *Point
	stamp int
}

// New returns the model of the bare path.
func New(path *cables.Path, frequencyHz []float64) Model {
	n := len(frequencyHz)
	m := Model{Medium: newMedium(path, frequencyHz), Input: make([]complex128, n), Match: make([]complex128, n),
		Sum: make([]complex128, n), LoadGain: make([]complex128, n), portLoop: make([]complex128, n)}
	m.spread, m.terms = [portTerms]float64{1, 1, 1}, portFew
	m.legendre()
	return m
}

// NewPoint returns a point at x without reflection. It is not in the model yet.
func (m *Model) NewPoint(x float64, form Form) *Point { return m.Copy(&Point{X: x, Form: form}) }

// Copy returns a point with the quantities, form and priors of q, which may be of another
// model, and need be of none. It is not in the model yet.
func (m *Model) Copy(q *Point) *Point {
	n := len(m.FrequencyHz)
	flat := make([]complex128, 9*n)
	p := new(Point)
	p.CopyFrom(q)
	for i, dst := range []*[]complex128{&p.Phasor, &p.Reflect, &p.Through, &p.Behind, &p.Local, &p.Back, &p.Gain, &p.undo, &p.loop} {
		*dst = flat[i*n : (i+1)*n : (i+1)*n]
	}
	m.Move(p)
	m.Sample(p)
	return p
}

// Move takes over a new place of p; that of a stretch also wants Sample.
func (m *Model) Move(p *Point) {
	m.clock++
	p.stamp = m.clock
	m.phasors(p.Phasor, p.undo, p.X)
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
	m.clock++
	p.stamp = m.clock
	switch p.Form {
	case Step:
		m.fade(p.Reflect, p.Rising)
		for k, v := range p.Reflect {
			r := p.Flat * real(v)
			p.Reflect[k], p.Through[k], p.Behind[k] = complex(r, 0), complex(1-r*r, 0), complex(-r, 0)
		}
	case Series:
		for k, q := range m.Ratio {
			p.Reflect[k] = complex(p.Flat, p.Rising*q-p.Falling/q)
		}
		dsp.Lumped(p.Reflect, p.Through, p.Reflect)
		copy(p.Behind, p.Reflect)
	case Shunt:
		for k, q := range m.Ratio {
			p.Reflect[k] = complex(p.Flat+p.Falling*q, p.Rising*q)
		}
		dsp.Lumped(p.Reflect, p.Through, p.Reflect)
		for k, r := range p.Reflect {
			p.Reflect[k] = -r
		}
		copy(p.Behind, p.Reflect)
	case OpenEnd, ShortEnd:
		for k, q := range m.Ratio {
			p.Behind[k] = complex(p.Flat, p.Rising*q)
		}
		if p.Form == OpenEnd {
			dsp.Mismatch(p.Reflect, m.unit(), p.Behind)
		} else {
			dsp.Mismatch(p.Reflect, p.Behind, m.unit())
		}
		dsp.Multiply(p.Reflect, p.Reflect, m.beyond(p.Falling))
		clear(p.Through)
		clear(p.Behind)
	default:
		if p.ways == nil {
			p.ways = &ways{}
		}
		m.sampleStretch(p, p.ways, &p.inside, p.Reflect, p.Through, p.Behind)
	}
}

// fade writes e^{−np·√q} to dst.
func (m *Model) fade(dst []complex128, np float64) {
	for k, root := range m.root {
		dst[k] = complex(-np*root, 0)
	}
	dsp.Exp(dst, dst)
}

// beyond returns what loss on the way there and back beyond the record, np at the
// middle of the span, leaves of a wave; valid until it is called again.
func (m *Model) beyond(np float64) []complex128 {
	if m.left == nil {
		m.left = make([]complex128, len(m.loss))
	}
	dsp.Scale(m.left, -np, m.loss)
	dsp.Exp(m.left, m.left)
	return m.left
}

// Forward computes the sweep that the model predicts, and what each point
// sees. The recursion is that of a chain of scattering two-ports,
// Γ = r + T·u/(1 − r'·u), u the reflection from behind.
func (m *Model) Forward() {
	m.seen.valid = false
	m.inward()
	m.Gains()
}

// inward computes what the points see, from the load to the port, and the sum,
// as far as anything has changed since it did so last.
func (m *Model) inward() {
	m.order()
	s := &m.seen
	n := len(m.Points)
	same := 0 // points from the load that see what they saw
	if s.valid && s.load == m.Load && (m.Load == nil || s.stamp == m.Load.stamp) {
		for same < min(n, len(s.points)) {
			was := s.points[len(s.points)-1-same]
			if p := m.Points[n-1-same]; p != was.point || p.stamp != was.stamp {
				break
			}
			same++
		}
		if same == n && len(s.points) == n && s.port == m.Port {
			return
		}
	}
	for i := n - 1 - same; i >= 0; i-- {
		p := m.Points[i]
		switch {
		case i+1 < n:
			q := m.Points[i+1]
			dsp.Chain(p.Back, p.loop, p.Local, q.Local, q.Phasor, p.undo, p.Reflect, p.Through, p.Behind)
		case m.Load != nil:
			dsp.Chain(p.Back, p.loop, p.Local, m.Load.Gamma, m.Load.Phasor, p.undo, p.Reflect, p.Through, p.Behind)
		default:
			clear(p.Back)
			copy(p.Local, p.Reflect)
			for k := range p.loop {
				p.loop[k] = 1
			}
		}
	}
	m.samplePort()
	ones := m.unit()
	switch {
	case n > 0:
		first := m.Points[0]
		dsp.Chain(m.Input, m.portLoop, m.Sum, first.Local, first.Phasor, ones, m.leaks, m.tracks, m.Match)
	case m.Load != nil:
		dsp.Chain(m.Input, m.portLoop, m.Sum, m.Load.Gamma, m.Load.Phasor, ones, m.leaks, m.tracks, m.Match)
	default:
		clear(m.Input)
		copy(m.Sum, m.leaks)
		copy(m.portLoop, ones)
	}
	m.gained, m.loadGain = 0, false
	s.valid, s.load, s.port, s.points = true, m.Load, m.Port, s.points[:0]
	if m.Load != nil {
		s.stamp = m.Load.stamp
	}
	for _, p := range m.Points {
		s.points = append(s.points, stamped{p, p.stamp})
	}
}

// unit is 1 throughout.
func (m *Model) unit() []complex128 {
	if m.ones == nil {
		m.ones = make([]complex128, len(m.Ratio))
		for k := range m.ones {
			m.ones[k] = 1
		}
	}
	return m.ones
}

// order sorts the points by place again: a fit moves them, and what passes one
// point does not reach it a second time from behind.
func (m *Model) order() {
	byPlace := func(a, b *Point) int { return cmp.Compare(a.X, b.X) }
	if !slices.IsSortedFunc(m.Points, byPlace) {
		slices.SortStableFunc(m.Points, byPlace)
	}
}

// Gains computes the gains of all points and of the load, where Evaluate has
// left them behind.
func (m *Model) Gains() {
	m.gains(len(m.Points))
	if m.Load == nil || m.loadGain {
		return
	}
	m.loadGain = true
	if len(m.Points) == 0 {
		m.enter(m.LoadGain, m.Load.Phasor)
		return
	}
	q := m.Points[len(m.Points)-1]
	dsp.Pass(m.LoadGain, q.Gain, q.Through, q.loop, q.undo, m.Load.Phasor)
}

// gains computes the gains of the first count points, from the port outwards.
func (m *Model) gains(count int) {
	if m.tracks == nil { // never evaluated
		m.samplePort()
	}
	for i := m.gained; i < count; i++ {
		p := m.Points[i]
		if i == 0 {
			m.enter(p.Gain, p.Phasor)
			continue
		}
		q := m.Points[i-1]
		dsp.Pass(p.Gain, q.Gain, q.Through, q.loop, q.undo, p.Phasor)
	}
	m.gained = max(m.gained, count)
}

// enter writes to dst the gain of what the wave meets first, its phasor being given.
func (m *Model) enter(dst, phasor []complex128) {
	dsp.Multiply(dst, phasor, m.portLoop)
	dsp.Multiply(dst, dst, m.portLoop)
	dsp.Multiply(dst, dst, m.tracks)
}

// GainAt writes to dst what the gain of a point at x would be, had the model,
// which must be evaluated, one there.
func (m *Model) GainAt(dst []complex128, x float64) {
	m.phasors(dst, nil, x)
	i := sort.Search(len(m.Points), func(i int) bool { return m.Points[i].X > x })
	m.gains(i)
	if i == 0 {
		for k, loop := range m.portLoop {
			dst[k] *= loop * loop * m.tracks[k]
		}
		return
	}
	q := m.Points[i-1]
	dsp.Pass(dst, q.Gain, q.Through, q.loop, q.undo, dst)
}

// gainsOf computes the gains of the points in list.
func (m *Model) gainsOf(list []parameter) {
	last := 0
	for i, p := range m.Points {
		for _, item := range list {
			if item.point == p {
				last = i + 1
				break
			}
		}
	}
	m.gains(last)
}

// derivative writes ∂S/∂(quantity) of point p to dst; the gain of p must be
// there. flat is what it wrote for ByFlat of p, nil where that was not asked.
func (m *Model) derivative(dst []complex128, p *Point, quantity int, flat []complex128) {
	switch {
	case quantity == ByPlace:
		// Farther out, the point's own echo comes later; what is behind stays.
		dsp.Moved(dst, p.Gain, m.Gamma[m.SpanAt(p.X)], p.Through, p.Back, p.loop, p.Local)
	case p.Form == Wet || p.Form == Foreign || p.Form == Edgeless:
		m.stretchDerivative(dst, p, quantity)
	case p.Form == Step:
		m.stepDerivative(dst, p, quantity)
	case p.Form.Ends() && quantity == ByFalling:
		for k, g := range p.Reflect {
			dst[k] = -p.Gain[k] * g * m.loss[k]
		}
	default:
		if flat == nil {
			m.flatDerivative(dst, p)
			flat = dst
		}
		switch {
		case quantity == ByRising:
			dsp.Multiply(dst, flat, m.rising)
		case quantity == ByFalling && p.Form == Shunt:
			dsp.Weigh(dst, flat, m.Ratio)
		case quantity == ByFalling:
			for k, q := range m.Ratio {
				dst[k] = complex(imag(flat[k])/q, -real(flat[k])/q)
			}
		}
	}
}

// flatDerivative is derivative ByFlat for a lumped circuit or an end.
func (m *Model) flatDerivative(dst []complex128, p *Point) {
	switch p.Form {
	case Series: // of Γ = (Z−1)/(Z+1), Z the impedance in series and behind: 2/(Z+1)² = (1−Γ)²/2
		dsp.Lateral(dst, p.Gain, p.Local, -1, 0.5)
	case Shunt: // of Γ = (1−Y)/(1+Y): −2/(1+Y)² = −(1+Γ)²/2
		dsp.Lateral(dst, p.Gain, p.Local, 1, -0.5)
	default: // as across the line with nothing behind, and in series with a short behind
		sign := complex(1, 0)
		if p.Form == ShortEnd {
			sign = -1
		}
		beyond := m.beyond(p.Falling)
		for k, g := range p.Reflect {
			left := beyond[k]
			g = 1 + sign*quotient(g, left)
			dst[k] = p.Gain[k] * g * g * left * sign * -0.5
		}
	}
}

// stepDerivative is derivative for a step, of Γ = (r+u)/(1+r·u).
func (m *Model) stepDerivative(dst []complex128, p *Point, quantity int) {
	for k, u := range p.Back {
		loop := p.loop[k]
		dst[k] = p.Gain[k] * (1 - u*u) * loop * loop
	}
	switch {
	case quantity != ByFlat:
		for k := range m.Ratio {
			dst[k] *= -p.Reflect[k] * complex(m.root[k], 0)
		}
	case p.Rising != 0:
		if m.left == nil {
			m.left = make([]complex128, len(m.loss))
		}
		m.fade(m.left, p.Rising)
		dsp.Multiply(dst, dst, m.left)
	}
}

// quotient is a/b for finite operands; the language's own division also
// minds infinities, at several times the cost.
func quotient(a, b complex128) complex128 {
	s := 1 / (real(b)*real(b) + imag(b)*imag(b))
	return complex((real(a)*real(b)+imag(a)*imag(b))*s, (imag(a)*real(b)-real(a)*imag(b))*s)
}
