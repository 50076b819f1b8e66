package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/simulate"
)

// What reflects next to nothing an earlier sweep shows by what lies behind it: water that creeps in without an edge, and
// a jumper that has come to lose more in front of an antenna that is matched. One sweep tells neither.
func TestTellsByWhatLiesBehind(t *testing.T) {
	if testing.Short() {
		t.Skip("several diagnoses")
	}
	creeping := band(clearLine(cables.Termination, simulate.Fault{Cause: string(WaterInCable), DistanceM: 8, ExtentM: 2.8, ImpedanceDrop: 0.05, LossTangent: 0.008, TaperM: 0.5, Unevenness: 0.04}), 700e6, 1000e6, 401)
	jumper := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(LossySection), At: "bottom jumper", LossFactor: 4}), 10e6, 2000e6, 801)
	jumper.Antenna.Model = "wide-band"
	jumper.Line.Load.BandHz, jumper.Line.Load.ReturnLossDB = [2]float64{320e6, 1980e6}, 18
	jumper.AsBuilt.JointReturnLossDB = [2]float64{34, 36}
	for _, c := range []struct {
		name     string
		scenario *simulate.Scenario
		cause    Cause
		atM      float64
		withinM  float64
	}{
		{"creeping water", creeping, WaterInCable, 8.4, 0.6},
		{"lossy jumper", jumper, LossySection, 0, 0.01},
	} {
		t.Run(c.name, func(t *testing.T) {
			found, _ := diagnosed(t, c.scenario)
			for _, f := range faultsOf(found) {
				t.Errorf("one sweep alone tells %s at %.2f m; then this shows nothing", f.Cause, f.DistanceM)
			}
			c.scenario.Baseline = true
			found, _ = diagnosed(t, c.scenario)
			alone(t, found, c.cause, c.atM, c.withinM)
		})
	}
}

// Water whose edges do not show looks like loss to one sweep; with an earlier one it is seen to be slower as well.
func TestWaterThatLooksLikeLoss(t *testing.T) {
	s := band(clearLine(cables.Open, simulate.Fault{Cause: string(WaterInCable), DistanceM: 9, ExtentM: 1.5, ImpedanceDrop: 0.2, LossTangent: 0.02, TaperM: 0.45}), 1710e6, 2170e6, 201)
	found, _ := diagnosed(t, s)
	alone(t, found, LossySection, 3, 0.01)
	s.Baseline = true
	found, _ = diagnosed(t, s)
	alone(t, found, WaterInCable, 3, 0.01)
}

// What was told by the end of the line alone is what is found where it is, and is told once.
func TestWaterIsToldOnce(t *testing.T) {
	b := clearBench(t, cables.Open)
	d := &difference{Unwatched: math.Inf(1), cellM: 0.3, Changes: []change{
		{Kind: changeNew, DistanceM: 5, SigmaM: 0.05, ChangeDB: 51, BeforeDB: 70, NowDB: 52, DelayS: 2e-9, PassDB: -3},
		{Kind: changeGrown, DistanceM: 6.4, SigmaM: 0.05, ChangeDB: 53, BeforeDB: 60, NowDB: 54, GrownDB: 6},
		{Kind: changeGrown, DistanceM: 5.1 + wetMostM, SigmaM: 0.05, ChangeDB: 58, BeforeDB: 60, NowDB: 57, GrownDB: 3}, // too far off
	}}
	lost := lossFinding(excess{middleDB: 6, nominalDB: 3, sections: b.path.Spans}, nil, false)
	dent := Finding{Cause: DentOrKink, DistanceM: 15, IsFault: true, ReturnLossDB: 20}
	out, told := &Findings{Findings: []Finding{lost, dent}}, make([]bool, 3)
	b.behindChanges(out, d, told)
	faults := faultsOf(out)
	if len(faults) != 2 || faults[1].Cause != WaterInCable || faults[1].DistanceM != 5 || math.Abs(faults[1].ExtentM-1.4) > 1e-9 || !told[0] || !told[1] || told[2] {
		t.Errorf("told %v: %+v", told, faults)
	}
}

// clearBench is what naming on the clear line needs, its sweep not fitted.
func clearBench(t *testing.T, load cables.LoadKind) *bench {
	t.Helper()
	made, err := simulate.Run(t.Context(), clearLine(load))
	if err != nil {
		t.Fatal(err)
	}
	path, err := made.Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	return &bench{fit: linemodel.NewFit(path, made.Sweep.FrequencyHz, made.Sweep.Gamma), path: path, load: load, joints: path.JointsM()}
}

// A section that loses more makes the end weaker whichever it is; the earlier sweep tells which.
func TestWhichSectionLoses(t *testing.T) {
	for _, c := range []struct {
		at             string
		factor         float64
		fromM, lengthM float64
	}{{"feeder", 3, 3, 14}, {"bottom jumper", 3.5, 0, 3}} {
		s := band(clearLine(cables.Short, simulate.Fault{Cause: string(LossySection), At: c.at, LossFactor: c.factor}), 700e6, 2700e6, 801)
		found, _ := diagnosed(t, s)
		alone(t, found, LossySection, 0, 0.01)
		if f := faultsOf(found)[0]; f.ExtentM < 16 {
			t.Errorf("%s loses, and one sweep alone tells it is %s; then this shows nothing", c.at, f.Place)
		}
		s.Baseline = true
		found, _ = diagnosed(t, s)
		alone(t, found, LossySection, c.fromM, 0.01)
		if f := faultsOf(found)[0]; math.Abs(f.ExtentM-c.lengthM) > 0.01 {
			t.Errorf("%s loses: told %.2f m %s", c.at, f.ExtentM, f.Place)
		}
	}
}

// A reflection that grew by a strong one is a fault, though it grew by few decibels.
func TestGrownByAStrongChange(t *testing.T) {
	b := clearBench(t, cables.Termination)
	for _, c := range []struct {
		changeDB float64
		fault    bool
	}{{22, true}, {34, false}} {
		f, fault := b.sinceThen(&change{Kind: changeGrown, DistanceM: 3, Amplitude: complex(0, -math.Pow(10, -c.changeDB/20)), ChangeDB: c.changeDB, BeforeDB: 25, NowDB: 20, GrownDB: 5})
		if fault != c.fault || fault && f.Cause != ConnectorMismatch {
			t.Errorf("grown by 5 dB, through a change of %.0f dB: fault %v, %s", c.changeDB, fault, f.Cause)
		}
	}
}

// A contact weakens what lies behind it too, and what a change of another kind leaves there is no lossy cable.
func TestContactIsNoLossyCable(t *testing.T) {
	s := band(clearLine(cables.Open, simulate.Fault{Cause: string(PoorContact), At: "bottom jumper / feeder", SeriesOhm: 8}), 700e6, 2700e6, 801)
	s.Baseline = true
	found, _ := diagnosed(t, s)
	alone(t, found, PoorContact, 3, 0.05)
}

// Wet cable that begins where something weak was reflects as much as that now, of another kind: by how much that has changed
// says that it is new, and what lies behind it comes later.
func TestWaterWhereSomethingWas(t *testing.T) {
	b := clearBench(t, cables.Termination)
	for _, c := range []struct {
		changeDB float64
		want     int
	}{{43, 1}, {51, 0}} {
		d := &difference{Unwatched: math.Inf(1), cellM: 1, Changes: []change{
			{Kind: changeTurned, DistanceM: 8, SigmaM: 0.1, ChangeDB: c.changeDB, BeforeDB: 53, NowDB: 52, DelayS: 3e-9},
			{Kind: changeNew, DistanceM: 11, SigmaM: 0.1, ChangeDB: 46, BeforeDB: 63, NowDB: 47},
		}}
		if found := b.creeps(d, false); len(found) != c.want || c.want > 0 && (found[0].DistanceM != 8 || found[0].ExtentM != 3) {
			t.Errorf("changed by %.0f dB: %+v", c.changeDB, found)
		}
	}
}

// In a line that is dark behind something wet the first change in mid-section is where that begins; in another it must hold up what lies behind.
func TestWhereTheDarkBegins(t *testing.T) {
	b := clearBench(t, cables.Open)
	d := &difference{Unwatched: math.Inf(1), cellM: 0.3, Changes: []change{
		{Kind: changeFallen, DistanceM: 9, SigmaM: 0.1, ChangeDB: 52, BeforeDB: 55, NowDB: 66},
	}}
	nowhere := inOneOfFinding(b.path.Spans, WaterInCable, silentFirst)
	for _, c := range []struct {
		found []Finding
		want  float64
	}{{[]Finding{nowhere}, 9}, {nil, -1}} {
		out := &Findings{Findings: c.found}
		b.behindChanges(out, d, make([]bool, 1))
		at := -1.0
		if faults := faultsOf(out); len(faults) == 1 && faults[0].Cause == WaterInCable {
			at = faults[0].DistanceM
		}
		if at != c.want {
			t.Errorf("%d findings: wet from %g m on, want %g m: %+v", len(c.found), at, c.want, faultsOf(out))
		}
	}
}

// What has changed in front of wet cable that one sweep tells, and holds up what lies behind, is where that begins; what is far in front of it is something else.
func TestWetCableBeginsEarlier(t *testing.T) {
	b := clearBench(t, cables.Antenna)
	for _, c := range []struct{ firstM, fromM, extentM float64 }{{7, 7, 3.5}, {4.2, 9, 1.5}} {
		d := &difference{Unwatched: math.Inf(1), cellM: 0.3, Changes: []change{
			{Kind: changeGrown, DistanceM: c.firstM, SigmaM: 0.05, ChangeDB: 55, BeforeDB: 70, NowDB: 55, GrownDB: 15, DelayS: 2e-9},
			{Kind: changeNew, DistanceM: c.firstM + 2, SigmaM: 0.05, ChangeDB: 50, BeforeDB: 75, NowDB: 50},
		}}
		out := &Findings{Findings: []Finding{{Cause: WaterInCable, IsFault: true, DistanceM: 9, ExtentM: 1.5, ReturnLossDB: 45, Place: "in feeder"}}}
		b.behindChanges(out, d, make([]bool, 2))
		if f := out.Findings[0]; math.Abs(f.DistanceM-c.fromM) > 1e-9 || math.Abs(f.ExtentM-c.extentM) > 1e-9 {
			t.Errorf("changed from %g m on: wet from %g m over %g m", c.firstM, f.DistanceM, f.ExtentM)
		}
	}
}
