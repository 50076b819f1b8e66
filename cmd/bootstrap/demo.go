package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
)

// demo builds the command line, writes the demo site's sweeps and locates the
// fault in them. The demo has a fault, so locate must end with status 1.
func demo(ctx context.Context, out io.Writer) error {
	folder, err := os.MkdirTemp("", "downlead-demo-")
	if err != nil {
		return err
	}
	program := filepath.Join(folder, "downlead")
	if runtime.GOOS == "windows" {
		program += ".exe"
	}
	fmt.Fprintln(out, "Only Go is needed for this; its modules are fetched on the first run.")
	if err := goCommand("build", "-o", program, "./cmd/downlead").with("CGO_ENABLED=0").run(ctx, out); err != nil {
		return err
	}
	site := filepath.Join(folder, "site")
	simulate := command{args: []string{program, "simulate", "--demo", "--out", site}}
	if err := simulate.run(ctx, out); err != nil {
		return err
	}
	fmt.Fprintln(out)
	locate := command{args: []string{program, "locate", filepath.Join(site, "sweep.s1p"), "--line", filepath.Join(site, "line.toml")}}
	err = locate.run(ctx, out)
	var exit *exec.ExitError
	switch {
	case err == nil:
		return errors.New("the demo has a fault, but none was found")
	case !errors.As(err, &exit) || exit.ExitCode() != 1:
		return err
	}
	fmt.Fprintf(out, "\nThe fault was found (exit status 1). Program and files are in %s.\n", folder)
	return nil
}

// openWindow builds the program with its window and opens it on the demo site.
func openWindow(ctx context.Context, out io.Writer) error {
	if _, err := prepare(ctx, out, windowTools()); err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "downlead-window-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	program := filepath.Join(folder, "downlead")
	if runtime.GOOS == "windows" {
		program += ".exe"
	}
	fmt.Fprintln(out, "The first build takes a minute or two.")
	if err := goCommand("build", "-o", program, "./cmd/downlead").run(ctx, out); err != nil {
		return err
	}
	return command{args: []string{program}}.run(ctx, out)
}
