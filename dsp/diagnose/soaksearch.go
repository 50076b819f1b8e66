package diagnose

import (
	"cmp"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// soakSearch is a model of the line of the record on a thinned sweep.
type soakSearch struct {
	*bench
	seen   []float64          // where the joints are seen
	base   []*linemodel.State // the line of the record: with what was found at joints, and without
	ways   []passed           // where the sweep shows that something holds the wave up
	roughs []soakStart        // what reflects more all along than the rest of the line
	late   []float64          // how much farther out than recorded what is behind a stretch may be seen, m
	window []float64          // the weights of the fit that locating left
}

const (
	soakedPoints   = 200 // of a sweep are enough to look for it
	soakedRange    = 1.3 // of the line's length must be free of aliases
	soakedStarts   = 10  // of a base are fitted
	soakedPairs    = 7   // pairs of edges behind a passage
	soakedHopeless = 0.9 // of the cost left by the best start: no wet cable
	soakedFinals   = 3   // of these are fitted with all else
	soakedUneven   = 2   // of the best are tried unevenly wet
	soakedPlaces   = 240 // inside of a stretch at most
	// One standard deviation of the impedance inside: so much of its drop, and at
	// least so much of itself. Common practice, no source.
	soakedUnevenness = 0.2
	soakedEven       = 0.01
	edgeLeastDB      = 9.0 // return loss that an edge of wet or of 75-ohm cable has at least, two together
	soakedHops       = 6   // half waves that the edges of the best may be off
)

// lineOfRecord is the line of the record as v has found it.
func (v *view) lineOfRecord() *soakSearch {
	if v.record == nil {
		v.record = newSoakSearch(v.bench, v.found)
	}
	return v.record
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
	var hz, weight, window []float64
	var measured []complex128
	for k := 0; k < n; k += stride {
		w := full.Weight[k]
		window = append(window, w)
		if full.Load != nil && w > 0 { // the window hides the low end
			w = 1
		}
		hz, measured, weight = append(hz, full.FrequencyHz[k]), append(measured, full.Measured[k]), append(weight, w)
	}
	fit := linemodel.NewFit(b.path, hz, measured)
	fit.FollowPort()
	copy(fit.Weight, weight)
	fit.Noise, fit.Unit, fit.Ended = full.Noise, temper*full.Noise, full.Ended
	fit.Patient = true
	if full.Load != nil {
		fit.Load = causalLoad(fit, 0)
	}
	s := &soakSearch{bench: &bench{fit: fit, path: b.path, load: b.load, joints: b.joints, since: b.since}, window: window}
	for k, x := range s.joints {
		s.seen = append(s.seen, seenAt(found.Reflections, fit, k, x, x))
	}
	s.lateness(found)
	strong := false // at joints, which may be edges
	for i := range found.Reflections {
		r := &found.Reflections[i]
		atEnd := r.Kind == locate.AtFarEnd
		if atEnd && s.mirror() != 0 {
			continue
		}
		if !atEnd && r.Total == locate.NotTotal {
			edge := r.Kind == locate.Mid && r.ReturnLossDB > edgeLeastDB // it may be
			if edge || !r.Excess && r.Kind != locate.AtDevice {
				continue
			}
			strong = strong || r.Excess
		}
		for i, p := range r.Points {
			q := s.insertCopy(p)
			if atEnd && i == 0 && len(s.late) > 0 {
				q.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: length, Sigma: placeSigma(length)}
			}
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
	s.rejoinAll(1)
}

// climb fits the points to the lower part of the band first, then to more and
// more of it.
func (s *soakSearch) climb(points ...*linemodel.Point) {
	fit := s.fit
	n := len(fit.FrequencyHz)
	low, high := fit.FrequencyHz[0], fit.FrequencyHz[n-1]
	for _, share := range []float64{0.15, 0.3, 0.6} {
		count := n/8 + 1
		for count < n && fit.FrequencyHz[count] <= low+share*(high-low) {
			count++
		}
		part, copied := fit.Below(count)
		var lower []*linemodel.Point
		for _, p := range points {
			lower = append(lower, copied[p])
		}
		part.Refine(lower, false, false, 4)
		for _, p := range points {
			p.CopyFrom(copied[p])
			fit.Move(p)
			fit.Sample(p)
		}
	}
	fit.Evaluate()
	fit.Refine(points, false, false, 4)
}

// antennaRingsM is how far behind its connector, in electrical metres, an antenna may
// still ring.
const antennaRingsM = 9.0

func (s *soakSearch) insertCopy(p *linemodel.Point) *linemodel.Point {
	q := s.fit.Copy(p)
	s.fit.Insert(q)
	return q
}

// sound puts sound joints and devices where nothing else stands: joints where
// the sweep shows them, else where the record has them.
func (s *soakSearch) sound() {
	devices := s.devicesOfRecord(1)
	for i, x := range s.joints[:len(s.joints)-1] {
		at := s.seen[i]
		if s.occupied(at) {
			continue
		}
		joint := soundJoint(s.fit, at)
		if i > 0 {
			joint.Fits[linemodel.ByPlace] = true
			joint.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: x, Sigma: placeSigma(x)}
		}
		s.fit.Insert(joint)
	}
	for _, d := range devices {
		s.fit.Insert(d)
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

// asNamed makes the line what v has named, what it found by holding the antenna to causality included.
func (s *soakSearch) asNamed(v *view) *linemodel.State {
	fit := s.fit
	s.adopt(v.bench.fit)
	named := fit.Save()
	if held := v.heldToLoad; held != nil {
		for _, q := range slices.Clone(fit.Points) {
			if math.Abs(q.X-held.X) < 0.6*fit.Cell(held.X) {
				fit.Remove(q)
			}
		}
		s.insertCopy(held)
		fit.Evaluate()
		fit.FitLoad()
		fit.Refine(fit.Points, true, true, 8)
		if fit.Cost < named.Cost {
			named = fit.Save()
		}
		fit.Restore(named)
	}
	return named
}

// with puts a copy of p, as it is in state from, into the present model, in place of what lies
// within it, and fits all.
func (s *soakSearch) with(p *linemodel.Point, from *linemodel.State) *linemodel.Point {
	fit := s.fit
	here := fit.Save()
	fit.Restore(from)
	c := fit.Copy(p)
	fit.Restore(here)
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

// from lists p and what is behind it, which the sweep shows later and weaker for it.
func (s *soakSearch) from(p *linemodel.Point) (out []*linemodel.Point) {
	for _, q := range s.fit.Points {
		if q.X >= p.X {
			out = append(out, q)
		}
	}
	return out
}

// wetPoint returns the stretch w. It is not on the line yet.
func (s *soakSearch) wetPoint(w soakStart) *linemodel.Point {
	p := s.fit.NewPoint(math.Max(0, w.x), linemodel.Wet)
	p.Extent, p.Drop, p.Tangent, p.Taper, p.Round = w.extent, w.drop, 0.01, w.taper, true
	wetPriors(p)
	return p
}

// wet puts the stretch w on the line.
func (s *soakSearch) wet(w soakStart) *linemodel.Point {
	p := s.wetPoint(w)
	passage := s.passage()
	if passage != nil {
		s.takePassage(p, passage)
	} else {
		s.takeLoss(p)
	}
	s.put(p, passage != nil)
	return p
}

// put puts p on the line, and what is behind it where backBehind does.
func (s *soakSearch) put(p *linemodel.Point, known bool) {
	s.fit.Sample(p)
	s.replace(nil, p)
	s.backBehind(p, known)
}

// backBehind puts joints behind p where they are if p alone is why they were seen farther out, or, unless it is
// known that something is, where the record has them.
func (s *soakSearch) backBehind(p *linemodel.Point, known bool) {
	for _, q := range s.fit.Points {
		prior := q.Prior[linemodel.ByPlace]
		if prior.Sigma == 0 || q.X < p.X+p.Extent {
			continue
		}
		if !located(q) { // replace has moved what is
			q.X = s.fit.SeenFrom(p, q.X)
		}
		if !known && math.Abs(q.X-prior.Mean) > prior.Sigma/2 {
			q.X = prior.Mean
		}
		s.fit.Move(q)
	}
	if known {
		s.fit.Evaluate()
		return
	}
	s.backInPlace()
}

// takeLoss lets p lose what the mirror at the end was found to lose beyond the record, as far as wet
// cable may. A band with a low end tells by itself whose loss it is.
func (s *soakSearch) takeLoss(p *linemodel.Point) {
	if s.lowEnd() {
		return
	}
	sp := s.path.Spans[s.fit.SpanAt(p.X+p.Extent/2)]
	for _, end := range s.end() {
		if end.Form != linemodel.Step || end.Rising <= 0 {
			continue
		}
		// α = π·f·tan δ/v, there and back (Pozar, "Microwave Engineering", ch. 2.7, from memory).
		perTangent := 2 * math.Pi * s.fit.MiddleHz * p.Extent / (cables.SpeedOfLight * sp.Medium.VelocityFactor * (1 - p.Drop))
		p.Tangent = math.Max(soakedTangent, math.Min(end.Rising/perTangent, soakedMostTangent))
		end.Rising = math.Max(0, end.Rising-p.Tangent*perTangent)
		s.fit.Sample(end)
		return
	}
}

// search fits the most promising starts on the lines of bases and returns them, best first.
func (s *soakSearch) search(bases []*linemodel.State) []trial {
	fit := s.fit
	var trials, first []trial
	try := func(base *linemodel.State, starts []soakStart, fitted func(p *linemodel.Point)) {
		for _, w := range starts {
			p := s.wet(w)
			fitted(p)
			t := trial{cause: WaterInCable, point: p, state: fit.Save(), score: -fit.Cost}
			if trials = append(trials, t); w.first {
				first = append(first, t)
			}
			fit.Restore(base)
		}
	}
	begin := func(base *linemodel.State) {
		fit.Restore(base)
		s.unit = temper * math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS())
		fit.Gains()
	}
	for _, base := range bases {
		ways := s.passages(base)
		if len(ways) > 0 { // what is known beforehand weighs as much as so little left allows
			fit.Restore(ways[0].state)
			fit.Unit = math.Min(fit.Unit, temper*math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS()))
			ways = s.passages(base)
		}
		for _, way := range ways {
			s.ways = append(s.ways, way)
			begin(way.state)
			try(way.state, s.candidates(way.span), func(p *linemodel.Point) { fit.Refine(s.from(p), false, false, 8) })
		}
		if s.mirror() != 0 && len(ways) > 0 && ways[0].state.Cost < soakedByFar*base.Cost {
			continue
		}
		begin(base)
		try(base, s.candidates(anySpan), func(p *linemodel.Point) {
			if fit.Load == nil {
				s.climb(s.from(p)...)
			} else {
				fit.FitLoad()
				fit.Refine(s.from(p), false, true, 4)
			}
		})
	}
	sortTrials(trials)
	trials = trials[:min(len(trials), soakedFinals)]
	if sortTrials(first); len(first) > 0 && !slices.ContainsFunc(trials, func(t trial) bool { return t.point == first[0].point }) {
		trials = append(trials, first[0])
	}
	if len(trials) > 0 && -trials[0].score > soakedHopeless*bases[0].Cost {
		trials = nil
	}
	for i := range trials {
		t := &trials[i]
		fit.Restore(t.state)
		if fit.Load != nil {
			fit.FitLoad()
		}
		fit.Refine(fit.Points, true, true, 8)
		s.rejoinAll(rejoinSigmas)
		t.state, t.score = fit.Save(), -fit.Cost
	}
	sortTrials(trials)
	if len(trials) > 0 {
		for i := range trials {
			if i == 0 || len(first) > 0 && trials[i].point == first[0].point {
				trials[i] = s.hopped(trials[i])
			}
		}
		sortTrials(trials)
		trials = append(trials, s.straight(trials[0]))
		sortTrials(trials)
		for _, t := range trials[:min(len(trials), soakedUneven)] {
			if u, ok := s.unevenly(t); ok {
				trials = append(trials, u)
			}
		}
	}
	base := slices.MinFunc(bases, func(a, b *linemodel.State) int { return cmp.Compare(a.Cost, b.Cost) })
	starts := s.rough(base)
	s.roughs = append(s.roughs, starts...)
	if len(trials) == 0 || -trials[0].score > roughLeft*fit.Noise*float64(len(fit.Measured)) {
		trials = append(trials, s.uneven(base, starts)...)
	}
	fit.Restore(bases[0])
	sortTrials(trials)
	return trials
}

// How much wet cable lowers its impedance. Common practice, no source.
const (
	wetDropMean  = 0.15
	wetDropSigma = 0.08
	wetTangent   = 0.015 // loss tangent, and its deviation

	wetExtentM      = 2.0
	wetExtentSigmaM = 2.5
)

// wetPriors gives p what is known beforehand of wet cable.
func wetPriors(p *linemodel.Point) {
	p.Fits = linemodel.Fitting(linemodel.ByPlace, linemodel.ByExtent, linemodel.ByDrop, linemodel.ByTangent, linemodel.ByTaper)
	p.Prior[linemodel.ByExtent] = linemodel.Prior{Mean: wetExtentM, Sigma: wetExtentSigmaM}
	p.Prior[linemodel.ByDrop] = linemodel.Prior{Mean: wetDropMean, Sigma: wetDropSigma}
	p.Prior[linemodel.ByTangent] = linemodel.Prior{Mean: wetTangent, Sigma: wetTangent}
	p.Prior[linemodel.ByTaper] = linemodel.Prior{Mean: wetTaperM, Sigma: wetTaperM * 2}
}
