package diagnose

import (
	"math"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// A section that is other cable from end to end, 75-ohm cable in a 50-ohm line for one, is of
// the recorded length and of another velocity. What lies behind is then seen
// elsewhere than by the record, farther out than its end even, and by itself its near edge is
// a contact as well. So it is tried as a whole: the line of the record with that section exchanged,
// over all velocities that such cable may have. So is a dent just in front of an open or shorted end, over
// its places, and one in front of an antenna: outside its band that is a mirror, between which and a deep dent the wave goes to and
// fro, and free points do not find their way.
const (
	wholeLeast  = 0.12 // |Γ| by itself of what may be its near edge
	wholeBeyond = 2.0  // times less, and more, where the line seems to end behind its record: the model of its beginning is a poor one then
	wholeMost   = 0.3
	wholeBegun  = 20   // of the best velocities, and as many between them, are fitted alone,
	wholeFits   = 6    // and of these with all else
	wholeGain   = 30.0 // natural units that it must bring over what was named
	wholeLeaves = 0.5  // and the share of the cost that it may leave;
	wholeForTwo = 20.0 // natural units alone where it is one thing in place of two
	unlikeMost  = 20.0 // times what free points leave, that the line of the record leaves, which is not sound then
	crowdLeaves = 0.1  // of what free points at the end explain that it, or a circuit at the end, may leave
)

// otherSection returns the section of other cable, or the dent just in front of the end, that
// explains the sweep better than what v holds, or nil.
func (v *view) otherSection() *soaking {
	b := v.bench
	crowded := !faulty(v.findings)
	if crowded && !v.crowdedEnd && !v.unlikeRecord() {
		return nil
	}
	var s *soakSearch
	var named, state *linemodel.State
	var best *linemodel.Point
	least := math.Inf(1)
	attempt := func(fitted func() (*linemodel.Point, float64)) {
		if s == nil {
			s = v.lineOfRecord()
			named = s.asNamed(v)
		}
		if p, cost := fitted(); p != nil && cost < least {
			best, least, state = p, cost, s.fit.Save()
		}
	}
	for _, one := range v.mayBeOther() {
		for _, ratio := range b.foreignRatios(one.fromM + one.lengthM/2) {
			attempt(func() (*linemodel.Point, float64) { return s.other(one, ratio) })
		}
	}
	if crowded || (b.load == cables.Open || b.load == cables.Short) && v.faultNearEnd() {
		attempt(func() (*linemodel.Point, float64) { return s.dentAtEnd(b.fit) })
		attempt(func() (*linemodel.Point, float64) { return s.circuitBeforeEnd() })
	}
	if b.load == cables.Antenna && !crowded && v.heldToLoad == nil && !v.cutOff() {
		for _, r := range v.mayHoldDent() {
			attempt(func() (*linemodel.Point, float64) { return s.dentWithin(r[0], r[1], b.fit) })
		}
	}
	if best == nil {
		return nil
	}
	found := &soaking{cost: least}
	// What is known beforehand weighs as the better of both leaves it, not as the sound line did.
	fit := s.fit
	weigh := func(state *linemodel.State) float64 {
		fit.Restore(state)
		fit.Evaluate()
		fit.Refine(fit.Points, true, true, 8)
		return fit.Cost
	}
	fit.Restore(state)
	fit.Unit = math.Min(fit.Unit, temper*math.Max(fit.Noise, fit.ResidualRMS()*fit.ResidualRMS()))
	without := weigh(named)
	crowd := without
	if crowded { // free points are no name: it must explain nearly as much as these, and bring so much over a sound line
		without = weigh(s.settled())
	}
	least = weigh(state)
	if crowded && least-crowd > crowdLeaves*(without-crowd) {
		return nil
	}
	// The points of the sweep that were left out say as much, each for itself.
	unit := temper * math.Max(fit.Noise, least/float64(len(fit.Measured))) * float64(len(fit.Measured)) / float64(len(b.fit.Measured))
	point := *best
	found.point, found.ends, found.gain = &point, copies(s.end()), (without-least)/unit
	if point.Extent > dentLongestM || !v.cutOff() { // a dent in place of the open that ends a shorted line must stand with the mirror alone
		found.rest = s.beside(best)
	}
	gain, leaves := wholeGain, wholeLeaves
	if v.faultsWithin(&point) > 1 {
		gain, leaves = wholeForTwo, 1
	}
	if found.gain < gain || least > leaves*without {
		return nil
	}
	if fit.Load != nil && least > wholeLeaves*s.nearer() {
		return nil
	}
	return found
}

// unlikeRecord says whether the line of the record leaves far more of a sweep with a mirror at its end than what was found does, be
// it called sound: free points in a crowd stand for more than sound joints may be.
func (v *view) unlikeRecord() bool {
	if v.bench.load != cables.Open && v.bench.load != cables.Short {
		return false
	}
	s := v.lineOfRecord()
	return cheapest(s.base).Cost/float64(len(s.fit.Measured)) > unlikeMost*v.found.ResidualRMS*v.found.ResidualRMS
}

// faultsWithin counts the faults that v holds where p lies.
func (v *view) faultsWithin(p *linemodel.Point) (count int) {
	cell := v.bench.fit.Cell(p.X)
	end := p.X + math.Max(p.Extent, p.LengthM()) // where it is seen, or by the record
	for _, f := range v.findings {
		if f.IsFault && f.DistanceM > p.X-cell && f.DistanceM < end+cell+3*placeSigma(end) {
			count++
		}
	}
	return count
}

// nearer is what the line of the record leaves with an antenna that is as much nearer as its tolerance allows.
func (s *soakSearch) nearer() float64 {
	fit := s.fit
	s.asRecorded()
	fit.Load = causalLoad(fit, nearLoadSigmas*placeSigma(s.path.LengthM()))
	fit.Evaluate()
	fit.FitLoad()
	fit.Refine(fit.Points, true, true, 6)
	return fit.Cost
}

// faultNearEnd says whether v holds a fault within a few cells of the end of the line.
func (v *view) faultNearEnd() bool {
	length := v.bench.path.LengthM()
	return slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && math.Abs(f.DistanceM-length) < nearLoadCells*v.bench.fit.Cell(length)
	})
}

// otherCable is where there may be other cable: from fromM to the end of its section, or to
// just in front of the antenna.
type otherCable struct {
	fromM, lengthM float64
	sigmaM         float64 // of its length
	atJoint        bool
}

// mayBeOther lists the sections, and the rests of sections, whose far edge a joint or an antenna's taps would take,
// at whose beginning something reflects as the edge of other cable does.
func (v *view) mayBeOther() (out []otherCable) {
	b := v.bench
	least, most := wholeLeast, wholeMost
	if v.endsBeyond() {
		least, most = least/wholeBeyond, most*wholeBeyond
	}
	for _, r := range v.reflectors() {
		size := math.Pow(10, -r.ReturnLossDB/20)
		if size < least || size > most {
			continue
		}
		atJoint := false
		for i := range b.path.Spans {
			span := &b.path.Spans[i]
			off, cell := math.Abs(r.DistanceM-span.StartM), b.fit.Cell(span.StartM)
			if off < 3*placeSigma(span.StartM)+cell/2 && span.Device == nil {
				atJoint = atJoint || off < cell
				out = append(out, otherCable{span.StartM, span.LengthM, placeSigma(span.LengthM), true})
			}
		}
		if atJoint || v.isOther(r.DistanceM) {
			continue
		}
		last := b.fit.SpanAt(r.DistanceM)
		rest := b.path.Spans[last].StartM + b.path.Spans[last].LengthM - r.DistanceM
		out = append(out, otherCable{r.DistanceM, rest, placeSigma(rest), false})
		if b.load == cables.Antenna && last == len(b.path.Spans)-1 {
			short := nearLoadCells / 2 * b.fit.Cell(r.DistanceM)
			out = append(out, otherCable{r.DistanceM, rest - short, short, false})
		}
	}
	return slices.DeleteFunc(out, func(o otherCable) bool { return o.lengthM < foreignLeastM })
}

// reflectors lists what v was found to reflect, and the faults told from that which locating does not have: it leaves what is
// just in front of an antenna to the antenna.
func (v *view) reflectors() []locate.Reflection {
	all := slices.Clone(v.found.Reflections)
	for _, f := range v.findings {
		near := func(r locate.Reflection) bool {
			return math.Abs(r.DistanceM-f.DistanceM) < v.bench.fit.Cell(f.DistanceM)/2
		}
		if f.IsFault && f.ExtentM == 0 && !slices.ContainsFunc(all, near) {
			all = append(all, locate.Reflection{DistanceM: f.DistanceM, ReturnLossDB: f.ReturnLossDB})
		}
	}
	return all
}

// isOther says whether other cable was named at x already.
func (v *view) isOther(x float64) bool {
	reach := v.bench.fit.Cell(x)
	return slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && f.Cause == WrongImpedance && x > f.DistanceM-reach && x < f.DistanceM+f.ExtentM+reach
	})
}

// other fits the line of the record with other cable of the given ratio at one, and returns that and
// what it leaves.
func (s *soakSearch) other(one otherCable, ratio float64) (best *linemodel.Point, cost float64) {
	w := &foreignWork{bench: s.bench}
	var rows [][]start
	for _, bare := range []*linemodel.State{s.asRecorded(), s.base[len(s.base)-1]} { // what was found may be there too
		row := w.delays(func() { s.fit.Return(bare) }, one.fromM, one.lengthM, ratio)
		for i, plain := range row {
			row[i] = func(p *linemodel.Point) {
				plain(p)
				if one.atJoint {
					p.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: one.fromM, Sigma: placeSigma(one.fromM)}
				}
				p.Fits[linemodel.ByShift] = true
				p.Prior[linemodel.ByShift] = linemodel.Prior{Mean: p.Shift, Sigma: one.sigmaM}
			}
		}
		rows = append(rows, row)
	}
	return s.leastOf(rows, func(p *linemodel.Point) bool {
		prior := p.Prior[linemodel.ByDrop]
		return math.Abs(p.Ratio-prior.Mean) < ratioMost*prior.Sigma
	})
}

// dentAtEnd fits the line of the record with a dent just in front of its end, and returns that and what it
// leaves.
func (s *soakSearch) dentAtEnd(named *linemodel.Fit) (best *linemodel.Point, cost float64) {
	length := s.path.LengthM()
	return s.dentWithin(math.Max(0, length-nearLoadCells*s.fit.Cell(length)), length, named)
}

// cutOff says whether v holds an open or a short circuit.
func (v *view) cutOff() bool {
	return slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && (f.Cause == OpenCircuit || f.Cause == ShortCircuit)
	})
}

// endsBeyond says whether v holds an open or a short circuit behind the end of the record, as no line has one.
func (v *view) endsBeyond() bool {
	end := v.bench.path.LengthM()
	return slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && (f.Cause == OpenCircuit || f.Cause == ShortCircuit) && f.DistanceM > end+3*placeSigma(end)
	})
}

// mayHoldDent lists from where to where, in front of an antenna and beside what reflects strongly, a dent may be.
func (v *view) mayHoldDent() (out [][2]float64) {
	b := v.bench
	length := b.path.LengthM()
	out = append(out, [2]float64{math.Max(0, length-nearLoadCells*b.fit.Cell(length)), length - dentToLoadM})
	for _, r := range v.found.Reflections {
		cell := b.fit.Cell(r.DistanceM)
		if r.Excess && r.Kind != locate.AtFarEnd && r.DistanceM-cell < out[0][0] {
			from := math.Max(0, r.DistanceM-cell)
			to := math.Min(r.DistanceM+cell, out[0][0])
			out = append(out, [2]float64{from, to})
		}
	}
	return out
}

// dentWithin fits the line of the record with a dent from from to to.
func (s *soakSearch) dentWithin(from, to float64, named *linemodel.Fit) (best *linemodel.Point, cost float64) {
	length := s.path.LengthM()
	var rows [][]start
	for _, bare := range []*linemodel.State{s.asRecorded(), s.settled(), s.namedBefore(from, named)} {
		rows = append(rows, s.dentsAlong(bare, from, to, s.eighth(to))...)
	}
	return s.leastOf(rows, func(p *linemodel.Point) bool { return p.Ratio < dentMostRatio && p.X+p.Extent < length })
}

// leastOf fits what the starts of rows begin, from the best of them, and returns the acceptable one that
// leaves least, nil without, in its fit, and what it leaves.
func (s *soakSearch) leastOf(rows [][]start, acceptable func(p *linemodel.Point) bool) (best *linemodel.Point, cost float64) {
	fit := s.fit
	var begun []trial
	fromBest(fit, rows, wholeBegun, wholeBegun, func(p *linemodel.Point) {
		fit.Refine(s.from(p), false, true, 4)
		begun = append(begun, trial{point: p, score: -fit.Cost, state: fit.Save()})
	})
	sortTrials(begun)
	var state *linemodel.State
	cost = math.Inf(1)
	var before []trial
	for _, t := range begun {
		if slices.ContainsFunc(before, t.hasComeTo) {
			continue
		}
		if before = append(before, t); len(before) > wholeFits {
			break
		}
		fit.Restore(t.state)
		fit.Refine(s.from(t.point), true, true, 4)
		fit.Refine(fit.Points, true, true, 8)
		if fit.Cost < cost && acceptable(t.point) {
			best, cost, state = t.point, fit.Cost, fit.Save()
		}
	}
	if best != nil {
		fit.Restore(state)
	}
	return best, cost
}

// hasComeTo says whether t, begun elsewhere, has come to the same as u.
func (t *trial) hasComeTo(u trial) bool {
	return t.point.Form == u.point.Form && math.Abs(t.score-u.score) < sameCost*math.Abs(t.score)
}

// sameCost is how far two fits that end in the same place are apart in what they leave.
const sameCost = 1e-3

// asRecorded makes the line just what the record says, every part sound.
func (s *soakSearch) asRecorded() *linemodel.State {
	fit := s.fit
	for _, q := range slices.Clone(fit.Points) {
		fit.Remove(q)
	}
	fit.Links = nil
	seen := s.seen
	s.seen = s.joints
	s.sound()
	s.seen = seen
	return s.recordedEnd()
}

// settled is the line of the record, fitted.
func (s *soakSearch) settled() *linemodel.State {
	s.asRecorded()
	s.fit.Refine(s.fit.Points, true, true, 8)
	return s.fit.Save()
}

// namedBefore makes the line what was named in front of x and what the record says from there on.
func (s *soakSearch) namedBefore(x float64, named *linemodel.Fit) *linemodel.State {
	s.adopt(named)
	for _, q := range slices.Clone(s.fit.Points) {
		if q.X > x {
			s.fit.Remove(q)
		}
	}
	s.fit.Links = nil
	return s.recordedEnd()
}

// recordedEnd puts the end of the record on the line.
func (s *soakSearch) recordedEnd() *linemodel.State {
	fit := s.fit
	length := s.path.LengthM()
	if sign := s.mirror(); sign != 0 {
		end := fit.NewPoint(length, linemodel.Step)
		end.Flat = sign
		end.Fits = linemodel.Fitting(linemodel.ByRising, linemodel.ByPlace)
		end.Prior[linemodel.ByPlace] = linemodel.Prior{Mean: length, Sigma: placeSigma(length)}
		fit.Sample(end)
		fit.Insert(end)
	}
	fit.Evaluate()
	if fit.Load != nil {
		fit.QuickFitLoad()
	}
	return fit.Save()
}

// worseMost is how many times as much as without it a line may leave on which wet cable was put: what was named
// without it may have been named with many a free point.
const worseMost = 2.0

// stands says whether what was found is still that once the rest of the line is located beside it, in second; first is
// what was named without it.
func (w *soaking) stands(first, second *view) bool {
	better := second.left < worseMost*first.left
	p := second.found.Known[0]
	if w.point.Form == linemodel.Foreign && w.point.Extent < dentLongestM && first.namedAt(p) {
		better = second.left < wholeLeaves*first.left
	}
	switch {
	case p.Form != linemodel.Foreign:
		return better
	case w.point.Extent > dentLongestM:
		return math.Abs(p.Ratio-w.point.Ratio) < ratioMost*ratioSigma*w.point.Ratio
	case p.Ratio > dentMostRatio || p.Extent > dentLongestM:
		return false
	}
	// An antenna's taps take much of what is found in front of it beside a dent that is none.
	return better && (second.bench.load != cables.Antenna || faults(second.findings) <= faults(first.findings))
}

// namedAt says whether v holds a fault of a connector or of the cable where p lies.
func (v *view) namedAt(p *linemodel.Point) bool {
	return slices.ContainsFunc(v.findings, func(f Finding) bool {
		return f.IsFault && f.Cause != AntennaFault && math.Abs(f.DistanceM-p.X-p.Extent/2) < v.bench.fit.Cell(p.X)
	})
}

// wholeFinding tells of a section of other cable, or a dent in front of the end, that the line was found
// to have.
func (b *bench) wholeFinding(p *linemodel.Point) Finding {
	f := Finding{DistanceM: math.Max(0, p.X), SigmaM: placeSigma(p.X), ExtentM: p.LengthM(), Cause: WrongImpedance, IsFault: true,
		Confidence: trust(1), Place: "in " + b.path.Spans[b.fit.SpanAt(p.X+p.LengthM()/2)].Name,
		ReturnLossDB: -20 * math.Log10(math.Max(b.fit.RMS(p), 1e-6)),
		Alternatives: []Alternative{}, Checks: []string{}, Cautions: []string{}}
	if p.Extent < dentLongestM { // a circuit has none
		f.Cause = DentOrKink
		if place, atJoint := b.placeAt(p.X + p.Extent/2); atJoint || p.Form != linemodel.Foreign { // whose circuits look like it
			return b.atJointInstead(f, p, place)
		}
	}
	nameAlone(&f)
	t := trial{cause: f.Cause, point: p, state: b.fit.Save(), words: describe(p, nil, b.fit, 0, "")[0]}
	b.named = append(b.named, &verdictOf{finding: f, trials: []trial{t}})
	return f
}

// atJointInstead names what was found as p, which f tells of, at a joint: a dent may be a circuit there, and a circuit another.
func (b *bench) atJointInstead(f Finding, p *linemodel.Point, place string) Finding {
	points := []*linemodel.Point{p}
	trials := append(b.circuits(points), b.dent(points)...)
	if len(trials) == 0 { // it was given up
		return f
	}
	sortTrials(trials)
	best := trials[0]
	b.fit.Restore(best.state)
	f.DistanceM, f.ExtentM, f.ReturnLossDB = math.Max(0, best.point.X), best.point.LengthM(), -20*math.Log10(math.Max(b.fit.RMS(best.point), 1e-6))
	if best.cause != DentOrKink {
		f.Place = place
	}
	nameFinding(&f, trials, nearLoadTrust)
	b.named = append(b.named, &verdictOf{finding: f, trials: trials})
	return f
}
