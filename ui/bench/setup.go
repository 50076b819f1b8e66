package bench

import (
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/simulate"
	"downlead/ui/blind"
)

// Setup is what is on the bench. Its slices and what its pointers lead to are never
// changed.
type Setup struct {
	Line       *cables.Line // as it really is
	Faults     []simulate.Fault
	AsBuilt    simulate.AsBuilt
	Antenna    simulate.AntennaModel
	Errors     simulate.Instrument
	Seed       uint64
	LowHz      float64
	HighHz     float64
	Points     int
	Window     dsp.Window
	Raw        bool         // looked at without calibration
	Record     *cables.Line // what it is laid along; nil: Line
	WrongSpeed float64      // how far the record's velocity factors are off, relative
	Marks      []blind.Mark // where somebody says that something is wrong
}

// SetupOf takes a scenario onto the bench. Of a sweep in several segments the ends
// and the number of points are kept.
func SetupOf(s *simulate.Scenario) Setup {
	f := s.Sweep.FrequencyHz()
	return Setup{Line: s.Line, Faults: slices.Clone(s.Faults), AsBuilt: s.AsBuilt, Antenna: s.Antenna, Errors: s.Errors, Seed: s.Seed,
		LowHz: f[0], HighHz: f[len(f)-1], Points: len(f)}
}

// sameSweep says whether both make the same sweep: if they differ, then in how it is looked
// at.
func (s *Setup) sameSweep(o *Setup) bool {
	return s.Line == o.Line && slices.Equal(s.Faults, o.Faults) && s.AsBuilt == o.AsBuilt && s.Antenna == o.Antenna && s.Errors == o.Errors &&
		s.Seed == o.Seed && s.LowHz == o.LowHz && s.HighHz == o.HighHz && s.Points == o.Points && s.Raw == o.Raw
}

// scenario is the setup for the simulator.
func (s *Setup) scenario() *simulate.Scenario {
	errors := s.Errors
	errors.Raw = s.Raw
	return &simulate.Scenario{Name: s.Line.Name, Seed: s.Seed, Line: s.Line, Faults: s.Faults, AsBuilt: s.AsBuilt, Antenna: s.Antenna, Errors: errors,
		Sweep: simulate.Grid{Segments: []simulate.Segment{{LowHz: s.LowHz, HighHz: s.HighHz, Points: s.Points}}}}
}

// record is the line as its papers have it, with the wrong velocity factors.
func (s *Setup) record() *cables.Line {
	paper := s.Line
	if s.Record != nil {
		paper = s.Record
	}
	if s.WrongSpeed == 0 {
		return paper
	}
	line := *paper
	line.Cables = slices.Clone(line.Cables)
	for i := range line.Cables {
		c := &line.Cables[i]
		c.VelocityFactor = math.Min(c.VelocityFactor*(1+s.WrongSpeed), 1)
	}
	return &line
}

// fewestPoints and mostPoints bound the sweep, as leastHz and mostHz do.
const (
	fewestPoints, mostPoints = 51, 4001
	leastHz, mostHz          = 1e6, 6e9
	narrowest                = 1.02 // of the upper end over the lower one
)

// onGrid rounds to n significant digits, for values that a slider sets.
func onGrid(v float64, n int) float64 {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return v
	}
	step := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-float64(n-1))
	return math.Round(v/step) * step
}

// placed returns the fault moved to m metres, or to the nearest place that it can
// have: a fault of connectors sits at a joint, an end of the line is drawn to one
// that is within reachM, a stretch lies inside a section.
func placed(f simulate.Fault, path *cables.Path, m, reachM float64) simulate.Fault {
	if f.Cause == "antenna" {
		return f
	}
	f.At = ""
	m = math.Min(math.Max(math.Round(m*100)/100, 0), path.LengthM())
	if simulate.Stretches(f.Cause) {
		return inSection(f, path, m)
	}
	joint := nearest(path.JointsM(), m)
	inDevice := path.Spans[path.SpanAt(m)].Device != nil
	if ofJoints(f.Cause) || inDevice || math.Abs(joint-m) <= reachM {
		m = joint
	}
	f.DistanceM = m
	return f
}

// inSection puts a stretch into the section at m, or the nearest one.
func inSection(f simulate.Fault, path *cables.Path, m float64) simulate.Fault {
	best := -1
	off := math.Inf(1)
	for i, s := range path.Spans {
		away := math.Max(math.Max(s.StartM-m, m-s.StartM-s.LengthM), 0)
		if s.Device == nil && away < off {
			best, off = i, away
		}
	}
	if best < 0 {
		return f
	}
	s := path.Spans[best]
	f.ExtentM = math.Min(f.ExtentM, s.LengthM)
	f.DistanceM = math.Min(math.Max(m, s.StartM), s.StartM+s.LengthM-f.ExtentM)
	// The beginning of a section belongs to the one before where they meet.
	if path.SpanAt(f.DistanceM) != best {
		f.DistanceM += 1e-6
	}
	f.ExtentM = math.Max(math.Min(f.ExtentM, s.StartM+s.LengthM-f.DistanceM), 2e-4)
	return f
}

// nearest returns the one of places that is nearest to m.
func nearest(places []float64, m float64) float64 {
	best := places[0]
	for _, p := range places {
		if math.Abs(p-m) < math.Abs(best-m) {
			best = p
		}
	}
	return best
}
