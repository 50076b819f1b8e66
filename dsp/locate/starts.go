package locate

import (
	"math"
	"math/cmplx"
	"sort"

	"downlead/dsp/linemodel"
)

// start is a first guess of a point: what it is, how large and where.
type start struct {
	form     linemodel.Form
	quantity int // linemodel.ByFlat, linemodel.ByRising, linemodel.ByFalling or byBoth
	x, value float64
	rising   float64 // of byBoth
	cost     float64
}

// add finds the points that would explain the peak c, puts the best into the
// model and returns it, or nil, the model unchanged, where nothing of such a
// point would arrive.
func (f *finder) add(c peak) *linemodel.Point {
	gain := make([]complex128, len(f.Weight))
	f.GainAt(gain, c.x)
	arrives := 0.0
	for _, g := range gain {
		arrives = math.Max(arrives, cmplx.Abs(g))
	}
	if arrives < 1e-3 { // behind a total reflection
		return nil
	}
	starts := f.starts(c.x, gain)
	held := f.Save()
	best := held
	var found *linemodel.Point
	for _, s := range starts {
		p := f.NewPoint(s.x, s.form)
		p.Fits[linemodel.ByPlace] = true
		s.apply(p)
		f.boundLoss(p)
		f.Sample(p)
		f.Insert(p)
		f.Evaluate()
		switch {
		case len(starts) == 1:
			f.Refine([]*linemodel.Point{p}, false, false, 1)
		case f.Load != nil && f.RMS(p) > throughMatters:
			// What lies behind looks different through such a point.
			for range 3 {
				f.QuickFitLoad()
				f.Refine([]*linemodel.Point{p}, false, false, 2)
			}
		default:
			f.Refine([]*linemodel.Point{p}, false, false, 3)
		}
		if f.Cost < best.Cost {
			best, found = f.Save(), p
		}
		f.Return(held)
	}
	f.Restore(best)
	return found
}

// boundLoss keeps the loss beyond the record that a step may stand behind to what a
// line of that length may have: with more, any strong reflection that changes over
// the band would pass for a total one, which hides all behind it.
func (f *finder) boundLoss(p *linemodel.Point) {
	if p.Form == linemodel.Step && p.Fits[linemodel.ByRising] {
		recorded := 2 * real(f.Path.Theta(f.MiddleHz, math.Max(0, p.X)))
		p.Prior[linemodel.ByRising].Sigma = leastLossNp + lossMayGrow*recorded
	}
}

// One standard deviation of the loss beyond the record, there and back: so much,
// and so many times the record's. Common practice, no source.
const (
	leastLossNp = 0.1
	lossMayGrow = 0.5
)

func (s start) apply(p *linemodel.Point) {
	switch s.quantity {
	case linemodel.ByFlat:
		p.Flat, p.Fits[linemodel.ByFlat] = s.value, true
	case linemodel.ByRising:
		p.Rising, p.Fits[linemodel.ByRising] = s.value, true
	case linemodel.ByFalling:
		p.Falling, p.Fits[linemodel.ByFalling] = s.value, true
	default:
		p.Flat, p.Rising = s.value, s.rising
		p.Fits[linemodel.ByFlat], p.Fits[linemodel.ByRising] = true, true
	}
}

// starts returns the most promising first guesses for a point near x, from the
// residual, which must be that of the model as it is.
func (f *finder) starts(x float64, gain []complex128) []start {
	rest := f.estimate(gain, 0)
	size := cmplx.Abs(rest)
	beta := f.Beta0[f.SpanAt(x)]
	kinds := []struct {
		form     linemodel.Form
		quantity int
		sign     float64
	}{
		{linemodel.Series, linemodel.ByFlat, 1}, {linemodel.Shunt, linemodel.ByFlat, 1}, {linemodel.Series, linemodel.ByRising, 1}, {linemodel.Shunt, linemodel.ByRising, 1},
		{linemodel.Series, linemodel.ByFalling, 1}, {linemodel.Step, linemodel.ByFlat, 1}, {linemodel.Step, linemodel.ByFlat, -1},
	}
	sizes := []float64{2 * size} // of the value: the reflection is half of it while that is small
	if size < weakBelow {
		kinds = kinds[:4]
	} else {
		if size > 0.5*totalAbove { // perhaps the end, with more loss on the way than recorded
			kinds = append(kinds, kinds[5], kinds[6])
			kinds[7].quantity, kinds[8].quantity = byBoth, byBoth
		}
		sizes = []float64{0.5 * size, size, 2 * size, 2 * size / (1 - math.Min(size, 0.9)), 4 * size, 8 * size}
	}
	var out []start
	p := f.bench
	for _, kind := range kinds {
		best := start{form: kind.form, quantity: kind.quantity, cost: math.Inf(1)}
		for _, v := range sizes {
			if kind.form == linemodel.Step {
				v = math.Min(v/2, 0.98)
			}
			s := best
			s.value = kind.sign * v
			if kind.form == linemodel.Step && kind.quantity == byBoth {
				s.rising = 0.2
			}
			p.Form, p.Flat, p.Rising, p.Falling = kind.form, 0, 0, 0
			s.apply(p)
			f.Sample(p)
			// The place nearest x where the echo of such a point has the phase
			// that is seen.
			s.x = x - f.phaseAgainst(gain, p.Reflect)/(2*beta)
			if s.x < -0.3*f.Cell(x) {
				continue
			}
			if s.cost = f.leftBy(gain, p.Reflect, s.x-x); s.cost < best.cost {
				best = s
			}
		}
		if !math.IsInf(best.cost, 1) {
			out = append(out, best)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].cost < out[j].cost })
	most := 1
	switch {
	case size > formDecidesAt:
		most = 5
	case size > weakBelow:
		most = 2
	}
	out = out[:min(most, len(out))]
	// At a joint of the record the place is known, so both parts of a circuit
	// there follow from the reflection.
	for _, joint := range f.joints {
		if math.Abs(joint-x) > jointReach*f.Cell(x) || joint == 0 && size < weakBelow {
			continue
		}
		r := f.estimate(gain, joint-x)
		s := start{quantity: byBoth, x: joint}
		s.form, s.value, s.rising = passive(r)
		if size < weakBelow {
			return []start{s}
		}
		if size < totalAbove/2 {
			out = append(out, s)
			continue
		}
		if a := cmplx.Abs(r); a > 0.9 {
			r *= complex(0.9/a, 0)
		}
		series, shunt := 2*r/(1-r), -2*r/(1+r)
		out = append(out, start{form: linemodel.Series, quantity: byBoth, x: joint, value: real(series), rising: imag(series)},
			start{form: linemodel.Shunt, quantity: byBoth, x: joint, value: real(shunt), rising: imag(shunt)})
	}
	return out
}

// passive returns the series impedance or shunt admittance that reflects r
// without a negative resistance: its real and imaginary part.
func passive(r complex128) (form linemodel.Form, flat, rising float64) {
	if v := 2 * r / (1 - r); real(v) >= 0 {
		return linemodel.Series, real(v), imag(v)
	}
	v := -2 * r / (1 + r)
	return linemodel.Shunt, real(v), imag(v)
}

// estimate returns the least-squares reflection, the same at all frequencies,
// of a point delta metres behind the place of gain.
func (f *finder) estimate(gain []complex128, delta float64) complex128 {
	var top complex128
	bottom := 0.0
	for k, w := range f.scan.taper {
		g := gain[k] * f.shift(k, delta)
		top += complex(w, 0) * cmplx.Conj(g) * f.Residual[k]
		bottom += w * (real(g)*real(g) + imag(g)*imag(g))
	}
	return top / complex(bottom, 0)
}

// phaseAgainst is the phase of the residual against that of a point of
// reflection r at the place of gain.
func (f *finder) phaseAgainst(gain, r []complex128) float64 {
	var sum complex128
	for k, w := range f.scan.taper {
		sum += complex(w, 0) * cmplx.Conj(gain[k]*r[k]) * f.Residual[k]
	}
	return cmplx.Phase(sum)
}

// leftBy is the windowed residual power that a point of reflection r, delta
// metres behind the place of gain, would leave.
func (f *finder) leftBy(gain, r []complex128, delta float64) float64 {
	sum := 0.0
	for k, w := range f.scan.taper {
		e := f.Residual[k] - gain[k]*f.shift(k, delta)*r[k]
		sum += w * (real(e)*real(e) + imag(e)*imag(e))
	}
	return sum
}

// shift is the phase of a short way of delta metres, there and back.
func (f *finder) shift(k int, delta float64) complex128 {
	if delta == 0 {
		return 1
	}
	return f.Turn(-2 * f.Beta0[0] * delta * f.Ratio[k])
}
