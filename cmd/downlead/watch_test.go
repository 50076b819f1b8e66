package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"downlead/dsp/diagnose"
	"downlead/ui/batch"
)

// script is an output that does something at each line that is written to it.
type script struct {
	lock  sync.Mutex
	lines []string
	then  []func()
}

func (s *script) Write(text []byte) (int, error) {
	s.lock.Lock()
	defer s.lock.Unlock()
	s.lines = append(s.lines, string(text))
	if len(s.lines) <= len(s.then) {
		s.then[len(s.lines)-1]()
	}
	return len(text), nil
}

// The program watches, judges what comes and what changes, and ends when it is
// told to.
func TestWatch(t *testing.T) {
	site := demoSite(t)
	line := filepath.Join(site, "line.toml")
	for _, machine := range []bool{false, true} {
		folder := t.TempDir()
		put := func(from, to string) func() {
			return func() {
				copyFile(t, filepath.Join(site, from), filepath.Join(folder, to+".part"))
				if err := os.Rename(filepath.Join(folder, to+".part"), filepath.Join(folder, to)); err != nil {
					t.Error(err)
				}
			}
		}
		ctx, cancel := context.WithCancel(context.Background())
		stderr := &script{then: []func(){put("sweep.s1p", "a.s1p")}}
		stdout := &script{then: []func(){put("baseline.s1p", "b.s1p"), put("baseline.s1p", "a.s1p"), cancel}}
		words := []string{"watch", folder, "--line", line, "--quick", "--all", "--every", "10ms", "--settle", "20ms"}
		if machine {
			words = append(words, "--json")
		}
		status := run(ctx, words, stdout, stderr)
		cancel()
		if status != statusPasses || len(stdout.lines) != 3 || len(stderr.lines) != 2 ||
			stderr.lines[1] != "2 sweeps judged: 2 pass, 0 out of limit, 0 with a fault within it, 0 not usable\n" {
			t.Fatalf("status %d, %q, %q", status, stdout.lines, stderr.lines)
		}
		for i, want := range []struct {
			name    string
			outcome batch.Outcome
			text    string
		}{
			{"a.s1p", batch.OutOfLimit, "a.s1p: OUT OF LIMIT, worst VSWR 1.73 at 913.3 MHz, limit 1.50; 50.0"},
			{"b.s1p", batch.Passes, "b.s1p: PASSES, worst VSWR 1.30 at 865.125 MHz, limit 1.50; no fault found\n"},
			{"a.s1p", batch.Passes, "a.s1p: PASSES, worst VSWR 1.30 at 865.125 MHz, limit 1.50; no fault found\n"},
		} {
			if !machine {
				if !strings.HasPrefix(stdout.lines[i], want.text) || strings.Count(stdout.lines[i], "\n") != 1 {
					t.Errorf("line %d: %q", i, stdout.lines[i])
				}
				continue
			}
			var row batch.Row
			if err := json.Unmarshal([]byte(stdout.lines[i]), &row); err != nil || row.Outcome != want.outcome || filepath.Base(row.Path) != want.name {
				t.Errorf("line %d: %q", i, stdout.lines[i])
			}
		}
	}
}

func TestWatchStatus(t *testing.T) {
	site := demoSite(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	stdout := &script{then: []func(){cancel}}
	if status := run(ctx, []string{"watch", filepath.Join(site, "raw"), "--line", filepath.Join(site, "line.toml"), "--quick", "--all", "--settle", "1ms", "--every", "5ms"}, stdout, &script{}); status != statusFault {
		t.Errorf("status %d, %q", status, stdout.lines)
	}
}

func TestWatchWrongCalls(t *testing.T) {
	site := demoSite(t)
	sweepFile := filepath.Join(site, "sweep.s1p")
	unusable(t, "downlead watch: DIR is missing; usage: downlead watch DIR [options]", "watch")
	unusable(t, "downlead watch: "+sweepFile+" is no folder; a sweep alone goes to downlead locate", "watch", sweepFile)
	unusable(t, `downlead watch: --every: "3" is not a time; write for example 2s or 500ms`, "watch", site, "--every", "3")
	if got := call(t, "watch", site, "--line", sweepFile+"x"); got.status != statusUnusable || !strings.HasPrefix(got.stderr, "downlead watch: reading line: ") {
		t.Errorf("%+v", got)
	}
}

// Raw sweeps are corrected with the standards, which are none to be judged.
func TestWatchCorrectsRawSweeps(t *testing.T) {
	raw := filepath.Join(demoSite(t), "raw")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	stdout := &script{then: []func(){cancel}}
	status := run(ctx, []string{"watch", raw, "--line", filepath.Join(raw, "..", "line.toml"), "--quick", "--all", "--settle", "1ms", "--every", "5ms",
		"--open", filepath.Join(raw, "open.s1p"), "--short", filepath.Join(raw, "short.s1p"), "--load", filepath.Join(raw, "load.s1p"), "--kit", filepath.Join(raw, "kit.toml")}, stdout, &script{})
	if status != statusFault || len(stdout.lines) != 1 || !strings.HasPrefix(stdout.lines[0], "device.s1p: OUT OF LIMIT, worst VSWR 1.7") {
		t.Errorf("status %d, %q", status, stdout.lines)
	}
}

func TestRowText(t *testing.T) {
	verdict := &diagnose.Verdict{Passes: true, WorstVSWR: 1.2, AtHz: 9e8, LimitVSWR: 1.5}
	for _, one := range []struct {
		row  batch.Row
		want string
	}{
		{batch.Row{Calibration: "uncorrected"}, "NOT CALIBRATED; with the instrument's own errors in it: PASSES, worst VSWR 1.20 at 900 MHz, limit 1.50; no fault found"},
		{batch.Row{Calibration: "doubtful", Doubt: "it is short"}, "PERHAPS NOT WHOLE, it is short; as it is: CALIBRATION IN DOUBT; as it is: PASSES, worst VSWR 1.20 at 900 MHz, limit 1.50; no fault found"},
	} {
		one.row.Outcome, one.row.Verdict = batch.Passes, verdict
		if got := rowText(&one.row, inMetres); got != one.want {
			t.Errorf("%q, want %q", got, one.want)
		}
	}
	row := &batch.Row{Outcome: batch.Unusable, Problem: "a.s1p:3:1: cut off"}
	if got := rowText(row, inMetres); got != "NOT USABLE: a.s1p:3:1: cut off" {
		t.Errorf("%q", got)
	}
}
