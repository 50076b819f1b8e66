package locate

import (
	"downlead/dsp/linemodel"
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"downlead/cables"
)

// What a sound line may show, as amplitudes. Common practice, no source: a
// joint reflects as a small reactance, 34 dB at 1 GHz and in proportion to
// frequency.
const (
	jointAt1GHz  = 0.02  // |Γ| of a joint at 1 GHz
	jointFlat    = 0.01  // what a joint may reflect at any frequency
	portBudget   = 0.016 // |Γ| that residual directivity may leave at the test port, 36 dB
	midBudget    = 0.007 // |Γ| rms of unevenness within a section, 43 dB
	excessFactor = 1.8   // how much more than the budget is a fault
	doubtFactor  = 0.5   // and how much of it may be one of a kind that no sound joint has
	totalAbove   = 0.8   // |Γ| from which a reflection counts as total
	loadMarginDB = 3.0   // how much worse than its record a load must be
	echoCells    = 1.5   // nearer than this two points are one mirror
	echoMargin   = 2.0   // how much stronger than predicted an echo may look

	mostFlat      = 0.04 // of z or y, 2 ohm or 0.8 mS, that a joint may have
	flatSigmas    = 3.0  // deviations of it that a sweep must tell
	togetherCells = 1.2  // within which two points are one thing
	missedShare   = 0.1  // of a strong reflection, that its circuit may miss
	alikeShare    = 0.5  // how large the lesser of two neighbours must be, of the greater, to be one of its own
	aloneShare    = 0.5  // how small, of the second, a third beside them must be: else the three are a stretch
	resolvedCells = 0.4  // how far apart the two must be at least
	knownMargin   = 1.5  // cells around a known stretch that what its model leaves may reach
	resolvedSigma = 6.0  // and how many deviations of their gap
)

// judge turns the fitted points into reflections, by place and size.
func (f *finder) judge() *Result {
	sort.SliceStable(f.Points, func(i, j int) bool { return f.Points[i].X < f.Points[j].X })
	f.Evaluate()
	result := &Result{Fit: f.Fit, Known: f.known, LeftOut: f.leftOut, NoiseRMS: math.Sqrt(f.Noise), Explained: f.clean,
		ResidualRMS: f.ResidualRMS()}
	for k, s := range f.Measured {
		result.Model = append(result.Model, s-f.Residual[k])
	}
	if f.Load != nil {
		result.LoadGamma = f.Load.Gamma
	}
	var sigma []float64
	flatSigma := map[*linemodel.Point]float64{}
	for i, s := range f.Sigma() {
		sigma = append(sigma, s[linemodel.ByPlace])
		flatSigma[f.Points[i]] = s[linemodel.ByFlat]
	}
	f.Gains()
	var groups []*group
	for _, members := range f.clusters(sigma) {
		groups = append(groups, f.assess(members, sigma))
	}
	result.Echoes = f.echoes()
	mirror := f.mirrorAtEnd(groups)
	behindTotal := false // what seems to lie behind a total reflection is its own misfit
	for _, g := range groups {
		g.blind = g.blind || behindTotal
		behindTotal = behindTotal || g.Total != NotTotal
		f.place(g, mirror)
		if g.Kind == AtJoint && g.DistanceM > f.Cell(0) && !f.besideDevice(g.DistanceM) && f.resistive(g, flatSigma[g.members[0]]) {
			g.Excess = true // a sound joint reflects by its shape alone
		}
		if g.Kind == Mid && g.Total == NotTotal && f.within(g.DistanceM) {
			result.Inside = append(result.Inside, g.members...)
			continue
		}
		if !g.blind {
			f.asEcho(g, result.Echoes)
			g.Points = g.members
			result.Reflections = append(result.Reflections, g.Reflection)
		}
	}
	if f.Load != nil {
		if r, ok := f.judgeLoad(); ok {
			result.Reflections = append(result.Reflections, r)
		}
	}
	return result
}

// besideDevice says whether a device of the record is within reach of x: with what that may reflect,
// two reactances look like a resistance.
func (f *finder) besideDevice(x float64) bool {
	reach := f.reach(x)
	return slices.ContainsFunc(f.line.Path.Spans, func(s cables.Span) bool {
		return s.Device != nil && x > s.StartM-reach && x < s.StartM+s.LengthM+reach
	})
}

// resistive says whether g has more resistance, or leaks more, than any sound joint: |z| or |y| of twice what
// it reflects upright or inverted, all over the band. Less than an octave does not tell that from a
// reactance a little farther on.
func (f *finder) resistive(g *group, sigma float64) bool {
	hz := f.FrequencyHz
	if hz[len(hz)-1] <= 2*hz[0] || len(g.members) == 1 && flatSigmas*sigma > mostFlat {
		return false
	}
	sum, total := 0.0, 0.0
	for k, r := range f.Together(g.members) {
		sum += f.Weight[k] * real(r)
		total += f.Weight[k]
	}
	return 2*math.Abs(sum)/total > mostFlat
}

// within says whether x lies within a known stretch: from a cell in front of it
// to where its end seems to be to who does not know how slow it is.
func (f *finder) within(x float64) bool {
	for _, p := range f.known {
		margin := knownMargin * f.Cell(p.X)
		if x > p.X-margin && x < p.X+p.Extent+p.ExcessM()+margin {
			return true
		}
	}
	return false
}

// group is a reflection with the points that make it.
type group struct {
	Reflection
	members []*linemodel.Point
	rms     float64
	blind   bool // hidden behind a total reflection
}

// clusters puts together the points that are one thing: weak ones beside a
// strong one (what its circuit did not catch), and neighbours within a section
// that follow each other closely (a stretch). Two alike, of the same sign, that
// noise cannot have made of one stay two; the two ends of a stretch of other
// impedance have opposite signs.
func (f *finder) clusters(sigma []float64) [][]*linemodel.Point {
	var order []*linemodel.Point
	for _, p := range f.Points {
		if !f.isKnown(p) {
			order = append(order, p)
		}
	}
	sort.SliceStable(order, func(i, j int) bool { return f.RMS(order[i]) > f.RMS(order[j]) })
	var out [][]*linemodel.Point
	for _, p := range order {
		best := -1
		for i, members := range out {
			head := members[0]
			gap := math.Abs(p.X - head.X)
			reach := togetherCells * f.Cell(p.X)
			if f.RMS(p) < 0.3*f.RMS(head) && !f.jointOfItsOwn(p, head) {
				reach = 2.5 * f.Cell(p.X)
			}
			if gap < reach && (best < 0 || gap < math.Abs(p.X-out[best][0].X)) {
				best = i
			}
		}
		if best < 0 {
			out = append(out, []*linemodel.Point{p})
		} else {
			out[best] = append(out[best], p)
		}
	}
	doubt := make(map[*linemodel.Point]float64, len(sigma))
	for i, p := range f.Points {
		doubt[p] = sigma[i]
	}
	for i, members := range out {
		if len(members) < 2 || len(members) > 2 && f.RMS(members[2]) > aloneShare*f.RMS(members[1]) {
			continue // one, or a stretch
		}
		a, b := members[0], members[1]
		gap := math.Abs(a.X - b.X)
		if f.alike(a, b) && f.RMS(b) > alikeShare*f.RMS(a) && gap > resolvedCells*f.Cell(a.X) && gap > resolvedSigma*math.Hypot(doubt[a], doubt[b]) {
			rest := append([]*linemodel.Point{a}, members[2:]...)
			out[i] = rest
			out = append(out, []*linemodel.Point{b})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i][0].X < out[j][0].X })
	return out
}

// jointOfItsOwn says whether p is at a joint of the record that head is not at, and stronger than
// what the circuit of head may have missed.
func (f *finder) jointOfItsOwn(p, head *linemodel.Point) bool {
	return f.RMS(p) > missedShare*f.RMS(head) && slices.ContainsFunc(f.joints, func(x float64) bool {
		return math.Abs(x-p.X) < f.reach(x) && math.Abs(x-head.X) > f.reach(x)
	})
}

// alike says whether two points reflect with the same sign.
func (f *finder) alike(a, b *linemodel.Point) bool {
	sum := 0.0
	for k, w := range f.Weight {
		sum += w * real(a.Reflect[k]*cmplx.Conj(b.Reflect[k]))
	}
	return sum > 0
}

// assess measures a cluster, its strongest member first.
func (f *finder) assess(members []*linemodel.Point, sigma []float64) *group {
	g := &group{members: members}
	head := members[0]
	g.DistanceM = head.X
	g.Flat, g.Rising, g.Shunt, g.Step = head.Flat, head.Rising, head.Form == linemodel.Shunt, head.Form == linemodel.Step
	// Together they reflect what the chain of them does with nothing behind it,
	// seen at the head's place.
	first := head
	for _, p := range members {
		if p.X < first.X {
			first = p
		}
	}
	together := f.Together(members)
	middle := together[len(together)/2]
	sum, total, arrives, nominal := 0.0, 0.0, 0.0, 0.0
	for k, w := range f.Weight {
		r := together[k]
		sum += w * real(r*cmplx.Conj(r))
		total += w
		arrives += w * real(first.Gain[k]*cmplx.Conj(first.Gain[k]))
		nominal += w * real(first.Phasor[k]*cmplx.Conj(first.Phasor[k]))
	}
	g.rms = math.Sqrt(sum / total)
	g.ReturnLossDB = -20 * math.Log10(math.Max(g.rms, 1e-6))
	g.PhaseDeg = cmplx.Phase(middle) * 180 / math.Pi
	g.blind = arrives < 0.01*nominal
	for i, p := range f.Points {
		if p == head {
			g.NoiseM = math.Min(sigma[i], f.Cell(p.X))
		}
	}
	g.SigmaM = math.Sqrt(g.NoiseM*g.NoiseM + f.line.Path.VelocityVariance(head.X) + f.settings.PlaneSigmaM*f.settings.PlaneSigmaM)
	reflects, size := real(middle), g.rms
	if g.Step { // the loss on its way removed
		reflects, size = head.Flat, math.Abs(head.Flat)
	}
	switch {
	case size <= totalAbove:
	case reflects > totalAbove:
		g.Total = LikeOpen
	case reflects < -totalAbove:
		g.Total = LikeShort
	}
	return g
}

// JointMost is the rms |Γ| over the sweep of fit that a joint may reflect without
// being a fault.
func JointMost(fit *linemodel.Fit) float64 { return excessFactor * jointBudget(fit, 1) }

// jointBudget is the rms over the sweep of what count joints may reflect.
func jointBudget(fit *linemodel.Fit, count int) float64 {
	sum, total := 0.0, 0.0
	for k, w := range fit.Weight {
		a := math.Max(jointAt1GHz*fit.FrequencyHz[k]/1e9, jointFlat)
		sum += w * a * a
		total += w
	}
	return math.Sqrt(float64(count) * sum / total)
}

// reach is how far from its place in the record a part may be found: the
// record's own tolerance, and what the sweep can tell apart.
func (f *finder) reach(x float64) float64 {
	return 0.03 + 0.6*f.Cell(x) + 2.5*math.Sqrt(f.line.Path.VelocityVariance(x))
}

// mirrorAtEnd is where an open or a short at the end of the line is seen, +Inf where none is.
func (f *finder) mirrorAtEnd(groups []*group) float64 {
	end := f.line.Path.LengthM()
	if kind := f.line.Load.Kind; kind == cables.Open || kind == cables.Short {
		for _, g := range groups {
			if g.Total != NotTotal && math.Abs(g.DistanceM-end) < f.reach(end) {
				return g.DistanceM
			}
		}
	}
	return math.Inf(1)
}

// place judges where the group is and whether it belongs there. A mirror at the end of the line, at
// mirror, is the end, and nothing less that lies clearly in front of it is.
func (f *finder) place(g *group, mirror float64) {
	path := f.line.Path
	g.Kind, g.BudgetDB = Mid, -20*math.Log10(midBudget)
	budget := midBudget
	span := &path.Spans[path.SpanAt(g.DistanceM)]
	g.Place = "in " + span.Name
	if f.line.OpenEnded {
		g.Excess = g.rms > excessFactor*budget
		return
	}
	end := path.LengthM()
	reach := f.reach(g.DistanceM)
	inFront := !math.IsInf(mirror, 1) && g.rms < totalAbove && g.DistanceM < mirror-togetherCells*f.Cell(mirror)
	if !inFront && (f.Load == nil && math.Abs(g.DistanceM-end) < reach || g.DistanceM > end) {
		f.judgeEnd(g)
		return
	}
	// The joints and devices within reach, nearest first.
	joints, nearest := 0, math.Inf(1)
	for i, x := range f.joints {
		gap := math.Abs(x - g.DistanceM)
		if gap >= reach || inFront && i == len(path.Spans) {
			continue
		}
		joints++
		if gap < nearest {
			nearest = gap
			g.Kind = AtJoint
			switch {
			case i == 0:
				g.Place = "test port"
			case i == len(path.Spans):
				g.Place = "connector at the load"
			default:
				g.Place = "joint " + path.Spans[i-1].Name + " / " + path.Spans[i].Name
			}
		}
	}
	power := 0.0
	if joints > 0 {
		b := jointBudget(f.Fit, joints)
		power = b * b
		if math.Abs(g.DistanceM) < reach {
			power += portBudget * portBudget
		}
	}
	for i := range path.Spans {
		s := &path.Spans[i]
		if s.Device == nil || g.DistanceM < s.StartM-reach || g.DistanceM > s.StartM+s.LengthM+reach {
			continue
		}
		if joints == 0 || g.DistanceM > s.StartM && g.DistanceM < s.StartM+s.LengthM {
			g.Kind, g.Place = AtDevice, s.Name
		}
		if s.Device.ReturnLossDB > 0 {
			power += math.Pow(10, -s.Device.ReturnLossDB/10)
		}
	}
	// A change of impedance that the record knows of.
	for i := 1; i < len(path.Spans); i++ {
		a, b := path.Spans[i-1].Medium.ImpedanceOhm, path.Spans[i].Medium.ImpedanceOhm
		if r := (b - a) / (b + a); math.Abs(path.Spans[i].StartM-g.DistanceM) < reach {
			power += r * r
		}
	}
	if power > 0 {
		budget = math.Sqrt(power)
	}
	g.BudgetDB = -20 * math.Log10(budget)
	g.Excess = g.rms > excessFactor*budget || g.Total != NotTotal
	g.Doubt = joints > 0 && !g.Excess && g.rms > doubtFactor*budget && g.DistanceM > f.Cell(0)/2
}

// judgeEnd judges the far end of a line that a point stands for.
func (f *finder) judgeEnd(g *group) {
	g.Kind, g.Place = AtFarEnd, "far end"
	first := g.members[0]
	for _, p := range g.members {
		if p.X < first.X {
			first = p
		}
	}
	switch f.line.Load.Kind {
	case cables.Open:
		g.Excess = g.Total == LikeShort
		g.BudgetDB = 0
	case cables.Short:
		g.Excess = g.Total == LikeOpen
		g.BudgetDB = 0
	default:
		g.BudgetDB = f.line.Load.ReturnLossDB
		if g.BudgetDB == 0 {
			g.BudgetDB = 20 // common practice, no source
		}
		allowed := math.Pow(10, -(g.BudgetDB-loadMarginDB)/20)
		joint := jointBudget(f.Fit, 1)
		g.Excess = g.rms > math.Hypot(allowed, joint)
	}
}

// judgeLoad judges an antenna by its own reflection in its own band.
func (f *finder) judgeLoad() (Reflection, bool) {
	x := f.Load.X
	r := Reflection{DistanceM: x, Kind: AtFarEnd, Place: "antenna",
		SigmaM: math.Sqrt(f.line.Path.VelocityVariance(x) + f.settings.PlaneSigmaM*f.settings.PlaneSigmaM)}
	lo, hi := f.line.Load.BandHz[0], f.line.Load.BandHz[1]
	var power, count float64
	var inBand []float64
	var all, total complex128
	arrives, nominal := 0.0, 0.0
	for k, g := range f.Load.Gamma {
		hz := f.FrequencyHz[k]
		arrives += real(f.LoadGain[k] * cmplx.Conj(f.LoadGain[k]))
		nominal += real(f.Load.Phasor[k] * cmplx.Conj(f.Load.Phasor[k]))
		if f.Weight[k] > 0.05 {
			all += g
			total++
		}
		if f.Weight[k] == 0 || hi > lo && (hz < lo || hz > hi) {
			continue
		}
		power += real(g * cmplx.Conj(g))
		count++
		inBand = append(inBand, cmplx.Abs(g))
	}
	if arrives < 0.01*nominal || count == 0 {
		return r, false
	}
	rms := math.Sqrt(power / count)
	r.ReturnLossDB = -20 * math.Log10(math.Max(rms, 1e-6))
	r.PhaseDeg = cmplx.Phase(f.Load.Gamma[len(f.Load.Gamma)/2]) * 180 / math.Pi
	r.BudgetDB = f.line.Load.ReturnLossDB
	if r.BudgetDB == 0 {
		r.BudgetDB = 14 // 1.5:1, common practice, no source
	}
	// The worst of its band counts, single points apart.
	sort.Float64s(inBand)
	worst := -20 * math.Log10(math.Max(inBand[len(inBand)*9/10], 1e-6))
	r.Excess = worst < r.BudgetDB-loadMarginDB
	if mean := real(all / total); r.Excess && math.Abs(mean) > totalAbove {
		r.Total = LikeOpen
		if mean < 0 {
			r.Total = LikeShort
		}
	}
	return r, true
}

// echoes lists the triple bounces of the fitted points that would stand above
// the detection threshold, strongest first.
func (f *finder) echoes() []Reflection {
	type mirror struct {
		x       float64
		reflect []complex128
		phasor  []complex128
		gain    []complex128
	}
	// The test port turns back what its own mismatch throws back.
	one := make([]complex128, len(f.Weight))
	for k := range one {
		one[k] = 1
	}
	mirrors := []mirror{{0, f.Match, one, one}}
	for _, p := range f.Points {
		mirrors = append(mirrors, mirror{p.X, p.Reflect, p.Phasor, p.Gain})
	}
	if f.Load != nil {
		mirrors = append(mirrors, mirror{f.Load.X, f.Load.Gamma, f.Load.Phasor, f.LoadGain})
	}
	threshold := f.level * f.Noise * f.scan.noiseGain
	floor := math.Pow(10, -f.settings.FloorDB/10)
	aliasFree := cables.SpeedOfLight / (2 * f.stepHz)
	step := max(1, len(f.Weight)/32)
	var out []Reflection
	for turn := range mirrors { // where the wave turns back outwards
		for a := max(turn+1, 1); a < len(mirrors); a++ {
			if mirrors[a].x-mirrors[turn].x < echoCells*f.Cell(mirrors[a].x) {
				continue // one thing, not two: the bounce is within it
			}
			for b := a; b < len(mirrors); b++ {
				if b != a && mirrors[b].x-mirrors[a].x < echoCells*f.Cell(mirrors[a].x) {
					continue // the bounce between a and a stands for it
				}
				power, count := 0.0, 0.0
				for k := 0; k < len(f.Weight); k += step {
					t := mirrors[turn].reflect[k]
					bounce := mirrors[a].gain[k] * mirrors[a].reflect[k] * mirrors[b].gain[k] * mirrors[b].reflect[k] * t
					bounce /= mirrors[turn].phasor[k]
					power += real(bounce * cmplx.Conj(bounce))
					count++
				}
				power /= count
				if a != b {
					power *= 4 // both ways round
				}
				if power < threshold || power < floor {
					continue
				}
				path := f.line.Path
				electrical := path.ElectricalM(mirrors[a].x) + path.ElectricalM(mirrors[b].x) - path.ElectricalM(mirrors[turn].x)
				folded := math.Mod(electrical, aliasFree)
				r := Reflection{DistanceM: path.PhysicalM(folded), Kind: EchoOf, Of: [2]float64{mirrors[turn].x, mirrors[b].x},
					ReturnLossDB: -10 * math.Log10(power), Place: "re-reflection"}
				out = append(out, r)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].ReturnLossDB < out[j].ReturnLossDB })
	return out[:min(len(out), 12)]
}

// asEcho calls a group in mid-section an echo where the model predicts one of
// its size: the model was not exact there.
func (f *finder) asEcho(g *group, echoes []Reflection) {
	if g.Kind != Mid || g.Total != NotTotal {
		return
	}
	seen := -20 * math.Log10(g.rms*f.lossTo(g.DistanceM)+1e-12)
	for _, e := range echoes {
		if math.Abs(e.DistanceM-g.DistanceM) < 1.5*f.Cell(g.DistanceM) && seen > e.ReturnLossDB-20*math.Log10(echoMargin) {
			g.Kind, g.Of, g.Excess, g.Place = EchoOf, e.Of, false, "re-reflection"
			return
		}
	}
}

// lossTo is what the way to x and back leaves of an amplitude, over the span.
func (f *finder) lossTo(x float64) float64 {
	return cmplx.Abs(cmplx.Exp(-2 * f.line.Path.Theta(f.MiddleHz, x)))
}
