package main

import (
	"path/filepath"
	"strings"
	"testing"
)

func TestPlan(t *testing.T) {
	noUserCatalogue(t)
	line := filepath.Join(demoSite(t), "line.toml")
	got := call(t, "plan", "--line", line, "--resolution", "0.3m")
	if got.status != statusPasses || !strings.Contains(got.stdout, "WITHIN REACH   resolution 0.30 m, 0.30 m asked for") {
		t.Errorf("%+v", got)
	}
	// An instrument of 101 points cannot resolve 0.3 m over 65 m: with points
	// N and range D the cell is at least D/(N-1).
	got = call(t, "plan", "--points", "101", "--line", line, "--resolution", "1ft", "--feet")
	if got.status != statusFault || !strings.Contains(got.stdout, "OUT OF REACH") || !strings.Contains(got.stdout, "101 points") || !strings.Contains(got.stdout, "1.00 ft asked for") {
		t.Errorf("%+v", got)
	}
	got = call(t, "plan", "--cable", "rg-213", "--range", "30m", "--window", "hann")
	if got.status != statusPasses || !strings.Contains(got.stdout, "\n  window         hann, highest side lobe -31 dB") {
		t.Errorf("%+v", got) // -31.5 dB: Harris 1978, table 1 prints -32
	}
}

func TestPlanWrongCalls(t *testing.T) {
	noUserCatalogue(t)
	unusable(t, "downlead plan: how long is the cable? give --length, --range or a --line file", "plan", "--cable", "rg-213")
	unusable(t, "downlead plan: what line is it? give --line FILE, or --cable ID, or --velocity-factor VF", "plan", "--length", "3m")
	unusable(t, `downlead plan: --points: "1" is not a number of points; give 2 or more`, "plan", "--points", "1")
	unusable(t, `downlead plan: "site.toml" is one word too many; usage: downlead plan [options]`, "plan", "site.toml")
}
