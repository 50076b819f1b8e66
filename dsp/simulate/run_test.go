package simulate

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"downlead/cables"
	"downlead/dsp/sweep"
)

func run(t *testing.T, s *Scenario) *Result {
	t.Helper()
	r, err := Run(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func demo(t *testing.T) *Scenario {
	t.Helper()
	s, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The demonstration shows a fault worth finding: out of limits with it, inside
// without it, and detectable.
func TestDemo(t *testing.T) {
	r := run(t, demo(t))
	if r.Truth.PassesLimit || r.Truth.InBandWorstVSWR < 1.55 {
		t.Errorf("passes %v with a VSWR of %.3f; want it clearly out of limits", r.Truth.PassesLimit, r.Truth.InBandWorstVSWR)
	}
	if f := r.Truth.Faults; len(f) != 1 || !f[0].Detectable || f[0].Cause != waterInConnector || math.Abs(f[0].DistanceM-50.01) > 0.01 {
		t.Errorf("faults %+v", f)
	}
	worst := 0.0
	for k, f := range r.Baseline.FrequencyHz {
		if f >= 824e6 && f <= 960e6 {
			worst = math.Max(worst, cmplx.Abs(r.Baseline.Gamma[k]))
		}
	}
	if vswr := (1 + worst) / (1 - worst); vswr > 1.5 {
		t.Errorf("the healthy line has a VSWR of %.3f, the limit is 1.5", vswr)
	}
}

func TestSameSeedSameSweep(t *testing.T) {
	a, b := run(t, demo(t)), run(t, demo(t))
	if !reflect.DeepEqual(a.Sweep, b.Sweep) || !reflect.DeepEqual(a.Truth, b.Truth) || !reflect.DeepEqual(a.Baseline, b.Baseline) {
		t.Error("two runs of one scenario differ")
	}
	other := demo(t)
	other.Seed++
	if c := run(t, other); c.Sweep.Gamma[7] == a.Sweep.Gamma[7] || c.Truth.TrueSections[0] == a.Truth.TrueSections[0] {
		t.Error("another seed gives the same line")
	}
	// Another fault, a raw sweep and interference leave the line as it was.
	more := demo(t)
	more.Faults = append(more.Faults, Fault{Cause: dentOrKink, DistanceM: 20})
	more.Errors.Raw, more.Errors.SpikeShare, more.Errors.SpikeDB = true, 0.01, -10
	d := run(t, more)
	if !reflect.DeepEqual(d.Truth.TrueSections, a.Truth.TrueSections) || !reflect.DeepEqual(d.Baseline, a.Baseline) {
		t.Error("a second fault changed the line as built")
	}
}

func TestRunStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Run(ctx, demo(t)); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
	if err := WriteDir(ctx, t.TempDir(), run(t, demo(t))); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}

// The noise has the size that the scenario asks for. 4001 complex points give
// its rms to 1.1 % (one sigma).
func TestNoise(t *testing.T) {
	s := plain()
	s.Sweep.Segments[0].Points = 4001
	s.Line.Load = cables.Load{Kind: cables.Short}
	clean := run(t, s)
	rms := func(change func(i *Instrument)) float64 {
		noisy := *s
		change(&noisy.Errors)
		sum := 0.0
		for k, g := range run(t, &noisy).Sweep.Gamma {
			d := g - clean.Sweep.Gamma[k]
			sum += real(d)*real(d) + imag(d)*imag(d)
		}
		return math.Sqrt(sum / 4001)
	}
	for _, c := range []struct {
		name   string
		change func(i *Instrument)
		want   float64
	}{
		{"additive", func(i *Instrument) { i.NoiseDB = -60 }, 1e-3},
		{"multiplicative, on a full mirror", func(i *Instrument) { i.TraceNoise = 2e-3 }, 2e-3},
		{"directivity", func(i *Instrument) { i.DirectivityDB = 40 }, 0.01},
		{"source match, on a full mirror", func(i *Instrument) { i.SourceMatchDB = 60 }, 1e-3},
		{"tracking, on a full mirror", func(i *Instrument) { i.TrackingDB = 0.1 }, math.Pow(10, 0.1/20) - 1},
	} {
		if got := rms(c.change); math.Abs(got/c.want-1) > 0.04 {
			t.Errorf("%s: rms %.5g, want %.5g", c.name, got, c.want)
		}
	}
}

// Interference hits the share of points that it should, and the truth lists
// them.
func TestInterference(t *testing.T) {
	s := plain()
	s.Sweep.Segments[0].Points = 2001
	clean := run(t, s)
	s.Errors.SpikeShare, s.Errors.SpikeDB = 0.05, -10
	spiked := run(t, s)
	if n := len(spiked.Truth.InterferenceHz); n < 70 || n > 130 { // 100 ± 3 sigma of 9.7
		t.Errorf("%d points hit, want about 100", n)
	}
	for k, f := range clean.Sweep.FrequencyHz {
		if hit := slices.Contains(spiked.Truth.InterferenceHz, f); hit != (clean.Sweep.Gamma[k] != spiked.Sweep.Gamma[k]) {
			t.Fatalf("%g Hz: listed as hit: %v", f, hit)
		}
	}
}

// Correcting the raw sweep with the standards and the kit as written gives the
// sweep back. The three-term solution and the standards' formulas are written
// out here again, from the head of the kit file.
func TestRawCorrectsToSweep(t *testing.T) {
	s := demo(t)
	s.Errors.Raw = true
	r, dir := run(t, s), t.TempDir()
	if err := WriteDir(context.Background(), dir, r); err != nil {
		t.Fatal(err)
	}
	var kit struct {
		Open struct {
			C0, C1, C2, C3, Z0, Loss float64
			Delay                    float64 `toml:"delay_ps"`
		}
		Short struct {
			L0, L1, L2, L3, Z0, Loss float64
			Delay                    float64 `toml:"delay_ps"`
		}
		Load struct{ Resistance, Inductance float64 }
	}
	if _, err := toml.DecodeFile(filepath.Join(dir, "raw", "kit.toml"), &kit); err != nil {
		t.Fatal(err)
	}
	var read [4]*sweep.Sweep
	for i, name := range []string{"device", "open", "short", "load"} {
		var err error
		if read[i], err = sweep.Read(filepath.Join(dir, "raw", name+".s1p")); err != nil {
			t.Fatal(err)
		}
	}
	offset := func(zEnd complex128, f, delayPs, z0, loss float64) complex128 {
		delay, loss := delayPs*1e-12, loss*1e9
		al := loss * delay / (2 * z0) * math.Sqrt(f/1e9)
		th := cmplx.Tanh(complex(al, 2*math.Pi*f*delay+al))
		zc := complex(z0, 0) + (1-1i)*complex(loss/(4*math.Pi*f)*math.Sqrt(f/1e9), 0)
		z := zc * (zEnd + zc*th) / (zc + zEnd*th)
		return (z - 50) / (z + 50)
	}
	worst := 0.0
	for k, f := range read[0].FrequencyHz {
		w := 2 * math.Pi * f
		o, sh := kit.Open, kit.Short
		a := [3]complex128{
			offset(1/complex(0, w*(o.C0+f*(o.C1+f*(o.C2+f*o.C3)))), f, o.Delay, o.Z0, o.Loss),
			offset(complex(0, w*(sh.L0+f*(sh.L1+f*(sh.L2+f*sh.L3)))), f, sh.Delay, sh.Z0, sh.Loss),
			(complex(kit.Load.Resistance, w*kit.Load.Inductance) - 50) / (complex(kit.Load.Resistance, w*kit.Load.Inductance) + 50),
		}
		// m = e00 + a·m·e11 - a·Δ, three equations by Cramer's rule.
		var row [3][4]complex128
		for i := range a {
			m := read[i+1].Gamma[k]
			row[i] = [4]complex128{1, a[i] * m, -a[i], m}
		}
		det := func(p, q, r int) complex128 {
			return row[0][p]*(row[1][q]*row[2][r]-row[1][r]*row[2][q]) - row[0][q]*(row[1][p]*row[2][r]-row[1][r]*row[2][p]) + row[0][r]*(row[1][p]*row[2][q]-row[1][q]*row[2][p])
		}
		d := det(0, 1, 2)
		e00, e11, delta := det(3, 1, 2)/d, det(0, 3, 2)/d, det(0, 1, 3)/d
		m := read[0].Gamma[k]
		worst = math.Max(worst, cmplx.Abs((m-e00)/(m*e11-delta)-r.Sweep.Gamma[k]))
	}
	t.Logf("largest difference %.2g", worst)
	if worst > 1e-9 {
		t.Errorf("the corrected sweep is %g off", worst)
	}
	if cmplx.Abs(read[0].Gamma[3]-r.Sweep.Gamma[3]) < 0.01 {
		t.Error("the raw sweep is as good as the corrected one")
	}
}

func TestWriteDirReadsBack(t *testing.T) {
	s := demo(t)
	r, dir := run(t, s), filepath.Join(t.TempDir(), "new", "place")
	for range 2 { // over what is there, too
		if err := WriteDir(context.Background(), dir, r); err != nil {
			t.Fatal(err)
		}
	}
	got, err := sweep.Read(filepath.Join(dir, "sweep.s1p"))
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got.Gamma, r.Sweep.Gamma) || !slices.Equal(got.FrequencyHz, r.Sweep.FrequencyHz) {
		t.Error("the sweep reads back differently")
	}
	line, err := cables.ReadLine(filepath.Join(dir, "line.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(line.Sections, s.Line.Sections) || line.Limits != s.Line.Limits || line.Load != s.Line.Load {
		t.Errorf("the line reads back as %+v", line)
	}
	data, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth map[string]any
	if err := json.Unmarshal(data, &truth); err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"case_cause", "faults", "ghosts", "true_sections", "far_end_m", "joints_m", "span_hz", "points", "passes_limit", "in_band_worst_vswr"} {
		if _, ok := truth[key]; !ok {
			t.Errorf("truth.json lacks %s", key)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if want := []string{"baseline.s1p", "line.toml", "sweep.s1p", "truth.json"}; !slices.Equal(names, want) {
		t.Errorf("the folder holds %q, want %q", names, want)
	}
	blocked := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(blocked, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := WriteDir(context.Background(), blocked, r); err == nil || !strings.Contains(err.Error(), "file") {
		t.Errorf("writing into a file: %v", err)
	}
}

// With nothing unknown the deflection is that of a matched filter, D² =
// Σ 2|d|²/σ² for complex noise of rms σ a point (S. M. Kay, "Detection Theory",
// ch. 4.3); a small series R between matched lines changes the sweep by R/(2·Z0).
func TestDetectionIndexOfMatchedFilter(t *testing.T) {
	s := plain(Fault{Cause: poorContact, DistanceM: 2, SeriesOhm: 0.05})
	s.Line.Load = cables.Load{Kind: cables.Termination, ReturnLossDB: 60}
	s.Errors.NoiseDB = -50
	r := run(t, s)
	// In the absence of as-built spread the observer still allows itself small
	// floors of doubt, which explain next to nothing of a resistance mid-section.
	want := 10 * math.Log10(2*101*math.Pow(0.05/100.05, 2)/1e-5)
	got := r.Truth.Faults[0].Severity["detection_index_db"].(float64)
	if math.Abs(got-want) > 0.5 {
		t.Errorf("index %.2f dB, want %.2f", got, want)
	}
	if r.Truth.Faults[0].Detectable {
		t.Error("it counts as detectable")
	}
}

// What a joint may do as built is not a fault: k standard deviations of a
// joint's reactance deflect by k at most. A fault behind an open is not seen.
func TestDetectionRespectsTheRecord(t *testing.T) {
	s := demo(t)
	const sigmas = 3
	sigma := math.Pow(10, -40.0/20) // the middle of the demo's 34 to 46 dB at 1 GHz
	s.Faults = []Fault{{Cause: connectorMismatch, At: "feeder / top jumper", SeriesHenry: sigmas * sigma * 2 * 50 / (2 * math.Pi * 1e9)}}
	f := run(t, s).Truth.Faults[0]
	if index := f.Severity["detection_index_db"].(float64); index > 20*math.Log10(sigmas)+0.2 || f.Detectable {
		t.Errorf("index %.2f dB, at most %.2f; detectable %v", index, 20*math.Log10(sigmas), f.Detectable)
	}
	s.Faults = []Fault{{Cause: openCircuit, DistanceM: 10}, {Cause: poorContact, DistanceM: 30, SeriesOhm: 40}}
	truth := run(t, s).Truth
	if !truth.Faults[0].Detectable || truth.Faults[1].Detectable {
		t.Errorf("detectable: open %v, contact behind it %v", truth.Faults[0].Detectable, truth.Faults[1].Detectable)
	}
	if truth.CaseCause != "double" {
		t.Errorf("case cause %q", truth.CaseCause)
	}
}

// A stronger fault of each kind never counts for less.
func TestDetectionGrowsWithSeverity(t *testing.T) {
	for _, c := range []struct{ weak, strong Fault }{
		{Fault{Cause: poorContact, At: "feeder / top jumper", SeriesOhm: 1}, Fault{Cause: poorContact, At: "feeder / top jumper", SeriesOhm: 30}},
		{Fault{Cause: dentOrKink, DistanceM: 20, ImpedanceOhm: 48}, Fault{Cause: dentOrKink, DistanceM: 20, ImpedanceOhm: 30}},
		{Fault{Cause: waterInCable, DistanceM: 20, ExtentM: 3, ImpedanceDrop: 0.02}, Fault{Cause: waterInCable, DistanceM: 20, ExtentM: 3, ImpedanceDrop: 0.2}},
		{Fault{Cause: lossySection, At: "feeder", LossFactor: 1.1}, Fault{Cause: lossySection, At: "feeder", LossFactor: 3}},
	} {
		index := func(f Fault) (float64, bool) {
			s := demo(t)
			s.Faults = []Fault{f}
			truth := run(t, s).Truth.Faults[0]
			return truth.Severity["detection_index_db"].(float64), truth.Detectable
		}
		weak, _ := index(c.weak)
		strong, seen := index(c.strong)
		if !(strong > weak+3) || !seen {
			t.Errorf("%s: weak %.1f dB, strong %.1f dB, detectable %v", c.weak.Cause, weak, strong, seen)
		}
	}
}

// A triple bounce between two mirrors lies one spacing behind the second.
func TestGhostPlaces(t *testing.T) {
	s := demo(t)
	s.Faults = []Fault{{Cause: poorContact, DistanceM: 30, SeriesOhm: 40}}
	s.AsBuilt = AsBuilt{}
	truth := run(t, s).Truth
	found := false
	for _, g := range truth.Ghosts {
		if math.Abs(g.Of[0]-30) < 1e-9 && math.Abs(g.Of[1]-52.11) < 1e-9 {
			found = true
			// 22.11 m of cable behind the far end, 20.01 m of it feeder, drawn on in
			// the top jumper's velocity.
			want := 52.11 + 20.01/0.88*0.82 + 2.1
			if math.Abs(g.DistanceM-want) > 1e-6 {
				t.Errorf("ghost at %.3f m, want %.3f", g.DistanceM, want)
			}
		}
	}
	if !found {
		t.Errorf("no ghost of 30 and 52.11 m in %+v", truth.Ghosts)
	}
}

func TestDraw(t *testing.T) {
	for _, cause := range append(Causes(), "none", "double", "") {
		for seed := range uint64(10) {
			s, err := Draw(seed, DrawOptions{Cause: cause, Difficulty: float64(seed%3) / 2})
			if err != nil {
				t.Fatalf("%s, seed %d: %v", cause, seed, err)
			}
			again, err := Draw(seed, DrawOptions{Cause: cause, Difficulty: float64(seed%3) / 2})
			if err != nil || !reflect.DeepEqual(s, again) {
				t.Fatalf("%s, seed %d: not the same twice (%v)", cause, seed, err)
			}
			want := 1
			switch cause {
			case "none":
				want = 0
			case "double":
				want = 2
			case "":
				want = len(s.Faults)
			}
			if len(s.Faults) != want || want == 1 && cause != "" && s.Faults[0].Cause != cause {
				t.Errorf("%s, seed %d: faults %+v", cause, seed, s.Faults)
			}
		}
	}
	if _, err := Draw(1, DrawOptions{Cause: "gremlins"}); err == nil {
		t.Error("an unknown cause is drawn")
	}
	if _, err := Draw(1, DrawOptions{Difficulty: 2}); err == nil {
		t.Error("a difficulty of 2 is drawn")
	}
}

// Drawn lines run, and nearly all faults of easy draws can be seen.
func TestDrawnLinesRun(t *testing.T) {
	seen, all := 0, 0
	for seed := range uint64(12) {
		s, err := Draw(seed, DrawOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range run(t, s).Truth.Faults {
			all++
			if f.Detectable {
				seen++
			}
		}
	}
	t.Logf("%d of %d detectable", seen, all)
	if all < 8 || float64(seen) < 0.6*float64(all) {
		t.Errorf("%d of %d faults detectable", seen, all)
	}
}

// BenchmarkRunDemo is the whole demonstration: 1001 points, 52 m, baseline and
// truth included.
func BenchmarkRunDemo(b *testing.B) {
	s, err := Demo()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Run(context.Background(), s); err != nil {
			b.Fatal(err)
		}
	}
}
