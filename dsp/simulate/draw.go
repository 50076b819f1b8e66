package simulate

import (
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"downlead/cables"
)

// DrawOptions say what kind of scenario Draw draws. The zero value draws any.
type DrawOptions struct {
	// Cause is none, double, or one of Causes; "" draws one of all these.
	Cause string
	// Difficulty from 0 to 1 weakens the faults and worsens the instrument.
	Difficulty float64
	// Ordinary draws lines as they are commonly built and swept: a feeder
	// between two jumpers, a feeder with an antenna tail, or a short bench line,
	// of at least ten resolution cells.
	Ordinary bool
}

// Draw invents a line with faults, as-built spread and instrument errors:
// lengths of 1 to 80 m, one to five sections of any 50-ohm cable of the
// embedded catalogue, bands from 2 MHz to 4 GHz, every load. The same seed and
// options give the same scenario. It is meant for judging: draw the lines that
// a method is tuned on and those that judge it from different seeds. The
// ranges are invented, wider than common practice.
func Draw(seed uint64, o DrawOptions) (*Scenario, error) {
	if o.Cause != "" && o.Cause != "none" && o.Cause != "double" && !slices.Contains(Causes(), o.Cause) {
		return nil, fmt.Errorf("cause %q is unknown; use none, double or one of %q", o.Cause, Causes())
	}
	if !(o.Difficulty >= 0 && o.Difficulty <= 1) {
		return nil, fmt.Errorf("difficulty %g is outside 0 to 1", o.Difficulty)
	}
	catalogue, err := cables.Embedded()
	if err != nil {
		return nil, fmt.Errorf("drawing a line: %w", err)
	}
	kind := fnv.New32a() // lines of different causes are different lines
	kind.Write([]byte(o.Cause))
	for try := range uint64(400) {
		d := drawer{rand.New(rand.NewPCG(seed, uint64(kind.Sum32())<<32|uint64(drawStream)<<16|try)), o, catalogue.Search()}
		s := d.scenario(seed)
		if s != nil && s.Check() == nil {
			return s, nil
		}
	}
	return nil, errors.New("drawing a line: no possible scenario in 400 tries; take another seed")
}

type drawer struct {
	*rand.Rand
	options DrawOptions
	types   []cables.Type
}

func (d drawer) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

// decades is log-uniform between low and high.
func (d drawer) decades(low, high float64) float64 { return low * math.Pow(high/low, d.Float64()) }

func (d drawer) chance(share float64) bool { return d.Float64() < share }

func pick[T any](d drawer, list ...T) T { return list[d.IntN(len(list))] }

// round keeps a record readable.
func round(v, step float64) float64 { return math.Round(v/step) * step }

// scenario returns nil when the dice fell on something impossible.
func (d drawer) scenario(seed uint64) *Scenario {
	hard := d.options.Difficulty
	cause := d.options.Cause
	if cause == "" {
		cause = pick(d, append(Causes(), "none", "double")...)
	}
	band := pick(d, [2]float64{5e6, 1000e6}, [2]float64{25e6, 1200e6}, [2]float64{100e6, 500e6}, [2]float64{380e6, 470e6},
		[2]float64{700e6, 2700e6}, [2]float64{1710e6, 2170e6}, [2]float64{2e6, 300e6}, [2]float64{10e6, 3000e6},
		[2]float64{600e6, 4000e6}, [2]float64{130e6, 180e6}, [2]float64{450e6, 900e6}, [2]float64{800e6, 1000e6})
	draw := d.line
	if d.options.Ordinary {
		band = pick(d, [2]float64{5e6, 1000e6}, [2]float64{25e6, 1200e6}, [2]float64{100e6, 500e6}, [2]float64{380e6, 470e6},
			[2]float64{700e6, 2700e6}, [2]float64{1710e6, 2170e6}, [2]float64{10e6, 2000e6}, [2]float64{700e6, 1000e6})
		draw = d.ordinaryLine
	}
	line := draw(seed, band, cause)
	if line == nil {
		return nil
	}
	path, err := line.Path()
	if err != nil {
		return nil
	}
	lossDB := real(path.Theta(band[1], path.LengthM())) / cables.NeperPerDB
	electrical := path.ElectricalM(path.LengthM())
	cellM := cables.SpeedOfLight / (2 * (band[1] - band[0]))
	if lossDB > 14 || electrical < 2*cellM || d.options.Ordinary && electrical < 10*cellM {
		return nil
	}
	points := pick(d, 201, 401, 501, 801, 1001, 1001, 2001, 4001)
	if cellM*float64(points-1) < 1.2*electrical {
		return nil
	}
	s := &Scenario{Name: line.Name, Seed: seed, Baseline: d.chance(0.3), Line: line,
		Sweep: Grid{[]Segment{{LowHz: band[0], HighHz: band[1], Points: points}}}}
	lowJoint := d.between(32, 38)
	s.AsBuilt = AsBuilt{JointReturnLossDB: [2]float64{lowJoint, lowJoint + d.between(6, 14)}, ImpedanceOhm: d.between(0.1, 0.5),
		Loss: d.between(0.01, 0.03), Roughness: d.decades(1e-4, 1.5e-3)}
	if d.chance(0.5) {
		s.AsBuilt.Velocity = d.between(0.0005, 0.003)
	}
	if d.chance(1.0 / 3) {
		s.AsBuilt.Length = d.between(0.001, 0.006)
	}
	s.Antenna = AntennaModel{SwallowDB: d.between(0.1, 2), Q: d.decades(60, 600)}
	if d.options.Ordinary && d.chance(0.4) {
		s.Antenna.Model = "wide-band"
	}
	s.Errors = Instrument{DirectivityDB: d.between(36, 50) - 4*hard, SourceMatchDB: d.between(30, 42) - 4*hard, TrackingDB: d.decades(0.01, 0.12),
		NoiseDB: d.between(-98, -68) + 8*hard, TraceNoise: d.decades(1e-4, 1e-3) * (1 + hard), Raw: d.chance(0.2)}
	if d.chance(0.15) {
		s.Errors.SpikeShare, s.Errors.SpikeDB = d.decades(0.002, 0.05), d.between(-30, 0)
	}
	switch cause {
	case "none":
		return s
	case "double":
		singles := Causes()
		first, ok := d.fault(s, path, pick(d, singles...))
		if !ok || first.Cause == openCircuit || first.Cause == shortCircuit {
			return nil
		}
		second, ok := d.fault(s, path, pick(d, singles...))
		if !ok || second.Cause == first.Cause && first.Cause == antennaFault {
			return nil
		}
		a, aEnd, err := first.span(path)
		b, bEnd, err2 := second.span(path)
		apart := math.Max(b-aEnd, a-bEnd)
		if err != nil || err2 != nil || apart < 0.5+2*cellM {
			return nil
		}
		if (second.Cause == openCircuit || second.Cause == shortCircuit) && a > b {
			return nil // nothing shows behind the end of the line
		}
		s.Faults = []Fault{first, second}
	default:
		fault, ok := d.fault(s, path, cause)
		if !ok {
			return nil
		}
		s.Faults = []Fault{fault}
	}
	return s
}

// typeFor draws a 50-ohm cable that carries the band; nil when none is met.
func (d drawer) typeFor(highHz float64) *cables.Type {
	for range 60 {
		t := &d.types[d.IntN(len(d.types))]
		if t.ImpedanceOhm == 50 && len(t.Attenuation) > 0 && (t.MaxFrequencyHz == 0 || t.MaxFrequencyHz >= highHz) {
			return t
		}
	}
	return nil
}

// section adds a section of a cable drawn at random to a line.
func (d drawer) section(line *cables.Line, name string, lengthM, highHz float64) bool {
	t := d.typeFor(highHz)
	if t == nil {
		return false
	}
	line.Sections = append(line.Sections, cables.Section{Name: name, CableID: t.ID, LengthM: math.Max(round(lengthM, 0.01), 0.3)})
	if typeOf(line, t.ID) == nil {
		line.Cables = append(line.Cables, *t)
	}
	return true
}

// line draws the record of any line.
func (d drawer) line(seed uint64, band [2]float64, cause string) *cables.Line {
	line := &cables.Line{Name: fmt.Sprintf("drawn line %d", seed), ReferenceImpedanceOhm: 50}
	section := func(name string, length float64) bool { return d.section(line, name, length, band[1]) }
	total := d.decades(1, 80)
	if d.chance(0.5) {
		total = d.between(10, 80)
	}
	ok := true
	switch shape := d.IntN(5); {
	case shape <= 1: // a feeder between two jumpers
		jumper := math.Min(d.between(0.8, 3.5), total/4)
		ok = section("bottom jumper", jumper) && section("feeder", total-2*jumper) && section("top jumper", jumper*d.between(0.6, 1.2))
		if d.chance(0.6) {
			line.Devices = []cables.Device{{After: "bottom jumper", Kind: "surge-arrestor", LengthM: round(d.between(0.06, 0.16), 0.001), ReturnLossDB: round(d.between(20, 32), 0.1)}}
		}
	case shape == 2:
		ok = section("cable", total)
	default: // several runs
		n := 2 + d.IntN(4)
		weights := make([]float64, n)
		sum := 0.0
		for k := range weights {
			weights[k] = d.between(0.1, 1)
			sum += weights[k]
		}
		for k := range weights {
			ok = ok && section(fmt.Sprintf("run %d", k+1), total*weights[k]/sum)
		}
		if d.chance(0.3) {
			line.Devices = []cables.Device{{After: fmt.Sprintf("run %d", 1+d.IntN(n-1)), Kind: pick(d, "surge-arrestor", "filter"), LengthM: round(d.between(0.06, 0.3), 0.001), ReturnLossDB: round(d.between(18, 32), 0.1)}}
		}
	}
	kind := pick(d, cables.Antenna, cables.Antenna, cables.Antenna, cables.Antenna, cables.Termination, cables.Open, cables.Short)
	if !ok || !d.end(line, band, kind, cause) {
		return nil
	}
	return line
}

// ordinaryLine draws the record of a line as lines are commonly built.
func (d drawer) ordinaryLine(seed uint64, band [2]float64, cause string) *cables.Line {
	line := &cables.Line{Name: fmt.Sprintf("drawn line %d", seed), ReferenceImpedanceOhm: 50}
	section := func(name string, length float64) bool { return d.section(line, name, length, band[1]) }
	kind := pick(d, cables.Antenna, cables.Antenna, cables.Termination, cables.Open, cables.Short)
	ok := true
	switch d.IntN(3) {
	case 0:
		ok = section("bottom jumper", d.between(1.2, 3.5)) && section("feeder", d.between(10, 65)) && section("top jumper", d.between(1.2, 3.5))
		if d.chance(0.6) {
			line.Devices = []cables.Device{{After: "bottom jumper", Kind: "surge-arrestor", LengthM: round(d.between(0.06, 0.16), 0.001), ReturnLossDB: round(d.between(24, 32), 0.1)}}
		}
	case 1:
		ok = section("feeder", d.between(8, 40))
		if d.chance(0.4) {
			ok = ok && section("upper run", d.between(4, 15))
		}
		if d.chance(0.7) {
			ok = ok && section("antenna tail", d.between(1.5, 7))
		}
	default:
		ok = section("test lead", d.decades(1.5, 14))
		if d.chance(0.6) {
			ok = ok && section("line under test", d.decades(1.5, 10))
		}
		kind = pick(d, cables.Termination, cables.Termination, cables.Termination, cables.Open)
	}
	if !ok || !d.end(line, band, kind, cause) {
		return nil
	}
	return line
}

// end draws what the line ends in and its limit.
func (d drawer) end(line *cables.Line, band [2]float64, kind cables.LoadKind, cause string) bool {
	if cause == antennaFault {
		kind = cables.Antenna
	}
	line.Load.Kind = kind
	switch kind {
	case cables.Antenna:
		centre, width := d.decades(math.Max(band[0]*1.1, band[1]*0.1), band[1]*0.92), d.between(0.04, 0.3)
		low, high := round(centre*(1-width/2), 1e5), round(centre*(1+width/2), 1e5)
		if low < band[0] || high > band[1] {
			return false
		}
		line.Load.BandHz = [2]float64{low, high}
		line.Load.ReturnLossDB = round(d.between(14, 20), 0.1)
		line.Limits.VSWR = pick(d, 1.3, 1.4, 1.5, 1.8)
	case cables.Termination:
		line.Load.ReturnLossDB = round(d.between(24, 36), 0.1)
		line.Limits.VSWR = pick(d, 1.2, 1.3, 1.5)
	default:
		line.Limits.VSWR = 1.5
	}
	return true
}

// fault draws a fault on the recorded path.
func (d drawer) fault(s *Scenario, path *cables.Path, cause string) (Fault, bool) {
	f := Fault{Cause: cause}
	weak := 1 - 0.6*d.options.Difficulty
	// A reactance that is felt at 1 GHz is a greater one where the sweep ends
	// lower.
	reach := math.Pow(1e9/s.topHz(), 0.7)
	switch cause {
	case openCircuit:
		f.ShuntFarad = d.decades(0.02e-12, 0.2e-12)
		if d.chance(0.4) {
			f.ShuntSiemens = d.decades(0.05e-3, 2e-3)
		}
		if d.chance(0.2) {
			f.GapFarad = d.decades(0.005e-12, 0.1e-12)
		}
	case shortCircuit:
		f.SeriesHenry = d.decades(0.02e-9, 0.6e-9)
		if d.chance(0.6) {
			f.SeriesOhm = d.decades(0.05, 2)
		}
	case poorContact:
		f.SeriesOhm = d.decades(1.5, 80) * weak
		if d.chance(0.35) {
			f.GapFarad = d.decades(3e-12, 100e-12)
		}
	case connectorMismatch:
		if d.chance(0.5) {
			f.SeriesHenry = d.decades(0.8e-9, 6e-9) * reach * weak
		} else {
			f.ShuntFarad = d.decades(0.3e-12, 2.5e-12) * reach * weak
		}
	case waterInConnector:
		f.SeriesOhm = d.between(0.05, 1)
		f.ShuntSiemens = d.decades(0.8e-3, 15e-3) * weak
		f.ShuntFarad = d.decades(0.6e-12, 5e-12) * reach * weak
		f.LossTangent = d.decades(0.01, 0.12)
	case waterInCable:
		f.ExtentM = round(d.decades(0.6, 8), 0.001)
		f.ImpedanceDrop = d.decades(0.05, 0.32) * weak
		f.LossTangent = d.decades(0.002, 0.04)
		f.TaperM = f.ExtentM * d.between(0.03, 0.3)
		if d.chance(0.5) {
			f.Unevenness = d.between(0.05, 0.3)
		}
	case dentOrKink:
		f.ExtentM = round(d.between(0.03, 0.15), 0.001)
		f.ImpedanceOhm = 50 - (50-d.between(20, 40))*weak
	case wrongImpedance:
		f.ImpedanceOhm = d.between(73.5, 76.5)
	case lossySection:
		f.LossFactor = 1 + d.decades(0.4, 3)*weak
	case antennaFault:
		f.Mode = pick(d, "detuned", "arm-lost", "poor-match")
		f.ReturnLossDB = d.between(3.5, 10)
		return f, true
	}
	joints := jointNames(path)
	if !f.stretch() {
		inSection := 0.08 // a splice that no record knows
		if cause == openCircuit || cause == shortCircuit {
			inSection = 0.5
		}
		if d.chance(inSection) {
			f.DistanceM = round(d.between(0.02, 0.98)*path.LengthM(), 0.001)
			return f, path.Spans[path.SpanAt(f.DistanceM)].Device == nil
		}
		f.At = joints[1+d.IntN(len(joints)-1)]
		return f, true
	}
	var sections []cables.Span
	for _, span := range path.Spans {
		if span.Device == nil {
			sections = append(sections, span)
		}
	}
	span := pick(d, sections...)
	switch {
	case cause == lossySection, cause == wrongImpedance && d.chance(0.5):
		f.At, f.ExtentM = span.Name, 0
		return f, true
	case cause == wrongImpedance:
		f.ExtentM = round(d.between(0.1, 0.9)*span.LengthM, 0.001)
	}
	if span.LengthM < 1.1*f.ExtentM {
		return f, false
	}
	f.DistanceM = round(span.StartM+0.005+d.Float64()*(span.LengthM-f.ExtentM-0.01), 0.001)
	return f, true
}
