package diagnose

import (
	"math"
	"sort"

	"downlead/dsp/linemodel"
)

// A fit finds the place and the sizes of a circuit from no farther than an
// eighth of a wave, and what the free points of locating say of the place may be
// half a cell off. So every circuit is first held against what these points
// reflect together, by itself, on a grid of places and sizes; the best few starts
// are fitted in full.
const (
	screenPoints   = 101 // frequencies of the screening
	screenPlaces   = 64  // most places of a grid
	screenFits     = 8   // of the best starts are fitted alone
	screenKept     = 3   // of these are fitted in full
	screenReach    = 0.7 // cells to either side of what is seen
	screenSpread   = 0.5 // of the strongest: weaker points do not widen the grid
	screenApart    = 0.2 // of half a wave between two starts that differ
	screenLong     = 40  // of starts of what is long against the wave
	screenLongKept = 5   // of which so many are fitted in full
	screenBehind   = 30  // natural units: a start that far behind the best is none
	placesPerHalf  = 4   // places to half a wave
)

// screening is a fit of what points reflect by themselves.
type screening struct {
	fit  *linemodel.Fit
	fits int // so many of the best starts are fitted alone
	kept int // and of these so many are returned
}

// screen prepares a screening of what may stand instead of the points.
func (b *bench) screen(instead []*linemodel.Point) *screening {
	return &screening{b.fit.Local(instead, screenPoints), screenFits, screenKept}
}

// places is a grid from one place to another, an eighth of a wave apart.
func (s *screening) places(from, to float64) []float64 {
	step := math.Pi / s.fit.Beta0[s.fit.SpanAt((from+to)/2)] / placesPerHalf
	n := int(math.Ceil((to - from) / step))
	n = max(0, min(n, screenPlaces-1))
	out := make([]float64, n+1)
	for i := range out {
		out[i] = (from + to) / 2
		if n > 0 {
			out[i] = from + (to-from)*float64(i)/float64(n)
		}
	}
	return out
}

// starts returns copies of p at the places and with the sizes from which a fit
// of it goes best, best first. Every guess is a function that sets p's sizes.
func (s *screening) starts(p *linemodel.Point, places []float64, guesses []func(p *linemodel.Point)) []*linemodel.Point {
	fit := s.fit
	type start struct {
		point *linemodel.Point
		cost  float64
	}
	trial := fit.NewPoint(p.X, p.Form)
	trial.CopyFrom(p)
	fit.Insert(trial)
	defer fit.Remove(trial)
	at := func(x float64, guess func(p *linemodel.Point)) float64 {
		fit.Remove(trial)
		trial.CopyFrom(p)
		trial.X = x
		guess(trial)
		fit.Move(trial)
		fit.Sample(trial)
		fit.Insert(trial)
		fit.Evaluate()
		return fit.Cost
	}
	var kept []start
	costs := make([]float64, len(places))
	for _, guess := range guesses {
		for i, x := range places {
			if fit.Over() {
				return nil
			}
			costs[i] = at(x, guess)
		}
		// Local minima: their neighbours lead to the same place.
		for i, c := range costs {
			if (i == 0 || c <= costs[i-1]) && (i+1 == len(costs) || c < costs[i+1]) {
				best := new(linemodel.Point) // only its values matter
				at(places[i], guess)
				best.CopyFrom(trial)
				kept = append(kept, start{best, c})
			}
		}
	}
	sort.SliceStable(kept, func(i, j int) bool { return kept[i].cost < kept[j].cost })
	kept = kept[:min(len(kept), s.fits)]
	for i := range kept {
		fit.Remove(trial)
		trial.CopyFrom(kept[i].point)
		fit.Move(trial)
		fit.Sample(trial)
		fit.Insert(trial)
		fit.Evaluate()
		fit.Refine([]*linemodel.Point{trial}, false, false, 6)
		kept[i].point.CopyFrom(trial)
		kept[i].cost = fit.Cost
	}
	sort.SliceStable(kept, func(i, j int) bool { return kept[i].cost < kept[j].cost })
	var out []*linemodel.Point
	for _, k := range kept {
		apart := screenApart * math.Pi / fit.Beta0[fit.SpanAt(k.point.X)]
		alike := false
		for _, q := range out {
			alike = alike || math.Abs(q.X-k.point.X) < apart && math.Abs(q.Extent-k.point.Extent) < apart
		}
		if !alike && len(out) < s.kept && k.cost < kept[0].cost+screenBehind*math.Max(fit.Unit, fit.Noise) {
			out = append(out, k.point)
		}
	}
	return out
}

// start goes back to a model, which it need not evaluate, and makes of p what it begins there.
type start func(p *linemodel.Point)

// begin goes back to the model of s and puts there what s makes of p.
func (s start) begin(fit *linemodel.Fit, p *linemodel.Point) {
	at := p.X
	if s(p); p.X != at {
		fit.Move(p)
	}
	fit.Sample(p)
	fit.Insert(p)
	fit.Evaluate()
	if fit.Load != nil {
		fit.QuickFitLoad()
	}
}

// fromBest begins the starts of rows: of every row those whose neighbours leave more lead elsewhere than
// these. do goes on from the best most of them, and from the best others of the rest.
func fromBest(fit *linemodel.Fit, rows [][]start, most, others int, do func(p *linemodel.Point)) {
	type begun struct {
		start start
		cost  float64
	}
	var kept, rest []begun
	trial := fit.NewPoint(0, linemodel.Step)
	for _, row := range rows {
		costs := make([]float64, len(row))
		for i, s := range row {
			if fit.Over() {
				return
			}
			s.begin(fit, trial)
			costs[i] = fit.Cost
		}
		for i, c := range costs {
			if (i == 0 || c <= costs[i-1]) && (i+1 == len(costs) || c < costs[i+1]) {
				kept = append(kept, begun{row[i], c})
			} else {
				rest = append(rest, begun{row[i], c})
			}
		}
	}
	best := func(of []begun, most int) []begun {
		sort.SliceStable(of, func(i, j int) bool { return of[i].cost < of[j].cost })
		return of[:min(len(of), most)]
	}
	for _, t := range append(best(kept, most), best(rest, others)...) {
		p := fit.NewPoint(0, linemodel.Step)
		t.start.begin(fit, p)
		do(p)
	}
}

// seen is from where to where the points say that there is something.
func (b *bench) seen(points []*linemodel.Point) (from, to float64) {
	from, to = points[0].X, points[0].X
	for _, q := range points {
		if b.fit.RMS(q) > screenSpread*b.fit.RMS(points[0]) {
			from, to = math.Min(from, q.X), math.Max(to, q.X)
		}
	}
	reach := screenReach * b.fit.Cell(points[0].X)
	return math.Max(0, from-reach), to + reach
}

// anchorAbove is the |Γ| of a point whose place the sweep says better than the
// record.
const anchorAbove = 0.05

// expect is where the record puts the joint at x, and how surely, given the
// places that the sweep says for certain: the nearest strong joints and the far
// end to either side. The points instead are not heard.
func (b *bench) expect(joint float64, instead []*linemodel.Point) (mean, sigma float64) {
	mean, sigma = joint, placeSigma(joint)
	precision := 1 / (sigma * sigma)
	var front, behind *linemodel.Point
	var frontAt, behindAt float64
	for _, q := range b.fit.Points {
		heard := b.fit.RMS(q) > anchorAbove && q.Form != linemodel.Wet && q.Form != linemodel.Foreign
		for _, p := range instead {
			heard = heard && p != q
		}
		at, ok := nearest(b.joints, q.X)
		if !heard || !ok || at == 0 || at == joint || math.Abs(at-q.X) > 3*placeSigma(at) {
			continue
		}
		if at < joint && (front == nil || at > frontAt) {
			front, frontAt = q, at
		}
		if at > joint && (behind == nil || at < behindAt) {
			behind, behindAt = q, at
		}
	}
	if front != nil { // the way from the port goes through it
		sigma = placeSigma(joint - frontAt)
		mean, precision = front.X+joint-frontAt, 1/(sigma*sigma)
	}
	if behind != nil {
		s := placeSigma(behindAt - joint)
		mean = (mean*precision + (behind.X-behindAt+joint)/(s*s)) / (precision + 1/(s*s))
		precision += 1 / (s * s)
	}
	return mean, 1 / math.Sqrt(precision)
}
