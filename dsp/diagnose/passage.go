package diagnose

import (
	"cmp"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/linemodel"
)

// What wet cable does to the wave that passes it does not depend on where it is. So that is fitted
// first, to the echo of an open or shorted end, and what is left of the sweep then shows the edges.

const (
	passageM      = 5.0  // m of wet cable that stand for it
	passageStart  = 0.06 // Np that it loses there and back, at least, to begin with
	passageTimes  = 1.7  // and so many times more at each next start
	passageMost   = 8.0
	passageStarts = 3    // of these are fitted
	passageDark   = 3.0  // Np beyond which nothing but a mirror shows behind it
	passageLeaves = 0.7  // of the cost that it may leave
	passageRivals = 1.5  // times what the best section leaves, another may
	rejoinSigmas  = 2.5  // of its place that a joint may be off
	passageWorth  = 2.0  // times its noise that a line must leave to be searched for a delay of which nothing is seen
	passageClear  = 0.02 // m in front of where the joint behind a section may be
)

// passageLates are what wet cable may hold the wave up by, m, where nothing is seen late.
var passageLates = []float64{0.06, 0.15, 0.35}

// passage is the stretch without a place that the model has, or nil.
func (s *soakSearch) passage() *linemodel.Point {
	for _, q := range s.fit.Points {
		if q.Form == linemodel.Edgeless {
			return q
		}
	}
	return nil
}

// npPerTangent is what so many metres of cable at x lose there and back at the middle of the band for each unit of
// the loss tangent: α = π·f·tan δ/v (Pozar, "Microwave Engineering", ch. 2.7, from memory).
func (s *soakSearch) npPerTangent(x, length float64) float64 {
	return 2 * math.Pi * s.fit.MiddleHz * length / s.fit.VelocityAt(x)
}

// passed is the line of the record with a passage.
type passed struct {
	state   *linemodel.State
	span    int  // that holds the wet cable
	guessed bool // nothing was seen late, or an antenna may take it up: where to begin, and no evidence
}

// passages lists, best first, base with what wet cable in one of the sections does to all that is behind it, as far
// as that comes nearer than base and about as near as the best.
func (s *soakSearch) passages(base *linemodel.State) (out []passed) {
	fit := s.fit
	fit.Restore(base)
	p := fit.NewPoint(s.path.LengthM(), linemodel.Edgeless)
	p.Extent, p.Fits = passageM, linemodel.Fitting(linemodel.ByTangent, linemodel.ByDrop)
	p.Prior[linemodel.ByDrop] = linemodel.Prior{Mean: 0, Sigma: wetDropMean}
	in := func(from *linemodel.State, late float64, guessed bool) {
		for _, i := range s.cables() {
			end := s.path.Spans[i].StartM + s.path.Spans[i].LengthM
			fit.Restore(from)
			s.passIn(p, end, late)
			if fit.Cost < passageLeaves*base.Cost && s.tells(p, end) {
				out = append(out, passed{fit.Save(), i, guessed})
			}
		}
	}
	if s.mirror() == 0 {
		p.Tangent = wetTangent
		fit.Sample(p)
		fit.Insert(p)
		from := fit.Save()
		if base.Cost > passageWorth*fit.Noise*float64(len(fit.Measured)) {
			for _, late := range passageLates {
				in(from, late, true)
			}
		}
		for _, late := range s.late {
			in(from, late, fit.Load != nil)
		}
	} else if from := s.passToMirror(p, base); from != nil {
		fit.Restore(from)
		late := 0.0
		for _, q := range s.end() {
			late = math.Max(late, math.Min(q.X-s.path.LengthM(), soakedMostExcessM))
		}
		in(from, late, false)
	}
	slices.SortStableFunc(out, func(a, b passed) int { return cmp.Compare(a.state.Cost, b.state.Cost) })
	var best []passed
	for _, way := range out {
		if way.state.Cost < passageRivals*out[0].state.Cost && !slices.ContainsFunc(best, func(b passed) bool { return b.span == way.span }) {
			best = append(best, way)
		}
	}
	return best
}

// tells says whether p, in the section that ends there, does more to the wave than a sound line may: it holds it up,
// or takes more of the echo of a mirror.
func (s *soakSearch) tells(p *linemodel.Point, end float64) bool {
	if p.ExcessM() > lateSigmas*placeSigma(end) {
		return s.mirror() != 0 || s.lost(p) < passageDark
	}
	nominal := 2 * real(s.path.Theta(s.fit.MiddleHz, s.path.LengthM()))
	return s.mirror() != 0 && s.lost(p) > lossShare*nominal+lossFloorDB*cables.NeperPerDB
}

// passToMirror is base with what wet cable somewhere does to the echo of the mirror at the end, nil where that
// comes no nearer.
func (s *soakSearch) passToMirror(p *linemodel.Point, base *linemodel.State) *linemodel.State {
	fit := s.fit
	length := s.path.LengthM()
	ends := s.end()
	first := length - 3*placeSigma(length) - 0.1
	for _, q := range ends {
		first = math.Min(first, q.X)
		fit.Remove(q)
	}
	if len(ends) == 0 {
		return nil
	}
	p.X = first - 0.1
	fit.Move(p)
	fit.Insert(p)
	bare := fit.Save()
	p.Fits[linemodel.ByDrop] = false // the place of the mirror says as much
	var starts []*linemodel.State
	for np := passageStart; np < passageMost && !fit.Over(); np *= passageTimes {
		fit.Restore(bare)
		p.Tangent = np / s.npPerTangent(p.X, passageM)
		fit.Sample(p)
		fit.Evaluate()
		s.seekEnd(s.mirror())
		starts = append(starts, fit.Save())
	}
	slices.SortStableFunc(starts, func(a, b *linemodel.State) int { return cmp.Compare(a.Cost, b.Cost) })
	best := base
	for _, start := range starts[:min(len(starts), passageStarts)] {
		fit.Restore(start)
		fit.Refine(s.from(p), false, true, 10)
		if fit.Cost < best.Cost {
			best = fit.Save()
		}
	}
	if best == base {
		return nil
	}
	return best
}

// passIn moves p from the end of the line to that of a section: it holds up all behind that, the end of the line by
// late metres.
func (s *soakSearch) passIn(p *linemodel.Point, end, late float64) {
	fit := s.fit
	lost := s.lost(p)
	p.X = end - rejoinSigmas*placeSigma(end) - passageClear
	excess := math.Max(0, late) * fit.VelocityAt(p.X) / fit.VelocityAt(s.path.LengthM())
	p.Drop = excess / (excess + p.Extent)
	p.Tangent = lost * (1 - p.Drop) / s.npPerTangent(p.X, p.Extent)
	p.Fits[linemodel.ByDrop] = true
	fit.Move(p)
	fit.Sample(p)
	ends := s.end()
	for _, q := range fit.Points {
		at := fit.SeenFrom(p, q.X)
		prior := q.Prior[linemodel.ByPlace]
		if q.X > p.X && prior.Sigma > 0 && math.Abs(at-prior.Mean) < math.Abs(q.X-prior.Mean) || slices.Contains(ends, q) {
			q.X = at
			fit.Move(q)
		}
	}
	fit.Evaluate()
	fit.Refine(s.from(p), false, true, 6)
	for _, q := range s.from(p) {
		if sound(q) && q.Fits[linemodel.ByPlace] {
			s.rejoin(q, s.from(p), rejoinSigmas)
		}
	}
	fit.Refine(fit.Points, true, true, 6)
}

// rejoinAll tries other places of the sound joints, and fits all where one is better.
func (s *soakSearch) rejoinAll(within float64) {
	before := s.fit.Cost
	for _, q := range slices.Clone(s.fit.Points) {
		if sound(q) && q.Fits[linemodel.ByPlace] {
			s.rejoin(q, s.from(q), within)
		}
	}
	if s.fit.Cost < before {
		s.fit.Refine(s.fit.Points, true, true, 8)
	}
}

// rejoin puts the sound joint q where it explains the most, as far as the record lets it be: a fit alone does not
// find its way from one half wave to the next. What is behind is fitted with it.
func (s *soakSearch) rejoin(q *linemodel.Point, behind []*linemodel.Point, within float64) {
	fit := s.fit
	held, was := fit.Save(), q.X
	fit.Remove(q)
	fit.Evaluate()
	n := len(fit.FrequencyHz)
	place := q.Prior[linemodel.ByPlace]
	span := fit.SpanAt(place.Mean - 1e-6)
	step := math.Pi / imag(fit.Gamma[span][n-1]) / 8
	from := place.Mean - within*place.Sigma
	here, turn := make([]complex128, n), make([]complex128, n)
	seen, weight := make([]complex128, n), make([]complex128, n)
	fit.GainAt(here, from)
	fit.Way(turn, span, step)
	for k, w := range fit.Weight {
		seen[k], weight[k] = complex(w, 0)*fit.Residual[k], complex(w, w)
		here[k] *= complex(0, fit.Ratio[k])
	}
	unit := math.Max(fit.Unit, fit.Noise)
	ridge := unit / (2 * q.Prior[linemodel.ByRising].Sigma * q.Prior[linemodel.ByRising].Sigma)
	best := math.Inf(-1)
	for x := from; x < place.Mean+within*place.Sigma; x += step {
		along, power := dsp.March(here, turn, seen, weight)
		reflect := along / (power + ridge)
		if gain := reflect*along - unit/2*sigmas(x, place.Mean, place.Sigma); gain > best {
			best = gain
			q.X, q.Flat, q.Rising = x, 0, 2*reflect // r = z/2 of a small impedance
		}
	}
	if math.Abs(q.X-was) < 2*step { // where a fit finds its way by itself
		fit.Restore(held)
		return
	}
	fit.Move(q)
	fit.Sample(q)
	fit.Insert(q)
	fit.Evaluate()
	fit.Refine(behind, false, true, 6)
	if fit.Cost > held.Cost {
		fit.Restore(held)
	}
}

// takePassage lets p lose what the passage does, and puts all behind where it is seen but for the passage.
func (s *soakSearch) takePassage(p, passage *linemodel.Point) {
	at := p.X + p.Extent/2
	p.Tangent = math.Min(s.lost(passage)*(1-p.Drop)/s.npPerTangent(at, p.Extent-p.Taper), 10*soakedMostTangent)
	s.fit.Remove(passage)
	for _, q := range s.from(passage) {
		q.X = s.fit.SeenAt(passage, q.X)
		s.fit.Move(q)
	}
}

// lost is what passage takes from the wave there and back at the middle of the band, Np.
func (s *soakSearch) lost(passage *linemodel.Point) float64 {
	return passage.Tangent * s.npPerTangent(passage.X, passage.Extent) / (1 - passage.Drop)
}
