package diagnose

import (
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// How a sound line differs from its record, one standard deviation. Common
// practice, no source: joints reflect as a small reactance, about 40 dB at 1
// GHz and in proportion to frequency, with a little change of impedance;
// lengths and velocities hold to half a per cent.
const (
	jointRisingSigma  = 0.03   // of z at 1 GHz, |Γ| of 0.015
	jointFlatSigma    = 0.012  // of z, 0.6 ohm
	stepSigma         = 0.0085 // of y, what two cables show that are each 0.3 ohm off their record
	deviceDefaultDB   = 26.0   // return loss of a device whose record gives none
	terminationDB     = 26.0   // return loss of a termination whose record gives none
	recordLengthSigma = 0.005
	recordPlaceSigmaM = 0.005
)

// placeSigma is how well the place of a joint is known from the record, m.
func placeSigma(x float64) float64 { return recordPlaceSigmaM + recordLengthSigma*x }

// toRecord turns what locate fitted into the line of the record with its
// faults on it: the points of the given clusters stay as they are, everything
// weak is taken out, and every joint and device of the record takes its place
// with what a sound one may reflect.
func (b *bench) toRecord(kept []*cluster, found *locate.Result) {
	fit, path, load := b.fit, b.path, b.load
	stays := map[*linemodel.Point]bool{}
	for _, p := range append(append([]*linemodel.Point(nil), found.Known...), found.Inside...) {
		stays[p] = true
	}
	for _, c := range kept {
		for _, p := range c.points {
			stays[p] = true
		}
	}
	var end *linemodel.Point
	if fit.Load == nil {
		for i := range found.Reflections {
			r := &found.Reflections[i]
			if r.Kind == locate.AtFarEnd || r.Total != locate.NotTotal {
				for _, p := range r.Points {
					stays[p] = true
					if end == nil || fit.RMS(p) > fit.RMS(end) {
						end = p
					}
				}
			}
		}
	} else {
		for i := range found.Reflections {
			if found.Reflections[i].Total != locate.NotTotal {
				for _, p := range found.Reflections[i].Points {
					stays[p] = true
				}
			}
		}
	}
	for _, p := range append([]*linemodel.Point(nil), fit.Points...) {
		if !stays[p] {
			fit.Remove(p)
		}
	}
	// Where the far end lies tells how the line's lengths came out.
	length := path.LengthM()
	scale := 1.0
	if end != nil && math.Abs(end.X-length) < 3*placeSigma(length) {
		scale = end.X / length
	}
	devices := b.devicesOfRecord(scale)
	joints := path.JointsM()
	last := len(joints) - 1
	var previous *linemodel.Point
	at := 0.0
	for i, x := range joints {
		if i == last && (fit.Load != nil || load == cables.Open || load == cables.Short || load == cables.Termination) && (fit.Load != nil || end != nil) {
			continue // the load's own connector cannot be told from it
		}
		if b.occupied(x * scale) {
			continue
		}
		joint := b.soundJoint(seenAt(found.Reflections, fit, i, x, x*scale), x)
		if i == last && load == cables.Termination {
			b.terminated(joint)
		}
		if i > 0 {
			joint.Fits[linemodel.ByPlace] = true
			sigma := recordPlaceSigmaM + recordLengthSigma*(x-at)
			fit.Links = append(fit.Links, linemodel.Link{A: previous, B: joint, LengthM: (x - at) * scale, SigmaM: sigma})
			previous, at = joint, x
		}
		fit.Insert(joint)
	}
	for _, d := range devices {
		fit.Insert(d)
	}
	fit.Evaluate()
	if fit.Load != nil {
		fit.QuickFitLoad()
	}
	fit.Refine(fit.Points, true, true, 6)
}

// seenAt is where the sweep shows the joint of that number, which the record has at recorded and its lengths as they came
// out at x: a fit does not find its way from one half wave to the next. Unseen, it is at x.
func seenAt(found []locate.Reflection, fit *linemodel.Fit, joint int, recorded, x float64) float64 {
	if joint == 0 {
		return x
	}
	best, size := x, math.Inf(1)
	for i := range found {
		r := &found[i]
		if r.Kind == locate.AtJoint && math.Abs(r.DistanceM-x) < 2*placeSigma(recorded)+0.5*fit.Cell(x) && r.ReturnLossDB < size {
			best, size = r.DistanceM, r.ReturnLossDB
		}
	}
	return best
}

// occupied says whether the fit has what may stand for a joint or a device at x.
func (b *bench) occupied(x float64) bool {
	return slices.ContainsFunc(b.fit.Points, func(p *linemodel.Point) bool {
		return p.Form != linemodel.Wet && math.Abs(p.X-x) < 0.6*b.fit.Cell(x)
	})
}

// devicesOfRecord returns the sound devices of a line whose lengths came out as scale times the record's, as far as nothing stands
// for them. They are not in the model yet, and asked for before its sound joints are, which leave them room.
func (b *bench) devicesOfRecord(scale float64) (out []*linemodel.Point) {
	for _, s := range b.path.Spans {
		middle := (s.StartM + s.LengthM/2) * scale
		if s.Device != nil && (!b.occupied(middle) || s.LengthM >= 0.5*b.fit.Cell(middle)) {
			out = append(out, soundDevice(b.fit, s.Device.ReturnLossDB, middle))
		}
	}
	return out
}

// soundDevice returns a device at x with what one of the given return loss may
// reflect, dB, 0: not on record. It is not in the model yet.
func soundDevice(fit *linemodel.Fit, db, x float64) *linemodel.Point {
	if db == 0 {
		db = deviceDefaultDB
	}
	p := fit.NewPoint(x, linemodel.Series)
	p.Fits = linemodel.Fitting(linemodel.ByRising)
	p.Prior[linemodel.ByRising].Sigma = 2 * math.Pow(10, -db/20)
	return p
}

// soundJoint returns a sound joint at x that the record has at recorded. It is
// not in the model yet.
func (b *bench) soundJoint(x, recorded float64) *linemodel.Point {
	joint := soundJoint(b.fit, x)
	b.markSound(joint, recorded)
	return joint
}

// markSound says that p is the sound joint that the record has nearest to x.
func (b *bench) markSound(p *linemodel.Point, x float64) {
	if b.sound == nil {
		b.sound = map[*linemodel.Point]float64{}
	}
	b.sound[p], _ = nearest(b.joints, x)
}

// soundJoint returns a joint at x with what a sound one may reflect. It is not
// in the model yet.
func soundJoint(fit *linemodel.Fit, x float64) *linemodel.Point {
	p := fit.NewPoint(x, linemodel.Series)
	p.Fits = linemodel.Fitting(linemodel.ByFlat, linemodel.ByRising)
	p.Prior[linemodel.ByFlat].Sigma = jointFlatSigma
	p.Prior[linemodel.ByRising].Sigma = jointRisingSigma * fit.MiddleHz / 1e9
	return p
}

// terminated gives the joint at the end of the line what its termination may
// reflect as well: its record, at two standard deviations.
func (b *bench) terminated(joint *linemodel.Point) {
	db := b.endDB
	if db == 0 {
		db = terminationDB
	}
	sigma := math.Pow(10, -db/20)
	for _, q := range []int{linemodel.ByFlat, linemodel.ByRising} {
		joint.Prior[q].Sigma = math.Hypot(joint.Prior[q].Sigma, sigma)
	}
}
