package diagnose

import (
	"context"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// ramp is a sweep from 1 to 2 GHz whose |Γ| rises from 0.1 to 0.3.
func ramp() *sweep.Sweep {
	s := &sweep.Sweep{Name: "ramp", ReferenceOhm: 50}
	for k := range 101 {
		s.FrequencyHz = append(s.FrequencyHz, 1e9+1e7*float64(k))
		s.Gamma = append(s.Gamma, cmplx.Rect(0.1+0.002*float64(k), 0.3*float64(k)))
	}
	return s
}

// VSWR = (1+ρ)/(1−ρ) from the definition (IEC 60050-726, from memory): ρ = 0.1
// gives 1.2222, 0.2 gives 1.5, 0.3 gives 1.8571; 14 dB is ρ = 0.199526, VSWR
// 1.498520.
func TestVerdict(t *testing.T) {
	antenna := func(low, high float64) cables.Load {
		return cables.Load{Kind: cables.Antenna, BandHz: [2]float64{low, high}}
	}
	for _, c := range []struct {
		name     string
		load     cables.Load
		limits   cables.Limits
		want     Verdict
		warnings int
	}{
		{"whole sweep", cables.Load{Kind: cables.Termination}, cables.Limits{VSWR: 1.5},
			Verdict{Passes: false, WorstVSWR: 1.857143, AtHz: 2e9, LimitVSWR: 1.5, LowHz: 1e9, HighHz: 2e9}, 0},
		{"in the antenna's band", antenna(1.2e9, 1.4e9), cables.Limits{VSWR: 1.5},
			Verdict{Passes: true, WorstVSWR: 1.439024, AtHz: 1.4e9, LimitVSWR: 1.5, LowHz: 1.2e9, HighHz: 1.4e9}, 0},
		{"limit as return loss", antenna(1.2e9, 1.5e9), cables.Limits{ReturnLossDB: 14},
			Verdict{Passes: false, WorstVSWR: 1.5, AtHz: 1.5e9, LimitVSWR: 1.498520, LowHz: 1.2e9, HighHz: 1.5e9}, 0},
		{"no limit", antenna(1.2e9, 1.4e9), cables.Limits{},
			Verdict{Passes: true, WorstVSWR: 1.439024, AtHz: 1.4e9, LowHz: 1.2e9, HighHz: 1.4e9}, 0},
		{"band partly outside the sweep", antenna(0.9e9, 1.1e9), cables.Limits{VSWR: 1.5},
			Verdict{Passes: true, WorstVSWR: 1.272727, AtHz: 1.1e9, LimitVSWR: 1.5, LowHz: 1e9, HighHz: 1.1e9}, 1},
		{"band outside the sweep", antenna(2.5e9, 2.7e9), cables.Limits{VSWR: 1.5},
			Verdict{Passes: false, WorstVSWR: 1.857143, AtHz: 2e9, LimitVSWR: 1.5, LowHz: 1e9, HighHz: 2e9}, 1},
	} {
		line := &cables.Line{Load: c.load, Limits: c.limits}
		got := judge(ramp(), line)
		if got.Passes != c.want.Passes {
			t.Errorf("%s: passes %v, want %v", c.name, got.Passes, c.want.Passes)
		}
		for _, v := range []struct {
			what      string
			got, want float64
		}{{"worst VSWR", got.WorstVSWR, c.want.WorstVSWR}, {"at", got.AtHz, c.want.AtHz}, {"limit", got.LimitVSWR, c.want.LimitVSWR},
			{"band from", got.LowHz, c.want.LowHz}, {"band to", got.HighHz, c.want.HighHz}} {
			near(t, c.name+": "+v.what, v.got, v.want, 1e-6)
		}
		if warnings := coverageWarnings(ramp(), line); len(warnings) != c.warnings {
			t.Errorf("%s: warnings %q, want %d", c.name, warnings, c.warnings)
		}
	}
	s := ramp()
	for k := range s.Gamma {
		s.Gamma[k] = -1
	}
	if v := judge(s, &cables.Line{Load: cables.Load{Kind: cables.Short}, Limits: cables.Limits{VSWR: 1.5}}); v.WorstVSWR != total || v.Passes {
		t.Errorf("total reflection: VSWR %g, passes %v; want %d and no", v.WorstVSWR, v.Passes, total)
	}
}

// The antenna's band outside the sweep is warned of in the findings, and a
// band that is asked for is all that is judged.
func TestVerdictOfRun(t *testing.T) {
	scenario := clearLine(cables.Antenna)
	made, err := simulate.Run(context.Background(), scenario)
	if err != nil {
		t.Fatal(err)
	}
	found, err := Run(context.Background(), made.Sweep, made.Line, Settings{LowHz: 50e6, HighHz: 1.5e9})
	if err != nil {
		t.Fatal(err)
	}
	if text := strings.Join(found.Warnings, "\n"); !strings.Contains(text, "no point in the antenna's band") {
		t.Errorf("no warning that the antenna's band was not swept: %q", text)
	}
	if found.Verdict.LowHz < 50e6 || found.Verdict.HighHz > 1.5e9 {
		t.Errorf("judged over %g to %g Hz, asked for 50 MHz to 1.5 GHz", found.Verdict.LowHz, found.Verdict.HighHz)
	}
	if _, err := Run(context.Background(), made.Sweep, made.Line, Settings{LowHz: 5e9, HighHz: 6e9}); err == nil {
		t.Error("a band beside the sweep gives no error")
	}
}

// The verdict after a repair against the same line simulated without its fault.
func TestRepairedVerdictAgainstTheRepairedLine(t *testing.T) {
	if testing.Short() {
		t.Skip("two fits of a whole line")
	}
	fault := simulate.Fault{Cause: "poor-contact", At: "feeder / top jumper", SeriesOhm: 20}
	found, _ := diagnosed(t, clearLine(cables.Antenna, fault))
	sound, _ := diagnosed(t, clearLine(cables.Antenna))
	faults := faultsOf(found)
	if len(faults) != 1 {
		t.Fatalf("%d faults, want 1", len(faults))
	}
	if found.Verdict.Passes || !sound.Verdict.Passes {
		t.Fatalf("VSWR %.2f with the fault and %.2f without: no case", found.Verdict.WorstVSWR, sound.Verdict.WorstVSWR)
	}
	near(t, "VSWR after the repair", told(t, faults[0], "were repaired, the worst VSWR at the port would be "+number), sound.Verdict.WorstVSWR, 0.03)
	near(t, "VSWR before", told(t, faults[0], " instead of ([0-9.]+[0-9])"), found.Verdict.WorstVSWR, 0.005)
	if text := strings.Join(faults[0].Evidence, "\n"); !strings.Contains(text, "it explains the failure") {
		t.Errorf("the repair brings the line inside its limit and nothing says so:\n%s", text)
	}
}

// finiteOrFatal walks all numbers of the findings.
func finiteOrFatal(t *testing.T, f *Findings) {
	t.Helper()
	check := func(values ...float64) {
		t.Helper()
		for _, v := range values {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("a number of the findings is %v", v)
			}
		}
	}
	check(f.RuntimeS, f.Verdict.WorstVSWR, f.Verdict.AtHz, f.Verdict.LimitVSWR, f.Verdict.LowHz, f.Verdict.HighHz)
	check(f.LeftOutHz...)
	for _, q := range f.Findings {
		check(q.DistanceM, q.SigmaM, q.FromFarEndM, q.ExtentM, q.ExtentSigmaM, q.Confidence, q.ReturnLossDB, q.PhaseDeg)
		check(q.GhostOf...)
		if q.Confidence < 0 || q.Confidence > 1 || q.SigmaM < 0 || q.ExtentM < 0 || q.DistanceM < -0.5 {
			t.Fatalf("%s: confidence %g, sigma %g m, extent %g m, distance %g m", q.Cause, q.Confidence, q.SigmaM, q.ExtentM, q.DistanceM)
		}
		for _, a := range q.Alternatives {
			check(a.Confidence)
		}
	}
}

// A sweep whose points are too few for its line shows it folded over itself, and says how many would do:
// c/(2·step) is how far an echo is told from one a whole turn of phase between points later.
func TestFoldedSweepIsTold(t *testing.T) {
	s := clearLine(cables.Termination)
	path, err := s.Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	told := func(points int) []string {
		swept := sweep.Sweep{}
		for k := range points {
			swept.FrequencyHz = append(swept.FrequencyHz, 10e6+float64(k)*2990e6/float64(points-1))
		}
		return foldedWarning(&swept, s.Line, path)
	}
	// 3/0.85 + 14/0.89 + 2/0.85 = 21.6 m of air; 300 steps over 2.99 GHz are 15.0 m of it, 13.2 m of the line.
	words := told(301)
	if len(words) != 1 || !strings.Contains(words[0], "alias-free to 13.24 m of 19.00 m") || !strings.Contains(words[0], "again with 562 points") {
		t.Errorf("%q", words)
	}
	if words := told(562); len(words) > 0 {
		t.Errorf("562 points: %q", words)
	}
}
