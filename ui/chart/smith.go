package chart

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"math/cmplx"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/pointer"
	"gioui.org/io/semantic"
	"gioui.org/layout"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
)

// Smith is the state of a chart of reflection in the plane of Γ with the circles of
// constant resistance and reactance (P. H. Smith, Electronics 12, 1939). The wheel zooms,
// dragging moves. The zero value is ready.
type Smith struct {
	zoom    float64 // 1: the unit circle fills the chart; 0: 1
	centre  complex128
	dragged f32.Point
	held    bool
	hover   f32.Point
	over    bool
}

// Locus is a curve in the plane of Γ.
type Locus struct {
	Name        string
	FrequencyHz []float64
	Gamma       []complex128 // one for each frequency; those that are not finite are left out
	Color       color.NRGBA
	Width       float32 // dp; 0: 1.3
	Pattern     Pattern
}

// SmithContent is what a Smith chart shows. The first locus is read under the pointer.
type SmithContent struct {
	Loci         []Locus
	ReferenceOhm float64 // in the middle; 0: 50
	LimitVSWR    float64 // a circle; 1 or less: none
	LimitColor   color.NRGBA
}

const mostSmithZoom = 50

// plane places Γ in pixels.
type plane struct {
	middle f32.Point
	radius float64
	centre complex128
}

func (p plane) point(g complex128) f32.Point {
	z := g - p.centre
	return f32.Pt(p.middle.X+float32(real(z)*p.radius), p.middle.Y-float32(imag(z)*p.radius))
}

func (p plane) gamma(at f32.Point) complex128 {
	return complex(float64(at.X-p.middle.X)/p.radius, -float64(at.Y-p.middle.Y)/p.radius) + p.centre
}

func (s *Smith) plane(size image.Point, margin int) plane {
	if s.zoom == 0 {
		s.zoom = 1
	}
	return plane{f32.Pt(float32(size.X)/2, float32(size.Y)/2), math.Max(float64(min(size.X, size.Y)/2-margin), 1) * s.zoom, s.centre}
}

// Layout drains the events of the last frame and draws the chart over all of
// gtx.Constraints.Max.
func (s *Smith) Layout(gtx layout.Context, style Style, c SmithContent) layout.Dimensions {
	size := gtx.Constraints.Max
	at := s.plane(size, gtx.Dp(16))
	for {
		e, ok := gtx.Event(pointer.Filter{Target: s, Kinds: pointer.Press | pointer.Drag | pointer.Release | pointer.Cancel | pointer.Scroll | pointer.Move | pointer.Leave,
			ScrollY: pointer.ScrollRange{Min: -1e6, Max: 1e6}})
		if !ok {
			break
		}
		if e, is := e.(pointer.Event); is {
			s.pointer(e, at)
		}
	}
	at = s.plane(size, gtx.Dp(16))
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	semantic.LabelOp("Smith chart").Add(gtx.Ops)
	event.Op(gtx.Ops, s)
	pointer.CursorCrosshair.Add(gtx.Ops)
	p := painter{gtx: gtx, style: style}
	if c.ReferenceOhm == 0 {
		c.ReferenceOhm = 50
	}
	p.smithGrid(at, &c)
	for i := len(c.Loci) - 1; i >= 0; i-- {
		p.locus(at, &c.Loci[i])
	}
	if s.over && len(c.Loci) > 0 {
		p.smithReading(at, s.hover, &c)
	}
	return layout.Dimensions{Size: size}
}

func (s *Smith) pointer(e pointer.Event, p plane) {
	switch e.Kind {
	case pointer.Press:
		s.held, s.dragged = true, e.Position
	case pointer.Drag:
		if s.held {
			s.centre -= complex(float64(e.Position.X-s.dragged.X)/p.radius, -float64(e.Position.Y-s.dragged.Y)/p.radius)
			s.dragged = e.Position
		}
	case pointer.Release, pointer.Cancel:
		s.held = false
	case pointer.Move:
		s.hover, s.over = e.Position, true
	case pointer.Leave:
		s.over = false
	case pointer.Scroll:
		about := p.gamma(e.Position)
		before := s.zoom
		s.zoom = min(max(s.zoom*math.Exp(-min(max(float64(e.Scroll.Y)*wheelScale, -wheelMost), wheelMost)), 1), mostSmithZoom)
		if s.zoom == 1 {
			s.centre = 0
			return
		}
		s.centre = about + (s.centre-about)*complex(before/s.zoom, 0)
	}
	if cmplx.Abs(s.centre) > 1 {
		s.centre /= complex(cmplx.Abs(s.centre), 0)
	}
}

// smithValues are resistances and reactances that have circles, over the reference.
func smithValues() []float64 { return []float64{0.2, 0.5, 1, 2, 5} }

// smithGrid draws the unit circle and the circles of resistance and reactance.
func (p *painter) smithGrid(at plane, c *SmithContent) {
	gtx := p.gtx
	ring := func(centre complex128, radius float64, c color.NRGBA) {
		middle := at.point(centre)
		r := float32(radius * at.radius)
		if r > 20000 {
			return
		}
		rect := image.Rect(int(middle.X-r), int(middle.Y-r), int(middle.X+r), int(middle.Y+r))
		paint.FillShape(gtx.Ops, c, clip.Stroke{Path: clip.Ellipse(rect).Path(gtx.Ops), Width: 1}.Op())
	}
	func() {
		unit := at.point(0)
		r := float32(at.radius)
		defer clip.Ellipse(image.Rect(int(unit.X-r), int(unit.Y-r), int(unit.X+r), int(unit.Y+r))).Push(gtx.Ops).Pop()
		for _, v := range smithValues() {
			ring(complex(v/(1+v), 0), 1/(1+v), p.style.Grid)
			ring(complex(1, 1/v), 1/v, p.style.Grid)
			ring(complex(1, -1/v), 1/v, p.style.Grid)
		}
		left, right := at.point(-1), at.point(1)
		p.fill(image.Rect(int(left.X), int(left.Y), int(right.X), int(left.Y)+1), p.style.Grid)
	}()
	ring(0, 1, p.style.Quiet)
	if v := c.LimitVSWR; v > 1 {
		ring(0, (v-1)/(v+1), c.LimitColor)
	}
	for _, v := range smithValues() {
		g := at.point(complex((v-1)/(v+1), 0))
		p.text(fmt.Sprintf("%.0f Ω", v*c.ReferenceOhm), image.Pt(int(g.X)+2, int(g.Y)+1), 0, 0, p.style.Quiet)
	}
}

func (p *painter) locus(at plane, l *Locus) {
	line := make([]Dot, 0, len(l.Gamma))
	for _, g := range l.Gamma {
		if !cmplx.IsNaN(g) && !cmplx.IsInf(g) {
			where := at.point(g)
			line = append(line, Dot{float64(where.X), float64(where.Y)})
		}
	}
	width := l.Width
	if width == 0 {
		width = 1.3
	}
	strokeLine(p.gtx.Ops, patterned(line, l.Pattern, float64(p.gtx.Metric.PxPerDp)), width*p.gtx.Metric.PxPerDp, l.Color)
}

// smithReading marks the point of the first locus nearest to the pointer and reads it.
func (p *painter) smithReading(at plane, hover f32.Point, c *SmithContent) {
	l := &c.Loci[0]
	pointed, best := at.gamma(hover), -1
	for k, g := range l.Gamma {
		if best < 0 || cmplx.Abs(g-pointed) < cmplx.Abs(l.Gamma[best]-pointed) {
			best = k
		}
	}
	if best < 0 {
		return
	}
	g := l.Gamma[best]
	where, r := at.point(g), p.gtx.Dp(3)
	paint.FillShape(p.gtx.Ops, p.style.Ink, clip.Ellipse{Min: where.Round().Sub(image.Pt(r, r)), Max: where.Round().Add(image.Pt(r, r))}.Op(p.gtx.Ops))
	z := complex(c.ReferenceOhm, 0) * (1 + g) / (1 - g)
	f := l.FrequencyHz[best]
	text := fmt.Sprintf("%s · %.1f %+.1fj Ω · |Γ| %.3f ∠ %.0f°", Hertz.Write(f, f/1e5), real(z), imag(z), cmplx.Abs(g), cmplx.Phase(g)*180/math.Pi)
	p.text(text, image.Pt(p.gtx.Dp(8), p.gtx.Dp(4)), 0, 0, p.style.Ink)
}
