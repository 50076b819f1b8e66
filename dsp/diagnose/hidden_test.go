package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// band sweeps a scenario from one frequency to another.
func band(s *simulate.Scenario, lowHz, highHz float64, points int) *simulate.Scenario {
	s.Sweep = simulate.Grid{Segments: []simulate.Segment{{LowHz: lowHz, HighHz: highHz, Points: points}}}
	return s
}

// Faults that hide: a contact within two resolution cells of a shorted end, which reflects all;
// a contact weaker than what the shape of a joint may reflect; a line that is of 75-ohm cable from
// end to end, whose far edge lies beyond the end of the record; a kink as long as the wave; wet cable
// in front of an open end, whose edges are forty times weaker than what its delay does to the end; a
// dent within the tolerance of the line's length, and wet cable shorter than a resolution cell, both in
// the skirts of a shorted end; a capacitance with all that its termination reflects behind it.
func TestHiddenFaults(t *testing.T) {
	if testing.Short() {
		t.Skip("eight diagnoses")
	}
	short := band(clearLine(cables.Short, simulate.Fault{Cause: string(PoorContact), At: "feeder / top jumper", SeriesOhm: 25}), 380e6, 470e6, 401)
	weak := band(clearLine(cables.Termination, simulate.Fault{Cause: string(PoorContact), At: "feeder / top jumper", SeriesOhm: 4}), 700e6, 2700e6, 801)
	whole := clearLine(cables.Termination, simulate.Fault{Cause: string(WrongImpedance), At: "cable", Cable: "braid-75"})
	whole.Line.Sections = []cables.Section{{Name: "cable", CableID: "foam", LengthM: 3}}
	kink := band(clearLine(cables.Open, simulate.Fault{Cause: string(DentOrKink), DistanceM: 9.2, ExtentM: 0.138, ImpedanceOhm: 31}), 1710e6, 2170e6, 401)
	wet := band(clearLine(cables.Open, simulate.Fault{Cause: string(WaterInCable), DistanceM: 6, ExtentM: 2.4, ImpedanceDrop: 0.11, LossTangent: 0.005, TaperM: 0.31}), 700e6, 1000e6, 401)
	dent := band(clearLine(cables.Short, simulate.Fault{Cause: string(DentOrKink), DistanceM: 18.75, ExtentM: 0.04, ImpedanceOhm: 26}), 25e6, 1200e6, 801)
	damp := band(clearLine(cables.Short, simulate.Fault{Cause: string(WaterInCable), DistanceM: 17.3, ExtentM: 1, ImpedanceDrop: 0.1, LossTangent: 0.002, TaperM: 0.2, Unevenness: 0.25}), 380e6, 470e6, 801)
	across := band(clearLine(cables.Termination, simulate.Fault{Cause: string(ConnectorMismatch), At: "load", ShuntFarad: 2.2e-12}), 5e6, 1000e6, 401)
	across.Line.Load.ReturnLossDB = 26
	for _, c := range []struct {
		name     string
		scenario *simulate.Scenario
		cause    Cause
		atM      float64
		withinM  float64
	}{
		{"contact in front of a short", short, PoorContact, 17, 0.2},
		{"contact below what a joint may reflect", weak, PoorContact, 17, 0.05},
		{"75 ohm throughout", whole, WrongImpedance, 0, 0.05},
		{"kink as long as the wave", kink, DentOrKink, 9.2, 0.05},
		{"weak edges of wet cable", wet, WaterInCable, 6, 0.4},
		{"dent at the end", dent, DentOrKink, 18.75, 0.05},
		{"wet cable at the end", damp, WaterInCable, 17.3, 0.4},
		{"capacitance at a termination", across, ConnectorMismatch, 19, 0.05},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, _ := diagnosed(t, c.scenario)
			faults := faultsOf(found)
			for _, f := range faults {
				t.Logf("%s (%.2f) at %.3f ± %.3f m, extent %.3f m; %s", f.Cause, f.Confidence, f.DistanceM, f.SigmaM, f.ExtentM, f.Evidence)
			}
			if len(faults) != 1 || faults[0].Cause != c.cause || math.Abs(faults[0].DistanceM-c.atM) > c.withinM {
				t.Fatalf("%d faults, want %s at %.2f m alone", len(faults), c.cause, c.atM)
			}
		})
	}
}

// A line that is longer than its record shows its end behind the end of the record: every place has a
// deviation, and the findings can be written down.
func TestLongerThanItsRecord(t *testing.T) {
	s := clearLine(cables.Termination, simulate.Fault{Cause: string(ConnectorMismatch), At: "load", ShuntFarad: 2e-12})
	made, err := simulate.Run(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	found, err := Run(t.Context(), made.Sweep, recordedShort(s.Line, 1.6), Settings{})
	if err != nil {
		t.Fatal(err)
	}
	beyond := 0
	for _, f := range found.Findings {
		if f.Cause != Ghost && f.DistanceM > 17.5 {
			beyond++
		}
		if !(f.SigmaM >= 0) || math.IsInf(f.SigmaM, 0) {
			t.Errorf("%s at %.3f ± %g m", f.Cause, f.DistanceM, f.SigmaM)
		}
	}
	if beyond == 0 {
		t.Error("nothing is told behind the end of the record")
	}
}
