package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// Wet cable that hardly reflects where a search with a window over the band
// looks: long tapers on a wide sweep, much loss in front of an antenna, and wet cable
// whose far edge lies at a joint. One finding, and nothing behind it is called a
// fault for coming back late and weak.
func TestWetCableAlongTheLine(t *testing.T) {
	if testing.Short() {
		t.Skip("five diagnoses")
	}
	for _, c := range []struct {
		name   string
		load   cables.LoadKind
		fault  simulate.Fault
		within float64
	}{
		{"long tapers", cables.Termination, simulate.Fault{DistanceM: 7, ExtentM: 3, ImpedanceDrop: 0.1, LossTangent: 0.02, TaperM: 0.8}, 0.4},
		{"in front of an antenna", cables.Antenna, simulate.Fault{DistanceM: 9, ExtentM: 2, ImpedanceDrop: 0.15, LossTangent: 0.025, TaperM: 0.35}, 0.3},
		{"in front of an open end", cables.Open, simulate.Fault{DistanceM: 6, ExtentM: 4, ImpedanceDrop: 0.2, LossTangent: 0.006, TaperM: 0.6}, 0.4},
		{"in front of a short", cables.Short, simulate.Fault{DistanceM: 12, ExtentM: 1.5, ImpedanceDrop: 0.12, LossTangent: 0.01, TaperM: 0.2}, 0.2},
		{"up to a joint", cables.Termination, simulate.Fault{DistanceM: 15.2, ExtentM: 1.79, ImpedanceDrop: 0.12, LossTangent: 0.01, TaperM: 0.1}, 0.2},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.fault.Cause = string(WaterInCable)
			found, _ := diagnosed(t, clearLine(c.load, c.fault))
			faults := faultsOf(found)
			for _, f := range faults {
				t.Logf("%s (%.2f) at %.3f ± %.3f m, extent %.3f m; %s", f.Cause, f.Confidence, f.DistanceM, f.SigmaM, f.ExtentM, f.Evidence)
			}
			if len(faults) != 1 || faults[0].Cause != WaterInCable {
				t.Fatalf("%d faults, want wet cable alone", len(faults))
			}
			f := faults[0]
			if math.Abs(f.DistanceM-c.fault.DistanceM) > c.within {
				t.Errorf("at %.2f m, is at %.2f m", f.DistanceM, c.fault.DistanceM)
			}
			if math.Abs(f.ExtentM-c.fault.ExtentM) > 0.25*c.fault.ExtentM {
				t.Errorf("over %.2f m, is %.2f m", f.ExtentM, c.fault.ExtentM)
			}
		})
	}
}

// No sound line is taken for wet: joints, lengths, velocities and roughness as drawn, any
// load.
func TestSoundLinesAreDry(t *testing.T) {
	if testing.Short() {
		t.Skip("forty diagnoses")
	}
	random := rand.New(rand.NewPCG(41, 1))
	for i := range 40 {
		scenario := clearLine([]cables.LoadKind{cables.Antenna, cables.Termination, cables.Open, cables.Short}[i%4])
		scenario.Seed = random.Uint64()
		scenario.AsBuilt = simulate.AsBuilt{JointReturnLossDB: [2]float64{34, 46}, ImpedanceOhm: 0.3, Loss: 0.02, Velocity: 0.002, Length: 0.005, Roughness: 1e-3}
		scenario.Errors.DirectivityDB, scenario.Errors.SourceMatchDB = 40, 34
		band := [][2]float64{{10e6, 3e9}, {5e6, 1e9}, {380e6, 470e6}, {700e6, 1000e6}, {1710e6, 2170e6}}[i%5]
		scenario.Sweep.Segments[0].LowHz, scenario.Sweep.Segments[0].HighHz, scenario.Sweep.Segments[0].Points = band[0], band[1], 601
		found, _ := diagnosed(t, scenario)
		for _, f := range faultsOf(found) {
			if f.Cause == WaterInCable {
				t.Errorf("seed %d: %s at %.2f m (%.2f): %s", scenario.Seed, f.Cause, f.DistanceM, f.Confidence, f.Evidence)
			}
		}
	}
}

// In front of an antenna the sweep is located under a window, which hides its low end, and that is where long edges
// reflect. What they reflect there is no unevenness. What is said of the antenna behind it is not asked here.
func TestWetCableThatAWindowHides(t *testing.T) {
	for _, taperM := range []float64{0.4, 0.86} {
		s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(WaterInCable), DistanceM: 13, ExtentM: 5, ImpedanceDrop: 0.2, LossTangent: 0.005, TaperM: taperM}), 10e6, 2000e6, 1001)
		s.Line.Sections[1].LengthM = 27
		s.Line.Load.BandHz = [2]float64{350e6, 400e6}
		s.Antenna.Model, s.Seed = "wide-band", 3
		found, _ := diagnosed(t, s)
		f := nearestFault(t, found, 13)
		if f.Cause != WaterInCable || math.Abs(f.DistanceM-13) > 0.2 || math.Abs(f.ExtentM-5) > 0.25 {
			t.Errorf("taper %.2f m: told %s at %.2f m over %.2f m, want water in 5 m from 13 m on", taperM, f.Cause, f.DistanceM, f.ExtentM)
		}
	}
}

// Beside wet cable that was found a search for the rest of the line that begins with nothing may put a device half a wave
// off, and lose both. Drawn lines.
func TestRestOfALineBesideWetCable(t *testing.T) {
	if testing.Short() {
		t.Skip("two diagnoses")
	}
	for _, seed := range []uint64{75009, 76001} {
		s := drawn(t, seed, WaterInCable)
		found, truth := diagnosed(t, s)
		alone(t, found, WaterInCable, truth.Faults[0].DistanceM, 0.1)
	}
}

// Beside a contact that hides it, on a line that loses more than recorded as well, wet cable leaves much of what it does not
// explain: what its edges reflect is more than any unevenness all the same.
func TestWetCableBesideAContact(t *testing.T) {
	if testing.Short() {
		t.Skip("a diagnosis of two faults")
	}
	s := drawn(t, 84001, "double")
	found, truth := diagnosed(t, s)
	for _, f := range truth.Faults {
		near := nearestFault(t, found, f.DistanceM)
		if string(near.Cause) != f.Cause || math.Abs(near.DistanceM-f.DistanceM) > 0.2 {
			t.Errorf("%s at %.2f m: told %s at %.2f m", f.Cause, f.DistanceM, near.Cause, near.DistanceM)
		}
	}
}

// Over a transmit band the edges of wet cable in front of a termination or an antenna hardly reflect, and a joint beside it reflects
// more. How late and weak all comes that is behind it tells of it. Drawn lines.
func TestWetCableThatOnlyWhatIsBehindShows(t *testing.T) {
	if testing.Short() {
		t.Skip("three diagnoses")
	}
	for _, seed := range []uint64{89006, 93015, 95011} {
		s := drawn(t, seed, WaterInCable)
		found, truth := diagnosed(t, s)
		f := truth.Faults[0]
		told := nearestFault(t, found, f.DistanceM)
		if told.Cause != WaterInCable || math.Abs(told.DistanceM-f.DistanceM) > 0.6 {
			t.Errorf("seed %d: told %s at %.2f m, is water from %.2f m over %.2f m", seed, told.Cause, told.DistanceM, f.DistanceM, f.ExtentM)
		}
	}
}
