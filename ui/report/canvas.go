package report

import (
	"errors"
	"image"
	"image/color"
	"math"

	"golang.org/x/image/font"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// canvas lets gonum/plot draw on a part of a page. gonum's own PDF canvas knows
// one page, another encoding of letters and the day's date; this one shares the
// page's fonts.
type canvas struct {
	sheet         *sheet
	left, bottom  float64 // its lower left corner, points from the page's upper left
	width, height float64
	now           state
	before        []state
}

// state is what Push keeps.
type state struct {
	to     matrix
	width  vg.Length
	dash   []vg.Length
	offset vg.Length
	color  color.Color
}

// matrix takes (x, y) to (a·x + c·y + e, b·x + d·y + f).
type matrix struct{ a, b, c, d, e, f float64 }

func (m matrix) then(n matrix) matrix {
	return matrix{m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b, m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d, m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f}
}

var _ vg.CanvasSizer = (*canvas)(nil)

// Size implements vg.CanvasSizer.
func (c *canvas) Size() (x, y vg.Length) { return vg.Points(c.width), vg.Points(c.height) }

// SetLineWidth implements vg.Canvas.
func (c *canvas) SetLineWidth(w vg.Length) { c.now.width = w }

// SetLineDash implements vg.Canvas.
func (c *canvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.now.dash, c.now.offset = pattern, offset
}

// SetColor implements vg.Canvas.
func (c *canvas) SetColor(clr color.Color) { c.now.color = clr }

// matrix returns the transform; the zero one stands for none.
func (c *canvas) matrix() matrix {
	if c.now.to == (matrix{}) {
		return matrix{a: 1, d: 1}
	}
	return c.now.to
}

// Rotate implements vg.Canvas.
func (c *canvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.now.to = c.matrix().then(matrix{cos, sin, -sin, cos, 0, 0})
}

// Translate implements vg.Canvas.
func (c *canvas) Translate(p vg.Point) {
	c.now.to = c.matrix().then(matrix{1, 0, 0, 1, p.X.Points(), p.Y.Points()})
}

// Scale implements vg.Canvas.
func (c *canvas) Scale(x, y float64) { c.now.to = c.matrix().then(matrix{x, 0, 0, y, 0, 0}) }

// Push implements vg.Canvas.
func (c *canvas) Push() { c.before = append(c.before, c.now) }

// Pop implements vg.Canvas.
func (c *canvas) Pop() {
	c.now = c.before[len(c.before)-1]
	c.before = c.before[:len(c.before)-1]
}

// place is a point on the page.
func (c *canvas) place(p vg.Point) (x, y float64) {
	m, px, py := c.matrix(), p.X.Points(), p.Y.Points()
	return c.left + m.a*px + m.c*py + m.e, c.bottom - (m.b*px + m.d*py + m.f)
}

// inks returns the colour as the PDF has it, and its opacity.
func (c *canvas) inks() (r, g, b int, opacity float64) {
	if c.now.color == nil {
		return 0, 0, 0, 1
	}
	n := color.NRGBAModel.Convert(c.now.color).(color.NRGBA)
	return int(n.R), int(n.G), int(n.B), float64(n.A) / 255
}

// Stroke implements vg.Canvas.
func (c *canvas) Stroke(p vg.Path) {
	if c.now.width <= 0 {
		return
	}
	r, g, b, opacity := c.inks()
	dash := make([]float64, len(c.now.dash))
	for i, d := range c.now.dash {
		dash[i] = d.Points()
	}
	pdf := c.sheet.pdf
	pdf.SetDrawColor(r, g, b)
	pdf.SetLineWidth(c.now.width.Points())
	pdf.SetDashPattern(dash, c.now.offset.Points())
	c.path(p, "D", opacity)
	pdf.SetDashPattern(nil, 0)
}

// Fill implements vg.Canvas.
func (c *canvas) Fill(p vg.Path) {
	r, g, b, opacity := c.inks()
	c.sheet.pdf.SetFillColor(r, g, b)
	c.path(p, "F", opacity)
}

// path draws a path; style is of fpdf.DrawPath.
func (c *canvas) path(path vg.Path, style string, opacity float64) {
	pdf := c.sheet.pdf
	if opacity < 1 {
		pdf.SetAlpha(opacity, "Normal")
		defer pdf.SetAlpha(1, "Normal")
	}
	begun := false
	for _, part := range path {
		switch part.Type {
		case vg.MoveComp:
			pdf.MoveTo(c.place(part.Pos))
			begun = true
		case vg.LineComp:
			pdf.LineTo(c.place(part.Pos))
		case vg.ArcComp:
			// By chords of 6 degrees: the arcs of a plot are markers.
			steps := max(1, int(math.Ceil(math.Abs(part.Angle)/(math.Pi/30))))
			for k := range steps + 1 {
				sin, cos := math.Sincos(part.Start + part.Angle*float64(k)/float64(steps))
				at := vg.Point{X: part.Pos.X + part.Radius*vg.Length(cos), Y: part.Pos.Y + part.Radius*vg.Length(sin)}
				if x, y := c.place(at); !begun {
					pdf.MoveTo(x, y)
					begun = true
				} else {
					pdf.LineTo(x, y)
				}
			}
		case vg.CurveComp:
			x, y := c.place(part.Pos)
			switch len(part.Control) {
			case 1:
				cx, cy := c.place(part.Control[0])
				pdf.CurveTo(cx, cy, x, y)
			case 2:
				cx, cy := c.place(part.Control[0])
				dx, dy := c.place(part.Control[1])
				pdf.CurveBezierCubicTo(cx, cy, dx, dy, x, y)
			}
		case vg.CloseComp:
			pdf.ClosePath()
		}
	}
	pdf.DrawPath(style)
}

// FillString implements vg.Canvas.
func (c *canvas) FillString(f plotfont.Face, at vg.Point, text string) {
	x, y := c.place(at)
	r, g, b, _ := c.inks()
	w := written{strong: f.Font.Weight == font.WeightBold, title: f.Font.Size.Points() > bodySize,
		color: color.NRGBA{R: uint8(r), G: uint8(g), B: uint8(b), A: 255}}
	m := c.matrix()
	turned := math.Abs(m.b) > 1e-9 || m.a < 0
	if turned {
		c.sheet.pdf.TransformBegin()
		c.sheet.pdf.TransformRotate(math.Atan2(m.b, m.a)*180/math.Pi, x, y)
	}
	c.sheet.put(x, y, text, w)
	if turned {
		c.sheet.pdf.TransformEnd()
	}
}

// DrawImage implements vg.Canvas. The figures of a report are drawn from lines;
// an image would be a mistake, and fails the report.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {
	c.sheet.pdf.SetError(errors.New("a figure of a report has no images"))
}
