package main

import (
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
)

func TestLocateFindsTheDemosFault(t *testing.T) {
	folder := demoSite(t)
	result, err := demoResult()
	if err != nil {
		t.Fatal(err)
	}
	truth := result.Truth.Faults[0]
	words := []string{"--line", filepath.Join(folder, "line.toml"), "--json"}
	for name, more := range map[string][]string{
		"as it is":           {filepath.Join(folder, "sweep.s1p")},
		"with a baseline":    {filepath.Join(folder, "sweep.s1p"), "--baseline", filepath.Join(folder, "baseline.s1p")},
		"half the points":    {filepath.Join(folder, "sweep.s1p"), "--points", "500"},
		"in a band":          {filepath.Join(folder, "sweep.s1p"), "--band", "100MHz..1.1GHz", "--range", "60m"},
		"raw with standards": append([]string{filepath.Join(folder, "raw", "device.s1p")}, rawWords(folder)...),
	} {
		got := call(t, slices.Concat([]string{"locate"}, words, more)...)
		if got.status != statusFault || got.stderr != "" {
			t.Errorf("%s: status %d, stderr %q", name, got.status, got.stderr)
			continue
		}
		var findings diagnose.Findings
		if err := json.Unmarshal([]byte(got.stdout), &findings); err != nil {
			t.Fatal(err)
		}
		found := slices.ContainsFunc(findings.Findings, func(f diagnose.Finding) bool {
			return f.IsFault && math.Abs(f.DistanceM-truth.DistanceM) < 0.3
		})
		if !found {
			t.Errorf("%s: no fault near %.2f m in\n%s", name, truth.DistanceM, got.stdout)
		}
	}
}

func TestLocateExplainsOnRequest(t *testing.T) {
	folder := demoSite(t)
	words := []string{"locate", filepath.Join(folder, "sweep.s1p"), "--line", filepath.Join(folder, "line.toml")}
	got := call(t, append(words, "--explain", "1")...)
	if got.status != statusFault || got.stderr != "" || !strings.Contains(got.stdout, "── How fault 1 was found and named ") {
		t.Errorf("status %d, stderr %q, stdout\n%s", got.status, got.stderr, got.stdout)
	}
	if got = call(t, words...); strings.Contains(got.stdout, "was found and named") {
		t.Error("explained without being asked")
	}
}

func TestLocatePassesTheHealthyLine(t *testing.T) {
	folder := demoSite(t)
	got := call(t, "locate", filepath.Join(folder, "baseline.s1p"), "--line", filepath.Join(folder, "line.toml"))
	if got.status != statusPasses || got.stderr != "" || !strings.Contains(got.stdout, "\n  WITHIN LIMIT   ") || !strings.Contains(got.stdout, "\n  NO FAULT       ") {
		t.Errorf("status %d, stderr %q, stdout\n%s", got.status, got.stderr, got.stdout)
	}
}

func TestLocateStopsWhenAsked(t *testing.T) {
	folder := demoSite(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stdout, stderr strings.Builder
	status := run(ctx, []string{"locate", filepath.Join(folder, "sweep.s1p"), "--line", filepath.Join(folder, "line.toml")}, &stdout, &stderr)
	if status != statusUnusable || stderr.String() != "downlead: stopped before the end; nothing was written\n" || stdout.String() != "" {
		t.Errorf("status %d, stderr %q, stdout %q", status, stderr.String(), stdout.String())
	}
}

// Machines rely on every key being there and on lists never being null.
func TestLocateJSONKeepsItsForm(t *testing.T) {
	folder := demoSite(t)
	got := call(t, "locate", "--json", filepath.Join(folder, "sweep.s1p"), "--line", filepath.Join(folder, "line.toml"))
	var whole struct {
		Schema   string           `json:"schema"`
		RuntimeS float64          `json:"runtime_s"`
		Verdict  map[string]any   `json:"verdict"`
		Findings []map[string]any `json:"findings"`
	}
	if err := json.Unmarshal([]byte(got.stdout), &whole); err != nil {
		t.Fatalf("%v in %s", err, got.stdout)
	}
	if whole.Schema != "downlead/findings/1" || !(whole.RuntimeS > 0) || len(whole.Findings) == 0 {
		t.Errorf("schema %q, runtime %g s, %d findings", whole.Schema, whole.RuntimeS, len(whole.Findings))
	}
	for _, key := range []string{"passes", "worst_vswr", "at_hz", "limit_vswr"} {
		if _, has := whole.Verdict[key]; !has {
			t.Errorf("the verdict lacks %s", key)
		}
	}
	for i, f := range whole.Findings {
		for _, key := range []string{"distance_m", "sigma_m", "extent_m", "cause", "confidence", "return_loss_db", "is_fault", "ghost_of", "from_far_end_m", "extent_sigma_m"} {
			if _, has := f[key]; !has {
				t.Errorf("finding %d lacks %s", i, key)
			}
		}
		for _, key := range []string{"alternatives", "evidence", "checks", "take_along", "cautions", "explanation"} {
			if _, list := f[key].([]any); !list {
				t.Errorf("finding %d: %s is %v, want a list", i, key, f[key])
			}
		}
		if ghost := f["cause"] == "ghost"; ghost != (f["ghost_of"] != nil) {
			t.Errorf("finding %d: cause %v with ghost_of %v", i, f["cause"], f["ghost_of"])
		}
	}
}

// With --feet no length is left in metres, in the reasoning neither; figures per
// metre of the trade stay.
func TestLocateInFeet(t *testing.T) {
	folder := demoSite(t)
	got := call(t, "locate", filepath.Join(folder, "sweep.s1p"), "--line", filepath.Join(folder, "line.toml"), "--feet", "--explain", "1")
	if left := regexp.MustCompile(`(?m)^.*[0-9] m\b.*$`).FindAllString(got.stdout, -1); len(left) > 0 || !strings.Contains(got.stdout, "164.0") {
		t.Errorf("metres are left, or the fault at 164.0 ft is missing: %q\n%s", left, got.stdout)
	}
}

func TestLocateRawSweepIsLoud(t *testing.T) {
	folder := demoSite(t)
	got := call(t, "locate", filepath.Join(folder, "raw", "device.s1p"), "--line", filepath.Join(folder, "line.toml"))
	if got.status == statusUnusable || !strings.Contains(got.stdout, "█ NOT CALIBRATED.") {
		t.Errorf("status %d, stderr %q, stdout\n%s", got.status, got.stderr, got.stdout)
	}
}

func TestLocateWithoutALineFile(t *testing.T) {
	noUserCatalogue(t)
	folder := demoSite(t)
	path := filepath.Join(folder, "sweep.s1p")
	for _, words := range [][]string{
		{"--cable", "corrugated-7-8", "--length", "52m"},
		{"--cable", "corrugated-7-8"},
		{"--velocity-factor", "0.88", "--range", "80m", "--ascii", "--feet", "--window", "taylor:40"},
	} {
		got := call(t, append([]string{"locate", path}, words...)...)
		if got.status == statusUnusable || !strings.Contains(got.stdout, "NO LIMIT") {
			t.Errorf("%q: status %d, stderr %q, stdout\n%s", words, got.status, got.stderr, got.stdout)
		}
	}
}

func TestLocateWrongCalls(t *testing.T) {
	noUserCatalogue(t)
	folder := demoSite(t)
	path, line := filepath.Join(folder, "sweep.s1p"), filepath.Join(folder, "line.toml")
	for _, c := range []struct {
		want  string
		words []string
	}{
		{"SWEEP is missing; usage: downlead locate SWEEP [options]", nil},
		{"what line is it? give --line FILE, or --cable ID, or --velocity-factor VF", []string{path}},
		{"give one of --line, --cable and --velocity-factor", []string{path, "--line", line, "--cable", "rg-213"}},
		{"--length goes with --cable or --velocity-factor; a line file has its own lengths", []string{path, "--line", line, "--length", "3m"}},
		{`--cable: the catalogue has no "zebra"; downlead cables WORDS searches it`, []string{path, "--cable", "zebra"}},
		{`--velocity-factor: "88" is not a velocity factor; write for example 0.88`, []string{path, "--velocity-factor", "88"}},
		{`--points: "many" is not a number of points; give 16 or more`, []string{path, "--points", "many"}},
		{`--explain: "b" is not the number of a fault; the report counts them from 1`, []string{path, "--explain", "b"}},
		{`--explain: "0" is not the number of a fault; the report counts them from 1`, []string{path, "--explain", "0"}},
		{"--explain goes with the text report; --json holds the explanation of every finding", []string{path, "--explain", "1", "--json"}},
		{`--window: no window is called "round"; there are kaiser, rectangular, hann, hamming, blackman, blackman-harris, nuttall, flat-top, dolph-chebyshev, taylor`, []string{path, "--window", "round"}},
		{"--window: the hann window takes no parameter", []string{path, "--window", "hann:3"}},
		{`--window: "x" is not a number; write for example kaiser:6 or taylor:40`, []string{path, "--window", "kaiser:x"}},
		{"the short is missing: correcting needs --open, --short and --load", []string{path, "--line", line, "--open", path}},
	} {
		unusable(t, "downlead locate: "+c.want, append([]string{"locate"}, c.words...)...)
	}
	for _, words := range [][]string{
		{path + "x", "--line", line},
		{path, "--line", line + "x"},
		{path, "--line", line, "--baseline", path + "x"},
		{path, "--line", line, "--band", "5GHz..6GHz"},
		{line, "--line", line},
		{path, "--line", path},
	} {
		if got := call(t, append([]string{"locate"}, words...)...); got.status != statusUnusable || got.stdout != "" || !strings.HasPrefix(got.stderr, "downlead locate: ") {
			t.Errorf("%q: %+v", words, got)
		}
	}
}

func TestScalarSweepIsHeldAgainstTheLimitOnly(t *testing.T) {
	line := filepath.Join(demoSite(t), "line.toml") // limit VSWR 1.5 in 824 to 960 MHz
	good := file(t, "good.csv", "frequency MHz,VSWR\n800,3\n820,1.2\n900,1.4\n960,1.3\n")
	got := call(t, "locate", good, "--line", line)
	if got.status != statusPasses || !strings.Contains(got.stdout, "WITHIN LIMIT   worst VSWR 1.40 at 900 MHz, limit 1.50") || !strings.Contains(got.stdout, "NO DISTANCE") {
		t.Errorf("%+v", got)
	}
	bad := file(t, "bad.csv", "frequency MHz,VSWR\n820,1.2\n900,1.6\n960,1.3\n")
	if got := call(t, "locate", bad, "--line", line); got.status != statusFault || !strings.Contains(got.stdout, "OUT OF LIMIT   worst VSWR 1.60 at 900 MHz") {
		t.Errorf("%+v", got)
	}
	unusable(t, "downlead locate: "+bad+": this sweep has no phase, so it can only be held against a limit; give the --line that states one", "locate", bad, "--cable", "rg-213")
}

func TestThinned(t *testing.T) {
	s := &sweep.Sweep{ReferenceOhm: 50}
	for k := range 101 {
		s.FrequencyHz = append(s.FrequencyHz, float64(k+1))
		s.Gamma = append(s.Gamma, complex(float64(k), 0))
		s.ErrorFloor = append(s.ErrorFloor, float64(k))
	}
	thin := thinned(s, 51)
	if n := len(thin.FrequencyHz); n != 51 || len(thin.Gamma) != n || len(thin.ErrorFloor) != n || thin.FrequencyHz[50] != 101 || thin.Gamma[1] != 2 {
		t.Errorf("%d points, %v", n, thin)
	}
	if thinned(s, 0) != s || thinned(s, 100) != s {
		t.Error("a sweep that needs no thinning was copied")
	}
	if len(s.FrequencyHz) != 101 {
		t.Error("the sweep itself was changed")
	}
}
