package main

import (
	"strings"
	"testing"
)

func TestCablesSearch(t *testing.T) {
	noUserCatalogue(t)
	all := call(t, "cables")
	if all.status != statusPasses || !strings.Contains(all.stdout, "\nrg-213 ") || !strings.Contains(all.stdout, "\ncorrugated-7-8 ") {
		t.Errorf("status %d, stdout %q", all.status, all.stdout)
	}
	one := call(t, "cables", "rg-213", "--at", "1GHz")
	if one.status != statusPasses || !strings.HasPrefix(one.stdout, "rg-213  ") || !strings.Contains(one.stdout, "\n  source            ") {
		t.Errorf("status %d, stdout %q", one.status, one.stdout)
	}
	at := call(t, "cables", "--at", "1850MHz", "7/8")
	if head, _, _ := strings.Cut(at.stdout, "\n"); at.status != statusPasses || !strings.HasSuffix(head, "  1850 MHz") {
		t.Errorf("status %d, head %q", at.status, head)
	}
	unusable(t, `downlead cables: no cable fits "zebra hose"; fewer words find more`, "cables", "zebra", "hose")
	unusable(t, `downlead cables: --at: "1850" has no unit; write for example 1710MHz`, "cables", "--at", "1850")
}

func TestCablesLossIsOfTheLaw(t *testing.T) {
	// One attenuation point gives conductor loss alone: α grows with √f, so
	// 10 dB/100 m at 100 MHz is 20 dB/100 m at 400 MHz.
	noUserCatalogue(t)
	own := file(t, "own.toml", "[[cable]]\nid = \"own\"\nname = \"own\"\nimpedance_ohm = 50\nvelocity_factor = 0.8\nvelocity_factor_tolerance = 0.01\n"+
		"attenuation_db_per_100m = [[100e6, 10.0]]\nmax_frequency_hz = 1e9\nsource = \"invented for this test\"\n")
	if got := call(t, "cables", "--check", own); got.status != statusPasses || got.stdout != own+": 1 cable types, nothing odd\n" {
		t.Errorf("status %d, stdout %q, stderr %q", got.status, got.stdout, got.stderr)
	}
	types := readTypes(t, own)
	for hz, want := range map[float64]string{100e6: "10.00", 400e6: "20.00", 2e9: "-"} {
		if got := lossText(&types[0], hz); got != want {
			t.Errorf("loss at %g Hz: %s, want %s", hz, got, want)
		}
	}
}

func TestCablesCheck(t *testing.T) {
	odd := file(t, "odd.toml", "[[cable]]\nid = \"odd\"\nname = \"odd\"\nimpedance_ohm = 50\nvelocity_factor = 1.8\nvelocity_factor_tolerance = 0.01\nattenuation_db_per_100m = [[100e6, 10.0]]\nsource = \"invented for this test\"\n")
	got := call(t, "cables", "--check", odd)
	if got.status != statusFault || !strings.HasPrefix(got.stdout, odd+":5:1: ") || !strings.HasSuffix(got.stdout, "1 cable types, 1 values odd\n") {
		t.Errorf("status %d, stdout %q", got.status, got.stdout)
	}
	broken := file(t, "broken.toml", "[[cable]\n")
	if got := call(t, "cables", "--check", broken); got.status != statusUnusable || !strings.HasPrefix(got.stderr, "downlead cables: "+broken+":2:8: ") {
		t.Errorf("status %d, stderr %q", got.status, got.stderr)
	}
	unusable(t, "downlead cables: --check takes no search words", "cables", "rg", "--check", odd)
	if got := call(t, "cables", "--check", odd+"x"); got.status != statusUnusable || !strings.Contains(got.stderr, odd+"x") {
		t.Errorf("a missing file: status %d, stderr %q", got.status, got.stderr)
	}
}
