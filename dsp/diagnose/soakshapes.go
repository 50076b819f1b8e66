package diagnose

import (
	"math"

	"downlead/dsp/linemodel"
)

// Other shapes of a stretch of wet cable that a search has found: half waves away, with
// straight edges, and uneven inside.

// hopped is t with its edges half waves away, as long as that comes nearer: a band without a low end
// shows an edge at every half wave, and a fit does not find its way from one to the next.
func (s *soakSearch) hopped(t trial) trial {
	fit := s.fit
	if s.lowEnd() {
		return t
	}
	for range soakedHops {
		best := t
		for _, hop := range [][2]float64{{0, 0}, {0, -1}, {0, 1}, {1, -1}, {-1, 1}, {1, 0}, {-1, 0}} {
			if fit.Over() {
				return t
			}
			fit.Restore(t.state)
			p := t.point
			half := math.Pi / fit.Beta0[fit.SpanAt(p.X+p.Extent/2)]
			p.X += hop[0] * half
			p.Extent += hop[1] * half * (1 - p.Drop)
			if p.X < 0 || p.Extent < 2*p.Taper || p.Extent < wetLeastM {
				continue
			}
			fit.Move(p)
			fit.Sample(p)
			for _, q := range fit.Points { // joints may have hopped as well
				if prior := q.Prior[linemodel.ByPlace]; prior.Sigma > 0 && q.X > p.X {
					q.X = prior.Mean
					fit.Move(q)
				}
			}
			fit.Evaluate()
			fit.Refine(s.from(p), true, true, 4)
			fit.Refine(fit.Points, true, true, 4)
			if -fit.Cost > best.score {
				best.state, best.score = fit.Save(), -fit.Cost
			}
		}
		if best.score == t.score {
			break
		}
		t = best
	}
	fit.Restore(t.state)
	return t
}

// straight is t with edges that rise straight.
func (s *soakSearch) straight(t trial) trial {
	fit := s.fit
	fit.Restore(t.state)
	like := *t.point
	like.Round, like.Taper = false, straightShare*like.Taper
	p := fit.Copy(&like)
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
	like := *t.point
	places := int(math.Ceil((like.Extent-like.Taper)/(fit.Cell(like.X)*(1-like.Drop)/2))) - 1
	if places < 1 {
		return u, false
	}
	like.Inside = make([]float64, min(places, soakedPlaces))
	like.InsideSigma, like.FitsInside = math.Max(soakedEven, soakedUnevenness*like.Drop), true
	p := fit.Copy(&like)
	fit.Remove(t.point)
	fit.Insert(p)
	fit.Evaluate()
	fit.Refine(fit.Points, true, true, 8)
	u = trial{cause: t.cause, point: p, state: fit.Save(), score: -fit.Cost - s.price(p)}
	return u, u.score > t.score
}

// price is what the places inside of p cost.
func (s *soakSearch) price(p *linemodel.Point) float64 {
	return s.fit.OccamInside(p) * math.Max(s.fit.Noise, s.fit.ResidualRMS()*s.fit.ResidualRMS())
}

// straightShare is the length of a straight taper, of that of a raised cosine
// that reflects alike: both leave half of the reflection at the same frequency.
const straightShare = 0.74
