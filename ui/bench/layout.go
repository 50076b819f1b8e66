package bench

import (
	"fmt"
	"image"

	"gioui.org/io/event"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/unit"
	"gioui.org/widget"

	"downlead/ui/chart"
	"downlead/ui/theme"
	"downlead/ui/traces"
)

const gap = unit.Dp(8)

func (b *Bench) layout(gtx layout.Context) {
	paint.FillShape(gtx.Ops, b.theme.Paper, clip.Rect{Max: gtx.Constraints.Max}.Op())
	layout.Flex{Axis: layout.Vertical}.Layout(gtx,
		layout.Rigid(b.layoutBar),
		layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
			return layout.UniformInset(gap).Layout(gtx, b.layoutBody)
		}),
		layout.Rigid(b.layoutFoot))
	if b.help.open {
		b.layoutHelp(gtx)
	}
}

// layoutBody is the sweep's knobs, the charts with the line, and what is there.
func (b *Bench) layoutBody(gtx layout.Context) layout.Dimensions {
	side := func(width unit.Dp, w layout.Widget) layout.FlexChild {
		return layout.Rigid(func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints = layout.Exact(image.Pt(min(gtx.Dp(width), gtx.Constraints.Max.X/2), gtx.Constraints.Max.Y))
			return b.theme.Board(gtx, w)
		})
	}
	scaled := func(w unit.Dp) unit.Dp { return w * unit.Dp(min(max(b.theme.Scale, 1), 1.4)) }
	right, width := b.layoutFaults, unit.Dp(292)
	switch {
	case b.blind.on:
		right, width = b.layoutBlind, 400
	case b.lessons.on:
		right, width = b.layoutLessons, 400
	}
	var parts []layout.FlexChild
	if b.hasKnobs() {
		parts = append(parts, side(scaled(216), b.layoutSweep), layout.Rigid(layout.Spacer{Width: gap}.Layout))
	}
	return layout.Flex{}.Layout(gtx, append(parts,
		layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints.Min = gtx.Constraints.Max
			return b.theme.Board(gtx, b.layoutMiddle)
		}),
		layout.Rigid(layout.Spacer{Width: gap}.Layout), side(scaled(width), right))...)
}

func (b *Bench) layoutMiddle(gtx layout.Context) layout.Dimensions {
	dims := layout.Flex{Axis: layout.Vertical}.Layout(gtx,
		layout.Rigid(b.layoutSwitches),
		layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
			if b.drawn != nil && b.drawn.views.over == traces.Smith {
				return b.smith.Layout(gtx, b.chartStyle(), b.smithContent())
			}
			return b.over.Layout(gtx, b.chartStyle())
		}),
		layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
			dims := b.along.Layout(gtx, b.chartStyle())
			if b.blind.on {
				defer pointer.PassOp{}.Push(gtx.Ops).Pop()
				defer clip.Rect{Max: dims.Size}.Push(gtx.Ops).Pop()
				event.Op(gtx.Ops, &b.blind.pressed)
			}
			return dims
		}),
		layout.Rigid(b.layoutBoard))
	if b.board.chart != b.along.Area() || b.board.seen != b.seen() { // the board is laid out before the chart that it stands under
		gtx.Execute(op.InvalidateCmd{})
	}
	return dims
}

// layoutSwitches are what can be shown beside the whole, and what the lines of the charts
// are.
func (b *Bench) layoutSwitches(gtx layout.Context) layout.Dimensions {
	var all, names []layout.Widget
	if !b.blind.on { // it would tell
		button := func(click *widget.Clickable, text string, on bool) {
			all = append(all, func(gtx layout.Context) layout.Dimensions {
				return b.theme.Button(gtx, click, theme.Button{Text: text, Chosen: on})
			})
		}
		button(&b.bar.each, "each reflection alone", b.each)
		button(&b.bar.bounces, "bounces", b.bounces)
		button(&b.bar.ghosts, "ghosts", b.ghosts)
	}
	name := func(l sample, choose layout.Widget) {
		names = append(names, func(gtx layout.Context) layout.Dimensions {
			return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
				layout.Rigid(func(gtx layout.Context) layout.Dimensions { return swatch(gtx, l.color, l.pattern) }),
				layout.Rigid(layout.Spacer{Width: 5}.Layout),
				layout.Rigid(choose),
				layout.Rigid(b.small(l.name, l.color)))
		})
	}
	view := func(c *theme.Choice, name string, all []string, at int) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions {
			return layout.Inset{Right: 5}.Layout(gtx, func(gtx layout.Context) layout.Dimensions { return b.theme.Choice(gtx, c, name, all, at) })
		}
	}
	var overs, alongs []string
	for _, v := range traces.EveryOverFrequency() {
		overs = append(overs, v.Name())
	}
	for _, v := range traces.EveryAlongLine() {
		alongs = append(alongs, v.Name())
	}
	name(sample{"over frequency", b.theme.Frequency, chart.Solid}, view(&b.bar.over, "view over frequency", overs, int(b.views.over)))
	name(sample{"along the line", b.theme.Distance, chart.Solid}, view(&b.bar.along, "view along the line", alongs, int(b.views.along)))
	for _, l := range b.legend() {
		name(l, func(gtx layout.Context) layout.Dimensions { // as tall as those that are chosen
			return layout.Dimensions{Size: image.Pt(0, gtx.Sp(b.theme.Body())*5/4+gtx.Dp(10))}
		})
	}
	return layout.Inset{Bottom: 4}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		return theme.Column(gtx, 6, func(gtx layout.Context) layout.Dimensions { return theme.Flow(gtx, 6, all...) },
			func(gtx layout.Context) layout.Dimensions { return theme.Flow(gtx, 14, names...) })
	})
}

// title is the name of what the room shows.
func (b *Bench) title() string {
	switch {
	case b.blind.on:
		return "Blind case"
	case b.lessons.on:
		return "Lessons"
	}
	return "Fault bench"
}

func (b *Bench) layoutBar(gtx layout.Context) layout.Dimensions {
	theme.Rectangle(gtx, image.Rect(0, 0, gtx.Constraints.Max.X, gtx.Dp(48)), b.theme.Panel)
	_, canUndo := b.history.CanUndo()
	_, canRedo := b.history.CanRedo()
	button := func(click *widget.Clickable, s theme.Button) layout.FlexChild {
		return layout.Rigid(func(gtx layout.Context) layout.Dimensions {
			return layout.Inset{Left: 6}.Layout(gtx, func(gtx layout.Context) layout.Dimensions { return b.theme.Button(gtx, click, s) })
		})
	}
	return layout.Inset{Top: 8, Bottom: 8, Left: 16, Right: 12}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min.X = gtx.Constraints.Max.X
		return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
			layout.Rigid(b.theme.Text(theme.Label{Text: b.title(), Font: theme.Strong, Size: b.theme.Title(), Lines: 1})),
			layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
				return layout.Inset{Left: 14, Right: 8}.Layout(gtx, b.theme.Text(theme.Label{Text: b.Setup().Line.Name, Color: b.theme.Quiet, Lines: 1}))
			}),
			layout.Rigid(func(gtx layout.Context) layout.Dimensions {
				if b.blind.on || b.lessons.on || b.offered == nil || b.offered == b.Setup().Line {
					return layout.Dimensions{}
				}
				return b.theme.Button(gtx, &b.bar.ownLine, theme.Button{Text: "Take the open line"})
			}),
			button(&b.bar.undo, theme.Button{Text: "Undo", Off: !canUndo}),
			button(&b.bar.redo, theme.Button{Text: "Redo", Off: !canRedo}),
			button(&b.bar.lessons, theme.Button{Text: "Lessons", Chosen: b.lessons.on}),
			button(&b.bar.blind, theme.Button{Text: "Blind case", Chosen: b.blind.on}),
			button(&b.bar.present, theme.Button{Text: "Present F11", Chosen: b.presenting}),
			button(&b.bar.keys, theme.Button{Text: "Keys F1"}),
			button(&b.bar.leave, theme.Button{Text: "Back (Esc)"}))
	})
}

func (b *Bench) layoutFoot(gtx layout.Context) layout.Dimensions {
	said, c := b.readout(), b.theme.Ink
	switch {
	case b.trouble != "":
		said, c = b.trouble, b.theme.Out
	case said == "":
		said = b.note
	}
	if said == "" {
		said, c = chart.Hint, b.theme.Quiet
		if b.hasTray() {
			said = "drag a fault from the tray onto the line · " + said
		}
	}
	unit, face := "metres", "daylight"
	if b.look.Feet {
		unit = "feet"
	}
	if b.look.Dark {
		face = "dark"
	}
	word := func(click *widget.Clickable, text string) layout.FlexChild {
		return layout.Rigid(func(gtx layout.Context) layout.Dimensions {
			return b.theme.Button(gtx, click, theme.Button{Text: text, Plain: true})
		})
	}
	theme.Rectangle(gtx, image.Rect(0, 0, gtx.Constraints.Max.X, gtx.Dp(30)), b.theme.Panel)
	return layout.Inset{Left: 16, Right: 12, Top: 2, Bottom: 2}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min.X = gtx.Constraints.Max.X
		return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
			layout.Flexed(1, b.theme.Text(theme.Label{Text: said, Color: c, Lines: 1})),
			word(&b.bar.unit, unit), word(&b.bar.face, face))
	})
}

// readout is what the crosshairs read.
func (b *Bench) readout() string {
	over, along := b.contents()
	for _, one := range []struct {
		chart   *chart.Chart
		content *chart.Content
	}{{&b.over, &over}, {&b.along, &along}} {
		side, x, ok := one.chart.Crosshair()
		if !ok {
			continue
		}
		q := one.content.X[side].Quantity
		text := q.Write(x, one.chart.View(side).Resolution(x, float64(max(one.chart.Area().Dx(), 1))))
		for _, r := range one.content.Readings(side, x) {
			text += fmt.Sprintf(" · %s %s", r.Trace, one.content.Y.Quantity.Write(r.Y, 0.1))
		}
		return text
	}
	return ""
}
