// Package pictures writes what a lesson shows as files, a folder for each step: its two views
// as the window shows them, and the figures of a report, which also say what is found. It draws
// with package report; nothing is worked out here.
package pictures

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"downlead/dsp/sweep"
	"downlead/ui/investigation"
	"downlead/ui/lesson"
	"downlead/ui/report"
)

// Step is what was written for a step of a lesson.
type Step struct {
	Number int      // from 1
	Raw    bool     // it shows a raw sweep, in which nothing is found and of which there is no report
	As     int      // the step of this number has the same report's figures, and this one has none; 0: it has
	Folder string   // of its files
	Files  []string // their names in it
}

// Write writes the pictures of each step into a folder of its own under folder, each
// file whole or not at all. Lengths are written as the bench writes them. It gives up
// with ctx's error when ctx ends; what was written by then stays.
func Write(ctx context.Context, b *lesson.Bench, folder string) ([]Step, error) {
	var steps []Step
	drawn := map[string]int{}
	for i := range b.Lesson.Steps {
		show := &b.Lesson.Steps[i].Show
		step := Step{Number: i + 1, Raw: show.Sweep == lesson.Raw, Folder: filepath.Join(folder, fmt.Sprintf("step-%d", i+1))}
		files, err := shown(ctx, b, show)
		if err != nil {
			return steps, fmt.Errorf("drawing step %d: %w", i+1, err)
		}
		key := fmt.Sprint(show.Sweep, show.BandHz, show.Every, show.Window, show.VelocityFactor, show.AgainstEarlier, slices.Contains(show.Overlays, "earlier"))
		if step.As = drawn[key]; !step.Raw && step.As == 0 {
			drawn[key] = i + 1
			more, err := reported(ctx, b, show)
			if err != nil {
				return steps, fmt.Errorf("drawing step %d: %w", i+1, err)
			}
			files = append(files, more...)
		}
		if step.Files, err = write(files, step.Folder); err != nil {
			return steps, err
		}
		steps = append(steps, step)
	}
	return steps, nil
}

// reported are the figures of the report on what is shown.
func reported(ctx context.Context, b *lesson.Bench, show *lesson.Show) ([]report.File, error) {
	s, err := b.Scene(show)
	if err != nil {
		return nil, err
	}
	found, err := s.Findings(ctx)
	if err != nil {
		return nil, err
	}
	in := report.Input{Document: investigation.Document{Sweep: investigation.Source{Sweep: s.Sweep}, Line: s.Line, Window: show.Window, Site: b.Lesson.Title}, Findings: found}
	if show.AgainstEarlier || slices.Contains(show.Overlays, "earlier") {
		in.Document.Baseline.Sweep = b.Result.Baseline
	}
	whole, err := report.Prepare(ctx, in)
	if err != nil {
		return nil, err
	}
	return report.Figures(ctx, whole, report.Style{Feet: b.Feet})
}

// write writes files into a folder, which is made where it is not there.
func write(files []report.File, folder string) (names []string, err error) {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return nil, err
	}
	for _, f := range files {
		err := sweep.ReplaceFile(filepath.Join(folder, f.Name), func(w io.Writer) error {
			_, err := io.Copy(w, bytes.NewReader(f.Data))
			return err
		})
		if err != nil {
			return nil, err
		}
		names = append(names, f.Name)
	}
	return names, nil
}
