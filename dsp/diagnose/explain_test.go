package diagnose

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

func TestExplain(t *testing.T) {
	path, err := siteLine().Path()
	if err != nil {
		t.Fatal(err)
	}
	f := Finding{DistanceM: 48.02, SigmaM: 0.03, FromFarEndM: 1.98, Cause: PoorContact, Confidence: 0.8, ReturnLossDB: 18.2, PhaseDeg: -3, IsFault: true,
		Alternatives: []Alternative{{ConnectorMismatch, 0.15}, {AntennaFault, 0.05}, {DentOrKink, 0.001}}}
	others := []Finding{f, {DistanceM: 50, Cause: FarEnd, ReturnLossDB: 14}, {DistanceM: 2.5, Cause: Joint}, {DistanceM: 96.04, Cause: Ghost, GhostOf: []float64{0, 48.02}}}
	got := explain(f, reasoning{
		Considered: []considered{
			{WaterInConnector, -20, "conductance 4 mS", true},
			{ConnectorMismatch, -12, "inductance 1 nH", true},
			{PoorContact, -10, "series resistance 14 ± 2 ohm", true},
			{PoorContact, -11, "with a gap", true},
			{DentOrKink, -400, "", true},
			{WrongImpedance, -9, "", false},
		},
		Path: path, Others: others, LowHz: 700e6, HighHz: 2700e6, BudgetDB: 34, ResidualRMS: 0.001, NoiseRMS: 0.0009,
		Repaired: "if this fault were repaired, all would be well",
	})
	want := []string{
		"1. Seen: 48.02 ± 0.03 m from the test port (1.98 m from the far end) the line reflects with a local return loss of 18.2 dB and a phase of -3° at 1.7 GHz, the loss on the way taken out; 34.0 dB would be no fault here.",
		"2. Record: the joint feeder / top jumper is at 48.00 m, 0.02 m away, which the sweep cannot tell from the finding; so what happens in connectors was tried as well, at that joint.",
		"3. Neighbours: far end at 50.00 m (14.0 dB); they were fitted together with it, as what one of them takes the other does not get.",
		"4. Ghosts: what shows at 96.04 m is this reflection bouncing once more, and is counted nowhere else.",
		"5. Best of 6 circuits that were fitted here: poor contact, series resistance 14 ± 2 ohm.",
		"6. Tried: connector mismatch, inductance 1 nH; 7.4 times less likely (log posterior 2.0 behind).",
		"7. Tried: water in a connector, conductance 4 mS; about 20000 times less likely (log posterior 10.0 behind).",
		"8. Tried: dent or kink; more than a million times less likely (log posterior 390.0 behind).",
		"9. Tried without the fit's coming to rest, so neither shown nor ruled out: cable of the wrong impedance.",
		"10. Still possible: connector mismatch. What tells it from poor contact: " + separate(PoorContact, ConnectorMismatch),
		"11. Still possible: antenna out of specification. What tells it from poor contact: " + separate(AntennaFault, PoorContact),
		"12. Left over: the whole model leaves -60.0 dB (rms |Γ|) unexplained, 1.1 times the noise of a point: next to nothing but noise.",
		"13. If this fault were repaired, all would be well.",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestExplainSaysWhatItDoesNotKnow(t *testing.T) {
	path, err := siteLine().Path()
	if err != nil {
		t.Fatal(err)
	}
	f := Finding{DistanceM: 30, SigmaM: 0.03, Cause: Unnamed, Confidence: 0.5, IsFault: true}
	text := strings.Join(explain(f, reasoning{Path: path, Others: []Finding{{DistanceM: 10, Cause: OpenCircuit}}, ResidualRMS: 0.01, NoiseRMS: 0.001}), "\n")
	for _, want := range []string{
		"the nearest joint, the joint feeder / top jumper at 48.00 m, is 18.00 m away; the finding lies in feeder,",
		"a total reflection at 10.00 m stands in front of this",
		"No circuit was fitted here",
		"10.0 times the noise of a point: something on this line is not in the model yet, and the name counts for less.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	var ghosts []Finding
	for i := range 6 {
		ghosts = append(ghosts, Finding{DistanceM: 95 - float64(i), Cause: Ghost, GhostOf: []float64{30.01, 48}})
	}
	text = strings.Join(explain(f, reasoning{Others: append(ghosts, Finding{DistanceM: 31, Cause: Unnamed, ReturnLossDB: 50})}), "\n")
	if !strings.Contains(text, "what shows at 90.00 m, 91.00 m, 92.00 m, 93.00 m and 2 more places is") || !strings.Contains(text, "small reflection at 31.00 m (50.0 dB)") {
		t.Error(text)
	}
	ghost := explain(Finding{Cause: Ghost, GhostOf: []float64{2.5, 48}}, reasoning{})
	if len(ghost) != 1 || !strings.HasPrefix(ghost[0], "1. Nothing is here: the wave bounces between 2.50 m and 48.00 m.") {
		t.Errorf("%q", ghost)
	}
	for _, cause := range faultCauses() { // nothing known at all
		for i, s := range explain(Finding{Cause: cause, IsFault: true}, reasoning{}) {
			if !strings.HasPrefix(s, fmt.Sprintf("%d. ", i+1)) || strings.Contains(s, "NaN") || strings.Contains(s, "%!") {
				t.Errorf("%s: %q", cause, s)
			}
		}
	}
}

func TestOddsAreOfALogPosterior(t *testing.T) {
	for behind, want := range map[float64]string{0.1: "as likely as the best", math.Log(3): "3.0 times less likely", math.Log(140): "about 100 times less likely",
		math.Log(160): "about 200 times less likely", 13: "about 400000 times less likely", 20: "more than a million times less likely"} {
		if got := odds(behind); got != want {
			t.Errorf("%.3f behind: %q, want %q", behind, got, want)
		}
	}
}

// Every pair that the trade confuses has a measurement of its own, in either
// order, and every pair has one at all.
func TestEveryPairOfCausesIsSeparated(t *testing.T) {
	fallback := separate("one", "other")
	for p := range separations() {
		if p.a == p.b || separate(p.a, p.b) != separate(p.b, p.a) || separate(p.a, p.b) == fallback {
			t.Errorf("%s and %s: %q", p.a, p.b, separate(p.a, p.b))
		}
		if _, twice := separations()[causePair{p.b, p.a}]; twice {
			t.Errorf("%s and %s stand twice", p.a, p.b)
		}
	}
	for _, c := range []Cause{PoorContact, ConnectorMismatch, WaterInConnector, WaterInCable, DentOrKink, WrongImpedance, OpenCircuit, ShortCircuit, LossySection} {
		if separate(c, AntennaFault) == fallback {
			t.Errorf("%s at the load's connector is not told from the antenna", c)
		}
	}
}
