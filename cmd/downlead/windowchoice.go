package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"downlead/ui/investigation"
)

// windowChoice is what the window is opened with.
type windowChoice struct {
	sweep, line, baseline string
}

// isWindowCall says whether the words open the window: none, options alone, or
// a file in place of a verb.
func isWindowCall(args []string) bool {
	if len(args) == 0 {
		return true
	}
	if strings.HasPrefix(args[0], "-") {
		return args[0] != "-h" && args[0] != "--help"
	}
	for _, v := range verbs() {
		if v.name == args[0] {
			return false
		}
	}
	_, err := os.Stat(args[0])
	return err == nil
}

// window opens the workbench.
func window(ctx context.Context, words []string, out output) (int, error) {
	var choice windowChoice
	o := &options{verb: "window", operands: "[FILE]", about: "Opens the workbench: with a saved investigation, with a sweep and the record of its line, or,\nwithout any, with the embedded demonstration.",
		list: []option{{"line", "FILE", "the line: sections, devices, load and limits", toText(&choice.line)},
			{"baseline", "FILE", "an earlier sweep of the same line when it was healthy", toText(&choice.baseline)}}}
	operands, done, err := o.takeAny(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	switch len(operands) {
	case 0:
	case 1:
		choice.sweep = operands[0]
	default:
		return 0, fmt.Errorf("%q is one word too many; usage: %s", operands[1], o.usage())
	}
	if choice.sweep == "" && choice.baseline != "" {
		return 0, fmt.Errorf("--baseline goes with a sweep")
	}
	if choice.line+choice.baseline != "" && investigation.Is(choice.sweep) {
		return 0, fmt.Errorf("%s is an investigation, which names its own line and earlier sweep: leave those options out", choice.sweep)
	}
	return statusPasses, openWindow(ctx, choice)
}
