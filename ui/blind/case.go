package blind

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/diagnose"
	"downlead/dsp/distance"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// Levels is the highest level of difficulty; the lowest is 1.
const Levels = 5

// Case is a line to find the faults of.
type Case struct {
	Seed       uint64
	Difficulty int
	// What may be looked at: the sweep and the record of the line.
	Sweep *sweep.Sweep
	Line  *cables.Line
	// CellM is the resolution cell of the sweep in the fastest cable, m.
	CellM float64

	path   *cables.Path
	faults []Fault
}

// Fault is one that is there, as the answer shows it.
type Fault struct {
	Cause     diagnose.Cause
	DistanceM float64 // of a stretch its beginning
	ExtentM   float64
	// ApparentM is where it seems to lie by the line's record, m.
	ApparentM float64
	Where     string // the joint or section, in words
	// Alike are causes that one port does not tell from this one, here.
	Alike []diagnose.Cause
	// ReachM is how far from it a mark may be and still belong to it, FullM how
	// far it may be for all the points.
	ReachM, FullM float64
}

// plan is what a level draws.
type plan struct {
	difficulty float64 // of simulate.DrawOptions
	ordinary   bool
	none       float64 // share of lines without a fault
	double     float64 // share with two
	leastDB    float64 // detection index that each fault has at least
}

func plans() [Levels]plan {
	return [Levels]plan{
		{0, true, 0, 0, 20}, {0.15, true, 0.15, 0, 20}, {0.5, true, 0.15, 0, 20}, {0.6, true, 0.12, 0.35, 20}, {1, false, 0.12, 0.35, 16},
	}
}

// draw chooses what kind of line to draw.
func (p plan) draw(dice *rand.Rand) simulate.DrawOptions {
	options := simulate.DrawOptions{Difficulty: p.difficulty, Ordinary: p.ordinary}
	switch share := dice.Float64(); {
	case share < p.none:
		options.Cause = "none"
	case share < p.none+p.double:
		options.Cause = "double"
	default:
		causes := simulate.Causes()
		options.Cause = causes[dice.IntN(len(causes))]
	}
	return options
}

// mostTries bounds how many lines are drawn for a fair one, triesOfAKind how many
// of one kind before another is taken.
const (
	mostTries    = 150
	triesOfAKind = 15
)

// New draws the case of a seed and a level of difficulty from 1 to Levels. It
// takes a second or two. It gives up with ctx's error when ctx ends.
func New(ctx context.Context, seed uint64, difficulty int) (*Case, error) {
	if difficulty < 1 || difficulty > Levels {
		return nil, fmt.Errorf("there is no difficulty %d; the levels are 1 to %d", difficulty, Levels)
	}
	level := plans()[difficulty-1]
	var options simulate.DrawOptions
	for try := range uint64(mostTries) {
		dice := rand.New(rand.NewPCG(seed, uint64(difficulty)<<32|try))
		if try%triesOfAKind == 0 { // or hard kinds would hardly ever come
			options = level.draw(dice)
		}
		s, err := simulate.Draw(dice.Uint64(), options)
		if err != nil {
			continue // another line
		}
		if !plausible(s) {
			continue
		}
		made, err := simulate.Run(ctx, s)
		if err != nil {
			return nil, fmt.Errorf("drawing a case: %w", err)
		}
		c, err := fair(s, made, level.leastDB)
		if err != nil {
			return nil, fmt.Errorf("drawing a case: %w", err)
		}
		if c == nil {
			continue
		}
		c.Seed, c.Difficulty = seed, difficulty
		c.Line.Name = fmt.Sprintf("case %d, level %d", seed, difficulty)
		c.Sweep.Name = c.Line.Name
		return c, nil
	}
	return nil, fmt.Errorf("no fair line in %d tries; take another seed", mostTries)
}

// plausible leaves out at once, before anything is computed, faults that could
// not be argued about: a part of a connector in the middle of a cable.
func plausible(s *simulate.Scenario) bool {
	for _, f := range s.Faults {
		switch diagnose.Cause(f.Cause) {
		case diagnose.PoorContact, diagnose.ConnectorMismatch, diagnose.WaterInConnector:
			if f.At == "" {
				return false
			}
		}
	}
	return true
}

// fair returns the case, nil where it would not be fair.
func fair(s *simulate.Scenario, made *simulate.Result, leastDB float64) (*Case, error) {
	path, err := made.Line.Path()
	if err != nil {
		return nil, err
	}
	figures, err := distance.TradeOff(path, made.Sweep.FrequencyHz, dsp.Window{})
	if err != nil {
		return nil, err
	}
	c := &Case{Sweep: made.Sweep, Line: made.Line, CellM: figures.CellM, path: path}
	if made.Truth.AliasFreeOverLine < 1.3 {
		return nil, nil
	}
	for i, t := range made.Truth.Faults {
		cellM := figures.SpanCellM[path.SpanAt(math.Min(t.DistanceM, path.LengthM()))]
		index, _ := t.Severity["detection_index_db"].(float64)
		if !t.Detectable || index < leastDB || !showsItself(&t, cellM, made.Truth) {
			return nil, nil
		}
		f := Fault{Cause: diagnose.Cause(t.Cause), DistanceM: t.DistanceM, ExtentM: t.ExtentM, ApparentM: t.ApparentDistanceM,
			Where: where(path, &t), Alike: alike(&s.Faults[i], &t, made.Line)}
		f.FullM = max(cellM, 0.2, 0.01*t.DistanceM)
		f.ReachM = 4 * f.FullM
		if f.Cause == diagnose.LossySection { // the sweep shows how much is lost, not where
			f.DistanceM, f.ExtentM = path.Spans[path.SpanAt(t.DistanceM)].StartM, t.ExtentM
			f.FullM, f.ReachM = made.Truth.FarEndM, made.Truth.FarEndM
		}
		c.faults = append(c.faults, f)
	}
	return c, nil
}

// showsItself says whether the fault shows as what it is, not only as some
// change: see the package comment.
func showsItself(t *simulate.FaultTruth, cellM float64, truth *simulate.Truth) bool {
	nearJoint := func(x float64) bool {
		return slices.ContainsFunc(truth.JointsM, func(j float64) bool { return math.Abs(j-x) < 1.5*cellM })
	}
	switch diagnose.Cause(t.Cause) {
	case diagnose.WaterInCable:
		return t.Localizable != nil && *t.Localizable && t.ExtentM > 2*cellM
	case diagnose.WrongImpedance:
		return t.ExtentM > 2*cellM
	case diagnose.DentOrKink:
		return !nearJoint(t.DistanceM)
	case diagnose.OpenCircuit, diagnose.ShortCircuit:
		return t.DistanceM < truth.FarEndM-2*cellM // the end itself may be one
	}
	return true
}

// alike lists what one port does not tell from a fault where it is: what the
// truth says; behind a gap that lets something through an open is a contact; and
// at an antenna's connector nothing is sure but that something is wrong there.
func alike(f *simulate.Fault, t *simulate.FaultTruth, line *cables.Line) []diagnose.Cause {
	var out []diagnose.Cause
	for _, word := range t.ConfusableWith {
		out = append(out, diagnose.Cause(word))
	}
	cause := diagnose.Cause(t.Cause)
	atAntenna := line.Load.Kind == cables.Antenna && (f.At == "load" || cause == diagnose.AntennaFault)
	add := func(list ...diagnose.Cause) {
		for _, other := range list {
			if other != cause && !slices.Contains(out, other) {
				out = append(out, other)
			}
		}
	}
	switch {
	case cause == diagnose.OpenCircuit && f.GapFarad > 0:
		add(diagnose.PoorContact)
	case cause == diagnose.PoorContact && f.GapFarad > 0:
		add(diagnose.OpenCircuit)
	}
	if atAntenna {
		switch cause {
		case diagnose.AntennaFault, diagnose.PoorContact, diagnose.ConnectorMismatch, diagnose.WaterInConnector:
			add(diagnose.AntennaFault, diagnose.PoorContact, diagnose.ConnectorMismatch, diagnose.WaterInConnector)
		}
	}
	return out
}

// where says in words what part of the line a fault is in.
func where(path *cables.Path, t *simulate.FaultTruth) string {
	if t.Place == "load" {
		return "the antenna"
	}
	span := path.SpanAt(math.Min(t.DistanceM, path.LengthM()))
	if t.Place != "joint" {
		return "in " + path.Spans[span].Name
	}
	joints := path.JointsM()
	best := 0
	for k, x := range joints {
		if math.Abs(x-t.DistanceM) < math.Abs(joints[best]-t.DistanceM) {
			best = k
		}
	}
	switch {
	case best == 0:
		return "at the test port"
	case best == len(joints)-1:
		return "at the load's connector"
	}
	return "joint " + path.Spans[best-1].Name + " / " + path.Spans[best].Name
}

// Faults returns the answer.
func (c *Case) Faults() []Fault { return slices.Clone(c.faults) }

// Causes lists what a mark may name, in the order of simulate.Causes.
func Causes() []diagnose.Cause {
	var out []diagnose.Cause
	for _, word := range simulate.Causes() {
		out = append(out, diagnose.Cause(word))
	}
	return out
}
