package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// What the far end may swallow by itself, and how much more than its record a
// sound line may lose, there and back. Common practice, no source: cable loss is
// within 5 % of its sheet, mostly within half of that, every joint adds a
// little, and an antenna out of its band reflects all but a decibel or two.
const (
	antennaSwallowsDB = 2.0
	lossShare         = 0.09
	lossFloorDB       = 0.35
	mostLossShare     = 3.0 // beyond that the far end is no mirror
	mostLossier       = 3.0 // times its record that a section may lose beyond it
	bandMargin        = 0.3 // share of its band's edges within which an antenna is in between,
	bandNear          = 0.1 // or, where the sweep goes no farther, at least
)

// excess is the loss of a line beyond its record, two ways.
type excess struct {
	middleDB  float64 // at the middle of the span, in proportion to √f
	baseDB    float64 // the part that does not run with frequency: the end's own
	nominalDB float64 // the record's, at the middle of the span
	sigmaDB   float64
	sections  []cables.Span // those that may have it, the one that loses most by its record first
	endDB     float64       // what a sound far end may swallow by itself
}

// excessLoss compares what a total reflection at the far end brings back with
// the record. ok is false where there is no such mirror: a termination, an
// antenna that is matched over the whole sweep, or a fault that hides the end.
func excessLoss(fit *linemodel.Fit, found []locate.Reflection, line *cables.Line) (e excess, ok bool) {
	var gamma []complex128
	baseMost := 0.15
	switch line.Load.Kind {
	case cables.Open, cables.Short:
		// Several reflections may stand for the end, and begin well in front of it: the way
		// between the first and the strongest of their points has its recorded loss.
		var first, end *linemodel.Point
		for i := range found {
			if found[i].Kind != locate.AtFarEnd {
				continue
			}
			for _, p := range found[i].Points {
				if first == nil || p.X < first.X {
					first = p
				}
				if end == nil || fit.RMS(p) > fit.RMS(end) {
					end = p
				}
			}
		}
		if end != nil {
			gamma = slices.Clone(first.Local)
			for k := range gamma {
				gamma[k] *= complex(cmplx.Abs(first.Phasor[k]/end.Phasor[k]), 0)
			}
		}
	case cables.Antenna:
		if fit.Load != nil {
			gamma, baseMost = fit.Load.Gamma, antennaSwallowsDB
			e.endDB = antennaSwallowsDB
		}
	}
	for i := range found {
		if found[i].Total != locate.NotTotal && found[i].Kind != locate.AtFarEnd {
			return e, false
		}
	}
	if gamma == nil {
		return e, false
	}
	seen, root := mirrored(fit, gamma, line.Load.BandHz)
	if len(seen) < 12 {
		return e, false
	}
	// Least squares of loss = base + k·√q, the base held to what it may be: over a narrow band the two look alike.
	n := float64(len(seen))
	var sq, qq, sl, ql float64
	for i, q := range root {
		sq += q
		qq += q * q
		sl += seen[i]
		ql += q * seen[i]
	}
	ridge := n / lossPoints * lossPointDB * lossPointDB / (baseSigmaDB * baseSigmaDB)
	base := (sl*qq - sq*ql) / ((n+ridge)*qq - sq*sq)
	base = math.Max(0, math.Min(baseMost, base))
	slope := (ql - base*sq) / qq
	residual := 0.0
	for i, q := range root {
		d := seen[i] - base - slope*q
		residual += d * d
	}
	e.middleDB, e.baseDB, e.sigmaDB = slope, base, math.Sqrt(residual/n)
	own := func(s cables.Span) float64 {
		return 2 * s.Medium.AttenuationNp(fit.MiddleHz) * s.LengthM / cables.NeperPerDB
	}
	for _, s := range fit.Path.Spans {
		e.nominalDB += own(s)
		if s.Cable != nil {
			e.sections = append(e.sections, s)
		}
	}
	slices.SortStableFunc(e.sections, func(a, b cables.Span) int { return cmp.Compare(own(b), own(a)) })
	most := slices.IndexFunc(e.sections, func(s cables.Span) bool { return e.middleDB-e.soundDB() > mostLossier*own(s) })
	if most > 0 {
		e.sections = e.sections[:most]
	} else if most == 0 {
		e.sections = e.sections[:1]
	}
	// A mirror is smooth; an antenna that takes part of the power here and there is none, nor is one that is as good out of its band
	// as in it: what throws back little must throw back as much less in the band as a sound antenna does.
	if band := line.Load.BandHz; line.Load.Kind == cables.Antenna && base+slope > mirrorSurelyDB {
		loss := base + slope*math.Sqrt((band[0]+band[1])/2/fit.MiddleHz) // there
		promised := cmp.Or(line.Load.ReturnLossDB, antennaDefaultDB)
		if inBandDB(fit, gamma, band) < loss+promised-antennaMarginDB {
			return e, false
		}
	}
	return e, e.sigmaDB < 0.15+0.06*slope && e.middleDB < mostLossShare*e.nominalDB+e.endDB
}

// mirrored is what an end that should reflect all takes from a wave, dB, and √q, where it is one: an antenna out of its band, as
// far from it as there is room.
func mirrored(fit *linemodel.Fit, gamma []complex128, band [2]float64) (loss, root []float64) {
	low, high := band[0], band[1]
	for _, margin := range [2]float64{bandMargin, bandNear} {
		loss, root = nil, nil
		for k, g := range gamma {
			f := fit.FrequencyHz[k]
			if fit.Weight[k] < 0.02 || high > low && f > low*(1-margin) && f < high*(1+margin) {
				continue
			}
			loss = append(loss, -20*math.Log10(math.Max(cmplx.Abs(g), 1e-3)))
			root = append(root, math.Sqrt(fit.Ratio[k]))
		}
		if float64(len(loss)) > mirrorShare*float64(len(gamma)) {
			break
		}
	}
	return loss, root
}

// inBandDB is the return loss of an antenna of reflection gamma over its band, dB, +Inf where that was not swept.
func inBandDB(fit *linemodel.Fit, gamma []complex128, band [2]float64) float64 {
	sum, count := 0.0, 0
	for k, g := range gamma {
		if f := fit.FrequencyHz[k]; fit.Weight[k] > 0 && f >= band[0] && f <= band[1] {
			sum += real(g * cmplx.Conj(g))
			count++
		}
	}
	if count == 0 {
		return math.Inf(1)
	}
	return -10 * math.Log10(math.Max(sum/float64(count), 1e-12))
}

// mirrorSurelyDB is the loss there and back up to which what an antenna throws back is that of a mirror whatever it is in its
// band: sound ones are matched better than that. Common practice, no source.
const mirrorSurelyDB = 6.0

// mirrorShare is the share of a sweep that is enough room.
const mirrorShare = 0.05

// How well the loss at a frequency is known, and how many of them there are in a sweep that say different things; and
// what an end takes by itself, whatever the frequency, one standard deviation.
const (
	lossPointDB = 0.05
	lossPoints  = 10.0
	baseSigmaDB = 0.1
)

// significant says that the line loses more than a sound one may. What an
// antenna swallows grows towards its band much as cable loss does: no fit over
// frequency takes it out for certain, so all of it must be exceeded.
func (e excess) significant() bool { return e.middleDB > e.soundDB() }

// soundDB is what a sound line may lose at most beyond its record, there and back.
func (e excess) soundDB() float64 { return e.endDB + math.Hypot(lossFloorDB, lossShare*e.nominalDB) }

// edgeOfLoss returns the sections that may lose what e is, and makes a sound joint of a finding that is the edge of one of
// these: cable that loses more has another impedance too, Z ≈ Z0·(1 + (1−j)·α/β) where its conductors lose it (Pozar,
// "Microwave Engineering", 4th ed., ch. 2.7, from memory), and so looks like a slight contact, or something else at its connector, where it begins.
func (b *bench) edgeOfLoss(e excess, found []Finding) []cables.Span {
	for _, s := range e.sections {
		alpha := e.middleDB / 2 * cables.NeperPerDB / s.LengthM
		gamma, _ := s.Medium.Wave(b.fit.MiddleHz)
		edge := alpha / imag(gamma) / 2
		for i := range found {
			f := &found[i]
			slight := f.Cause == PoorContact || f.Cause == ConnectorMismatch || f.Cause == WaterInConnector
			if !f.IsFault || !slight || f.ExtentM > 0 || math.Pow(10, -f.ReturnLossDB/20) > lossEdgeMost*edge ||
				s.StartM == 0 || math.Abs(f.DistanceM-s.StartM) > 3*placeSigma(s.StartM)+b.fit.Cell(s.StartM)/2 {
				continue
			}
			f.Cause, f.IsFault, f.Confidence, f.Alternatives = Joint, false, usual, []Alternative{}
			f.Evidence = append(f.Evidence, fmt.Sprintf("it reflects no more than the beginning of %s may, which loses so much more than its record", s.Name))
			return []cables.Span{s}
		}
	}
	return e.sections
}

// lossEdgeMost is how many times as strong as it is in the middle of the band such an edge may look: it is stronger at low
// frequencies, and a sound joint stands in the same place.
const lossEdgeMost = 4.0

// lateM is how much farther out what lies behind e seems at most, m: what conductors lose they hold up as well, Δβ = Δα (skin
// effect; Pozar, "Microwave Engineering", 4th ed., ch. 2.7, from memory), which is most to the wave at the low end. It is 0 where no more is lost than a sound
// line may.
func (e excess) lateM(fit *linemodel.Fit) float64 {
	if !e.significant() {
		return 0
	}
	lowest := len(fit.FrequencyHz) - 1
	for k := range fit.FrequencyHz {
		if fit.Weight[k] > 0 {
			lowest = k
			break
		}
	}
	late := 0.0
	for _, s := range e.sections {
		gamma, _ := s.Medium.Wave(fit.FrequencyHz[lowest])
		late = math.Max(late, e.middleDB/2*cables.NeperPerDB*math.Sqrt(fit.Ratio[lowest])/imag(gamma))
	}
	return late
}

// beyond says that more is lost than the known wet stretches may, half as much again as the
// fit gives them.
func (e excess) beyond(wet []*linemodel.Point) bool {
	for _, p := range wet {
		e.endDB += lostThroughDB(p) / 2
	}
	return len(wet) > 0 && e.significant()
}

// inOneOf names the cables of spans as the place of what is in one of them.
func inOneOf(spans []cables.Span) string {
	var names []string
	for _, s := range spans {
		if s.Device == nil {
			names = append(names, s.Name)
		}
	}
	return "in " + strings.Join(names, " or ")
}

// lostThroughDB is what is lost there and back through p, dB, over the sweep.
func lostThroughDB(p *linemodel.Point) float64 {
	passes := 0.0
	for _, t := range p.Through {
		passes += cmplx.Abs(t) / float64(len(p.Through))
	}
	return -20 * math.Log10(math.Max(passes, 1e-6))
}

// faultAtEnd says whether something at the end of the line was found at fault.
func (b *bench) faultAtEnd(found []Finding) bool {
	return slices.ContainsFunc(found, func(f Finding) bool { return f.IsFault && b.isAtEnd(f.DistanceM) })
}

// noReflectionDB is the local return loss of what reflects nothing of its own:
// the least that is told apart from nothing, |Γ| of 1e-6.
const noReflectionDB = 120

// Reflects says whether f has a reflection of its own: loss, and water whose edges do not
// show, tell themselves by what lies behind.
func (f *Finding) Reflects() bool { return f.ReturnLossDB < noReflectionDB }

// extentOf is where the first of spans begins and the last ends, m.
func extentOf(spans []cables.Span) (from, to float64) {
	from = math.Inf(1)
	for _, s := range spans {
		from, to = math.Min(from, s.StartM), math.Max(to, s.StartM+s.LengthM)
	}
	return from, to
}

// inOneOfFinding is a fault that is known by what lies behind it alone: it is in one of spans.
func inOneOfFinding(spans []cables.Span, cause Cause, confidence float64, evidence ...string) Finding {
	from, to := extentOf(spans)
	return Finding{DistanceM: from, ExtentM: to - from, SigmaM: (to - from) / 2, Cause: cause, IsFault: true, Confidence: confidence, ReturnLossDB: noReflectionDB,
		Place: inOneOf(spans), Alternatives: []Alternative{}, Evidence: evidence, Checks: []string{}, Cautions: []string{}}
}

// lossFinding says which sections an excess of loss may belong to: the far end comes
// back as weak whichever it is. others is what else was found, soaked that wet cable
// explains the sweep better.
func lossFinding(e excess, others []Finding, soaked bool) Finding {
	var names []string
	for _, s := range e.sections {
		names = append(names, s.Name)
	}
	cause, confidence, law := LossySection, e.confidence(others), "in proportion to the root of frequency"
	if soaked {
		cause, confidence, law = WaterInCable, silentFirst, "and later: wet cable on the way, which loses in proportion to frequency and is slower too, explains the sweep better than "+
			"a lossy section does, but its edges reflect too little to tell where it is"
	}
	f := inOneOfFinding(e.sections, cause, confidence,
		fmt.Sprintf("the far end comes back %.1f dB weaker than the record says (%.1f dB there and back), %s", e.middleDB, e.nominalDB, law))
	if len(names) > 1 {
		f.Evidence = append(f.Evidence, fmt.Sprintf(whichOf+"%s loses it, most likely %s, which loses most by its record; what would: sweep each section by itself, its far end open or shorted",
			strings.Join(names, " and "), names[0]))
	}
	nameAlone(&f)
	if soaked {
		f.Alternatives = []Alternative{{LossySection, silentSecond}}
	}
	return f
}

// whichOf begins the words that several sections may have the excess.
const whichOf = "one port cannot tell here which of "

// What speaks for a lossy section beside the excess itself. Common practice, no source.
const (
	lossyLines  = 0.1 // share of the lines that have one
	besideFault = 0.6 // how likely excess is a section's own where something else was found that keeps power from the end
)

// confidence is how likely the excess is that of a lossy section: against a sound
// line, whose excess is normal and reaches what it may be at three deviations, an
// excess of any size that still leaves a mirror.
func (e excess) confidence(others []Finding) float64 {
	most := e.soundDB()
	u := 3 * e.middleDB / most
	sound := (1 - lossyLines) * math.Exp(-u*u/2) * 3 / (most * math.Sqrt(2*math.Pi))
	lossy := lossyLines / (mostLossShare * math.Max(e.nominalDB, most))
	p := lossy / (lossy + sound) * trust(1)
	if faulty(others) {
		p *= besideFault
	}
	return p
}

// slowed says whether a stretch was found that changes velocity: its loss is its own, and not known
// to better than its size.
func slowed(found []Finding) bool {
	for _, f := range found {
		if (f.Cause == WaterInCable || f.Cause == WrongImpedance) && f.IsFault {
			return true
		}
	}
	return false
}
