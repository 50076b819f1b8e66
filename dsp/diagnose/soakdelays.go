package diagnose

import (
	"math"
	"slices"

	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// What lies behind wet cable is seen late. That says by how much a stretch slows the
// wave, whatever its edges reflect, and so which pairs of edges may be its own, though
// others stand out more.

// lateSigmas is how many standard deviations of its place in the record something must
// be late to be worth a search.
const lateSigmas = 2.5

// lateness lists by how much what is found behind joints or the end is farther out than
// the record's tolerance allows, or comes later than in the earlier sweep.
func (s *soakSearch) lateness(found *locate.Result) {
	length := s.path.LengthM()
	if s.since != nil {
		for i := range s.since.Changes {
			c := &s.since.Changes[i]
			mayBeItself := c.AtLoad && c.Kind != changeDelayed
			if c.DelayS > delayNamedS && c.DelayM < soakedMostExcessM && !mayBeItself {
				s.late = append(s.late, c.DelayM)
			}
		}
	}
	for i := range found.Reflections {
		r := &found.Reflections[i]
		if r.Kind != locate.AtFarEnd && r.Kind != locate.AtJoint && r.Kind != locate.Mid || len(r.Points) == 0 {
			continue
		}
		for _, x := range s.joints[1:] {
			late := r.DistanceM - x
			atEnd := x == length
			if late > lateSigmas*placeSigma(x) && late < soakedMostExcessM && atEnd == (r.Kind == locate.AtFarEnd) {
				s.late = append(s.late, late)
			}
		}
	}
}

// delayed pairs the edges of a span that make what is behind it as late as it is seen.
func (s *soakSearch) delayed(span int) (out []soakStart) {
	s.tapered(span, soakedLeastShape/4, func(taper float64, seen []edge) {
		for _, near := range seen {
			for _, far := range seen {
				gap := far.x - near.x
				if near.reflect >= 0 || far.reflect <= 0 || gap < wetLeastM || gap > 1.4*wetMostM {
					continue
				}
				for _, late := range s.late {
					drop := late / gap
					if drop < soakedDrop || drop > soakedMostDrop {
						continue
					}
					off := math.Log(-2*near.reflect/drop) / math.Ln2
					out = append(out, soakStart{near.x - taper/2, gap - late + taper, taper, drop, near.deviations*near.deviations + far.deviations*far.deviations - sigmas(drop, wetDropMean, wetDropSigma) - off*off, near.stands, false})
				}
			}
		}
	})
	return out
}

// slowedSince says whether p begins where the earlier sweep says that the cable has become slower.
func (s *soakSearch) slowedSince(p *linemodel.Point) bool {
	if s.since == nil {
		return false
	}
	return slices.ContainsFunc(s.since.Changes, func(c change) bool {
		return c.Kind == changeDelayed && c.DelayS > delayNamedS && p.X > c.FromM-s.since.cellM && p.X < c.DistanceM+sinceCells*s.since.cellM
	})
}

// sinceCells is how far behind the first place that shows it, in cells, a stretch may begin that holds all behind it up.
const sinceCells = 1.5
