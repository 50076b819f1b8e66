// Command bootstrap prepares a fresh machine and then works: "demo" runs the
// main job on the embedded demo, "window" opens the workbench on it, "test" passes
// every check of the project. It needs Go and the standard library only, and says
// each thing that it does.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"
)

const usage = `usage: go run ./cmd/bootstrap demo
       go run ./cmd/bootstrap window
       go run ./cmd/bootstrap test [--fuzz 10s]

demo   builds the command line and runs it on the embedded demo site
window installs what building the window needs, builds the program, and opens
       the window on the embedded demo site
test   installs what the tests need (Debian and Ubuntu; elsewhere it says what is
       missing), then: gofmt, go vet, staticcheck, builds without cgo and for Windows,
       all tests, the window by keyboard and mouse, the tests under the race detector,
       a short fuzz of every parser
       With CI=true a missing outside tool or a skipped test fails the run.
`

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout))
}

// run returns the exit status: 0 all well, 1 something failed, 2 a wrong call.
func run(ctx context.Context, args []string, out io.Writer) int {
	if len(args) == 0 {
		fmt.Fprint(out, usage)
		return 2
	}
	var err error
	switch verb, rest := args[0], args[1:]; {
	case verb == "demo" && len(rest) == 0:
		err = demo(ctx, out)
	case verb == "window" && len(rest) == 0:
		err = openWindow(ctx, out)
	case verb == "test" && len(rest) == 0:
		err = check(ctx, out, 10*time.Second)
	case verb == "test" && len(rest) == 2 && rest[0] == "--fuzz":
		var each time.Duration
		if each, err = time.ParseDuration(rest[1]); err != nil || each <= 0 {
			fmt.Fprintf(out, "--fuzz %s: give a time such as 10s or 2m\n", rest[1])
			return 2
		}
		err = check(ctx, out, each)
	default:
		fmt.Fprint(out, usage)
		return 2
	}
	if err != nil {
		fmt.Fprintln(out, err)
		return 1
	}
	return 0
}
