package diagnose

import (
	"math"
	"math/cmplx"
	"slices"
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
	// own is what a sound connector has besides, in the circuit's terms, and
	// ownSigma one standard deviation of it at 1 GHz (ByRising) or throughout;
	// 0: the circuit itself takes it up.
	own      int
	ownSigma float64
	prior    float64 // log of how usual it is; common practice, no source
	// sizes are a few sizes, relative to one another, to begin with: flat, rising
	// and falling.
	sizes [][3]float64
}

// circuits lists what is tried at every place.
func circuits() []circuit {
	const flat, rising, falling, place = linemodel.ByFlat, linemodel.ByRising, linemodel.ByFalling, linemodel.ByPlace
	alone := func(quantity int) [][3]float64 {
		var out [][3]float64
		for _, v := range []float64{0.6, 1, 1.6} {
			var size [3]float64
			size[quantity] = v
			out = append(out, size)
		}
		return out
	}
	return []circuit{
		{PoorContact, linemodel.Series, linemodel.Fitting(flat, place), true, rising, jointRisingSigma, 0, alone(flat)},
		{PoorContact, linemodel.Series, linemodel.Fitting(flat, falling, place), true, 0, 0, -1,
			[][3]float64{{0.9, 0, 0.3}, {0.6, 0, 0.6}, {0.3, 0, 0.9}, {1.4, 0, 0.5}, {0.5, 0, 1.4}}},
		{ConnectorMismatch, linemodel.Series, linemodel.Fitting(rising, place), true, flat, stepSigma, 0, alone(rising)},
		{ConnectorMismatch, linemodel.Shunt, linemodel.Fitting(rising, place), true, flat, stepSigma, 0, alone(rising)},
		{DentOrKink, linemodel.Shunt, linemodel.Fitting(rising, place), false, flat, stepSigma, -1.5, alone(rising)},
		{WaterInConnector, linemodel.Shunt, linemodel.Fitting(flat, rising, falling, place), true, 0, 0, 0,
			[][3]float64{{0.1, 0.6, 0.02}, {0.1, 1, 0.03}, {0.1, 1.6, 0.04}, {0.5, 0.8, 0.03}, {1, 0.5, 0.02}}},
	}
}

// guesses sets the sizes to begin with where the reflection is size: that of a
// reactance, x/√(4 + x²).
func (c *circuit) guesses(size float64) []func(p *linemodel.Point) {
	size = math.Min(size, 0.9)
	scale := 2 * size / math.Sqrt(1-size*size)
	var out []func(p *linemodel.Point)
	for _, v := range c.sizes {
		out = append(out, func(p *linemodel.Point) {
			p.Flat, p.Rising, p.Falling = v[0]*scale, v[1]*scale, v[2]*scale
		})
	}
	return out
}

// shape gives p the form of circuit c and what is fitted of it; sizes are left
// as they are.
func (c *circuit) shape(p *linemodel.Point, middleHz float64) {
	p.Form, p.Fits, p.Passive = c.form, c.fits, true
	switch {
	case c.ownSigma == 0:
	case c.own == linemodel.ByRising:
		p.Fits[c.own], p.Prior[c.own] = true, linemodel.Prior{Sigma: c.ownSigma * middleHz / 1e9}
	default:
		p.Fits[c.own], p.Prior[c.own] = true, linemodel.Prior{Sigma: c.ownSigma}
	}
	p.Flat, p.Rising, p.Falling = math.Max(0, p.Flat), math.Max(0, p.Rising), math.Max(0, p.Falling)
}

// besideJoint is how many standard deviations of a joint's place something must be away from it to be
// tried as what has no joint in the record.
const besideJoint = 2.0

// unknownSplice is what it costs a connector to be where the record has none:
// about one in twelve is. Common practice, no source.
const unknownSplice = 2.5

// byChance is what it costs what may happen anywhere to happen where a joint
// is: log of the ways between joints over the width within which the record
// places one.
func (b *bench) byChance(joint float64) float64 {
	between := b.path.LengthM() / float64(max(1, len(b.joints)-1))
	return math.Max(0, math.Log(between/(math.Sqrt(2*math.Pi)*placeSigma(joint))))
}

// causeOf is what a circuit of cause, fitted as p, speaks for. A contact is one
// no longer above a few hundred ohm, or with a gap of about a picofarad: it is an
// open circuit. And whatever turns nearly everything back is a total reflection,
// by its sign, and no fault of a connector. Common practice, no source.
func (b *bench) causeOf(cause Cause, p *linemodel.Point) Cause {
	const ohm, farad = 250, 1.5e-12
	z := b.path.ReferenceOhm
	all := b.fit.RMS(p) > lumpedMost
	switch {
	case p.Form == linemodel.Series && (all || cause == PoorContact && (p.Flat*z > ohm || p.Falling*z > 1/(2*math.Pi*b.fit.MiddleHz*farad))):
		return OpenCircuit
	case p.Form == linemodel.Shunt && all:
		return ShortCircuit
	}
	return cause
}

// lumpedMost is the |Γ| up to which a contact, a mismatch, water or a dent
// reflects.
const lumpedMost = 0.8

// score weighs circuit c, fitted as p, that leaves cost, in natural units; middleHz is the middle of the span.
func (c *circuit) score(cost float64, p *linemodel.Point, middleHz float64) float64 {
	return c.prior - cost - float64(count(c.fits)) - c.unlikely(p, middleHz)
}

// unlikely is what it costs c, fitted as p, natural units, to be a capacitance without loss, which is no water, or a larger reactance
// than dry connectors have.
func (c *circuit) unlikely(p *linemodel.Point, middleHz float64) float64 {
	switch {
	case c.cause == WaterInConnector && p.Flat+p.Falling < dryShare*p.Rising+dryFlat:
		return 8
	case c.cause == ConnectorMismatch:
		u := math.Max(0, math.Log(p.Rising*1e9/middleHz/usualMismatch)/mismatchSpread)
		return u * u / 2
	}
	return 0
}

// Mismatches of dry connectors are up to about so large, of z or y at 1 GHz, 4 nH or 1.6 pF at 50 ohm, larger ones within one
// standard deviation of the logarithm. Common practice, no source.
const (
	usualMismatch  = 0.5
	mismatchSpread = 0.75
)

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
	cause  Cause
	point  *linemodel.Point
	score  float64 // log posterior, to within a constant, in natural units
	state  *linemodel.State
	words  string  // the circuit as fitted, in short
	placeM float64 // where it was fitted

	takes  []*cluster // other clusters that it explains
	uneven bool       // it is a stretch that the free points of locating stand for
	chance float64    // what its being there costs it, natural units, of its score
	other  placing    // of a stretch of other cable: what that does to what lies behind it
}

// byChance takes from the score of t what its being where it is costs it.
func (t *trial) byChance(cost float64) {
	t.score -= cost
	t.chance += cost
}

// bench tries hypotheses on a fit that stays as it is.
type bench struct {
	fit    *linemodel.Fit
	path   *cables.Path
	load   cables.LoadKind
	endDB  float64 // return loss of the load by the record, dB; 0: not given
	joints []float64
	since  *difference                  // from an earlier sweep of the healthy line; nil: there is none
	named  []*verdictOf                 // what was named, in the order of the findings
	sound  map[*linemodel.Point]float64 // sound joints, and where the record has them
	// unit is the cost of one natural unit: the variance that the best model
	// so far leaves, not the noise's, since what the model leaves out counts.
	unit float64
}

// circuits tries every circuit in place of the points, the strongest of which
// comes first.
func (b *bench) circuits(points []*linemodel.Point) []trial {
	fit := b.fit
	held := fit.Save()
	size := b.size(points)
	s := b.screen(points)
	from, to := b.seen(points)
	joint, atJoint := b.jointWithin(points)
	var out []trial
	attempt := func(c *circuit, recorded bool, joint float64) {
		place, placeS := b.expect(joint, points)
		proto := &linemodel.Point{X: points[0].X}
		c.shape(proto, fit.MiddleHz)
		grid := s.places(from, to)
		if recorded {
			proto.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: place, Sigma: placeS}
			grid = s.places(place-placeReach*placeS, place+placeReach*placeS)
		}
		for _, q := range s.starts(proto, grid, c.guesses(size)) {
			p := fit.Copy(q)
			t := b.begun(points, p)
			t.score = c.score(-t.score, p, fit.MiddleHz)
			if c.needsJoint && !recorded {
				t.score -= unknownSplice
			}
			if !recorded && atJoint {
				t.byChance(b.byChance(joint))
			}
			if c.cause == DentOrKink && b.inDevice(p.X) {
				t.score -= noCableThere
			}
			t.cause = b.causeOf(c.cause, p)
			out = append(out, t)
			fit.Restore(held)
		}
	}
	beside := false // the joint, as a splice that no record has would be; in a narrow band a dent there looks like any circuit but one in series
	if atJoint {
		place, placeS := b.expect(joint, points)
		beside = math.Abs(points[0].X-place) > besideJoint*placeS
	}
	for _, c := range circuits() {
		if c.needsJoint {
			for _, x := range b.jointsWithin(points) {
				attempt(&c, true, x)
			}
		}
		if !c.needsJoint || !atJoint || beside && (b.overOctave() || c.cause == PoorContact) {
			attempt(&c, false, joint)
		}
	}
	return out
}

// placeReach is how many standard deviations of its place a circuit at a joint
// may begin away from it.
const placeReach = 2.5

// jointWithin is the joint of the record that the sweep does not tell from the
// points' place, if there is one.
func (b *bench) jointWithin(points []*linemodel.Point) (joint float64, ok bool) {
	x := points[0].X
	joint, ok = nearest(b.joints, x)
	return joint, ok && math.Abs(joint-x) < b.fit.Cell(x)+5*placeSigma(joint)
}

// jointsWithin lists the joints that the sweep does not tell from the points' place,
// nearest first, no more than the two ends of a device.
func (b *bench) jointsWithin(points []*linemodel.Point) []float64 {
	x := points[0].X
	var out []float64
	for _, joint := range b.joints {
		if math.Abs(joint-x) < b.fit.Cell(x)+5*placeSigma(joint) {
			out = append(out, joint)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return math.Abs(out[i]-x) < math.Abs(out[j]-x) })
	return out[:min(2, len(out))]
}

// size is how much the points reflect together at the middle of the span, and
// no less than half of what the strongest does.
func (b *bench) size(points []*linemodel.Point) float64 {
	return math.Max(cmplx.Abs(sumOf(b.fit, points)), 0.5*b.fit.RMS(points[0]))
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

// replace puts p in place of the given points, and what goes with it: sound
// joints beside it, what lies behind a slow stretch moved back to where it is,
// and a load seen through it; behind an end there is nothing.
func (b *bench) replace(instead []*linemodel.Point, p *linemodel.Point) {
	fit := b.fit
	for _, q := range instead {
		fit.Remove(q)
	}
	if p.Form.Ends() {
		for _, q := range append([]*linemodel.Point(nil), fit.Points...) {
			if q.X > p.X {
				fit.Remove(q)
			}
		}
		fit.Load = nil
	}
	fit.Insert(p)
	if !p.Form.Ends() {
		b.soundJoints(p.X)
		b.soundDevices(p.X)
		b.soundTermination(p)
	}
	if p.ExcessM() != 0 {
		// What lies behind a slow stretch was seen too far out.
		for _, q := range fit.Points {
			if q.X > p.X+p.Extent && located(q) {
				q.X = math.Max(p.X+p.Extent, fit.SeenFrom(p, q.X))
				fit.Move(q)
			}
		}
	}
	fit.Evaluate()
	if b.through(p) {
		fit.QuickFitLoad()
	}
}

// soundJoints puts a sound one where the record has a joint near x and the fit has
// nothing: a joint beside a fault keeps its small reactance.
func (b *bench) soundJoints(x float64) {
	for _, at := range b.joints {
		if gap := math.Abs(at - x); gap < 2*b.fit.Cell(at) && gap > 0.03 && at != 0 && !b.taken(at) {
			b.fit.Insert(b.soundJoint(at, at))
		}
	}
}

// soundDevices puts a sound one where the record has a device near x and the fit
// has none: its reflection and that of a fault at its connector are seen as one.
func (b *bench) soundDevices(x float64) {
	fit := b.fit
	for _, s := range b.path.Spans {
		middle := s.StartM + s.LengthM/2
		if s.Device == nil || math.Abs(middle-x) > 2*fit.Cell(x) || slices.ContainsFunc(fit.Points, func(q *linemodel.Point) bool {
			known := !q.Fits[linemodel.ByPlace] || math.Abs(q.Prior[linemodel.ByPlace].Mean-middle) < 1e-9
			return q.Form == linemodel.Series && known && math.Abs(q.X-middle) < 0.03+3*placeSigma(middle)
		}) {
			continue
		}
		fit.Insert(soundDevice(fit, s.Device.ReturnLossDB, middle))
	}
}

// soundTermination puts behind p, a circuit at the connector of a termination, what the termination itself may
// reflect, where nothing else stands for that.
func (b *bench) soundTermination(p *linemodel.Point) {
	lumped := p.Form == linemodel.Series || p.Form == linemodel.Shunt
	if b.load != cables.Termination || !lumped || !b.isAtEnd(p.X) || len(b.aboutEnd()) > 1 {
		return
	}
	end := b.soundJoint(p.X+endBehindM, b.path.LengthM())
	b.terminated(end)
	end.Fits[linemodel.ByPlace] = true
	b.fit.Links = append(b.fit.Links, linemodel.Link{A: p, B: end, LengthM: endBehindM, SigmaM: endBehindM / 4})
	b.fit.Insert(end)
}

// through says whether the load looks different for p's being there.
func (b *bench) through(p *linemodel.Point) bool {
	return b.fit.Load != nil && (p.Form == linemodel.Wet || p.Form == linemodel.Foreign || b.fit.RMS(p) > 0.1)
}

// begun fits point p in place of the given points from a screened start: the others first,
// since p reflects what the points did but lets through something else, and then p with
// its neighbours: p alone would make up for what the strong ones behind it miss.
func (b *bench) begun(instead []*linemodel.Point, p *linemodel.Point) trial {
	fit := b.fit
	b.replace(instead, p)
	group := around(fit, p)
	if fit.Load != nil {
		fit.QuickFitLoad()
	}
	fit.Refine(slices.DeleteFunc(slices.Clone(group), func(q *linemodel.Point) bool { return q == p }), false, false, 3)
	for range 2 {
		fit.Refine(group, false, false, 4)
		if b.through(p) {
			fit.QuickFitLoad()
		}
	}
	fit.Refine(group, false, false, 2)
	return trial{point: p, score: -fit.Cost / b.unit, state: fit.Save()}
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
	type kind struct {
		cause Cause
		ends  bool
	}
	seen := map[kind]int{}
	for _, t := range trials {
		k := kind{t.cause, t.point.Form.Ends()}
		if seen[k] == 2 {
			continue
		}
		seen[k]++
		b.fit.Restore(t.state)
		if len(out) < 6 {
			before := b.fit.Cost
			b.fit.Refine(b.fit.Points, true, true, 8)
			t.score += (before - b.fit.Cost) / b.unit
			t.state = b.fit.Save()
		}
		t.cause = b.causeOf(t.cause, t.point)
		t.words, t.placeM = describe(t.point, nil, b.fit, 0, "")[0], t.point.X
		out = append(out, t)
	}
	out = b.exchanged(out)
	b.fit.Restore(held)
	out = endsForTotals(out)
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
	end := p.X
	if p.Form == linemodel.Foreign {
		end += p.LengthM()
	}
	for _, q := range fit.Points {
		if math.Abs(q.X-p.X) < 4*fit.Cell(p.X) || math.Abs(q.X-end) < 4*fit.Cell(end) || fit.RMS(q) > 0.1 {
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
