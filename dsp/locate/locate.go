package locate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// Settings of Find. The zero value is a good default.
type Settings struct {
	// FalseAlarmRate is the probability that noise alone shows a reflection
	// anywhere on the line. 0: 1e-3.
	FalseAlarmRate float64
	// FloorDB is the local return loss below which nothing is looked for,
	// dB. 0: 52.
	FloorDB float64
	// ToM ends the search, m. 0: the end of the line, or of the alias-free
	// range when the line's length is not known.
	ToM float64
	// PlaneSigmaM is how well the reference plane is known, m. 0: 5 mm.
	PlaneSigmaM float64
}

// Line is what Find needs to know of the line.
type Line struct {
	Path *cables.Path
	Load cables.Load
	// OpenEnded says that the record does not tell where the line ends.
	OpenEnded bool
}

// Kind says what a reflection is, as far as its place and size tell.
type Kind int

// The kinds of reflection.
const (
	AtJoint  Kind = iota // a joint of the record
	AtDevice             // a device of the record
	AtFarEnd             // the load, or the end of the line
	Mid                  // in the middle of a section
	EchoOf               // a re-reflection, see Reflection.Of
)

// Reflection is one thing found on the line: a point of reflection, or several
// too near to be told apart.
type Reflection struct {
	DistanceM    float64
	ExtentM      float64 // of a stretched disturbance; 0: a point
	SigmaM       float64 // one standard deviation: noise, velocity tolerance and reference plane
	NoiseM       float64 // the share of SigmaM that comes from noise
	ReturnLossDB float64 // rms over the span, local: by itself, the loss on the way removed
	PhaseDeg     float64 // local, at the middle of the span
	// Flat and Rising are the circuit that fits: the impedance in series (or,
	// with Shunt, the admittance across) over the line's own, real part and
	// imaginary part at the middle of the span. For a step Flat is the
	// reflection itself and Rising 0.
	Flat, Rising float64
	Shunt, Step  bool

	Kind  Kind
	Place string // in words
	// Budget is the local return loss, dB, that the record and common practice
	// allow here; Excess says that this reflection is clearly stronger, or of
	// another kind, than that.
	BudgetDB float64
	Excess   bool
	Total    Total // total reflection, if it is one
	// Points are the points of the fit that make this reflection, strongest
	// first; none for an echo or an antenna.
	Points []*linemodel.Point
	Of     [2]float64 // of an echo: the two places, m, nearer first
}

// Total says whether something reflects everything, and how.
type Total int

// The kinds of total reflection.
const (
	NotTotal Total = iota
	LikeOpen
	LikeShort
)

// Result is what Find found.
type Result struct {
	Reflections []Reflection // nearest first
	Echoes      []Reflection // re-reflections that the model predicts above the threshold, strongest first
	LeftOut     []int        // indices of the sweep's points that were recognised as interference
	Model       []complex128 // the fitted sweep, at the sweep's frequencies
	NoiseRMS    float64      // estimated noise of one point, |Γ|
	ResidualRMS float64      // of measured − model
	// LoadGamma is the reflection of an antenna at its connector, the line's
	// loss removed, at the sweep's frequencies; nil for other loads.
	LoadGamma []complex128
	// Fit is the fitted model, to go on from.
	Fit *linemodel.Fit
	// Explained is false when more is left than noise and clutter.
	Explained bool
}

// ErrTooFewPoints says that a sweep holds too little to locate anything.
var ErrTooFewPoints = errors.New("locating needs at least 16 frequency points; sweep again with more")

// Find locates the reflections on the line.
func Find(ctx context.Context, s *sweep.Sweep, line Line, settings Settings) (*Result, error) {
	if err := usable(s, line); err != nil {
		return nil, err
	}
	if settings.FalseAlarmRate == 0 {
		settings.FalseAlarmRate = 1e-3
	}
	if settings.FloorDB == 0 {
		settings.FloorDB = 52
	}
	if settings.PlaneSigmaM == 0 {
		settings.PlaneSigmaM = 0.005
	}
	f, err := newFinder(s, line, settings)
	if err != nil {
		return nil, err
	}
	if err := f.search(ctx); err != nil {
		return nil, err
	}
	return f.judge(), nil
}

// usable says what keeps a sweep from being located on.
func usable(s *sweep.Sweep, line Line) error {
	if len(s.FrequencyHz) < 16 {
		return ErrTooFewPoints
	}
	if len(s.Gamma) != len(s.FrequencyHz) {
		return fmt.Errorf("the sweep has %d frequencies and %d reflections", len(s.FrequencyHz), len(s.Gamma))
	}
	before := 0.0
	for k, f := range s.FrequencyHz {
		if !(f > before) || math.IsInf(f, 0) {
			return fmt.Errorf("point %d of the sweep is at %g Hz after %g Hz; frequencies must be positive and ascending", k+1, f, before)
		}
		before = f
		if g := s.Gamma[k]; cmplx.IsNaN(g) || cmplx.IsInf(g) {
			return fmt.Errorf("the reflection at %g Hz is not a number; leave the point out", f)
		}
	}
	if line.Path == nil || len(line.Path.Spans) == 0 {
		return cables.ErrNoSections
	}
	return nil
}

// finder is the state of one search.
type finder struct {
	*linemodel.Fit
	line     Line
	joints   []float64
	settings Settings
	scan     *scan
	bench    *linemodel.Point // a point to try values on, never in the model
	leftOut  []int
	level    float64 // detection threshold over the noise
	// The weights of the fit and of the scan with no point left out.
	fullWeight, fullTaper []float64
	quiet                 float64 // variance of noise alone, where Noise includes what stays unexplained
	bandHz                float64
	stepHz                float64
	clean                 bool
}

// byBoth stands for ByFlat and ByRising together.
const byBoth = -1

const (
	nearCells      = 4.0 // points this near are fitted together
	mostPasses     = 8
	mostScreens    = 6 // rounds of leaving out what stands out, fitting, and looking again
	mostPoints     = 24
	scanStep       = 0.35 // cells
	perPass        = 6
	passSpreadDB   = 14.0 // what stands so far below the strongest waits for the next pass
	stretchCells   = 6.0  // within so many cells of a place ...
	mostInStretch  = 7    // ... so many points describe a stretch well enough
	weakBelow      = 0.04 // |r| below which a point's circuit is not asked for
	loadGuard      = 1.5  // cells in front of the load that its taps begin
	mostTaps       = 160
	antennaRingsS  = 60e-9
	tapSpacing     = 0.8  // of 1/bandwidth
	jointReach     = 0.7  // cells from a peak within which a joint of the record may be what it is
	throughMatters = 0.2  // |r| above which the load is fitted anew with each guess
	activeFlat     = 0.02 // negative resistance or conductance that matters for what lies behind
	enoughFor      = 12.0 // noise variances of cost that one more quantity must save
	formDecidesAt  = 0.1  // |r| above which what passes through a point depends on its form
)

func newFinder(s *sweep.Sweep, line Line, settings Settings) (*finder, error) {
	n := len(s.FrequencyHz)
	f := &finder{Fit: linemodel.NewFit(line.Path, s.FrequencyHz, s.Gamma), line: line, settings: settings}
	if !line.OpenEnded {
		f.joints = line.Path.JointsM()
	}
	f.bandHz = s.FrequencyHz[n-1] - s.FrequencyHz[0]
	f.stepHz = f.bandHz / float64(n-1)
	end := line.Path.LengthM()
	if line.Load.Kind == cables.Antenna && !line.OpenEnded && settings.ToM == 0 {
		f.window()
	}
	f.fullWeight = append([]float64(nil), f.Weight...)
	even := uniform(s.FrequencyHz)
	if even && !line.OpenEnded {
		f.leave(spikes(s.Gamma, f.stepHz, f.longestS()))
	}
	to := end
	aliasFree := line.Path.PhysicalM(cables.SpeedOfLight / (2 * f.stepHz))
	switch {
	case settings.ToM > 0:
		to = settings.ToM
	case line.OpenEnded:
		to = 0.95 * aliasFree
	case line.Load.Kind == cables.Antenna:
		to = end - loadGuard*f.Cell(end)
		f.addLoad()
	default:
		to = end + 2*f.Cell(end)
	}
	if even && settings.ToM == 0 { // farther echoes fold back onto nearer places
		to = math.Min(to, math.Max(0.95*aliasFree, 2*f.Cell(0)))
	}
	var err error
	if f.scan, err = newScan(f.Fit, -0.5*f.Cell(0), to, scanStep); err != nil {
		return nil, err
	}
	f.fullTaper = append([]float64(nil), f.scan.transform.Weights()...)
	if even && !line.OpenEnded {
		f.scan.behind = newBehind(f.scan.taper, f.stepHz, f.longestS())
	}
	f.bench = f.NewPoint(0, linemodel.Series)
	f.level = falseAlarmLevel(settings.FalseAlarmRate, to, f.scan.spread)
	return f, nil
}

// uniform says whether the frequencies are evenly spaced.
func uniform(frequencyHz []float64) bool {
	n := len(frequencyHz)
	step := (frequencyHz[n-1] - frequencyHz[0]) / float64(n-1)
	for k, f := range frequencyHz {
		if math.Abs(f-frequencyHz[0]-step*float64(k)) > 1e-3*step {
			return false
		}
	}
	return true
}

// longestS is the delay after which little comes back: the line there and
// back, and an antenna's ringing.
func (f *finder) longestS() float64 {
	s := 2.2*f.line.Path.ElectricalM(f.line.Path.LengthM())/cables.SpeedOfLight + 3/f.bandHz
	if f.line.Load.Kind == cables.Antenna {
		s += antennaRingsS
	}
	return s
}

// leave takes points out of the fit.
func (f *finder) leave(points []int) {
	for _, k := range points {
		f.Weight[k] = 0
	}
	f.leftOut = append(f.leftOut, points...)
	sort.Ints(f.leftOut)
}

// screen leaves out what stands out of the residual, and puts back what no
// longer does now that the model is better, until nothing changes.
func (f *finder) screen() (changed bool) {
	for range mostScreens {
		if !f.screenOnce() {
			break
		}
		changed = true
	}
	return changed
}

func (f *finder) screenOnce() bool {
	late, usual := outliers(f.Residual, f.Weight)
	if len(f.leftOut)+len(late) > int(mostSpikes*float64(len(f.Weight))) {
		late = nil // not single points
	}
	var kept []int
	for _, k := range f.leftOut {
		if cmplx.Abs(f.Residual[k]) < readmitFactor*usual {
			f.Weight[k], f.scan.taper[k] = f.fullWeight[k], f.fullTaper[k]
		} else {
			kept = append(kept, k)
		}
	}
	if len(late) == 0 && len(kept) == len(f.leftOut) {
		return false
	}
	f.leftOut = kept
	f.leave(late)
	for _, k := range late {
		f.scan.taper[k] = 0
	}
	if f.Load != nil { // its weights are those of the fit
		was := f.Load
		f.addLoad()
		copy(f.Load.Taps, was.Taps)
		copy(f.Load.Gamma, was.Gamma)
		f.QuickFitLoad()
	}
	f.Evaluate()
	f.polish(f.Points, 2)
	return true
}

// window weighs the middle of the band more, so that what the load's taps
// cannot follow at the ends of the band stays there.
func (f *finder) window() {
	window := distance.Weights(f.FrequencyHz, dsp.Window{})
	total := 0.0
	for _, w := range window {
		total += w * w
	}
	for k, w := range window {
		f.Weight[k] = w * w * float64(len(window)) / total
	}
}

// addLoad puts an antenna at the end of the line.
func (f *finder) addLoad() {
	end := f.line.Path.LengthM()
	spacing := tapSpacing / f.bandHz
	first := -loadGuard / f.bandHz
	room := 1/f.stepHz - 2*f.line.Path.ElectricalM(end)/cables.SpeedOfLight - 2*loadGuard/f.bandHz
	count := int(math.Max(6, math.Min(mostTaps, math.Min(room/spacing, 250e-9/spacing+10))))
	f.Load = linemodel.NewLoad(&f.Medium, end, first, spacing, count, f.Weight)
}

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
		f.scan.run(f.Residual)
		f.quiet, f.Noise = f.scan.noisePower()
		floor := math.Pow(10, -f.settings.FloorDB/10)
		found := f.scan.peaks(f.Fit, f.quiet, f.level, floor)
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
	return nil
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
		if f.RMS(p) > weakBelow {
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
		if p.Form == linemodel.Step || p.Flat > -activeFlat || p.Fits[linemodel.ByFalling] || f.RMS(p) > totalAbove/2 {
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
		if size := f.RMS(p); size < weakBelow || size > totalAbove {
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
		try(func() { p.Fits[linemodel.ByRising] = true })
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
		if p.Form == linemodel.Step || f.RMS(p) > totalAbove {
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

// velocityVariance is the variance of the place at x, m², that comes from the
// cables' velocity tolerance: spans of the same cable err together.
func (f *finder) velocityVariance(x float64) float64 {
	byCable := map[*cables.Type]float64{}
	for i, s := range f.line.Path.Spans {
		inside := math.Min(x-s.StartM, s.LengthM)
		if i == len(f.line.Path.Spans)-1 {
			inside = x - s.StartM
		}
		if inside > 0 {
			byCable[s.Cable] += inside * s.VelocityTolerance
		}
	}
	sum := 0.0
	for _, v := range byCable {
		sum += v * v
	}
	return sum
}
