package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"downlead/dsp/simulate"
)

// demoResult simulates the demo with raw standards, once for all tests.
var demoResult = sync.OnceValues(func() (*simulate.Result, error) {
	scenario, err := simulate.Demo()
	if err != nil {
		return nil, err
	}
	scenario.Errors.Raw = true
	return simulate.Run(context.Background(), scenario)
})

// demoSite writes the demo, with raw standards, into a fresh folder.
func demoSite(t *testing.T) (folder string) {
	t.Helper()
	result, err := demoResult()
	if err != nil {
		t.Fatal(err)
	}
	folder = t.TempDir()
	if err := simulate.WriteDir(context.Background(), folder, result); err != nil {
		t.Fatal(err)
	}
	return folder
}

func TestSimulateDemo(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "site")
	got := call(t, "simulate", "--demo", "--out", folder)
	if got.status != statusPasses || got.stderr != "" || !strings.Contains(got.stdout, "\n  fault          ") {
		t.Fatalf("status %d, stdout %q, stderr %q", got.status, got.stdout, got.stderr)
	}
	text, err := os.ReadFile(filepath.Join(folder, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth simulate.Truth
	if err := json.Unmarshal(text, &truth); err != nil || len(truth.Faults) == 0 || !truth.Faults[0].Detectable {
		t.Errorf("the demo's truth: %+v, %v", truth.Faults, err)
	}
	unusable(t, "downlead simulate: "+folder+" already holds something; add --force to write into it, or choose another folder",
		"simulate", "--demo", "--out", folder)
	if again := call(t, "simulate", "--force", "--demo", "--out", folder); again.status != statusPasses {
		t.Errorf("forced: status %d, stderr %q", again.status, again.stderr)
	}
}

func TestSimulateWrongCalls(t *testing.T) {
	unusable(t, "downlead simulate: give one scenario file, or --demo for the embedded one", "simulate", "--out", "x")
	unusable(t, "downlead simulate: --out is missing: say which folder the files go to, for example --out site", "simulate", "--demo")
	unusable(t, `downlead simulate: --demo takes no scenario file, but "s.toml" is given`, "simulate", "--demo", "s.toml")
	taken := file(t, "taken", "")
	if got := call(t, "simulate", "--demo", "--out", taken); got.status != statusUnusable || !strings.HasPrefix(got.stderr, "downlead simulate: "+taken+" cannot be a folder to write into: ") {
		t.Errorf("a file for a folder: %+v", got)
	}
	broken := file(t, "broken.toml", "name = 3\n")
	if got := call(t, "simulate", broken, "--out", t.TempDir()); got.status != statusUnusable || !strings.HasPrefix(got.stderr, "downlead simulate: "+broken+":") {
		t.Errorf("a broken scenario: %+v", got)
	}
}

func TestSimulateStopsWhenAsked(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	folder := filepath.Join(t.TempDir(), "site")
	var stdout, stderr strings.Builder
	status := run(ctx, []string{"simulate", "--demo", "--out", folder}, &stdout, &stderr)
	if status != statusUnusable || stderr.String() != "downlead: stopped before the end; nothing was written\n" || stdout.String() != "" {
		t.Errorf("status %d, stderr %q, stdout %q", status, stderr.String(), stdout.String())
	}
	if _, err := os.Stat(folder); err == nil {
		t.Error("a folder was made all the same")
	}
}
