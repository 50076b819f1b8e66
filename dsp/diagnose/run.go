package diagnose

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
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
	since, sinceWarning, err := sinceEarlier(ctx, s, settings, path, line)
	if err != nil {
		return nil, err
	}
	first, err := look(ctx, s, line, path, settings, since, nil)
	if err != nil {
		return nil, err
	}
	w := first.soaked()
	if o := first.otherSection(); o != nil && (w == nil || o.cost < w.cost) {
		w = o
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if w != nil {
		second, err := look(ctx, s, line, path, settings, since, w)
		if err != nil {
			return nil, err
		}
		stands := func(v *view) bool { return w.stands(first, v) }
		if !stands(second) && w.rest != nil { // a search that begins with the mirror alone may go astray
			w.ends = w.rest
			if second, err = look(ctx, s, line, path, settings, since, w); err != nil {
				return nil, err
			}
		}
		if stands(second) {
			first = second
		}
	}
	found, b := first.found, first.bench
	out := &Findings{Schema: Schema, Warnings: append([]string(nil), s.Warnings...), Findings: []Finding{}}
	for _, k := range found.LeftOut {
		out.LeftOutHz = append(out.LeftOutHz, s.FrequencyHz[k])
	}
	out.Warnings = append(out.Warnings, line.Notes...)
	judged := without(s, found.LeftOut)
	out.Verdict = judge(judged, line)
	out.Warnings = slices.Concat(out.Warnings, coverageWarnings(judged, line), foldedWarning(s, line, path))
	out.Findings = append(out.Findings, first.findings...)
	b.measure(out.Findings) // what is no fault by its numbers takes nothing's place
	lost, hasMirror := excessLoss(found.Fit, found.Reflections, line)
	hasMirror = hasMirror && !b.blocked()
	if h, ok := b.heldUp(found.Reflections); ok && !slowed(out.Findings) && !(hasMirror && h.lateM < lost.lateM(b.fit)) {
		b.jointsMoved(h, out.Findings)
		out.Findings = append(out.Findings, b.heldUpFinding(h))
	}
	// What is at fault at the end reflects less than a sound end.
	hasMirror = hasMirror && !b.faultAtEnd(out.Findings)
	if hasMirror && lost.significant() && (!slowed(out.Findings) || lost.beyond(found.Known)) {
		lost.sections = b.edgeOfLoss(lost, out.Findings)
		out.Findings = append(out.Findings, lossFinding(lost, out.Findings, first.soakedSomewhere))
	}
	if f, ok := b.silentEnd(found.Reflections, line, lost, out.Findings, settings.RangeM); ok {
		out.Findings = append(out.Findings, f)
	}
	if sinceWarning != "" {
		out.Warnings = append(out.Warnings, sinceWarning)
	}
	if since != nil {
		b.compare(out, since)
	}
	b.place(out.Findings)
	for _, r := range found.Echoes {
		out.Findings = append(out.Findings, finding(r))
	}
	slices.SortStableFunc(out.Findings, func(x, y Finding) int { return cmp.Compare(x.DistanceM, y.DistanceM) })
	for i := range out.Findings {
		out.Findings[i].evenOut()
	}
	oneWayDB := 0.0
	if hasMirror && lost.significant() {
		oneWayDB = lost.middleDB / 2
	}
	tell(out, s, line, path, b.fit, oneWayDB, since != nil)
	b.explain(out, s, line)
	if err := ctx.Err(); err != nil { // then fits were cut short
		return nil, err
	}
	out.RuntimeS = time.Since(begun).Seconds()
	return out, nil
}

// faults counts the faults among found.
func faults(found []Finding) (count int) {
	for _, f := range found {
		if f.IsFault {
			count++
		}
	}
	return count
}

// view is what one look at a sweep found.
type view struct {
	found    *locate.Result
	bench    *bench
	findings []Finding
	left     float64     // cost of the line as named, before an antenna and its connector were told apart
	record   *soakSearch // the line of the record, once it was needed
	// crowdedEnd says that no sound end stands for what the sweep shows at the end of the line.
	crowdedEnd bool
	// heldToLoad is what was found in front of the antenna by holding that to causality, nil for nothing: the fit does not have it.
	heldToLoad *linemodel.Point
	// soakedSomewhere says that wet cable explains the sweep better than a section that loses more, but not where it is.
	soakedSomewhere bool
}

// look locates and names. since is how the sweep differs from an earlier one, nil where there is none. With wet,
// that stretch of wet or other cable is taken to be on the line.
func look(ctx context.Context, s *sweep.Sweep, line *cables.Line, path *cables.Path, settings Settings, since *difference, wet *soaking) (*view, error) {
	within := locate.Settings{ToM: settings.RangeM}
	if wet != nil {
		within.Known, within.Seeds = []*linemodel.Point{wet.point}, wet.ends
	}
	found, err := locate.Find(ctx, s, locate.Line{Path: path, Load: line.Load, OpenEnded: line.Load.Kind == cables.Unstated}, within)
	if err != nil {
		return nil, err
	}
	b := &bench{fit: found.Fit, path: path, load: line.Load.Kind, endDB: line.Load.ReturnLossDB, joints: path.JointsM(), since: since, unit: temper * math.Max(found.Fit.Noise, found.ResidualRMS*found.ResidualRMS)}
	b.fit.Unit = b.unit
	over := false
	b.fit.Ended = func() bool {
		over = over || ctx.Err() != nil
		return over
	}
	b.holdAntenna(found.Known)
	b.alone(found)
	v := &view{found: found, bench: b}
	if v.findings, err = b.nameFromEnd(ctx, found); err != nil {
		return nil, err
	}
	v.left = b.fit.Cost
	if wet != nil {
		if wet.point.Form != linemodel.Wet {
			v.findings = append(v.findings, b.wholeFinding(found.Known[0]))
		} else {
			v.findings = append(v.findings, b.soakedFinding(found.Known[0], wet.other))
		}
	}
	v.findings = atFarEnd(v.findings, line, path)
	v.findings = b.judgeAntenna(v.findings, line)
	if over {
		return nil, ctx.Err()
	}
	if line.Load.Kind == cables.Unstated {
		unstatedEnd(v.findings)
	}
	if end := b.atEnd(found.Reflections, faulty(v.findings)); len(end.trials) > 0 {
		v.findings = b.withEndFault(v.findings, end.trials)
		v.left = b.fit.Cost
	} else if end.sound != nil {
		v.findings = b.withSoundEnd(v.findings, found, end.sound)
		v.left = b.fit.Cost
	} else {
		v.crowdedEnd = end.crowded
	}
	b.endsEarly(v.findings)
	if trials := b.nearLoad(found, unsureAtLoad(v.findings)); len(trials) > 0 {
		v.findings, v.heldToLoad = b.withNearLoad(v.findings, trials), trials[0].point
	}
	if over {
		return nil, ctx.Err()
	}
	return v, nil
}

// usual is the confidence in what needs no more than its place and size.
const usual = 0.9

// finding puts a reflection into the terms of a finding.
func finding(r locate.Reflection) Finding {
	f := Finding{DistanceM: math.Max(0, r.DistanceM), SigmaM: r.SigmaM, seenM: r.NoiseM, ExtentM: r.ExtentM, ReturnLossDB: r.ReturnLossDB, PhaseDeg: r.PhaseDeg,
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

// atFarEnd puts right what the far end is taken for: a total reflection of the
// recorded kind behind a stretch that changes the velocity is the far end,
// moved; and what stands at the connector in front of an antenna that is out
// of its limit cannot be told from the antenna.
func atFarEnd(found []Finding, line *cables.Line, path *cables.Path) []Finding {
	length := path.LengthM()
	moved := 0.0
	for _, f := range found {
		if f.IsFault && (f.Cause == WrongImpedance || f.Cause == WaterInCable) {
			moved += mostVelocityChange * f.ExtentM
		}
	}
	expected := map[cables.LoadKind]Cause{cables.Open: OpenCircuit, cables.Short: ShortCircuit}[line.Load.Kind]
	var out []Finding
	for _, f := range found {
		if f.IsFault && f.Cause == expected && moved > 0 && math.Abs(f.DistanceM-length) < moved+3*placeSigma(length) {
			f.Cause, f.IsFault, f.Place, f.Alternatives = FarEnd, false, "far end, moved by the stretch in front of it", []Alternative{}
		}
		out = append(out, f)
	}
	return out
}

// mostVelocityChange is how much a wet stretch, or one of other cable, may
// differ in velocity from the record, relative.
const mostVelocityChange = 0.35

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
