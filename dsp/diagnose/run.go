package diagnose

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"time"

	"downlead/cables"
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
	out.Warnings = append(out.Warnings, line.Notes...)
	judged := without(s, found.LeftOut)
	out.Verdict = judge(judged, line)
	out.Warnings = append(out.Warnings, coverageWarnings(judged, line)...)
	b := &bench{fit: found.Fit, path: path, load: line.Load.Kind, joints: path.JointsM(), unit: temper * math.Max(found.Fit.Noise, found.ResidualRMS*found.ResidualRMS)}
	named, err := b.name(ctx, found.Reflections)
	if err != nil {
		return nil, err
	}
	out.Findings = append(out.Findings, named...)
	out.Findings = atFarEnd(out.Findings, line, path)
	b.antennaAgain(out.Findings, line)
	if line.Load.Kind == cables.Unstated {
		unstatedEnd(out.Findings)
	}
	if trials := b.atEnd(found.Reflections); len(trials) > 0 {
		out.Findings = b.withEndFault(out.Findings, trials)
	}
	if trials := b.nearLoad(found.Reflections); len(trials) > 0 {
		out.Findings = b.withNearLoad(out.Findings, trials)
	}
	lost, hasMirror := excessLoss(found.Fit, found.Reflections, line)
	if hasMirror && lost.significant() && !slowed(out.Findings) {
		out.Findings = append(out.Findings, lossFinding(lost))
	}
	b.measure(out.Findings)
	if settings.Baseline != nil {
		if err := b.compare(ctx, out, s, settings, path, line); err != nil {
			return nil, err
		}
	}
	for _, r := range found.Echoes {
		out.Findings = append(out.Findings, finding(r))
	}
	slices.SortStableFunc(out.Findings, func(x, y Finding) int { return cmp.Compare(x.DistanceM, y.DistanceM) })
	oneWayDB := 0.0
	if hasMirror && lost.significant() {
		oneWayDB = lost.middleDB / 2
	}
	tell(out, s, line, path, b.fit, oneWayDB)
	b.explain(out, s, line)
	out.RuntimeS = time.Since(begun).Seconds()
	return out, nil
}

// total stands for an infinite VSWR in numbers.
const total = 9999

// without returns s without the given points, whose indices ascend.
func without(s *sweep.Sweep, points []int) *sweep.Sweep {
	if len(points) == 0 {
		return s
	}
	c := *s
	c.FrequencyHz, c.Gamma = nil, nil
	for k, f := range s.FrequencyHz {
		if len(points) > 0 && points[0] == k {
			points = points[1:]
			continue
		}
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Gamma = append(c.Gamma, s.Gamma[k])
	}
	return &c
}

// judgedBand is where the limit holds: in the antenna's band as far as the
// sweep has it, over the whole sweep without one, or where it has none of it.
func judgedBand(s *sweep.Sweep, line *cables.Line) (lowHz, highHz float64, whole bool) {
	lowHz, highHz = s.FrequencyHz[0], s.FrequencyHz[len(s.FrequencyHz)-1]
	band := line.Load.BandHz
	if line.Load.Kind != cables.Antenna || band[1] <= band[0] {
		return lowHz, highHz, true
	}
	for _, f := range s.FrequencyHz {
		if f >= band[0] && f <= band[1] {
			return math.Max(lowHz, band[0]), math.Min(highHz, band[1]), band[0] >= lowHz && band[1] <= highHz
		}
	}
	return lowHz, highHz, false
}

// coverageWarnings says what the sweep leaves unjudged of the antenna's band.
func coverageWarnings(s *sweep.Sweep, line *cables.Line) []string {
	low, high, whole := judgedBand(s, line)
	if whole {
		return nil
	}
	band := line.Load.BandHz
	if high < band[0] || low > band[1] {
		return []string{fmt.Sprintf("the sweep has no point in the antenna's band, %s: the limit was judged over the whole sweep, where an antenna need not match; sweep its band for a verdict",
			bandWords(band[0], band[1]))}
	}
	return []string{fmt.Sprintf("the sweep covers only %s of the antenna's band, %s: the rest was not judged", bandWords(low, high), bandWords(band[0], band[1]))}
}

// judge holds the sweep against the line's limit.
func judge(s *sweep.Sweep, line *cables.Line) Verdict {
	v := Verdict{LimitVSWR: line.Limits.LimitVSWR()}
	v.LowHz, v.HighHz, _ = judgedBand(s, line)
	worst := 0.0
	for k, f := range s.FrequencyHz {
		if f < v.LowHz || f > v.HighHz {
			continue
		}
		if a := cmplx.Abs(s.Gamma[k]); a > worst || v.AtHz == 0 {
			worst, v.AtHz = a, f
		}
	}
	v.WorstVSWR = math.Min(total, sweep.VSWRFromMagnitude(worst))
	v.Passes = v.LimitVSWR == 0 || v.WorstVSWR <= v.LimitVSWR
	return v
}

// usual is the confidence in what needs no more than its place and size.
const usual = 0.9

// finding puts a reflection into the terms of a finding.
func finding(r locate.Reflection) Finding {
	f := Finding{DistanceM: math.Max(0, r.DistanceM), SigmaM: r.SigmaM, ExtentM: r.ExtentM, ReturnLossDB: r.ReturnLossDB, PhaseDeg: r.PhaseDeg,
		Place: r.Place, IsFault: r.Excess, Confidence: usual, Alternatives: []Alternative{}, Evidence: []string{}, Checks: []string{}, Cautions: []string{}}
	switch {
	case r.Kind == locate.EchoOf:
		f.Cause, f.GhostOf, f.IsFault = Ghost, []float64{r.Of[0], r.Of[1]}, false
	case !r.Excess:
		f.Cause = map[locate.Kind]Cause{locate.AtJoint: Joint, locate.AtDevice: Device, locate.AtFarEnd: FarEnd}[r.Kind]
		if f.Cause == "" {
			f.Cause = Unnamed
		}
	case r.Total == locate.LikeOpen:
		f.Cause, f.Confidence = OpenCircuit, 0.9
		f.Alternatives = append(f.Alternatives, Alternative{PoorContact, 0.06})
	case r.Total == locate.LikeShort:
		f.Cause, f.Confidence = ShortCircuit, 0.9
		f.Alternatives = append(f.Alternatives, Alternative{WaterInConnector, 0.04})
	case r.Kind == locate.AtFarEnd && len(r.Points) == 0:
		// One port cannot tell the antenna from its connector.
		f.Cause, f.Confidence = AntennaFault, 0.8
		f.Alternatives = append(f.Alternatives, Alternative{PoorContact, 0.08}, Alternative{WaterInConnector, 0.06})
	default:
		f.Cause, f.Confidence = Unnamed, 0.5
	}
	f.Evidence = append(f.Evidence, fmt.Sprintf("local return loss %.1f dB against %.1f dB expected", r.ReturnLossDB, r.BudgetDB))
	return f
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
	f.Confidence *= trust(1)
	var out []Finding
	for _, g := range found {
		if g.IsFault && math.Abs(g.DistanceM-length) < math.Max(b.fit.Cell(length), 3*placeSigma(length)) {
			continue
		}
		out = append(out, g)
	}
	return append(out, f)
}

// atFarEnd puts right what the far end is taken for: a total reflection of the
// recorded kind behind a stretch that changes the velocity is the far end,
// moved; and what stands at the connector in front of an antenna that is out
// of its limit cannot be told from the antenna.
func atFarEnd(found []Finding, line *cables.Line, path *cables.Path) []Finding {
	length := path.LengthM()
	moved := 0.0
	antenna := -1
	for i, f := range found {
		if f.IsFault && (f.Cause == WrongImpedance || f.Cause == WaterInCable) {
			moved += mostVelocityChange * f.ExtentM
		}
		if f.IsFault && f.Cause == AntennaFault {
			antenna = i
		}
	}
	expected := map[cables.LoadKind]Cause{cables.Open: OpenCircuit, cables.Short: ShortCircuit}[line.Load.Kind]
	var out []Finding
	for i, f := range found {
		if f.IsFault && f.Cause == expected && moved > 0 && math.Abs(f.DistanceM-length) < moved+3*placeSigma(length) {
			f.Cause, f.IsFault, f.Place, f.Alternatives = FarEnd, false, "far end, moved by the stretch in front of it", []Alternative{}
		}
		if antenna >= 0 && i != antenna && f.IsFault && f.Place == "connector at the load" {
			continue
		}
		out = append(out, f)
	}
	return out
}

// mostVelocityChange is how much a wet stretch, or one of other cable, may
// differ in velocity from the record, relative.
const mostVelocityChange = 0.35

// withNearLoad adds the fault at a joint just in front of the antenna that
// trials name. The antenna itself cannot be judged through it.
func (b *bench) withNearLoad(found []Finding, trials []trial) []Finding {
	best := trials[0]
	length := b.path.LengthM()
	f := Finding{DistanceM: best.point.X, SigmaM: placeSigma(best.point.X), IsFault: true, Place: b.placeOf(best.point.X),
		Alternatives: []Alternative{}, Evidence: []string{best.words}, Checks: []string{}, Cautions: []string{}}
	nameFinding(&f, trials)
	f.Confidence *= nearLoadTrust
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

// endAbove is the local return loss, dB, under which the last reflection of a
// line without a recorded end is taken to be its end. Loss that is not in the
// record makes an open end look weaker than it is.
const (
	endAbove = 14
	endTotal = 3 // weaker, its phase does not say how it ends
)

// unstatedEnd calls the last strong reflection the end of a line whose record
// does not say where it ends.
func unstatedEnd(found []Finding) {
	last := -1
	for i, f := range found {
		if f.Cause != Ghost && (last < 0 || f.DistanceM > found[last].DistanceM) && f.ReturnLossDB < endAbove {
			last = i
		}
	}
	if last < 0 {
		return
	}
	f := &found[last]
	ends := "mismatched"
	switch away := math.Abs(math.Remainder(f.PhaseDeg, 360)); {
	case f.ReturnLossDB > endTotal:
	case away < 60:
		ends = "open"
	case away > 120:
		ends = "short"
	}
	f.Evidence = append(f.Evidence, "the record does not say where the line ends; nothing comes back from behind this place, so the line is taken to end here, "+ends)
	f.Cause, f.IsFault, f.Confidence, f.Place, f.Alternatives = FarEnd, false, usual, "end of the line, "+ends, []Alternative{}
}
