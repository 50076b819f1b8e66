package diagnose

import (
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

// circuit is a physical circuit that may stand at a place, as the model draws
// it, and the cause that it speaks for.
type circuit struct {
	cause Cause
	form  linemodel.Form
	fits  linemodel.Fitted
	// needsJoint says that it happens in connectors alone.
	needsJoint bool
	prior      float64 // log of how usual it is; common practice, no source
	start      func(r complex128, p *linemodel.Point)
}

// circuits lists what is tried at every place. r is the reflection seen at the
// middle of the span.
func circuits() []circuit {
	const flat, rising, falling, place = linemodel.ByFlat, linemodel.ByRising, linemodel.ByFalling, linemodel.ByPlace
	impedance := func(r complex128) complex128 { return 2 * r / (1 - r) }
	admittance := func(r complex128) complex128 { return -2 * r / (1 + r) }
	return []circuit{
		{PoorContact, linemodel.Series, linemodel.Fitting(flat, place), true, 0,
			func(r complex128, p *linemodel.Point) { p.Flat = cmplx.Abs(impedance(r)) }},
		{PoorContact, linemodel.Series, linemodel.Fitting(flat, falling, place), true, -1,
			func(r complex128, p *linemodel.Point) {
				z := impedance(r)
				p.Flat, p.Falling = math.Abs(real(z)), math.Max(0.1*cmplx.Abs(z), math.Abs(imag(z)))
			}},
		{ConnectorMismatch, linemodel.Series, linemodel.Fitting(rising, place), true, 0,
			func(r complex128, p *linemodel.Point) { p.Rising = cmplx.Abs(impedance(r)) }},
		{ConnectorMismatch, linemodel.Shunt, linemodel.Fitting(rising, place), true, 0,
			func(r complex128, p *linemodel.Point) { p.Rising = cmplx.Abs(admittance(-r)) }},
		{DentOrKink, linemodel.Shunt, linemodel.Fitting(rising, place), false, -0.5,
			func(r complex128, p *linemodel.Point) { p.Rising = cmplx.Abs(admittance(-r)) }},
		{WaterInConnector, linemodel.Shunt, linemodel.Fitting(flat, rising, falling, place), true, 0,
			func(r complex128, p *linemodel.Point) {
				y := admittance(r)
				p.Flat, p.Rising, p.Falling = math.Abs(real(y)), math.Abs(imag(y)), 0.05*math.Abs(imag(y))
			}},
		{OpenCircuit, linemodel.Step, linemodel.Fitting(flat, place), false, -1,
			func(_ complex128, p *linemodel.Point) { p.Flat = 0.95 }},
		{ShortCircuit, linemodel.Step, linemodel.Fitting(flat, place), false, -1,
			func(_ complex128, p *linemodel.Point) { p.Flat = -0.95 }},
	}
}

// parted says whether a contact is one no longer: above a few hundred ohm, or
// with a gap of about a picofarad, it is an open circuit. Common practice, no
// source.
func parted(p *linemodel.Point, middleHz, referenceOhm float64) bool {
	const ohm, farad = 250, 1.5e-12
	return p.Flat*referenceOhm > ohm || p.Falling*referenceOhm > 1/(2*math.Pi*middleHz*farad)
}

// startSizes are sizes, relative to the line's impedance, from one of which a
// circuit's fit finds its way where no reflection of its own tells its size.
func startSizes() []float64 { return []float64{0.15, 0.5, 1.5} }

// begin gives p the circuit c of the given size. It is not sampled.
func (c *circuit) begin(p *linemodel.Point, size float64) {
	p.Form, p.Fits, p.Passive = c.form, c.fits, true
	if c.fits[linemodel.ByFlat] {
		p.Flat = size
	}
	if c.fits[linemodel.ByRising] {
		p.Rising = size
	}
	if c.fits[linemodel.ByFalling] {
		p.Falling = size
		if c.form == linemodel.Shunt { // there a dielectric's loss
			p.Falling = 0.05 * size
		}
	}
}

// A capacitance whose conductance is below this is dry: a loss tangent of 0.02,
// or half a millisiemens at 50 ohm. Common practice, no source.
const (
	dryShare = 0.02
	dryFlat  = 0.01
)

// trial is a fit of a hypothesis.
type trial struct {
	cause Cause
	point *linemodel.Point
	score float64 // log posterior, to within a constant, in natural units
	state *linemodel.State
	words string // the circuit as fitted, in short
}

// bench tries hypotheses on a fit that stays as it is.
type bench struct {
	fit    *linemodel.Fit
	path   *cables.Path
	load   cables.LoadKind
	joints []float64
	named  []*verdictOf // what was named, in the order of the findings
	// unit is the cost of one natural unit: the variance that the best model
	// so far leaves, not the noise's, since what the model leaves out counts.
	unit float64
}

// circuits tries every circuit in place of the points, the strongest of which
// comes first.
func (b *bench) circuits(points []*linemodel.Point) []trial {
	fit := b.fit
	held := fit.Save()
	head := points[0]
	middle := sumOf(fit, points)
	if a := cmplx.Abs(middle); a > 0.95 {
		middle *= complex(0.95/a, 0)
	}
	var out []trial
	var capacitance *trial
	for _, c := range circuits() {
		if (c.cause == OpenCircuit || c.cause == ShortCircuit) && cmplx.Abs(middle) < 0.5 {
			continue
		}
		if joint, ok := nearest(b.joints, head.X); c.needsJoint && (!ok || math.Abs(joint-head.X) > fit.Cell(head.X)+5*placeSigma(joint)) {
			continue
		}
		attempt := func(p *linemodel.Point) {
			p.Fits = c.fits
			p.Passive = c.form != linemodel.Step
			if c.cause == ConnectorMismatch {
				// Like any joint it may change the impedance a little.
				p.Fits[linemodel.ByFlat] = true
				p.Prior[linemodel.ByFlat].Sigma = jointFlatSigma
				p.Passive = false
			}
			if p.Passive || c.cause == ConnectorMismatch {
				p.Flat, p.Rising, p.Falling = math.Max(0, p.Flat), math.Max(0, p.Rising), math.Max(0, p.Falling)
			}
			fit.Sample(p)
			if c.needsJoint {
				joint, _ := nearest(b.joints, p.X)
				p.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: joint, Sigma: placeSigma(joint)}
			}
			t := b.try(points, p)
			t.cause = c.cause
			t.score += c.prior - float64(count(c.fits))
			if c.cause == WaterInConnector && p.Flat+p.Falling < dryShare*p.Rising+dryFlat {
				t.score -= 8 // a capacitance without loss is not water
			}
			if c.cause == ConnectorMismatch && p.Rising < 0 {
				t.score -= 20 // the other circuit's case
			}
			if c.cause == DentOrKink {
				if joint, ok := nearest(b.joints, p.X); ok && math.Abs(joint-p.X) < 2.5*placeSigma(joint) {
					t.score -= atJointByChance
				}
			}
			if c.cause == PoorContact && parted(p, fit.MiddleHz, b.path.ReferenceOhm) {
				t.cause = OpenCircuit
			}
			if best := capacitance; c.form == linemodel.Shunt && (best == nil || t.score > best.score) {
				capacitance = &t
			}
			out = append(out, t)
			fit.Restore(held)
		}
		if c.cause == WaterInConnector && capacitance != nil {
			// Water is a capacitance first.
			fit.Restore(capacitance.state)
			from := *capacitance.point
			fit.Restore(held)
			for _, loss := range []float64{0.02, 0.15} {
				p := fit.NewPoint(from.X, c.form)
				p.Rising, p.Flat, p.Falling = from.Rising, loss*from.Rising, loss*from.Rising/2
				attempt(p)
			}
		}
		if head.Form == c.form {
			p := fit.NewPoint(head.X, c.form)
			p.Flat, p.Rising = head.Flat, head.Rising
			if c.fits[linemodel.ByFalling] {
				p.Falling = head.Falling
			}
			if !c.fits[linemodel.ByFlat] {
				p.Flat = 0
			}
			if !c.fits[linemodel.ByRising] {
				p.Rising = 0
			}
			attempt(p)
		}
		for _, x := range startingPlaces(fit, head.X, b.joints) {
			// As the phase has it at this place, and turned to what the circuit
			// would have.
			there := middle * cmplx.Exp(complex(0, 2*fit.Beta0[fit.SpanAt(x)]*(x-head.X)))
			for _, size := range []float64{1, 2} {
				p := fit.NewPoint(x, c.form)
				c.start(complex(cmplx.Abs(middle), 0), p)
				p.Flat, p.Rising, p.Falling = size*p.Flat, size*p.Rising, size*p.Falling
				fit.Sample(p)
				turn(fit, p, x, head.X, middle)
				attempt(p)
				if c.form == linemodel.Step || cmplx.Abs(middle) < 0.05 {
					break
				}
			}
			p := fit.NewPoint(x, c.form)
			c.start(there, p)
			attempt(p)
		}
	}
	return out
}

// sumOf is what the points reflect together at the middle of the span, at the
// place of the first.
func sumOf(fit *linemodel.Fit, points []*linemodel.Point) complex128 {
	k := len(fit.FrequencyHz) / 2
	var r complex128
	for _, p := range points {
		r += p.Reflect[k] * p.Phasor[k] / points[0].Phasor[k]
	}
	return r
}

// turn moves p to the place nearest x at which its echo has the phase of r at
// the middle of the span, r being referred to at.
func turn(fit *linemodel.Fit, p *linemodel.Point, x, at float64, r complex128) {
	beta := fit.Beta0[fit.SpanAt(x)]
	place := at + math.Remainder(cmplx.Phase(p.Reflect[len(p.Reflect)/2])-cmplx.Phase(r), 2*math.Pi)/(2*beta)
	period := math.Pi / beta
	p.X = math.Max(0, place+period*math.Round((x-place)/period))
	fit.Move(p)
}

// nearest returns the joint nearest to x.
func nearest(joints []float64, x float64) (float64, bool) {
	best, ok := 0.0, false
	for _, j := range joints {
		if !ok || math.Abs(j-x) < math.Abs(best-x) {
			best, ok = j, true
		}
	}
	return best, ok
}

// startingPlaces are where a circuit at about x may be begun: there, and at
// the nearest joint when the sweep cannot tell the two apart.
func startingPlaces(fit *linemodel.Fit, x float64, joints []float64) []float64 {
	places := []float64{x}
	period := math.Pi / fit.Beta0[fit.SpanAt(x)]
	if j, ok := nearest(joints, x); ok && math.Abs(j-x) > period/4 && math.Abs(j-x) < fit.Cell(x) {
		places = append(places, j)
	}
	return places
}

// replace puts p in place of the given points, and what goes with it: sound
// joints beside it, what lies behind a slow stretch moved back to where it is,
// and a load seen through it.
func (b *bench) replace(instead []*linemodel.Point, p *linemodel.Point) {
	fit := b.fit
	for _, q := range instead {
		fit.Remove(q)
	}
	fit.Insert(p)
	for _, x := range b.joints {
		if math.Abs(x-p.X) > 2*fit.Cell(x) || math.Abs(x-p.X) < 0.03 || x == 0 || b.taken(x) {
			continue
		}
		// A joint beside the fault keeps its small reactance.
		joint := soundJoint(fit, x)
		fit.Insert(joint)
	}
	if excess := p.ExcessM(); excess != 0 {
		// What lies behind a slow stretch was seen too far out.
		for _, q := range fit.Points {
			if q.X > p.X+p.Extent {
				q.X = math.Max(p.X+p.Extent, q.X-excess)
				fit.Move(q)
			}
		}
	}
	fit.Evaluate()
	if b.through(p) {
		fit.QuickFitLoad()
	}
}

// through says whether the load looks different for p's being there.
func (b *bench) through(p *linemodel.Point) bool {
	return b.fit.Load != nil && (p.Form == linemodel.Wet || p.Form == linemodel.Foreign || b.fit.RMS(p) > 0.1)
}

// try fits point p in place of the given points.
func (b *bench) try(instead []*linemodel.Point, p *linemodel.Point) trial {
	fit := b.fit
	b.replace(instead, p)
	fit.Refine([]*linemodel.Point{p}, false, false, 4)
	group := around(fit, p)
	for range 2 {
		if b.through(p) {
			fit.QuickFitLoad()
		}
		fit.Refine(group, false, false, 3)
	}
	return trial{point: p, score: -fit.Cost / b.unit, state: fit.Save()}
}

// settle takes the best trial of each cause further, and returns these, best
// first. Causes that are hopelessly behind are left as they are.
func (b *bench) settle(trials []trial) []trial {
	sortTrials(trials)
	held := b.fit.Save()
	var out []trial
	seen := map[Cause]int{}
	for _, t := range trials {
		if seen[t.cause] == 2 {
			continue
		}
		seen[t.cause]++
		b.fit.Restore(t.state)
		if len(out) < 6 {
			before := b.fit.Cost
			b.fit.Refine(around(b.fit, t.point), true, true, 8)
			t.score += (before - b.fit.Cost) / b.unit
			t.state = b.fit.Save()
		}
		t.words = describe(t.point, nil, b.fit, 0, "")[0]
		out = append(out, t)
	}
	b.fit.Restore(held)
	sortTrials(out)
	return out
}

// taken says whether the fit has a point at about x.
func (b *bench) taken(x float64) bool {
	for _, q := range b.fit.Points {
		if math.Abs(q.X-x) < 0.4*b.fit.Cell(x) {
			return true
		}
	}
	return false
}

// around lists the points that the sweep hardly tells from p, and the strong
// ones, whose circuits see p.
func around(fit *linemodel.Fit, p *linemodel.Point) []*linemodel.Point {
	var out []*linemodel.Point
	for _, q := range fit.Points {
		if math.Abs(q.X-p.X) < 4*fit.Cell(p.X) || fit.RMS(q) > 0.1 {
			out = append(out, q)
		}
	}
	return out
}

func count(fits linemodel.Fitted) int {
	n := 0
	for _, on := range fits {
		if on {
			n++
		}
	}
	return n
}

func sortTrials(t []trial) {
	sort.SliceStable(t, func(i, j int) bool { return t[i].score > t[j].score })
}
