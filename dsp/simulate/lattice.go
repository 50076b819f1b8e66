package simulate

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
)

// Lattice is what every reflection of a line, and every reflection of a
// reflection, adds at the test port: the data of a lattice (bounce) diagram,
// distance against time.
//
// The line is cut into stretches of uniform cable, which waves only travel, each
// in its own complex characteristic impedance, and places between them, which
// only reflect and let through. A path is one way of a wave from the port back to
// it: forward and back between places, an odd number of turns. The waves are
// voltages; with Z1 and Z2 the impedances on either side of a place whose chain
// matrix is [A B; C D],
//
//	S21 = 2/(A + B/Z2 + C·Z1 + D·Z1/Z2)    S11 = (A + B/Z2 - C·Z1 - D·Z1/Z2)/(A + B/Z2 + C·Z1 + D·Z1/Z2)
//	S12 = 2/(D + B/Z1 + C·Z2 + A·Z2/Z1)    S22 = (D + B/Z1 - C·Z2 - A·Z2/Z1)/(D + B/Z1 + C·Z2 + A·Z2/Z1)
//
// from V = V⁺ + V⁻, I = (V⁺ - V⁻)/Z (D. M. Pozar, "Microwave Engineering", 4th ed.,
// ch. 4; the sum over paths is its "multiple-reflection viewpoint", sec. 2.5; both
// from memory). What a path adds to Γ is the product of its coefficients and of
// e^{-γl} over the stretches that it travels; the sum over all paths is Γ.
//
// A wet stretch is one place that takes time to cross. The small unevenness of
// cable along its length is left out, the instrument's errors too.
type Lattice struct {
	Places      []LatticePlace
	Paths       []LatticePath // by time
	FrequencyHz []float64     // of the paths' Gamma; ascending, the sweep's or some of them
	// RemainderDB is the rms over FrequencyHz of what the paths leave out of Γ.
	RemainderDB float64
	// Complete says that the remainder is below the level asked for. Where it is
	// not, the line has more paths above it than MostPaths.
	Complete bool
}

// LatticePlace is somewhere that waves turn.
type LatticePlace struct {
	Name         string  // a joint, a device, a fault, "load"
	DistanceM    float64 // as built; of a wet stretch its beginning
	ExtentM      float64 // of a wet stretch, else 0
	TimeS        float64 // one way from the port to its beginning
	ReflectionDB float64 // rms over the sweep of what it reflects by itself towards the port, between its own cables
}

// LatticePath is one way of the wave there and back.
type LatticePath struct {
	Turns []int // the places where it turns, in order; an odd number
	TimeS float64
	// DistanceM is where it would be taken for a single reflection by the line's
	// record: PhysicalM(c·TimeS/2).
	DistanceM float64
	LevelDB   float64        // rms over FrequencyHz of what it adds to Γ
	Gamma     []complex128   // what it adds to Γ, one for each of FrequencyHz
	Trace     []LatticeEvent // to be drawn: straight between each two
}

// Bounces is how often the path is reflected again after it has come back once:
// 0 for a single reflection, 1 for a triple one.
func (p *LatticePath) Bounces() int { return (len(p.Turns) - 1) / 2 }

// LatticeEvent is a corner of a path.
type LatticeEvent struct{ DistanceM, TimeS float64 }

// MostPaths bounds how many paths a Lattice has.
const MostPaths = 4000

// latticePoints is how many frequencies the paths are followed at, at most.
const latticePoints = 401

// Bounces follows the waves on the line of a scenario, as built and with its
// faults, until what the paths leave out of Γ is below levelDB (negative, -120 to
// -10; rms over the sweep). It gives up with ctx's error when ctx ends.
func Bounces(ctx context.Context, s *Scenario, levelDB float64) (*Lattice, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	b, err := newBuilder(s)
	if err != nil {
		return nil, err
	}
	return b.bounces(ctx, s.draw(b.path), b.load(b.antennaFault(b.every())), nil, levelDB)
}

// bounces is Bounces of a line that is drawn. clean is Γ of that line over the sweep, if it is
// known: nil to have it worked out.
func (b *builder) bounces(ctx context.Context, draw asBuilt, load loadModel, clean []complex128, levelDB float64) (*Lattice, error) {
	if !(levelDB >= -120 && levelDB <= -10) {
		return nil, fmt.Errorf("lattice: a level of %g dB is outside -120 to -10", levelDB)
	}
	draw = draw.smooth()
	frequency := b.scenario.Sweep.FrequencyHz()
	step := 1 + (len(frequency)-1)/latticePoints
	var thin []float64
	var exact []complex128
	for k := 0; k < len(frequency); k += step {
		thin = append(thin, frequency[k])
		if clean != nil {
			exact = append(exact, clean[k])
		}
	}
	line := b.build(draw, load.gamma, b.every())
	if exact == nil {
		var err error
		if exact, err = reflection(ctx, line, thin); err != nil {
			return nil, err
		}
	}
	l, err := follow(ctx, line, thin, exact, levelDB, b.placeNames(draw))
	if err != nil {
		return nil, err
	}
	for i := range l.Paths {
		l.Paths[i].DistanceM = b.path.PhysicalM(cables.SpeedOfLight * l.Paths[i].TimeS / 2)
	}
	return l, nil
}

// placeNames returns what is at a true place of the line.
func (b *builder) placeNames(draw asBuilt) func(x float64) string {
	type named struct {
		atM  float64
		name string
	}
	var list []named
	add := func(x float64, name string) { list = append(list, named{x, name}) }
	names := jointNames(b.path)
	for k, x := range b.path.JointsM() {
		add(b.trueM(x, draw), names[k])
	}
	for _, span := range b.path.Spans {
		if span.Device != nil {
			add((b.trueM(span.StartM, draw)+b.trueM(span.StartM+span.LengthM, draw))/2, span.Name)
		}
	}
	for _, f := range b.faults {
		switch {
		case f.Cause == antennaFault || f.joint >= 0:
		case f.Cause == waterInCable || !f.stretch():
			add(b.trueM(f.fromM, draw), f.Cause)
		default:
			add(b.trueM(f.fromM, draw), f.Cause+", near end")
			add(b.trueM(f.toM, draw), f.Cause+", far end")
		}
	}
	return func(x float64) string {
		best := list[0]
		for _, n := range list {
			if math.Abs(n.atM-x) < math.Abs(best.atM-x)-1e-9 {
				best = n
			}
		}
		return best.name
	}
}

// scatterer is a place at each frequency. The last of a line has s11 alone.
type scatterer struct {
	s11, s21, s12, s22 []complex128
	crossS             float64 // time to cross it
	extentM            float64
}

// lattice is a line cut into places and the stretches between them.
type lattice struct {
	ctx      context.Context
	places   []LatticePlace
	scatter  []scatterer
	travel   [][]complex128 // e^{-γl} of the stretch behind each place but the last
	lengthM  []float64      // of that stretch
	travelS  []float64
	paths    []LatticePath
	floor    float64 // rms under which a wave is let go
	overfull bool
	scratch  [][]complex128 // for each depth of the search
}

// follow cuts a line as built into places and collects its paths, until they add up to
// exact, its Γ.
func follow(ctx context.Context, line built, frequencyHz []float64, exact []complex128, levelDB float64, nameAt func(float64) string) (*Lattice, error) {
	l := &lattice{ctx: ctx}
	l.cut(line, frequencyHz, nameAt)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	out := &Lattice{Places: l.places, FrequencyHz: frequencyHz}
	start := make([]complex128, len(frequencyHz))
	for k := range start {
		start[k] = 1
	}
	// Many small paths may add up to more than the level: go lower until what is
	// left out is below it.
	for floorDB := levelDB; ; floorDB -= 6 {
		l.paths, l.overfull, l.floor = nil, false, math.Pow(10, floorDB/20)
		l.arrive(0, true, start, 0, nil)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		left := slices.Clone(exact)
		for _, p := range l.paths {
			for k, g := range p.Gamma {
				left[k] -= g
			}
		}
		out.Paths, out.RemainderDB = l.paths, 20*math.Log10(math.Max(rms(left), 1e-15))
		out.Complete = out.RemainderDB <= levelDB
		if out.Complete || l.overfull || floorDB < levelDB-60 {
			break
		}
	}
	for i := range out.Paths {
		p := &out.Paths[i]
		p.LevelDB = 20 * math.Log10(math.Max(rms(p.Gamma), 1e-15))
		p.TimeS, p.Trace = l.trace(p.Turns)
	}
	slices.SortStableFunc(out.Paths, func(a, b LatticePath) int { return cmp.Compare(a.TimeS, b.TimeS) })
	return out, nil
}

func rms(z []complex128) float64 {
	sum := 0.0
	for _, v := range z {
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	return math.Sqrt(sum / float64(len(z)))
}

// cut takes the line apart: stretches of one cable that follow each other become
// one, and everything between two of them is a place.
func (l *lattice) cut(line built, frequencyHz []float64, nameAt func(float64) string) {
	n := len(frequencyHz)
	z0 := make([]complex128, n)
	for k := range z0 {
		z0[k] = complex(line.referenceOhm, 0)
	}
	wave := func(m cables.Medium) (gamma, zc []complex128) {
		gamma, zc = make([]complex128, n), make([]complex128, n)
		for k, f := range frequencyHz {
			gamma[k], zc[k] = m.Wave(f)
		}
		return gamma, zc
	}
	at, time := 0.0, 0.0
	var pending cables.Cascade // between the last stretch and what comes
	pendingS, pendingM := 0.0, 0.0
	left := z0 // the impedance in front of pending
	var before cables.Medium
	place := func(s scatterer) {
		s.crossS, s.extentM = pendingS, pendingM
		p := LatticePlace{Name: nameAt(at), DistanceM: at, ExtentM: pendingM, TimeS: time, ReflectionDB: 20 * math.Log10(math.Max(rms(s.s11), 1e-15))}
		l.places, l.scatter = append(l.places, p), append(l.scatter, s)
		at, time = at+pendingM, time+pendingS
		pending, pendingS, pendingM = nil, 0, 0
	}
	for _, e := range line.cascade() {
		switch e := e.(type) {
		case cables.Stretch:
			if e.LengthM == 0 {
				continue
			}
			gamma, zc := wave(e.Medium)
			if len(pending) > 0 || before != e.Medium {
				place(l.between(pending, left, zc, frequencyHz))
				l.travel = append(l.travel, make([]complex128, n))
				for k := range zc {
					l.travel[len(l.travel)-1][k] = 1
				}
				l.lengthM, l.travelS = append(l.lengthM, 0), append(l.travelS, 0)
				left, before = zc, e.Medium
			}
			i := len(l.travel) - 1
			for k := range gamma {
				l.travel[i][k] *= cmplx.Exp(-gamma[k] * complex(e.LengthM, 0))
			}
			seconds := e.LengthM / (cables.SpeedOfLight * e.VelocityFactor)
			l.lengthM[i] += e.LengthM
			l.travelS[i] += seconds
			at, time = at+e.LengthM, time+seconds
		case wetStretch:
			pending = append(pending, e)
			for _, s := range e.slices {
				pendingM += s.lengthM
				pendingS += s.lengthM * math.Sqrt(s.permittivity) / (cables.SpeedOfLight * e.VelocityFactor)
			}
		default:
			pending = append(pending, e)
		}
	}
	// The end, with what stands in front of it.
	end := scatterer{s11: make([]complex128, n)}
	eachPoint(l.ctx, n, func(k int) {
		f := frequencyHz[k]
		g := line.load(f)
		voltage, current := 1+g, (1-g)/complex(line.referenceOhm, 0)
		m := pending.TwoPort(f)
		v, i := m.A*voltage+m.B*current, m.C*voltage+m.D*current
		end.s11[k] = (v - left[k]*i) / (v + left[k]*i)
	})
	place(end)
}

// between returns the scattering of elements between two impedances.
func (l *lattice) between(elements cables.Cascade, z1, z2 []complex128, frequencyHz []float64) scatterer {
	n := len(frequencyHz)
	s := scatterer{s11: make([]complex128, n), s21: make([]complex128, n), s12: make([]complex128, n), s22: make([]complex128, n)}
	eachPoint(l.ctx, n, func(k int) {
		m := elements.TwoPort(frequencyHz[k])
		forward, backward := m.A+m.B/z2[k], m.C*z1[k]+m.D*z1[k]/z2[k]
		s.s21[k], s.s11[k] = 2/(forward+backward), (forward-backward)/(forward+backward)
		forward, backward = m.D+m.B/z1[k], m.C*z2[k]+m.A*z2[k]/z1[k]
		s.s12[k], s.s22[k] = 2/(forward+backward), (forward-backward)/(forward+backward)
	})
	return s
}

// arrive takes a wave that reaches place i on its way out or back, and follows
// what is reflected and what goes on.
func (l *lattice) arrive(i int, out bool, wave []complex128, depth int, turns []int) {
	if l.overfull || l.ctx.Err() != nil {
		return
	}
	s := &l.scatter[i]
	reflects, passes := s.s11, s.s21
	if !out {
		reflects, passes = s.s22, s.s12
	}
	turned := append(turns[:len(turns):len(turns)], i)
	l.leave(i, !out, wave, reflects, depth, turned)
	if passes != nil {
		l.leave(i, out, wave, passes, depth, turns)
	}
}

// leave sends a wave away from place i and on to the next.
func (l *lattice) leave(i int, out bool, wave, by []complex128, depth int, turns []int) {
	for len(l.scratch) <= depth {
		l.scratch = append(l.scratch, make([]complex128, len(wave)))
	}
	sent := l.scratch[depth]
	for k := range sent {
		sent[k] = wave[k] * by[k]
	}
	next, by := i+1, []complex128(nil)
	if !out {
		next = i - 1
	}
	if next < 0 { // home
		if rms(sent) < l.floor {
			return
		}
		if len(l.paths) == MostPaths {
			l.overfull = true
			return
		}
		l.paths = append(l.paths, LatticePath{Turns: slices.Clone(turns), Gamma: slices.Clone(sent)})
		return
	}
	by = l.travel[min(i, next)]
	for k := range sent {
		sent[k] *= by[k]
	}
	if rms(sent) < l.floor {
		return
	}
	l.arrive(next, out, sent, depth+1, turns)
}

// trace returns when a path is home, and its corners: the places where it turns,
// and those where it comes into a cable of another velocity.
func (l *lattice) trace(turns []int) (timeS float64, corners []LatticeEvent) {
	time, at, out := 0.0, 0, true
	corners = append(corners, LatticeEvent{0, 0})
	cross := func(i int) { // through a place that takes time
		if s := l.scatter[i]; s.crossS > 0 {
			time += s.crossS
			x := l.places[i].DistanceM
			if out {
				x += s.extentM
			}
			corners = append(corners, LatticeEvent{x, time})
		}
	}
	step := func(i int) { // through the stretch behind place i
		time += l.travelS[i]
		x := l.places[i].DistanceM + l.scatter[i].extentM
		if out {
			x = l.places[i+1].DistanceM
		}
		corners = append(corners, LatticeEvent{x, time})
	}
	if turns[0] != 0 {
		cross(0)
	}
	for _, turn := range append(turns[:len(turns):len(turns)], -1) {
		// A wave that turned at a place leaves on the side that it came from.
		for at != turn {
			if out {
				step(at)
				at++
				if at != turn {
					cross(at)
				}
				continue
			}
			if at == 0 {
				break
			}
			step(at - 1)
			at--
			if at != turn {
				cross(at)
			}
		}
		out = !out
	}
	return time, corners
}
