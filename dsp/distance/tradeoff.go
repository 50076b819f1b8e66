package distance

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"downlead/cables"
	"downlead/dsp"
)

// Figures are what a band, its points and a window buy and cost, in metres along
// one line. Cells and widths differ from section to section with the velocity;
// the single numbers are those of the fastest cable, where they are widest.
// Lengths use the high-frequency velocities; skin effect shortens them by up to
// about 0.5 %.
type Figures struct {
	BandHz            float64   // last frequency minus first
	StepHz            float64   // the grid's step; of an uneven grid the median
	Uneven            bool      // no single step: echoes from beyond AliasFreeM smear instead of folding back
	AliasFreeM        float64   // place from which on echoes fold back to the start: electrical length c/(2·StepHz)
	CellM             float64   // c·VF/(2·BandHz)
	SpanCellM         []float64 // the same for each span of the path
	MainLobe3DBM      float64   // cell × the window's full width at half power
	MainLobe6DBM      float64   // cell × the window's full width at half amplitude: two equal reflections closer than this merge
	HighestSideLobeDB float64   // relative to the reflection that makes it, negative
	NoiseGainDB       float64   // 10·log10 Σw²/(Σw)²: how far the profile's noise lies below that of one point
}

// TradeOff returns what a sweep at frequencyHz (strictly ascending, positive, at
// least two) under window shows along path.
func TradeOff(path *cables.Path, frequencyHz []float64, window dsp.Window) (Figures, error) {
	if path == nil || len(path.Spans) == 0 {
		return Figures{}, errors.New("distance: the line has no span")
	}
	if err := checkGrid(frequencyHz); err != nil {
		return Figures{}, err
	}
	if err := window.Validate(); err != nil {
		return Figures{}, fmt.Errorf("distance: %w", err)
	}
	n := len(frequencyHz)
	steps := make([]float64, n-1)
	for k := range steps {
		steps[k] = frequencyHz[k+1] - frequencyHz[k]
	}
	sort.Float64s(steps)
	f := Figures{BandHz: frequencyHz[n-1] - frequencyHz[0], StepHz: steps[(n-1)/2]}
	f.Uneven = steps[n-2]-steps[0] > 0.01*f.StepHz
	if !f.Uneven {
		f.StepHz = f.BandHz / float64(n-1)
	}
	merit := window.Figures(n)
	f.AliasFreeM = path.PhysicalM(cables.SpeedOfLight / (2 * f.StepHz))
	for _, span := range path.Spans {
		cell := cables.SpeedOfLight * span.Medium.VelocityFactor / (2 * f.BandHz)
		f.SpanCellM = append(f.SpanCellM, cell)
	}
	f.CellM = cables.SpeedOfLight * fastest(path, math.Inf(1)) / (2 * f.BandHz)
	f.MainLobe3DBM, f.MainLobe6DBM = f.CellM*merit.Width3DBBins, f.CellM*merit.Width6DBBins
	f.HighestSideLobeDB = merit.HighestSideLobeDB
	squares := 0.0
	for _, w := range Weights(frequencyHz, window) {
		squares += w * w
	}
	f.NoiseGainDB = 10 * math.Log10(squares)
	return f, nil
}

// fastest returns the highest velocity factor of the cable in front of rangeM;
// of a path without cable, of any span.
func fastest(path *cables.Path, rangeM float64) float64 {
	cable, any := 0.0, 0.0
	for _, span := range path.Spans {
		any = max(any, span.Medium.VelocityFactor)
		if span.Device == nil && (span.StartM < rangeM || cable == 0) {
			cable = max(cable, span.Medium.VelocityFactor)
		}
	}
	if cable == 0 {
		return any
	}
	return cable
}

// Request is what a sweep is wanted for. The zero value asks for the finest
// sweep that the line allows, and is refused where nothing bounds the band.
type Request struct {
	ResolutionM float64    // two equal reflections this far apart shall show as two; 0: as fine as can be
	RangeM      float64    // look as far as this; 0: the line and a quarter, so that what bounces once does not fold back
	BandHz      [2]float64 // what the instrument can sweep; zero: not stated
	MostPoints  int        // 0: the line's instrument, or no limit
	Window      dsp.Window // zero: Kaiser of β = 6, or of less where the band is too narrow for it
	// AntennaInBand asks to see the antenna itself, which shows its match only
	// in its own band, and there alone.
	AntennaInBand bool
}

// Limit is one thing that bounds a plan.
type Limit struct {
	What     string  // a name: "surge-arrestor", "cable foam-78", "antenna", "instrument"
	LowHz    float64 // 0: does not bound from below
	HighHz   float64 // +Inf: does not bound from above
	Points   int     // 0: does not bound the points
	Binding  bool    // the plan would be finer, or reach farther, without it
	Sentence string
}

// SweepPlan is a sweep to take, what it shows, and what stands in the way.
type SweepPlan struct {
	StartHz, StopHz float64
	Points          int
	Window          dsp.Window
	Figures         Figures
	ResolutionM     float64 // Figures.MainLobe6DBM
	Met             bool    // the resolution and the range asked for are reached
	Limits          []Limit
	Sentences       []string // the plan in words, limits that bind included
}

// Plan finds span, points and window that resolve what is asked over the line.
// The span B follows from the resolution R as B = c·VF·W/(2R), W the window's
// full width at half amplitude in cells; the step Δf from the range's electrical
// length D as Δf = c/(2D). Where something in front of the range bounds the band
// the span shrinks; where it bounds the points the range is kept and the span
// shrinks, because an echo that folds back is worse than a blurred one. Errors:
// a line that cannot be laid out, a request that makes no sense, bands that
// have nothing in common, or no bound at all for a request without a resolution.
func Plan(line *cables.Line, request Request) (*SweepPlan, error) {
	path, err := line.Path()
	if err != nil {
		return nil, err
	}
	if err := request.Window.Validate(); err != nil {
		return nil, fmt.Errorf("distance: %w", err)
	}
	for _, v := range []float64{request.ResolutionM, request.RangeM, request.BandHz[0], request.BandHz[1], float64(request.MostPoints)} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("distance: %g is not something to plan for: resolution, range, band and points must be finite and not negative", v)
		}
	}
	rangeM := request.RangeM
	if rangeM == 0 {
		rangeM = 1.25 * path.LengthM()
	}
	limits := limitsOf(line, path, request, rangeM)
	low, high, err := common(limits)
	if err != nil {
		return nil, err
	}

	velocity := cables.SpeedOfLight * fastest(path, rangeM)
	step := cables.SpeedOfLight / (2 * path.ElectricalM(rangeM))
	low = max(low, step) // no sweep starts at zero
	if !(high > low) {
		return nil, fmt.Errorf("distance: the band ends at %s, below the first useful frequency %s of a range of %.4g m", hertz(high), hertz(low), rangeM)
	}
	wanted := high - low
	window := request.Window
	if request.ResolutionM > 0 {
		window = request.chooseWindow(velocity, high-low)
		wanted = velocity * window.Figures(0).Width6DBBins / (2 * request.ResolutionM)
	} else if math.IsInf(high, 1) {
		return nil, errors.New("distance: nothing bounds the band: ask for a resolution, or state the cable's upper frequency or the instrument's band")
	}
	span := min(wanted, high-low)
	intervals := max(1, math.Ceil(span/step-1e-9))
	if intervals > 1e9 {
		return nil, fmt.Errorf("distance: %.3g points are more than any sweep has: ask for a coarser resolution or a shorter range", intervals)
	}
	points := int(intervals) + 1
	most := 0
	for _, limit := range limits {
		if limit.Points > 0 {
			most = limit.Points
		}
	}
	pointsBind := most > 0 && points > most
	if pointsBind {
		points = max(2, most)
		span = step * float64(points-1)
	}

	plan := &SweepPlan{Points: points, Window: window, Limits: limits}
	plan.StartHz = startOf(line, low, high, span)
	plan.StopHz = plan.StartHz + span
	grid := make([]float64, points)
	for k := range grid {
		grid[k] = plan.StartHz + span*float64(k)/float64(points-1)
	}
	if plan.Figures, err = TradeOff(path, grid, window); err != nil {
		return nil, err
	}
	plan.ResolutionM = plan.Figures.MainLobe6DBM
	reaches := plan.Figures.AliasFreeM >= rangeM*(1-1e-9)
	plan.Met = reaches && (request.ResolutionM == 0 || plan.ResolutionM <= request.ResolutionM*(1+1e-9))
	bandBinds := wanted > (high-low)*(1+1e-9) || request.ResolutionM == 0
	for i := range plan.Limits {
		l := &plan.Limits[i]
		l.Binding = l.Points > 0 && pointsBind ||
			l.Points == 0 && bandBinds && !pointsBind && (l.LowHz > 0 && l.LowHz >= low || l.HighHz <= high)
	}
	plan.speak(line, request, rangeM)
	return plan, nil
}

// chooseWindow returns the window asked for; or, of none asked for, the Kaiser
// window of the lowest side lobes down from β = 6 that resolves in the band, or
// else the rectangular window, the finest there is.
func (r Request) chooseWindow(velocity, bandHz float64) dsp.Window {
	if r.Window != (dsp.Window{}) {
		return r.Window
	}
	for beta := 6.0; beta >= 1; beta-- {
		window := dsp.Window{Kind: dsp.Kaiser, Parameter: beta}
		if velocity*window.Figures(0).Width6DBBins/(2*bandHz) <= r.ResolutionM {
			return window
		}
	}
	return dsp.Window{Kind: dsp.Rectangular}
}

// limitsOf lists what bounds band and points of a sweep that looks as far as
// rangeM. What lies behind the range does not count.
func limitsOf(line *cables.Line, path *cables.Path, request Request, rangeM float64) []Limit {
	var limits []Limit
	seen := map[string]bool{}
	for _, span := range path.Spans {
		if span.StartM >= rangeM {
			continue
		}
		if d := span.Device; d != nil && d.PassbandHz[1] > 0 {
			limits = append(limits, Limit{What: d.Kind, LowHz: d.PassbandHz[0], HighHz: d.PassbandHz[1],
				Sentence: fmt.Sprintf("The %s after %s passes %s to %s only; outside that band nothing behind it is seen.", d.Kind, d.After, hertz(d.PassbandHz[0]), hertz(d.PassbandHz[1]))})
		}
		if c := span.Cable; c != nil && c.MaxFrequencyHz > 0 && !seen[c.ID] {
			seen[c.ID] = true
			limits = append(limits, Limit{What: "cable " + c.ID, HighHz: c.MaxFrequencyHz,
				Sentence: fmt.Sprintf("Cable %s is good up to %s.", c.ID, hertz(c.MaxFrequencyHz))})
		}
	}
	if band := line.Load.BandHz; line.Load.Kind == cables.Antenna && band[1] > 0 && request.AntennaInBand && rangeM >= path.LengthM() {
		limits = append(limits, Limit{What: "antenna", LowHz: band[0], HighHz: band[1],
			Sentence: fmt.Sprintf("The antenna shows its own match in its band %s to %s only; outside it is nearly a mirror.", hertz(band[0]), hertz(band[1]))})
	}
	if request.BandHz[1] > 0 {
		limits = append(limits, Limit{What: "instrument", LowHz: request.BandHz[0], HighHz: request.BandHz[1],
			Sentence: fmt.Sprintf("The instrument sweeps %s to %s.", hertz(request.BandHz[0]), hertz(request.BandHz[1]))})
	}
	most := request.MostPoints
	if most == 0 {
		most = line.Instrument.MostPoints
	}
	if most > 0 {
		limits = append(limits, Limit{What: "instrument", HighHz: math.Inf(1), Points: most,
			Sentence: fmt.Sprintf("The instrument takes at most %d points.", most)})
	}
	return limits
}

// common returns the band that all limits leave.
func common(limits []Limit) (low, high float64, err error) {
	high = math.Inf(1)
	var lowest, highest string
	for _, l := range limits {
		if l.Points > 0 {
			continue
		}
		if l.LowHz > low {
			low, lowest = l.LowHz, l.Sentence
		}
		if l.HighHz < high {
			high, highest = l.HighHz, l.Sentence
		}
	}
	if !(low < high) {
		return 0, 0, fmt.Errorf("distance: no band is left for a sweep: %s %s", lowest, highest)
	}
	return low, high, nil
}

// startOf places the span in the free band: around the antenna's band, in which
// the line works, or else as low as can be, where loss is least.
func startOf(line *cables.Line, low, high, span float64) float64 {
	start := low
	if band := line.Load.BandHz; band[1] > 0 {
		start = (band[0] + band[1] - span) / 2
	}
	return max(low, min(start, high-span))
}

// speak puts the plan into words.
func (p *SweepPlan) speak(line *cables.Line, request Request, rangeM float64) {
	f := p.Figures
	say := func(format string, args ...any) { p.Sentences = append(p.Sentences, fmt.Sprintf(format, args...)) }
	name := p.Window.Kind.String()
	if p.Window.Kind == dsp.Kaiser {
		beta := p.Window.Parameter
		if beta == 0 {
			beta = 6
		}
		name = fmt.Sprintf("kaiser (β = %g)", beta)
	}
	say("Sweep %s to %s with %d points under a %s window.", hertz(p.StartHz), hertz(p.StopHz), p.Points, name)
	say("Two equal reflections %.3g m apart show as two (cell %.3g m); echoes are unambiguous up to %.4g m; side lobes lie %.0f dB below a reflection.",
		p.ResolutionM, f.CellM, f.AliasFreeM, -f.HighestSideLobeDB)
	if request.ResolutionM > 0 && p.ResolutionM > request.ResolutionM*(1+1e-9) {
		say("That is coarser than the %.3g m asked for.", request.ResolutionM)
	}
	if f.AliasFreeM < rangeM*(1-1e-9) {
		say("That is less than the range of %.4g m asked for.", rangeM)
	}
	for _, l := range p.Limits {
		if l.Binding {
			say("%s", l.Sentence)
			if l.Points > 0 {
				say("With that many points the span was narrowed so as to keep the range; a shorter range would be resolved more finely.")
			}
		}
	}
	band := line.Load.BandHz
	if line.Load.Kind != cables.Antenna || band[1] <= 0 || request.AntennaInBand {
		return
	}
	if p.StartHz < band[0] || p.StopHz > band[1] {
		say("The sweep goes beyond the antenna's band %s to %s, where the antenna is nearly a mirror: good for locating faults and judging the loss of the line, not for judging the antenna.", hertz(band[0]), hertz(band[1]))
	}
}

// hertz writes a frequency with four figures and a fitting unit.
func hertz(f float64) string {
	switch {
	case math.IsInf(f, 0):
		return "any frequency"
	case f >= 1e9:
		return fmt.Sprintf("%.4g GHz", f/1e9)
	case f >= 1e6:
		return fmt.Sprintf("%.4g MHz", f/1e6)
	case f >= 1e3:
		return fmt.Sprintf("%.4g kHz", f/1e3)
	}
	return fmt.Sprintf("%.4g Hz", f)
}
