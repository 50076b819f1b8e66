package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downlead/dsp/diagnose"
)

// The demonstration both ways: repaired, and broken.
func TestCompareTheDemo(t *testing.T) {
	folder := demoSite(t)
	in := func(name string) string { return filepath.Join(folder, name) }
	got := call(t, "compare", in("sweep.s1p"), in("baseline.s1p"), "--line", in("line.toml"), "--ascii")
	for _, want := range []string{"REPAIRED?      yes", "GONE", "water in a connector is gone", "WITHIN", "Switch the transmitter off"} {
		if !strings.Contains(strings.ToUpper(got.stdout), strings.ToUpper(want)) {
			t.Errorf("%q is missing in\n%s", want, got.stdout)
		}
	}
	if got.status != statusPasses || got.stderr != "" {
		t.Errorf("status %d, stderr %q", got.status, got.stderr)
	}
	got = call(t, "compare", in("baseline.s1p"), in("sweep.s1p"), "--line", in("line.toml"), "--json")
	var c diagnose.Comparison
	if err := json.Unmarshal([]byte(got.stdout), &c); err != nil {
		t.Fatalf("%v in %s", err, got.stdout)
	}
	if got.status != statusFault || c.Schema != "downlead/comparison/1" || c.Repair != diagnose.CannotBeSaid || len(c.Entries) != 1 || c.Entries[0].Kind != diagnose.EntryNew || c.Warnings == nil {
		t.Errorf("status %d, %+v", got.status, c)
	}
}

// What cannot be compared ends with status 2 and says by how much it fails.
func TestCompareRefuses(t *testing.T) {
	folder := demoSite(t)
	in := func(name string) string { return filepath.Join(folder, name) }
	text, err := os.ReadFile(in("baseline.s1p"))
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.SplitAfter(string(text), "\n")
	narrow := in("narrow.s1p")
	if err := os.WriteFile(narrow, []byte(strings.Join(rows[:300], "")), 0o666); err != nil {
		t.Fatal(err)
	}
	got := call(t, "compare", in("sweep.s1p"), narrow, "--line", in("line.toml"))
	if got.status != statusUnusable || !strings.Contains(got.stdout, "REPAIRED?      cannot be said") || !strings.Contains(strings.Join(strings.Fields(got.stdout), " "), "too little in common to compare (60 % of the band are needed)") {
		t.Errorf("%+v", got)
	}
	unusable(t, "downlead compare: AFTER is missing; usage: downlead compare BEFORE AFTER [options]", "compare", in("sweep.s1p"))
	unusable(t, "downlead compare: what line is it? give --line FILE, or --cable ID, or --velocity-factor VF", "compare", in("sweep.s1p"), in("baseline.s1p"))
	scalar := file(t, "scalar.csv", "frequency_hz,vswr\n1e8,1.2\n2e8,1.3\n3e8,1.2\n")
	if got := call(t, "compare", in("sweep.s1p"), scalar, "--line", in("line.toml")); got.status != statusUnusable || !strings.Contains(got.stderr, "a comparison needs the phase of both") {
		t.Errorf("%+v", got)
	}
}
