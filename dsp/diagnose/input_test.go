package diagnose

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// What cannot be used gives an error that says what is wrong.
func TestUnusableInput(t *testing.T) {
	made, err := simulate.Run(t.Context(), clearLine(cables.Antenna))
	if err != nil {
		t.Fatal(err)
	}
	spoiled := func(change func(*sweep.Sweep)) *sweep.Sweep {
		s := *made.Sweep
		s.FrequencyHz, s.Gamma = slices.Clone(s.FrequencyHz), slices.Clone(s.Gamma)
		change(&s)
		return &s
	}
	unknown := *made.Line
	unknown.Sections = slices.Clone(unknown.Sections)
	unknown.Sections[1].CableID = "no-such-cable"
	empty := *made.Line
	empty.Sections = nil
	for _, c := range []struct {
		name  string
		sweep *sweep.Sweep
		line  *cables.Line
		want  string
	}{
		{"NaN", spoiled(func(s *sweep.Sweep) { s.Gamma[7] = cmplx.NaN() }), made.Line, "not a number"},
		{"infinite", spoiled(func(s *sweep.Sweep) { s.Gamma[7] = cmplx.Inf() }), made.Line, "not a number"},
		{"few points", spoiled(func(s *sweep.Sweep) { s.FrequencyHz, s.Gamma = s.FrequencyHz[:9], s.Gamma[:9] }), made.Line, "at least 16 frequency points"},
		{"falling", spoiled(func(s *sweep.Sweep) { slices.Reverse(s.FrequencyHz) }), made.Line, "ascending"},
		{"lengths", spoiled(func(s *sweep.Sweep) { s.Gamma = s.Gamma[:100] }), made.Line, "100 reflections"},
		{"missing cable", made.Sweep, &unknown, "no-such-cable"},
		{"no section", made.Sweep, &empty, "section"},
	} {
		found, err := Run(t.Context(), c.sweep, c.line, Settings{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error with %q; findings %v", c.name, err, c.want, found)
		}
	}
}

// endingContext ends after it was asked a number of times whether it has; 0:
// never.
type endingContext struct {
	context.Context
	asked, ends int
}

func (c *endingContext) Err() error {
	c.asked++
	if c.ends == 0 || c.asked < c.ends {
		return nil
	}
	return context.Canceled
}

// A run whose context ends gives up with the context's error, wherever in the
// run that is: every trial of a fit asks, and none goes on after an answer that it
// should not.
func TestCancelling(t *testing.T) {
	loads := []cables.LoadKind{cables.Antenna, cables.Termination, cables.Open}
	if testing.Short() {
		loads = loads[:1]
	}
	for _, load := range loads {
		made, err := simulate.Run(t.Context(), clearLine(load, simulate.Fault{Cause: "water-in-connector", At: "feeder / top jumper"}))
		if err != nil {
			t.Fatal(err)
		}
		whole := &endingContext{Context: t.Context()}
		if _, err := Run(whole, made.Sweep, made.Line, Settings{}); err != nil {
			t.Fatal(err)
		}
		if whole.asked < 500 {
			t.Errorf("%s: a whole run asks %d times whether it should stop, want 500 or more", load, whole.asked)
		}
		for _, share := range []float64{0, 0.1, 0.5, 0.9, 1} {
			ends := 1 + int(share*float64(whole.asked-1))
			c := &endingContext{Context: t.Context(), ends: ends}
			if _, err := Run(c, made.Sweep, made.Line, Settings{}); !errors.Is(err, context.Canceled) {
				t.Errorf("%s: ended at question %d of %d: %v", load, ends, whole.asked, err)
			}
			if c.asked > ends+1 {
				t.Errorf("%s: ended at question %d, and asked %d times more", load, ends, c.asked-ends)
			}
		}
	}
}

// spoil throws on a sweep what no line does.
func spoil(gamma []complex128, how uint8, rng *rand.Rand) {
	switch how % 6 {
	case 1: // noise alone, far too large
		for k := range gamma {
			gamma[k] = 10 * complex(rng.NormFloat64(), rng.NormFloat64())
		}
	case 2: // all the same
		for k := range gamma {
			gamma[k] = 1
		}
	case 3: // nothing at all
		clear(gamma)
	case 4: // a third is hit
		for range len(gamma) / 3 {
			gamma[rng.IntN(len(gamma))] = complex(rng.NormFloat64(), rng.NormFloat64())
		}
	case 5: // huge
		for k := range gamma {
			gamma[k] *= complex(math.Pow(10, 12*rng.Float64()), 0)
		}
	}
}

// tryRun diagnoses a drawn line whose sweep was spoiled, and walks the answer.
func tryRun(t *testing.T, seed uint64, how uint8) {
	t.Helper()
	scenario, err := simulate.Draw(seed, simulate.DrawOptions{Difficulty: float64(how%3) / 2})
	if err != nil {
		t.Skip(err)
	}
	path, err := scenario.Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	frequency := scenario.Sweep.FrequencyHz()
	for len(frequency) > 260 { // a trial should be short
		frequency = frequency[:len(frequency)/2]
	}
	rng := rand.New(rand.NewPCG(seed, uint64(how)))
	elements := cables.Cascade{}
	for range how / 6 % 4 {
		v := complex(100*rng.Float64(), 200*rng.Float64()-100)
		elements = append(elements, cables.Series(func(float64) complex128 { return v }))
	}
	elements = append(elements, path.Cascade()...)
	turn := rng.Float64()
	gamma := elements.Reflection(frequency, func(f float64) complex128 { return cmplx.Rect(turn, f*1e-8) }, 50)
	spoil(gamma, how, rng)
	found, err := Run(t.Context(), &sweep.Sweep{Name: "spoiled", FrequencyHz: frequency, Gamma: gamma, ReferenceOhm: 50}, scenario.Line, Settings{})
	if err != nil {
		if err.Error() == "" {
			t.Fatal("an error that says nothing")
		}
		return
	}
	finiteOrFatal(t, found)
	text, err := json.Marshal(found)
	if err != nil {
		t.Fatal(err)
	}
	var back Findings
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if back.Schema != Schema || len(back.Findings) != len(found.Findings) {
		t.Fatalf("read back: schema %q, %d findings of %d", back.Schema, len(back.Findings), len(found.Findings))
	}
}

// FuzzRun diagnoses random lines with sweeps from sound to absurd: never a
// panic, every number finite, and JSON that reads back.
func FuzzRun(f *testing.F) {
	for seed := range uint64(18) {
		f.Add(seed, uint8(seed))
	}
	f.Fuzz(tryRun)
}
