package diagnose

import (
	"cmp"
	"math"
	"slices"

	"downlead/dsp"
	"downlead/dsp/linemodel"
)

// Where it is known what wet cable does to the wave, its two edges are looked for together: the far one reflects
// as much as the near one, behind just that.

const (
	soakedTaperM     = 0.05 // the least taper that is looked for
	soakedMostTaperM = 1.7  // and the most
	nearLeast        = 1.0  // deviations of the near edge of a pair
	uneven           = 0.3  // share of its drop that an edge may reflect more or less than
)

// pairs lists the pairs of edges that the residual shows in a span, the far one behind passage: of each cell
// of the near one's place and of the gap, the best.
func (s *soakSearch) pairs(span int, passage *linemodel.Point) (out []soakStart) {
	gamma := s.fit.Gamma[span]
	most := 1 / imag(gamma[len(gamma)-1]) // that a taper may be off: a radian
	for taper := soakedTaperM; taper < soakedMostTaperM && !s.fit.Over(); taper += math.Min(taper, most) {
		out = append(out, s.shaped(span, passage, taper)...)
	}
	return out
}

// shaped lists the pairs of edges of the given taper.
func (s *soakSearch) shaped(span int, passage *linemodel.Point, taper float64) (out []soakStart) {
	fit := s.fit
	sp := s.path.Spans[span]
	m, ok := s.along(span, taper)
	if !ok {
		return nil
	}
	step, count := m.step, m.count
	far, cross, ones := make([]complex128, len(m.here)), make([]complex128, len(m.here)), make([]complex128, len(m.here))
	for k, here := range m.here {
		far[k], ones[k] = here*passage.Through[k], 1
		cross[k] = complex(real(m.weight[k])*(real(here)*real(here)+imag(here)*imag(here)), 0) * passage.Through[k]
	}
	var sums [3][]float64 // what the residual has of a near edge at every step, of a far one, and of both at a gap
	var powers [2][]float64
	for i, here := range [][]complex128{m.here, far} {
		for range count {
			sum, power := dsp.March(here, m.turn, m.seen, m.weight)
			sums[i], powers[i] = append(sums[i], sum), append(powers[i], power)
		}
	}
	for range count {
		sum, _ := dsp.March(cross, m.turn, ones, m.weight)
		sums[2] = append(sums[2], sum)
	}
	noise := fit.ResidualRMS()
	cells := max(1, int(fit.Cell(sp.StartM)/step))
	longest := min(count, int(1.4*wetMostM/step))
	best := make([]soakStart, longest/cells+1) // of one cell of the near edge's place
	keep := func() {
		for k, w := range best {
			if w.score > 0 {
				out = append(out, w)
			}
			best[k] = soakStart{}
		}
	}
	lost, late, sigma := s.lost(passage), passage.ExcessM(), placeSigma(sp.StartM+sp.LengthM)
	for i := range count {
		if i%cells == 0 {
			keep()
		}
		if -sums[0][i] < nearLeast*noise*math.Sqrt(powers[0][i]/2) {
			continue
		}
		for j := i + max(1, int(wetLeastM/step)); j < min(count, i+longest); j++ {
			num := sums[1][j] - sums[0][i]
			den := powers[0][i] + powers[1][j] - 2*sums[2][j-i]*powers[0][i]/powers[0][0]
			// The far edge is seen through the slow stretch.
			gap := float64(j-i) * step
			here := &best[(j-i)/cells]
			squares := 2 * num * num / den / (noise * noise)
			if num < 0 || den <= 0 || squares < math.Max(here.score, soakedEdgeFrom*soakedEdgeFrom) {
				continue
			}
			// Both how much they reflect and how late what is behind them is seen tell the drop.
			size := num / den
			seenDrop, lateDrop := 2*size/(1+size), late/gap
			seenVar := 2*noise*noise/den + uneven*uneven*seenDrop*seenDrop
			lateVar := sigma * sigma / (gap * gap)
			drop := (seenDrop*lateVar + lateDrop*seenVar) / (lateVar + seenVar)
			if drop < soakedDrop/2 || drop > soakedMostDrop {
				continue
			}
			extent := gap*(1-drop) + taper
			tangent := lost * (1 - drop) / s.npPerTangent(sp.StartM, gap*(1-drop))
			score := squares - (drop-seenDrop)*(drop-seenDrop)/seenVar - (drop-lateDrop)*(drop-lateDrop)/lateVar -
				sigmas(drop, wetDropMean, wetDropSigma) - sigmas(tangent, wetTangent, wetTangent) - sigmas(extent, wetExtentM, wetExtentSigmaM)
			if score > here.score {
				*here = soakStart{math.Max(0, sp.StartM+float64(i)*step-taper/2), extent, taper, drop, score, 0, false}
			}
		}
	}
	keep()
	return out
}

// apart returns the best most of the pairs, best first, no two within a cell of each other at either edge.
func (s *soakSearch) apart(all []soakStart, most int) (out []soakStart) {
	slices.SortStableFunc(all, func(a, b soakStart) int { return cmp.Compare(b.score, a.score) })
	for _, w := range all {
		cell := s.fit.Cell(w.x)
		if slices.ContainsFunc(out, func(v soakStart) bool {
			return math.Abs(v.x+v.taper/2-w.x-w.taper/2) < cell && math.Abs(v.x+v.extent-v.taper/2-w.x-w.extent+w.taper/2) < cell
		}) {
			continue
		}
		if out = append(out, w); len(out) == most {
			break
		}
	}
	return out
}
