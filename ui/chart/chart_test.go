package chart

import (
	"image"
	"image/color"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/unit"
)

func (g *rig) key(name key.Name, mods key.Modifiers) {
	g.frame(key.Event{Name: name, Modifiers: mods, State: key.Press}, key.Event{Name: name, Modifiers: mods, State: key.Release})
}

func (g *rig) with(e pointer.Event, mods key.Modifiers) pointer.Event {
	e.Modifiers = mods
	return e
}

// span is the part of an axis that is seen.
func (g *rig) span(side Side) (low, high float64) {
	a := g.chart.View(side)
	return a.Low, a.High
}

func near(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

func TestWheelZoomsAboutThePointer(t *testing.T) {
	g := newRig(sample())
	wheel := g.at(pointer.Scroll, 0.5, 0.5)
	wheel.Scroll = f32.Pt(0, -10)
	g.frame(wheel)
	low, high := g.span(Lower)
	if want := 60 * math.Exp(-0.15); !near(high-low, want, 0.1) || !near((low+high)/2, 30, 0.1) {
		t.Errorf("%g to %g, want %g about 30", low, high, want)
	}
	if l, h := g.span(Upper); l != 25e6 || h != 1.2e9 {
		t.Errorf("the other axis moved too: %g to %g", l, h)
	}
	// Over the upper margin the upper axis moves, with Ctrl the vertical one.
	above := g.at(pointer.Scroll, 0.5, -0.02)
	above.Scroll = f32.Pt(0, -10)
	g.frame(above)
	if l, h := g.span(Upper); h-l > 1.175e9*0.9 {
		t.Errorf("the upper axis stays %g to %g", l, h)
	}
	wheel.Modifiers = key.ModCtrl
	g.frame(wheel)
	if y := g.chart.view.y; !near(y.High-y.Low, 60*math.Exp(-0.15), 0.2) {
		t.Errorf("the vertical axis is %+v", y)
	}
}

func TestDragMovesAndDoubleClickShowsAll(t *testing.T) {
	g := newRig(sample())
	g.chart.Show(Lower, 20, 30)
	g.frame(g.at(pointer.Press, 0.5, 0.5))
	g.frame(g.at(pointer.Move, 0.25, 0.5))
	g.frame(g.at(pointer.Release, 0.25, 0.5))
	if low, high := g.span(Lower); !near(low, 22.5, 0.05) || !near(high, 32.5, 0.05) {
		t.Errorf("%g to %g, want 22.5 to 32.5", low, high)
	}
	for i := range 2 {
		press, release := g.at(pointer.Press, 0.5, 0.5), g.at(pointer.Release, 0.5, 0.5)
		press.Time = time.Second + time.Duration(i)*100*time.Millisecond
		g.frame(press, release)
	}
	if low, high := g.span(Lower); low != 0 || high != 60 {
		t.Errorf("%g to %g, want all", low, high)
	}
}

func TestShiftDragBrushes(t *testing.T) {
	g := newRig(sample())
	g.frame(g.with(g.at(pointer.Press, 0.5, 0.5), key.ModShift))
	g.frame(g.with(g.at(pointer.Move, 0.6, 0.5), key.ModShift))
	g.frame(g.with(g.at(pointer.Release, 0.6, 0.5), key.ModShift))
	if len(g.events) != 1 {
		t.Fatalf("events %v", g.events)
	}
	b, ok := g.events[0].(Brushed)
	if !ok || b.Side != Lower || !near(b.From, 30, 0.05) || !near(b.To, 36, 0.05) {
		t.Errorf("%+v", g.events[0])
	}
	// Escape chooses nothing again.
	g.key(key.NameEscape, 0)
	if _, _, _, still := g.chart.Brush(); still || len(g.events) != 2 {
		t.Errorf("still chosen; events %v", g.events)
	}
}

func TestCtrlDragShowsABox(t *testing.T) {
	g := newRig(sample())
	g.frame(g.with(g.at(pointer.Press, 0.5, 0.25), key.ModCtrl))
	g.frame(g.with(g.at(pointer.Move, 0.75, 0.5), key.ModCtrl))
	g.frame(g.with(g.at(pointer.Release, 0.75, 0.5), key.ModCtrl))
	low, high := g.span(Lower)
	if y := g.chart.view.y; !near(low, 30, 0.1) || !near(high, 45, 0.1) || !near(y.Low, 15, 0.1) || !near(y.High, 30, 0.1) {
		t.Errorf("%g to %g, %+v", low, high, y)
	}
}

func TestMarkersByKeyAndByHand(t *testing.T) {
	g := newRig(sample())
	g.chart.SetCrosshair(12)
	g.router.Source().Execute(key.FocusCmd{Tag: &g.chart})
	g.frame()
	g.key("M", 0)
	if len(g.chart.Markers) != 1 || !near(g.chart.Markers[0].X, 12, 0.05) {
		t.Fatalf("markers %v", g.chart.Markers)
	}
	share := g.chart.Markers[0].X / 60
	g.frame(g.at(pointer.Press, share, 0.9))
	g.frame(g.at(pointer.Move, 0.75, 0.9))
	g.frame(g.at(pointer.Release, 0.75, 0.9))
	if !near(g.chart.Markers[0].X, 45, 0.1) {
		t.Errorf("the marker is at %g, want 45", g.chart.Markers[0].X)
	}
	last, ok := g.events[len(g.events)-1].(MarkersChanged)
	if !ok || len(last.Before) != 1 || !near(last.Before[0].X, 12, 0.05) {
		t.Errorf("the last event is %+v, want the marker as it was before", last)
	}
	g.key("M", 0) // at the crosshair, which went along
	g.chart.SetCrosshair(20)
	g.key("M", 0)
	if text := g.chart.MarkerReading(2); text == "" || !contains(text, "from B") {
		t.Errorf("a marker reads %q", text)
	}
	g.key(key.NameDeleteForward, 0)
	if len(g.chart.Markers) != 2 {
		t.Errorf("%d markers", len(g.chart.Markers))
	}
}

func contains(text, part string) bool {
	for i := range text {
		if len(text[i:]) >= len(part) && text[i:i+len(part)] == part {
			return true
		}
	}
	return false
}

func TestKeysMoveAndScale(t *testing.T) {
	g := newRig(sample())
	g.router.Source().Execute(key.FocusCmd{Tag: &g.chart})
	g.frame()
	if !g.chart.Focused() {
		t.Fatal("no focus")
	}
	g.key("+", 0)
	low, high := g.span(Lower)
	if !near(high-low, 48, 0.01) {
		t.Errorf("closer: %g to %g", low, high)
	}
	g.key(key.NameRightArrow, 0)
	if l, _ := g.span(Lower); !near(l, low+4.8, 0.01) {
		t.Errorf("to the right: from %g, was %g", l, low)
	}
	g.key("X", 0)
	g.key("+", 0)
	if l, h := g.span(Upper); !near(h-l, 1.175e9/1.25, 1e6) {
		t.Errorf("the other axis: %g to %g", l, h)
	}
	g.key("0", 0)
	if l, h := g.span(Lower); l != 0 || h != 60 {
		t.Errorf("all: %g to %g", l, h)
	}
	g.key(key.NameRightArrow, key.ModCtrl)
	if _, _, ok := g.chart.Crosshair(); !ok {
		t.Error("no crosshair by key")
	}
}

func TestFlagsCanBePressed(t *testing.T) {
	g := newRig(sample())
	r := g.chart.flags[0]
	press := pointer.Event{Kind: pointer.Press, Source: pointer.Mouse, Buttons: pointer.ButtonPrimary, Position: f32.Pt(float32(r.Min.X+4), float32(r.Min.Y+4))}
	release := press
	release.Kind, release.Buttons = pointer.Release, 0
	g.frame(press, release)
	if len(g.events) != 1 || g.events[0] != (FlagPressed{0}) {
		t.Errorf("events %v", g.events)
	}
}

// New data keeps what is looked at; another quantity shows all.
func TestViewStaysWithNewData(t *testing.T) {
	g := newRig(sample())
	g.chart.Show(Lower, 20, 30)
	g.content.X[Lower].High = 70
	g.frame()
	if low, high := g.span(Lower); low != 20 || high != 30 {
		t.Errorf("%g to %g", low, high)
	}
	g.content.X[Lower].Quantity = Foot
	g.frame()
	if low, high := g.span(Lower); low != 0 || high != 70 {
		t.Errorf("%g to %g", low, high)
	}
}

// The trace is there in its colour where the data say, and a spike of one point
// among 100,001 is.
func TestPixels(t *testing.T) {
	s := &Series{}
	for k := range 100_001 {
		s.X, s.Y = append(s.X, float64(k)), append(s.Y, 50)
	}
	s.Y[40_000] = 5
	red := color.NRGBA{200, 0, 0, 255}
	g := newRig(Content{X: [2]Axis{{Quantity: Metre, Low: 0, High: 100_000}, {}}, Y: Axis{Quantity: Decibel, Low: 0, High: 60}, Traces: []Trace{{Series: s, Color: red, Width: 2}}})
	g.frame()
	img := g.picture(t)
	a := g.chart.area
	redAt := func(x, y float64) bool {
		for dx := -2; dx <= 2; dx++ {
			for dy := -2; dy <= 2; dy++ {
				c := img.RGBAAt(a.Min.X+int(x*float64(a.Dx()))+dx, a.Min.Y+int(y*float64(a.Dy()))+dy)
				if c.R > 150 && c.G < 100 && c.B < 100 {
					return true
				}
			}
		}
		return false
	}
	if !redAt(0.2, 50.0/60) || !redAt(0.4, 10.0/60) || redAt(0.6, 10.0/60) {
		t.Errorf("line %v, spike %v, nothing elsewhere %v", redAt(0.2, 50.0/60), redAt(0.4, 10.0/60), !redAt(0.6, 10.0/60))
	}
}

// A line that lies under the others does so although it comes after them, and
// the first one stays what markers read.
func TestUnder(t *testing.T) {
	flat := &Series{X: []float64{0, 10}, Y: []float64{30, 30}}
	red, blue := color.NRGBA{200, 0, 0, 255}, color.NRGBA{0, 0, 200, 255}
	g := newRig(Content{X: [2]Axis{{Quantity: Metre, Low: 0, High: 10}, {}}, Y: Axis{Quantity: Decibel, Low: 0, High: 60},
		Traces: []Trace{{Series: flat, Color: red, Width: 2}, {Series: flat, Color: blue, Width: 8, Under: true}}})
	g.frame()
	img, a := g.picture(t), g.chart.area
	reds, blues := 0, 0
	for y := a.Min.Y; y < a.Max.Y; y++ {
		switch c := img.RGBAAt(a.Min.X+a.Dx()/2+7, y); {
		case c.R > 150 && c.B < 80:
			reds++
		case c.B > 150 && c.R < 80:
			blues++
		}
	}
	if reds < 1 || reds > 3 || blues < 4 {
		t.Errorf("%d rows of the upper line, %d of the one under it", reds, blues)
	}
}

// Whatever is done to a chart, it shows a part of the whole.
func TestMonkey(t *testing.T) {
	g := newRig(sample())
	r := rand.New(rand.NewPCG(5, 6))
	names := []key.Name{key.NameLeftArrow, key.NameRightArrow, key.NameUpArrow, key.NameDownArrow, "+", "-", "0", "M", "X", "B", key.NameDeleteForward, key.NameEscape}
	mods := []key.Modifiers{0, key.ModShift, key.ModCtrl, key.ModShift | key.ModCtrl}
	pressed := false
	for n := range 4000 {
		m := mods[r.IntN(len(mods))]
		x, y := r.Float64()*1.2-0.1, r.Float64()*1.2-0.1
		switch r.IntN(6) {
		case 0:
			if !pressed {
				g.frame(g.with(g.at(pointer.Press, x, y), m))
			} else {
				g.frame(g.with(g.at(pointer.Release, x, y), m))
			}
			pressed = !pressed
		case 1, 2:
			g.frame(g.with(g.at(pointer.Move, x, y), m))
		case 3:
			e := g.with(g.at(pointer.Scroll, x, y), m)
			e.Scroll = f32.Pt(float32(r.NormFloat64()*50), float32(r.NormFloat64()*50))
			g.frame(e)
		case 4:
			g.key(names[r.IntN(len(names))], m)
		case 5:
			g.content.X[Lower].High = 10 + 100*r.Float64()
			g.frame()
		}
		for side := range 2 {
			whole, seen := g.content.X[side], g.chart.view.x[side]
			if slack := 1e-6 * (whole.High - whole.Low); !(seen.Low < seen.High) || seen.Low < whole.Low-slack || seen.High > whole.High+slack {
				t.Fatalf("step %d: %+v of %+v", n, seen, whole)
			}
		}
		if len(g.chart.Markers) > 30 {
			g.chart.Markers = nil
		}
	}
}

func BenchmarkFrame100001(b *testing.B) {
	content := sample()
	content.Traces = []Trace{{Series: noisy(100_001, 1), Color: color.NRGBA{0, 0, 200, 255}}, {Series: noisy(100_001, 2), Color: color.NRGBA{200, 0, 0, 255}}}
	content.X = [2]Axis{{Quantity: Metre, Low: 0, High: 100_000}, {}}
	g := newRig(content)
	b.Run("still", func(b *testing.B) {
		for b.Loop() {
			g.frame()
		}
	})
	b.Run("moving", func(b *testing.B) {
		k := 0
		for b.Loop() {
			k++
			g.chart.Show(Lower, float64(k%1000), 90_000+float64(k%1000))
			g.frame()
		}
	})
}

// The label of a limit goes where it covers no trace: beside a limit that traces cross, over
// one that they lie below.
func TestLimitLabelKeepsClear(t *testing.T) {
	x := []float64{0, 100}
	for name, c := range map[string]struct {
		trace []float64
		clear func(label, limit image.Point) bool
	}{
		"below":  {[]float64{50, 50}, func(label, limit image.Point) bool { return label.Y < limit.Y }},
		"above":  {[]float64{12, 12}, func(label, limit image.Point) bool { return label.Y > limit.Y }},
		"across": {[]float64{0, 40}, nil},
	} {
		content := Content{Y: Axis{Low: 0, High: 60}, Traces: []Trace{{Series: &Series{X: x, Y: c.trace}, Side: Upper}}, Limits: []Limit{{Label: "limit 14.0 dB", Level: 14, Side: Upper}}}
		content.X[Upper] = Axis{Low: 0, High: 100}
		g := newRig(content)
		chart := &g.chart
		p := painter{gtx: layout.Context{Metric: unit.Metric{PxPerDp: 1, PxPerSp: 1}}, style: g.style, chart: chart}
		size := image.Pt(100, 16)
		row := p.row(14)
		at := p.freest(size, chart.area.Min.X, chart.area.Max.X, row)
		if n := crossings(chart.kept[0].line, image.Rectangle{Min: at, Max: at.Add(size)}.Sub(chart.area.Min)); n > 0 {
			t.Errorf("%s: the label at %v lies on the trace", name, at)
		}
		if c.clear != nil && !c.clear(at, image.Pt(0, row)) {
			t.Errorf("%s: the label is at %v, the limit in row %d", name, at, row)
		}
	}
}

// A Smith chart reads the point under the pointer, zooms about it and moves; the middle of
// the circle is the reference, its right edge an open end.
func TestSmith(t *testing.T) {
	var s Smith
	content := SmithContent{ReferenceOhm: 50, LimitVSWR: 1.5, Loci: []Locus{{FrequencyHz: []float64{1e9, 2e9}, Gamma: []complex128{0.5i, 1}}}}
	g := newRig(sample())
	draw := func(events ...event.Event) {
		g.router.Queue(events...)
		g.ops.Reset()
		s.Layout(layout.Context{Ops: &g.ops, Source: g.router.Source(), Metric: unit.Metric{PxPerDp: 1, PxPerSp: 1}, Constraints: layout.Exact(g.size)}, g.style, content)
		g.router.Frame(&g.ops)
	}
	draw()
	at := s.plane(g.size, 16)
	open := at.point(1)
	if got := at.gamma(open); cmplx.Abs(got-1) > 1e-6 || open.X != 400+234 || open.Y != 250 {
		t.Fatalf("an open end stands at %v and reads %v", open, got)
	}
	wheel := pointer.Event{Kind: pointer.Scroll, Source: pointer.Mouse, Position: open, Scroll: f32.Pt(0, -20)}
	draw(wheel)
	draw()
	if s.zoom <= 1 {
		t.Fatalf("the wheel zooms to %g", s.zoom)
	}
	if now := s.plane(g.size, 16).point(1); math.Hypot(float64(now.X-open.X), float64(now.Y-open.Y)) > 0.01 {
		t.Errorf("what was under the pointer is at %v, was at %v", now, open)
	}
	centre := s.centre
	draw(pointer.Event{Kind: pointer.Press, Source: pointer.Mouse, Position: open, Buttons: pointer.ButtonPrimary})
	draw(pointer.Event{Kind: pointer.Move, Source: pointer.Mouse, Position: open.Add(f32.Pt(-30, 0)), Buttons: pointer.ButtonPrimary})
	draw()
	if real(s.centre) <= real(centre) {
		t.Errorf("dragging to the left moves the middle from %v to %v", centre, s.centre)
	}
	content.Loci = nil // nothing to read is no trouble
	draw(pointer.Event{Kind: pointer.Move, Source: pointer.Mouse, Position: open})
	draw()
}
