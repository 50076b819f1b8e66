package bench

import (
	"cmp"
	"context"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/diagnose"
	"downlead/dsp/distance"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
	"downlead/ui/traces"
)

// aim is all that the picture depends on: the setup by the number of its step, and
// what of it is taken apart.
type aim struct {
	begun, step int
	paths       bool
	scene       *scene // shown in place of what the setup measures
}

// picture is what the bench shows of a setup.
type picture struct {
	scene      *scene // nil: the setup's own sweep
	sweep      *sweep.Sweep
	record     *cables.Line
	path       *cables.Path // of the record
	frequency  traces.Drawn
	along      traces.Drawn
	alongErr   error
	toM        float64
	figures    distance.Figures
	figuresErr error
	figuresOf  figuresOf
	earlier    both // of a scene
	model      both
	farthest   float64 // of the ghosts, where they are shown beyond the line, m; 0: the line and a little
	alone      []alone
	lattice    *simulate.Lattice
	ghosts     []ghost
}

// figuresOf is all that the figures depend on, which stay while faults are moved.
type figuresOf struct {
	line          *cables.Line
	wrongSpeed    float64
	lowHz, highHz float64
	points        int
	window        dsp.Window
	scene         *scene
}

// both are the lines of a further sweep in both views.
type both struct{ frequency, along []traces.Part }

// alone is what one reflection contributes by itself.
type alone struct {
	name             string
	distanceM        float64 // as built
	levelDB          float64
	gamma            []complex128
	frequency, along traces.Drawn
}

// ghost is a reflection of a reflection, where it seems to lie.
type ghost struct {
	distanceM float64 // by the record
	levelDB   float64
	way       []string // the places where it turns, in order
	path      int      // in the lattice
}

const (
	mostAlone  = 6   // traces that an eye can keep apart
	mostGhosts = 6   // named ones
	latticeDB  = -60 // what the paths may leave out of Γ
	ghostDB    = -55 // under which a ghost is not named

	farthestGhost = 1.5 // how far behind the line ghosts are shown, in its lengths
)

// draw measures a setup and lays it along its record. What before, the last picture, has
// that still holds is kept.
func draw(ctx context.Context, s Setup, paths bool, shown *scene, before *picture) (*picture, error) {
	p, err := measure(ctx, s, shown)
	if err != nil {
		return nil, err
	}
	window := s.Window
	if shown != nil {
		window = shown.window
	}
	p.figuresOf = figuresOf{s.Line, s.WrongSpeed, p.sweep.FrequencyHz[0], p.sweep.FrequencyHz[len(p.sweep.FrequencyHz)-1], len(p.sweep.FrequencyHz), window, shown}
	if before != nil && before.figuresOf == p.figuresOf {
		p.figures, p.figuresErr = before.figures, before.figuresErr
	} else {
		p.figures, p.figuresErr = distance.TradeOff(p.path, p.sweep.FrequencyHz, window)
	}
	over, _ := shown.views()
	p.frequency = traces.Frequency(p.sweep, over)
	if paths && (shown == nil || len(s.Faults) > 0) {
		if err := p.takeApart(ctx, s, s.scenario()); err != nil {
			return nil, err
		}
	}
	if shown != nil {
		s.Window = shown.window
	}
	p.scene = shown
	p.lay(s, shown)
	if shown != nil {
		p.earlier, p.model = p.beside(s, shown, shown.earlier), p.beside(s, shown, shown.model)
	}
	return p, ctx.Err()
}

// measure is the sweep of a setup, or that of a scene, with the record it is read by.
func measure(ctx context.Context, s Setup, shown *scene) (*picture, error) {
	if shown != nil {
		return shown.begin()
	}
	scenario := s.scenario()
	made, err := simulate.Measure(ctx, scenario)
	if err != nil {
		return nil, err
	}
	p := &picture{sweep: made.Sweep, record: s.record()}
	if s.Raw {
		p.sweep = made.Standards.Device
	}
	if p.path, err = p.record.Path(); err != nil {
		return nil, err
	}
	return p, nil
}

// lay puts the sweep, and each reflection that stands alone, along the record.
func (p *picture) lay(s Setup, shown *scene) {
	_, view := shown.views()
	p.toM = p.path.LengthM()
	if view == traces.ImpedanceAlong {
		p.along, p.alongErr = traces.Step(p.sweep, p.path, s.Window)
		return
	}
	gamma := [][]complex128{p.sweep.Gamma}
	for _, one := range p.alone {
		gamma = append(gamma, one.gamma)
	}
	profiles, err := traces.NewProfiles(p.sweep.FrequencyHz, p.path, traces.Settings{Window: s.Window, ToM: p.farthest}, gamma...)
	if err != nil {
		p.alongErr = err
		return
	}
	p.toM = profiles[0].DistanceM[len(profiles[0].DistanceM)-1]
	p.along = profiles[0].Draw(view)
	for i := range p.alone {
		p.alone[i].along = profiles[i+1].Draw(view)
	}
}

// beside is a further sweep in the views of a scene; where a view has none of it, the
// scene is shown without.
func (p *picture) beside(setup Setup, shown *scene, s *sweep.Sweep) both {
	if s == nil {
		return both{}
	}
	over, view := shown.views()
	out := both{frequency: traces.Frequency(s, over).Parts}
	if view == traces.ImpedanceAlong {
		if drawn, err := traces.Step(s, p.path, setup.Window); err == nil {
			out.along = drawn.Parts
		}
		return out
	}
	if profile, err := traces.NewProfile(s, p.path, traces.Settings{Window: setup.Window, ToM: p.farthest}); err == nil {
		out.along = profile.Draw(view).Parts
	}
	return out
}

// takeApart follows the waves of the setup.
func (p *picture) takeApart(ctx context.Context, s Setup, scenario *simulate.Scenario) error {
	lattice, err := simulate.Bounces(ctx, scenario, latticeDB)
	if err != nil {
		return err
	}
	p.lattice = lattice
	var single, again []int
	for i := range lattice.Paths {
		if lattice.Paths[i].Bounces() == 0 {
			single = append(single, i)
		} else {
			again = append(again, i)
		}
	}
	louder := func(a, b int) int { return cmp.Compare(lattice.Paths[b].LevelDB, lattice.Paths[a].LevelDB) }
	slices.SortStableFunc(single, louder)
	slices.SortStableFunc(again, louder)
	for _, i := range again {
		path := &lattice.Paths[i]
		at := p.path.PhysicalM(cables.SpeedOfLight * path.TimeS / 2)
		if path.LevelDB < ghostDB || len(p.ghosts) == mostGhosts {
			break
		}
		g := ghost{distanceM: at, levelDB: path.LevelDB, path: i}
		for _, turn := range path.Turns {
			g.way = append(g.way, lattice.Places[turn].Name)
		}
		p.ghosts = append(p.ghosts, g)
	}
	slices.SortStableFunc(p.ghosts, func(a, b ghost) int { return cmp.Compare(a.distanceM, b.distanceM) })
	if n := len(p.ghosts); n > 0 && p.figuresErr == nil {
		long := p.path.LengthM()
		if far := math.Min(math.Min(1.02*p.ghosts[n-1].distanceM, farthestGhost*long), p.figures.AliasFreeM); far > 1.05*long {
			p.farthest = far
		}
	}
	for _, i := range single[:min(len(single), mostAlone)] {
		place := lattice.Places[lattice.Paths[i].Turns[0]]
		only := &sweep.Sweep{FrequencyHz: p.sweep.FrequencyHz, Gamma: lattice.On(i, p.sweep.FrequencyHz), ReferenceOhm: p.sweep.ReferenceOhm}
		one := alone{name: place.Name, distanceM: place.DistanceM, levelDB: lattice.Paths[i].LevelDB, gamma: only.Gamma, frequency: traces.Frequency(only, traces.ReturnLoss)}
		p.alone = append(p.alone, one)
	}
	slices.SortStableFunc(p.alone, func(a, b alone) int { return cmp.Compare(a.distanceM, b.distanceM) })
	return nil
}

// find is what the engine finds in what the bench shows.
func find(ctx context.Context, p *picture) (*diagnose.Findings, error) {
	return diagnose.Run(ctx, p.sweep, p.record, diagnose.Settings{})
}

// nearestTo is the fault found that is nearest to a stretch or a point, and how far off;
// nil where none is found.
func (b *Bench) nearestTo(fromM, toM float64) (*diagnose.Finding, float64) {
	var best *diagnose.Finding
	off := math.Inf(1)
	for i := range b.findings.Findings {
		f := &b.findings.Findings[i]
		if away := math.Max(math.Max(f.DistanceM-toM, fromM-f.DistanceM-f.ExtentM), 0); f.IsFault && away < off {
			best, off = f, away
		}
	}
	return best, off
}
