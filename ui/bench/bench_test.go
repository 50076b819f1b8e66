package bench

import (
	"image"
	"math"
	"slices"
	"strings"
	"testing"

	"gioui.org/io/key"

	"downlead/dsp/simulate"
)

// twoFaults is a bench with A, a poor contact at the upper joint of the feeder, and B,
// 2 m of water at 20 m.
func twoFaults(t testing.TB, size image.Point) *benchRig {
	g := newRig(t, size)
	g.dragTo(g.where("tray: poor contact"), g.onLine(49))
	g.dragTo(g.where("tray: water in the cable"), g.onLine(20))
	g.settle()
	if n := len(g.bench.Setup().Faults); n != 2 {
		t.Fatalf("%d faults on the line: %s", n, g.bench.trouble)
	}
	return g
}

// A fault of connectors goes to the nearest joint, a stretch lies where it was let go,
// and both change the sweep; undoing takes each off in one step.
func TestDragFromTheTray(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	sound := g.bench.drawn.sweep
	g.dragTo(g.where("tray: poor contact"), g.onLine(49))
	g.settle()
	joints := g.bench.path.JointsM()
	s := g.bench.Setup()
	if len(s.Faults) != 1 || s.Faults[0].Cause != "poor-contact" || s.Faults[0].DistanceM != joints[3] {
		t.Fatalf("faults %+v, want a poor contact at the joint at %g m", s.Faults, joints[3])
	}
	if slices.Equal(sound.Gamma, g.bench.drawn.sweep.Gamma) {
		t.Error("the sweep did not follow")
	}
	g.dragTo(g.where("tray: water in the cable"), g.onLine(20))
	if f := g.bench.Setup().Faults[1]; math.Abs(f.DistanceM-20) > 0.1 || f.ExtentM != 2 {
		t.Errorf("the wet stretch lies at %g m, %g m long", f.DistanceM, f.ExtentM)
	}
	for want := 1; want >= 0; want-- {
		g.press("Z", key.ModCtrl)
		if n := len(g.bench.Setup().Faults); n != want {
			t.Fatalf("%d faults after undoing, want %d", n, want)
		}
	}
	g.press("Z", key.ModCtrl|key.ModShift)
	if n := len(g.bench.Setup().Faults); n != 1 {
		t.Errorf("%d faults after doing one again", n)
	}
	g.settle()
}

// What is dragged and let go beside the line is not on it.
func TestDropBesideTheLine(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	chip := g.where("tray: dent or kink")
	g.dragTo(chip, chip.Add(image.Pt(40, 3)))
	if n := len(g.bench.Setup().Faults); n != 0 {
		t.Errorf("%d faults", n)
	}
}

// Faults on the line are moved, made longer, and dragged off.
func TestDragOnTheLine(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	pin := func(i int) image.Point { // the lower half of what can be taken hold of
		r := g.bench.board.pins[i]
		line, _ := g.find("the line")
		return line.Min.Add(image.Pt(g.bench.column(g.bench.Setup().Faults[i].DistanceM), r.Max.Y-6))
	}
	from := pin(1)
	g.dragTo(from, image.Pt(g.onLine(30).X, from.Y))
	if f := g.bench.Setup().Faults[1]; math.Abs(f.DistanceM-30) > 0.15 || f.ExtentM != 2 {
		t.Errorf("moved to %g m, %g m long", f.DistanceM, f.ExtentM)
	}
	_, end := g.bench.span(1)
	g.dragTo(g.onLine(end), g.onLine(36))
	if f := g.bench.Setup().Faults[1]; math.Abs(f.DistanceM+f.ExtentM-36) > 0.15 {
		t.Errorf("its far end is at %g m, want 36 m", f.DistanceM+f.ExtentM)
	}
	from = pin(1)
	g.dragTo(from, from.Sub(image.Pt(0, 200)))
	if s := g.bench.Setup(); len(s.Faults) != 1 || s.Faults[0].Cause != "poor-contact" {
		t.Errorf("after dragging the water off: %+v", s.Faults)
	}
}

// Every move can be done by keys, and each asks for the frame that shows it.
func TestKeysOnFaults(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	do := func(name key.Name, mods key.Modifiers) {
		t.Helper()
		g.frame() // nothing is asked for any more
		g.frame(key.Event{Name: name, Modifiers: mods, State: key.Press})
		if _, asked := g.Router.WakeupTime(); !asked {
			t.Errorf("%s asks for no frame", name)
		}
		g.frame(key.Event{Name: name, Modifiers: mods, State: key.Release})
	}
	g.bench.selected = 0
	do(key.NameF6, 0)
	if g.bench.selected != 1 {
		t.Fatalf("F6 selects %d", g.bench.selected)
	}
	at := func() simulate.Fault { return g.bench.Setup().Faults[1] }
	before := at()
	do(key.NameRightArrow, 0)
	if got, want := at().DistanceM, before.DistanceM+g.bench.cellM(); math.Abs(got-want) > 1e-9 {
		t.Errorf("an arrow moves it to %g m, want %g m", got, want)
	}
	do(key.NameLeftArrow, key.ModShift)
	if got, want := at().DistanceM, before.DistanceM+g.bench.cellM()-0.01; math.Abs(got-want) > 1e-9 {
		t.Errorf("Shift and an arrow move it to %g m, want %g m", got, want)
	}
	do("+", 0)
	if at().ImpedanceDrop <= before.ImpedanceDrop {
		t.Error("+ makes it no worse")
	}
	do(key.NameF6, 0)
	do(key.NameLeftArrow, 0)
	if f := g.bench.Setup().Faults[0]; f.DistanceM != g.bench.path.JointsM()[2] {
		t.Errorf("an arrow moves a contact to %g m, want the joint before, %g m", f.DistanceM, g.bench.path.JointsM()[2])
	}
	do(key.NameDeleteForward, 0)
	if s := g.bench.Setup(); len(s.Faults) != 1 || s.Faults[0].Cause != "water-in-cable" {
		t.Errorf("after Delete: %+v", s.Faults)
	}
	do(key.NameF7, 0)
	do(key.NameReturn, 0)
	if s := g.bench.Setup(); len(s.Faults) != 2 || s.Faults[1].Cause != "open-circuit" {
		t.Errorf("Return on the tray: %+v", s.Faults)
	}
	for _, c := range []struct {
		name key.Name
		on   *bool
	}{{key.NameF2, &g.bench.each}, {key.NameF3, &g.bench.bounces}, {key.NameF4, &g.bench.ghosts}} {
		do(c.name, 0)
		if !*c.on {
			t.Errorf("%s switches nothing on", c.name)
		}
	}
	g.settle()
	if g.bench.drawn.lattice == nil || len(g.bench.drawn.alone) == 0 {
		t.Error("the waves are not taken apart")
	}
	do(key.NameF9, 0)
	if g.press(key.NameEscape, 0); g.bench.help.open {
		t.Error("help is open")
	}
}

// Esc and F9 leave.
func TestLeaving(t *testing.T) {
	for _, name := range []key.Name{key.NameEscape, key.NameF9} {
		g := newRig(t, image.Pt(1280, 720))
		g.frame(key.Event{Name: name, State: key.Press})
		if !g.left {
			t.Errorf("%s does not leave", name)
		}
	}
}

// Sliders turn by dragging in one step, and by keys.
func TestKnobs(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	at := g.where("turn points")
	steps := g.bench.history.Number()
	g.dragTo(at, at.Add(image.Pt(50, 0)))
	if n := g.bench.Setup().Points; n <= 1001 {
		t.Errorf("%d points", n)
	}
	g.press("Z", key.ModCtrl)
	if n := g.bench.Setup().Points; n != 1001 || g.bench.history.Number() != steps {
		t.Errorf("one step back from a slide: %d points", n)
	}
	g.click("turn points") // takes the focus, and sets what is under the pointer
	was := g.bench.Setup().Points
	g.press(key.NameRightArrow, 0)
	if n := g.bench.Setup().Points; n <= was {
		t.Errorf("an arrow turns %d points to %d", was, n)
	}
	g.settle()
	if n := len(g.bench.drawn.sweep.FrequencyHz); n != g.bench.Setup().Points {
		t.Errorf("%d points are drawn", n)
	}
}

// Two stretches cannot lie on each other: one that is dragged onto another stays where it
// last could be, and the foot says why.
func TestOverlapIsRefused(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	g.dragTo(g.where("tray: cable of the wrong"), g.onLine(20.5))
	if !strings.Contains(g.bench.trouble, "overlaps another stretch") {
		t.Errorf("the foot says %q", g.bench.trouble)
	}
	wetFrom, wetTo := g.bench.span(1)
	if from, to := g.bench.span(2); len(g.bench.Setup().Faults) == 3 && from < wetTo-1e-6 && to > wetFrom+1e-6 {
		t.Errorf("%g to %g m lies on %g to %g m", from, to, wetFrom, wetTo)
	}
	g.settle()
	if g.bench.drawErr != nil {
		t.Error(g.bench.drawErr)
	}
}

// peak is where the trace along the line is highest between two places, m.
func (g *benchRig) peak(from, to float64) float64 {
	s := g.bench.drawn.along.Parts[0].Series
	best, level := 0.0, math.Inf(1)
	for i, x := range s.X {
		if x > from && x < to && s.Y[i] < level {
			best, level = x, s.Y[i]
		}
	}
	return best
}

// A record that is 4 % too fast puts what lies at 50 m at 52 m, and the drawn line stays.
func TestWrongRecordMovesWhatIsSeen(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	if g.bench.put(simulate.Fault{Cause: "open-circuit"}, 30, "") < 0 {
		t.Fatal(g.bench.trouble)
	}
	g.settle()
	if got := g.peak(20, 40); math.Abs(got-30) > 0.15 {
		t.Errorf("the open end shows at %.2f m, want 30 m", got)
	}
	if err := g.bench.change("", "", func(s *Setup) { s.WrongSpeed = 0.04 }); err != nil {
		t.Fatal(err)
	}
	g.settle()
	if got, want := g.peak(20, 40), 30*1.04; math.Abs(got-want) > 0.15 {
		t.Errorf("with a record 4 %% too fast it shows at %.2f m, want %.2f m", got, want)
	}
	if from, _ := g.bench.span(0); from != 30 {
		t.Errorf("it is drawn at %g m", from)
	}
}

// Without calibration the sweep is the raw one.
func TestUncalibrated(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	good := g.bench.drawn.sweep
	g.click("calibrated")
	g.settle()
	if !g.bench.Setup().Raw || slices.Equal(good.Gamma, g.bench.drawn.sweep.Gamma) {
		t.Error("the sweep is still the calibrated one")
	}
}

// The whole is the sum of what is shown one by one: the loudest single reflection lies
// within 1 dB of the whole at its own place.
func TestEachReflectionAlone(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	g.press(key.NameF2, 0)
	g.settle()
	p := g.bench.drawn
	shown := 0
	for _, one := range p.alone {
		if one.distanceM < 5 || one.levelDB < -30 {
			continue // a neighbour lies on it
		}
		shown++
		x := one.distanceM
		best, whole := math.Inf(1), math.Inf(1)
		s, all := one.along.Parts[0].Series, p.along.Parts[0].Series
		for i := range s.X {
			if math.Abs(s.X[i]-x) < 0.5 {
				best = math.Min(best, s.Y[i])
			}
		}
		for i := range all.X {
			if math.Abs(all.X[i]-x) < 0.5 {
				whole = math.Min(whole, all.Y[i])
			}
		}
		if math.Abs(best-whole) > 1 {
			t.Errorf("%s at %.2f m is %.1f dB alone and %.1f dB in the whole", one.name, x, best, whole)
		}
	}
	if shown < 2 {
		t.Errorf("%d reflections compared", shown)
	}
}

// The engine finds a strong fault of the bench, and it is said beside the truth.
func TestFindOnTheBench(t *testing.T) {
	if testing.Short() {
		t.Skip("the search takes seconds")
	}
	g := newRig(t, image.Pt(1280, 720))
	g.dragTo(g.where("tray: poor contact"), g.onLine(49))
	g.settle()
	g.press(key.NameF5, 0)
	g.settle()
	if g.bench.findErr != nil || g.bench.findings == nil {
		t.Fatalf("no findings: %v", g.bench.findErr)
	}
	if _, ok := g.find("A: found, and named right"); !ok {
		t.Errorf("nothing says that A is found; findings %+v", g.bench.findings.Findings)
	}
	g.press(key.NameDeleteForward, 0)
	if _, ok := g.find("The bench has changed since."); !ok {
		t.Error("old findings stand beside a new bench")
	}
}

// A pin is drawn where its fault is, in the colour of distance.
func TestPixelsOfAPin(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	img := g.Picture()
	at := g.onLine(20)
	c := g.theme.Distance
	pin := g.bench.board.pins[1]
	line, _ := g.find("the line")
	found := 0
	for y := line.Min.Y + pin.Min.Y; y < line.Min.Y+pin.Max.Y; y++ {
		if p := img.RGBAAt(at.X+7, y); p.R == c.R && p.G == c.G && p.B == c.B {
			found++
		}
	}
	if found < 5 {
		t.Errorf("%d pixels of a pin at %v", found, at)
	}
}

// The drawn line stands under its chart: where a frame moved the chart, another is asked
// for.
func TestLineFollowsItsChart(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	g.Size = image.Pt(1500, 800)
	g.frame()
	if _, asked := g.Router.WakeupTime(); !asked {
		t.Error("no frame is asked for")
	}
	g.frame()
	if a, line := g.bench.along.Area(), g.bench.board.area; a.Min.X != line.Min.X || a.Max.X != line.Max.X {
		t.Errorf("the line is drawn from %d to %d, its chart from %d to %d", line.Min.X, line.Max.X, a.Min.X, a.Max.X)
	}
	if _, asked := g.Router.WakeupTime(); asked {
		t.Error("frames are asked for without end")
	}
}

// The line that is open in the window can be taken, and given back by undo.
func TestTakeTheOpenLine(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	demo := g.bench.Setup().Line
	other := *demo
	other.Name, other.Sections = "Fernhollow yard", demo.Sections[1:2]
	other.Devices = nil
	g.bench.Offer(&other)
	g.frame()
	g.click("Take the open line")
	if s := g.bench.Setup(); s.Line != &other || len(s.Faults) != 0 {
		t.Fatalf("the line is %s with %d faults: %s", s.Line.Name, len(s.Faults), g.bench.trouble)
	}
	g.settle()
	g.press("Z", key.ModCtrl)
	if s := g.bench.Setup(); s.Line != demo || len(s.Faults) != 2 {
		t.Errorf("undone: %s with %d faults", s.Line.Name, len(s.Faults))
	}
	g.settle()
}
