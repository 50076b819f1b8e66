package lesson

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/distance"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// Bench is a lesson with its line swept. It works things out when they are asked
// for, and keeps them; it serves one goroutine at a time.
type Bench struct {
	Lesson *Lesson
	Result *simulate.Result
	Feet   bool // lengths in metres are written, and answered without a unit, in feet

	worked   map[string]*worked
	lattice  *simulate.Lattice
	expected *sweep.Sweep
}

// Open sweeps the lesson's line. It gives up with ctx's error when ctx ends.
func Open(ctx context.Context, l *Lesson) (*Bench, error) {
	made, err := simulate.Run(ctx, l.Scenario)
	if err != nil {
		return nil, fmt.Errorf("sweeping the line of the lesson %q: %w", l.Title, err)
	}
	made.Sweep.Name = l.Title
	return &Bench{Lesson: l, Result: made, worked: map[string]*worked{}}, nil
}

// Scene is the lesson's line as it is shown: one part of one sweep, one record,
// one window, in some views.
type Scene struct {
	Show Show
	*worked
}

// worked is what scenes have in common that differ in nothing but their views,
// zoom and overlays.
type worked struct {
	Sweep *sweep.Sweep // what is used of it
	Line  *cables.Line // with another velocity where that is shown
	Path  *cables.Path

	bench    *Bench
	findings *diagnose.Findings
	figures  *distance.Figures
	profile  *distance.Profile
	steps    *distance.ImpedanceProfile
}

// Scene returns what a Show shows. Errors: a sweep that the scenario does not
// make, a band that leaves too few points.
func (b *Bench) Scene(show *Show) (*Scene, error) {
	key := fmt.Sprint(show.Sweep, show.BandHz, show.Every, show.Window, show.VelocityFactor, show.AgainstEarlier)
	if w := b.worked[key]; w != nil {
		return &Scene{*show, w}, nil
	}
	s := &worked{bench: b, Line: b.Result.Line}
	switch show.Sweep {
	case Earlier:
		s.Sweep = b.Result.Baseline
	case Raw:
		if b.Result.Standards != nil {
			s.Sweep = b.Result.Standards.Device
		}
	default:
		s.Sweep = b.Result.Sweep
	}
	if s.Sweep == nil {
		return nil, fmt.Errorf("the scenario makes no %v sweep", show.Sweep)
	}
	var err error
	if s.Sweep, err = show.used(s.Sweep); err != nil {
		return nil, err
	}
	if show.VelocityFactor > 0 {
		s.Line = withVelocity(s.Line, show.VelocityFactor)
	}
	if s.Path, err = s.Line.Path(); err != nil {
		return nil, err
	}
	b.worked[key] = s
	return &Scene{*show, s}, nil
}

// used is the part of a sweep that is shown.
func (show *Show) used(s *sweep.Sweep) (*sweep.Sweep, error) {
	if show.BandHz != [2]float64{} {
		part, err := s.Band(show.BandHz[0], show.BandHz[1])
		if err != nil {
			return nil, err
		}
		s = part
	}
	if show.Every > 1 {
		s = s.Every(show.Every)
	}
	if len(s.FrequencyHz) < sweep.MinPoints {
		return nil, fmt.Errorf("%d points are left of the sweep, fewer than %d; show more of it", len(s.FrequencyHz), sweep.MinPoints)
	}
	return s, nil
}

// Expected returns what the line's record leads one to expect, over the part of the sweep
// that the scene shows: the line without faults, its lengths and cables exactly as recorded,
// its joints as good as they are, by an instrument without errors.
func (s *Scene) Expected(ctx context.Context) (*sweep.Sweep, error) {
	b := s.bench
	if b.expected == nil {
		sound := *b.Lesson.Scenario
		sound.Faults, sound.Errors, sound.Baseline = nil, simulate.Instrument{}, false
		sound.AsBuilt = simulate.AsBuilt{JointReturnLossDB: sound.AsBuilt.JointReturnLossDB}
		made, err := simulate.Measure(ctx, &sound)
		if err != nil {
			return nil, err
		}
		b.expected = made.Sweep
	}
	return s.Show.used(b.expected)
}

// Findings returns what the diagnosis finds in the scene.
func (s *Scene) Findings(ctx context.Context) (*diagnose.Findings, error) {
	if s.findings != nil {
		return s.findings, nil
	}
	if s.Show.Sweep == Raw {
		return nil, errors.New("the raw sweep is not corrected, so nothing is to be found in it; show the measured one")
	}
	var settings diagnose.Settings
	if s.Show.AgainstEarlier {
		settings.Baseline = s.bench.Result.Baseline
	}
	found, err := diagnose.Run(ctx, s.Sweep, s.Line, settings)
	s.findings = found
	return found, err
}

// faults returns the findings that are faults, in the order of the line.
func (s *Scene) faults(ctx context.Context) ([]diagnose.Finding, error) {
	return s.those(ctx, func(f *diagnose.Finding) bool { return f.IsFault })
}

func (s *Scene) those(ctx context.Context, is func(*diagnose.Finding) bool) ([]diagnose.Finding, error) {
	found, err := s.Findings(ctx)
	if err != nil {
		return nil, err
	}
	var out []diagnose.Finding
	for i := range found.Findings {
		if f := &found.Findings[i]; is(f) {
			out = append(out, *f)
		}
	}
	return out, nil
}

// Figures returns what band, points and window of the scene buy.
func (s *Scene) Figures() (*distance.Figures, error) {
	if s.figures == nil {
		f, err := distance.TradeOff(s.Path, s.Sweep.FrequencyHz, s.Show.Window)
		if err != nil {
			return nil, err
		}
		s.figures = &f
	}
	return s.figures, nil
}

// Profile returns the reflection along the scene's line, to a tenth behind its end.
func (s *Scene) Profile() (*distance.Profile, error) {
	if s.profile == nil {
		transform, err := distance.New(s.Path, s.Sweep.FrequencyHz, distance.Settings{Window: s.Show.Window, ToM: 1.1 * s.Path.LengthM(), Points: 4001})
		if err != nil {
			return nil, err
		}
		p := transform.Profile(nil, s.Sweep.Gamma)
		s.profile = &p
	}
	return s.profile, nil
}

// Steps returns the impedance along the scene's line.
func (s *Scene) Steps() (*distance.ImpedanceProfile, error) {
	if s.steps == nil {
		p, err := distance.Step(s.Path, s.Sweep.FrequencyHz, s.Sweep.Gamma, distance.StepSettings{Window: s.Show.Window})
		if err != nil {
			return nil, err
		}
		s.steps = p
	}
	return s.steps, nil
}

// latticeDB is how far down the paths of a lesson's lattice are followed.
const latticeDB = -60

// Lattice returns the ways of the waves on the lesson's line; see simulate.Bounces.
func (b *Bench) Lattice(ctx context.Context) (*simulate.Lattice, error) {
	if b.lattice == nil {
		l, err := simulate.Bounces(ctx, b.Lesson.Scenario, latticeDB)
		if err != nil {
			return nil, err
		}
		b.lattice = l
	}
	return b.lattice, nil
}

// echoes returns the paths that were reflected again, the strongest first.
func (b *Bench) echoes(ctx context.Context) ([]simulate.LatticePath, error) {
	l, err := b.Lattice(ctx)
	if err != nil {
		return nil, err
	}
	var out []simulate.LatticePath
	for _, p := range l.Paths {
		if p.Bounces() > 0 {
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b simulate.LatticePath) int {
		switch {
		case a.LevelDB > b.LevelDB:
			return -1
		case a.LevelDB < b.LevelDB:
			return 1
		}
		return 0
	})
	return out, nil
}

// errorTerms solves the lesson's calibration.
func (b *Bench) errorTerms() (*calibration.ErrorTerms, error) {
	standards := b.Result.Standards
	if standards == nil {
		return nil, errors.New("the scenario makes no standards; add raw = true under [scenario.instrument]")
	}
	var definitions bytes.Buffer
	if err := standards.Kit.Encode(&definitions); err != nil {
		return nil, err
	}
	kit, err := calibration.DecodeKit("kit.toml", &definitions)
	if err != nil {
		return nil, err
	}
	terms, _, err := calibration.Solve(kit, calibration.Standards{Open: standards.Open, Short: standards.Short, Load: standards.Load})
	return terms, err
}

// Value works a formula out in the scene. Errors say where the formula stands.
func (s *Scene) Value(ctx context.Context, f *Formula) (Value, error) {
	if f.Empty() {
		return Value{}, errors.New("there is no formula")
	}
	v, err := f.eval(ctx, s)
	if err == nil && v.Kind == IsNumber && math.IsNaN(v.Number) {
		err = errors.New("it is not a number")
	}
	if err != nil {
		if ctx.Err() != nil {
			return Value{}, ctx.Err()
		}
		return Value{}, f.place.wrong(fmt.Errorf("formula %q: %w", clip(f.Source), err))
	}
	return v, nil
}

// Truth works out a formula that must be true or false.
func (s *Scene) Truth(ctx context.Context, f *Formula) (bool, error) {
	v, err := s.Value(ctx, f)
	if err == nil && v.Kind != IsTruth {
		err = f.place.wrong(fmt.Errorf("formula %q gives %v, not true or false; compare it with something", clip(f.Source), v.Kind))
	}
	return v.True, err
}
