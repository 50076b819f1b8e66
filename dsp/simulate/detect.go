package simulate

import (
	"context"
	"errors"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"downlead/cables"
)

// detectableDB is the detection index from which a fault counts as detectable:
// a deflection of 4.5 standard deviations.
const detectableDB = 13

// toldApartDB is the deflection below which two causes look alike: 3 sigma.
const toldApartDB = 9.5

// alone returns a fault's own elements and, when it ends the line, the
// reflection of its end.
func (b *builder) alone(f placedFault, draw asBuilt) (cables.Cascade, func(float64) complex128) {
	only := make([]bool, len(b.scenario.Faults))
	only[f.index] = true
	if !f.stretch() {
		circuit, ends := f.lumped()
		if ends == nil {
			return circuit, nil
		}
		z0 := complex(b.path.ReferenceOhm, 0)
		return circuit, func(hz float64) complex128 { return (1 - z0*ends(hz)) / (1 + z0*ends(hz)) }
	}
	// The stretch itself, without the cable around it.
	slot, _ := b.spanSlot(f.span, draw.smooth(), only)
	span := b.path.Spans[f.span]
	if f.fromM > span.StartM+1e-12 {
		slot = slot[1:]
	}
	return slot[:1], nil
}

// faultTruth measures what fault i does to the sweep.
func (b *builder) faultTruth(ctx context.Context, i int, draw asBuilt, frequency []float64) (*FaultTruth, error) {
	var fault placedFault
	for _, f := range b.faults {
		if f.index == i {
			fault = f
		}
	}
	s := b.scenario
	with, without := make([]bool, len(s.Faults)), make([]bool, len(s.Faults))
	for k := range with {
		with[k], without[k] = true, k != i
	}
	from, to := b.trueM(fault.fromM, draw), b.trueM(fault.toM, draw)
	out := &FaultTruth{Cause: fault.Cause, DistanceM: from, ExtentM: to - from, Place: "section",
		ApparentDistanceM: b.path.PhysicalM(b.electricalM(from, draw, true)), Severity: map[string]any{}}
	switch {
	case fault.Cause == antennaFault:
		out.Place = "load"
	case fault.joint >= 0:
		out.Place = "joint"
	}
	for name, value := range fault.numbers() {
		if *value != 0 && name != "extent_m" {
			out.Severity[name] = *value
		}
	}
	if fault.Cable != "" {
		out.Severity["cable"] = fault.Cable
	}
	if fault.Mode != "" {
		out.Severity["mode"] = fault.Mode
	}

	o := newObserver(b, draw.smooth(), frequency)
	loadBefore, loadAfter := b.load(b.antennaFault(without)), b.load(b.antennaFault(with))
	before, err := reflection(ctx, b.build(o.draw, loadBefore.gamma, without), o.frequency)
	if err != nil {
		return nil, err
	}
	after, err := reflection(ctx, b.build(o.draw, loadAfter.gamma, with), o.frequency)
	if err != nil {
		return nil, err
	}
	knownLoad := fault.Cause == antennaFault || fault.Cause == lossySection
	o.doubtLoad(loadBefore, !knownLoad)
	if err := o.observe(ctx, before, loadBefore, without, draw); err != nil {
		return nil, err
	}
	change := make([]complex128, len(before))
	power := 0.0
	for k := range change {
		change[k] = after[k] - before[k]
		power += real(change[k])*real(change[k]) + imag(change[k])*imag(change[k])
	}
	deflection, err := o.explain(ctx, b, after, loadBefore.gamma, without)
	if err != nil {
		return nil, err
	}
	index := powerDB(deflection)
	out.Severity["detection_index_db"] = index
	out.Severity["port_change_rms_db"] = powerDB(power / float64(len(change)))
	out.Detectable = index >= detectableDB

	mid := (frequency[0] + frequency[len(frequency)-1]) / 2
	mirrored := mirrorShare(loadBefore.gamma, o.frequency)
	switch fault.Cause {
	case lossySection:
		medium := b.medium(fault.span, draw)
		lineLoss := 0.0
		for k, span := range b.path.Spans {
			lineLoss += b.medium(k, draw).AttenuationNp(mid) * span.LengthM
		}
		excess := (fault.LossFactor - 1) * medium.AttenuationNp(mid) * (to - from) / cables.NeperPerDB
		lineLoss /= cables.NeperPerDB
		// One sigma of what else may look like loss, dB one way: the far end, the
		// instrument, and the record's attenuation.
		farEnd := 0.05
		if s.Line.Load.Kind == cables.Antenna {
			farEnd = 0.3
		}
		open := math.Hypot(math.Hypot(farEnd, s.Errors.TrackingDB), math.Max(s.AsBuilt.Loss, 0.02)*lineLoss)
		out.Severity["excess_loss_db_at_centre"] = excess
		out.Severity["far_end_mirror_share"] = mirrored
		out.Detectable = out.Detectable && mirrored >= 0.1 && excess >= 3*open
	case antennaFault:
		out.ExtentM = depth(loadAfter, o.frequency)
		promised := s.Line.Load.ReturnLossDB
		if promised == 0 {
			promised = 14
		}
		visible := loadAfter.bandHz[1] > frequency[0] && loadAfter.bandHz[0] < frequency[len(frequency)-1]
		out.Severity["in_band_worst_return_loss_was_db"] = loadBefore.worstDB
		out.Severity["in_band_worst_return_loss_db"] = loadAfter.worstDB
		out.Detectable = out.Detectable && visible && loadAfter.worstDB <= promised-3
	case waterInCable:
		out.Severity["taper"] = "cosine"
		out.Severity["added_loss_db_at_centre"] = math.Pi * mid * fault.LossTangent * (to - from) /
			(cables.SpeedOfLight * b.medium(fault.span, draw).VelocityFactor * (1 - fault.ImpedanceDrop)) / cables.NeperPerDB
	}
	if fault.Cause != antennaFault && fault.Cause != lossySection {
		b.ownReflection(out, fault, o)
	}
	if fault.joint >= 0 {
		switch fault.Cause {
		case poorContact, connectorMismatch, waterInConnector:
			if err := b.tellApart(ctx, out, fault, o, after, loadAfter, with); err != nil {
				return nil, err
			}
		}
	}
	return out, ctx.Err()
}

func powerDB(power float64) float64 { return 10 * math.Log10(math.Max(power, 1e-20)) }

// mirrorShare is the share of the sweep where the load reflects nearly all.
func mirrorShare(gamma func(float64) complex128, frequency []float64) float64 {
	count := 0
	for _, f := range frequency {
		if cmplx.Abs(gamma(f)) > 0.7 {
			count++
		}
	}
	return float64(count) / float64(len(frequency))
}

// depth is how far behind its connector a load seems to reflect, m: half the
// group delay weighted by the power reflected, in air.
func depth(load loadModel, frequency []float64) float64 {
	sum, weight := 0.0, 0.0
	for _, f := range frequency {
		const relative = 1e-4
		a, z := load.gamma(f*(1-relative)), load.gamma(f*(1+relative))
		power := cmplx.Abs(a) * cmplx.Abs(z)
		if power > 0 {
			sum -= power * cmplx.Phase(z/a) / (2 * math.Pi * 2 * relative * f)
			weight += power
		}
	}
	if weight == 0 {
		return 0
	}
	return math.Max(0, sum/weight*cables.SpeedOfLight/2)
}

// ownReflection adds the fault's reflection by itself between matched lines.
func (b *builder) ownReflection(out *FaultTruth, fault placedFault, o *observer) {
	circuit, ends := b.alone(fault, o.draw)
	if ends == nil {
		ends = func(float64) complex128 { return 0 }
	}
	reference := b.path.ReferenceOhm
	if fault.stretch() {
		reference = b.medium(fault.span, o.draw).ImpedanceOhm
	}
	mean, seen := 0.0, 0.0
	for k, f := range o.frequency {
		own := circuit.TwoPort(f).InputReflection(ends(f), reference)
		power := real(own)*real(own) + imag(own)*imag(own)
		mean += power / float64(len(o.frequency))
		seen += power * math.Exp(-4*real(b.path.Theta(f, fault.fromM))) / (o.sigma[k] * o.sigma[k])
	}
	out.Severity["local_return_loss_db"] = -powerDB(mean)
	if fault.Cause == waterInCable {
		index := powerDB(seen)
		localizable := index >= detectableDB
		out.Severity["own_reflection_index_db"] = index
		out.Localizable = &localizable
	}
}

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
	taps      int
	tapSigma  float64
	shapeKnow bool

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
	o.taps, o.tapSigma, o.shapeKnow = 3, 0.01, !free
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
		if o.shapeKnow {
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
			if o.shapeKnow {
				values[k] *= load(f)
			}
		}
		both(values, func(g *guess, amount complex128) { g.taps[m] += amount * complex(sigma, 0) })
	}
	return nil
}

// tellApart fits the circuits of the other causes at the fault's joint. Grids
// in powers, then narrowing around the best.
func (b *builder) tellApart(ctx context.Context, out *FaultTruth, fault placedFault, o *observer, after []complex128, load loadModel, has []bool) error {
	n := len(o.frequency)
	line := b.build(o.draw, load.gamma, has)
	at := 2 * fault.joint
	if at >= len(line.slots) {
		return nil // behind the end of the line
	}
	front, back := make([]cables.TwoPort, n), make([]cables.TwoPort, n)
	ends := make([]complex128, n)
	for k, f := range o.frequency {
		front[k], back[k], ends[k] = cables.Through, cables.Through, line.load(f)
		for i, slot := range line.slots {
			switch {
			case i < at:
				front[k] = front[k].Then(slot.TwoPort(f))
			case i > at:
				back[k] = back[k].Then(slot.TwoPort(f))
			}
		}
	}
	without := make([]bool, len(has))
	copy(without, has)
	without[fault.index] = false
	rest, _ := b.jointSlot(fault.joint, o.draw, without)
	change := make([]complex128, n)
	try := func(other Fault) float64 {
		if ctx.Err() != nil {
			return math.Inf(1)
		}
		circuit, _ := other.lumped()
		slot := append(append(cables.Cascade{}, rest...), circuit...)
		for k, f := range o.frequency {
			change[k] = after[k] - front[k].Then(slot.TwoPort(f)).Then(back[k]).InputReflection(ends[k], line.referenceOhm)
		}
		return o.deflection(change)
	}
	type family struct {
		cause string
		make  func(p []float64) Fault
		from  []float64 // log10 of the smallest and largest value of each setting
		to    []float64
	}
	families := []family{
		{poorContact, func(p []float64) Fault { return Fault{Cause: poorContact, SeriesOhm: p[0]} }, []float64{-1}, []float64{3}},
		{poorContact, func(p []float64) Fault {
			return Fault{Cause: poorContact, SeriesOhm: p[0], GapFarad: p[1]}
		}, []float64{-1, -12.5}, []float64{2, -9}},
		{connectorMismatch, func(p []float64) Fault { return Fault{Cause: connectorMismatch, SeriesHenry: p[0]} }, []float64{-10.5}, []float64{-7}},
		{connectorMismatch, func(p []float64) Fault { return Fault{Cause: connectorMismatch, ShuntFarad: p[0]} }, []float64{-13.5}, []float64{-10}},
		{waterInConnector, func(p []float64) Fault {
			return Fault{Cause: waterInConnector, SeriesOhm: 0.4, ShuntSiemens: p[0], ShuntFarad: p[1], LossTangent: 0.04}
		}, []float64{-3.3, -12.7}, []float64{-1.5, -10.5}},
	}
	out.ToldApartDB = map[string]float64{}
	for _, fam := range families {
		if fam.cause == fault.Cause {
			continue
		}
		if err := o.nuisances(ctx, b, o.start(), load.gamma, has); err != nil {
			return err
		}
		if err := o.factor(); err != nil {
			return err
		}
		best, lowest := make([]float64, len(fam.from)), math.Inf(1)
		visit := func(p []float64) {
			values := make([]float64, len(p))
			for k := range p {
				values[k] = math.Pow(10, p[k])
			}
			if d := try(fam.make(values)); d < lowest {
				lowest = d
				copy(best, p)
			}
		}
		const coarse = 11
		step := make([]float64, len(best))
		for k := range step {
			step[k] = (fam.to[k] - fam.from[k]) / (coarse - 1)
		}
		for a := range coarse {
			first := fam.from[0] + float64(a)*step[0]
			if len(best) == 1 {
				visit([]float64{first})
				continue
			}
			for c := range coarse {
				visit([]float64{first, fam.from[1] + float64(c)*step[1]})
			}
		}
		for range 9 { // pattern search
			centre := append([]float64{}, best...)
			for k := range step {
				step[k] /= 2
			}
			for k := range centre {
				for _, sign := range []float64{-1, 1} {
					p := append([]float64{}, best...)
					p[k] += sign * step[k]
					visit(p)
				}
			}
		}
		// The first-order fit chose the values; judge them exactly.
		values := make([]float64, len(best))
		for k := range best {
			values[k] = math.Pow(10, best[k])
		}
		swapped := *b
		swapped.faults = append([]placedFault{}, b.faults...)
		for k := range swapped.faults {
			if swapped.faults[k].index == fault.index {
				swapped.faults[k].Fault = fam.make(values)
			}
		}
		exact, err := o.explain(ctx, &swapped, after, load.gamma, has)
		if err != nil {
			return err
		}
		index := powerDB(exact)
		if known, ok := out.ToldApartDB[fam.cause]; !ok || index < known {
			out.ToldApartDB[fam.cause] = index
		}
	}
	for _, cause := range []string{connectorMismatch, poorContact, waterInConnector} {
		if index, ok := out.ToldApartDB[cause]; ok && index < toldApartDB {
			out.ConfusableWith = append(out.ConfusableWith, cause)
		}
	}
	return nil
}
