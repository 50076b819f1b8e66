package diagnose

import (
	"math"
	"slices"
	"sort"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// soakSearch is a model of the line of the record on a thinned sweep.
type soakSearch struct {
	*bench
	seen []float64          // where the joints are seen
	base []*linemodel.State // the line of the record: with what was found at joints, and without
}

const (
	soakedPoints   = 200 // of a sweep are enough to look for it
	soakedRange    = 1.3 // of the line's length must be free of aliases
	soakedStarts   = 10  // of a base are fitted
	soakedHopeless = 0.9 // of the cost left by the best start: no wet cable
	soakedFinals   = 3   // of these are fitted with all else
	soakedEdges    = 40  // of a section and a taper that are paired
	soakedUneven   = 2   // of the best are tried unevenly wet
	soakedPlaces   = 60  // inside of a stretch at most
	// One standard deviation of the impedance inside: so much of its drop, and at
	// least so much of itself. Common practice, no source.
	soakedUnevenness = 0.2
	soakedEven       = 0.01
	soakedEdgeFrom   = 3.0 // deviations of an edge worth pairing
	soakedStands     = 5.0 // medians of its section, for one that stands out
	soakedFirsts     = 2   // places that stand out are tried, from the port
	soakedOfFirst    = 3   // starts of each
	soakedNarrow     = 1.6 // times its lowest frequency a band ends whose edges reflect alike all over it
	soakedLeastShape = 0.02
)

// soakedTapers are the tapers of the edges that are looked for, m, each so many times the one before.
func soakedTapers(by float64) (out []float64) {
	for t := 0.05; t < 1.7; t *= by {
		out = append(out, t)
	}
	return out
}

// newSoakSearch sets the line of the record up: sound joints, what was found at
// the far end, and what no joint may reflect.
func newSoakSearch(b *bench, found *locate.Result) *soakSearch {
	full := b.fit
	n := len(full.FrequencyHz)
	band := full.FrequencyHz[n-1] - full.FrequencyHz[0]
	length := b.path.LengthM()
	// As few points as tell apart what comes back from the line.
	need := soakedRange * b.path.ElectricalM(length)
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
	fit.Noise, fit.Unit, fit.Ended = full.Noise, temper*full.Noise, full.Ended
	if full.Load != nil {
		fit.Load = causalLoad(fit)
	}
	s := &soakSearch{bench: &bench{fit: fit, path: b.path, load: b.load, joints: b.joints}}
	s.seen = append(s.seen, s.joints...)
	strong := false // at joints, which may be edges
	for i := range found.Reflections {
		r := &found.Reflections[i]
		atEnd := r.Kind == locate.AtFarEnd
		if atEnd && s.mirror() != 0 {
			continue
		}
		if !atEnd && r.Total == locate.NotTotal {
			if r.Kind == locate.AtJoint {
				for k, x := range s.joints {
					if math.Abs(x-r.DistanceM) < 2*placeSigma(x)+0.5*fit.Cell(x) && k > 0 {
						s.seen[k] = r.DistanceM
					}
				}
			}
			if !r.Excess || r.Kind == locate.Mid {
				continue
			}
			strong = true
		}
		for _, p := range r.Points {
			s.insertCopy(p)
		}
	}
	s.sound()
	s.settleBase()
	fit.Unit = temper * math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS())
	fit.Evaluate()
	s.base = append(s.base, fit.Save())
	if strong {
		for _, q := range append([]*linemodel.Point(nil), fit.Points...) {
			if q.X < length-fit.Cell(length) && fit.RMS(q) < 0.8 {
				fit.Remove(q)
			}
		}
		s.sound()
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
	if sign := s.mirror(); sign != 0 && len(s.end()) == 0 {
		s.findEnd(sign)
	}
	if fit.Load != nil {
		fit.FitLoad()
	}
	fit.Refine(fit.Points, true, true, 6)
}

// end lists the mirror that ends the line, as far as the model has one.
func (s *soakSearch) end() (out []*linemodel.Point) {
	length := s.path.LengthM()
	for _, q := range s.fit.Points {
		if s.mirror() != 0 && s.fit.RMS(q) > 0.3 && q.X > length-3*placeSigma(length)-s.fit.Cell(length) {
			out = append(out, q)
		}
	}
	return out
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
	here, turn, seen, weight := make([]complex128, n), make([]complex128, n), make([]complex128, n), make([]complex128, n)
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
		fit.Way(turn, len(fit.Gamma)-1, step)
		for k, w := range full {
			seen[k], weight[k] = complex(w, 0)*fit.Residual[k], complex(w, w)
		}
		best := 0.0
		for x := from; x < to; x += step {
			num, den := dsp.March(here[:top+1], turn[:top+1], seen[:top+1], weight[:top+1])
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
	s.climb(p)
}

// climb fits the points to the lower part of the band first, then to more and
// more of it.
func (s *soakSearch) climb(points ...*linemodel.Point) {
	fit := s.fit
	n := len(fit.FrequencyHz)
	low, high := fit.FrequencyHz[0], fit.FrequencyHz[n-1]
	full := append([]float64(nil), fit.Weight...)
	for _, share := range []float64{0.15, 0.3, 0.6, 1} {
		for k := range fit.Weight {
			fit.Weight[k] = full[k]
			if k > n/8 && fit.FrequencyHz[k] > low+share*(high-low) {
				fit.Weight[k] = 0
			}
		}
		fit.Evaluate()
		fit.Refine(points, false, false, 4)
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

// sound puts sound joints and devices where nothing else stands: joints where
// the sweep shows them, else where the record has them.
func (s *soakSearch) sound() {
	free := func(x float64) bool {
		for _, q := range s.fit.Points {
			if q.Form != linemodel.Wet && math.Abs(q.X-x) < 0.6*s.fit.Cell(x) {
				return false
			}
		}
		return true
	}
	for i, x := range s.joints[:len(s.joints)-1] {
		at := s.seen[i]
		if !free(at) {
			continue
		}
		joint := soundJoint(s.fit, at)
		if i > 0 {
			joint.Fits[linemodel.ByPlace] = true
			joint.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: x, Sigma: placeSigma(x)}
		}
		s.fit.Insert(joint)
	}
	for _, sp := range s.path.Spans {
		middle := sp.StartM + sp.LengthM/2
		if sp.Device != nil && (free(middle) || sp.LengthM > 0.5*s.fit.Cell(middle)) {
			s.fit.Insert(soundDevice(s.fit, sp.Device.ReturnLossDB, middle))
		}
	}
}

// backInPlace puts joints where the record has them that have come to lie where
// they cannot: they were not seen where the stretch in front of them would
// have put them.
func (s *soakSearch) backInPlace() {
	for _, q := range s.fit.Points {
		if prior := q.Prior[linemodel.ByPlace]; prior.Sigma > 0 && math.Abs(q.X-prior.Mean) > 2*prior.Sigma {
			q.X = prior.Mean
			s.fit.Move(q)
		}
	}
	s.fit.Evaluate()
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
	s.backInPlace()
	s.sound()
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
	stands                 float64 // how far its near edge, or its only one, stands out of its section
}

// edge is a tapered edge that the residual may hold.
type edge struct {
	x, reflect, deviations float64
	stands                 float64 // above what the section shows elsewhere, in its median
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
	fit.Way(turn, span, step)
	noise := fit.ResidualRMS()
	seen, weight := make([]complex128, len(gamma)), make([]complex128, len(gamma))
	for k, w := range fit.Weight {
		w *= shape[k]
		seen[k], weight[k] = complex(w, 0)*fit.Residual[k], complex(w*shape[k], w*shape[k])
	}
	size, deviations := make([]float64, count), make([]float64, count)
	for i := range count {
		num, den := dsp.March(here[:top+1], turn[:top+1], seen[:top+1], weight[:top+1])
		if den > 0 {
			size[i], deviations[i] = num/den, num/math.Sqrt(den)/noise*math.Sqrt2
		}
	}
	floor := median(deviations)
	for i, d := range deviations {
		a := math.Abs(d)
		if a < min(soakedEdgeFrom, soakedStands*floor) || i > 0 && math.Abs(deviations[i-1]) >= a || i+1 < count && math.Abs(deviations[i+1]) > a {
			continue
		}
		out = append(out, edge{sp.StartM + float64(i)*step, size[i], d, a / floor})
	}
	sort.Slice(out, func(i, j int) bool { return math.Abs(out[i].deviations) > math.Abs(out[j].deviations) })
	return out[:min(len(out), soakedEdges)]
}

// starts pairs the edges of a span.
func (s *soakSearch) starts(span int) (out []soakStart) {
	if s.narrow() {
		// A taper there is no more than a size and a sign: one look finds the edges of all.
		seen := s.edges(span, 0)
		beta := imag(s.fit.Gamma[span][len(s.fit.FrequencyHz)/2])
		for _, taper := range soakedTapers(math.Sqrt2) {
			shape := s.fit.RoundEdge(beta * taper)
			if math.Abs(shape) < soakedLeastShape {
				continue
			}
			scaled := append([]edge(nil), seen...)
			for i := range scaled {
				scaled[i].reflect /= shape
			}
			out = append(out, s.paired(span, scaled, taper)...)
		}
		return out
	}
	for _, taper := range soakedTapers(2) {
		if s.fit.Over() {
			return nil
		}
		out = append(out, s.paired(span, s.edges(span, taper), taper)...)
	}
	return out
}

// narrow says whether an edge reflects alike all over the band, but for its phase.
func (s *soakSearch) narrow() bool {
	hz := s.fit.FrequencyHz
	return hz[len(hz)-1] < soakedNarrow*hz[0]
}

// paired makes starts of edges of the given taper.
func (s *soakSearch) paired(span int, seen []edge, taper float64) (out []soakStart) {
	sp := s.path.Spans[span]
	add := func(x, extent, taper, drop, squares, stands float64) {
		u := (drop - wetDropMean) / wetDropSigma
		out = append(out, soakStart{x, extent, taper, math.Min(drop, 0.3), squares - u*u, stands})
	}
	for _, near := range seen {
		// From ρ = (1−κ)/(1+κ), κ = 1/(1−drop).
		drop := -2 * near.reflect / (1 - near.reflect)
		if drop < soakedDrop/2 || near.reflect < -1 {
			continue
		}
		held := math.Min(drop, 0.3)
		paired := false
		// The far edge may be hidden in the joint behind.
		if behind := sp.StartM + sp.LengthM; behind-near.x < wetMostM && behind-near.x > 0.3 {
			add(near.x-taper/2, behind-near.x+taper/2, taper, drop, near.deviations*near.deviations, near.stands)
		}
		for _, far := range seen {
			gap := far.x - near.x
			if far.reflect < -0.02*near.reflect || far.reflect > -1.3*near.reflect || gap < 0.3 || gap > 1.4*wetMostM {
				continue
			}
			// The far edge is seen through the slow stretch.
			add(near.x-taper/2, gap*(1-held)+taper, taper, drop, near.deviations*near.deviations+far.deviations*far.deviations, near.stands)
			paired = true
		}
		if paired {
			continue
		}
		for _, extent := range []float64{0.8, 2.5} {
			if near.x-taper/2+extent < sp.StartM+sp.LengthM {
				add(near.x-taper/2, extent, math.Min(taper, 0.45*extent), drop, near.deviations*near.deviations, near.stands)
			}
		}
	}
	for _, far := range seen { // or the near one in the joint in front
		drop := 2 * far.reflect / (1 + far.reflect)
		if gap := far.x - sp.StartM; drop > soakedDrop/2 && gap > 0.3 && gap < 1.4*wetMostM {
			add(sp.StartM, gap*(1-math.Min(drop, 0.3))+taper/2, taper, drop, far.deviations*far.deviations, far.stands)
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
	return s.distinct(append(s.first(all), s.distinct(all, soakedStarts)...), 2*soakedStarts)
}

// first returns the best of the starts that are the first to stand out, seen from the port.
// What wet cable does to all that is behind it, however much, is no better a start.
func (s *soakSearch) first(all []soakStart) (out []soakStart) {
	from := math.Inf(-1)
	for range soakedFirsts {
		next := math.Inf(1)
		for _, w := range all {
			if w.stands > soakedStands && w.x > from {
				next = math.Min(next, w.x)
			}
		}
		if math.IsInf(next, 1) {
			break
		}
		until := next + math.Max(wetTaperM, 2*s.fit.Cell(next))
		var here []soakStart
		for _, w := range all {
			if w.stands > soakedStands && w.x >= next && w.x < until {
				here = append(here, w)
			}
		}
		out = append(out, s.distinct(here, soakedOfFirst)...)
		from = until
	}
	return out
}

// median returns that of the sizes of v.
func median(v []float64) float64 {
	size := make([]float64, len(v))
	for i, x := range v {
		size[i] = math.Abs(x)
	}
	slices.Sort(size)
	return size[len(size)/2]
}

// distinct returns the best most of the starts, best first, without those that lead to the same.
func (s *soakSearch) distinct(all []soakStart, most int) (out []soakStart) {
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
		if out = append(out, w); len(out) == most {
			break
		}
	}
	return out
}

// from lists p and what is behind it, which the sweep shows later and weaker for it.
func (s *soakSearch) from(p *linemodel.Point) (out []*linemodel.Point) {
	for _, q := range s.fit.Points {
		if q.X >= p.X {
			out = append(out, q)
		}
	}
	return out
}

// wet puts the stretch w on the line.
func (s *soakSearch) wet(w soakStart) *linemodel.Point {
	p := s.fit.NewPoint(math.Max(0, w.x), linemodel.Wet)
	p.Extent, p.Drop, p.Tangent, p.Taper, p.Round = w.extent, w.drop, 0.01, w.taper, true
	wetPriors(p)
	s.fit.Sample(p)
	s.replace(nil, p)
	s.backInPlace()
	return p
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
			p := s.wet(w)
			if fit.Load == nil {
				s.climb(s.from(p)...)
			} else {
				fit.FitLoad()
				fit.Refine(s.from(p), false, true, 4)
			}
			trials = append(trials, trial{cause: WaterInCable, point: p, state: fit.Save(), score: -fit.Cost})
			fit.Restore(base)
		}
	}
	sortTrials(trials)
	trials = trials[:min(len(trials), soakedFinals)]
	if len(trials) > 0 && -trials[0].score > soakedHopeless*s.base[0].Cost {
		trials = nil
	}
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
		sortTrials(trials)
		for _, t := range trials[:min(len(trials), soakedUneven)] {
			if u, ok := s.unevenly(t); ok {
				trials = append(trials, u)
			}
		}
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

// unevenly is t with cable that is unevenly wet inside: a deviation of its impedance
// at every half cell. ok is false where that is not worth its quantities.
func (s *soakSearch) unevenly(t trial) (u trial, ok bool) {
	fit := s.fit
	fit.Restore(t.state)
	p := fit.NewPoint(t.point.X, linemodel.Wet)
	p.CopyFrom(t.point)
	places := int(math.Ceil((p.Extent-p.Taper)/(fit.Cell(p.X)*(1-p.Drop)/2))) - 1
	if places < 1 {
		return u, false
	}
	p.Inside = make([]float64, min(places, soakedPlaces))
	p.InsideSigma, p.FitsInside = math.Max(soakedEven, soakedUnevenness*p.Drop), true
	fit.Sample(p)
	fit.Remove(t.point)
	fit.Insert(p)
	fit.Evaluate()
	fit.Refine(fit.Points, true, true, 8)
	u = trial{cause: t.cause, point: p, state: fit.Save(), score: -fit.Cost - s.price(p)}
	return u, u.score > t.score
}

// price is what the places inside of p cost, one natural unit each.
func (s *soakSearch) price(p *linemodel.Point) float64 {
	return float64(len(p.Inside)) * temper * math.Max(s.fit.Noise, s.fit.ResidualRMS()*s.fit.ResidualRMS())
}

// straightShare is the length of a straight taper, of that of a raised cosine
// that reflects alike: both leave half of the reflection at the same frequency.
const straightShare = 0.74

// How much wet cable lowers its impedance. Common practice, no source.
const (
	wetDropMean  = 0.15
	wetDropSigma = 0.08
)

// wetPriors gives p what is known beforehand of wet cable.
func wetPriors(p *linemodel.Point) {
	p.Fits = linemodel.Fitting(linemodel.ByPlace, linemodel.ByExtent, linemodel.ByDrop, linemodel.ByTangent, linemodel.ByTaper)
	p.Prior[linemodel.ByExtent] = linemodel.Prior{Mean: 2, Sigma: 2.5}
	p.Prior[linemodel.ByDrop] = linemodel.Prior{Mean: wetDropMean, Sigma: wetDropSigma}
	p.Prior[linemodel.ByTangent] = linemodel.Prior{Mean: 0.015, Sigma: 0.015}
	p.Prior[linemodel.ByTaper] = linemodel.Prior{Mean: wetTaperM, Sigma: wetTaperM * 2}
}
