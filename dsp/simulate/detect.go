package simulate

import (
	"context"
	"math"
	"math/cmplx"

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
