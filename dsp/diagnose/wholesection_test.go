package diagnose

import (
	"fmt"
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
	"downlead/dsp/simulate"
)

// A whole section of 75-ohm cable of another velocity: its far edge and the end of the line are seen
// well behind the record's end, and its near edge alone could be a contact of 25 ohm.
func TestWholeSectionOfOtherCable(t *testing.T) {
	if testing.Short() {
		t.Skip("several diagnoses")
	}
	const lengthM = 24.0
	for _, c := range []struct {
		load            cables.LoadKind
		lowHz, highHz   float64
		recorded, other float64 // velocity factors
	}{
		{cables.Short, 700e6, 1000e6, 0.995, 0.78},
		{cables.Open, 1710e6, 2170e6, 0.995, 0.66},
		{cables.Open, 700e6, 1000e6, 0.89, 0.78},
		{cables.Antenna, 100e6, 500e6, 0.995, 0.87},
		{cables.Antenna, 700e6, 1000e6, 0.89, 0.78},
	} {
		t.Run(fmt.Sprintf("%s, %.0f MHz", c.load, c.lowHz/1e6), func(t *testing.T) {
			s := band(clearLine(c.load, simulate.Fault{Cause: string(WrongImpedance), At: "feeder", Cable: "braid-75"}), c.lowHz, c.highHz, 401)
			s.Line.Sections[1].LengthM = lengthM
			s.Line.Cables[1].VelocityFactor, s.Line.Cables[3].VelocityFactor = c.recorded, c.other
			found, _ := diagnosed(t, s)
			alone(t, found, WrongImpedance, 3, 0.05)
			if f := faultsOf(found)[0]; math.Abs(f.ExtentM-lengthM) > 0.02*lengthM {
				t.Errorf("%.2f m of it, want %.2f", f.ExtentM, lengthM)
			}
		})
	}
}

// A line of 75-ohm cable from end to end: of another velocity, so that it seems to end behind its record and what stands at the
// port comes out too large; and in front of an antenna, whose place in the record lies behind where the far edge is seen. Drawn lines.
func TestWholeLineOfOtherCable(t *testing.T) {
	for _, seed := range []uint64{86012, 87013} {
		s := drawn(t, seed, WrongImpedance)
		found, truth := diagnosed(t, s)
		alone(t, found, WrongImpedance, 0, 0.05)
		if f, is := faultsOf(found)[0], truth.Faults[0].ExtentM; math.Abs(f.ExtentM-is) > 0.03*is {
			t.Errorf("seed %d: %.2f m of it, is %.2f m", seed, f.ExtentM, is)
		}
	}
}

// A jumper of 75-ohm cable just in front of an antenna, in a band of a few cells: locating leaves it to the antenna, and its near
// edge alone passes for a contact.
func TestTailOfOtherCable(t *testing.T) {
	for _, lengthM := range []float64{2.3, 2.9} {
		s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(WrongImpedance), At: "top jumper", Cable: "braid-75"}), 380e6, 470e6, 801)
		s.Line.Sections[2].LengthM = lengthM
		s.Line.Load.BandHz = [2]float64{389e6, 453e6}
		found, _ := diagnosed(t, s)
		alone(t, found, WrongImpedance, 17, 0.05)
		if f := faultsOf(found)[0]; math.Abs(f.ExtentM-lengthM) > 0.05*lengthM {
			t.Errorf("%.2f m of it, want %.2f", f.ExtentM, lengthM)
		}
	}
}

// Cable that would pass for wet behind a short circuit is none: nothing of it shows. And where a joint is in reach of what looks
// like a dent in front of an antenna, what stands there is named by what stands in joints. Drawn lines.
func TestWhatAStretchPassesFor(t *testing.T) {
	if testing.Short() {
		t.Skip("two diagnoses")
	}
	s, err := simulate.Draw(78015, simulate.DrawOptions{Cause: "double", Ordinary: true})
	if err != nil {
		t.Fatal(err)
	}
	found, truth := diagnosed(t, s)
	faults := faultsOf(found)
	if len(faults) != 2 || faults[0].Cause != WaterInCable || faults[1].Cause != ShortCircuit || math.Abs(faults[1].DistanceM-truth.Faults[1].DistanceM) > 0.05 {
		t.Errorf("%d faults, want wet cable and a short circuit behind it", len(faults))
	}
	found, truth = diagnosed(t, drawn(t, 78014, WrongImpedance))
	alone(t, found, WrongImpedance, truth.Faults[0].DistanceM, 0.05)
}

// Other cable from somewhere in a section to its end: a joint that may reflect as well hides its far edge.
func TestRestOfASectionOfOtherCable(t *testing.T) {
	s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(WrongImpedance), DistanceM: 13.5, ExtentM: 27.47, ImpedanceOhm: 75}), 25e6, 1200e6, 1001)
	s.Line.Sections[1].LengthM = 38
	s.Line.Load.BandHz = [2]float64{446e6, 521e6}
	found, _ := diagnosed(t, s)
	alone(t, found, WrongImpedance, 13.5, 0.1)
	if f := faultsOf(found)[0]; math.Abs(f.ExtentM-27.5) > 0.5 {
		t.Errorf("%.2f m of it, want 27.5", f.ExtentM)
	}
}

// The two edges of a section of other cable may each pass for a fault of its own, where nothing behind tells. One thing explains
// as much as two.
func TestTwoEdgesOfOneSection(t *testing.T) {
	s := band(clearLine(cables.Termination, simulate.Fault{Cause: string(WrongImpedance), At: "feeder", ImpedanceOhm: 75}), 700e6, 1000e6, 801)
	s.Line.Sections[0].LengthM, s.Line.Sections[1].LengthM, s.Line.Sections[2].LengthM = 1.9, 32.8, 3.4
	s.Line.Cables[1].VelocityFactor = 0.997
	s.Line.Cables[1].Attenuation = []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 0.3}, {FrequencyHz: 1000e6, DBPerHundredM: 1}}
	s.Line.Devices = []cables.Device{{After: "bottom jumper", Kind: "surge-arrestor", LengthM: 0.11, ReturnLossDB: 28}}
	s.Seed = 5
	s.AsBuilt.JointReturnLossDB, s.AsBuilt.ImpedanceOhm, s.AsBuilt.Roughness = [2]float64{36, 42}, 0.3, 3e-4
	found, _ := diagnosed(t, s)
	alone(t, found, WrongImpedance, 2.01, 0.05)
}

// Where the record has a line that loses next to nothing, other cable loses some tens of times as much.
func TestOtherCableInAnAirLine(t *testing.T) {
	s := band(clearLine(cables.Short, simulate.Fault{Cause: string(WrongImpedance), At: "feeder", Cable: "braid-75"}), 100e6, 500e6, 401)
	s.Line.Sections[1].LengthM, s.Line.Sections[2].LengthM = 14, 1.4
	s.Line.Cables[3].Attenuation = []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 6.6}, {FrequencyHz: 900e6, DBPerHundredM: 20}}
	air := &s.Line.Cables[1]
	air.VelocityFactor = 0.995
	air.Attenuation = []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 0.12}, {FrequencyHz: 900e6, DBPerHundredM: 0.36}}
	found, _ := diagnosed(t, s)
	alone(t, found, WrongImpedance, 3, 0.05)
}

// A dent just in front of an antenna is within what its taps take; it comes back before the antenna can
// answer.
func TestDentInFrontOfAnAntenna(t *testing.T) {
	s := band(clearLine(cables.Antenna, simulate.Fault{Cause: string(DentOrKink), DistanceM: 21.4, ExtentM: 0.09, ImpedanceOhm: 22}), 380e6, 470e6, 801)
	s.Line.Sections[2].LengthM = 6
	s.Line.Load.BandHz, s.Line.Load.ReturnLossDB = [2]float64{382e6, 465e6}, 18.5
	found, _ := diagnosed(t, s)
	alone(t, found, DentOrKink, 21.4, 0.15)
}

// Between a deep dent and an antenna, which is a mirror outside its band, the wave goes to and fro so often that free
// reflections do not find their way. Drawn lines.
func TestDeepDentInFrontOfAnAntenna(t *testing.T) {
	if testing.Short() {
		t.Skip("three diagnoses")
	}
	for _, seed := range []uint64{68003, 68016, 75017} {
		s := drawn(t, seed, DentOrKink)
		found, truth := diagnosed(t, s)
		if truth.Load.Kind != string(cables.Antenna) || truth.FarEndM-truth.Faults[0].DistanceM > 2 {
			t.Fatalf("seed %d does not draw a dent in front of an antenna", seed)
		}
		alone(t, found, DentOrKink, truth.Faults[0].DistanceM, 0.05)
	}
}

// A contact of the line's own impedance in front of a short swallows what the short would throw back.
func TestContactThatSwallowsAShort(t *testing.T) {
	s := band(clearLine(cables.Short, simulate.Fault{Cause: string(PoorContact), At: "load", SeriesOhm: 49.7}), 5e6, 1000e6, 401)
	found, _ := diagnosed(t, s)
	alone(t, found, PoorContact, 19, 0.1)
}

// Wet cable in front of a break shows as it does on a line that is whole.
func TestWetCableInFrontOfAShortCircuit(t *testing.T) {
	s := band(clearLine(cables.Antenna,
		simulate.Fault{Cause: string(WaterInCable), DistanceM: 5.6, ExtentM: 4.1, ImpedanceDrop: 0.19, LossTangent: 0.003, TaperM: 0.19},
		simulate.Fault{Cause: string(ShortCircuit), DistanceM: 13.1}), 5e6, 1000e6, 801)
	found, _ := diagnosed(t, s)
	faults := faultsOf(found)
	for _, f := range faults {
		t.Logf("%s (%.2f) at %.3f ± %.3f m, extent %.3f m; %s", f.Cause, f.Confidence, f.DistanceM, f.SigmaM, f.ExtentM, f.Evidence)
	}
	if len(faults) != 2 || faults[0].Cause != WaterInCable || math.Abs(faults[0].DistanceM-5.6) > 0.3 || faults[1].Cause != ShortCircuit || math.Abs(faults[1].DistanceM-13.1) > 0.2 {
		t.Error("want wet cable at 5.6 m and a short circuit at 13.1 m")
	}
}

// A joint that reflects more than its budget, and no more than three deviations of sound joints, is sound;
// a stronger one is a mismatch.
func TestMildMismatch(t *testing.T) {
	if testing.Short() {
		t.Skip("three diagnoses")
	}
	for _, c := range []struct {
		farad float64
		fault bool
	}{{0.2e-12, false}, {0.4e-12, true}, {0.8e-12, true}} { // |Γ| at 1 GHz: ωCZ/2 = 0.031, 0.063 and 0.126
		s := band(clearLine(cables.Termination, simulate.Fault{Cause: string(ConnectorMismatch), At: "feeder / top jumper", ShuntFarad: c.farad}), 700e6, 2700e6, 801)
		found, _ := diagnosed(t, s)
		if !c.fault {
			if faults := faultsOf(found); len(faults) > 0 {
				t.Errorf("%.1f pF: %s at %.2f m: %s", 1e12*c.farad, faults[0].Cause, faults[0].DistanceM, faults[0].Evidence)
			}
			continue
		}
		alone(t, found, ConnectorMismatch, 17, 0.05)
	}
}

// A dent that is sought as a whole is told in place of a fault that was named there only if it leaves less than half; where none was,
// but one elsewhere, or an antenna whose taps take all, what stands for it may have left half as much.
func TestWholeDentLeavesLess(t *testing.T) {
	path, err := clearLine(cables.Open).Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	hz := []float64{700e6, 800e6, 900e6, 1000e6}
	w := &soaking{point: &linemodel.Point{X: 5, Form: linemodel.Foreign, Extent: 0.05, Ratio: 0.6}}
	b := &bench{fit: linemodel.NewFit(path, hz, make([]complex128, len(hz))), load: cables.Open}
	seen := func(left float64, findings ...Finding) *view {
		return &view{left: left, bench: b, findings: findings, found: &locate.Result{Known: []*linemodel.Point{w.point}}}
	}
	fault := func(cause Cause, atM float64) Finding { return Finding{Cause: cause, IsFault: true, DistanceM: atM} }
	for _, c := range []struct {
		first, second *view
		stands        bool
	}{
		{seen(1, fault(ConnectorMismatch, 5.1)), seen(0.4), true},
		{seen(1, fault(ConnectorMismatch, 5.1)), seen(0.9), false},
		{seen(1, fault(ConnectorMismatch, 12)), seen(1.1), true},
		{seen(1, fault(AntennaFault, 5.1)), seen(1.1), true},
		{seen(1), seen(1.1), true},
		{seen(1), seen(2.1), false},
	} {
		if got := w.stands(c.first, c.second); got != c.stands {
			t.Errorf("%v with %.1f left after %.1f, %v named", got, c.second.left, c.first.left, c.first.findings)
		}
	}
}
