package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// A long line of thin cable that loses much more than its record brings a short back weak, and located as a crowd. It is the
// line that is at fault and nothing at its end.
func TestLossyLineToAShort(t *testing.T) {
	s := band(clearLine(cables.Short, simulate.Fault{Cause: string(LossySection), At: "feeder", LossFactor: 3.4}), 10e6, 2000e6, 801)
	s.Line.Cables = append(s.Line.Cables, cables.Type{ID: "thin", Name: "thin cable", ImpedanceOhm: 50, VelocityFactor: 0.83,
		Attenuation: []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 4.5}, {FrequencyHz: 1000e6, DBPerHundredM: 15}}})
	s.Line.Sections[1].CableID, s.Line.Sections[1].LengthM = "thin", 42
	s.Seed, s.AsBuilt.Roughness = 1, 8e-4
	found, truth := diagnosed(t, s)
	for _, f := range faultsOf(found) {
		t.Logf("told %s at %.2f m, extent %.2f m, %.2f", f.Cause, f.DistanceM, f.ExtentM, f.Confidence)
	}
	alone(t, found, LossySection, 3, 0.01)
	is := 2 * truth.Faults[0].Severity["excess_loss_db_at_centre"].(float64)
	if got := told(t, faultsOf(found)[0], "comes back "+number+" dB weaker"); math.Abs(got-is) > 0.1*is {
		t.Errorf("told %.1f dB more than its record, is %.1f dB", got, is)
	}
}

// A sweep of little more than an antenna's band shows it as a mirror only near the ends of the sweep, and that is where the loss of the
// line in front of it shows.
func TestLossInFrontOfAnAntennaInANarrowSweep(t *testing.T) {
	s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(LossySection), At: "bottom jumper", LossFactor: 3.5}), 700e6, 1000e6, 501)
	s.Line.Sections[0].LengthM = 10
	s.Line.Load.BandHz = [2]float64{840e6, 870e6}
	found, _ := diagnosed(t, s)
	alone(t, found, LossySection, 0, 0.01)
	silentWithout(t, s)
}

// A short at the last joint of a shorted line looks like its end, but lies nearer than lengths and velocities allow.
func TestShortBeforeTheShortedEnd(t *testing.T) {
	s := band(clearLine(cables.Short, simulate.Fault{Cause: string(ShortCircuit), At: "feeder / top jumper"}), 380e6, 470e6, 501)
	s.Line.Sections[2].LengthM = 0.8
	found, _ := diagnosed(t, s)
	alone(t, found, ShortCircuit, 17, 0.1)
	silentWithout(t, s)
}

// An antenna is judged to the edges of its band, which need not be points of the sweep.
func TestBandEdgeBetweenPoints(t *testing.T) {
	s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(AntennaFault), Mode: "detuned", ReturnLossDB: 9.5}), 25e6, 1200e6, 501)
	s.Line.Load.BandHz = [2]float64{173.4e6, 193.6e6}
	found, truth := diagnosed(t, s)
	alone(t, found, AntennaFault, 19, 0.1)
	is := truth.Faults[0].Severity["in_band_worst_return_loss_db"].(float64)
	if got := told(t, faultsOf(found)[0], "return loss of "+number); math.Abs(got-is) > 1.5 {
		t.Errorf("told %.1f dB at its worst, is %.1f dB", got, is)
	}
}

// Within a cell of an open end a dent and the end are one reflection that free points stand for, and no sound end does.
func TestDentThatAnOpenEndHides(t *testing.T) {
	s := band(clearLine(cables.Open, simulate.Fault{Cause: string(DentOrKink), DistanceM: 18.1, ExtentM: 0.04, ImpedanceOhm: 32}), 380e6, 470e6, 501)
	found, _ := diagnosed(t, s)
	alone(t, found, DentOrKink, 18.1, 0.6)
}

// silentWithout checks that the line of s without its faults has none.
func silentWithout(t *testing.T, s *simulate.Scenario) {
	t.Helper()
	s.Faults = nil
	found, _ := diagnosed(t, s)
	if faults := faultsOf(found); len(faults) > 0 {
		t.Errorf("sound: told %s at %.2f m: %s", faults[0].Cause, faults[0].DistanceM, faults[0].Evidence)
	}
}

// Water in a connector on the way is never just the circuit that is fitted. What that leaves must not be put on the open end behind it,
// though a capacitance there takes some of it. Drawn lines.
func TestEndBehindAWetConnector(t *testing.T) {
	if testing.Short() {
		t.Skip("several diagnoses")
	}
	for _, seed := range []uint64{70002, 72015, 76011} {
		s := drawn(t, seed, WaterInConnector)
		found, truth := diagnosed(t, s)
		if truth.Load.Kind != string(cables.Open) || truth.FarEndM-truth.Faults[0].DistanceM < 4 {
			t.Fatalf("seed %d does not draw a line with an open end behind the connector", seed)
		}
		alone(t, found, WaterInConnector, truth.Faults[0].DistanceM, 0.05)
	}
}
