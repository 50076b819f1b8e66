package diagnose

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// ComparisonSchema names the JSON form of Comparison.
const ComparisonSchema = "downlead/comparison/1"

// Comparison is what two sweeps of one line, one before and one after, say
// together: before and after a repair, or at commissioning and today.
type Comparison struct {
	Schema   string  `json:"schema"`
	RuntimeS float64 `json:"runtime_s"`
	// Repair says whether what was wrong before is put right after, and Reason
	// why, with numbers.
	Repair Outcome `json:"repair"`
	Reason string  `json:"reason"`
	// Coherent says whether the two could be laid over each other; where not,
	// there are no entries.
	Coherent bool         `json:"coherent"`
	Before   Verdict      `json:"before"`
	After    Verdict      `json:"after"`
	Aligned  AlignedBy    `json:"aligned_by"`
	Entries  []Entry      `json:"entries"` // along the line; never null
	Warnings []string     `json:"warnings"`
	Left     *sweep.Sweep `json:"-"` // after less the aligned before, at the frequencies that both have; nil where they could not be laid over each other
}

// Outcome is whether a repair worked.
type Outcome string

// The outcomes of a repair.
const (
	Repaired       Outcome = "yes"
	PartlyRepaired Outcome = "partly"
	NotRepaired    Outcome = "no"
	CannotBeSaid   Outcome = "cannot-be-said"
)

// Words says the outcome as an answer.
func (o Outcome) Words() string {
	if o == CannotBeSaid {
		return "cannot be said"
	}
	return string(o)
}

// AlignedBy is what the sweep before was changed by to lie over that after, all
// that weather, the test lead and the calibration do.
type AlignedBy struct {
	Velocity      float64 `json:"velocity"` // relative change of velocity since: positive is faster
	VelocitySigma float64 `json:"velocity_sigma"`
	LeadM         float64 `json:"lead_m"` // how far the reference plane moved towards the load, in free space
	GainDB        float64 `json:"gain_db"`
	DifferedDB    float64 `json:"differed_db"` // rms difference as they are, dB of full scale
	DiffersDB     float64 `json:"differs_db"`  // and when aligned
}

// EntryKind is what became of a place.
type EntryKind string

// What can become of a place. Unclear is where the two sweeps and the two
// findings do not agree, or one of them saw nothing there.
const (
	EntryNew       EntryKind = "new"
	EntryGrown     EntryKind = "grown"
	EntryWeaker    EntryKind = "weaker"
	EntryGone      EntryKind = "gone"
	EntryChanged   EntryKind = "changed" // as strong, but of another kind
	EntryUnchanged EntryKind = "unchanged"
	EntryUnclear   EntryKind = "unclear"
)

// Entry is one place at which something is to be told.
type Entry struct {
	Kind      EntryKind `json:"kind"`
	DistanceM float64   `json:"distance_m"`
	SigmaM    float64   `json:"sigma_m"`
	ExtentM   float64   `json:"extent_m"`
	Place     string    `json:"place"`
	// The faults that were found there; "" where none was.
	CauseBefore Cause `json:"cause_before"`
	CauseAfter  Cause `json:"cause_after"`
	// Local return losses, dB, the loss on the way removed, both under the same
	// window. What is below the noise is told as what could have been seen.
	BeforeDB float64 `json:"before_db"`
	AfterDB  float64 `json:"after_db"`
	GrownDB  float64 `json:"grown_db"` // BeforeDB − AfterDB: positive is stronger now
	// SmallestDB is the local return loss of the smallest change that would have
	// been seen there.
	SmallestDB float64 `json:"smallest_db"`
	DelayS     float64 `json:"delay_s"` // what lies behind comes so much later, there and back; negative: earlier
	Sentence   string  `json:"sentence"`

	behind bool   // the levels are those of what lies behind
	why    string // it is gone, where the levels do not show that
}

// IsFault says whether a fault was found there, before or after.
func (e *Entry) IsFault() bool { return e.CauseBefore != "" || e.CauseAfter != "" }

// Taken is a sweep and what Run found in it without a baseline.
type Taken struct {
	Sweep    *sweep.Sweep
	Findings *Findings // nil: Compare looks itself
}

// Compare holds a sweep against an earlier one of the same line. Neither need be
// of a healthy line; Settings.Baseline does not count. The faults of each are
// looked for by Run; the sweeps are laid over each other as for a baseline
// (velocity, lead, calibration), and what is left along the line says what is
// new, grown, weaker, gone or unchanged. The sweep with the lesser faults is the
// one that is laid under, since what is strong hides what lies behind.
//
// Where the sweeps cannot be laid over each other, Coherent is false and Reason
// says why. The errors are those of Run, and of ctx.
func Compare(ctx context.Context, before, after Taken, line *cables.Line, settings Settings) (*Comparison, error) {
	begun := time.Now()
	settings.Baseline = nil
	path, err := line.Path()
	if err != nil {
		return nil, err
	}
	var looking sync.WaitGroup
	failed := make([]error, 2)
	for i, one := range []*Taken{&before, &after} {
		if settings.LowHz > 0 || settings.HighHz > 0 {
			band, err := one.Sweep.Band(settings.LowHz, settings.HighHz)
			if err != nil {
				return nil, fmt.Errorf("the sweep %s: %w", [...]string{"before", "after"}[i], err)
			}
			one.Sweep = band
		}
		if one.Findings == nil {
			looking.Go(func() { one.Findings, failed[i] = Run(ctx, one.Sweep, line, settings) })
		}
	}
	looking.Wait()
	for i, err := range failed {
		if err != nil {
			return nil, fmt.Errorf("the sweep %s: %w", [...]string{"before", "after"}[i], err)
		}
	}
	out := &Comparison{Schema: ComparisonSchema, Before: before.Findings.Verdict, After: after.Findings.Verdict, Entries: []Entry{}, Warnings: []string{}}
	c := &comparing{path: path, line: line, before: faultList(before.Findings), after: faultList(after.Findings), out: out}
	c.backwards = severity(c.before) > severity(c.after)
	under, over := before.Sweep, after.Sweep
	if c.backwards {
		under, over = over, under
	}
	c.d, err = compareBaseline(ctx, over, under, path, line)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	c.why = doubts(before.Sweep, after.Sweep)
	if err != nil {
		c.why = append(c.why, err.Error())
	} else {
		c.lay(after.Sweep)
		c.entries()
	}
	c.judge()
	out.RuntimeS = time.Since(begun).Seconds()
	return out, nil
}

// comparing is a comparison in the making.
type comparing struct {
	path          *cables.Path
	line          *cables.Line
	d             *difference // nil: the two cannot be laid over each other
	backwards     bool        // d takes before for the later sweep
	before, after []Finding   // the faults
	why           []string    // for which nothing can be said of a repair
	out           *Comparison
}

func faultList(f *Findings) []Finding {
	var all []Finding
	for _, one := range f.Findings {
		if one.IsFault {
			all = append(all, one)
		}
	}
	return all
}

// severity is how much faults hide of what lies behind them: the power that they
// throw back.
func severity(faults []Finding) float64 {
	sum := 0.0
	for _, f := range faults {
		switch f.Cause {
		case OpenCircuit, ShortCircuit:
			sum++
		case WaterInCable, LossySection:
			sum += 0.1 // little comes back, and little gets through
		default:
			sum += math.Pow(10, -f.ReturnLossDB/10)
		}
	}
	return sum
}

// doubts says for which of the two measurements nothing can be believed.
func doubts(before, after *sweep.Sweep) []string {
	var all []string
	for _, one := range []struct {
		name string
		s    *sweep.Sweep
	}{{"before", before}, {"after", after}} {
		if one.s.Correction == sweep.Doubtful {
			all = append(all, "the calibration of the sweep "+one.name+" is in doubt")
		}
	}
	return all
}

// lay takes over what the alignment says.
func (c *comparing) lay(after *sweep.Sweep) {
	a := c.d.Alignment
	c.out.Coherent = true
	c.out.Aligned = AlignedBy{a.Velocity, a.VelocitySigma, a.PlaneM, a.GainDB, a.BeforeDB, a.AfterDB}
	left := *c.d.left
	if c.backwards {
		c.out.Aligned.Velocity, c.out.Aligned.LeadM, c.out.Aligned.GainDB = 1/(1+a.Velocity)-1, -a.PlaneM, -a.GainDB
		left.Gamma = slices.Clone(left.Gamma)
		for k := range left.Gamma {
			left.Gamma[k] = -left.Gamma[k]
		}
	}
	left.Name, left.ReferenceOhm, left.Correction = "difference", after.ReferenceOhm, after.Correction
	c.out.Left = &left
	c.out.Warnings = append(c.out.Warnings, c.d.Warnings...)
}

// reachOf is how far from a fault what belongs to it may be told.
func (c *comparing) reachOf(f *Finding) float64 { return math.Max(lobeCells*c.d.cellM, 3*f.SigmaM) }

// entries goes along the faults of both and the changes.
func (c *comparing) entries() {
	told := make([]bool, len(c.d.Changes))
	met := make([]bool, len(c.after))
	for i := range c.before {
		f := &c.before[i]
		g := c.partner(f, met)
		if g >= 0 {
			met[g] = true
			c.add(f, &c.after[g], told)
		} else {
			c.add(f, nil, told)
		}
	}
	for i := range c.after {
		if !met[i] {
			c.add(nil, &c.after[i], told)
		}
	}
	for k := range c.d.Changes {
		if !told[k] && !c.follows(k) {
			c.addChange(&c.d.Changes[k])
		}
	}
	slices.SortStableFunc(c.out.Entries, func(a, b Entry) int {
		switch {
		case a.DistanceM < b.DistanceM:
			return -1
		case a.DistanceM > b.DistanceM:
			return 1
		}
		return 0
	})
}

// partner is the fault after that is the same as f before: the nearest within
// reach, one of the same cause first; -1 without any.
func (c *comparing) partner(f *Finding, met []bool) int {
	best, least := -1, math.Inf(1)
	for i := range c.after {
		g := &c.after[i]
		if met[i] {
			continue
		}
		reach := math.Max(c.d.cellM, 3*math.Hypot(f.SigmaM, g.SigmaM))
		off := math.Abs(g.DistanceM - f.DistanceM)
		if spread(f.Cause) && spread(g.Cause) { // their ends are soft
			off = math.Max(0, math.Max(g.DistanceM-(f.DistanceM+f.ExtentM), f.DistanceM-(g.DistanceM+g.ExtentM)))
		}
		if off > reach {
			continue
		}
		if g.Cause != f.Cause {
			off += reach
		}
		if off < least {
			best, least = i, off
		}
	}
	return best
}

// spread says whether a cause shows by what it does to all behind it rather than
// by a reflection of its own.
func spread(cause Cause) bool { return cause == WaterInCable || cause == LossySection }

// away is how far x is from where a fault shows: all along it where it is spread,
// else at its two ends.
func (f *Finding) away(x float64) float64 {
	from, to := f.DistanceM, f.DistanceM+f.ExtentM
	if spread(f.Cause) && x > from && x < to {
		return 0
	}
	return math.Min(math.Abs(x-from), math.Abs(x-to))
}

// changeOf is the change that belongs to a fault; nil where nothing changed there.
func (c *comparing) changeOf(f *Finding, told []bool) *change {
	best, least := -1, math.Inf(1)
	reach := c.reachOf(f)
	for k := range c.d.Changes {
		one := &c.d.Changes[k]
		off := f.away(one.DistanceM)
		if spread(f.Cause) && (one.Kind == changeDelayed || one.Kind == changeWeaker) && one.DistanceM >= f.DistanceM-reach {
			off = 0 // it shows at the next thing behind
		}
		if off <= reach && off < least {
			best, least = k, off
		}
	}
	if best < 0 {
		return nil
	}
	told[best] = true
	for k := range c.d.Changes { // what else differs within it is the same thing
		told[k] = told[k] || f.away(c.d.Changes[k].DistanceM) <= reach
	}
	return &c.d.Changes[best]
}

// levels are the local return losses at a place, before and after. That of the
// sweep laid under is read from its own profile; that of the other comes from the
// fit of the change, and is told no finer than a change can be seen.
func (c *comparing) levels(x float64, ch *change) (beforeDB, afterDB, smallestDB float64) {
	i := c.d.index(x)
	at := 0.0
	for k := max(0, i-perCell); k <= min(len(c.d.before)-1, i+perCell); k++ {
		at = math.Max(at, c.d.before[k])
	}
	smallestDB = decibels(c.d.smallest[i])
	under := math.Max(0, math.Min(decibels(at), changeFloorDB))
	over := under
	if ch != nil {
		under, over = math.Max(0, math.Min(ch.BeforeDB, changeFloorDB)), math.Max(0, ch.NowDB)
		if over > smallestDB && under < smallestDB {
			over = smallestDB
		}
	}
	if c.backwards {
		return over, under, smallestDB
	}
	return under, over, smallestDB
}

// goneDB is how much weaker a reflection must be to count as gone, where no fault
// is found there any more: it is then within what a sound line shows. Common
// practice, no source.
const goneDB = 6.0

// add tells of a fault before, after or both.
func (c *comparing) add(before, after *Finding, told []bool) {
	f := before
	if f == nil {
		f = after
	}
	ch := c.changeOf(f, told)
	e := Entry{DistanceM: f.DistanceM, SigmaM: f.SigmaM, ExtentM: f.ExtentM, Place: f.Place}
	if after != nil {
		e.DistanceM, e.SigmaM, e.ExtentM, e.Place, e.CauseAfter = after.DistanceM, after.SigmaM, after.ExtentM, after.Place, after.Cause
	}
	if before != nil {
		e.CauseBefore = before.Cause
	}
	x := f.DistanceM
	if ch != nil {
		x = ch.DistanceM
		if ch.DistanceM < c.d.Unwatched-c.d.cellM { // of what lies behind a total reflection nothing is known
			e.DelayS = ch.DelayS
		}
		if c.backwards {
			e.DelayS = 0 - e.DelayS
		}
	}
	e.BeforeDB, e.AfterDB, e.SmallestDB = c.levels(x, ch)
	e.GrownDB = e.BeforeDB - e.AfterDB
	// What passes through less is a fault that grew, though what is behind it is weaker.
	grown := e.GrownDB
	if ch != nil && (ch.Kind == changeWeaker || ch.Kind == changeDelayed) {
		grown, e.behind = -grown, true
		if ch.Kind == changeDelayed {
			grown = math.Copysign(math.Max(math.Abs(grown), grownDB+1), e.DelayS)
		}
	}
	hidden := f.DistanceM > c.d.Unwatched+c.d.cellM
	switch {
	case hidden:
		e.Kind = EntryUnclear
	case before != nil && after != nil:
		switch {
		case ch == nil:
			e.Kind = EntryUnchanged
		case grown > grownDB:
			e.Kind = EntryGrown
		case grown < -grownDB:
			e.Kind = EntryWeaker
		default:
			e.Kind = EntryChanged
		}
	case before != nil:
		switch {
		case ch == nil || grown > grownDB:
			e.Kind = EntryUnclear
		case grown < -goneDB || spread(before.Cause) && grown < -grownDB || e.AfterDB > asBuiltAboveDB:
			e.Kind = EntryGone
		case grown < -grownDB:
			e.Kind = EntryWeaker
		default:
			e.Kind = EntryChanged
		}
		switch {
		case e.Kind == EntryGone:
		case c.explains(before):
			e.Kind, e.why = EntryGone, "which alone kept the line out of its limit"
		case ch != nil && c.mirrored() && f.DistanceM > c.path.LengthM()-c.reachOf(f):
			e.Kind, e.why = EntryGone, "and what reflects there now is the "+string(c.line.Load.Kind)+" in which the line ends by its record"
		}
	default:
		switch {
		case ch == nil || grown < -grownDB:
			e.Kind = EntryUnclear
		case e.BeforeDB < asBuiltAboveDB && grown < goneDB && !spread(after.Cause):
			e.Kind = EntryGrown
		default:
			e.Kind = EntryNew
		}
	}
	e.Sentence = c.sentence(&e, hidden)
	c.out.Entries = append(c.out.Entries, e)
}

// explains says whether the limit shows that a fault which is found no more is gone:
// before, the line missed it and would have kept it without this fault alone, and
// now it does. Of an antenna the difference of the sweeps tells little, since most
// of its reflection lies outside its band and stays; of the far end little, where a
// total reflection in one of them leaves nothing to be laid over.
func (c *comparing) explains(f *Finding) bool {
	limited := c.out.Before.LimitVSWR > 0 && !c.out.Before.Passes && c.out.After.Passes
	return limited && f.Repaired != nil && f.Repaired.Passes
}

// mirrored says whether the line ends by its record in something that throws
// everything back.
func (c *comparing) mirrored() bool {
	return c.line.Load.Kind == cables.Open || c.line.Load.Kind == cables.Short
}

// follows says whether a change that belongs to no fault is what one in front of
// it does to what lies behind, or too weak to be told beside a strong one.
func (c *comparing) follows(k int) bool {
	ch := &c.d.Changes[k]
	if under, over, _ := c.levels(ch.DistanceM, ch); math.Min(under, over) > nothingDB {
		return true
	}
	if ch.ChangeDB > changeSeenDB || ch.DistanceM > c.d.Unwatched || shadowed(c.d.Changes, k) {
		return true
	}
	for _, e := range c.out.Entries {
		if !e.IsFault() || e.Kind == EntryUnchanged || e.DistanceM >= ch.DistanceM {
			continue
		}
		if strong := math.Min(e.BeforeDB, e.AfterDB) < shadowAboveDB; strong || spread(e.CauseBefore) || spread(e.CauseAfter) {
			if ch.AtLoad || ch.Kind == changeWeaker || ch.Kind == changeDelayed || ch.ChangeDB > shadowedBelowDB {
				return true
			}
		}
	}
	return false
}

// addChange tells of a change where no fault was found.
func (c *comparing) addChange(ch *change) {
	e := Entry{DistanceM: math.Max(0, ch.DistanceM), SigmaM: math.Hypot(ch.SigmaM, placeSigma(ch.DistanceM)), DelayS: ch.DelayS, SmallestDB: ch.SmallestDB}
	e.Place = "in " + c.path.Spans[c.path.SpanAt(e.DistanceM)].Name
	switch joint, _ := nearest(c.path.JointsM(), e.DistanceM); {
	case ch.AtLoad:
		e.Place = "far end"
	case math.Abs(joint-e.DistanceM) < math.Max(0.6*c.d.cellM, 3*placeSigma(joint)):
		e.Place = (&bench{path: c.path, joints: c.path.JointsM()}).placeOf(joint)
	}
	e.BeforeDB, e.AfterDB, e.SmallestDB = c.levels(ch.DistanceM, ch)
	if c.backwards {
		e.DelayS = 0 - e.DelayS
	}
	e.GrownDB = e.BeforeDB - e.AfterDB
	switch {
	case e.GrownDB > absentDB:
		e.Kind = EntryNew
	case e.GrownDB > grownDB:
		e.Kind = EntryGrown
	case e.GrownDB < -absentDB:
		e.Kind = EntryGone
	case e.GrownDB < -grownDB:
		e.Kind = EntryWeaker
	default:
		e.Kind = EntryChanged
	}
	e.Sentence = c.sentence(&e, false)
	c.out.Entries = append(c.out.Entries, e)
}
