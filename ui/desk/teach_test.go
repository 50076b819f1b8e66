package desk

import (
	"image"
	"testing"

	"gioui.org/io/key"
)

// The room for teaching comes and goes, by key and by button, and the investigation
// stays as it was; its undo key is the bench's own meanwhile.
func TestTeachLeavesTheInvestigation(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	doc := g.desk.document()
	doc.Notes = "seen from the ground"
	g.desk.change(doc, "write the notes", "")
	number, findings := g.desk.history.Number(), g.desk.findings
	press := func(name key.Name, mods key.Modifiers) {
		g.frame(key.Event{Name: name, Modifiers: mods, State: key.Press})
		g.frame(key.Event{Name: name, Modifiers: mods, State: key.Release})
	}
	press(key.NameF9, 0)
	g.settlePicture()
	if _, ok := g.find("tray: poor contact"); !g.desk.teach.on || !ok {
		t.Fatal("F9 shows no bench")
	}
	press("Z", key.ModCtrl)
	press("U", key.ModCtrl)
	if !g.desk.look.feet {
		t.Error("feet chosen on the bench are not kept")
	}
	press(key.NameEscape, 0)
	g.settlePicture()
	if _, ok := g.find("tray: poor contact"); g.desk.teach.on || ok {
		t.Fatal("Esc does not go back")
	}
	if g.desk.history.Number() != number || g.desk.findings != findings || g.desk.document().Notes != doc.Notes {
		t.Errorf("the investigation was changed: step %d, want %d; notes %q; findings %p, want %p", g.desk.history.Number(), number, g.desk.document().Notes, g.desk.findings, findings)
	}
	g.click("Teach")
	g.settlePicture()
	if !g.desk.teach.on {
		t.Fatal("the button shows no bench")
	}
	g.click("Back (Esc)")
	if g.desk.teach.on {
		t.Error("the button does not go back")
	}
	g.frame()
	g.desk.unlessChanged("Close?", nil)
	press(key.NameF9, 0)
	if g.desk.teach.on {
		t.Error("F9 hides a question")
	}
}

// Writing lengths in feet, which are rounded, changes none.
func TestFeetChangeNoLength(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	line, number := g.desk.document().Line, g.desk.history.Number()
	for range 2 {
		g.frame(key.Event{Name: "U", Modifiers: key.ModCtrl, State: key.Press})
		g.frame()
		g.frame()
	}
	if g.desk.history.Number() != number || g.desk.document().Line != line {
		t.Errorf("the line was changed to %v", g.desk.document().Line.Sections)
	}
}

// The line under the charts is drawn to them also in the frame after the window has
// changed its size.
func TestLineFollowsItsChart(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	g.Size = image.Pt(1600, 900)
	g.frame()
	if _, asked := g.Router.WakeupTime(); !asked {
		t.Error("no frame is asked for")
	}
	g.frame()
	if a, line := g.desk.alongChart().Area(), g.desk.line.area; a.Min.X != line.Min.X || a.Max.X != line.Max.X {
		t.Errorf("the line is drawn from %d to %d, its chart from %d to %d", line.Min.X, line.Max.X, a.Min.X, a.Max.X)
	}
}
