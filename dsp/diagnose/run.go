package diagnose

import (
	"context"
	"fmt"
	"math"
	"time"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// Run is the whole main job: sweep and line to findings. It gives up with
// ctx's error when ctx ends.
func Run(ctx context.Context, s *sweep.Sweep, line *cables.Line, settings Settings) (*Findings, error) {
	begun := time.Now()
	if settings.LowHz > 0 || settings.HighHz > 0 {
		var err error
		if s, err = s.Band(settings.LowHz, settings.HighHz); err != nil {
			return nil, err
		}
	}
	path, err := line.Path()
	if err != nil {
		return nil, err
	}
	found, err := locate.Find(ctx, s, locate.Line{Path: path, Load: line.Load, OpenEnded: line.Load.Kind == ""},
		locate.Settings{ToM: settings.RangeM})
	if err != nil {
		return nil, err
	}
	out := &Findings{Schema: Schema, Warnings: append([]string(nil), s.Warnings...), Findings: []Finding{}}
	for _, k := range found.LeftOut {
		out.LeftOutHz = append(out.LeftOutHz, s.FrequencyHz[k])
	}
	out.Verdict = judge(s, line)
	b := &bench{fit: found.Fit, path: path, load: line.Load.Kind, joints: path.JointsM(), unit: temper * math.Max(found.Fit.Noise, found.ResidualRMS*found.ResidualRMS)}
	out.Findings = append(out.Findings, b.name(found.Reflections)...)
	if trials := b.atEnd(found.Reflections); len(trials) > 0 {
		out.Findings = b.withEndFault(out.Findings, trials)
	}
	lost, hasMirror := excessLoss(found.Fit, found.Reflections, line)
	if debug {
		fmt.Printf("loss %v %+v\n", hasMirror, lost)
	}
	if hasMirror && lost.significant() && !slowed(out.Findings) {
		out.Findings = append(out.Findings, lossFinding(lost))
	}
	for _, r := range found.Echoes {
		out.Findings = append(out.Findings, finding(r))
	}
	out.RuntimeS = time.Since(begun).Seconds()
	return out, nil
}

// total stands for an infinite VSWR in numbers.
const total = 9999

// judge holds the sweep against the line's limit: in the antenna's band, over
// the whole sweep without one.
func judge(s *sweep.Sweep, line *cables.Line) Verdict {
	v := Verdict{LowHz: s.FrequencyHz[0], HighHz: s.FrequencyHz[len(s.FrequencyHz)-1], LimitVSWR: line.Limits.VSWR}
	if v.LimitVSWR == 0 && line.Limits.ReturnLossDB > 0 {
		v.LimitVSWR = sweep.VSWRFromReturnLoss(line.Limits.ReturnLossDB)
	}
	if band := line.Load.BandHz; line.Load.Kind == cables.Antenna && band[1] > band[0] {
		v.LowHz, v.HighHz = math.Max(v.LowHz, band[0]), math.Min(v.HighHz, band[1])
	}
	worst := -1.0
	for k, f := range s.FrequencyHz {
		if f < v.LowHz || f > v.HighHz {
			continue
		}
		if a := real(s.Gamma[k])*real(s.Gamma[k]) + imag(s.Gamma[k])*imag(s.Gamma[k]); a > worst {
			worst, v.AtHz = a, f
		}
	}
	v.WorstVSWR = math.Min(total, sweep.VSWRFromMagnitude(math.Sqrt(math.Max(0, worst))))
	v.Passes = v.LimitVSWR == 0 || v.WorstVSWR <= v.LimitVSWR
	return v
}

// finding puts a reflection into the terms of a finding.
func finding(r locate.Reflection) Finding {
	f := Finding{DistanceM: r.DistanceM, SigmaM: r.SigmaM, ExtentM: r.ExtentM, ReturnLossDB: r.ReturnLossDB, PhaseDeg: r.PhaseDeg,
		Place: r.Place, IsFault: r.Excess, Confidence: 0.5, Alternatives: []Alternative{}, Evidence: []string{}, Checks: []string{}, Cautions: []string{}}
	switch {
	case r.Kind == locate.EchoOf:
		f.Cause, f.GhostOf, f.IsFault = Ghost, []float64{r.Of[0], r.Of[1]}, false
	case !r.Excess:
		f.Cause = map[locate.Kind]Cause{locate.AtJoint: Joint, locate.AtDevice: Device, locate.AtFarEnd: FarEnd}[r.Kind]
		if f.Cause == "" {
			f.Cause = Unnamed
		}
	case r.Total == locate.LikeOpen:
		f.Cause = OpenCircuit
	case r.Total == locate.LikeShort:
		f.Cause = ShortCircuit
	case r.Kind == locate.AtFarEnd && len(r.Points) == 0:
		f.Cause = AntennaFault
	default:
		f.Cause = Unnamed
	}
	f.Evidence = append(f.Evidence, fmt.Sprintf("local return loss %.1f dB against %.1f dB expected", r.ReturnLossDB, r.BudgetDB))
	return f
}

// temper is how many times the residual's own variance one natural unit of
// evidence costs: what is left is not white, and neighbouring points say much
// the same.
const temper = 4

// name turns the reflections into findings: each cluster is fitted with all
// that it could be.
func (b *bench) name(found []locate.Reflection) []Finding {
	all := clusters(b.fit, found)
	if len(all) == 0 {
		return plain(found)
	}
	located := b.fit.Save()
	toRecord(b.fit, b.path, b.load, all, found)
	if debug {
		fmt.Println("located cost", located.Cost, "record cost", b.fit.Cost)
		for _, q := range b.fit.Points {
			fmt.Printf("     base %.3f form%d %.4f %.4f %.4f\n", q.X, q.Form, q.Flat, q.Rising, q.Falling)
		}
	}
	consumed := map[*locate.Reflection]bool{}
	named := map[*locate.Reflection]Finding{}
	for i, c := range all {
		if consumed[c.head()] {
			continue
		}
		trials := append(b.circuits(c.points), b.dent(c.points)...)
		partner := map[*linemodel.Point]*cluster{}
		if b.fit.RMS(c.points[0]) > edgeAbove {
			for _, d := range all[i+1:] {
				if consumed[d.head()] || b.fit.RMS(d.points[0]) < edgeAbove {
					continue
				}
				x := c.points[0].X
				for _, t := range b.foreign(append(append([]*linemodel.Point(nil), c.points...), d.points...), x, d.points[0].X) {
					partner[t.point] = d
					trials = append(trials, t)
				}
			}
			if c.head().Kind != locate.Mid {
				trials = append(trials, b.foreignSections(c)...)
			}
		}
		if c.head().Kind == locate.Mid {
			trials = append(trials, b.wet(c.points)...)
			if t, ok := b.uneven(c.points); ok {
				trials = append(trials, t)
			}
			for _, d := range all[i+1:] {
				_, last := d.span()
				if d.head().Kind != locate.Mid || last-c.points[0].X > wetMostM || b.fit.SpanAt(last) != b.fit.SpanAt(c.points[0].X) || consumed[d.head()] {
					continue
				}
				for _, t := range b.wet(append(append([]*linemodel.Point(nil), c.points...), d.points...)) {
					partner[t.point] = d
					trials = append(trials, t)
				}
				break
			}
		}
		trials = b.settle(trials)
		if debug {
			for _, t := range trials {
				p := t.point
				fmt.Printf("   %-18s form%d x%.3f %.3f %.3f %.3f  e%.3f ratio %.3f drop %.3f tan %.3f taper %.3f score %.1f\n", t.cause, p.Form, p.X, p.Flat, p.Rising, p.Falling, p.Extent, p.Ratio, p.Drop, p.Tangent, p.Taper, t.score)
			}
			for _, t := range trials[:min(3, len(trials))] {
				held := b.fit.Save()
				b.fit.Restore(t.state)
				fmt.Println(t.cause, b.fit.Cost, b.fit.Noise, b.fit.ResidualRMS())
				for _, q := range b.fit.Points {
					fmt.Printf("       %.3f form%d %.4f %.4f %.4f\n", q.X, q.Form, q.Flat, q.Rising, q.Falling)
				}
				fmt.Println(b.fit.Port)
				b.fit.Restore(held)
			}
		}
		best := trials[0]
		b.fit.Restore(best.state)
		f := finding(*c.head())
		f.IsFault, f.DistanceM, f.ExtentM = true, best.point.X, best.point.Extent
		nameFinding(&f, trials)
		named[c.head()] = f
		for _, r := range c.members {
			consumed[r] = true
		}
		if d := partner[best.point]; d != nil {
			for _, r := range d.members {
				consumed[r] = true
			}
		}
	}
	var out []Finding
	for i := range found {
		r := &found[i]
		if f, ok := named[r]; ok {
			out = append(out, f)
		} else if !consumed[r] {
			out = append(out, finding(*r))
		}
	}
	return out
}

// plain turns reflections into findings without naming faults further.
func plain(found []locate.Reflection) []Finding {
	var out []Finding
	for i := range found {
		out = append(out, finding(found[i]))
	}
	return out
}

// foreignSections tries whole sections of other cable on either side of the
// joint that c is at.
func (b *bench) foreignSections(c *cluster) []trial {
	joint, _ := nearest(b.joints, c.points[0].X)
	var out []trial
	for i, x := range b.joints {
		if x != joint {
			continue
		}
		if i+1 < len(b.joints) && b.joints[i+1]-x > 0.3 {
			out = append(out, b.foreign(c.points, c.points[0].X, c.points[0].X+b.joints[i+1]-x)...)
		}
		if i > 0 && x-b.joints[i-1] > 0.3 {
			out = append(out, b.foreign(c.points, c.points[0].X-(x-b.joints[i-1]), c.points[0].X)...)
		}
	}
	return out
}

// nameFinding gives f the causes of the trials, best first.
func nameFinding(f *Finding, trials []trial) {
	weight := map[Cause]float64{}
	total := 0.0
	for _, t := range trials {
		w := math.Exp(t.score - trials[0].score)
		weight[t.cause] = math.Max(weight[t.cause], w)
	}
	for _, w := range weight {
		total += w
	}
	f.Cause, f.Confidence = trials[0].cause, weight[trials[0].cause]/total
	for _, t := range trials {
		if w, ok := weight[t.cause]; ok && t.cause != f.Cause {
			if w/total > 0.005 {
				f.Alternatives = append(f.Alternatives, Alternative{t.cause, w / total})
			}
			delete(weight, t.cause)
		}
	}
}

// lossFinding puts an excess of loss into the section that it most likely
// belongs to: the one that loses most by its record.
func lossFinding(e excess) Finding {
	return Finding{DistanceM: e.at.StartM, ExtentM: e.at.LengthM, SigmaM: e.at.LengthM / 2, Cause: LossySection, IsFault: true, Confidence: 0.8,
		Place: "in " + e.at.Name, Alternatives: []Alternative{}, Checks: []string{}, Cautions: []string{},
		Evidence: []string{fmt.Sprintf("the far end comes back %.1f dB weaker than the record says (%.1f dB there and back), in proportion to the root of frequency", e.middleDB, e.nominalDB)}}
}

// slowed says whether a wet stretch was found: its loss is its own.
func slowed(found []Finding) bool {
	for _, f := range found {
		if f.Cause == WaterInCable && f.IsFault {
			return true
		}
	}
	return false
}

// withEndFault adds the fault at the far end that trials name, best first, in
// place of whatever was said of the far end.
func (b *bench) withEndFault(found []Finding, trials []trial) []Finding {
	best := trials[0]
	b.fit.Restore(best.state)
	length := b.path.LengthM()
	f := Finding{DistanceM: best.point.X, SigmaM: placeSigma(length), IsFault: true, Place: "connector at the far end",
		ReturnLossDB: -20 * math.Log10(b.fit.RMS(best.point)), Alternatives: []Alternative{}, Evidence: []string{}, Checks: []string{}, Cautions: []string{}}
	nameFinding(&f, trials)
	var out []Finding
	for _, g := range found {
		if g.IsFault && math.Abs(g.DistanceM-length) < math.Max(b.fit.Cell(length), 3*placeSigma(length)) {
			continue
		}
		out = append(out, g)
	}
	return append(out, f)
}
