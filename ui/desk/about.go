package desk

import (
	"strings"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/ui/investigation"
	"downlead/ui/theme"
)

// aboutPane is where people write about the investigation.
type aboutPane struct {
	open   bool
	stale  bool // the editors hold another document's text
	toggle widget.Clickable
	fields [5]widget.Editor
}

// What a field takes, in letters.
const (
	mostLetters      = 240
	mostNotesLetters = 40_000
)

// aboutFields are the fields with their names, the notes last.
func aboutFields(doc *investigation.Document) [5]struct {
	name string
	text *string
} {
	return [...]struct {
		name string
		text *string
	}{{"site", &doc.Site}, {"date", &doc.Date}, {"instrument", &doc.Instrument}, {"operator", &doc.Operator}, {"notes", &doc.Notes}}
}

func (d *Desk) updateAbout(gtx layout.Context) {
	a, doc := &d.about, d.document()
	for a.toggle.Clicked(gtx) {
		a.open, a.stale = !a.open, true
	}
	if a.stale {
		a.stale = false
		for i, f := range aboutFields(&doc) {
			e := &a.fields[i]
			e.SingleLine, e.MaxLen = f.text != &doc.Notes, mostLetters
			if !e.SingleLine {
				e.MaxLen = mostNotesLetters
			}
			if e.Text() != *f.text {
				e.SetText(*f.text)
			}
		}
	}
	if !a.open {
		return
	}
	for i := range a.fields {
		if !changed(gtx, &a.fields[i]) {
			continue
		}
		doc := d.document()
		f := aboutFields(&doc)[i]
		if text := a.fields[i].Text(); text != *f.text {
			*f.text = text
			d.change(doc, "write the "+f.name, f.name)
		}
	}
}

// layoutAbout is one quiet row, or the fields to write in.
func (d *Desk) layoutAbout(gtx layout.Context) layout.Dimensions {
	a, doc := &d.about, d.document()
	if !a.open {
		first, rest := "", []string{}
		for _, f := range aboutFields(&doc) {
			text := oneLine(*f.text)
			switch {
			case text == "":
			case first == "":
				first = text
			default:
				rest = append(rest, text)
			}
		}
		if first == "" {
			return d.theme.Button(gtx, &a.toggle, theme.Button{Text: "site, date, who, notes…", Plain: true})
		}
		return d.theme.Row(gtx, &a.toggle, "site, date, who and notes: "+first, false, func(gtx layout.Context) layout.Dimensions {
			return column(gtx, 1, d.theme.Text(theme.Label{Text: first, Lines: 1}), d.theme.Text(theme.Label{Text: strings.Join(rest, " · "), Color: d.theme.Quiet, Size: d.theme.Small(), Lines: 3}))
		})
	}
	all := []layout.Widget{func(gtx layout.Context) layout.Dimensions {
		return layout.Flex{Alignment: layout.Baseline}.Layout(gtx, layout.Flexed(1, d.heading("About")), layout.Rigid(d.plain(&a.toggle, "done")))
	}}
	for i, f := range aboutFields(&doc) {
		entry := theme.Entry{Name: f.name, Hint: f.name}
		if !a.fields[i].SingleLine {
			entry.Rows = 4
		}
		all = append(all, func(gtx layout.Context) layout.Dimensions { return d.theme.Editor(gtx, &a.fields[i], entry) })
	}
	return column(gtx, 5, all...)
}
