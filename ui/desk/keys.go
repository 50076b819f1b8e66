package desk

import (
	"image"
	"strings"

	"gioui.org/io/key"
	"gioui.org/layout"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/widget"

	"downlead/ui/chart"
	"downlead/ui/keys"
	"downlead/ui/theme"
	"downlead/ui/traces"
)

// command is something that a key does wherever the keys go.
type command = keys.Command[*Desk]

// commands are all keys that count everywhere.
func commands() []command {
	const ctrl, shift = key.ModCtrl, key.ModShift
	list := []command{
		keys.On("O", ctrl, "Ctrl O", "open an investigation, a sweep or a line", func(d *Desk, _ layout.Context) { d.browse(pickSweep) }),
		keys.On("E", ctrl, "Ctrl E", "open an earlier sweep of the healthy line", func(d *Desk, _ layout.Context) { d.browse(pickEarlier) }),
		keys.On("L", ctrl, "Ctrl L", "open a line", func(d *Desk, _ layout.Context) { d.browse(pickLine) }),
		keys.On("S", ctrl, "Ctrl S", "save the investigation", func(d *Desk, _ layout.Context) { d.save() }),
		keys.On("S", ctrl|shift, "Ctrl Shift S", "save it elsewhere", func(d *Desk, _ layout.Context) { d.browse(pickSave) }),
		keys.On("L", ctrl|shift, "Ctrl Shift L", "save the line by itself", func(d *Desk, _ layout.Context) { d.saveLine() }),
		keys.On("P", ctrl, "Ctrl P", "write the report as a PDF", func(d *Desk, _ layout.Context) { d.report() }),
		keys.On("Z", ctrl, "Ctrl Z", "undo", func(d *Desk, _ layout.Context) { d.undo() }),
		keys.On("Z", ctrl|shift, "Ctrl Shift Z", "do again what was undone", func(d *Desk, _ layout.Context) { d.redo() }),
		keys.On("Y", ctrl, "Ctrl Y", "do again what was undone", func(d *Desk, _ layout.Context) { d.redo() }),
		keys.On(key.NameF5, 0, "F5", "look for faults again", func(d *Desk, _ layout.Context) { d.again() }),
		keys.On(key.NameEscape, 0, "Esc", "cancel the work that runs; close what is open", func(d *Desk, _ layout.Context) { d.escape() }),
		keys.On(key.NameF6, 0, "F6", "to the chart; again: to the other chart", func(d *Desk, gtx layout.Context) { d.focusChart(gtx) }),
		keys.On(key.NameF7, 0, "F7", "to the length of the first section", func(d *Desk, _ layout.Context) { d.focusEditor() }),
		keys.On(key.NameF8, 0, "F8", "to the search for a cable", func(d *Desk, _ layout.Context) { d.reveal(leftPicker, &d.picker.words) }),
		keys.On(key.NameF9, 0, "F9", "the room for teaching; the investigation stays as it is", func(d *Desk, _ layout.Context) { d.goTeaching() }),
		keys.On(key.NameDownArrow, ctrl, "Ctrl ↓", "next finding", func(d *Desk, _ layout.Context) { d.nextFinding(1) }),
		keys.On(key.NameUpArrow, ctrl, "Ctrl ↑", "finding before", func(d *Desk, _ layout.Context) { d.nextFinding(-1) }),
		keys.On("D", ctrl, "Ctrl D", "daylight or dark", func(d *Desk, _ layout.Context) { d.look.dark = !d.look.dark }),
		keys.On("U", ctrl, "Ctrl U", "metres or feet", func(d *Desk, _ layout.Context) { d.look.feet = !d.look.feet; d.editor.stale = true }),
		keys.On("+", ctrl, "Ctrl +", "larger text", func(d *Desk, _ layout.Context) { d.zoomText(keys.TextStep) }),
		keys.On("=", ctrl, "Ctrl =", "larger text", func(d *Desk, _ layout.Context) { d.zoomText(keys.TextStep) }),
		keys.On("-", ctrl, "Ctrl −", "smaller text", func(d *Desk, _ layout.Context) { d.zoomText(1 / keys.TextStep) }),
		keys.On("B", ctrl, "Ctrl B", "left panel on or off", func(d *Desk, _ layout.Context) { d.panes.leftOff = !d.panes.leftOff }),
		keys.On("J", ctrl, "Ctrl J", "findings on or off", func(d *Desk, _ layout.Context) { d.panes.rightOff = !d.panes.rightOff }),
		keys.On("T", ctrl, "Ctrl T", "one canvas, or one above the other", func(d *Desk, _ layout.Context) { d.views.stacked = !d.views.stacked }),
		keys.On("M", ctrl, "Ctrl M", "fitted model on or off", func(d *Desk, _ layout.Context) { d.plots.showModel = !d.plots.showModel; d.refresh() }),
		keys.On("M", ctrl|shift, "Ctrl Shift M", "difference from the earlier sweep on or off", func(d *Desk, _ layout.Context) { d.plots.showLeft = !d.plots.showLeft; d.refresh() }),
		keys.On(key.NameF1, 0, "F1", "this list", func(d *Desk, _ layout.Context) { d.help.open = !d.help.open }),
	}
	digits := []key.Name{"1", "2", "3", "4", "5", "6", "7"}
	for i, v := range traces.EveryOverFrequency() {
		list = append(list, keys.On(digits[i], ctrl, "Ctrl "+string(digits[i]), v.Name()+" over frequency", func(d *Desk, _ layout.Context) { d.views.frequency = v; d.refresh() }))
	}
	for i, v := range traces.EveryAlongLine() {
		list = append(list, keys.On(digits[i], ctrl|shift, "Ctrl Shift "+string(digits[i]), v.Name()+" along the line", func(d *Desk, _ layout.Context) { d.views.along = v; d.refresh() }))
	}
	return list
}

// chartKeys are the keys of a chart that has the focus, for the list.
func chartKeys() [][2]string {
	return [][2]string{{"← →", "move"}, {"↑ ↓", "move up and down"}, {"Shift ↑ ↓", "scale up and down"}, {"+ −", "closer, farther"},
		{"0", "show all"}, {"X", "the other axis"}, {"Ctrl ← →", "crosshair by a pixel, with Shift by ten"}, {"M", "marker at the crosshair"},
		{"Delete", "take the nearest marker away"}, {"B", "choose from the last marker to the crosshair"}, {"Esc", "choose nothing"}}
}

func (d *Desk) zoomText(by float32) { d.look.scale = keys.Zoom(d.look.scale, by) }

// keys takes what no focused control wanted.
func (d *Desk) keys(gtx layout.Context) {
	keys.Take(gtx, d, commands(), func(name key.Name) bool { return !d.browser.open && !d.file.question.open || name == key.NameEscape })
}

func (d *Desk) undo() {
	if what, ok := d.history.Undo(); ok {
		d.restored()
		d.mention("undone: " + what)
	}
}

func (d *Desk) redo() {
	if what, ok := d.history.Redo(); ok {
		d.restored()
		d.mention("done again: " + what)
	}
}

// restored brings what the panes hold of the document in line with it.
func (d *Desk) restored() {
	d.plots.takeMarkers(d.document().Markers)
	d.strip.stale = true
	d.editor.stale = true
	d.about.stale = true
	d.refresh()
}

func (d *Desk) escape() {
	switch {
	case d.file.question.open:
		d.file.question.open = false
	case d.help.open:
		d.help.open = false
	case d.browser.open:
		d.closeBrowser()
	case d.isReporting():
		d.stopReport()
	default:
		if _, running := d.diagnosis.Running(); running {
			d.diagnosis.Stop()
			d.findErr = errCancelled
		}
	}
}

// help is the list of keys.
type help struct {
	open bool
	list scroller
	away widget.Clickable
}

func (h *help) update(gtx layout.Context) {
	for h.away.Clicked(gtx) {
		h.open = false
	}
}

// veil dims what lies under something that is open, and keeps presses from it.
func (d *Desk) veil(gtx layout.Context, width, height int, w layout.Widget) {
	size := gtx.Constraints.Max
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	paint.Fill(gtx.Ops, theme.Alpha(d.theme.Ink, 0.25))
	blocker(gtx, &d.help)
	box := image.Pt(min(width, size.X-gtx.Dp(24)), min(height, size.Y-gtx.Dp(24)))
	at(gtx, size.Sub(box).Div(2), func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints = layout.Exact(box)
		return d.theme.Board(gtx, w)
	})
}

func (d *Desk) layoutHelp(gtx layout.Context) layout.Dimensions {
	d.veil(gtx, gtx.Dp(760), gtx.Dp(720), func(gtx layout.Context) layout.Dimensions {
		rows := []layout.Widget{
			func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
					layout.Flexed(1, d.theme.Text(theme.Label{Text: "Keys", Font: theme.Strong, Size: d.theme.Title()})),
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						return d.theme.Button(gtx, &d.help.away, theme.Button{Text: "close (Esc)"})
					}))
			},
			d.words("Tab and Shift Tab go from control to control; Return presses one.", d.theme.Quiet),
		}
		pair := func(keys, does string) {
			rows = append(rows, func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{}.Layout(gtx,
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						gtx.Constraints.Min.X = gtx.Dp(150)
						gtx.Constraints.Max.X = gtx.Constraints.Min.X
						dims := d.theme.Label(gtx, theme.Label{Text: keys, Font: theme.Strong})
						dims.Size.X = gtx.Constraints.Min.X
						return dims
					}),
					layout.Flexed(1, d.words(does, d.theme.Ink)))
			})
		}
		rows = append(rows, d.heading("Everywhere"))
		for _, k := range keys.Pairs(commands()) {
			pair(k[0], k[1])
		}
		rows = append(rows, d.heading("On a chart"))
		for _, k := range chartKeys() {
			pair(k[0], k[1])
		}
		rows = append(rows, d.words(strings.ToUpper(chart.Hint[:1])+chart.Hint[1:]+".", d.theme.Quiet))
		return d.help.list.Layout(gtx, d.theme, rows)
	})
	return layout.Dimensions{Size: gtx.Constraints.Max}
}
