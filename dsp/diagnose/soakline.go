package diagnose

import (
	"cmp"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// The line of the record, on a thinned sweep: every part sound, but for what was found at joints.

const (
	soakedPoints = 200 // of a sweep are enough for it
	soakedRange  = 1.3 // of the line's length must be free of aliases
	partsLeave   = 0.7 // of what free points on a device leave, that its parts one by one leave at most
	edgeLeastDB  = 9.0 // return loss that an edge of wet or of 75-ohm cable has at least, two together
)

// soakSearch is a model of the line of the record on a thinned sweep.
type soakSearch struct {
	*bench
	seen   []float64          // where the joints are seen
	base   []*linemodel.State // the line of the record: with what was found at joints, and without
	ways   []passed           // where the sweep shows that something holds the wave up
	roughs []soakStart        // what reflects more all along than the rest of the line
	late   []float64          // how much farther out than recorded what is behind a stretch may be seen, m
	window []float64          // the weights of the fit that locating left
}

// lineOfRecord is the line of the record as v has found it.
func (v *view) lineOfRecord() *soakSearch {
	if v.record == nil {
		v.record = newSoakSearch(v.bench, v.found)
	}
	return v.record
}

// newSoakSearch sets the line of the record up: sound joints, what was found at
// the far end, and what no joint may reflect.
func newSoakSearch(b *bench, found *locate.Result) *soakSearch {
	full := b.fit
	n := len(full.FrequencyHz)
	band := full.FrequencyHz[n-1] - full.FrequencyHz[0]
	length := b.path.LengthM()
	// As few points as tell apart what comes back from the line.
	need := soakedRange * b.path.ElectricalM(length)
	if full.Load != nil {
		need += antennaRingsM
	}
	stride := min(int(cables.SpeedOfLight/2/need*float64(n-1)/band), n/soakedPoints)
	stride = max(1, stride)
	var hz, weight, window []float64
	var measured []complex128
	for k := 0; k < n; k += stride {
		w := full.Weight[k]
		window = append(window, w)
		if full.Load != nil && w > 0 { // the window hides the low end
			w = 1
		}
		hz, measured, weight = append(hz, full.FrequencyHz[k]), append(measured, full.Measured[k]), append(weight, w)
	}
	fit := linemodel.NewFit(b.path, hz, measured)
	fit.FollowPort()
	copy(fit.Weight, weight)
	fit.Noise, fit.Unit, fit.Ended = full.Noise, temper*full.Noise, full.Ended
	fit.Patient = true
	if full.Load != nil {
		fit.Load = causalLoad(fit, 0)
	}
	s := &soakSearch{bench: &bench{fit: fit, path: b.path, load: b.load, joints: b.joints, since: b.since}, window: window}
	for k, x := range s.joints {
		s.seen = append(s.seen, seenAt(found.Reflections, fit, k, x, x))
	}
	s.lateness(found)
	strong := false             // at joints, which may be edges
	var free []*linemodel.Point // that stand for a sound device and its joints
	for i := range found.Reflections {
		r := &found.Reflections[i]
		atEnd := r.Kind == locate.AtFarEnd
		if atEnd && s.mirror() != 0 {
			continue
		}
		if !atEnd && r.Total == locate.NotTotal {
			edge := r.Kind == locate.Mid && r.ReturnLossDB > edgeLeastDB // it may be
			if edge || !r.Excess && r.Kind != locate.AtDevice {
				continue
			}
			strong = strong || r.Excess
		}
		for i, p := range r.Points {
			q := s.insertCopy(p)
			if r.Kind == locate.AtDevice && !r.Excess {
				free = append(free, q)
			}
			if atEnd && i == 0 && len(s.late) > 0 {
				q.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: length, Sigma: placeSigma(length)}
			}
		}
	}
	s.sound()
	s.settleBase()
	s.partByPart(free)
	fit.Unit = temper * math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS())
	fit.Evaluate()
	s.base = append(s.base, fit.Save())
	if strong {
		for _, q := range append([]*linemodel.Point(nil), fit.Points...) {
			if q.X < length-fit.Cell(length) && fit.RMS(q) < 0.8 {
				fit.Remove(q)
			}
		}
		s.sound()
		s.settleBase()
		s.base = append(s.base, fit.Save())
	}
	return s
}

// settleBase fits the line of the record, its mirror put where it is seen.
func (s *soakSearch) settleBase() {
	fit := s.fit
	fit.Evaluate()
	if sign := s.mirror(); sign != 0 && len(s.end()) == 0 {
		s.findEnd(sign)
	}
	if fit.Load != nil {
		fit.FitLoad()
	}
	fit.Refine(fit.Points, true, true, 6)
	s.rejoinAll(1)
}

// partByPart puts the joints and the device that free points stand for on the line one by one, as the record has them, where that
// comes much nearer: free points on a short device are too few for what turns between its joints.
func (s *soakSearch) partByPart(free []*linemodel.Point) {
	if len(free) == 0 {
		return
	}
	together := s.fit.Save()
	for _, q := range free {
		s.fit.Remove(q)
	}
	s.sound()
	s.settleBase()
	if s.fit.Cost > partsLeave*together.Cost {
		s.fit.Restore(together)
	}
}

// antennaRingsM is how far behind its connector, in electrical metres, an antenna may
// still ring.
const antennaRingsM = 9.0

func (s *soakSearch) insertCopy(p *linemodel.Point) *linemodel.Point {
	q := s.fit.Copy(p)
	s.fit.Insert(q)
	return q
}

// sound puts sound joints and devices where nothing else stands: joints where
// the sweep shows them, else where the record has them.
func (s *soakSearch) sound() {
	parts := s.devicesOfRecord(1)
	for i, x := range s.joints[:len(s.joints)-1] {
		at := s.seen[i]
		if s.occupied(at) {
			continue
		}
		joint := soundJoint(s.fit, at)
		if i > 0 {
			joint.Fits[linemodel.ByPlace] = true
			joint.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: x, Sigma: placeSigma(x)}
		}
		parts = append(parts, joint)
	}
	for _, p := range parts { // together: they may be nearer to each other than a cell
		s.fit.Insert(p)
	}
}

// backInPlace puts joints where the record has them that have come to lie where
// they cannot: they were not seen where the stretch in front of them would
// have put them.
func (s *soakSearch) backInPlace() {
	for _, q := range s.fit.Points {
		if prior := q.Prior[linemodel.ByPlace]; prior.Sigma > 0 && math.Abs(q.X-prior.Mean) > 2*prior.Sigma {
			q.X = prior.Mean
			s.fit.Move(q)
		}
	}
	s.fit.Evaluate()
}

// adopt takes over the points of another fit of the same line.
func (s *soakSearch) adopt(from *linemodel.Fit) {
	fit := s.fit
	for _, q := range append([]*linemodel.Point(nil), fit.Points...) {
		fit.Remove(q)
	}
	fit.Links = nil
	for _, q := range from.Points {
		s.insertCopy(q)
	}
	fit.Evaluate()
	if fit.Load != nil {
		fit.FitLoad()
	}
	fit.Refine(fit.Points, true, true, 6)
}

// asNamed makes the line what v has named, what it found by holding the antenna to causality included.
func (s *soakSearch) asNamed(v *view) *linemodel.State {
	fit := s.fit
	s.adopt(v.bench.fit)
	named := fit.Save()
	if held := v.heldToLoad; held != nil {
		for _, q := range slices.Clone(fit.Points) {
			if math.Abs(q.X-held.X) < 0.6*fit.Cell(held.X) {
				fit.Remove(q)
			}
		}
		s.insertCopy(held)
		fit.Evaluate()
		fit.FitLoad()
		fit.Refine(fit.Points, true, true, 8)
		if fit.Cost < named.Cost {
			named = fit.Save()
		}
		fit.Restore(named)
	}
	return named
}

// cheapest is the one of states that leaves least.
func cheapest(states []*linemodel.State) *linemodel.State {
	return slices.MinFunc(states, func(a, b *linemodel.State) int { return cmp.Compare(a.Cost, b.Cost) })
}
