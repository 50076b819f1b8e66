package diagnose

import (
	"math"
	"slices"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/locate"
	"downlead/dsp/simulate"
)

// alone fails unless found holds one fault, of the cause and within so many metres of a place.
func alone(t *testing.T, found *Findings, cause Cause, atM, withinM float64) {
	t.Helper()
	faults := faultsOf(found)
	for _, f := range faults {
		t.Logf("%s (%.2f) at %.3f ± %.3f m, extent %.3f m; %s", f.Cause, f.Confidence, f.DistanceM, f.SigmaM, f.ExtentM, f.Evidence)
	}
	if len(faults) != 1 || faults[0].Cause != cause || math.Abs(faults[0].DistanceM-atM) > withinM {
		t.Fatalf("%d faults, want %s at %.2f m alone", len(faults), cause, atM)
	}
}

// Water in the connector behind an arrestor reflects no more than both together may: it leaks
// what no sound joint does. The arrestor by itself is no fault, whatever its reactance.
func TestWithinTheBudgetOfADevice(t *testing.T) {
	if testing.Short() {
		t.Skip("several diagnoses")
	}
	line := func(faults ...simulate.Fault) *simulate.Scenario {
		s := band(clearLine(cables.Termination, faults...), 100e6, 500e6, 801)
		s.Line.Devices = []cables.Device{{After: "bottom jumper", Kind: "surge-arrestor", LengthM: 0.1, ReturnLossDB: 25.8}}
		return s
	}
	wet := line(simulate.Fault{Cause: string(WaterInConnector), At: "surge-arrestor / feeder", ShuntSiemens: 2e-3, ShuntFarad: 1.2e-12, SeriesOhm: 0.25, LossTangent: 0.06})
	found, _ := diagnosed(t, wet)
	alone(t, found, WaterInConnector, 3.1, 0.06)
	for seed := range uint64(8) {
		sound := line()
		sound.Seed = 300 + seed
		sound.AsBuilt = simulate.AsBuilt{JointReturnLossDB: [2]float64{34, 46}, ImpedanceOhm: 0.3, Loss: 0.02, Velocity: 0.002, Length: 0.005, Roughness: 5e-4}
		found, _ := diagnosed(t, sound)
		if faults := faultsOf(found); len(faults) > 0 {
			t.Errorf("seed %d: %s at %.2f m: %s", sound.Seed, faults[0].Cause, faults[0].DistanceM, faults[0].Evidence)
		}
	}
}

// A contact with a gap in front of an antenna that radiates over the whole sweep: free points
// reflect as it does and let through something else.
func TestGapInFrontOfAWideBandAntenna(t *testing.T) {
	if testing.Short() {
		t.Skip("a diagnosis")
	}
	s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(PoorContact), At: "feeder / top jumper", SeriesOhm: 4.5, GapFarad: 13e-12}), 700e6, 2700e6, 801)
	s.Antenna.Model = "wide-band"
	found, _ := diagnosed(t, s)
	alone(t, found, PoorContact, 17, 0.05)
}

// What lies behind wet cable is seen farther out by cells than it is, and found where it is.
func TestContactBehindWetCable(t *testing.T) {
	if testing.Short() {
		t.Skip("a diagnosis")
	}
	s := band(clearLine(cables.Termination, simulate.Fault{Cause: string(WaterInCable), DistanceM: 5, ExtentM: 2, ImpedanceDrop: 0.12, LossTangent: 0.003, TaperM: 0.35},
		simulate.Fault{Cause: string(PoorContact), At: "feeder / top jumper", SeriesOhm: 70}), 25e6, 1200e6, 401)
	found, _ := diagnosed(t, s)
	faults := faultsOf(found)
	for _, f := range faults {
		t.Logf("%s (%.2f) at %.3f ± %.3f m", f.Cause, f.Confidence, f.DistanceM, f.SigmaM)
	}
	has := func(cause Cause, atM, withinM float64) bool {
		return slices.ContainsFunc(faults, func(f *Finding) bool { return f.Cause == cause && math.Abs(f.DistanceM-atM) < withinM })
	}
	if len(faults) != 2 || !has(WaterInCable, 5, 0.4) || !has(PoorContact, 17, 0.1) {
		t.Errorf("%d faults, want wet cable at 5 m and a contact at 17 m", len(faults))
	}
}

// A line whose feeder is longer by far than its record holds the wave up like water that does
// not reflect, and the findings say that the record may be wrong; a line within its tolerance says nothing.
func TestHeldUp(t *testing.T) {
	if testing.Short() {
		t.Skip("two diagnoses")
	}
	s := clearLine(cables.Termination)
	made, err := simulate.Run(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		shorterM float64
		held     bool
	}{{0.8, true}, {0.05, false}} {
		found, err := Run(t.Context(), made.Sweep, recordedShort(s.Line, c.shorterM), Settings{})
		if err != nil {
			t.Fatal(err)
		}
		faults := faultsOf(found)
		if !c.held {
			if len(faults) > 0 {
				t.Errorf("%.2f m: %s: %s", c.shorterM, faults[0].Cause, faults[0].Evidence)
			}
			continue
		}
		if len(faults) != 1 || faults[0].Cause != WaterInCable || faults[0].Confidence > 0.7 || !strings.Contains(strings.Join(faults[0].Evidence, " "), "record") {
			t.Fatalf("%.2f m: %d faults, want a feeder that may be wet, or wrong in the record", c.shorterM, len(faults))
		}
		if f := faults[0]; f.DistanceM > 3 || f.DistanceM+f.ExtentM < 16 || !strings.Contains(f.Place, "feeder") {
			t.Errorf("held up %s, from %.2f m over %.2f m", f.Place, f.DistanceM, f.ExtentM)
		}
	}
}

// Where wet cable explains the sweep better than a lossy section the finding says water, in all that may hold it, and that it may
// be loss.
func TestLossOfWater(t *testing.T) {
	e := excess{middleDB: 2, nominalDB: 6, sections: []cables.Span{{Name: "feeder", StartM: 0, LengthM: 20}}}
	f := lossFinding(e, nil, true)
	if f.Cause != WaterInCable || len(f.Alternatives) == 0 || f.Alternatives[0].Cause != LossySection || f.Confidence > 0.6 || f.ExtentM != 20 {
		t.Errorf("%s, %.2f, %g m: %v", f.Cause, f.Confidence, f.ExtentM, f.Alternatives)
	}
	if !strings.Contains(f.Evidence[0], "too little to tell where") || strings.Contains(f.Evidence[0], "root of frequency") {
		t.Errorf("%q", f.Evidence[0])
	}
}

// The far end does not say which of two sections loses more than its record: the finding covers both,
// and not the jumper that would have to lose many times its own.
func TestLossInEitherSection(t *testing.T) {
	e := excess{middleDB: 2, nominalDB: 6, sections: []cables.Span{{Name: "feeder", StartM: 0, LengthM: 20}, {Name: "upper run", StartM: 20, LengthM: 10}}}
	f := lossFinding(e, nil, false)
	if f.DistanceM != 0 || f.ExtentM != 30 || f.Place != "in feeder or upper run" || len(f.Evidence) != 2 {
		t.Errorf("%s, %g m from %g m: %s", f.Place, f.ExtentM, f.DistanceM, f.Evidence)
	}
	if testing.Short() {
		return
	}
	s := clearLine(cables.Open, simulate.Fault{Cause: string(LossySection), At: "feeder", LossFactor: 2.2})
	s.Line.Sections[0].LengthM, s.Line.Sections[2].LengthM = 0.6, 0.5
	found, _ := diagnosed(t, s)
	alone(t, found, LossySection, 0.6, 0.1)
	if f := faultsOf(found)[0]; f.Place != "in feeder" {
		t.Errorf("the loss is %s; the jumpers have too little for it", f.Place)
	}
}

// In a narrow band a resistance is not told from a reactance a little farther on, such as an arrestor has; but where both
// together reflect clearly more than they may it is the joint. A drawn line.
func TestWaterBesideADeviceInANarrowBand(t *testing.T) {
	s := drawn(t, 70014, WaterInConnector)
	found, truth := diagnosed(t, s)
	if len(s.Line.Devices) != 1 || truth.SpanHz[1] > 2*truth.SpanHz[0] {
		t.Fatal("the seed does not draw a device in a narrow band")
	}
	alone(t, found, WaterInConnector, truth.Faults[0].DistanceM, 0.05)
	silentWithout(t, s)
}

// What is far weaker than something in front of it may be what the model of that leaves: it tells nothing of the way to it.
func TestWitnessInAShadow(t *testing.T) {
	end := locate.Reflection{Kind: locate.AtFarEnd, DistanceM: 19, ReturnLossDB: 43}
	for _, c := range []struct {
		atM, returnLossDB float64
		kind              locate.Kind
		want              bool
	}{{11, 8, locate.Mid, true}, {11, 25, locate.Mid, false}, {20, 8, locate.Mid, false}, {11, 8, locate.EchoOf, false}} {
		found := []locate.Reflection{{Kind: c.kind, DistanceM: c.atM, ReturnLossDB: c.returnLossDB}, end}
		if got := outshone(found, &end); got != c.want {
			t.Errorf("%.0f dB at %.0f m: outshone %v", c.returnLossDB, c.atM, got)
		}
	}
}
