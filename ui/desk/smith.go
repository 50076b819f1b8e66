package desk

import (
	"fmt"
	"image"
	"math"
	"math/cmplx"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"

	"downlead/ui/theme"
)

// smith is the reflection in the plane of Γ with the circles of constant
// resistance and reactance (P. H. Smith, Electronics 12, 1939).
type smith struct {
	zoom    float64 // 1: the unit circle fills the chart; 0: 1
	centre  complex128
	dragged f32.Point
	held    bool
	hover   f32.Point
	over    bool
}

const mostSmithZoom = 50

// toScreen places Γ in pixels.
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

func (s *smith) plane(size image.Point, margin int) plane {
	if s.zoom == 0 {
		s.zoom = 1
	}
	return plane{f32.Pt(float32(size.X)/2, float32(size.Y)/2), math.Max(float64(min(size.X, size.Y)/2-margin), 1) * s.zoom, s.centre}
}

func (d *Desk) layoutSmith(gtx layout.Context) layout.Dimensions {
	s := &d.plots.smith
	size := gtx.Constraints.Max
	p := s.plane(size, gtx.Dp(16))
	for {
		e, ok := gtx.Event(pointer.Filter{Target: s, Kinds: pointer.Press | pointer.Drag | pointer.Release | pointer.Cancel | pointer.Scroll | pointer.Move | pointer.Leave,
			ScrollY: pointer.ScrollRange{Min: -1e6, Max: 1e6}})
		if !ok {
			break
		}
		if e, is := e.(pointer.Event); is {
			s.pointer(e, p)
		}
	}
	p = s.plane(size, gtx.Dp(16))
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	event.Op(gtx.Ops, s)
	pointer.CursorCrosshair.Add(gtx.Ops)
	d.smithGrid(gtx, p)
	if d.drawn == nil || len(d.drawn.smith) == 0 {
		return layout.Dimensions{Size: size}
	}
	var path clip.Path
	path.Begin(gtx.Ops)
	begun := false
	for _, g := range d.drawn.smith {
		if cmplx.IsNaN(g) || cmplx.IsInf(g) {
			continue
		}
		if at := p.point(g); begun {
			path.LineTo(at)
		} else {
			path.MoveTo(at)
			begun = true
		}
	}
	if shape := path.End(); begun {
		paint.FillShape(gtx.Ops, d.theme.Frequency, clip.Stroke{Path: shape, Width: 1.3 * gtx.Metric.PxPerDp}.Op())
	}
	d.smithReading(gtx, p)
	return layout.Dimensions{Size: size}
}

func (s *smith) pointer(e pointer.Event, p plane) {
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
		s.zoom = min(max(s.zoom*math.Exp(-min(max(float64(e.Scroll.Y)*0.015, -0.25), 0.25)), 1), mostSmithZoom)
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

// smithGrid draws the unit circle and the circles of resistance and reactance.
func (d *Desk) smithGrid(gtx layout.Context, p plane) {
	ring := func(centre complex128, radius float64, c theme.Color) {
		middle := p.point(centre)
		r := float32(radius * p.radius)
		if r > 20000 {
			return
		}
		rect := image.Rect(int(middle.X-r), int(middle.Y-r), int(middle.X+r), int(middle.Y+r))
		paint.FillShape(gtx.Ops, c, clip.Stroke{Path: clip.Ellipse(rect).Path(gtx.Ops), Width: 1}.Op())
	}
	func() {
		unit := p.point(0)
		r := float32(p.radius)
		defer clip.Ellipse(image.Rect(int(unit.X-r), int(unit.Y-r), int(unit.X+r), int(unit.Y+r))).Push(gtx.Ops).Pop()
		for _, v := range []float64{0.2, 0.5, 1, 2, 5} {
			ring(complex(v/(1+v), 0), 1/(1+v), d.theme.Edge)
			ring(complex(1, 1/v), 1/v, d.theme.Edge)
			ring(complex(1, -1/v), 1/v, d.theme.Edge)
		}
		left, right := p.point(-1), p.point(1)
		rectangle(gtx, image.Rect(int(left.X), int(left.Y), int(right.X), int(left.Y)+1), d.theme.Edge)
	}()
	ring(0, 1, d.theme.Quiet)
	if line := d.document().Line; line != nil {
		if v := line.Limits.LimitVSWR(); v > 1 {
			ring(0, (v-1)/(v+1), d.theme.Out)
		}
	}
	reference := 50.0
	if d.drawn != nil && d.drawn.referenceOhm > 0 {
		reference = d.drawn.referenceOhm
	}
	for _, v := range []float64{0.2, 0.5, 1, 2, 5} {
		g := p.point(complex((v-1)/(v+1), 0))
		label := op.Offset(image.Pt(int(g.X)+2, int(g.Y)+1)).Push(gtx.Ops)
		d.small(fmt.Sprintf("%.0f Ω", v*reference), d.theme.Quiet)(gtx)
		label.Pop()
	}
}

// smithReading marks the point of the sweep nearest to the pointer and reads it.
func (d *Desk) smithReading(gtx layout.Context, p plane) {
	s := &d.plots.smith
	if !s.over {
		return
	}
	at, best := p.gamma(s.hover), -1
	for k, g := range d.drawn.smith {
		if best < 0 || cmplx.Abs(g-at) < cmplx.Abs(d.drawn.smith[best]-at) {
			best = k
		}
	}
	g := d.drawn.smith[best]
	where, r := p.point(g), gtx.Dp(3)
	paint.FillShape(gtx.Ops, d.theme.Ink, clip.Ellipse{Min: where.Round().Sub(image.Pt(r, r)), Max: where.Round().Add(image.Pt(r, r))}.Op(gtx.Ops))
	z := complex(d.drawn.referenceOhm, 0) * (1 + g) / (1 - g)
	f := d.drawn.smithHz[best]
	text := fmt.Sprintf("%s · %.1f %+.1fj Ω · |Γ| %.3f ∠ %.0f°", hertz(f), real(z), imag(z), cmplx.Abs(g), cmplx.Phase(g)*180/math.Pi)
	offset := op.Offset(image.Pt(gtx.Dp(8), gtx.Dp(4))).Push(gtx.Ops)
	d.words(text, d.theme.Ink)(gtx)
	offset.Pop()
}
