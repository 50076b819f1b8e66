package locate

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// TestBadInput gives what cannot be used: a clear error each time.
func TestBadInput(t *testing.T) {
	line := plain(t, 0.88, 9)
	f := grid(101, 1e8, 1e9)
	good := noisy(make([]complex128, 101), 1e-3, rand.New(rand.NewPCG(40, 1)))
	with := func(k int, g complex128) []complex128 {
		out := slices.Clone(good)
		out[k] = g
		return out
	}
	falling := slices.Clone(f)
	falling[50] = falling[49]
	unknown := slices.Clone(f)
	unknown[3] = math.NaN()
	for name, s := range map[string]*sweep.Sweep{
		"nothing":    sweepOf(nil, nil),
		"few points": sweepOf(f[:15], good[:15]),
		"lengths":    sweepOf(f, good[:100]),
		"NaN":        sweepOf(f, with(7, cmplx.NaN())),
		"infinite":   sweepOf(f, with(7, cmplx.Inf())),
		"same twice": sweepOf(falling, good),
		"NaN hertz":  sweepOf(unknown, good),
	} {
		if r, err := Find(t.Context(), s, line, Settings{}); err == nil {
			t.Errorf("%s: no error, %d reflections", name, len(r.Reflections))
		}
	}
	if _, err := Find(t.Context(), sweepOf(f, good), Line{}, Settings{}); err == nil {
		t.Error("no line: no error")
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if _, err := Find(stopped, sweepOf(f, good), line, Settings{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// TestOddInput gives what is out of the ordinary but can be used.
func TestOddInput(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 1))
	logarithmic := make([]float64, 401)
	for k := range logarithmic {
		logarithmic[k] = 50e6 * math.Pow(24, float64(k)/400)
	}
	segmented := append(grid(200, 100e6, 500e6), grid(201, 600e6, 1200e6)...)
	open := func(lengthM float64) Line {
		line := plain(t, 0.88, lengthM)
		line.Load, line.OpenEnded = cables.Load{}, true
		return line
	}
	for _, c := range []struct {
		name string
		f    []float64
		line Line
		x    float64
	}{
		{"logarithmic", logarithmic, plain(t, 0.88, 15), 7.3},
		{"segmented", segmented, plain(t, 0.88, 15), 7.3},
		{"longer than the alias-free range", grid(201, 25e6, 1200e6), plain(t, 0.88, 60), 7.3},
		{"bare velocity factor", grid(401, 25e6, 1200e6), open(1), 7.3},
		{"16 points", grid(16, 100e6, 400e6), plain(t, 0.88, 5), 2.2},
	} {
		t.Run(c.name, func(t *testing.T) {
			long := plain(t, 0.88, 60) // what hangs there, whatever the record says
			r := find(t, c.f, noisy(build(long.Path, c.f, []part{{c.x, resistance(10)}}, nil), 1e-4, rng), c.line)
			finite(t, c.name, r)
			if got, ok := nearest(r, c.x); !ok || math.Abs(got.DistanceM-c.x) > 0.02 {
				t.Errorf("%.3f m, want %.3f", got.DistanceM, c.x)
			}
		})
	}
}

// finite fails the test where a number of the result is not finite.
func finite(t *testing.T, name string, r *Result) {
	t.Helper()
	numbers := []float64{r.NoiseRMS, r.ResidualRMS}
	for _, q := range slices.Concat(r.Reflections, r.Echoes) {
		numbers = append(numbers, q.DistanceM, q.ExtentM, q.SigmaM, q.NoiseM, q.ReturnLossDB, q.PhaseDeg, q.Flat, q.Rising, q.BudgetDB, q.Of[0], q.Of[1])
	}
	for _, z := range slices.Concat(r.Model, r.LoadGamma) {
		numbers = append(numbers, real(z), imag(z))
	}
	for _, v := range numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%s: a number of the result is %v", name, v)
		}
	}
}

// FuzzFind locates on random lines, the sweep as simulated or spoiled: never a
// panic, and every number finite.
func FuzzFind(f *testing.F) {
	for seed := range uint64(24) {
		f.Add(seed, uint8(seed))
	}
	f.Fuzz(func(t *testing.T, seed uint64, spoil uint8) {
		scenario, err := simulate.Draw(seed, simulate.DrawOptions{Difficulty: 0.5})
		if err != nil {
			t.Skip(err)
		}
		path, err := scenario.Line.Path()
		if err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(seed, uint64(spoil)))
		// The simulator's own noise and judging take longer than a trial here
		// should, so the sweep is the bare line's with parts thrown on it.
		frequency := scenario.Sweep.FrequencyHz()
		for len(frequency) > 500 {
			frequency = frequency[:len(frequency)/2]
		}
		var parts []part
		for x := 0.0; len(parts) < int(spoil%5); {
			x += rng.Float64() * path.LengthM() / 5
			parts = append(parts, part{x, []cables.Element{resistance(1e3 * rng.Float64()), capacitance(1e-11 * rng.Float64()), conductance(rng.Float64()), inductance(1e-8 * rng.Float64())}[rng.IntN(4)]})
		}
		gamma := build(path, frequency, parts, func(float64) complex128 { return cmplx.Rect(rng.Float64(), 7) })
		switch spoil / 5 % 5 {
		case 1: // nothing but noise, far too large
			gamma = noisy(make([]complex128, len(gamma)), 10, rng)
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
		}
		line := Line{Path: path, Load: scenario.Line.Load, OpenEnded: spoil%7 == 0}
		r, err := Find(t.Context(), sweepOf(frequency, gamma), line, Settings{})
		if err != nil {
			return
		}
		finite(t, "random line", r)
	})
}
