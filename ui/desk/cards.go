package desk

import (
	"fmt"
	"image"
	"strings"

	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/widget"

	"downlead/dsp/diagnose"
	"downlead/ui/investigation"
	"downlead/ui/theme"
)

// cards are the findings, one card each.
type cards struct {
	list     widget.List
	rows     []*card
	scrollTo int // index of a finding to bring into view; -1: none
	order    []int
	again    widget.Clickable
	cancel   widget.Clickable
}

// card is the state of a finding's card.
type card struct {
	click                widget.Clickable
	accept, reject, note widget.Clickable
	reason               widget.Clickable
	noting, reasons      bool
	name, text           widget.Editor
}

// renewCards makes the cards of new findings: faults first, the surest first,
// then what is as built, then ghosts, along the line.
func (d *Desk) renewCards() {
	c := &d.cards
	c.scrollTo, c.rows, c.order = -1, nil, nil
	if d.findings == nil {
		return
	}
	doc := d.document()
	for i := range d.findings.Findings {
		f := &d.findings.Findings[i]
		one := &card{}
		one.name.SingleLine = true
		if k := doc.DecisionOn(f); k >= 0 && f.IsFault {
			one.name.SetText(doc.Decisions[k].Name)
			one.text.SetText(doc.Decisions[k].Note)
			one.noting = doc.Decisions[k].Name != "" || doc.Decisions[k].Note != ""
		}
		c.rows = append(c.rows, one)
	}
	rank := func(f *diagnose.Finding) int {
		switch {
		case f.IsFault:
			return 0
		case f.Cause == diagnose.Ghost:
			return 2
		}
		return 1
	}
	for r := range 3 {
		for i := range d.findings.Findings {
			if rank(&d.findings.Findings[i]) == r {
				c.order = append(c.order, i)
			}
		}
	}
}

// decision is what the user said of a finding.
func (d *Desk) decision(f *diagnose.Finding) investigation.Decision {
	doc := d.document()
	if k := doc.DecisionOn(f); k >= 0 {
		return doc.Decisions[k]
	}
	return investigation.Decision{}
}

// nameOf is what a finding is called: by the user, else by the program.
func (d *Desk) nameOf(f *diagnose.Finding) string {
	if name := d.decision(f).Name; name != "" {
		return name
	}
	return f.Cause.Words()
}

func (d *Desk) updateCards(gtx layout.Context) {
	c := &d.cards
	for c.again.Clicked(gtx) {
		d.again()
	}
	for c.cancel.Clicked(gtx) {
		d.escape()
	}
	if d.findings == nil || len(c.rows) != len(d.findings.Findings) {
		return
	}
	for i, one := range c.rows {
		f := &d.findings.Findings[i]
		for one.click.Clicked(gtx) {
			d.selectFinding(i)
		}
		decide := func(did, kind string, change func(*investigation.Decision)) {
			doc := d.document()
			d.history.Do(doc.Decide(f, change), did, kind)
		}
		toggle := func(to investigation.State) func(*investigation.Decision) {
			return func(x *investigation.Decision) {
				if x.State == to {
					x.State = investigation.Undecided
				} else {
					x.State = to
				}
			}
		}
		for one.accept.Clicked(gtx) {
			decide("accept a finding", "", toggle(investigation.Accepted))
		}
		for one.reject.Clicked(gtx) {
			decide("reject a finding", "", toggle(investigation.Rejected))
		}
		for one.note.Clicked(gtx) {
			one.noting = !one.noting
		}
		for one.reason.Clicked(gtx) {
			one.reasons = !one.reasons
		}
		if changed(gtx, &one.name) {
			decide("rename a finding", fmt.Sprint("rename", i), func(x *investigation.Decision) { x.Name = strings.TrimSpace(one.name.Text()) })
		}
		if changed(gtx, &one.text) {
			decide("note on a finding", fmt.Sprint("note", i), func(x *investigation.Decision) { x.Note = one.text.Text() })
		}
	}
}

func (d *Desk) layoutCards(gtx layout.Context) layout.Dimensions {
	return layout.Flex{Axis: layout.Vertical}.Layout(gtx,
		layout.Rigid(d.layoutCardsHead),
		layout.Rigid(layout.Spacer{Height: 8}.Layout),
		layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
			c := &d.cards
			if d.findings == nil || len(c.rows) != len(d.findings.Findings) {
				return layout.Dimensions{Size: gtx.Constraints.Max}
			}
			c.list.Axis = layout.Vertical
			if c.scrollTo >= 0 {
				for at, i := range c.order {
					if i == c.scrollTo {
						c.list.ScrollTo(at + 1)
					}
				}
				c.scrollTo = -1
			}
			gtx.Constraints.Min = gtx.Constraints.Max
			return d.theme.Scroll(gtx, &c.list, len(c.order)+2, func(gtx layout.Context, k int) layout.Dimensions {
				k-- // the comparison stands at the head
				if k < 0 && !d.hasCompared() {
					return layout.Dimensions{}
				}
				return layout.Inset{Bottom: 6, Right: 14}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
					switch k {
					case -1:
						return d.layoutCompared(gtx)
					case len(c.order):
						return d.layoutRemarks(gtx)
					}
					i := c.order[k]
					f := &d.findings.Findings[i]
					if f.IsFault {
						return d.layoutFault(gtx, i, f)
					}
					return d.layoutPart(gtx, i, f)
				})
			})
		}))
}

func (d *Desk) layoutCardsHead(gtx layout.Context) layout.Dimensions {
	text := ""
	var button layout.Widget
	since, running := d.diagnosis.Running()
	switch {
	case running:
		text = fmt.Sprintf("working, %.0f s", d.now().Sub(since).Seconds())
		button = d.plain(&d.cards.cancel, "cancel")
	case d.findErr != nil:
		text = "stopped"
		button = d.plain(&d.cards.again, "again (F5)")
	case d.findings != nil:
		faults, ghosts, built := 0, 0, 0
		for i := range d.findings.Findings {
			switch f := &d.findings.Findings[i]; {
			case f.IsFault:
				faults++
			case f.Cause == diagnose.Ghost:
				ghosts++
			default:
				built++
			}
		}
		text = fmt.Sprintf("%s · %d as built · %s", plural(faults, "fault"), built, plural(ghosts, "ghost"))
	}
	parts := []layout.FlexChild{layout.Flexed(1, d.heading("Findings")), layout.Rigid(d.small(text, d.theme.Quiet))}
	if button != nil {
		parts = append(parts, layout.Rigid(button))
	}
	return layout.Flex{Alignment: layout.Baseline}.Layout(gtx, parts...)
}

// fact is a name and a value at the right.
func (d *Desk) fact(name, value string) layout.Widget {
	return func(gtx layout.Context) layout.Dimensions {
		return layout.Flex{Alignment: layout.Baseline}.Layout(gtx, layout.Flexed(1, d.small(name, d.theme.Quiet)), layout.Rigid(d.small(value, d.theme.Ink)))
	}
}

func (d *Desk) layoutFault(gtx layout.Context, i int, f *diagnose.Finding) layout.Dimensions {
	one := d.cards.rows[i]
	chosen := i == d.selected
	said := d.decision(f)
	number := 0
	for n, k := range d.faults() {
		if k == i {
			number = n + 1
		}
	}
	macro := op.Record(gtx.Ops)
	dims := layout.UniformInset(10).Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		head := func(gtx layout.Context) layout.Dimensions {
			return d.theme.Row(gtx, &one.click, fmt.Sprintf("finding %d: %s", number, d.nameOf(f)), false, func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{Alignment: layout.Start}.Layout(gtx,
					layout.Rigid(func(gtx layout.Context) layout.Dimensions { return d.flag(gtx, number) }),
					layout.Rigid(layout.Spacer{Width: 8}.Layout),
					layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
						return column(gtx, 2, d.theme.Text(theme.Label{Text: capital(d.nameOf(f)), Font: theme.Strong, Size: d.theme.Title()}), d.small(d.whereWords(f), d.theme.Quiet))
					}),
					layout.Rigid(d.theme.Text(theme.Label{Text: share(f.Confidence), Font: theme.Strong})))
			})
		}
		all := []layout.Widget{head}
		if said.State == investigation.Rejected {
			all = append(all, d.words("rejected by you", d.theme.Quiet))
		} else if said.State == investigation.Accepted {
			all = append(all, d.words("accepted by you", d.theme.In))
		}
		if chosen || d.selected < 0 {
			all = append(all, d.factsOf(f)...)
		}
		if chosen {
			all = append(all, d.fullCard(one, f)...)
		}
		return column(gtx, 5, all...)
	})
	call := macro.Stop()
	ground, edge := d.theme.Panel, d.theme.Edge
	if chosen {
		ground, edge = mix(d.theme.Panel, d.theme.Distance, 0.06), d.theme.Distance
	}
	theme.Fill(gtx, dims.Size, 6, ground)
	theme.Outline(gtx, dims.Size, 6, 1, edge)
	call.Add(gtx.Ops)
	return dims
}

// flag is the number of a fault as it is pinned to the chart.
func (d *Desk) flag(gtx layout.Context, number int) layout.Dimensions {
	size := image.Pt(gtx.Dp(20), gtx.Dp(20))
	rectangle(gtx, image.Rectangle{Max: size}, d.theme.Distance)
	d.centredOn(gtx, image.Rectangle{Max: size}, fmt.Sprint(number), d.theme.OnStrong)
	return layout.Dimensions{Size: size}
}

func (d *Desk) centredOn(gtx layout.Context, r image.Rectangle, text string, c theme.Color) {
	macro := op.Record(gtx.Ops)
	inner := gtx
	inner.Constraints = layout.Constraints{Max: image.Pt(1e5, 1e5)}
	size := d.theme.Label(inner, theme.Label{Text: text, Size: d.theme.Small(), Font: theme.Strong, Color: c, Lines: 1}).Size
	call := macro.Stop()
	defer op.Offset(r.Min.Add(r.Size().Sub(size).Div(2))).Push(gtx.Ops).Pop()
	call.Add(gtx.Ops)
}

// mix is a with a share of b in it.
func mix(a, b theme.Color, share float64) theme.Color {
	blend := func(x, y uint8) uint8 { return uint8(float64(x)*(1-share) + float64(y)*share + 0.5) }
	return theme.Color{R: blend(a.R, b.R), G: blend(a.G, b.G), B: blend(a.B, b.B), A: 255}
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// whereWords says where a finding is, from both ends.
func (d *Desk) whereWords(f *diagnose.Finding) string {
	text := d.place(f) + " from the test port"
	if f.FromFarEndM > 0 {
		text += " · " + d.metres(f.FromFarEndM) + " from the far end"
	}
	if f.Place != "" {
		text += " · " + d.sentence(f.Place)
	}
	return text
}

func (d *Desk) factsOf(f *diagnose.Finding) []layout.Widget {
	var all []layout.Widget
	if f.ExtentM > 0 {
		text := d.metres(f.ExtentM)
		if f.ExtentSigmaM > 0 {
			text += " ± " + d.metres(f.ExtentSigmaM)
		}
		all = append(all, d.fact("length", text))
	}
	if f.Reflects() {
		all = append(all, d.fact("reflection there", fmt.Sprintf("%.1f dB", f.ReturnLossDB)))
	}
	if f.Repaired != nil {
		text := "VSWR " + vswr(f.Repaired.WorstVSWR)
		if f.Repaired.LimitVSWR > 0 {
			text += map[bool]string{true: ", within limits", false: ", still out of limits"}[f.Repaired.Passes]
		}
		all = append(all, d.fact("if repaired", text))
	}
	return all
}

// fullCard is the rest of the card of the finding that is chosen.
func (d *Desk) fullCard(one *card, f *diagnose.Finding) []layout.Widget {
	t := &d.theme
	var all []layout.Widget
	list := func(title string, lines []string, c theme.Color) {
		if len(lines) == 0 {
			return
		}
		all = append(all, t.Rule, d.heading(title))
		for _, line := range lines {
			all = append(all, d.words("· "+d.sentence(line), c))
		}
	}
	list("How we know", f.Evidence, t.Ink)
	list("Could also be", rivals(f.Alternatives), t.Quiet)
	list("Check, ground first", f.Checks, t.Ink)
	list("Take along", f.TakeAlong, t.Ink)
	if len(f.Cautions) > 0 {
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return filled(gtx, t.Warning, func(gtx layout.Context) layout.Dimensions {
				return layout.UniformInset(8).Layout(gtx, func(gtx layout.Context) layout.Dimensions {
					gtx.Constraints.Min.X = gtx.Constraints.Max.X
					rows := []layout.Widget{func(gtx layout.Context) layout.Dimensions {
						return layout.Flex{Alignment: layout.Middle}.Layout(gtx, layout.Rigid(d.triangle), layout.Rigid(layout.Spacer{Width: 6}.Layout),
							layout.Rigid(t.Text(theme.Label{Text: "Before anybody touches the line", Font: theme.Strong, Color: t.Out})))
					}}
					for _, c := range f.Cautions {
						rows = append(rows, d.words(d.sentence(c), t.Ink))
					}
					return column(gtx, 3, rows...)
				})
			})
		})
	}
	all = append(all, func(gtx layout.Context) layout.Dimensions {
		said := d.decision(f)
		return row(gtx, 6,
			func(gtx layout.Context) layout.Dimensions {
				return t.Button(gtx, &one.accept, theme.Button{Text: "Accept", Chosen: said.State == investigation.Accepted})
			},
			func(gtx layout.Context) layout.Dimensions {
				return t.Button(gtx, &one.reject, theme.Button{Text: "Reject", Chosen: said.State == investigation.Rejected})
			},
			func(gtx layout.Context) layout.Dimensions {
				return t.Button(gtx, &one.note, theme.Button{Text: "Name and note", Chosen: one.noting})
			},
			func(gtx layout.Context) layout.Dimensions {
				return t.Button(gtx, &one.reason, theme.Button{Text: "Reasoning", Chosen: one.reasons})
			})
	})
	if one.noting {
		all = append(all,
			func(gtx layout.Context) layout.Dimensions {
				return t.Editor(gtx, &one.name, theme.Entry{Hint: "your name for it: " + f.Cause.Words(), Name: "name of the finding"})
			},
			func(gtx layout.Context) layout.Dimensions {
				return t.Editor(gtx, &one.text, theme.Entry{Hint: "a note", Name: "note on the finding"})
			})
	}
	if one.reasons {
		for _, line := range f.Explanation {
			all = append(all, d.small(d.sentence(line), t.Ink))
		}
	}
	return all
}

// triangle is the sign of a caution.
func (d *Desk) triangle(gtx layout.Context) layout.Dimensions {
	s := float64(gtx.Dp(14))
	var path clip.Path
	path.Begin(gtx.Ops)
	path.MoveTo(pt(s/2, 1))
	path.LineTo(pt(s-1, s-1))
	path.LineTo(pt(1, s-1))
	path.Close()
	paint.FillShape(gtx.Ops, d.theme.Out, clip.Stroke{Path: path.End(), Width: 1.5 * gtx.Metric.PxPerDp}.Op())
	rectangle(gtx, image.Rect(int(s/2), int(s*0.4), int(s/2)+gtx.Dp(1), int(s*0.7)), d.theme.Out)
	return layout.Dimensions{Size: image.Pt(int(s), int(s))}
}

// layoutPart is a part as built, or a ghost: one short row.
func (d *Desk) layoutPart(gtx layout.Context, i int, f *diagnose.Finding) layout.Dimensions {
	one := d.cards.rows[i]
	title := fmt.Sprintf("%s at %s", f.Cause.Words(), d.metres(f.DistanceM))
	below := fmt.Sprintf("%.1f dB · %s", f.ReturnLossDB, d.sentence(f.Place))
	if f.Cause == diagnose.Ghost && len(f.GhostOf) == 2 {
		below = fmt.Sprintf("an echo between %s and %s, explained", d.metres(f.GhostOf[0]), d.metres(f.GhostOf[1]))
	}
	return d.theme.Row(gtx, &one.click, title, i == d.selected, func(gtx layout.Context) layout.Dimensions {
		rows := []layout.Widget{d.words(capital(title), d.theme.Ink), d.small(below, d.theme.Quiet)}
		if i == d.selected {
			for _, line := range f.Evidence {
				rows = append(rows, d.small("· "+d.sentence(line), d.theme.Ink))
			}
		}
		return column(gtx, 1, rows...)
	})
}

// layoutRemarks is what else a reader of the findings has to know.
func (d *Desk) layoutRemarks(gtx layout.Context) layout.Dimensions {
	var all []layout.Widget
	if d.findings.Calibration != "" {
		all = append(all, d.small(d.findings.Calibration, d.theme.Quiet))
	}
	for _, w := range d.findings.Warnings {
		all = append(all, d.small("· "+d.sentence(w), d.theme.Quiet))
	}
	all = append(all, d.small("Downlead advises; it certifies nothing.", d.theme.Quiet))
	return column(gtx, 4, all...)
}

// rivals names the other causes, those that have little chance in one line.
func rivals(all []diagnose.Alternative) (lines []string) {
	var few []string
	for _, a := range all {
		if a.Confidence < littleChance {
			few = append(few, a.Cause.Words())
		} else {
			lines = append(lines, a.Cause.Words()+", "+share(a.Confidence))
		}
	}
	if len(few) > 0 {
		lines = append(lines, "under 5 % each: "+strings.Join(few, ", "))
	}
	return lines
}

// littleChance is a confidence that share does not tell from less.
const littleChance = 0.05
