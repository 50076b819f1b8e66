package series

import (
	"context"
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"downlead/cables"
	"downlead/dsp/locate"
)

var drawn = flag.Int("drawn", 10, "series to draw")

// drawing is a series that is drawn, and what is in it.
type drawing struct {
	days []mast
	atM  float64 // where it moves; 0: nowhere
	warm bool
}

// draw draws a line's load, a contact of 0.05 to 4.5 ohm at one of the joints, in
// mid-feeder, or none, that jumps or goes to and fro, with or without warming by up
// to 40 parts in a million and with or without a drift of gain. What cannot be seen
// is not drawn: a contact at an open end carries no current.
func draw(seed uint64) drawing {
	rng := rand.New(rand.NewPCG(seed, 1))
	loads := []cables.LoadKind{cables.Antenna, cables.Open, cables.Termination}
	load, which, ohm, n := loads[rng.IntN(3)], rng.IntN(5), math.Exp(rng.Float64()*4.5-3), 8+rng.IntN(30)
	warm, gain := 40e-6*rng.Float64()*float64(rng.IntN(2)), 1e-3*rng.NormFloat64()*float64(rng.IntN(2))
	if load == cables.Open && which == 2 {
		which = 1
	}
	// Half of the lines are as recorded but for their length, half away from it by one
	// per cent in impedance and three in a thousand in velocity.
	var impedance, velocity [3]float64
	if rng.IntN(2) == 0 {
		for i := range impedance {
			impedance[i], velocity[i] = 0.01*rng.NormFloat64(), 0.003*rng.NormFloat64()
		}
	}
	slow, jump := rng.IntN(2) == 0, make([]float64, n)
	for k := range jump {
		if slow {
			jump[k] = 0.5 + 0.5*math.Sin(float64(k)/2.5)
		} else if rng.Float64() < 0.25 {
			jump[k] = rng.Float64()
		}
	}
	d := drawing{atM: [5]float64{2.5, 32.5, 34.7, 20, 0}[which], warm: warm > 0}
	jumps := 0.0
	d.days = days(n, func(k int, m *mast) {
		m.load, m.impedance, m.velocity = load, impedance, velocity
		for i := range m.warmer {
			m.warmer[i] = warm * float64(k) / float64(n)
		}
		m.gain = complex(gain*float64(k)/float64(n), 0)
		jumps += jump[k]
		if which < 3 {
			m.contactOhm[which] = ohm * jump[k]
		} else if which == 3 {
			m.midOhm = ohm * jump[k]
		}
	})
	if jumps == 0 {
		d.atM = 0
	}
	return d
}

// Lines and motions that nobody tuned on.
func TestDrawnSeries(t *testing.T) {
	if testing.Short() {
		*drawn = min(*drawn, 1)
	}
	right, missed, extra, drifts := 0, 0, 0, 0
	for seed := range uint64(*drawn) {
		d := draw(1000 + seed)
		r := find(t, d.days, seed, Settings{})
		hit := 0
		for _, p := range r.Places {
			if d.atM > 0 && (math.Abs(p.DistanceM-1.002*d.atM) < 0.06+3*p.SigmaM || d.atM == 34.7 && p.Place == "far end") {
				hit++
			}
		}
		switch {
		case hit == 0 && d.atM > 0:
			missed++
			t.Logf("seed %d: %.1f m missed: %s", seed, d.atM, r.Summary)
		case len(r.Places) > hit:
			t.Logf("seed %d: more than %.1f m: %s", seed, d.atM, r.Summary)
		default:
			right++
		}
		extra += len(r.Places) - hit
		if !d.warm && r.Length.Motion != Steady {
			drifts++
			t.Logf("seed %d: a drift that is none: %s", seed, r.Summary)
		}
	}
	t.Logf("of %d: %d right, %d missed, %d places too many, %d drifts that are none", *drawn, right, missed, extra, drifts)
	if few := *drawn / 20; missed > few || extra > few || drifts > few {
		t.Errorf("more than %d of a kind are wrong", few)
	}
}

// Noise alone shows a place no oftener than is said: many series of 12 sweeps, in
// which nothing moves, at a rate of 5 %; three standard deviations of the count are
// let pass. Half of them have noise that goes with the reflection, as a jittering
// clock makes.
func TestFalseAlarms(t *testing.T) {
	const sweepsEach, rate = 12, 0.05
	series := 300
	if testing.Short() {
		series = 6
	}
	line := record(t, cables.Antenna)
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	quiet := sweeps(t, days(sweepsEach, func(int, *mast) {}), 11)
	hits := make([][]int, sweepsEach)
	mean := meanOf(quiet, hits)
	found, err := locate.Find(context.Background(), mean, locate.Line{Path: path, Load: line.Load}, locate.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := newSearch(quiet, mean, hits, found, path, line, Settings{FalseAlarmRate: rate, PlaneSigmaM: 0.005})
	if err != nil {
		t.Fatal(err)
	}
	alarms, drifts := 0, 0
	for one := range series {
		rng := rand.New(rand.NewPCG(uint64(one), 12))
		sum := make([]complex128, len(mean.Gamma))
		for _, d := range s.deviations {
			for k := range d {
				d[k] = complex(rng.NormFloat64(), rng.NormFloat64()) * 7e-5
				if one%2 == 1 {
					d[k] *= mean.Gamma[k]
				}
				sum[k] += d[k] / sweepsEach
			}
		}
		for _, d := range s.deviations {
			for k := range d {
				d[k] -= sum[k]
			}
		}
		s.places = nil
		if err := s.run(context.Background()); err != nil {
			t.Fatal(err)
		}
		r := s.result()
		if len(r.Places)+len(r.Echoes) > 0 {
			alarms++
		}
		if r.Length.Motion != Steady || r.Gain.Motion != Steady || r.Port.Motion != Steady {
			drifts++
		}
	}
	t.Logf("%d series of %d with a place, %d with a drift", alarms, series, drifts)
	expected := rate * float64(series)
	if most := expected + 3*math.Sqrt(expected*(1-rate)); float64(alarms) > most || drifts > 3 {
		t.Errorf("%d of %d series show a place, want %.0f at most; %d a drift", alarms, series, expected, drifts)
	}
}
