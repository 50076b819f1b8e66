package locate

import (
	"context"
	"math"
	"slices"

	"downlead/dsp/linemodel"
)

// search adds points of reflection until nothing above the threshold is left.
func (f *finder) search(ctx context.Context) error {
	f.Evaluate()
	screened := 0
	for pass := 0; pass < mostPasses; pass++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		if f.Load != nil && pass == 0 {
			f.QuickFitLoad()
		}
		f.measureNoise()
		floor := math.Pow(10, -f.settings.FloorDB/10)
		found := f.scan.peaks(f.Fit, f.quiet, f.level, floor)
		for i := range found {
			found[i].x = f.behindKnown(found[i].x)
		}
		var added []*linemodel.Point
		for _, c := range found {
			if len(added) == perPass || len(f.Points) >= mostPoints || c.excess < found[0].excess*math.Pow(10, -passSpreadDB/10) {
				break
			}
			if near(added, c.x, 3*f.Cell(c.x)) > 0 || near(f.Points, c.x, stretchCells*f.Cell(c.x)) >= mostInStretch {
				continue
			}
			if p := f.add(c); p != nil {
				added = append(added, p)
			}
		}
		if len(added) == 0 {
			f.clean = len(found) == 0
			if screened < mostScreens && f.screenOnce() {
				screened++
				pass--
				continue
			}
			break
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		for _, p := range added {
			f.settle(p)
			f.repair(p)
		}
		// The port and the strong points matter everywhere; the weak ones only
		// where they are, and settle has seen to that.
		f.polish(f.strong(), 2)
		if pass < 2 {
			f.reform()
			f.makePassive()
		}
		f.screen()
	}
	f.prune()
	f.simplify()
	f.reform()
	f.makePassive()
	f.polish(f.Points, 4)
	f.screen()
	f.measureNoise()
	return nil
}

// measureNoise reads the noise from what the points leave: it is no more than that.
func (f *finder) measureNoise() {
	f.scan.run(f.Residual)
	left := f.ResidualRMS()
	f.quiet, f.Noise = f.scan.noisePower(left * left)
}

// behindKnown is where that is which a scan, which knows nothing but the record, sees at x: what lies
// behind a known stretch that slows the wave is nearer. A cell or less a fit finds by itself.
func (f *finder) behindKnown(x float64) float64 {
	for _, p := range f.known {
		excess := p.ExcessM()
		switch seenTo := p.X + p.LengthM() + excess; {
		case excess < f.Cell(x):
		case x > seenTo:
			x -= excess
		case x > p.X:
			x = p.X + (x-p.X)*p.LengthM()/(p.LengthM()+excess)
		}
	}
	return x
}

// polish fits the load, then the points together with the port.
func (f *finder) polish(points []*linemodel.Point, steps int) {
	if f.Load != nil {
		f.QuickFitLoad()
	}
	f.Refine(points, true, false, steps)
	if f.Load != nil {
		f.QuickFitLoad()
	}
}

// strong lists the points whose circuit matters.
func (f *finder) strong() []*linemodel.Point {
	var out []*linemodel.Point
	for _, p := range f.Points {
		if f.RMS(p) > weakBelow || f.isKnown(p) {
			out = append(out, p)
		}
	}
	return out
}

// makePassive turns points with a negative resistance into those of the other
// form that reflect the same with a positive one: they let through less, not
// more, than arrives, and so what lies behind them gets its right size.
func (f *finder) makePassive() {
	for _, p := range append([]*linemodel.Point(nil), f.Points...) {
		if f.isKnown(p) || p.Form == linemodel.Step || p.Flat > -activeFlat || p.Fits[linemodel.ByFalling] || f.RMS(p) > totalAbove/2 {
			continue
		}
		r := p.Reflect[len(p.Reflect)/2]
		held := f.Save()
		p.Form, p.Flat, p.Rising = passive(r)
		if !p.Fits[linemodel.ByRising] {
			p.Rising = 0
		}
		f.Sample(p)
		f.Evaluate()
		f.polish(f.strong(), 3)
		if f.Cost > held.Cost {
			f.Restore(held)
		}
	}
}

// reform tries the other forms of the strong points: they differ in what they
// let through, which shows only once what lies behind them is in the model.
func (f *finder) reform() {
	for _, p := range append([]*linemodel.Point(nil), f.Points...) {
		if size := f.RMS(p); size < weakBelow || size > totalAbove || f.isKnown(p) {
			continue
		}
		r := p.Reflect[len(p.Reflect)/2]
		for _, to := range []linemodel.Form{linemodel.Series, linemodel.Shunt, linemodel.Step} {
			if to == p.Form {
				continue
			}
			held := f.Save()
			if p.Fits[linemodel.ByFalling] { // a gap is a series impedance
				continue
			}
			placed := p.Fits[linemodel.ByPlace]
			p.Form, p.Fits = to, linemodel.Fitting(linemodel.ByFlat, linemodel.ByRising)
			p.Fits[linemodel.ByPlace] = placed
			switch to {
			case linemodel.Series:
				v := 2 * r / (1 - r)
				p.Flat, p.Rising = real(v), imag(v)
			case linemodel.Shunt:
				v := -2 * r / (1 + r)
				p.Flat, p.Rising = real(v), imag(v)
			default:
				p.Flat, p.Rising, p.Fits[linemodel.ByRising] = real(r), 0, false
			}
			f.Sample(p)
			f.Evaluate()
			f.polish(f.strong(), 3)
			if f.Cost > held.Cost-enoughFor*f.Noise {
				f.Restore(held)
			}
		}
	}
}

// isKnown says whether p stands for a stretch that was known beforehand.
func (f *finder) isKnown(p *linemodel.Point) bool { return slices.Contains(f.known, p) }

// near counts the points within that many metres of x.
func near(points []*linemodel.Point, x, within float64) int {
	count := 0
	for _, p := range points {
		if math.Abs(p.X-x) < within {
			count++
		}
	}
	return count
}

func (f *finder) around(p *linemodel.Point) []*linemodel.Point {
	var group []*linemodel.Point
	for _, q := range f.Points {
		if math.Abs(q.X-p.X) <= nearCells*f.Cell(p.X) {
			group = append(group, q)
		}
	}
	return group
}

// settle fits point p with its neighbours, and gives it what else lowers the
// cost by enough: a reactance beside its resistance, a gap, another form.
func (f *finder) settle(p *linemodel.Point) {
	group := f.around(p)
	f.Refine(group, false, false, 3)
	if f.RMS(p) < weakBelow {
		return
	}
	try := func(change func()) {
		held := f.Save()
		change()
		f.Sample(p)
		f.Evaluate()
		f.Refine(group, false, false, 4)
		if f.Cost > held.Cost-enoughFor*f.Noise {
			f.Restore(held)
		}
	}
	if p.Form == linemodel.Step && math.Abs(p.Flat) > 0.5 {
		try(func() {
			p.Fits[linemodel.ByRising] = true
			f.boundLoss(p)
		})
	}
	if p.Form != linemodel.Step {
		both := func() { p.Fits[linemodel.ByFlat], p.Fits[linemodel.ByRising] = true, true }
		try(both)
		if p.Form == linemodel.Series && f.RMS(p) > formDecidesAt {
			try(func() { p.Fits[linemodel.ByFlat], p.Fits[linemodel.ByFalling] = true, true })
		}
	}
}

// prune takes out points that the others have made needless.
func (f *finder) prune() {
	for _, p := range append([]*linemodel.Point(nil), f.Points...) {
		if f.isKnown(p) {
			continue
		}
		held := f.Save()
		f.Remove(p)
		f.Evaluate()
		if f.Cost-held.Cost > 0.5*f.level*f.Noise {
			f.Restore(held)
		}
	}
}

// simplify takes from the strong points the quantities that what came after
// has made needless: they would only blur the place.
func (f *finder) simplify() {
	for _, p := range f.strong() {
		if p.Form == linemodel.Step || f.RMS(p) > totalAbove || f.isKnown(p) {
			continue
		}
		for _, q := range []int{linemodel.ByFalling, linemodel.ByRising, linemodel.ByFlat} {
			if !p.Fits[q] || fitted(p) < 3 {
				continue
			}
			held := f.Save()
			p.Fits[q] = false
			switch q {
			case linemodel.ByFalling:
				p.Falling = 0
			case linemodel.ByRising:
				p.Rising = 0
			default:
				p.Flat = 0
			}
			f.Sample(p)
			f.Evaluate()
			f.Refine(f.around(p), false, false, 4)
			if f.Cost > held.Cost+enoughFor*f.Noise {
				f.Restore(held)
			}
		}
	}
}
