package diagnose

import (
	"fmt"
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/locate"
)

// Where water has crept in slowly its edges reflect next to nothing, but what lies
// behind is held up: it is seen farther out than the record's lengths and velocities
// allow. Which section holds the wave up shows between the last joint in its
// place and the first that is late; where in it does not show.
const (
	heldUpSigmas  = 5.0 // standard deviations of the record that nothing sound is late by
	inPlaceSigmas = 3.0
	outshinesDB   = 26.0 // in front of a weak reflection, by which another is stronger so that its model does not tell where the weak one is
	heldUpCells   = 0.08 // that a weak reflection may be misplaced by what is beside it
	// How likely it is water, and other cable without an edge that shows; the rest is a record that is wrong.
	// Common practice, no source.
	heldUpConfidence = 0.6
	heldUpOther      = 0.15
)

// held is what holds the wave up: somewhere from one joint to another, lateM metres seen
// farther out than sigmaM, one standard deviation of the record, has it.
type held struct {
	from, to      int
	lateM, sigmaM float64
}

// heldUp finds what holds the wave up, ok false where nothing does.
func (b *bench) heldUp(found []locate.Reflection) (h held, ok bool) {
	if b.load == cables.Unstated || hidden(found, b.path.LengthM()) {
		return h, false
	}
	sigma := func(from, to float64) float64 {
		velocity := b.path.VelocityVariance(to) - b.path.VelocityVariance(from)
		return math.Sqrt(math.Max(0, velocity) + math.Pow(placeSigma(to-from), 2))
	}
	last := len(b.joints) - 1
	from, already := 0, 0.0 // the last joint in its place, and how late that is
	for k := 1; k <= last; k++ {
		kind := locate.AtJoint
		if k == last {
			kind = locate.AtFarEnd
			if b.fit.Load != nil { // how deep an antenna reflects, nobody knows
				return h, false
			}
		}
		late, seen, asThen, noise := 0.0, false, false, 0.0 // a fault about the end need not be just there
		strongest := math.Inf(1)
		for i := range found {
			r := &found[i]
			if r.Kind != kind || k == last && r.Excess || len(r.Points) == 0 || outshone(found, r) || r.ReturnLossDB > strongest || k < last && math.Abs(r.DistanceM-b.joints[k]) > math.Abs(r.DistanceM-b.joints[k+1]) {
				continue
			}
			late, seen, noise, strongest = r.DistanceM-b.joints[k], true, r.NoiseM, r.ReturnLossDB
			asThen = b.since != nil && b.since.asThen(r.DistanceM, r.ReturnLossDB)
		}
		off := math.Hypot(sigma(b.joints[from], b.joints[k]), math.Hypot(noise, heldUpCells*b.fit.Cell(b.joints[k])))
		switch {
		case !seen:
		case math.Abs(late-already) < inPlaceSigmas*off:
			from, already = k, late
		case late-already > heldUpSigmas*off && late < mostVelocityChange*(b.joints[k]-b.joints[from]):
			if asThen { // a record that was wrong then is wrong now
				from, already = k, late
				continue
			}
			return held{from, k, late - already, off}, true
		}
	}
	return h, false
}

// outshone says whether so much more is reflected in front of r that it may be no more than what the model of that leaves.
func outshone(found []locate.Reflection, r *locate.Reflection) bool {
	return slices.ContainsFunc(found, func(q locate.Reflection) bool {
		return q.Kind != locate.EchoOf && q.DistanceM < r.DistanceM && q.ReturnLossDB < r.ReturnLossDB-outshinesDB
	})
}

// jointsMoved makes sound joints of what was found in mid-section as late as h and reflects no
// more than a joint may.
func (b *bench) jointsMoved(h held, found []Finding) {
	for i := range found {
		f := &found[i]
		if !f.IsFault || f.ExtentM > 0 || f.ReturnLossDB < -20*math.Log10(locate.JointMost(b.fit)) {
			continue
		}
		for _, x := range b.joints[h.from+1 : h.to] {
			if math.Abs(f.DistanceM-x-h.lateM) < inPlaceSigmas*h.sigmaM {
				f.Cause, f.IsFault, f.Confidence, f.Place, f.Alternatives = Joint, false, usual, b.placeOf(x)+", held up", []Alternative{}
			}
		}
	}
}

// heldUpFinding tells that something between two joints holds the wave up.
func (b *bench) heldUpFinding(h held) Finding {
	what := "the far end"
	if h.to < len(b.joints)-1 {
		what = b.placeOf(b.joints[h.to])
	}
	f := inOneOfFinding(b.path.Spans[h.from:h.to], WaterInCable, heldUpConfidence,
		fmt.Sprintf("%s is seen %.2f m farther out than the record has it, where its lengths and velocities allow %.2f m (one standard deviation): something in front of it holds the wave up", what, h.lateM, h.sigmaM),
		"its edges reflect too little to be seen, so where in the section it is does not show; a record with a wrong length or cable looks the same, so compare the print on the jacket and its length with the record first")
	f.Alternatives = []Alternative{{WrongImpedance, heldUpOther}}
	return f
}
