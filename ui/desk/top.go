package desk

import (
	"fmt"
	"image/color"
	"path/filepath"
	"strings"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/dsp/calibration"
	"downlead/dsp/sweep"
	"downlead/ui/theme"
)

// topBar names what is looked at, whether it can be believed, and the verdict.
type topBar struct {
	undo, redo, open, save, keys, teach widget.Clickable
}

func (d *Desk) updateTop(gtx layout.Context) {
	for d.top.undo.Clicked(gtx) {
		d.undo()
	}
	for d.top.redo.Clicked(gtx) {
		d.redo()
	}
	for d.top.open.Clicked(gtx) {
		d.browse(pickSweep)
	}
	for d.top.save.Clicked(gtx) {
		d.save()
	}
	for d.reporting.click.Clicked(gtx) {
		if d.isReporting() {
			d.stopReport()
		} else {
			d.report()
		}
	}
	for d.top.teach.Clicked(gtx) {
		d.goTeaching()
	}
	for d.top.keys.Clicked(gtx) {
		d.help.open = true
	}
}

// calibrationNotice is what stands over everything while the sweep cannot be
// believed.
func (d *Desk) calibrationNotice() string {
	if d.correctErr != nil {
		return "NOT CALIBRATED. The standards cannot correct this sweep: " + d.correctErr.Error()
	}
	if d.corrected == nil {
		return ""
	}
	text := calibration.Notice(d.corrected)
	if doc := d.document(); text == "" && doc.Standards.Any() && !doc.Standards.Complete() {
		text = "NOT CALIBRATED YET. Open, short and load are all needed before the sweep is corrected."
	}
	return text
}

// calibrationState is the state in a few words, and the colour they take.
func (d *Desk) calibrationState() (string, color.NRGBA) {
	switch {
	case d.corrected == nil:
		return "", d.theme.Quiet
	case d.correctErr != nil:
		return "not calibrated", d.theme.Out
	}
	switch d.corrected.Correction {
	case sweep.Corrected:
		return "calibrated, checks passed", d.theme.In
	case sweep.Doubtful:
		return "calibration in doubt", d.theme.Out
	case sweep.Uncorrected:
		return "not calibrated", d.theme.Out
	}
	return "taken as calibrated by the instrument", d.theme.Quiet
}

// title is the name of what is looked at, and a line about the sweep.
func (d *Desk) title() (name, about string) {
	doc := d.document()
	name = "Downlead"
	switch {
	case strings.TrimSpace(doc.Site) != "":
		name = oneLine(doc.Site)
	case doc.Line != nil && doc.Line.Name != "":
		name = doc.Line.Name
	}
	if d.file.path != "" {
		about = filepath.Base(d.file.path) + " · "
	}
	if d.history.Changed() {
		about += "not saved · "
	}
	s := doc.Sweep.Sweep
	if s == nil {
		return name, about + "no sweep yet"
	}
	n := len(s.FrequencyHz)
	return name, about + fmt.Sprintf("%s – %s · %d points", hertz(s.FrequencyHz[0]), hertz(s.FrequencyHz[n-1]), n)
}

// verdictWords are the verdict, and what explains it.
func (d *Desk) verdictWords() (verdict, about string, c color.NRGBA) {
	switch {
	case d.corrected == nil:
		return "", "", d.theme.Quiet
	case d.path == nil:
		return "No line yet", "enter or open the line, and the faults are looked for", d.theme.Quiet
	case d.findErr != nil:
		return "No verdict", d.findErr.Error(), d.theme.Out
	case d.findings == nil:
		return "Looking for faults", "", d.theme.Quiet
	}
	v := d.findings.Verdict
	about = fmt.Sprintf("VSWR %s at %s", vswr(v.WorstVSWR), hertz(v.AtHz))
	if v.LimitVSWR > 0 {
		about += fmt.Sprintf(" · limit %.2f", v.LimitVSWR)
	}
	faults := 0
	var explains string
	for _, f := range d.findings.Findings {
		if !f.IsFault {
			continue
		}
		faults++
		if f.Repaired != nil && !v.Passes && f.Repaired.Passes {
			explains = " · the fault at " + d.metres(f.DistanceM) + " explains it"
		}
	}
	about += explains
	switch {
	case v.LimitVSWR == 0:
		return "No limit set", about, d.theme.Quiet
	case !v.Passes:
		return "Out of limits", about, d.theme.Out
	case faults > 0:
		return "Within limits, but not sound", about + " · " + plural(faults, "fault"), d.theme.Out
	}
	return "Within limits", about, d.theme.In
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// narrowTop is the width, dp, below which the top says less.
const narrowTop = 1400

func (d *Desk) layoutTop(gtx layout.Context) layout.Dimensions {
	name, about := d.title()
	verdict, why, verdictColor := d.verdictWords()
	state, stateColor := d.calibrationState()
	if gtx.Constraints.Max.X < gtx.Dp(narrowTop) {
		state = strings.TrimSuffix(state, " by the instrument")
	}
	rectangle(gtx, imageRect(gtx.Constraints.Max.X, gtx.Dp(56)), d.theme.Panel)
	pair := func(title string, titleColor color.NRGBA, below string) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions {
			return column(gtx, 2,
				d.theme.Text(theme.Label{Text: title, Color: titleColor, Font: theme.Strong, Size: d.theme.Title(), Lines: 1}),
				d.theme.Text(theme.Label{Text: below, Color: d.theme.Quiet, Size: d.theme.Small(), Lines: 1}))
		}
	}
	button := func(click *widget.Clickable, b theme.Button) layout.FlexChild {
		return layout.Rigid(func(gtx layout.Context) layout.Dimensions {
			return layout.Inset{Left: 6}.Layout(gtx, func(gtx layout.Context) layout.Dimensions { return d.theme.Button(gtx, click, b) })
		})
	}
	_, canUndo := d.history.CanUndo()
	_, canRedo := d.history.CanRedo()
	dims := layout.Inset{Top: 8, Bottom: 8, Left: 16, Right: 12}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min.X = gtx.Constraints.Max.X
		return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
			layout.Rigid(func(gtx layout.Context) layout.Dimensions { // as wide as it is, so that it is cut last
				gtx.Constraints.Max.X = min(gtx.Constraints.Max.X, gtx.Dp(340))
				gtx.Constraints.Min.X = 0
				return pair(name, d.theme.Ink, about)(gtx)
			}),
			layout.Rigid(layout.Spacer{Width: 12}.Layout),
			layout.Rigid(func(gtx layout.Context) layout.Dimensions {
				if state == "" {
					return layout.Dimensions{}
				}
				gtx.Constraints.Max.X = min(gtx.Constraints.Max.X, gtx.Dp(250))
				return filled(gtx, d.theme.Field, func(gtx layout.Context) layout.Dimensions {
					return layout.Inset{Top: 5, Bottom: 5, Left: 10, Right: 10}.Layout(gtx, d.theme.Text(theme.Label{Text: state, Color: stateColor, Lines: 1}))
				})
			}),
			layout.Rigid(layout.Spacer{Width: 16}.Layout),
			layout.Flexed(1, pair(verdict, verdictColor, why)),
			button(&d.top.open, theme.Button{Text: "Open…"}),
			button(&d.top.save, theme.Button{Text: "Save", Off: !d.canSave()}),
			button(&d.reporting.click, d.reportButton()),
			button(&d.top.undo, theme.Button{Text: "Undo", Off: !canUndo}),
			button(&d.top.redo, theme.Button{Text: "Redo", Off: !canRedo}),
			button(&d.top.teach, theme.Button{Text: "Teach"}),
			button(&d.top.keys, theme.Button{Text: "Keys F1"}))
	})
	return dims
}

// oneLine joins a text to one line, for places that have no more.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }
