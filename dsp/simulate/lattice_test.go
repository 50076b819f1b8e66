package simulate

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"downlead/cables"
)

// A quarter-wave transformer between 50 and 100 ohm, the worked example of the
// multiple-reflection viewpoint: D. M. Pozar, "Microwave Engineering", 4th ed.,
// sec. 2.5 and example 2.5 (from memory). Z1 = 70.71 ohm, and the partial
// reflections are Γ1 = (Z1-Z0)/(Z1+Z0) = 0.1716, Γ2 = -Γ1, Γ3 = (R-Z1)/(R+Z1) =
// 0.1716, T1·T2 = 0.9706. At the frequency where the section is a quarter wave
// long the series is Γ1 - T1T2Γ3 + T1T2Γ2Γ3² - ..., and its sum is nothing.
func TestLatticeOfTheQuarterWaveTransformer(t *testing.T) {
	z1 := math.Sqrt(50 * 100)
	const quarterHz = 500e6
	const velocity = 0.8
	section := cables.Stretch{Medium: cables.Medium{ImpedanceOhm: z1, VelocityFactor: velocity}, LengthM: cables.SpeedOfLight * velocity / quarterHz / 4}
	line := built{referenceOhm: 50, slots: []cables.Cascade{nil, {section}, nil}, load: func(float64) complex128 { return 1.0 / 3 }}
	at := []float64{quarterHz, 2 * quarterHz}
	exact, err := reflection(context.Background(), line, at)
	if err != nil {
		t.Fatal(err)
	}
	l, err := follow(context.Background(), line, at, exact, -100, func(float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	g1, g3 := (z1-50)/(z1+50), (100-z1)/(100+z1)
	if math.Abs(g1-0.1716) > 5e-5 || math.Abs(g3-0.1716) > 5e-5 || math.Abs(1-g1*g1-0.9706) > 5e-5 {
		t.Fatalf("the example's coefficients come out as %g, %g, %g", g1, g3, 1-g1*g1)
	}
	if len(l.Places) != 2 || len(l.Paths) < 4 || !l.Complete {
		t.Fatalf("%d places, %d paths, complete %v", len(l.Places), len(l.Paths), l.Complete)
	}
	oneWay := 1 / (4 * quarterHz)
	want := complex(g1, 0)
	for n, p := range l.Paths {
		turnTimes := 2 * oneWay * float64(n)
		if math.Abs(p.TimeS-turnTimes) > 1e-18 || p.Bounces() != max(0, n-1) || len(p.Turns) != max(1, 2*n-1) {
			t.Errorf("path %d: %g s, turns %v", n, p.TimeS, p.Turns)
		}
		if n > 0 { // T1·Γ3·(Γ2·Γ3)^(n-1)·T2 with e^{-j2nθ} = (-1)^n at the quarter wave, 1 at the half wave
			want = complex((1-g1*g1)*g3*math.Pow(-g1*g3, float64(n-1)), 0)
		}
		sign := complex(math.Pow(-1, float64(n)), 0)
		if cmplx.Abs(p.Gamma[0]-sign*want) > 1e-12 || cmplx.Abs(p.Gamma[1]-want) > 1e-12 {
			t.Errorf("path %d adds %v, want %v and %v", n, p.Gamma, sign*want, want)
		}
	}
	sum := complex128(0)
	for _, p := range l.Paths {
		sum += p.Gamma[0]
	}
	if cmplx.Abs(sum) > 1e-5 {
		t.Errorf("matched, but the paths add up to %v", sum)
	}
}

// latticeCases are lines of every kind of place.
func latticeCases(t *testing.T) map[string]*Scenario {
	t.Helper()
	demo, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	cases := map[string]*Scenario{"demo": demo,
		"contact and dent": plain(Fault{Cause: poorContact, At: "lower / upper", SeriesOhm: 20}, Fault{Cause: dentOrKink, DistanceM: 1.3}),
		"foreign cable":    plain(Fault{Cause: wrongImpedance, DistanceM: 0.8, ExtentM: 1.4}),
		"wet from the end": plain(Fault{Cause: waterInCable, DistanceM: 3.7, ExtentM: 1.5, ImpedanceDrop: 0.3}),
		"wet at the port":  plain(Fault{Cause: waterInCable, At: "lower", ExtentM: 1.0, ImpedanceDrop: 0.2}),
		"ended":            plain(Fault{Cause: connectorMismatch, At: "lower / upper"}, Fault{Cause: shortCircuit, DistanceM: 5}),
	}
	for _, s := range cases {
		s.Sweep.Segments[0].Points = 401
	}
	return cases
}

// The paths down to a level add up to the impulse response of the whole cascade
// within that level, everywhere; a response lower still takes more of them.
func TestLatticeAddsUpToTheImpulseResponse(t *testing.T) {
	for name, s := range latticeCases(t) {
		t.Run(name, func(t *testing.T) {
			b, err := newBuilder(s)
			if err != nil {
				t.Fatal(err)
			}
			all := make([]bool, len(s.Faults))
			for i := range all {
				all[i] = true
			}
			line := b.build(s.draw(b.path).smooth(), b.load(b.antennaFault(all)).gamma, all)
			paths := 0
			for _, levelDB := range []float64{-40, -55} {
				l, err := Bounces(context.Background(), s, levelDB)
				if err != nil {
					t.Fatal(err)
				}
				if !l.Complete {
					t.Fatalf("to %g dB it takes more than %d paths", levelDB, MostPaths)
				}
				exact := line.cascade().Reflection(l.FrequencyHz, line.load, line.referenceOhm)
				added := make([]complex128, len(exact))
				for _, p := range l.Paths {
					for k, g := range p.Gamma {
						added[k] += g
					}
				}
				n := len(l.FrequencyHz)
				step := (l.FrequencyHz[n-1] - l.FrequencyHz[0]) / float64(n-1)
				level, biggest := math.Pow(10, levelDB/20), 0.0
				for k := range n { // impulse responses at n times over the alias-free range
					seconds := float64(k) / (float64(n) * step)
					response, sum := complex128(0), complex128(0)
					for i, f := range l.FrequencyHz {
						turn := cmplx.Rect(1/float64(n), 2*math.Pi*f*seconds)
						response += exact[i] * turn
						sum += added[i] * turn
					}
					biggest = max(biggest, cmplx.Abs(response-sum))
				}
				t.Logf("%d places, %d paths to %g dB leave %.1f dB at most", len(l.Places), len(l.Paths), levelDB, 20*math.Log10(biggest))
				if biggest > level {
					t.Errorf("the responses differ by %g, more than %g", biggest, level)
				}
				if len(l.Paths) <= paths {
					t.Errorf("%d paths down to %g dB, no more than %d before", len(l.Paths), levelDB, paths)
				}
				paths = len(l.Paths)
			}
		})
	}
}

// Each path by itself is an echo at its time, and its trace leads there and back.
func TestLatticePathsArriveWhenTheySay(t *testing.T) {
	for name, s := range latticeCases(t) {
		t.Run(name, func(t *testing.T) {
			l, err := Bounces(context.Background(), s, -50)
			if err != nil {
				t.Fatal(err)
			}
			n := len(l.FrequencyHz)
			cellS := 1 / (l.FrequencyHz[n-1] - l.FrequencyHz[0])
			for _, p := range l.Paths {
				first, last := p.Trace[0], p.Trace[len(p.Trace)-1]
				if first != (LatticeEvent{}) || last.TimeS != p.TimeS || len(p.Turns) > 1 && last.DistanceM != 0 {
					t.Errorf("turns %v: from %v to %v", p.Turns, first, last)
				}
				for k := 1; k < len(p.Trace); k++ {
					if speed := math.Abs(p.Trace[k].DistanceM-p.Trace[k-1].DistanceM) / (p.Trace[k].TimeS - p.Trace[k-1].TimeS); !(speed > 0 && speed <= cables.SpeedOfLight*(1+1e-9)) {
						t.Errorf("turns %v: %v to %v", p.Turns, p.Trace[k-1], p.Trace[k])
					}
				}
				// The antenna and the wet stretch delay what they reflect; everything
				// else answers at once.
				delays := false
				for _, turn := range p.Turns {
					delays = delays || turn == len(l.Places)-1 && s.Line.Load.Kind == cables.Antenna || l.Places[turn].ExtentM > 0
				}
				if delays || p.TimeS == 0 {
					continue
				}
				best, at := 0.0, 0.0
				for k := -40; k <= 40; k++ {
					seconds := p.TimeS + float64(k)*cellS/10
					sum := complex128(0)
					for i, f := range l.FrequencyHz {
						sum += p.Gamma[i] * cmplx.Rect(1, 2*math.Pi*f*seconds)
					}
					if cmplx.Abs(sum) > best {
						best, at = cmplx.Abs(sum), seconds
					}
				}
				if math.Abs(at-p.TimeS) > 0.75*cellS {
					t.Errorf("turns %v: it says %.3f ns, the echo peaks at %.3f ns; a cell is %.3f ns", p.Turns, p.TimeS*1e9, at*1e9, cellS*1e9)
				}
			}
		})
	}
}

// The triple bounces that the truth lists are among the paths, at the same place
// and level: the truth leaves out what each place takes from the waves that cross it,
// under 0.5 dB a crossing here.
func TestLatticeHoldsTheGhostsOfTheTruth(t *testing.T) {
	s := plain(Fault{Cause: poorContact, At: "lower / upper", SeriesOhm: 5}, Fault{Cause: connectorMismatch, DistanceM: 2, SeriesHenry: 0.6e-9})
	result, err := Run(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	l, err := Bounces(context.Background(), s, -70)
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Truth.Ghosts) < 2 {
		t.Fatalf("the truth has %d ghosts", len(result.Truth.Ghosts))
	}
	for _, g := range result.Truth.Ghosts {
		found := false
		for _, p := range l.Paths {
			if p.Bounces() == 1 && math.Abs(p.DistanceM-g.DistanceM) < 0.01 && math.Abs(p.LevelDB-g.LevelDB) < 2 {
				found = true
			}
		}
		if !found {
			t.Errorf("no path at %.2f m of %.1f dB, back at %.2f m", g.DistanceM, g.LevelDB, g.BackAtM)
		}
	}
}

func TestLatticeRefusesAndStops(t *testing.T) {
	s := plain()
	if _, err := Bounces(context.Background(), s, -5); err == nil || err.Error() != "lattice: a level of -5 dB is outside -120 to -10" {
		t.Errorf("a level of -5 dB: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Bounces(ctx, s, -60); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}
