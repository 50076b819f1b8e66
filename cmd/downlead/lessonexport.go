package main

import (
	"context"
	"fmt"
	"strings"

	"downlead/ui/lesson/pictures"
)

// export writes the figures of each step of the lesson into a folder of its own
// under choice.folder. Steps that show the same line in the same way, and those
// that show a raw sweep, of which there is nothing to draw, have none.
func (c *class) export(ctx context.Context) error {
	steps, err := pictures.Write(ctx, c.bench, c.choice.folder)
	if err != nil {
		return err
	}
	p := c.page()
	for _, s := range steps {
		title := fmt.Sprintf("  step %-10d ", s.Number)
		switch {
		case s.Raw:
			p.text(title, "shows a raw sweep, which has no figures")
		case s.As > 0:
			p.text(title, fmt.Sprintf("as step %d", s.As))
		default:
			p.text(title, fmt.Sprintf("%s: %s", s.Folder, strings.Join(s.Files, ", ")))
		}
	}
	c.print(p)
	return nil
}
