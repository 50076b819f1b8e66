package diagnose

import (
	"math"
	"slices"
	"sort"

	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// stretchPower is the |Γ|² of a stretch that unevenness does not make, 39 dB.
// Common practice, no source.
const stretchPower = 1.2e-4

// dent tries a few centimetres of low impedance instead of the given points.
func (b *bench) dent(instead []*linemodel.Point) []trial {
	held := b.fit.Save()
	s := b.screen(instead)
	from, to := b.seen(instead)
	joint, atJoint := b.jointWithin(instead)
	proto := dentPoint(b.fit, instead[0].X, dentM, 0.7)
	extents := []float64{0.04, 0.07, 0.1, 0.13}
	if beta := s.fit.Beta0[s.fit.SpanAt(from)]; 2*dentM*beta > math.Pi { // its two edges may stand in any phase
		s.fits, s.kept, extents = screenLong, screenLongKept, nil
		for extent := dentLeastM; extent < dentMostM; extent += math.Pi / beta / placesPerHalf {
			extents = append(extents, extent)
		}
	}
	var guesses []func(p *linemodel.Point)
	for _, extent := range extents {
		for _, ratio := range []float64{0.85, 0.65, 0.5} {
			guesses = append(guesses, func(p *linemodel.Point) { p.Extent, p.Ratio = extent, ratio })
		}
	}
	var out []trial
	for _, q := range s.starts(proto, s.places(from-dentM, to), guesses) {
		p := b.fit.Copy(q)
		t := b.begun(instead, p)
		b.weighDent(&t)
		if atJoint {
			t.byChance(b.byChance(joint))
		}
		out = append(out, t)
		b.fit.Restore(held)
	}
	return out
}

// weighDent gives t, a stretch fitted as a dent, its cause, and weighs it by how dents are.
func (b *bench) weighDent(t *trial) {
	p := t.point
	t.cause = DentOrKink
	t.score -= 0.5 + 3
	switch { // a dent brings the conductors nearer to each other
	case p.Ratio > 1:
		t.cause = WrongImpedance
	case p.Ratio > dentMostRatio:
		t.score -= 8
	}
	if b.inDevice(p.X + p.Extent/2) {
		t.score -= noCableThere
	}
}

// dentPoint is a dent that begins at x. It is not in the model yet.
func dentPoint(fit *linemodel.Fit, x, extent, ratio float64) *linemodel.Point {
	p := fit.NewPoint(x, linemodel.Foreign)
	asDent(p, x, extent, ratio)
	return p
}

// asDent makes p a dent.
func asDent(p *linemodel.Point, x, extent, ratio float64) {
	p.Form, p.X, p.Extent, p.Ratio, p.LossScale = linemodel.Foreign, x, extent, ratio, 1
	p.Fits = linemodel.Fitting(linemodel.ByPlace, linemodel.ByExtent, linemodel.ByDrop)
	p.Prior[linemodel.ByExtent] = linemodel.Prior{Mean: dentM, Sigma: dentM / 2}
	p.Prior[linemodel.ByDrop] = linemodel.Prior{Mean: 0.7, Sigma: 0.2}
}

// inDevice says whether x lies within a device of the record.
func (b *bench) inDevice(x float64) bool { return b.path.Spans[b.fit.SpanAt(x)].Device != nil }

// noCableThere is what it costs a dent to be in a device, whose housing has no cable
// to kink, natural units: only the place may be off.
const noCableThere = 8

// How a dent or kink usually is: so long, and no nearer to the cable's own
// impedance.
const (
	dentM         = 0.08
	dentLeastM    = 0.03
	dentMostM     = 0.15
	dentMostRatio = 0.95
)

// wet tries stretches of wet cable instead of the given points: between any two
// of the strongest, which may be its edges, and over all of them.
func (b *bench) wet(instead []*linemodel.Point) []trial {
	held := b.fit.Save()
	edges := append([]*linemodel.Point(nil), instead...)
	sort.Slice(edges, func(i, j int) bool { return b.fit.RMS(edges[i]) > b.fit.RMS(edges[j]) })
	for i, p := range edges {
		if b.fit.RMS(p) < 0.25*b.fit.RMS(edges[0]) {
			edges = edges[:i]
			break
		}
	}
	// The outermost ones, and the strongest.
	outer := append([]*linemodel.Point(nil), edges...)
	sort.Slice(outer, func(i, j int) bool { return outer[i].X < outer[j].X })
	strong := edges[:min(len(edges), mostEdges)]
	edges = []*linemodel.Point{outer[0]}
	for _, p := range strong {
		if p != outer[0] && p != outer[len(outer)-1] {
			edges = append(edges, p)
		}
	}
	if len(outer) > 1 {
		edges = append(edges, outer[len(outer)-1])
	}
	sort.Slice(edges, func(i, j int) bool { return edges[i].X < edges[j].X })
	type pair struct{ from, to float64 }
	var pairs []pair
	for i, p := range edges {
		for _, q := range edges[i+1:] {
			if q.X-p.X > wetLeastM {
				pairs = append(pairs, pair{p.X, q.X})
			}
		}
	}
	if len(pairs) == 0 {
		pairs = append(pairs, pair{edges[0].X - wetLeastM, edges[0].X + wetLeastM})
	}
	var starts []*linemodel.Point
	cost := map[*linemodel.Point]float64{}
	side, there := b.onFewer(instead) // which start is best shows there as well
	before := side.fit.Save()
	for _, e := range pairs {
		for _, drop := range []float64{0.06, 0.12, 0.19} {
			p := side.fit.NewPoint(math.Max(0, e.from-wetTaperM/2), linemodel.Wet)
			// The far edge is seen through the slow stretch.
			p.Extent, p.Drop, p.Tangent, p.Taper = (e.to-e.from)*(1-drop)+wetTaperM, drop, 0.02, wetTaperM
			wetPriors(p)
			side.fit.Sample(p)
			side.replace(there, p)
			side.fit.Refine([]*linemodel.Point{p}, false, false, 3)
			cost[p] = side.fit.Cost
			starts = append(starts, p)
			side.fit.Restore(before)
		}
	}
	sort.SliceStable(starts, func(i, j int) bool { return cost[starts[i]] < cost[starts[j]] })
	var out []trial
	for _, start := range starts[:min(len(starts), 3)] {
		p := b.fit.Copy(start)
		t := b.try(instead, p)
		t.cause = WaterInCable
		t.score -= 1 + 2*5
		if wetEnough(p) {
			out = append(out, t)
		}
		b.fit.Restore(held)
	}
	return out
}

// onFewer is b on as many frequencies as are enough, and what the points are there.
func (b *bench) onFewer(points []*linemodel.Point) (side *bench, there []*linemodel.Point) {
	c := *b
	c.fit, c.sound = b.fit.Thin(b.enough()), nil
	for _, p := range points {
		if i := slices.Index(b.fit.Points, p); i >= 0 {
			there = append(there, c.fit.Points[i])
		}
	}
	return &c, there
}

// uneven is the hypothesis that the points themselves are the inside of a wet
// stretch: uneven wetting reflects all along, and a smooth stretch does not
// fit. It costs what the points cost that describe it. ok is false where there
// are too few points, or too near together, to be a stretch.
func (b *bench) uneven(points []*linemodel.Point) (t trial, ok bool) {
	from, to, significant := math.Inf(1), math.Inf(-1), 0
	for _, p := range points {
		if b.fit.RMS(p) > 0.25*b.fit.RMS(points[0]) {
			from, to = math.Min(from, p.X), math.Max(to, p.X)
			significant++
		}
	}
	if significant < 3 || to-from < math.Max(wetLeastM, 2*b.fit.Cell(from)) {
		return t, false
	}
	p := b.fit.NewPoint(from, linemodel.Wet)
	p.Extent = (to - from) * (1 - wetDrop)
	return trial{cause: WaterInCable, point: p, score: -b.fit.Cost/b.unit - 1 - unevenPoint*float64(len(points)), state: b.fit.Save(), uneven: true}, true
}

// unevenPoint is what each free point costs that an unevenly wet stretch is described by, natural units: two or three quantities that
// could each be anything.
const unevenPoint = 10.0

// How a wet stretch usually is. Common practice, no source.
const (
	wetLeastM = 0.4
	wetTaperM = 0.35
	wetDrop   = 0.12 // of impedance and velocity
	wetMostM  = 8.0  // edges farther apart are two things
	mostEdges = 4
)

// cluster is one thing to be named: a reflection, or neighbours within a
// section that may be one stretch.
type cluster struct {
	excess  bool // more than a sound line shows
	members []*locate.Reflection
	points  []*linemodel.Point // strongest first
}

func (c *cluster) head() *locate.Reflection { return c.members[0] }

// span returns the first and the last place of the cluster.
func (c *cluster) span() (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, p := range c.points {
		from, to = math.Min(from, p.X), math.Max(to, p.X)
	}
	return from, to
}

// clusters gathers what may be one fault: neighbours in mid-section that
// follow each other within reach; every other reflection by itself.
func clusters(fit *linemodel.Fit, found []locate.Reflection) []*cluster {
	var out []*cluster
	var open *cluster
	for i := range found {
		r := &found[i]
		if len(r.Points) == 0 || r.Kind == locate.EchoOf {
			open = nil
			continue
		}
		if open != nil && open.goesOn(fit, &found[i-1], r) {
			open.members = append(open.members, r)
			open.points = append(open.points, r.Points...)
			continue
		}
		c := &cluster{members: []*locate.Reflection{r}, points: append([]*linemodel.Point(nil), r.Points...)}
		out = append(out, c)
		open = nil
		if r.Kind == locate.Mid {
			open = c
		}
	}
	for _, c := range out {
		c.sum(fit)
	}
	return out
}

// strongApart is how many cells from a reflection that is too strong for an edge another is something else.
const strongApart = 3

// goesOn says whether r may be part of the stretch that showed in c, of which before was the last so far.
func (c *cluster) goesOn(fit *linemodel.Fit, before, r *locate.Reflection) bool {
	_, last := c.span()
	gap, cell := r.DistanceM-last, fit.Cell(r.DistanceM)
	strong := math.Min(before.ReturnLossDB, r.ReturnLossDB) < edgeLeastDB
	return r.Kind == locate.Mid && gap < math.Max(2, 5*cell) && !(strong && gap > strongApart*cell) &&
		fit.SpanAt(last) == fit.SpanAt(r.DistanceM)
}

// newCluster gathers members, which follow each other in one section.
func newCluster(fit *linemodel.Fit, members []*locate.Reflection) *cluster {
	c := &cluster{members: slices.Clone(members)}
	for _, r := range members {
		c.points = append(c.points, r.Points...)
	}
	c.sum(fit)
	return c
}

// sum says whether the members are more than a sound line shows, and puts the strongest member and point first.
func (c *cluster) sum(fit *linemodel.Fit) {
	power := 0.0
	for i, r := range c.members {
		c.excess = c.excess || r.Excess
		power += math.Pow(10, -r.ReturnLossDB/10)
		if r.ReturnLossDB < c.members[0].ReturnLossDB {
			c.members[0], c.members[i] = c.members[i], c.members[0]
		}
	}
	// A stretch of weak reflections is too much where one of them is not.
	c.excess = c.excess || len(c.members) >= 3 && power > stretchPower
	for i, p := range c.points {
		if fit.RMS(p) > fit.RMS(c.points[0]) {
			c.points[0], c.points[i] = c.points[i], c.points[0]
		}
	}
}
