package bench

import (
	"image"
	"image/color"

	"gioui.org/f32"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"

	"downlead/ui/chart"
	"downlead/ui/theme"
)

// disc paints a circle.
func disc(gtx layout.Context, middle image.Point, radius int, c color.NRGBA) {
	r := image.Rectangle{Min: middle.Sub(image.Pt(radius, radius)), Max: middle.Add(image.Pt(radius, radius))}
	paint.FillShape(gtx.Ops, c, clip.Ellipse(r).Op(gtx.Ops))
}

// stroke paints a line through points.
func stroke(gtx layout.Context, width float32, c color.NRGBA, points ...f32.Point) {
	if len(points) < 2 {
		return
	}
	var path clip.Path
	path.Begin(gtx.Ops)
	path.MoveTo(points[0])
	for _, p := range points[1:] {
		path.LineTo(p)
	}
	paint.FillShape(gtx.Ops, c, clip.Stroke{Path: path.End(), Width: width}.Op())
}

// write writes one line with the given shares of its size left of and above a place,
// and returns where it stands. Within most pixels; 0: as long as it is.
func (b *Bench) write(gtx layout.Context, l theme.Label, place image.Point, shareX, shareY float64, most int) image.Rectangle {
	macro := op.Record(gtx.Ops)
	inner := gtx
	inner.Constraints = layout.Constraints{Max: image.Pt(1e5, 1e5)}
	if most > 0 {
		inner.Constraints.Max.X = most
	}
	if l.Lines == 0 {
		l.Lines = 1
	}
	size := b.theme.Label(inner, l).Size
	call := macro.Stop()
	corner := place.Sub(image.Pt(int(float64(size.X)*shareX), int(float64(size.Y)*shareY)))
	defer op.Offset(corner).Push(gtx.Ops).Pop()
	call.Add(gtx.Ops)
	return image.Rectangle{Min: corner, Max: corner.Add(size)}
}

// swatch is a piece of a trace's line.
func swatch(gtx layout.Context, c color.NRGBA, p chart.Pattern) layout.Dimensions {
	size := image.Pt(gtx.Dp(22), gtx.Dp(10))
	piece, hole := size.X, 0
	switch p {
	case chart.Dashed:
		piece, hole = gtx.Dp(6), gtx.Dp(2)
	case chart.Dotted:
		piece, hole = gtx.Dp(2), gtx.Dp(3)
	}
	for x := 0; x < size.X; x += piece + hole {
		theme.Rectangle(gtx, image.Rect(x, size.Y/2-gtx.Dp(1), min(x+piece, size.X), size.Y/2+gtx.Dp(1)), c)
	}
	return layout.Dimensions{Size: size}
}
