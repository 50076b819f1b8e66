package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// Water in the cable shows itself to the whole line rather than at a place: its
// tapered edges reflect at low frequencies alone, where a search with a window
// over the band hardly looks, and what lies behind it comes back late and weak.
// So it is looked for along the whole line, on a model that knows nothing but
// the record, with edges of several tapers: to each taper belongs the part of the
// band in which it reflects, and that part alone finds it (soakstarts.go, soaksearch.go). What the best starts
// come to is held against whatever else was named.

// soaking is wet cable that the line seems to have, or what else is known by what it does to all behind
// it: a section of other cable, a dent just in front of the end (wholesection.go).
type soaking struct {
	point *linemodel.Point   // or a circuit just in front of a mirror (beforeend.go)
	ends  []*linemodel.Point // the mirror behind it
	rest  []*linemodel.Point // of what reflects beside it, as the search for it left them; none where it must stand with the mirror alone
	gain  float64            // natural units of evidence over what was named without it
	cost  float64            // what it leaves
	other []otherPlace       // that explain the sweep nearly as well
}

// otherPlace is where else something may be, and how likely.
type otherPlace struct{ x, share float64 }

const (
	soakedGain         = 40.0 // natural units that wet cable must bring over whatever else was named
	soakedAsGood       = 1.1  // times what the free reflections of locating leave, at most, it may
	soakedTotalDB      = 1.0  // return loss below which a fault reflects all
	soakedLeaves       = 0.75 // and the share of the cost that it may leave
	soakedStrongLeaves = 0.9  // where its edges reflect what no unevenness does
	soakedSpill        = 0.05 // of a strong reflection within so many cells that its circuit may leave
	soakedSpillCells   = 4.0
	soakedBesideMost   = 0.1  // |Γ| of that reflection where the section is known to be wet
	soakedSurely       = 0.1  // of the cost of a line that ends in a mirror that wet cable leaves which is all that explains it: it
	soakedSurelyAs     = 1.5  // may leave so much of what free reflections do, which hold a mirror to nothing
	soakedByFar        = 0.3  // of the cost: what leaves less explains the sweep by far better than a sound line
	soakedOver         = 10.0 // and over anything else between the same edges
	soakedDrop         = 0.03 // drop of impedance below which a line's own spread explains it
	soakedMostDrop     = 0.4
	soakedReflects     = 0.007  // |Γ| that unevenness within a section may reach, 43 dB
	soakedStrong       = 0.03   // that none does, 30 dB,
	soakedShows        = 0.001  // below which edges show one place only if no other does as well, 60 dB,
	soakedLeast        = 0.0005 // and below which they do not show, 66 dB
	soakedTells        = 0.25   // of what the line of the record leaves, that wet cable leaves whose edges do not show
	soakedTellsAs      = 1.5    // and it may leave so many times as much as free points, which need not be cable
	soakedTangent      = 0.001  // loss tangent below which it is not water
	soakedMostTangent  = 0.05   // that the loss of an end behind it is taken for at first
	soakedPoor         = 0.5    // of the cost of the line of the record that what was named leaves: wet cable is sought beside it
	soakedBeside       = 2      // of the best are fitted beside what was named
	soakedUnexplained  = 0.03   // mean square left beyond which nothing is explained
	soakedElsewhereM   = 0.5    // from where it is another place
	soakedUnlikely     = 0.05   // odds of another place that are not worth a word
	soakedNamed        = 0.7    // confidence from which wet cable that was named is taken to be on the line
)

// soaked returns the wet cable that explains the sweep better than what v
// holds, or nil.
func (v *view) soaked() *soaking {
	b := v.bench
	if b.load == cables.Unstated {
		return nil
	}
	var named *linemodel.Point
	wet := false // was named without a stretch that fits: uneven
	for _, o := range b.named {
		if o.finding.Cause == WaterInCable && o.finding.Confidence > soakedNamed {
			wet = true
			if p, _ := b.point(o); p != nil && p.Form == linemodel.Wet && wetEnough(p) {
				named = p
			}
		}
	}
	s := v.lineOfRecord()
	trials := s.search(s.base)
	base := s.fit.Cost // with what was found at joints
	if faulty(v.findings) && (named != nil || !wet) {
		s.asNamed(v)
		if named == nil && s.fit.Cost > base {
			s.fit.Restore(s.base[0])
		}
	}
	state := s.fit.Save()
	if found := v.best(s, trials, state, named, state.Cost < base); found != nil || named != nil || state.Cost > soakedPoor*base || !v.claimsBeforeEnd() {
		return found
	}
	// What was named hides it on the line of the record.
	beside := *s
	beside.base = []*linemodel.State{state}
	trials = slices.DeleteFunc(beside.search(beside.base), s.swallows)
	return v.best(&beside, trials, state, nil, true)
}

// best returns the wet cable of trials that explains the sweep better than state, which holds what was
// named, named among it, or nil. With beside it is tried beside what was named as well.
func (v *view) best(s *soakSearch, trials []trial, state *linemodel.State, named *linemodel.Point, beside bool) *soaking {
	without := state.Cost
	var best *soaking
	var leastState *linemodel.State
	least, leastUnit := math.Inf(1), 1.0
	tried := 0
	var places []soaking
	for _, t := range trials {
		s.fit.Restore(t.state)
		unit := temper * math.Max(s.fit.Noise, s.fit.ResidualRMS()*s.fit.ResidualRMS())
		if v.behindTotal(t.point) || !s.plausible(t.point, nil) || s.bettered(t, trials, soakedOver*unit) {
			continue
		}
		cost := -t.score
		if tried++; named != nil || beside && tried <= soakedBeside {
			s.fit.Restore(state)
			if p := s.with(t.point, t.state); s.fit.Cost+s.price(p) < cost && s.plausible(p, nil) {
				cost = s.fit.Cost + s.price(p)
				t.point = p
			} else {
				s.fit.Restore(t.state)
			}
		}
		place := *t.point // in this state
		places = append(places, soaking{point: &place, cost: cost})
		if cost < least {
			least = cost
			leastUnit = temper * math.Max(s.fit.Noise, s.fit.ResidualRMS()*s.fit.ResidualRMS())
			p := *t.point
			p.FitsInside = false
			leastState = s.fit.Save()
			best = &soaking{point: &p, ends: copies(s.end()), rest: s.beside(t.point), gain: (without - cost) / leastUnit, cost: cost}
		}
	}
	if named != nil && (best == nil || best.gain < 0) {
		p := *named
		return &soaking{point: &p, gain: soakedGain, cost: without}
	}
	gain, leaves := soakedGain, soakedLeaves
	if best != nil {
		s.fit.Restore(leastState)
		if s.slowedSince(best.point) { // that there is some is known
			gain = soakedOver
		}
		if mostReflected(best.point) > soakedStrong {
			leaves = soakedStrongLeaves
		}
	}
	if best == nil || named == nil && (best.gain < gain || least > leaves*without) {
		return nil
	}
	if least > soakedUnexplained*float64(len(s.fit.Measured)) {
		return nil
	}
	best.other = elsewhere(best, places, leastUnit)
	if len(best.other) > 0 && s.mirror() != 0 && mostReflected(best.point) < soakedShows {
		return nil
	}
	if named != nil {
		return best
	}
	// Where free reflections saw nothing of it they are the other explanation, and it must come as
	// near, or nearer, if its edges are no stronger than unevenness.
	free, most := v.found.ResidualRMS, soakedAsGood
	if mostReflected(best.point) < soakedReflects {
		most = soakedLeaves
	}
	left := least / float64(len(s.fit.Measured))
	if s.fit.Load != nil && s.lowEnd() && least < soakedByFar*without {
		// They were fitted under a window, which hides the low end, and with it edges that are strong there.
		s.fit.Restore(leastState)
		left = meanSquare(s.fit.Residual, s.window)
		if mostReflected(best.point) > soakedStrong {
			most = math.Inf(1)
		}
	}
	if s.mirror() != 0 && least < soakedSurely*without {
		most = soakedSurelyAs
	}
	if s.mirror() == 0 && least < soakedTells*without {
		most = math.Max(most, soakedTellsAs)
	}
	// That the cable is wet was found already, and only where is asked.
	known := least < soakedSurely*without && v.allAlong(best.point)
	unseen := !known && (!v.sees(best.point) || v.allAlong(best.point))
	slowed := s.slowedSince(best.point) // no circuit does that
	if v.cutShort(best.point) || (unseen || slowed) && (v.ended() || left > math.Max(most, soakedAsGood)*free*free) || !slowed && s.rivalled(best.point, least) {
		return nil
	}
	if unseen && !slowed && left > most*free*free {
		v.soakedSomewhere = s.mirror() != 0
		return nil
	}
	return best
}

// elsewhere lists the places other than that of best, with their likelihood in natural units of so much cost.
func elsewhere(best *soaking, places []soaking, unit float64) (out []otherPlace) {
	sum := 1.0
	for _, p := range places {
		odds := math.Exp((best.cost - p.cost) / unit)
		if math.Abs(p.point.X-best.point.X) < soakedElsewhereM || odds < soakedUnlikely ||
			slices.ContainsFunc(out, func(o otherPlace) bool { return math.Abs(o.x-p.point.X) < soakedElsewhereM }) {
			continue
		}
		out = append(out, otherPlace{p.point.X, odds})
		sum += odds
	}
	for i := range out {
		out[i].share /= sum
	}
	return out
}

// swallows says whether the wet cable of t lies over something stronger: that is no wet cable, and a
// fault by itself.
func (s *soakSearch) swallows(t trial) bool {
	s.fit.Restore(t.state)
	return slices.ContainsFunc(s.fit.Points, func(q *linemodel.Point) bool {
		return q != t.point && q.X > t.point.X && q.X < t.point.X+t.point.Extent && s.fit.RMS(q) > s.fit.RMS(t.point)
	})
}

// bettered says whether what is no water comes nearer by more than over where t lies.
func (s *soakSearch) bettered(t trial, trials []trial, over float64) bool {
	here := s.fit.Save()
	defer s.fit.Restore(here)
	from, to := t.point.X, t.point.X+t.point.Extent
	for _, u := range trials {
		if u.score-t.score <= over {
			return false // so are those behind it
		}
		if s.fit.Restore(u.state); u.point.X < to && u.point.X+u.point.Extent > from && !s.plausible(u.point, nil) {
			return true
		}
	}
	return false
}

// beside lists copies of what reflects beside p, as it would be found without knowing where it should be.
func (s *soakSearch) beside(p *linemodel.Point) (out []*linemodel.Point) {
	for _, q := range s.fit.Points {
		if q != p && s.fit.RMS(q) > besideLeast {
			c := *q
			c.Prior = [len(c.Prior)]linemodel.Prior{}
			out = append(out, &c)
		}
	}
	return out
}

// besideLeast is the |Γ| of what is worth beginning with, 50 dB.
const besideLeast = 0.003

func copies(points []*linemodel.Point) (out []*linemodel.Point) {
	for _, p := range points {
		c := *p
		out = append(out, &c)
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

// lossy tries more loss than recorded, by the record's own law, and more delay, in each section.
func (s *soakSearch) lossy() (out []trial) {
	held := s.fit.Save()
	for _, sp := range s.path.Spans {
		if sp.Device != nil {
			continue
		}
		p := s.fit.NewPoint(sp.StartM, linemodel.Foreign)
		p.Extent, p.Ratio, p.LossScale = sp.LengthM, 1, 1.5
		p.Fits = linemodel.Fitting(linemodel.ByTangent, linemodel.ByShift)
		s.fit.Sample(p)
		s.fit.Insert(p)
		s.fit.Evaluate()
		s.fit.Refine([]*linemodel.Point{p}, false, false, 4)
		out = append(out, trial{cause: LossySection, point: p, state: s.fit.Save(), score: -s.fit.Cost / s.unit})
		s.fit.Restore(held)
	}
	return out
}

// faulty says whether found holds a fault.
func faulty(found []Finding) bool {
	return slices.ContainsFunc(found, func(f Finding) bool { return f.IsFault })
}

// claimsBeforeEnd says whether v holds a fault that is not at the end of the line.
func (v *view) claimsBeforeEnd() bool {
	return slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && f.Place != placeAntenna && f.Place != placeAtLoad && f.Place != placeFarEnd && f.Place != placeInFront
	})
}

// sees says whether v holds a reflection beyond that of a sound line within p, be it in the skirts of the far end.
func (v *view) sees(p *linemodel.Point) bool {
	fit := v.bench.fit
	cell := fit.Cell(p.X)
	within := func(x float64) bool { return x > p.X-cell && x < p.X+p.Extent+p.ExcessM()+cell }
	return slices.ContainsFunc(v.found.Reflections, func(r locate.Reflection) bool {
		if r.Kind == locate.AtFarEnd {
			return slices.ContainsFunc(r.Points, func(q *linemodel.Point) bool {
				return q.X < r.DistanceM-cell && within(q.X) && fit.RMS(q) > soakedReflects
			})
		}
		return (r.Excess || r.Kind == locate.Mid) && r.Total == locate.NotTotal && within(r.DistanceM)
	})
}

// allAlong says whether cable that is unevenly wet was named where p lies: free reflections stand for that.
func (v *view) allAlong(p *linemodel.Point) bool {
	return slices.ContainsFunc(v.bench.named, func(o *verdictOf) bool {
		return o.trials[0].uneven && o.finding.DistanceM < p.X+p.Extent && o.finding.DistanceM+o.finding.ExtentM > p.X
	})
}

// ended says whether v holds a fault that reflects all, such as an open or a short circuit. Its model of what
// is behind the last section is a poor one then.
func (v *view) ended() bool {
	return slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && f.ReturnLossDB < soakedTotalDB
	})
}

// cutShort says whether v holds a total reflection within p: nothing of it shows behind that.
func (v *view) cutShort(p *linemodel.Point) bool {
	cell := v.bench.fit.Cell(p.X)
	for _, r := range v.found.Reflections {
		if r.Total != locate.NotTotal && r.DistanceM > p.X && r.DistanceM < p.X+p.Extent-cell/2 {
			return true
		}
	}
	return false
}

// behindTotal says whether v holds a total reflection, an open or a short circuit in front of the end of p: behind it nothing shows.
func (v *view) behindTotal(p *linemodel.Point) bool {
	end := p.X + p.Extent + p.ExcessM() + v.bench.fit.Cell(p.X)
	return hidden(v.found.Reflections, end) || slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && (f.Cause == OpenCircuit || f.Cause == ShortCircuit) && f.DistanceM < end
	})
}

// plausible says whether p, in the given state or, nil, in the present one, may
// be wet cable.
func (s *soakSearch) plausible(p *linemodel.Point, state *linemodel.State) bool {
	if state != nil {
		s.fit.Restore(state)
	}
	span := s.fit.SpanAt(p.X + p.Extent/2)
	sp := s.path.Spans[span]
	slack := p.Taper/2 + 0.5*s.fit.Cell(p.X)
	known := slices.ContainsFunc(s.ways, func(way passed) bool { return way.span == span && !way.guessed })
	late := known || len(s.late) > 0 // then something slows the wave, whatever it loses
	slow := slowEnough(p) || known && p.Drop > soakedDrop/2 && p.Drop < soakedMostDrop && p.Extent > wetLeastM
	if !(slow && (p.Tangent > soakedTangent || mostReflected(p) > soakedStrong)) && !(late && p.Drop > soakedDrop && slow) || sp.Device != nil || p.X < 0 || p.X < sp.StartM-slack || p.X+p.Extent > sp.StartM+sp.LengthM+slack {
		return false
	}
	// Beside a strong reflection its own model is not exact enough to tell.
	size := s.fit.RMS(p)
	telling := s.telling(p)
	told := telling || known || s.slowedSince(p) // by more than edges
	for _, q := range s.fit.Points {
		if told && s.fit.RMS(q) < soakedBesideMost {
			continue
		}
		gap := math.Max(p.X-q.X, q.X-p.X-p.Extent)
		mirror := s.mirror() != 0 && s.fit.RMS(q) > 0.8
		if q != p && !mirror && gap < soakedSpillCells*s.fit.Cell(p.X) && size < soakedSpill*s.fit.RMS(q) {
			return false
		}
	}
	if s.mirror() != 0 { // which comes back late and weak for water, and not for unevenness
		return mostReflected(p) > soakedLeast
	}
	return s.fit.RMS(p) > soakedReflects || (late || s.isRough(p)) && mostReflected(p) > soakedLeast || telling
}

// telling says whether p explains so much of what the line of the record leaves, what is uneven inside at its price, that no
// unevenness of the line does it, however little its edges reflect. A mirror shows much that is neither.
func (s *soakSearch) telling(p *linemodel.Point) bool {
	return s.mirror() == 0 && s.fit.Cost+s.price(p) < soakedTells*cheapest(s.base).Cost
}

// mostReflected is the |Γ| of p where it reflects most.
func mostReflected(p *linemodel.Point) float64 {
	most := 0.0
	for _, r := range p.Reflect {
		most = math.Max(most, cmplx.Abs(r))
	}
	return most
}

// wetEnough says whether what the fit made of a stretch can be water.
func wetEnough(p *linemodel.Point) bool { return slowEnough(p) && p.Tangent > soakedTangent }

// slowEnough says whether a stretch slows the wave as water does. Where it loses much it slows low
// frequencies more, and shows it there.
func slowEnough(p *linemodel.Point) bool {
	return p.Drop > 0 && math.Max(p.Drop, 2*mostReflected(p)) > soakedDrop && p.Drop < soakedMostDrop && p.Extent > wetLeastM
}

// soakedFinding tells of wet cable that the line was found to have, which may be at other places as well.
func (b *bench) soakedFinding(p *linemodel.Point, other []otherPlace) Finding {
	cell := b.fit.Cell(p.X)
	share, words := 1.0, []string(nil)
	for _, o := range other {
		share -= o.share
		words = append(words, fmt.Sprintf("%.2f m (%.0f %%)", o.x, 100*o.share))
	}
	f := Finding{DistanceM: math.Max(0, p.X), SigmaM: math.Hypot(placeSigma(p.X), 0.1*cell), ExtentM: p.Extent, Cause: WaterInCable, IsFault: true,
		Confidence: trust(1), Place: "in " + b.path.Spans[b.fit.SpanAt(p.X+p.Extent/2)].Name,
		ReturnLossDB: -20 * math.Log10(math.Max(b.fit.RMS(p), 1e-6)),
		Alternatives: []Alternative{}, Checks: []string{}, Cautions: []string{}}
	nameAlone(&f)
	f.Confidence *= share // of the place, not of the cause
	told := describe(p, nil, b.fit, 0, "")[0]
	if len(words) > 0 {
		f.Evidence = append(f.Evidence, "its edges reflect so little that it may begin elsewhere as well: at "+strings.Join(words, ", "))
	}
	t := trial{cause: WaterInCable, point: p, state: b.fit.Save(), words: told}
	b.named = append(b.named, &verdictOf{finding: f, trials: []trial{t}})
	return f
}
