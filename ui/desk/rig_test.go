package desk

import (
	"context"
	"image"
	"os"
	"sync"
	"testing"
	"time"

	"gioui.org/gpu/headless"
	"gioui.org/io/event"
	"gioui.org/io/input"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/unit"

	"downlead/dsp/diagnose"
)

// rig is a window without a system: a router and the desk.
type rig struct {
	t      testing.TB
	router input.Router
	ops    op.Ops
	size   image.Point
	scale  float32
	desk   *Desk
	told   chan struct{}
	clock  time.Time
}

func newRig(t testing.TB, size image.Point) *rig {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	g := &rig{t: t, size: size, scale: 1, told: make(chan struct{}, 1)}
	g.desk = New(Options{Folder: t.TempDir(), Now: func() time.Time { return time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC) },
		Notify: func() {
			select {
			case g.told <- struct{}{}:
			default:
			}
		}})
	t.Cleanup(g.desk.Close)
	g.frame() // events before the first frame are lost
	return g
}

func (g *rig) frame(events ...event.Event) {
	g.router.Queue(events...)
	g.ops.Reset()
	g.desk.Frame(layout.Context{Ops: &g.ops, Source: g.router.Source(), Now: g.clock, Metric: unit.Metric{PxPerDp: g.scale, PxPerSp: g.scale}, Constraints: layout.Exact(g.size)})
	g.router.Frame(&g.ops)
}

// settle draws frames until no job runs any more. A job that never ends is left
// to the time limit of the tests, which shows where it hangs.
func (g *rig) settle() { g.settleBut(func() {}) }

// settlePicture is settle without waiting for the faults to be found anew, for
// tests that only look at what is drawn.
func (g *rig) settlePicture() {
	g.settleBut(func() {
		g.desk.diagnosis.Stop()
		g.desk.compared.job.Stop()
	})
}

// settleBut is settle, with something done after every frame. A job may end
// between a frame and the question whether it runs; taking its result may start
// another, so nothing runs only when that is so twice.
func (g *rig) settleBut(do func()) {
	g.t.Helper()
	for idle := 0; idle < 2; {
		g.frame()
		g.frame()
		do()
		if !g.desk.busy() {
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

// madeDemo is the demonstration, made once for all tests.
var madeDemo = sync.OnceValues(demonstration)

// demoFindings are those of the demonstration, found once for all tests.
var demoFindings = sync.OnceValues(func() (*diagnose.Findings, error) {
	take, err := madeDemo()
	if err != nil {
		return nil, err
	}
	d := New(Options{})
	defer d.Close()
	take(d)
	doc := d.document()
	return diagnose.Run(context.Background(), doc.Sweep.Sweep, doc.Line, diagnose.Settings{Baseline: doc.Baseline.Sweep})
})

// demoComparison is the demonstration held against its earlier sweep.
var demoComparison = sync.OnceValues(func() (*diagnose.Comparison, error) {
	take, err := madeDemo()
	if err != nil {
		return nil, err
	}
	d := New(Options{})
	defer d.Close()
	take(d)
	doc := d.document()
	return diagnose.Compare(context.Background(), diagnose.Taken{Sweep: doc.Baseline.Sweep}, diagnose.Taken{Sweep: doc.Sweep.Sweep}, doc.Line, diagnose.Settings{})
})

// demoRig is a window with the demonstration and what is found in it.
func demoRig(t testing.TB, size image.Point) *rig {
	g := newRig(t, size)
	take, err := madeDemo()
	if err != nil {
		t.Fatal(err)
	}
	findings, err := demoFindings()
	if err != nil {
		t.Fatal(err)
	}
	take(g.desk)
	g.desk.diagnosis.Stop()
	g.desk.findings, g.desk.findErr = findings, nil
	comparison, err := demoComparison()
	if err != nil {
		t.Fatal(err)
	}
	doc := g.desk.document()
	g.desk.compared.of = comparedOf{g.desk.corrected, doc.Baseline.Sweep, doc.Line, doc.BandHz, doc.Every, findings, doc.Earlier}
	g.desk.setComparison(comparison, nil)
	g.desk.selected = g.desk.firstFault()
	g.desk.renewCards()
	g.desk.refresh()
	g.settle()
	return g
}
