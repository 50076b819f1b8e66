package desk

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
)

var errCancelled = errors.New("the search for faults was cancelled; F5 starts it again")

// opened is what a file that was read does to the desk.
type opened func(*Desk)

// open reads files in the background and takes them in the next frame.
func (d *Desk) open(read func() (opened, error)) {
	d.opening.Start(func(context.Context) (opened, error) { return read() })
}

// chosen takes a file that was picked.
func (d *Desk) chosen(p pick, path string) {
	switch p {
	case pickSaveLine:
		err := d.writeLine(path)
		d.fail(err)
		if err == nil {
			d.recent.add(path)
		}
		return
	case pickSave:
		d.saveTo(path)
		return
	}
	read := map[pick]func(string) (opened, error){pickSweep: readAny, pickEarlier: readEarlier, pickLine: readLine, pickKit: readKit}[p]
	if read == nil {
		read = func(path string) (opened, error) { return readStandard(p, path) }
	}
	d.open(func() (opened, error) {
		take, err := read(path)
		if err != nil {
			return nil, err
		}
		return func(d *Desk) {
			take(d)
			d.recent.add(path)
		}, nil
	})
}

// Files are what the window is opened with; empty names are left out. Sweep may be
// an investigation, which has its own line and earlier sweep.
type Files struct{ Line, Sweep, Baseline string }

// Open reads the files in the background, or, where none is named, makes the
// demonstration.
func (d *Desk) Open(f Files) {
	d.open(func() (opened, error) {
		if f == (Files{}) {
			return demonstration()
		}
		var all []opened
		for _, one := range []struct {
			path string
			read func(string) (opened, error)
		}{{f.Line, readLine}, {f.Sweep, readAny}, {f.Baseline, readEarlier}} {
			if one.path == "" {
				continue
			}
			take, err := one.read(one.path)
			if err != nil {
				return nil, err
			}
			all = append(all, take, func(d *Desk) { d.recent.add(one.path) })
		}
		return func(d *Desk) {
			for _, take := range all {
				take(d)
			}
		}, nil
	})
}

// readAny reads what Ctrl O can open: an investigation, a line, or a sweep.
func readAny(path string) (opened, error) {
	switch {
	case investigation.Is(path):
		return readInvestigation(path)
	case strings.EqualFold(filepath.Ext(path), ".toml"):
		return readLine(path)
	}
	return readSweep(path)
}

// begun counts the opening of a file as no change where nothing else was changed
// yet: the file is still there, so nothing could be lost.
func (d *Desk) begun(take func()) {
	fresh := d.file.path == "" && !d.history.Changed()
	take()
	if fresh {
		d.history.Saved(d.history.Number())
	}
}

func readSweep(path string) (opened, error) {
	s, err := investigation.ReadSweep(path)
	if errors.Is(err, sweep.ErrScalar) {
		return nil, fmt.Errorf("%w; downlead locate holds it against the line's limit", err)
	}
	if err != nil {
		return nil, err
	}
	return func(d *Desk) {
		doc := d.document()
		doc.Sweep = s
		doc.BandHz, doc.Decisions = [2]float64{}, nil
		if d.hints { // the demonstration's earlier sweep is not this line's
			doc.Baseline = investigation.Source{}
		}
		d.hints = false
		d.strip.stale = true
		d.begun(func() { d.change(doc, "open "+filepath.Base(path), "") })
	}, nil
}

func readEarlier(path string) (opened, error) {
	s, err := investigation.ReadSweep(path)
	if err != nil {
		return nil, err
	}
	return func(d *Desk) {
		doc := d.document()
		doc.Baseline = s
		d.begun(func() { d.change(doc, "open the earlier sweep "+filepath.Base(path), "") })
	}, nil
}

func readLine(path string) (opened, error) {
	line, sum, err := investigation.ReadLine(path)
	if err != nil {
		return nil, err
	}
	return func(d *Desk) {
		doc := d.document()
		doc.Line, doc.LinePath, doc.LineSHA256, doc.LineNew, doc.Decisions = line, path, sum, false, nil
		d.editor.chosen, d.hints = -1, false
		d.begun(func() { d.change(doc, "open "+filepath.Base(path), "") })
	}, nil
}

func readStandard(p pick, path string) (opened, error) {
	s, err := investigation.ReadSweep(path)
	if err != nil {
		return nil, err
	}
	return func(d *Desk) {
		doc := d.document()
		*map[pick]*investigation.Source{pickOpen: &doc.Standards.Open, pickShort: &doc.Standards.Short, pickLoad: &doc.Standards.Load}[p] = s
		d.change(doc, strings.ToLower(p.title()[:1])+p.title()[1:], "")
	}, nil
}

func readKit(path string) (opened, error) {
	kit, sum, err := investigation.ReadKit(path)
	if err != nil {
		return nil, err
	}
	return func(d *Desk) {
		doc := d.document()
		doc.Standards.KitPath, doc.Standards.KitSHA256, doc.Standards.Kit = path, sum, kit
		d.change(doc, "take the standards' definitions", "")
	}, nil
}

// demonstration is the embedded site with a fault in it, and the hints.
func demonstration() (opened, error) {
	scenario, err := simulate.Demo()
	if err != nil {
		return nil, err
	}
	made, err := simulate.Run(context.Background(), scenario)
	if err != nil {
		return nil, err
	}
	return func(d *Desk) {
		doc := investigation.Document{Sweep: investigation.Source{Sweep: made.Sweep}, Line: made.Line}
		if made.Baseline != nil {
			doc.Baseline = investigation.Source{Sweep: made.Baseline}
		}
		d.begin(doc, "")
		d.hints = true
		d.restored()
	}, nil
}

// saveLine writes the line where it came from, or asks where.
func (d *Desk) saveLine() {
	doc := d.document()
	switch {
	case doc.Line == nil:
		d.mention("there is no line to save yet")
	case doc.LinePath == "":
		d.browse(pickSaveLine)
	default:
		d.fail(d.writeLine(doc.LinePath))
	}
}

func (d *Desk) writeLine(path string) error {
	doc := d.document()
	if filepath.Ext(path) == "" {
		path += ".toml"
	}
	if err := cables.WriteLine(path, doc.Line); err != nil {
		return err
	}
	_, sum, err := investigation.ReadLine(path)
	if err != nil {
		return err
	}
	doc.LinePath, doc.LineSHA256, doc.LineNew = path, sum, false
	d.history.Do(doc, "save the line", "")
	d.mention("the line is saved in " + path)
	return nil
}
