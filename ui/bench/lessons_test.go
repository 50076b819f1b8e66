package bench

import (
	"image"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"gioui.org/io/key"

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
	g.click("show what is there")
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
	if len(b.blind.marks) != 1 || math.Abs(b.blind.marks[0].m-truth.DistanceM) > 0.2 || len(b.along.Markers) != 1 {
		t.Fatalf("marks %+v", b.blind.marks)
	}
	chartAt := at
	chartAt.Y -= 100 // in the chart over the line: a second mark, 60 pixels on, which is taken off again
	g.dragTo(chartAt.Add(image.Pt(60, 0)), chartAt.Add(image.Pt(60, 0)))
	if len(b.blind.marks) != 2 {
		t.Fatalf("a press on the chart leaves %d marks", len(b.blind.marks))
	}
	g.press(key.NameDeleteBackward, 0)
	if len(b.blind.marks) != 1 {
		t.Fatalf("Delete leaves %d marks", len(b.blind.marks))
	}
	g.click("answer")
	if b.blind.result == nil || b.blind.result.Points < 25 {
		t.Fatalf("the score is %+v", b.blind.result)
	}
	g.frame()
	if _, ok := g.find("50 of 100 points"); !ok && b.blind.result.Points == 50 {
		t.Error("the score is not said")
	}
	g.press("B", key.ModCtrl)
	g.settle()
	if s := b.Setup(); b.veiled || s.Line != before.Line {
		t.Error("the bench is not as it was")
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
