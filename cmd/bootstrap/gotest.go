package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
)

// event is one line of `go test -json`; see `go doc test2json`.
type event struct {
	Action, Package, Test, Output string
}

// tally is what a run of `go test` came to.
type tally struct {
	passed, failed int
	skipped        []string // package, test and the reason
}

// readTests follows the output of `go test -json`: it prints the closing line
// of every package and all that a failed test said, and counts.
func readTests(events io.Reader, out io.Writer) (tally, error) {
	var t tally
	said := map[string][]string{} // by package and test
	lines := bufio.NewScanner(events)
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		var e event
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			fmt.Fprintln(out, lines.Text()) // the build's own words
			continue
		}
		key := e.Package + " " + e.Test
		switch {
		case e.Action == "build-output":
			fmt.Fprint(out, e.Output)
		case e.Action == "output" && e.Test != "":
			said[key] = append(said[key], e.Output)
		case e.Action == "output" && e.Output != "PASS\n":
			fmt.Fprint(out, e.Output)
		case e.Test == "":
		case e.Action == "pass":
			t.passed++
			delete(said, key)
		case e.Action == "fail":
			t.failed++
			fmt.Fprint(out, strings.Join(said[key], ""))
			delete(said, key)
		case e.Action == "skip":
			t.skipped = append(t.skipped, key+": "+reason(said[key]))
			delete(said, key)
		}
	}
	for key, output := range said { // tests that never ended: the package broke down
		fmt.Fprintf(out, "not ended: %s\n%s", key, strings.Join(output, ""))
	}
	return t, lines.Err()
}

// reason picks what a skipped test said from its output.
func reason(output []string) string {
	var words []string
	for _, line := range output {
		line = strings.TrimSpace(line)
		if line != "" && !strings.HasPrefix(line, "===") && !strings.HasPrefix(line, "---") {
			words = append(words, line)
		}
	}
	if len(words) == 0 {
		return "no reason given"
	}
	return strings.Join(words, " ")
}

// test runs all tests with the flags given. Skipped tests are listed, and with
// strict they fail the run.
func test(ctx context.Context, out io.Writer, strict bool, env []string, flags ...string) (string, error) {
	args := append([]string{"test", "-json", "-timeout", "40m"}, flags...)
	c := goCommand(append(args, "./...")...).with(env...)
	fmt.Fprintf(out, "$ %s\n", c)
	cmd := c.prepare(ctx)
	cmd.Stderr = os.Stderr
	events, err := cmd.StdoutPipe()
	if err != nil {
		return "", err
	}
	if err := cmd.Start(); err != nil {
		return "", err
	}
	t, readErr := readTests(events, out)
	err = errors.Join(readErr, cmd.Wait())
	for _, s := range t.skipped {
		fmt.Fprintf(out, "SKIPPED: %s\n", s)
	}
	note := fmt.Sprintf("%d passed, %d failed, %d skipped", t.passed, t.failed, len(t.skipped))
	fmt.Fprintln(out, note)
	if strict && len(t.skipped) > 0 {
		err = errors.Join(err, fmt.Errorf("%d tests were skipped; here all must run", len(t.skipped)))
	}
	return note, err
}

// fuzzTarget is one fuzz function.
type fuzzTarget struct{ pkg, name string }

// fuzzTargets reads the output of `go test -list ^Fuzz ./...`: the names of
// each package stand before its closing line.
func fuzzTargets(list string) []fuzzTarget {
	var out []fuzzTarget
	var names []string
	for _, line := range strings.Split(list, "\n") {
		words := strings.Fields(line)
		switch {
		case len(words) == 1 && strings.HasPrefix(words[0], "Fuzz"):
			names = append(names, words[0])
		case len(words) >= 2 && words[0] == "ok":
			for _, name := range names {
				out = append(out, fuzzTarget{words[1], name})
			}
			names = nil
		}
	}
	return out
}

// onlyOutOfTime says whether a fuzz run failed for no other reason than that its
// time ended while an input was being tried: go test reports that as a failure
// ("context deadline exceeded") without a failing input.
func onlyOutOfTime(said string) bool {
	return strings.Contains(said, "context deadline exceeded") && !strings.Contains(said, "Failing input written") &&
		!strings.Contains(said, "panic:") && !strings.Contains(said, "Error:")
}

// withoutFailure is the output of a fuzz run that only ran out of its time, its
// lines of failure exchanged for what happened: who counts failed tests in the
// whole output must not find one.
func withoutFailure(said, name string) string {
	before, _, _ := strings.Cut(said, "--- FAIL")
	return before + name + " ran out of its time in the middle of an input; no input failed\n"
}

// fuzz runs every fuzz function of the module for a while.
func fuzz(ctx context.Context, out io.Writer, each time.Duration) (string, error) {
	list, err := goCommand("test", "-list", "^Fuzz", "./...").output(ctx)
	if err != nil {
		return "", err
	}
	targets := fuzzTargets(list)
	if len(targets) == 0 {
		return "", errors.New("no fuzz function was found, but every parser has one")
	}
	var failed error
	for _, t := range targets {
		// Without a bound on minimising, go test may spend the whole time on it.
		c := goCommand("test", "-run", "^$", "-fuzz", "^"+t.name+"$", "-fuzztime", each.String(), "-fuzzminimizetime", "10x", t.pkg)
		var said bytes.Buffer
		err := c.run(ctx, &said)
		told := said.String()
		if err != nil && ctx.Err() == nil && onlyOutOfTime(told) {
			told, err = withoutFailure(told, t.name), nil
		}
		fmt.Fprint(out, told)
		failed = errors.Join(failed, err)
	}
	return fmt.Sprintf("%d parsers, %v each", len(targets), each), failed
}
