package distance

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"downlead/cables"
)

// A mirror in the electrical middle of the gate comes out exactly on any grid,
// its loss and dispersion included (closed form e^{-2Θ}); 1e-9 is rounding and
// the sums' tolerance lifted by the division.
func TestGateKeepsTheMiddle(t *testing.T) {
	path := mustPath(t, feederLine(true))
	middle := path.PhysicalM((path.ElectricalM(20) + path.ElectricalM(30)) / 2)
	for _, grid := range [][]float64{uniform(600e6, 1100e6, 401), logarithmic(300e6, 1500e6, 500), append(uniform(600e6, 700e6, 80), uniform(800e6, 900e6, 90)...)} {
		gamma := mirrors(path, grid, []float64{middle}, []complex128{0.3i})
		kept, err := Gate(path, grid, gamma, GateSettings{FromM: 20, ToM: 30})
		if err != nil {
			t.Fatal(err)
		}
		for k := range kept {
			if cmplx.Abs(kept[k]-gamma[k]) > 1e-9 {
				t.Fatalf("%d points: %v at %g Hz, want %v", len(grid), kept[k], grid[k], gamma[k])
			}
		}
	}
}

// Several mirrors inside are kept, one of them growing with frequency as a
// series inductance does, and large ones outside are taken out: away from the
// ends of the band by a few reciprocal gate lengths the error is below -60 dB
// of the mirrors outside.
func TestGateTakesOutTheRest(t *testing.T) {
	path := mustPath(t, feederLine(true))
	grid := uniform(500e6, 1500e6, 1001)
	want := mirrors(path, grid, []float64{22, 28.5}, []complex128{0.02, -0.03i})
	for k, f := range grid {
		want[k] += complex(0, 0.02*f/1e9) * cmplx.Exp(-2*path.Theta(f, 25))
	}
	gamma := mirrors(path, grid, []float64{2.5, 40, 53.16}, []complex128{0.1, 0.2i, 0.9})
	for k := range gamma {
		gamma[k] += want[k]
	}
	kept, err := Gate(path, grid, gamma, GateSettings{FromM: 19, ToM: 31, TaperM: 2})
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for k := 200; k <= 800; k++ {
		worst = max(worst, cmplx.Abs(kept[k]-want[k]))
	}
	if worst > 1e-3 {
		t.Errorf("error %.2g in the middle of the band", worst)
	}
}

// A gate as wide as everything keeps everything but the ends of the band.
func TestGateOverAllKeepsAll(t *testing.T) {
	path := mustPath(t, feederLine(true))
	grid := uniform(500e6, 1500e6, 1001)
	gamma := mirrors(path, grid, []float64{2.5, 40, 53.16}, []complex128{0.1, 0.2i, 0.9})
	kept, err := Gate(path, grid, gamma, GateSettings{FromM: -20, ToM: 76, TaperM: 20})
	if err != nil {
		t.Fatal(err)
	}
	for k := 50; k < 951; k++ {
		if cmplx.Abs(kept[k]-gamma[k]) > 2e-3 {
			t.Fatalf("%v at %g Hz, want %v", kept[k], grid[k], gamma[k])
		}
	}
}

func TestGateErrors(t *testing.T) {
	path := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.85}, 12)
	grid := uniform(1e8, 2e8, 11)
	for _, s := range []GateSettings{{FromM: 3, ToM: 3}, {FromM: 4, ToM: 3}, {FromM: math.NaN(), ToM: 3}, {ToM: math.Inf(1)}, {ToM: 3, TaperM: -1}, {ToM: 1e12}} {
		if kept, err := Gate(path, grid, make([]complex128, 11), s); kept != nil || err == nil || !strings.Contains(err.Error(), "gate") {
			t.Errorf("%+v: error %v", s, err)
		}
	}
	if _, err := Gate(path, grid, make([]complex128, 3), GateSettings{ToM: 3}); err == nil {
		t.Error("values and frequencies differ in number, and no error")
	}
}
