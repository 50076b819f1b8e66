package desk

import (
	"image"
	"image/color"
	"time"

	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/unit"
	"gioui.org/widget"

	"downlead/cables"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
	"downlead/ui/investigation"
	"downlead/ui/theme"
	"downlead/ui/traces"
	"downlead/ui/work"
)

// Desk is the state of the window.
type Desk struct {
	theme   theme.Theme
	look    look
	now     func() time.Time
	notify  func()
	history investigation.History
	file    file

	// What follows from the document, renewed by refresh.
	corrected  *sweep.Sweep
	problems   []calibration.Problem
	correctErr error
	path       *cables.Path
	pathErr    error
	reach      aim // that of the results below

	picture     work.Slot[*picture]
	diagnosis   work.Slot[*diagnose.Findings]
	answering   work.Slot[string]
	opening     work.Slot[opened]
	correcting  work.Slot[correction]
	drawn       *picture
	drawErr     error
	findings    *diagnose.Findings
	findErr     error
	diagnosedOf diagnosisOf
	selected    int // index in findings; -1: none

	compared compared

	views     views
	panes     panes
	top       topBar
	about     aboutPane
	sources   sources
	editor    lineEditor
	picker    picker
	plots     plots
	line      lineView
	strip     strip
	cards     cards
	browser   browser
	help      help
	notices   notices
	reporting reporting
	teach     teach
	program   string // which build this is
	catalog   *cables.Catalogue
	recent    *recent
	hints     bool // the three hints of the first run are shown
}

// look is how the user wants things to look.
type look struct {
	dark  bool
	feet  bool
	scale float32
}

// Options of New.
type Options struct {
	// Notify is called when something was computed and a frame is wanted; nil:
	// nobody is told.
	Notify func()
	// RecentFile keeps the names of the files last opened; "": nothing is kept.
	RecentFile string
	// StateFolder keeps what is not saved yet against a crash; "": it is kept only
	// where it has a place beside its investigation.
	StateFolder string
	// CloseWindow is called when the window may close after all; nil: nothing is.
	CloseWindow func()
	// FullScreen is asked for the whole screen, or to give it back; nil: the window
	// stays as it is.
	FullScreen func(on bool)
	// Folder is where choosing a file begins; "": the working folder.
	Folder string
	// Now is the clock; nil: the system's.
	Now func() time.Time
	// Program says in a report which build made it; "": nothing.
	Program string
}

// New returns an empty desk. It owns a text shaper and serves one goroutine.
func New(o Options) *Desk {
	d := &Desk{notify: o.Notify, now: o.Now, program: o.Program, selected: -1, look: look{scale: 1}}
	if d.now == nil {
		d.now = time.Now
	}
	if d.notify == nil {
		d.notify = func() {}
	}
	d.theme = theme.Theme{Palette: theme.Light(), Shaper: theme.Shaper()}
	d.picture.Notify, d.diagnosis.Notify, d.answering.Notify = d.notify, d.notify, d.notify
	d.opening.Notify, d.correcting.Notify = d.notify, d.notify
	d.compared.job.Notify, d.compared.chosen = d.notify, -1
	d.initFile(o)
	d.panes = panes{left: 264, right: 340}
	d.browser.folder = o.Folder
	d.teach.fullScreen = o.FullScreen
	d.recent = newRecent(o.RecentFile)
	catalogue, err := cables.LoadCatalogue()
	if err != nil {
		d.notices.add(notice{bad: true, text: err.Error()})
		catalogue, _ = cables.Embedded()
	}
	d.catalog = catalogue
	d.reporting.job.Notify = d.notify
	d.init()
	return d
}

func (d *Desk) init() {
	d.plots.lists()
	d.strip.init()
	d.picker.init()
	d.editor.chosen = -1
	d.plots.over.Linked = func(side chart.Side, seen chart.Axis) {
		if side == chart.Lower {
			d.plots.along.Show(side, seen.Low, seen.High)
		}
	}
}

// Close ends all background work.
func (d *Desk) Close() {
	d.picture.Wait()
	d.diagnosis.Wait()
	d.answering.Wait()
	d.opening.Wait()
	d.correcting.Wait()
	d.compared.job.Wait()
	d.file.saving.Wait()
	d.reporting.job.Wait()
	d.file.keeping.Wait()
	if d.teach.bench != nil {
		d.teach.bench.Close()
	}
	if d.history.Changed() && !d.file.dropped {
		_ = d.file.keeper.Keep(d.file.path, d.document()) // nobody is left to be told
	}
}

// busy says whether anything runs in the background.
func (d *Desk) busy() bool {
	for _, running := range []func() (time.Time, bool){d.picture.Running, d.diagnosis.Running, d.answering.Running, d.opening.Running, d.correcting.Running, d.compared.job.Running, d.file.saving.Running, d.reporting.job.Running} {
		if _, yes := running(); yes {
			return true
		}
	}
	return d.teach.bench != nil && d.teach.bench.Busy()
}

// document is the investigation as it stands.
func (d *Desk) document() investigation.Document { return d.history.Now() }

// change makes doc the document and has everything that depends on it renewed.
func (d *Desk) change(doc investigation.Document, did, kind string) {
	d.history.Do(doc, did, kind)
	d.refresh()
}

// Frame drains the events of the last frame, takes results, and draws.
func (d *Desk) Frame(gtx layout.Context) {
	d.take()
	if d.look.dark {
		d.theme.Palette = theme.Dark()
	} else {
		d.theme.Palette = theme.Light()
	}
	d.theme.Scale = d.look.scale
	if d.teach.on {
		d.frameTeaching(gtx)
		d.keep(gtx)
		return
	}
	d.focusAwaited(gtx)
	d.update(gtx)
	d.layout(gtx)
	d.keys(gtx) // what nothing else wanted
	d.keep(gtx)
	if _, running := d.diagnosis.Running(); running {
		gtx.Execute(op.InvalidateCmd{At: gtx.Now.Add(200 * time.Millisecond)}) // the seconds that it takes are shown
	}
}

// update drains the events of all panes.
func (d *Desk) update(gtx layout.Context) {
	if d.file.question.open {
		d.updateQuestion(gtx)
		return
	}
	if d.browser.open {
		d.updateBrowser(gtx)
		return
	}
	d.updateAbout(gtx)
	d.updateTop(gtx)
	d.updateSources(gtx)
	d.updateEditor(gtx)
	d.updatePicker(gtx)
	d.updatePlots(gtx)
	d.updateLine(gtx)
	d.updateStrip(gtx)
	d.updateCompared(gtx)
	d.updateCards(gtx)
	d.updateFoot(gtx)
	d.updateNotices(gtx)
	d.help.update(gtx)
}

// gap between panels, and the least width of the middle one
const (
	gap         = unit.Dp(8)
	leastMiddle = unit.Dp(360)
)

func (d *Desk) layout(gtx layout.Context) {
	paint.FillShape(gtx.Ops, d.theme.Paper, clip.Rect{Max: gtx.Constraints.Max}.Op())
	layout.Flex{Axis: layout.Vertical}.Layout(gtx,
		layout.Rigid(d.layoutTop),
		layout.Rigid(d.layoutNotices),
		layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
			return layout.Inset{Left: gap, Right: gap, Top: gap, Bottom: gap}.Layout(gtx, d.layoutPanes)
		}),
		layout.Rigid(d.layoutFoot))
	if d.browser.open {
		d.layoutBrowser(gtx)
	}
	if d.help.open {
		d.layoutHelp(gtx)
	}
	if d.file.question.open {
		d.layoutQuestion(gtx)
	}
}

func (d *Desk) layoutPanes(gtx layout.Context) layout.Dimensions {
	left, right := d.panes.sizes(gtx)
	panel := func(width int, w layout.Widget) layout.FlexChild {
		return layout.Rigid(func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints = layout.Exact(image.Pt(width, gtx.Constraints.Max.Y))
			return d.theme.Board(gtx, w)
		})
	}
	var parts []layout.FlexChild
	if left > 0 {
		parts = append(parts, panel(left, d.layoutLeft), layout.Rigid(func(gtx layout.Context) layout.Dimensions { return d.panes.handle(gtx, 0) }))
	}
	parts = append(parts, layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min = gtx.Constraints.Max
		return d.theme.Board(gtx, d.layoutMiddle)
	}))
	if right > 0 {
		parts = append(parts, layout.Rigid(func(gtx layout.Context) layout.Dimensions { return d.panes.handle(gtx, 1) }), panel(right, d.layoutCards))
	}
	return layout.Flex{}.Layout(gtx, parts...)
}

// where in the left panel things are
const (
	leftEditor = 3
	leftPicker = 5
)

// layoutLeft is the list of sweeps and standards, the line and the cables.
func (d *Desk) layoutLeft(gtx layout.Context) layout.Dimensions {
	return d.sources.list.Layout(gtx, d.theme, []layout.Widget{d.layoutAbout, d.layoutSources, d.theme.Rule, d.layoutEditor, d.theme.Rule, d.layoutPicker})
}

// layoutMiddle is the charts, the line and the strip.
func (d *Desk) layoutMiddle(gtx layout.Context) layout.Dimensions {
	dims := layout.Flex{Axis: layout.Vertical}.Layout(gtx,
		layout.Rigid(d.layoutViews),
		layout.Flexed(1, d.layoutPlots),
		layout.Rigid(d.layoutLine),
		layout.Rigid(d.theme.Rule),
		layout.Rigid(d.layoutStrip))
	if a := d.alongChart().Area(); a.Min.X != d.line.area.Min.X || a.Max.X != d.line.area.Max.X { // the line is laid out before its chart
		gtx.Execute(op.InvalidateCmd{})
	}
	return dims
}

// scroller is a column that scrolls.
type scroller struct{ list widget.List }

// Layout lays the widgets out one under the other.
func (s *scroller) Layout(gtx layout.Context, t theme.Theme, all []layout.Widget) layout.Dimensions {
	s.list.Axis = layout.Vertical
	return t.Scroll(gtx, &s.list, len(all), func(gtx layout.Context, i int) layout.Dimensions {
		return layout.Inset{Bottom: 10, Right: 14}.Layout(gtx, all[i])
	})
}

// words is a label as a widget, for lists.
func (d *Desk) words(text string, c color.NRGBA) layout.Widget {
	return d.theme.Text(theme.Label{Text: text, Color: c})
}

func (d *Desk) small(text string, c color.NRGBA) layout.Widget {
	return d.theme.Text(theme.Label{Text: text, Color: c, Size: d.theme.Small()})
}

func (d *Desk) heading(text string) layout.Widget {
	return d.theme.Text(theme.Label{Text: text, Font: theme.Strong})
}

// views are what of the sweep and of the line is shown.
type views struct {
	frequency traces.OverFrequency
	along     traces.AlongLine
	stacked   bool
	without   bool // the selected finding is taken out of the measurement
}
