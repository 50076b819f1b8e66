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

// Behind a strong fault an open or shorted end is located late, and a crowd of
// points stands for it. They reflect as it does where they were fitted, but not
// once the fault in front has become the circuit that it is: then they hold the
// fit where it was. Where naming leaves much, it is done again with the end as the
// record has it, and kept where that leaves clearly less.
const (
	namingLeft = 0.012 // rms |Γ| that the named line leaves from which it is worth another try
	againGains = 0.7   // share of the first one's residual, squared, that the other try may leave
	// What such a crowd left is no measure of the noise: so much less is
	// expected, or priors would weigh more than the sweep.
	strayedUnit = 16
)

// nameFromEnd names what was found, and again from a clean end where that may
// be better.
func (b *bench) nameFromEnd(ctx context.Context, found *locate.Result) ([]Finding, error) {
	start, reflections := b.fit.Save(), slices.Clone(found.Reflections)
	first, err := b.name(ctx, found)
	if err != nil || b.load != cables.Open && b.load != cables.Short || b.fit.ResidualRMS() < namingLeft || b.blocked() || hidden(reflections, b.path.LengthM()) {
		return first, err
	}
	named, state, left := b.named, b.fit.Save(), weighed(b.fit.Residual, b.fit.Weight)
	b.fit.Restore(start)
	again := *found
	again.Reflections = reflections
	unit, noise := b.unit, b.fit.Noise
	b.unit, b.fit.Unit, b.fit.Noise = unit/strayedUnit, unit/strayedUnit, noise/strayedUnit
	if b.cleanEnd(&again) {
		b.named = nil
		second, err := b.name(ctx, &again)
		if err != nil {
			return nil, err
		}
		if weighed(b.fit.Residual, b.fit.Weight) < againGains*left {
			*found = again
			return second, nil
		}
	}
	b.unit, b.fit.Unit, b.fit.Noise, b.named = unit, unit, noise, named
	b.fit.Restore(state)
	return first, nil
}

// cleanEnd puts one sound end of the recorded kind in place of all points about
// the end of the line, and one reflection in place of what was found there. It is
// false where nothing was.
func (b *bench) cleanEnd(found *locate.Result) bool {
	fit := b.fit
	length := b.path.LengthM()
	var crowd []*linemodel.Point
	for _, p := range fit.Points {
		if p.X > length-math.Max(fit.Cell(length), 3*placeSigma(length)) {
			crowd = append(crowd, p)
		}
	}
	if len(crowd) == 0 {
		return false
	}
	slices.SortFunc(crowd, func(p, q *linemodel.Point) int { return cmp.Compare(fit.RMS(q), fit.RMS(p)) })
	h := &endHypothesis{form: linemodel.OpenEnd, lossSigma: soundLossNp(fit, length)}
	if b.load == cables.Short {
		h.form = linemodel.ShortEnd
	}
	starts := b.endStarts(b.screen(crowd), h, crowd)
	if len(starts) == 0 {
		return false
	}
	for _, p := range crowd {
		fit.Remove(p)
	}
	end, _ := h.put(fit, starts[0])
	fit.Evaluate()
	fit.Refine([]*linemodel.Point{end}, false, false, 4)
	var kept []locate.Reflection
	var far *locate.Reflection
	for i := range found.Reflections {
		r := &found.Reflections[i]
		if len(r.Points) == 0 || !slices.Contains(crowd, r.Points[0]) {
			kept = append(kept, *r)
		} else if far == nil || r.ReturnLossDB < far.ReturnLossDB {
			far = r
		}
	}
	if far == nil {
		return false
	}
	clean := *far
	clean.Points, clean.DistanceM, clean.Kind, clean.Excess, clean.Place = []*linemodel.Point{end}, end.X, locate.AtFarEnd, false, "far end"
	clean.ReturnLossDB = -20 * math.Log10(fit.RMS(end))
	found.Reflections = append(kept, clean)
	return true
}
