package diagnose

import (
	"math"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/linemodel"
)

// The mirror that ends a line whose record has an open or a shorted end: where the sweep has it, behind wet cable too.

// mirror is the reflection of an end that the record says reflects all, 0 for other
// loads.
func (s *soakSearch) mirror() float64 {
	switch s.load {
	case cables.Open:
		return soundEnd
	case cables.Short:
		return -soundEnd
	}
	return 0
}

// soundEnd is what an open or shorted end reflects.
const soundEnd = 0.998

// end lists the mirror that ends the line, as far as the model has one.
func (s *soakSearch) end() (out []*linemodel.Point) {
	length := s.path.LengthM()
	for _, q := range s.fit.Points {
		whole := s.fit.RMS(q) > 0.3 || q.Form == linemodel.Step && math.Abs(q.Flat) == soundEnd
		if s.mirror() != 0 && whole && q.Form != linemodel.Foreign && q.X > length-3*placeSigma(length)-s.fit.Cell(length) {
			out = append(out, q)
		}
	}
	return out
}

// findEnd puts the end of the line where the sweep has it, and fits it.
func (s *soakSearch) findEnd(sign float64) { s.climb(s.seekEnd(sign)) }

// seekEnd puts the end of the line where the sweep has it: from where the record's tolerance allows it
// at the nearest to behind the slowest stretch of wet cable there may be. Low
// frequencies first, for a place must be known to an eighth of a wave.
func (s *soakSearch) seekEnd(sign float64) *linemodel.Point {
	fit := s.fit
	length := s.path.LengthM()
	n := len(fit.FrequencyHz)
	low, high := fit.FrequencyHz[0], fit.FrequencyHz[n-1]
	from, to := length-3*placeSigma(length)-0.1, length+3*placeSigma(length)+soakedMostExcessM
	here, turn, seen, weight := make([]complex128, n), make([]complex128, n), make([]complex128, n), make([]complex128, n)
	p := fit.NewPoint(length, linemodel.Step)
	p.Fits = linemodel.Fitting(linemodel.ByRising, linemodel.ByPlace)
	p.Flat = sign
	full := append([]float64(nil), fit.Weight...)
	gamma := fit.Gamma[len(fit.Gamma)-1]
	shares := []float64{0.3, 1}
	if !s.lowEnd() {
		shares = shares[1:]
	}
	for i, share := range shares {
		top := n - 1
		for top > n/8 && fit.FrequencyHz[top] > low+share*(high-low) {
			top--
		}
		step := math.Pi / imag(gamma[top]) / 12
		if i > 0 { // within half a wave of the lower part's
			half := math.Pi / imag(gamma[n*3/10]) / 2
			from, to = p.X-half, p.X+half
		}
		fit.GainAt(here, from)
		fit.Way(turn, len(fit.Gamma)-1, step)
		for k, w := range full {
			seen[k], weight[k] = complex(w, 0)*fit.Residual[k], complex(w, w)
		}
		best := 0.0
		for x := from; x < to; x += step {
			num, den := dsp.March(here[:top+1], turn[:top+1], seen[:top+1], weight[:top+1])
			if num*sign/math.Sqrt(den) > best {
				best = num * sign / math.Sqrt(den)
				p.X, p.Rising = x, -math.Log(math.Max(0.01, math.Min(num*sign/den, 1)))
			}
		}
		fit.Move(p)
	}
	fit.Sample(p)
	fit.Insert(p)
	fit.Evaluate()
	return p
}

// soakedMostExcessM is how much farther out than by the record the end may seem to be.
const soakedMostExcessM = 3.0
