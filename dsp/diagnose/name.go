package diagnose

import (
	"cmp"
	"context"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// temper is how many times the residual's own variance one natural unit of
// evidence costs: what is left is not white, and neighbouring points say much
// the same.
const temper = 4

// name turns the reflections into findings: each cluster is fitted with all
// that it could be.
func (b *bench) name(ctx context.Context, result *locate.Result) ([]Finding, error) {
	found := result.Reflections
	all := clusters(b.fit, found)
	var kept []*cluster
	anything, excess := false, false
	for _, c := range all {
		anything, excess = anything || c.excess || c.head().Doubt, excess || c.excess
		if c.excess || c.head().Doubt || c.head().Kind == locate.Mid {
			kept = append(kept, c)
		}
	}
	if !anything {
		return plain(found), nil
	}
	located := b.fit.Save()
	b.toRecord(kept, result)
	recordCost := b.fit.Cost
	consumed := map[*locate.Reflection]bool{}
	named := map[*locate.Reflection]*verdictOf{}
	var hiddenBy *linemodel.Point // the end of what can be seen
	for order := surestFirst(kept); len(order) > 0; {
		i := order[0]
		order = order[1:]
		c := kept[i]
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if consumed[c.head()] || c.head().Kind == locate.AtFarEnd && !c.head().Excess || hiddenBy != nil && c.points[0].X > hiddenBy.X {
			continue
		}
		var trials []trial
		if c.excess {
			trials = b.hypotheses(i, kept, consumed)
			if err := ctx.Err(); err != nil { // there may be none
				return nil, err
			}
			trials = b.settle(endsForTotals(trials))
		} else {
			trials = b.doubted(c)
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if len(trials) == 0 {
			continue
		}
		unit := b.temperTo(trials)
		if parts := b.apart(i, kept, consumed, trials[0], unit); parts != nil {
			kept, order = inPlaceOf(kept, i, parts, order)
			continue
		}
		mild := b.mild(trials[0])
		if mild {
			trials[0].cause = Joint
			if c.head().Kind == locate.AtFarEnd {
				trials[0].cause = FarEnd
			}
		}
		if b.isTheEnd(trials[0]) {
			trials[0].cause = FarEnd
		}
		if sound, ok := b.withoutFault(c); ok && c.excess && trials[0].score < faultGain-sound.Cost/unit {
			b.fit.Restore(sound)
			for _, r := range c.members {
				consumed[r] = true
			}
			continue
		}
		best := trials[0]
		b.fit.Restore(best.state)
		f := finding(*c.head())
		f.IsFault, f.DistanceM, f.ExtentM = best.cause != FarEnd && best.cause != Joint, math.Max(0, best.point.X), best.point.LengthM()
		if b.isTotal(best) {
			hiddenBy = best.point
		}
		f.Alternatives = []Alternative{}
		trusted, also := trust(best.state.Cost/recordCost), []Cause(nil)
		if b.load == cables.Antenna && f.Place == placeAtLoad { // the antenna's taps may have left it to the circuit
			trusted, also = trusted*nearLoadTrust, []Cause{AntennaFault}
		}
		nameFinding(&f, trials, trusted, also...)
		if f.Cause == DentOrKink { // that is in cable, however near a joint
			f.Place = "in " + b.path.Spans[b.fit.SpanAt(best.point.X+best.point.Extent/2)].Name
		}
		if !f.IsFault {
			f.Alternatives = []Alternative{}
		}
		if mild {
			f.Evidence = append(f.Evidence, "its reactance is larger than that of most sound joints, and no larger than a sound one's may be: hold it against an earlier sweep, or sweep again later")
		}
		named[c.head()] = &verdictOf{finding: f, trials: trials, noiseM: c.head().NoiseM, budgetDB: c.head().BudgetDB}
		for _, r := range c.members {
			consumed[r] = true
		}
		for _, d := range best.takes {
			for _, r := range d.members {
				consumed[r] = true
			}
		}
		if best.cause == WrongImpedance {
			b.behindOther(best, found, consumed)
		}
	}
	if !excess && len(named) == 0 { // nothing but doubts, that went
		b.fit.Restore(located)
		b.sound = nil
		return plain(found), nil
	}
	b.onlyNeeded(named)
	var out []Finding
	for i := range found {
		r := &found[i]
		if v, ok := named[r]; ok {
			out = append(out, v.finding)
			b.named = append(b.named, v)
		} else if !consumed[r] && (hiddenBy == nil || r.DistanceM < hiddenBy.X) {
			out = append(out, finding(*r))
		}
	}
	return out, nil
}

// temperTo makes the unit of the trials' scores what the best of them leaves,
// where that is more than the points of locating left, and returns it: among
// circuits none of which fits, what is left over decides less, and what is usual
// more.
func (b *bench) temperTo(trials []trial) (unit float64) {
	total, least := 0.0, math.Inf(1)
	for _, w := range b.fit.Weight {
		total += w
	}
	for _, t := range trials {
		least = math.Min(least, t.state.Cost)
	}
	unit = temper * least / total
	if unit <= b.unit {
		return b.unit
	}
	for i := range trials {
		t := &trials[i]
		t.score += t.state.Cost/b.unit - t.state.Cost/unit
	}
	sortTrials(trials)
	return unit
}

// faultGain is how many natural units of evidence a fault must bring over a sound
// line: one place in some hundreds is at fault.
const faultGain = 6.0

// withoutFault is the line without what c stands for, a sound joint in its place
// where there is one, its neighbours having moved. ok is false where c is all or
// part of the line's end. The fit stays as it is.
func (b *bench) withoutFault(c *cluster) (state *linemodel.State, ok bool) {
	for _, r := range c.members {
		if r.Kind == locate.AtFarEnd || r.Total != locate.NotTotal {
			return nil, false
		}
	}
	return b.without(c.points), true
}

// without is the fit without the points, as withoutFault has it.
func (b *bench) without(points []*linemodel.Point) *linemodel.State {
	fit := b.fit
	held := fit.Save()
	defer fit.Restore(held)
	for _, p := range points {
		fit.Remove(p)
	}
	if joint, atJoint := b.jointWithin(points); atJoint && !b.taken(joint) {
		mean, sigma := b.expect(joint, points)
		p := b.soundJoint(math.Max(mean-placeReach*sigma, math.Min(points[0].X, mean+placeReach*sigma)), joint)
		p.Fits[linemodel.ByPlace], p.Prior[linemodel.ByPlace] = true, linemodel.Prior{Mean: mean, Sigma: sigma}
		fit.Insert(p)
	}
	b.soundJoints(points[0].X)
	b.soundDevices(points[0].X)
	fit.Evaluate()
	group := around(fit, points[0])
	for range 2 {
		if fit.Load != nil {
			fit.QuickFitLoad()
		}
		fit.Refine(group, true, false, 4)
	}
	return fit.Save()
}

// onlyNeeded takes out of what was named, weakest first, the points that what was
// named after them has made needless.
func (b *bench) onlyNeeded(named map[*locate.Reflection]*verdictOf) {
	if len(named) < 2 {
		return
	}
	fit := b.fit
	type entry struct {
		r *locate.Reflection
		p *linemodel.Point
	}
	var points []entry
	for r, v := range named {
		p := v.trials[0].point
		if !p.Form.Ends() && r.Total == locate.NotTotal && r.Kind != locate.AtFarEnd && slices.Contains(fit.Points, p) && fit.RMS(p) < needlessMost {
			points = append(points, entry{r, p})
		}
	}
	slices.SortFunc(points, func(a, b entry) int { return cmp.Compare(fit.RMS(a.p), fit.RMS(b.p)) })
	for _, e := range points {
		unit := temper * math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS())
		if sound := b.without([]*linemodel.Point{e.p}); (sound.Cost-fit.Cost)/unit < faultGain+float64(count(e.p.Fits)) {
			fit.Restore(sound)
			delete(named, e.r)
		}
	}
}

// needlessMost is the |Γ| of a fault that others may make up for at most.
const needlessMost = 0.1

// verdictOf is a finding with the trials that led to it, best first.
type verdictOf struct {
	finding  Finding
	trials   []trial
	noiseM   float64 // the share of the finding's sigma that noise has
	budgetDB float64
	// sigma holds the standard deviations of the circuit's quantities where they do
	// not come from the fit: at an antenna's connector the antenna's taps are free.
	sigma map[int]float64
}

// hypotheses fits cluster i with all that it could be, alone or together with
// others.
func (b *bench) hypotheses(i int, all []*cluster, consumed map[*locate.Reflection]bool) []trial {
	c := all[i]
	trials := b.ends(c)
	for _, t := range trials {
		if t.state.Cost < endSuffices*b.fit.Cost { // as well as free points do: no stretch reflects all
			return append(trials, b.circuits(c.points)...)
		}
	}
	trials = slices.Concat(trials, b.circuits(c.points), b.dent(c.points), b.foreignCable(i, all, consumed))
	if c.head().Kind == locate.Mid {
		trials = append(trials, b.wet(c.points)...)
		if t, ok := b.uneven(c.points); ok {
			trials = append(trials, t)
		}
		for j, d := range all {
			if j == i || consumed[d.head()] || !b.oneStretch(c, d) {
				continue
			}
			for _, t := range b.wet(append(append([]*linemodel.Point(nil), c.points...), d.points...)) {
				t.takes = []*cluster{d}
				trials = append(trials, t)
			}
		}
	}
	return trials
}

// oneStretch says whether two clusters may be the edges of one stretch.
func (b *bench) oneStretch(c, d *cluster) bool {
	x, y := c.points[0].X, d.points[0].X
	return c.head().Kind == locate.Mid && d.head().Kind == locate.Mid && math.Abs(x-y) < wetMostM && b.fit.SpanAt(x) == b.fit.SpanAt(y)
}

// trust is how often a name is right whose circuit leaves ratio times the cost
// of the free points that locate fitted: a circuit that explains as much as
// they do is nearly always right, one that leaves much more is a guess. The
// figures come from drawn lines (package simulate) that are not those the tests
// judge by.
func trust(ratio float64) float64 {
	const best, from, slope = 0.93, 1.5, 0.15
	if ratio <= from {
		return best
	}
	return best / (1 + slope*math.Log(ratio/from))
}

// plain turns reflections into findings without naming faults further.
func plain(found []locate.Reflection) []Finding {
	var out []Finding
	for i := range found {
		out = append(out, finding(found[i]))
	}
	return out
}
