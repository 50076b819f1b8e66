package linemodel

import (
	"math"

	"downlead/cables"
	"downlead/dsp"
)

// ways are the factors of a stretch's two-port that depend on where its edges
// are alone.
type ways struct {
	from, length float64         // between the middles of the edges, m
	once         []complex128    // e^{−Θ} of the record's way through the stretch
	back         []complex128    // its inverse, squared
	loss         []float64       // real part of Θ
	taper        float64         // m
	span         int             // where the first edge begins
	lead         [2][]complex128 // to the middle of the first edge and back, and its inverse
}

// prepare computes of w what is not there yet for such edges.
func (m *Model) prepare(w *ways, from, length, taper float64) {
	n := len(m.FrequencyHz)
	first, last := m.SpanAt(from), m.SpanAt(from+length)
	if w.once == nil || w.from != from || w.length != length {
		if w.once == nil {
			w.once, w.back, w.loss = make([]complex128, n), make([]complex128, n), make([]float64, n)
		}
		w.from, w.length = from, length
		start, end := from-m.Starts[first], from+length-m.Starts[last]
		gammas, starts, ends := m.Gamma[last][:n], m.Start[first][:n], m.Start[last][:n]
		once, loss := w.once[:n], w.loss[:n]
		for k, a := range m.Gamma[first] {
			b, p, q := gammas[k], starts[k], ends[k]
			l := real(q) + real(b)*end - real(p) - real(a)*start
			loss[k] = l
			once[k] = complex(-l, imag(p)+imag(a)*start-imag(q)-imag(b)*end)
		}
		dsp.ExpBoth(w.once, w.back, w.once)
		dsp.Multiply(w.back, w.back, w.back)
	}
	if w.lead[0] == nil || w.taper != taper || w.span != first {
		if w.lead[0] == nil {
			w.lead = [2][]complex128{make([]complex128, n), make([]complex128, n)}
		}
		w.taper, w.span = taper, first
		dsp.Scale(w.lead[0], -taper, m.Gamma[first])
		dsp.ExpBoth(w.lead[0], w.lead[1], w.lead[0])
	}
}

// sampleStretch computes r, T and r' of a stretch: two opposite edges a with
// the wave P between them,
//
//	S11 = a·(1 − P²)/(1 − a²P²),  S21 = (1 − a²)·P/(1 − a²P²),  P = e^{−γ'l}
//
// (from the recursion of two steps) referred to X, with the record's way
// through the stretch taken out, since the model counts that already. inside
// takes what each place of Inside reflects, from the middle of the first edge.
func (m *Model) sampleStretch(p *Point, w *ways, inside *[][]complex128, reflect, through, behind []complex128) {
	switch p.Form {
	case Wet:
		m.sampleWet(p, w, inside, reflect, through, behind)
	case Edgeless:
		m.sampleEdgeless(p, reflect, through, behind)
	default:
		m.sampleForeign(p, w, reflect, through, behind)
	}
}

// sampleWet takes l to be the way between the middles of the edges. Each of the
// two tapers can take up half of the extent.
func (m *Model) sampleWet(p *Point, w *ways, inside *[][]complex128, reflect, through, behind []complex128) {
	taper := math.Min(math.Max(0, p.Taper), p.Extent/2)
	length := p.Extent - taper
	from := p.X + taper/2
	m.prepare(w, from, length, taper)
	velocity := m.VelocityAt(from + length/2)
	places := len(p.Inside)
	gamma := m.Gamma[m.SpanAt(from+length/2)]
	for len(*inside) < places {
		*inside = append(*inside, make([]complex128, len(m.FrequencyHz)))
	}
	spacing := length / float64(places+1)
	half := math.Min(spacing, velocity*(1-p.Drop)/m.FrequencyHz[len(m.FrequencyHz)-1]/4)
	m.slowing(p, length, velocity)
	if places > 0 { // the way from one place inside to the next and back
		if m.next == nil {
			m.next = make([]complex128, len(m.FrequencyHz))
		}
		for k, f := range m.FrequencyHz {
			free := 2 * math.Pi * f / velocity
			m.next[k] = complex(-2*spacing*(real(gamma[k])-free*imag(m.slow[k])), -2*spacing*(imag(gamma[k])+free*(real(m.slow[k])-1)))
		}
		dsp.Exp(m.next, m.next)
	}
	dsp.Mismatch(reflect, m.unit(), m.slow)
	if taper > 0 {
		for k, f := range m.FrequencyHz {
			turn := 2 * math.Pi * f / velocity * (1 + real(m.slow[k])) / 2 * taper
			if turn <= 1e-6 {
				continue
			}
			var left float64
			if p.Round {
				left = m.RoundEdge(turn)
			} else {
				left = imag(m.circle.at(turn)) / turn
			}
			reflect[k] = complex(left*real(reflect[k]), left*imag(reflect[k]))
		}
	}
	dsp.Stretch(reflect, through, reflect, w.once, m.slip)
	copy(behind, reflect)
	if places > 0 {
		m.addInside(p, half, velocity, gamma, *inside, reflect, behind)
	}
	dsp.Multiply(reflect, reflect, w.lead[0])
	for k, v := range w.back {
		behind[k] *= v * w.lead[1][k]
	}
}

// VelocityAt is that of the cable at x, m/s.
func (m *Model) VelocityAt(x float64) float64 {
	return cables.SpeedOfLight * m.Path.Spans[m.SpanAt(x)].Medium.VelocityFactor
}

// slowing computes κ of wet cable, slow, and what so many metres of it do to the wave besides the record's
// way, slip.
func (m *Model) slowing(p *Point, length, velocity float64) {
	if m.slip == nil {
		m.slow, m.slip = make([]complex128, len(m.FrequencyHz)), make([]complex128, len(m.FrequencyHz))
	}
	delta := math.Atan(p.Tangent)
	sin, cos := math.Sincos(-delta / 2)
	dry := math.Log1p(-p.Drop)
	for k, v := range m.octaves {
		m.slow[k] = complex(-delta/math.Pi*v-dry, 0)
	}
	dsp.Exp(m.slow, m.slow)
	for k, f := range m.FrequencyHz {
		free := 2 * math.Pi * f / velocity * length
		size := real(m.slow[k])
		m.slow[k] = complex(size*cos, size*sin)
		m.slip[k] = complex(free*size*sin, -free*(size*cos-1))
	}
	dsp.Exp(m.slip, m.slip)
}

// sampleEdgeless lets the wave pass as wet cable does, there and back.
func (m *Model) sampleEdgeless(p *Point, reflect, through, behind []complex128) {
	m.slowing(p, p.Extent, m.VelocityAt(p.X))
	for k, once := range m.slip {
		reflect[k], through[k], behind[k] = 0, once*once, 0
	}
}

// addInside fills inside, a row per place, and adds to the reflection from either
// side what the places reflect, with κ and the way from one place to the next as sampleWet
// has computed them.
func (m *Model) addInside(p *Point, half, velocity float64, gamma []complex128, inside [][]complex128, reflect, behind []complex128) {
	places := len(p.Inside)
	first := inside[0]
	for k, f := range m.FrequencyHz {
		slowed := imag(gamma[k]) + 2*math.Pi*f/velocity*(real(m.slow[k])-1)
		u := imag(m.circle.at(slowed * half))
		first[k] = complex(0, u*u/(slowed*half)) * m.next[k]
	}
	for i := 1; i < places; i++ {
		dsp.Multiply(inside[i], inside[i-1], m.next)
	}
	for i, v := range p.Inside {
		dsp.Blend(reflect, 1, reflect, v, inside[i])
		dsp.Blend(behind, 1, behind, v, inside[places-1-i])
	}
}

// sampleForeign scales what the record's cable loses, by its own law; the share
// of the conductors slows the wave and turns the impedance with it (skin effect,
// see package cables): to first order Zc'/Z' − 1 ∝ α'/β'.
func (m *Model) sampleForeign(p *Point, w *ways, reflect, through, behind []complex128) {
	length := math.Max(leastStretchM, p.LengthM())
	m.prepare(w, p.X, length, 0)
	at := m.SpanAt(p.X + length/2)
	medium := m.Path.Spans[at].Medium
	delay := m.Path.DelayS(p.X, p.X+math.Max(leastStretchM, p.Extent))
	conductors := p.LossScale * medium.ConductorNp * length
	turned := complex(p.LossScale*m.Path.DelayS(p.X, p.X+length)/delay, 0)
	if m.slip == nil {
		m.slow, m.slip = make([]complex128, len(m.FrequencyHz)), make([]complex128, len(m.FrequencyHz))
	}
	root := conductors * math.Sqrt(m.MiddleHz)
	for k, f := range m.FrequencyHz {
		m.slip[k] = complex(-p.LossScale*w.loss[k], -2*math.Pi*f*delay-root*m.root[k])
	}
	dsp.Exp(m.slip, m.slip)
	for k, line := range m.reactive[at] {
		zc := 1 + turned*(line-1)
		reflect[k] = complex(p.Ratio*real(zc), p.Ratio*imag(zc))
	}
	dsp.Mismatch(reflect, reflect, m.reactive[at])
	dsp.Stretch(reflect, through, reflect, m.unit(), m.slip)
	dsp.Multiply(through, through, w.back)
	dsp.Multiply(behind, reflect, w.back)
}

// leastStretchM keeps a stretch from vanishing altogether.
const leastStretchM = 1e-3

// LengthM is how long the stretch is, m; 0 for a point and for one without a place.
func (p *Point) LengthM() float64 {
	switch p.Form {
	case Foreign:
		return p.Extent - p.Shift
	case Edgeless:
		return 0
	}
	return p.Extent
}

// RoundEdge is what is left of an edge's reflection where the impedance changes as a
// raised cosine, turn the phase along it, rad: cos u/(1 − (2u/π)²), the Fourier
// transform of its slope.
func (m *Medium) RoundEdge(turn float64) float64 {
	d := 2 * turn / math.Pi
	if math.Abs(d-1) < 1e-6 {
		return math.Pi / 4
	}
	return real(m.circle.at(turn)) / (1 - d*d)
}

// ExcessM is how much farther out, in metres of the record, what lies behind a
// stretch in the same cable seems to be: of a wet one (κ − 1) times its length, κ at 1 GHz; 0 for
// a point.
func (p *Point) ExcessM() float64 {
	switch p.Form {
	case Wet:
		return p.Drop / (1 - p.Drop) * math.Max(0, p.Extent-p.Taper)
	case Edgeless:
		return p.Drop / (1 - p.Drop) * p.Extent
	case Foreign:
		return p.Shift
	}
	return 0
}

// SeenAt is where by the record what lies at x behind p seems to be for p, m.
func (m *Model) SeenAt(p *Point, x float64) float64 { return m.later(p, x, 1) }

// SeenFrom is where what by the record seems to be at x behind p lies, m.
func (m *Model) SeenFrom(p *Point, x float64) float64 { return m.later(p, x, -1) }

func (m *Model) later(p *Point, x, times float64) float64 {
	excess := p.ExcessM()
	if excess == 0 {
		return x
	}
	electrical := excess * cables.SpeedOfLight / m.VelocityAt(p.X+p.LengthM()/2)
	return m.Path.PhysicalM(m.Path.ElectricalM(x) + times*electrical)
}

// stretchDerivative is derivative for a stretch, by a small step of the
// quantity: its two-port is not worth differentiating by hand.
func (m *Model) stretchDerivative(dst []complex128, p *Point, quantity int) {
	const step = 1e-5
	if m.moved[0] == nil {
		for i := range m.moved {
			m.moved[i] = make([]complex128, len(dst))
		}
	}
	if quantity >= quantities {
		m.insideDerivative(dst, p, quantity-quantities)
		return
	}
	w := p.ways
	if quantity == ByExtent || quantity == ByTaper || quantity == ByShift {
		w = &m.movedWays
	}
	v := p.quantity(quantity)
	held := *v
	*v += step
	reflect, through, behind := m.moved[0], m.moved[1], m.moved[2]
	m.sampleStretch(p, w, &m.movedInside, reflect, through, behind)
	*v = held
	dsp.Changed(dst, p.Gain, p.Local, reflect, through, behind, p.Back, step)
}

// insideDerivative is derivative for the unevenness at one place inside of a
// stretch: to first order it adds to r and r', and lets all through.
func (m *Model) insideDerivative(dst []complex128, p *Point, place int) {
	front, back := p.inside[place], p.inside[len(p.Inside)-1-place]
	w := p.ways
	for k, u := range p.Back {
		loop := p.loop[k] * u
		dst[k] = p.Gain[k] * (front[k]*w.lead[0][k] + p.Through[k]*loop*loop*back[k]*w.back[k]*w.lead[1][k])
	}
}
