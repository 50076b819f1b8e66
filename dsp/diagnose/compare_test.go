package diagnose

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"
)

// day is when a sweep was taken: how much faster the line is than by its record,
// how much longer the test lead, and which noise.
type day struct {
	faster, leadM float64
	seed          uint64
}

// part is a part in the line at a place.
type part struct {
	x       float64
	element cables.Element
}

func ohms(r float64) cables.Element {
	return cables.Series(func(float64) complex128 { return complex(r, 0) })
}

// taken is a sweep of pairLine with parts in it, computed from chain matrices. The
// line has small inductances at its joints, and ends in a reflection of 28 dB.
func taken(t testing.TB, line *cables.Line, on day, parts ...part) *sweep.Sweep {
	t.Helper()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	var chain cables.Cascade
	for i, span := range path.Spans {
		nano := []float64{0.15, -0.1, 0.12, 0.1, -0.13}[i]
		chain = append(chain, cables.Series(func(f float64) complex128 { return complex(0, 2*math.Pi*f*nano*1e-9) }))
		medium := span.Medium
		medium.VelocityFactor *= 1 + on.faster
		at := span.StartM
		for _, p := range parts {
			if p.x > span.StartM-1e-6 && p.x < span.StartM+span.LengthM-1e-6 {
				chain = append(chain, cables.Stretch{Medium: medium, LengthM: p.x - at}, p.element)
				at = p.x
			}
		}
		chain = append(chain, cables.Stretch{Medium: medium, LengthM: span.StartM + span.LengthM - at})
	}
	random := rand.New(rand.NewPCG(on.seed, 17))
	frequencyHz := evenly(500e6, 2000e6, 601)
	gamma := chain.Reflection(frequencyHz, func(float64) complex128 { return 0.04 }, 50)
	for k, f := range frequencyHz {
		gamma[k] *= cmplx.Rect(1, -4*math.Pi*f*on.leadM/cables.SpeedOfLight)
		gamma[k] += complex(random.NormFloat64(), random.NormFloat64()) * 1e-4
	}
	return &sweep.Sweep{Name: fmt.Sprintf("day %d", on.seed), FrequencyHz: frequencyHz, Gamma: gamma, ReferenceOhm: 50, Correction: sweep.Corrected}
}

// comparedLine is pairLine with joints where the tests want parts.
func comparedLine(t *testing.T) *cables.Line {
	line := pairLine(t, cables.Load{Kind: cables.Termination, ReturnLossDB: 26})
	feeder := line.Sections[1].CableID
	line.Sections = append(append(line.Sections[:1:1], cables.Section{Name: "lower feeder", CableID: feeder, LengthM: 14.9}, cables.Section{Name: "middle feeder", CableID: feeder, LengthM: 8.8},
		cables.Section{Name: "upper feeder", CableID: feeder, LengthM: 7.5}), line.Sections[2])
	line.Limits.VSWR = 1.3
	return line
}

func compared(t *testing.T, line *cables.Line, before, after *sweep.Sweep) *Comparison {
	t.Helper()
	c, err := Compare(context.Background(), Taken{Sweep: before}, Taken{Sweep: after}, line, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// entryAt is the entry nearest to x within half a metre.
func (c *Comparison) entryAt(x float64) *Entry {
	var best *Entry
	for i := range c.Entries {
		if e := &c.Entries[i]; math.Abs(e.DistanceM-x) < 0.5 && (best == nil || math.Abs(e.DistanceM-x) < math.Abs(best.DistanceM-x)) {
			best = e
		}
	}
	return best
}

// seriesDB is the local return loss of r ohm in series in a line of 50 ohm:
// |Γ| = r/(r + 2·Z0) (Pozar, "Microwave Engineering", 4th ed., table 4.1 and ch. 4.3,
// from memory).
func seriesDB(r float64) float64 { return -20 * math.Log10(r/(r+100)) }

func TestCompare(t *testing.T) {
	line := comparedLine(t)
	first, second := day{0, 0, 1}, day{0.0005, 0.001, 2} // 0.05 % faster, 1 mm of lead
	contact, other := part{17.3, ohms(20)}, part{26.1, ohms(25)}
	weak := part{17.3, ohms(8)}
	type want struct {
		x        float64
		kind     EntryKind
		beforeDB float64 // 0: nothing to be seen
		afterDB  float64
		wasFault bool
		isFault  bool
	}
	for _, one := range []struct {
		name          string
		before, after []part
		repair        Outcome
		entries       []want
		reason        string
	}{
		{"repaired", []part{contact}, nil, Repaired, []want{{17.3, EntryGone, seriesDB(20), 0, true, false}}, "is gone"},
		{"healthy, then faulted", nil, []part{contact}, CannotBeSaid, []want{{17.3, EntryNew, 0, seriesDB(20), false, true}}, "no fault was found before, so there was nothing to repair"},
		{"repaired, another made", []part{contact}, []part{other}, PartlyRepaired, []want{{17.3, EntryGone, seriesDB(20), 0, true, false}, {26.1, EntryNew, 0, seriesDB(25), false, true}}, "is new"},
		{"one of two repaired", []part{contact, other}, []part{other}, PartlyRepaired, []want{{17.3, EntryGone, seriesDB(20), 0, true, false}, {26.1, EntryUnchanged, seriesDB(25), seriesDB(25), true, true}}, "is still there"},
		{"half repaired", []part{contact}, []part{weak}, PartlyRepaired, []want{{17.3, EntryWeaker, seriesDB(20), seriesDB(8), true, true}}, "is weaker but still there"},
		{"worse", []part{weak}, []part{contact}, NotRepaired, []want{{17.3, EntryGrown, seriesDB(8), seriesDB(20), true, true}}, "is still there"},
		{"nothing done", []part{contact}, []part{contact}, NotRepaired, []want{{17.3, EntryUnchanged, seriesDB(20), seriesDB(20), true, true}}, "is still there"},
		{"nothing wrong, nothing changed", nil, nil, CannotBeSaid, nil, "none is found after"},
	} {
		t.Run(one.name, func(t *testing.T) {
			if testing.Short() && one.name != "half repaired" {
				t.Skip("two searches for faults each")
			}
			c := compared(t, line, taken(t, line, first, one.before...), taken(t, line, second, one.after...))
			if c.Repair != one.repair || !strings.Contains(c.Reason, one.reason) {
				t.Errorf("repaired: %s, want %s: %s", c.Repair, one.repair, c.Reason)
			}
			if off := math.Abs(c.Aligned.Velocity - 0.0005); !c.Coherent || off > math.Max(5e-5, c.Aligned.VelocitySigma) || math.Abs(c.Aligned.LeadM-0.001) > 5e-4 {
				t.Errorf("aligned by %+v", c.Aligned)
			}
			if len(c.Entries) != len(one.entries) {
				t.Errorf("%d entries, want %d: %+v", len(c.Entries), len(one.entries), c.Entries)
			}
			for _, w := range one.entries {
				e := c.entryAt(w.x)
				if e == nil {
					t.Errorf("nothing at %g m", w.x)
					continue
				}
				if e.Kind != w.kind || (e.CauseBefore != "") != w.wasFault || (e.CauseAfter != "") != w.isFault || math.Abs(e.DistanceM-w.x) > math.Max(0.05, 3*e.SigmaM) {
					t.Errorf("at %g m: %+v", w.x, e)
				}
				for _, level := range []struct{ got, want float64 }{{e.BeforeDB, w.beforeDB}, {e.AfterDB, w.afterDB}} {
					// What a strong new change leaves of the model hides the little that was there.
					if level.want == 0 && level.got < math.Min(nothingDB, e.SmallestDB) || level.want != 0 && math.Abs(level.got-level.want) > 1 {
						t.Errorf("at %g m: %.1f dB, want %.1f: %+v", w.x, level.got, level.want, e)
					}
				}
			}
		})
	}
}

// A line that was open is compared by the whole one, whichever came first.
func TestCompareOpen(t *testing.T) {
	if testing.Short() {
		t.Skip("several searches for faults")
	}
	line := comparedLine(t)
	open := part{33.6, ohms(1e5)}
	c := compared(t, line, taken(t, line, day{0, 0, 1}, open), taken(t, line, day{-0.0005, 0, 2}))
	if c.Repair != Repaired || len(c.Entries) != 1 || c.Entries[0].Kind != EntryGone || c.Entries[0].CauseBefore != OpenCircuit {
		t.Errorf("%s: %s %+v", c.Repair, c.Reason, c.Entries)
	}
	// What stands behind it was hidden before.
	hidden := part{35, ohms(30)}
	c = compared(t, line, taken(t, line, day{0, 0, 3}, open, hidden), taken(t, line, day{0, 0, 4}, hidden))
	if e := c.entryAt(35); c.Repair != PartlyRepaired || e == nil || e.Kind != EntryUnclear || !strings.Contains(e.Sentence, "hides this place before") {
		t.Errorf("%s: %s %+v", c.Repair, c.Reason, c.Entries)
	}
}

// What cannot be compared is said, with the numbers that it fails by.
func TestCompareWhatCannotBe(t *testing.T) {
	line := comparedLine(t)
	before, after := taken(t, line, day{0, 0, 1}, part{17.3, ohms(20)}), taken(t, line, day{0, 0, 2})
	narrow, err := after.Band(500e6, 900e6)
	if err != nil {
		t.Fatal(err)
	}
	doubtful, raw := *after, *after
	doubtful.Correction, raw.Correction = sweep.Doubtful, sweep.Uncorrected
	for _, one := range []struct {
		after *sweep.Sweep
		want  string
	}{{narrow, "500-900 MHz"}, {&doubtful, "the calibration of the sweep after is in doubt"}, {&raw, "an uncorrected sweep cannot be compared"}} {
		c := compared(t, line, before, one.after)
		if c.Repair != CannotBeSaid || !strings.Contains(c.Reason, one.want) {
			t.Errorf("%s: %q, want %q", c.Repair, c.Reason, one.want)
		}
		if !c.Coherent && (len(c.Entries) > 0 || c.Left != nil) || c.Before.WorstVSWR < 1.3 {
			t.Errorf("%+v", c)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Compare(ctx, Taken{Sweep: before}, Taken{Sweep: after}, line, Settings{}); !errors.Is(err, context.Canceled) {
		t.Errorf("%v after cancelling", err)
	}
}

// Both sweeps come from scikit-rf: a contact of 20 ohm that is made better to 6, on
// a line that is 0.05 % faster afterwards. What is left between them is the
// difference of the two reflections, r/(r + 2·Z0) each.
func TestCompareAgainstScikitRF(t *testing.T) {
	if testing.Short() {
		t.Skip("several searches for faults")
	}
	if err := exec.Command("/usr/bin/python3", "-c", "import skrf").Run(); err != nil {
		t.Skipf("scikit-rf is missing: %v", err)
	}
	frequencyHz := evenly(200e6, 1800e6, 401)
	outside := func(velocityFactor, ohm float64) *sweep.Sweep {
		task, err := json.Marshal(map[string]any{"frequency_hz": frequencyHz, "velocity_factor": velocityFactor, "before_m": 8, "behind_m": 12, "ohm": ohm, "load_gamma": 0.03})
		if err != nil {
			t.Fatal(err)
		}
		command := exec.Command("/usr/bin/python3", filepath.Join("testdata", "contact.py"))
		command.Stdin = bytes.NewReader(task)
		text, err := command.Output()
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(text)), "\n") // libraries may print notes before
		var values [][2]float64
		if err := json.Unmarshal([]byte(lines[len(lines)-1]), &values); err != nil {
			t.Fatal(err)
		}
		s := &sweep.Sweep{Name: fmt.Sprint(ohm, " ohm"), FrequencyHz: frequencyHz, ReferenceOhm: 50, Correction: sweep.Corrected}
		for _, v := range values {
			s.Gamma = append(s.Gamma, complex(v[0], v[1]))
		}
		return s
	}
	line := &cables.Line{ReferenceImpedanceOhm: 50, Cables: []cables.Type{{ID: "c", ImpedanceOhm: 50, VelocityFactor: 0.8, VelocityFactorTolerance: 0.01}},
		Sections: []cables.Section{{Name: "lower", CableID: "c", LengthM: 8}, {Name: "upper", CableID: "c", LengthM: 12}},
		Load:     cables.Load{Kind: cables.Termination, ReturnLossDB: 28}}
	c := compared(t, line, outside(0.8, 20), outside(0.8*1.0005, 6))
	e := c.entryAt(8)
	// Tracking and source match, which the alignment is free to change by some
	// percent, take or give as much as 1 dB where little else reflects.
	if e == nil || e.Kind != EntryWeaker || math.Abs(e.BeforeDB-seriesDB(20)) > 1 || math.Abs(e.AfterDB-seriesDB(6)) > 1 {
		t.Errorf("%+v", c.Entries)
	}
	// A load of 30 dB behind the fault is all that shows the velocity.
	if math.Abs(c.Aligned.Velocity-0.0005) > c.Aligned.VelocitySigma {
		t.Errorf("aligned by %+v", c.Aligned)
	}
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	profile, err := distance.New(path, c.Left.FrequencyHz, distance.Settings{FromM: 7.9, ToM: 8.1, Points: 201, Loss: distance.LossUncorrected})
	if err != nil {
		t.Fatal(err)
	}
	most := 0.0
	for _, v := range profile.Profile(nil, c.Left.Gamma).Amplitude {
		most = math.Max(most, cmplx.Abs(v))
	}
	if want := 20.0/120 - 6.0/106; math.Abs(most/want-1) > 0.1 {
		t.Errorf("the difference reflects %.4f at 8 m, want %.4f", most, want)
	}
}
