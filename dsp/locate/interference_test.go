package locate

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"downlead/cables"
)

// hit adds interference to count points, every fifth of them with its
// neighbour, of levels between -40 dB and 0 dB of a full reflection, and
// returns what it added.
func hit(gamma []complex128, count int, rng *rand.Rand) map[int]float64 {
	size := map[int]float64{}
	add := func(k int) {
		a := math.Pow(10, -2*rng.Float64())
		gamma[k] += cmplx.Rect(a, 2*math.Pi*rng.Float64())
		size[k] = a
	}
	for len(size) < count {
		k := rng.IntN(len(gamma) - 1)
		crowded := false
		for j := k - 3; j <= k+4; j++ {
			crowded = crowded || size[j] > 0
		}
		if crowded { // more than two together is no longer a matter of single points
			continue
		}
		add(k)
		if len(size)%5 == 0 && len(size) < count {
			add(k + 1)
		}
	}
	return size
}

// formDB is how far a size may move when what stands in front of it changes its
// form: a shunt and a series point of the same reflection r = 0.057 differ by
// 40·lg((1+r)/(1-r)) = 1.98 dB in what they let through, and all that lies
// behind makes up for that: where its own size is free, one port cannot tell.
const formDB = 2.05

// TestInterference hits 1 % and 5 % of the points: they must be left out, few
// others with them, and the answer must hold.
func TestInterference(t *testing.T) {
	f := grid(1001, 25e6, 1200e6)
	for _, c := range []struct {
		name string
		load cables.Load
		end  func(float64) complex128
		// least is the share that must be left out. With an antenna the fit
		// hardly weighs the ends of the band, and follows its reflection less
		// closely than a weak spike is high: some 15 % stay in, and do no harm.
		least float64
	}{
		{"termination", cables.Load{Kind: cables.Termination, ReturnLossDB: 30}, func(float64) complex128 { return 0.02 }, 0.97},
		{"antenna", cables.Load{Kind: cables.Antenna, BandHz: [2]float64{824e6, 960e6}, ReturnLossDB: 16}, resonant(890e6, 150e6), 0.8},
		{"open", cables.Load{Kind: cables.Open}, func(float64) complex128 { return 1 }, 0.97},
	} {
		t.Run(c.name, func(t *testing.T) {
			line := feeder(t, c.load)
			clean := build(line.Path, f, []part{{2.62, resistance(6)}, {17.3, capacitance(0.6e-12)}}, c.end)
			rng := rand.New(rand.NewPCG(20, 1))
			without := find(t, f, noisy(clean, 1e-4, rng), line)
			if n := len(without.LeftOut); n > 0 {
				t.Errorf("clean sweep: %d points left out", n)
			}
			caught, all, wrong := 0, 0, 0
			for trial := range 12 {
				gamma := noisy(clean, 1e-4, rng)
				size := hit(gamma, 10+40*(trial%2), rng)
				r := find(t, f, gamma, line)
				all += len(size)
				for _, k := range r.LeftOut {
					if size[k] > 0 {
						caught++
					} else {
						wrong++
					}
				}
				// What is left must be less than a tenth of the weakest spike.
				if c.least > 0.9 && r.NoiseRMS > 1e-3 {
					t.Errorf("trial %d: noise %.2g, without interference %.2g", trial, r.NoiseRMS, without.NoiseRMS)
				}
				for _, want := range without.Reflections {
					if want.ReturnLossDB > 35 {
						continue
					}
					got, _ := nearest(r, want.DistanceM)
					if d := math.Abs(got.DistanceM - want.DistanceM); d > want.SigmaM {
						t.Errorf("trial %d: %.4f m, without interference %.4f ± %.2g m", trial, got.DistanceM, want.DistanceM, want.SigmaM)
					}
					if d := math.Abs(got.ReturnLossDB - want.ReturnLossDB); d > formDB {
						t.Errorf("trial %d: return loss at %.2f m is %.2f dB, without interference %.2f dB", trial, want.DistanceM, got.ReturnLossDB, want.ReturnLossDB)
					}
					if got.Excess != want.Excess {
						t.Errorf("trial %d: reflection at %.2f m is called a fault: %v, was: %v", trial, want.DistanceM, got.Excess, want.Excess)
					}
				}
			}
			t.Logf("left out %d of %d hit, and %d others", caught, all, wrong)
			if float64(caught) < c.least*float64(all) {
				t.Errorf("left out only %d of %d points hit", caught, all)
			}
			if wrong > all/50 {
				t.Errorf("left out %d points that were not hit, with %d hit", wrong, all)
			}
		})
	}
}

// TestNothingLeftOut sweeps quiet lines, with narrow-band antennas too: their
// resonances are sharp, but nothing of them is interference.
func TestNothingLeftOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 1))
	for _, bandHz := range []float64{5e6, 10e6, 20e6, 60e6, 200e6} {
		for _, n := range []int{401, 1001} {
			line := feeder(t, cables.Load{Kind: cables.Antenna, BandHz: [2]float64{890e6 - bandHz/2, 890e6 + bandHz/2}, ReturnLossDB: 16})
			for _, noise := range []float64{1e-5, 1e-3} {
				f := grid(n, 600e6, 1200e6)
				r := find(t, f, noisy(build(line.Path, f, []part{{2.62, resistance(3)}}, resonant(890e6, bandHz)), noise, rng), line)
				if len(r.LeftOut) > 0 {
					t.Errorf("%d points, antenna of %.0f MHz, noise %g: left out %d", n, bandHz/1e6, noise, len(r.LeftOut))
				}
			}
		}
	}
}
