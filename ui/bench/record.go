package bench

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/ui/blind"
	"downlead/ui/theme"
	"downlead/ui/work"
)

// recordName is the file of results where none other is typed, in the folder of pictures.
const recordName = "results.csv"

// record is where a trainee's results are kept: the file that the command line keeps them
// in too.
type record struct {
	name, file widget.Editor
	keep       work.Slot[[]blind.Row] // adds a result where there is one, and reads the trainee's
	of         string                 // whose results are shown
	rows       []blind.Row
	err        error
	kept       bool // the result of the case
}

// recordPath is the file of results, in full where that is known.
func (b *Bench) recordPath() string {
	path := strings.TrimSpace(b.blind.record.file.Text())
	if path == "" {
		path = recordName
	}
	if !filepath.IsAbs(path) {
		path = filepath.Join(b.folder, path)
	}
	if full, err := filepath.Abs(path); err == nil {
		path = full
	}
	return path
}

func (b *Bench) updateRecord(gtx layout.Context) {
	r := &b.blind.record
	r.name.SingleLine, r.name.Submit, r.file.SingleLine, r.file.Submit = true, true, true, true
	for _, e := range []*widget.Editor{&r.name, &r.file} {
		if _, ok := theme.Submitted(gtx, e); ok {
			b.keepResult()
		}
	}
	if done, ok := r.keep.Take(); ok {
		r.rows, r.err = done.Value, done.Err
		if r.err != nil {
			r.kept = false
		}
	}
}

// keepResult adds the result of the case to the record, once, where somebody has said who
// they are, and shows what the record has of them.
func (b *Bench) keepResult() {
	s := &b.blind
	r := &s.record
	r.of, r.rows, r.err = strings.TrimSpace(r.name.Text()), nil, nil
	if r.of == "" {
		return
	}
	if r.err = blind.CheckName(r.of); r.err != nil {
		return
	}
	path, name := b.recordPath(), r.of
	var row *blind.Row
	if s.result != nil && !r.kept {
		made := blind.RowOf(name, b.now, s.theCase, *s.result)
		row, r.kept = &made, true
	}
	r.keep.Start(func(context.Context) ([]blind.Row, error) {
		if row != nil {
			if err := blind.Append(path, *row); err != nil {
				return nil, err
			}
		}
		all, err := blind.Read(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil, nil
		}
		return blind.Of(all, name), err
	})
}

// recordWidgets ask who it is.
func (b *Bench) recordWidgets() []layout.Widget {
	r, t := &b.blind.record, &b.theme
	entry := func(e *widget.Editor, f theme.Entry) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions { return t.Editor(gtx, e, f) }
	}
	all := []layout.Widget{
		entry(&r.name, theme.Entry{Name: "trainee", Hint: "your name or number, to keep the score", Bad: r.err != nil}),
		entry(&r.file, theme.Entry{Name: "file of results", Hint: "the file of results: " + recordName}),
	}
	switch {
	case r.err != nil:
		all = append(all, t.Text(theme.Label{Text: r.err.Error(), Color: t.Out}))
	case b.blind.result != nil && r.kept:
		all = append(all, b.small("Kept for "+r.of+" in "+b.recordPath()+".", t.In))
	case b.blind.result != nil:
		all = append(all, b.small("This score is not kept: type a name and press Return to keep it.", t.Quiet))
	}
	return all
}

// mostHistory is how many results are shown, the latest.
const mostHistory = 8

// historyWidgets are what the trainee has done before.
func (b *Bench) historyWidgets() []layout.Widget {
	r, t := &b.blind.record, &b.theme
	if len(r.rows) == 0 {
		return nil
	}
	all := []layout.Widget{t.Rule, b.heading(fmt.Sprintf("%s: %s", r.of, times(len(r.rows))))}
	for _, l := range blind.ByLevel(r.rows) {
		all = append(all, b.small(fmt.Sprintf("level %d: %s, %.0f points on average", l.Level, times(l.Cases), l.Points), t.Ink))
	}
	for i := len(r.rows) - 1; i >= max(len(r.rows)-mostHistory, 0); i-- {
		row := &r.rows[i]
		all = append(all, b.small(fmt.Sprintf("%s   level %d, case %d: %.0f points; %d of %d found, %d named right, %d false",
			row.At.Local().Format("2006-01-02 15:04"), row.Level, row.Seed, row.Points, row.Found, row.Faults, row.Causes, row.FalseMarks), t.Quiet))
	}
	return all
}

// times counts cases.
func times(n int) string {
	if n == 1 {
		return "1 case"
	}
	return fmt.Sprintf("%d cases", n)
}
