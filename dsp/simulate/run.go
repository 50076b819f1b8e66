package simulate

import (
	"context"
	"math"
	"math/cmplx"
	"runtime"
	"slices"
	"sync"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// Result is what a scenario gives.
type Result struct {
	Sweep     *sweep.Sweep // corrected, with residual errors, noise and interference
	Baseline  *sweep.Sweep // the line without its faults on another day; nil unless asked for
	Standards *Standards   // the raw sweep and standards; nil unless asked for
	Line      *cables.Line // the record
	Truth     *Truth
}

// baselineVelocityChange is how much faster (or slower) the line is on the
// other day, relative.
const baselineVelocityChange = 0.0005

// measurement is a scenario measured, with what that drew.
type measurement struct {
	*Result
	builder *builder
	draw    asBuilt
	load    loadModel
	box     errorBox
	hit     []int        // points with interference
	clean   []complex128 // Γ before the instrument
}

// Measure is Run without the truth and the other day's sweep, which take most of
// Run's time: what the instrument shows, soon enough to follow a hand.
func Measure(ctx context.Context, s *Scenario) (*Result, error) {
	m, err := s.measure(ctx)
	if err != nil {
		return nil, err
	}
	return m.Result, nil
}

// MeasureApart is Measure and Bounces in one, sooner than one after the other.
func MeasureApart(ctx context.Context, s *Scenario, levelDB float64) (*Result, *Lattice, error) {
	m, err := s.measure(ctx)
	if err != nil {
		return nil, nil, err
	}
	clean := m.clean
	if s.AsBuilt.Roughness > 0 { // paths know smooth cable only
		clean = nil
	}
	l, err := m.builder.bounces(ctx, m.draw, m.load, clean, levelDB)
	if err != nil {
		return nil, nil, err
	}
	return m.Result, l, nil
}

func (s *Scenario) measure(ctx context.Context) (*measurement, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	b, err := newBuilder(s)
	if err != nil {
		return nil, err
	}
	frequency := s.Sweep.FrequencyHz()
	draw := s.draw(b.path)
	all := b.every()
	load := b.load(b.antennaFault(all))
	clean, err := reflection(ctx, b.build(draw, load.gamma, all), frequency)
	if err != nil {
		return nil, err
	}
	box := s.Errors.box(s.random(residualStream), frequency)
	reading := make([]complex128, len(frequency))
	for k, f := range frequency {
		reading[k] = box.read(f, clean[k])
	}
	s.Errors.noisy(reading, s.random(noiseStream))
	hit := s.Errors.interfere(reading, s.random(spikeStream))
	result := &Result{Line: s.Line, Sweep: &sweep.Sweep{Name: "sweep.s1p", FrequencyHz: frequency, Gamma: reading,
		ReferenceOhm: b.path.ReferenceOhm, Correction: sweep.AssumedCorrected}}
	if s.Errors.Raw {
		result.Standards = raw(result.Sweep, s.random(rawStream))
	}
	return &measurement{result, b, draw, load, box, hit, clean}, nil
}

// Run simulates the scenario. It gives up with ctx's error when ctx ends.
func Run(ctx context.Context, s *Scenario) (*Result, error) {
	m, err := s.measure(ctx)
	if err != nil {
		return nil, err
	}
	result, b, draw, frequency := m.Result, m.builder, m.draw, m.Sweep.FrequencyHz
	var baseline *BaselineTruth
	if s.Baseline {
		random := s.random(baselineStream)
		change := baselineVelocityChange * float64(1-2*random.IntN(2))
		later := draw.clone()
		for i := range later.sections {
			if b.path.Spans[i].Device == nil {
				later.sections[i].velocity = (1+later.sections[i].velocity)*(1+change) - 1
			}
		}
		healthy, err := reflection(ctx, b.build(later, b.load(nil).gamma, make([]bool, len(s.Faults))), frequency)
		if err != nil {
			return nil, err
		}
		moved := m.box.another(random)
		for k, f := range frequency {
			healthy[k] = moved.read(f, healthy[k])
		}
		s.Errors.noisy(healthy, s.random(baselineNoiseStream))
		result.Baseline = &sweep.Sweep{Name: "baseline.s1p", FrequencyHz: frequency, Gamma: healthy,
			ReferenceOhm: b.path.ReferenceOhm, Correction: sweep.AssumedCorrected}
		baseline = &BaselineTruth{VelocityFactorChange: change}
	}
	result.Truth, err = b.truth(ctx, draw, m.load, result.Sweep, m.hit)
	if err != nil {
		return nil, err
	}
	result.Truth.Baseline = baseline
	return result, nil
}

// reflection is Cascade.Reflection with a context, on all cores.
func reflection(ctx context.Context, line built, frequencyHz []float64) ([]complex128, error) {
	chain := line.cascade()
	out := make([]complex128, len(frequencyHz))
	eachPoint(ctx, len(out), func(k int) {
		f := frequencyHz[k]
		out[k] = chain.TwoPort(f).InputReflection(line.load(f), line.referenceOhm)
	})
	return out, ctx.Err()
}

// eachPoint calls do for 0 to n-1, on all cores; not for all of them when ctx ends.
func eachPoint(ctx context.Context, n int, do func(k int)) {
	workers := min(runtime.GOMAXPROCS(0), 1+n/64)
	var all sync.WaitGroup
	for w := range workers {
		all.Go(func() {
			for k := w; k < n; k += workers {
				if k/workers%16 == 0 && ctx.Err() != nil {
					return
				}
				do(k)
			}
		})
	}
	all.Wait()
}

// every has all faults.
func (b *builder) every() []bool {
	all := make([]bool, len(b.scenario.Faults))
	for i := range all {
		all[i] = true
	}
	return all
}

// antennaFault returns the antenna's fault, nil when it has none.
func (b *builder) antennaFault(has []bool) *placedFault {
	for i := range b.faults {
		if f := &b.faults[i]; f.Cause == antennaFault && has[f.index] {
			return f
		}
	}
	return nil
}

// truth writes down what the scenario made.
func (b *builder) truth(ctx context.Context, draw asBuilt, load loadModel, reading *sweep.Sweep, hit []int) (*Truth, error) {
	s, n := b.scenario, len(reading.FrequencyHz)
	low, high := reading.FrequencyHz[0], reading.FrequencyHz[n-1]
	t := &Truth{Schema: TruthSchema, CaseCause: "none", Seed: s.Seed, SpanHz: [2]float64{low, high}, Points: n,
		Faults: []FaultTruth{}, Ghosts: []Ghost{}, InBandWorstVSWR: 1,
		Load: LoadTruth{Kind: string(load.kind), Model: load.model},
		Instrument: InstrumentTruth{s.Errors.DirectivityDB, s.Errors.SourceMatchDB, s.Errors.TrackingDB,
			s.Errors.NoiseDB, s.Errors.TraceNoise}}
	if load.kind == cables.Antenna || load.kind == cables.Termination {
		t.Load.WorstReturnLossDB = load.worstDB
	}
	switch len(s.Faults) {
	case 0:
	case 1:
		t.CaseCause = s.Faults[0].Cause
	default:
		t.CaseCause = "double"
	}
	for i, span := range b.path.Spans {
		d, m := draw.sections[i], b.medium(i, draw)
		section := SectionTruth{Name: span.Name, LengthM: span.LengthM * (1 + d.length), VelocityFactor: m.VelocityFactor, AttenuationScale: 1 + d.loss}
		if span.Device == nil {
			section.Cable, section.RecordLengthM, section.ImpedanceOhm = span.Cable.ID, span.LengthM, m.ImpedanceOhm
		}
		t.TrueSections = append(t.TrueSections, section)
	}
	for _, x := range b.path.JointsM() {
		t.JointsM = append(t.JointsM, b.trueM(x, draw))
	}
	t.FarEndM = t.JointsM[len(t.JointsM)-1]
	rangeM := cables.SpeedOfLight * float64(n-1) / (2 * (high - low))
	t.AliasFreeOverLine = rangeM / b.electricalM(t.FarEndM, draw, true)
	for _, k := range hit {
		t.InterferenceHz = append(t.InterferenceHz, reading.FrequencyHz[k])
	}
	b.judge(t, reading, hit, load.bandHz)
	for i := range s.Faults {
		fault, err := b.faultTruth(ctx, i, draw, reading.FrequencyHz)
		if err != nil {
			return nil, err
		}
		t.Faults = append(t.Faults, *fault)
	}
	t.Ghosts = b.ghosts(t, draw, load, reading.FrequencyHz, rangeM)
	return t, nil
}

// judge fills in the verdict at the port.
func (b *builder) judge(t *Truth, reading *sweep.Sweep, hit []int, band [2]float64) {
	if b.scenario.Line.Load.Kind != cables.Antenna || band[1] <= t.SpanHz[0] || band[0] >= t.SpanHz[1] {
		band = t.SpanHz
	}
	worst := 0.0
	for k, f := range reading.FrequencyHz {
		if size := cmplx.Abs(reading.Gamma[k]); f >= band[0] && f <= band[1] && size > worst && !slices.Contains(hit, k) {
			worst, t.InBandWorstAtHz = size, f
		}
	}
	t.InBandWorstVSWR = 9999
	if worst < 0.9998 {
		t.InBandWorstVSWR = (1 + worst) / (1 - worst)
	}
	limit := 1.0
	switch limits := b.scenario.Line.Limits; {
	case limits.VSWR > 0:
		limit = (limits.VSWR - 1) / (limits.VSWR + 1)
	case limits.ReturnLossDB > 0:
		limit = math.Pow(10, -limits.ReturnLossDB/20)
	default:
		t.PassesLimit = true
		return
	}
	t.PassesLimit = worst <= limit
}

// electricalM returns the free-space length from the port to true place x, m.
// Wet and foreign stretches count with their own velocity when faulty.
func (b *builder) electricalM(x float64, draw asBuilt, faulty bool) float64 {
	at, sum := 0.0, 0.0
	last := len(b.path.Spans) - 1
	for i, span := range b.path.Spans {
		length := span.LengthM * (1 + draw.sections[i].length)
		inside := x - at
		if i < last {
			inside = math.Min(inside, length)
		}
		if inside <= 0 {
			break
		}
		sum += inside / b.medium(i, draw).VelocityFactor
		at += length
	}
	for _, f := range b.faults {
		if !faulty || !f.stretch() {
			continue
		}
		velocity := b.medium(f.span, draw).VelocityFactor
		from, to := b.trueM(f.fromM, draw), b.trueM(f.toM, draw)
		covered := math.Min(x, to) - from
		if covered <= 0 {
			continue
		}
		switch f.Cause {
		case wrongImpedance:
			sum += covered * (1/b.foreign(f.Fault).VelocityFactor - 1/velocity)
		case waterInCable: // the middle of the slices; tapers by their mean over 64 steps
			extra, steps := 0.0, 64
			for k := range steps {
				share := f.ImpedanceDrop * wetness((float64(k)+0.5)/float64(steps)*covered, to-from, f.TaperM)
				extra += (1/(1-share) - 1) / velocity * covered / float64(steps)
			}
			sum += extra
		}
	}
	return sum
}

// reflector is something that bounces waves, for the ghosts.
type reflector struct {
	atM, electricalM float64
	size             float64 // rms over the span
}

// ghosts lists the triple bounces that rise 10 dB over the noise of the whole
// sweep, at most twelve, the strongest first.
func (b *builder) ghosts(t *Truth, draw asBuilt, load loadModel, frequency []float64, rangeM float64) []Ghost {
	rms := func(gamma func(float64) complex128) float64 {
		sum := 0.0
		const points = 64
		for k := range points {
			g := gamma(t.SpanHz[0] + (t.SpanHz[1]-t.SpanHz[0])*(float64(k)+0.5)/points)
			sum += real(g)*real(g) + imag(g)*imag(g)
		}
		return math.Sqrt(sum / points)
	}
	reference := b.path.ReferenceOhm
	alone := func(c cables.Cascade, end func(float64) complex128) float64 {
		return rms(func(f float64) complex128 { return c.TwoPort(f).InputReflection(end(f), reference) })
	}
	matched := func(float64) complex128 { return 0 }
	line := b.build(draw, load.gamma, b.every())
	var list []reflector
	add := func(x, size float64) {
		list = append(list, reflector{x, b.electricalM(x, draw, true), size})
	}
	ended := line.endSlot < 2*len(b.path.Spans)+1
	endM := t.FarEndM
	for k, x := range t.JointsM {
		slot := 2 * k
		switch {
		case slot >= line.endSlot:
			continue
		case ended && slot == line.endSlot-1 || k == len(t.JointsM)-1:
			add(x, alone(line.slots[slot], line.load))
			endM = x
		case k == 0:
			add(0, alone(line.slots[0], matched)+level(b.scenario.Errors.SourceMatchDB))
		default:
			size := alone(line.slots[slot], matched)
			if k < len(b.path.Spans) && b.path.Spans[k].Device != nil && slot+1 < line.endSlot {
				size += alone(line.slots[slot+1], matched)
			}
			add(x, size)
		}
	}
	for _, f := range b.faults { // in sections
		x := b.trueM(f.fromM, draw)
		if f.joint >= 0 || f.Cause == antennaFault || x > endM {
			continue
		}
		circuit, ends := b.alone(f, draw)
		end := matched
		if ends != nil {
			end, endM = ends, x
		}
		add(x, alone(circuit, end))
	}
	loss := func(x float64) float64 { // one way, at mid-span
		sum, at := 0.0, 0.0
		for i, span := range b.path.Spans {
			length := span.LengthM * (1 + draw.sections[i].length)
			inside := math.Max(0, math.Min(length, x-at))
			sum += inside * b.medium(i, draw).AttenuationNp((t.SpanHz[0]+t.SpanHz[1])/2)
			at += length
		}
		return sum
	}
	floor := -120.0
	if b.scenario.Errors.NoiseDB != 0 {
		floor = b.scenario.Errors.NoiseDB - 10*math.Log10(float64(len(frequency))) + 10
	}
	ghosts := []Ghost{}
	for _, near := range list {
		for _, far := range list {
			if !(far.atM > near.atM+1e-6) || far.atM > endM+1e-6 {
				continue
			}
			size := near.size * far.size * far.size * math.Exp(-2*(2*loss(far.atM)-loss(near.atM)))
			levelDB := 20 * math.Log10(math.Max(size, 1e-20))
			if levelDB < math.Max(floor, -70) {
				continue
			}
			electrical := 2*far.electricalM - near.electricalM
			ghosts = append(ghosts, Ghost{DistanceM: b.path.PhysicalM(electrical), Of: [2]float64{near.atM, far.atM}, BackAtM: near.atM,
				LevelDB: levelDB, FoldedDistanceM: b.path.PhysicalM(math.Mod(electrical, rangeM))})
		}
	}
	slices.SortStableFunc(ghosts, func(a, b Ghost) int {
		switch {
		case a.LevelDB > b.LevelDB:
			return -1
		case a.LevelDB < b.LevelDB:
			return 1
		}
		return 0
	})
	return ghosts[:min(len(ghosts), 12)]
}
