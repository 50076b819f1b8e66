package bench

import (
	"image"
	"os"
	"strings"
	"testing"
	"time"

	"gioui.org/f32"
	"gioui.org/gpu/headless"
	"gioui.org/io/event"
	"gioui.org/io/input"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/unit"

	"downlead/ui/theme"
)

// rig is a window without a system: a router and the bench.
type rig struct {
	t      testing.TB
	router input.Router
	ops    op.Ops
	size   image.Point
	bench  *Bench
	theme  theme.Theme
	look   Look
	left   bool
	now    time.Time
	told   chan struct{}
}

func newRig(t testing.TB, size image.Point) *rig {
	t.Helper()
	g := &rig{t: t, size: size, look: Look{Scale: 1}, now: time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC), told: make(chan struct{}, 1),
		theme: theme.Theme{Shaper: theme.Shaper()}}
	b, err := New(Options{Notify: func() {
		select {
		case g.told <- struct{}{}:
		default:
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	g.bench = b
	t.Cleanup(b.Close)
	g.frame() // events before the first frame are lost
	g.settle()
	return g
}

func (g *rig) frame(events ...event.Event) {
	g.router.Queue(events...)
	g.ops.Reset()
	g.theme.Palette, g.theme.Scale = theme.Light(), g.look.Scale
	if g.look.Dark {
		g.theme.Palette = theme.Dark()
	}
	g.left = g.bench.Frame(layout.Context{Ops: &g.ops, Now: g.now, Source: g.router.Source(), Metric: unit.Metric{PxPerDp: 1, PxPerSp: 1}, Constraints: layout.Exact(g.size)}, g.theme, &g.look)
	g.router.Frame(&g.ops)
}

// settle draws frames until no job runs any more, which is so when it is so twice:
// taking a result may start another.
func (g *rig) settle() {
	g.t.Helper()
	for idle := 0; idle < 2; {
		g.frame()
		g.frame()
		if !g.bench.Busy() {
			idle++
			continue
		}
		idle = 0
		<-g.told
	}
}

func (g *rig) picture() *image.RGBA {
	w, err := headless.NewWindow(g.size.X, g.size.Y)
	if err != nil {
		if os.Getenv("CI") != "" {
			g.t.Fatalf("no headless drawing: %v", err)
		}
		g.t.Skipf("no headless drawing here (set EGL_PLATFORM=surfaceless): %v", err)
	}
	defer w.Release()
	img := image.NewRGBA(image.Rectangle{Max: g.size})
	if err := w.Frame(&g.ops); err != nil {
		g.t.Fatal(err)
	}
	if err := w.Screenshot(img); err != nil {
		g.t.Fatal(err)
	}
	return img
}

// find returns where the control with the label stands; a label that begins so will
// do.
func (g *rig) find(label string) (image.Rectangle, bool) {
	var walk func(nodes []input.SemanticNode) (image.Rectangle, bool)
	walk = func(nodes []input.SemanticNode) (image.Rectangle, bool) {
		for _, n := range nodes {
			if strings.HasPrefix(n.Desc.Label, label) {
				return n.Desc.Bounds, true
			}
			if r, ok := walk(n.Children); ok {
				return r, true
			}
		}
		return image.Rectangle{}, false
	}
	all := g.router.AppendSemantics(nil)
	if len(all) == 0 {
		return image.Rectangle{}, false
	}
	return walk(all[:1])
}

// where is the middle of the control with the label.
func (g *rig) where(label string) image.Point {
	g.t.Helper()
	r, ok := g.find(label)
	if !ok {
		g.t.Fatalf("nothing is called %q", label)
	}
	return r.Min.Add(r.Size().Div(2))
}

func mouse(kind pointer.Kind, at image.Point) pointer.Event {
	e := pointer.Event{Kind: kind, Source: pointer.Mouse, Position: f32.Pt(float32(at.X), float32(at.Y))}
	if kind == pointer.Press || kind == pointer.Move {
		e.Buttons = pointer.ButtonPrimary
	}
	return e
}

func (g *rig) click(label string) {
	g.t.Helper()
	at := g.where(label)
	g.frame(mouse(pointer.Press, at))
	g.frame(mouse(pointer.Release, at))
	g.frame()
}

// dragTo presses at one place, goes to another in steps, and lets go.
func (g *rig) dragTo(from, to image.Point) {
	g.frame(mouse(pointer.Press, from))
	for k := 1; k <= 4; k++ {
		g.frame(mouse(pointer.Move, from.Add(to.Sub(from).Mul(k).Div(4))))
	}
	g.frame(mouse(pointer.Release, to))
	g.frame()
}

func (g *rig) press(name key.Name, mods key.Modifiers) {
	g.frame(key.Event{Name: name, Modifiers: mods, State: key.Press})
	g.frame(key.Event{Name: name, Modifiers: mods, State: key.Release})
	g.frame()
}

// onLine is the place in the window of metres on the drawn line.
func (g *rig) onLine(m float64) image.Point {
	g.t.Helper()
	r, ok := g.find("the line")
	if !ok {
		g.t.Fatal("no line is drawn")
	}
	return r.Min.Add(image.Pt(g.bench.column(m), (g.bench.board.area.Min.Y+g.bench.board.area.Max.Y)/2))
}
