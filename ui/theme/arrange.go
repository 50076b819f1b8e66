package theme

import (
	"image"
	"image/color"

	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
)

// Rectangle paints a rectangle.
func Rectangle(gtx layout.Context, r image.Rectangle, c color.NRGBA) {
	paint.FillShape(gtx.Ops, c, clip.Rect(r).Op())
}

// At draws w with its corner at a place and returns its size.
func At(gtx layout.Context, corner image.Point, w layout.Widget) image.Point {
	defer op.Offset(corner).Push(gtx.Ops).Pop()
	return w(gtx).Size
}

// Column stacks widgets with space dp between.
func Column(gtx layout.Context, space int, all ...layout.Widget) layout.Dimensions {
	var parts []layout.FlexChild
	for i, w := range all {
		if i > 0 && space > 0 {
			parts = append(parts, layout.Rigid(layout.Spacer{Height: gtx.Metric.PxToDp(gtx.Dp(1) * space)}.Layout))
		}
		parts = append(parts, layout.Rigid(w))
	}
	return layout.Flex{Axis: layout.Vertical}.Layout(gtx, parts...)
}

// Flow sets widgets side by side with space dp between, and goes on below where they
// do not fit.
func Flow(gtx layout.Context, space int, all ...layout.Widget) layout.Dimensions {
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
