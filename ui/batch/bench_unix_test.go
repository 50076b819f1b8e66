//go:build unix

package batch

import (
	"context"
	"fmt"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"downlead/dsp/simulate"
)

// BenchmarkSweeps judges sweeps of 1001 points, files and all, on one core: of
// the demonstration's line of four parts and an antenna, with its fault and without,
// and of a line of one section. It reports sweeps a second of processor time.
func BenchmarkSweeps(b *testing.B) {
	demo, err := simulate.Demo()
	if err != nil {
		b.Fatal(err)
	}
	plain, err := simulate.Demo()
	if err != nil {
		b.Fatal(err)
	}
	plain.Line.Sections, plain.Line.Devices = plain.Line.Sections[1:2], nil
	plain.Line.Load.Kind, plain.Line.Load.BandHz, plain.Line.Load.ReturnLossDB = "termination", [2]float64{}, 30
	plain.Faults = nil
	for name, scenario := range map[string]*simulate.Scenario{"demo": demo, "plain": plain} {
		result, err := simulate.Run(b.Context(), scenario)
		if err != nil {
			b.Fatal(err)
		}
		folder := b.TempDir()
		if err := simulate.WriteDir(b.Context(), folder, result); err != nil {
			b.Fatal(err)
		}
		for _, file := range []string{"sweep.s1p", "baseline.s1p"} {
			if file == "baseline.s1p" && result.Baseline == nil {
				continue
			}
			for _, quick := range []bool{true, false} {
				b.Run(fmt.Sprintf("%s/%s/quick=%t", name, file, quick), func(b *testing.B) {
					j := &Judge{LineFile: filepath.Join(folder, "line.toml"), Quick: quick}
					begun := processorTime(b)
					for b.Loop() {
						if row := j.Sweep(context.Background(), filepath.Join(folder, file)); row.Outcome == Unusable {
							b.Fatal(row.Problem)
						}
					}
					b.ReportMetric(float64(b.N)/(processorTime(b)-begun).Seconds(), "sweeps/s")
				})
			}
		}
	}
}

// processorTime is what this process has used of it.
func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
