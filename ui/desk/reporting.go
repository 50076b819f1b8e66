package desk

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"gioui.org/widget"

	"downlead/dsp/sweep"
	"downlead/ui/report"
	"downlead/ui/theme"
	"downlead/ui/work"
)

// reporting is the report that is being written.
type reporting struct {
	job   work.Slot[string] // where it was written
	click widget.Clickable
}

// report writes the report of what is looked at in the background, beside the
// investigation, under a name that is free. It takes the findings that are there,
// and looks for them where there are none yet.
func (d *Desk) report() {
	doc := d.document()
	switch {
	case d.isReporting():
		d.say("the report is being written; Esc, or Cancel report, ends that")
		return
	case d.correctErr != nil:
		d.fail(fmt.Errorf("there is no report yet: %w", d.correctErr))
		return
	case doc.Sweep.Sweep == nil || d.corrected == nil || doc.Line == nil:
		d.say("a report needs a sweep and its line; open both first")
		return
	}
	in := report.Input{Document: doc, Corrected: d.corrected, Terms: d.sources.errors, Findings: d.findings, Comparison: d.compared.is, Program: d.program}
	style := report.Style{Feet: d.look.feet}
	base := strings.TrimSuffix(d.savePath(), filepath.Ext(d.savePath()))
	d.reporting.job.Start(func(ctx context.Context) (string, error) {
		whole, err := report.Prepare(ctx, in)
		if err != nil {
			return "", err
		}
		pdf, err := report.PDF(ctx, whole, style)
		if err != nil {
			return "", err
		}
		return writeFree(base, ".pdf", pdf)
	})
}

// writeFree writes data as base + extension, or, where that is taken, with the
// first free number; it returns the path. Nothing is ever replaced.
func writeFree(base, extension string, data []byte) (string, error) {
	base, err := filepath.Abs(base)
	if err != nil {
		return "", err
	}
	for n := 1; ; n++ {
		path := base + extension
		if n > 1 {
			path = fmt.Sprintf("%s-%d%s", base, n, extension)
		}
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return "", err
		}
		f.Close() // the name is taken; what goes there is written beside it
		if err := sweep.ReplaceFile(path, func(w io.Writer) error { _, err := w.Write(data); return err }); err != nil {
			os.Remove(path)
			return "", err
		}
		return path, nil
	}
}

func (d *Desk) isReporting() bool {
	_, running := d.reporting.job.Running()
	return running
}

func (d *Desk) stopReport() {
	d.reporting.job.Stop()
	d.say("the report is cancelled; nothing was written")
}

func (d *Desk) takeReport() {
	r, ok := d.reporting.job.Take()
	switch {
	case !ok:
	case r.Err != nil:
		d.fail(r.Err)
	default:
		d.say("the report is written: " + r.Value)
	}
}

// reportButton starts the report, and cancels it while it is being made.
func (d *Desk) reportButton() theme.Button {
	if d.isReporting() {
		return theme.Button{Text: "Cancel report"}
	}
	return theme.Button{Text: "Report", Off: d.corrected == nil || d.path == nil}
}
