package diagnose

import (
	"math"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// The connector at the load is the one place where a fault has no echo of its
// own: what it does is mixed into what the load does. It shows where the load
// is known, on a line that ends open or short. In front of an antenna one port
// cannot tell it from the antenna.

// endGain is how many natural units of evidence a fault at the far end must
// bring over a sound open or short.
const endGain = 12

// endExplains is the share of the cost that it may leave: a fault elsewhere that
// is not in the model must not be put on the end.
const endExplains = 0.4

// atEnd names a fault at the connector of an open or a short, or returns nil.
func (b *bench) atEnd(found []locate.Reflection) []trial {
	form, recordedKind := linemodel.OpenEnd, OpenCircuit // that is no fault
	switch b.load {
	case cables.Open:
	case cables.Short:
		form, recordedKind = linemodel.ShortEnd, ShortCircuit
	default:
		return nil
	}
	fit := b.fit
	length := b.path.LengthM()
	var instead []*linemodel.Point
	for _, p := range fit.Points {
		if math.Abs(p.X-length) < math.Max(fit.Cell(length), 3*placeSigma(length)) {
			instead = append(instead, p)
		}
	}
	if len(instead) == 0 {
		return nil
	}
	strongest := instead[0]
	for _, p := range instead {
		if fit.RMS(p) > fit.RMS(strongest) {
			strongest = p
		}
	}
	if fit.RMS(strongest) < 0.3 || hidden(found, length) || b.blocked() {
		return nil
	}
	held := fit.Save()
	nominal := 0.0
	for _, s := range b.path.Spans {
		nominal += 2 * s.Medium.AttenuationNp(fit.MiddleHz) * s.LengthM
	}
	soundLoss := 0.01 + 0.05*nominal
	lossSigma := soundLoss
	end := func(x float64) *linemodel.Point {
		q := fit.NewPoint(x, form)
		q.Fits = linemodel.Fitting(linemodel.ByFalling, linemodel.ByPlace)
		q.Prior[linemodel.ByFalling] = linemodel.Prior{Sigma: lossSigma}
		fit.Sample(q)
		return q
	}
	var out []trial
	attempt := func(p *linemodel.Point, speaks Cause, prior float64) {
		if fit.Over() {
			return
		}
		for _, x := range []float64{strongest.X, length} {
			q := end(x)
			turn(fit, q, x, strongest.X, strongest.Reflect[len(strongest.Reflect)/2])
			for _, r := range instead {
				fit.Remove(r)
			}
			group := []*linemodel.Point{q}
			var copied *linemodel.Point
			if p != nil {
				copied = fit.NewPoint(q.X, p.Form)
				copied.CopyFrom(p)
				copied.X = q.X
				fit.Sample(copied)
				fit.Insert(copied)
				fit.Links = append(fit.Links, linemodel.Link{A: copied, B: q, SigmaM: 0.002})
				group = append(group, copied)
			}
			fit.Insert(q)
			fit.Evaluate()
			fit.Refine(group, false, false, 8)
			fit.Refine(around(fit, q), false, false, 3)
			score := -fit.Cost/b.unit + prior
			if p != nil {
				score -= 2 * float64(count(p.Fits)-1)
			}
			point, cause := q, speaks
			if copied != nil {
				point, cause = copied, b.causeOf(speaks, copied)
			}
			if cause != recordedKind {
				out = append(out, trial{cause: cause, point: point, score: score, state: fit.Save()})
			}
			fit.Restore(held)
		}
	}
	attempt(nil, FarEnd, 0)
	lossSigma = 1
	attempt(nil, LossySection, -2)
	lossSigma = soundLoss
	out = append(out, b.otherEnd(instead, strongest)...)
	for _, c := range circuits() {
		if !c.needsJoint {
			continue
		}
		for _, size := range startSizes() {
			p := &linemodel.Point{Form: c.form}
			c.begin(p, size)
			attempt(p, c.cause, c.prior-3)
		}
	}
	sortTrials(out)
	sound, soundCost := math.Inf(-1), math.Inf(1)
	var kept []trial
	for _, t := range out {
		if t.cause == FarEnd || t.cause == LossySection {
			sound, soundCost = math.Max(sound, t.score), math.Min(soundCost, t.state.Cost)
		} else {
			kept = append(kept, t)
		}
	}
	if len(kept) == 0 || kept[0].score < sound+endGain || kept[0].state.Cost > endExplains*soundCost {
		return nil
	}
	return kept
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

// withEndFault adds the fault at the far end that trials name, best first, in
// place of whatever was said of the far end.
func (b *bench) withEndFault(found []Finding, trials []trial) []Finding {
	best := trials[0]
	b.fit.Restore(best.state)
	length := b.path.LengthM()
	f := Finding{DistanceM: best.point.X, SigmaM: placeSigma(length), IsFault: true, Place: "connector at the far end",
		ReturnLossDB: -20 * math.Log10(b.fit.RMS(best.point)), Alternatives: []Alternative{}, Checks: []string{}, Cautions: []string{}}
	f.Evidence = describe(best.point, nil, b.fit, 0, f.Place)
	nameFinding(&f, trials)
	f.Confidence *= trust(1)
	var out []Finding
	for _, g := range found {
		if g.IsFault && math.Abs(g.DistanceM-length) < math.Max(b.fit.Cell(length), 3*placeSigma(length)) {
			continue
		}
		out = append(out, g)
	}
	return append(out, f)
}
