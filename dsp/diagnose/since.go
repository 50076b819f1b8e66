package diagnose

import (
	"context"
	"fmt"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// What has changed since the earlier sweep counts from here. Common practice, no
// source.
const (
	grownEnoughDB       = 6.0    // a reflection that grew by so much is not as built
	changeSeenDB        = 52.0   // a change weaker than this is not worth a climb
	changeSurelyDB      = 30.0   // a reflection that grew by one this strong is not either
	asBuiltAboveDB      = 25.0   // an unchanged reflection weaker than this was built so
	sinceTrust          = 0.6    // how sure a name is that the change alone gives
	shadowAboveDB       = 15.0   // a change this strong ...
	shadowedBelowDB     = 40.0   // ... may leave traces this weak behind it
	delayNamedS         = 0.3e-9 // there and back
	terminationChangeDB = 32.0   // a change at a termination weaker than this may be its own
	terminationOverDB   = 6.0    // and so much less than what it reflected, behind a fault
	leastDentRatio      = 0.9
	bornShare           = 0.5 // of a change's reflection that the model of the line as it is must have there
)

// sinceEarlier compares s with the earlier sweep of settings. An earlier sweep that cannot be used gives a warning;
// without one there is neither.
func sinceEarlier(ctx context.Context, s *sweep.Sweep, settings Settings, path *cables.Path, line *cables.Line) (d *difference, warning string, err error) {
	before := settings.Baseline
	if before == nil {
		return nil, "", nil
	}
	if settings.LowHz > 0 || settings.HighHz > 0 {
		before, err = before.Band(settings.LowHz, settings.HighHz)
	}
	if err == nil {
		d, err = compareBaseline(ctx, s, before, path, line)
	}
	if ctx.Err() != nil {
		return nil, "", ctx.Err()
	}
	if err != nil {
		return nil, fmt.Sprintf("the earlier sweep was not used: %v", err), nil
	}
	return d, "", nil
}

// compare brings in the earlier sweep: what changed since then is a fault even
// where it is no larger than what a sound line may show, and what did not is
// less of one.
func (b *bench) compare(out *Findings, d *difference) {
	out.Warnings = append(out.Warnings, d.Warnings...)
	told := make([]bool, len(d.Changes))
	for i := range out.Findings {
		f := &out.Findings[i]
		for k := range d.Changes {
			c := &d.Changes[k]
			within := math.Max(lobeCells*d.cellM, 3*f.SigmaM)
			if c.DistanceM < f.DistanceM-within || c.DistanceM > f.DistanceM+f.ExtentM+within {
				continue
			}
			f.Evidence = append(f.Evidence, c.Sentence)
			told[k] = told[k] || f.IsFault
		}
		if same, words := d.unchanged(f.DistanceM, f.ReturnLossDB); same && f.Cause != Ghost {
			f.Evidence = append(f.Evidence, words)
			if f.IsFault && f.ReturnLossDB > asBuiltAboveDB && f.ExtentM == 0 {
				f.IsFault, f.Confidence = false, math.Min(f.Confidence, 0.5)
				f.Alternatives = append([]Alternative{{f.Cause, f.Confidence}}, f.Alternatives...)
				f.Cause = Joint
			}
		}
	}
	b.behindChanges(out, d, told)
	for k := range d.Changes {
		c := &d.Changes[k]
		if told[k] || c.DistanceM > d.Unwatched || shadowed(d.Changes, k) || b.explained(out.Findings, c) {
			continue
		}
		// Beside a fault that the sweep itself shows such traces may be its bounces, folded back perhaps.
		if c.ChangeDB > shadowedBelowDB && c.Kind != changeDelayed && faulty(out.Findings) {
			continue
		}
		if f, ok := b.sinceThen(c); ok && (c.Kind == changeDelayed || c.AtLoad || b.bears(c)) {
			out.Findings = append(out.Findings, f)
		}
	}
}

// explained says whether a change is what a fault in front of it, or the far
// end, does to what lies behind.
func (b *bench) explained(found []Finding, c *change) bool {
	if c.AtLoad && b.load == cables.Termination {
		// It does not change by itself, and behind a fault by no more than it reflects: what does is its connector.
		return c.ChangeDB > terminationChangeDB || faulty(found) && c.ChangeDB > c.BeforeDB-terminationOverDB
	}
	if c.Kind == changeDelayed && b.inSkirts(found, c) {
		return true
	}
	for _, f := range found {
		if f.IsFault && (f.Cause == OpenCircuit || f.Cause == ShortCircuit || f.Cause == WaterInCable || f.Cause == LossySection || f.Cause == WrongImpedance) && f.DistanceM < c.DistanceM {
			return true
		}
	}
	return c.AtLoad
}

// inSkirts says whether what comes later in c may be the skirts of something far stronger that is new behind it, a total reflection
// in place of what ended the line for one: no joint that is farther from that bears it out.
func (b *bench) inSkirts(found []Finding, c *change) bool {
	_, atJoint := b.placeAt(c.DistanceM)
	cell := b.since.cellM
	return slices.ContainsFunc(found, func(f Finding) bool {
		return f.IsFault && (f.Cause == OpenCircuit || f.Cause == ShortCircuit) && f.DistanceM >= c.DistanceM && (!atJoint || f.DistanceM < c.DistanceM+2*lobeCells*cell)
	}) || slices.ContainsFunc(b.since.Changes, func(by change) bool {
		return by.DistanceM > c.DistanceM && by.DistanceM < c.DistanceM+skirtCells*cell && by.ChangeDB < c.ChangeDB-skirtsDB
	})
}

// skirtsDB is how much stronger what has such skirts is, at least.
const skirtsDB = 35.0

// shadowed says whether a weak change lies behind a strong one, whose
// re-reflections the comparison may not have caught to the last.
func shadowed(changes []change, k int) bool {
	for _, c := range changes[:k] {
		if c.ChangeDB < shadowAboveDB && changes[k].ChangeDB > shadowedBelowDB {
			return true
		}
	}
	return false
}

// bears says whether the line as it is now has a reflection where, and about as
// strong as, the change says, or as it is new: in its model, or in what that leaves unexplained. A
// bounce that the comparison put there, folded back perhaps, is in the model as
// what it is, and nothing is left of it.
func (b *bench) bears(c *change) bool {
	fit := b.fit
	least := bornShare * math.Pow(10, -math.Max(c.NowDB, c.ChangeDB)/20)
	cell := fit.Cell(c.DistanceM)
	for _, p := range fit.Points {
		if math.Abs(p.X-c.DistanceM) < cell && fit.RMS(p) > least {
			return true
		}
	}
	held := fit.Save()
	defer fit.Restore(held)
	best := 0.0
	for _, form := range []linemodel.Form{linemodel.Series, linemodel.Shunt} {
		p := fit.NewPoint(c.DistanceM, form)
		p.Fits = linemodel.Fitting(linemodel.ByFlat, linemodel.ByRising, linemodel.ByPlace)
		p.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: c.DistanceM, Sigma: cell / 2}
		fit.Insert(p)
		fit.Evaluate()
		fit.Refine([]*linemodel.Point{p}, false, fit.Load != nil, 6)
		if held.Cost-fit.Cost > faultGain*b.unit {
			best = math.Max(best, fit.RMS(p))
		}
		fit.Restore(held)
	}
	return best > least
}

// leastDent is what the slightest dent or kink reflects in the middle of the band, small against a wave: it lowers the
// impedance of dentLeastM of cable to leastDentRatio, and |Γ| = β·l·(1/κ − κ)/2 (Pozar, "Microwave Engineering",
// 4th ed., ch. 2, from memory). Water that creeps in begins with less, and holds up what lies behind.
func leastDent(fit *linemodel.Fit, x float64) float64 {
	return fit.Beta0[fit.SpanAt(x)] * dentLeastM * (1/leastDentRatio - leastDentRatio) / 2
}

// sinceThen is the finding that a change gives where nothing was found by the
// sweep alone.
func (b *bench) sinceThen(c *change) (f Finding, ok bool) {
	f = Finding{DistanceM: c.DistanceM, seenM: c.SigmaM, IsFault: true, ReturnLossDB: c.NowDB, Confidence: sinceTrust, Alternatives: []Alternative{}, Evidence: []string{c.Sentence}, Checks: []string{}, Cautions: []string{}}
	place, atJoint := b.placeAt(c.DistanceM)
	f.Place = place
	kind := c.Kind
	if c.AtLoad && c.Amplitude != 0 { // with what the load reflects it may come to less than before
		kind = changeNew
	}
	switch kind {
	case changeNew, changeGrown:
		if c.ChangeDB > changeSeenDB || kind == changeGrown && c.GrownDB < grownEnoughDB && c.ChangeDB > changeSurelyDB {
			return f, false
		}
		re, im := real(c.Amplitude), imag(c.Amplitude)
		switch {
		case !atJoint && (c.DelayS > 0 || math.Hypot(re, im) < leastDent(b.fit, c.DistanceM)):
			f.Cause = WaterInCable
		case !atJoint:
			f.Cause = DentOrKink
		case re > math.Abs(im):
			f.Cause = PoorContact
		case -re > math.Abs(im):
			f.Cause = WaterInConnector
		default:
			f.Cause = ConnectorMismatch
		}
	case changeDelayed:
		if c.DelayS < delayNamedS {
			return f, false
		}
		f.Cause, f.DistanceM, f.ExtentM = WaterInCable, c.FromM, math.Max(0, c.DistanceM-c.FromM)
		f.seenM = math.Hypot(f.seenM, f.ExtentM/2)
	default:
		return f, false
	}
	nameAlone(&f)
	return f, true
}
