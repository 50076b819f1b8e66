package distance

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp"
)

// A farm of our own: Hollin Ridge, three feeders.
func feederLine(lossy bool) *cables.Line {
	loss := func(points ...[2]float64) []cables.AttenuationPoint {
		var out []cables.AttenuationPoint
		for _, p := range points {
			if lossy {
				out = append(out, cables.AttenuationPoint{FrequencyHz: p[0], DBPerHundredM: p[1]})
			}
		}
		return out
	}
	return &cables.Line{
		Name: "Hollin Ridge east",
		Cables: []cables.Type{
			{ID: "jumper", ImpedanceOhm: 50, VelocityFactor: 0.82, VelocityFactorTolerance: 0.01,
				Attenuation: loss([2]float64{100e6, 3.3}, [2]float64{1000e6, 11.2}, [2]float64{2000e6, 16.5}), MaxFrequencyHz: 10e9},
			{ID: "feeder", ImpedanceOhm: 50, VelocityFactor: 0.89, VelocityFactorTolerance: 0.01,
				Attenuation: loss([2]float64{100e6, 1.2}, [2]float64{1000e6, 4.0}, [2]float64{2000e6, 6.0}), MaxFrequencyHz: 5e9},
		},
		Sections: []cables.Section{{Name: "bottom jumper", CableID: "jumper", LengthM: 2.5}, {Name: "feeder", CableID: "feeder", LengthM: 48.81},
			{Name: "top jumper", CableID: "jumper", LengthM: 1.75}},
		Devices: []cables.Device{{After: "bottom jumper", Kind: "surge-arrestor", LengthM: 0.1}},
		Load:    cables.Load{Kind: cables.Antenna, BandHz: [2]float64{824e6, 960e6}},
	}
}

func mustPath(t testing.TB, line *cables.Line) *cables.Path {
	t.Helper()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func onePath(medium cables.Medium, lengthM float64) *cables.Path {
	return &cables.Path{ReferenceOhm: 50, Spans: []cables.Span{{Name: "feeder", LengthM: lengthM, Medium: medium}}}
}

func uniform(low, high float64, n int) []float64 {
	f := make([]float64, n)
	for k := range f {
		f[k] = low + (high-low)*float64(k)/float64(n-1)
	}
	return f
}

func logarithmic(low, high float64, n int) []float64 {
	f := make([]float64, n)
	for k := range f {
		f[k] = low * math.Pow(high/low, float64(k)/float64(n-1))
	}
	return f
}

func randomGamma(seed uint64, n int) []complex128 {
	random := rand.New(rand.NewPCG(seed, 2))
	g := make([]complex128, n)
	for k := range g {
		g[k] = complex(random.NormFloat64(), random.NormFloat64())
	}
	return g
}

// mirrors returns the sweep of small mirrors at the places x: Σ r·e^{-2Θ}.
func mirrors(path *cables.Path, frequencyHz, x []float64, r []complex128) []complex128 {
	g := make([]complex128, len(frequencyHz))
	for k, f := range frequencyHz {
		for i := range x {
			g[k] += r[i] * cmplx.Exp(-2*path.Theta(f, x[i]))
		}
	}
	return g
}

// worstDifference returns the largest difference of two profiles relative to
// full scale: the largest of a profile of total reflections, at least 1.
func worstDifference(a, b []complex128) float64 {
	worst, scale := 0.0, 1.0
	for n := range a {
		worst = max(worst, cmplx.Abs(a[n]-b[n]))
		scale = max(scale, cmplx.Abs(b[n]))
	}
	return worst / scale
}

// The promise: within 1e-9 of the direct sum without loss and dispersion,
// within 1e-6 along any line; held here to a tenth of that.
func TestProfileAgainstDirectSum(t *testing.T) {
	lossless := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.88}, 60)
	heavy := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.66, ConductorNp: 3e-6, DielectricNp: 2e-11}, 100)
	site, bare := mustPath(t, feederLine(true)), mustPath(t, feederLine(false))
	holes := uniform(700e6, 1000e6, 301)
	holes = append(holes[:80:80], holes[120:]...)
	segments := append(uniform(100e6, 400e6, 151), uniform(405e6, 2.5e9, 420)...)
	for _, c := range []struct {
		name      string
		path      *cables.Path
		grid      []float64
		settings  Settings
		tolerance float64
	}{
		{"lossless, uniform", lossless, uniform(600e6, 1100e6, 401), Settings{}, 1e-10},
		{"lossless, rectangular, beyond the alias-free range", lossless, uniform(600e6, 1100e6, 101), Settings{Window: dsp.Window{Kind: dsp.Rectangular}, FromM: -20, ToM: 200, Points: 777}, 1e-10},
		{"lossless, a small part", lossless, uniform(600e6, 1100e6, 801), Settings{FromM: 20, ToM: 21, Points: 55}, 1e-10},
		{"lossless, hole", lossless, holes, Settings{}, 1e-10},
		{"lossless, logarithmic", lossless, logarithmic(50e6, 3e9, 333), Settings{}, 1e-10},
		{"lossless sections", bare, uniform(600e6, 1100e6, 401), Settings{}, 1e-10},
		{"site", site, uniform(600e6, 1100e6, 401), Settings{}, 1e-7},
		{"site, corrected everywhere", site, uniform(100e6, 3e9, 601), Settings{Loss: LossCorrected, FromM: -5, ToM: 80}, 1e-7},
		{"site, loss left in", site, uniform(100e6, 3e9, 601), Settings{Loss: LossUncorrected, Points: 1201}, 1e-7},
		{"site, hole", site, holes, Settings{}, 1e-7},
		{"site, segments", site, segments, Settings{}, 1e-7},
		{"site, logarithmic", site, logarithmic(50e6, 3e9, 333), Settings{}, 1e-7},
		{"heavy loss, held back by noise", heavy, uniform(100e6, 3e9, 601), Settings{}, 1e-7},
		{"heavy loss, corrected", heavy, uniform(100e6, 1e9, 201), Settings{Loss: LossCorrected}, 1e-7},
		{"two points", site, []float64{1e9, 1.1e9}, Settings{}, 1e-7},
		{"one place", site, uniform(600e6, 1100e6, 51), Settings{FromM: 3, ToM: 4, Points: 1}, 1e-7},
	} {
		if c.settings.Points == 0 {
			c.settings.Points = 401 // the direct sum is slow
		}
		transform, err := New(c.path, c.grid, c.settings)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		gamma := randomGamma(5, len(c.grid))
		fast, direct := transform.Profile(nil, gamma), transform.Direct(nil, gamma)
		if worst := worstDifference(fast.Amplitude, direct.Amplitude); !(worst <= c.tolerance) {
			t.Errorf("%s: %.2g of full scale from the direct sum, want %g", c.name, worst, c.tolerance)
		}
	}
}

// cables.Path.Theta as the independent definition of P(x).
func TestDirectAgainstDefinition(t *testing.T) {
	path := mustPath(t, feederLine(true))
	grid := logarithmic(300e6, 2e9, 61)
	transform, err := New(path, grid, Settings{Loss: LossCorrected, FromM: -3, ToM: 70, Points: 91})
	if err != nil {
		t.Fatal(err)
	}
	gamma := randomGamma(9, len(grid))
	profile := transform.Direct(nil, gamma)
	for n, x := range profile.DistanceM {
		var sum complex128
		total := 0.0
		for k, f := range grid {
			sum += complex(transform.Weights()[k], 0) * gamma[k] * cmplx.Exp(2*path.Theta(f, x))
			total += transform.Weights()[k]
		}
		if want := sum / complex(total, 0); cmplx.Abs(profile.Amplitude[n]-want) > 1e-11 {
			t.Fatalf("at %g m: %v, want %v", x, profile.Amplitude[n], want)
		}
	}
}

// A mirror of reflection r at x reads r at x whatever lies in front of it and
// whatever the grid: the sum of weights is 1. 1e-7 is the fast way's promise.
func TestMirrorReadsItsReflectionAtItsPlace(t *testing.T) {
	path := mustPath(t, feederLine(true))
	r := complex(0.3, -0.4)
	for _, grid := range [][]float64{uniform(600e6, 1100e6, 401), logarithmic(100e6, 3e9, 200), append(uniform(700e6, 800e6, 60), uniform(900e6, 1e9, 90)...)} {
		for _, kind := range dsp.Kinds() {
			for _, x := range []float64{0, 1.25, 2.55, 30, 53.16} {
				transform, err := New(path, grid, Settings{Window: dsp.Window{Kind: kind}, FromM: x, ToM: x + 1, Points: 3})
				if err != nil {
					t.Fatal(err)
				}
				got := transform.Profile(nil, mirrors(path, grid, []float64{x}, []complex128{r})).Amplitude[0]
				if cmplx.Abs(got-r) > 1e-7 {
					t.Errorf("%v, %d points, mirror at %g m reads %v, is %v", kind, len(grid), x, got, r)
				}
			}
		}
	}
}

// Parseval's theorem over one period of a rectangular, lossless profile:
// Σ|P|²/M = Σ|w·Γ|².
func TestParseval(t *testing.T) {
	const n, places = 101, 256
	grid := uniform(500e6, 600e6, n)
	period := cables.SpeedOfLight * 0.9 / (2 * 1e6)
	transform, err := New(onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.9}, 10), grid,
		Settings{Window: dsp.Window{Kind: dsp.Rectangular}, ToM: period * (places - 1) / places, Points: places})
	if err != nil {
		t.Fatal(err)
	}
	gamma := randomGamma(4, n)
	var over, along float64
	for _, g := range gamma {
		over += real(g*cmplx.Conj(g)) / (n * n)
	}
	for _, p := range transform.Profile(nil, gamma).Amplitude {
		along += real(p*cmplx.Conj(p)) / places
	}
	if math.Abs(along/over-1) > 1e-10 {
		t.Errorf("energy along the line %.12g, over frequency %.12g", along, over)
	}
}

// The loss correction is held back where its own rule says, and at the end of
// the line at the latest.
func TestLossIsHeldBack(t *testing.T) {
	// A narrow band, in which α is 0.02 Np/m throughout.
	medium := cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.8, DielectricNp: 0.02 / 1e9}
	path := onePath(medium, 200)
	grid := uniform(0.999e9, 1.001e9, 201)
	settings := Settings{Window: dsp.Window{Kind: dsp.Rectangular}, NoiseRMS: 1e-2, CeilingDB: 40}
	transform, err := New(path, grid, settings)
	if err != nil {
		t.Fatal(err)
	}
	profile := transform.Profile(nil, make([]complex128, len(grid)))
	// 0.01/√201·e^{2·0.02·x} = 0.01: x = ln(√201)/0.04 = 66.29 m; the band is
	// 0.2 % wide, which moves it by less than a centimetre.
	if want := math.Log(math.Sqrt(201)) / 0.04; math.Abs(profile.HeldFromM-want) > 0.01 || !profile.HeldByNoise {
		t.Errorf("held from %.3f m by noise %v, want %.3f", profile.HeldFromM, profile.HeldByNoise, want)
	}
	// Behind it a mirror reads less by the loss beyond.
	for _, x := range []float64{60, 100} {
		one, err := New(path, grid, Settings{Window: settings.Window, NoiseRMS: 1e-2, FromM: x, ToM: x + 1, Points: 2})
		if err != nil {
			t.Fatal(err)
		}
		got := cmplx.Abs(one.Profile(nil, mirrors(path, grid, []float64{x}, []complex128{1})).Amplitude[0])
		want := math.Exp(-0.04 * max(0, x-profile.HeldFromM))
		if math.Abs(got-want) > 1e-4 {
			t.Errorf("a total reflection at %g m reads %.5f, want %.5f", x, got, want)
		}
	}
	settings.NoiseRMS = 1e-9
	if transform, err = New(path, grid, settings); err != nil {
		t.Fatal(err)
	}
	if p := transform.Profile(nil, make([]complex128, len(grid))); p.HeldFromM != 200 || p.HeldByNoise {
		t.Errorf("without noise held from %g m by noise %v, want the end of the line", p.HeldFromM, p.HeldByNoise)
	}
	settings.Loss = LossCorrected
	if transform, err = New(path, grid, settings); err != nil {
		t.Fatal(err)
	}
	if p := transform.Profile(nil, make([]complex128, len(grid))); !math.IsInf(p.HeldFromM, 1) {
		t.Errorf("corrected everywhere, yet held from %g m", p.HeldFromM)
	}
}

func TestNewErrors(t *testing.T) {
	path := mustPath(t, feederLine(true))
	grid := uniform(1e8, 2e8, 11)
	for _, c := range []struct {
		name     string
		path     *cables.Path
		grid     []float64
		settings Settings
		want     string
	}{
		{"no path", nil, grid, Settings{}, "no span"},
		{"empty path", &cables.Path{}, grid, Settings{}, "no span"},
		{"one point", path, grid[:1], Settings{}, "too few"},
		{"zero frequency", path, []float64{0, 1e8}, Settings{}, "frequency 1 (0 Hz)"},
		{"not ascending", path, []float64{1e8, 1e8}, Settings{}, "frequency 2"},
		{"NaN", path, []float64{1e8, math.NaN()}, Settings{}, "frequency 2"},
		{"infinite", path, []float64{1e8, math.Inf(1)}, Settings{}, "frequency 2"},
		{"window", path, grid, Settings{Window: dsp.Window{Kind: 99}}, "no such window"},
		{"loss", path, grid, Settings{Loss: 7}, "no such loss"},
		{"upside down", path, grid, Settings{FromM: 9, ToM: 3}, "empty"},
		{"endless", path, grid, Settings{ToM: math.Inf(1)}, "endless"},
		{"too wide", path, grid, Settings{ToM: 1e9}, "cells"},
		{"points", path, grid, Settings{Points: -1}, "places"},
	} {
		if transform, err := New(c.path, c.grid, c.settings); transform != nil || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
	}
}
