package simulate

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// WriteDir writes the result into dir, which it makes when it is not there:
// sweep.s1p, line.toml and truth.json; baseline.s1p when there is one; and
// raw/device.s1p, open.s1p, short.s1p, load.s1p and kit.toml when there are
// standards. Each file is replaced as a whole or not at all; truth.json comes
// last, so a folder that has it is complete.
func WriteDir(ctx context.Context, dir string, r *Result) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("writing the simulation: %w", err)
	}
	type output struct {
		name  string
		write func(path string) error
	}
	touchstone := func(name string, s *sweep.Sweep) output {
		return output{name, func(path string) error { return sweep.WriteFile(path, s, sweep.WriteOptions{}) }}
	}
	files := []output{touchstone("sweep.s1p", r.Sweep), {"line.toml", func(path string) error { return cables.WriteLine(path, r.Line) }}}
	if r.Baseline != nil {
		files = append(files, touchstone("baseline.s1p", r.Baseline))
	}
	if s := r.Standards; s != nil {
		if err := os.MkdirAll(filepath.Join(dir, "raw"), 0o777); err != nil {
			return fmt.Errorf("writing the simulation: %w", err)
		}
		files = append(files, touchstone("raw/device.s1p", s.Device), touchstone("raw/open.s1p", s.Open),
			touchstone("raw/short.s1p", s.Short), touchstone("raw/load.s1p", s.Load),
			output{"raw/kit.toml", func(path string) error {
				return sweep.ReplaceFile(path, func(w io.Writer) error { return s.Kit.Encode(w) })
			}})
	}
	files = append(files, output{"truth.json", func(path string) error {
		text, err := json.MarshalIndent(r.Truth, "", " ")
		if err != nil {
			return fmt.Errorf("writing the truth: %w", err)
		}
		return sweep.ReplaceFile(path, func(w io.Writer) error {
			_, err := w.Write(append(text, '\n'))
			return err
		})
	}})
	for _, f := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := f.write(filepath.Join(dir, filepath.FromSlash(f.name))); err != nil {
			return err
		}
	}
	return nil
}

// Encode writes the kit as TOML with its formulas in the head.
func (k Kit) Encode(w io.Writer) error {
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	mirror := func(name, letter string, c [4]float64, o Offset) string {
		text := "\n[" + name + "]\n"
		for i, v := range c {
			text += fmt.Sprintf("%s%d = %s\n", letter, i, number(v))
		}
		return text + fmt.Sprintf("delay_ps = %s\nz0 = %s\nloss = %s\n", number(o.DelayS*1e12), decimal(o.OffsetOhm), number(o.LossOhmPerS/1e9))
	}
	_, err := io.WriteString(w, `# Definitions of the calibration standards.
# open:  C(f) = c0 + c1 f + c2 f^2 + c3 f^3   (F, F/Hz, F/Hz^2, F/Hz^3; f in Hz)
# short: L(f) = l0 + l1 f + l2 f^2 + l3 f^3   (H, H/Hz, H/Hz^2, H/Hz^3)
# offset line: one-way delay_ps, z0 ohm, loss Gohm/s at 1 GHz:
#   al = loss*delay/(2 z0)*sqrt(f/1GHz); gamma*l = al + j(2 pi f delay + al);
#   Zc = z0 + (1-j)*loss/(4 pi f)*sqrt(f/1GHz)
# load:  resistance (ohm) in series with inductance (H), no offset
`+mirror("open", "c", k.OpenFarad, k.Open)+mirror("short", "l", k.ShortHenry, k.Short)+
		fmt.Sprintf("\n[load]\nresistance = %s\ninductance = %s\n", decimal(k.LoadOhm), number(k.LoadHenry)))
	return err
}

// decimal is a number that TOML reads as a float.
func decimal(v float64) string {
	text := strconv.FormatFloat(v, 'f', -1, 64)
	if v == float64(int64(v)) {
		text += ".0"
	}
	return text
}
