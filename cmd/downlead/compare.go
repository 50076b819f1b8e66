package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"downlead/cables"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
	"downlead/ui/report"
)

// compareChoice is what the user asks of compare.
type compareChoice struct {
	line          lineChoice
	lowHz, highHz float64
	rangeM        float64
	json          bool
	feet, ascii   bool
}

func (c *compareChoice) options() *options {
	return &options{verb: "compare", operands: "BEFORE AFTER",
		about: "Holds two sweeps of a line against each other, such as before and after a repair, or at\ncommissioning and today: what is new, grown, weaker, gone or unchanged, and whether the repair\n" +
			"worked. Each may be a sweep or a saved investigation, whose line is then taken where --line is\nnot given.",
		list: append(c.line.options(),
			option{"band", "LOW..HIGH", "use only this band, for example 1710MHz..2170MHz", toBand(&c.lowHz, &c.highHz)},
			option{"range", "LENGTH", "look no further than this, for example 80m", toLength(&c.rangeM)},
			option{"json", "", "the comparison for machines, schema " + diagnose.ComparisonSchema, toSwitch(&c.json)},
			option{"feet", "", "lengths in feet", toSwitch(&c.feet)},
			option{"ascii", "", "plain characters only", toSwitch(&c.ascii)})}
}

// compareVerb tells what happened to a line between two sweeps. It ends with
// status 1 where the line is out of its limit or has a fault after, and with 2
// where the two cannot be laid over each other.
func compareVerb(ctx context.Context, words []string, out output) (int, error) {
	var choice compareChoice
	operands, done, err := choice.options().take(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	var sides [2]*sweep.Sweep
	var line *cables.Line
	var notes []string
	for i, path := range operands {
		if !investigation.Is(path) {
			if sides[i], err = sweep.Read(path); errors.Is(err, sweep.ErrScalar) {
				err = fmt.Errorf("%w; a comparison needs the phase of both", err)
			}
			if err != nil {
				return 0, err
			}
			continue
		}
		doc, odd, err := readInvestigation(path, out.stderr)
		if err != nil {
			return 0, err
		}
		if sides[i], _, _, err = doc.Corrected(); err != nil {
			return 0, fmt.Errorf("%s: %w", path, err)
		}
		line, notes = doc.Line, append(notes, odd...)
	}
	if line == nil || choice.line != (lineChoice{}) {
		line, err = choice.line.read(func(velocityFactor float64) float64 {
			if choice.rangeM > 0 {
				return choice.rangeM
			}
			return math.Min(aliasFreeM(sides[0].FrequencyHz, velocityFactor), aliasFreeM(sides[1].FrequencyHz, velocityFactor))
		})
		if err != nil {
			return 0, err
		}
	}
	finished := working(out.stderr, "comparing")
	c, err := diagnose.Compare(ctx, diagnose.Taken{Sweep: sides[0]}, diagnose.Taken{Sweep: sides[1]}, line, diagnose.Settings{LowHz: choice.lowHz, HighHz: choice.highHz, RangeM: choice.rangeM})
	finished()
	if err != nil {
		return 0, err
	}
	for _, note := range slices.Concat(notes, line.Notes, sides[0].Warnings, sides[1].Warnings) {
		if !slices.Contains(c.Warnings, note) {
			c.Warnings = append(c.Warnings, note)
		}
	}
	if choice.json {
		e := json.NewEncoder(out.stdout)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		err = e.Encode(c)
	} else {
		_, err = io.WriteString(out.stdout, choice.report(line, sides, c))
	}
	return comparedStatus(c), err
}

func comparedStatus(c *diagnose.Comparison) int {
	faulty := func(e diagnose.Entry) bool { return e.CauseAfter != "" }
	switch {
	case !c.Coherent:
		return statusUnusable
	case !c.After.Passes && c.After.LimitVSWR > 0 || slices.ContainsFunc(c.Entries, faulty):
		return statusFault
	}
	return statusPasses
}

// report is the comparison as text.
func (choice *compareChoice) report(line *cables.Line, sides [2]*sweep.Sweep, c *diagnose.Comparison) string {
	p := &page{ascii: choice.ascii}
	scale := inMetres
	if choice.feet {
		scale = inFeet
	}
	p.text("", line.Name)
	for i, s := range sides {
		n := len(s.FrequencyHz)
		text := fmt.Sprintf("%s: %d points from %s to %s", s.Name, n, frequencyText(s.FrequencyHz[0]), frequencyText(s.FrequencyHz[n-1]))
		if i == 1 {
			text += fmt.Sprintf("; worked out in %.0f ms", 1000*c.RuntimeS)
		}
		p.text([]string{"before: ", "after:  "}[i], text)
	}
	p.row("")
	p.text("  REPAIRED?      ", c.Repair.Words())
	p.text("  because        ", c.Reason)
	p.text("  BEFORE         ", comparedVerdict(c.Before))
	p.text("  AFTER          ", comparedVerdict(c.After))
	if c.Coherent {
		p.text("  LAID OVER      ", report.Aligned(c.Aligned, scale.scale()))
	}
	if len(c.Entries) > 0 {
		p.heading("What became of it, along the line")
	}
	for _, e := range c.Entries {
		where := scale.uncertain(e.DistanceM, e.SigmaM)
		if e.ExtentM > 0 {
			where = fmt.Sprintf("%s to %s", scale.number(e.DistanceM), scale.uncertain(e.DistanceM+e.ExtentM, e.SigmaM))
		}
		p.text(fmt.Sprintf("  %-13s  ", strings.ToUpper(string(e.Kind))), where+"; "+e.Place)
		p.text("                 ", e.Sentence)
	}
	if len(c.Warnings) > 0 {
		p.heading("Worth knowing")
		for _, w := range c.Warnings {
			p.text("  · ", w)
		}
	}
	p.cautions()
	return p.String()
}

func comparedVerdict(v diagnose.Verdict) string {
	text := fmt.Sprintf("worst %s at %s", vswrText(v.WorstVSWR), frequencyText(v.AtHz))
	switch {
	case v.LimitVSWR == 0:
		return text + "; no limit set"
	case v.Passes:
		return text + fmt.Sprintf(", within the limit of %.2f", v.LimitVSWR)
	}
	return text + fmt.Sprintf(", out of the limit of %.2f", v.LimitVSWR)
}
