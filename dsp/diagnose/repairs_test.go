package diagnose

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// endedLine is a feeder and its jumper with an end of a kind, and sweeps of it
// whose end reflects as said, with noise of -80 dB.
func endedLine(t *testing.T, end cables.Load) (line *cables.Line, swept func(seed uint64, load func(hz float64) complex128) *sweep.Sweep) {
	t.Helper()
	line = &cables.Line{ReferenceImpedanceOhm: 50, Limits: cables.Limits{VSWR: 1.5}, Load: end,
		Cables:   []cables.Type{{ID: "c", ImpedanceOhm: 50, VelocityFactor: 0.85, VelocityFactorTolerance: 0.01, Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e9, DBPerHundredM: 5}}}},
		Sections: []cables.Section{{Name: "feeder", CableID: "c", LengthM: 18}, {Name: "jumper", CableID: "c", LengthM: 2}}}
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	return line, func(seed uint64, load func(float64) complex128) *sweep.Sweep {
		random := rand.New(rand.NewPCG(seed, 3))
		s := &sweep.Sweep{FrequencyHz: evenly(300e6, 1500e6, 401), ReferenceOhm: 50, Correction: sweep.Corrected}
		s.Gamma = path.Cascade().Reflection(s.FrequencyHz, load, 50)
		for k := range s.Gamma {
			s.Gamma[k] += complex(random.NormFloat64(), random.NormFloat64()) * 1e-4
		}
		return s
	}
}

// An antenna that was exchanged: over the whole sweep it reflects as before, as most
// of that lies outside its band; the limit in its band shows that it is well. What
// was found and what the limit says are given, since nothing but the judgement is
// asked here.
func TestCompareJudgesAnAntennaByItsLimit(t *testing.T) {
	line, swept := endedLine(t, cables.Load{Kind: cables.Antenna, BandHz: [2]float64{900e6, 950e6}, ReturnLossDB: 16})
	antenna := func(inBand float64) func(float64) complex128 {
		return func(f float64) complex128 {
			if f >= 900e6 && f <= 950e6 {
				return complex(inBand, 0)
			}
			return 0.9
		}
	}
	verdict := func(vswr float64) Verdict {
		return Verdict{Passes: vswr <= 1.5, WorstVSWR: vswr, AtHz: 920e6, LimitVSWR: 1.5, LowHz: 900e6, HighHz: 950e6}
	}
	ok := verdict(1.3)
	for _, one := range []struct {
		name     string
		repaired *Verdict // what it would bring to repair the antenna, as found before
		after    Verdict
		want     Outcome
		reason   string
	}{
		{"it explained the failure, which is gone", &ok, verdict(1.2), Repaired, "antenna out of specification (antenna) is gone, which alone kept the line out of its limit"},
		{"the limit is still missed", &ok, verdict(1.8), CannotBeSaid, "was found before and is not found any more, though its reflection does not show why"},
		{"not known what it would bring", nil, verdict(1.2), CannotBeSaid, "though its reflection does not show why"},
	} {
		before := Taken{swept(1, antenna(0.3)), &Findings{Verdict: verdict(1.9), Findings: []Finding{{DistanceM: 20, SigmaM: 0.02, Cause: AntennaFault, IsFault: true, Place: "antenna", ReturnLossDB: 5, Repaired: one.repaired}}}}
		c, err := Compare(context.Background(), before, Taken{swept(2, antenna(0.28)), &Findings{Verdict: one.after}}, line, Settings{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Repair != one.want || !strings.Contains(c.Reason, one.reason) {
			t.Errorf("%s: %s, %s", one.name, c.Repair, c.Reason)
		}
		if want := "antenna out of specification is gone, which alone kept the line out of its limit"; one.want == Repaired && c.Entries[0].Sentence != want {
			t.Errorf("the sentence is %q", c.Entries[0].Sentence)
		}
	}
}

// A line that ends in an open by its record misses every limit, and reflects as
// strongly with a short there. Neither speaks against a repair.
func TestCompareWhereTheLineEndsInAMirror(t *testing.T) {
	line, swept := endedLine(t, cables.Load{Kind: cables.Open})
	total := func(g complex128) func(float64) complex128 { return func(float64) complex128 { return g } }
	missed := Verdict{WorstVSWR: 30, AtHz: 1e9, LimitVSWR: 1.5, LowHz: 300e6, HighHz: 1500e6}
	short := &Findings{Verdict: missed, Findings: []Finding{{DistanceM: 20, SigmaM: 0.01, Cause: ShortCircuit, IsFault: true, Place: "far end"}}}
	none := &Findings{Verdict: missed}
	for _, one := range []struct {
		name          string
		before, after Taken
		want          Outcome
		reason        string
	}{
		{"a short is taken off", Taken{swept(1, total(-1)), short}, Taken{swept(2, total(1)), none}, Repaired, "what reflects there now is the open in which the line ends by its record; worst VSWR 30.00 then, 30.00 now, still out of the limit of 1.50, which tells nothing here"},
		{"nothing was done", Taken{swept(1, total(-1)), short}, Taken{swept(2, total(-1)), short}, NotRepaired, "short circuit (far end) is still there"},
		{"found before only, and nothing changed", Taken{swept(1, total(-1)), short}, Taken{swept(2, total(-1)), none}, CannotBeSaid, "its reflection does not show why"},
		{"nothing was found", Taken{swept(1, total(1)), none}, Taken{swept(2, total(1)), none}, CannotBeSaid, "no fault was found before, so there was nothing to repair"},
	} {
		c, err := Compare(context.Background(), one.before, one.after, line, Settings{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Repair != one.want || !strings.Contains(c.Reason, one.reason) {
			t.Errorf("%s: %s, %s\n%+v", one.name, c.Repair, c.Reason, c.Entries)
		}
	}
	// The same misses of a line that ends in a load do speak against it.
	loaded, swept := endedLine(t, cables.Load{Kind: cables.Termination, ReturnLossDB: 30})
	c, err := Compare(context.Background(), Taken{swept(1, total(0.3)), none}, Taken{swept(2, total(0.3)), none}, loaded, Settings{})
	if err != nil || c.Repair != NotRepaired || strings.Contains(c.Reason, "tells nothing") {
		t.Errorf("%v, %+v", err, c)
	}
}

// Drawn lines with one fault of each cause, and the same lines without it on
// another day: no repair is called one that failed, and where nothing was done none
// is called a success. The seeds are used for nothing else.
func TestCompareDrawnRepairs(t *testing.T) {
	if testing.Short() {
		t.Skip("two searches for faults on each of ten lines, twice")
	}
	counts := map[Outcome]int{}
	for i, cause := range simulate.Causes() {
		s, err := simulate.Draw(uint64(63000+i), simulate.DrawOptions{Cause: cause, Ordinary: true})
		if err != nil {
			t.Fatal(err)
		}
		s.Baseline = true
		made, err := simulate.Run(context.Background(), s)
		if err != nil {
			t.Fatal(err)
		}
		again := *made.Sweep
		again.Gamma = nil
		random := rand.New(rand.NewPCG(uint64(i), 5))
		for k, g := range made.Sweep.Gamma { // 0.3 mm of lead, 0.004 dB, other noise
			again.Gamma = append(again.Gamma, g*cmplx.Rect(1.0005, -2*math.Pi*2e-12*made.Sweep.FrequencyHz[k])+complex(random.NormFloat64(), random.NormFloat64())*3e-4)
		}
		found, err := Run(context.Background(), made.Sweep, made.Line, Settings{})
		if err != nil {
			t.Fatal(err)
		}
		for _, after := range []*sweep.Sweep{made.Baseline, &again} {
			c, err := Compare(context.Background(), Taken{made.Sweep, found}, Taken{Sweep: after}, made.Line, Settings{})
			if err != nil {
				t.Fatal(err)
			}
			if after == &again && c.Repair == Repaired || after == made.Baseline && c.Repair == NotRepaired {
				t.Errorf("%s at %.2f m: %s, %s", cause, made.Truth.Faults[0].DistanceM, c.Repair, c.Reason)
			}
			if after == made.Baseline {
				counts[c.Repair]++
			}
		}
	}
	t.Logf("of ten repairs: %v", counts)
	if counts[Repaired] < 5 {
		t.Errorf("%d of 10 repairs are seen", counts[Repaired])
	}
}
