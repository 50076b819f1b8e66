package bench

import (
	"image"
	"math"

	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/io/semantic"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/text"

	"downlead/ui/chart"
	"downlead/ui/theme"
)

// scale is what a knob can be turned to.
type scale struct {
	low, high float64
	log, none bool // none: the very beginning stands for 0
}

// noneShare is the part of a knob's way that stands for none.
const noneShare = 0.03

func (s scale) axis() chart.Axis {
	a := chart.Axis{Low: s.low, High: s.high}
	if s.log {
		a.Scale = chart.Log
	}
	return a
}

// share is where on its way, 0 to 1, a value stands.
func (s scale) share(v float64) float64 {
	begin := 0.0
	if s.none {
		if v == 0 {
			return 0
		}
		begin = noneShare
	}
	return begin + (1-begin)*math.Min(math.Max(s.axis().Position(v, 1), 0), 1)
}

// value is the inverse of share, to three digits.
func (s scale) value(share float64) float64 {
	share = math.Min(math.Max(share, 0), 1)
	if s.none {
		if share < noneShare {
			return 0
		}
		share = (share - noneShare) / (1 - noneShare)
	}
	return math.Min(math.Max(onGrid(s.axis().Value(share, 1), 3), s.low), s.high)
}

// knob is the state of a slider that has a name and says its value.
type knob struct {
	held  bool
	width int // of the way, pixels
	pad   int
}

// turned is what was done to a knob.
type turned struct {
	value   float64
	changed bool
	rest    bool // it was let go
}

// Steps of a knob's way that keys take.
const (
	knobStep = 0.02
	knobFine = 0.004
)

// step is the value some steps from v; a whole step where the digits hide it.
func (s scale) step(v, by float64) float64 {
	at := s.share(v)
	for k := 1.0; k < 60; k++ {
		if next := s.value(at + k*by); next != v || at+k*by < 0 || at+k*by > 1 {
			return next
		}
	}
	return v
}

// update drains a knob that stands at v.
func (k *knob) update(gtx layout.Context, s scale, v float64) turned {
	out := turned{value: v}
	for {
		e, ok := gtx.Event(
			pointer.Filter{Target: k, Kinds: pointer.Press | pointer.Drag | pointer.Release | pointer.Cancel},
			key.FocusFilter{Target: k},
			key.Filter{Focus: k, Name: key.NameLeftArrow, Optional: key.ModShift}, key.Filter{Focus: k, Name: key.NameRightArrow, Optional: key.ModShift})
		if !ok {
			break
		}
		switch e := e.(type) {
		case key.Event:
			if e.State != key.Press {
				out.rest = true
				continue
			}
			by := knobStep
			if e.Modifiers.Contain(key.ModShift) {
				by = knobFine
			}
			if e.Name == key.NameLeftArrow {
				by = -by
			}
			out.value = s.step(out.value, by)
			gtx.Execute(op.InvalidateCmd{})
		case pointer.Event:
			switch e.Kind {
			case pointer.Press:
				if e.Source == pointer.Mouse && !e.Buttons.Contain(pointer.ButtonPrimary) {
					continue
				}
				gtx.Execute(key.FocusCmd{Tag: k})
				k.held = true
				out.value = s.value(k.at(e))
			case pointer.Drag:
				if k.held {
					out.value = s.value(k.at(e))
				}
			default:
				out.rest = out.rest || k.held
				k.held = false
			}
		}
	}
	out.changed = out.value != v
	return out
}

func (k *knob) at(e pointer.Event) float64 {
	return (float64(e.Position.X) - float64(k.pad)) / math.Max(float64(k.width), 1)
}

// layout draws a knob with its name and what it stands at.
func (k *knob) layout(gtx layout.Context, t *theme.Theme, name, says string, share float64) layout.Dimensions {
	width := gtx.Constraints.Max.X
	line := layout.Flex{Alignment: layout.Baseline}.Layout(gtx,
		layout.Flexed(1, t.Text(theme.Label{Text: name, Color: t.Quiet, Size: t.Small(), Lines: 1})),
		layout.Rigid(t.Text(theme.Label{Text: says, Size: t.Small(), Lines: 1, Align: text.End})))
	track := image.Pt(width, gtx.Dp(18))
	k.pad = gtx.Dp(6)
	k.width = max(track.X-2*k.pad, 1)
	defer op.Offset(image.Pt(0, line.Size.Y)).Push(gtx.Ops).Pop()
	defer clip.Rect{Max: track}.Push(gtx.Ops).Pop()
	event.Op(gtx.Ops, k)
	semantic.LabelOp("turn " + name).Add(gtx.Ops)
	semantic.DescriptionOp(says).Add(gtx.Ops)
	pointer.CursorPointer.Add(gtx.Ops)
	middle, x := track.Y/2, k.pad+int(math.Round(share*float64(k.width)))
	theme.Rectangle(gtx, image.Rect(k.pad, middle-gtx.Dp(1), k.pad+k.width, middle+gtx.Dp(1)), t.Edge)
	theme.Rectangle(gtx, image.Rect(k.pad, middle-gtx.Dp(1), x, middle+gtx.Dp(1)), t.Ink)
	r := gtx.Dp(6)
	c := t.Ink
	if gtx.Focused(k) {
		disc(gtx, image.Pt(x, middle), r+gtx.Dp(2), t.Link)
	}
	disc(gtx, image.Pt(x, middle), r-gtx.Dp(1), c)
	return layout.Dimensions{Size: image.Pt(width, line.Size.Y+track.Y)}
}
