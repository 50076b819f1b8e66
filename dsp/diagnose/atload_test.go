package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// A fault at the connector of an open or a short turns the end's phase and takes
// of what it throws back, up to nearly all: 60 ohm in front of a short leave 21 dB
// return loss, of the other sign. What the end takes is not the cable's loss. A little of either is no fault.
func TestFaultAtTheEnd(t *testing.T) {
	for _, c := range []struct {
		name          string
		load          cables.LoadKind
		lowHz, highHz float64
		fault         simulate.Fault
		want          bool
	}{
		{"contact of nearly the line's impedance", cables.Short, 25e6, 1200e6, simulate.Fault{Cause: string(PoorContact), SeriesOhm: 60}, true},
		{"contact with a gap", cables.Short, 25e6, 1200e6, simulate.Fault{Cause: string(PoorContact), SeriesOhm: 74, GapFarad: 55e-12}, true},
		{"water", cables.Open, 25e6, 1200e6, simulate.Fault{Cause: string(WaterInConnector), SeriesOhm: 0.4, ShuntSiemens: 3e-3, ShuntFarad: 4e-12, LossTangent: 0.03}, true},
		{"a contact in a narrow band", cables.Short, 700e6, 1000e6, simulate.Fault{Cause: string(PoorContact), SeriesOhm: 12}, true},
		{"water in a narrow band", cables.Open, 1710e6, 2170e6, simulate.Fault{Cause: string(WaterInConnector), SeriesOhm: 0.3, ShuntSiemens: 8e-3, ShuntFarad: 2e-12, LossTangent: 0.03}, true},
		{"a little water in a narrow band", cables.Open, 1710e6, 2170e6, simulate.Fault{Cause: string(WaterInConnector), SeriesOhm: 0.7, ShuntSiemens: 1.1e-3, ShuntFarad: 0.8e-12, LossTangent: 0.08}, true},
		{"a contact that reflects no more than a reactance may", cables.Short, 700e6, 2700e6, simulate.Fault{Cause: string(PoorContact), SeriesOhm: 3}, true},
		{"a contact as good ones are", cables.Short, 25e6, 1200e6, simulate.Fault{Cause: string(PoorContact), SeriesOhm: 0.4}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.fault.At = "load"
			found, _ := diagnosed(t, band(clearLine(c.load, c.fault), c.lowHz, c.highHz, 801))
			faults := faultsOf(found)
			for _, f := range faults {
				t.Logf("told %s at %.2f m (%.2f), %.1f dB", f.Cause, f.DistanceM, f.Confidence, f.ReturnLossDB)
			}
			switch {
			case !c.want && len(faults) > 0:
				t.Error("want no fault")
			case c.want && (len(faults) != 1 || string(faults[0].Cause) != c.fault.Cause || math.Abs(faults[0].DistanceM-19) > 0.1):
				t.Errorf("want %s at 19 m alone", c.fault.Cause)
			}
		})
	}
}

// Loss that is not in the record bends the phase of the end, and locating puts something weak beside it, which passes for a mismatch: a
// sound end behind that loss explains more. And a sound end that comes nearer than free points takes their place though they left
// little: wet cable was told beside water in a connector, to make up for them. A dent within reach of the end stays what it is.
func TestSoundEndIsSimpler(t *testing.T) {
	if testing.Short() {
		t.Skip("three diagnoses")
	}
	s := drawn(t, 90015, LossySection)
	s.Faults[0].LossFactor = 2.93
	found, _ := diagnosed(t, s)
	alone(t, found, LossySection, 0, 0.05)
	found, _ = diagnosed(t, drawn(t, 89015, "double"))
	for _, f := range faultsOf(found) {
		if f.Cause == WaterInCable {
			t.Errorf("%s told at %.2f m", f.Cause, f.DistanceM)
		}
	}
	found, truth := diagnosed(t, drawn(t, 89004, DentOrKink))
	alone(t, found, DentOrKink, truth.Faults[0].DistanceM, 0.05)
}
