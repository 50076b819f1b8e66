package report

import (
	"bytes"
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// LineKind is what a line of a Chart is, and so how it is drawn.
type LineKind int

// The kinds of lines.
const (
	MeasuredLine LineKind = iota
	ModelLine
	EarlierLine
	ExpectedLine
	LimitLine
	GridLine // a circle or the like, which has no name
)

// Line is a line of a Chart, in its units. What is not finite is a gap.
type Line struct {
	Name string
	Kind LineKind
	X, Y []float64
}

// Chart is any picture of lines in the dress of the report.
type Chart struct {
	Name           string // of its files
	Along          bool   // its lines lie along the line; else over frequency
	Square         bool   // as high as wide
	XLabel, YLabel string
	X              [2]float64 // left and right
	Y              [2]float64 // top and bottom
	Lines          []Line
}

// Files returns the chart as SVG and PNG.
func (c *Chart) Files() ([]File, error) {
	face, err := newTypeface()
	if err != nil {
		return nil, err
	}
	b := &book{face: face, colours: colours()}
	domain := b.colours.Frequency
	if c.Along {
		domain = b.colours.Distance
	}
	p := b.blank(c.XLabel, domain, c.X[0], c.X[1], nil)
	p.Y.Label.Text = c.YLabel
	p.Y.Min, p.Y.Max = c.Y[0], c.Y[1]
	if c.Y[0] > c.Y[1] {
		p.Y.Min, p.Y.Max, p.Y.Scale = c.Y[1], c.Y[0], plot.LinearScale{}
	}
	var keys []key
	below := slices.Clone(c.Lines) // the first lies on top, but for limits
	slices.Reverse(below)
	slices.SortStableFunc(below, func(x, y Line) int { return cmp.Compare(depth(x.Kind), depth(y.Kind)) })
	for _, l := range below {
		style := b.lineStyleOf(l.Kind, domain)
		p.Add(drawn(func(canvas draw.Canvas, p *plot.Plot) {
			trX, trY := p.Transforms(&canvas)
			var piece []vg.Point
			for k, y := range l.Y {
				if math.IsNaN(y) || math.IsInf(y, 0) {
					canvas.StrokeLines(style, canvas.ClipLinesXY(piece)...)
					piece = nil
					continue
				}
				piece = append(piece, vg.Point{X: trX(l.X[k]), Y: trY(y)})
			}
			canvas.StrokeLines(style, canvas.ClipLinesXY(piece)...)
		}))
		if l.Kind != GridLine {
			keys = append([]key{{text: l.Name, line: style}}, keys...)
		}
	}
	height := float64(plotHeight)
	if c.Square {
		height = figureWidth + b.keyHeight(keys, figureWidth)
	}
	return figureFiles(figure{c.Name, height, func(canvas draw.Canvas) { b.withKey(canvas, p, keys) }})
}

// depth orders kinds of lines from the ground upward.
func depth(k LineKind) int {
	switch k {
	case GridLine:
		return 0
	case LimitLine:
		return 2
	}
	return 1
}

// lineStyleOf is how a line of a kind is drawn.
func (b *book) lineStyleOf(k LineKind, domain color.Color) draw.LineStyle {
	switch k {
	case ModelLine:
		return b.lineStyle(model, domain)
	case EarlierLine:
		return b.lineStyle(earlier, domain)
	case ExpectedLine:
		return draw.LineStyle{Color: b.colours.In, Width: 1.25, Dashes: []vg.Length{5, 2}}
	case LimitLine:
		return draw.LineStyle{Color: b.colours.Out, Width: 1.5}
	case GridLine:
		return draw.LineStyle{Color: b.colours.Edge, Width: 0.5}
	}
	return b.lineStyle(measured, domain)
}

// figureFiles draws a figure as SVG and PNG.
func figureFiles(f figure) (files []File, err error) {
	svg := vgsvg.NewWith(vgsvg.UseWH(figureWidth+2*grid, vg.Length(f.height+2*grid)), vgsvg.EmbedFonts(true))
	picture := vgimg.NewWith(vgimg.UseWH(figureWidth+2*grid, vg.Length(f.height+2*grid)), vgimg.UseDPI(figureDPI), vgimg.UseBackgroundColor(color.White))
	for _, one := range []struct {
		canvas    vg.CanvasWriterTo
		extension string
	}{{svg, ".svg"}, {vgimg.PngCanvas{Canvas: picture}, ".png"}} {
		f.draw(draw.Crop(draw.New(one.canvas), grid, -grid, grid, -grid))
		var data bytes.Buffer
		if _, err := one.canvas.WriteTo(&data); err != nil {
			return nil, fmt.Errorf("drawing %s%s: %w", f.name, one.extension, err)
		}
		files = append(files, File{f.name + one.extension, data.Bytes()})
	}
	return files, nil
}
