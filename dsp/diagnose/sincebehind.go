package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"downlead/cables"
)

// Water that has crept in slowly and cable that has come to lose more reflect next to nothing, and an earlier sweep shows them all
// the same, by what lies behind: it comes later or weaker than then. A strong reflection does as much to what lies behind it, and
// its model is not good enough to tell one from the other, so only what stands in front of such is told here. Sizes: common
// practice, no source.
const (
	strongChangeDB = 30.0   // a new reflection stronger than this is judged by itself
	fadedBesideDB  = 22.0   // and one than this makes what lies anywhere look weaker or later than it is
	fadedDB        = 1.5    // there and back, by which what lies behind comes weaker
	heldUpS        = 0.6e-9 // there and back, by which what lies behind a joint comes later
	slowerCells    = 0.3    // cells, by which what lies behind lossy cable seems farther out if it is wet
	witnessDB      = 42.0   // what reflected less than this may be roughness of the cable
)

// behindChanges adds what d tells by what lies behind it to the findings, and marks the changes that belong to it as told.
func (b *bench) behindChanges(out *Findings, d *difference, told []bool) {
	dark := slices.ContainsFunc(out.Findings, func(g Finding) bool { return g.IsFault && g.isOfNoPlace() && g.Cause == WaterInCable })
	for _, f := range b.creeps(d, dark) {
		if b.beginsEarlier(out.Findings, &f, d, told) || slices.ContainsFunc(out.Findings, func(g Finding) bool { return g.IsFault && g.holdsUp(&f, lobeCells*d.cellM) }) {
			continue
		}
		out.Findings = slices.DeleteFunc(out.Findings, func(g Finding) bool {
			return g.IsFault && g.isOfNoPlace() && g.DistanceM <= f.DistanceM && f.DistanceM < g.DistanceM+g.ExtentM
		})
		out.Findings = append(out.Findings, f)
		d.mark(told, &f)
	}
	if !slices.ContainsFunc(out.Findings, lossy) {
		if f, ok := b.fadedSince(d, fadedDB, witnessDB); ok && !f.accountedFor(out.Findings, d) {
			out.Findings = append(out.Findings, f.finding())
		}
		return
	}
	f, ok := b.fadedSince(d, fadedDB/2, witnessDB+6) // less tells where what is known to be lost is lost
	if !ok {
		return
	}
	from, to := extentOf(f.spans)
	for i := range out.Findings {
		g := &out.Findings[i]
		if !lossy(*g) || g.DistanceM >= to || g.DistanceM+g.ExtentM <= from {
			continue
		}
		g.cutTo(b.path.Spans, from, to)
		if f.by.DelayS > heldUpS && f.by.DelayM > slowerCells*d.cellM { // conductors that lose more hold up by far less
			g.Cause, g.Confidence = WaterInCable, sinceTrust
			g.Evidence = append(g.Evidence, fmt.Sprintf("what lies behind comes %.2f ns later than in the earlier sweep as well: it is slower, not just lossier", 1e9*f.by.DelayS))
			nameAlone(g)
		}
	}
}

// beginsEarlier says whether f, by what has changed, is the beginning of wet cable in found, which is then longer by that.
func (b *bench) beginsEarlier(found []Finding, f *Finding, d *difference, told []bool) bool {
	for i := range found {
		g := &found[i]
		if !g.IsFault || g.Cause != WaterInCable || !g.Reflects() || g.Place != f.Place || f.DistanceM > g.DistanceM-d.cellM || f.DistanceM+f.ExtentM < g.DistanceM-d.cellM {
			continue
		}
		g.ExtentM += g.DistanceM - f.DistanceM
		g.DistanceM, g.SigmaM = f.DistanceM, math.Max(g.SigmaM, f.seenM)
		g.Evidence = append(g.Evidence, f.Evidence...)
		d.mark(told, g)
		return true
	}
	return false
}

// mark marks the changes that lie within f as told.
func (d *difference) mark(told []bool, f *Finding) {
	for k := range d.Changes {
		x := d.Changes[k].DistanceM
		told[k] = told[k] || x >= f.DistanceM && x <= f.DistanceM+f.ExtentM
	}
}

// isOfNoPlace says whether g is known by what the end of the line shows alone: what is found where it is, is that.
func (g *Finding) isOfNoPlace() bool {
	return !g.Reflects() && (g.Cause == WaterInCable || g.Cause == LossySection)
}

// lossy says whether f is cable that loses more than its record.
func lossy(f Finding) bool { return f.IsFault && f.Cause == LossySection }

// creeps lists the stretches where something new in mid-section holds up what lies behind, or, in a line that is dark behind something
// wet, the first in which something has changed.
func (b *bench) creeps(d *difference, dark bool) (out []Finding) {
	var later []bool // of out: what lies behind it comes later
	for i := range d.Changes {
		c := &d.Changes[i]
		first := dark && len(out) == 0
		if c.Kind > changeTurned && !(first && c.Kind == changeDelayed) {
			continue
		}
		if c.ChangeDB < strongChangeDB || c.AtLoad {
			break
		}
		anew := c.Kind == changeNew || c.ChangeDB < c.BeforeDB-grownEnoughDB // beside what was there
		if _, atJoint := b.placeAt(c.DistanceM); atJoint || c.Kind > changeGrown && !anew && !first {
			continue
		}
		place := "in " + b.path.Spans[b.path.SpanAt(c.DistanceM)].Name
		if n := len(out); n == 0 || out[n-1].Place != place || c.DistanceM > out[n-1].DistanceM+wetMostM {
			out = append(out, Finding{DistanceM: c.DistanceM, seenM: c.SigmaM, Cause: WaterInCable, IsFault: true, ReturnLossDB: c.NowDB, Confidence: sinceTrust,
				Place: place, Alternatives: []Alternative{}, Checks: []string{}, Cautions: []string{}})
			later = append(later, false)
		}
		last := len(out) - 1
		f := &out[last]
		later[last] = later[last] || anew && c.DelayS > delayNamedS || first
		f.ExtentM = c.DistanceM - f.DistanceM
		f.ReturnLossDB = math.Min(f.ReturnLossDB, c.NowDB)
		f.Evidence = append(f.Evidence, c.Sentence)
	}
	var kept []Finding
	for i, f := range out {
		if later[i] {
			nameAlone(&f)
			kept = append(kept, f)
		}
	}
	return kept
}

// holdsUp says whether g, which the sweep shows by itself, is what holds up what lies behind f, within reachM of it, or hides it.
func (g *Finding) holdsUp(f *Finding, reachM float64) bool {
	switch g.Cause {
	case WrongImpedance: // nor is that what its edges throw to and fro, folded back perhaps
		return true
	case WaterInCable:
		return g.Reflects() && g.DistanceM < f.DistanceM+f.ExtentM+reachM
	case OpenCircuit, ShortCircuit:
		return g.DistanceM < f.DistanceM
	case DentOrKink:
		return g.DistanceM > f.DistanceM-reachM && g.DistanceM < f.DistanceM+f.ExtentM+reachM
	}
	return false
}

// fading is cable behind which all comes weaker, or later, than in the earlier sweep.
type fading struct {
	spans    []cables.Span
	by       *change // what shows it first
	weakerDB float64 // there and back
}

// fadedSince looks for the first joint that comes weaker by leastDB, or later, than in the earlier sweep, and for the cable in front
// of it. What reflected less then than faintestDB tells nothing.
func (b *bench) fadedSince(d *difference, leastDB, faintestDB float64) (f fading, ok bool) {
	if b.load != cables.Open && b.load != cables.Short && b.load != cables.Antenna {
		return f, false // nothing at the end bears it out
	}
	if slices.ContainsFunc(d.Changes, func(c change) bool { return c.Kind <= changeTurned && c.ChangeDB < fadedBesideDB }) {
		return f, false
	}
	inPlace := 0.0 // up to where all is as it was
	for i := range d.Changes {
		c := &d.Changes[i]
		if c.AtLoad && b.load == cables.Antenna { // that may have changed itself
			break
		}
		f.weakerDB -= c.PassDB
		_, atJoint := b.placeAt(c.DistanceM)
		weaker := f.weakerDB > leastDB && (c.Kind == changeFallen || c.Kind == changeWeaker || c.Kind == changeDelayed)
		later := atJoint && !c.AtLoad && c.DelayS > heldUpS
		if held := c.Kind == changeDelayed && c.DelayS > heldUpS; !held && (c.BeforeDB > faintestDB || !weaker && !later) {
			inPlace = c.DistanceM
			continue
		}
		f.by = c
		if f.weakerDB > 2*fadedDB { // less would not have shown there
			inPlace = math.Max(inPlace, c.FromM)
		}
		for _, x := range b.joints {
			if x > inPlace && x < c.DistanceM-lobeCells*d.cellM && d.asStrong(x, f.weakerDB) {
				inPlace = x
			}
		}
		for _, s := range b.path.Spans {
			if s.Device == nil && s.StartM < c.DistanceM-d.cellM && s.StartM+s.LengthM > inPlace+d.cellM {
				f.spans = append(f.spans, s)
			}
		}
		return f, len(f.spans) > 0
	}
	return f, false
}

// cutTo leaves of g, which is somewhere in several sections, those from one place to another.
func (g *Finding) cutTo(spans []cables.Span, from, to float64) {
	var kept []cables.Span
	for _, s := range spans {
		if s.Device == nil && s.StartM > math.Max(g.DistanceM, from)-recordPlaceSigmaM && s.StartM+s.LengthM < math.Min(g.DistanceM+g.ExtentM, to)+recordPlaceSigmaM {
			kept = append(kept, s)
		}
	}
	if len(kept) == 0 {
		return
	}
	if from, to = extentOf(kept); to-from < g.ExtentM-2*recordPlaceSigmaM {
		g.DistanceM, g.ExtentM, g.SigmaM, g.Place = from, to-from, (to-from)/2, inOneOf(kept)
		g.Evidence = slices.DeleteFunc(g.Evidence, func(s string) bool { return strings.HasPrefix(s, whichOf) })
		g.Evidence = append(g.Evidence, "the earlier sweep tells which section: what reflects in front of it is as strong as then, what lies behind it weaker")
	}
}

// asStrong says whether what reflects at x is as strong as in the earlier sweep, so surely that it would show if it were weaker by
// lostDB.
func (d *difference) asStrong(x, lostDB float64) bool {
	i := d.index(x)
	return d.smallest[i] < (1-math.Pow(10, -lostDB/20))*d.before[i] && d.at(x, lobeCells*d.cellM) == nil
}

// accountedFor says whether something found in the sweep alone makes what lies behind weaker, or later, or is what f was seen by.
func (f *fading) accountedFor(found []Finding, d *difference) bool {
	return slices.ContainsFunc(found, func(g Finding) bool {
		return g.IsFault && (g.Cause == WaterInCable || g.DistanceM < f.by.DistanceM+2*d.cellM)
	})
}

// finding tells f: water where it holds up as well.
func (f *fading) finding() Finding {
	out := inOneOfFinding(f.spans, LossySection, sinceTrust,
		fmt.Sprintf("all from %.2f m on comes back %+.1f dB against the earlier sweep, there and back", f.by.DistanceM, -f.weakerDB), f.by.Sentence)
	if f.by.DelayS > delayNamedS {
		out.Cause = WaterInCable
	}
	nameAlone(&out)
	return out
}
