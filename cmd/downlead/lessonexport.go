package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"downlead/ui/investigation"
	"downlead/ui/lesson"
	"downlead/ui/report"
)

// export writes the figures of each step of the lesson into a folder of its own
// under choice.folder. Steps that show the same line in the same way, and those
// that show a raw sweep, of which there is nothing to draw, have none.
func (c *class) export(ctx context.Context) error {
	l := c.bench.Lesson
	p := c.page()
	drawn := map[string]int{}
	for i := range l.Steps {
		show := l.Steps[i].Show
		title := fmt.Sprintf("  step %-10d ", i+1)
		if show.Sweep == lesson.Raw {
			p.text(title, "shows a raw sweep, which has no figures")
			continue
		}
		key := fmt.Sprint(show.Sweep, show.BandHz, show.Every, show.Window, show.VelocityFactor, show.AgainstEarlier, slices.Contains(show.Overlays, "earlier"))
		if before, has := drawn[key]; has {
			p.text(title, fmt.Sprintf("as step %d", before))
			continue
		}
		drawn[key] = i + 1
		names, err := c.exportStep(ctx, &show, filepath.Join(c.choice.folder, fmt.Sprintf("step-%d", i+1)))
		if err != nil {
			return fmt.Errorf("drawing step %d: %w", i+1, err)
		}
		p.text(title, fmt.Sprintf("%s: %s", filepath.Join(c.choice.folder, fmt.Sprintf("step-%d", i+1)), strings.Join(names, ", ")))
	}
	c.print(p)
	return nil
}

func (c *class) exportStep(ctx context.Context, show *lesson.Show, folder string) (names []string, err error) {
	s, err := c.bench.Scene(show)
	if err != nil {
		return nil, err
	}
	found, err := s.Findings(ctx)
	if err != nil {
		return nil, err
	}
	in := report.Input{Document: investigation.Document{Sweep: investigation.Source{Sweep: s.Sweep}, Line: s.Line, Window: show.Window, Site: c.bench.Lesson.Title}, Findings: found}
	if show.AgainstEarlier || slices.Contains(show.Overlays, "earlier") {
		in.Document.Baseline.Sweep = c.bench.Result.Baseline
	}
	whole, err := report.Prepare(ctx, in)
	if err != nil {
		return nil, err
	}
	files, err := report.Figures(ctx, whole, report.Style{Feet: c.choice.feet})
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return nil, err
	}
	for _, f := range files {
		if err := writeWhole(filepath.Join(folder, f.Name), f.Data); err != nil {
			return nil, err
		}
		names = append(names, f.Name)
	}
	return names, nil
}
