package diagnose

import (
	"math"
	"math/cmplx"
	"sort"

	"downlead/dsp/linemodel"
)

// place puts the findings where they are on the line as built, and says how
// surely. Ghosts stay where they seem to be.
func (b *bench) place(found []Finding) {
	b.upright()
	built := newAsBuilt(b.fit, b.path, b.roles(), b.soundPoints(), b.clutter)
	last := len(b.joints) - 1
	for i := range found {
		f := &found[i]
		if f.Cause == Ghost || !f.Reflects() {
			continue
		}
		v := b.verdict(f)
		var at place
		told, spread := false, 0.0
		if v != nil {
			if p, _ := b.point(v); p != nil {
				at, told = built.of(p)
				spread = math.Hypot(v.spreadM(), p.Taper/math.Sqrt(12)) // anywhere on its edge
			}
		}
		switch {
		case told:
		case f.Place == placeAtLoad || f.Place == placeFarEnd:
			at = built.joint(last)
		default:
			at = built.seeming(f.DistanceM)
			at.sigma = math.Hypot(at.sigma, f.seenM)
		}
		f.DistanceM, f.SigmaM = math.Max(0, at.mean), math.Hypot(at.sigma, spread)
		if v != nil {
			v.finding.DistanceM = f.DistanceM
		}
	}
}

// movedByCells is how far around a point what the model leaves is taken for what
// may have moved it, in cells, in steps of half a cell.
const movedByCells = 4.0

// clutter is the variance of one point of the sweep as the place of p feels it, |Γ|²:
// the mean power of what the model leaves within a few cells of it, seen as
// echoes from there, in units in which noise alone would give its own variance; never less than the
// noise's. What is not in the model is seldom white: it lies where it reflects.
func (b *bench) clutter(p *linemodel.Point) float64 {
	fit := b.fit
	fit.Gains()
	span := fit.SpanAt(p.X)
	power, count := 0.0, 0.0
	unit := 0.0
	for k, g := range p.Gain {
		unit += fit.Weight[k] * fit.Weight[k] * (real(g)*real(g) + imag(g)*imag(g))
	}
	if unit == 0 {
		return fit.Noise
	}
	cell := fit.Cell(p.X)
	for step := -2 * movedByCells; step <= 2*movedByCells; step++ {
		off := step * cell / 2
		if p.X+off < -cell/2 || p.X+off > b.path.LengthM()+cell/2 {
			continue
		}
		var sum complex128
		for k, g := range p.Gain {
			sum += complex(fit.Weight[k], 0) * cmplx.Conj(g) * fit.Residual[k] * fit.Turn(2*imag(fit.Gamma[span][k])*off)
		}
		power += real(sum)*real(sum) + imag(sum)*imag(sum)
		count++
	}
	if count == 0 { // it lies beyond the end of the record
		return fit.Noise
	}
	return math.Max(fit.Noise, power/(count*unit))
}

// upright makes sound joints that act like a capacitance across the line just
// that. To what comes back from it a negative inductance in series is as good, but
// what passes a joint is late either way, and that would be early.
func (b *bench) upright() {
	fit := b.fit
	held := fit.Save()
	changed := false
	for _, p := range fit.Points {
		if _, sound := b.sound[p]; !sound || p.Form != linemodel.Series || p.Rising >= 0 {
			continue
		}
		late := -p.Rising / fit.Beta0[fit.SpanAt(p.X)]
		p.Form, p.Flat, p.Rising = linemodel.Shunt, -p.Flat, -p.Rising
		fit.Sample(p)
		for _, q := range fit.Points { // what lies behind is nearer by that
			if q.X > p.X && q.Fits[linemodel.ByPlace] {
				q.X = math.Max(p.X, q.X-late)
				fit.Move(q)
				if q.Form == linemodel.Wet || q.Form == linemodel.Foreign {
					fit.Sample(q)
				}
			}
		}
		changed = true
	}
	if !changed {
		return
	}
	fit.Evaluate()
	if fit.Load != nil {
		fit.QuickFitLoad()
	}
	var lumped []*linemodel.Point
	for _, p := range fit.Points {
		if p.Form != linemodel.Wet && p.Form != linemodel.Foreign {
			lumped = append(lumped, p)
		}
	}
	fit.Refine(lumped, true, true, uprightSteps)
	if fit.Cost > uprightMost*held.Cost { // did not find its way
		fit.Restore(held)
	}
}

// How upright fits, and how much more may be left then than before.
const (
	uprightSteps = 6
	uprightMost  = 1.1
)

// oneThingM is how near each other two points at a joint are the same thing, m.
const oneThingM = 0.02

func (b *bench) soundPoints() map[*linemodel.Point]bool {
	out := map[*linemodel.Point]bool{}
	for p := range b.sound {
		out[p] = true
	}
	return out
}

// roles says of the points of the fit which stand at a joint of the record.
func (b *bench) roles() map[*linemodel.Point]int {
	roles := map[*linemodel.Point]int{}
	taken := map[int]*linemodel.Point{}
	at := func(p *linemodel.Point, x float64) {
		for k, joint := range b.joints {
			if joint == x && (taken[k] == nil || math.Abs(taken[k].X-p.X) < oneThingM) {
				roles[p], taken[k] = k, p
			}
		}
	}
	faults := map[*linemodel.Point]bool{}
	for _, v := range b.named {
		p, _ := b.point(v)
		if p == nil {
			continue
		}
		faults[p] = true
		joint, _ := nearest(b.joints, p.X)
		switch prior := p.Prior[linemodel.ByPlace]; {
		case prior.Sigma > 0:
			joint, _ = nearest(b.joints, prior.Mean)
			at(p, joint)
		case p.Form.Ends() && math.Abs(joint-p.X) < 3*placeSigma(joint):
			at(p, joint)
		}
	}
	var others []*linemodel.Point
	for _, p := range b.fit.Points {
		if !faults[p] && p.Fits[linemodel.ByPlace] && p.Form != linemodel.Wet && p.Form != linemodel.Foreign {
			others = append(others, p)
		}
	}
	sort.SliceStable(others, func(i, j int) bool { return b.fit.RMS(others[i]) > b.fit.RMS(others[j]) })
	for _, p := range others {
		joint, recorded := b.sound[p]
		if end := b.path.LengthM(); !recorded && b.fit.RMS(p) > totalLeast && math.Abs(end-p.X) < 3*placeSigma(end) {
			joint, recorded = end, true
		}
		if recorded {
			at(p, joint)
			continue
		}
		for k, q := range taken { // what is fitted together with it
			if math.Abs(q.X-p.X) < oneThingM {
				roles[p] = k
			}
		}
	}
	return roles
}

// spreadM is how far the places of the circuits lie apart that may stand where v
// was named, one standard deviation about the best one's, m.
func (v *verdictOf) spreadM() float64 {
	sum, total := 0.0, 0.0
	for _, t := range v.trials {
		w := math.Exp(t.score - v.trials[0].score)
		d := t.placeM - v.trials[0].placeM
		sum += w * d * d
		total += w
	}
	return math.Sqrt(sum / total)
}
