package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"downlead/dsp/diagnose"
	"downlead/ui/batch"
)

// watchChoice is what the user asks of watch.
type watchChoice struct {
	judge         batch.Judge
	standards     standardFiles
	every, settle time.Duration
	all, json     bool
	feet, ascii   bool
}

func (c *watchChoice) options() *options {
	return &options{verb: "watch", operands: "DIR",
		about: "Judges each sweep that comes into the folder DIR or one below it, as soon as the file is\n" +
			"whole, and again when it changes; one line each. Without --line each sweep needs its line\n" +
			"beside it. With --open, --short and --load the sweeps are raw and corrected first. Ctrl-C ends it.",
		list: append(judgeOptions(&c.judge, &c.standards),
			option{"all", "", "begin with the sweeps that are there already", toSwitch(&c.all)},
			option{"every", "TIME", "how often to look, 1s if not said", toDuration(&c.every)},
			option{"settle", "TIME", "how long a file must stay as it is to be whole, 2s if not said", toDuration(&c.settle)},
			option{"json", "", "rows for machines, schema " + batch.Schema + ": a record for batch --merge", toSwitch(&c.json)},
			option{"feet", "", "lengths in feet", toSwitch(&c.feet)},
			option{"ascii", "", "plain characters only", toSwitch(&c.ascii)})}
}

func toDuration(p *time.Duration) func(string) error {
	return func(s string) error {
		d, err := time.ParseDuration(s)
		if err != nil || d <= 0 {
			return fmt.Errorf("%q is not a time; write for example 2s or 500ms", s)
		}
		*p = d
		return nil
	}
}

// watchVerb judges what comes into a folder, until ctx ends.
func watchVerb(ctx context.Context, words []string, out output) (int, error) {
	c := watchChoice{every: time.Second, settle: 2 * time.Second}
	operands, done, err := c.options().take(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	if err := c.standards.correctAll(&c.judge); err != nil {
		return 0, err
	}
	if err := c.judge.CheckLine(); err != nil {
		return 0, err
	}
	info, err := os.Stat(operands[0])
	switch {
	case err != nil:
		return 0, err
	case !info.IsDir():
		return 0, fmt.Errorf("%s is no folder; a sweep alone goes to downlead locate", operands[0])
	}
	w := &batch.Watcher{Folder: operands[0], Judge: &c.judge, Settle: c.settle, All: c.all, But: c.standards.files()}
	fmt.Fprintf(out.stderr, "watching %s (Ctrl-C ends it)\n", operands[0])
	if err := c.watch(ctx, w, out); err != nil {
		return 0, err
	}
	s := &batch.Summary{Counts: w.Outcomes()}
	fmt.Fprintf(out.stderr, "%s judged: %d pass, %d out of limit, %d with a fault within it, %d not usable\n", counted(s.Total(), "sweep"),
		s.Counts[batch.Passes], s.Counts[batch.OutOfLimit], s.Counts[batch.Faulty], s.Counts[batch.Unusable])
	return batchStatus(s), nil
}

// watch looks again and again; it returns without an error when ctx ends.
func (c *watchChoice) watch(ctx context.Context, w *batch.Watcher, out output) error {
	tell := jsonRows(out.stdout)
	if !c.json {
		tell = func(row *batch.Row) error { return c.tell(out.stdout, w.Folder, row) }
	}
	tick := time.NewTicker(c.every)
	defer tick.Stop()
	problem := ""
	for {
		var broken error // of the output
		err := w.Step(ctx, time.Now(), func(row *batch.Row) error {
			broken = tell(row)
			return broken
		})
		switch {
		case broken != nil:
			return broken
		case ctx.Err() != nil:
			return nil
		case err == nil:
			problem = ""
		case err.Error() != problem: // once
			problem = err.Error()
			fmt.Fprintf(out.stderr, "downlead watch: %s; still watching\n", problem)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// tell writes a row as one line.
func (c *watchChoice) tell(w io.Writer, folder string, row *batch.Row) error {
	scale := inMetres
	if c.feet {
		scale = inFeet
	}
	name, err := filepath.Rel(folder, row.Path)
	if err != nil {
		name = row.Path
	}
	p := &page{ascii: c.ascii}
	p.row(p.plain(name + ": " + rowText(row, scale)))
	_, err = io.WriteString(w, p.String())
	return err
}

// rowText says in a line what came of a sweep.
func rowText(row *batch.Row, scale lengthScale) string {
	if row.Outcome == batch.Unusable {
		return "NOT USABLE: " + row.Problem
	}
	v := row.Verdict
	text := map[batch.Outcome]string{batch.Passes: "PASSES", batch.Faulty: "FAULT", batch.OutOfLimit: "OUT OF LIMIT"}[row.Outcome]
	text += fmt.Sprintf(", worst %s at %s", vswrText(v.WorstVSWR), frequencyText(v.AtHz))
	if v.LimitVSWR > 0 {
		text += fmt.Sprintf(", limit %.2f", v.LimitVSWR)
	}
	switch {
	case row.Uncalibrated():
		text = "NOT CALIBRATED; with the instrument's own errors in it: " + text
	case row.InDoubt():
		text = "CALIBRATION IN DOUBT; as it is: " + text
	}
	if row.Doubt != "" {
		text = "PERHAPS NOT WHOLE, " + row.Doubt + "; as it is: " + text
	}
	if len(row.Faults) == 0 {
		return text + "; no fault found"
	}
	f := row.Faults[0]
	text += fmt.Sprintf("; %s: %s", scale.uncertain(f.DistanceM, f.SigmaM), f.Cause.Words())
	if f.Cause != diagnose.Unnamed {
		text += ", " + percent(f.Confidence) + " sure"
	}
	if f.Place != "" {
		text += ", " + f.Place
	}
	if more := len(row.Faults) - 1; more > 0 {
		text += "; and " + counted(more, "more fault")
	}
	return text
}
