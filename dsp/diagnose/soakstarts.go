package diagnose

import (
	"math"
	"sort"

	"downlead/dsp"
)

// Where a search for wet cable begins: at pairs of tapered edges that the residual of the line of the record
// may hold.

const (
	soakedEdgeFrom   = 3.0 // deviations of an edge worth pairing
	soakedStands     = 5.0 // medians of its section, for one that stands out
	soakedFirsts     = 2   // places that stand out are tried, from the port
	soakedOfFirst    = 5   // starts of each
	soakedEdges      = 40  // of a section and a taper that are paired
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

// soakStart is a first guess of a wet stretch.
type soakStart struct {
	x, extent, taper, drop float64
	score                  float64 // squared deviations that its edges explain
	stands                 float64 // how far its near edge, or its only one, stands out of its section
	first                  bool    // it is one of those that stand out first, seen from the port
}

// edge is a tapered edge that the residual may hold.
type edge struct {
	x, reflect, deviations float64
	stands                 float64 // above what the section shows elsewhere, in its median
}

// march is what a search for edges of one taper needs along a span, at the frequencies up to where they reflect at all.
type march struct {
	step                     float64 // m
	count                    int
	here, turn, seen, weight []complex128 // the gain at the beginning, its turn from step to step, the residual, what it weighs
}

// along prepares a search along a span, ok false where such edges reflect nothing.
func (s *soakSearch) along(span int, taper float64) (m march, ok bool) {
	fit := s.fit
	sp := s.path.Spans[span]
	gamma := fit.Gamma[span]
	shape := make([]float64, len(gamma))
	top := -1
	for k, g := range gamma {
		shape[k] = fit.RoundEdge(imag(g) * taper)
		if math.Abs(shape[k]) > soakedLeastShape {
			top = k
		}
	}
	if top < 0 {
		return m, false
	}
	m.step = math.Pi / imag(gamma[top]) / 8
	m.count = int(sp.LengthM/m.step) + 1
	m.here, m.turn = make([]complex128, len(gamma)), make([]complex128, len(gamma))
	fit.GainAt(m.here, sp.StartM)
	fit.Way(m.turn, span, m.step)
	m.seen, m.weight = make([]complex128, top+1), make([]complex128, top+1)
	for k := range m.seen {
		w := fit.Weight[k] * shape[k]
		m.seen[k], m.weight[k] = complex(w, 0)*fit.Residual[k], complex(w*shape[k], w*shape[k])
	}
	m.here, m.turn = m.here[:top+1], m.turn[:top+1]
	return m, true
}

// edges lists the edges of the given taper, m, that the residual shows in a span,
// strongest first. The first edge of wet cable reflects a negative real amount at low frequencies, the second
// a positive one; a raised cosine of length T multiplies it by cos(βT)/(1 − (2βT/π)²), the
// Fourier transform of its slope.
func (s *soakSearch) edges(span int, taper float64) (out []edge) {
	sp := s.path.Spans[span]
	m, ok := s.along(span, taper)
	if !ok {
		return nil
	}
	noise := s.fit.ResidualRMS()
	size, deviations := make([]float64, m.count), make([]float64, m.count)
	for i := range m.count {
		num, den := dsp.March(m.here, m.turn, m.seen, m.weight)
		if den > 0 {
			size[i], deviations[i] = num/den, num/math.Sqrt(den)/noise*math.Sqrt2
		}
	}
	floor := median(deviations)
	for i, d := range deviations {
		a := math.Abs(d)
		if a < min(soakedEdgeFrom, soakedStands*floor) || i > 0 && math.Abs(deviations[i-1]) >= a || i+1 < m.count && math.Abs(deviations[i+1]) > a {
			continue
		}
		out = append(out, edge{sp.StartM + float64(i)*m.step, size[i], d, a / floor})
	}
	sort.Slice(out, func(i, j int) bool { return math.Abs(out[i].deviations) > math.Abs(out[j].deviations) })
	return out[:min(len(out), soakedEdges)]
}

// starts pairs the edges of a span.
func (s *soakSearch) starts(span int) (out []soakStart) {
	s.tapered(span, soakedLeastShape, func(taper float64, seen []edge) {
		out = append(out, s.paired(span, seen, taper)...)
	})
	return out
}

// tapered calls use with the edges of a span for every taper that reflects so much of what a sharp one does, at
// least.
func (s *soakSearch) tapered(span int, least float64, use func(taper float64, seen []edge)) {
	if !s.narrow() {
		for _, taper := range soakedTapers(2) {
			if s.fit.Over() {
				return
			}
			use(taper, s.edges(span, taper))
		}
		return
	}
	// A taper there is no more than a size and a sign: one look finds the edges of all.
	seen := s.edges(span, 0)
	beta := imag(s.fit.Gamma[span][len(s.fit.FrequencyHz)/2])
	for _, taper := range soakedTapers(math.Sqrt2) {
		if shape := s.fit.RoundEdge(beta * taper); math.Abs(shape) >= least {
			use(taper, scaled(seen, shape))
		}
	}
}

// scaled are edges that reflect as much although they are shaped so.
func scaled(seen []edge, shape float64) []edge {
	out := append([]edge(nil), seen...)
	for i := range out {
		out[i].reflect /= shape
	}
	return out
}

// narrow says whether an edge reflects alike all over the band, but for its phase.
func (s *soakSearch) narrow() bool {
	hz := s.fit.FrequencyHz
	return hz[len(hz)-1] < soakedNarrow*hz[0]
}

// lowEnd says whether the band reaches down to where a fit finds its way whatever the phase.
func (s *soakSearch) lowEnd() bool {
	hz := s.fit.FrequencyHz
	return hz[0] <= 0.3*hz[len(hz)-1]
}

// paired makes starts of edges of the given taper.
func (s *soakSearch) paired(span int, seen []edge, taper float64) (out []soakStart) {
	sp := s.path.Spans[span]
	add := func(x, extent, taper, drop, squares, stands float64) {
		out = append(out, soakStart{x, extent, taper, math.Min(drop, 0.3), squares - sigmas(drop, wetDropMean, wetDropSigma), stands, false})
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

// sigmas is how improbable v is, in squared standard deviations.
func sigmas(v, mean, sigma float64) float64 { return (v - mean) / sigma * (v - mean) / sigma }

// anySpan stands for all of them.
const anySpan = -1

// cables lists the spans that may hold wet cable.
func (s *soakSearch) cables() (out []int) {
	for i, sp := range s.path.Spans {
		if sp.Device == nil && sp.LengthM > wetLeastM {
			out = append(out, i)
		}
	}
	return out
}

// candidates lists the starts of a span or of all, best first, without those that
// lead to the same.
func (s *soakSearch) candidates(span int) (out []soakStart) {
	spans := []int{span}
	if span == anySpan {
		spans = s.cables()
	}
	var all []soakStart
	for _, i := range spans {
		all = append(all, s.starts(i)...)
	}
	best, most := s.distinct(all, soakedStarts), 2*soakedStarts
	if passage := s.passage(); passage != nil {
		var pairs []soakStart
		for _, i := range spans {
			pairs = append(pairs, s.pairs(i, passage)...)
		}
		best, most = append(s.apart(pairs, soakedPairs), best[:min(len(best), soakedPairs/2)]...), 2*soakedPairs
	}
	out = s.distinct(append(s.first(all), best...), most)
	if len(s.late) > 0 {
		var late []soakStart
		for _, i := range spans {
			late = append(late, s.delayed(i)...)
		}
		out = append(out, s.distinct(late, soakedStarts)...)
	}
	return out
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
				w.first = true
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
	return dsp.Ranked(size, len(size)/2)
}

// distinct returns the best most of the starts, best first, without those that lead to the same.
func (s *soakSearch) distinct(all []soakStart, most int) (out []soakStart) {
	sort.SliceStable(all, func(i, j int) bool { return all[i].score > all[j].score })
	n := len(s.fit.FrequencyHz)
	for _, w := range all {
		tenth := 2 * math.Pi / imag(s.fit.Gamma[s.fit.SpanAt(w.x)][n-1]) / 10
		same := false
		for i := range out {
			v := &out[i]
			within := math.Max(tenth, 0.25*math.Max(w.taper, v.taper))
			if math.Abs(v.x+v.taper/2-w.x-w.taper/2) < within && math.Abs(v.x+v.extent-v.taper/2-w.x-w.extent+w.taper/2) < within {
				same, v.first = true, v.first || w.first
			}
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
