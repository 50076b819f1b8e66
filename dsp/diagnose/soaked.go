package diagnose

import (
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// Water in the cable shows itself to the whole line rather than at a place: its
// tapered edges reflect at low frequencies alone, where a search with a window
// over the band hardly looks, and what lies behind it comes back late and weak.
// So it is looked for along the whole line, on a model that knows nothing but
// the record, with edges of several tapers: to each taper belongs the part of the
// band in which it reflects, and that part alone finds it. What the best starts come to is
// held against whatever else was named.

// soaking is wet cable that the line seems to have.
type soaking struct {
	point  *linemodel.Point
	ends   []*linemodel.Point // the mirror behind it
	gain   float64            // natural units of evidence over what was named without it
	leaves float64
}

const (
	soakedGain       = 30.0 // natural units that wet cable must bring over whatever else was named
	soakedLeaves     = 0.75 // and the share of the cost that it may leave
	soakedSpill      = 0.05 // of a strong reflection within so many cells that its circuit may leave
	soakedSpillCells = 4.0
	soakedOver       = 10.0 // and over anything else between the same edges
	soakedDrop       = 0.03 // drop of impedance below which a line's own spread explains it
	soakedMostDrop   = 0.4
	soakedReflects   = 0.007 // |Γ| that unevenness within a section may reach, 43 dB
	soakedTangent    = 0.001 // loss tangent below which it is not water
	soakedNamed      = 0.7   // confidence from which wet cable that was named is taken to be on the line
	soakedPoints     = 200   // of a sweep are enough to look for it
	soakedStarts     = 10
	soakedFinals     = 3
	soakedEdges      = 40  // of a section and a taper that are paired
	soakedEdgeFrom   = 3.0 // deviations of an edge worth pairing
)

// soakedTapers are the tapers of the edges that are looked for, m.
func soakedTapers() []float64 { return []float64{0.05, 0.1, 0.2, 0.4, 0.8, 1.6} }

// soakSearch is a model of the line of the record on a thinned sweep.
type soakSearch struct {
	*bench
	base []*linemodel.State // the line of the record: with what was found at joints, and without
}

// soaked returns the wet cable that explains the sweep better than what v
// holds, or nil.
func (v *view) soaked() *soaking {
	b := v.bench
	if b.load == cables.Unstated || hidden(v.found.Reflections, b.path.LengthM()) {
		return nil
	}
	var named *linemodel.Point
	for _, o := range b.named {
		if o.finding.Cause == WaterInCable && o.finding.Confidence > soakedNamed {
			if p, _ := b.point(o); p != nil && p.Form == linemodel.Wet && wetEnough(p) {
				named = p
			}
		}
	}
	s := newSoakSearch(b, v.found)
	trials := s.search()
	base := s.fit.Cost // with what was found at joints
	if v.claims() {
		s.adopt(b.fit)
		if named == nil && s.fit.Cost > base {
			s.fit.Restore(s.base[0])
		}
	}
	without := s.fit.Cost
	state := s.fit.Save()
	var best *soaking
	least := math.Inf(1)
	for _, t := range trials {
		if !s.plausible(t.point, t.state) {
			continue
		}
		cost := t.state.Cost
		s.fit.Restore(state)
		if p := s.with(t.point, t.state); s.fit.Cost < cost && s.plausible(p, nil) {
			cost = s.fit.Cost
			t.point = p
		} else {
			s.fit.Restore(t.state)
		}
		if cost < least {
			least = cost
			unit := temper * math.Max(s.fit.Noise, s.fit.ResidualRMS()*s.fit.ResidualRMS())
			p := *t.point
			best = &soaking{point: &p, ends: s.ends(), gain: (without - cost) / unit, leaves: cost / without}
		}
	}
	if named != nil && (best == nil || best.gain < 0) {
		p := *named
		return &soaking{point: &p, gain: soakedGain}
	}
	if best == nil || named == nil && (best.gain < soakedGain || least > soakedLeaves*without) {
		return nil
	}
	if named == nil && s.rivalled(best.point, least) {
		return nil
	}
	return best
}

// ends lists copies of the mirror that ends the line.
func (s *soakSearch) ends() (out []*linemodel.Point) {
	for _, q := range s.fit.Points {
		if s.mirror() != 0 && q.Form == linemodel.Step && s.fit.RMS(q) > 0.3 {
			c := *q
			out = append(out, &c)
		}
	}
	return out
}

// rivalled says whether something else in place of p, which leaves cost, explains the sweep
// as well: a circuit, a dent, or other cable between the same edges.
func (s *soakSearch) rivalled(p *linemodel.Point, cost float64) bool {
	fit := s.fit
	for _, base := range s.base {
		fit.Restore(base)
		fit.Sample(p)
		trials := append(s.circuits([]*linemodel.Point{p}), s.dent([]*linemodel.Point{p})...)
		trials = append(trials, s.foreign([]*linemodel.Point{p}, p.X+p.Taper/2, p.X+p.Extent-p.Taper/2+p.ExcessM())...)
		trials = append(trials, s.lossy()...)
		sortTrials(trials)
		for _, t := range trials[:min(len(trials), soakedFinals)] {
			fit.Restore(t.state)
			if fit.Load != nil {
				fit.FitLoad()
			}
			fit.Refine(fit.Points, true, true, 8)
			unit := temper * math.Max(fit.Noise, cost/float64(len(fit.Measured)))
			if fit.Cost < cost+soakedOver*unit {
				return true
			}
		}
	}
	return false
}

// lossy tries more loss than recorded, by the record's own law, in each section.
func (s *soakSearch) lossy() (out []trial) {
	held := s.fit.Save()
	for _, sp := range s.path.Spans {
		if sp.Device != nil {
			continue
		}
		p := s.fit.NewPoint(sp.StartM, linemodel.Foreign)
		p.Extent, p.Ratio, p.LossScale = sp.LengthM, 1, 1.5
		p.Fits = linemodel.Fitting(linemodel.ByTangent)
		s.fit.Sample(p)
		s.fit.Insert(p)
		s.fit.Evaluate()
		s.fit.Refine([]*linemodel.Point{p}, false, false, 4)
		out = append(out, trial{cause: LossySection, point: p, state: s.fit.Save(), score: -s.fit.Cost / s.unit})
		s.fit.Restore(held)
	}
	return out
}

// claims says whether v holds a fault.
func (v *view) claims() bool {
	for _, f := range v.findings {
		if f.IsFault {
			return true
		}
	}
	return false
}

// plausible says whether p, in the given state or, nil, in the present one, may
// be wet cable.
func (s *soakSearch) plausible(p *linemodel.Point, state *linemodel.State) bool {
	if state != nil {
		s.fit.Restore(state)
	}
	sp := s.path.Spans[s.fit.SpanAt(p.X+p.Extent/2)]
	slack := p.Taper/2 + 0.5*s.fit.Cell(p.X)
	if !wetEnough(p) || sp.Device != nil || p.X < 0 || p.X < sp.StartM-slack || p.X+p.Extent > sp.StartM+sp.LengthM+slack {
		return false
	}
	// Beside a strong reflection its own model is not exact enough to tell.
	size := s.fit.RMS(p)
	for _, q := range s.fit.Points {
		gap := math.Max(p.X-q.X, q.X-p.X-p.Extent)
		mirror := s.mirror() != 0 && s.fit.RMS(q) > 0.8
		if q != p && !mirror && gap < soakedSpillCells*s.fit.Cell(p.X) && size < soakedSpill*s.fit.RMS(q) {
			return false
		}
	}
	most := 0.0
	for _, r := range p.Reflect {
		most = math.Max(most, cmplx.Abs(r))
	}
	return most > soakedReflects
}

// wetEnough says whether what the fit made of a stretch can be water.
func wetEnough(p *linemodel.Point) bool {
	return p.Drop > soakedDrop && p.Drop < soakedMostDrop && p.Tangent > soakedTangent && p.Extent > wetLeastM
}

// newSoakSearch sets the line of the record up: sound joints, what was found at
// the far end, and what no joint may reflect.
func newSoakSearch(b *bench, found *locate.Result) *soakSearch {
	full := b.fit
	n := len(full.FrequencyHz)
	band := full.FrequencyHz[n-1] - full.FrequencyHz[0]
	length := b.path.LengthM()
	// As few points as tell apart what comes back from twice the line.
	need := 2 * b.path.ElectricalM(length)
	if full.Load != nil {
		need += antennaRingsM
	}
	stride := min(int(cables.SpeedOfLight/2/need*float64(n-1)/band), n/soakedPoints)
	stride = max(1, stride)
	var hz, weight []float64
	var measured []complex128
	for k := 0; k < n; k += stride {
		w := full.Weight[k]
		if full.Load != nil && w > 0 { // the window hides the low end
			w = 1
		}
		hz, measured, weight = append(hz, full.FrequencyHz[k]), append(measured, full.Measured[k]), append(weight, w)
	}
	fit := linemodel.NewFit(b.path, hz, measured)
	copy(fit.Weight, weight)
	fit.Noise, fit.Unit = full.Noise, b.unit
	if full.Load != nil {
		fit.Load = causalLoad(fit)
	}
	s := &soakSearch{bench: &bench{fit: fit, path: b.path, load: b.load, joints: b.joints}}
	scale := 1.0
	strong := false // at joints, which may be edges
	for i := range found.Reflections {
		r := &found.Reflections[i]
		atEnd := r.Kind == locate.AtFarEnd
		if atEnd && s.mirror() != 0 {
			continue
		}
		if !atEnd && r.Total == locate.NotTotal {
			if !r.Excess || r.Kind == locate.Mid {
				continue
			}
			strong = true
		}
		for _, p := range r.Points {
			s.insertCopy(p)
		}
		if atEnd && len(r.Points) > 0 && math.Abs(r.DistanceM-length) < 3*placeSigma(length) {
			scale = r.DistanceM / length
		}
	}
	s.soundJoints(scale)
	s.settleBase()
	s.base = append(s.base, fit.Save())
	if strong {
		for _, q := range append([]*linemodel.Point(nil), fit.Points...) {
			if q.X < length-fit.Cell(length) && fit.RMS(q) < 0.8 {
				fit.Remove(q)
			}
		}
		s.soundJoints(scale)
		s.settleBase()
		s.base = append(s.base, fit.Save())
	}
	return s
}

// mirror is the reflection of an end that the record says reflects all, 0 for other
// loads.
func (s *soakSearch) mirror() float64 {
	switch s.load {
	case cables.Open:
		return soundEnd
	case cables.Short:
		return -soundEnd
	}
	return 0
}

// soundEnd is what an open or shorted end reflects.
const soundEnd = 0.998

// settleBase fits the line of the record, its mirror put where it is seen.
func (s *soakSearch) settleBase() {
	fit := s.fit
	fit.Evaluate()
	if sign := s.mirror(); sign != 0 && !s.hasEnd() {
		s.findEnd(sign)
	}
	if fit.Load != nil {
		fit.FitLoad()
	}
	fit.Refine(fit.Points, true, true, 6)
}

func (s *soakSearch) hasEnd() bool {
	for _, q := range s.fit.Points {
		if s.fit.RMS(q) > 0.3 {
			return true
		}
	}
	return false
}

// findEnd puts the end of the line where the sweep has it: from where the record's tolerance allows it
// at the nearest to behind the slowest stretch of wet cable there may be. Low
// frequencies first, for a place must be known to an eighth of a wave.
func (s *soakSearch) findEnd(sign float64) {
	fit := s.fit
	length := s.path.LengthM()
	n := len(fit.FrequencyHz)
	low, high := fit.FrequencyHz[0], fit.FrequencyHz[n-1]
	from, to := length-3*placeSigma(length)-0.1, length+3*placeSigma(length)+soakedMostExcessM
	here, turn := make([]complex128, n), make([]complex128, n)
	p := fit.NewPoint(length, linemodel.Step)
	p.Fits = linemodel.Fitting(linemodel.ByRising, linemodel.ByPlace)
	p.Flat = sign
	full := append([]float64(nil), fit.Weight...)
	gamma := fit.Gamma[len(fit.Gamma)-1]
	shares := []float64{0.3, 1}
	if low > 0.3*high { // it has no low end
		shares = shares[1:]
	}
	for i, share := range shares {
		top := n - 1
		for top > n/8 && fit.FrequencyHz[top] > low+share*(high-low) {
			top--
		}
		step := math.Pi / imag(gamma[top]) / 12
		if i > 0 { // within half a wave of the lower part's
			half := math.Pi / imag(gamma[n*3/10]) / 2
			from, to = p.X-half, p.X+half
		}
		fit.GainAt(here, from)
		for k, g := range gamma {
			e, t := math.Exp(-2*real(g)*step), fit.Turn(-2*imag(g)*step)
			turn[k] = complex(e*real(t), e*imag(t))
		}
		best := 0.0
		for x := from; x < to; x += step {
			num, den := 0.0, 0.0
			for k := 0; k <= top; k++ {
				g, e := here[k], fit.Residual[k]
				num += full[k] * (real(g)*real(e) + imag(g)*imag(e))
				den += full[k] * (real(g)*real(g) + imag(g)*imag(g))
				here[k] *= turn[k]
			}
			if num*sign/math.Sqrt(den) > best {
				best = num * sign / math.Sqrt(den)
				p.X, p.Rising = x, -math.Log(math.Max(0.01, math.Min(num*sign/den, 1)))
			}
		}
		fit.Move(p)
	}
	fit.Sample(p)
	fit.Insert(p)
	fit.Evaluate()
	for _, share := range []float64{0.15, 0.3, 0.6, 1} {
		for k := range fit.Weight {
			fit.Weight[k] = full[k]
			if k > n/8 && fit.FrequencyHz[k] > low+share*(high-low) {
				fit.Weight[k] = 0
			}
		}
		fit.Evaluate()
		fit.Refine([]*linemodel.Point{p}, false, false, 4)
	}
	copy(fit.Weight, full)
	fit.Evaluate()
}

// soakedMostExcessM is how much farther out than by the record the end may seem to be.
const soakedMostExcessM = 3.0

// antennaRingsM is how far behind its connector, in electrical metres, an antenna may
// still ring.
const antennaRingsM = 9.0

func (s *soakSearch) insertCopy(p *linemodel.Point) *linemodel.Point {
	q := s.fit.NewPoint(p.X, p.Form)
	q.CopyFrom(p)
	s.fit.Sample(q)
	s.fit.Insert(q)
	return q
}

// soundJoints puts sound joints where nothing else stands.
func (s *soakSearch) soundJoints(scale float64) {
	for i, x := range s.joints {
		if i == len(s.joints)-1 {
			break
		}
		x *= scale
		free := true
		for _, q := range s.fit.Points {
			free = free && (q.Form == linemodel.Wet || math.Abs(q.X-x) > 0.6*s.fit.Cell(x))
		}
		if free {
			s.fit.Insert(soundJoint(s.fit, x))
		}
	}
}

// adopt takes over the points of another fit of the same line.
func (s *soakSearch) adopt(from *linemodel.Fit) {
	fit := s.fit
	for _, q := range append([]*linemodel.Point(nil), fit.Points...) {
		fit.Remove(q)
	}
	fit.Links = nil
	for _, q := range from.Points {
		s.insertCopy(q)
	}
	fit.Evaluate()
	if fit.Load != nil {
		fit.FitLoad()
	}
	fit.Refine(fit.Points, true, true, 6)
}

// with puts a copy of p, as it is in state from, into the present model, in place of what lies
// within it, and fits all.
func (s *soakSearch) with(p *linemodel.Point, from *linemodel.State) *linemodel.Point {
	fit := s.fit
	here := fit.Save()
	fit.Restore(from)
	c := fit.NewPoint(p.X, p.Form)
	c.CopyFrom(p)
	fit.Restore(here)
	fit.Move(c)
	fit.Sample(c)
	cell := fit.Cell(c.X)
	var instead []*linemodel.Point
	for _, q := range fit.Points {
		if q.X > c.X-cell && q.X < c.X+c.Extent+c.ExcessM()+cell && fit.RMS(q) < 0.8 {
			instead = append(instead, q)
		}
	}
	s.replace(instead, c)
	s.soundJoints(1)
	fit.Evaluate()
	if fit.Load != nil {
		fit.FitLoad()
	}
	fit.Refine(fit.Points, true, true, 8)
	return c
}

// soakStart is a first guess of a wet stretch.
type soakStart struct {
	x, extent, taper, drop float64
	score                  float64 // squared deviations that its edges explain
}

// edge is a tapered edge that the residual may hold.
type edge struct {
	x, reflect, deviations float64
}

// edges lists the edges of the given taper, m, that the residual shows in a span,
// strongest first. The first edge of wet cable reflects a negative real amount at low frequencies, the second
// a positive one; a raised cosine of length T multiplies it by cos(βT)/(1 − (2βT/π)²), the
// Fourier transform of its slope.
func (s *soakSearch) edges(span int, taper float64) (out []edge) {
	fit := s.fit
	sp := s.path.Spans[span]
	gamma := fit.Gamma[span]
	shape := make([]float64, len(gamma))
	top := 0
	for k, g := range gamma {
		shape[k] = fit.RoundEdge(imag(g) * taper)
		if math.Abs(shape[k]) > 0.02 {
			top = k
		}
	}
	step := math.Pi / imag(gamma[top]) / 8
	count := int(sp.LengthM/step) + 1
	here := make([]complex128, len(gamma))
	fit.GainAt(here, sp.StartM)
	turn := make([]complex128, len(gamma))
	for k, g := range gamma {
		e := math.Exp(-2 * real(g) * step)
		t := fit.Turn(-2 * imag(g) * step)
		turn[k] = complex(e*real(t), e*imag(t))
	}
	noise := fit.ResidualRMS()
	size, deviations := make([]float64, count), make([]float64, count)
	for i := range count {
		num, den := 0.0, 0.0
		for k := 0; k <= top; k++ {
			w, g, e := fit.Weight[k]*shape[k], here[k], fit.Residual[k]
			num += w * (real(g)*real(e) + imag(g)*imag(e))
			den += w * shape[k] * (real(g)*real(g) + imag(g)*imag(g))
			here[k] *= turn[k]
		}
		if den > 0 {
			size[i], deviations[i] = num/den, num/math.Sqrt(den)/noise*math.Sqrt2
		}
	}
	for i, d := range deviations {
		a := math.Abs(d)
		if a < soakedEdgeFrom || i > 0 && math.Abs(deviations[i-1]) >= a || i+1 < count && math.Abs(deviations[i+1]) > a {
			continue
		}
		out = append(out, edge{sp.StartM + float64(i)*step, size[i], d})
	}
	sort.Slice(out, func(i, j int) bool { return math.Abs(out[i].deviations) > math.Abs(out[j].deviations) })
	return out[:min(len(out), soakedEdges)]
}

// starts pairs the edges of a span.
func (s *soakSearch) starts(span int) (out []soakStart) {
	sp := s.path.Spans[span]
	for _, taper := range soakedTapers() {
		seen := s.edges(span, taper)
		for _, near := range seen {
			// From ρ = (1−κ)/(1+κ), κ = 1/(1−drop).
			drop := math.Min(-2*near.reflect/(1-near.reflect), 0.3)
			if drop < soakedDrop/2 {
				continue
			}
			paired := false
			for _, far := range seen {
				gap := far.x - near.x
				if far.reflect < -0.02*near.reflect || far.reflect > -1.3*near.reflect || gap < 0.3 || gap > 1.4*wetMostM {
					continue
				}
				// The far edge is seen through the slow stretch.
				out = append(out, soakStart{near.x - taper/2, gap*(1-drop) + taper, taper, drop, near.deviations*near.deviations + far.deviations*far.deviations})
				paired = true
			}
			if paired {
				continue
			}
			for _, extent := range []float64{0.8, 2.5} {
				if near.x-taper/2+extent < sp.StartM+sp.LengthM {
					out = append(out, soakStart{near.x - taper/2, extent, math.Min(taper, 0.45*extent), drop, near.deviations * near.deviations})
				}
			}
		}
	}
	return out
}

// candidates lists the starts of all sections, best first, without those that
// lead to the same.
func (s *soakSearch) candidates() (out []soakStart) {
	var all []soakStart
	for i, sp := range s.path.Spans {
		if sp.Device == nil && sp.LengthM > wetLeastM {
			all = append(all, s.starts(i)...)
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].score > all[j].score })
	n := len(s.fit.FrequencyHz)
	for _, w := range all {
		tenth := 2 * math.Pi / imag(s.fit.Gamma[s.fit.SpanAt(w.x)][n-1]) / 10
		same := false
		for _, v := range out {
			within := math.Max(tenth, 0.25*math.Max(w.taper, v.taper))
			same = same || math.Abs(v.x+v.taper/2-w.x-w.taper/2) < within && math.Abs(v.x+v.extent-v.taper/2-w.x-w.extent+w.taper/2) < within
		}
		if same {
			continue
		}
		if out = append(out, w); len(out) == soakedStarts {
			break
		}
	}
	return out
}

// search fits the most promising starts on the line of the record and returns
// them, best first.
func (s *soakSearch) search() []trial {
	fit := s.fit
	var trials []trial
	for _, base := range s.base {
		fit.Restore(base)
		s.unit = temper * math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS())
		fit.Gains()
		for _, w := range s.candidates() {
			p := fit.NewPoint(math.Max(0, w.x), linemodel.Wet)
			p.Extent, p.Drop, p.Tangent, p.Taper, p.Round = w.extent, w.drop, 0.01, w.taper, true
			wetPriors(p)
			fit.Sample(p)
			s.replace(nil, p)
			fit.Refine([]*linemodel.Point{p}, false, false, 4)
			trials = append(trials, trial{cause: WaterInCable, point: p, state: fit.Save(), score: -fit.Cost})
			fit.Restore(base)
		}
	}
	sortTrials(trials)
	trials = trials[:min(len(trials), soakedFinals)]
	for i := range trials {
		t := &trials[i]
		fit.Restore(t.state)
		if fit.Load != nil {
			fit.FitLoad()
		}
		fit.Refine(fit.Points, true, true, 8)
		t.state, t.score = fit.Save(), -fit.Cost
	}
	if len(trials) > 0 {
		trials = append(trials, s.straight(trials[0]))
	}
	fit.Restore(s.base[0])
	sortTrials(trials)
	return trials
}

// straight is t with edges that rise straight.
func (s *soakSearch) straight(t trial) trial {
	fit := s.fit
	fit.Restore(t.state)
	p := fit.NewPoint(t.point.X, linemodel.Wet)
	p.CopyFrom(t.point)
	p.Round, p.Taper = false, straightShare*p.Taper
	fit.Sample(p)
	fit.Remove(t.point)
	fit.Insert(p)
	fit.Evaluate()
	fit.Refine(fit.Points, true, true, 8)
	return trial{cause: t.cause, point: p, state: fit.Save(), score: -fit.Cost}
}

// straightShare is the length of a straight taper, of that of a raised cosine
// that reflects alike: both leave half of the reflection at the same frequency.
const straightShare = 0.74

// wetPriors gives p what is known beforehand of wet cable.
func wetPriors(p *linemodel.Point) {
	p.Fits = linemodel.Fitting(linemodel.ByPlace, linemodel.ByExtent, linemodel.ByDrop, linemodel.ByTangent, linemodel.ByTaper)
	p.Prior[linemodel.ByExtent] = linemodel.Prior{Mean: 2, Sigma: 2.5}
	p.Prior[linemodel.ByDrop] = linemodel.Prior{Mean: 0.15, Sigma: 0.08}
	p.Prior[linemodel.ByTangent] = linemodel.Prior{Mean: 0.015, Sigma: 0.015}
	p.Prior[linemodel.ByTaper] = linemodel.Prior{Mean: wetTaperM, Sigma: wetTaperM * 2}
}

// soakedFinding tells of wet cable that the line was found to have.
func (b *bench) soakedFinding(p *linemodel.Point, wet *soaking) Finding {
	cell := b.fit.Cell(p.X)
	f := Finding{DistanceM: math.Max(0, p.X), SigmaM: math.Hypot(placeSigma(p.X), 0.1*cell), ExtentM: p.Extent, Cause: WaterInCable, IsFault: true,
		Confidence: trust(1), Place: "in " + b.path.Spans[b.fit.SpanAt(p.X+p.Extent/2)].Name,
		ReturnLossDB: -20 * math.Log10(math.Max(b.fit.RMS(p), 1e-6)),
		Alternatives: []Alternative{}, Checks: []string{}, Cautions: []string{}}
	t := trial{cause: WaterInCable, point: p, state: b.fit.Save(), words: describe(p, nil, b.fit, 0, "")[0]}
	b.named = append(b.named, &verdictOf{finding: f, trials: []trial{t}})
	return f
}
