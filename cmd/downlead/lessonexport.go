package main

import (
	"context"
	"fmt"
	"strings"

	"downlead/ui/lesson/pictures"
)

// export writes the pictures of each step of the lesson into a folder of its own
// under choice.folder: what the window shows, and the figures of a report, unless an
// earlier step has the same, or the sweep is a raw one.
func (c *class) export(ctx context.Context) error {
	steps, err := pictures.Write(ctx, c.bench, c.choice.folder)
	if err != nil {
		return err
	}
	p := c.page()
	for _, s := range steps {
		title := fmt.Sprintf("  step %-10d ", s.Number)
		text := fmt.Sprintf("%s: %s", s.Folder, strings.Join(s.Files, ", "))
		switch {
		case s.Raw:
			text += "; nothing is found in a raw sweep"
		case s.As > 0:
			text += fmt.Sprintf("; the rest as step %d", s.As)
		}
		p.text(title, text)
	}
	c.print(p)
	return nil
}
