package diagnose

import (
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

// A joint whose reflection is within its budget may be at fault all the same: a
// budget says how much, and not of what kind, nor what the device beside it has of that.
// So a joint or a device that reflects half of its budget or more is held against
// what a fault and what a sound one in its place leave, each with its place as
// free as the record has it.
const (
	doubtLeaves   = 1.5   // times what the free points of locating left that an explanation may
	leastContact  = 0.04  // of z, 2 ohm, and
	leastGap      = 0.06  // of z at the middle of the span, that a contact must have to be one
	leastWater    = 0.03  // of y, 0.6 mS, that water must leak
	leastMismatch = 0.045 // |Γ| at 1 GHz that a mismatch must have: three deviations of sound joints, 27 dB
)

// surestFirst lists the clusters that may be faults: those that are surely more than
// a sound line shows, and then, when these are named, those in doubt.
func surestFirst(all []*cluster) (order []int) {
	for i, c := range all {
		if c.excess {
			order = append(order, i)
		}
	}
	for i, c := range all {
		if !c.excess && c.head().Doubt {
			order = append(order, i)
		}
	}
	return order
}

// doubted returns the trials of faults at c, best first, if they explain the sweep better than a sound
// joint or device does; if not, that takes its place in the fit.
func (b *bench) doubted(c *cluster) []trial {
	trials := slices.DeleteFunc(b.circuits(c.points), func(t trial) bool {
		return t.cause == DentOrKink || t.point.Prior[linemodel.ByPlace].Sigma == 0 || b.slight(t, c)
	})
	most := doubtLeaves * b.fit.Cost
	take := func(sound *linemodel.State) {
		if sound.Cost < most {
			b.fit.Restore(sound)
		}
	}
	if len(trials) == 0 {
		take(b.without(c.points))
		return nil
	}
	trials = b.settle(endsForTotals(append(trials, b.soundHere(c)...)))
	isSound := func(t trial) bool { return t.cause == Joint || t.cause == Device }
	best := slices.IndexFunc(trials, isSound)
	if best < 0 {
		return nil
	}
	sound := trials[best]
	trials = slices.DeleteFunc(trials, func(t trial) bool { return isSound(t) || t.state.Cost > most || b.slight(t, c) })
	if len(trials) > 0 && trials[0].score > sound.score+faultGain {
		return trials
	}
	take(sound.state)
	return nil
}

// slight says whether t, at c, is no more than a sound joint may show, or, beside a device, what
// one cannot tell from that.
func (b *bench) slight(t trial, c *cluster) bool {
	p := t.point
	reach := b.fit.Cell(p.X)
	beside := slices.ContainsFunc(b.path.Spans, func(s cables.Span) bool {
		return s.Device != nil && p.X > s.StartM-reach && p.X < s.StartM+s.LengthM+reach
	})
	alike := beside && !b.overOctave() && b.fit.RMS(p) < besideMost*math.Pow(10, -c.head().BudgetDB/20)
	switch t.cause {
	case PoorContact:
		return p.Flat < leastContact && p.Falling < leastGap || alike
	case WaterInConnector:
		return p.Flat+p.Falling < leastWater || alike
	case ConnectorMismatch: // a device's own reactance
		return b.mild(t) || beside
	}
	return false
}

// besideMost is how much more than the budget what stands beside a device may reflect, in a narrow band, and be the device.
const besideMost = 1.4

// mild says whether t is a mismatch at a joint of the record that a sound joint may have too.
func (b *bench) mild(t trial) bool {
	return t.cause == ConnectorMismatch && t.point.Prior[linemodel.ByPlace].Sigma > 0 && t.point.Rising/2*1e9/b.fit.MiddleHz < leastMismatch
}

// overOctave says whether the sweep is wide enough to tell a resistance from a reactance a little farther on.
func (b *bench) overOctave() bool {
	hz := b.fit.FrequencyHz
	return hz[len(hz)-1] > 2*hz[0]
}

// soundHere tries what the record has where c is, sound joints and devices.
func (b *bench) soundHere(c *cluster) (out []trial) {
	fit := b.fit
	held := fit.Save()
	size := math.Min(b.size(c.points), 0.9)
	scale := 2 * size / math.Sqrt(1-size*size)
	either := []func(p *linemodel.Point){func(p *linemodel.Point) { p.Rising = scale }, func(p *linemodel.Point) { p.Rising = -scale }}
	s := b.screen(c.points)
	attempt := func(p *linemodel.Point, cause Cause, place, placeS float64) {
		p.Fits[linemodel.ByPlace], p.Prior[linemodel.ByPlace] = true, linemodel.Prior{Mean: place, Sigma: placeS}
		for _, q := range s.starts(p, s.places(place-placeReach*placeS, place+placeReach*placeS), either) {
			p := fit.Copy(q)
			if cause == Joint {
				b.markSound(p, place)
			}
			t := b.begun(c.points, p)
			t.cause = cause
			out = append(out, t)
			fit.Restore(held)
		}
	}
	for _, x := range b.jointsWithin(c.points) {
		place, placeS := b.expect(x, c.points)
		attempt(soundJoint(fit, place), Joint, place, placeS)
	}
	for _, span := range b.path.Spans {
		middle := span.StartM + span.LengthM/2
		if span.Device != nil && math.Abs(middle-c.points[0].X) < fit.Cell(middle)+5*placeSigma(middle) {
			attempt(soundDevice(fit, span.Device.ReturnLossDB, middle), Device, middle, placeSigma(middle))
		}
	}
	return out
}
