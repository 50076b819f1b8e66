package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
)

// command is a program to run in the module's root, with settings added to the
// environment.
type command struct {
	args []string
	env  []string
}

func goCommand(args ...string) command { return command{args: append([]string{"go"}, args...)} }

func (c command) with(env ...string) command {
	c.env = append(append([]string(nil), c.env...), env...)
	return c
}

// String is the command as a person would type it.
func (c command) String() string {
	return strings.Join(append(append([]string(nil), c.env...), c.args...), " ")
}

func (c command) prepare(ctx context.Context) *exec.Cmd {
	cmd := exec.CommandContext(ctx, c.args[0], c.args[1:]...)
	cmd.Env = append(os.Environ(), c.env...)
	return cmd
}

// run shows the command and what it prints.
func (c command) run(ctx context.Context, out io.Writer) error {
	fmt.Fprintf(out, "$ %s\n", c)
	cmd := c.prepare(ctx)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, out, out
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("%s: %w", c, err)
	}
	return nil
}

// output returns what the command prints to its standard output; an error
// holds what it printed to its standard error.
func (c command) output(ctx context.Context) (string, error) {
	cmd := c.prepare(ctx)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	text, err := cmd.Output()
	if err != nil {
		return string(text), fmt.Errorf("%s: %w\n%s", c, err, stderr.String())
	}
	return string(text), nil
}
