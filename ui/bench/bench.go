package bench

import (
	"context"
	"errors"
	"slices"
	"time"

	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/widget"

	"downlead/cables"
	"downlead/dsp/diagnose"
	"downlead/dsp/simulate"
	"downlead/ui/chart"
	"downlead/ui/theme"
	"downlead/ui/traces"
	"downlead/ui/undo"
	"downlead/ui/work"
)

// Look is how the user wants things to look; the bench changes it by its own keys.
type Look struct {
	Dark  bool
	Feet  bool
	Scale float32 // of all text
}

// Options of New.
type Options struct {
	// Notify is called when something was computed and a frame is wanted; nil:
	// nobody is told.
	Notify func()
	// FullScreen is asked for the whole screen, or to give it back; nil: the window
	// stays as it is.
	FullScreen func(on bool)
	// Folder is where pictures go, each time into a new folder; "": the working folder.
	Folder string
}

// Bench is the state of the room.
type Bench struct {
	theme      theme.Theme
	look       Look
	now        time.Time
	fullScreen func(bool)
	leave      bool
	folder     string

	offered *cables.Line // the line that is open in the window; nil: none

	history  undo.History[Setup]
	started  Setup  // where the history begins
	aside    *aside // what was on the bench before a lesson or a blind case; nil: it is there
	begun    int    // how often a setup was begun with
	path     *cables.Path
	pathOf   *cables.Line
	selected int    // index of a fault; -1: none
	trouble  string // why something could not be
	note     string // what was undone

	measuring work.Slot[*picture]
	drawn     *picture
	drawErr   error
	reach     aim
	finding   work.Slot[*diagnose.Findings]
	findings  *diagnose.Findings
	findErr   error
	foundOf   aim
	follow    bool // the faults are looked for after each change
	changedAt time.Time

	views                 views
	each, bounces, ghosts bool // what is shown beside the whole

	scene      *scene // shown in place of what the setup measures; nil: none
	zoomed     *scene // the last whose zoom was taken
	veiled     bool   // what is there is not shown
	presenting bool
	lessons    lessons
	blind      blindfold

	over, along chart.Chart
	smith       chart.Smith // in place of over where a lesson asks for it
	board       board
	knobs       map[string]*knob
	bar         bar
	panel       panel
	help        help
}

// bar is what can be pressed above the charts.
type bar struct {
	leave, undo, redo, keys  widget.Clickable
	each, bounces, ghosts    widget.Clickable
	unit, face, ownLine, raw widget.Clickable
	lessons, blind, present  widget.Clickable
	window, over, along      theme.Choice
}

// New returns a bench with the demonstration's line, without faults.
func New(o Options) (*Bench, error) {
	scenario, err := simulate.Demo()
	if err != nil {
		return nil, err
	}
	scenario.Faults = nil
	scenario.AsBuilt.Roughness = 0 // smooth cable: what is seen is what was put there, and it follows the hand
	b := &Bench{fullScreen: o.FullScreen, folder: o.Folder, selected: -1, knobs: map[string]*knob{}}
	b.measuring.Notify, b.finding.Notify = o.Notify, o.Notify
	b.lessons.turn.Notify, b.lessons.judge.Notify, b.lessons.save.Notify, b.lessons.read.Notify = o.Notify, o.Notify, o.Notify, o.Notify
	b.blind.draw.Notify, b.blind.record.keep.Notify = o.Notify, o.Notify
	b.Begin(SetupOf(scenario))
	b.over.Linked = nil
	return b, nil
}

// Close ends all background work.
func (b *Bench) Close() {
	b.measuring.Wait()
	b.finding.Wait()
	b.lessons.turn.Wait()
	b.lessons.judge.Wait()
	b.lessons.save.Wait()
	b.lessons.read.Wait()
	b.blind.draw.Wait()
	b.blind.record.keep.Wait()
}

// Busy says whether anything runs in the background.
func (b *Bench) Busy() bool {
	_, measuring := b.measuring.Running()
	_, finding := b.finding.Running()
	_, turning := b.lessons.turn.Running()
	_, judging := b.lessons.judge.Running()
	_, drawing := b.blind.draw.Running()
	_, saving := b.lessons.save.Running()
	_, reading := b.lessons.read.Running()
	_, keeping := b.blind.record.keep.Running()
	return keeping || reading || measuring || finding || turning || judging || drawing || saving
}

// Setup is what is on the bench.
func (b *Bench) Setup() Setup { return b.history.Now() }

// Begin puts a setup on the bench, without a past.
func (b *Bench) Begin(s Setup) {
	b.history.Begin(s)
	b.started = s
	b.begun++
	b.selected, b.trouble, b.note = -1, "", ""
	b.findings, b.findErr = nil, nil
	b.finding.Stop()
	b.refresh()
}

// aside is what was on the bench, with its past, and how it was looked at.
type aside struct {
	history undo.History[Setup]
	views   views
}

// setAside keeps what is on the bench, with its past, for putBack.
func (b *Bench) setAside() {
	if b.aside == nil {
		b.aside = &aside{b.history, b.views}
		b.Begin(b.Setup()) // nothing is done to that past meanwhile
	}
}

// putBack puts what was set aside onto the bench.
func (b *Bench) putBack() {
	if b.aside == nil {
		return
	}
	b.Begin(b.aside.history.Now())
	b.history, b.views, b.aside = b.aside.history, b.aside.views, nil
	b.refresh()
}

// Offer says which line is open in the window, so that it can be taken; nil: none.
func (b *Bench) Offer(line *cables.Line) { b.offered = line }

// takeLine puts the open line on the bench, without faults: a step that can be undone.
func (b *Bench) takeLine() {
	line := b.offered
	_ = b.change("take the open line", "", func(s *Setup) { s.Line, s.Faults, s.WrongSpeed = line, nil, 0 }) // the foot says why not
}

// change makes a new setup by edit; did says in words what was done, and steps of one
// kind become one. Where the simulator cannot have it, the setup stays and the error
// says why.
func (b *Bench) change(did, kind string, edit func(*Setup)) error {
	next := b.Setup()
	faults := make([]simulate.Fault, len(next.Faults), len(next.Faults)+1)
	copy(faults, next.Faults)
	next.Faults, next.Marks = faults, slices.Clone(next.Marks)
	edit(&next)
	if err := b.allowed(&next); err != nil {
		b.trouble = err.Error()
		return err
	}
	if err := next.scenario().Check(); err != nil {
		b.trouble = err.Error()
		return err
	}
	b.trouble, b.note = "", ""
	b.history.Do(next, did, kind)
	b.refresh()
	return nil
}

// allowed says why a setup may not be: what is looked at may be locked by its lesson, and the
// line of a blind case is as it is.
func (b *Bench) allowed(next *Setup) error {
	switch {
	case b.scene != nil && b.scene.locked:
		return errors.New("this step of the lesson is to be looked at as it is")
	case b.blind.on && !next.sameSweep(&b.started):
		return errors.New("the line of a blind case and its sweep stay as they are")
	}
	return nil
}

// tried says whether what is shown of a lesson is no longer its own sweep.
func (b *Bench) tried() bool {
	now := b.Setup()
	return b.scene != nil && !now.sameSweep(&b.started)
}

// show switches something that is shown beside the whole on or off; not in a blind case,
// where it would tell.
func (b *Bench) show(what *bool) {
	if !b.blind.on {
		*what = !*what
	}
}

// hasKnobs says whether the sweep's knobs are shown: people at the back of a room read large
// letters, and some steps of lessons are looked at as they are.
func (b *Bench) hasKnobs() bool { return !b.presenting && (b.scene == nil || !b.scene.locked) }

// takenApart is what is shown that needs the waves one by one.
func (b *Bench) takenApart() apart { return apart{b.each || b.bounces || b.ghosts, b.each} }

// refresh starts what has to be computed anew.
func (b *Bench) refresh() {
	s := b.Setup()
	b.selected = min(b.selected, len(s.Faults)-1)
	if s.Line != b.pathOf {
		b.pathOf = s.Line
		b.path, _ = s.Line.Path() // a line that has none does not get onto the bench
	}
	b.showMarks()
	a := aim{b.begun, b.history.Number(), b.takenApart(), b.scene, b.tried(), b.views}
	if a == b.reach {
		return
	}
	if a.begun != b.reach.begun || a.step != b.reach.step {
		b.changedAt = b.now
		b.finding.Stop()
	}
	b.reach = a
	before := b.drawn
	b.measuring.Start(func(ctx context.Context) (*picture, error) { return draw(ctx, s, a, before) })
}

// find looks for the faults of what is shown.
func (b *Bench) find() {
	if b.drawn == nil || b.veiled && b.blind.result == nil { // it would tell
		return
	}
	p := b.drawn
	b.foundOf = aim{begun: b.reach.begun, step: b.reach.step}
	b.findings, b.findErr = nil, nil
	b.finding.Start(func(ctx context.Context) (*diagnose.Findings, error) { return find(ctx, p) })
}

// fresh says whether the findings are those of the setup as it stands.
func (b *Bench) fresh() bool {
	return b.foundOf == aim{begun: b.begun, step: b.history.Number()}
}

// restBefore is how long a setup must stand before its faults are looked for unasked.
const restBefore = 1200 * time.Millisecond

func (b *Bench) take(gtx layout.Context) {
	if r, ok := b.measuring.Take(); ok {
		b.drawErr = r.Err
		if r.Err == nil {
			b.drawn = r.Value
		}
	}
	if r, ok := b.finding.Take(); ok {
		b.findings, b.findErr = r.Value, r.Err
	}
	if _, measuring := b.measuring.Running(); b.follow && !b.veiled && !measuring && !b.fresh() {
		if due := b.changedAt.Add(restBefore); gtx.Now.Before(due) {
			gtx.Execute(op.InvalidateCmd{At: due})
		} else {
			b.find()
		}
	}
}

// presentScale is how much larger text is for a room of people.
const presentScale = 1.3

// present takes the whole screen, with large type and colours for a projector, or gives
// it back.
func (b *Bench) present(on bool) {
	b.presenting = on
	if b.fullScreen != nil {
		b.fullScreen(on)
	}
}

var errStopped = errors.New("the search was stopped; F5 starts it again")

// Frame drains the events of the last frame, takes results, and draws the room over
// all of gtx.Constraints.Max. It returns true where the user wants to leave.
func (b *Bench) Frame(gtx layout.Context, t theme.Theme, look *Look) (leave bool) {
	b.now, b.look, b.theme, b.leave = gtx.Now, *look, t, false
	b.take(gtx)
	b.takeLesson()
	b.takeBlind()
	if b.presenting {
		b.theme.Palette = theme.Projector()
		b.theme.Scale *= presentScale
	}
	b.update(gtx)
	b.refresh()
	b.layout(gtx)
	b.keys(gtx)
	if _, running := b.finding.Running(); running {
		gtx.Execute(op.InvalidateCmd{At: gtx.Now.Add(200 * time.Millisecond)})
	}
	*look = b.look
	return b.leave
}

func (b *Bench) update(gtx layout.Context) {
	for _, press := range []struct {
		click *widget.Clickable
		do    func()
	}{
		{&b.bar.leave, func() { b.leave = true }}, {&b.bar.ownLine, b.takeLine}, {&b.bar.undo, b.undo}, {&b.bar.redo, b.redo},
		{&b.bar.lessons, b.goToLessons}, {&b.bar.blind, b.goBlind}, {&b.bar.present, func() { b.present(!b.presenting) }}, {&b.bar.keys, func() { b.help.open = true }}, {&b.help.away, func() { b.help.open = false }},
		{&b.bar.each, func() { b.show(&b.each) }}, {&b.bar.bounces, func() { b.show(&b.bounces) }}, {&b.bar.ghosts, func() { b.show(&b.ghosts) }},
		{&b.bar.unit, func() { b.look.Feet = !b.look.Feet }}, {&b.bar.face, func() { b.look.Dark = !b.look.Dark }},
	} {
		for press.click.Clicked(gtx) {
			press.do()
		}
	}
	if picked, ok := b.bar.over.Update(gtx); ok {
		b.views.over = traces.EveryOverFrequency()[picked]
	}
	if picked, ok := b.bar.along.Update(gtx); ok {
		b.views.along = traces.EveryAlongLine()[picked]
	}
	b.updatePanel(gtx)
	b.updateLessons(gtx)
	b.updateBlind(gtx)
	if b.blind.on {
		b.updateClicks(gtx)
	}
	over, along := b.contents()
	b.chartEvents(b.over.Update(gtx, over))
	b.chartEvents(b.along.Update(gtx, along))
	if b.drawn != nil && b.drawn.scene != b.zoomed {
		b.zoomTo(b.drawn.scene)
	}
	b.updateBoard(gtx)
}

// chartEvents takes what was pressed on a chart: the flags of faults.
func (b *Bench) chartEvents(events []chart.Event) {
	for _, e := range events {
		if _, is := e.(chart.MarkersChanged); is {
			b.markersChanged()
		}
		if flag, is := e.(chart.FlagPressed); is && !b.veiled && flag.Index < len(b.Setup().Faults) {
			b.selected = flag.Index
		}
	}
}

// zoomTo shows the part of the charts that a scene asks for.
func (b *Bench) zoomTo(s *scene) {
	b.zoomed = s
	b.over.ShowAll()
	b.along.ShowAll()
	if s == nil {
		return
	}
	if s.zoomHz != [2]float64{} {
		b.over.Show(chart.Upper, s.zoomHz[0], s.zoomHz[1])
	}
	if s.zoomM != [2]float64{} {
		b.along.Show(chart.Lower, s.zoomM[0], s.zoomM[1])
	}
}

func (b *Bench) undo() {
	if what, ok := b.history.Undo(); ok {
		b.trouble, b.note = "", "undone: "+what
		b.refresh()
	}
}

func (b *Bench) redo() {
	if what, ok := b.history.Redo(); ok {
		b.trouble, b.note = "", "done again: "+what
		b.refresh()
	}
}
