package dsp

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// Kind is a family of windows.
type Kind int

// The windows. u is the position in [-1, 1], the centre at 0; every window is
// 1 at its centre (flat-top to nine digits).
const (
	// Kaiser is I0(β√(1-u²))/I0(β); Parameter is β, 0 stands for 6 (highest
	// side lobe -44 dB). J. F. Kaiser, R. W. Schafer, IEEE Trans. ASSP 28(1),
	// 1980, doi:10.1109/TASSP.1980.1163349.
	Kaiser Kind = iota
	// Rectangular is 1.
	Rectangular
	// Hann, Hamming, Blackman, BlackmanHarris (four terms, -92 dB), Nuttall
	// (four terms, least side lobe, -98 dB) and FlatTop (five terms) are sums
	// Σ a_m·cos(πmu). F. J. Harris, Proc. IEEE 66(1), 1978,
	// doi:10.1109/PROC.1978.10837; A. H. Nuttall, IEEE Trans. ASSP 29(1),
	// 1981, doi:10.1109/TASSP.1981.1163506; flat-top: the widely used
	// five-term set with 0.21557895 first.
	Hann
	Hamming
	Blackman
	BlackmanHarris
	Nuttall
	FlatTop
	// DolphChebyshev has the narrowest main lobe for side lobes all equal;
	// Parameter is their level below the main lobe in dB, 0 stands for 60.
	// C. L. Dolph, Proc. IRE 34(6), 1946, doi:10.1109/JRPROC.1946.225956.
	DolphChebyshev
	// Taylor has Terms-1 nearly equal side lobes on either side; Parameter is
	// their level below the main lobe in dB, 0 stands for 40. T. T. Taylor,
	// IRE Trans. Antennas Propag. 3(1), 1955, doi:10.1109/TAP.1955.1144290.
	Taylor
)

// Kinds returns all the windows, in the order of their constants.
func Kinds() []Kind {
	return []Kind{Kaiser, Rectangular, Hann, Hamming, Blackman, BlackmanHarris, Nuttall, FlatTop, DolphChebyshev, Taylor}
}

// String returns the window's usual name, in lower case with hyphens.
func (k Kind) String() string {
	names := [...]string{"kaiser", "rectangular", "hann", "hamming", "blackman", "blackman-harris", "nuttall", "flat-top", "dolph-chebyshev", "taylor"}
	if k < 0 || int(k) >= len(names) {
		return fmt.Sprintf("window %d", int(k))
	}
	return names[k]
}

// Window is a weighting of a band. The zero value is the Kaiser window of
// β = 6: side lobes 44 dB down for a main lobe 1.65 times that of no window.
type Window struct {
	Kind      Kind
	Parameter float64 // Kaiser: β; DolphChebyshev, Taylor: dB, positive; 0: the kind's default
	Terms     int     // Taylor: n̄; 0: the least for which Taylor's design holds, 2A²+½ rounded up, A as in taylorTerms
}

// Validate returns an error for an unknown kind or a parameter outside what the
// kind can be computed for.
func (w Window) Validate() error {
	if w.Kind < 0 || int(w.Kind) >= len(Kinds()) {
		return fmt.Errorf("no such window: %d", int(w.Kind))
	}
	switch p := w.Parameter; w.Kind {
	case Kaiser:
		if !(p >= 0 && p <= 100) {
			return fmt.Errorf("kaiser window: β = %g is not within 0 to 100", p)
		}
	case DolphChebyshev, Taylor:
		if p != 0 && !(p >= 15 && p <= 150) {
			return fmt.Errorf("%v window: side lobes %g dB down are not within 15 to 150 dB", w.Kind, p)
		}
	}
	if w.Terms < 0 || w.Terms > 200 {
		return fmt.Errorf("taylor window: %d terms are not within 0 to 200", w.Terms)
	}
	return nil
}

// Effective returns Parameter, or the kind's default where it is zero; 0 for a kind
// without a parameter.
func (w Window) Effective() float64 {
	if w.Parameter != 0 {
		return w.Parameter
	}
	switch w.Kind {
	case Kaiser:
		return 6
	case DolphChebyshev:
		return 60
	case Taylor:
		return 40
	}
	return 0
}

// cosines returns the coefficients a_m of Σ a_m·cos(πmu), nil for windows of
// another form.
func (w Window) cosines() []float64 {
	switch w.Kind {
	case Rectangular:
		return []float64{1}
	case Hann:
		return []float64{0.5, 0.5}
	case Hamming:
		return []float64{0.54, 0.46}
	case Blackman:
		return []float64{0.42, 0.5, 0.08}
	case BlackmanHarris:
		return []float64{0.35875, 0.48829, 0.14128, 0.01168}
	case Nuttall:
		return []float64{0.3635819, 0.4891775, 0.1365995, 0.0106411}
	case FlatTop:
		return []float64{0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368}
	case Taylor:
		return taylorTerms(w.Effective(), w.Terms)
	}
	return nil
}

// taylorTerms returns the cosine coefficients 1, 2F_1, ..., 2F_{n̄-1} of
// Taylor's window, scaled to a sum of 1:
//
//	F_m = (-1)^{m+1}·Π_i (1 - m²/σ²/(A²+(i-½)²)) / (2·Π_{j≠m} (1 - m²/j²))
//	A = arcosh(10^{dB/20})/π,  σ² = n̄²/(A²+(n̄-½)²)
func taylorTerms(sideLobeDB float64, terms int) []float64 {
	a := math.Acosh(math.Pow(10, sideLobeDB/20)) / math.Pi
	if terms == 0 {
		terms = int(math.Ceil(2*a*a + 0.5))
	}
	half := float64(terms) - 0.5
	sigma2 := float64(terms) * float64(terms) / (a*a + half*half)
	c := []float64{1}
	sum := 1.0
	for m := 1; m < terms; m++ {
		m2 := float64(m * m)
		f := 1.0
		for i := 1; i < terms; i++ {
			odd := float64(i) - 0.5
			f *= 1 - m2/(sigma2*(a*a+odd*odd))
			if i != m {
				f /= 1 - m2/float64(i*i)
			}
		}
		if m%2 == 0 {
			f = -f
		}
		c = append(c, f)
		sum += f
	}
	for m := range c {
		c[m] /= sum
	}
	return c
}

// At stores the window at each of the positions u in [-1, 1] in dst and
// returns it; a nil dst is allocated. Positions outside give 0. The positions
// need not be uniform, and dst may be u. DolphChebyshev, whose shape depends on how many points
// it is for, is the window of len(u) points, read between them by its cosine
// sum; any other window is a function of u alone.
func (w Window) At(dst, u []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(u))
	}
	switch w.Kind {
	case Kaiser:
		beta := w.Effective()
		for i, x := range u {
			if outside(x) {
				dst[i] = 0
				continue
			}
			dst[i] = BesselI0(beta*math.Sqrt(max(0, 1-x*x))) / BesselI0(beta)
		}
	case DolphChebyshev:
		dolphChebyshev(dst, u, w.Effective())
	default:
		c := w.cosines()
		for i, x := range u {
			if outside(x) {
				dst[i] = 0
				continue
			}
			// Clenshaw: cos(πmu) is the Chebyshev polynomial of cos(πu).
			dst[i] = clenshaw(c, math.Cos(math.Pi*x))
		}
	}
	return dst
}

// outside tells whether a position has no weight. Half a rounding error is
// still inside.
func outside(u float64) bool { return !(math.Abs(u) <= 1+1e-15) }

// Uniform returns the window on n uniform points, the first and last at ±1.
func (w Window) Uniform(n int) []float64 {
	u := make([]float64, n)
	for i := range u {
		if n > 1 {
			u[i] = float64(2*i-(n-1)) / float64(n-1)
		}
	}
	return w.At(u, u)
}

// dolphPattern returns the transform of the Dolph-Chebyshev window of n points,
// T_{n-1}(x0·cos(πb/n)), x0 = cosh(arcosh(10^{dB/20})/(n-1)), at b bins,
// relative to its value at 0.
func dolphPattern(n int, sideLobeDB, b float64) float64 {
	ratio := math.Pow(10, sideLobeDB/20)
	order := float64(max(1, n-1))
	x := math.Cosh(math.Acosh(ratio)/order) * math.Cos(math.Pi*b/float64(n))
	switch {
	case x > 1:
		return math.Cosh(order*math.Acosh(x)) / ratio
	case x < -1:
		return math.Cosh(order*math.Acosh(-x)) * (1 - 2*math.Mod(order, 2)) / ratio
	}
	return math.Cos(order*math.Acos(x)) / ratio
}

// dolphChebyshev evaluates W_0 + 2Σ W_k·cos(2πkd/n), d = u·(n-1)/2, the inverse
// transform of dolphPattern, scaled to 1 at d = 0. The largest error is 1e-12.
func dolphChebyshev(dst, u []float64, sideLobeDB float64) {
	n := len(u)
	terms := (n-1)/2 + 1
	s, c, d := make([]float64, terms), make([]complex128, terms), make([]float64, n)
	centre := 0.0
	for k := range s {
		s[k] = 2 * math.Pi * float64(k) / float64(n)
		weight := 2.0
		if k == 0 {
			weight = 1
		}
		value := weight * dolphPattern(n, sideLobeDB, float64(k))
		c[k] = complex(value, 0)
		centre += value
	}
	for i, x := range u {
		if !outside(x) {
			d[i] = x * float64(n-1) / 2
		}
	}
	sum := NewExponentialSum(s, d, 1e-13).Evaluate(make([]complex128, n), c)
	for i, v := range sum {
		if outside(u[i]) {
			dst[i] = 0
		} else {
			dst[i] = real(v) / centre
		}
	}
}

// FiguresOfMerit are what a window costs and buys. A bin is the reciprocal of
// the band from the first to the last point: one cell of distance.
type FiguresOfMerit struct {
	CoherentGain       float64 // mean of the window over its value at the centre
	NoiseBandwidthBins float64 // equivalent noise bandwidth
	HighestSideLobeDB  float64 // relative to the main lobe, negative
	Width3DBBins       float64 // full width of the main lobe at half power
	Width6DBBins       float64 // full width of the main lobe at half amplitude
	FirstNullBins      float64 // from the top of the main lobe to its foot
	ScallopLossDB      float64 // loss of a line half way between two bins, positive
	WorstCaseLossDB    float64 // scallop loss plus noise bandwidth in dB
}

// Figures computes the figures of merit, as Harris (1978) defines them, for a
// window of n points. Only DolphChebyshev depends on n (0 stands for 1001); the
// others are taken as functions of position, the limit of many points. Half
// power and half amplitude are meant exactly (Harris's 3.0 and 6.0 dB columns
// fit them: 2.00 bins for Hann, whose transform is exactly ½ at one bin).
func (w Window) Figures(n int) FiguresOfMerit {
	if n <= 0 {
		n = 1001
	}
	if w.Kind == DolphChebyshev {
		return w.dolphFigures(max(3, n))
	}
	const nodes = 128 // exact to rounding for all that oscillates less than 60 times
	u, weight := make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(u, weight, -1, 1)
	value := w.At(nil, u)
	var sum, squares float64
	for i, v := range value {
		sum += weight[i] * v
		squares += weight[i] * v * v
	}
	centre := w.At(nil, []float64{0})[0]
	f := FiguresOfMerit{CoherentGain: sum / 2 / centre, NoiseBandwidthBins: 2 * squares / (sum * sum)}
	f.measure(func(b float64) float64 {
		pattern := 0.0
		for i := range nodes / 2 { // the window is even
			pattern += weight[i] * value[i] * math.Cos(math.Pi*b*u[i])
		}
		return 2 * pattern / sum
	}, 40)
	return f
}

func (w Window) dolphFigures(n int) FiguresOfMerit {
	// The transform's own bins are those of n intervals, not of n-1.
	stretch := float64(n) / float64(n-1)
	pattern := func(b float64) float64 { return dolphPattern(n, w.Effective(), b*stretch) }
	var centre, energy float64
	for k := range n {
		b := float64(k)
		if 2*k > n {
			b = float64(n - k) // the transform is even, but over k odd for even n
		}
		v := dolphPattern(n, w.Effective(), b)
		centre += v
		energy += v * v // Parseval's theorem
	}
	f := FiguresOfMerit{CoherentGain: stretch / centre, NoiseBandwidthBins: energy / stretch}
	f.measure(pattern, min(40, float64(n)/2))
	return f
}

// measure fills in what is read off the transform, pattern(bins), up to farthest
// bins from the main lobe.
func (f *FiguresOfMerit) measure(pattern func(float64) float64, farthest float64) {
	level := func(b float64) float64 { return math.Abs(pattern(b)) }
	cross := func(value float64) float64 {
		high := 0.05
		for level(high) > value && high < farthest {
			high += 0.05
		}
		low := high - 0.05
		for range 50 {
			if middle := (low + high) / 2; level(middle) > value {
				low = middle
			} else {
				high = middle
			}
		}
		return low + high
	}
	f.Width3DBBins, f.Width6DBBins = cross(math.Sqrt2/2), cross(0.5)
	// The foot of the main lobe: the first least value below half amplitude.
	const step = 1.0 / 32
	b := f.Width6DBBins / 2
	for level(b+step) < level(b) && b < farthest {
		b += step
	}
	f.FirstNullBins, _ = peak(func(b float64) float64 { return -level(b) }, b-step, b+step)
	highest := 0.0
	for b += step; b < farthest; b += step {
		if here := level(b); here >= level(b-step) && here >= level(b+step) && here > 0.9*highest {
			_, top := peak(level, b-step, b+step)
			highest = max(highest, top)
		}
	}
	f.HighestSideLobeDB = 20 * math.Log10(highest)
	f.ScallopLossDB = -20 * math.Log10(level(0.5))
	f.WorstCaseLossDB = f.ScallopLossDB + 10*math.Log10(f.NoiseBandwidthBins)
}

// peak returns place and height of the top of f between low and high, by
// golden-section search.
func peak(f func(float64) float64, low, high float64) (at, top float64) {
	const golden = 0.6180339887498949
	a, b := high-golden*(high-low), low+golden*(high-low)
	fa, fb := f(a), f(b)
	for range 40 {
		if fa > fb {
			high, b, fb = b, a, fa
			a = high - golden*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + golden*(high-low)
			fb = f(b)
		}
	}
	return a, fa
}
