package simulate

import (
	"context"
	"errors"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"downlead/cables"
)

// observer knows what a change of the sweep is measured against. Its grid may
// be thinner than the sweep, with less noise to match, as long as the line
// still fits twice into the alias-free range.
type observer struct {
	b         *builder
	draw      asBuilt // smooth
	frequency []float64
	sigma     []float64 // per point, complex rms

	// The load's doubt: taps of delay k/span, each of tapSigma, on its
	// reflection; or on its size alone when its shape is known.
	taps       int
	tapSigma   float64
	shapeKnown bool

	columns [][]float64             // of J in prior units, whitened; real part then imaginary part
	turn    []func(*guess, float64) // what adds so many standard deviations of each column to a guess
	inverse mat.Cholesky
}

// guess is a line as it might have been built, and read.
type guess struct {
	draw asBuilt
	taps []complex128
	box  [3]phasors // added to the reading with its power 0, 1 and 2
}

func newObserver(b *builder, smooth asBuilt, frequency []float64) *observer {
	n := len(frequency)
	rangeM := cables.SpeedOfLight * float64(n-1) / (2 * (frequency[n-1] - frequency[0]))
	total := b.electricalM(b.trueM(b.path.LengthM(), smooth), smooth, true)
	stride := max(1, min(int(rangeM/(2.2*total)), n/200))
	smooth.doubts = make([]doubt, len(smooth.joints))
	o := &observer{b: b, draw: smooth}
	for k := 0; k < n; k += stride {
		o.frequency = append(o.frequency, frequency[k])
	}
	return o
}

func (o *observer) spanHz() float64 { return o.frequency[len(o.frequency)-1] - o.frequency[0] }

// doubtLoad says how far the load is known.
func (o *observer) doubtLoad(load loadModel, free bool) {
	o.taps, o.tapSigma, o.shapeKnown = 3, 0.01, !free
	switch {
	case load.kind == cables.Antenna && free:
		o.taps, o.tapSigma = 12, 0.3
		if load.model == "band-pass" {
			o.taps = min(40, max(12, int(3*o.spanHz()/(load.bandHz[1]-load.bandHz[0]))))
		}
	case load.kind == cables.Antenna:
		o.taps, o.tapSigma = 1, 0.05
	case load.kind == cables.Termination:
		o.tapSigma = 0.02
	}
}

func (o *observer) start() guess {
	return guess{draw: o.draw.clone(), taps: make([]complex128, o.taps)}
}

// tapped returns the load of a guess.
func (o *observer) tapped(g guess, load func(float64) complex128) func(float64) complex128 {
	return func(f float64) complex128 {
		turn, angle, sum := cmplx.Rect(1, -2*math.Pi*f/o.spanHz()), complex128(1), complex128(0)
		for _, tap := range g.taps {
			sum += tap * angle
			angle *= turn
		}
		sound := load(f)
		if o.shapeKnown {
			return sound * (1 + sum)
		}
		return sound + sum
	}
}

// reading returns the sweep of a guess.
func (o *observer) reading(ctx context.Context, b *builder, g guess, load func(float64) complex128, has []bool) ([]complex128, error) {
	s, err := reflection(ctx, b.build(g.draw, o.tapped(g, load), has), o.frequency)
	for k := range s {
		f := o.frequency[k]
		s[k] += g.box[0].at(f) + s[k]*(g.box[1].at(f)+s[k]*g.box[2].at(f))
	}
	return s, err
}

// explain returns D² of the sweep after against the line that has marks: damped
// Gauss-Newton steps over all nuisances from the line as drawn.
func (o *observer) explain(ctx context.Context, b *builder, after []complex128, load func(float64) complex128, has []bool) (float64, error) {
	g := o.start()
	s, err := o.reading(ctx, b, g, load, has)
	if err != nil {
		return 0, err
	}
	cost := func(s []complex128, u []float64) float64 {
		sum := 0.0
		for k := range s {
			d := after[k] - s[k]
			sum += 2 * (real(d)*real(d) + imag(d)*imag(d)) / (o.sigma[k] * o.sigma[k])
		}
		for _, v := range u {
			sum += v * v
		}
		return sum
	}
	var u []float64
	best := cost(s, nil)
	for range 8 {
		if err := o.nuisances(ctx, b, g, load, has); err != nil {
			return 0, err
		}
		if err := o.factor(); err != nil {
			return 0, err
		}
		if u == nil {
			u = make([]float64, len(o.columns))
		}
		change := make([]complex128, len(s))
		for k := range s {
			change[k] = after[k] - s[k]
		}
		_, right := o.whiten(change)
		for i := range u {
			right.SetVec(i, right.AtVec(i)-u[i])
		}
		var step mat.VecDense
		if err := o.inverse.SolveVecTo(&step, right); err != nil {
			if _, condition := err.(mat.Condition); !condition {
				return 0, err
			}
		}
		better := false
		for _, damping := range []float64{1, 0.4, 0.1} {
			next := guess{g.draw.clone(), append([]complex128{}, g.taps...), g.box}
			moved := make([]float64, len(u))
			for i := range u {
				moved[i] = u[i] + damping*step.AtVec(i)
				o.turn[i](&next, damping*step.AtVec(i))
			}
			trial, err := o.reading(ctx, b, next, load, has)
			if err != nil {
				return 0, err
			}
			if c := cost(trial, moved); c < best {
				better = c < 0.98*best
				g, s, u, best = next, trial, moved, c
				break
			}
		}
		if !better {
			break
		}
	}
	return best, nil
}

// column adds a real nuisance's sensitivity in prior units.
func (o *observer) column(values []complex128) {
	n := len(values)
	c := make([]float64, 2*n)
	for k, v := range values {
		scale := math.Sqrt2 / o.sigma[k]
		c[k], c[n+k] = real(v)*scale, imag(v)*scale
	}
	o.columns = append(o.columns, c)
}

// factor prepares (JᵀJ + I)⁻¹.
func (o *observer) factor() error {
	n := len(o.columns)
	sym := mat.NewSymDense(n, nil)
	for i, a := range o.columns {
		for j := i; j < n; j++ {
			sum := 0.0
			for k, v := range o.columns[j] {
				sum += a[k] * v
			}
			if i == j {
				sum++
			}
			sym.SetSym(i, j, sum)
		}
	}
	// JᵀJ + I is positive definite; the factor fails only on values that are
	// not finite.
	if !o.inverse.Factorize(sym) {
		return errors.New("judging what is detectable: the line's sensitivities are not finite; make the scenario less extreme")
	}
	return nil
}

// whiten returns |d|²/σ² and Jᵀd of a change d of the sweep.
func (o *observer) whiten(change []complex128) (total float64, right *mat.VecDense) {
	n := len(change)
	white := make([]float64, 2*n)
	for k, v := range change {
		scale := math.Sqrt2 / o.sigma[k]
		white[k], white[n+k] = real(v)*scale, imag(v)*scale
		total += white[k]*white[k] + white[n+k]*white[n+k]
	}
	right = mat.NewVecDense(len(o.columns), nil)
	for i, c := range o.columns {
		sum := 0.0
		for k := range c {
			sum += c[k] * white[k]
		}
		right.SetVec(i, sum)
	}
	return total, right
}

// deflection returns D² of a small change of the sweep, to first order.
func (o *observer) deflection(change []complex128) float64 {
	total, v := o.whiten(change)
	var u mat.VecDense
	if err := o.inverse.SolveVecTo(&u, v); err != nil {
		if _, condition := err.(mat.Condition); !condition {
			return 0 // cannot be: factor has checked
		}
	}
	return math.Max(0, total-mat.Dot(&u, v))
}

// observe sets up σ and J around the line that has marks, whose sweep is
// before.
func (o *observer) observe(ctx context.Context, before []complex128, load loadModel, has []bool, rough asBuilt) error {
	s := o.b.scenario
	noise := math.Max(math.Pow(10, s.Errors.NoiseDB/20), 1e-6)
	if s.Errors.NoiseDB == 0 {
		noise = 1e-6
	}
	thinned := math.Sqrt(float64(len(o.frequency)) / float64(len(s.Sweep.FrequencyHz())))
	o.sigma = make([]float64, len(before))
	for k, v := range before {
		o.sigma[k] = math.Hypot(noise, s.Errors.TraceNoise*cmplx.Abs(v)) * thinned
	}
	if err := o.nuisances(ctx, o.b, o.start(), load.gamma, has); err != nil {
		return err
	}
	if err := o.factor(); err != nil || s.AsBuilt.Roughness == 0 {
		return err
	}
	wandering, err := reflection(ctx, o.b.build(rough, load.gamma, has), o.frequency)
	if err != nil {
		return err
	}
	for k := range wandering {
		wandering[k] -= before[k]
	}
	more := math.Sqrt(1 + o.deflection(wandering)/float64(2*len(before)))
	for k := range o.sigma {
		o.sigma[k] *= more
	}
	return nil
}

// nuisances fills J around the guess g: what the record leaves open, each at one standard deviation, by differences of a thousandth.
func (o *observer) nuisances(ctx context.Context, b *builder, g guess, load func(float64) complex128, has []bool) error {
	s := b.scenario
	o.columns, o.turn = nil, nil
	line := b.build(g.draw, o.tapped(g, load), has)
	n, slots := len(o.frequency), len(line.slots)
	front := make([][]cables.TwoPort, slots+1) // everything before slot i, by frequency
	back := make([][]cables.TwoPort, slots+1)  // slot i and everything behind
	for i := range front {
		front[i], back[i] = make([]cables.TwoPort, n), make([]cables.TwoPort, n)
	}
	for k, f := range o.frequency {
		front[0][k], back[slots][k] = cables.Through, cables.Through
		own := make([]cables.TwoPort, slots)
		for i := range own {
			own[i] = line.slots[i].TwoPort(f)
			front[i+1][k] = front[i][k].Then(own[i])
		}
		for i := slots - 1; i >= 0; i-- {
			back[i][k] = own[i].Then(back[i+1][k])
		}
	}
	ends, plain := make([]complex128, n), make([]complex128, n) // of the line; plain without the box
	for k, f := range o.frequency {
		ends[k] = line.load(f)
		plain[k] = back[0][k].InputReflection(ends[k], line.referenceOhm)
	}
	const step = 1e-3
	// change adds the column of something in slot i.
	change := func(i int, turn func(d *asBuilt, amount float64)) {
		d := g.draw.clone()
		turn(&d, step)
		var slot cables.Cascade
		if i%2 == 0 {
			slot, _ = b.jointSlot(i/2, d, has)
		} else {
			slot, _ = b.spanSlot(i/2, d, has)
		}
		values := make([]complex128, n)
		for k, f := range o.frequency {
			whole := front[i][k].Then(slot.TwoPort(f)).Then(back[i+1][k])
			values[k] = (whole.InputReflection(ends[k], line.referenceOhm) - plain[k]) / step
		}
		o.column(values)
		o.turn = append(o.turn, func(g *guess, amount float64) { turn(&g.draw, amount) })
	}
	jointSigma := 1e-4
	if r := s.AsBuilt.JointReturnLossDB; r[0] > 0 {
		jointSigma = math.Pow(10, -(r[0]+r[1])/40)
	}
	limited := func(r reactance, amount float64) reactance { // keeps a wild step meaningful
		return reactance(math.Max(-0.9, math.Min(0.9, float64(r)+amount)))
	}
	for i := range line.slots {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		which := i / 2
		if i%2 == 0 {
			change(i, func(d *asBuilt, amount float64) {
				d.doubts[which].inductance = limited(d.doubts[which].inductance, amount*jointSigma)
			})
			change(i, func(d *asBuilt, amount float64) {
				d.doubts[which].capacitance = limited(d.doubts[which].capacitance, amount*jointSigma)
			})
			continue
		}
		if b.path.Spans[which].Device != nil {
			sigma := 0.005 + 0.3*math.Abs(float64(o.draw.devices[which]))
			change(i, func(d *asBuilt, amount float64) { d.devices[which] = limited(d.devices[which], amount*sigma) })
			continue
		}
		velocity := math.Max(math.Hypot(s.AsBuilt.Velocity, s.AsBuilt.Length), 5e-4)
		impedance, loss := math.Max(s.AsBuilt.ImpedanceOhm, 0.05), math.Max(s.AsBuilt.Loss, 0.005)
		change(i, func(d *asBuilt, amount float64) {
			d.sections[which].velocity = math.Max(-0.5, d.sections[which].velocity+amount*velocity)
		})
		change(i, func(d *asBuilt, amount float64) {
			d.sections[which].impedanceOhm = math.Max(-30, d.sections[which].impedanceOhm+amount*impedance)
		})
		change(i, func(d *asBuilt, amount float64) {
			d.sections[which].loss = math.Max(-1, d.sections[which].loss+amount*loss)
		})
	}
	// both adds a complex nuisance: its real and its imaginary part.
	both := func(values []complex128, turn func(g *guess, amount complex128)) {
		turned := make([]complex128, n)
		for k, v := range values {
			turned[k] = v * 1i
		}
		o.column(values)
		o.column(turned)
		o.turn = append(o.turn, func(g *guess, amount float64) { turn(g, complex(amount, 0)) },
			func(g *guess, amount float64) { turn(g, complex(0, amount)) })
	}
	for power, size := range []float64{level(s.Errors.DirectivityDB), s.Errors.trackingLevel(), level(s.Errors.SourceMatchDB)} {
		for m := range 3 {
			if size == 0 {
				continue
			}
			sigma := size / math.Sqrt(6) // three phasors, two parts
			values := make([]complex128, n)
			for k, f := range o.frequency {
				values[k] = cmplx.Rect(sigma, -2*math.Pi*f*phasorStepS*float64(m))
				for range power {
					values[k] *= plain[k]
				}
			}
			both(values, func(g *guess, amount complex128) { g.box[power][m] += amount * complex(sigma, 0) })
		}
	}
	if line.ended {
		return nil // the load does not show
	}
	toLoad := make([]complex128, n)
	for k := range toLoad {
		const nudge = 1e-6
		toLoad[k] = (front[slots][k].InputReflection(ends[k]+nudge, line.referenceOhm) - plain[k]) / nudge
	}
	sigma := o.tapSigma / math.Sqrt(2*float64(o.taps))
	for m := range o.taps {
		values := make([]complex128, n)
		for k, f := range o.frequency {
			values[k] = toLoad[k] * cmplx.Rect(sigma, -2*math.Pi*f*float64(m)/o.spanHz())
			if o.shapeKnown {
				values[k] *= load(f)
			}
		}
		both(values, func(g *guess, amount complex128) { g.taps[m] += amount * complex(sigma, 0) })
	}
	return nil
}
