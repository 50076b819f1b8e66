package locate

import (
	"context"
	"math"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/linemodel"
)

// An open or shorted end throws everything back, and everything in front of it
// a second time. Searched for strongest first and one by one, the end may be
// begun before what stands in front of it is known, too small and at a place
// that is wrong by a part of a wave, and many points then make up for it. Where
// the search leaves much, it is begun again with the end on the line.
const (
	poorlyLeft   = 0.05  // rms |Γ| that a search leaves from which it has gone astray
	mirrorIs     = 0.998 // |Γ| of an open or shorted end
	mirrorStarts = 2     // places of the end that are tried
	mirrorSteps  = 16.0  // to a wave at the top of the band
)

// mirror is the reflection of an end that the record says reflects all, 0 for
// other loads.
func (l Line) mirror() float64 {
	switch {
	case l.OpenEnded:
	case l.Load.Kind == cables.Open:
		return mirrorIs
	case l.Load.Kind == cables.Short:
		return -mirrorIs
	}
	return 0
}

// fromMirror searches again with the end on the line, where the search of f has
// gone astray, and returns whichever leaves less.
func (f *finder) fromMirror(ctx context.Context, begin func(seeds ...*linemodel.Point) (*finder, error)) (*finder, error) {
	if f.line.mirror() == 0 || len(f.known) > 0 || f.ResidualRMS() < poorlyLeft {
		return f, nil
	}
	best := f
	for _, x := range f.mirrorPlaces() {
		end := &linemodel.Point{X: x, Form: linemodel.Step, Flat: f.line.mirror(), Fits: linemodel.Fitting(linemodel.ByRising, linemodel.ByPlace)}
		g, err := begin(end)
		if err != nil {
			return nil, err
		}
		if err := g.search(ctx); err != nil {
			return nil, err
		}
		if g.Cost < best.Cost {
			best = g
		}
	}
	return best, nil
}

// mirrorPlaces lists where, within the record's tolerance, the sweep by itself
// looks most like an end of the recorded kind, best first.
func (f *finder) mirrorPlaces() []float64 {
	end := f.line.Path.LengthM()
	reach := f.reach(end) + 0.01*end
	at := f.SpanAt(end)
	n := len(f.Weight)
	step := 2 * math.Pi / imag(f.Gamma[at][n-1]) / mirrorSteps
	count := int(2*reach/step) + 1
	alike := make([]float64, count)
	bare := linemodel.NewFit(f.line.Path, f.FrequencyHz, f.Measured)
	bare.Evaluate()
	here, turn := make([]complex128, n), make([]complex128, n)
	bare.GainAt(here, end-reach)
	f.Way(turn, at, step)
	weighted := make([]complex128, n)
	for k, w := range f.Weight {
		weighted[k] = complex(f.line.mirror()*w, 0) * f.Measured[k]
	}
	for i := range alike {
		alike[i], _ = dsp.March(here, turn, weighted, weighted)
	}
	var places []float64
	for len(places) < mirrorStarts {
		best := -1
		for i, v := range alike {
			if (i == 0 || alike[i-1] <= v) && (i+1 == count || alike[i+1] < v) && v > 0 && (best < 0 || v > alike[best]) {
				best = i
			}
		}
		if best < 0 {
			break
		}
		places = append(places, end-reach+float64(best)*step)
		alike[best] = 0
	}
	return places
}
