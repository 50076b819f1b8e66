package distance

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"downlead/cables"
	"downlead/dsp"
)

// GateSettings says which stretch of the line to keep.
type GateSettings struct {
	FromM, ToM float64
	// TaperM is the length over which either end of the gate goes from all to
	// nothing, half of it inside; 0: two cells.
	TaperM float64
}

// Gate returns what the stretch of path from FromM to ToM alone contributes to
// the sweep gamma at frequencyHz (strictly ascending, any grid): the reflection
// at the test port if all other places were matched. The result is a new slice.
//
// Method. The sweep is referred to the electrical middle c of the stretch,
// H = Γ·e^{2Θ(f,c)}, whereupon echoes of the stretch vary slowly with f and all
// others fast, and is averaged over f with the kernel K whose transform is the
// gate (one inside, cosine flanks of TaperM):
//
//	Γ_gate(f_k) = e^{-2Θ(f_k,c)}·Σ_l w_l·K(f_k-f_l)·H(f_l) / Σ_l w_l·K(f_k-f_l)
//
// w_l are the grid's widths (dsp.GridWeights). The denominator is the edge
// renormalisation: near the ends of the band, and beside holes, part of K falls
// outside the data, and without it the result would sag there. With it a mirror
// in the middle of the stretch comes out exactly at every frequency; a mirror
// off the middle, or one that changes with frequency, is in error within about
// one reciprocal gate length c·VF/(2·(ToM-FromM)) of the ends of the band, and
// echoes from outside leak in there. The loss within the stretch is taken at its
// middle. Time N log N.
func Gate(path *cables.Path, frequencyHz []float64, gamma []complex128, settings GateSettings) ([]complex128, error) {
	if path == nil || len(path.Spans) == 0 {
		return nil, errors.New("distance: the line has no span")
	}
	if err := checkGrid(frequencyHz); err != nil {
		return nil, err
	}
	if len(gamma) != len(frequencyHz) {
		return nil, fmt.Errorf("distance: %d values at %d frequencies", len(gamma), len(frequencyHz))
	}
	from, to := path.ElectricalM(settings.FromM), path.ElectricalM(settings.ToM)
	if !(to > from) || math.IsInf(to-from, 0) || !(settings.TaperM >= 0) || math.IsInf(settings.TaperM, 0) {
		return nil, fmt.Errorf("distance: a gate from %g m to %g m with flanks of %g m is empty, endless or upside down", settings.FromM, settings.ToM, settings.TaperM)
	}
	n := len(frequencyHz)
	band := frequencyHz[n-1] - frequencyHz[0]
	cell := cables.SpeedOfLight / (2 * band) // electrical
	middle := (from + to) / 2
	middleM := path.PhysicalM(middle)
	taper := 2 * cell
	if settings.TaperM > 0 {
		taper = settings.TaperM / path.Spans[path.SpanAt(middleM)].Medium.VelocityFactor
	}
	taper = min(taper, to-from)

	// Places across the gate, fine enough for K to be free of images over four
	// bands.
	half := (to - from + taper) / 2
	places := 2*int(math.Ceil(4*half/cell)) + 1
	if places > mostPlaces {
		return nil, fmt.Errorf("distance: a gate of %.4g m holds more than %d cells", settings.ToM-settings.FromM, mostPlaces/8)
	}
	place, gate := make([]float64, places), make([]float64, places)
	for i := range place {
		place[i] = half * float64(2*i-(places-1)) / float64(max(1, places-1))
		depth := (half - math.Abs(place[i])) / taper // into the flank
		gate[i] = 1
		if depth < 1 {
			gate[i] = 0.5 - 0.5*math.Cos(math.Pi*max(0, depth))
		}
	}
	s, back := make([]float64, n), make([]float64, places)
	for k, f := range frequencyHz {
		s[k] = 4 * math.Pi * (f - frequencyHz[0]) / cables.SpeedOfLight
	}
	for i, x := range place {
		back[i] = -x
	}
	forward, backward := dsp.NewExponentialSum(s, place, 1e-11), dsp.NewExponentialSum(back, s, 1e-11)
	average := func(h []complex128) []complex128 {
		along := forward.Evaluate(make([]complex128, places), h)
		for i, g := range gate {
			along[i] *= complex(g, 0)
		}
		return backward.Evaluate(make([]complex128, n), along)
	}
	referred, ones := make([]complex128, n), make([]complex128, n)
	for k, width := range dsp.GridWeights(nil, frequencyHz) {
		ones[k] = complex(width/band, 0)
		referred[k] = ones[k] * gamma[k] * cmplx.Exp(2*path.Theta(frequencyHz[k], middleM))
	}
	kept, whole := average(referred), average(ones)
	for k, f := range frequencyHz {
		kept[k] = kept[k] / whole[k] * cmplx.Exp(-2*path.Theta(f, middleM))
	}
	return kept, nil
}
