package locate

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sync/atomic"
	"testing"

	"downlead/cables"
	"gonum.org/v1/gonum/mat"
)

// placeBound is the Cramér-Rao bound of the place of one part, m: the part's
// kind is known, its place and its value are not, everything else is. For
// complex normal noise of variance σ² the Fisher information is
// 2/σ²·Re(JᴴJ), J the derivatives of the sweep: S. M. Kay, "Fundamentals of
// Statistical Signal Processing: Estimation Theory", Prentice Hall 1993,
// sec. 3.9 and 15.7 (from memory). The derivatives are central differences
// of the chain matrices, so the bound shares nothing with what it judges.
func placeBound(path *cables.Path, frequencyHz []float64, kind func(float64) cables.Element, x, value, noiseRMS float64) float64 {
	at := func(x, value float64) []complex128 {
		return build(path, frequencyHz, []part{{x, kind(value)}}, nil)
	}
	const dx = 1e-5
	dv := 1e-4 * value
	up, down := at(x+dx, value), at(x-dx, value)
	more, less := at(x, value+dv), at(x, value-dv)
	fisher := mat.NewSymDense(2, nil)
	for k := range frequencyHz {
		// per metre, and per relative change of the value: of similar size
		j := [2]complex128{(up[k] - down[k]) / (2 * dx), (more[k] - less[k]) / 2e-4}
		for a := range j {
			for b := 0; b <= a; b++ {
				fisher.SetSym(a, b, fisher.At(a, b)+2/(noiseRMS*noiseRMS)*real(cmplx.Conj(j[a])*j[b]))
			}
		}
	}
	var inverse mat.Dense
	if err := inverse.Inverse(fisher); err != nil {
		return math.NaN()
	}
	return math.Sqrt(inverse.At(0, 0))
}

// TestIsolated holds the place of one reflection on a quiet line to the
// Cramér-Rao bound, and the stated deviation to the scatter. Of 500 honest
// trials the share within two sigma scatters by 0.93 % around 95.45 %, so each
// case may be off by three times that, and all together must lie in 93-97 %.
func TestIsolated(t *testing.T) {
	const trials = 500
	var within, all atomic.Int64
	t.Run("each", func(t *testing.T) { isolated(t, trials, &within, &all) })
	share := 100 * float64(within.Load()) / float64(all.Load())
	t.Logf("two sigma hold %.2f %% of %d", share, all.Load())
	if share < 93 || share > 97 {
		t.Errorf("two sigma hold %.2f %% of all", share)
	}
}

func isolated(t *testing.T, trials int, within, all *atomic.Int64) {
	for _, c := range []struct {
		name            string
		kind            func(float64) cables.Element
		value           float64
		x               float64
		n               int
		lowHz, highHz   float64
		signalToNoiseDB float64 // rms of the part's echo over that of the noise, per point
	}{
		{"resistance, 20 dB", resistance, 5, 7.31, 201, 25e6, 1200e6, 20},
		{"resistance, 40 dB", resistance, 5, 11.02, 201, 25e6, 1200e6, 40},
		{"resistance, 60 dB", resistance, 5, 2.17, 201, 25e6, 1200e6, 60},
		{"inductance, 30 dB", inductance, 1e-9, 9.47, 201, 25e6, 1200e6, 30},
		{"capacitance, 20 dB, high band", capacitance, 0.3e-12, 5.55, 161, 1700e6, 2200e6, 20},
		{"capacitance, 50 dB, low band", capacitance, 3e-12, 12.4, 101, 50e6, 350e6, 50},
		{"conductance, 40 dB", conductance, 1e-3, 13.1, 301, 300e6, 2700e6, 40},
		{"small resistance, 20 dB", resistance, 1, 8.8, 201, 25e6, 1200e6, 20},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			line := plain(t, 0.88, 15)
			f := grid(c.n, c.lowHz, c.highHz)
			clean := build(line.Path, f, []part{{c.x, c.kind(c.value)}}, nil)
			noise := rms(clean) * math.Pow(10, -c.signalToNoiseDB/20)
			bound := placeBound(line.Path, f, c.kind, c.x, c.value, noise)
			rng := rand.New(rand.NewPCG(10, uint64(c.x*100)))
			square, covered, missed := 0.0, 0, 0
			for range trials {
				r, ok := nearest(find(t, f, noisy(clean, noise, rng), line), c.x)
				if !ok || math.Abs(r.DistanceM-c.x) > 0.5 {
					missed++
					continue
				}
				d := r.DistanceM - c.x
				square += d * d
				if math.Abs(d) <= 2*r.NoiseM {
					covered++
				}
			}
			error, share := math.Sqrt(square/float64(trials)), 100*float64(covered)/float64(trials)
			within.Add(int64(covered))
			all.Add(int64(trials))
			t.Logf("rms error %.3g m, bound %.3g m, ratio %.3f, within two sigma %.1f %%, missed %d", error, bound, error/bound, share, missed)
			if missed > 0 {
				t.Errorf("missed %d", missed)
			}
			if error > 1.2*bound {
				t.Errorf("rms error is %.3f of the bound", error/bound)
			}
			if math.Abs(share-95.45) > 3*0.93 {
				t.Errorf("two sigma hold %.1f %%", share)
			}
		})
	}
}

// TestTwoNear parts two equal reflections 0.7 cell apart at 40 dB.
func TestTwoNear(t *testing.T) {
	const trials = 200
	for _, c := range []struct {
		name          string
		kind          func(float64) cables.Element
		value         float64
		n             int
		lowHz, highHz float64
	}{
		{"resistances", resistance, 2, 201, 25e6, 1200e6},
		{"resistances, high band", resistance, 2, 201, 1700e6, 2200e6},
		{"inductances", inductance, 0.3e-9, 201, 500e6, 2000e6},
		{"strong resistances", resistance, 8, 201, 100e6, 900e6},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			line := plain(t, 0.88, 15)
			f := grid(c.n, c.lowHz, c.highHz)
			cell := cables.SpeedOfLight * 0.88 / (2 * (c.highHz - c.lowHz))
			rng := rand.New(rand.NewPCG(11, 1))
			both, extra := 0, 0
			for range trials {
				x := 1 + 3*cell + (13-6*cell)*rng.Float64()
				if x > 14-3*cell {
					x = 14 - 3*cell
				}
				y := x + 0.7*cell
				one := build(line.Path, f, []part{{x, c.kind(c.value)}}, nil)
				noise := rms(one) * 0.01
				r := find(t, f, noisy(build(line.Path, f, []part{{x, c.kind(c.value)}, {y, c.kind(c.value)}}, nil), noise, rng), line)
				hit := [2]bool{}
				for _, q := range r.Reflections {
					if math.Abs(q.DistanceM-x) < 0.1*cell {
						hit[0] = true
					}
					if math.Abs(q.DistanceM-y) < 0.1*cell {
						hit[1] = true
					}
				}
				if hit[0] && hit[1] {
					both++
				}
				extra += len(r.Reflections)
			}
			share := 100 * float64(both) / trials
			t.Logf("both found in %.1f %%, %.2f reflections on average", share, float64(extra)/trials)
			if share < 95 {
				t.Errorf("both found in %.1f %% only", share)
			}
		})
	}
}

// TestFalseAlarms holds the rate at which noise alone shows a reflection to
// the one asked for. The rate is set high to be measured with few sweeps. It
// may not be exceeded by more than four deviations of the binomial
// distribution. Below, half is granted: Rice's rate counts crossings between
// the places that are looked at too, and the threshold follows the clutter
// around a place where that happens to stand above the noise.
func TestFalseAlarms(t *testing.T) {
	const trials = 2000
	for _, rate := range []float64{0.05, 0.01} {
		line := plain(t, 0.88, 15)
		f := grid(201, 25e6, 1200e6)
		rng := rand.New(rand.NewPCG(12, 1))
		alarms := 0
		for range trials {
			s := sweepOf(f, noisy(make([]complex128, len(f)), 1e-3, rng))
			settings := Settings{FalseAlarmRate: rate, FloorDB: 120}
			r, err := Find(t.Context(), s, line, settings)
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Reflections) > 0 {
				alarms++
			}
		}
		deviation := math.Sqrt(rate * (1 - rate) / trials)
		got := float64(alarms) / trials
		t.Logf("asked %.3f, got %.4f ± %.4f", rate, got, deviation)
		if got > rate+4*deviation || got < rate/2-4*deviation {
			t.Errorf("asked for a false-alarm rate of %.3f, got %.4f", rate, got)
		}
	}
}

// TestNoiseIsNoMoreThanWhatIsLeft holds the noise that a result states against what its points leave and against what was put in:
// in front of an antenna whose taps the fit leaves free at the edges of the band the two are not weighed alike.
func TestNoiseIsNoMoreThanWhatIsLeft(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 17))
	for _, bandHz := range []float64{20e6, 60e6, 200e6} {
		for _, edges := range [][2]float64{{840e6, 940e6}, {600e6, 1200e6}} {
			line := feeder(t, cables.Load{Kind: cables.Antenna, BandHz: [2]float64{890e6 - bandHz/2, 890e6 + bandHz/2}, ReturnLossDB: 16})
			f := grid(801, edges[0], edges[1])
			const noise = 1e-4
			r := find(t, f, noisy(build(line.Path, f, []part{{2.62, resistance(3)}, {34.5, resistance(12)}}, resonant(890e6, bandHz)), noise, rng), line)
			if r.NoiseRMS > 1.1*r.ResidualRMS || r.NoiseRMS < noise/1.5 {
				t.Errorf("antenna of %.0f MHz from %.0f MHz: noise %.3g, left %.3g, put in %.3g", bandHz/1e6, edges[0]/1e6, r.NoiseRMS, r.ResidualRMS, noise)
			}
		}
	}
}
