package diagnose

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// The same trials give the same numbers to the last digit, whatever the order in which causes are met.
func TestAlternativesRepeat(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 1))
	for range 100 {
		var trials []trial
		for _, c := range []Cause{WaterInConnector, ConnectorMismatch, DentOrKink, PoorContact, OpenCircuit, WrongImpedance, ShortCircuit} {
			trials = append(trials, trial{cause: c, score: -20 * random.ExpFloat64()})
		}
		sortTrials(trials)
		var first Finding
		nameFinding(&first, trials, 0.7, AntennaFault)
		for range 20 {
			var again Finding
			nameFinding(&again, trials, 0.7, AntennaFault)
			if !reflect.DeepEqual(first, again) {
				t.Fatalf("%v, and again %v", first.Alternatives, again.Alternatives)
			}
		}
	}
}

// No alternative is told to be likelier than the cause: where several circuits together make it so, they are even.
func TestNoAlternativeIsLikelier(t *testing.T) {
	same := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }
	for _, c := range []struct {
		confidence float64
		others     []float64
		want       float64
		left       []float64
	}{
		{0.40, []float64{0.50, 0.06}, 0.45, []float64{0.45, 0.06}},
		{0.25, []float64{0.41, 0.30, 0.04}, 0.33, []float64{0.33, 0.30, 0.04}},
		{0.20, []float64{0.40, 0.36}, 0.32, []float64{0.32, 0.32}},
		{0.93, []float64{0.04, 0.03}, 0.93, []float64{0.04, 0.03}},
		{0.50, nil, 0.50, nil},
	} {
		f := Finding{Cause: PoorContact, Confidence: c.confidence}
		for _, p := range c.others {
			f.Alternatives = append(f.Alternatives, Alternative{DentOrKink, p})
		}
		f.evenOut()
		var left []float64
		for _, a := range f.Alternatives {
			left = append(left, a.Confidence)
		}
		if !same(f.Confidence, c.want) || !slices.EqualFunc(left, c.left, same) {
			t.Errorf("%g and %v: %g and %v, want %g and %v", c.confidence, c.others, f.Confidence, left, c.want, c.left)
		}
	}
}
