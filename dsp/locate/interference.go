package locate

import (
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/mat"

	"downlead/dsp"
)

// A transmitter nearby spikes single points of a sweep. What comes back from a
// line cannot: its delays end with the line, so every point follows from its
// neighbours. spikes uses that before anything is known of the line's faults,
// outliers afterwards, against the fitted model.
const (
	predictFrom   = 12   // neighbours on each side: beyond, an echo's own loss and the noise leave little to gain
	localPoints   = 20   // on each side, whose misfits say what is usual
	spikeFactor   = 8.0  // times the usual misfit, above which a point is a spike; noise alone reaches 4 in a thousand points
	mostSpikes    = 0.08 // of all points: beyond that it is no longer single points
	outlierFactor = 6.0  // times the usual residual; noise alone reaches 3.2 in a thousand points
	readmitFactor = 3.0  // times the usual residual, below which a point was none after all
	leastWeight   = 0.02 // of the fit's mean weight
	crowdReach    = 4    // points to either side ...
	mostInCrowd   = 4    // ... of which no more than so many are single points; at 5 % more is a matter of one sweep in fifty
)

// Power of what a sweep holds, over delay, of that of the line's first echoes.
const (
	bouncedPower = 1e-3 // of echoes that bounced once more
	anyPower     = 1e-5 // at all delays: noise, and what keeps the weights small
)

// spikes returns the indices of the points of a uniform sweep that do not
// follow from their neighbours, for a line whose echoes end after longestS
// seconds, those that bounced once more within twice that and some 30 dB down.
// stepHz is the spacing of the points. The sweep is predicted by the
// least-squares interpolator of a signal of that spread of delays: N. Wiener,
// "Extrapolation, Interpolation, and Smoothing of Stationary Time Series", 1949.
// A spike leaves its mark on the prediction of all its neighbours, so what is
// looked for is that pattern in the misfits, the strongest first, taken out,
// and so on (matching pursuit: S. Mallat, Z. Zhang, IEEE Trans. Signal
// Process. 41(12), 1993). Both from memory.
func spikes(gamma []complex128, stepHz, longestS float64) []int {
	n := len(gamma)
	share := longestS * stepHz // of the alias-free range
	if n < 4*predictFrom || share > 0.9 {
		return nil
	}
	pattern := whitener(share)
	if pattern == nil {
		return nil
	}
	first, last := predictFrom, n-predictFrom-1 // that can be predicted
	misses, size := make([]complex128, n), make([]float64, n)
	for k := first; k <= last; k++ {
		for j, c := range pattern {
			misses[k] += c * gamma[k+j-predictFrom]
		}
		size[k] = cmplx.Abs(misses[k])
	}
	// A spike is judged by the misfits around it: a narrow resonance of the
	// antenna makes all points near it hard to predict. The lower quartile (of
	// a Rayleigh distribution, 0.644 of its median) is not moved by the marks
	// of the spikes themselves.
	scratch := make([]float64, 0, 2*localPoints+1)
	usual := make([]float64, n)
	judge := func(k int) {
		from := max(first, min(k-localPoints, last-2*localPoints))
		scratch = append(scratch[:0], size[from:min(from+2*localPoints+1, last+1)]...)
		usual[k] = dsp.Ranked(scratch, len(scratch)/4)/0.644 + 1e-12
	}
	amplitude, strength := make([]complex128, n), make([]float64, n)
	match := func(k int) {
		var sum complex128
		square := 0.0
		for at := max(first, k-predictFrom); at <= min(last, k+predictFrom); at++ {
			c := pattern[k-at+predictFrom] // what a spike of one at k does to the misfit at at
			sum += cmplx.Conj(c) * misses[at]
			square += real(c)*real(c) + imag(c)*imag(c)
		}
		amplitude[k] = sum / complex(square, 0)
		strength[k] = cmplx.Abs(amplitude[k]) * math.Sqrt(square)
	}
	for k := range n {
		judge(k)
		match(k)
	}
	hit := map[int]bool{}
	most := int(mostSpikes * float64(n))
	for range 10 * (most + 1) {
		worst := -1
		for k, s := range strength {
			if s > spikeFactor*usual[k] && (worst < 0 || s > strength[worst]) {
				worst = k
			}
		}
		if worst < 0 {
			break
		}
		if hit[worst] = true; len(hit) > most {
			return nil // not single points: leave the sweep as it is
		}
		for at := max(first, worst-predictFrom); at <= min(last, worst+predictFrom); at++ {
			misses[at] -= pattern[worst-at+predictFrom] * amplitude[worst]
			size[at] = cmplx.Abs(misses[at])
		}
		for k := max(0, worst-2*predictFrom); k <= min(n-1, worst+2*predictFrom); k++ {
			match(k)
		}
		for k := max(0, worst-predictFrom-localPoints); k <= min(n-1, worst+predictFrom+localPoints); k++ {
			judge(k)
		}
	}
	found := make([]int, 0, len(hit))
	for k := range hit {
		found = append(found, k)
	}
	sort.Ints(found)
	return single(found)
}

// whitener returns the weights, from predictFrom points before to as many
// after, of a point's misfit: 1 in the middle, and minus the weights with which
// its neighbours predict it. share is that of the first echoes in the
// alias-free range.
func whitener(share float64) []complex128 {
	// E[x_k·x*_{k+lag}], the power spread evenly over the delays (0, share) and
	// (share, 2·share).
	correlation := func(lag int) complex128 {
		a := math.Pi * share * float64(lag)
		if lag == 0 {
			return 1 + bouncedPower + anyPower
		}
		first := cmplx.Exp(complex(0, a)) * complex(math.Sin(a)/a, 0)
		return first + bouncedPower*first*cmplx.Exp(complex(0, 2*a))
	}
	// The normal equations of the prediction in real numbers.
	var lags []int
	for j := -predictFrom; j <= predictFrom; j++ {
		if j != 0 {
			lags = append(lags, j)
		}
	}
	n := len(lags)
	a, b := mat.NewSymDense(2*n, nil), mat.NewVecDense(2*n, nil)
	for i, li := range lags {
		r := correlation(li) // E[x_k·x*_{k+li}]
		b.SetVec(i, real(r))
		b.SetVec(n+i, imag(r))
		for j, lj := range lags {
			m := correlation(li - lj) // E[x_{k+lj}·x*_{k+li}]
			if j <= i {
				a.SetSym(i, j, real(m))
				a.SetSym(n+i, n+j, real(m))
			}
			a.SetSym(n+i, j, imag(m))
		}
	}
	var chol mat.Cholesky
	var c mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&c, b) != nil {
		return nil
	}
	out := make([]complex128, 2*predictFrom+1)
	out[predictFrom] = 1
	for i, li := range lags {
		out[predictFrom+li] = -complex(c.AtVec(i), c.AtVec(n+i))
	}
	return out
}

// outliers returns the points whose residual stands far out of all others' and
// of their neighbours', and the median of all. Points that hardly weigh, where a
// window ends, are not looked at: the fit does not follow them.
func outliers(residual []complex128, weight []float64) (found []int, usual float64) {
	size := make([]float64, 0, len(residual))
	var index []int
	for k, e := range residual {
		if weight[k] > leastWeight {
			size = append(size, cmplx.Abs(e))
			index = append(index, k)
		}
	}
	median := func(from []float64) float64 {
		return dsp.Ranked(append([]float64(nil), from...), len(from)/2)
	}
	if len(size) < 2*predictFrom {
		return nil, 0
	}
	usual = median(size)
	for i, a := range size {
		if a < outlierFactor*usual {
			continue
		}
		from := max(0, min(i-predictFrom, len(size)-2*predictFrom))
		if a > outlierFactor*median(size[from:from+2*predictFrom]) {
			found = append(found, index[i])
		}
	}
	return single(found), usual
}

// single keeps the points that stand alone or in small numbers: three in a row,
// or a crowd, are a feature of the line or the antenna that the model did not
// follow.
func single(found []int) []int {
	var out []int
	for i, k := range found {
		crowd, row := 0, 0
		for j := max(0, i-2*crowdReach); j <= min(len(found)-1, i+2*crowdReach); j++ {
			gap := found[j] - k
			if gap >= -crowdReach && gap <= crowdReach {
				crowd++
			}
			if gap >= -1 && gap <= 1 || gap == 2 && found[j-1] == k+1 || gap == -2 && found[j+1] == k-1 {
				row++
			}
		}
		if crowd <= mostInCrowd && row < 3 {
			out = append(out, k)
		}
	}
	return out
}
