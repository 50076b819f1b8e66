package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"downlead/cables"
	"downlead/dsp/series"
	"downlead/dsp/sweep"
)

// tapped writes a series of the demonstration's healthy line, each point with
// noise of −80 dB, in which the reflection at atM changes by change of the number of
// the sweep, from 0. The names sort by number, not by letter.
func tapped(t *testing.T, count int, atM float64, change func(k int) float64) (folder, line string) {
	t.Helper()
	site := demoSite(t)
	line = filepath.Join(site, "line.toml")
	base, err := sweep.Read(filepath.Join(site, "baseline.s1p"))
	if err != nil {
		t.Fatal(err)
	}
	record, err := cables.ReadLine(line)
	if err != nil {
		t.Fatal(err)
	}
	path, err := record.Path()
	if err != nil {
		t.Fatal(err)
	}
	folder = t.TempDir()
	rng := rand.New(rand.NewPCG(1, 1))
	for k := range count {
		s := *base
		s.Gamma = slices.Clone(base.Gamma)
		s.Comments = []string{fmt.Sprintf(" swept 2026-04-02 09:%02d:30", 10+k)}
		for i, hz := range s.FrequencyHz {
			s.Gamma[i] += complex(7e-5*rng.NormFloat64(), 7e-5*rng.NormFloat64()) + complex(change(k), 0)*cmplx.Exp(-2*path.Theta(hz, atM))
		}
		if err := sweep.WriteFile(filepath.Join(folder, fmt.Sprintf("tap%d.s1p", k+1)), &s, sweep.WriteOptions{}); err != nil {
			t.Fatal(err)
		}
	}
	return folder, line
}

func TestSeries(t *testing.T) {
	folder, line := tapped(t, 12, 30, func(k int) float64 { return map[int]float64{4: 5e-3, 9: 2e-3}[k] })
	if err := os.WriteFile(filepath.Join(folder, "broken.s1p"), []byte("# Hz S RI R 50\n1e6"), 0o666); err != nil {
		t.Fatal(err)
	}
	got := call(t, "series", folder, "--line", line)
	if got.status != statusFault || got.stderr != "" {
		t.Fatalf("%+v", got)
	}
	for _, want := range []string{
		"12 sweeps of 1001 points from 25 MHz to 1200 MHz, by the times in the files' comments\n",
		"from 2026-04-02 09:10:30 to 2026-04-02 09:21:30\n",
		"\n  MOVES 1        30.0", ": loose contact; in feeder\n",
		"away from rest in 2 sweeps: 5 (09:14:30), 10 (09:19:30)\n",
		"before 4 sweeps: 5 (09:14:30), 6 (09:15:30), 10 (09:19:30), 11 (09:20:30)\n",
		"  course        ▁▁▁▁█▁▁▁▁▄▁▁\n",
		"left out: ", "── Before anybody touches the line ",
	} {
		if !strings.Contains(got.stdout, want) {
			t.Errorf("%q is missing in\n%s", want, got.stdout)
		}
	}
	for _, row := range strings.Split(got.stdout, "\n") {
		if len([]rune(row)) > 100 {
			t.Errorf("%d columns: %s", len([]rune(row)), row)
		}
	}
	if got := call(t, "series", folder, "--line", line, "--ascii", "--feet"); got.status != statusFault || strings.ContainsFunc(got.stdout, func(r rune) bool { return r > 126 }) ||
		strings.Contains(got.stdout, "?") || !strings.Contains(got.stdout, " ft: loose contact") {
		t.Errorf("%+v", got)
	}

	got = call(t, "series", folder, "--line", line, "--json", "--band", "25MHz..1.1GHz")
	var whole struct {
		series.Result
		Files     []string
		Times     []time.Time
		TimesFrom string `json:"times_from"`
	}
	if err := json.Unmarshal([]byte(got.stdout), &whole); err != nil || got.status != statusFault {
		t.Fatalf("%v, %+v", err, got)
	}
	if p := whole.Places; whole.Schema != series.Schema || len(p) != 1 || math.Abs(p[0].DistanceM-30) > 0.05 || p[0].Motion != series.Jumps || len(p[0].Trace) != 12 ||
		math.Abs(p[0].PeakDB-20*math.Log10(5e-3)) > 0.5 {
		t.Errorf("%+v", p)
	}
	if len(whole.Files) != 12 || filepath.Base(whole.Files[9]) != "tap10.s1p" || len(whole.Times) != 12 || whole.TimesFrom != "the times in the files' comments" {
		t.Errorf("%q, %v, %s", whole.Files, whole.Times, whole.TimesFrom)
	}
}

func TestSeriesSteady(t *testing.T) {
	folder, line := tapped(t, 6, 30, func(int) float64 { return 0 })
	got := call(t, "series", folder, "--line", line)
	if got.status != statusPasses || got.stderr != "" || !strings.Contains(got.stdout, "\n  STEADY         no place along the line moves beyond the noise\n") {
		t.Errorf("%+v", got)
	}
}

func TestSeriesWrongCalls(t *testing.T) {
	site := demoSite(t)
	line, one := filepath.Join(site, "line.toml"), filepath.Join(site, "sweep.s1p")
	unusable(t, "downlead series: say which sweeps: a folder, or sweep files; usage: downlead series SWEEP...|DIR [options]", "series")
	unusable(t, "downlead series: 2 sweeps are no series: noise and motion can be told apart from 4 on", "series", one, filepath.Join(site, "baseline.s1p"), "--line", line)
	broken := file(t, "broken.s1p", "# Hz S RI R 50\n1e6")
	unusable(t, "downlead series: only 1 of 2 sweeps can be used, and a series needs 4: "+broken+":2:1: the line ends after 1 of 3 numbers: the file looks cut off or its lines are wrapped; export the sweep again",
		"series", one, broken, "--line", line)
}

func TestTimeIn(t *testing.T) {
	for text, want := range map[string]string{
		"swept 2026-04-02 09:14:30 by the van":   "2026-04-02T09:14:30Z",
		"2026-04-02T09:14:30.25+02:00":           "2026-04-02T07:14:30.25Z",
		"2026-04-02T09:14:30-0330":               "2026-04-02T12:44:30Z",
		"mast7_20260402-091430.s1p":              "2026-04-02T09:14:30Z",
		"2026_04_02 09.14.30":                    "2026-04-02T09:14:30Z",
		"20261302-091430 20260402-091430":        "2026-04-02T09:14:30Z", // there is no month 13
		"2026-02-30 09:14:30, 2026-04-02 9:14":   "",
		"serial 1234567890123":                   "",
		"2026-04-02 24:00:00 2026-04-02 10:60:1": "",
	} {
		at, has := timeIn(text)
		if got := at.UTC().Format(time.RFC3339Nano); has != (want != "") || has && got != want {
			t.Errorf("%q: %s, %t, want %s", text, got, has, want)
		}
	}
}

// The order and where it comes from.
func TestOrder(t *testing.T) {
	folder := t.TempDir()
	list := func(names ...string) (out []timed) {
		for i, name := range names {
			path := filepath.Join(folder, name)
			if err := os.WriteFile(path, nil, 0o666); err != nil {
				t.Fatal(err)
			}
			at := time.Date(2026, 4, 2, 9, 60-i, 0, 0, time.UTC)
			if err := os.Chtimes(path, at, at); err != nil {
				t.Fatal(err)
			}
			out = append(out, timed{path: path, sweep: &sweep.Sweep{}})
		}
		return out
	}
	names := func(list []timed) (out []string) {
		for _, t := range list {
			out = append(out, filepath.Base(t.path))
		}
		return out
	}
	a := list("s10", "s9", "s2") // changed in the order s2, s9, s10
	if from := order(a); !strings.HasPrefix(from, "the order of the names, and the times") || !slices.Equal(names(a), []string{"s2", "s9", "s10"}) || a[0].at.IsZero() {
		t.Errorf("%s: %q", from, names(a))
	}
	a = list("s2", "s9", "s10") // changed the other way round
	if from := order(a); from != "the order of the names; times are not known" || !slices.Equal(names(a), []string{"s2", "s9", "s10"}) || !a[0].at.IsZero() {
		t.Errorf("%s: %q", from, names(a))
	}
	a = list("b 20260402-0900", "a 20260402-090000", "b 20260402-080000")[1:]
	if from := order(a); from != "the times in the files' names" || !slices.Equal(names(a), []string{"b 20260402-080000", "a 20260402-090000"}) {
		t.Errorf("%s: %q", from, names(a))
	}
	a = list("a 20260402-090000", "b 20260402-100000")
	a[0].sweep.Comments, a[1].sweep.Comments = []string{"x", "2026-04-02 12:00:00"}, []string{"2026-04-02 11:00:00"}
	if from := order(a); from != "the times in the files' comments" || !slices.Equal(names(a), []string{"b 20260402-100000", "a 20260402-090000"}) {
		t.Errorf("%s: %q", from, names(a))
	}
}

// Names are in an order, and a time is one that a calendar has.
func FuzzNames(f *testing.F) {
	f.Add("s2", "s10")
	f.Add("20260402-091430", "a1b22")
	f.Add("007", "7")
	f.Fuzz(func(t *testing.T, a, b string) {
		if natural(a, b) != -natural(b, a) || natural(a, a) != 0 {
			t.Errorf("%q and %q: %d and %d", a, b, natural(a, b), natural(b, a))
		}
		if at, has := timeIn(a); has && (at.Year() < 1900 || at.Year() > 9999+1) {
			t.Errorf("%q: %v", a, at)
		}
	})
}
