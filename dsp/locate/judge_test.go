package locate

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"downlead/cables"
)

var quietTermination = cables.Load{Kind: cables.Termination, ReturnLossDB: 26}

func matched(float64) complex128 { return 0.02 }
func opened(float64) complex128  { return 1 }
func shorted(float64) complex128 { return -1 }

// TestEchoes makes two strong mismatches: what bounces between them, and
// between them and a mismatched port, must be named with its places and not be
// taken for a fault.
func TestEchoes(t *testing.T) {
	f := grid(1001, 25e6, 1200e6)
	rng := rand.New(rand.NewPCG(30, 1))
	line := feeder(t, quietTermination)
	check := func(name string, r *Result, of [2]float64, at float64) {
		t.Helper()
		found := false
		for _, e := range r.Echoes {
			if math.Abs(e.Of[0]-of[0]) < 0.1 && math.Abs(e.Of[1]-of[1]) < 0.1 && math.Abs(e.DistanceM-at) < 0.2 {
				found = true
			}
		}
		for _, q := range r.Reflections {
			if q.Excess && math.Abs(q.DistanceM-at) < 0.3 {
				t.Errorf("%s: the echo at %.2f m is called a fault, %.1f dB", name, q.DistanceM, q.ReturnLossDB)
			}
		}
		if !found {
			t.Errorf("%s: no echo of %v at %.2f m among %d", name, of, at, len(r.Echoes))
		}
	}
	// 12 and 22 m bounce to 32 m: out to 22, back to 12, out to 22 again.
	r := find(t, f, noisy(build(line.Path, f, []part{{12, resistance(25)}, {22, resistance(30)}}, matched), 3e-5, rng), line)
	check("two resistances", r, [2]float64{12, 22}, 32)
	excess := 0
	for _, q := range r.Reflections {
		if q.Excess {
			excess++
		}
	}
	if excess != 2 {
		t.Errorf("two resistances: %d faults", excess)
	}

	// A bad contact at the test port, and the end open: twice the distance.
	short := plain(t, 0.88, 9)
	short.Load = cables.Load{Kind: cables.Open}
	r = find(t, f, noisy(build(short.Path, f, []part{{0, resistance(30)}}, opened), 3e-5, rng), short)
	check("port and end", r, [2]float64{0, 9}, 18)

	// The instrument's own source match.
	gamma := build(short.Path, f, nil, func(float64) complex128 { return 0.9 })
	for k, g := range gamma {
		gamma[k] = g / (1 - 0.03*g)
	}
	r = find(t, f, noisy(gamma, 3e-5, rng), short)
	check("source match", r, [2]float64{0, 9}, 18)
}

// TestJudging holds what is called more than the record allows.
func TestJudging(t *testing.T) {
	f := grid(1001, 25e6, 1200e6)
	rng := rand.New(rand.NewPCG(31, 1))
	antenna := cables.Load{Kind: cables.Antenna, BandHz: [2]float64{824e6, 960e6}, ReturnLossDB: 16}
	sound, end, nowhere := resonant(890e6, 800e6), 37.62, math.NaN()
	for _, c := range []struct {
		name  string
		load  cables.Load
		parts []part
		end   func(float64) complex128
		at    float64 // where a fault must be named
		kind  Kind
		total Total
	}{
		{"sound", quietTermination, []part{{0, inductance(0.2e-9)}, {2.5, inductance(0.25e-9)}, {2.62, capacitance(0.1e-12)}}, matched, nowhere, 0, 0},
		{"sound antenna", antenna, []part{{2.5, inductance(0.25e-9)}, {2.62, capacitance(0.1e-12)}}, sound, nowhere, 0, 0},
		{"sound open", cables.Load{Kind: cables.Open}, []part{{2.5, inductance(0.25e-9)}}, opened, nowhere, 0, 0},
		{"sound short", cables.Load{Kind: cables.Short}, []part{{2.5, inductance(0.25e-9)}}, shorted, nowhere, 0, 0},
		{"contact at a joint", quietTermination, []part{{2.62, resistance(15)}}, matched, 2.62, AtJoint, NotTotal},
		{"contact at a joint, antenna", antenna, []part{{2.62, resistance(15)}}, sound, 2.62, AtJoint, NotTotal},
		{"dent in the feeder", quietTermination, []part{{20.4, capacitance(0.6e-12)}}, matched, 20.4, Mid, NotTotal},
		{"dent just in front of a short", cables.Load{Kind: cables.Short}, []part{{end - 0.3, capacitance(3e-12)}}, shorted, end - 0.3, Mid, NotTotal},
		{"open in the feeder", quietTermination, []part{{20.4, resistance(1e6)}}, matched, 20.4, Mid, LikeOpen},
		{"short in the feeder", quietTermination, []part{{20.4, conductance(100)}}, matched, 20.4, Mid, LikeShort},
		{"open in the feeder, antenna", antenna, []part{{20.4, resistance(1e6)}}, matched, 20.4, Mid, LikeOpen},
		{"termination came off", quietTermination, nil, opened, end, AtFarEnd, LikeOpen},
		{"termination shorted", quietTermination, nil, shorted, end, AtFarEnd, LikeShort},
		{"termination bad", quietTermination, nil, func(float64) complex128 { return 0.2 }, end, AtFarEnd, NotTotal},
		{"short where open is meant", cables.Load{Kind: cables.Open}, nil, shorted, end, AtFarEnd, LikeShort},
		{"antenna detuned", antenna, nil, resonant(760e6, 150e6), end, AtFarEnd, NotTotal},
		{"antenna gone", antenna, nil, opened, end, AtFarEnd, LikeOpen},
	} {
		t.Run(c.name, func(t *testing.T) {
			line := feeder(t, c.load)
			r := find(t, f, noisy(build(line.Path, f, c.parts, c.end), 1e-4, rng), line)
			named := false
			for _, q := range r.Reflections {
				if !q.Excess {
					continue
				}
				if math.Abs(q.DistanceM-c.at) < 0.1 {
					named = true
					if q.Kind != c.kind || q.Total != c.total {
						t.Errorf("at %.3f m: kind %v, total %v, want %v, %v (%s)", q.DistanceM, q.Kind, q.Total, c.kind, c.total, q.Place)
					}
					continue
				}
				t.Errorf("a fault is named at %.3f m, %.1f dB, %s", q.DistanceM, q.ReturnLossDB, q.Place)
			}
			if !named && !math.IsNaN(c.at) {
				t.Errorf("no fault is named at %.2f m", c.at)
			}
		})
	}
}

// TestLocalSize holds the stated size, the loss on the way removed, to that of
// the part itself, z/(2+z).
func TestLocalSize(t *testing.T) {
	f := grid(1001, 25e6, 1200e6)
	line := feeder(t, quietTermination)
	rng := rand.New(rand.NewPCG(32, 1))
	for _, x := range []float64{6.2, 20.4, 33.1} {
		r, _ := nearest(find(t, f, noisy(build(line.Path, f, []part{{x, resistance(10)}}, matched), 1e-4, rng), line), x)
		want := -20 * math.Log10(cmplx.Abs(10.0/110))
		if math.Abs(r.ReturnLossDB-want) > 0.1 || math.Abs(r.PhaseDeg) > 3 {
			t.Errorf("at %.1f m: %.2f dB, %.1f degrees; want %.2f dB, 0", x, r.ReturnLossDB, r.PhaseDeg, want)
		}
	}
}
