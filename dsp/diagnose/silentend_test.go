package diagnose

import (
	"context"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// Water that swallows what the end should throw back, and shows no edge of its own: the line looks all
// the better for it, and must not be called sound.
func TestAnEndThatIsSwallowed(t *testing.T) {
	swallows := func() simulate.Fault {
		return simulate.Fault{Cause: string(WaterInCable), DistanceM: 6, ExtentM: 9, ImpedanceDrop: 0.03, LossTangent: 0.045, TaperM: 3}
	}
	for _, load := range []cables.LoadKind{cables.Open, cables.Short, cables.Antenna} {
		t.Run(string(load), func(t *testing.T) {
			found, _ := diagnosed(t, band(clearLine(load, swallows()), 1710e6, 2170e6, 401))
			faults := faultsOf(found)
			for _, f := range faults {
				t.Logf("%s (%.2f) at %.3f ± %.3f m, extent %.3f m; %s", f.Cause, f.Confidence, f.DistanceM, f.SigmaM, f.ExtentM, f.Evidence)
			}
			if len(faults) != 1 || faults[0].Cause != WaterInCable {
				t.Fatalf("%d faults, want water in the cable alone", len(faults))
			}
			if f := faults[0]; f.DistanceM > 6.5 || f.DistanceM+f.ExtentM < 14.5 {
				t.Errorf("from %.2f m over %.2f m, is from 6 m over 9 m", f.DistanceM, f.ExtentM)
			}
		})
	}
	t.Run("in part", func(t *testing.T) { // 10 dB: more than an antenna is better than its record
		some := swallows()
		some.LossTangent = 0.008
		found, _ := diagnosed(t, band(clearLine(cables.Antenna, some), 1710e6, 2170e6, 401))
		faults := faultsOf(found)
		if len(faults) != 1 || faults[0].Cause != WaterInCable && faults[0].Cause != LossySection {
			t.Errorf("%d faults, want what loses in the cable alone", len(faults))
		}
	})
	t.Run("not looked at", func(t *testing.T) {
		made, err := simulate.Run(context.Background(), band(clearLine(cables.Open), 1710e6, 2170e6, 401))
		if err != nil {
			t.Fatal(err)
		}
		found, err := Run(context.Background(), made.Sweep, made.Line, Settings{RangeM: 10})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range faultsOf(found) {
			if strings.Contains(strings.Join(f.Evidence, " "), "comes back") {
				t.Errorf("looked no further than 10 m, and told of the end: %s", f.Evidence)
			}
		}
	})
}

// A sound line that the record knows brings its end back whatever the band.
func TestASoundEndIsNotMissed(t *testing.T) {
	for _, load := range []cables.LoadKind{cables.Open, cables.Short, cables.Antenna} {
		for _, edges := range [][2]float64{{10e6, 3e9}, {380e6, 470e6}, {1710e6, 2170e6}} {
			s := band(clearLine(load), edges[0], edges[1], 1201)
			if load == cables.Antenna { // the band must be swept
				s.Line.Load.BandHz = [2]float64{edges[0] + 0.2*(edges[1]-edges[0]), edges[0] + 0.6*(edges[1]-edges[0])}
			}
			found, _ := diagnosed(t, s)
			for _, f := range faultsOf(found) {
				t.Errorf("%s, %.0f MHz: %s at %.2f m: %s", load, edges[0]/1e6, f.Cause, f.DistanceM, f.Evidence)
			}
		}
	}
}

// A line longer than its record ends late, and not silently.
func TestALateEndIsNotMissed(t *testing.T) {
	for _, load := range []cables.LoadKind{cables.Open, cables.Short} {
		for _, longerM := range []float64{0.2, 0.35, 0.5, 0.9} {
			made, err := simulate.Run(context.Background(), band(clearLine(load), 1710e6, 2170e6, 401))
			if err != nil {
				t.Fatal(err)
			}
			made.Line.Sections[1].LengthM -= longerM
			found, err := Run(context.Background(), made.Sweep, made.Line, Settings{})
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range faultsOf(found) {
				if strings.Contains(strings.Join(f.Evidence, " "), "comes back") {
					t.Errorf("%s, %.2f m longer than its record: %s", load, longerM, f.Evidence)
				}
			}
		}
	}
}
