package desk

import (
	"context"
	"fmt"
	"image/color"
	"math"
	"strings"

	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/widget"

	"downlead/cables"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
	"downlead/ui/investigation"
	"downlead/ui/theme"
	"downlead/ui/work"
)

// compared is the comparison with the earlier sweep.
type compared struct {
	of     comparedOf
	job    work.Slot[*diagnose.Comparison]
	is     *diagnose.Comparison // nil: not there yet, or nothing to compare with
	err    error
	rows   []widget.Clickable // of the entries
	chosen int                // of the entries; -1: none
	healed widget.Clickable   // says what the earlier sweep shows
}

// comparedOf is all that the comparison depends on.
type comparedOf struct {
	sweep, earlier *sweep.Sweep
	line           *cables.Line
	band           [2]float64
	every          int
	found          *diagnose.Findings
	state          investigation.Earlier
}

// startComparison compares once the findings are there: they come first, and
// those without a baseline serve the comparison too.
func (d *Desk) startComparison(doc investigation.Document) {
	c := &d.compared
	of := comparedOf{d.corrected, doc.Baseline.Sweep, doc.Line, doc.BandHz, doc.Every, d.findings, doc.Earlier}
	if of == c.of {
		return
	}
	c.of = of
	c.job.Stop()
	c.is, c.err, c.chosen = nil, nil, -1
	if of.sweep == nil || of.earlier == nil || of.found == nil {
		return
	}
	c.job.Start(func(ctx context.Context) (*diagnose.Comparison, error) {
		s, err := investigation.Used(of.sweep, of.band, of.every)
		if err != nil {
			return nil, err
		}
		after := diagnose.Taken{Sweep: s}
		if of.state == investigation.BeforeRepair { // found without a baseline
			after.Findings = of.found
		}
		return diagnose.Compare(ctx, diagnose.Taken{Sweep: of.earlier}, after, of.line, diagnose.Settings{LowHz: of.band[0], HighHz: of.band[1]})
	})
}

func (d *Desk) takeComparison() {
	c := &d.compared
	if r, ok := c.job.Take(); ok {
		d.setComparison(r.Value, r.Err)
		d.refresh()
	}
}

func (d *Desk) setComparison(is *diagnose.Comparison, err error) {
	c := &d.compared
	c.is, c.err, c.chosen = is, err, -1
	if is != nil {
		c.rows = make([]widget.Clickable, len(is.Entries))
	}
}

func (d *Desk) updateCompared(gtx layout.Context) {
	c := &d.compared
	for c.healed.Clicked(gtx) {
		doc := d.document()
		doc.Earlier = investigation.BeforeRepair - doc.Earlier
		d.change(doc, "say what the earlier sweep shows", "")
	}
	for i := range c.rows {
		for c.is != nil && c.rows[i].Clicked(gtx) {
			d.chooseEntry(i)
		}
	}
}

// chooseEntry shows a place of the comparison in the charts, and the finding
// there, where there is one; choosing it once more shows the whole again.
func (d *Desk) chooseEntry(i int) {
	c := &d.compared
	if c.chosen == i {
		c.chosen = -1
		d.plots.over.ShowAll()
		d.plots.along.ShowAll()
		return
	}
	c.chosen = i
	e := &c.is.Entries[i]
	if e.CauseAfter != "" {
		best, least := -1, math.Inf(1)
		for _, k := range d.faults() {
			f := &d.findings.Findings[k]
			if off := math.Abs(f.DistanceM - e.DistanceM); off < least && off <= 3*math.Hypot(f.SigmaM, e.SigmaM)+0.1 {
				best, least = k, off
			}
		}
		if best >= 0 && best != d.selected {
			d.selectFinding(best)
			d.cards.scrollTo = -1 // stay at the comparison
			return
		}
	}
	if d.drawn != nil && d.drawn.alongErr == nil {
		d.showStretch(e.DistanceM, e.ExtentM)
	}
}

// entryShade is the stretch of the chosen entry, for the charts.
func (d *Desk) entryShade() (chart.Shade, bool) {
	c := &d.compared
	if c.is == nil || c.chosen < 0 {
		return chart.Shade{}, false
	}
	e := &c.is.Entries[c.chosen]
	return chart.Shade{Side: chart.Lower, From: e.DistanceM - e.SigmaM, To: e.DistanceM + e.ExtentM + e.SigmaM, Color: theme.Alpha(d.theme.Earlier, 0.25)}, true
}

// entryWords are what became of a place, and the colour that takes.
func (d *Desk) entryWords(e *diagnose.Entry) (string, color.NRGBA) {
	word := capital(string(e.Kind))
	switch e.Kind {
	case diagnose.EntryNew, diagnose.EntryGrown, diagnose.EntryUnclear:
		return word, d.theme.Out
	case diagnose.EntryGone:
		return word, d.theme.In
	}
	return word, d.theme.Ink
}

// answer is the comparison in a word or two, and its colour.
func (d *Desk) answer() (string, color.NRGBA) {
	c := d.compared.is
	if d.document().Earlier == investigation.Healthy {
		return "Since the earlier sweep", d.theme.Ink
	}
	switch c.Repair {
	case diagnose.Repaired:
		return "Repaired: yes", d.theme.In
	case diagnose.PartlyRepaired, diagnose.NotRepaired:
		return "Repaired: " + c.Repair.Words(), d.theme.Out
	}
	return "Repaired: cannot be said", d.theme.Ink
}

// hasCompared says whether there is anything to say of a comparison.
func (d *Desk) hasCompared() bool {
	_, running := d.compared.job.Running()
	return running || d.compared.err != nil || d.compared.is != nil
}

// layoutCompared is the comparison in words, at the head of the findings.
func (d *Desk) layoutCompared(gtx layout.Context) layout.Dimensions {
	c := &d.compared
	if _, running := c.job.Running(); running {
		return d.small("comparing with the earlier sweep…", d.theme.Quiet)(gtx)
	}
	switch {
	case c.err != nil:
		return d.small("The earlier sweep cannot be compared: "+c.err.Error(), d.theme.Out)(gtx)
	case c.is == nil:
		return layout.Dimensions{}
	}
	macro := op.Record(gtx.Ops)
	dims := layout.UniformInset(10).Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		title, ink := d.answer()
		why := c.is.Reason
		if d.document().Earlier == investigation.Healthy && c.is.Coherent {
			why = c.is.LimitWords() // there was no repair; the entries say the rest
		}
		all := []layout.Widget{d.theme.Text(theme.Label{Text: title, Color: ink, Font: theme.Strong}), d.small(capital(why)+".", d.theme.Ink)}
		for i := range c.is.Entries {
			all = append(all, d.entryRow(i))
		}
		if len(c.is.Entries) == 0 && c.is.Coherent {
			all = append(all, d.small("Nothing along the line has changed.", d.theme.Quiet))
		}
		if len(c.is.Warnings) > 0 {
			all = append(all, d.small(strings.Join(c.is.Warnings, " · "), d.theme.Quiet))
		}
		return column(gtx, 5, all...)
	})
	call := macro.Stop()
	theme.Fill(gtx, dims.Size, 6, d.theme.Panel)
	theme.Outline(gtx, dims.Size, 6, 1, d.theme.Edge)
	call.Add(gtx.Ops)
	return dims
}

func (d *Desk) entryRow(i int) layout.Widget {
	c := &d.compared
	e := &c.is.Entries[i]
	word, ink := d.entryWords(e)
	where := d.metres(e.DistanceM)
	if e.SigmaM > 0 {
		where = d.place(&diagnose.Finding{DistanceM: e.DistanceM, SigmaM: e.SigmaM})
	}
	return func(gtx layout.Context) layout.Dimensions {
		return d.theme.Row(gtx, &c.rows[i], fmt.Sprintf("%s at %s: %s", e.Kind, where, e.Sentence), i == c.chosen, func(gtx layout.Context) layout.Dimensions {
			return column(gtx, 1,
				func(gtx layout.Context) layout.Dimensions {
					return layout.Flex{Alignment: layout.Baseline}.Layout(gtx, layout.Flexed(1, d.theme.Text(theme.Label{Text: word, Color: ink, Font: theme.Strong})), layout.Rigid(d.small(where, d.theme.Ink)))
				},
				d.small(capital(e.Sentence), d.theme.Quiet))
		})
	}
}
