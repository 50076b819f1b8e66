package blind

import (
	"context"
	"math"
	"reflect"
	"slices"
	"testing"

	"downlead/dsp/diagnose"
)

func mustCase(t *testing.T, seed uint64, level int) *Case {
	t.Helper()
	c, err := New(context.Background(), seed, level)
	if err != nil {
		t.Fatalf("seed %d, level %d: %v", seed, level, err)
	}
	return c
}

// Cases of each level are what the level says, and fair; the same seed gives the
// same case.
func TestCasesAreFair(t *testing.T) {
	seeds := uint64(4)
	if testing.Short() {
		seeds = 1
	}
	for level := 1; level <= Levels; level++ {
		kinds := map[diagnose.Cause]int{}
		for seed := range seeds {
			c := mustCase(t, seed, level)
			faults := c.Faults()
			if most := map[bool]int{true: 2, false: 1}[level >= 4]; len(faults) > most || level == 1 && len(faults) != 1 {
				t.Errorf("seed %d, level %d: %d faults", seed, level, len(faults))
			}
			if c.path.LengthM() <= 0 || len(c.Sweep.FrequencyHz) < 100 || c.CellM <= 0 {
				t.Errorf("seed %d, level %d: %g m, %d points, cell %g m", seed, level, c.path.LengthM(), len(c.Sweep.FrequencyHz), c.CellM)
			}
			var marks []Mark
			for _, f := range faults {
				kinds[f.Cause]++
				marks = append(marks, Mark{f.DistanceM, f.Cause})
				if f.ReachM < f.FullM || f.FullM <= 0 || slices.Contains(f.Alike, f.Cause) || f.Where == "" {
					t.Errorf("seed %d, level %d: %+v", seed, level, f)
				}
			}
			if r := c.Score(marks); r.Points != 100 || len(r.FalseMarks) > 0 {
				t.Errorf("seed %d, level %d: the truth scores %+v", seed, level, r)
			}
			if seed == 0 {
				again := mustCase(t, seed, level)
				if !reflect.DeepEqual(c.Sweep, again.Sweep) || !reflect.DeepEqual(c.Faults(), again.Faults()) {
					t.Errorf("level %d: the same seed gives another case", level)
				}
			}
		}
		t.Logf("level %d: %v", level, kinds)
	}
}

func TestNewRefusesAndStops(t *testing.T) {
	if _, err := New(context.Background(), 1, 6); err == nil || err.Error() != "there is no difficulty 6; the levels are 1 to 5" {
		t.Errorf("level 6: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := New(ctx, 1, 1); err == nil {
		t.Error("a cancelled context gives a case")
	}
}

// The points of the package comment, worked by hand.
func TestScore(t *testing.T) {
	contact := Fault{Cause: diagnose.PoorContact, DistanceM: 20, ApparentM: 20, FullM: 0.5, ReachM: 2, Alike: []diagnose.Cause{diagnose.ConnectorMismatch}}
	wet := Fault{Cause: diagnose.WaterInCable, DistanceM: 30, ExtentM: 4, ApparentM: 30, FullM: 0.5, ReachM: 2}
	for _, c := range []struct {
		name   string
		faults []Fault
		marks  []Mark
		points float64
		falses []int
	}{
		{"right", []Fault{contact}, []Mark{{20.4, diagnose.PoorContact}}, 100, nil},
		{"alike", []Fault{contact}, []Mark{{20, diagnose.ConnectorMismatch}}, 100, nil},
		{"right place, wrong cause", []Fault{contact}, []Mark{{20, diagnose.ShortCircuit}}, 50, nil},
		{"halfway from full to reach", []Fault{contact}, []Mark{{21.25, diagnose.PoorContact}}, 75, nil},
		{"out of reach", []Fault{contact}, []Mark{{22.1, diagnose.PoorContact}}, 0, []int{0}},
		{"missed", []Fault{contact}, nil, 0, nil},
		{"inside the stretch", []Fault{wet}, []Mark{{33.5, diagnose.WaterInCable}}, 100, nil},
		{"a second mark too many", []Fault{contact}, []Mark{{5, diagnose.DentOrKink}, {20, diagnose.PoorContact}}, 75, []int{0}},
		{"two marks on one fault", []Fault{contact}, []Mark{{20.1, diagnose.ShortCircuit}, {20.1, diagnose.PoorContact}}, 75, []int{0}},
		{"one of two", []Fault{contact, wet}, []Mark{{30, diagnose.WaterInCable}}, 50, nil},
		{"both, in any order", []Fault{contact, wet}, []Mark{{30, diagnose.WaterInCable}, {20, diagnose.PoorContact}}, 100, nil},
		{"nothing wrong", nil, nil, 100, nil},
		{"nothing wrong, but two marks", nil, []Mark{{1, diagnose.DentOrKink}, {2, diagnose.DentOrKink}}, 50, []int{0, 1}},
		{"a heap of marks", nil, make([]Mark, 10), 0, []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}},
		{"not a place", []Fault{contact}, []Mark{{math.NaN(), diagnose.PoorContact}}, 0, []int{0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := (&Case{faults: c.faults}).Score(c.marks)
			if math.Abs(r.Points-c.points) > 1e-9 || !slices.Equal(r.FalseMarks, c.falses) {
				t.Errorf("%g points, false %v; want %g, %v", r.Points, r.FalseMarks, c.points, c.falses)
			}
		})
	}
}
