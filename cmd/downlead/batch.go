package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"downlead/dsp/sweep"
	"downlead/ui/batch"
)

// batchChoice is what the user asks of batch.
type batchChoice struct {
	judge      batch.Judge
	standards  standardFiles
	record     string
	csv        string
	top, jobs  int
	shard      batch.Shard
	merge      bool
	force      bool
	json, feet bool
	ascii      bool
}

func (c *batchChoice) options() *options {
	return &options{verb: "batch", operands: "DIR|PATTERN|LIST|SWEEP...",
		about: "Judges many sweeps on all cores and shows the worst. A folder stands for all sweeps in it and\n" +
			"below it, a pattern such as 'site*/*.s1p' for those that fit, any other file (or -) for a list\n" +
			"of paths, one a line. Without --line each sweep needs its line beside it: tower.toml for\n" +
			"tower.s1p, or line.toml in the same folder. With --open, --short and --load the sweeps are raw\n" +
			"and corrected first. With --out a call that was stopped goes on where it was, and only sweeps\n" +
			"that are new or have changed are judged.",
		list: append(judgeOptions(&c.judge, &c.standards),
			option{"out", "FILE", "the record: a row of JSON for each sweep, as they are judged", toText(&c.record)},
			option{"csv", "FILE", "the same as CSV, at the end", toText(&c.csv)},
			option{"top", "N", "how many of the worst to show; 20 if not said", toCount(&c.top)},
			option{"jobs", "N", "how many to judge at once; all cores if not said", toCount(&c.jobs)},
			option{"shard", "I/N", "only the I-th of N shares of the sweeps, for N machines", func(s string) (err error) {
				c.shard, err = batch.ParseShard(s)
				return err
			}},
			option{"merge", "", "put together: the operands are records, and nothing is judged", toSwitch(&c.merge)},
			option{"force", "", "begin the record anew, and replace files already there", toSwitch(&c.force)},
			option{"json", "", "rows for machines in place of the table, schema " + batch.Schema, toSwitch(&c.json)},
			option{"feet", "", "lengths in feet", toSwitch(&c.feet)},
			option{"ascii", "", "plain characters only", toSwitch(&c.ascii)})}
}

// judgeOptions are those of the verbs that judge sweep after sweep.
func judgeOptions(j *batch.Judge, standards *standardFiles) []option {
	return append([]option{
		{"line", "FILE", "the line of all the sweeps", toText(&j.LineFile)},
		{"quick", "", "only the verdict and the places, not the causes", toSwitch(&j.Quick)},
		{"band", "LOW..HIGH", "use only this band, for example 1710MHz..2170MHz", toBand(&j.Settings.LowHz, &j.Settings.HighHz)},
		{"range", "LENGTH", "look no further than this, for example 80m", toLength(&j.Settings.RangeM)},
	}, standards.options()...)
}

func toCount(p *int) func(string) error {
	return func(s string) error {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 {
			return fmt.Errorf("%q is not a number from 1 on", s)
		}
		*p = n
		return nil
	}
}

// batchVerb judges many sweeps, or puts the records of earlier calls together.
func batchVerb(ctx context.Context, words []string, out output) (int, error) {
	c := batchChoice{top: 20, jobs: runtime.GOMAXPROCS(0)}
	operands, done, err := c.options().takeAny(words, out)
	switch {
	case done || err != nil:
		return statusPasses, err
	case len(operands) == 0:
		return 0, errors.New("say which sweeps: a folder, a pattern, a list, or sweep files; usage: " + c.options().usage())
	case c.csv != "" && c.csv == c.record:
		return 0, errors.New("--csv and --out name the same file")
	case batch.IsSweep(c.record):
		return 0, fmt.Errorf("--out %s: a record is no sweep, so its name must not end like one; write for example --out result.jsonl", c.record)
	}
	if err := c.mayReplaceCSV(); err != nil {
		return 0, err
	}
	summary := &batch.Summary{Top: c.top}
	if c.merge {
		err = c.putTogether(ctx, operands, summary, out)
	} else {
		err = c.judgeAll(ctx, operands, summary, out)
		if errors.Is(err, context.Canceled) && c.record != "" {
			err = fmt.Errorf("stopped before the end; %s keeps what was judged, and the same call goes on from there", c.record)
		}
	}
	if err != nil {
		return 0, err
	}
	if !c.json {
		if err := c.show(out.stdout, summary); err != nil {
			return 0, err
		}
	}
	return batchStatus(summary), nil
}

// batchStatus returns the exit status that goes with what was counted.
func batchStatus(s *batch.Summary) int {
	switch all := s.Total(); {
	case all > 0 && s.Counts[batch.Unusable] == all:
		return statusUnusable
	case s.Counts[batch.Passes] < all:
		return statusFault
	}
	return statusPasses
}

// putTogether reads the records at paths.
func (c *batchChoice) putTogether(ctx context.Context, paths []string, summary *batch.Summary, out output) error {
	if c.judge.LineFile != "" || c.judge.Quick || c.judge.Settings.LowHz > 0 || c.judge.Settings.RangeM > 0 || c.shard.Of > 0 || c.standards.given() {
		return errors.New("--merge judges nothing: --line, --quick, --band, --range, --shard and the standards do not go with it")
	}
	if c.record != "" {
		if err := mayWrite(c.record, c.force, paths...); err != nil {
			return err
		}
		if err := batch.WriteRecord(ctx, c.record, paths); err != nil {
			return err
		}
		paths = []string{c.record}
	}
	each := []func(*batch.Row) error{func(row *batch.Row) error { summary.Add(row); return ctx.Err() }}
	if c.json {
		each = append(each, jsonRows(out.stdout))
	}
	return c.withTable(func(table func(*batch.Row) error) error {
		return batch.Rows(paths, together(append(each, table)))
	})
}

// judgeAll judges what the operands name.
func (c *batchChoice) judgeAll(ctx context.Context, operands []string, summary *batch.Summary, out output) error {
	if err := c.standards.correctAll(&c.judge); err != nil {
		return err
	}
	if err := c.judge.CheckLine(); err != nil {
		return err
	}
	items, err := batch.Find(operands, os.Stdin)
	if err != nil {
		return err
	}
	ours := c.standards.files() // what lies among the sweeps and is none to be judged
	if c.csv != "" {
		ours = append(ours, c.csv)
	}
	items = batch.Sharded(slices.DeleteFunc(items, func(i batch.Item) bool {
		return slices.ContainsFunc(ours, func(path string) bool { return sameFile(i.Path, path) })
	}), c.shard)
	var each []func(*batch.Row) error
	if c.json {
		each = append(each, jsonRows(out.stdout))
	}
	if c.record == "" {
		each = append(each, func(row *batch.Row) error { summary.Add(row); return nil })
		return c.withTable(func(table func(*batch.Row) error) error {
			return c.run(ctx, items, append(each, table), out)
		})
	}
	if c.force {
		if err := os.Remove(c.record); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	all := len(items)
	record, items, err := batch.Resume(ctx, c.record, items, c.judge.JudgedBy)
	if err != nil {
		return err
	}
	if kept := all - len(items); kept > 0 {
		fmt.Fprintf(out.stderr, "%d of %d sweeps are in %s already, %d to judge\n", kept, all, c.record, len(items))
	}
	err = c.run(ctx, items, append(each, record.Add), out)
	if failed := record.Close(); err == nil {
		err = failed
	}
	if err != nil {
		return err
	}
	return c.withTable(func(table func(*batch.Row) error) error {
		return batch.Rows([]string{c.record}, together([]func(*batch.Row) error{
			func(row *batch.Row) error { summary.Add(row); return ctx.Err() }, table}))
	})
}

// sameFile says whether two paths lead to one file, or would if it were there.
func sameFile(a, b string) bool {
	if filepath.Clean(a) == filepath.Clean(b) {
		return true
	}
	if filepath.Base(a) != filepath.Base(b) { // a glance, as there may be many
		return false
	}
	one, err := os.Stat(a)
	other, err2 := os.Stat(b)
	return err == nil && err2 == nil && os.SameFile(one, other)
}

// run judges the items and hands on their rows.
func (c *batchChoice) run(ctx context.Context, items []batch.Item, each []func(*batch.Row) error, out output) error {
	progress := newTally(out.stderr, "sweeps", len(items), time.Now)
	defer progress.end()
	return c.judge.Run(ctx, items, c.jobs, together(append(each, func(*batch.Row) error { progress.step(); return nil })))
}

// withTable runs do with what writes a row of the CSV file, if there is to be one.
func (c *batchChoice) withTable(do func(row func(*batch.Row) error) error) error {
	if c.csv == "" {
		return do(func(*batch.Row) error { return nil })
	}
	return sweep.ReplaceFile(c.csv, func(w io.Writer) error {
		table, err := batch.NewTable(w)
		if err != nil {
			return err
		}
		return errors.Join(do(table.Add), table.Flush())
	})
}

// mayReplaceCSV lets a table of ours be replaced, and no other file without --force.
func (c *batchChoice) mayReplaceCSV() error {
	if c.csv == "" {
		return nil
	}
	file, err := os.Open(c.csv)
	if err == nil {
		defer file.Close()
		if first, _ := bufio.NewReader(file).ReadString('\n'); strings.TrimSpace(first) == strings.Join(batch.Columns(), ",") {
			return nil
		}
	}
	return mayWrite(c.csv, c.force)
}

// together calls one after the other.
func together(each []func(*batch.Row) error) func(*batch.Row) error {
	return func(row *batch.Row) error {
		for _, do := range each {
			if err := do(row); err != nil {
				return err
			}
		}
		return nil
	}
}

func jsonRows(w io.Writer) func(*batch.Row) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return func(row *batch.Row) error { return e.Encode(row) }
}
