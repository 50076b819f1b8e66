package desk

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"gioui.org/io/key"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/widget"

	"downlead/ui/investigation"
	"downlead/ui/theme"
	"downlead/ui/work"
)

// file is where the investigation is saved, and what is kept of it meanwhile.
type file struct {
	path     string // "": it was not saved yet
	saving   work.Slot[saved]
	after    func(*Desk) // what waits for the investigation to be saved; nil: nothing
	replace  string      // a file that the user may replace by choosing it once more
	question question
	held     *investigation.Found // what the opened file holds of its last run, until this run is held against it

	keeper  investigation.Keeper
	keeping work.Slot[int] // the number of the state that was kept
	kept    int
	seen    int // the number of the state last seen, and since when
	since   time.Time
	dropped bool // the user let the changes go

	closeWindow func()
}

// saved is what a job of saving did.
type saved struct {
	was    investigation.Document
	number int
	*investigation.Saved
}

func (d *Desk) initFile(o Options) {
	f := &d.file
	f.saving.Notify, f.keeping.Notify = d.notify, d.notify
	f.keeper.Folder, f.keeper.Now = o.StateFolder, d.now
	f.closeWindow = o.CloseWindow
	if o.StateFolder == "" {
		return
	}
	for _, r := range investigation.Recoveries(o.StateFolder) {
		d.offer(r)
	}
}

// begin makes doc the document, without a past. path is its file, "" for none.
func (d *Desk) begin(doc investigation.Document, path string) {
	d.history.Begin(doc)
	f := &d.file
	f.path, f.held, f.dropped = path, doc.Found, false
	f.kept, f.seen = 0, 0
	d.letGo()
	d.hints = false
	d.editor.chosen = -1
	d.about.open = false
	d.findings, d.diagnosedOf = nil, diagnosisOf{} // what the cards hold of decisions is another document's
	d.restored()
}

// letGo throws away what is kept.
func (d *Desk) letGo() { d.fail(d.file.keeper.Done()) }

// canSave says whether there is anything to be saved.
func (d *Desk) canSave() bool {
	doc := d.document()
	return d.history.Changed() || d.file.path == "" && (doc.Sweep.Sweep != nil || doc.Line != nil)
}

// save saves the investigation where it is, or asks where.
func (d *Desk) save() { d.saveThen(nil) }

// saveThen is save, and does then once it is saved; nil: nothing.
func (d *Desk) saveThen(then func(*Desk)) {
	d.file.after = then
	if d.file.path == "" {
		d.browse(pickSave)
		return
	}
	d.saveTo(d.file.path)
}

// savePath is where the investigation would be saved.
func (d *Desk) savePath() string {
	if d.file.path != "" {
		return d.file.path
	}
	doc := d.document()
	name := doc.Site
	if name == "" && doc.Line != nil {
		name = doc.Line.Name
	}
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9') })
	name = strings.Trim(fmt.Sprintf("%.60s", strings.Join(words, "-")), "-")
	if name == "" {
		name = "investigation"
	}
	folder := d.browser.folder
	if doc.Sweep.Path != "" && !d.isKept(doc.Sweep.Path) {
		folder = filepath.Dir(doc.Sweep.Path)
	}
	return filepath.Join(folder, name+".toml")
}

// isKept says whether a path lies where things are kept only until they are saved.
func (d *Desk) isKept(path string) bool {
	own := d.file.keeper.Folder
	if own == "" {
		return false
	}
	inside, err := filepath.Rel(own, path)
	return err == nil && filepath.IsLocal(inside)
}

// mayReplace refuses to save where nothing stays, and over what is no investigation, and asks once more
// before another one is replaced.
func (d *Desk) mayReplace(path string) error {
	if filepath.Ext(path) == "" {
		path += ".toml"
	}
	_, err := os.Stat(path)
	switch {
	case d.isKept(path):
		return errors.New(filepath.Dir(path) + " is the program's own, and is emptied once all is saved; choose another folder")
	case err != nil || path == d.file.path:
	case !investigation.Is(path):
		return errors.New(path + " is there already and is no investigation; choose another name")
	case d.file.replace != path:
		d.file.replace = path
		return errors.New(path + " is there already; saving here once more replaces it")
	}
	d.file.replace = ""
	return nil
}

// saveTo saves the investigation in the background, with the findings as they are
// now.
func (d *Desk) saveTo(path string) {
	doc, number := d.document(), d.history.Number()
	if d.findings != nil {
		doc.Found = investigation.FoundBy(d.findings)
	}
	d.file.saving.Start(func(context.Context) (saved, error) {
		s, err := investigation.Save(path, doc)
		return saved{doc, number, s}, err
	})
}

// takeSaved takes what saving and keeping did.
func (d *Desk) takeSaved() {
	f := &d.file
	if r, ok := f.keeping.Take(); ok {
		f.kept = r.Value
		if r.Err != nil {
			d.notices.add(notice{bad: true, text: "what is not saved could not be kept against a crash either: " + r.Err.Error()})
		}
	}
	r, ok := f.saving.Take()
	if !ok {
		return
	}
	after := f.after
	f.after = nil
	if r.Err != nil {
		d.fail(r.Err)
		return
	}
	d.history.Amend(r.Value.Moved(r.Value.was, d.document()))
	d.history.Saved(r.Value.number)
	f.path = r.Value.Path
	d.recent.add(f.path)
	d.letGo()
	text := "saved in " + f.path
	if n := len(r.Value.Copied); n > 0 {
		text += fmt.Sprintf("; %s copied to %s, so that the folder holds all of it", plural(n, "file"), filepath.Dir(r.Value.Copied[0]))
	}
	d.mention(text)
	d.refresh()
	if after != nil {
		after(d)
	}
}

// readInvestigation reads an investigation and all that it names.
func readInvestigation(path string) (opened, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	o, err := investigation.Open(path)
	if err != nil {
		return nil, err
	}
	return func(d *Desk) {
		d.unlessChanged("Open "+filepath.Base(path)+"?", func(d *Desk) {
			d.begin(o.Document, path)
			d.tell(o.Problems)
			if o.Unsaved != nil { // somebody opened what was kept
				d.file.path = ""
				d.history.Saved(-1)
			} else if r, ok := investigation.RecoveryOf(path); ok {
				d.offer(r)
			}
		})
	}, nil
}

// tell shows what is the matter with the files of an investigation.
func (d *Desk) tell(problems []investigation.Problem) {
	for _, used := range []bool{false, true} {
		var words []string
		for _, p := range problems {
			if p.Used == used {
				words = append(words, capital(p.String()))
			}
		}
		if len(words) > 0 {
			d.notices.add(notice{bad: !used, text: strings.Join(words, "\n")})
		}
	}
}

// holdAgainst says where the findings disagree with those that the file holds.
func (d *Desk) holdAgainst() {
	held := d.file.held
	d.file.held = nil
	if words := held.Differs(d.findings); len(words) > 0 && !d.history.Changed() {
		d.say("This run does not agree with the one that was saved: " + strings.Join(words, "; ") + ".")
	}
}

// offer shows that something was kept, and lets the user take it up.
func (d *Desk) offer(r investigation.Recovery) {
	what, kept := "an investigation that was never saved", "it was"
	if r.Of != "" {
		what, kept = "changes of "+r.Of+" that were not saved", "they were"
	}
	d.notices.add(notice{text: fmt.Sprintf("The program ended with %s; %s kept on %s.", what, kept, r.At.Local().Format("2 January 2006, 15:04")),
		acts: []act{{"take up", func(d *Desk) { d.takeUp(r) }}, {"throw away", func(d *Desk) { d.fail(r.Discard()) }}}})
}

// takeUp opens what was kept.
func (d *Desk) takeUp(r investigation.Recovery) {
	d.open(func() (opened, error) {
		o, err := investigation.Open(r.Path)
		if err != nil {
			return nil, err
		}
		return func(d *Desk) {
			d.unlessChanged("Take up what was kept?", func(d *Desk) {
				d.begin(o.Document, r.Of)
				d.history.Saved(-1)
				d.file.keeper.Adopt(r)
				d.tell(o.Problems)
			})
		}, nil
	})
}

// keepAfter is how long the document rests before it is kept.
const keepAfter = 2 * time.Second

// keep keeps what is not saved once the user rests.
func (d *Desk) keep(gtx layout.Context) {
	f := &d.file
	now, number := d.now(), d.history.Number()
	if number != f.seen {
		f.seen, f.since, f.dropped = number, now, false
	}
	if _, running := f.keeping.Running(); running || f.dropped {
		return
	}
	if !d.history.Changed() {
		if f.keeper.Keeps() {
			d.letGo()
		}
		return
	}
	if number == f.kept {
		return
	}
	if rested := now.Sub(f.since); rested < keepAfter {
		gtx.Execute(op.InvalidateCmd{At: gtx.Now.Add(keepAfter - rested)})
		return
	}
	doc, path := d.document(), f.path
	f.keeping.Start(func(context.Context) (int, error) { return number, f.keeper.Keep(path, doc) })
}

// question asks what to do with changes that are not saved.
type question struct {
	open                bool
	focus               bool // the first answer gets the focus in the next frame
	title               string
	then                func(*Desk)
	save, leave, cancel widget.Clickable
}

// unlessChanged does then, but asks first where changes would be lost by it.
func (d *Desk) unlessChanged(title string, then func(*Desk)) {
	if !d.history.Changed() {
		then(d)
		return
	}
	q := &d.file.question
	q.open, q.focus, q.title, q.then = true, true, title, then
}

// MayClose says whether the window may close; where changes are not saved it asks
// first, and calls Options.CloseWindow when all is said.
func (d *Desk) MayClose() bool {
	if !d.history.Changed() || d.file.dropped {
		return true
	}
	d.unlessChanged("Close Downlead?", func(d *Desk) {
		if d.file.closeWindow != nil {
			d.file.closeWindow()
		}
	})
	d.notify()
	return false
}

func (d *Desk) updateQuestion(gtx layout.Context) {
	q := &d.file.question
	if q.focus {
		gtx.Execute(key.FocusCmd{Tag: &q.save})
		q.focus = false
	}
	switch {
	case q.save.Clicked(gtx):
		q.open = false
		d.saveThen(q.then)
	case q.leave.Clicked(gtx):
		q.open = false
		d.file.dropped = true
		d.letGo()
		q.then(d)
	case q.cancel.Clicked(gtx):
		q.open = false
	}
}

func (d *Desk) layoutQuestion(gtx layout.Context) layout.Dimensions {
	q := &d.file.question
	what := "The investigation has not been saved yet."
	if d.file.path != "" {
		what = filepath.Base(d.file.path) + " has changes that are not saved."
	}
	d.veil(gtx, gtx.Dp(440), gtx.Dp(118), func(gtx layout.Context) layout.Dimensions {
		return column(gtx, 10,
			d.theme.Text(theme.Label{Text: q.title, Font: theme.Strong, Size: d.theme.Title()}),
			d.words(what, d.theme.Ink),
			func(gtx layout.Context) layout.Dimensions {
				button := func(click *widget.Clickable, b theme.Button) layout.Widget {
					return func(gtx layout.Context) layout.Dimensions { return d.theme.Button(gtx, click, b) }
				}
				return row(gtx, 6, button(&q.save, theme.Button{Text: "Save first", Strong: true}), button(&q.leave, theme.Button{Text: "Let the changes go"}),
					button(&q.cancel, theme.Button{Text: "Cancel"}))
			})
	})
	return layout.Dimensions{Size: gtx.Constraints.Max}
}
