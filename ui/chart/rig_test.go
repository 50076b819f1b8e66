package chart

import (
	"image"
	"image/color"
	"math"
	"testing"

	"gioui.org/f32"
	"gioui.org/font/gofont"
	"gioui.org/gpu/headless"
	"gioui.org/io/event"
	"gioui.org/io/input"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/text"
	"gioui.org/unit"
)

// rig is a window without a system: a router and the chart.
type rig struct {
	router  input.Router
	ops     op.Ops
	size    image.Point
	style   Style
	chart   Chart
	content Content
	events  []Event
}

func newRig(content Content) *rig {
	grey := func(v uint8) color.NRGBA { return color.NRGBA{v, v, v, 255} }
	g := &rig{size: image.Pt(800, 500), content: content, style: Style{
		Shaper:   text.NewShaper(text.NoSystemFonts(), text.WithCollection(gofont.Collection())),
		TextSize: 12, Ground: grey(255), Ink: grey(20), Quiet: grey(90), Grid: grey(225),
		Axis: [2]color.NRGBA{{0xB8, 0x48, 0x0A, 255}, {0x0B, 0x5C, 0xAD, 255}}, Brush: color.NRGBA{0xB8, 0x48, 0x0A, 40}, Focus: grey(60)}}
	g.frame() // events before the first frame are lost
	return g
}

func (g *rig) frame(events ...event.Event) {
	g.router.Queue(events...)
	g.ops.Reset()
	gtx := layout.Context{Ops: &g.ops, Source: g.router.Source(), Metric: unit.Metric{PxPerDp: 1, PxPerSp: 1}, Constraints: layout.Exact(g.size)}
	g.events = append(g.events, g.chart.Update(gtx, g.content)...)
	g.chart.Layout(gtx, g.style)
	g.router.Frame(&g.ops)
}

// at is a pointer event at a share of the area.
func (g *rig) at(kind pointer.Kind, x, y float64) pointer.Event {
	a := g.chart.area
	e := pointer.Event{Kind: kind, Source: pointer.Mouse, Position: f32.Pt(float32(float64(a.Min.X)+x*float64(a.Dx())), float32(float64(a.Min.Y)+y*float64(a.Dy())))}
	if kind == pointer.Press || kind == pointer.Move {
		e.Buttons = pointer.ButtonPrimary
	}
	return e
}

func (g *rig) picture(t testing.TB) *image.RGBA {
	w, err := headless.NewWindow(g.size.X, g.size.Y)
	if err != nil {
		t.Skipf("no headless drawing here (set EGL_PLATFORM=surfaceless): %v", err)
	}
	defer w.Release()
	img := image.NewRGBA(image.Rectangle{Max: g.size})
	if err := w.Frame(&g.ops); err != nil {
		t.Fatal(err)
	}
	if err := w.Screenshot(img); err != nil {
		t.Fatal(err)
	}
	return img
}

// sample is a chart of two domains with everything on it.
func sample() Content {
	frequency, along := &Series{}, &Series{}
	for k := range 1001 {
		f := 25e6 + float64(k)*1.175e6
		frequency.X = append(frequency.X, f)
		frequency.Y = append(frequency.Y, 12+6*math.Cos(f/4e6)+4*math.Sin(f/3e8))
		x := float64(k) * 0.06
		along.X = append(along.X, x)
		along.Y = append(along.Y, math.Min(58, 20+40*math.Pow((x-31)/2, 2)))
	}
	return Content{Name: "return loss",
		X:      [2]Axis{{Quantity: Metre, Low: 0, High: 60}, {Quantity: Hertz, Low: 25e6, High: 1.2e9}},
		Y:      Axis{Quantity: Decibel, Low: 0, High: 60},
		Traces: []Trace{{Name: "over frequency", Series: frequency, Side: Upper, Color: color.NRGBA{0x0B, 0x5C, 0xAD, 255}}, {Name: "along the line", Series: along, Color: color.NRGBA{0xB8, 0x48, 0x0A, 255}, Width: 1.6}},
		Limits: []Limit{{Label: "limit 14.0 dB (1.5:1)", Level: 14, Color: color.NRGBA{0xA3, 0x27, 0x1F, 255}}},
		Flags:  []Flag{{Label: "1", At: 31, Level: 20, Color: color.NRGBA{0xB8, 0x48, 0x0A, 255}, On: color.NRGBA{255, 255, 255, 255}, Selected: true}},
		Shades: []Shade{{Lower, 30, 32.6, color.NRGBA{0xB8, 0x48, 0x0A, 20}}}}
}
