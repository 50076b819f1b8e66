package diagnose

import (
	"fmt"
	"maps"
	"math"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// verdict returns what was named at the place of f, or nil.
func (b *bench) verdict(f *Finding) *verdictOf {
	for _, v := range b.named {
		if v.finding.DistanceM == f.DistanceM && v.finding.Cause == f.Cause && f.IsFault {
			return v
		}
	}
	return nil
}

// point returns the point of the fit that v stands for, and what its quantities
// are sure to; nil where free points stand for it.
func (b *bench) point(v *verdictOf) (p *linemodel.Point, index int) {
	for i, q := range b.fit.Points {
		if q == v.trials[0].point {
			return q, i
		}
	}
	return nil, -1
}

// measure gives the findings their evidence in numbers and their uncertainty,
// from the fit as it stands in the end.
func (b *bench) measure(found []Finding) {
	if len(b.named) == 0 {
		return
	}
	sigma := b.fit.Sigma()
	for i := range found {
		f := &found[i]
		v := b.verdict(f)
		if v == nil {
			continue
		}
		p, at := b.point(v)
		if p == nil {
			if f.Cause == WaterInCable {
				f.Evidence = append([]string{fmt.Sprintf("it reflects all along, from %.2f m over %.2f m%s, as uneven wetting does: no two edges stand out that would tell permittivity and loss", f.DistanceM, f.ExtentM, atPlace(f.Place))}, f.Evidence...)
			}
			continue
		}
		s := map[int]float64{}
		for q, value := range sigma[at] {
			s[q] = value
		}
		maps.Copy(s, v.sigma)
		b.widen(s, p)
		f.seenM = math.Min(s[linemodel.ByPlace]*math.Sqrt(b.clutter(p)/b.fit.Noise), b.fit.Cell(p.X))
		f.ExtentSigmaM = math.Hypot(s[linemodel.ByExtent], s[linemodel.ByShift])
		if p.Form == linemodel.Foreign && f.Cause == WrongImpedance && !p.Fits[linemodel.ByShift] { // how fast it is, nothing told
			f.ExtentSigmaM = math.Hypot(f.ExtentSigmaM, foreignVelocitySigma/foreignVelocity*p.Extent)
		}
		f.ReturnLossDB = -20 * math.Log10(math.Max(b.fit.RMS(p), 1e-6))
		f.Evidence = append(describe(p, s, b.fit, 0, f.Place), f.Evidence...)
		uneven := b.asUnevenness(p)
		if f.IsFault && (uneven || b.unsure(p, s)) {
			f.IsFault, f.Cause, f.Confidence, f.Alternatives = false, Unnamed, usual, []Alternative{}
			switch {
			case b.isAtEnd(p.X):
				f.Cause = FarEnd
			case p.Prior[linemodel.ByPlace].Sigma > 0:
				f.Cause = Joint
			}
			if uneven {
				f.Evidence = append(f.Evidence, "with everything else accounted for it reflects no more than the unevenness of sound cable may")
			} else {
				f.Evidence = append(f.Evidence, "no value of it is known to two standard deviations, and it reflects little more than what is sound may: sweep again, over a wider band, before work is done here")
			}
		}
	}
}

// asUnevenness says whether p, all else being accounted for, reflects no more than unevenness may: it was taken for
// more than it is before what is beside it had its name.
func (b *bench) asUnevenness(p *linemodel.Point) bool {
	return p.Form != linemodel.Wet && !p.Form.Ends() && b.fit.RMS(p) < soakedReflects
}

// unsure says whether p reflects little and no size of it, of the given standard deviations, can be told from none.
func (b *bench) unsure(p *linemodel.Point, sigma map[int]float64) bool {
	if p.Form != linemodel.Series && p.Form != linemodel.Shunt || b.fit.RMS(p) > 2*locate.JointMost(b.fit) {
		return false
	}
	for quantity, size := range map[int]float64{linemodel.ByFlat: p.Flat, linemodel.ByRising: p.Rising, linemodel.ByFalling: p.Falling} {
		if p.Fits[quantity] && math.Abs(size) > 2*sigma[quantity] {
			return false
		}
	}
	return true
}

// widen adds to the standard deviations of p's sizes what the fit takes for
// known: the line's own impedance and velocity, which are the record's, and at
// a joint what a sound joint adds, which cannot be told from the fault's share.
func (b *bench) widen(sigma map[int]float64, p *linemodel.Point) {
	add := func(quantity int, by float64) {
		if sigma[quantity] > 0 {
			sigma[quantity] = math.Hypot(sigma[quantity], by)
		}
	}
	switch p.Form {
	case linemodel.Foreign, linemodel.Wet:
		add(linemodel.ByExtent, extentSigmaM+recordLengthSigma*p.Extent)
		add(linemodel.ByDrop, jointFlatSigma*math.Max(1, p.Ratio))
	default:
		add(linemodel.ByFlat, jointFlatSigma*math.Abs(p.Flat))
		add(linemodel.ByRising, jointFlatSigma*math.Abs(p.Rising))
		add(linemodel.ByFalling, jointFlatSigma*math.Abs(p.Falling))
	}
	if joint, ok := nearest(b.joints, p.X); ok && math.Abs(joint-p.X) < 3*placeSigma(joint) {
		add(linemodel.ByFlat, jointFlatSigma)
		add(linemodel.ByRising, jointRisingSigma*b.fit.MiddleHz/1e9)
	}
}

// extentSigmaM is how well the edges of a stretch are defined: no dent and no
// joint is sharper. Common practice, no source.
const extentSigmaM = 0.003

// explain adds to each named fault what the port would show were it repaired,
// and the reasoning.
func (b *bench) explain(out *Findings, s *sweep.Sweep, line *cables.Line) {
	out.Model = modelled(b.fit, s)
	for i := range out.Findings {
		f := &out.Findings[i]
		r := reasoning{Path: b.path, Others: out.Findings, LowHz: s.FrequencyHz[0], HighHz: s.FrequencyHz[len(s.FrequencyHz)-1],
			ResidualRMS: b.fit.ResidualRMS(), NoiseRMS: math.Sqrt(b.fit.Noise)}
		if v := b.verdict(f); v != nil {
			r.BudgetDB = v.budgetDB
			for _, t := range v.trials {
				r.Considered = append(r.Considered, considered{Cause: t.cause, Score: t.score, Words: t.words, Converged: true})
			}
			if p, _ := b.point(v); p != nil {
				r.Repaired = b.repaired(f, withoutPoints(b.fit, []*linemodel.Point{p}, s), out.Verdict, line)
			}
		}
		if f.Cause == AntennaFault && line.Load.ReturnLossDB > 0 {
			if without := withAntenna(b.fit, line.Load.ReturnLossDB, s, line); without != nil {
				r.Repaired = b.repaired(f, without, out.Verdict, line)
			}
		}
		f.Explanation = explain(*f, r)
	}
}

// repaired gives the finding the sweep without it, and the verdict on that, and
// says it in words.
func (b *bench) repaired(f *Finding, without *sweep.Sweep, before Verdict, line *cables.Line) string {
	var after Verdict
	if f.Without = without; without != nil {
		after = judge(without, line)
		f.Repaired = &after
	}
	words := repairedWords(f.Cause.Words(), before, after, without != nil)
	f.Evidence = append(f.Evidence, words)
	return words
}
