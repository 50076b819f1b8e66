package linemodel

import "sort"

// Together returns what the points reflect as a chain with nothing behind them,
// referred to the place of the first of points, at all frequencies. The model
// must be evaluated.
func (m *Model) Together(points []*Point) []complex128 {
	ordered := append([]*Point(nil), points...)
	sort.SliceStable(ordered, func(i, j int) bool { return ordered[i].X < ordered[j].X })
	out := make([]complex128, len(m.FrequencyHz))
	for k := range out {
		var r complex128
		behind := ordered[len(ordered)-1].Phasor[k]
		for i := len(ordered) - 1; i >= 0; i-- {
			p := ordered[i]
			u := r * behind / p.Phasor[k]
			r = p.Reflect[k] + p.Through[k]*u/(1-p.Behind[k]*u)
			behind = p.Phasor[k]
		}
		out[k] = r * behind / points[0].Phasor[k]
	}
	return out
}

// Local returns a fit of what the points reflect together, by itself: a line
// without instrument, without anything else on it and nothing behind, at most so
// many of the frequencies. Each of these weighs as much more as there are fewer
// and as much less as the way there takes, so that costs compare with those of
// p; quantities mean the same, since q = f/f0 keeps its f0. A start for a circuit
// that takes the place of the points is found there at a fraction of the cost,
// whatever lies behind.
func (p *Fit) Local(points []*Point, most int) *Fit {
	n := len(p.FrequencyHz)
	stride := max(1, (n+most-1)/most)
	var pick []int
	for k := (n - 1) % stride / 2; k < n; k += stride {
		pick = append(pick, k)
	}
	local := p.fewer(pick)
	local.Measured = picked(p.Together(points), pick)
	p.Gains()
	first := points[0]
	for _, q := range points {
		if q.X < first.X {
			first = q
		}
	}
	for i, k := range pick {
		way := points[0].Phasor[k]
		gain, alone := first.Gain[k], first.Phasor[k]
		local.Measured[i] *= way
		local.Weight[i] *= float64(n) / float64(len(pick)) * (real(gain)*real(gain) + imag(gain)*imag(gain)) / (real(alone)*real(alone) + imag(alone)*imag(alone))
	}
	local.Evaluate()
	return local
}
