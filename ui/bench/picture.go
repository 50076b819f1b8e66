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
	apart       apart
	scene       *scene // whose views are shown, and whose sweep too, but for
	own         bool   // the setup's own sweep
	views       views
}

// apart is what of a setup is taken apart: its waves followed, and each reflection shown
// alone as well.
type apart struct{ paths, each bool }

// picture is what the bench shows of a setup.
type picture struct {
	scene      *scene // nil: none
	views      views
	own        bool // the sweep is the setup's own, not the scene's
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
	plan       *traces.Plan // along the record; nil: none could be made
	planTo     float64      // its Settings.ToM
	earlier    both         // of a scene
	model      both
	expected   both
	farthest   float64 // of the ghosts, where they are shown beyond the line, m; 0: the line and a little
	alone      []alone
	lattice    *simulate.Lattice
	ghosts     []ghost
}

// figuresOf is all that the figures depend on, and the plan along the record but for how far
// it goes. These stay while faults are moved.
type figuresOf struct {
	line, record  *cables.Line
	wrongSpeed    float64
	lowHz, highHz float64
	points        int
	window        dsp.Window
	scene         *scene
	own           bool
}

// both are the lines of a further sweep in both views.
type both struct {
	sweep            *sweep.Sweep // nil: there is none
	frequency, along []traces.Part
}

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

	farStep       = 0.1 // of the length of the line
	farthestGhost = 1.5 // how far behind the line ghosts are shown, in its lengths
)

// draw measures a setup and lays it along its record. What before, the last picture, has
// that still holds is kept.
func draw(ctx context.Context, s Setup, a aim, before *picture) (*picture, error) {
	if before == nil {
		before = &picture{}
	}
	p, err := measure(ctx, s, a)
	if err != nil {
		return nil, err
	}
	n := len(p.sweep.FrequencyHz)
	p.figuresOf = figuresOf{s.Line, s.Record, s.WrongSpeed, p.sweep.FrequencyHz[0], p.sweep.FrequencyHz[n-1], n, s.Window, p.scene, p.own}
	if before.figuresOf == p.figuresOf {
		p.figures, p.figuresErr = before.figures, before.figuresErr
	} else {
		p.figures, p.figuresErr = distance.TradeOff(p.path, p.sweep.FrequencyHz, s.Window)
	}
	p.frequency = traces.Frequency(p.sweep, p.views.over)
	if p.lattice != nil {
		p.findGhosts()
		if a.apart.each {
			p.takeApart()
		}
	}
	p.lay(s, before)
	if shown := p.scene; shown != nil {
		p.earlier = p.beside(s, shown.earlier)
		if !p.own { // they are of the scene's sweep
			p.model, p.expected = p.beside(s, shown.model), p.beside(s, shown.expected)
		}
	}
	return p, ctx.Err()
}

// measure is the sweep of a setup, or that of a scene, with the record it is read by, and the
// ways of the waves where they are wanted.
func measure(ctx context.Context, s Setup, a aim) (*picture, error) {
	p := &picture{scene: a.scene, views: a.views, own: a.own || a.scene == nil, record: s.record()}
	scenario := s.scenario()
	var made *simulate.Result
	var err error
	switch paths := a.apart.paths && (p.own || !a.scene.secret); {
	case p.own && paths:
		made, p.lattice, err = simulate.MeasureApart(ctx, scenario, latticeDB)
	case p.own:
		made, err = simulate.Measure(ctx, scenario)
	case paths:
		p.lattice, err = simulate.Bounces(ctx, scenario, latticeDB)
	}
	if err != nil {
		return nil, err
	}
	switch {
	case !p.own:
		p.sweep = a.scene.sweep
	case s.Raw:
		p.sweep = made.Standards.Device
	default:
		p.sweep = made.Sweep
	}
	p.path, err = p.record.Path()
	return p, err
}

// lay puts the sweep, and each reflection that stands alone, along the record.
func (p *picture) lay(s Setup, before *picture) {
	view := p.views.along
	p.toM = p.path.LengthM()
	if view == traces.ImpedanceAlong {
		p.along, p.alongErr = traces.Step(p.sweep, p.path, s.Window)
		return
	}
	p.planTo = p.farthest
	if p.plan = before.plan; p.plan == nil || before.figuresOf != p.figuresOf || before.planTo != p.planTo {
		plan, err := traces.NewPlan(p.sweep.FrequencyHz, p.path, traces.Settings{Window: s.Window, ToM: p.farthest})
		if err != nil {
			p.alongErr = err
			return
		}
		p.plan = plan
	}
	gamma := [][]complex128{p.sweep.Gamma}
	for _, one := range p.alone {
		gamma = append(gamma, one.gamma)
	}
	profiles := p.plan.Profiles(gamma...)
	p.toM = profiles[0].DistanceM[len(profiles[0].DistanceM)-1]
	p.along = profiles[0].Draw(view)
	for i := range p.alone {
		p.alone[i].along = profiles[i+1].Draw(view)
	}
}

// beside is a further sweep in the views of the scene; where a view has none of it, the
// scene is shown without.
func (p *picture) beside(setup Setup, s *sweep.Sweep) both {
	if s == nil {
		return both{}
	}
	out := both{sweep: s, frequency: traces.Frequency(s, p.views.over).Parts}
	if p.views.along == traces.ImpedanceAlong {
		if drawn, err := traces.Step(s, p.path, setup.Window); err == nil {
			out.along = drawn.Parts
		}
		return out
	}
	if profile, err := traces.NewProfile(s, p.path, traces.Settings{Window: setup.Window, ToM: p.farthest}); err == nil {
		out.along = profile.Draw(p.views.along).Parts
	}
	return out
}

// louder orders paths of the lattice, the loudest first.
func (p *picture) louder(a, b int) int {
	return cmp.Compare(p.lattice.Paths[b].LevelDB, p.lattice.Paths[a].LevelDB)
}

// findGhosts names the loudest waves that are reflected more than once.
func (p *picture) findGhosts() {
	var again []int
	for i := range p.lattice.Paths {
		if path := &p.lattice.Paths[i]; path.Bounces() > 0 && path.LevelDB >= ghostDB {
			again = append(again, i)
		}
	}
	slices.SortStableFunc(again, p.louder)
	for _, i := range again[:min(len(again), mostGhosts)] {
		path := &p.lattice.Paths[i]
		g := ghost{distanceM: p.path.PhysicalM(cables.SpeedOfLight * path.TimeS / 2), levelDB: path.LevelDB, path: i}
		for _, turn := range path.Turns {
			g.way = append(g.way, p.lattice.Places[turn].Name)
		}
		p.ghosts = append(p.ghosts, g)
	}
	slices.SortStableFunc(p.ghosts, func(a, b ghost) int { return cmp.Compare(a.distanceM, b.distanceM) })
	if n := len(p.ghosts); n > 0 && p.figuresErr == nil {
		long := p.path.LengthM()
		// In steps, so that the axis stands still while a fault is moved a little.
		far := math.Ceil(1.02*p.ghosts[n-1].distanceM/(farStep*long)) * farStep * long
		if far = math.Min(math.Min(far, farthestGhost*long), p.figures.AliasFreeM); far > 1.05*long {
			p.farthest = far
		}
	}
}

// takeApart shows the loudest single reflections each alone.
func (p *picture) takeApart() {
	var single []int
	for i := range p.lattice.Paths {
		if p.lattice.Paths[i].Bounces() == 0 {
			single = append(single, i)
		}
	}
	slices.SortStableFunc(single, p.louder)
	for _, i := range single[:min(len(single), mostAlone)] {
		place := p.lattice.Places[p.lattice.Paths[i].Turns[0]]
		only := &sweep.Sweep{FrequencyHz: p.sweep.FrequencyHz, Gamma: p.lattice.On(i, p.sweep.FrequencyHz), ReferenceOhm: p.sweep.ReferenceOhm}
		one := alone{name: place.Name, distanceM: place.DistanceM, levelDB: p.lattice.Paths[i].LevelDB, gamma: only.Gamma, frequency: traces.Frequency(only, p.views.over)}
		p.alone = append(p.alone, one)
	}
	slices.SortStableFunc(p.alone, func(a, b alone) int { return cmp.Compare(a.distanceM, b.distanceM) })
}

// find is what the engine finds in what the bench shows.
func find(ctx context.Context, p *picture) (*diagnose.Findings, error) {
	return diagnose.Run(ctx, p.sweep, p.record, diagnose.Settings{})
}

// faultsFound are the faults among the findings.
func (b *Bench) faultsFound() []*diagnose.Finding {
	var out []*diagnose.Finding
	for i := range b.findings.Findings {
		if f := &b.findings.Findings[i]; f.IsFault {
			out = append(out, f)
		}
	}
	return out
}

// nearestTo is the fault found that is nearest to a stretch or a point, and how far off;
// nil where none is found.
func (b *Bench) nearestTo(fromM, toM float64) (*diagnose.Finding, float64) {
	var best *diagnose.Finding
	off := math.Inf(1)
	for _, f := range b.faultsFound() {
		if away := math.Max(math.Max(f.DistanceM-toM, fromM-f.DistanceM-f.ExtentM), 0); away < off {
			best, off = f, away
		}
	}
	return best, off
}
