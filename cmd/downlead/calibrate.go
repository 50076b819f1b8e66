package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"downlead/dsp/sweep"
)

// calibrate corrects a raw sweep and writes it.
func calibrate(_ context.Context, words []string, out output) (int, error) {
	var files standardFiles
	var target string
	var force bool
	o := options{verb: "calibrate", operands: "RAW",
		about: "Corrects the raw sweep RAW with its open, short and load, says what the checks of the\nstandards found, and writes the corrected sweep. Exit status 1: written, but in doubt.",
		list: append(files.options(),
			option{"out", "FILE", "where the corrected sweep goes, a .s1p file", toText(&target)},
			option{"force", "", "replace a file that is already there", toSwitch(&force)})}
	operands, done, err := o.take(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	if target == "" {
		return 0, errors.New("--out is missing: say where the corrected sweep goes, for example --out corrected.s1p")
	}
	if err := mayWrite(target, force, operands[0], files.open, files.short, files.load, files.kit, files.check); err != nil {
		return 0, err
	}
	raw, err := sweep.Read(operands[0])
	if err != nil {
		return 0, err
	}
	corrected, terms, err := files.correct(raw)
	if err != nil {
		return 0, err
	}
	if err := sweep.WriteFile(target, corrected, sweep.WriteOptions{OnePort: true}); err != nil {
		return 0, err
	}

	f := corrected.FrequencyHz
	p := &page{}
	p.text("", fmt.Sprintf("%s: %d points from %s to %s, corrected with %s", target, len(f), frequencyText(f[0]), frequencyText(f[len(f)-1]),
		strings.Join([]string{filepath.Base(files.open), filepath.Base(files.short), filepath.Base(files.load)}, ", ")))
	calibrationReport(p, corrected, terms)
	p.cautions()
	if _, err := io.WriteString(out.stdout, p.String()); err != nil {
		return 0, err
	}
	if corrected.Correction == sweep.Doubtful {
		return statusFault, nil
	}
	return statusPasses, nil
}
