package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"downlead/dsp/simulate"
)

// simulateVerb makes the sweeps of a scenario and writes them into a folder.
func simulateVerb(ctx context.Context, words []string, out output) (int, error) {
	var folder string
	var demo, force bool
	o := options{verb: "simulate", operands: "[SCENARIO]",
		about: "Sweeps the line of a scenario file with its faults and the instrument's errors, and writes\nsweep.s1p, line.toml and truth.json into a folder; a baseline and raw standards if asked for.",
		list: []option{
			{"out", "DIR", "the folder, made when it is not there", toText(&folder)},
			{"demo", "", "the embedded demo site in place of a scenario file", toSwitch(&demo)},
			{"force", "", "write into a folder that holds something", toSwitch(&force)},
		}}
	operands, done, err := o.takeAny(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	var scenario *simulate.Scenario
	switch {
	case demo && len(operands) > 0:
		return 0, fmt.Errorf("--demo takes no scenario file, but %q is given", operands[0])
	case !demo && len(operands) != 1:
		return 0, errors.New("give one scenario file, or --demo for the embedded one")
	case folder == "":
		return 0, errors.New("--out is missing: say which folder the files go to, for example --out site")
	}
	if err := mayFill(folder, force); err != nil {
		return 0, err
	}
	if demo {
		scenario, err = simulate.Demo()
	} else {
		scenario, err = simulate.ReadScenario(operands[0])
	}
	if err != nil {
		return 0, err
	}
	finished := working(out.stderr, "simulating")
	result, err := simulate.Run(ctx, scenario)
	finished()
	if err != nil {
		return 0, err
	}
	if err := simulate.WriteDir(ctx, folder, result); err != nil {
		return 0, err
	}
	_, err = io.WriteString(out.stdout, simulationReport(folder, scenario, result))
	return statusPasses, err
}

func simulationReport(folder string, scenario *simulate.Scenario, result *simulate.Result) string {
	p := &page{}
	f := result.Sweep.FrequencyHz
	p.text("", fmt.Sprintf("%s: %d points from %s to %s", scenario.Name, len(f), frequencyText(f[0]), frequencyText(f[len(f)-1])))
	files := []string{"sweep.s1p", "line.toml"}
	if result.Baseline != nil {
		files = append(files, "baseline.s1p")
	}
	if result.Standards != nil {
		files = append(files, "raw/ (device, open, short, load, kit)")
	}
	p.text("  written        ", fmt.Sprintf("%s: %s, truth.json", folder, strings.Join(files, ", ")))
	for _, fault := range result.Truth.Faults {
		where := inMetres.text(fault.DistanceM)
		if fault.ExtentM > 0 {
			where = fmt.Sprintf("%s to %s", inMetres.number(fault.DistanceM), inMetres.text(fault.DistanceM+fault.ExtentM))
		}
		seen := "this sweep can show it"
		if !fault.Detectable {
			seen = "too small for this sweep to show"
		}
		p.text("  fault          ", fmt.Sprintf("%s at %s; %s", strings.ReplaceAll(fault.Cause, "-", " "), where, seen))
	}
	if len(result.Truth.Faults) == 0 {
		p.text("  fault          ", "none: the line is healthy")
	}
	return p.String()
}

// mayFill refuses a folder that holds something, unless force.
func mayFill(folder string, force bool) error {
	entries, err := os.ReadDir(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%s cannot be a folder to write into: %w", folder, err)
	case len(entries) == 0 || force:
		return nil
	}
	return fmt.Errorf("%s already holds something; add --force to write into it, or choose another folder", folder)
}
