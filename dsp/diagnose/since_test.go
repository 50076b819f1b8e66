package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// What one sweep does not tell at a load an earlier sweep of the healthy line does: which of the antenna and its connector
// has changed, and that the connector of a termination has, by no more than terminations reflect.
func TestChangeAtTheLoad(t *testing.T) {
	if testing.Short() {
		t.Skip("several diagnoses")
	}
	antenna := func(faults ...simulate.Fault) *simulate.Scenario {
		s := band(clearLine(cables.Antenna, faults...), 100e6, 500e6, 801)
		s.Line.Sections[1].LengthM = 9
		s.Line.Load.BandHz, s.Line.Load.ReturnLossDB = [2]float64{380e6, 410e6}, 17
		return s
	}
	termination := func(faults ...simulate.Fault) *simulate.Scenario {
		s := band(clearLine(cables.Termination, faults...), 700e6, 2700e6, 801)
		s.Line.Load.ReturnLossDB = 26
		return s
	}
	for _, c := range []struct {
		name     string
		scenario *simulate.Scenario
		atM      float64
		without  bool // the earlier sweep it is told as well
	}{
		{"contact", antenna(simulate.Fault{Cause: string(PoorContact), At: "load", SeriesOhm: 7}), 14, false},
		{"inductance", antenna(simulate.Fault{Cause: string(ConnectorMismatch), At: "load", SeriesHenry: 3e-9}), 14, false},
		{"water", antenna(simulate.Fault{Cause: string(WaterInConnector), At: "load", SeriesOhm: 0.3, ShuntSiemens: 1.5e-3, ShuntFarad: 0.8e-12, LossTangent: 0.05}), 14, false},
		{"antenna", antenna(simulate.Fault{Cause: string(AntennaFault), Mode: "detuned", ReturnLossDB: 7}), 14, true},
		{"contact at a termination", termination(simulate.Fault{Cause: string(PoorContact), At: "load", SeriesOhm: 3.5}), 19, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			cause := Cause(c.scenario.Faults[0].Cause)
			found, _ := diagnosed(t, c.scenario)
			told := len(faultsOf(found)) == 1 && faultsOf(found)[0].Cause == cause
			if told != c.without {
				t.Errorf("told without the earlier sweep: %v, want %v; then this shows nothing", told, c.without)
			}
			c.scenario.Baseline = true
			found, _ = diagnosed(t, c.scenario)
			alone(t, found, cause, c.atM, 0.3)
		})
	}
}

// A line that has come to lose more, or to hold the wave up, in front of an antenna does not make a fault of the antenna.
func TestSoundAntennaBehindWhatChanged(t *testing.T) {
	s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(LossySection), At: "feeder", LossFactor: 4}), 25e6, 1200e6, 801)
	s.Line.Sections[1].LengthM = 25
	s.Line.Load.BandHz, s.Line.Load.ReturnLossDB = [2]float64{380e6, 410e6}, 17
	s.Baseline = true
	found, _ := diagnosed(t, s)
	for _, f := range faultsOf(found) {
		if f.Place == placeAntenna || f.Place == placeAtLoad {
			t.Errorf("%s at %.2f m, %s: %s", f.Cause, f.DistanceM, f.Place, f.Evidence)
		}
	}
}

// What is new in mid-section and reflects less than the slightest dent is water that creeps in.
func TestSlightChangeInMidSection(t *testing.T) {
	s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(WaterInCable), DistanceM: 9.3, ExtentM: 1.2, ImpedanceDrop: 0.15, LossTangent: 0.01, TaperM: 0.12}), 1710e6, 2170e6, 801)
	s.Baseline = true
	found, _ := diagnosed(t, s)
	alone(t, found, WaterInCable, 9.3, 0.5)
}

// What ends the line now is seen by a sweep in place of what ended it, and that it comes later says nothing of the cable.
func TestNewTotalReflectionIsNoWitness(t *testing.T) {
	b := clearBench(t, cables.Antenna)
	b.since = &difference{cellM: 0.3, Changes: []change{{DistanceM: 16.5, ChangeDB: 12}}}
	open := func(x float64) []Finding { return []Finding{{Cause: OpenCircuit, DistanceM: x, IsFault: true}} }
	for _, c := range []struct {
		name  string
		found []Finding
		atM   float64
		want  bool
	}{
		{"in mid-section, an open farther out", open(16), 9, true},
		{"a joint at the open", open(17.2), 17, true},
		{"a joint far in front of the open", open(19), 3, false},
		{"an open nearer", open(2), 9, true}, // which hides it
		{"a dent", []Finding{{Cause: DentOrKink, DistanceM: 12, IsFault: true}}, 9, false},
		{"in front of what is far stronger", nil, 15, true},
	} {
		if got := b.explained(c.found, &change{Kind: changeDelayed, DistanceM: c.atM, FromM: 1, DelayS: 1e-9, ChangeDB: 55}); got != c.want {
			t.Errorf("%s: explained %v", c.name, got)
		}
	}
}

// An earlier sweep says that a section holds the wave up, and so which of the weak edges in it are wet cable's: one sweep alone
// tells nothing, or that the whole section is slow. Drawn lines, of a termination and a shorted end.
func TestSlowSectionIsSearched(t *testing.T) {
	if testing.Short() {
		t.Skip("several diagnoses")
	}
	for _, seed := range []uint64{85002, 83010} {
		s := drawn(t, seed, WaterInCable)
		s.Baseline = false
		fault := s.Faults[0]
		found, _ := diagnosed(t, s)
		for _, f := range faultsOf(found) {
			if math.Abs(f.DistanceM-fault.DistanceM) < 0.5 {
				t.Errorf("one sweep alone tells %s at %.2f m; then this shows nothing", f.Cause, f.DistanceM)
			}
		}
		s.Baseline = true
		found, _ = diagnosed(t, s)
		alone(t, found, WaterInCable, fault.DistanceM, 0.5)
		if f := faultsOf(found)[0]; f.ExtentM > 1.5*fault.ExtentM {
			t.Errorf("over %.2f m, is %.2f m", f.ExtentM, fault.ExtentM)
		}
	}
}

// A record with a wrong length was as wrong at the earlier sweep: nothing holds the wave up.
func TestRecordThatWasWrongThen(t *testing.T) {
	if testing.Short() {
		t.Skip("two diagnoses")
	}
	s := clearLine(cables.Termination)
	s.Baseline = true
	made, err := simulate.Run(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	record := recordedShort(s.Line, 0.8)
	for _, earlier := range []*sweep.Sweep{nil, made.Baseline} {
		found, err := Run(t.Context(), made.Sweep, record, Settings{Baseline: earlier})
		if err != nil {
			t.Fatal(err)
		}
		if told := len(faultsOf(found)) > 0; told != (earlier == nil) {
			t.Errorf("earlier sweep %v: told %v", earlier != nil, told)
		}
	}
}
