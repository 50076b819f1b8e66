package diagnose

import (
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// placing is what a stretch of other cable does to what lies behind it.
type placing struct {
	seenToM float64            // where its far edge was seen
	section *cables.Span       // all of which is other cable, or nil
	gone    []*linemodel.Point // what was seen behind it and is not needed
	end     *linemodel.Point   // a sound end in place of crowd, or nil
	crowd   []*linemodel.Point
}

const (
	edgeAtJointM = 0.03 // how near to an edge a point lies on it
	endSize      = 0.5  // |Γ| of what may be the line's end
	wholeSection = 4    // natural units: of a whole section place and length are known
	hopelessBare = 100  // times the cost with what was seen, for which it cannot be left out
	mostPlaced   = 6    // guesses of the length that are taken further
)

// place finds out how long the stretch of t is, by what lies behind it: that
// was seen at apparent places, and is at those of the record. It returns the
// best stretches of which that is true.
func (w *foreignWork) place(t trial) []trial {
	fit := w.fit
	fit.Restore(t.state)
	w.converge(&t, 12)
	t.state = fit.Save()
	var out []trial
	for _, l := range w.lengths(t.point) {
		fit.Restore(t.state)
		u := t
		u.score += l.prior
		before := fit.Cost
		w.setLength(&u, l)
		u.score += (before - fit.Cost) / w.unit
		at := fit.Save()
		bare := u
		if w.spare(&bare, w.uncertain(u.point), 10, true) {
			bare.state = fit.Save()
			out = append(out, bare)
			fit.Restore(at)
		}
		w.converge(&u, 10)
		u.state = fit.Save()
		out = append(out, u)
	}
	sortTrials(out)
	out = out[:min(len(out), mostPlaced)]
	for i := range out {
		fit.Restore(out[i].state)
		w.converge(&out[i], 20)
		w.freshEnd(&out[i])
		w.drop(&out[i])
		out[i].state = fit.Save()
	}
	return out
}

// converge takes the fit of t further, by at most so many steps.
func (w *foreignWork) converge(t *trial, steps int) {
	before := w.fit.Cost
	w.settleJoints(t.point, steps)
	t.score += (before - w.fit.Cost) / w.unit
}

// stretchLength is a guess of how long a stretch is.
type stretchLength struct {
	lengthM, sigmaM float64
	section         *cables.Span // all of which it is, or nil
	prior           float64
}

// lengths lists how long the stretch p may be.
func (w *foreignWork) lengths(p *linemodel.Point) []stretchLength {
	fit := w.fit
	span := &w.path.Spans[fit.SpanAt(p.X+p.Extent/4)]
	delay := w.underWay(p) // m of free space
	most := math.Min(span.StartM+span.LengthM-p.X+w.slack(span.StartM+span.LengthM), foreignFastest*delay)
	least := math.Max(foreignLeastM, foreignSlowest*delay)
	var out []stretchLength
	add := func(length float64, section *cables.Span) {
		if length < least || length > most {
			return
		}
		for _, l := range out {
			if math.Abs(l.lengthM-length) < 0.1*foreignVelocitySigma*delay && section == nil {
				return
			}
		}
		l := stretchLength{length, foreignVelocitySigma * delay, section, 0}
		if section != nil {
			l.sigmaM, l.prior = placeSigma(length), wholeSection
		}
		out = append(out, l)
	}
	for i := range w.path.Spans {
		if s := &w.path.Spans[i]; s.Device == nil && math.Abs(s.StartM-p.X) < w.slack(s.StartM) {
			add(s.LengthM, s)
		}
	}
	// The end of an open or a short is the best mark, unless the line's own
	// tolerance is wider than what is known of such cable.
	marked := false
	for _, q := range w.crowd(p.X + p.Extent/2) {
		if fit.RMS(q) > endSize {
			add(w.lengthIf(p, q.X, w.path.LengthM()), nil)
			marked = marked || placeSigma(w.path.LengthM()) < foreignVelocitySigma*delay
		}
	}
	if marked && len(out) > 0 {
		return out
	}
	for _, velocity := range []float64{0.66, 0.7, 0.75, 0.79, 0.83, 0.88} {
		add(velocity*delay, nil)
	}
	for _, q := range fit.Points {
		for _, joint := range w.joints {
			if q.X > p.X+p.Extent && located(q) {
				add(w.lengthIf(p, q.X, joint), nil)
			}
		}
	}
	return out
}

// underWay is how far a wave gets in free space while it is in the stretch p, m.
func (b *bench) underWay(p *linemodel.Point) float64 {
	return b.path.ElectricalM(p.X+p.Extent) - b.path.ElectricalM(p.X)
}

// lengthIf is how long the stretch p is if what is seen at one place behind it is
// at another.
func (w *foreignWork) lengthIf(p *linemodel.Point, seen, is float64) float64 {
	late := w.path.ElectricalM(seen) - w.path.ElectricalM(is)
	return w.path.PhysicalM(w.path.ElectricalM(p.X+p.Extent)-late) - p.X
}

// slack is how far from a joint at x what is seen may be and still be at it.
func (w *foreignWork) slack(x float64) float64 { return 3*placeSigma(x) + 0.1*w.fit.Cell(x) }

// setLength gives the stretch of t the length l and puts what lies behind it
// where it then is.
func (w *foreignWork) setLength(t *trial, l stretchLength) {
	fit, p := w.fit, t.point
	t.other.seenToM, t.other.section = p.X+p.Extent, l.section
	p.LossScale *= p.LengthM() / l.lengthM // what comes back is as strong as before
	p.Shift = p.Extent - l.lengthM
	p.Fits[linemodel.ByShift] = true
	p.Prior[linemodel.ByShift] = linemodel.Prior{Mean: p.Shift, Sigma: l.sigmaM}
	if l.section == nil {
		p.Prior[linemodel.ByShift].Mean = p.Extent - foreignVelocity*w.underWay(p)
	} else {
		p.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: l.section.StartM, Sigma: placeSigma(l.section.StartM)}
	}
	fit.Sample(p)
	for _, q := range fit.Points {
		if q != p && located(q) && q.X > t.other.seenToM-edgeAtJointM {
			q.X = w.unshifted(p, q.X)
			fit.Move(q)
			if joint, ok := nearest(w.joints, q.X); ok && math.Abs(joint-q.X) < w.slack(joint) && w.owner[q] != nil && w.full[q] == w.owner[q].points[0] {
				q.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: joint, Sigma: placeSigma(joint)}
			}
		}
	}
	w.reorder()
	w.soundJoints(p)
	w.tieEnd(p)
	fit.Evaluate()
	if fit.Load != nil {
		fit.QuickFitLoad()
	}
}

// reorder puts the joints of the record back among the points that have moved.
// These keep their order: where they are crowded, the fit may have led one past
// another, and the sweep is that of the chain as it stands.
func (w *foreignWork) reorder() {
	var moved []*linemodel.Point
	var stay []*linemodel.Point
	for _, q := range w.fit.Points {
		if located(q) {
			moved = append(moved, q)
		} else {
			stay = append(stay, q)
		}
	}
	for _, q := range stay {
		i := slices.IndexFunc(moved, func(r *linemodel.Point) bool { return r.X > q.X })
		if i < 0 {
			i = len(moved)
		}
		moved = slices.Insert(moved, i, q)
	}
	w.fit.Points = moved
}

// unshifted is where that lies which is seen at x behind the stretch p.
func (b *bench) unshifted(p *linemodel.Point, x float64) float64 {
	late := b.path.ElectricalM(p.X+p.Extent) - b.path.ElectricalM(p.X+p.LengthM())
	return math.Max(p.X+p.LengthM(), b.path.PhysicalM(b.path.ElectricalM(x)-late))
}

// tieEnd links the line's end to the record: it tells how much the stretch p
// in front of it delays.
func (w *foreignWork) tieEnd(p *linemodel.Point) {
	var end *linemodel.Point
	for _, q := range w.crowd(p.X) {
		if end == nil || w.fit.RMS(q) > w.fit.RMS(end) {
			end = q
		}
	}
	if length := w.path.LengthM(); w.fit.Load == nil && end != nil {
		end.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: length, Sigma: placeSigma(length)}
	}
}

// soundJoints puts the joints of the record from p on where none is.
func (w *foreignWork) soundJoints(p *linemodel.Point) {
	fit := w.fit
	last := len(w.joints) - 1
	for i, x := range w.joints {
		if x < p.X-w.slack(x) || i == last && (fit.Load != nil || len(w.crowd(p.X)) > 0) {
			continue
		}
		there := slices.ContainsFunc(fit.Points, func(q *linemodel.Point) bool {
			return q != p && math.Abs(q.X-x) < 0.4*fit.Cell(x)
		})
		if there {
			continue
		}
		joint := soundJoint(fit, x)
		if i > 0 && math.Abs(x-p.X) > w.slack(x) && math.Abs(x-p.X-p.LengthM()) > w.slack(x) {
			joint.Fits[linemodel.ByPlace] = true
			joint.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: x, Sigma: placeSigma(x)}
		}
		if i == last && w.load == cables.Termination {
			w.terminated(joint)
		}
		fit.Insert(joint)
	}
}

// drop takes out what lies behind the stretch of t and is not needed: what was
// seen there and was not understood, since it was seen at another place.
func (w *foreignWork) drop(t *trial) {
	seen := map[*cluster]bool{}
	for _, p := range w.uncertain(t.point) {
		if d := w.owner[p]; !seen[d] {
			seen[d] = true
			var points []*linemodel.Point
			for _, q := range w.uncertain(t.point) {
				if w.owner[q] == d {
					points = append(points, q)
				}
			}
			w.spare(t, points, 20, false)
		}
	}
}

// uncertain lists what was seen behind the stretch p and is no part of the
// record: clusters that are not named yet and, but for an open or a short,
// whatever stands for the end.
func (w *foreignWork) uncertain(p *linemodel.Point) []*linemodel.Point {
	var out []*linemodel.Point
	for _, q := range w.fit.Points {
		if q.X > p.X && w.owner[q] != nil {
			out = append(out, q)
		}
	}
	if w.fit.Load != nil || w.load == cables.Termination {
		out = append(out, w.crowd(p.X)...)
	}
	return out
}

// freshEnd puts a sound end in place of what locating found at the end of a
// line that ends open or short, if that will do: the stretch had turned it into
// a crowd.
func (w *foreignWork) freshEnd(t *trial) {
	fit := w.fit
	crowd := w.crowd(t.point.X)
	if fit.Load != nil || w.load != cables.Open && w.load != cables.Short || len(crowd) == 0 {
		return
	}
	form := linemodel.OpenEnd
	if w.load == cables.Short {
		form = linemodel.ShortEnd
	}
	first, strongest := crowd[0], crowd[0]
	for _, p := range crowd {
		if p.X < first.X {
			first = p
		}
		if fit.RMS(p) > fit.RMS(strongest) {
			strongest = p
		}
	}
	length := w.path.LengthM()
	reach := math.Max(0.5*fit.Cell(length), 3*placeSigma(length))
	held := fit.Save()
	best, least := held, held.Cost+w.unit*w.spared(crowd)
	var end *linemodel.Point
	for _, x := range w.endPlaces(crowd, strongest.X-reach, strongest.X+reach, first.X, first.Local, form) {
		if x <= t.point.X { // the stretch would lie behind the end
			continue
		}
		q := w.endAt(x, form)
		q.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: length, Sigma: placeSigma(length)}
		w.replace(crowd, q)
		fit.Refine([]*linemodel.Point{t.point, q}, false, false, 4)
		fit.Refine(w.behind(t.point), true, false, 8)
		if cost := fit.Cost + w.unit*perQuantity*float64(count(q.Fits)); cost < least {
			best, least, end = fit.Save(), cost, q
		}
		fit.Return(held)
	}
	fit.Restore(best)
	if end != nil {
		t.score += (held.Cost-least)/w.unit + w.spared(crowd)
		t.other.end, t.other.crowd = end, crowd
	}
}

// spare takes points out of the model of t, if that is the better one or
// regardless. It says whether anything was taken out.
func (w *foreignWork) spare(t *trial, points []*linemodel.Point, steps int, regardless bool) bool {
	if len(points) == 0 {
		return false
	}
	fit := w.fit
	held := fit.Save()
	gain := w.spared(points)
	for _, p := range points {
		fit.Remove(p)
	}
	w.soundJoints(t.point)
	bare := fit.Save()
	settle := func() {
		fit.Evaluate()
		if fit.Load != nil {
			fit.RenewLoad()
			fit.FitLoad()
		}
		if fit.Cost < hopelessBare*held.Cost {
			w.settleJoints(t.point, steps)
		}
	}
	settle()
	first := fit.Save()
	fit.Return(bare)
	other := w.asJoints(points)
	if other {
		settle()
	}
	if !other || fit.Cost >= first.Cost {
		fit.Restore(first)
	}
	gain += (held.Cost - fit.Cost) / w.unit
	if gain < 0 && !regardless {
		fit.Restore(held)
		return false
	}
	t.score += gain
	t.other.gone = append(append([]*linemodel.Point(nil), t.other.gone...), points...)
	return true
}

// settleJoints fits the stretch p and what lies behind it, by at most so many
// steps: once from where the joints are, and once from where they seem to be.
func (w *foreignWork) settleJoints(p *linemodel.Point, steps int) {
	w.refine(p, steps)
	held := w.fit.Save()
	w.seekJoints(p)
	w.refine(p, steps)
	if w.fit.Cost >= held.Cost {
		w.fit.Restore(held)
	}
}

// seekJoints begins the joints of the record that lie behind the stretch p where
// the residual has them: their places are known to less than a wave.
func (w *foreignWork) seekJoints(p *linemodel.Point) {
	fit := w.fit
	gain := make([]complex128, len(fit.Weight))
	for _, q := range w.behind(p)[1:] {
		if !sound(q) || !q.Fits[linemodel.ByPlace] || q.X < p.X+p.LengthM() {
			continue
		}
		q.Flat, q.Rising = 0, 0
		fit.Sample(q)
		fit.Evaluate()
		sigma, middle := placeSigma(q.X), q.X
		step := w.eighth(q.X)
		reach := math.Ceil(2 * sigma / step)
		most := 0.0
		var x float64
		var r complex128
		for k := -reach; k <= reach; k++ {
			at := math.Max(p.X+p.LengthM(), middle+k*step)
			fit.GainAt(gain, at)
			var heard complex128
			power := 0.0
			for i, g := range gain {
				heard += complex(fit.Weight[i], 0) * cmplx.Conj(g) * fit.Residual[i]
				power += fit.Weight[i] * (real(g)*real(g) + imag(g)*imag(g))
			}
			if power == 0 {
				return // nothing gets there
			}
			u := k * step / sigma
			if saves := real(heard*cmplx.Conj(heard))/power - w.unit*u*u/2; saves > most {
				most, x, r = saves, at, heard/complex(power, 0)
			}
		}
		if most > 0 {
			q.X, q.Flat, q.Rising = x, 2*real(r), 2*imag(r)
			fit.Move(q)
			fit.Sample(q)
		}
	}
	fit.Evaluate()
}

// asJoints begins those joints of the record that the points, which were seen and
// are taken out, may have been, where these were and with what they reflected.
func (w *foreignWork) asJoints(points []*linemodel.Point) (any bool) {
	for _, p := range points {
		d := w.owner[p]
		if d == nil || w.full[p] != d.points[0] {
			continue
		}
		i := slices.IndexFunc(w.fit.Points, func(q *linemodel.Point) bool {
			return sound(q) && q.Fits[linemodel.ByPlace] && math.Abs(q.X-p.X) < w.slack(p.X)
		})
		if i < 0 {
			continue
		}
		q := w.fit.Points[i]
		switch q.X = p.X; p.Form { // to first order in a small reflection
		case linemodel.Series:
			q.Flat, q.Rising = p.Flat, p.Rising
		case linemodel.Shunt:
			q.Flat, q.Rising = -p.Flat, -p.Rising
		case linemodel.Step:
			q.Flat, q.Rising = 2*p.Flat, 0
		}
		w.fit.Move(q)
		w.fit.Sample(q)
		any = true
	}
	return any
}

// behindOther puts the reflections that lie behind the stretch of t where they
// are, and takes those off the list that were none.
func (b *bench) behindOther(t trial, found []locate.Reflection, consumed map[*locate.Reflection]bool) {
	length := b.path.LengthM()
	for i := range found {
		r := &found[i]
		if r.Kind == locate.EchoOf || len(r.Points) == 0 || consumed[r] {
			continue
		}
		if slices.Contains(t.other.gone, r.Points[0]) {
			consumed[r] = true
			continue
		}
		if t.other.end != nil && slices.Contains(t.other.crowd, r.Points[0]) {
			if slices.ContainsFunc(found[:i], func(e locate.Reflection) bool {
				return e.Kind != locate.EchoOf && len(e.Points) > 0 && e.Points[0] == t.other.end
			}) {
				consumed[r] = true
				continue
			}
			r.Points, r.DistanceM, r.Kind, r.Excess, r.Place = []*linemodel.Point{t.other.end}, t.other.end.X, locate.AtFarEnd, false, "far end"
			r.ReturnLossDB = -20 * math.Log10(b.fit.RMS(t.other.end))
			continue
		}
		if r.DistanceM < t.other.seenToM-edgeAtJointM {
			continue
		}
		r.DistanceM = b.unshifted(t.point, r.DistanceM)
		if b.likeEnd(r) && math.Abs(r.DistanceM-length) < 4*placeSigma(length)+b.fit.Cell(length) {
			r.Kind, r.Excess, r.Place = locate.AtFarEnd, false, "far end"
		}
	}
}
