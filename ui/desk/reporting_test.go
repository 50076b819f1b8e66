package desk

import (
	"bytes"
	"context"
	"errors"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gioui.org/io/key"
)

// Ctrl P writes the report beside the investigation and says where; a second one
// takes another name, and Report in the top bar does the same.
func TestReportIsWrittenUnderAFreeName(t *testing.T) {
	g := demoRig(t, image.Pt(1280, 720))
	d := g.desk
	folder := t.TempDir()
	d.file.path = filepath.Join(folder, "mast.toml")
	for n, name := range []string{"mast.pdf", "mast-2.pdf", "mast-3.pdf"} {
		if n == 0 {
			g.key("P", key.ModCtrl)
		} else {
			g.click("Report")
		}
		g.settle()
		path := filepath.Join(folder, name)
		if data, err := os.ReadFile(path); err != nil || !bytes.HasPrefix(data, []byte("%PDF-")) {
			t.Fatalf("%s: %v; said %q", path, err, g.said())
		}
		if !strings.Contains(g.said(), "the report is written: "+path) {
			t.Errorf("said %q", g.said())
		}
	}
	if all, err := os.ReadDir(folder); err != nil || len(all) != 3 {
		t.Errorf("the folder holds %v, %v", all, err)
	}
}

func TestReportNeedsASweepAndALine(t *testing.T) {
	g := newRig(t, image.Pt(1280, 720))
	g.key("P", key.ModCtrl)
	if g.desk.isReporting() || !strings.Contains(g.said(), "a report needs a sweep and its line") {
		t.Errorf("said %q", g.said())
	}
}

// Esc, and the button that says so, end a report that is being made.
func TestReportCanBeCancelled(t *testing.T) {
	for name, cancel := range map[string]func(*deskRig){"Esc": func(g *deskRig) { g.key(key.NameEscape, 0) }, "button": func(g *deskRig) { g.click("Cancel report") }} {
		g := demoRig(t, image.Pt(1280, 720))
		ended := make(chan error, 1)
		g.desk.reporting.job.Start(func(ctx context.Context) (string, error) {
			<-ctx.Done()
			ended <- ctx.Err()
			return "", ctx.Err()
		})
		g.frame()
		g.frame()
		cancel(g)
		g.frame()
		if err := <-ended; !errors.Is(err, context.Canceled) || g.desk.isReporting() || !strings.Contains(g.said(), "the report is cancelled; nothing was written") {
			t.Errorf("%s: %v, still %v, said %q", name, err, g.desk.isReporting(), g.said())
		}
	}
}
