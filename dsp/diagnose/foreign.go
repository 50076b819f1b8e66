package diagnose

import (
	"math"
	"slices"
	"sort"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// A stretch of other cable shows as two edges of opposite sign. They tell how
// long the wave is under way between them; how long the cable is and how fast
// the wave goes in it follows from where what lies behind is seen, since it
// stands for just as much of the line's own cable, or from its being a whole
// section (foreignlength.go).

// What a stretch of other cable is taken to be: 75-ohm cable in a 50-ohm line,
// or the other way round, made to about 3 %, of velocity factor 0.66 solid, 0.78
// to 0.85 foamed, 0.88 air-spaced, that loses 0.12 to 0.35 dB/m at 1 GHz: cable of 5
// to 11 mm. Common practice, no source.
const (
	ratioSigma           = 0.045
	ratioMost            = 3.0 // deviations from it that there is no such cable
	foreignVelocity      = 0.79
	foreignVelocitySigma = 0.08
	foreignSlowest       = 0.6
	foreignFastest       = 0.93
	foreignLossDBPerM    = 0.2
	foreignLossSigma     = 0.1
	foreignLeastM        = 0.2 // shorter than any jumper
	foreignPrior         = -1  // log of how usual it is
)

// How it is looked for.
const (
	edgeAbove      = 0.06 // |Γ| of an edge worth trying as one
	farEdgeAbove   = 0.02 // of the far edge, which is seen through what may be lossy cable
	mostNearEdges  = 3
	mostFarEdges   = 6
	mostStretches  = 3    // are taken further
	hopelessCost   = 30   // times the cost of the best, for which none is
	goodCost       = 1.5  // times that of the points of locating, after which no other is
	edgeReach      = 3    // eighths of a wave that an edge may be off
	mixedCells     = 2.5  // nearer to each other, edges are hardly told apart
	gridTaken      = 15   // one start in so many is fitted
	mostVelocities = 1500 // of other cable of a known length are tried
	perQuantity    = 2.0  // natural units that a quantity must save
)

// foreignCable tries stretches of other cable that begin at cluster i of all.
func (b *bench) foreignCable(i int, all []*cluster, consumed map[*locate.Reflection]bool) []trial {
	c := all[i]
	if b.fit.RMS(c.points[0]) < edgeAbove {
		return nil
	}
	w := b.foreignWork(c, all, consumed)
	held := w.fit.Save()
	var out []trial
	for _, near := range b.nearEdges(c) {
		for _, far := range w.farEdges(near) {
			instead, takes := w.between(near, far)
			for _, ratio := range w.foreignRatios((near + far) / 2) {
				if t, ok := w.edges(instead, near, far, ratio); ok {
					t.takes = takes
					out = append(out, t)
				}
				w.fit.Restore(held)
			}
		}
	}
	sortTrials(out)
	var placed []trial
	tried := 0
	for i, t := range out {
		if tried == mostStretches || t.state.Cost > hopelessCost*out[0].state.Cost {
			break
		}
		if slices.ContainsFunc(out[:i], func(u trial) bool { return w.same(t.point, u.point) }) {
			continue
		}
		tried++
		placed = append(placed, w.place(t)...)
		if slices.ContainsFunc(placed, func(u trial) bool { return u.state.Cost < goodCost*held.Cost }) {
			break
		}
	}
	sortTrials(placed)
	whole := b.fit.Save()
	out = nil
	for _, t := range placed[:min(len(placed), 2)] {
		t = w.inFull(b, t)
		if prior := t.point.Prior[linemodel.ByDrop]; math.Abs(t.point.Ratio-prior.Mean) < ratioMost*prior.Sigma {
			out = append(out, t)
		}
		b.fit.Restore(whole)
	}
	return out
}

// foreign tries stretches of other cable between edges at about from and to
// instead of the given points, whatever they do to what lies behind.
func (b *bench) foreign(instead []*linemodel.Point, from, to float64) (out []trial) {
	w := &foreignWork{bench: b}
	held := b.fit.Save()
	for _, ratio := range b.foreignRatios((from + to) / 2) {
		if t, ok := w.edges(instead, from, to, ratio); ok {
			out = append(out, t)
		}
		b.fit.Restore(held)
	}
	return out
}

// nearEdges lists where a stretch that shows in c may begin, strongest first.
func (b *bench) nearEdges(c *cluster) []float64 {
	strong := append([]*linemodel.Point(nil), c.points...)
	sort.SliceStable(strong, func(i, j int) bool { return b.fit.RMS(strong[i]) > b.fit.RMS(strong[j]) })
	var out []float64
	for _, p := range strong[:min(len(strong), mostNearEdges)] {
		if b.fit.RMS(p) > edgeAbove {
			out = append(out, math.Max(0, p.X))
		}
	}
	return out
}

// same says whether two stretches are the same to within what the fit tells.
func (w *foreignWork) same(p, q *linemodel.Point) bool {
	near := w.eighth(p.X) / 2
	return math.Abs(p.X-q.X) < near && math.Abs(p.X+p.Extent-q.X-q.Extent) < near
}

// foreignRatios lists what other cable has of the impedance of the line at x.
func (b *bench) foreignRatios(x float64) []float64 {
	z := b.path.Spans[b.fit.SpanAt(x)].Medium.ImpedanceOhm
	var out []float64
	for _, other := range []float64{50, 75} {
		if math.Abs(other/z-1) > 0.2 {
			out = append(out, other/z)
		}
	}
	return out
}

// farEdges lists where a stretch from near on may seem to end.
func (w *foreignWork) farEdges(near float64) []float64 {
	fit := w.fit
	var edges []*linemodel.Point
	for _, p := range fit.Points {
		if p.X-near > foreignLeastM && located(p) && fit.RMS(p) > farEdgeAbove {
			edges = append(edges, p)
		}
	}
	sort.SliceStable(edges, func(i, j int) bool { return fit.RMS(edges[i]) > fit.RMS(edges[j]) })
	var out []float64
	for _, p := range edges[:min(len(edges), mostFarEdges)] {
		out = append(out, p.X)
	}
	return append(out, w.lastEdge(near)...)
}

// lastEdge lists where the far edge may seem to be when the whole last section
// in front of a load is other cable that begins at near: the load, which is
// fitted freely, hides that edge.
func (w *foreignWork) lastEdge(near float64) []float64 {
	last := w.path.Spans[len(w.path.Spans)-1]
	if w.fit.Load == nil || last.Device != nil || math.Abs(near-last.StartM) > math.Max(w.fit.Cell(near)/2, 3*placeSigma(near)) {
		return nil
	}
	var out []float64
	for _, velocity := range []float64{0.66, 0.70, 0.78, 0.82, 0.85, 0.88} { // of 75-ohm cable; common practice, no source
		out = append(out, near+last.LengthM*last.Medium.VelocityFactor/velocity)
	}
	return out
}

// between lists the points that a stretch between two edges replaces, and the
// clusters that they belong to.
func (w *foreignWork) between(near, far float64) (instead []*linemodel.Point, takes []*cluster) {
	reach := 0.6 * w.fit.Cell(far)
	for _, p := range w.fit.Points {
		d := w.owner[p]
		if d == nil || d != w.first && (p.X < near || p.X > far+reach) {
			continue
		}
		instead = append(instead, p)
		if d != w.first && !slices.Contains(takes, d) {
			takes = append(takes, d)
		}
	}
	return instead, takes
}

// edges fits a stretch with edges at about from and to, at the record's
// velocity, instead of the given points.
func (w *foreignWork) edges(instead []*linemodel.Point, from, to, ratio float64) (t trial, ok bool) {
	fit := w.fit
	held := fit.Save()
	type start struct {
		edges [2]float64
		cost  float64
	}
	var starts []start
	for _, e := range w.edgeGrid(from, to) {
		w.replace(instead, w.stretch(e[0], e[1]-e[0], ratio))
		starts = append(starts, start{e, fit.Cost})
		fit.Return(held)
	}
	sort.SliceStable(starts, func(i, j int) bool { return starts[i].cost < starts[j].cost })
	var best *linemodel.Point
	least := math.Inf(1)
	// Where the grid is fine, its best may be the foot of a wrong hill.
	for _, s := range starts[:min(len(starts), 1+len(starts)/gridTaken)] {
		p := w.stretch(s.edges[0], s.edges[1]-s.edges[0], ratio)
		w.replace(instead, p)
		fit.Refine(append(w.crowd(to), p), false, false, 3)
		if fit.Cost < least {
			best, least = p, fit.Cost
		}
		fit.Return(held)
	}
	fit.Restore(held)
	if best == nil {
		return t, false
	}
	t = w.try(instead, best)
	t.cause = WrongImpedance
	t.score += w.spared(w.beyondFirst(instead)) + foreignPrior - perQuantity*float64(count(best.Fits)-1)
	return t, true
}

// stretch returns a stretch of other cable that is not in the model yet.
func (w *foreignWork) stretch(from, extent, ratio float64) *linemodel.Point {
	var like linemodel.Point
	w.asStretch(&like, from, extent, ratio)
	return w.fit.Copy(&like)
}

// asStretch makes p a stretch of other cable.
func (w *foreignWork) asStretch(p *linemodel.Point, from, extent, ratio float64) {
	medium := w.path.Spans[w.fit.SpanAt(from+extent/2)].Medium
	record := math.Max(1e-4, medium.AttenuationNp(w.fit.MiddleHz)/cables.NeperPerDB)
	root := math.Sqrt(w.fit.MiddleHz / 1e9)
	p.Form, p.X, p.Extent, p.Ratio, p.LossScale = linemodel.Foreign, from, extent, ratio, foreignLossDBPerM*root/record
	p.Fits = linemodel.Fitting(linemodel.ByPlace, linemodel.ByExtent, linemodel.ByDrop, linemodel.ByTangent)
	p.Prior[linemodel.ByDrop] = linemodel.Prior{Mean: ratio, Sigma: ratioSigma * ratio}
	p.Prior[linemodel.ByTangent] = linemodel.Prior{Mean: p.LossScale, Sigma: foreignLossSigma * root / record}
}

// delays begins other cable of a known length from a place on in the state that bare makes, of all
// velocities that there are, an eighth of the shortest wave of delay apart.
func (w *foreignWork) delays(bare func(), from, length, ratio float64) (row []start) {
	velocity := w.path.Spans[w.fit.SpanAt(from+length/2)].Medium.VelocityFactor
	least, most := length*velocity/foreignFastest, length*velocity/foreignSlowest
	for extent := least; extent < most; extent += math.Max(w.eighth(from), (most-least)/mostVelocities) {
		row = append(row, func(p *linemodel.Point) {
			bare()
			w.asStretch(p, from, extent, ratio)
			p.Shift = extent - length
			p.LossScale *= extent / length // as recorded per metre
			p.Prior[linemodel.ByTangent].Mean *= extent / length
			p.Prior[linemodel.ByTangent].Sigma *= extent / length
		})
	}
	return row
}

// edgeGrid lists pairs of edges about from and to, an eighth of the shortest
// wave apart: a start must be that near for the fit to find its way, and an
// edge was seen through whatever else was fitted beside it. Edges that are
// hardly apart may have been taken for something else by half a cell.
func (b *bench) edgeGrid(from, to float64) [][2]float64 {
	eighth := b.eighth((from + to) / 2)
	cell := b.fit.Cell(from)
	most := math.Ceil(0.5 * cell / eighth)
	far := math.Min(edgeReach, most)
	near := math.Min(1, far)
	if to-from < mixedCells*cell {
		near, far = most, most
	}
	var grid [][2]float64
	for i := -near; i <= near; i++ {
		for j := -far; j <= far; j++ {
			x, y := math.Max(0, from+i*eighth), to+j*eighth
			if y-x > eighth && (i == -near || x > 0) {
				grid = append(grid, [2]float64{x, y})
			}
		}
	}
	return grid
}

// eighth is an eighth of the shortest wave at x, m.
func (b *bench) eighth(x float64) float64 {
	return 2 * math.Pi / imag(b.fit.Gamma[b.fit.SpanAt(x)][len(b.fit.FrequencyHz)-1]) / 8
}
