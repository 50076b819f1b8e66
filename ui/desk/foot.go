package desk

import (
	"strings"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/ui/chart"
	"downlead/ui/theme"
)

// updateFoot drains the words at the foot.
func (d *Desk) updateFoot(gtx layout.Context) {
	for d.plots.footUnit.Clicked(gtx) {
		d.look.feet = !d.look.feet
		d.editor.stale = true
	}
	for d.plots.footFace.Clicked(gtx) {
		d.look.dark = !d.look.dark
	}
}

// readout is what the crosshair and the markers read.
func (d *Desk) readout() string {
	var parts []string
	over, along := d.contents()
	for _, one := range []struct {
		chart   *chart.Chart
		content *chart.Content
	}{{&d.plots.over, &over}, {&d.plots.along, &along}} {
		if one.chart == &d.plots.along && d.together() {
			continue
		}
		side, x, ok := one.chart.Crosshair()
		if !ok {
			continue
		}
		quantity := one.content.X[side].Quantity
		resolution := one.chart.View(side).Resolution(x, float64(max(one.chart.Area().Dx(), 1)))
		text := quantity.Write(x, resolution)
		for _, r := range one.content.Readings(side, x) {
			text += " · " + r.Trace + " " + one.content.Y.Quantity.Write(r.Y, 0.01)
		}
		parts = append(parts, text)
	}
	for i := range d.plots.over.Markers {
		parts = append(parts, d.plots.over.MarkerReading(i))
	}
	return strings.Join(parts, "    ")
}

func (d *Desk) layoutFoot(gtx layout.Context) layout.Dimensions {
	left := d.readout()
	c := d.theme.Ink
	if left == "" {
		left, c = chart.Hint, d.theme.Quiet
	}
	unit, face := "metres", "daylight"
	if d.look.feet {
		unit = "feet"
	}
	if d.look.dark {
		face = "dark"
	}
	word := func(click *widget.Clickable, text string) layout.FlexChild {
		return layout.Rigid(func(gtx layout.Context) layout.Dimensions {
			return d.theme.Button(gtx, click, theme.Button{Text: text, Plain: true})
		})
	}
	rectangle(gtx, imageRect(gtx.Constraints.Max.X, gtx.Dp(30)), d.theme.Panel)
	return layout.Inset{Left: 16, Right: 12, Top: 2, Bottom: 2}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min.X = gtx.Constraints.Max.X
		return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
			layout.Flexed(1, d.theme.Text(theme.Label{Text: left, Color: c, Lines: 1})),
			word(&d.plots.footUnit, unit), word(&d.plots.footFace, face))
	})
}
