package desk

import (
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gioui.org/io/key"

	"downlead/dsp/diagnose"
	"downlead/ui/investigation"
)

// benchRig is a window with the bench line and its sweep from files, whose faults
// are not looked for.
func benchRig(t *testing.T) (g *deskRig, sweepPath, linePath string) {
	t.Helper()
	g = newRig(t, image.Pt(1280, 800))
	sweepPath, linePath = benchFiles(t, t.TempDir())
	g.desk.Open(Files{Sweep: sweepPath, Line: linePath})
	g.settlePicture()
	return g, sweepPath, linePath
}

// said are the notices.
func (g *deskRig) said() string {
	var all []string
	for _, n := range g.desk.notices.list {
		all = append(all, n.text)
	}
	return strings.Join(all, "\n")
}

// Ctrl S asks where, once; what was written about the site is in the file and
// comes back when it is opened.
func TestSaveAndOpenInTheWindow(t *testing.T) {
	g, sweepPath, _ := benchRig(t)
	d := g.desk
	if d.history.Changed() {
		t.Error("files that were only opened count as a change")
	}
	if title, about := d.title(); title != "bench line" || strings.Contains(about, "not saved") {
		t.Errorf("title %q, %q", title, about)
	}
	g.click("site, date, who, notes…")
	g.write(&d.about.fields[0], "Tarn Head")
	g.write(&d.about.fields[4], "rain\nsince Tuesday")
	if title, about := d.title(); title != "Tarn Head" || !strings.HasPrefix(about, "not saved · ") {
		t.Errorf("title %q, %q", title, about)
	}
	d.undo()
	d.undo()
	g.frame()
	if doc := d.document(); doc.Notes != "" || doc.Site != "" || d.about.fields[0].Text() != "" {
		t.Errorf("undone twice: %q, %q, the field holds %q", doc.Site, doc.Notes, d.about.fields[0].Text())
	}
	d.redo()
	d.redo()
	g.frame()
	g.key("S", key.ModCtrl)
	want := filepath.Join(filepath.Dir(sweepPath), "tarn-head.toml")
	if got := d.browser.path.Text(); !d.browser.open || got != want {
		t.Fatalf("the file would be %q, want %q", got, want)
	}
	g.click("Save here")
	g.settlePicture()
	if d.file.path != want || d.history.Changed() || d.canSave() {
		t.Fatalf("saved in %q, changed %v, said %q", d.file.path, d.history.Changed(), g.said())
	}
	if _, about := d.title(); !strings.HasPrefix(about, "tarn-head.toml · 10 MHz") {
		t.Errorf("about %q", about)
	}
	saved, err := investigation.Open(want)
	if err != nil || len(saved.Problems) > 0 || saved.Document.Site != "Tarn Head" || saved.Document.Notes != "rain\nsince Tuesday" || saved.Document.Sweep.Path != sweepPath {
		t.Errorf("%+v, %v", saved, err)
	}

	other := newRig(t, image.Pt(1280, 800))
	other.desk.Open(Files{Sweep: want})
	other.settlePicture()
	if doc := other.desk.document(); doc.Site != "Tarn Head" || doc.Sweep.Sweep == nil || doc.Line == nil || other.said() != "" || other.desk.history.Changed() {
		t.Errorf("opened: %+v; said %q", doc, other.said())
	}
	// By the list of files too, which names it among those used lately.
	third := newRig(t, image.Pt(1280, 800))
	third.desk.recent.add(want)
	third.key("O", key.ModCtrl)
	third.click("tarn-head.toml")
	third.settlePicture()
	if third.desk.file.path != want {
		t.Errorf("opened %q, said %q", third.desk.file.path, third.said())
	}
}

// Another investigation does not take the place of one with changes unasked.
func TestOpeningAsksAboutChanges(t *testing.T) {
	g, _, _ := benchRig(t)
	d := g.desk
	folder := t.TempDir()
	first, second := filepath.Join(folder, "first.toml"), filepath.Join(folder, "second.toml")
	doc := d.document()
	doc.Site = "second"
	if _, err := investigation.Save(second, doc); err != nil {
		t.Fatal(err)
	}
	d.saveTo(first)
	g.settlePicture()
	change := func() {
		doc := d.document()
		doc.Notes += "x"
		d.change(doc, "write the notes", "")
	}
	open := func() {
		d.chosen(pickSweep, second)
		for range 200 {
			g.settlePicture()
			if d.file.question.open || d.document().Site == "second" {
				return
			}
		}
	}
	change()
	open()
	if !d.file.question.open || d.document().Site != "" {
		t.Fatal("opened without asking")
	}
	g.click("Cancel")
	if d.file.question.open || d.document().Notes != "x" {
		t.Error("cancelling loses the changes")
	}
	open()
	g.click("Save first")
	g.settlePicture()
	if d.file.path != second || d.document().Site != "second" {
		t.Errorf("after saving %q is open", d.file.path)
	}
	if o, err := investigation.Open(first); err != nil || o.Document.Notes != "x" {
		t.Errorf("first holds %+v, %v", o, err)
	}
	change()
	if d.MayClose() {
		t.Error("the window closes over changes")
	}
	g.frame()
	closed := false
	d.file.closeWindow = func() { closed = true }
	g.click("Let the changes go")
	if !closed || !d.MayClose() {
		t.Errorf("closed %v", closed)
	}
	if o, err := investigation.Open(second); err != nil || o.Document.Notes != "" {
		t.Errorf("second holds %+v, %v", o, err)
	}
	// Esc leaves the list of files, and with it what waited for saving.
	d.file.dropped, d.file.path = false, ""
	d.MayClose()
	closed = false
	g.frame()
	g.click("Save first")
	g.key(key.NameEscape, 0)
	d.saveTo(first)
	g.settlePicture()
	if closed {
		t.Error("a later save closes the window")
	}
}

// Saving over another investigation takes two presses; over anything else none do.
func TestSavingOverOtherFiles(t *testing.T) {
	g, sweepPath, linePath := benchRig(t)
	d := g.desk
	other := filepath.Join(t.TempDir(), "other.toml")
	if _, err := investigation.Save(other, investigation.Document{Site: "other"}); err != nil {
		t.Fatal(err)
	}
	save := func(path string) {
		if !d.browser.open {
			g.key("S", key.ModCtrl|key.ModShift)
		}
		g.write(&d.browser.path, path)
		g.click("Save here")
		g.settlePicture()
	}
	for _, path := range []string{sweepPath, linePath} {
		save(path)
		if !d.browser.open || d.browser.err == nil || !strings.Contains(d.browser.err.Error(), "is no investigation") {
			t.Errorf("saving over %s: %v", path, d.browser.err)
		}
	}
	save(other)
	if !d.browser.open || d.browser.err == nil || !strings.Contains(d.browser.err.Error(), "saving here once more replaces it") {
		t.Errorf("saving over another: %v", d.browser.err)
	}
	save(other)
	if d.browser.open || d.file.path != other {
		t.Errorf("saved in %q, %v", d.file.path, d.browser.err)
	}
}

// What is the matter with the files stands in a notice and at the file's row, and
// a raw sweep without its standards is not taken as corrected.
func TestMissingFilesAreShown(t *testing.T) {
	g, sweepPath, linePath := benchRig(t)
	d := g.desk
	doc := d.document()
	standard := filepath.Join(filepath.Dir(sweepPath), "open.s1p")
	text, err := os.ReadFile(sweepPath)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(standard, text, 0o666); err != nil {
		t.Fatal(err)
	}
	if doc.Standards.Open, err = investigation.ReadSweep(standard); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(filepath.Dir(sweepPath), "x.toml")
	if _, err := investigation.Save(path, doc); err != nil {
		t.Fatal(err)
	}
	for _, gone := range []string{standard, linePath} {
		if err := os.Remove(gone); err != nil {
			t.Fatal(err)
		}
	}
	d.history.Saved(d.history.Number())
	d.Open(Files{Sweep: path})
	g.settlePicture()
	if said := g.said(); !strings.Contains(said, "The sweep of the open, "+standard+", is missing") || !strings.Contains(said, "The line, "+linePath+", is missing") {
		t.Errorf("said %q", said)
	}
	if text := d.calibrationNotice(); !strings.Contains(text, "NOT CALIBRATED YET") {
		t.Errorf("the calibration: %q", text)
	}
	if _, ok := g.find("open: open.s1p"); !ok {
		t.Error("the missing open has no row")
	}
}

// A crash loses at most what was done since the user last rested; what was kept
// is offered on the next start.
func TestRecoveryIsOffered(t *testing.T) {
	state := t.TempDir()
	clock := time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC)
	start := func() *deskRig {
		g := newRig(t, image.Pt(1280, 800))
		g.desk = New(Options{StateFolder: state, Folder: t.TempDir(), Now: func() time.Time { return clock }, Notify: g.desk.notify})
		t.Cleanup(g.desk.Close)
		g.frame()
		return g
	}
	g := start()
	sweepPath, linePath := benchFiles(t, t.TempDir())
	g.desk.Open(Files{Sweep: sweepPath, Line: linePath})
	g.settlePicture()
	doc := g.desk.document()
	doc.Notes = "not saved"
	g.desk.change(doc, "write the notes", "")
	g.frame()
	kept := func() []string {
		all, err := filepath.Glob(filepath.Join(state, "*", "investigation.toml"))
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	if len(kept()) > 0 {
		t.Error("kept while the user writes")
	}
	clock = clock.Add(keepAfter)
	for g.desk.file.kept != g.desk.history.Number() {
		g.frame()
		time.Sleep(time.Millisecond)
	}
	if len(kept()) != 1 {
		t.Fatalf("kept %v", kept())
	}
	// The window goes without a word: its state stays, and the next one offers it.
	next := start()
	if said := next.said(); !strings.Contains(said, "an investigation that was never saved; it was kept on 4 May 2031") {
		t.Errorf("said %q", said)
	}
	if next.desk.document().Notes != "" {
		t.Error("taken up without asking")
	}
	next.click("take up")
	next.settlePicture()
	d := next.desk
	if d.document().Notes != "not saved" || !d.history.Changed() || d.document().Sweep.Sweep == nil {
		t.Fatalf("taken up: %+v, said %q", d.document(), next.said())
	}
	// Its files lie where they go once it is saved: that is no place to save it, nor
	// for a report of it.
	if !strings.HasPrefix(d.document().Sweep.Path, state) {
		t.Fatalf("the sweep is in %s", d.document().Sweep.Path)
	}
	if strings.HasPrefix(d.savePath(), state) {
		t.Errorf("it would be saved in %s", d.savePath())
	}
	if err := d.mayReplace(filepath.Join(filepath.Dir(d.document().Sweep.Path), "x.toml")); err == nil || !strings.Contains(err.Error(), "is emptied once all is saved; choose another folder") {
		t.Errorf("saving beside what is kept: %v", err)
	}
	d.saveTo(filepath.Join(t.TempDir(), "saved.toml"))
	next.settlePicture()
	if len(kept()) > 0 || d.history.Changed() {
		t.Errorf("after saving there is left %v", kept())
	}
	// Thrown away, it is gone.
	g.desk.Close()
	if len(kept()) != 1 {
		t.Fatalf("closing with changes keeps %v", kept())
	}
	last := start()
	last.click("throw away")
	if len(kept()) > 0 || last.said() != "" {
		t.Errorf("left %v, said %q", kept(), last.said())
	}
}

// A run that finds something else than the file holds says so, once.
func TestDisagreementIsSaid(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 800))
	d := g.desk
	d.file.held = investigation.FoundBy(d.findings)
	d.holdAgainst()
	if g.said() != "" {
		t.Errorf("the same run says %q", g.said())
	}
	d.file.held = &investigation.Found{WorstVSWR: d.findings.Verdict.WorstVSWR, Faults: []investigation.FoundFault{{Cause: diagnose.DentOrKink, DistanceM: 20, SigmaM: 0.1}}}
	d.holdAgainst()
	if said := g.said(); !strings.Contains(said, "does not agree with the one that was saved") || !strings.Contains(said, "dent or kink at 20.00 ± 0.10 m; this run does not find a fault there") {
		t.Errorf("said %q", said)
	}
	d.notices.list = nil
	d.holdAgainst()
	if g.said() != "" {
		t.Error("said twice")
	}
}
