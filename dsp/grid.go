package dsp

import "math"

// holeRatio is how many times wider than the other side's a gap must be to
// count as a hole in a grid.
const holeRatio = 4

// GridWeights stores in dst the width of the grid that each of the ascending
// points x stands for, the quadrature weights of a sum over them, and returns
// dst; a nil dst is allocated. A point's width is half the gap to either side.
// A gap more than four times as wide as the other is a hole and counts as wide
// as the other, so that the rim of a hole does not outweigh the rest; a few
// missing points are thereby bridged by their neighbours. The end points count
// as if the grid went on with their gap, so a uniform grid has equal weights.
// One point has the weight 1.
func GridWeights(dst, x []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(x))
	}
	last := len(x) - 1
	for k := range x {
		left, right := math.Inf(1), math.Inf(1)
		if k > 0 {
			left = x[k] - x[k-1]
		}
		if k < last {
			right = x[k+1] - x[k]
		}
		if last == 0 {
			left, right = 1, 1
		}
		narrow := min(left, right)
		if left > holeRatio*narrow {
			left = narrow
		}
		if right > holeRatio*narrow {
			right = narrow
		}
		dst[k] = (left + right) / 2
	}
	return dst
}

// BandPositions returns the place of each of x in the band from low to high as
// a position in [-1, 1] for a Window. An empty band puts everything at 0.
func BandPositions(x []float64, low, high float64) []float64 {
	u := make([]float64, len(x))
	if high > low {
		for k, v := range x {
			u[k] = min(1, max(-1, (2*v-low-high)/(high-low)))
			if v < low || v > high {
				u[k] = math.Inf(1) // no weight
			}
		}
	}
	return u
}

// TickStep returns the least of 1, 2 and 5 times a power of ten that is not under
// x > 0: the distance of ticks that read well.
func TickStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= x*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}
