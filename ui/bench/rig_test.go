package bench

import (
	"image"
	"testing"
	"time"

	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/layout"

	"downlead/ui/rig"
	"downlead/ui/theme"
)

// bench is the bench in a window of its own.
type benchRig struct {
	*rig.Window
	t     testing.TB
	bench *Bench
	theme theme.Theme
	look  Look
	left  bool
}

func newRig(t testing.TB, size image.Point) *benchRig {
	t.Helper()
	g := &benchRig{Window: rig.New(t, size), t: t, look: Look{Scale: 1}, theme: theme.Theme{Shaper: theme.Shaper()}}
	g.Now = time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC)
	b, err := New(Options{Notify: g.Notify})
	if err != nil {
		t.Fatal(err)
	}
	g.bench, g.Busy = b, b.Busy
	g.Draw = func(gtx layout.Context) {
		g.theme.Palette, g.theme.Scale = theme.Light(), g.look.Scale
		if g.look.Dark {
			g.theme.Palette = theme.Dark()
		}
		g.left = b.Frame(gtx, g.theme, &g.look)
	}
	t.Cleanup(b.Close)
	g.frame()
	g.settle()
	return g
}

func (g *benchRig) frame(events ...event.Event)               { g.Frame(events...) }
func (g *benchRig) settle()                                   { g.Settle(nil) }
func (g *benchRig) find(label string) (image.Rectangle, bool) { return g.Find(label) }
func (g *benchRig) dragTo(from, to image.Point)               { g.Drag(from, to) }
func (g *benchRig) press(name key.Name, mods key.Modifiers)   { g.Press(name, mods) }

// where is the middle of the control with the label.
func (g *benchRig) where(label string) image.Point {
	g.t.Helper()
	r, ok := g.Find(label)
	if !ok {
		g.t.Fatalf("nothing is called %q", label)
	}
	return rig.Middle(r)
}

func (g *benchRig) click(label string) {
	g.t.Helper()
	g.ClickAt(g.where(label))
}

// onLine is the place in the window of metres on the drawn line.
func (g *benchRig) onLine(m float64) image.Point {
	g.t.Helper()
	r, ok := g.Find("the line")
	if !ok {
		g.t.Fatal("no line is drawn")
	}
	return r.Min.Add(image.Pt(g.bench.column(m), (g.bench.board.area.Min.Y+g.bench.board.area.Max.Y)/2))
}
