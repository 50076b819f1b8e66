package diagnose

import (
	"slices"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// faultCauses are the causes that are faults.
func faultCauses() []Cause {
	return []Cause{OpenCircuit, ShortCircuit, PoorContact, ConnectorMismatch, WaterInConnector, WaterInCable, DentOrKink, WrongImpedance,
		LossySection, AntennaFault, Unnamed}
}

func advised(t *testing.T, f Finding) Finding {
	t.Helper()
	line := siteLine()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	f.IsFault = true
	advise(&f, line, path, false)
	return f
}

// Where an earlier sweep was held against this one nobody is sent to look for it.
func TestNoSecondLookAtTheEarlierSweep(t *testing.T) {
	line := siteLine()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	for _, compared := range []bool{false, true} {
		f := Finding{Cause: PoorContact, DistanceM: 2.5, IsFault: true}
		advise(&f, line, path, compared)
		if has(f.Checks, "Compare with the sweep taken at commissioning") == compared {
			t.Errorf("compared %v: checks %q", compared, f.Checks)
		}
	}
}

func has(list []string, words string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, words) })
}

// What every fault must come with, wherever it is: work on the ground before
// work aloft, a measurement, tools, and every usual caution.
func TestEveryCauseHasItsAdvice(t *testing.T) {
	for _, cause := range faultCauses() {
		for _, x := range []float64{0, 1.2, 2.5, 24, 48, 49, 50} {
			f := advised(t, Finding{Cause: cause, DistanceM: x, SigmaM: 0.02})
			if len(f.Checks) < 5 || !strings.HasPrefix(f.Checks[0], "At the ground: ") || !strings.HasPrefix(f.Checks[len(f.Checks)-1], "Sweep again after the repair") {
				t.Errorf("%s at %g m: checks %q", cause, x, f.Checks)
			}
			if !has(f.Checks, "sweep again") || !has(f.Checks, "commissioning") {
				t.Errorf("%s at %g m: no measurement in %q", cause, x, f.Checks)
			}
			for _, c := range Cautions() {
				if !slices.Contains(f.Cautions, c) {
					t.Errorf("%s at %g m lacks the caution %q", cause, x, c)
				}
			}
			if !has(f.TakeAlong, "the instrument") || !has(f.TakeAlong, "locks and tags") {
				t.Errorf("%s at %g m: take along %q", cause, x, f.TakeAlong)
			}
			for _, list := range [][]string{f.Checks, f.TakeAlong, f.Cautions} {
				for i, s := range list {
					if s == "" || strings.Contains(s, "%!") || strings.Contains(s, "  ") || slices.Contains(list[:i], s) {
						t.Errorf("%s at %g m: %q", cause, x, s)
					}
				}
			}
		}
	}
}

func TestEveryCauseHasItsOwnAdvice(t *testing.T) {
	seen := map[string]Cause{}
	for _, cause := range faultCauses() {
		f := advised(t, Finding{Cause: cause, DistanceM: 48, SigmaM: 0.02})
		all := strings.Join(f.Checks, "\n")
		if other, twice := seen[all]; twice {
			t.Errorf("%s and %s are advised alike", cause, other)
		}
		seen[all] = cause
	}
}

func TestAdviceKnowsThePlace(t *testing.T) {
	for _, c := range []struct {
		name          string
		finding       Finding
		check, take   string
		climb, wrench bool
	}{
		{"test port", Finding{Cause: PoorContact, DistanceM: 0}, "taps and gently bends the connector at the test port", "spare connectors for half-inch flexible", false, true},
		{"bottom", Finding{Cause: PoorContact, DistanceM: 2.51}, "Look at the joint bottom jumper / feeder (2.51 ± 0.02 m along", "known good jumper in place of the bottom jumper: 2.50 m of half-inch flexible", false, true},
		{"in the bottom jumper", Finding{Cause: DentOrKink, DistanceM: 1.2}, "Exchange the bottom jumper for a known good one", "2.50 m of half-inch flexible", false, true},
		{"mid-feeder", Finding{Cause: DentOrKink, DistanceM: 20}, "look at the feeder, 17.50 m from its lower end", "measuring tape", true, false},
		{"top", Finding{Cause: WaterInConnector, DistanceM: 48}, "From the ground, through binoculars, look at the joint feeder / top jumper", "spare connectors for seven-eighths foam", true, true},
		{"antenna's connector", Finding{Cause: PoorContact, DistanceM: 50}, "the connector at the antenna", "spare connectors for half-inch flexible", true, true},
		{"antenna", Finding{Cause: AntennaFault, DistanceM: 50}, "Put a known good termination in place of the antenna", "spare antenna", true, true},
		{"a lossy feeder", Finding{Cause: LossySection, DistanceM: 2.5, ExtentM: 45.5}, "the whole of the feeder", "data sheet", true, false},
		{"an open at the top", Finding{Cause: OpenCircuit, DistanceM: 48}, "Nothing behind 48.00 ± 0.02 m has been judged", "ohmmeter", true, true},
		{"an open in the feeder", Finding{Cause: OpenCircuit, DistanceM: 30}, "look for a cut, a burn or a splice", "ohmmeter", true, false},
	} {
		c.finding.SigmaM = 0.02
		f := advised(t, c.finding)
		if !has(f.Checks, c.check) {
			t.Errorf("%s: no %q in\n%s", c.name, c.check, strings.Join(f.Checks, "\n"))
		}
		if !has(f.TakeAlong, c.take) {
			t.Errorf("%s: no %q in\n%s", c.name, c.take, strings.Join(f.TakeAlong, "\n"))
		}
		if got := has(f.TakeAlong, "fall protection"); got != c.climb {
			t.Errorf("%s: prepared for a climb: %t", c.name, got)
		}
		if got := has(f.TakeAlong, "torque wrench"); got != c.wrench {
			t.Errorf("%s: takes a torque wrench: %t", c.name, got)
		}
	}
}

// One port cannot always separate two causes: then the measurement that does is
// among the checks, before anybody climbs.
func TestAdviceTellsAlternativesApart(t *testing.T) {
	f := advised(t, Finding{Cause: PoorContact, DistanceM: 50, SigmaM: 0.02, Alternatives: []Alternative{{AntennaFault, 0.3}, {ConnectorMismatch, 0.02}}})
	words := "It may be antenna out of specification instead (30 %). What tells the two apart: " + separate(PoorContact, AntennaFault)
	climb := slices.IndexFunc(f.Checks, func(s string) bool { return strings.Contains(s, "Undo the connector") })
	if at := slices.Index(f.Checks, words); at < 0 || at > climb {
		t.Errorf("%q is at %d of %q", words, at, f.Checks)
	}
	if has(f.Checks, "mismatch") {
		t.Errorf("two per cent are worth a measurement: %q", f.Checks)
	}
}

// What is done at the test port alone comes before what needs a hand elsewhere.
func TestGroundComesFirst(t *testing.T) {
	for _, cause := range faultCauses() {
		f := advised(t, Finding{Cause: cause, DistanceM: 48, SigmaM: 0.02})
		left := false
		for _, c := range f.Checks[:len(f.Checks)-1] {
			away := strings.Contains(c, "far end") || strings.Contains(c, "Undo") || strings.Contains(c, "taps") || strings.Contains(c, "in place of the antenna")
			if left && (strings.HasPrefix(c, "At the ground") || strings.HasPrefix(c, "Sweep again down") || strings.HasPrefix(c, "Sweep a wider") || strings.HasPrefix(c, "Compare with the sweep")) {
				t.Errorf("%s: %q comes after somebody had to go up", cause, c)
			}
			left = left || away
		}
	}
}

func TestLightningProtectionIsNotForgotten(t *testing.T) {
	line := siteLine()
	line.Devices = []cables.Device{{After: "bottom jumper", Kind: "surge arrestor", LengthM: 0.1}}
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	f := Finding{Cause: PoorContact, DistanceM: 2.6, SigmaM: 0.02, IsFault: true}
	advise(&f, line, path, false)
	if !has(f.Checks, "Bridge the surge arrestor") || !has(f.TakeAlong, "spare surge arrestor") || !has(f.Cautions, "lightning protection") {
		t.Errorf("%q\n%q\n%q", f.Checks, f.TakeAlong, f.Cautions)
	}
}

func TestALineOfWhichLittleIsKnownGetsAdvice(t *testing.T) {
	line := cables.VelocityLine(0.88, 80)
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	f := Finding{Cause: Unnamed, DistanceM: 79.95, SigmaM: 0.5, IsFault: true}
	advise(&f, line, path, false)
	if !has(f.Checks, "look at the cable, 79.95 m from its lower end") {
		t.Errorf("%q", f.Checks)
	}
}

func TestWhatIsNoFaultAsksForNoWork(t *testing.T) {
	for _, f := range []Finding{{Cause: Joint}, {Cause: Device}, {Cause: FarEnd}, {Cause: Unnamed}, {Cause: Ghost}, {Cause: Ghost, GhostOf: []float64{2.5, 48}}} {
		line := siteLine()
		path, err := line.Path()
		if err != nil {
			t.Fatal(err)
		}
		advise(&f, line, path, false)
		if len(f.Checks) != 1 || f.TakeAlong == nil || len(f.TakeAlong) > 0 || f.Cautions == nil || len(f.Cautions) > 0 {
			t.Errorf("%s: %q %q %q", f.Cause, f.Checks, f.TakeAlong, f.Cautions)
		}
		if len(f.GhostOf) == 2 && !strings.Contains(f.Checks[0], "between 2.50 m and 48.00 m") {
			t.Errorf("%q", f.Checks)
		}
	}
}

func TestTellFillsInTheRest(t *testing.T) {
	line := siteLine()
	fit, s := siteFit(t, line, 0.5, 0, func(*linemodel.Fit) {})
	s.Correction = sweep.Uncorrected
	out := &Findings{Findings: []Finding{{Cause: PoorContact, DistanceM: 2.5, IsFault: true}, {Cause: AntennaFault, DistanceM: 50.3, IsFault: true}, {Cause: Joint, DistanceM: 48}}}
	tell(out, s, line, fit.Path, fit, 0, false)
	if !strings.HasPrefix(out.Calibration, "NOT CALIBRATED") || !has(out.Warnings, "the line loses 2.8 dB one way") {
		t.Errorf("%q, %q", out.Calibration, out.Warnings)
	}
	if f := out.Findings; f[0].FromFarEndM != 47.5 || f[1].FromFarEndM != 0 || f[2].FromFarEndM != 2 || !has(f[1].Evidence, "a total reflection in the antenna's place") || has(f[0].Evidence, "antenna") {
		t.Errorf("%+v", f)
	}
	for _, f := range out.Findings {
		if len(f.Checks) == 0 {
			t.Errorf("%s has no advice", f.Cause)
		}
	}
}
