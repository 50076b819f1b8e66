package diagnose

import (
	"math"
	"slices"

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
	nearLoadSigmas  = 3   // standard deviations that the line may be shorter than its record
	nearLoadGain    = 20  // natural units of evidence that a fault there must bring
	nearLoadLeaves  = 0.5 // and the share of the cost that it may leave
	tapSpacingCells = 0.8
	mostNearTaps    = 120
	nearLoadTrust   = 0.75 // how often such a name is right, from drawn lines
)

// nearLoad looks for a fault at a joint just in front of an antenna and, where what was found at fault there has no sure
// name, for dents and other cable in front of it, and returns the trials, best first, or nil. The fit of
// b stays as it is.
func (b *bench) nearLoad(found *locate.Result, unsure bool) []trial {
	length := b.path.LengthM()
	if b.load != cables.Antenna || b.fit.Load == nil || hidden(found.Reflections, length) {
		return nil
	}
	cell := b.fit.Cell(length)
	if slices.ContainsFunc(found.Known, b.isNearLoad) { // that is what is there
		return nil
	}
	var near []float64
	for _, x := range b.joints[1 : len(b.joints)-1] {
		if gap := length - x; gap < nearLoadCells*cell && gap > nearLoadLeast*cell {
			near = append(near, x)
		}
	}
	if len(near) == 0 && !unsure {
		return nil
	}
	fit, joints := b.beforeLoad(near, 0)
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
	explains := func(t trial) bool {
		return t.score > -sound/side.unit+nearLoadGain && t.state.Cost < nearLoadLeaves*sound
	}
	if unsure || slices.ContainsFunc(out, explains) {
		// The line may be shorter than its record: an antenna that much nearer is the other explanation.
		nearer, _ := b.beforeLoad(near, nearLoadSigmas*placeSigma(length))
		unit := temper * math.Max(nearer.Noise, nearer.ResidualRMS()*nearer.ResidualRMS())
		for _, t := range append(side.dentsNearLoad(), side.stretchesToLoad()...) {
			if t.cause == DentOrKink && len(near) > 0 { // anywhere, and a joint is in its place
				t.byChance(b.byChance(near[len(near)-1]))
			}
			if (nearer.Cost-t.state.Cost)/unit > nearLoadGain && t.state.Cost < nearLoadLeaves*nearer.Cost {
				out = append(out, t)
			}
		}
	}
	sortTrials(out)
	if len(out) == 0 || !explains(out[0]) {
		return nil
	}
	fit.Restore(out[0].state)
	return out
}

// beforeLoad is a fit of the line in front of an antenna that answers no earlier than it is asked, earlyM
// in front of its connector, with sound joints at near and what was found farther away.
func (b *bench) beforeLoad(near []float64, earlyM float64) (fit *linemodel.Fit, joints map[float64]*linemodel.Point) {
	length := b.path.LengthM()
	cell := b.fit.Cell(length)
	fit = linemodel.NewFit(b.path, b.fit.FrequencyHz, b.fit.Measured)
	copy(fit.Weight, b.fit.Weight)
	fit.Noise, fit.Ended = b.fit.Noise, b.fit.Ended
	fit.Load = causalLoad(fit, earlyM)
	for _, p := range b.fit.Points {
		if p.X < length-nearLoadCells*cell {
			fit.Insert(fit.Copy(p))
		}
	}
	joints = map[float64]*linemodel.Point{}
	for _, x := range near {
		joints[x] = soundJoint(fit, x)
		fit.Insert(joints[x])
	}
	fit.Evaluate()
	fit.FitLoad()
	fit.Refine(fit.Points, true, true, 6)
	return fit, joints
}

// dentsNearLoad tries dents along the cable just in front of the antenna. Where they are the antenna's
// taps tell, which answer no earlier than they are asked.
func (b *bench) dentsNearLoad() []trial {
	length := b.path.LengthM()
	step := math.Pi / b.fit.Beta0[b.path.SpanAt(length)] / placesPerHalf
	return b.bestNearLoad(DentOrKink, -0.5, b.dentsAlong(b.fit.Save(), length-nearLoadCells*b.fit.Cell(length), length-dentToLoadM, step))
}

// dentsAlong begins dents of two shapes all along from one place to another in the state bare.
func (b *bench) dentsAlong(bare *linemodel.State, from, to, step float64) (rows [][]start) {
	for _, guess := range [][2]float64{{0.06, 0.7}, {0.1, 0.5}} {
		var row []start
		for x := math.Max(0, from); x < to-guess[0]; x += step {
			if b.inDevice(x + guess[0]/2) {
				continue
			}
			row = append(row, func(p *linemodel.Point) {
				b.fit.Return(bare)
				asDent(p, x, guess[0], guess[1])
			})
		}
		rows = append(rows, row)
	}
	return rows
}

// stretchesToLoad tries cable of other impedance from what reflects in front of the antenna to just in
// front of it, where the antenna's taps would take its far edge.
func (b *bench) stretchesToLoad() (out []trial) {
	fit := b.fit
	length := b.path.LengthM()
	w := &foreignWork{bench: b}
	held := fit.Save()
	for _, q := range slices.Clone(fit.Points) {
		if q.Form == linemodel.Foreign || q.Form == linemodel.Wet || fit.RMS(q) < edgeAbove || length-q.X > wetMostM || length-q.X < foreignLeastM {
			continue
		}
		spared := 0.0
		if fit.RMS(q) > locate.JointMost(fit) { // one fault where else there are two
			spared = w.spared([]*linemodel.Point{q}) + secondFault
		}
		near := q.X
		bare := func() {
			fit.Return(held)
			for _, r := range slices.Clone(fit.Points) { // it, and sound joints within
				if r == q || r.X > near && r.X < length {
					fit.Remove(r)
				}
			}
		}
		for _, ratio := range b.foreignRatios((near + length) / 2) {
			var rows [][]start
			for _, short := range []float64{0, nearLoadCells / 2 * fit.Cell(length)} {
				if long := length - near - short; long > foreignLeastM {
					rows = append(rows, w.delays(bare, near, long, ratio))
				}
			}
			out = append(out, b.bestNearLoad(WrongImpedance, foreignPrior+spared, rows)...)
		}
	}
	return out
}

// bestNearLoad fits what the starts of rows begin, from the best of them.
func (b *bench) bestNearLoad(cause Cause, prior float64, rows [][]start) (out []trial) {
	fit := b.fit
	held := fit.Save()
	fromBest(fit, rows, screenKept, 0, func(p *linemodel.Point) {
		fit.Refine([]*linemodel.Point{p}, false, true, 8)
		fit.Refine(fit.Points, true, true, 20)
		if p.X+p.LengthM() < b.path.LengthM()+dentToLoadM && !(cause == DentOrKink && p.Ratio > dentMostRatio) {
			t := trial{cause: cause, point: p, score: -fit.Cost/b.unit + prior - float64(count(p.Fits)), state: fit.Save()}
			t.words = describe(p, nil, fit, 0, "")[0]
			out = append(out, t)
		}
	})
	fit.Restore(held)
	return out
}

// secondFault is what it costs a line to have another fault, natural units: one line in twelve. Common
// practice, no source.
const secondFault = 2.5

// dentToLoadM is how near to an antenna's connector a dent is at most.
const dentToLoadM = 0.1

// causalLoad returns an antenna for fit that answers no earlier than it is
// asked, earlyM in front of its connector in the record.
func causalLoad(fit *linemodel.Fit, earlyM float64) *linemodel.Load {
	n := len(fit.FrequencyHz)
	band := fit.FrequencyHz[n-1] - fit.FrequencyHz[0]
	length := fit.Path.LengthM()
	spacing := tapSpacingCells / band
	early := 2 * (fit.Path.ElectricalM(length) - fit.Path.ElectricalM(length-earlyM)) / cables.SpeedOfLight
	room := float64(n-1)/band - 2*fit.Path.ElectricalM(length)/cables.SpeedOfLight
	taps := int(math.Max(6, math.Min(mostNearTaps, math.Min(room, 150e-9)/spacing)))
	return linemodel.NewLoad(&fit.Medium, length, -causalGuard/band-early, spacing, taps, fit.Weight)
}

// isNearLoad says whether p reaches to where locating leaves all to the antenna.
func (b *bench) isNearLoad(p *linemodel.Point) bool {
	length := b.path.LengthM()
	return p.X+p.LengthM() > length-nearLoadCells*b.fit.Cell(length)
}

// holdAntenna holds an antenna to causality where what is known to stand just in front of it, if anything, would else be shared
// between the two.
func (b *bench) holdAntenna(known []*linemodel.Point) {
	fit := b.fit
	if b.load != cables.Antenna || fit.Load == nil || !slices.ContainsFunc(known, func(p *linemodel.Point) bool {
		return p.Form == linemodel.Foreign && b.isNearLoad(p)
	}) {
		return
	}
	fit.Load = causalLoad(fit, 0)
	fit.Evaluate()
	fit.FitLoad()
	fit.Refine(fit.Points, true, true, 6)
}

// unsureAtLoad says whether something at the antenna or just in front of it was found at fault without a
// name that stands by itself.
func unsureAtLoad(found []Finding) bool {
	return slices.ContainsFunc(found, func(f Finding) bool {
		return f.IsFault && f.Confidence < nearLoadTrust && (f.Place == placeAntenna || f.Place == placeAtLoad || f.Place == placeInFront)
	})
}

// withNearLoad adds the fault at a joint just in front of the antenna that
// trials name. The antenna itself cannot be judged through it.
func (b *bench) withNearLoad(found []Finding, trials []trial) []Finding {
	best := trials[0]
	length := b.path.LengthM()
	f := Finding{DistanceM: best.point.X, SigmaM: placeSigma(best.point.X), ExtentM: best.point.LengthM(), IsFault: true, Place: b.placeOf(best.point.X),
		Alternatives: []Alternative{}, Evidence: []string{best.words}, Checks: []string{}, Cautions: []string{}}
	f.ReturnLossDB = -20 * math.Log10(b.fit.RMS(best.point))
	if best.cause == DentOrKink || best.cause == WrongImpedance {
		f.Place = "in " + b.path.Spans[b.path.SpanAt(f.DistanceM)].Name
	}
	nameFinding(&f, trials, nearLoadTrust)
	var out []Finding
	for _, g := range found {
		near := length-g.DistanceM < nearLoadCells*b.fit.Cell(length) || g.DistanceM > f.DistanceM-b.fit.Cell(length)
		if near && g.IsFault && g.Cause != AntennaFault {
			continue
		}
		if g.Place == placeInFront { // that it is
			g.DistanceM, g.SigmaM, g.Place, near, g.Cause = length, placeSigma(length), placeAntenna, true, AntennaFault
		}
		if near && g.Cause == AntennaFault && g.IsFault {
			g.Cause, g.IsFault, g.Confidence, g.Alternatives = FarEnd, false, 0.5, []Alternative{}
			g.Evidence = append(g.Evidence, hiddenByFault)
		}
		out = append(out, g)
	}
	return append(out, f)
}

// placeAt names what is at x: a joint, to within what the sweep and the record tell, or the section.
func (b *bench) placeAt(x float64) (place string, atJoint bool) {
	joint, _ := nearest(b.joints, x)
	atJoint = math.Abs(joint-x) < math.Max(0.6*b.fit.Cell(joint), 3*placeSigma(joint))
	if atJoint && joint > 0 {
		return b.placeOf(joint), true
	}
	return "in " + b.path.Spans[b.path.SpanAt(x)].Name, atJoint
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
