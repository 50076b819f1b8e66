package locate

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// A transmitter nearby spikes single points of a sweep. What comes back from a
// line cannot: its delays end with the line, so every point follows from its
// neighbours. spikes uses that before anything is known of the line's faults,
// outliers afterwards, against the fitted model.
const (
	predictFrom   = 8    // neighbours on each side
	localPoints   = 20   // on each side, whose misfits say what is usual
	spikeFactor   = 9.0  // times the usual misfit, above which a point is a spike
	mostSpikes    = 0.08 // of all points: beyond that it is no longer single points
	outlierFactor = 6.0
)

// spikes returns the indices of the points of a uniform sweep that do not
// follow from their neighbours, for a line whose echoes end after longestS
// seconds. stepHz is the spacing of the points. The sweep is predicted by the
// least-squares interpolator of a signal whose delays are spread evenly over
// (0, longestS); the worst point is replaced by its prediction and the search
// repeated. N. Wiener, "Extrapolation, Interpolation, and Smoothing of
// Stationary Time Series", 1949 (from memory).
func spikes(gamma []complex128, stepHz, longestS float64) []int {
	n := len(gamma)
	share := longestS * stepHz // of the alias-free range
	if n < 4*predictFrom || share > 0.9 {
		return nil
	}
	kernel := interpolator(share)
	if kernel == nil {
		return nil
	}
	// Centre the delays on zero, so that the interpolator is real.
	turned := make([]complex128, n)
	for k, g := range gamma {
		turned[k] = g * cmplx.Exp(complex(0, math.Pi*stepHz*longestS*float64(k)))
	}
	miss := func(k int) complex128 {
		predicted := complex128(0)
		for j := 1; j <= predictFrom; j++ {
			predicted += complex(kernel[j-1], 0) * (turned[k-j] + turned[k+j])
		}
		return turned[k] - predicted
	}
	misses := make([]float64, n)
	for k := predictFrom; k < n-predictFrom; k++ {
		misses[k] = cmplx.Abs(miss(k))
	}
	// A spike is judged by the misfits around it: a narrow resonance of the
	// antenna makes all points near it hard to predict.
	scratch := make([]float64, 0, 2*localPoints+1)
	usual := func(k int) float64 {
		from := max(predictFrom, min(k-localPoints, n-predictFrom-2*localPoints-1))
		scratch = append(scratch[:0], misses[from:min(from+2*localPoints+1, n-predictFrom)]...)
		sort.Float64s(scratch)
		return scratch[len(scratch)/2]
	}
	excess := make([]float64, n)
	for k := predictFrom; k < n-predictFrom; k++ {
		excess[k] = misses[k] / (usual(k) + 1e-12)
	}
	var found []int
	for len(found) < int(mostSpikes*float64(n))+1 {
		worst := -1
		for k, e := range excess {
			if e > spikeFactor && (worst < 0 || misses[k] > misses[worst]) {
				worst = k
			}
		}
		if worst < 0 {
			sort.Ints(found)
			return single(found)
		}
		found = append(found, worst)
		turned[worst] -= miss(worst)
		first, last := max(predictFrom, worst-predictFrom), min(n-predictFrom-1, worst+predictFrom)
		for k := first; k <= last; k++ {
			misses[k] = cmplx.Abs(miss(k))
		}
		for k := max(predictFrom, first-localPoints); k <= min(n-predictFrom-1, last+localPoints); k++ {
			excess[k] = misses[k] / (usual(k) + 1e-12)
		}
		for _, k := range found {
			excess[k] = 0
		}
	}
	return nil // not single points: leave the sweep as it is
}

// interpolator returns the weights of the neighbours at distance 1, 2, ... of
// a signal that fills share of the alias-free range, both sides alike.
func interpolator(share float64) []float64 {
	correlation := func(lag int) float64 {
		if lag == 0 {
			return 1 + 1e-5 // a little noise keeps the weights small
		}
		a := math.Pi * share * float64(lag)
		return math.Sin(a) / a
	}
	a, b := mat.NewSymDense(predictFrom, nil), mat.NewVecDense(predictFrom, nil)
	for i := range predictFrom {
		b.SetVec(i, correlation(i+1))
		for j := 0; j <= i; j++ {
			a.SetSym(i, j, correlation(i-j)+correlation(i+j+2))
		}
	}
	var chol mat.Cholesky
	var c mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&c, b) != nil {
		return nil
	}
	return c.RawVector().Data
}

// outliers returns the points whose residual stands far out of all others' and
// of their neighbours'.
func outliers(residual []complex128, weight []float64) []int {
	size := make([]float64, 0, len(residual))
	var index []int
	for k, e := range residual {
		if weight[k] > 0 {
			size = append(size, cmplx.Abs(e))
			index = append(index, k)
		}
	}
	median := func(from []float64) float64 {
		sorted := append([]float64(nil), from...)
		sort.Float64s(sorted)
		return sorted[len(sorted)/2]
	}
	if len(size) < 2*predictFrom {
		return nil
	}
	usual := median(size)
	var found []int
	for i, a := range size {
		if a < outlierFactor*usual {
			continue
		}
		from := max(0, min(i-predictFrom, len(size)-2*predictFrom))
		if a > outlierFactor*median(size[from:from+2*predictFrom]) {
			found = append(found, index[i])
		}
	}
	if float64(len(found)) > mostSpikes*float64(len(residual)) {
		return nil
	}
	return single(found)
}

// single keeps the points that stand alone or in pairs: three within five are
// a feature of the line or the antenna that the model did not follow.
func single(found []int) []int {
	var out []int
	for i, k := range found {
		crowd := 0
		for j := max(0, i-2); j <= min(len(found)-1, i+2); j++ {
			if found[j]-k <= 4 && k-found[j] <= 4 {
				crowd++
			}
		}
		if crowd < 3 {
			out = append(out, k)
		}
	}
	return out
}
