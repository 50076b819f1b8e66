package diagnose

import (
	"fmt"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// An open and a short have opposite signs, which a quarter of a wave of place
// turns round: the slope over frequency, and at a joint the record, must tell
// them apart in wide and in narrow bands, with what leaks and what loops, at
// joints, in mid-section and at the end, whatever ends the line; and nothing is
// said of what lies behind.
func TestOpensAndShorts(t *testing.T) {
	bands := [][2]float64{{10e6, 3e9}, {5e6, 1e9}, {380e6, 470e6}, {1710e6, 2170e6}}
	if testing.Short() {
		bands = bands[1:3]
	}
	places := []simulate.Fault{{At: "bottom jumper / feeder"}, {DistanceM: 10.3}, {At: "load"}}
	loads := []cables.LoadKind{cables.Antenna, cables.Termination, cables.Open, cables.Short}
	for i, band := range bands {
		for j, place := range places {
			load := loads[(i+j)%len(loads)]
			for _, cause := range []Cause{OpenCircuit, ShortCircuit} {
				if place.At == "load" && (cause == OpenCircuit && load == cables.Open || cause == ShortCircuit && load == cables.Short) {
					continue // that is the line's own end
				}
				t.Run(fmt.Sprintf("%s at %s%.0f m in front of %s, %.0f MHz", cause, place.At, place.DistanceM, load, band[0]/1e6), func(t *testing.T) {
					fault := place
					fault.Cause = string(cause)
					want, or := "comes back upright", "series resistance" // the contact has parted
					if cause == OpenCircuit {
						fault.ShuntFarad, fault.ShuntSiemens = 0.12e-12, 1e-3
					} else {
						fault.SeriesHenry, fault.SeriesOhm = 0.4e-9, 1.8
						want, or = "comes back inverted", "comes back inverted"
					}
					scenario := clearLine(load, fault)
					scenario.Sweep.Segments[0].LowHz, scenario.Sweep.Segments[0].HighHz = band[0], band[1]
					if load == cables.Antenna { // inside the sweep
						scenario.Line.Load.BandHz = [2]float64{band[0] + 0.4*(band[1]-band[0]), band[0] + 0.6*(band[1]-band[0])}
					}
					found, truth := diagnosed(t, scenario)
					at := truth.Faults[0].DistanceM
					faults := faultsOf(found)
					if len(faults) != 1 {
						for _, f := range faults {
							t.Logf("%s at %.2f m (%.2f): %s", f.Cause, f.DistanceM, f.Confidence, strings.Join(f.Evidence, "; "))
						}
						t.Fatalf("%d faults, want 1", len(faults))
					}
					f := faults[0]
					text := strings.Join(f.Evidence, "\n")
					if f.Cause != cause || f.Confidence < 0.5 || !strings.Contains(text, want) && !strings.Contains(text, or) {
						t.Errorf("called %s (%.2f), alternatives %v: %s", f.Cause, f.Confidence, f.Alternatives, text)
					}
					if off := f.DistanceM - at; off > 0.05 || off < -0.05 { // a quarter wave is 3 cm to 16 cm here
						t.Errorf("at %.3f m, is at %.3f m", f.DistanceM, at)
					}
					for _, g := range found.Findings {
						if g.Cause != Ghost && g.DistanceM > at+0.2 {
							t.Errorf("behind it: %s at %.2f m", g.Cause, g.DistanceM)
						}
					}
				})
			}
		}
	}
}

// A dent at its far end's foot does not turn a shorted line into an open one:
// the end that the record has is the end, wherever else the fit may see it.
func TestFarEndStaysWhatItIs(t *testing.T) {
	for _, load := range []cables.LoadKind{cables.Open, cables.Short} {
		for _, at := range []float64{1.2, 8, 16.3} {
			scenario := clearLine(load, simulate.Fault{Cause: "dent-or-kink", DistanceM: at, ExtentM: 0.1, ImpedanceOhm: 25})
			scenario.Sweep.Segments[0].LowHz, scenario.Sweep.Segments[0].HighHz = 700e6, 1e9
			found, _ := diagnosed(t, scenario)
			for _, f := range faultsOf(found) {
				if f.Cause == OpenCircuit || f.Cause == ShortCircuit {
					t.Errorf("ends in %s, dent at %.1f m: %s at %.2f m (%.2f)", load, at, f.Cause, f.DistanceM, f.Confidence)
				}
			}
		}
	}
}
