package diagnose

import (
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// foreignWork is the work of foreignCable, on fewer frequencies: those that the
// line's length asks for.
type foreignWork struct {
	*bench
	first *cluster
	owner map[*linemodel.Point]*cluster         // of the points that are not named yet
	full  map[*linemodel.Point]*linemodel.Point // the points of the whole sweep
}

func (b *bench) foreignWork(first *cluster, all []*cluster, consumed map[*locate.Reflection]bool) *foreignWork {
	side := *b
	side.fit = b.fit.Thin(b.enough())
	w := &foreignWork{bench: &side, first: first, owner: map[*linemodel.Point]*cluster{}, full: map[*linemodel.Point]*linemodel.Point{}}
	for i, p := range side.fit.Points {
		w.full[p] = b.fit.Points[i]
		for _, d := range all {
			if slices.Contains(d.points, b.fit.Points[i]) && (d == first || !consumed[d.head()]) && !b.likeEnd(d.head()) {
				w.owner[p] = d
			}
		}
	}
	return w
}

// likeEnd says whether r is a total reflection of the kind that the line ends in.
func (b *bench) likeEnd(r *locate.Reflection) bool {
	return r.Total == locate.LikeOpen && b.load == cables.Open || r.Total == locate.LikeShort && b.load == cables.Short
}

// How many frequencies enough leaves: for this many resolution cells more than
// the line's, and at least so many.
const (
	thinMargin = 16
	thinLeast  = 80
	thinGuard  = 2.4 // times the line's delay, there and back in 2
)

// enough returns n where every nth frequency is enough to tell all delays of
// the line apart.
func (b *bench) enough() int {
	frequency := b.fit.FrequencyHz
	n := len(frequency)
	band := frequency[n-1] - frequency[0]
	step := band / float64(n-1)
	for k, f := range frequency {
		if math.Abs(f-frequency[0]-step*float64(k)) > 1e-3*step {
			return 1
		}
	}
	cells := thinGuard*b.path.ElectricalM(b.path.LengthM())/cables.SpeedOfLight*band + thinMargin
	if b.fit.Load != nil {
		cells += float64(len(b.fit.Load.Taps))
	}
	return max(1, int(float64(n)/math.Max(cells, thinLeast)))
}

// inFull carries the trial t over to the whole sweep.
func (w *foreignWork) inFull(b *bench, t trial) trial {
	w.fit.Restore(t.state)
	fit := b.fit
	var points []*linemodel.Point
	for _, p := range w.fit.Points {
		q := w.full[p]
		if q == nil {
			q = fit.NewPoint(p.X, p.Form)
			w.full[p] = q
		}
		q.CopyFrom(p)
		fit.Move(q)
		fit.Sample(q)
		points = append(points, q)
	}
	fit.Points = append(fit.Points[:0], points...)
	fit.Port = w.fit.Port
	full := func(list []*linemodel.Point) (out []*linemodel.Point) {
		for _, p := range list {
			out = append(out, w.full[p])
		}
		return out
	}
	fit.Evaluate()
	if fit.Load != nil {
		fit.RenewLoad()
		fit.FitLoad()
	}
	t.point, t.other.end = w.full[t.point], w.full[t.other.end]
	t.other.gone, t.other.crowd = full(t.other.gone), full(t.other.crowd)
	fit.Refine(w.behindIn(fit, t.point), true, true, 4)
	t.score += (w.fit.Cost - fit.Cost) / b.unit
	t.state = fit.Save()
	return t
}

// located says whether p is where it is seen, not where the record has it.
func located(p *linemodel.Point) bool { return p.Fits[linemodel.ByPlace] && !sound(p) }

// sound says whether p stands for a joint of the record, or for its end.
func sound(p *linemodel.Point) bool {
	return p.Form == linemodel.Series && p.Prior[linemodel.ByFlat].Sigma > 0 && p.Prior[linemodel.ByRising].Sigma > 0
}

// crowd lists the points behind x that stand for the line's end.
func (w *foreignWork) crowd(x float64) []*linemodel.Point {
	var out []*linemodel.Point
	for _, p := range w.fit.Points {
		if p.X > x && located(p) && w.owner[p] == nil && p.Form != linemodel.Foreign && p.Form != linemodel.Wet {
			out = append(out, p)
		}
	}
	return out
}

// beyondFirst leaves out those of the first cluster, but for one: whatever is tried for that
// cluster takes their place.
func (w *foreignWork) beyondFirst(points []*linemodel.Point) (out []*linemodel.Point) {
	seen := false
	for _, p := range points {
		if w.first != nil && w.owner[p] == w.first {
			if seen {
				continue
			}
			seen = true
		}
		out = append(out, p)
	}
	return out
}

// spared is what it is worth that the given points are not needed.
func (w *foreignWork) spared(points []*linemodel.Point) float64 {
	n := 0
	for _, p := range points {
		if located(p) {
			n += count(p.Fits)
		}
	}
	return perQuantity * float64(n)
}

// refine fits the stretch p and what lies behind it. A load of many taps takes
// turns with them: together they would cost much more.
func (w *foreignWork) refine(p *linemodel.Point, steps int) {
	const turns = 3
	if w.fit.Load == nil {
		w.fit.Refine(w.behind(p), true, false, steps)
		return
	}
	for range turns {
		before := w.fit.Cost
		w.fit.Refine(w.behind(p), true, false, (steps+turns-1)/turns)
		held := w.fit.Save()
		w.fit.FitLoad()
		if w.fit.Cost > held.Cost {
			w.fit.Restore(held)
		}
		if w.fit.Cost > 0.99*before {
			return
		}
	}
}

// behind lists the stretch and what lies behind it.
func (w *foreignWork) behind(p *linemodel.Point) []*linemodel.Point { return w.behindIn(w.fit, p) }

func (w *foreignWork) behindIn(fit *linemodel.Fit, p *linemodel.Point) []*linemodel.Point {
	out := []*linemodel.Point{p}
	for _, q := range fit.Points {
		if q != p && q.X > p.X {
			out = append(out, q)
		}
	}
	return out
}
