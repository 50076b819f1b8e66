package desk

import (
	"image"
	"strings"

	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/widget"

	"downlead/ui/chart"
	"downlead/ui/theme"
	"downlead/ui/traces"
)

// command is something that a key does wherever the keys go.
type command struct {
	key  key.Name
	mods key.Modifiers
	says string // "Ctrl O"
	does string
	run  func(*Desk, layout.Context)
}

// commands are all keys that count everywhere.
func commands() []command {
	const ctrl, shift = key.ModCtrl, key.ModShift
	list := []command{
		{"O", ctrl, "Ctrl O", "open an investigation, a sweep or a line", func(d *Desk, _ layout.Context) { d.browse(pickSweep) }},
		{"E", ctrl, "Ctrl E", "open an earlier sweep of the healthy line", func(d *Desk, _ layout.Context) { d.browse(pickEarlier) }},
		{"L", ctrl, "Ctrl L", "open a line", func(d *Desk, _ layout.Context) { d.browse(pickLine) }},
		{"S", ctrl, "Ctrl S", "save the investigation", func(d *Desk, _ layout.Context) { d.save() }},
		{"S", ctrl | shift, "Ctrl Shift S", "save it elsewhere", func(d *Desk, _ layout.Context) { d.browse(pickSave) }},
		{"L", ctrl | shift, "Ctrl Shift L", "save the line by itself", func(d *Desk, _ layout.Context) { d.saveLine() }},
		{"P", ctrl, "Ctrl P", "write the report as a PDF", func(d *Desk, _ layout.Context) { d.report() }},
		{"Z", ctrl, "Ctrl Z", "undo", func(d *Desk, _ layout.Context) { d.undo() }},
		{"Z", ctrl | shift, "Ctrl Shift Z", "do again what was undone", func(d *Desk, _ layout.Context) { d.redo() }},
		{"Y", ctrl, "Ctrl Y", "do again what was undone", func(d *Desk, _ layout.Context) { d.redo() }},
		{key.NameF5, 0, "F5", "look for faults again", func(d *Desk, _ layout.Context) { d.again() }},
		{key.NameEscape, 0, "Esc", "cancel the work that runs; close what is open", func(d *Desk, _ layout.Context) { d.escape() }},
		{key.NameF6, 0, "F6", "to the chart; again: to the other chart", func(d *Desk, gtx layout.Context) { d.focusChart(gtx) }},
		{key.NameF7, 0, "F7", "to the length of the first section", func(d *Desk, _ layout.Context) { d.focusEditor() }},
		{key.NameF8, 0, "F8", "to the search for a cable", func(d *Desk, _ layout.Context) { d.reveal(leftPicker, &d.picker.words) }},
		{key.NameF9, 0, "F9", "the room for teaching; the investigation stays as it is", func(d *Desk, _ layout.Context) { d.goTeaching() }},
		{key.NameDownArrow, ctrl, "Ctrl ↓", "next finding", func(d *Desk, _ layout.Context) { d.nextFinding(1) }},
		{key.NameUpArrow, ctrl, "Ctrl ↑", "finding before", func(d *Desk, _ layout.Context) { d.nextFinding(-1) }},
		{"D", ctrl, "Ctrl D", "daylight or dark", func(d *Desk, _ layout.Context) { d.look.dark = !d.look.dark }},
		{"U", ctrl, "Ctrl U", "metres or feet", func(d *Desk, _ layout.Context) { d.look.feet = !d.look.feet; d.editor.stale = true }},
		{"+", ctrl, "Ctrl +", "larger text", func(d *Desk, _ layout.Context) { d.zoomText(textStep) }},
		{"=", ctrl, "Ctrl =", "larger text", func(d *Desk, _ layout.Context) { d.zoomText(textStep) }},
		{"-", ctrl, "Ctrl −", "smaller text", func(d *Desk, _ layout.Context) { d.zoomText(1 / textStep) }},
		{"B", ctrl, "Ctrl B", "left panel on or off", func(d *Desk, _ layout.Context) { d.panes.leftOff = !d.panes.leftOff }},
		{"J", ctrl, "Ctrl J", "findings on or off", func(d *Desk, _ layout.Context) { d.panes.rightOff = !d.panes.rightOff }},
		{"T", ctrl, "Ctrl T", "one canvas, or one above the other", func(d *Desk, _ layout.Context) { d.views.stacked = !d.views.stacked }},
		{"M", ctrl, "Ctrl M", "fitted model on or off", func(d *Desk, _ layout.Context) { d.plots.showModel = !d.plots.showModel; d.refresh() }},
		{"M", ctrl | shift, "Ctrl Shift M", "difference from the earlier sweep on or off", func(d *Desk, _ layout.Context) { d.plots.showLeft = !d.plots.showLeft; d.refresh() }},
		{key.NameF1, 0, "F1", "this list", func(d *Desk, _ layout.Context) { d.help.open = !d.help.open }},
	}
	digits := []key.Name{"1", "2", "3", "4", "5", "6", "7"}
	for i, v := range traces.EveryOverFrequency() {
		list = append(list, command{digits[i], ctrl, "Ctrl " + string(digits[i]), v.Name() + " over frequency", func(d *Desk, _ layout.Context) { d.views.frequency = v; d.refresh() }})
	}
	for i, v := range traces.EveryAlongLine() {
		list = append(list, command{digits[i], ctrl | shift, "Ctrl Shift " + string(digits[i]), v.Name() + " along the line", func(d *Desk, _ layout.Context) { d.views.along = v; d.refresh() }})
	}
	return list
}

// chartKeys are the keys of a chart that has the focus, for the list.
func chartKeys() [][2]string {
	return [][2]string{{"← →", "move"}, {"↑ ↓", "move up and down"}, {"Shift ↑ ↓", "scale up and down"}, {"+ −", "closer, farther"},
		{"0", "show all"}, {"X", "the other axis"}, {"Ctrl ← →", "crosshair by a pixel, with Shift by ten"}, {"M", "marker at the crosshair"},
		{"Delete", "take the nearest marker away"}, {"B", "choose from the last marker to the crosshair"}, {"Esc", "choose nothing"}}
}

const (
	textStep  = 1.1
	leastText = 0.8
	mostText  = 2.0
)

func (d *Desk) zoomText(by float32) { d.look.scale = min(max(d.look.scale*by, leastText), mostText) }

// keys takes what no focused control wanted.
func (d *Desk) keys(gtx layout.Context) {
	all := commands()
	filters := make([]event.Filter, len(all))
	for i, c := range all {
		filters[i] = key.Filter{Name: c.key, Required: c.mods}
	}
	for {
		e, ok := gtx.Event(filters...)
		if !ok {
			return
		}
		pressed, is := e.(key.Event)
		if !is || pressed.State != key.Press || (d.browser.open || d.file.question.open) && pressed.Name != key.NameEscape {
			continue
		}
		for _, c := range all {
			if c.key == pressed.Name && c.mods == pressed.Modifiers {
				c.run(d, gtx)
				gtx.Execute(op.InvalidateCmd{}) // the frame that is drawn does not show it yet
				break
			}
		}
	}
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
		seen := map[string]bool{}
		for _, c := range commands() {
			if !seen[c.does] {
				seen[c.does] = true
				pair(c.says, c.does)
			}
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
