package diagnose

import (
	"cmp"
	"math"
	"slices"

	"downlead/dsp"
	"downlead/dsp/linemodel"
)

// Wet cable whose edges are too soft to reflect still shows by what is uneven inside: there the line
// reflects more, all along, than a sound line does. With a band that resolves it, that says where it is.

const (
	roughLeastCells = 4    // of a stretch
	roughSound      = 6    // cells of the line that must be left to compare with
	roughContrast   = 3.0  // times the power of the rest of the line
	roughLeast      = 60.0 // natural units that two powers explain better than one: thousands of stretches are tried, and sound cable is uneven in spots
	roughSpread     = 3.0  // cells that share its power at least: a single place has two
	roughMost       = 2    // stretches are tried
	roughLeft       = 2.0  // times the noise that leaves something to explain
	roughClear      = 1.0  // cells about a point of reflection where its own misfit shows
	roughLateM      = 0.3  // and so much farther, for wet cable holds up what is behind it
)

// roughCell is what a resolution cell reflects: the power that comes back, over that of noise, and |Γ|² there.
type roughCell struct {
	x              float64
	span           int
	power, reflect float64
}

// roughCells lists what the residual shows in each resolution cell of the cable, but for those beside points of reflection.
func (s *soakSearch) roughCells() (out []roughCell) {
	fit := s.fit
	n := len(fit.FrequencyHz)
	low, high := fit.FrequencyHz[0], fit.FrequencyHz[n-1]
	here, turned, turn := make([]complex128, n), make([]complex128, n), make([]complex128, n)
	seen, weight := make([]complex128, n), make([]complex128, n)
	for k, f := range fit.FrequencyHz { // von Hann's window
		w := fit.Weight[k] * (0.5 - 0.5*math.Cos(2*math.Pi*(f-low)/(high-low)))
		seen[k], weight[k] = complex(w, 0)*fit.Residual[k], complex(w, w)
	}
	for _, i := range s.cables() {
		sp := s.path.Spans[i]
		cell := fit.Cell(sp.StartM)
		fit.GainAt(here, sp.StartM)
		fit.Way(turn, i, cell)
		for k, h := range here {
			turned[k] = h * 1i
		}
		for x := sp.StartM; x < sp.StartM+sp.LengthM; x += cell {
			re, power := dsp.March(here, turn, seen, weight)
			im, _ := dsp.March(turned, turn, seen, weight)
			if !slices.ContainsFunc(fit.Points, func(q *linemodel.Point) bool { return x > q.X-roughClear*cell && x < q.X+roughClear*cell+roughLateM }) {
				out = append(out, roughCell{x, i, (re*re + im*im) / power, (re*re + im*im) / (power * power)})
			}
		}
	}
	return out
}

// roughSums are the sums of the first cells' powers, and of the squares of these.
type roughSums struct{ first, second []float64 }

// sumRough sums what of gives of the cells.
func sumRough(cells []roughCell, of func(roughCell) float64) roughSums {
	sums := roughSums{make([]float64, len(cells)+1), make([]float64, len(cells)+1)}
	for i, c := range cells {
		v := of(c)
		sums.first[i+1], sums.second[i+1] = sums.first[i]+v, sums.second[i]+v*v
	}
	return sums
}

// gain is how many natural units better two powers explain the cells, one from i to j and another elsewhere, than one does:
// those of cells are exponentially distributed. 0 where those from i to j are not much the stronger, or are few.
func (r roughSums) gain(i, j int) float64 {
	last := len(r.first) - 1
	within := r.first[j] - r.first[i]
	beyond := r.first[last] - within
	inside, outside := float64(j-i), float64(last-j+i)
	if within*outside < roughContrast*beyond*inside || within*within < roughSpread*(r.second[j]-r.second[i]) {
		return 0
	}
	return float64(last)*math.Log(r.first[last]/float64(last)) - inside*math.Log(within/inside) - outside*math.Log(beyond/outside)
}

// rough lists the stretches that on the line of base reflect more all along than the rest of the line does, be that
// noise or, weaker the farther out, the roughness of sound cable.
func (s *soakSearch) rough(base *linemodel.State) (out []soakStart) {
	s.fit.Restore(base)
	s.fit.Gains()
	cells := s.roughCells()
	n := len(cells)
	if n < roughSound+roughLeastCells {
		return nil
	}
	noise, sound := sumRough(cells, func(c roughCell) float64 { return c.power }), sumRough(cells, func(c roughCell) float64 { return c.reflect })
	var all []soakStart
	for i := range cells {
		for j := i + roughLeastCells; j <= n && n-(j-i) >= roughSound; j++ {
			first, last := cells[i], cells[j-1]
			cell := s.fit.Cell(first.x)
			// A window makes it a cell longer either way, and its end is seen through the slow stretch.
			shows := (last.x - first.x - 2*cell) * (1 - wetDropMean)
			taper := math.Min(wetTaperM, shows/3)
			extent := shows + taper/2 // of a taper half is uneven enough to show
			if last.span != first.span || extent > wetMostM {
				break
			}
			if extent < wetLeastM {
				continue
			}
			if gain := math.Min(noise.gain(i, j), sound.gain(i, j)); gain > roughLeast {
				all = append(all, soakStart{x: math.Max(0, first.x+cell-taper/4), extent: extent, taper: taper, drop: wetDropMean, score: gain})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b soakStart) int { return cmp.Compare(b.score, a.score) })
	for _, w := range all {
		if !slices.ContainsFunc(out, func(v soakStart) bool { return w.x < v.x+v.extent && w.x+w.extent > v.x }) {
			out = append(out, w)
		}
		if len(out) == roughMost {
			break
		}
	}
	return out
}

// uneven fits such stretches, unevenly wet, beginning with all behind them where it is seen: by how much they delay it
// need not be known to half a wave then.
func (s *soakSearch) uneven(base *linemodel.State, starts []soakStart) (out []trial) {
	fit := s.fit
	for _, w := range starts {
		fit.Restore(base)
		p := s.wetPoint(w)
		s.put(p, true)
		u, ok := s.unevenly(trial{cause: WaterInCable, point: p, state: fit.Save(), score: math.Inf(-1)})
		if !ok || u.state.Cost > soakedHopeless*base.Cost {
			continue
		}
		fit.Restore(u.state)
		fit.Refine(fit.Points, true, true, roughSteps)
		u.state, u.score = fit.Save(), -fit.Cost-s.price(u.point)
		if u = s.trimmed(u); s.plausible(u.point, u.state) {
			out = append(out, u)
		}
	}
	return out
}

// roughSteps are those of the fit of such a stretch, after those of any uneven one.
const roughSteps = 12

// isRough says whether p lies where the line reflects more all along than elsewhere.
func (s *soakSearch) isRough(p *linemodel.Point) bool {
	return slices.ContainsFunc(s.roughs, func(w soakStart) bool {
		both := math.Min(w.x+w.extent, p.X+p.Extent) - math.Max(w.x, p.X)
		return both > math.Max(w.extent, p.Extent)/2
	})
}

// roughTrim is the share of what is uneven inside, of all of it squared, that either end of a stretch holds that is none.
const roughTrim = 0.01

// trimmed is t without what at its ends is even, as long as that is worth more than it costs.
func (s *soakSearch) trimmed(t trial) trial {
	fit := s.fit
	for {
		fit.Restore(t.state)
		p := t.point
		n := len(p.Inside)
		sum := 0.0
		for _, v := range p.Inside {
			sum += v * v
		}
		from, to := 0, n
		for left := roughTrim * sum; from < n && left > p.Inside[from]*p.Inside[from]; from++ {
			left -= p.Inside[from] * p.Inside[from]
		}
		for left := roughTrim * sum; to > from && left > p.Inside[to-1]*p.Inside[to-1]; to-- {
			left -= p.Inside[to-1] * p.Inside[to-1]
		}
		if to-from < 2 || to-from == n {
			return t
		}
		like := *p
		step := (p.Extent - p.Taper) / float64(n+1)
		like.Inside = slices.Clone(p.Inside[from:to])
		like.X += float64(from) * step
		like.Extent -= float64(n-to+from) * step
		q := fit.Copy(&like)
		fit.Remove(p)
		fit.Insert(q)
		for _, r := range fit.Points { // stays where it is seen
			if r.X > q.X+q.Extent && r.Fits[linemodel.ByPlace] {
				r.X = fit.SeenFrom(q, fit.SeenAt(p, r.X))
				fit.Move(r)
			}
		}
		fit.Evaluate()
		fit.Refine(fit.Points, true, true, roughSteps/2)
		u := trial{cause: t.cause, point: q, state: fit.Save(), score: -fit.Cost - s.price(q)}
		if u.score <= t.score {
			return t
		}
		t = u
	}
}
