package distance

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"downlead/cables"
)

// Line of 50 ohm with a long 75-ohm end, matched at the end: the textbook step
// ρ = (75-50)/(75+50) = 0.2 (closed form), Γ(f) = 0.2·e^{-2γl}.
func TestStepOfFiftyToSeventyFive(t *testing.T) {
	fifty := cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.85}
	seventyFive := cables.Medium{ImpedanceOhm: 75, VelocityFactor: 0.8}
	path := &cables.Path{ReferenceOhm: 50, Spans: []cables.Span{
		{Name: "feeder", LengthM: 10, Medium: fifty}, {Name: "drop", StartM: 10, LengthM: 5, Medium: seventyFive}}}
	load := func(float64) complex128 { return 0.2 } // 75 ohm in 50
	for _, c := range []struct {
		name      string
		first     float64 // in steps
		tolerance float64 // in ρ
	}{{"from one step", 1, 1e-3}, {"from three steps", 3, 1e-3}, {"a little off the multiples", 2.004, 2e-3}} {
		grid := make([]float64, 600)
		for k := range grid {
			grid[k] = 3e6 * (c.first + float64(k))
		}
		gamma := path.Cascade().Reflection(grid, load, 50)
		profile, err := Step(path, grid, gamma, StepSettings{FromM: -1, ToM: 15})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(profile.DCReflection-0.2) > c.tolerance {
			t.Errorf("%s: Γ(0) = %.5f, is 0.2", c.name, profile.DCReflection)
		}
		for i, x := range profile.DistanceM {
			want := 50.0
			if x > 10 {
				want = 75
			}
			if away := math.Abs(x - 10); away > profile.RiseM && math.Abs(profile.ImpedanceOhm[i]/want-1) > 2.5*c.tolerance {
				t.Errorf("%s: %.3f ohm at %.3f m, is %g", c.name, profile.ImpedanceOhm[i], x, want)
				break
			}
		}
		// Half way up at the step itself.
		for i, x := range profile.DistanceM {
			if i > 0 && x >= 10 {
				before := profile.Reflection[i-1]
				at := before + (profile.Reflection[i]-before)*(10-profile.DistanceM[i-1])/(x-profile.DistanceM[i-1])
				if math.Abs(at-0.1) > 2*c.tolerance {
					t.Errorf("%s: ρ = %.4f at the step, want half of 0.2", c.name, at)
				}
				break
			}
		}
	}
}

// An open far end and a short one read as such: ρ is +1 and -1 behind them
// (closed form), and Γ(0) with it.
func TestStepOfOpenAndShort(t *testing.T) {
	path := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.85}, 12)
	grid := uniform(5e6, 1000e6, 200)
	for _, end := range []float64{1, -1} {
		gamma := mirrors(path, grid, []float64{12}, []complex128{complex(end, 0)})
		profile, err := Step(path, grid, gamma, StepSettings{ToM: 14})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(profile.DCReflection-end) > 2e-3 {
			t.Errorf("Γ(0) = %.5f, is %g", profile.DCReflection, end)
		}
		if got := profile.Reflection[len(profile.Reflection)-1]; math.Abs(got-end) > 5e-3 {
			t.Errorf("ρ behind the end is %.4f, is %g", got, end)
		}
		if got := profile.Reflection[500]; math.Abs(got) > 2e-3 {
			t.Errorf("ρ in the middle of the cable is %.4f, is 0", got)
		}
	}
}

func TestStepRefusals(t *testing.T) {
	path := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.85}, 12)
	filtered := &cables.Path{ReferenceOhm: 50, Spans: append([]cables.Span{{Device: &cables.Device{Kind: "filter", PassbandHz: [2]float64{800e6, 960e6}}, Medium: cables.Air}}, path.Spans...)}
	uneven := uniform(5e6, 1e9, 200)
	uneven[100] += 1e6
	for _, c := range []struct {
		name string
		path *cables.Path
		grid []float64
		want string
	}{
		{"high start", path, uniform(800e6, 1000e6, 201), "starts at 800 MHz"},
		{"off the multiples", path, uniform(7.5e6, 7.5e6+199*5e6, 200), "1.5 steps"},
		{"uneven", path, uneven, "needs an even grid"},
		{"filter", filtered, uniform(5e6, 1e9, 200), "the filter passes only 800 MHz and up"},
		{"too coarse", path, uniform(12e6, 1.2e9, 100), "fills"},
	} {
		profile, err := Step(c.path, c.grid, make([]complex128, len(c.grid)), StepSettings{})
		if profile != nil || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got error %v, want one with %q", c.name, err, c.want)
		}
	}
}

// Noise in the extrapolated points stays below the amplification stated.
func TestStepNoiseAmplificationHolds(t *testing.T) {
	path := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.85}, 12)
	grid := uniform(15e6, 1000e6, 198)
	var sum, stated float64
	const trials = 40
	for trial := range trials {
		noise := randomGamma(uint64(trial), len(grid))
		profile, err := Step(path, grid, noise, StepSettings{})
		if err != nil {
			t.Fatal(err)
		}
		stated = profile.NoiseAmplification
		sum += profile.DCReflection * profile.DCReflection
	}
	if rms := math.Sqrt(sum / trials); rms > stated*cmplx.Abs(complex(1, 1)) {
		t.Errorf("Γ(0) has %.3g for noise of rms 1.41, more than %.3g times", rms, stated)
	}
}
