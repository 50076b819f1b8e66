package bench

import (
	"image"

	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/widget"

	"downlead/ui/keys"
	"downlead/ui/theme"
)

// command is something that a key does wherever the keys go.
type command = keys.Command[*Bench]

func (b *Bench) zoomText(by float32) { b.look.Scale = keys.Zoom(b.look.Scale, by) }

// commands are all keys that count everywhere in the room.
func commands() []command {
	const ctrl, shift = key.ModCtrl, key.ModShift
	return append(lessonKeys(), []command{
		keys.On("Z", ctrl, "Ctrl Z", "undo", func(b *Bench, _ layout.Context) { b.undo() }),
		keys.On("Z", ctrl|shift, "Ctrl Shift Z", "do again what was undone", func(b *Bench, _ layout.Context) { b.redo() }),
		keys.On("Y", ctrl, "Ctrl Y", "do again what was undone", func(b *Bench, _ layout.Context) { b.redo() }),
		keys.On(key.NameF2, 0, "F2", "each reflection alone, on or off", func(b *Bench, _ layout.Context) { b.show(&b.each) }),
		keys.On(key.NameF3, 0, "F3", "the bounce diagram, on or off", func(b *Bench, _ layout.Context) { b.show(&b.bounces) }),
		keys.On(key.NameF4, 0, "F4", "ghosts named, on or off", func(b *Bench, _ layout.Context) { b.show(&b.ghosts) }),
		keys.On(key.NameF5, 0, "F5", "let the program find the faults", func(b *Bench, _ layout.Context) { b.find() }),
		keys.On(key.NameF6, 0, "F6", "to the next fault on the line", func(b *Bench, gtx layout.Context) { b.nextFault(gtx, 1) }),
		keys.On(key.NameF6, shift, "Shift F6", "to the fault before", func(b *Bench, gtx layout.Context) { b.nextFault(gtx, -1) }),
		keys.On(key.NameF7, 0, "F7", "to the tray of faults", func(b *Bench, gtx layout.Context) { gtx.Execute(key.FocusCmd{Tag: &b.board.chips[0]}) }),
		keys.On(key.NameF8, 0, "F8", "to the chart of the line", func(b *Bench, gtx layout.Context) { b.along.Focus(gtx) }),
		keys.On("D", ctrl, "Ctrl D", "daylight or dark", func(b *Bench, _ layout.Context) { b.look.Dark = !b.look.Dark }),
		keys.On("U", ctrl, "Ctrl U", "metres or feet", func(b *Bench, _ layout.Context) { b.look.Feet = !b.look.Feet }),
		keys.On("+", ctrl, "Ctrl +", "larger text", func(b *Bench, _ layout.Context) { b.zoomText(keys.TextStep) }),
		keys.On("=", ctrl, "Ctrl =", "larger text", func(b *Bench, _ layout.Context) { b.zoomText(keys.TextStep) }),
		keys.On("-", ctrl, "Ctrl −", "smaller text", func(b *Bench, _ layout.Context) { b.zoomText(1 / keys.TextStep) }),
		keys.On(key.NameEscape, 0, "Esc", "close what is open; stop the search; back to the investigation", func(b *Bench, _ layout.Context) { b.escape() }),
		keys.On(key.NameF9, 0, "F9", "back to the investigation", func(b *Bench, _ layout.Context) { b.leave = true }),
		keys.On(key.NameF1, 0, "F1", "this list", func(b *Bench, _ layout.Context) { b.help.open = !b.help.open }),
	}...)
}

// faultKeys are those of a fault that has the focus, and of the tray, for the list.
func faultKeys() [][2]string {
	return [][2]string{{"← →", "move it by a cell, or to the next joint"}, {"Shift ← →", "move it by a centimetre"}, {"+ −", "worse, less"},
		{"Delete", "take it off the line"}, {"Return on the tray", "put one on the line, at the crosshair"}, {"← → on a slider", "turn it; with Shift finely"}}
}

// again asks for a frame: the one that took a key was drawn before it.
func (b *Bench) again(gtx layout.Context) { gtx.Execute(op.InvalidateCmd{}) }

// keys takes what no focused control wanted.
func (b *Bench) keys(gtx layout.Context) { keys.Take(gtx, b, commands(), nil) }

func (b *Bench) escape() {
	_, finding := b.finding.Running()
	switch {
	case b.help.open:
		b.help.open = false
	case finding:
		b.stopFinding()
	case b.presenting:
		b.present(false)
	default:
		b.leave = true
	}
}

// nextFault aims the keys at the next fault along the list.
func (b *Bench) nextFault(gtx layout.Context, by int) {
	n := len(b.shownFaults())
	if n == 0 {
		return
	}
	if b.selected = b.selected + by; b.selected >= n {
		b.selected = 0
	} else if b.selected < 0 {
		b.selected = n - 1
	}
	gtx.Execute(key.FocusCmd{Tag: &b.board.marks[b.selected]})
}

// help is the list of keys.
type help struct {
	open bool
	list widget.List
	away widget.Clickable
}

func (b *Bench) layoutHelp(gtx layout.Context) layout.Dimensions {
	size := gtx.Constraints.Max
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	paint.Fill(gtx.Ops, theme.Alpha(b.theme.Ink, 0.25))
	for { // presses beside the list go nowhere
		if _, ok := gtx.Event(pointer.Filter{Target: &b.help, Kinds: pointer.Press | pointer.Scroll, ScrollY: pointer.ScrollRange{Min: -1e6, Max: 1e6}}); !ok {
			break
		}
	}
	event.Op(gtx.Ops, &b.help)
	box := image.Pt(min(gtx.Dp(640), size.X-gtx.Dp(24)), min(gtx.Dp(640), size.Y-gtx.Dp(24)))
	theme.At(gtx, size.Sub(box).Div(2), func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints = layout.Exact(box)
		return b.theme.Board(gtx, func(gtx layout.Context) layout.Dimensions {
			rows := []layout.Widget{func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
					layout.Flexed(1, b.theme.Text(theme.Label{Text: "Keys of the fault bench", Font: theme.Strong, Size: b.theme.Title()})),
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						return b.theme.Button(gtx, &b.help.away, theme.Button{Text: "close (Esc)"})
					}))
			}, b.theme.Text(theme.Label{Text: "Tab and Shift Tab go from control to control; Return presses one.", Color: b.theme.Quiet})}
			pair := func(keys, does string) {
				rows = append(rows, func(gtx layout.Context) layout.Dimensions {
					return layout.Flex{}.Layout(gtx,
						layout.Rigid(func(gtx layout.Context) layout.Dimensions {
							gtx.Constraints.Min.X, gtx.Constraints.Max.X = gtx.Dp(160), gtx.Dp(160)
							return b.theme.Label(gtx, theme.Label{Text: keys, Font: theme.Strong})
						}),
						layout.Flexed(1, b.theme.Text(theme.Label{Text: does})))
				})
			}
			rows = append(rows, b.heading("On a fault"))
			for _, k := range faultKeys() {
				pair(k[0], k[1])
			}
			rows = append(rows, b.heading("Everywhere"))
			for _, k := range keys.Pairs(commands()) {
				pair(k[0], k[1])
			}
			return b.scroll(gtx, &b.help.list, rows)
		})
	})
	return layout.Dimensions{Size: size}
}
