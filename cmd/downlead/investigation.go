package main

import (
	"errors"
	"fmt"
	"io"

	"downlead/ui/investigation"
)

// readInvestigation reads the investigation at path, which must have a sweep and a
// line, and all that it names; the notes tell of what is not quite as it was. That
// somebody's changes of it were not saved is said on stderr: the answer is that of
// the file.
func readInvestigation(path string, stderr io.Writer) (doc *investigation.Document, notes []string, err error) {
	o, err := investigation.Open(path)
	if err != nil {
		return nil, nil, err
	}
	var unusable []error
	for _, p := range o.Problems {
		if p.Used {
			notes = append(notes, p.String())
		} else {
			unusable = append(unusable, errors.New(p.String()))
		}
	}
	doc = &o.Document
	switch {
	case len(unusable) > 0:
		return nil, nil, errors.Join(unusable...)
	case doc.Sweep.Sweep == nil:
		return nil, nil, fmt.Errorf("%s: this investigation has no sweep yet; open it in the window and add one", path)
	case doc.Line == nil:
		return nil, nil, fmt.Errorf("%s: this investigation has no line yet; open it in the window and enter the line", path)
	case doc.Standards.Any() && !doc.Standards.Complete():
		return nil, nil, fmt.Errorf("%s: open, short and load are all needed before the sweep is corrected; add what is missing, or leave the standards out", path)
	}
	if r, is := investigation.RecoveryOf(path); is {
		fmt.Fprintf(stderr, "downlead: changes of %s that were not saved were kept on %s, when the window ended; they are not used here. Open it in the window to take them up or throw them away.\n",
			path, r.At.Local().Format("2 January 2006, 15:04"))
	}
	return doc, notes, nil
}
