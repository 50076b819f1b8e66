package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// offLine is the clear line off its record, with cables of a stated tolerance
// and a termination.
func offLine(seed uint64, velocity, length float64, faults ...simulate.Fault) *simulate.Scenario {
	s := clearLine(cables.Termination, faults...)
	for i := range s.Line.Cables {
		s.Line.Cables[i].VelocityFactorTolerance = 0.01
	}
	s.Seed, s.AsBuilt.Velocity, s.AsBuilt.Length = seed, velocity, length
	s.Sweep.Segments[0].Points = 301
	s.Sweep.Segments[0].HighHz = 2000e6
	return s
}

// sigmasOff is how many of its stated deviations the one fault is off, and these.
func sigmasOff(t *testing.T, s *simulate.Scenario) (off, sigmaM float64) {
	t.Helper()
	found, truth := diagnosed(t, s)
	faults := faultsOf(found)
	if len(faults) == 0 {
		t.Errorf("seed %d: no fault found", s.Seed)
		return math.Inf(1), 0
	}
	f := faults[0]
	for _, g := range faults {
		if math.Abs(g.DistanceM-truth.Faults[0].DistanceM) < math.Abs(f.DistanceM-truth.Faults[0].DistanceM) {
			f = g
		}
	}
	return math.Abs(f.DistanceM-truth.Faults[0].DistanceM) / f.SigmaM, f.SigmaM
}

// Lines as the record's tolerances have them, half off in velocity and a third in
// length: of 24 faults in mid-section 24·68 % = 16 are expected inside one stated
// deviation, some more since such a distribution is peaked, and 23 inside two. A binomial of
// 24 lies at 12 or more and at 20 or more of these with 97 %; all 24 inside one
// would say that the deviation is too wide.
func TestPlacesOffTheRecord(t *testing.T) {
	if testing.Short() {
		t.Skip("two dozen lines take ten seconds")
	}
	one, two, count := 0, 0, 0
	for seed := range uint64(24) {
		velocity, length := 0.0, 0.0
		if seed%2 == 0 {
			velocity = 0.002
		}
		if seed%3 == 0 {
			length = 0.005
		}
		x := 5 + 0.45*float64(seed)
		off, sigma := sigmasOff(t, offLine(seed, velocity, length, simulate.Fault{Cause: string(DentOrKink), DistanceM: x, ExtentM: 0.06, ImpedanceOhm: 35}))
		t.Logf("%.2f m: %.2f deviations of %.4f m", x, off, sigma)
		count++
		if off <= 1 {
			one++
		}
		if off <= 2 {
			two++
		}
	}
	t.Logf("%d and %d of %d inside one and two deviations", one, two, count)
	if one < 12 || one > 23 {
		t.Errorf("%d of %d inside one deviation, want 12 to 23", one, count)
	}
	if two < 20 {
		t.Errorf("%d of %d inside two deviations, want 20 at least", two, count)
	}
}

// Where the far end is just where the record has it, so is the fault: the
// tolerance of the cable, 0.37 % of 9 m or 35 mm, is then not what it may be off by.
// Where the far end is off, one of velocity and length is, and the sweep cannot say which.
func TestAnchorsDecideTheUncertainty(t *testing.T) {
	dent := simulate.Fault{Cause: string(DentOrKink), DistanceM: 9.5, ExtentM: 0.06, ImpedanceOhm: 35}
	off, on := sigmasOff(t, offLine(3, 0, 0, dent))
	if on > 0.006 || off > 3 {
		t.Errorf("a line on its record: ± %.4f m, %.1f deviations off; want ± 6 mm at most, and inside three", on, off)
	}
	if _, far := sigmasOff(t, offLine(3, 0.003, 0.003, dent)); far < 1.5*on {
		t.Errorf("± %.4f m off the record, ± %.4f m on it: want half as much again", far, on)
	}
}

// Twice the stated deviation of a place holds as much as of a normal distribution, whatever the shape of what is known: of one
// that is two deviations, of two far apart all but a tail of each, 1.690 deviations from their means (a table of the normal
// distribution, from memory: 0.9545 lies below that). One place in twenty-five that may be ten times as far off is in the tail alone.
func TestWithinTwoDeviations(t *testing.T) {
	for _, c := range []struct {
		name  string
		parts []normal
		want  float64
	}{
		{"one", []normal{{1, 3, 0.5}}, 1},
		{"two", []normal{{0.5, 2, 0.1}, {0.5, 4, 0.1}}, 1 + 0.1690},
		{"a tail", []normal{{0.99, 3, 0.01}, {0.01, 5, 0.01}}, 0.02 * 1.054},
		{"exact", []normal{{0.5, 3, 0}, {0.5, 3, 0}}, 0},
	} {
		if got := within(c.parts, 3); math.Abs(got-c.want) > 2e-3*math.Max(c.want, 0.1) {
			t.Errorf("%s: %.4f, want %.4f", c.name, got, c.want)
		}
	}
}
