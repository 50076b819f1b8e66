package diagnose

import (
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

const (
	soakedStarts   = 10  // of a base are fitted
	soakedPairs    = 7   // pairs of edges behind a passage
	soakedHopeless = 0.9 // of the cost left by the best start: no wet cable
	soakedFinals   = 4   // of these are fitted with all else
	soakedUneven   = 2   // of the best are tried unevenly wet
	soakedPlaces   = 240 // inside of a stretch at most
	// One standard deviation of the impedance inside: so much of its drop, and at
	// least so much of itself. Common practice, no source.
	soakedUnevenness = 0.2
	soakedEven       = 0.01
	soakedHops       = 6 // half waves that the edges of the best may be off
)

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
	trials = s.differing(trials, soakedFinals)
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
	base := cheapest(bases)
	starts := s.rough(base)
	s.roughs = append(s.roughs, starts...)
	if len(trials) == 0 || -trials[0].score > roughLeft*fit.Noise*float64(len(fit.Measured)) {
		trials = append(trials, s.uneven(base, starts)...)
	}
	fit.Restore(bases[0])
	sortTrials(trials)
	return trials
}

// differing returns the best most of trials, best first, no two of which have come to the same stretch.
func (s *soakSearch) differing(trials []trial, most int) (out []trial) {
	var edges [][2]float64
	for _, t := range trials {
		s.fit.Restore(t.state)
		near, far, reach := t.point.X, t.point.X+t.point.Extent, s.fit.Cell(t.point.X)/2
		if slices.ContainsFunc(edges, func(e [2]float64) bool { return math.Abs(e[0]-near) < reach && math.Abs(e[1]-far) < reach }) {
			continue
		}
		edges = append(edges, [2]float64{near, far})
		if out = append(out, t); len(out) == most {
			break
		}
	}
	return out
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
