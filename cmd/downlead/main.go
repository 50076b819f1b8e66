// Command downlead finds faults on coaxial antenna feeders from one-port
// sweeps, in a window or without a display. Each verb has a file of its own; run
// ties them together.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"strings"
	"syscall"
)

// The exit statuses.
const (
	statusPasses   = 0 // all well
	statusFault    = 1 // out of limits, or a fault found
	statusUnusable = 2 // the input could not be used
)

// verb is one thing that the program can do.
type verb struct {
	name  string
	about string // one line
	run   func(ctx context.Context, words []string, out output) (status int, err error)
}

// output is where a verb writes, and what it is answered.
type output struct {
	stdout, stderr io.Writer
	stdin          io.Reader // answers of verbs that ask
}

func verbs() []verb {
	return []verb{
		{"window", "open the workbench; so does downlead alone, or with a sweep", window},
		{"locate", "find and name the faults on a line from a sweep", locate},
		{"batch", "judge many sweeps on all cores, worst first", batchVerb},
		{"watch", "judge new sweeps as they come into a folder", watchVerb},
		{"compare", "hold two sweeps of a line against each other: did the repair work?", compareVerb},
		{"series", "find what moves in a series of sweeps of one line", seriesVerb},
		{"report", "write the findings as a PDF to send on, with figures", reportVerb},
		{"calibrate", "correct a raw sweep with its open, short and load", calibrate},
		{"plan", "choose span, points and window for a line", plan},
		{"lesson", "learn: lessons with pictures and questions", lessonVerb},
		{"blind", "practise: find faults that only the program knows", blindVerb},
		{"simulate", "make sweeps of a line with known faults", simulateVerb},
		{"cables", "search the cable catalogue, or check one of your own", cablesVerb},
		{"version", "say which build this is", version},
	}
}

func main() {
	defer func() {
		if fault := recover(); fault != nil {
			fmt.Fprintf(os.Stderr, "downlead: this is a mistake in the program, not in your files: %v\n%s", fault, debug.Stack())
			os.Exit(statusUnusable)
		}
	}()
	// A scheduler or the end of a session asks by SIGTERM, and is to find no less kept.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	args := os.Args[1:]
	if isWindowCall(args) && (hasWindow || len(args) > 0) {
		args = append([]string{"window"}, args...)
	}
	status := run(ctx, args, os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}

// run is the program: it returns the exit status.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return runAnswered(ctx, args, output{stdout, stderr, os.Stdin})
}

// runAnswered is run with the answers to what a verb asks.
func runAnswered(ctx context.Context, args []string, out output) int {
	stdout, stderr := out.stdout, out.stderr
	if len(args) == 0 {
		fmt.Fprint(stdout, usage())
		return statusPasses
	}
	name, words := args[0], args[1:]
	if name == "help" || name == "--help" || name == "-h" {
		if len(words) == 0 {
			fmt.Fprint(stdout, usage())
			return statusPasses
		}
		name, words = words[0], []string{"--help"}
	}
	var names []string
	for _, v := range verbs() {
		names = append(names, v.name)
		if v.name != name {
			continue
		}
		status, err := v.run(ctx, words, out)
		switch {
		case err == nil:
			return status
		case errors.Is(err, context.Canceled):
			fmt.Fprintln(stderr, "downlead: stopped before the end; nothing was written")
		default:
			fmt.Fprintf(stderr, "downlead %s: %v\n", name, err)
		}
		return statusUnusable
	}
	fmt.Fprintf(stderr, "downlead: there is no %q", name)
	if near := nearest(name, append(names, "help")); near != "" {
		fmt.Fprintf(stderr, "; did you mean %q?", near)
	}
	fmt.Fprintln(stderr, " (downlead help lists what there is)")
	return statusUnusable
}

func usage() string {
	var b strings.Builder
	b.WriteString("downlead finds faults on coaxial antenna feeders from one-port sweeps.\n\n")
	for _, v := range verbs() {
		fmt.Fprintf(&b, "  downlead %-10s %s\n", v.name, v.about)
	}
	b.WriteString("  downlead help VERB  the options of a verb\n")
	b.WriteString("\nExit status: 0 passes, 1 out of limits or a fault found, 2 the input could not be used.\n")
	return b.String()
}

func version(_ context.Context, words []string, out output) (int, error) {
	o := options{verb: "version", about: "Says which build this is."}
	if _, done, err := o.take(words, out); done || err != nil {
		return statusPasses, err
	}
	fmt.Fprintf(out.stdout, "downlead, %s, %s, %s/%s\n", commit(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return statusPasses, nil
}

// commit names what this build was made of.
func commit() string {
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, setting := range info.Settings {
			if setting.Key == "vcs.revision" {
				return setting.Value
			}
		}
	}
	return "unknown commit"
}
