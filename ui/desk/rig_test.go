package desk

import (
	"context"
	"image"
	"sync"
	"testing"
	"time"

	"gioui.org/io/event"
	"gioui.org/layout"

	"downlead/dsp/diagnose"
	"downlead/ui/rig"
)

// deskRig is the desk in a window of its own.
type deskRig struct {
	*rig.Window
	t    testing.TB
	desk *Desk
}

func newRig(t testing.TB, size image.Point) *deskRig {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	g := &deskRig{Window: rig.New(t, size), t: t}
	g.desk = New(Options{Folder: t.TempDir(), Now: func() time.Time { return time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC) }, Notify: g.Notify})
	g.Draw = func(gtx layout.Context) { g.desk.Frame(gtx) }
	g.Busy = func() bool { return g.desk.busy() } // tests put another desk in its place
	t.Cleanup(g.desk.Close)
	g.frame()
	return g
}

func (g *deskRig) frame(events ...event.Event) { g.Frame(events...) }
func (g *deskRig) settle()                     { g.Settle(nil) }

// settlePicture is settle without waiting for the faults to be found anew, for
// tests that only look at what is drawn.
func (g *deskRig) settlePicture() {
	g.Settle(func() {
		g.desk.diagnosis.Stop()
		g.desk.compared.job.Stop()
	})
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
func demoRig(t testing.TB, size image.Point) *deskRig {
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
