package diagnose

import (
	"math"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// In front of an antenna, within a few cells, locate leaves all to the antenna:
// its taps begin a little before its connector. A joint there shows only to
// who holds the antenna to causality, that it cannot answer before it was
// asked, and the joints to what sound ones reflect.
const (
	nearLoadCells   = 3.5
	nearLoadLeast   = 0.3 // cells: nearer, the joint and the antenna are one
	causalGuard     = 0.3 // cells in front of the connector that the taps begin
	nearLoadGain    = 20  // natural units of evidence that a fault there must bring
	nearLoadLeaves  = 0.5 // and the share of the cost that it may leave
	tapSpacingCells = 0.8
	mostNearTaps    = 120
	nearLoadTrust   = 0.75 // how often such a name is right, from drawn lines
)

// nearLoad looks for a fault at a joint just in front of an antenna and returns
// its trials, best first, or nil. The fit of b stays as it is.
func (b *bench) nearLoad(found []locate.Reflection) []trial {
	if b.load != cables.Antenna || b.fit.Load == nil || hidden(found, b.path.LengthM()) {
		return nil
	}
	length := b.path.LengthM()
	cell := b.fit.Cell(length)
	var near []float64
	for _, x := range b.joints[1 : len(b.joints)-1] {
		if gap := length - x; gap < nearLoadCells*cell && gap > nearLoadLeast*cell {
			near = append(near, x)
		}
	}
	if len(near) == 0 {
		return nil
	}
	fit := linemodel.NewFit(b.path, b.fit.FrequencyHz, b.fit.Measured)
	copy(fit.Weight, b.fit.Weight)
	fit.Noise, fit.Ended = b.fit.Noise, b.fit.Ended
	fit.Load = causalLoad(fit)
	for _, p := range b.fit.Points {
		if p.X < length-nearLoadCells*cell {
			q := fit.NewPoint(p.X, p.Form)
			q.CopyFrom(p)
			fit.Sample(q)
			fit.Insert(q)
		}
	}
	joints := map[float64]*linemodel.Point{}
	for _, x := range near {
		joints[x] = soundJoint(fit, x)
		fit.Insert(joints[x])
	}
	fit.Evaluate()
	fit.FitLoad()
	fit.Refine(fit.Points, true, true, 6)
	sound := fit.Cost
	side := &bench{fit: fit, path: b.path, load: b.load, joints: b.joints,
		unit: temper * math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS())}
	var out []trial
	held := fit.Save()
	for _, x := range near {
		for _, c := range circuits() {
			if !c.needsJoint {
				continue
			}
			for _, size := range startSizes() {
				p := fit.NewPoint(x, c.form)
				p.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: x, Sigma: placeSigma(x)}
				c.begin(p, size)
				fit.Sample(p)
				fit.Remove(joints[x])
				fit.Insert(p)
				fit.Evaluate()
				fit.Refine([]*linemodel.Point{p}, false, true, 8)
				t := trial{cause: side.causeOf(c.cause, p), point: p, score: -fit.Cost/side.unit + c.prior - float64(count(c.fits)), state: fit.Save()}
				t.words = describe(p, nil, fit, 0, "")[0]
				out = append(out, t)
				fit.Restore(held)
			}
		}
	}
	sortTrials(out)
	if len(out) == 0 || out[0].score < -sound/side.unit+nearLoadGain || out[0].state.Cost > nearLoadLeaves*sound {
		return nil
	}
	fit.Restore(out[0].state)
	return out
}

// causalLoad returns an antenna for fit that answers no earlier than it is
// asked.
func causalLoad(fit *linemodel.Fit) *linemodel.Load {
	n := len(fit.FrequencyHz)
	band := fit.FrequencyHz[n-1] - fit.FrequencyHz[0]
	length := fit.Path.LengthM()
	spacing := tapSpacingCells / band
	room := float64(n-1)/band - 2*fit.Path.ElectricalM(length)/cables.SpeedOfLight
	taps := int(math.Max(6, math.Min(mostNearTaps, math.Min(room, 150e-9)/spacing)))
	return linemodel.NewLoad(&fit.Medium, length, -causalGuard/band, spacing, taps, fit.Weight)
}

// withNearLoad adds the fault at a joint just in front of the antenna that
// trials name. The antenna itself cannot be judged through it.
func (b *bench) withNearLoad(found []Finding, trials []trial) []Finding {
	best := trials[0]
	length := b.path.LengthM()
	f := Finding{DistanceM: best.point.X, SigmaM: placeSigma(best.point.X), IsFault: true, Place: b.placeOf(best.point.X),
		Alternatives: []Alternative{}, Evidence: []string{best.words}, Checks: []string{}, Cautions: []string{}}
	nameFinding(&f, trials, nearLoadTrust)
	var out []Finding
	for _, g := range found {
		near := length-g.DistanceM < nearLoadCells*b.fit.Cell(length)
		if near && g.IsFault && g.Cause != AntennaFault {
			continue
		}
		if near && g.Cause == AntennaFault && g.IsFault {
			g.Cause, g.IsFault, g.Confidence, g.Alternatives = FarEnd, false, 0.5, []Alternative{}
			g.Evidence = append(g.Evidence, "the fault just in front of it hides how good the antenna is: sweep again after the repair")
		}
		out = append(out, g)
	}
	return append(out, f)
}

// placeOf names the joint at x.
func (b *bench) placeOf(x float64) string {
	best := 1
	for i := range b.joints {
		if math.Abs(b.joints[i]-x) < math.Abs(b.joints[best]-x) {
			best = i
		}
	}
	if best == 0 || best == len(b.path.Spans) {
		return "connector"
	}
	return "joint " + b.path.Spans[best-1].Name + " / " + b.path.Spans[best].Name
}
