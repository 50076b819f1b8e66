package theme

import (
	"image"
	"image/color"

	"gioui.org/f32"
	"gioui.org/font"
	"gioui.org/io/semantic"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/text"
	"gioui.org/unit"
	"gioui.org/widget"
	"gioui.org/widget/material"
)

// Label is a piece of text. The zero Size is Body, the zero Color is Ink, the
// zero Font is Regular.
type Label struct {
	Text  string
	Size  unit.Sp
	Color color.NRGBA
	Font  font.Font
	Lines int // at most; 0: as many as it takes
	Align text.Alignment
}

// Label lays text out.
func (t *Theme) Label(gtx layout.Context, l Label) layout.Dimensions {
	if l.Size == 0 {
		l.Size = t.Body()
	}
	if l.Color == (color.NRGBA{}) {
		l.Color = t.Ink
	}
	if l.Font == (font.Font{}) {
		l.Font = Regular
	}
	return widget.Label{MaxLines: l.Lines, Alignment: l.Align}.Layout(gtx, t.Shaper, l.Font, l.Size, l.Text, ink(gtx, l.Color))
}

// Text is a Label as a widget. It takes the width that it is given at least, but
// no more height than it needs.
func (t *Theme) Text(l Label) layout.Widget {
	return func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min.Y = 0
		return t.Label(gtx, l)
	}
}

func ink(gtx layout.Context, c color.NRGBA) op.CallOp {
	macro := op.Record(gtx.Ops)
	paint.ColorOp{Color: c}.Add(gtx.Ops)
	return macro.Stop()
}

// Fill paints a rectangle with rounded corners.
func Fill(gtx layout.Context, size image.Point, radius unit.Dp, c color.NRGBA) {
	paint.FillShape(gtx.Ops, c, clip.UniformRRect(image.Rectangle{Max: size}, gtx.Dp(radius)).Op(gtx.Ops))
}

// Outline draws the edge of a rectangle with rounded corners.
func Outline(gtx layout.Context, size image.Point, radius, width unit.Dp, c color.NRGBA) {
	w := max(gtx.Dp(width), 1)
	r := image.Rectangle{Min: image.Pt(w/2, w/2), Max: size.Sub(image.Pt((w+1)/2, (w+1)/2))}
	paint.FillShape(gtx.Ops, c, clip.Stroke{Path: clip.UniformRRect(r, gtx.Dp(radius)).Path(gtx.Ops), Width: float32(w)}.Op())
}

// Board lays w on a panel that takes all the room there is.
func (t *Theme) Board(gtx layout.Context, w layout.Widget) layout.Dimensions {
	size := gtx.Constraints.Max
	Fill(gtx, size, 6, t.Panel)
	Outline(gtx, size, 6, 1, t.Edge)
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	inset := layout.UniformInset(12)
	gtx.Constraints = layout.Exact(size)
	inset.Layout(gtx, w)
	return layout.Dimensions{Size: size}
}

// Button is a control that can be pressed, by pointer, Return or Space.
type Button struct {
	Text   string
	Strong bool // the one that matters most here
	Plain  bool // no ground of its own: a word among others
	Chosen bool
	Opens  bool // drops something down
	Off    bool // cannot be pressed now
	Wide   bool // as wide as there is room
	Lead   bool // text at the left edge
}

// Button lays a button out. Drain click before, by Clicked.
func (t *Theme) Button(gtx layout.Context, click *widget.Clickable, b Button) layout.Dimensions {
	if b.Off {
		gtx = gtx.Disabled()
	}
	return click.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		semantic.Button.Add(gtx.Ops)
		semantic.LabelOp(b.Text).Add(gtx.Ops)
		semantic.SelectedOp(b.Chosen).Add(gtx.Ops)
		ground, letters := t.Field, t.Ink
		switch {
		case b.Off:
			letters = Alpha(t.Quiet, 0.6)
		case b.Strong || b.Chosen:
			ground, letters = t.Ink, t.OnStrong
		case b.Plain:
			letters = t.Link
		}
		padX, padY := gtx.Dp(10), gtx.Dp(5)
		if b.Plain {
			padX = gtx.Dp(4)
		}
		macro := op.Record(gtx.Ops)
		inner := gtx
		inner.Constraints = layout.Constraints{Max: image.Pt(max(gtx.Constraints.Max.X-2*padX, 0), gtx.Constraints.Max.Y)}
		weight := Regular
		if b.Strong {
			weight = Strong
		}
		dims := t.Label(inner, Label{Text: b.Text, Color: letters, Font: weight, Lines: 1})
		call := macro.Stop()
		size := dims.Size.Add(image.Pt(2*padX, 2*padY))
		arrow := gtx.Dp(8)
		if b.Opens {
			size.X += arrow + gtx.Dp(6)
		}
		if b.Wide {
			size.X = max(size.X, gtx.Constraints.Max.X)
		}
		if !b.Plain {
			Fill(gtx, size, 4, ground)
		}
		if click.Hovered() && !b.Off {
			Fill(gtx, size, 4, Alpha(t.Ink, 0.07))
		}
		if gtx.Focused(click) {
			Outline(gtx, size, 4, 2, t.Link)
		}
		at := image.Pt((size.X-dims.Size.X)/2, padY)
		if b.Lead || b.Opens {
			at.X = padX
		}
		if b.Opens {
			var path clip.Path
			path.Begin(gtx.Ops)
			left, top := float32(size.X-padX-arrow), float32(size.Y)/2-float32(arrow)/4
			path.MoveTo(f32.Pt(left, top))
			path.LineTo(f32.Pt(left+float32(arrow)/2, top+float32(arrow)/2))
			path.LineTo(f32.Pt(left+float32(arrow), top))
			paint.FillShape(gtx.Ops, letters, clip.Stroke{Path: path.End(), Width: 1.5 * gtx.Metric.PxPerDp}.Op())
		}
		defer op.Offset(at).Push(gtx.Ops).Pop()
		call.Add(gtx.Ops)
		return layout.Dimensions{Size: size, Baseline: dims.Baseline + padY}
	})
}

// Entry is a place to type in.
type Entry struct {
	Hint string
	Unit string // said behind the text
	Name string // for those who cannot see it
	Bad  bool   // what is typed cannot be used
	Rows int    // of text that it has room for at least; 0: 1
}

// mostLetters is how much a line of a field takes that has no limit of its own: a
// longer text is no use and takes long to draw.
const mostLetters = 1000

// Editor lays an editor out in a field as wide as there is room.
func (t *Theme) Editor(gtx layout.Context, e *widget.Editor, f Entry) layout.Dimensions {
	if e.MaxLen == 0 {
		e.MaxLen = mostLetters
		if f.Rows > 1 {
			e.MaxLen = 20 * mostLetters
		}
	}
	padX, padY := gtx.Dp(8), gtx.Dp(5)
	macro := op.Record(gtx.Ops)
	inner := gtx
	inner.Constraints = layout.Constraints{Max: image.Pt(max(gtx.Constraints.Max.X-2*padX, 0), gtx.Constraints.Max.Y)}
	dims := layout.Flex{Alignment: layout.Baseline}.Layout(inner,
		layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
			semantic.LabelOp(f.Name).Add(gtx.Ops)
			gtx.Constraints.Min.X = gtx.Constraints.Max.X
			if f.Rows > 1 {
				gtx.Constraints.Min.Y = gtx.Sp(t.Body()) * f.Rows * 13 / 10
			}
			if e.Len() == 0 && f.Hint != "" {
				hint := op.Record(gtx.Ops)
				t.Label(gtx, Label{Text: f.Hint, Color: t.Quiet, Lines: 1})
				call := hint.Stop()
				defer call.Add(gtx.Ops)
			}
			return e.Layout(gtx, t.Shaper, Regular, t.Body(), ink(gtx, t.Ink), ink(gtx, Alpha(t.Link, 0.3)))
		}),
		layout.Rigid(t.Text(Label{Text: f.Unit, Color: t.Quiet, Lines: 1})))
	call := macro.Stop()
	size := image.Pt(gtx.Constraints.Max.X, dims.Size.Y+2*padY)
	Fill(gtx, size, 4, t.Field)
	switch {
	case f.Bad:
		Outline(gtx, size, 4, 2, t.Out)
	case gtx.Focused(e):
		Outline(gtx, size, 4, 2, t.Link)
	default:
		Outline(gtx, size, 4, 1, t.Edge)
	}
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop() // its name is that of this area, and of no larger one
	defer op.Offset(image.Pt(padX, padY)).Push(gtx.Ops).Pop()
	call.Add(gtx.Ops)
	return layout.Dimensions{Size: size, Baseline: dims.Baseline + padY}
}

// Submitted drains the events of an editor and returns what it held when Return was pressed
// in it; ok is false where it was not.
func Submitted(gtx layout.Context, e *widget.Editor) (text string, ok bool) {
	for {
		event, more := e.Update(gtx)
		if !more {
			return text, ok
		}
		if submitted, is := event.(widget.SubmitEvent); is {
			text, ok = submitted.Text, true
		}
	}
}

// Row is a pressable row of a list.
func (t *Theme) Row(gtx layout.Context, click *widget.Clickable, name string, chosen bool, w layout.Widget) layout.Dimensions {
	return click.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		semantic.Button.Add(gtx.Ops)
		semantic.LabelOp(name).Add(gtx.Ops)
		semantic.SelectedOp(chosen).Add(gtx.Ops)
		macro := op.Record(gtx.Ops)
		gtx.Constraints.Min = image.Pt(gtx.Constraints.Max.X, 0)
		dims := layout.Inset{Top: 5, Bottom: 5, Left: 8, Right: 8}.Layout(gtx, w)
		call := macro.Stop()
		if chosen {
			Fill(gtx, dims.Size, 4, t.Chosen)
		}
		if click.Hovered() {
			Fill(gtx, dims.Size, 4, Alpha(t.Ink, 0.05))
		}
		if gtx.Focused(click) {
			Outline(gtx, dims.Size, 4, 2, t.Link)
		}
		call.Add(gtx.Ops)
		return dims
	})
}

// Rule is a line across.
func (t *Theme) Rule(gtx layout.Context) layout.Dimensions {
	size := image.Pt(gtx.Constraints.Max.X, max(gtx.Dp(1), 1))
	paint.FillShape(gtx.Ops, t.Edge, clip.Rect{Max: size}.Op())
	return layout.Dimensions{Size: size}
}

// Scroll lays a list out with a bar that shows how much there is.
func (t *Theme) Scroll(gtx layout.Context, list *widget.List, n int, element layout.ListElement) layout.Dimensions {
	style := material.List(t.material(), list)
	style.AnchorStrategy = material.Overlay
	style.ScrollbarStyle.Indicator.Color = Alpha(t.Quiet, 0.45)
	style.ScrollbarStyle.Indicator.HoverColor = Alpha(t.Quiet, 0.8)
	style.ScrollbarStyle.Track.Color = color.NRGBA{}
	return style.Layout(gtx, n, element)
}

func (t *Theme) material() *material.Theme {
	return &material.Theme{Shaper: t.Shaper, Palette: material.Palette{Bg: t.Panel, Fg: t.Ink, ContrastBg: t.Ink, ContrastFg: t.OnStrong}, TextSize: t.Body(), FingerSize: 20}
}

// Slider lays a value from 0 to 1 out as a place on a line.
func (t *Theme) Slider(gtx layout.Context, f *widget.Float, name string) layout.Dimensions {
	semantic.LabelOp(name).Add(gtx.Ops)
	style := material.Slider(t.material(), f)
	style.Color = t.Ink
	return style.Layout(gtx)
}
