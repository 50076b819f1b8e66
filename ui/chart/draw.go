package chart

import (
	"image"
	"image/color"
	"math"
	"strings"

	"gioui.org/f32"
	"gioui.org/font"
	"gioui.org/io/pointer"
	"gioui.org/io/semantic"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/text"
	"gioui.org/unit"
	"gioui.org/widget"
)

// Style says how a chart looks.
type Style struct {
	Shaper   *text.Shaper
	Font     font.Font
	TextSize unit.Sp
	Ground   color.NRGBA
	Ink      color.NRGBA // of the vertical axis, the crosshair and what it reads
	Quiet    color.NRGBA
	Grid     color.NRGBA
	Axis     [2]color.NRGBA // of the horizontal axes, by Side
	Brush    color.NRGBA
	Focus    color.NRGBA
}

// keptTraces is how many traces of a chart keep their drawing between frames.
const keptTraces = 24

// traceKey holds all that the drawing of a trace depends on.
type traceKey struct {
	series  *Series
	x, y    Axis
	size    image.Point
	color   color.NRGBA
	width   float32
	pattern Pattern
	density float32
}

type keptTrace struct {
	key  traceKey
	line []Dot // in pixels of the area
	ops  op.Ops
	call op.CallOp
}

// Layout draws the chart over all of gtx.Constraints.Max. The text of axes is
// the shaper's work and is kept by it.
func (c *Chart) Layout(gtx layout.Context, s Style) layout.Dimensions {
	size := gtx.Constraints.Max
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	paint.Fill(gtx.Ops, s.Ground)
	p := painter{gtx: gtx, style: s, chart: c, line: gtx.Sp(s.TextSize) * 5 / 4}
	margin := image.Rectangle{Min: image.Pt(p.widest(c.view.y, size.Y)+gtx.Dp(12), gtx.Dp(8)), Max: image.Pt(gtx.Dp(14), gtx.Dp(8))}
	if c.content.has(Upper) {
		margin.Min.Y = p.line + gtx.Dp(10)
	}
	if c.content.has(Lower) {
		margin.Max.Y = p.line + gtx.Dp(10)
	}
	c.area = image.Rect(margin.Min.X, margin.Min.Y, max(size.X-margin.Max.X, margin.Min.X+1), max(size.Y-margin.Max.Y, margin.Min.Y+1))
	semantic.LabelOp(c.content.Name).Add(gtx.Ops)
	c.listen(gtx)
	pointer.CursorCrosshair.Add(gtx.Ops)

	p.shades()
	p.verticalAxis()
	for _, side := range []Side{Lower, Upper} {
		p.horizontalAxis(side)
	}
	area := clip.Rect(c.area).Push(gtx.Ops)
	p.limits()
	p.traces()
	p.limitLabels()
	p.markers()
	p.crosshair()
	area.Pop()
	p.flags()
	p.dragged()
	if c.focused {
		p.frame(c.area, s.Focus, gtx.Dp(2))
	}
	if len(c.content.Traces) == 0 && c.content.Empty != "" {
		p.text(c.content.Empty, c.area.Min.Add(c.area.Size().Div(2)), 0.5, 0.5, s.Quiet)
	}
	return layout.Dimensions{Size: size}
}

type painter struct {
	gtx   layout.Context
	style Style
	chart *Chart
	line  int // height of a line of text, pixels
}

// text draws a line of text whose place at is the given shares of its size from
// its upper left corner, and returns the size.
func (p *painter) text(s string, at image.Point, shareX, shareY float64, c color.NRGBA) image.Point {
	draw, size := p.shaped(s, c)
	corner := at.Sub(image.Pt(int(float64(size.X)*shareX), int(float64(size.Y)*shareY)))
	defer op.Offset(corner).Push(p.gtx.Ops).Pop()
	draw.Add(p.gtx.Ops)
	return size
}

func (p *painter) shaped(s string, c color.NRGBA) (op.CallOp, image.Point) {
	ink := op.Record(p.gtx.Ops)
	paint.ColorOp{Color: c}.Add(p.gtx.Ops)
	material := ink.Stop()
	gtx := p.gtx
	gtx.Constraints = layout.Constraints{Max: image.Pt(1e5, 1e5)}
	macro := op.Record(p.gtx.Ops)
	size := widget.Label{MaxLines: 1}.Layout(gtx, p.style.Shaper, p.style.Font, p.style.TextSize, s, material).Size
	return macro.Stop(), size
}

// rowsApart is how many lines of text the labels of the vertical axis stand apart.
const rowsApart = 2.4

// widest is the width of an axis' labels.
func (p *painter) widest(a Axis, length int) int {
	widest := 0
	for _, t := range a.Ticks(float64(length), float64(p.line)*rowsApart) {
		widest = max(widest, len([]rune(t.Label)))
	}
	return int(float64(widest) * float64(p.gtx.Sp(p.style.TextSize)) * 0.58)
}

func (p *painter) fill(r image.Rectangle, c color.NRGBA) {
	paint.FillShape(p.gtx.Ops, c, clip.Rect(r).Op())
}

func (p *painter) frame(r image.Rectangle, c color.NRGBA, width int) {
	p.fill(image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Min.Y+width), c)
	p.fill(image.Rect(r.Min.X, r.Max.Y-width, r.Max.X, r.Max.Y), c)
	p.fill(image.Rect(r.Min.X, r.Min.Y, r.Min.X+width, r.Max.Y), c)
	p.fill(image.Rect(r.Max.X-width, r.Min.Y, r.Max.X, r.Max.Y), c)
}

// column returns the pixel of a value of a horizontal axis, kept near the area.
func (p *painter) column(side Side, v float64) int {
	a := p.chart.area
	x := p.chart.view.x[side].Position(v, float64(a.Dx()))
	return a.Min.X + int(math.Round(min(max(x, -10), float64(a.Dx())+10)))
}

func (p *painter) row(v float64) int {
	a := p.chart.area
	y := p.chart.view.y.Position(v, float64(a.Dy()))
	return a.Min.Y + int(math.Round(min(max(y, -10), float64(a.Dy())+10)))
}

func (p *painter) shades() {
	a := p.chart.area
	shades := p.chart.content.Shades
	if side, from, to, ok := p.chart.Brush(); ok {
		shades = append(append([]Shade(nil), shades...), Shade{side, from, to, p.style.Brush})
	}
	defer clip.Rect(a).Push(p.gtx.Ops).Pop()
	for _, s := range shades {
		if p.chart.content.has(s.Side) {
			x, to := p.column(s.Side, s.From), p.column(s.Side, s.To)
			p.fill(image.Rect(x, a.Min.Y, max(to, x+1), a.Max.Y), s.Color)
		}
	}
}

func (p *painter) verticalAxis() {
	a := p.chart.area
	for _, t := range p.chart.view.y.Ticks(float64(a.Dy()), float64(p.line)*rowsApart) {
		if t.Label == "" {
			continue
		}
		y := p.row(t.Value)
		p.fill(image.Rect(a.Min.X, y, a.Max.X, y+1), p.style.Grid)
		p.text(t.Label, image.Pt(a.Min.X-p.gtx.Dp(6), y), 1, 0.5, p.style.Quiet)
	}
}

func (p *painter) horizontalAxis(side Side) {
	if !p.chart.content.has(side) {
		return
	}
	a, c := p.chart.area, p.style.Axis[side]
	outward, y, share := p.gtx.Dp(5), a.Max.Y, 0.0
	if side == Upper {
		outward, y, share = -outward, a.Min.Y-1, 1
	}
	p.fill(image.Rect(a.Min.X, y, a.Max.X, y+1), c)
	before := math.MinInt
	for _, t := range p.chart.view.x[side].Ticks(float64(a.Dx()), float64(p.gtx.Dp(76))) {
		x := p.column(side, t.Value)
		length := outward
		if t.Label == "" {
			length = outward / 2
		}
		p.fill(image.Rect(x, min(y, y+length), x+1, max(y, y+length)+1), c)
		if t.Label == "" {
			continue
		}
		draw, size := p.shaped(t.Label, c)
		left := min(max(x-size.X/2, 0), p.gtx.Constraints.Max.X-size.X)
		if left < before {
			continue
		}
		before = left + size.X + p.gtx.Dp(4)
		offset := op.Offset(image.Pt(left, y+outward+map[bool]int{true: p.gtx.Dp(1), false: -p.gtx.Dp(1)}[side == Lower]-int(share*float64(size.Y)))).Push(p.gtx.Ops)
		draw.Add(p.gtx.Ops)
		offset.Pop()
	}
	if p.chart.content.has(1-side) && p.chart.Active == side { // which of the two the keys move
		p.fill(image.Rect(a.Min.X, y-1, a.Max.X, y+2), c)
	}
}

func (p *painter) limits() {
	for _, l := range p.chart.content.Limits {
		if left, right := p.limitEnds(l); left < right {
			y := p.row(l.Level)
			p.fill(image.Rect(left, y, right, y+max(p.gtx.Dp(1), 1)), l.Color)
		}
	}
}

func (p *painter) limitEnds(l Limit) (left, right int) {
	a := p.chart.area
	switch {
	case l.From == l.To:
		return a.Min.X, a.Max.X
	case !p.chart.content.has(l.Side):
		return 0, 0
	}
	return max(p.column(l.Side, l.From), a.Min.X), min(p.column(l.Side, l.To), a.Max.X)
}

// freest is where a label of a limit from left to right in a row covers least of the traces:
// over the limit, under it, or beside it.
func (p *painter) freest(size image.Point, left, right, row int) image.Point {
	a, near, air := p.chart.area, p.gtx.Dp(6), p.gtx.Dp(2)
	over, under := row-size.Y-air, row+2*air
	places := []image.Point{{left + near, over}, {(left + right - size.X) / 2, over}, {right - size.X - near, over},
		{left + near, under}, {(left + right - size.X) / 2, under}, {right - size.X - near, under},
		{right + near, row - size.Y/2}, {left - near - size.X, row - size.Y/2}}
	best, least := places[0], math.MaxInt
	for _, at := range places {
		at.X = max(min(at.X, a.Max.X-size.X-near), a.Min.X)
		at.Y = max(min(at.Y, a.Max.Y-size.Y), a.Min.Y)
		covered := 0
		label := image.Rectangle{Min: at, Max: at.Add(size)}.Inset(-air)
		for _, f := range p.chart.flags { // as they stood; they are drawn over all
			if f.Overlaps(label) {
				covered += size.X
			}
		}
		label = label.Sub(a.Min)
		for i := range p.chart.content.Traces {
			if i < keptTraces {
				covered += crossings(p.chart.kept[i].line, label)
			}
		}
		if covered < least {
			best, least = at, covered
		}
		if least == 0 {
			break
		}
	}
	return best
}

// crossings counts the pieces of a line that touch a rectangle.
func crossings(line []Dot, r image.Rectangle) int {
	left, right, top, bottom := float64(r.Min.X), float64(r.Max.X), float64(r.Min.Y), float64(r.Max.Y)
	n := 0
	for i := 1; i < len(line); i++ {
		from, to := line[i-1], line[i]
		if math.IsNaN(from.Y) || math.IsNaN(to.Y) || from.X > right || to.X < left {
			continue
		}
		// Its height where it is over the rectangle; a line goes from left to right.
		y0, y1 := from.Y, to.Y
		if wide := to.X - from.X; wide > 0 {
			slope := (to.Y - from.Y) / wide
			y0, y1 = from.Y+slope*(math.Max(from.X, left)-from.X), from.Y+slope*(math.Min(to.X, right)-from.X)
		}
		if math.Max(y0, y1) >= top && math.Min(y0, y1) <= bottom {
			n++
		}
	}
	return n
}

// limitLabels come over the traces, on a ground of their own.
func (p *painter) limitLabels() {
	for _, l := range p.chart.content.Limits {
		left, right := p.limitEnds(l)
		if left >= right || l.Label == "" {
			continue
		}
		draw, size := p.shaped(l.Label, l.Color)
		at := p.freest(size, left, right, p.row(l.Level))
		ground := p.style.Ground
		ground.A = 215
		p.fill(image.Rectangle{Min: at, Max: at.Add(size)}.Inset(-p.gtx.Dp(1)), ground)
		offset := op.Offset(at).Push(p.gtx.Ops)
		draw.Add(p.gtx.Ops)
		offset.Pop()
	}
}

// traces draws those that lie under the others first.
func (p *painter) traces() {
	defer op.Offset(p.chart.area.Min).Push(p.gtx.Ops).Pop()
	p.layer(true)
	p.layer(false)
}

func (p *painter) layer(under bool) {
	a := p.chart.area
	for i, t := range p.chart.content.Traces {
		if t.Under != under || t.Series == nil || !p.chart.content.has(t.Side) || i >= keptTraces {
			continue
		}
		width := t.Width
		if width == 0 {
			width = 1.2
		}
		kept := &p.chart.kept[i]
		key := traceKey{t.Series, p.chart.view.x[t.Side], p.chart.view.y, a.Size(), t.Color, width, t.Pattern, p.gtx.Metric.PxPerDp}
		if kept.key != key {
			kept.key = key
			kept.ops.Reset()
			macro := op.Record(&kept.ops)
			kept.line = stroke(&kept.ops, key)
			kept.call = macro.Stop()
		}
		kept.call.Add(p.gtx.Ops)
	}
}

// stroke draws a trace from the corner of the area and returns its line.
func stroke(ops *op.Ops, k traceKey) []Dot {
	line := k.series.Polyline(nil, k.x, k.y, float64(k.size.X), float64(k.size.Y))
	strokeLine(ops, patterned(line, k.pattern, float64(k.density)), k.width*k.density, k.color)
	return line
}

// patterned breaks a line as its pattern says; scale is the pixels of a dp.
func patterned(line []Dot, pattern Pattern, scale float64) []Dot {
	switch pattern {
	case Dashed:
		return Dashes(nil, line, 6*scale, 4*scale)
	case Dotted:
		return Dashes(nil, line, 1.8*scale, 4.2*scale)
	}
	return line
}

// strokeLine draws a line that NaN dots break.
func strokeLine(ops *op.Ops, line []Dot, width float32, c color.NRGBA) {
	var path clip.Path
	path.Begin(ops)
	pen, drawn := false, 0
	for _, d := range line {
		if math.IsNaN(d.Y) {
			pen = false
			continue
		}
		to := f32.Pt(float32(d.X), float32(d.Y))
		if pen {
			path.LineTo(to)
			drawn++
		} else {
			path.MoveTo(to)
		}
		pen = true
	}
	shape := path.End()
	if drawn > 0 {
		paint.FillShape(ops, c, clip.Stroke{Path: shape, Width: width}.Op())
	}
}

func (p *painter) markers() {
	a := p.chart.area
	for i, m := range p.chart.Markers {
		if !p.chart.content.has(m.Side) {
			continue
		}
		x := p.column(m.Side, m.X)
		p.fill(image.Rect(x, a.Min.Y, x+max(p.gtx.Dp(1), 1), a.Max.Y), p.style.Axis[m.Side])
		label := string(rune('A' + i%26))
		at, share := image.Pt(x+p.gtx.Dp(4), a.Max.Y-p.gtx.Dp(2)), 1.0
		if m.Side == Upper {
			at.Y, share = a.Min.Y+p.gtx.Dp(2), 0
		}
		p.text(label, at, 0, share, p.style.Axis[m.Side])
	}
}

// MarkerReading says in words where a marker stands, what the traces show there,
// and how far the marker before it on the same axis is.
func (c *Chart) MarkerReading(i int) string {
	m := c.Markers[i]
	quantity := c.content.X[m.Side].Quantity
	width, height := c.size()
	parts := []string{string(rune('A'+i%26)) + " " + quantity.Write(m.X, c.view.x[m.Side].Resolution(m.X, width))}
	reading := func(x float64) (Reading, bool) {
		if r := c.content.Readings(m.Side, x); len(r) > 0 {
			return r[0], true
		}
		return Reading{}, false
	}
	here, ok := reading(m.X)
	if ok {
		parts = append(parts, c.content.Y.Quantity.Write(here.Y, c.view.y.Resolution(here.Y, height)))
	}
	for k := i - 1; k >= 0; k-- {
		if o := c.Markers[k]; o.Side == m.Side {
			parts = append(parts, "from "+string(rune('A'+k%26))+" "+quantity.Write(m.X-o.X, c.view.x[m.Side].Resolution(m.X, width)))
			if there, also := reading(o.X); ok && also {
				parts = append(parts, c.content.Y.Quantity.Write(here.Y-there.Y, c.view.y.Resolution(here.Y, height)))
			}
			break
		}
	}
	return strings.Join(parts, " · ")
}

func (p *painter) crosshair() {
	side, v, ok := p.chart.Crosshair()
	if !ok {
		return
	}
	a := p.chart.area
	x := a.Min.X + int(math.Round(p.chart.cross))
	p.fill(image.Rect(x, a.Min.Y, x+1, a.Max.Y), p.style.Quiet)
	for _, t := range p.chart.content.Traces {
		if t.Side != side || t.Series == nil {
			continue
		}
		if y := t.Series.At(v); !math.IsNaN(y) && !math.IsInf(y, 0) {
			at, r := image.Pt(x, p.row(y)), p.gtx.Dp(3)
			paint.FillShape(p.gtx.Ops, t.Color, clip.Ellipse{Min: at.Sub(image.Pt(r, r)), Max: at.Add(image.Pt(r, r))}.Op(p.gtx.Ops))
		}
	}
}

func (p *painter) flags() {
	a := p.chart.area
	p.chart.flags = p.chart.flags[:0]
	for _, f := range p.chart.content.Flags {
		w, h := p.gtx.Dp(18), p.gtx.Dp(16)
		x := p.column(Lower, f.At)
		if !p.chart.content.has(Lower) || x < a.Min.X || x > a.Max.X {
			p.chart.flags = append(p.chart.flags, image.Rectangle{})
			continue
		}
		foot := a.Min.Y + h + p.gtx.Dp(6)
		if !math.IsNaN(f.Level) {
			foot = max(min(p.row(f.Level), a.Max.Y), foot)
		}
		box := image.Rect(x, foot-h-p.gtx.Dp(6), x+w, foot-p.gtx.Dp(6))
		for _, o := range p.chart.flags {
			if box.Overlaps(o) {
				box = box.Sub(image.Pt(0, box.Max.Y-o.Min.Y+2))
			}
		}
		p.fill(image.Rect(x, box.Min.Y, x+max(p.gtx.Dp(1), 1), foot), f.Color)
		p.fill(box, f.Color)
		if f.Selected {
			p.frame(box.Inset(-p.gtx.Dp(2)), f.Color, max(p.gtx.Dp(1), 1))
		}
		p.text(f.Label, box.Min.Add(box.Size().Div(2)), 0.5, 0.5, f.On)
		p.chart.flags = append(p.chart.flags, box)
	}
}

// dragged shows the box or the stretch that is being drawn.
func (p *painter) dragged() {
	a, d := p.chart.area, p.chart.drag
	switch d.grip {
	case boxing:
		r := image.Rect(int(d.from.X), int(d.from.Y), int(d.to.X), int(d.to.Y)).Add(a.Min).Intersect(a)
		p.fill(r, p.style.Brush)
		p.frame(r, p.style.Ink, 1)
	case brushing:
		p.fill(image.Rect(int(d.from.X), 0, int(d.to.X), a.Dy()).Add(a.Min).Intersect(a), p.style.Brush)
	}
}
