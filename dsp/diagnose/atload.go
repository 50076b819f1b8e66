package diagnose

import (
	"cmp"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// The connector at the load is the one place where a fault has no echo of its
// own: what it does is mixed into what the load does. It shows where the load
// is known, on a line that ends open or short. In front of an antenna one port
// cannot tell it from the antenna.

// endGain is how many natural units of evidence a fault at the far end must
// bring over a sound open or short, and endOverLoss over one behind a line that loses more than its record, which is a fault as well.
// Where a sound line will not do and nothing else is at fault, which it might stand in for, it is the one fault or the other, and
// endForLoss is enough, if it explains as much as free points do; but what swallows nearly all, of z or y, may be anywhere on the way.
const (
	endGain     = 12
	endOverLoss = 16
	endForLoss  = 6
	endSwallows = 0.5
)

// endExplains is the share of the cost of a sound end that it may leave: a fault elsewhere that
// is not in the model, or not just as it is, must not be put on the end. It may leave more, but never more than endLeaves of what
// that or a line with more loss does, if it brings endFreeGain, and takes from the cost at least the share endFree of what the free
// points of locating take.
const (
	endExplains = 0.4
	endLeaves   = 0.8
	endFreeGain = 2 * endGain
	endFree     = 0.8
)

// endCrowded is how many times what was named at the end a sound end leaves that something stands in front of.
const endCrowded = 5.0

// Steps that the fit of an end takes, alone and with what is around it: what of its phase is a reactance's and what is
// the way there, it tells only slowly.
const (
	endStepsAlone  = 16
	endStepsAround = 12
)

const (
	soundEndLeaks = 0.004 // of y or z of a sound end, one standard deviation: 0.1 mS or 0.2 ohm
	soundEndStray = 0.5   // its stray capacitance or inductance, of that of an end that is a fault
	lossyEndNp    = 2.0   // what a line may lose beyond its record there and back, one standard deviation
	endBehindM    = 0.002 // how far behind a circuit at its connector an end is
)

// atTheEnd is what stands at the connector of an open or a short.
type atTheEnd struct {
	trials  []trial // faults, best first
	sound   *trial  // else, perhaps, a sound end that explains the sweep better than what was named there
	crowded bool    // a sound end leaves far more than what was named there: something is in front of it
}

// atEnd names a fault at the connector of an open or a short. faults says whether something was found at fault.
func (b *bench) atEnd(found []locate.Reflection, faults bool) (end atTheEnd) {
	form, recordedKind := linemodel.OpenEnd, OpenCircuit // that is no fault
	switch b.load {
	case cables.Open:
	case cables.Short:
		form, recordedKind = linemodel.ShortEnd, ShortCircuit
	default:
		return end
	}
	fit := b.fit
	length := b.path.LengthM()
	instead := b.aboutEnd()
	if len(instead) == 0 || hidden(found, length) || b.blocked() {
		return end
	}
	// However weak they are: a contact of the line's impedance in front of a short swallows all.
	slices.SortFunc(instead, func(p, q *linemodel.Point) int { return cmp.Compare(fit.RMS(q), fit.RMS(p)) })
	held := fit.Save()
	fit.Tracked, fit.Patient = true, true // a total reflection shows it as nothing else does
	defer func() { fit.Tracked, fit.Patient = false, false }()
	soundLoss := soundLossNp(fit, length)
	local := b.screen(instead)
	var out []trial
	attempt := func(c *circuit, speaks Cause, lossSigma, prior float64, starts ...endStart) {
		h := &endHypothesis{form: form, lossSigma: lossSigma, circuit: c}
		if len(starts) == 0 {
			starts = b.endStarts(local, h, instead)
		}
		for _, s := range starts {
			if fit.Over() {
				return
			}
			for _, r := range instead {
				fit.Remove(r)
			}
			q, p := h.put(fit, s)
			group := []*linemodel.Point{q}
			if p != nil {
				group = append(group, p)
			}
			fit.Evaluate()
			fit.Refine(group, false, false, endStepsAlone)
			fit.Refine(around(fit, q), true, false, endStepsAround)
			point, cause, score := q, speaks, -fit.Cost/b.unit+prior
			if p != nil {
				point, cause = p, b.causeOf(speaks, p)
				score -= 2*float64(count(p.Fits)-1) + c.unlikely(p, fit.MiddleHz)
			}
			if cause != recordedKind {
				out = append(out, trial{cause: cause, point: point, score: score, state: fit.Save()})
			}
			fit.Restore(held)
		}
	}
	attempt(nil, FarEnd, soundLoss, 0)
	attempt(nil, LossySection, lossyEndNp, -2)
	out = append(out, b.otherEnd(instead, instead[0])...)
	felt := linemodel.Shunt // by an open end, where no current flows; by a short, where there is no voltage, what is in series
	if form == linemodel.ShortEnd {
		felt = linemodel.Series
	}
	for _, c := range circuits() {
		if c.needsJoint && c.form == felt {
			attempt(&c, c.cause, soundLoss, c.prior-3)
		}
	}
	// Once more from where the best of them has it: they differ in place by less than their own starts may.
	sortTrials(out)
	if len(out) > 0 && out[0].point.Form == felt {
		fit.Restore(out[0].state)
		p := *out[0].point
		fit.Restore(held)
		for _, c := range circuits() {
			if c.needsJoint && c.form == felt {
				attempt(&c, c.cause, soundLoss, c.prior-3, c.asLarge(&p))
			}
		}
	}
	sortTrials(out)
	var kept []trial
	farEnd, farCost, loss, lossCost := math.Inf(-1), math.Inf(1), math.Inf(-1), math.Inf(1)
	for _, t := range out {
		switch t.cause {
		case FarEnd:
			farEnd, farCost = math.Max(farEnd, t.score), math.Min(farCost, t.state.Cost)
		case LossySection:
			loss, lossCost = math.Max(loss, t.score), math.Min(lossCost, t.state.Cost)
		default:
			kept = append(kept, t)
			continue
		}
		if t.state.Cost < held.Cost && (end.sound == nil || t.score > end.sound.score) {
			end.sound = &t
		}
	}
	end.crowded = math.Min(farCost, lossCost) > endCrowded*held.Cost
	if len(kept) == 0 || b.asSound(kept[0]) {
		return end
	}
	best := kept[0]
	if end.crowded && best.state.Cost-held.Cost > crowdLeaves*(math.Min(farCost, lossCost)-held.Cost) {
		return end
	}
	swallows := best.point.Flat > endSwallows || best.state.Cost > held.Cost
	if !faults && !swallows && loss > farEnd+endFreeGain && best.score > loss+endForLoss {
		end.trials = append(kept, trial{cause: LossySection, score: loss, point: best.point, state: best.state})
		sortTrials(end.trials)
		return end
	}
	if best.score < farEnd+endGain || best.score < loss+endOverLoss {
		return end
	}
	if best.state.Cost > endLeaves*math.Min(farCost, lossCost) {
		return end
	}
	// Where it leaves much, it must bring more, and explain as much as free points do.
	if best.state.Cost > endExplains*farCost && (best.score < farEnd+endFreeGain || farCost-best.state.Cost < endFree*(farCost-held.Cost)) {
		return end
	}
	end.trials = kept
	return end
}

// withSoundEnd puts an end that nothing is wrong with, but perhaps for what is lost on the way there, in place of whatever was
// said of the far end.
func (b *bench) withSoundEnd(found []Finding, result *locate.Result, end *trial) []Finding {
	b.fit.Restore(end.state)
	for i := range result.Reflections {
		if r := &result.Reflections[i]; r.Kind == locate.AtFarEnd || r.Kind == locate.Mid && b.isAtEnd(r.DistanceM) {
			r.Kind, r.Total, r.Points = locate.AtFarEnd, locate.NotTotal, []*linemodel.Point{end.point}
		}
	}
	b.named = slices.DeleteFunc(b.named, func(v *verdictOf) bool { return b.isAtEnd(v.finding.DistanceM) && v.finding.ExtentM == 0 })
	var out []Finding
	told := false
	for _, f := range found {
		if b.isAtEnd(f.DistanceM) && f.ExtentM == 0 && (f.IsFault || f.Cause == FarEnd) {
			if told {
				continue
			}
			told = true
			f = Finding{DistanceM: end.point.X, SigmaM: f.SigmaM, Cause: FarEnd, Confidence: usual, Place: "far end", Alternatives: []Alternative{},
				ReturnLossDB: -20 * math.Log10(b.fit.RMS(end.point)), Evidence: []string{}, Checks: []string{}, Cautions: []string{}}
			if end.point.Form == linemodel.ShortEnd {
				f.PhaseDeg = 180
			}
		}
		out = append(out, f)
	}
	return out
}

// aboutEnd lists the points that may stand for the end of the line; a stretch of cable in front of it is none.
func (b *bench) aboutEnd() (out []*linemodel.Point) {
	for _, p := range b.fit.Points {
		if b.isAtEnd(p.X) && p.Form != linemodel.Foreign && p.Form != linemodel.Wet {
			out = append(out, p)
		}
	}
	return out
}

// isAtEnd says whether what is seen at x may be at the end of the line.
func (b *bench) isAtEnd(x float64) bool {
	length := b.path.LengthM()
	return math.Abs(x-length) < math.Max(b.fit.Cell(length), 3*placeSigma(length))
}

// endHypothesis is an open or shorted end with, perhaps, a circuit in front of it.
type endHypothesis struct {
	form      linemodel.Form // of the end
	lossSigma float64        // of the loss beyond the record on the way there and back, Np
	circuit   *circuit       // nil: none
}

// endStart is where a fit of such an end begins.
type endStart struct {
	x     float64
	sizes [3]float64 // of the circuit: flat, rising and falling
	loss  float64    // Np
	cost  float64
}

// asLarge begins c where p is, with what it has of the quantities of p.
func (c *circuit) asLarge(p *linemodel.Point) endStart {
	s := endStart{x: p.X + endBehindM}
	for i, v := range [3]float64{p.Flat, p.Rising, p.Falling} {
		if c.fits[[3]int{linemodel.ByFlat, linemodel.ByRising, linemodel.ByFalling}[i]] {
			s.sizes[i] = v
		}
	}
	return s
}

// put puts h into the fit, begun at s: the end and the circuit, nil where there is none. The
// model is not evaluated.
func (h *endHypothesis) put(fit *linemodel.Fit, s endStart) (end, p *linemodel.Point) {
	end = fit.NewPoint(s.x, h.form)
	end.Falling = s.loss
	end.Fits = linemodel.Fitting(linemodel.ByFlat, linemodel.ByRising, linemodel.ByFalling, linemodel.ByPlace)
	end.Prior[linemodel.ByFlat] = linemodel.Prior{Sigma: soundEndLeaks}
	end.Prior[linemodel.ByRising] = linemodel.Prior{Sigma: soundEndStray * straySigma(fit, h.form)}
	end.Prior[linemodel.ByFalling] = linemodel.Prior{Sigma: h.lossSigma}
	fit.Sample(end)
	if h.circuit != nil {
		p = fit.NewPoint(s.x-endBehindM, h.circuit.form)
		p.Fits, p.Passive = h.circuit.fits, true
		p.Flat, p.Rising, p.Falling = s.sizes[0], s.sizes[1], s.sizes[2]
		fit.Sample(p)
		fit.Insert(p)
		fit.Links = append(fit.Links, linemodel.Link{A: p, B: end, LengthM: endBehindM, SigmaM: endBehindM / 4})
	}
	fit.Insert(end)
	return end, p
}

// endStarts lists the places and sizes from which a fit of h goes best, best
// first, by what the points reflect by themselves.
func (b *bench) endStarts(local *screening, h *endHypothesis, instead []*linemodel.Point) []endStart {
	fit := local.fit
	from, to := b.seen(instead)
	sizes := [][3]float64{{}}
	if h.circuit != nil {
		sizes = h.circuit.startsOfSize()
	}
	losses := []float64{0}
	if h.circuit == nil && h.lossSigma >= 1 {
		losses = []float64{0.1, 0.4, 1, 2, 4}
	}
	bare := fit.Save()
	at := func(s endStart) float64 {
		h.put(fit, s)
		fit.Evaluate()
		cost := fit.Cost
		fit.Return(bare)
		return cost
	}
	var kept []endStart
	places := local.places(from, to)
	costs := make([]float64, len(places))
	for _, size := range sizes {
		for _, loss := range losses {
			for i, x := range places {
				if fit.Over() {
					return nil
				}
				costs[i] = at(endStart{x: x, sizes: size, loss: loss})
			}
			for i, c := range costs {
				if (i == 0 || c <= costs[i-1]) && (i+1 == len(costs) || c < costs[i+1]) {
					kept = append(kept, endStart{places[i], size, loss, c})
				}
			}
		}
	}
	byCost := func(s, t endStart) int { return cmp.Compare(s.cost, t.cost) }
	slices.SortStableFunc(kept, byCost)
	kept = kept[:min(len(kept), screenFits)]
	for i := range kept {
		s := &kept[i]
		end, p := h.put(fit, *s)
		group := []*linemodel.Point{end}
		if p != nil {
			group = append(group, p)
		}
		fit.Evaluate()
		fit.Refine(group, false, false, 8)
		s.x, s.loss, s.cost = end.X, end.Falling, fit.Cost
		if p != nil {
			s.sizes = [3]float64{p.Flat, p.Rising, p.Falling}
		}
		fit.Restore(bare)
	}
	slices.SortStableFunc(kept, byCost)
	apart := screenApart * math.Pi / fit.Beta0[len(fit.Beta0)-1]
	var out []endStart
	for _, s := range kept {
		alike := slices.ContainsFunc(out, func(t endStart) bool { return math.Abs(s.x-t.x) < apart })
		if !alike && len(out) < screenKept {
			out = append(out, s)
		}
	}
	return out
}

// asSound says whether the circuit of t reflects no more than a sound joint may: that is a reactance, and resists a short by
// next to nothing.
func (b *bench) asSound(t trial) bool {
	resists := t.cause == PoorContact && t.point.Flat > leastContact
	return !t.point.Form.Ends() && !resists && b.fit.RMS(t.point) < locate.JointMost(b.fit)
}

// otherEnd tries an end of the other kind than the record's at the far end,
// in place of the given points.
func (b *bench) otherEnd(instead []*linemodel.Point, strongest *linemodel.Point) []trial {
	length := b.path.LengthM()
	reach := math.Max(b.fit.Cell(length), 3*placeSigma(length))
	var out []trial
	for _, t := range b.endsBetween(instead, length-reach, length+reach, strongest.X, strongest.Local) {
		if !b.recorded(t.point) {
			t.score += 2 - float64(count(t.point.Fits)) + math.Log(1-totalEndIsSound) // weighed as the circuits are
			out = append(out, t)
		}
	}
	return out
}

// hidden says whether a total reflection lies before x.
func hidden(found []locate.Reflection, x float64) bool {
	for i := range found {
		if r := &found[i]; r.Total != locate.NotTotal && r.Kind != locate.AtFarEnd && r.DistanceM < x {
			return true
		}
	}
	return false
}

// placeFarEnd is what the connector of an open or a short is called.
const placeFarEnd = "connector at the far end"

// withEndFault adds the fault at the far end that trials name, best first, in
// place of whatever was said of the far end.
func (b *bench) withEndFault(found []Finding, trials []trial) []Finding {
	best := trials[0]
	b.fit.Restore(best.state)
	length := b.path.LengthM()
	f := Finding{DistanceM: best.point.X, SigmaM: placeSigma(length), IsFault: true, Place: placeFarEnd,
		ReturnLossDB: -20 * math.Log10(b.fit.RMS(best.point)), Alternatives: []Alternative{}, Checks: []string{}, Cautions: []string{}}
	f.Evidence = describe(best.point, nil, b.fit, 0, f.Place)
	nameFinding(&f, trials, trust(1))
	var out []Finding
	for _, g := range found {
		if g.IsFault && b.isAtEnd(g.DistanceM) && g.ExtentM == 0 {
			continue
		}
		out = append(out, g)
	}
	return append(out, f)
}
