package pictures

import (
	"bytes"
	"context"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"downlead/ui/lesson"
)

// Each step has its two views as the window shows them, with what it lays beside the sweep
// named; the report's figures stand beside the first step that has them.
func TestWhatIsShown(t *testing.T) {
	all, err := lesson.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	l := *all[0]
	l.Steps = slices.Clone(l.Steps)
	l.Steps[0].Show = lesson.Show{Over: "smith", Along: "vswr", Overlays: []string{"expected", "limit"}, ZoomM: [2]float64{0, 2}}
	l.Steps[1].Show = lesson.Show{Over: "group-delay"}
	b, err := lesson.Open(context.Background(), &l)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	steps, err := Write(context.Background(), b, folder)
	if err != nil || len(steps) != len(l.Steps) || steps[0].As != 0 || steps[1].As != 1 {
		t.Fatalf("steps %+v: %v", steps, err)
	}
	read := func(step int, name string) []byte {
		data, err := os.ReadFile(filepath.Join(folder, "step-"+string(rune('0'+step)), name))
		if err != nil {
			t.Error(err)
		}
		return data
	}
	for _, name := range []string{"shown-over-frequency.png", "shown-along-the-line.png", "frequency.png"} {
		if _, err := png.Decode(bytes.NewReader(read(1, name))); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, words := range map[string][]string{"shown-over-frequency.svg": {"real part of", "expected by the record", "limit"}, "shown-along-the-line.svg": {"VSWR", "expected by the record"}} {
		for _, w := range words {
			if !strings.Contains(string(read(1, name)), w) {
				t.Errorf("%s does not say %q", name, w)
			}
		}
	}
	second := string(read(2, "shown-over-frequency.svg"))
	if !strings.Contains(second, "group delay, ns") || strings.Contains(second, "expected") {
		t.Error("the second step shows another view than its own")
	}
	if slices.Contains(steps[1].Files, "frequency.png") {
		t.Error("the figures of the report are written twice")
	}
}
