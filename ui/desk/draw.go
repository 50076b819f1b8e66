package desk

import (
	"image"
	"image/color"

	"gioui.org/f32"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"

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

// rectangle paints a rectangle.
func rectangle(gtx layout.Context, r image.Rectangle, c color.NRGBA) {
	paint.FillShape(gtx.Ops, c, clip.Rect(r).Op())
}

// at draws w with its corner at a place and returns its size.
func at(gtx layout.Context, corner image.Point, w layout.Widget) image.Point {
	defer op.Offset(corner).Push(gtx.Ops).Pop()
	return w(gtx).Size
}

// column stacks widgets with space between.
func column(gtx layout.Context, space int, all ...layout.Widget) layout.Dimensions {
	var parts []layout.FlexChild
	for i, w := range all {
		if i > 0 && space > 0 {
			parts = append(parts, layout.Rigid(layout.Spacer{Height: gtx.Metric.PxToDp(gtx.Dp(1) * space)}.Layout))
		}
		parts = append(parts, layout.Rigid(w))
	}
	return layout.Flex{Axis: layout.Vertical}.Layout(gtx, parts...)
}

// row sets widgets side by side, and goes on below where they do not fit.
func row(gtx layout.Context, space int, all ...layout.Widget) layout.Dimensions {
	width, gap := gtx.Constraints.Max.X, gtx.Dp(1)*space
	x, y, tall, widest := 0, 0, 0, 0
	for _, w := range all {
		macro := op.Record(gtx.Ops)
		inner := gtx
		inner.Constraints.Min = image.Point{}
		inner.Constraints.Max.X = width
		size := w(inner).Size
		call := macro.Stop()
		if x > 0 && x+size.X > width {
			x, y, tall = 0, y+tall+gap, 0
		}
		offset := op.Offset(image.Pt(x, y)).Push(gtx.Ops)
		call.Add(gtx.Ops)
		offset.Pop()
		x, tall = x+size.X+gap, max(tall, size.Y)
		widest = max(widest, x-gap)
	}
	return layout.Dimensions{Size: image.Pt(widest, y+tall)}
}

// pt is a place in pixels.
func pt(x, y float64) f32.Point { return f32.Pt(float32(x), float32(y)) }
