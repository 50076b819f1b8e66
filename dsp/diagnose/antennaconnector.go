package diagnose

import (
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// One port sees the antenna and its connector as one. What tells them apart is
// what antennas are like: out of its band an antenna is a mirror, but for a
// decibel or two that its feed swallows there and back, more towards high
// frequencies as cable does; in its band a sound one keeps to its record. So a
// circuit in front of it is judged by what it leaves of the antenna once it is
// taken off. Common practice, no source.
const (
	mirrorBelow      = 0.7 // of its band's low edge, and below that it is a mirror,
	mirrorAbove      = 1.3 // as well as above so many times its high edge
	mirrorSigma      = 0.04
	mirrorMost       = 12.0
	radiates         = 1.5   // natural units that a point outside its band costs at which it is none, as it radiates there as well
	antennaRingS     = 12e-9 // what it shows at two frequencies less than the inverse apart says the same
	passiveSlack     = 0.03  // of |Γ| above 1
	passiveMost      = 12.0
	bandSigma        = 0.13 // of the record's |Γ| in its band, relative
	bandMost         = 60.0
	delayMost        = 12.0
	totalSpread      = 0.08 // of Γ around a total reflection
	totalMost        = 8.0
	endReflectsLeast = 0.8
	behindStretch    = 2.0  // times as far from sound both may be behind a stretch whose loss and delay are fitted
	advances         = 0.25 // odds that it seems to reflect from in front of its connector: a resonance that takes up less than all arriving advances the phase
	delayGain        = 3.0  // natural units that the delay may count for a hypothesis at most
	shiftReach       = 2.0  // standard deviations that the connector may lie off its record in the search,
	shiftShare       = 0.1  // in steps of so much of the way in which Γ turns once,
	mostShifts       = 40   // but no more than so many to either side
	valueReach       = 2.0  // likewise for the sizes
	valueSteps       = 4    // of one; of two each has half as many
	halvings         = 7
	totalDB          = 2.0                     // return loss in the band under which all of it is reflected
	swallowMost      = 1.2 * antennaSwallowsDB // there and back, at the middle of its band, dB
	swallowSteps     = 7                       // up to that, and beyond
	extraSteps       = 8
	lossPrior        = 3.0  // natural units that more loss than that costs: the line's own, a fault as well
	nearestM         = 0.2  // how far behind its connector an antenna reflects its band at least, and
	farthestM        = 15.0 // at most, in metres of cable: its feed, and the ringing of what is narrow
	inFrontM         = 5.0  // how far in front of it what is not understood may be
	atOnceM          = 0.06 // how far behind it a connector does, one standard deviation
)

// delayCost is minus the log of the probability density (1/m) of the delay in
// the antenna's band, its values taken off, the connector shiftM farther out than the record. What
// the antenna reflects comes from behind the connector, evenly spread over the decades; what
// the connector does, from there. Unnamed stands for what is in front of it.
func (t *antennaBench) delayCost(h *atAntenna, shiftM float64) float64 {
	if math.IsInf(t.delaySigmaM, 1) {
		if h.cause == Unnamed {
			return math.Inf(1)
		}
		return 0
	}
	far := math.Hypot(t.delaySigmaM, t.placeSigmaM)
	if h.cause == Unnamed {
		if t.delayM > -3*far || t.delayM < -t.hiddenM {
			return math.Inf(1)
		}
		return math.Log(inFrontM)
	}
	at := math.Max(t.delayM, nearestM)
	u := (t.delayM - at) / far
	antenna := math.Exp(-math.Min(u*u/2, delayMost)) / (at * math.Log(farthestM/nearestM))
	if t.delayM < 0 && t.delayM > -t.hiddenM {
		antenna += advances / t.hiddenM
	}
	share := 1.0 // of what is reflected in the band, the connector's
	switch {
	case h.total != 0:
	case len(h.fits) == 0:
		return -math.Log(antenna)
	default:
		var all, behind float64
		for _, k := range t.inBand {
			g, l := t.turned[k], t.left[k]
			all += real(g)*real(g) + imag(g)*imag(g)
			behind += real(l)*real(l) + imag(l)*imag(l)
		}
		share = math.Max(0, math.Min(1, 1-behind/all))
	}
	near := math.Hypot(t.delaySigmaM, atOnceM)
	u = (t.delayM - shiftM) / near
	connector := math.Exp(-math.Min(u*u/2, delayMost)) / (near * math.Sqrt(2*math.Pi))
	return -math.Log(share*connector + (1-share)*antenna)
}

// atAntenna is a hypothesis of what stands at an antenna's connector.
type atAntenna struct {
	cause   Cause
	form    linemodel.Form
	fits    []int     // quantities of the circuit
	log     []float64 // where they usually are: ln of the value relative to the line at the middle of the sweep
	sigma   []float64 // and how far from there, of ln
	tangent float64   // of a shunt capacitance
	prior   float64
	total   float64 // +1 an open, −1 a short
}

// How usual each is, natural units. Its circuits share the odds of a cause, and
// every quantity costs about one. What an antenna at fault shows in its band is
// anything, and one circuit in front of a sound one seldom looks like that: one in
// twelve, on drawn lines. A sound line is the rule. Common practice, no source.
const (
	circuitPrior = -2.2
	anyBandPrior = -2.5
	mirrorPrior  = -3.0 // of an antenna that reflects everything in its band
	soundPrior   = 5.0
)

// antennaCircuits lists what is tried at an antenna's connector, the antenna
// by itself first, as it should be (FarEnd) and at fault. middle and top are of the sweep, Hz. Sizes: common
// practice, no source.
func (a *antennaSeen) antennaCircuits(middle, top float64) []atAntenna {
	contact, gap := math.Log(0.2), math.Log(190e6/middle) // 10 ohm, 17 pF
	reactance := math.Log(0.28 * middle / top)
	faulty := anyBandPrior
	if a.worstDB < totalDB {
		faulty += mirrorPrior
	}
	prior := func(share float64, quantities int) float64 {
		return circuitPrior + math.Log(share) - float64(quantities)
	}
	const flat, rising, falling = linemodel.ByFlat, linemodel.ByRising, linemodel.ByFalling
	return []atAntenna{
		{cause: FarEnd, prior: soundPrior},
		{cause: AntennaFault, prior: faulty},
		{cause: PoorContact, form: linemodel.Series, fits: []int{flat}, log: []float64{contact}, sigma: []float64{1.2}, prior: prior(0.65, 1)},
		{cause: PoorContact, form: linemodel.Series, fits: []int{flat, falling}, log: []float64{contact, gap}, sigma: []float64{1.2, 1}, prior: prior(0.35, 2)},
		{cause: ConnectorMismatch, form: linemodel.Series, fits: []int{rising}, log: []float64{reactance}, sigma: []float64{0.6}, prior: prior(0.5, 1)},
		{cause: ConnectorMismatch, form: linemodel.Shunt, fits: []int{rising}, log: []float64{reactance}, sigma: []float64{0.6}, prior: prior(0.5, 1)},
		{cause: WaterInConnector, form: linemodel.Shunt, fits: []int{flat, rising}, log: []float64{math.Log(0.175), reactance + 0.5}, sigma: []float64{0.9, 0.7}, tangent: 0.04, prior: prior(1, 2)},
		{cause: Unnamed, prior: prior(0.3, 1)}, // most of what is in front of it is found there
		{cause: OpenCircuit, form: linemodel.Step, total: 1, prior: prior(1, 1)},
		{cause: ShortCircuit, form: linemodel.Step, total: -1, prior: prior(1, 1)},
	}
}

// antennaBench tries hypotheses of an antenna's connector.
type antennaBench struct {
	*antennaSeen
	hz, q        []float64 // thinned; q = f/middle
	gamma        []complex128
	before       []complex128 // in the earlier sweep; nil: not known
	was          []complex128 // before, seen at the connector that is tried
	loose        float64      // times as far as usual the antenna may be from before, while a fit is far from its own
	middleHz     float64      // of the sweep
	turnMost     float64      // rad at q = 1, that the alignment of the two sweeps may have left
	beta         []float64    // rad/m
	turned       []complex128
	left         []complex128
	mirror       []int       // where it should be a mirror
	lowSide      int         // how many of these are below its band
	size         []float64   // |Γ| there
	mirrorWeight []float64   // of weight
	allRadiates  float64     // what it costs to be a mirror nowhere
	kept         [][]float64 // what each step of loss leaves of a mirror there
	inBand       []int
	weight       []float64 // how many independent points each stands for
	active       float64   // what the antenna by itself costs for reflecting more than arrives: what is in front of it is not understood
	promise      float64   // |Γ|
	hiddenM      float64   // how far in front of it locating leaves what is there to the antenna
	unsure       float64   // times as far as usual a total reflection may be from one
}

func (b *bench) newAntennaBench(a *antennaSeen) *antennaBench {
	t := &antennaBench{antennaSeen: a, promise: sweep.MagnitudeFromReturnLoss(a.promisedDB), unsure: 1, loose: 1,
		hiddenM: nearLoadCells * b.fit.Cell(b.fit.Load.X)}
	if slices.ContainsFunc(b.fit.Points, func(p *linemodel.Point) bool {
		return p.Form == linemodel.Wet || p.Form == linemodel.Foreign && p.LengthM() > dentLongestM
	}) {
		t.unsure = behindStretch
	}
	points := a.thinned(antennaPoints)
	n := len(points)
	t.turned, t.left = make([]complex128, n), make([]complex128, n)
	medium := b.path.Spans[len(b.path.Spans)-1].Medium
	for i, k := range points {
		f := a.hz[k]
		gamma, _ := medium.Wave(f)
		t.hz, t.gamma = append(t.hz, f), append(t.gamma, a.gamma[k])
		if a.before != nil {
			t.before = append(t.before, a.before[k])
		}
		t.beta = append(t.beta, imag(gamma))
		t.q = append(t.q, f/b.fit.MiddleHz)
		// What a point stands for: from half-way to its neighbours.
		from, to := a.hz[points[max(0, i-1)]], a.hz[points[min(n-1, i+1)]]
		t.weight = append(t.weight, (to-from)/2*antennaRingS)
		switch {
		case f >= a.low && f <= a.high:
			t.inBand = append(t.inBand, i)
		case f < mirrorBelow*a.low || f > mirrorAbove*a.high:
			t.mirror = append(t.mirror, i)
			if f < a.low {
				t.lowSide++
			}
		}
	}
	if t.before != nil {
		t.was, t.middleHz = make([]complex128, n), b.fit.MiddleHz
		wayRad := 2 * imag(b.path.Theta(b.fit.MiddleHz, b.fit.Load.X))
		t.turnMost = math.Max(turnLeast, math.Min(2*wayRad*b.since.Alignment.VelocitySigma, turnMost))
	}
	t.size = make([]float64, len(t.mirror))
	for _, k := range t.mirror {
		t.mirrorWeight = append(t.mirrorWeight, t.weight[k])
		t.allRadiates += radiates * t.weight[k]
	}
	middle := math.Sqrt(a.low * a.high)
	extra := mostLossShare * 2 * real(b.path.Theta(middle, b.fit.Load.X)) / cables.NeperPerDB
	for s := range swallowSteps + extraSteps {
		db := swallowMost * float64(s) / (swallowSteps - 1)
		if s >= swallowSteps {
			db = swallowMost + extra*float64(s+1-swallowSteps)/extraSteps
		}
		kept := make([]float64, len(t.mirror))
		for i, k := range t.mirror {
			kept[i] = math.Exp(-db * cables.NeperPerDB * math.Sqrt(t.hz[k]/middle))
		}
		t.kept = append(t.kept, kept)
	}
	t.shift(0)
	alone, _ := t.cost(&atAntenna{cause: AntennaFault}, nil, 0, math.Inf(1))
	t.active = alone.passive
	return t
}

// shift turns Γ to a connector shiftM metres farther out.
func (t *antennaBench) shift(shiftM float64) {
	for k, g := range t.gamma {
		t.turned[k] = g * cmplx.Rect(1, 2*t.beta[k]*shiftM)
	}
}

// takeOff writes to left what is behind circuit h of the given values.
func (t *antennaBench) takeOff(h *atAntenna, values []float64) {
	if len(h.fits) == 0 {
		copy(t.left, t.turned)
		return
	}
	var flat, rising, falling float64
	for i, quantity := range h.fits {
		v := math.Exp(values[i])
		switch quantity {
		case linemodel.ByFlat:
			flat = v
		case linemodel.ByRising:
			rising = v
		case linemodel.ByFalling:
			falling = v
		}
	}
	for k, g := range t.turned {
		q := t.q[k]
		// Of Z = (1+Γ)/(1−Γ) less z, or of Y = (1−Γ)/(1+Γ) less y.
		if h.form == linemodel.Series {
			z := complex(flat, rising*q-falling/q)
			t.left[k] = over(2*g-z*(1-g), 2-z*(1-g))
		} else {
			y := complex(flat+h.tangent*rising*q, rising*q)
			t.left[k] = over(2*g+y*(1+g), 2-y*(1+g))
		}
	}
}

// over is a/b for finite operands; the language's own division also minds
// infinities, at several times the cost.
func over(a, b complex128) complex128 {
	s := 1 / (real(b)*real(b) + imag(b)*imag(b))
	return complex((real(a)*real(b)+imag(a)*imag(b))*s, (imag(a)*real(b)-real(a)*imag(b))*s)
}

// costs are the parts of minus a log posterior, natural units.
type costs struct {
	prior   float64 // sizes and a place as they seldom are
	band    float64 // of an antenna that should be as it should in its band
	passive float64 // of one that reflects more than arrives
	mirror  float64 // of one that is no mirror out of its band
	delay   float64 // of where the band is reflected
	changed float64 // of an antenna that is not as it was in the earlier sweep
}

func (c costs) sum() float64 { return c.prior + c.band + c.passive + c.mirror + c.delay + c.changed }

// cost is what h of the given values costs with the connector shiftM farther
// out than the record; turned must be set. It gives up, ok false, where that is sure
// to be more than most.
func (t *antennaBench) cost(h *atAntenna, values []float64, shiftM, most float64) (c costs, ok bool) {
	u := shiftM / t.placeSigmaM
	c.prior = u * u / 2
	for i, v := range values {
		u := (v - h.log[i]) / h.sigma[i]
		c.prior += u * u / 2
	}
	if c.prior > most+delayGain {
		return c, false
	}
	if h.total != 0 {
		c.mirror = t.notTotal(h.total)
		c.delay = t.delayCost(h, shiftM)
		c.changed = t.notAsBefore(totalSpread * t.unsure)
		return c, true
	}
	t.takeOff(h, values)
	if h.cause == FarEnd || len(h.fits) > 0 {
		if over := t.worst() - t.promise; over > 0 {
			u := over / math.Hypot(bandSigma*t.promise, t.sigma)
			c.band = math.Min(u*u/2, bandMost)
		}
	}
	if c.prior+c.band > most+delayGain {
		return c, false
	}
	c.changed = t.asBefore(shiftM, h.cause)
	c.delay = t.delayCost(h, shiftM)
	for k, g := range t.left {
		if over := real(g)*real(g) + imag(g)*imag(g) - 1 - 2*passiveSlack; over > 0 {
			u := over / (2 * passiveSlack)
			c.passive += t.weight[k] * math.Min(u*u/2, passiveMost)
		}
	}
	c.passive = math.Max(0, c.passive-t.active)
	if c.sum() > most {
		return c, false
	}
	for i, k := range t.mirror {
		t.size[i] = cmplx.Abs(t.left[k])
	}
	c.mirror = math.Inf(1)
	for s, kept := range t.kept {
		sum := t.noMirror(kept)
		if s >= swallowSteps {
			if len(h.fits) > 0 {
				break
			}
			sum += lossPrior
		}
		c.mirror = math.Min(c.mirror, sum)
	}
	return c, true
}

// noMirror is what it costs that the antenna is none where it should be, kept
// being what its loss leaves of one. It may radiate farther down and up than
// its record says, from wherever that explains most to its band.
func (t *antennaBench) noMirror(kept []float64) float64 {
	// From either end of the sweep the mirror reaches so far in.
	side := func(from, to, step int) float64 {
		gain, best := 0.0, 0.0
		for i := from; i != to; i += step {
			u := (t.size[i] - kept[i]) / mirrorSigma
			u *= u / 2
			if u > mirrorMost {
				u = mirrorMost
			}
			gain += t.mirrorWeight[i] * (radiates - u)
			if gain > best {
				best = gain
			}
		}
		return best
	}
	return t.allRadiates - side(0, t.lowSide, 1) - side(len(t.size)-1, t.lowSide-1, -1)
}

// worst is the largest |Γ| that is left in the antenna's band.
func (t *antennaBench) worst() float64 {
	most := 0.0
	for _, k := range t.inBand {
		most = math.Max(most, cmplx.Abs(t.left[k]))
	}
	return most
}

// notTotal is what it costs that all is not a total reflection of the given
// sign, the way there and back a little more or less lossy than its record.
func (t *antennaBench) notTotal(sign float64) float64 {
	mean, all := 0.0, 0.0
	for k, g := range t.turned {
		mean += t.weight[k] * real(g)
		all += t.weight[k]
	}
	mean = sign * math.Max(1-(1-endReflectsLeast)*t.unsure, math.Min(1, sign*mean/all))
	spread := totalSpread * t.unsure
	sum := 0.0
	for k, g := range t.turned {
		d := g - complex(mean, 0)
		sum += t.weight[k] * math.Min((real(d)*real(d)+imag(d)*imag(d))/(2*spread*spread), totalMost)
	}
	return sum
}
