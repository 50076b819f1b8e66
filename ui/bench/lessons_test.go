package bench

import (
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gioui.org/io/key"

	"downlead/ui/blind"
	"downlead/ui/lesson"
	"downlead/ui/theme"
)

// A lesson is chosen from the list, gone through by keys and buttons, and shows its own
// sweep; what is there stays veiled until it is asked for.
func TestLesson(t *testing.T) {
	g := twoFaults(t, image.Pt(1280, 720))
	g.click("Lessons")
	g.click("lesson: What VSWR")
	g.settle()
	b := g.bench
	if b.lessons.page == nil || b.lessons.page.step != -1 || len(b.lessons.page.paragraphs) == 0 {
		t.Fatalf("no first page: %v", b.lessons.err)
	}
	first := b.lessons.open.Lesson
	if b.Setup().Line != first.Scenario.Line || b.drawn.sweep != b.lessons.page.scene.sweep {
		t.Error("the lesson's line is not on the bench, or its sweep is not drawn")
	}
	g.press(key.NamePageDown, 0)
	g.settle()
	if b.lessons.page.step != 0 || b.lessons.page.title != first.Steps[0].Title {
		t.Errorf("PageDown shows step %d", b.lessons.page.step)
	}
	g.click("Next")
	g.settle()
	if b.lessons.page.step != 1 {
		t.Errorf("the button shows step %d", b.lessons.page.step)
	}
	g.press(key.NamePageUp, 0)
	g.settle()
	if b.lessons.page.step != 0 {
		t.Errorf("PageUp shows step %d", b.lessons.page.step)
	}
	if _, ok := g.find("tray:"); ok || !b.veiled {
		t.Error("what is there is not veiled")
	}
	g.Router.Source().Execute(key.FocusCmd{Tag: &b.lessons.fields[0].editor})
	g.frame()
	g.press(key.NamePageDown, 0)
	g.settle()
	if b.lessons.page.step != 1 {
		t.Errorf("PageDown in the field of an answer shows step %d", b.lessons.page.step)
	}
	g.press(key.NamePageUp, 0)
	g.settle()
	g.click("show the faults")
	if _, ok := g.find("tray:"); !ok {
		t.Error("what is there cannot be shown")
	}
	g.click("all lessons")
	if _, ok := g.find("lesson: Velocity factor"); !ok {
		t.Error("the list does not come back")
	}
	g.press("L", key.ModCtrl)
	g.settle()
	if s := b.Setup(); len(s.Faults) != 2 || b.veiled {
		t.Fatalf("what was on the bench before is gone: %d faults", len(s.Faults))
	}
	g.press("Z", key.ModCtrl)
	if s := b.Setup(); len(s.Faults) != 1 {
		t.Errorf("its past is gone: %d faults after undoing", len(s.Faults))
	}
	g.settle()
}

// A lesson that holds a sweep against an earlier one shows both.
func TestLessonShowsTheEarlierSweep(t *testing.T) {
	if testing.Short() {
		t.Skip("the search takes seconds")
	}
	g := newRig(t, image.Pt(1280, 720))
	b := g.bench
	b.goToLessons()
	shown := 0
	for _, l := range b.lessons.all {
		for step := range l.Steps {
			if show := l.Steps[step].Show; show.AgainstEarlier && show.Sweep == lesson.Measured && shown == 0 {
				b.openLesson(l)
				b.turnTo(step)
				g.settle()
				shown++
				_, along := b.contents()
				named := 0
				for _, trace := range along.Traces {
					if strings.HasSuffix(trace.Name, ", earlier") {
						named++
					}
				}
				if named != 1 || len(b.drawn.earlier.frequency) == 0 {
					t.Errorf("%s, step %d: %d earlier traces along the line", l.Title, step+1, named)
				}
			}
		}
	}
	if shown == 0 {
		t.Error("no lesson compares; the test shows nothing")
	}
}

// The pictures of the open lesson go into a new folder each time.
func TestLessonPictures(t *testing.T) {
	if testing.Short() {
		t.Skip("drawing takes seconds")
	}
	g := newRig(t, image.Pt(1280, 720))
	g.bench.folder = t.TempDir()
	g.bench.goToLessons()
	g.bench.openLesson(g.bench.lessons.all[0])
	g.settle()
	for _, name := range []string{"lesson-" + g.bench.lessons.all[0].ID, "lesson-" + g.bench.lessons.all[0].ID + "-2"} {
		g.click("save its pictures")
		g.settle()
		found, err := filepath.Glob(filepath.Join(g.bench.folder, name, "step-1", "*.png"))
		if err != nil || len(found) == 0 {
			t.Errorf("%s holds no picture: %v; %s", name, err, g.bench.lessons.said)
		}
	}
}

// Answers are held against the engine's: of the first lesson with a number to give, the
// right one is right, another is not, and none is told apart by the unit it is given in.
func TestQuestion(t *testing.T) {
	g := newRig(t, image.Pt(1280, 900))
	b := g.bench
	b.goToLessons()
	b.openLesson(b.lessons.all[0])
	found := false
	for step := range b.lessons.open.Steps {
		b.turnTo(step)
		g.settle()
		for i, q := range b.lessons.page.questions {
			if q.kind != lesson.Choice {
				continue
			}
			found = true
			right := 0
			for k := range q.options {
				g.frame()
				b.answer(i, string(rune('1'+k)))
				g.settle()
				f := &b.lessons.fields[i]
				if f.said == "" || !f.done {
					t.Fatalf("answer %d says %q", k+1, f.said)
				}
				if f.right {
					right++
				}
			}
			if right != 1 {
				t.Errorf("%q has %d right answers", q.text, right)
			}
			b.answer(i, "many")
			g.settle()
			if f := &b.lessons.fields[i]; f.right {
				t.Errorf("nonsense is right: %q", f.said)
			}
		}
	}
	if !found {
		t.Skip("the first lesson has no choice any more; another would do")
	}
}

// A blind case shows its sweep and nothing of its faults; a mark set on the drawn line is
// scored.
func TestBlindCase(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	b := g.bench
	before := b.Setup()
	b.blind.seed = func() uint64 { return 5 }
	b.blind.level = 2
	g.press("B", key.ModCtrl)
	g.settle()
	c := b.blind.theCase
	if c == nil || b.drawn.sweep != c.Sweep {
		t.Fatalf("no case is drawn: %v", b.blind.err)
	}
	if _, ok := g.find("tray:"); ok || len(b.board.pins) > 0 {
		t.Error("faults are shown")
	}
	truth := c.Faults()[0]
	at := g.onLine(truth.DistanceM)
	g.dragTo(at, at)
	marks := func() []blind.Mark { return b.Setup().Marks }
	if len(marks()) != 1 || math.Abs(marks()[0].DistanceM-truth.DistanceM) > 0.2 || len(b.along.Markers) != 1 {
		t.Fatalf("marks %+v", marks())
	}
	chartAt := at
	chartAt.Y -= 100 // in the chart over the line: a second mark, 60 pixels on, which is taken off again
	g.dragTo(chartAt.Add(image.Pt(60, 0)), chartAt.Add(image.Pt(60, 0)))
	if len(marks()) != 2 {
		t.Fatalf("a press on the chart leaves %d marks", len(marks()))
	}
	g.press(key.NameDeleteBackward, 0)
	if len(marks()) != 1 {
		t.Fatalf("Delete leaves %d marks", len(marks()))
	}
	for _, want := range []int{2, 1, 0} {
		g.press("Z", key.ModCtrl)
		if len(marks()) != want || len(b.along.Markers) != want {
			t.Errorf("undone: %d marks and %d markers, want %d", len(marks()), len(b.along.Markers), want)
		}
	}
	g.press("Z", key.ModCtrl|key.ModShift)
	if len(marks()) != 1 {
		t.Errorf("done again: %d marks", len(marks()))
	}
	g.click("answer")
	if b.blind.result == nil || b.blind.result.Points < 25 {
		t.Fatalf("the score is %+v", b.blind.result)
	}
	g.frame()
	if _, ok := g.find(fmt.Sprintf("%.0f of 100 points", b.blind.result.Points)); !ok {
		t.Error("the score is not said")
	}
	g.press("Z", key.ModCtrl)
	if g.dragTo(chartAt, chartAt); len(marks()) != 1 {
		t.Errorf("after the answer %d marks", len(marks()))
	}
	g.press("B", key.ModCtrl)
	g.settle()
	if s := b.Setup(); b.veiled || s.Line != before.Line {
		t.Error("the bench is not as it was")
	}
}

// Of a blind case the way it is looked at can be changed, and undone; its line and sweep
// cannot, by no control and no key.
func TestBlindCaseStaysAsItIs(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	b := g.bench
	b.blind.seed = func() uint64 { return 5 }
	g.press("B", key.ModCtrl)
	g.settle()
	before, narrow := b.drawn.along.Parts[0].Series, b.drawn.figures.MainLobe6DBM
	for _, gone := range []string{"turn band from", "turn points", "turn noise", "calibrated", "tray:", "each reflection alone"} {
		if _, ok := g.find(gone); ok {
			t.Errorf("%q can be pressed", gone)
		}
	}
	if b.change("", "", func(s *Setup) { s.Points = 201 }) == nil || b.change("", "", func(s *Setup) { s.Faults = append(s.Faults, kinds()[2].fresh()) }) == nil {
		t.Error("the line of the case can be changed")
	}
	at := g.where("turn of the window")
	g.dragTo(at, at.Add(image.Pt(60, 0)))
	g.settle()
	if b.drawn.sweep != b.blind.theCase.Sweep || b.drawn.along.Parts[0].Series == before || b.drawn.figures.MainLobe6DBM <= narrow {
		t.Errorf("a quieter window leaves the lobe at %g m, was %g m", b.drawn.figures.MainLobe6DBM, narrow)
	}
	at = g.where("turn its velocity")
	g.dragTo(at, at.Add(image.Pt(30, 0)))
	g.settle()
	if s := b.Setup(); s.WrongSpeed <= 0 || b.drawn.record == s.Line || b.drawn.sweep != b.blind.theCase.Sweep {
		t.Errorf("the record's velocities are %g off", s.WrongSpeed)
	}
	for range 2 {
		g.press("Z", key.ModCtrl)
	}
	if s := b.Setup(); s.WrongSpeed != 0 || s.Window.Parameter != 0 {
		t.Errorf("undone: %+v", s.Window)
	}
}

// What somebody scores is kept under the name that they type, in the file that the command
// line uses, with what they did before; nothing is kept of those without a name, and a file
// that is no record is left alone.
func TestBlindResultsAreKept(t *testing.T) {
	g := newRig(t, image.Pt(1280, 900))
	b := g.bench
	b.folder = t.TempDir()
	b.blind.seed = func() uint64 { return 5 }
	path := filepath.Join(b.folder, "results.csv")
	g.press("B", key.ModCtrl)
	g.settle()
	g.click("answer")
	g.settle()
	if _, err := os.Stat(path); err == nil {
		t.Fatal("a score without a name is kept")
	}
	b.blind.record.name.SetText("Trainee 4")
	b.keepResult() // Return in the field
	g.settle()
	rows, err := blind.Read(path)
	if err != nil || len(rows) != 1 || rows[0].Trainee != "Trainee 4" || rows[0].Seed != 5 || rows[0].Points != b.blind.result.Points {
		t.Fatalf("the record holds %+v: %v", rows, err)
	}
	b.keepResult()
	g.settle()
	if rows, _ = blind.Read(path); len(rows) != 1 {
		t.Errorf("the same case is kept %d times", len(rows))
	}
	if err := blind.Append(path, blind.Row{At: g.Now, Trainee: "another", Level: 3}); err != nil {
		t.Fatal(err)
	}
	g.click("another case")
	g.settle()
	g.click("answer")
	g.settle()
	if _, ok := g.find("Trainee 4: 2 cases"); !ok || len(b.blind.record.rows) != 2 {
		t.Errorf("the history is %+v: %v", b.blind.record.rows, b.blind.record.err)
	}
	if err := os.WriteFile(filepath.Join(b.folder, "notes.txt"), []byte("not a record\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	b.blind.record.file.SetText("notes.txt")
	g.click("another case")
	g.settle()
	g.click("answer")
	g.settle()
	if text, _ := os.ReadFile(filepath.Join(b.folder, "notes.txt")); string(text) != "not a record\n" || b.blind.record.err == nil || b.blind.record.kept {
		t.Errorf("the notes hold %q; %v", text, b.blind.record.err)
	}
}

// In a lesson the sliders are for trying: the sweep follows, the page says that it is no
// longer the lesson's, and both come back.
func TestTryingInALesson(t *testing.T) {
	g := newRig(t, image.Pt(1280, 900))
	b := g.bench
	b.goToLessons()
	b.openLesson(b.lessons.all[0])
	g.settle()
	taught := b.drawn.sweep
	at := g.where("turn noise of one point")
	g.dragTo(at, at.Add(image.Pt(70, 0)))
	g.settle()
	if b.drawn.sweep == taught || !b.tried() {
		t.Fatal("the sweep does not follow the slider")
	}
	g.click("as the lesson has it")
	g.settle()
	if b.drawn.sweep != taught || b.tried() {
		t.Error("what the lesson shows does not come back")
	}
	g.press("Z", key.ModCtrl)
	g.settle()
	if !b.tried() {
		t.Error("going back cannot be undone")
	}
	g.press(key.NamePageDown, 0)
	g.settle()
	if b.tried() || b.drawn.sweep != b.lessons.page.scene.sweep {
		t.Error("the next step does not begin with what it shows")
	}
	// A step that is locked shows no sliders, and what is on the bench stays.
	locked := *b.lessons.all[0]
	locked.Steps = slices.Clone(locked.Steps)
	locked.Steps[0].Show.Locked = true
	b.openLesson(&locked)
	b.turnTo(0)
	g.settle()
	if _, ok := g.find("turn noise"); ok || b.change("", "", func(s *Setup) { s.Points = 99 }) == nil {
		t.Error("a locked step can be turned")
	}
}

// A trainer's own lesson is opened by its file; one that cannot be read says where and why,
// and the list stays.
func TestOwnLesson(t *testing.T) {
	g := newRig(t, image.Pt(1280, 900))
	b := g.bench
	b.folder = t.TempDir()
	text, err := os.ReadFile("../lesson/lessons/07-joints-as-built.toml")
	if err != nil {
		t.Fatal(err)
	}
	text = []byte(strings.Replace(string(text), "Joints, and what is as built", "Our own yard", 1))
	for name, data := range map[string][]byte{"yard.toml": text, "bad.toml": []byte("schema = \"downlead/lesson/1\"\ntitel = \"x\"\n")} {
		if err := os.WriteFile(filepath.Join(b.folder, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	b.goToLessons()
	n := len(b.lessons.all)
	b.readLesson("bad.toml")
	g.settle()
	if b.lessons.err == nil || !strings.Contains(b.lessons.err.Error(), "bad.toml:2") || b.lessons.open != nil {
		t.Errorf("the error is %v", b.lessons.err)
	}
	if _, ok := g.find("lesson: What VSWR"); !ok {
		t.Error("the list is gone")
	}
	b.readLesson("yard.toml")
	g.settle()
	if b.lessons.err != nil || b.lessons.page == nil || b.lessons.page.title != "Our own yard" || len(b.lessons.all) != n+1 {
		t.Errorf("opened %+v: %v", b.lessons.page, b.lessons.err)
	}
}

// A lesson's Smith chart, VSWR, limit and what is expected by the record are drawn where its
// steps ask for them.
func TestLessonViews(t *testing.T) {
	g := newRig(t, image.Pt(1280, 900))
	b := g.bench
	b.goToLessons()
	l := *b.lessons.all[6] // joints as built, without a fault
	l.Steps = slices.Clone(l.Steps)
	l.Steps[0].Show.Over, l.Steps[0].Show.Overlays = "smith", []string{"expected", "limit"}
	b.openLesson(&l)
	b.turnTo(0)
	g.settle()
	if _, ok := g.find("Smith chart"); !ok {
		t.Error("no Smith chart is drawn")
	}
	content := b.smithContent()
	if len(content.Loci) != 2 || content.Loci[1].Name != "expected" || content.LimitVSWR != l.Scenario.Line.Limits.LimitVSWR() {
		t.Errorf("the Smith chart shows %d curves and the limit %g", len(content.Loci), content.LimitVSWR)
	}
	_, along := b.contents()
	levels := map[string]float64{}
	for _, trace := range along.Traces {
		levels[trace.Name] = trace.Series.At(b.path.Spans[1].StartM) // the arrestor, which the record has
	}
	if seen, expected := levels["return loss"], levels["return loss, expected"]; len(levels) != 2 || math.Abs(seen-expected) > 3 {
		t.Errorf("the arrestor shows %.1f dB, %.1f dB are expected", seen, expected)
	}
	l.Steps[0].Show.Over, l.Steps[0].Show.Overlays = "vswr", nil
	b.turnTo(0)
	g.settle()
	if over, _ := b.contents(); len(over.Limits) != 0 || over.Traces[0].Name != "VSWR" {
		t.Errorf("%d limits over %s where none is asked for", len(over.Limits), over.Traces[0].Name)
	}
}

// Presenting asks for the whole screen, and gives it back by Esc without leaving.
func TestPresenting(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	var asked []bool
	g.bench.fullScreen = func(on bool) { asked = append(asked, on) }
	g.press(key.NameF11, 0)
	if len(asked) != 1 || !asked[0] || g.bench.theme.Palette != theme.Projector() || g.bench.theme.Scale < 1.2 {
		t.Errorf("F11 asks %v and shows at %g", asked, g.bench.theme.Scale)
	}
	g.frame(key.Event{Name: key.NameEscape, State: key.Press})
	if len(asked) != 2 || asked[1] || g.left {
		t.Errorf("Esc asks %v, left %v", asked, g.left)
	}
}
