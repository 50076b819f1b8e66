package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"downlead/cables"
	"downlead/dsp/series"
	"downlead/dsp/sweep"
	"downlead/ui/batch"
)

// seriesChoice is what the user asks of series.
type seriesChoice struct {
	line          lineChoice
	standards     standardFiles
	lowHz, highHz float64
	json, feet    bool
	ascii         bool
}

func (c *seriesChoice) options() *options {
	o := &options{verb: "series", operands: "SWEEP...|DIR",
		about: "Looks at many sweeps of one line, taken while somebody taps its connectors, the wind blows or\n" +
			"the sun warms it: where along the line it moves, how much and when, against noise. Four\n" +
			"sweeps are the least; with ten and more it sees best.",
		list: append(c.line.options(),
			option{"band", "LOW..HIGH", "use only this band, for example 1710MHz..2170MHz", toBand(&c.lowHz, &c.highHz)})}
	o.list = append(o.list, c.standards.options()...)
	o.list = append(o.list,
		option{"json", "", "for machines, schema " + series.Schema, toSwitch(&c.json)},
		option{"feet", "", "lengths in feet", toSwitch(&c.feet)},
		option{"ascii", "", "plain characters only", toSwitch(&c.ascii)})
	return o
}

// seriesVerb looks for what moves in a series of sweeps.
func seriesVerb(ctx context.Context, words []string, out output) (int, error) {
	var c seriesChoice
	operands, done, err := c.options().takeAny(words, out)
	switch {
	case done || err != nil:
		return statusPasses, err
	case len(operands) == 0:
		return 0, errors.New("say which sweeps: a folder, or sweep files; usage: " + c.options().usage())
	}
	items, err := batch.Find(operands, os.Stdin)
	if err != nil {
		return 0, err
	}
	list, notes, err := c.read(ctx, items)
	if err != nil {
		return 0, err
	}
	from := order(list)
	sweeps := make([]*sweep.Sweep, len(list))
	for i, t := range list {
		sweeps[i] = t.sweep
	}
	line, err := c.line.read(func(velocityFactor float64) float64 { return aliasFreeM(sweeps[0].FrequencyHz, velocityFactor) })
	if err != nil {
		return 0, err
	}
	finished := working(out.stderr, "looking for what moves")
	found, err := series.Find(ctx, sweeps, line, series.Settings{})
	finished()
	if err != nil {
		return 0, err
	}
	found.Warnings = append(notes, found.Warnings...)
	if c.json {
		err = writeSeriesJSON(out.stdout, found, list, from)
	} else {
		err = c.report(out.stdout, found, line, list, from)
	}
	if len(found.Places) > 0 {
		return statusFault, err
	}
	return statusPasses, err
}

// read reads and corrects the sweeps. One that cannot be used is left out, with a
// note, as long as there are enough others.
func (c *seriesChoice) read(ctx context.Context, items []batch.Item) (list []timed, notes []string, err error) {
	var first error
	for _, item := range items {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		s, err := sweep.Read(item.Path)
		if err == nil && c.standards.given() {
			if s, _, err = c.standards.correct(s); err != nil {
				return nil, nil, err
			}
		}
		if err == nil && c.lowHz > 0 {
			s, err = s.Band(c.lowHz, c.highHz)
		}
		if err != nil {
			if first == nil {
				first = err
			}
			notes = append(notes, fmt.Sprintf("left out: %v", err))
			continue
		}
		list = append(list, timed{path: item.Path, sweep: s})
	}
	if first != nil && len(list) < series.LeastSweeps {
		return nil, nil, fmt.Errorf("only %d of %d sweeps can be used, and a series needs %d: %w", len(list), len(items), series.LeastSweeps, first)
	}
	return list, notes, nil
}

// writeSeriesJSON writes the result with the files and times that its numbers of
// sweeps stand for.
func writeSeriesJSON(w io.Writer, found *series.Result, list []timed, from string) error {
	whole := struct {
		*series.Result
		Files     []string    `json:"files"`
		Times     []time.Time `json:"times"` // null where they are not known
		TimesFrom string      `json:"times_from"`
	}{Result: found, TimesFrom: from}
	for _, t := range list {
		whole.Files = append(whole.Files, t.path)
		if !t.at.IsZero() {
			whole.Times = append(whole.Times, t.at)
		}
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(whole); err != nil {
		return fmt.Errorf("writing the result: %w", err)
	}
	return nil
}

// report writes the result as text.
func (c *seriesChoice) report(w io.Writer, found *series.Result, line *cables.Line, list []timed, from string) error {
	path, err := line.Path()
	if err != nil {
		return err
	}
	r := seriesReport{page: &page{ascii: c.ascii}, found: found, line: line, path: path, list: list, from: from, scale: inMetres}
	if c.feet {
		r.scale = inFeet
	}
	r.write()
	_, err = io.WriteString(w, r.page.String())
	return err
}
