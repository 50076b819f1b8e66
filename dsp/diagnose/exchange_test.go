package diagnose

import (
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// A capacitance at the joint of two short leads, the far one shorted: a fit begun from what locating found ends
// half a wave off, while a dent beside the joint or water in it finds its way.
func TestExchanged(t *testing.T) {
	if testing.Short() {
		t.Skip("diagnoses")
	}
	for _, c := range []struct {
		seed                uint64
		leadM, restM, farad float64
	}{{2, 1.76, 4.32, 0.8e-12}, {35, 2.93, 3.5, 1.4e-12}, {56, 2.54, 3.5, 0.8e-12}} {
		s := band(clearLine(cables.Short, simulate.Fault{Cause: string(ConnectorMismatch), At: "lead / rest", ShuntFarad: c.farad}), 700e6, 1000e6, 801)
		s.Seed = c.seed
		s.AsBuilt.JointReturnLossDB = [2]float64{34, 46}
		s.Line.Cables[0].VelocityFactor, s.Line.Cables[1].VelocityFactor = 0.66, 0.7
		s.Line.Sections = []cables.Section{{Name: "lead", CableID: "braid", LengthM: c.leadM}, {Name: "rest", CableID: "foam", LengthM: c.restM}}
		found, _ := diagnosed(t, s)
		alone(t, found, ConnectorMismatch, c.leadM, 0.02)
	}
}
