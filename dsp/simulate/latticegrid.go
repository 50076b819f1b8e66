package simulate

import (
	"math"
	"math/cmplx"
	"sort"
)

// On returns what path i adds to Γ at frequencyHz, ascending and within those of the
// lattice: its Gamma with the time of the path taken out, which then turns slowly,
// interpolated along straight lines, and the time put back. Outside them the nearest
// is kept.
func (l *Lattice) On(i int, frequencyHz []float64) []complex128 {
	p := &l.Paths[i]
	turn := func(f float64) complex128 { return cmplx.Rect(1, -2*math.Pi*f*p.TimeS) }
	still := make([]complex128, len(l.FrequencyHz))
	for k, f := range l.FrequencyHz {
		still[k] = p.Gamma[k] / turn(f)
	}
	out := make([]complex128, len(frequencyHz))
	for k, f := range frequencyHz {
		at := sort.SearchFloat64s(l.FrequencyHz, f)
		switch {
		case at == 0:
			out[k] = still[0]
		case at == len(still):
			out[k] = still[at-1]
		default:
			low, high := l.FrequencyHz[at-1], l.FrequencyHz[at]
			share := complex((f-low)/(high-low), 0)
			out[k] = still[at-1] + share*(still[at]-still[at-1])
		}
		out[k] *= turn(f)
	}
	return out
}
