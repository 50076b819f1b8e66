package bench

import (
	"fmt"
	"strings"
	"time"

	"gioui.org/layout"

	"downlead/ui/theme"
)

// layoutFaults is what is there, and beside it what the program finds.
func (b *Bench) layoutFaults(gtx layout.Context) layout.Dimensions {
	all := []layout.Widget{b.heading("What is there")}
	faults := b.Setup().Faults
	if len(faults) == 0 {
		all = append(all, b.theme.Text(theme.Label{Text: "Nothing is wrong with this line. Drag a fault from the tray under it onto it, or Tab to the tray and press Return.", Color: b.theme.Quiet}))
	}
	for i := range faults {
		all = append(all, func(gtx layout.Context) layout.Dimensions { return b.layoutFault(gtx, i) })
		if i == b.selected {
			all = append(all, b.selectedWidgets(i)...)
		}
	}
	all = append(all, b.theme.Rule, b.heading("What the program finds"))
	all = append(all, b.foundWidgets()...)
	all = append(all, b.apartWidgets()...)
	return b.scroll(gtx, &b.panel.faults, all)
}

// place writes where a fault is.
func (b *Bench) place(from, to float64) string {
	if to > from {
		return metres(from, b.look.Feet) + ", " + metres(to-from, b.look.Feet) + " long"
	}
	return metres(from, b.look.Feet)
}

func (b *Bench) layoutFault(gtx layout.Context, i int) layout.Dimensions {
	from, to := b.span(i)
	f := b.Setup().Faults[i]
	return b.theme.Row(gtx, &b.panel.rows[i], "choose "+b.name(i), i == b.selected, func(gtx layout.Context) layout.Dimensions {
		return layout.Flex{}.Layout(gtx,
			layout.Rigid(func(gtx layout.Context) layout.Dimensions {
				gtx.Constraints.Min.X = gtx.Sp(b.theme.Body()) * 7 / 5
				return b.theme.Label(gtx, theme.Label{Text: letter(i), Font: theme.Strong, Color: b.theme.Distance})
			}),
			layout.Flexed(1, b.theme.Text(theme.Label{Text: words(f.Cause) + "\n" + b.place(from, to), Lines: 3})))
	})
}

// selectedWidgets are the knobs of the selected fault.
func (b *Bench) selectedWidgets(i int) []layout.Widget {
	f := b.Setup().Faults[i]
	inset := func(w layout.Widget) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions { return layout.Inset{Left: 26}.Layout(gtx, w) }
	}
	var all []layout.Widget
	turn := func(key, name, says string, s scale, v float64) {
		all = append(all, inset(func(gtx layout.Context) layout.Dimensions {
			return b.knob(key).layout(gtx, &b.theme, name, says, s.share(v))
		}))
	}
	if f.Cause == "antenna" {
		all = append(all, inset(func(gtx layout.Context) layout.Dimensions {
			at := 0
			for k, m := range modes() {
				if m == f.Mode {
					at = k
				}
			}
			return b.theme.Choice(gtx, &b.panel.modes, "antenna", modes(), at)
		}))
	} else {
		from, _ := b.span(i)
		turn("place", "place", metres(from, b.look.Feet), scale{0, b.path.LengthM(), false, false}, from)
	}
	for n, s := range severities(&f) {
		v := *s.of(&f)
		turn(fmt.Sprint("severity", n), s.name, s.write(v, b.look.Feet), scale{s.low, s.high, s.log, s.none}, v)
	}
	buttons := []layout.Widget{func(gtx layout.Context) layout.Dimensions {
		return b.theme.Button(gtx, &b.panel.remove, theme.Button{Text: "take off (Delete)"})
	}}
	if f.Cause == "connector-mismatch" {
		text := "make it a capacitance"
		if f.ShuntFarad > 0 {
			text = "make it an inductance"
		}
		buttons = append(buttons, func(gtx layout.Context) layout.Dimensions {
			return b.theme.Button(gtx, &b.panel.other, theme.Button{Text: text})
		})
	}
	return append(all, inset(func(gtx layout.Context) layout.Dimensions { return theme.Flow(gtx, 6, buttons...) }))
}

// foundWidgets are the findings, each against the truth.
func (b *Bench) foundWidgets() []layout.Widget {
	t := &b.theme
	since, running := b.finding.Running()
	button := func(gtx layout.Context) layout.Dimensions {
		find := func(gtx layout.Context) layout.Dimensions {
			if running {
				return t.Button(gtx, &b.panel.stop, theme.Button{Text: fmt.Sprintf("stop (%.0f s)", max(b.now.Sub(since), 0).Round(time.Second).Seconds())})
			}
			return t.Button(gtx, &b.panel.find, theme.Button{Text: "find them (F5)", Strong: true, Off: b.drawn == nil})
		}
		if b.blind.on { // nothing changes any more
			return find(gtx)
		}
		return theme.Flow(gtx, 6, find, func(gtx layout.Context) layout.Dimensions {
			return t.Button(gtx, &b.panel.follow, theme.Button{Text: "after each change", Chosen: b.follow})
		})
	}
	all := []layout.Widget{button}
	switch {
	case b.findErr != nil:
		return append(all, t.Text(theme.Label{Text: b.findErr.Error(), Color: t.Out}))
	case running:
		return append(all, t.Text(theme.Label{Text: "Looking for faults", Color: t.Quiet}))
	case b.findings == nil:
		return all
	case !b.fresh():
		return append(all, t.Text(theme.Label{Text: "The bench has changed since.", Color: t.Quiet}))
	}
	found := b.faultsFound()
	for i, f := range found {
		said := f.Cause.Words() + "\n" + b.place(f.DistanceM, f.DistanceM+f.ExtentM)
		if f.SigmaM > 0 {
			said += " ± " + metres(f.SigmaM, b.look.Feet)
		}
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return layout.Inset{Left: 8}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{}.Layout(gtx,
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						gtx.Constraints.Min.X = gtx.Sp(b.theme.Body()) * 7 / 5
						return t.Label(gtx, theme.Label{Text: fmt.Sprint(i + 1), Font: theme.Strong, Color: t.Model})
					}),
					layout.Flexed(1, t.Text(theme.Label{Text: said})))
			})
		})
	}
	if len(found) == 0 {
		all = append(all, t.Text(theme.Label{Text: "No fault."}))
	}
	if b.blind.on { // the truth stands above
		return all
	}
	return append(all, b.againstTruth()...)
}

// againstTruth says of each fault on the bench what became of it.
func (b *Bench) againstTruth() []layout.Widget {
	t := &b.theme
	var all []layout.Widget
	for i, f := range b.Setup().Faults {
		from, to := b.span(i)
		said, c := letter(i)+": not found", t.Out
		if one, off := b.nearestTo(from, to); one != nil && off <= max(b.drawn.figures.MainLobe6DBM, 3*one.SigmaM) {
			switch {
			case string(one.Cause) == f.Cause:
				said, c = letter(i)+": found, and named right", t.In
			default:
				said, c = letter(i)+": found, but called "+one.Cause.Words(), t.Out
			}
			if off > 0 {
				said += ", " + metres(off, b.look.Feet) + " off"
			}
		}
		all = append(all, t.Text(theme.Label{Text: said, Color: c}))
	}
	return all
}

// apartWidgets name the reflections and the ghosts that the charts show one by one.
func (b *Bench) apartWidgets() []layout.Widget {
	t := &b.theme
	if b.drawn == nil {
		return nil
	}
	var all []layout.Widget
	if b.each && len(b.drawn.alone) > 0 {
		all = append(all, t.Rule, b.heading("Each reflection alone"))
		for i, one := range b.drawn.alone {
			all = append(all, func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						return swatch(gtx, t.Series(i), patternOf(i))
					}),
					layout.Rigid(layout.Spacer{Width: 8}.Layout),
					layout.Flexed(1, t.Text(theme.Label{Text: fmt.Sprintf("%s, %s, %.0f dB", b.lettered(one.name, one.distanceM), metres(one.distanceM, b.look.Feet), one.levelDB), Size: t.Small()})))
			})
		}
	}
	if b.ghosts {
		all = append(all, t.Rule, b.heading("Ghosts: reflected again"))
		if len(b.drawn.ghosts) == 0 {
			all = append(all, b.small(fmt.Sprintf("None above %d dB.", ghostDB), t.Quiet))
		}
		for i, g := range b.drawn.ghosts {
			all = append(all, b.small(fmt.Sprintf("g%d  seems to lie at %s, %.0f dB: %s", i+1, metres(g.distanceM, b.look.Feet), g.levelDB, strings.Join(g.way, " → ")), t.Ink))
		}
	}
	return all
}

// lettered puts the letter of the fault at a place before its name.
func (b *Bench) lettered(name string, m float64) string {
	for i := range b.Setup().Faults {
		if from, to := b.span(i); m > from-sameM && m < to+sameM {
			return letter(i) + " · " + name
		}
	}
	return name
}

// sameM is how near to each other two places are taken for one, m.
const sameM = 0.05
