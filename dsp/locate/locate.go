package locate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// Settings of Find. The zero value is a good default.
type Settings struct {
	// FalseAlarmRate is the probability that noise alone shows a reflection
	// anywhere on the line. 0: 1e-3.
	FalseAlarmRate float64
	// FloorDB is the local return loss below which nothing is looked for,
	// dB. 0: 60.
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
	Total    Total      // total reflection, if it is one
	Of       [2]float64 // of an echo: the two places, m, nearer first
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
	// Explained is false when more is left than noise and clutter.
	Explained bool
}

// ErrTooFewPoints says that a sweep holds too little to locate anything.
var ErrTooFewPoints = errors.New("locating needs at least 16 frequency points; sweep again with more")

// Find locates the reflections on the line.
func Find(ctx context.Context, s *sweep.Sweep, line Line, settings Settings) (*Result, error) {
	if len(s.FrequencyHz) < 16 {
		return nil, ErrTooFewPoints
	}
	if len(s.Gamma) != len(s.FrequencyHz) {
		return nil, fmt.Errorf("the sweep has %d frequencies and %d reflections", len(s.FrequencyHz), len(s.Gamma))
	}
	if settings.FalseAlarmRate == 0 {
		settings.FalseAlarmRate = 1e-3
	}
	if settings.FloorDB == 0 {
		settings.FloorDB = 60
	}
	if settings.PlaneSigmaM == 0 {
		settings.PlaneSigmaM = 0.005
	}
	f := newFinder(s, line, settings)
	if err := f.search(ctx); err != nil {
		return nil, err
	}
	return f.judge(), nil
}

// finder is the state of one search.
type finder struct {
	problem
	line     Line
	joints   []float64
	settings Settings
	scan     *scan
	window   []float64
	leftOut  []int
	level    float64
	bandHz   float64
	stepHz   float64
	cost     float64
	clean    bool
}

const (
	nearCells     = 4.0 // points this near are fitted together
	mostPasses    = 8
	mostPoints    = 24
	scanStep      = 0.35 // cells
	perPass       = 6
	passSpreadDB  = 14.0 // what stands so far below the strongest waits for the next pass
	loadGuard     = 1.5  // cells in front of the load that its taps begin
	mostTaps      = 160
	antennaRingsS = 60e-9
	tapSpacing    = 0.8 // of 1/bandwidth
	jointReach    = 0.7 // cells from a peak within which a joint of the record may be what it is
	formDecidesAt = 0.1 // |r| above which what passes through a point depends on its form
)

func newFinder(s *sweep.Sweep, line Line, settings Settings) *finder {
	n := len(s.FrequencyHz)
	f := &finder{line: line, settings: settings}
	f.model = newModel(line.Path, s.FrequencyHz)
	f.residual = make([]complex128, n)
	f.measured = s.Gamma
	if !line.OpenEnded {
		f.joints = line.Path.JointsM()
	}
	f.bandHz = s.FrequencyHz[n-1] - s.FrequencyHz[0]
	f.stepHz = f.bandHz / float64(n-1)
	f.weight = make([]float64, n)
	for k := range f.weight {
		f.weight[k] = 1
	}
	for _, span := range line.Path.Spans {
		f.cellM = append(f.cellM, cables.SpeedOfLight*span.Medium.VelocityFactor/(2*f.bandHz))
	}
	end := line.Path.LengthM()
	if uniform(s.FrequencyHz) && !line.OpenEnded {
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
		to = end - loadGuard*f.cell(end)
		f.addLoad(end, aliasFree)
	default:
		to = end + 2*f.cell(end)
	}
	f.window = kaiser(s.FrequencyHz, 6)
	f.scan = newScan(&f.problem, f.window, -0.5*f.cell(0), to, scanStep)
	f.level = falseAlarmLevel(settings.FalseAlarmRate, to, f.scan.spread)
	return f
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
		f.weight[k] = 0
	}
	f.leftOut = append(f.leftOut, points...)
	sort.Ints(f.leftOut)
}

// kaiser returns a Kaiser window over the frequencies.
func kaiser(frequencyHz []float64, beta float64) []float64 {
	lo, hi := frequencyHz[0], frequencyHz[len(frequencyHz)-1]
	w := make([]float64, len(frequencyHz))
	for k, f := range frequencyHz {
		u := (2*f - lo - hi) / (hi - lo)
		w[k] = besselI0(beta*math.Sqrt(math.Max(0, 1-u*u))) / besselI0(beta)
	}
	return w
}

func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}

func (f *finder) addLoad(end, aliasFree float64) {
	window := kaiser(f.frequencyHz, 6)
	total := 0.0
	for k, w := range window {
		if f.weight[k] > 0 {
			f.weight[k] = w * w
			total += w * w
		}
	}
	for k := range f.weight {
		f.weight[k] *= float64(len(window)) / total
	}
	spacing := tapSpacing / f.bandHz
	first := -loadGuard / f.bandHz
	room := 1/f.stepHz - 2*f.line.Path.ElectricalM(end)/cables.SpeedOfLight - 2*loadGuard/f.bandHz
	count := int(math.Max(6, math.Min(mostTaps, math.Min(room/spacing, 250e-9/spacing+10))))
	f.load = newLoad(&f.medium, end, first, spacing, count, f.weight)
}

// search adds points of reflection until nothing above the threshold is left.
func (f *finder) search(ctx context.Context) error {
	f.cost = f.evaluate()
	screened := false
	for pass := 0; pass < mostPasses; pass++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		if f.load != nil {
			f.load.fit(f.residual, f.loadGain)
			f.cost = f.evaluate()
		}
		f.scan.run(&f.problem, f.residual)
		f.noise = f.scan.noisePower()
		floor := math.Pow(10, -f.settings.FloorDB/10)
		found := f.scan.peaks(&f.problem, f.noise, f.level, floor)
		var added []*scatterer
		for _, c := range found {
			if len(added) == perPass || len(f.points) >= mostPoints || c.excess < found[0].excess*math.Pow(10, -passSpreadDB/10) {
				break
			}
			if crowded(added, c.x, 3*f.cell(c.x)) {
				continue
			}
			if p := f.add(c); p != nil {
				added = append(added, p)
			}
		}
		if len(added) == 0 {
			f.clean = len(found) == 0
			if late := outliers(f.residual, f.weight); len(late) > 0 && !screened {
				screened = true
				f.leave(late)
				f.scan = newScan(&f.problem, f.window, f.scan.x[0], f.scan.x[len(f.scan.x)-1], scanStep)
				f.cost = f.refine(f.points, true, 3, f.evaluate())
				continue
			}
			break
		}
		for _, p := range added {
			f.settle(p)
		}
		f.cost = f.refine(f.points, true, 2, f.cost)
	}
	if f.load != nil {
		f.load.fit(f.residual, f.loadGain)
		f.cost = f.evaluate()
	}
	f.prune()
	f.cost = f.refine(f.points, true, 6, f.cost)
	if f.load != nil {
		f.load.fit(f.residual, f.loadGain)
		f.cost = f.evaluate()
	}
	return nil
}

func crowded(points []*scatterer, x, within float64) bool {
	for _, p := range points {
		if math.Abs(p.x-x) < within {
			return true
		}
	}
	return false
}

// start is a first guess of a point: what it is, how large and where.
type start struct {
	form     form
	quantity int // byFlat, byRising or byBoth
	x, value float64
	rising   float64 // of byBoth
	cost     float64
}

// add finds the points that would explain the peak c, puts the best into the
// model and returns it, or nil, the model unchanged, where nothing of such a
// point would arrive.
func (f *finder) add(c peak) *scatterer {
	gain := f.gainAt(c.x)
	arrives := 0.0
	for _, g := range gain {
		arrives = math.Max(arrives, cmplx.Abs(g))
	}
	if arrives < 1e-3 { // behind a total reflection
		return nil
	}
	starts := f.starts(c.x, gain)
	var best *scatterer
	var bestCost float64
	before, held := f.cost, f.save()
	for _, s := range starts {
		p := f.newPoint(s.x, s.form)
		p.fits[byPlace] = true
		s.apply(p)
		f.sample(p)
		f.insert(p)
		f.cost = f.refine([]*scatterer{p}, false, 3, f.evaluate())
		if best == nil || f.cost < bestCost {
			best, bestCost = p, f.cost
		}
		f.remove(p)
	}
	f.restore(held)
	if best == nil || bestCost >= before {
		f.cost = f.evaluate()
		return nil
	}
	f.insert(best)
	f.cost = f.evaluate()
	return best
}

func (s start) apply(p *scatterer) {
	switch s.quantity {
	case byFlat:
		p.flat, p.fits[byFlat] = s.value, true
	case byRising:
		p.rising, p.fits[byRising] = s.value, true
	default:
		p.flat, p.rising = s.value, s.rising
		p.fits[byFlat], p.fits[byRising] = true, true
	}
}

// gainAt is ∂S/∂Γ of a point at x, were there one.
func (f *finder) gainAt(x float64) []complex128 {
	p := f.newPoint(x, seriesForm)
	f.insert(p)
	f.forward()
	f.remove(p)
	return p.gain
}

// starts returns the two most promising first guesses for a point near x, from
// the residual, which must be that of the model as it is. A guess is what the
// point is (its phase and how it runs with frequency), and with it the place
// nearest x where its echo has the phase that is seen.
func (f *finder) starts(x float64, gain []complex128) []start {
	beta := f.beta0[f.spanAt(x)]
	middle := f.estimate(gain, 0, 0)
	phase := cmplx.Phase(middle)
	size := cmplx.Abs(middle)
	type guess struct {
		form     form
		quantity int
		phase    float64
	}
	guesses := []guess{{seriesForm, byFlat, 0}, {shuntForm, byFlat, math.Pi}, {seriesForm, byRising, math.Pi / 2}, {shuntForm, byRising, -math.Pi / 2}}
	if size > formDecidesAt {
		guesses = append(guesses, guess{stepForm, byFlat, 0}, guess{stepForm, byFlat, math.Pi})
	}
	var out []start
	for _, g := range guesses {
		turn := math.Remainder(g.phase-phase, 2*math.Pi) // what the place must make up for
		place := x + turn/(2*beta)
		if place < -0.3*f.cell(x) {
			continue
		}
		unit := cmplx.Exp(complex(0, g.phase))
		r := real(f.estimate(gain, place-x, g.quantity) / unit)
		cost := f.leftBy(gain, place-x, g.quantity, complex(r, 0)*unit)
		r = math.Max(0.001, math.Min(r, 0.95))
		s := start{form: g.form, quantity: g.quantity, x: place, cost: cost}
		switch g.form {
		case stepForm:
			s.value = r * math.Cos(g.phase)
		default: // r = v/(2+v); for a reactance only its size matters
			s.value = 2 * r / (1 - r)
		}
		out = append(out, s)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].cost < out[j].cost })
	most := 2
	if size > formDecidesAt {
		most = 4
	}
	out = out[:min(most, len(out))]
	// At a joint of the record the place is known, so both parts of a circuit
	// there follow from the reflection.
	for _, joint := range f.joints {
		if math.Abs(joint-x) > jointReach*f.cell(x) {
			continue
		}
		r := f.estimate(gain, joint-x, byFlat)
		if a := cmplx.Abs(r); a > 0.9 {
			r *= complex(0.9/a, 0)
		}
		for form, v := range map[form]complex128{seriesForm: 2 * r / (1 - r), shuntForm: -2 * r / (1 + r)} {
			out = append(out, start{form: form, quantity: byBoth, x: joint, value: real(v), rising: imag(v)})
		}
	}
	return out
}

// estimate returns the least-squares reflection of a point delta metres behind
// the place of gain, flat or in proportion to f.
func (f *finder) estimate(gain []complex128, delta float64, quantity int) complex128 {
	var top complex128
	bottom := 0.0
	for k, w := range f.scan.taper {
		g := gain[k] * f.shift(k, delta)
		if quantity == byRising {
			g *= complex(f.ratio[k], 0)
		}
		top += complex(w, 0) * cmplx.Conj(g) * f.residual[k]
		bottom += w * (real(g)*real(g) + imag(g)*imag(g))
	}
	return top / complex(bottom, 0)
}

// leftBy is the windowed residual power that such a point would leave.
func (f *finder) leftBy(gain []complex128, delta float64, quantity int, r complex128) float64 {
	sum := 0.0
	for k, w := range f.scan.taper {
		g := gain[k] * f.shift(k, delta) * r
		if quantity == byRising {
			g *= complex(f.ratio[k], 0)
		}
		e := f.residual[k] - g
		sum += w * (real(e)*real(e) + imag(e)*imag(e))
	}
	return sum
}

// shift is the phase of a short way of delta metres, there and back.
func (f *finder) shift(k int, delta float64) complex128 {
	if delta == 0 {
		return 1
	}
	sin, cos := math.Sincos(-2 * f.beta0[0] * delta * f.ratio[k])
	return complex(cos, sin)
}

func (f *finder) near(p *scatterer) []*scatterer {
	var group []*scatterer
	for _, q := range f.points {
		if math.Abs(q.x-p.x) <= nearCells*f.cell(p.x) {
			group = append(group, q)
		}
	}
	return group
}

// settle fits point p with its neighbours, and gives it what else lowers the
// cost by enough: a reactance beside its resistance, a gap, another form.
func (f *finder) settle(p *scatterer) {
	group := f.near(p)
	f.cost = f.refine(group, false, 3, f.cost)
	enough := 12 * math.Max(f.noise, 1e-12)
	try := func(change func()) {
		before, saved := f.cost, f.save()
		change()
		f.sample(p)
		f.cost = f.refine(group, false, 4, f.evaluate())
		if f.cost > before-enough {
			f.restore(saved)
			f.cost = f.evaluate()
		}
	}
	if p.form == stepForm && math.Abs(p.flat) > 0.5 {
		try(func() { p.fits[byRising] = true })
	}
	if p.form != stepForm {
		both := func() { p.fits[byFlat], p.fits[byRising] = true, true }
		try(both)
		if !p.fits[byFalling] && p.form == seriesForm && math.Abs(p.flat)+math.Abs(p.rising) > 0.2 {
			try(func() { both(); p.fits[byFalling] = true })
		}
	}
}

// prune takes out points that the others have made needless.
func (f *finder) prune() {
	for _, p := range append([]*scatterer(nil), f.points...) {
		before := f.cost
		f.remove(p)
		now := f.evaluate()
		if now-before > 2*f.level*f.noise {
			f.insert(p)
			f.cost = f.evaluate()
		} else {
			f.cost = now
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
