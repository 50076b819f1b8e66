package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
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

// What an antenna throws back out of its band is a mirror's, weakened by the line, if its band comes back as much weaker than it
// should; an antenna that is as good out of its band as in it tells nothing of the line. Reflection in dB, made up.
func TestMatchedAntennaIsNoMirror(t *testing.T) {
	line := clearLine(cables.Antenna).Line
	line.Load.BandHz, line.Load.ReturnLossDB = [2]float64{840e6, 870e6}, 16
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	hz := make([]float64, 301)
	for k := range hz {
		hz[k] = 700e6 + 1e6*float64(k)
	}
	for _, c := range []struct {
		outDB, inDB float64
		mirror      bool
	}{{8, 12, false}, {8, 24, true}, {3, 4, true}} {
		fit := linemodel.NewFit(path, hz, make([]complex128, len(hz)))
		fit.Load = causalLoad(fit, 0)
		for k, f := range hz {
			db := c.outDB
			if f >= line.Load.BandHz[0] && f <= line.Load.BandHz[1] {
				db = c.inDB
			}
			fit.Load.Gamma[k] = complex(math.Pow(10, -db/20), 0)
		}
		if e, mirror := excessLoss(fit, nil, line); mirror != c.mirror || math.Abs(e.baseDB+e.middleDB-c.outDB) > 0.1 {
			t.Errorf("%.0f dB out of its band, %.0f dB in it: mirror %v with a loss of %.2f dB", c.outDB, c.inDB, mirror, e.baseDB+e.middleDB)
		}
	}
}
