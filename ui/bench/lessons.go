package bench

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"gioui.org/io/key"
	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/dsp/diagnose"
	"downlead/ui/keys"
	"downlead/ui/lesson"
	"downlead/ui/lesson/pictures"
	"downlead/ui/theme"
	"downlead/ui/traces"
	"downlead/ui/work"
)

// lessons are the lessons of the program, and the one that is gone through.
type lessons struct {
	on                  bool // in place of what is on the bench
	all                 []*lesson.Lesson
	err                 error
	said                string // of the pictures
	rows                []widget.Clickable
	open                *class        // nil: the list is shown
	step                int           // -1: what the lesson is about
	own                 widget.Editor // the file of one of the trainer's own
	read                work.Slot[*lesson.Lesson]
	turn                work.Slot[*page]
	page                *page // nil: being worked out
	next                widget.Clickable
	back                widget.Clickable
	list                widget.Clickable
	reveal              widget.Clickable
	asTaught, following widget.Clickable
	fields              []field // of the questions of the page
	judge               work.Slot[judged]
	save                work.Slot[string] // the folder that the pictures went to
	saving              widget.Clickable
	scroll              widget.List
}

// class is a lesson with its line swept. A job that was overtaken may still run, so
// each takes turns.
type class struct {
	*lesson.Lesson
	turn  sync.Mutex
	bench *lesson.Bench
}

// page is a step as it is read and shown.
type page struct {
	of         *class
	step       int
	title      string
	paragraphs []string
	sights     []sight
	questions  []question
	cautions   []string
	scene      *scene
}

// sight is a number to look for, kept back until the questions that it would answer are.
type sight struct {
	text  string
	holds []int // indices of those questions on the page
}

// question is one with its texts filled in.
type question struct {
	index   int // in the lesson
	kind    lesson.Kind
	text    string
	unit    string
	options []string
	scene   *scene // what it is asked about; nil: what the step shows
}

// field is where a question is answered, and what became of that.
type field struct {
	editor  widget.Editor
	submit  widget.Clickable
	choices []widget.Clickable
	look    widget.Clickable // at what is asked about
	picked  int              // of the choices, the one pressed last, from 1; 0: none
	said    string
	right   bool
	done    bool
}

// judged is an answer that was held against the engine's.
type judged struct {
	page   *page
	field  int
	answer lesson.Outcome
	err    error
}

// openLesson goes to the beginning of a lesson.
func (b *Bench) openLesson(l *lesson.Lesson) {
	b.lessons.open, b.lessons.said = &class{Lesson: l}, ""
	b.setAside()
	b.Begin(SetupOf(l.Scenario))
	b.veiled = true
	b.turnTo(-1)
}

// turnTo works out a page of the open lesson; -1 is what it is about.
func (b *Bench) turnTo(step int) {
	s := &b.lessons
	if s.open == nil || step < -1 || step >= len(s.open.Steps) {
		return
	}
	s.step, s.page, s.fields = step, nil, nil
	s.judge.Stop()
	c, feet := s.open, b.look.Feet
	s.turn.Start(func(ctx context.Context) (*page, error) { return c.read(ctx, step, feet) })
}

// read works a page out.
func (c *class) read(ctx context.Context, step int, feet bool) (*page, error) {
	c.turn.Lock()
	defer c.turn.Unlock()
	if c.bench == nil {
		opened, err := lesson.Open(ctx, c.Lesson)
		if err != nil {
			return nil, err
		}
		c.bench = opened
	}
	c.bench.Feet = feet
	p := &page{of: c, step: step, title: c.Title}
	text, show := c.Text, &c.Steps[max(step, 0)].Show
	if step >= 0 {
		p.title, text = c.Steps[step].Title, c.Steps[step].Text
	}
	s, err := c.bench.Scene(show)
	if err != nil {
		return nil, err
	}
	whole, err := s.Fill(ctx, text)
	if err != nil {
		return nil, err
	}
	p.paragraphs = lesson.Paragraphs(whole)
	if c.HandsOn && step < 0 || step >= 0 && c.Steps[step].HandsOn {
		p.cautions = append(diagnose.Cautions(), c.Cautions...)
	}
	if p.scene, err = c.sceneOf(ctx, s, show); err != nil {
		return nil, err
	}
	if step < 0 {
		return p, nil
	}
	for i := range c.Steps[step].See {
		see := &c.Steps[step].See[i]
		name, err := s.Fill(ctx, see.Text)
		if err != nil {
			return nil, err
		}
		v, err := s.Value(ctx, &see.Value)
		if err != nil {
			return nil, err
		}
		one := sight{text: name + ": " + s.Write(v, see.Decimals, see.Unit)}
		given, err := c.bench.GivenAway(ctx, step, see)
		if err != nil {
			return nil, err
		}
		for k, question := range c.QuestionsAfter(step) {
			if slices.Contains(given, question) {
				one.holds = append(one.holds, k)
			}
		}
		p.sights = append(p.sights, one)
	}
	for _, i := range c.QuestionsAfter(step) {
		q, err := c.ask(ctx, i)
		if err != nil {
			return nil, err
		}
		p.questions = append(p.questions, q)
	}
	return p, ctx.Err()
}

// ask fills in a question.
func (c *class) ask(ctx context.Context, i int) (question, error) {
	q := &c.Questions[i]
	s, err := c.bench.Scene(c.ShowOf(q))
	if err != nil {
		return question{}, err
	}
	out := question{index: i, kind: q.Kind, unit: q.Unit}
	if q.Show != nil {
		if out.scene, err = c.sceneOf(ctx, s, q.Show); err != nil {
			return question{}, err
		}
	}
	if out.text, err = s.Fill(ctx, q.Text); err != nil {
		return question{}, err
	}
	if q.Kind == lesson.Place {
		out.unit = map[bool]string{true: "ft", false: "m"}[c.bench.Feet]
	}
	for _, o := range q.Options {
		text, err := s.Fill(ctx, o.Text)
		if err != nil {
			return question{}, err
		}
		out.options = append(out.options, text)
	}
	if q.Kind == lesson.Cause {
		for _, cause := range lesson.Causes() {
			name := words(cause)
			if cause == "none" {
				name = "nothing is wrong"
			}
			out.options = append(out.options, name)
		}
	}
	return out, nil
}

// sceneOf is what a lesson shows, for the charts.
func (c *class) sceneOf(ctx context.Context, s *lesson.Scene, show *lesson.Show) (*scene, error) {
	has := func(overlay string) bool { return slices.Contains(show.Overlays, overlay) }
	out := &scene{sweep: s.Sweep, record: s.Line, window: show.Window, zoomHz: show.ZoomHz, zoomM: show.ZoomM,
		overlays: overlays{ghosts: has("ghosts"), bounces: has("lattice"), limit: has("limit")},
		raw:      show.Sweep == lesson.Raw, sound: show.Sweep == lesson.Earlier, locked: show.Locked}
	if k := slices.Index(lesson.Overs(), show.Over); k > 0 {
		out.views.over = traces.EveryOverFrequency()[k]
	}
	if k := slices.Index(lesson.Alongs(), show.Along); k > 0 {
		out.views.along = traces.EveryAlongLine()[k]
	}
	if (show.AgainstEarlier || has("earlier")) && show.Sweep != lesson.Earlier && c.bench.Result.Baseline != nil {
		earlier := *show
		earlier.Sweep = lesson.Earlier
		before, err := c.bench.Scene(&earlier)
		if err != nil {
			return nil, err
		}
		out.earlier = before.Sweep
	}
	if has("expected") {
		expected, err := s.Expected(ctx)
		if err != nil {
			return nil, err
		}
		out.expected = expected
	}
	if has("model") && show.Sweep != lesson.Raw {
		found, err := s.Findings(ctx)
		if err != nil {
			return nil, err
		}
		out.model = found.Model
	}
	return out, nil
}

// answer holds what was given against the engine's own answer.
func (b *Bench) answer(k int, given string) {
	s := &b.lessons
	p := s.page
	s.judge.Start(func(ctx context.Context) (judged, error) {
		p.of.turn.Lock()
		defer p.of.turn.Unlock()
		got, err := p.of.bench.Answer(ctx, p.questions[k].index, given)
		return judged{p, k, got, err}, nil
	})
}

// savePictures writes the figures of the open lesson into a new folder.
func (b *Bench) savePictures() {
	s := &b.lessons
	if s.open == nil || s.page == nil {
		return
	}
	c, folder := s.open, filepath.Join(b.folder, "lesson-"+s.open.ID)
	s.said = "the pictures are being drawn …"
	s.save.Start(func(ctx context.Context) (string, error) {
		c.turn.Lock()
		defer c.turn.Unlock()
		into, err := newFolder(folder)
		if err != nil {
			return "", err
		}
		_, err = pictures.Write(ctx, c.bench, into)
		return into, err
	})
}

// newFolder makes a folder that was not there, with a number where the name is taken.
func newFolder(path string) (string, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return "", err
	}
	for n := 1; ; n++ {
		name := path
		if n > 1 {
			name = fmt.Sprintf("%s-%d", path, n)
		}
		if err := os.Mkdir(name, 0o777); err == nil || !errors.Is(err, fs.ErrExist) || n == 1000 {
			return name, err
		}
	}
}

// takeLesson takes what the jobs of the lesson have worked out.
func (b *Bench) takeLesson() {
	s := &b.lessons
	if r, ok := s.turn.Take(); ok {
		s.err = r.Err
		if r.Err == nil {
			s.page, s.fields = r.Value, make([]field, len(r.Value.questions))
			for i := range s.fields {
				s.fields[i].editor.SingleLine, s.fields[i].editor.Submit = true, true
				s.fields[i].choices = make([]widget.Clickable, len(r.Value.questions[i].options))
			}
			b.showScene(r.Value.scene)
			b.scroll0()
		}
	}
	if r, ok := s.read.Take(); ok {
		s.err = r.Err
		if r.Err == nil {
			s.all = append(s.all, r.Value)
			s.rows = make([]widget.Clickable, len(s.all))
			b.openLesson(r.Value)
		}
	}
	if r, ok := s.save.Take(); ok {
		s.said = "the pictures are in " + r.Value
		if r.Err != nil {
			s.said = "no pictures: " + r.Err.Error()
		}
	}
	if r, ok := s.judge.Take(); ok && r.Value.page == s.page && s.page != nil {
		f := &s.fields[r.Value.field]
		switch {
		case r.Err != nil:
			f.said, f.right = r.Err.Error(), false
		case r.Value.err != nil: // one that cannot be read may be given again
			f.said, f.right = r.Value.err.Error(), false
		default:
			f.done, f.right = true, r.Value.answer.Right || r.Value.answer.Alike
			f.said = "Right: " + r.Value.answer.Expected + ". "
			if r.Value.answer.Alike {
				f.said = "Right: this sweep does not tell it from " + r.Value.answer.Expected + ". "
			} else if !f.right {
				f.said = "No. It is " + r.Value.answer.Expected + ". "
			}
			f.said += r.Value.answer.Because
		}
	}
}

// showScene puts a scene of the open lesson onto the bench.
func (b *Bench) showScene(s *scene) {
	b.scene, b.views = s, s.views
	b.Begin(s.setup(b.lessons.open.Scenario))
	b.ghosts, b.bounces, b.each = s.overlays.ghosts, s.overlays.bounces, false
}

// backToLesson takes back what was tried: a step that can be undone itself.
func (b *Bench) backToLesson() {
	_ = b.change("back to what the lesson shows", "", func(s *Setup) { *s = b.started }) // it was on the bench before
}

// scroll0 shows the page from its beginning.
func (b *Bench) scroll0() { b.lessons.scroll.Position = layout.Position{BeforeEnd: true} }

// goToLessons shows the list, or the open lesson, in place of the faults, or goes back to
// them.
func (b *Bench) goToLessons() {
	s := &b.lessons
	s.on = !s.on
	if s.on {
		b.leaveBlind()
	} else {
		b.closeLesson()
		b.putBack()
	}
	if s.on && s.all == nil {
		s.all, s.err = lesson.Embedded()
		s.rows = make([]widget.Clickable, len(s.all))
	}
}

// closeLesson goes back to the list.
func (b *Bench) closeLesson() {
	s := &b.lessons
	s.turn.Stop()
	s.judge.Stop()
	s.save.Stop()
	s.read.Stop()
	s.err = nil
	s.open, s.page, s.said = nil, nil, ""
	b.scene, b.veiled = nil, false
}

// readLesson opens a lesson of the trainer's own by its path.
func (b *Bench) readLesson(path string) {
	if path = strings.TrimSpace(path); path == "" {
		return
	}
	if !filepath.IsAbs(path) {
		path = filepath.Join(b.folder, path)
	}
	b.lessons.err = nil
	b.lessons.read.Start(func(context.Context) (*lesson.Lesson, error) { return lesson.Read(path) })
}

func (b *Bench) updateLessons(gtx layout.Context) {
	s := &b.lessons
	s.own.SingleLine, s.own.Submit = true, true
	if path, ok := theme.Submitted(gtx, &s.own); ok {
		b.readLesson(path)
	}
	for i := range s.rows {
		for s.rows[i].Clicked(gtx) {
			b.openLesson(s.all[i])
		}
	}
	for s.next.Clicked(gtx) {
		b.turnTo(s.step + 1)
	}
	for s.back.Clicked(gtx) {
		b.turnTo(s.step - 1)
	}
	for s.list.Clicked(gtx) {
		b.closeLesson()
	}
	for s.saving.Clicked(gtx) {
		b.savePictures()
	}
	for s.reveal.Clicked(gtx) {
		b.veiled = !b.veiled
	}
	for s.following.Clicked(gtx) {
		if k := b.following(); k > 0 {
			b.openLesson(s.all[k])
		}
	}
	for s.asTaught.Clicked(gtx) {
		b.backToLesson()
	}
	for i := range s.fields {
		f := &s.fields[i]
		for f.look.Clicked(gtx) {
			if s.page != nil && s.page.questions[i].scene != nil {
				b.showScene(s.page.questions[i].scene)
			}
		}
		for { // in one line they would do nothing
			e, ok := gtx.Event(key.Filter{Focus: &f.editor, Name: key.NamePageDown}, key.Filter{Focus: &f.editor, Name: key.NamePageUp})
			if !ok {
				break
			}
			if pressed, is := e.(key.Event); is && pressed.State == key.Press {
				by := 1
				if pressed.Name == key.NamePageUp {
					by = -1
				}
				b.turnTo(s.step + by)
				b.again(gtx)
				return // the fields are those of another page
			}
		}
		given := f.submit.Clicked(gtx)
		_, typed := theme.Submitted(gtx, &f.editor)
		if (given || typed) && s.page != nil {
			b.answer(i, f.editor.Text())
		}
		for k := range f.choices {
			for f.choices[k].Clicked(gtx) {
				text := fmt.Sprint(k + 1)
				if s.page.questions[i].kind == lesson.Cause {
					text = lesson.Causes()[k]
				}
				f.picked = k + 1
				b.answer(i, text)
			}
		}
	}
}

// lessonKeys are the keys of the lessons.
func lessonKeys() []command {
	return []command{
		keys.On("L", key.ModCtrl, "Ctrl L", "lessons, or the faults again", func(b *Bench, _ layout.Context) { b.goToLessons() }),
		keys.On(key.NamePageDown, 0, "PageDown", "next step of the lesson", func(b *Bench, _ layout.Context) { b.turnTo(b.lessons.step + 1) }),
		keys.On(key.NamePageUp, 0, "PageUp", "step before", func(b *Bench, _ layout.Context) { b.turnTo(b.lessons.step - 1) }),
		keys.On("B", key.ModCtrl, "Ctrl B", "a blind case, or the faults again", func(b *Bench, _ layout.Context) { b.goBlind() }),
		keys.On(key.NameF11, 0, "F11", "present: the whole screen, large type, colours for a projector", func(b *Bench, _ layout.Context) { b.present(!b.presenting) }),
	}
}
