package main

import (
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downlead/dsp/sweep"
)

// rawWords are the options that name the raw standards of a demo site.
func rawWords(folder string) []string {
	raw := func(name string) string { return filepath.Join(folder, "raw", name) }
	return []string{"--open", raw("open.s1p"), "--short", raw("short.s1p"), "--load", raw("load.s1p"), "--kit", raw("kit.toml")}
}

func TestCalibrateGivesTheCorrectedSweep(t *testing.T) {
	folder := demoSite(t)
	target := filepath.Join(t.TempDir(), "corrected.s1p")
	got := call(t, append([]string{"calibrate", filepath.Join(folder, "raw", "device.s1p"), "--out", target}, rawWords(folder)...)...)
	if got.status != statusPasses || got.stderr != "" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{"  CORRECTED ", "  directivity ", "  source match ", "  tracking ", "Switch the transmitter off and lock it out"} {
		if !strings.Contains(got.stdout, want) {
			t.Errorf("%q is missing in\n%s", want, got.stdout)
		}
	}
	corrected, err := sweep.Read(target)
	if err != nil {
		t.Fatal(err)
	}
	if corrected.Correction != sweep.Corrected {
		t.Errorf("the file says %v", corrected.Correction)
	}
	// The simulator made the raw sweep from the corrected one through an error
	// box that the standards define; undoing it is exact but for rounding.
	want, err := sweep.Read(filepath.Join(folder, "sweep.s1p"))
	if err != nil {
		t.Fatal(err)
	}
	for k, g := range corrected.Gamma {
		if d := cmplx.Abs(g - want.Gamma[k]); d > 1e-9 {
			t.Fatalf("point %d differs by %g", k, d)
		}
	}
	unusable(t, "downlead calibrate: "+target+" is already there; add --force to replace it, or choose another name",
		append([]string{"calibrate", filepath.Join(folder, "raw", "device.s1p"), "--out", target}, rawWords(folder)...)...)
}

func TestCalibrateRefusesSwappedStandards(t *testing.T) {
	folder := demoSite(t)
	raw := func(name string) string { return filepath.Join(folder, "raw", name) }
	target := filepath.Join(t.TempDir(), "corrected.s1p")
	got := call(t, "calibrate", raw("device.s1p"), "--open", raw("load.s1p"), "--short", raw("short.s1p"), "--load", raw("open.s1p"), "--kit", raw("kit.toml"), "--out", target)
	if got.status != statusUnusable || !strings.HasPrefix(got.stderr, "downlead calibrate: calibration refused: ") {
		t.Errorf("%+v", got)
	}
	if _, err := os.Stat(target); err == nil {
		t.Error("a file was written all the same")
	}
}

func TestCalibrateWrongCalls(t *testing.T) {
	folder := demoSite(t)
	device := filepath.Join(folder, "raw", "device.s1p")
	load := filepath.Join(folder, "raw", "load.s1p")
	target := filepath.Join(t.TempDir(), "corrected.s1p")
	unusable(t, "downlead calibrate: RAW is missing; usage: downlead calibrate RAW [options]", "calibrate")
	unusable(t, "downlead calibrate: --out is missing: say where the corrected sweep goes, for example --out corrected.s1p", "calibrate", device)
	unusable(t, "downlead calibrate: the open is missing: correcting needs --open, --short and --load", "calibrate", device, "--out", target)
	unusable(t, "downlead calibrate: --check "+load+" is one of the standards, which cannot show what they leave over; measure a second match",
		append([]string{"calibrate", device, "--out", target, "--check", load}, rawWords(folder)...)...)
	if got := call(t, append([]string{"calibrate", device + "x", "--out", target}, rawWords(folder)...)...); got.status != statusUnusable || !strings.Contains(got.stderr, device+"x") {
		t.Errorf("a missing file: %+v", got)
	}
}
