package diagnose

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// pairLine is a feeder between two jumpers.
func pairLine(t *testing.T, load cables.Load) *cables.Line {
	t.Helper()
	catalogue, err := cables.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	line := &cables.Line{Name: "pair", ReferenceImpedanceOhm: 50, Load: load}
	for _, s := range []cables.Section{{Name: "bottom jumper", CableID: "superflex-1-2", LengthM: 2.4},
		{Name: "feeder", CableID: "corrugated-7-8", LengthM: 31.2}, {Name: "top jumper", CableID: "superflex-1-2", LengthM: 2.9}} {
		line.Sections = append(line.Sections, s)
		cable, found := catalogue.Find(s.CableID)
		if !found {
			t.Fatalf("no cable %s", s.CableID)
		}
		if len(line.Cables) < 2 && s.Name != "top jumper" {
			line.Cables = append(line.Cables, cable)
		}
	}
	return line
}

// pairScenario draws the line away from its record, with the instrument's
// errors, as of seed.
func pairScenario(t *testing.T, seed uint64, load cables.Load, faults ...simulate.Fault) *simulate.Scenario {
	return &simulate.Scenario{Name: "pair", Seed: seed, Baseline: true, Line: pairLine(t, load),
		Sweep:  simulate.Grid{Segments: []simulate.Segment{{LowHz: 700e6, HighHz: 2700e6, Points: 1201}}},
		Faults: faults,
		AsBuilt: simulate.AsBuilt{JointReturnLossDB: [2]float64{34, 38}, ImpedanceOhm: 0.3, Velocity: 0.002, Length: 0.003,
			Loss: 0.02, Roughness: 5e-4},
		Errors: simulate.Instrument{DirectivityDB: 42, SourceMatchDB: 36, TrackingDB: 0.05, NoiseDB: -80, TraceNoise: 5e-4}}
}

var pairLoads = []cables.Load{{Kind: cables.Termination, ReturnLossDB: 28},
	{Kind: cables.Antenna, BandHz: [2]float64{1710e6, 2170e6}, ReturnLossDB: 17}}

func simulated(t *testing.T, s *simulate.Scenario) (*simulate.Result, *difference) {
	t.Helper()
	r, err := simulate.Run(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	path, err := r.Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	d, err := compareBaseline(context.Background(), r.Sweep, r.Baseline, path, r.Line)
	if err != nil {
		t.Fatal(err)
	}
	return r, d
}

// TestChangeUnderClutter puts a contact of 0.33 ohm, 50 dB, into lines whose
// joints reflect about 32 to 34 dB under the window: 15 dB and more under them. At a joint and in
// mid-feeder it must be found and placed, and nothing else.
func TestChangeUnderClutter(t *testing.T) {
	const ohm = 0.33
	if testing.Short() {
		t.Skip("tens of pairs of sweeps")
	}
	inSigma, within, all := 0, 0, 0
	for seed := range uint64(3) {
		for which, load := range pairLoads {
			for _, fault := range []simulate.Fault{{At: "bottom jumper / feeder"}, {At: "feeder / top jumper"}, {DistanceM: 17.3}} {
				fault.Cause, fault.SeriesOhm = "poor-contact", ohm
				r, d := simulated(t, pairScenario(t, 100+seed, load, fault))
				truth := r.Truth.Faults[0]
				name := fmt.Sprintf("seed %d, load %d, at %.2f m", seed, which, truth.ApparentDistanceM)
				if len(d.Changes) != 1 {
					t.Errorf("%s: %d changes: %+v", name, len(d.Changes), d.Changes)
				}
				c := d.at(truth.ApparentDistanceM, 0.1)
				if c == nil {
					t.Errorf("%s: not found", name)
					continue
				}
				off := math.Abs(c.DistanceM - truth.ApparentDistanceM)
				all++
				if off < c.SigmaM {
					inSigma++
				}
				if off < 2*c.SigmaM {
					within++
				}
				want := 20 * math.Log10((100+ohm)/ohm)
				if math.Abs(c.ChangeDB-want) > 4 {
					t.Errorf("%s: the change is %.1f dB, want %.1f", name, c.ChangeDB, want)
				}
				if at := strings.Contains(fault.At, "/"); at && c.BeforeDB > want-15 || !at && c.Kind != changeNew {
					t.Errorf("%s: %.1f dB before, change %.1f dB, kind %d", name, c.BeforeDB, c.ChangeDB, c.Kind)
				}
			}
		}
	}
	t.Logf("of %d places %d within one sigma, %d within two", all, inSigma, within)
	if within < all*9/10 {
		t.Errorf("%d of %d places within two sigma", within, all)
	}
}

// TestNoChange holds that healthy pairs show none, over lines of one build and
// over lines of every kind. The latter include grids that fold bounces of the
// far end back onto the line, where two days' temperatures differ: one in
// ten may alarm.
func TestNoChange(t *testing.T) {
	seeds := uint64(8)
	if testing.Short() {
		seeds = 1
	}
	for seed := range seeds {
		for which, load := range pairLoads {
			r, d := simulated(t, pairScenario(t, 200+seed, load))
			if len(d.Changes) > 0 {
				t.Errorf("seed %d, load %d: %+v", seed, which, d.Changes)
			}
			want := 1/(1+r.Truth.Baseline.VelocityFactorChange) - 1
			if off := math.Abs(d.Alignment.Velocity - want); off > 3e-5 {
				t.Errorf("seed %d, load %d: velocity %+.6f ± %.6f, want %+.6f", seed, which, d.Alignment.Velocity, d.Alignment.VelocitySigma, want)
			}
		}
	}
	const drawn = 40
	alarms := 0
	for seed := range uint64(drawn) {
		s, err := simulate.Draw(9000+seed, simulate.DrawOptions{Cause: "none"})
		if err != nil {
			t.Fatal(err)
		}
		s.Baseline = true
		if _, d := simulated(t, s); len(d.Changes) > 0 {
			alarms++
			t.Logf("drawn line %d: %d changes", seed, len(d.Changes))
		}
	}
	if alarms > drawn/10 {
		t.Errorf("%d of %d drawn healthy pairs alarm", alarms, drawn)
	}
}

// pairOf builds two sweeps from chain matrices: the line with small inductances
// at its joints and a short behind; later 0.4 % slower, with 2 mm of lead more,
// 0.1 dB weaker, and on another grid.
func pairOf(t *testing.T, slower float64, before []float64) (now, then *sweep.Sweep, line *cables.Line) {
	t.Helper()
	line = pairLine(t, cables.Load{Kind: cables.Short})
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(7, 7))
	make1 := func(frequencyHz []float64, scale, leadM, gain float64) *sweep.Sweep {
		var chain cables.Cascade
		for i, span := range path.Spans {
			nano := []float64{0.4, -0.3, 0.35}[i]
			chain = append(chain, cables.Series(func(f float64) complex128 { return complex(0, 2*math.Pi*f*nano*1e-9) }))
			medium := span.Medium
			medium.VelocityFactor *= scale
			chain = append(chain, cables.Stretch{Medium: medium, LengthM: span.LengthM})
		}
		gamma := chain.Reflection(frequencyHz, func(float64) complex128 { return -1 }, 50)
		for k, f := range frequencyHz {
			gamma[k] *= cmplx.Rect(gain, -4*math.Pi*f*leadM/cables.SpeedOfLight)
			gamma[k] += complex(random.NormFloat64(), random.NormFloat64()) * 1e-4
		}
		return &sweep.Sweep{Name: "sweep", FrequencyHz: frequencyHz, Gamma: gamma, ReferenceOhm: 50}
	}
	return make1(evenly(600e6, 2600e6, 1301), 1-slower, 0.002, math.Pow(10, -0.1/20)), make1(before, 1, 0, 1), line
}

func evenly(low, high float64, points int) []float64 {
	f := make([]float64, points)
	for k := range f {
		f[k] = low + (high-low)*float64(k)/float64(points-1)
	}
	return f
}

// TestAlignment recovers what was put in, on the same grid, another one, and
// one with points drawn at random.
func TestAlignment(t *testing.T) {
	uneven := evenly(500e6, 2700e6, 2401)
	random := rand.New(rand.NewPCG(8, 8))
	for k := range uneven {
		uneven[k] += 0.3 * 0.92e6 * (2*random.Float64() - 1)
	}
	for name, grid := range map[string][]float64{"same": evenly(600e6, 2600e6, 1301), "wider": evenly(400e6, 2700e6, 1801), "narrower": evenly(800e6, 2400e6, 1601), "uneven": uneven} {
		for _, slower := range []float64{-0.004, 0.0003, 0.005} {
			if name == "narrower" && slower > 0.004 {
				continue // 0.6 % of the band's top would lie beyond what the earlier sweep measured
			}
			now, then, line := pairOf(t, slower, grid)
			path, _ := line.Path()
			d, err := compareBaseline(context.Background(), now, then, path, line)
			if err != nil {
				t.Fatal(err)
			}
			a := d.Alignment
			if math.Abs(a.Velocity+slower) > 1e-5 || math.Abs(a.PlaneM-0.002) > 5e-4 || math.Abs(a.GainDB+0.1) > 0.1 {
				t.Errorf("%s, %g slower: %+v", name, slower, a)
			}
			if len(d.Changes) > 0 {
				t.Errorf("%s, %g slower: %d changes, first %+v", name, slower, len(d.Changes), d.Changes[0])
			}
			if warned := len(d.Warnings) > 0; warned != (math.Abs(slower) > 0.002) {
				t.Errorf("%s, %g slower: warnings %q", name, slower, d.Warnings)
			}
		}
	}
}

// TestDelayIsNotManyChanges wets three metres of feeder: what lies behind must
// come as one delay from there on. Where the only strong reflection lies
// behind the wet stretch, the alignment may take part of the delay for
// weather; the seeds are those where it does not.
func TestDelayIsNotManyChanges(t *testing.T) {
	for seed := range uint64(3) {
		s := pairScenario(t, 300+seed, cables.Load{Kind: cables.Short},
			simulate.Fault{Cause: "water-in-cable", DistanceM: 12, ExtentM: 3, ImpedanceDrop: 0.1, LossTangent: 0.01, TaperM: 0.5})
		r, d := simulated(t, s)
		// 3 m less the tapers' half, slowed by 1/(1−0.1) − 1, at the feeder's velocity, there and back.
		path, _ := r.Line.Path()
		want := 2 * (3 - 0.5) * (1/0.9 - 1) / path.Spans[1].Medium.VelocityFactor / cables.SpeedOfLight
		total := 0.0
		for _, c := range d.Changes {
			total += c.DelayS
			if c.DistanceM < 11.5 && c.Kind != changeDelayed {
				t.Errorf("seed %d: %+v in front of the wet stretch", seed, c)
			}
			if c.DelayS > 0 && (c.FromM > 12.2 || c.DistanceM < 11.8) {
				t.Errorf("seed %d: the delay begins between %.2f and %.2f m, want it to hold 12 m", seed, c.FromM, c.DistanceM)
			}
		}
		if math.Abs(total/want-1) > 0.15 {
			t.Errorf("seed %d: delay %.2f ns, want %.2f; %+v %+v", seed, 1e9*total, 1e9*want, d.Alignment, d.Changes)
		}
		if len(d.Changes) > 3 {
			t.Errorf("seed %d: %d changes: %+v", seed, len(d.Changes), d.Changes)
		}
	}
}

// TestUnchanged lowers the suspicion of what is as it was.
func TestUnchanged(t *testing.T) {
	r, d := simulated(t, pairScenario(t, 400, pairLoads[0]))
	path, _ := r.Line.Path()
	joint := path.Spans[1].StartM
	before := decibels(d.before[d.index(joint)])
	if same, words := d.unchanged(joint, before); !same || !strings.Contains(words, "has not changed") {
		t.Errorf("joint at %.2f m, %.1f dB: %v %q", joint, before, same, words)
	}
	if same, _ := d.unchanged(joint, before-20); same {
		t.Error("a joint 20 dB stronger than before counts as unchanged")
	}
	if same, _ := d.unchanged(17, 40); same {
		t.Error("40 dB where nothing was counts as unchanged")
	}
}

func TestBaselineRefused(t *testing.T) {
	now, then, line := pairOf(t, 0, evenly(600e6, 2600e6, 1301))
	path, _ := line.Path()
	cut := func(s *sweep.Sweep, low, high float64) *sweep.Sweep {
		b, err := s.Band(low, high)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	every := func(n int) *sweep.Sweep {
		c := *then
		c.FrequencyHz, c.Gamma = nil, nil
		for k := 0; k < len(then.Gamma); k += n {
			c.FrequencyHz, c.Gamma = append(c.FrequencyHz, then.FrequencyHz[k]), append(c.Gamma, then.Gamma[k])
		}
		return &c
	}
	other := *then
	other.ReferenceOhm = 75
	raw := *then
	raw.Correction = sweep.Uncorrected
	for want, before := range map[string]*sweep.Sweep{
		"too little in common":        cut(then, 600e6, 1200e6),
		"folded over itself":          every(10),
		"export both in the same":     &other,
		"correct both":                &raw,
		"a comparison needs at least": every(100),
	} {
		if _, err := compareBaseline(context.Background(), now, before, path, line); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := compareBaseline(ctx, now, then, path, line); !errors.Is(err, context.Canceled) {
		t.Errorf("%v after cancelling", err)
	}
}

// A narrow band and a mirror, a drawn line: what comes later and weaker may look like gain, and be seen from where nothing reflects.
// No gain changes by that much, and the change shows in all that lies behind.
func TestAllBehindComesLater(t *testing.T) {
	s := drawn(t, 83010, WaterInCable)
	s.Baseline = true
	_, d := simulated(t, s)
	latest := 0.0
	for _, c := range d.Changes {
		latest = math.Max(latest, c.DelayS)
	}
	fault := s.Faults[0]
	path, err := s.Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	velocity := cables.SpeedOfLight * path.Spans[path.SpanAt(fault.DistanceM)].Medium.VelocityFactor
	is := 2 * (fault.ExtentM - fault.TaperM) * fault.ImpedanceDrop / (1 - fault.ImpedanceDrop) / velocity // there and back, but for half of the tapers
	if math.Abs(latest/is-1) > 0.3 {
		t.Errorf("comes %.2f ns later, is %.2f ns", 1e9*latest, 1e9*is)
	}
}
