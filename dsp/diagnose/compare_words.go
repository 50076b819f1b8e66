package diagnose

import (
	"fmt"
	"math"
	"strings"

	"downlead/cables"
)

// The texts name places by the record, not by metres, so that they hold in any
// unit; the numbers stand beside them.

// nothingDB is the local return loss above which a place counts as quiet: joints
// and roughness of sound cable show as much. Common practice, no source.
const nothingDB = 40.0

// seenDB writes a local return loss; where less reflects than can be seen, that it
// is over what can.
func (e *Entry) seenDB(db float64) string {
	switch {
	case db > nothingDB:
		return fmt.Sprintf("over %.0f dB", nothingDB)
	case db == e.SmallestDB: // no finer can be seen
		return fmt.Sprintf("over %.0f dB", db)
	}
	return fmt.Sprintf("%.1f dB", db)
}

// levels says both local return losses of an entry. What shows only by what it does
// to all behind it has none worth telling.
func (e *Entry) levels() string {
	if e.why != "" {
		return e.why
	}
	if math.Min(e.BeforeDB, e.AfterDB) > nothingDB {
		return "which shows by what lies behind it"
	}
	if e.behind {
		return fmt.Sprintf("what lies there and behind comes back %.1f dB %s now", math.Abs(e.GrownDB), map[bool]string{true: "stronger", false: "weaker"}[e.GrownDB > 0])
	}
	return "return loss " + e.seenDB(e.BeforeDB) + " then, " + e.seenDB(e.AfterDB) + " now"
}

// saidLevels is levels behind a word.
func (e *Entry) saidLevels() string {
	text := e.levels()
	if strings.HasPrefix(text, "which ") || strings.HasPrefix(text, "and ") {
		return ", " + text
	}
	return ": " + text
}

// sentence says what became of a place. hidden says that a total reflection
// stands in front of it in one of the sweeps.
func (c *comparing) sentence(e *Entry, hidden bool) string {
	cause := e.CauseAfter
	if cause == "" {
		cause = e.CauseBefore
	}
	name := cause.Words()
	switch {
	case e.CauseBefore != "" && e.CauseAfter != "" && e.CauseBefore != e.CauseAfter:
		name = fmt.Sprintf("%s, taken for %s before,", e.CauseAfter.Words(), e.CauseBefore.Words())
	case cause == "":
		name = "the reflection"
	}
	var s string
	switch e.Kind {
	case EntryUnchanged:
		s = fmt.Sprintf("%s is still there and has not changed: %s; a change as small as %.0f dB would have been seen", name, e.levels(), e.SmallestDB)
	case EntryGrown:
		s = name + " has grown" + e.saidLevels()
	case EntryWeaker:
		s = name + " has become weaker" + e.saidLevels()
	case EntryChanged:
		s = fmt.Sprintf("%s is as strong as before (%s) but of another kind", name, e.levels())
	case EntryGone:
		s = name + " is gone" + e.saidLevels()
	case EntryNew:
		if cause == "" {
			name = "a reflection"
		}
		s = name + " is new" + e.saidLevels()
	case EntryUnclear:
		found := "is found only " + map[bool]string{true: "before", false: "after"}[e.CauseBefore != ""]
		if e.CauseBefore != "" && e.CauseAfter != "" {
			found = "is found in both"
		}
		switch {
		case hidden:
			s = fmt.Sprintf("%s %s; a total reflection in front of it hides this place %s", name, found, map[bool]string{true: "before", false: "after"}[c.backwards])
		default:
			s = fmt.Sprintf("%s %s, but what reflects there differs too little, or the other way: %s; a change as small as %.0f dB would have been seen", name, found, e.levels(), e.SmallestDB)
		}
	}
	if ps := 1e12 * e.DelayS; math.Abs(ps) >= 1e12*delaySeenS {
		s += fmt.Sprintf("; what lies behind comes %.2f ns %s", math.Abs(ps)/1000, map[bool]string{true: "later", false: "earlier"}[ps > 0])
	}
	return s
}

// at names an entry's fault and its place.
func (e *Entry) at() string {
	cause := e.CauseBefore
	if cause == "" {
		cause = e.CauseAfter
	}
	return fmt.Sprintf("%s (%s)", cause.Words(), e.Place)
}

// judge says whether what was wrong before is put right.
func (c *comparing) judge() {
	out := c.out
	if c.d != nil && len(c.d.Changes) == 0 && c.d.Alignment.AfterDB > -20 {
		c.why = append(c.why, fmt.Sprintf("even aligned the sweeps differ by %.0f dB of full scale all along the line: are both of it?", c.d.Alignment.AfterDB))
	}
	if len(c.why) > 0 {
		out.Repair, out.Reason = CannotBeSaid, strings.Join(c.why, "; ")
		return
	}
	if b, a := out.Before, out.After; math.Abs(b.LowHz-a.LowHz) > 0.01*b.LowHz || math.Abs(b.HighHz-a.HighHz) > 0.01*b.HighHz {
		out.Warnings = append(out.Warnings, fmt.Sprintf("the limit was judged over %s before and over %s after", bandWords(b.LowHz, b.HighHz), bandWords(a.LowHz, a.HighHz)))
	}
	var gone, better, still, unclear, fresh []*Entry
	for i := range out.Entries {
		e := &out.Entries[i]
		switch {
		case !e.IsFault():
		case e.CauseBefore == "":
			fresh = append(fresh, e)
		case e.Kind == EntryGone:
			gone = append(gone, e)
		case e.Kind == EntryWeaker:
			better = append(better, e)
		case e.Kind == EntryUnclear:
			unclear = append(unclear, e)
		default:
			still = append(still, e)
		}
	}
	var parts []string
	tell := func(all []*Entry, became string) {
		for _, e := range all {
			parts = append(parts, fmt.Sprintf("%s %s, %s", e.at(), became, e.levels()))
		}
	}
	tell(gone, "is gone")
	tell(better, "is weaker but still there")
	tell(still, "is still there")
	tell(unclear, "was found before and is not found any more, though its reflection does not show why")
	for _, e := range fresh {
		became := "is new"
		if e.Kind == EntryUnclear {
			became = "is found only after, and may have been there before"
		}
		parts = append(parts, fmt.Sprintf("%s %s, %s", e.at(), became, e.levels()))
	}
	if k := strongest(out.Entries); k != nil {
		parts = append(parts, fmt.Sprintf("besides, where no fault is found (%s), %s", k.Place, k.Sentence))
	}
	limits := out.LimitWords()
	misses := out.After.LimitVSWR > 0 && !out.After.Passes
	mirror := misses && c.mirrored()
	if mirror { // whatever was repaired
		misses = false
		limits += ", which tells nothing here: by its record the line ends in " + map[bool]string{true: "an open", false: "a short"}[c.line.Load.Kind == cables.Open]
	}
	switch {
	case len(c.before) == 0 && (out.Before.Passes || mirror):
		out.Repair = CannotBeSaid
		parts = append([]string{"no fault was found before, so there was nothing to repair"}, parts...)
		if len(fresh) == 0 && !misses {
			parts = append(parts, "none is found after")
		}
	case len(c.before) == 0 && !misses && len(fresh) == 0:
		out.Repair = Repaired
		parts = append(parts, "no fault was found before or after, but the limit is kept now")
	case len(c.before) == 0:
		out.Repair = NotRepaired
		parts = append([]string{"no fault was found before, though the limit was missed"}, parts...)
	case len(gone) == len(c.before) && len(fresh) == 0 && !misses:
		out.Repair = Repaired
	case len(gone)+len(better) > 0:
		out.Repair = PartlyRepaired
	case len(still) > 0:
		out.Repair = NotRepaired
	default:
		out.Repair = CannotBeSaid
	}
	if misses && len(c.before) > 0 && len(gone) == len(c.before) && len(fresh) == 0 {
		parts = append(parts, "the limit is still missed, by something else")
	}
	out.Reason = strings.Join(append(parts, limits), "; ")
}

// strongest is the entry with the strongest reflection of those where no fault was
// found; nil without any.
func strongest(entries []Entry) *Entry {
	var best *Entry
	for i := range entries {
		if e := &entries[i]; !e.IsFault() && (best == nil || math.Min(e.BeforeDB, e.AfterDB) < math.Min(best.BeforeDB, best.AfterDB)) {
			best = e
		}
	}
	return best
}

// LimitWords says both verdicts.
func (c *Comparison) LimitWords() string {
	before, after := c.Before, c.After
	s := "worst VSWR " + vswrWords(before) + " then, " + vswrWords(after) + " now"
	switch {
	case after.LimitVSWR == 0:
		return s + ", no limit set"
	case after.Passes && before.Passes:
		s += ", within"
	case after.Passes:
		s += ", now within"
	case before.Passes:
		s += ", now out of"
	default:
		s += ", still out of"
	}
	return s + fmt.Sprintf(" the limit of %.2f", after.LimitVSWR)
}
