package locate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
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
	// Known are stretches that are known to be on the line: the search begins
	// with copies of them, and nothing within them becomes a reflection. Seeds are
	// points that it begins with and judges like any other.
	Known, Seeds []*linemodel.Point
	// Prepared keeps what many sweeps of one line and one grid share. nil: nothing is
	// kept.
	Prepared *Prepared
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
	// another kind, than that, Doubt that it is at a joint and takes so much of that as to be
	// worth a closer look.
	BudgetDB float64
	Excess   bool
	Doubt    bool
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
	// Known are the stretches of Settings.Known as the fit has them, Inside the
	// points that the fit needs within them.
	Known, Inside []*linemodel.Point
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
	var scans []*scan
	defer func() { settings.Prepared.keep(scans) }()
	over := false
	begin := func(seeds ...*linemodel.Point) (*finder, error) {
		with := settings
		with.Seeds = slices.Concat(settings.Seeds, seeds)
		f, err := newFinder(s, line, with)
		if err != nil {
			return nil, err
		}
		scans = append(scans, f.scan)
		f.Ended = func() bool {
			over = over || ctx.Err() != nil
			return over
		}
		return f, nil
	}
	f, err := begin()
	if err != nil {
		return nil, err
	}
	if err := f.search(ctx); err != nil {
		return nil, err
	}
	if f, err = f.fromMirror(ctx, begin); err != nil {
		return nil, err
	}
	result := f.judge()
	if over {
		return nil, ctx.Err()
	}
	f.Ended = nil // the fit goes on without this context
	return result, nil
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
	known    []*linemodel.Point
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
		if line.Load.Kind == cables.Termination { // which ends no search as a mirror does
			to += slowest * longest(line.Path)
		}
	}
	if even && settings.ToM == 0 { // farther echoes fold back onto nearer places
		to = math.Min(to, math.Max(0.95*aliasFree, 2*f.Cell(0)))
	}
	var err error
	if f.scan, err = settings.Prepared.scan(f.Fit, -0.5*f.Cell(0), to, scanStep); err != nil {
		return nil, err
	}
	f.fullTaper = append([]float64(nil), f.scan.transform.Weights()...)
	if even && !line.OpenEnded {
		f.scan.behind = newBehind(f.scan.taper, f.stepHz, f.longestS())
	}
	for i, k := range append(append([]*linemodel.Point(nil), settings.Known...), settings.Seeds...) {
		p := f.Copy(k)
		f.Insert(p)
		if i < len(settings.Known) {
			f.known = append(f.known, p)
		}
	}
	f.bench = f.NewPoint(0, linemodel.Series)
	f.level = falseAlarmLevel(settings.FalseAlarmRate, to, f.scan.spread)
	return f, nil
}

// slowest is how much farther out, relative, the end of a section may seem to be that is
// of other cable: of velocity factor 0.79 instead of the 0.92 of air-spaced cable.
const slowest = 0.15

// longest returns the length of the longest section, m.
func longest(path *cables.Path) float64 {
	most := 0.0
	for _, s := range path.Spans {
		most = math.Max(most, s.LengthM)
	}
	return most
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
		f.Load = f.Load.Reweighted(f.Weight)
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
