package desk

import (
	"image"
	"image/color"

	"gioui.org/f32"
	"gioui.org/layout"
	"gioui.org/op"

	"downlead/ui/theme"
)

// filled lays w on a ground with rounded corners.
func filled(gtx layout.Context, ground color.NRGBA, w layout.Widget) layout.Dimensions {
	macro := op.Record(gtx.Ops)
	dims := w(gtx)
	call := macro.Stop()
	theme.Fill(gtx, dims.Size, 5, ground)
	call.Add(gtx.Ops)
	return dims
}

// Short names for what every pane does.

func rectangle(gtx layout.Context, r image.Rectangle, c color.NRGBA) { theme.Rectangle(gtx, r, c) }

func at(gtx layout.Context, corner image.Point, w layout.Widget) image.Point {
	return theme.At(gtx, corner, w)
}

func column(gtx layout.Context, space int, all ...layout.Widget) layout.Dimensions {
	return theme.Column(gtx, space, all...)
}

func row(gtx layout.Context, space int, all ...layout.Widget) layout.Dimensions {
	return theme.Flow(gtx, space, all...)
}

// pt is a place in pixels.
func pt(x, y float64) f32.Point { return f32.Pt(float32(x), float32(y)) }
