package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// requireTools is the variable that tells tests to fail, not to skip, when an
// outside tool is missing.
const requireTools = "DOWNLEAD_REQUIRE_TOOLS"

// result is how one step of the checks went.
type result struct {
	name string
	took time.Duration
	err  error
	note string
}

// check runs every check of the project, all of them even when one fails, and
// prints a summary. fuzzEach is how long each parser is fuzzed.
func check(ctx context.Context, out io.Writer, fuzzEach time.Duration) error {
	ci := os.Getenv("CI") == "true"
	scratch, err := os.MkdirTemp("", "downlead-check-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(scratch)

	var results []result
	step := func(name string, do func() (note string, err error)) {
		if ctx.Err() != nil {
			return
		}
		fmt.Fprintf(out, "\n=== %s\n", name)
		start := time.Now()
		note, err := do()
		if err != nil {
			fmt.Fprintf(out, "FAILED: %v\n", err)
		}
		results = append(results, result{name, time.Since(start), err, note})
	}
	simply := func(c command) func() (string, error) {
		return func() (string, error) { return "", c.run(ctx, out) }
	}

	var env []string
	step("outside tools", func() (string, error) {
		lacking, err := prepare(ctx, out, tools())
		env = append(env, "EGL_PLATFORM=surfaceless", "LIBGL_ALWAYS_SOFTWARE=1") // pictures of the window without a display
		if ci {
			env = append(env, requireTools+"=1")
		}
		if len(lacking) == 0 {
			return "", err
		}
		var names []string
		for _, t := range lacking {
			names = append(names, t.name)
		}
		note := "still missing: " + strings.Join(names, ", ") + "; tests that need them are skipped"
		fmt.Fprintln(out, note)
		if ci {
			return "", errors.Join(err, errors.New("still missing: "+strings.Join(names, ", ")))
		}
		return note, err
	})
	step("gofmt", func() (string, error) { return "", formatted(ctx) })
	step("go vet", simply(goCommand("vet", "./...")))
	step("staticcheck", simply(goCommand("tool", "staticcheck", "./...")))
	step("command line without cgo", simply(
		goCommand("build", "-o", filepath.Join(scratch, "downlead"), "./cmd/downlead").with("CGO_ENABLED=0")))
	step("program with its window", simply(goCommand("build", "-o", filepath.Join(scratch, "downlead-window"), "./cmd/downlead")))
	step("build for Windows", simply(
		goCommand("build", "-o", scratch+string(os.PathSeparator), "./cmd/...").with("GOOS=windows", "GOARCH=amd64", "CGO_ENABLED=0")))
	step("tests", func() (string, error) { return test(ctx, out, ci, env) })
	step("window by hand", func() (string, error) {
		return "", goCommand("test", "-tags", "wholewindow", "-count=1", "-timeout=30m", "-run", "WholeWindow", "./cmd/downlead").with(env...).run(ctx, out)
	})
	step("race detector", func() (string, error) { return test(ctx, out, false, env, "-race", "-short") })
	step("fuzzing", func() (string, error) { return fuzz(ctx, out, fuzzEach) })

	return summarise(out, results, ctx.Err())
}

// formatted returns an error that names the Go files that gofmt would change.
func formatted(ctx context.Context) error {
	var rooms []string
	for _, room := range []string{"cables", "cmd", "dsp", "ui"} {
		if _, err := os.Stat(room); err == nil {
			rooms = append(rooms, room)
		}
	}
	list, err := command{args: append([]string{"gofmt", "-l"}, rooms...)}.output(ctx)
	if err != nil {
		return err
	}
	if list != "" {
		return fmt.Errorf("gofmt -w is due on %s", strings.Join(strings.Fields(list), " "))
	}
	return nil
}

// summarise prints one line a step and returns an error when any failed or the
// run was interrupted.
func summarise(out io.Writer, results []result, interrupted error) error {
	fmt.Fprintln(out, "\n=== summary")
	failed := 0
	for _, r := range results {
		word := "ok    "
		if r.err != nil {
			word = "FAILED"
			failed++
		}
		fmt.Fprintf(out, "%s  %-26s %7.1f s", word, r.name, r.took.Seconds())
		if r.note != "" {
			fmt.Fprintf(out, "  %s", r.note)
		}
		fmt.Fprintln(out)
	}
	switch {
	case interrupted != nil:
		return errors.New("interrupted")
	case failed > 0:
		return fmt.Errorf("%d of %d checks failed", failed, len(results))
	}
	fmt.Fprintln(out, "all checks passed")
	return nil
}
