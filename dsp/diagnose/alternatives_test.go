package diagnose

import (
	"math/rand/v2"
	"reflect"
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
