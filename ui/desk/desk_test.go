package desk

import (
	"errors"
	"image"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/widget"

	"downlead/cables"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
	"downlead/ui/investigation"
	"downlead/ui/rig"
)

// find returns the place of the first button with the label, or else of the
// first whose label begins so.
func (g *deskRig) find(label string) (image.Point, bool) {
	r, ok := g.FindButton(label)
	return rig.Middle(r), ok
}

func mouse(kind pointer.Kind, at image.Point) pointer.Event { return rig.Mouse(kind, at) }

// click presses the control with the label.
func (g *deskRig) click(label string) {
	g.t.Helper()
	at, ok := g.find(label)
	if !ok {
		g.t.Fatalf("there is no control %q", label)
	}
	g.clickAt(at)
}

func (g *deskRig) clickAt(at image.Point) {
	g.frame(mouse(pointer.Press, at), mouse(pointer.Release, at))
	g.frame()
}

func (g *deskRig) key(name key.Name, mods key.Modifiers) {
	g.frame(key.Event{Name: name, Modifiers: mods, State: key.Press}, key.Event{Name: name, Modifiers: mods, State: key.Release})
	g.frame()
}

// write replaces the text of an editor, as typing would.
func (g *deskRig) write(e *widget.Editor, words string) {
	g.Router.Source().Execute(key.FocusCmd{Tag: e})
	g.frame()
	g.frame(key.EditEvent{Range: key.Range{Start: 0, End: e.Len()}, Text: words})
	g.frame()
}

// benchFiles writes a line of 20 m with a resistor of 15 ohm in series at 8 m to dir.
func benchFiles(t *testing.T, dir string) (sweepPath, linePath string) {
	t.Helper()
	line := cables.VelocityLine(0.8, 20)
	line.Name = "bench line"
	line.Load = cables.Load{Kind: cables.Termination, ReturnLossDB: 40}
	line.Limits.VSWR = 1.2
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	chain := cables.Cascade{cables.Stretch{Medium: path.Spans[0].Medium, LengthM: 8}, cables.Series(func(float64) complex128 { return 15 }),
		cables.Stretch{Medium: path.Spans[0].Medium, LengthM: 12}}
	s := &sweep.Sweep{ReferenceOhm: 50, Correction: sweep.Corrected}
	for k := range 601 {
		s.FrequencyHz = append(s.FrequencyHz, 10e6+float64(k)*2e6)
	}
	s.Gamma = chain.Reflection(s.FrequencyHz, func(float64) complex128 { return 0.01 }, 50)
	for k := range s.Gamma { // a little noise, as every sweep has
		s.Gamma[k] += complex(1e-4*math.Sin(float64(k*k)), 1e-4*math.Cos(float64(3*k*k)))
	}
	sweepPath, linePath = filepath.Join(dir, "bench.s1p"), filepath.Join(dir, "bench.toml")
	if err := sweep.WriteFile(sweepPath, s, sweep.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := cables.WriteLine(linePath, line); err != nil {
		t.Fatal(err)
	}
	return sweepPath, linePath
}

// From a sweep to an answer by typing paths: Ctrl O, Ctrl L, and the finding is
// there, with a flag in the charts and on the line.
func TestOpenByTyping(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	sweepPath, linePath := benchFiles(t, t.TempDir())
	g.key("O", key.ModCtrl)
	if !g.desk.browser.open {
		t.Fatal("no list of files")
	}
	g.write(&g.desk.browser.path, sweepPath)
	g.click("Open")
	g.settle()
	g.key("L", key.ModCtrl)
	g.write(&g.desk.browser.path, linePath)
	g.click("Open")
	g.settle()
	if len(g.desk.notices.list) > 0 {
		t.Fatalf("notices %v", g.desk.notices.list)
	}
	faults := g.desk.faults()
	if len(faults) != 1 {
		t.Fatalf("%d faults, want 1: %+v, %v", len(faults), g.desk.findings, g.desk.findErr)
	}
	if f := g.desk.findings.Findings[faults[0]]; math.Abs(f.DistanceM-8) > 0.1 {
		t.Errorf("%s at %.2f m, want 8", f.Cause, f.DistanceM)
	}
	if verdict, _, _ := g.desk.verdictWords(); verdict != "Out of limits" {
		t.Errorf("verdict %q", verdict)
	}
	if over, _ := g.desk.contents(); len(over.Flags) != 1 || len(over.Limits) != 1 {
		t.Errorf("%d flags and %d limits on the chart", len(over.Flags), len(over.Limits))
	}
	if got := g.desk.recent.files(); len(got) != 2 || got[0] != linePath {
		t.Errorf("used lately: %v", got)
	}
}

// A file that cannot be used leaves everything as it was and says where and why.
func TestBadFilesAreSaid(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	before := g.desk.document()
	bad := filepath.Join(t.TempDir(), "bad.s1p")
	if err := os.WriteFile(bad, []byte("# MHz S RI R 50\n100 0.1 0.2\n200 0.1 oops\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	g.desk.chosen(pickSweep, bad)
	g.settle()
	list := g.desk.notices.list
	if len(list) != 1 || !list[0].bad || !strings.Contains(list[0].text, "bad.s1p:3:") {
		t.Fatalf("notices %v, want one with bad.s1p:3", list)
	}
	if g.desk.document().Sweep != before.Sweep {
		t.Error("the sweep was lost")
	}
	g.click("put away")
	if len(g.desk.notices.list) != 0 {
		t.Error("the notice is still there")
	}
}

// Typing a length moves everything behind it, live, and can be undone.
func TestTypedLength(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	was := g.desk.document().Line.Sections[1].LengthM
	g.write(&g.desk.editor.rows[1].length, "40.5")
	g.settlePicture()
	if got := g.desk.document().Line.Sections[1].LengthM; got != 40.5 {
		t.Fatalf("the feeder is %g m", got)
	}
	if got := g.desk.drawn.toM; got > 55 {
		t.Errorf("the chart still reaches to %.1f m", got)
	}
	g.write(&g.desk.editor.rows[1].length, "4o")
	if !g.desk.editor.rows[1].bad || g.desk.document().Line.Sections[1].LengthM != 40.5 {
		t.Error("what is no number was taken, or not shown to be none")
	}
	for g.desk.document().Line.Sections[1].LengthM != was {
		if _, ok := g.desk.history.CanUndo(); !ok {
			t.Fatal("the old length does not come back")
		}
		g.desk.undo()
	}
	g.settlePicture()
	if got := g.desk.editor.rows[1].length.Text(); got != "47.30" {
		t.Errorf("the field shows %q", got)
	}
}

// Dragging a section's end in the drawn line changes its length; the whole way
// is one step to undo.
func TestDragSectionEnd(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	v := &g.desk.line
	ends := sectionEnds(g.desk.path)
	origin := lineViewOrigin(t, g)
	from := origin.Add(image.Pt(v.area.Min.X+int(v.seen.Position(ends[1], float64(v.area.Dx()))), v.area.Min.Y+5))
	g.frame(mouse(pointer.Press, from))
	for step := 1; step <= 10; step++ {
		g.frame(mouse(pointer.Move, from.Sub(image.Pt(10*step, 0))))
	}
	g.frame(mouse(pointer.Release, from.Sub(image.Pt(100, 0))))
	g.settlePicture()
	got := g.desk.document().Line.Sections[1].LengthM
	if !(got < 47.3-5) {
		t.Fatalf("the feeder is still %g m", got)
	}
	g.desk.undo()
	if got := g.desk.document().Line.Sections[1].LengthM; got != 47.3 {
		t.Errorf("one undo gives %g m, want 47.3", got)
	}
}

// lineViewOrigin finds where the drawn line is in the window by pressing down the
// middle of the window until it takes notice.
func lineViewOrigin(t *testing.T, g *deskRig) image.Point {
	t.Helper()
	for y := g.Size.Y - 1; y > 0; y -= 4 {
		g.frame(mouse(pointer.Move, image.Pt(g.Size.X/2, y)))
		g.frame()
		if g.desk.line.over {
			// the view is as high as its layout says; its lower edge is here
			for top := y; top > 0; top-- {
				g.frame(mouse(pointer.Move, image.Pt(g.Size.X/2, top)))
				g.frame()
				if !g.desk.line.over {
					return image.Pt(g.Size.X/2-int(g.desk.line.hover), top+1)
				}
			}
		}
	}
	t.Fatal("the drawn line is nowhere")
	return image.Point{}
}

// A press on a finding selects it and looks closer; one more shows all again.
func TestSelectFinding(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	g.desk.selected = -1
	g.key(key.NameDownArrow, key.ModCtrl)
	g.settle()
	if g.desk.selected < 0 {
		t.Fatal("nothing selected")
	}
	f := g.desk.findings.Findings[g.desk.selected]
	seen := g.desk.plots.over.View(chart.Lower)
	if !(seen.Low < f.DistanceM && f.DistanceM < seen.High) || seen.High-seen.Low > 20 {
		t.Errorf("the chart shows %.1f to %.1f m for a finding at %.1f m", seen.Low, seen.High, f.DistanceM)
	}
	g.click("finding 1")
	g.settle()
	if seen = g.desk.plots.over.View(chart.Lower); g.desk.selected != -1 || seen.High-seen.Low < 40 {
		t.Errorf("selected %d, %.1f to %.1f m", g.desk.selected, seen.Low, seen.High)
	}
}

// A finding can be accepted, named and noted on, and all that can be undone.
func TestDecide(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 1400))
	i := g.desk.faults()[0]
	f := &g.desk.findings.Findings[i]
	g.desk.cards.list.ScrollTo(0)
	one := g.desk.cards.rows[i]
	one.accept.Click()
	g.frame()
	g.frame()
	if g.desk.decision(f).State != investigation.Accepted {
		t.Fatal("not accepted")
	}
	one.noting = true
	g.frame()
	g.write(&one.name, "flooded plug")
	if g.desk.nameOf(f) != "flooded plug" {
		t.Errorf("named %q", g.desk.nameOf(f))
	}
	g.desk.undo()
	g.desk.undo()
	if d := g.desk.decision(f); d.State != investigation.Undecided || d.Name != "" {
		t.Errorf("after undo: %+v", d)
	}
}

// A cable is searched for, looked at, and put into the chosen section.
func TestPickCable(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 1600))
	g.desk.chooseSection(1)
	g.write(&g.desk.picker.words, "213")
	if len(g.desk.picker.found) == 0 || len(g.desk.picker.found) > 5 {
		t.Fatalf("%d cables found", len(g.desk.picker.found))
	}
	want := g.desk.picker.found[0]
	g.click("cable " + want.Name)
	if g.desk.picker.looked != 0 {
		t.Fatal("it is not looked at")
	}
	g.desk.picker.take.Click()
	g.frame()
	g.settlePicture()
	if got := g.desk.document().Line.Sections[1].CableID; got != want.ID {
		t.Errorf("the feeder is made of %q, want %q", got, want.ID)
	}
	if g.desk.path.Spans[2].Medium.VelocityFactor != want.VelocityFactor {
		t.Errorf("the path has a velocity factor of %g, want %g", g.desk.path.Spans[2].Medium.VelocityFactor, want.VelocityFactor)
	}
}

// A raw sweep with its standards is corrected; the notice stands until then.
func TestCalibrate(t *testing.T) {
	dir := t.TempDir()
	sweepPath, linePath := benchFiles(t, dir)
	truth, err := sweep.Read(sweepPath)
	if err != nil {
		t.Fatal(err)
	}
	e00, e11, track := 0.05+0.02i, 0.1-0.05i, 0.9+0.1i
	raw := func(name string, gamma func(int) complex128) string {
		s := *truth
		s.Correction = sweep.Uncorrected
		s.Gamma = make([]complex128, len(truth.Gamma))
		for k := range s.Gamma {
			g := gamma(k)
			s.Gamma[k] = e00 + track*g/(1-e11*g)
		}
		path := filepath.Join(dir, name)
		if err := sweep.WriteFile(path, &s, sweep.WriteOptions{}); err != nil {
			t.Fatal(err)
		}
		return path
	}
	g := newRig(t, image.Pt(1280, 720))
	g.desk.Open(Files{Line: linePath, Sweep: raw("raw.s1p", func(k int) complex128 { return truth.Gamma[k] })})
	g.settle()
	if n := g.desk.calibrationNotice(); !strings.HasPrefix(n, "NOT CALIBRATED") {
		t.Errorf("notice %q", n)
	}
	for p, gamma := range map[pick]complex128{pickOpen: 1, pickShort: -1, pickLoad: 0} {
		g.desk.chosen(p, raw(p.title()+".s1p", func(int) complex128 { return gamma }))
		g.settle()
	}
	if n := g.desk.calibrationNotice(); n != "" {
		t.Errorf("notice %q with all standards", n)
	}
	for k, want := range truth.Gamma {
		if got := g.desk.corrected.Gamma[k]; cmplx.Abs(got-want) > 1e-9 {
			t.Fatalf("point %d is corrected to %v, want %v", k, got, want)
		}
	}
	// The calibration is void when it was made in another temperature.
	g.desk.sources.terms = true
	g.desk.sources.temperature[0].SetText("20")
	g.desk.temperatureTyped(0)
	g.desk.sources.temperature[1].SetText("-15")
	g.desk.temperatureTyped(1)
	g.settle()
	if n := g.desk.calibrationNotice(); !strings.Contains(n, "CALIBRATION IN DOUBT") {
		t.Errorf("35 degrees later the notice is %q", n)
	}
}

// A chosen stretch shows over frequency what it alone contributes.
func TestBrushing(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	f := g.desk.findings.Findings[g.desk.faults()[0]]
	g.desk.plots.over.SetBrush(chart.Lower, f.DistanceM-1, f.DistanceM+1)
	g.desk.refresh()
	g.settlePicture()
	if d := g.desk.drawn; d.partErr != nil || len(d.part.Parts) != 1 || d.partSide != chart.Upper {
		t.Fatalf("the stretch alone: %v, %d lines", d.partErr, len(d.part.Parts))
	}
	g.desk.plots.over.SetBrush(chart.Upper, 200e6, 400e6)
	g.desk.refresh()
	g.settlePicture()
	if d := g.desk.drawn; d.partErr != nil || len(d.part.Parts) != 1 || d.partSide != chart.Lower {
		t.Fatalf("the band alone: %v, %d lines", d.partErr, len(d.part.Parts))
	}
}

// Every view can be shown, alone and together.
func TestAllViews(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	for n := range 7 {
		g.key(key.Name(rune('1'+n)), key.ModCtrl)
		g.settlePicture()
		if int(g.desk.views.frequency) != n {
			t.Errorf("Ctrl %d shows %s", n+1, g.desk.views.frequency.Name())
		}
		if n != 3 && len(g.desk.drawn.frequency.Parts) == 0 {
			t.Errorf("%s has no line", g.desk.views.frequency.Name())
		}
	}
	for n := range 4 {
		g.key(key.Name(rune('1'+n)), key.ModCtrl|key.ModShift)
		g.settlePicture()
		if d := g.desk.drawn; int(g.desk.views.along) != n || d.alongErr == nil && len(d.along.Parts) == 0 {
			t.Errorf("Ctrl Shift %d: %s, %v", n+1, g.desk.views.along.Name(), d.alongErr)
		}
	}
}

// The window's parameter and the band change the picture and can be undone.
func TestStrip(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	cell := g.desk.drawn.figures.CellM
	g.write(&g.desk.strip.high, "612.5")
	g.settlePicture()
	if got := g.desk.drawn.figures.CellM; math.Abs(got/cell-2) > 0.01 {
		t.Errorf("half the band has a cell of %.3f m, the whole %.3f m", got, cell)
	}
	g.desk.undo()
	g.settlePicture()
	if got := g.desk.drawn.figures.CellM; got != cell {
		t.Errorf("after undo the cell is %.3f m", got)
	}
	g.click("plan")
	g.settlePicture()
	if s := g.desk.strip; s.answerBad || !strings.Contains(s.answer, "sweep ") {
		t.Errorf("answer %q", s.answer)
	}
}

// Cancelling says so, and F5 goes on.
func TestCancelAndAgain(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	g.desk.again()
	g.desk.escape()
	g.frame()
	if g.desk.findErr == nil || g.desk.findings != nil {
		t.Fatalf("%v, %v", g.desk.findErr, g.desk.findings)
	}
	g.key(key.NameF5, 0)
	g.settle()
	if g.desk.findings == nil || g.desk.findErr != nil {
		t.Errorf("again: %v", g.desk.findErr)
	}
}

func TestLooks(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	g.key("U", key.ModCtrl)
	if text := g.desk.metres(30.48); text != "100.0 ft" {
		t.Errorf("30.48 m is written %q", text)
	}
	g.frame()
	if got := g.desk.editor.rows[1].length.Text(); got != "155.2" {
		t.Errorf("47.3 m shows as %q ft", got)
	}
	g.key("D", key.ModCtrl)
	g.key("=", key.ModCtrl)
	if !g.desk.look.dark || g.desk.look.scale <= 1 {
		t.Errorf("%+v", g.desk.look)
	}
	g.key(key.NameF1, 0)
	if !g.desk.help.open {
		t.Error("no list of keys")
	}
	g.key(key.NameEscape, 0)
	if g.desk.help.open {
		t.Error("the list of keys stays")
	}
}

// Whoever has no pointer reaches every control by Tab.
func TestTabReachesControls(t *testing.T) {
	g := demoRig(t, image.Pt(1440, 900))
	seen := map[any]bool{}
	for range 120 {
		g.Router.MoveFocus(key.FocusForward)
		g.frame()
		for name, tag := range map[string]any{"open": &g.desk.top.open, "length": &g.desk.editor.rows[0].length, "search": &g.desk.picker.words, "band": &g.desk.strip.low, "chart": &g.desk.plots.over} {
			if g.Router.Source().Focused(tag) {
				seen[name] = true
			}
		}
	}
	if len(seen) != 5 {
		t.Errorf("only %v are reached", seen)
	}
}

// A key that changes the window asks for the frame that shows it: nothing else
// may come for a long time.
func TestKeyIsSeenAtOnce(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	for range 5 {
		g.frame()
		g.Router.WakeupTime() // what an earlier frame asked for is told until it is asked
	}
	now := func() bool {
		at, wants := g.Router.WakeupTime()
		return wants && !at.After(g.Now)
	}
	if now() {
		t.Fatal("the window does not rest")
	}
	g.frame(key.Event{Name: "O", Modifiers: key.ModCtrl, State: key.Press})
	if !g.desk.browser.open {
		t.Fatal("Ctrl O opens nothing")
	}
	if !now() {
		t.Error("the window is not drawn again after Ctrl O")
	}
}

// F8 leads to the search for a cable even where that is scrolled out of sight or
// the panel is put away; what is typed then arrives.
func TestKeysRevealFields(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 600))
	g.desk.chooseSection(1)
	g.desk.panes.leftOff = true
	g.frame()
	g.key(key.NameF8, 0)
	g.frame()
	g.frame(key.EditEvent{Text: "213"})
	g.frame()
	if got := g.desk.picker.words.Text(); got != "213" || g.desk.panes.leftOff {
		t.Errorf("the search has %q, the panel is put away: %v", got, g.desk.panes.leftOff)
	}
	g.key(key.NameF7, 0)
	g.frame()
	if !g.Router.Source().Focused(&g.desk.editor.rows[0].length) {
		t.Error("F7 does not reach the first length")
	}
}

// A note goes by itself after a while, an error stays.
func TestNotesGo(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	g.desk.mention("done")
	g.desk.fail(errors.New("not done"))
	at := time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC)
	g.Now = at
	g.frame()
	if n := len(g.desk.notices.list); n != 2 {
		t.Fatalf("%d notices", n)
	}
	g.Now = at.Add(noteTime + time.Second)
	g.frame()
	if l := g.desk.notices.list; len(l) != 1 || l[0].text != "not done" {
		t.Errorf("left: %+v", l)
	}
}
