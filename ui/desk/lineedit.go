package desk

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/cables"
	"downlead/ui/chart"
	"downlead/ui/theme"
)

// lineEditor is the record of the line, to be changed.
type lineEditor struct {
	line   *cables.Line // what the rows show
	stale  bool         // the rows' texts have to be renewed
	rows   []*sectionRow
	chosen int // index of a section; -1: none

	open, save, add, device, remove, up, down widget.Clickable
	load                                      theme.Choice
	limit                                     widget.Editor
	limitBad                                  bool
	bandLow, bandHigh                         widget.Editor
	bandBad                                   bool
}

type sectionRow struct {
	click  widget.Clickable
	name   widget.Editor
	length widget.Editor
	bad    bool
}

// shownLine returns a copy of the line that may be changed: its lists are its
// own.
func shownLine(line *cables.Line) *cables.Line {
	copied := *line
	copied.Cables, copied.Sections, copied.Devices = slices.Clone(line.Cables), slices.Clone(line.Sections), slices.Clone(line.Devices)
	return &copied
}

// edit changes the line; a line that cannot be laid out is refused and said.
func (d *Desk) edit(did, kind string, change func(*cables.Line) error) error {
	doc := d.document()
	line := &cables.Line{Name: "new line", ReferenceImpedanceOhm: 50, Limits: cables.Limits{VSWR: 1.5}}
	if doc.Line != nil {
		line = shownLine(doc.Line)
	}
	if err := change(line); err != nil {
		return err
	}
	if _, err := line.Path(); err != nil {
		return err
	}
	doc.Line, doc.LineNew = line, true
	d.change(doc, did, kind)
	return nil
}

// renew fills the rows from the line.
func (d *Desk) renewRows() {
	e := &d.editor
	e.stale = false
	if e.line == nil {
		e.rows = nil
		return
	}
	for len(e.rows) < len(e.line.Sections) {
		r := &sectionRow{}
		r.name.SingleLine, r.length.SingleLine = true, true
		r.length.Submit, r.name.Submit = true, true
		e.rows = append(e.rows, r)
	}
	e.rows = e.rows[:len(e.line.Sections)]
	for i, s := range e.line.Sections {
		r := e.rows[i]
		setText(&r.name, s.Name)
		setText(&r.length, d.lengthText(s.LengthM))
		r.bad = false
	}
	if e.chosen >= len(e.rows) {
		e.chosen = -1
	}
	e.limit.SingleLine, e.bandLow.SingleLine, e.bandHigh.SingleLine = true, true, true
	limit := ""
	if v := e.line.Limits.LimitVSWR(); v > 0 {
		limit = fmt.Sprintf("%.2f", v)
	}
	setText(&e.limit, limit)
	band := e.line.Load.BandHz
	low, high := "", ""
	if band[1] > 0 {
		low, high = fmt.Sprintf("%.6g", band[0]/1e6), fmt.Sprintf("%.6g", band[1]/1e6)
	}
	setText(&e.bandLow, low)
	setText(&e.bandHigh, high)
}

// lengthText is a section's length as it stands in its field, which has its unit behind
// it.
func (d *Desk) lengthText(m float64) string {
	return strings.TrimSuffix(strings.TrimSuffix(d.metres(m), " m"), " ft")
}

// setText replaces an editor's text where it says something else, so that the
// caret of one that is being typed in stays.
func setText(e *widget.Editor, text string) {
	if e.Text() != text {
		e.SetText(text)
	}
}

func (d *Desk) updateEditor(gtx layout.Context) {
	e := &d.editor
	if e.stale {
		d.renewRows()
	}
	for e.open.Clicked(gtx) {
		d.browse(pickLine)
	}
	for e.save.Clicked(gtx) {
		d.saveLine()
	}
	for i, r := range e.rows {
		for r.click.Clicked(gtx) {
			d.chooseSection(i)
		}
		d.typedName(gtx, i, r)
		d.typedLength(gtx, i, r)
	}
	d.updateOrder(gtx)
	d.updateLoad(gtx)
}

func (d *Desk) chooseSection(i int) {
	if d.editor.chosen == i {
		i = -1
	}
	d.editor.chosen = i
}

// changed says whether an editor's text was changed by the user.
func changed(gtx layout.Context, e *widget.Editor) bool {
	out := false
	for {
		event, ok := e.Update(gtx)
		if !ok {
			return out
		}
		if _, is := event.(widget.ChangeEvent); is {
			out = true
		}
	}
}

func (d *Desk) typedName(gtx layout.Context, i int, r *sectionRow) {
	if !changed(gtx, &r.name) || i >= len(d.editor.line.Sections) {
		return
	}
	name := strings.TrimSpace(r.name.Text())
	if name == "" || name == d.editor.line.Sections[i].Name {
		return
	}
	err := d.edit("rename a section", fmt.Sprint("name", i), func(line *cables.Line) error {
		for k := range line.Devices {
			if line.Devices[k].After == line.Sections[i].Name {
				line.Devices[k].After = name
			}
		}
		line.Sections[i].Name = name
		return nil
	})
	d.editor.stale = false
	if err != nil {
		d.fail(err)
	}
}

func (d *Desk) typedLength(gtx layout.Context, i int, r *sectionRow) {
	if !changed(gtx, &r.length) || i >= len(d.editor.line.Sections) {
		return
	}
	m, err := d.readLength(r.length.Text())
	if err == nil && !(m > 0 && m < longest) {
		err = fmt.Errorf("a length must lie between 0 and %s", d.metres(longest))
	}
	if is := d.editor.line.Sections[i].LengthM; err == nil && (strings.TrimSpace(r.length.Text()) == d.lengthText(is) || math.Abs(m-is) < 0.005*chart.FootM) {
		r.bad = false
		return // what is shown is what is there, as far as it is written out
	}
	if err == nil {
		err = d.setLength(i, m, "length")
	}
	d.editor.stale = false // what is being typed stays as it is typed
	r.bad = err != nil
}

// longest is the longest section that can be typed, m.
const longest = 10_000

// setLength changes the length of a section.
func (d *Desk) setLength(i int, m float64, kind string) error {
	name := d.editor.line.Sections[i].Name
	return d.edit(fmt.Sprintf("set %s to %s", name, d.metres(m)), fmt.Sprint(kind, i), func(line *cables.Line) error {
		line.Sections[i].LengthM = m
		return nil
	})
}

// freeName is a section name that the line does not have yet.
func freeName(line *cables.Line, wish string) string {
	for n := 1; ; n++ {
		name := wish
		if n > 1 {
			name = fmt.Sprintf("%s %d", wish, n)
		}
		if !slices.ContainsFunc(line.Sections, func(s cables.Section) bool { return s.Name == name }) {
			return name
		}
	}
}

// defaultCable is what a new section is made of before one is picked: that of
// the chosen section, or the first of the catalogue.
func (d *Desk) defaultCable(line *cables.Line) (cables.Type, bool) {
	if i := d.editor.chosen; i >= 0 && i < len(line.Sections) {
		for _, t := range line.Cables {
			if t.ID == line.Sections[i].CableID {
				return t, true
			}
		}
	}
	for _, t := range d.catalog.Search() {
		if t.ImpedanceOhm == 50 {
			return t, true
		}
	}
	return cables.Type{}, false
}

// withCable sees to it that the line has the cable.
func withCable(line *cables.Line, t cables.Type) {
	for i := range line.Cables {
		if line.Cables[i].ID == t.ID {
			line.Cables[i] = t
			return
		}
	}
	line.Cables = append(line.Cables, t)
}

func (d *Desk) updateOrder(gtx layout.Context) {
	e := &d.editor
	for e.add.Clicked(gtx) {
		at := len(e.rows)
		if e.chosen >= 0 {
			at = e.chosen + 1
		}
		d.fail(d.edit("add a section", "", func(line *cables.Line) error {
			t, ok := d.defaultCable(line)
			if !ok {
				return fmt.Errorf("the catalogue has no cable of 50 ohm to begin with; pick one first")
			}
			withCable(line, t)
			line.Sections = slices.Insert(line.Sections, at, cables.Section{Name: freeName(line, "section"), CableID: t.ID, LengthM: 10})
			return nil
		}))
		e.chosen = at
	}
	for e.device.Clicked(gtx) {
		d.fail(d.edit("add a device", "", func(line *cables.Line) error {
			if len(line.Sections) == 0 {
				return fmt.Errorf("a device follows a section: add a section first")
			}
			after := line.Sections[max(e.chosen, 0)].Name
			line.Devices = append(line.Devices, cables.Device{After: after, Kind: "surge-arrestor", LengthM: 0.1, ReturnLossDB: 26})
			return nil
		}))
	}
	for e.remove.Clicked(gtx) {
		if i := e.chosen; i >= 0 {
			d.fail(d.edit("remove "+e.line.Sections[i].Name, "", func(line *cables.Line) error {
				if len(line.Sections) == 1 {
					return fmt.Errorf("the last section cannot be removed; change it instead")
				}
				name := line.Sections[i].Name
				line.Sections = slices.Delete(line.Sections, i, i+1)
				line.Devices = slices.DeleteFunc(line.Devices, func(d cables.Device) bool { return d.After == name })
				return nil
			}))
			e.chosen = -1
		}
	}
	move := func(by int) {
		i := e.chosen
		if i < 0 || i+by < 0 || i+by >= len(e.line.Sections) {
			return
		}
		d.fail(d.edit("move "+e.line.Sections[i].Name, "", func(line *cables.Line) error {
			line.Sections[i], line.Sections[i+by] = line.Sections[i+by], line.Sections[i]
			return nil
		}))
		e.chosen = i + by
	}
	for e.up.Clicked(gtx) {
		move(-1)
	}
	for e.down.Clicked(gtx) {
		move(1)
	}
}

// loads are the ends of a line, in the order of the list.
func loads() []cables.LoadKind {
	return []cables.LoadKind{cables.Antenna, cables.Termination, cables.Open, cables.Short, cables.Unstated}
}

func loadName(k cables.LoadKind) string {
	if k == cables.Unstated {
		return "not stated"
	}
	return string(k)
}

func (d *Desk) updateLoad(gtx layout.Context) {
	e := &d.editor
	if picked, ok := e.load.Update(gtx); ok && e.line != nil {
		kind := loads()[picked]
		d.fail(d.edit("end the line in: "+loadName(kind), "", func(line *cables.Line) error {
			if line.Load.Kind != kind {
				line.Load = cables.Load{Kind: kind}
			}
			return nil
		}))
	}
	if changed(gtx, &e.limit) && e.line != nil {
		v, err := readNumber(e.limit.Text())
		empty := strings.TrimSpace(e.limit.Text()) == ""
		e.limitBad = !empty && (err != nil || !(v > 1 && v < 100))
		if empty {
			v = 0
		}
		if !e.limitBad && math.Abs(v-e.line.Limits.LimitVSWR()) > 0.004 {
			d.fail(d.edit("set the limit", "limit", func(line *cables.Line) error { line.Limits = cables.Limits{VSWR: v}; return nil }))
			e.stale = false
		}
	}
	low, high := changed(gtx, &e.bandLow), changed(gtx, &e.bandHigh)
	if (low || high) && e.line != nil {
		from, err := readFrequency(e.bandLow.Text())
		to, err2 := readFrequency(e.bandHigh.Text())
		e.bandBad = err != nil || err2 != nil || !(from > 0 && to > from)
		if band := [2]float64{from, to}; !e.bandBad && band != e.line.Load.BandHz {
			d.fail(d.edit("set the antenna's band", "band", func(line *cables.Line) error { line.Load.BandHz = band; return nil }))
			e.stale = false
		}
	}
}

func (d *Desk) focusEditor() {
	if len(d.editor.rows) > 0 {
		d.reveal(leftEditor, &d.editor.rows[0].length)
	}
}

func cableName(line *cables.Line, id string) string {
	for _, t := range line.Cables {
		if t.ID == id && t.Name != "" {
			return t.Name
		}
	}
	return id
}

func (d *Desk) layoutEditor(gtx layout.Context) layout.Dimensions {
	e := &d.editor
	head := func(gtx layout.Context) layout.Dimensions {
		total := ""
		if d.path != nil {
			total = d.metres(d.path.LengthM())
		}
		return layout.Flex{Alignment: layout.Baseline}.Layout(gtx, layout.Flexed(1, d.heading("Line")), layout.Rigid(d.words(total, d.theme.Quiet)))
	}
	all := []layout.Widget{head}
	if e.line == nil {
		if path := d.document().LinePath; path != "" {
			all = append(all, d.words(filepath.Base(path)+" is not used: missing or changed", d.theme.Out))
		}
		all = append(all, d.plain(&e.open, "open a line…"), d.plain(&e.add, "enter one here"))
		return column(gtx, 5, all...)
	}
	for i, s := range e.line.Sections {
		if i < len(e.rows) {
			all = append(all, d.sectionWidget(i, s))
		}
		for _, device := range e.line.Devices {
			if device.After == s.Name {
				text := oneLine(fmt.Sprintf("%s · %s · %.1f dB", device.Kind, d.metres(device.LengthM), device.ReturnLossDB))
				all = append(all, func(gtx layout.Context) layout.Dimensions {
					return layout.Inset{Left: 8}.Layout(gtx, d.small(text, d.theme.Quiet))
				})
			}
		}
	}
	all = append(all, d.layoutOrder, d.layoutEnd)
	return column(gtx, 5, all...)
}

func (d *Desk) sectionWidget(i int, s cables.Section) layout.Widget {
	r := d.editor.rows[i]
	return func(gtx layout.Context) layout.Dimensions {
		return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
			layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
				return d.theme.Row(gtx, &r.click, "section "+s.Name, d.editor.chosen == i, func(gtx layout.Context) layout.Dimensions {
					return column(gtx, 1, d.theme.Text(theme.Label{Text: s.Name, Lines: 1}),
						d.theme.Text(theme.Label{Text: cableName(d.editor.line, s.CableID), Lines: 1, Color: d.theme.Quiet, Size: d.theme.Small()}))
				})
			}),
			layout.Rigid(func(gtx layout.Context) layout.Dimensions {
				gtx.Constraints.Max.X = gtx.Dp(84)
				unit := "m"
				if d.look.feet {
					unit = "ft"
				}
				return d.theme.Editor(gtx, &r.length, theme.Entry{Unit: unit, Name: "length of " + s.Name, Bad: r.bad})
			}))
	}
}

func (d *Desk) layoutOrder(gtx layout.Context) layout.Dimensions {
	e := &d.editor
	all := []layout.Widget{d.plain(&e.add, "+ section"), d.plain(&e.device, "+ device")}
	if e.chosen >= 0 {
		all = append(all, d.plain(&e.up, "up"), d.plain(&e.down, "down"), d.plain(&e.remove, "remove"))
	}
	save := "save the line"
	if d.document().LineNew {
		save = "save the line (changed)"
	}
	all = append(all, d.plain(&e.save, save))
	buttons := func(gtx layout.Context) layout.Dimensions { return row(gtx, 4, all...) }
	if e.chosen < 0 || e.chosen >= len(e.rows) {
		return buttons(gtx)
	}
	return column(gtx, 5, func(gtx layout.Context) layout.Dimensions {
		return d.theme.Editor(gtx, &e.rows[e.chosen].name, theme.Entry{Name: "name of the section", Hint: "name"})
	}, buttons)
}

func (d *Desk) layoutEnd(gtx layout.Context) layout.Dimensions {
	e := &d.editor
	names := make([]string, len(loads()))
	chosen := -1
	for i, k := range loads() {
		names[i] = loadName(k)
		if k == e.line.Load.Kind {
			chosen = i
		}
	}
	field := func(editor *widget.Editor, entry theme.Entry, width int) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints.Max.X = gtx.Dp(1) * width
			return d.theme.Editor(gtx, editor, entry)
		}
	}
	all := []layout.Widget{
		func(gtx layout.Context) layout.Dimensions {
			return layout.Flex{Alignment: layout.Middle}.Layout(gtx, layout.Flexed(1, d.words("ends in", d.theme.Quiet)),
				layout.Rigid(func(gtx layout.Context) layout.Dimensions {
					gtx.Constraints.Min.X = 0
					return d.theme.Choice(gtx, &e.load, "ends in", names, chosen)
				}))
		},
		func(gtx layout.Context) layout.Dimensions {
			return layout.Flex{Alignment: layout.Middle}.Layout(gtx, layout.Flexed(1, d.words("limit", d.theme.Quiet)),
				layout.Rigid(field(&e.limit, theme.Entry{Hint: "none", Unit: ": 1 VSWR", Name: "limit, VSWR", Bad: e.limitBad}, 128)))
		},
	}
	if e.line.Load.Kind == cables.Antenna {
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return layout.Flex{Alignment: layout.Middle}.Layout(gtx, layout.Flexed(1, d.words("its band", d.theme.Quiet)),
				layout.Rigid(field(&e.bandLow, theme.Entry{Name: "band from, MHz", Bad: e.bandBad}, 62)),
				layout.Rigid(d.words(" – ", d.theme.Quiet)),
				layout.Rigid(field(&e.bandHigh, theme.Entry{Unit: "MHz", Name: "band to, MHz", Bad: e.bandBad}, 96)))
		})
	}
	return column(gtx, 5, all...)
}
