package diagnose

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"downlead/dsp/linemodel"
)

// A fit begun where locating left the line may end half a wave from where it should, one circuit's and
// not another's, and the names would be told apart by that. Where the best of them has put all else in
// its place, the circuits that may stand at the same joint begin once more in its stead.

// exchanged adds to trials, or improves in them, the circuits of a connector in place of the best of trials,
// at the joint of the record that the sweep does not tell from there.
func (b *bench) exchanged(trials []trial) []trial {
	if len(trials) == 0 {
		return trials
	}
	best := slices.MaxFunc(trials, func(t, u trial) int { return cmp.Compare(t.score, u.score) })
	replaced := []*linemodel.Point{best.point}
	joint, atJoint := b.jointWithin(replaced)
	lumped := best.point.Form == linemodel.Series || best.point.Form == linemodel.Shunt
	if !lumped && best.cause != DentOrKink {
		return trials
	}
	fit := b.fit
	fit.Restore(best.state)
	defer func(was bool) { fit.Patient = was }(fit.Patient)
	fit.Patient = true // what was fitted around another circuit is a long way from this one's best
	if lumped && fit.ResidualRMS() > exchangeLeft*math.Sqrt(fit.Noise) {
		trials = b.dentsInstead(trials, best, joint, atJoint)
		fit.Restore(best.state)
	}
	if !atJoint {
		return trials
	}
	mean, sigma := b.expect(joint, replaced)
	middle := best.point.X + best.point.LengthM()/2
	x := math.Max(mean-placeReach*sigma, math.Min(mean+placeReach*sigma, middle))
	k := len(fit.FrequencyHz) / 2
	r := best.point.Reflect[k] * cmplx.Rect(1, 2*fit.Beta0[fit.SpanAt(x)]*(x-best.point.X))
	if cmplx.Abs(1-r*r) < 1e-9 { // no circuit of a size reflects all
		return trials
	}
	for _, c := range circuits() {
		if fit.Over() {
			return trials
		}
		if !c.needsJoint || c.cause == best.cause && c.form == best.point.Form {
			continue
		}
		p := fit.NewPoint(x, c.form)
		size := 2 * r / (1 - r) // of its impedance, or the admittance across
		if c.form == linemodel.Shunt {
			size = -2 * r / (1 + r)
		}
		c.shape(p, fit.MiddleHz)
		p.Flat = math.Max(0, real(size))
		if p.Fits[linemodel.ByRising] {
			p.Rising = math.Max(0, imag(size))
		}
		if p.Fits[linemodel.ByFalling] {
			p.Falling = math.Max(0, -imag(size))
		}
		if c.cause == WaterInConnector {
			p.Falling = dryShare * p.Rising
		}
		p.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: mean, Sigma: sigma}
		fit.Sample(p)
		fit.Remove(best.point)
		fit.Insert(p)
		for i := range fit.Links { // a termination follows the circuit in front of it
			if fit.Links[i].A == best.point {
				fit.Links[i].A = p
			}
		}
		fit.Evaluate()
		t := b.instead(p)
		t.cause, t.score = b.causeOf(c.cause, p), c.score(-t.score, p, fit.MiddleHz)
		trials = orBetter(trials, t)
		fit.Restore(best.state)
	}
	return trials
}

// exchangeLeft is how many times the noise the best may leave before dents begin in its stead as well.
const exchangeLeft = 1.5

// dentsInstead adds to trials, or improves in them, dents within half a wave of the best of them.
func (b *bench) dentsInstead(trials []trial, best trial, joint float64, atJoint bool) []trial {
	fit := b.fit
	fit.Remove(best.point)
	fit.Evaluate()
	half := math.Pi / fit.Beta0[fit.SpanAt(best.point.X)]
	rows := b.dentsAlong(fit.Save(), best.point.X-half, best.point.X+half, half/placesPerHalf)
	fromBest(fit, rows, 2, 0, func(p *linemodel.Point) {
		fit.Refine([]*linemodel.Point{p}, false, false, 4)
		t := b.instead(p)
		b.weighDent(&t)
		if atJoint {
			t.score -= b.byChance(joint)
		}
		trials = orBetter(trials, t)
	})
	return trials
}

// instead fits p, just put in place of the best of all, first with its neighbours and then with the whole line.
func (b *bench) instead(p *linemodel.Point) trial {
	fit := b.fit
	fit.Refine(around(fit, p), false, false, 8)
	fit.Refine(fit.Points, true, true, 8)
	return trial{point: p, score: -fit.Cost / b.unit, state: fit.Save(), words: describe(p, nil, fit, 0, "")[0], placeM: p.X}
}

// orBetter puts t in place of the trial of the same circuit, if it comes nearer, or adds it.
func orBetter(trials []trial, t trial) []trial {
	at := slices.IndexFunc(trials, func(u trial) bool { return u.cause == t.cause && u.point.Form == t.point.Form })
	switch {
	case at < 0:
		return append(trials, t)
	case t.score > trials[at].score:
		trials[at] = t
	}
	return trials
}
