package diagnose

import (
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// A section of thin cable that loses four times as much as it should begins like a contact of two ohm, and has none; a contact of
// ten ohm in front of it is one.
func TestEdgeOfALossySection(t *testing.T) {
	line := func(faults ...simulate.Fault) *simulate.Scenario {
		s := band(clearLine(cables.Open, append(faults, simulate.Fault{Cause: string(LossySection), At: "top jumper", LossFactor: 4})...), 25e6, 1200e6, 801)
		s.Line.Cables = append(s.Line.Cables, cables.Type{ID: "thin", Name: "thin cable", ImpedanceOhm: 50, VelocityFactor: 0.66,
			Attenuation: []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 28}, {FrequencyHz: 1000e6, DBPerHundredM: 98}}})
		s.Line.Sections[2].CableID, s.Line.Sections[2].LengthM = "thin", 2.4
		return s
	}
	found, _ := diagnosed(t, line())
	alone(t, found, LossySection, 17, 0.01)
	found, _ = diagnosed(t, line(simulate.Fault{Cause: string(PoorContact), At: "feeder / top jumper", SeriesOhm: 10}))
	contact := false
	for _, f := range faultsOf(found) {
		contact = contact || f.Cause == PoorContact && f.DistanceM > 16.9 && f.DistanceM < 17.1
	}
	if !contact {
		t.Error("the contact in front of the lossy section is not told")
	}
}
