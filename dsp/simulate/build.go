package simulate

import (
	"math"
	"math/rand/v2"
	"slices"

	"downlead/cables"
)

// stream numbers the independent random sequences of a seed.
type stream uint64

const (
	sectionStream stream = iota + 1
	jointStream
	roughStream
	loadStream
	residualStream
	noiseStream
	spikeStream
	baselineStream
	baselineNoiseStream
	rawStream
	drawStream
	faultStream // and up, one for each fault
)

func (s *Scenario) random(which stream) *rand.Rand {
	return rand.New(rand.NewPCG(s.Seed, uint64(which)*0x9e3779b97f4a7c15))
}

// sectionBuilt is how a section differs from its record.
type sectionBuilt struct {
	impedanceOhm           float64 // added
	velocity, length, loss float64 // relative
	rough                  []slice // lengths as shares of the section; nil: smooth
}

// reactance is a small reactive part by its reflection between matched lines
// at 1 GHz: positive a series inductance, negative a shunt capacitance.
type reactance float64

// element returns the part in a line of z0 ohm.
func (r reactance) element(z0 float64) cables.Element {
	if r > 0 {
		return r.inductance(z0)
	}
	return (-r).capacitance(z0)
}

// normal is X/z0 or B·z0 at 1 Hz. A series X reflects jX/(2·z0 + jX), hence
// X = 2·z0·ρ/√(1-ρ²), and dually for a shunt B.
func (r reactance) normal() float64 {
	return 2 * float64(r) / math.Sqrt(1-float64(r*r)) / referenceHz
}

// inductance is the part in series; negative when r is.
func (r reactance) inductance(z0 float64) cables.Element {
	x := r.normal() * z0
	return cables.Series(func(f float64) complex128 { return complex(0, x*f) })
}

// capacitance is the part across the line; negative when r is.
func (r reactance) capacitance(z0 float64) cables.Element {
	b := r.normal() / z0
	return cables.Shunt(func(f float64) complex128 { return complex(0, b*f) })
}

// asBuilt is one draw of everything about a line that its record does not say.
type asBuilt struct {
	sections []sectionBuilt // one for each span; zero for devices
	joints   []reactance    // one for each joint; the test port first, the load last
	devices  []reactance    // in the middle of each device; zero for sections
	doubts   []doubt        // at each joint, on top; nil: none
}

// doubt is what a joint may have beyond its draw: a series inductance and a
// shunt capacitance of either sign.
type doubt struct{ inductance, capacitance reactance }

// draw draws the line as built from the scenario's seed.
func (s *Scenario) draw(path *cables.Path) asBuilt {
	n := len(path.Spans)
	b := asBuilt{make([]sectionBuilt, n), make([]reactance, n+1), make([]reactance, n), nil}
	sections, joints, rough := s.random(sectionStream), s.random(jointStream), s.random(roughStream)
	limited := func(sigma float64) float64 {
		return sigma * math.Max(-3, math.Min(3, sections.NormFloat64()))
	}
	for k := range b.joints {
		side, share := joints.IntN(2), joints.Float64()
		if low, high := s.AsBuilt.JointReturnLossDB[0], s.AsBuilt.JointReturnLossDB[1]; low > 0 {
			b.joints[k] = reactance(math.Pow(10, -(low+share*(high-low))/20) * float64(1-2*side))
		}
	}
	for i, span := range path.Spans {
		side := float64(1 - 2*joints.IntN(2))
		if span.Device != nil {
			if rl := span.Device.ReturnLossDB; rl > 0 { // worst at the top of the sweep, where a reactance is
				rho := math.Min(math.Pow(10, -rl/20), 0.9)
				normal := 2 * rho / math.Sqrt(1-rho*rho) * referenceHz / s.topHz()
				b.devices[i] = reactance(side * normal / math.Sqrt(4+normal*normal))
			}
			continue
		}
		b.sections[i] = sectionBuilt{limited(s.AsBuilt.ImpedanceOhm), limited(s.AsBuilt.Velocity), limited(s.AsBuilt.Length), limited(s.AsBuilt.Loss), nil}
		if s.AsBuilt.Roughness > 0 {
			mean := math.Max(0.2, span.LengthM/500)
			var cut []slice
			total := 0.0
			for total < span.LengthM {
				length := mean * (0.5 + rough.Float64())
				cut = append(cut, slice{length, 1 + s.AsBuilt.Roughness*rough.NormFloat64()})
				total += length
			}
			for k := range cut {
				cut[k].lengthM /= total
			}
			b.sections[i].rough = cut
		}
	}
	return b
}

// clone returns a draw of its own.
func (b asBuilt) clone() asBuilt {
	return asBuilt{slices.Clone(b.sections), slices.Clone(b.joints), slices.Clone(b.devices), slices.Clone(b.doubts)}
}

// smooth returns the draw without roughness, its slices its own.
func (b asBuilt) smooth() asBuilt {
	c := b.clone()
	for i := range c.sections {
		c.sections[i].rough = nil
	}
	return c
}

// placedFault is a fault with its severities filled in and its place on the
// recorded path.
type placedFault struct {
	Fault
	index    int
	span     int     // that holds it; for a lumped fault at a joint the span behind the joint
	joint    int     // index of its joint, -1 for none
	fromM    float64 // recorded
	toM      float64
	unevenAt []float64
}

func (s *Scenario) place(path *cables.Path) ([]placedFault, error) {
	var placed []placedFault
	joints := path.JointsM()
	for i := range s.Faults {
		from, to, err := s.Faults[i].span(path)
		if err != nil {
			return nil, &placeError{"fault", i, "", err}
		}
		p := placedFault{Fault: s.Faults[i].typical(to - from), index: i, span: path.SpanAt(from), joint: -1, fromM: from, toM: to}
		if p.stretch() && p.fromM >= path.Spans[p.span].StartM+path.Spans[p.span].LengthM-1e-9 {
			p.span--
		}
		for k, x := range joints {
			if !p.stretch() && math.Abs(x-from) < 1e-6 {
				p.joint = k
			}
		}
		if p.Unevenness > 0 {
			random := s.random(faultStream + stream(i))
			p.unevenAt = make([]float64, int(math.Ceil((to-from)/0.25))+2)
			for k := range p.unevenAt {
				p.unevenAt[k] = random.NormFloat64()
			}
		}
		placed = append(placed, p)
	}
	slices.SortStableFunc(placed, func(a, b placedFault) int {
		switch {
		case a.fromM < b.fromM:
			return -1
		case a.fromM > b.fromM:
			return 1
		case a.stretch() != b.stretch() && b.stretch():
			return -1 // a lumped fault at the edge of a stretch stands before it
		case a.stretch() != b.stretch():
			return 1
		}
		return 0
	})
	return placed, nil
}

// built is a line as built with some of its faults. Slots hold joint 0, span
// 0, joint 1, ..., the last joint.
type built struct {
	referenceOhm float64
	slots        []cables.Cascade
	load         func(frequencyHz float64) complex128
	endSlot      int  // how many slots there are
	ended        bool // by an open or short
}

// builder makes lines from one scenario; everything in it is shared.
type builder struct {
	scenario *Scenario
	path     *cables.Path
	faults   []placedFault
	topHz    float64
}

func newBuilder(s *Scenario) (*builder, error) {
	path, err := s.Line.Path()
	if err != nil {
		return nil, err
	}
	faults, err := s.place(path)
	if err != nil {
		return nil, err
	}
	return &builder{s, path, faults, s.topHz()}, nil
}

// medium returns the true medium of span i.
func (b *builder) medium(i int, draw asBuilt) cables.Medium {
	m, d := b.path.Spans[i].Medium, draw.sections[i]
	m.ImpedanceOhm += d.impedanceOhm
	m.VelocityFactor = math.Min(m.VelocityFactor*(1+d.velocity), 1)
	m.ConductorNp *= 1 + d.loss
	m.DielectricNp *= 1 + d.loss
	return m
}

// trueM returns where recorded place x of the line lies in the line as built.
func (b *builder) trueM(x float64, draw asBuilt) float64 {
	at := 0.0
	last := len(b.path.Spans) - 1
	for i, span := range b.path.Spans {
		inside := x - span.StartM
		if i == last || inside < span.LengthM {
			return at + inside*(1+draw.sections[i].length)
		}
		at += span.LengthM * (1 + draw.sections[i].length)
	}
	return at
}

// jointSlot returns the elements at joint k, and what ends the line there.
func (b *builder) jointSlot(k int, draw asBuilt, has []bool) (cables.Cascade, func(float64) complex128) {
	var slot cables.Cascade
	if r := draw.joints[k]; r != 0 {
		slot = append(slot, r.element(b.path.ReferenceOhm))
	}
	if draw.doubts != nil {
		slot = append(slot, draw.doubts[k].inductance.inductance(b.path.ReferenceOhm), draw.doubts[k].capacitance.capacitance(b.path.ReferenceOhm))
	}
	for _, f := range b.faults {
		if f.joint != k || !has[f.index] {
			continue
		}
		circuit, ends := f.lumped()
		slot = append(slot, circuit...)
		if ends != nil {
			return slot, ends
		}
	}
	return slot, nil
}

// spanSlot returns the elements of span i, and what ends the line inside it.
func (b *builder) spanSlot(i int, draw asBuilt, has []bool) (cables.Cascade, func(float64) complex128) {
	span, d := b.path.Spans[i], draw.sections[i]
	medium := b.medium(i, draw)
	if span.Device != nil {
		half := cables.Stretch{Medium: medium, LengthM: span.LengthM / 2}
		if r := draw.devices[i]; r != 0 {
			return cables.Cascade{half, r.element(b.path.ReferenceOhm), half}, nil
		}
		return cables.Cascade{half, half}, nil
	}
	var slot cables.Cascade
	at := span.StartM
	advance := func(to float64) { // plain cable up to recorded place to
		if to > at+1e-12 {
			slot = append(slot, element(cut(medium, span, d, at, to)))
			at = to
		}
	}
	for _, f := range b.faults {
		if f.span != i || f.joint >= 0 || f.Cause == antennaFault || !has[f.index] {
			continue
		}
		if !f.stretch() {
			advance(f.fromM)
			circuit, ends := f.lumped()
			slot = append(slot, circuit...)
			if ends != nil {
				return slot, ends
			}
			continue
		}
		advance(f.fromM)
		piece := cut(medium, span, d, f.fromM, f.toM)
		at = f.toM
		switch f.Cause {
		case waterInCable:
			slot = append(slot, wet(piece, f.Fault, f.unevenAt, b.topHz))
		case dentOrKink:
			piece.ImpedanceOhm = f.ImpedanceOhm
			slot = append(slot, element(piece))
		case lossySection:
			piece.ConductorNp *= f.LossFactor
			piece.DielectricNp *= f.LossFactor
			slot = append(slot, element(piece))
		case wrongImpedance:
			piece.Medium = b.foreign(f.Fault)
			slot = append(slot, element(piece))
		}
	}
	advance(span.StartM + span.LengthM)
	return slot, nil
}

// foreign returns the medium of the cable that is there by mistake.
func (b *builder) foreign(f Fault) cables.Medium {
	if f.Cable != "" {
		if t := typeOf(b.scenario.Line, f.Cable); t != nil {
			if m, err := t.Medium(); err == nil {
				return m
			}
		}
	}
	m := seventyFive()
	if f.ImpedanceOhm > 0 {
		m.ImpedanceOhm = f.ImpedanceOhm
	}
	return m
}

// cut returns the piece of a section between two recorded places.
func cut(medium cables.Medium, span cables.Span, d sectionBuilt, from, to float64) roughStretch {
	length := span.LengthM * (1 + d.length)
	a, z := (from-span.StartM)/span.LengthM, (to-span.StartM)/span.LengthM
	piece := roughStretch{Medium: medium}
	if d.rough == nil {
		piece.slices = []slice{{(z - a) * length, 1}}
		return piece
	}
	at := 0.0
	for _, s := range d.rough {
		inside := math.Min(z, at+s.lengthM) - math.Max(a, at)
		if inside > 1e-12 {
			piece.slices = append(piece.slices, slice{inside * length, s.scale})
		}
		at += s.lengthM
	}
	return piece
}

// element returns the piece in its simplest form.
func element(r roughStretch) cables.Element {
	if len(r.slices) == 1 && r.slices[0].scale == 1 {
		return cables.Stretch{Medium: r.Medium, LengthM: r.slices[0].lengthM}
	}
	return r
}

// build puts the line together with those faults that has marks.
func (b *builder) build(draw asBuilt, load func(float64) complex128, has []bool) built {
	out := built{referenceOhm: b.path.ReferenceOhm, load: load}
	add := func(slot cables.Cascade, ends func(float64) complex128) bool {
		out.slots = append(out.slots, slot)
		if ends != nil {
			z0 := complex(b.path.ReferenceOhm, 0)
			out.ended = true
			out.load = func(f float64) complex128 {
				y := ends(f)
				if real(y) == 0 && imag(y) == 0 {
					return 1
				}
				if math.IsInf(real(y), 0) || math.IsInf(imag(y), 0) || math.IsNaN(real(y)) {
					return -1
				}
				return (1 - z0*y) / (1 + z0*y)
			}
		}
		return ends != nil
	}
	for i := range b.path.Spans {
		if add(b.jointSlot(i, draw, has)) || add(b.spanSlot(i, draw, has)) {
			out.endSlot = len(out.slots)
			return out
		}
	}
	add(b.jointSlot(len(b.path.Spans), draw, has))
	out.endSlot = len(out.slots)
	return out
}

// cascade returns all elements in one chain.
func (b built) cascade() cables.Cascade {
	var all cables.Cascade
	for _, slot := range b.slots {
		all = append(all, slot...)
	}
	return all
}
