package distance

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp"
)

// Loss says how the loss on the way out and back is corrected for.
type Loss int

const (
	// LossHeldBack corrects the loss, but the correction stops growing at the
	// first of two places: the end of the line, behind which nothing lies; and
	// where the lifted noise of the profile, Settings.NoiseRMS·√(Σ w²·e^{4·Re Θ})/Σw,
	// would reach the level Settings.CeilingDB, so that noise would pass for
	// reflections of that size.
	LossHeldBack Loss = iota
	// LossCorrected corrects the loss everywhere.
	LossCorrected
	// LossUncorrected leaves the loss in the profile.
	LossUncorrected
)

// Settings of a Transform. The zero value is a good default.
type Settings struct {
	Window dsp.Window // zero: Kaiser, β = 6
	FromM  float64    // first place
	ToM    float64    // last place; 0: the end of the line and 5 % (two cells at least) behind it
	Points int        // places, the first at FromM and the last at ToM; 0: four a cell, 201 to 20001
	Loss   Loss       // zero: corrected, held back
	// NoiseRMS is the rms of the additive noise of one point of Γ, magnitude;
	// 0: 0.001, an ordinary instrument (common practice, no source).
	NoiseRMS float64
	// CeilingDB is the return loss that lifted noise must not reach; 0: 40 dB,
	// a good joint (common practice, no source).
	CeilingDB float64
}

// Profile is the response along the line.
type Profile struct {
	DistanceM []float64    // belongs to the Transform
	Amplitude []complex128 // P(x); 1 is a total reflection at x
	// HeldFromM is the place from which on the loss correction no longer
	// grows; +Inf when it is not held back.
	HeldFromM float64
	// HeldByNoise tells that noise, not the end of the line, holds it back.
	HeldByNoise bool
}

// Transform is the matched transform, planned for one line, grid and range. It
// owns scratch and serves one goroutine at a time.
type Transform struct {
	path        *cables.Path
	frequencyHz []float64
	weights     []float64 // sum 1
	distanceM   []float64
	gamma       [][]complex128 // per span and frequency
	loss        Loss
	heldFromM   float64
	heldByNoise bool
	pieces      []piece
}

// piece is a run of places in one span under one rule of loss.
type piece struct {
	first, past int // places
	sum         *dsp.ExponentialSum
	factors     [][]complex128 // per node and frequency
	bases       [][]float64    // per node and place; nil for one node
	outer       []complex128   // per place
}

const (
	exactTolerance   = 1e-9 // of sums that need one node, relative to full scale
	nodesTolerance   = 1e-7 // of sums that need several
	mostSmoothChange = 4.0  // nepers or radians either way that one set of nodes spans
	mostPlaces       = 1 << 22
)

// New plans the transform from reflection at frequencyHz (strictly ascending,
// positive, at least two) to places along path. Errors: a grid or a range that
// is not as said, a bad window, or a range so wide that it resolves into more
// than four million cells.
func New(path *cables.Path, frequencyHz []float64, settings Settings) (*Transform, error) {
	if path == nil || len(path.Spans) == 0 {
		return nil, errors.New("distance: the line has no span")
	}
	if err := checkGrid(frequencyHz); err != nil {
		return nil, err
	}
	if err := settings.Window.Validate(); err != nil {
		return nil, fmt.Errorf("distance: %w", err)
	}
	if settings.Loss < LossHeldBack || settings.Loss > LossUncorrected {
		return nil, fmt.Errorf("distance: no such loss correction: %d", settings.Loss)
	}
	places, err := settings.places(path, frequencyHz)
	if err != nil {
		return nil, err
	}
	t := &Transform{path: path, frequencyHz: append([]float64(nil), frequencyHz...), loss: settings.Loss,
		weights: Weights(frequencyHz, settings.Window), distanceM: places}
	t.gamma = make([][]complex128, len(path.Spans))
	for i, span := range path.Spans {
		t.gamma[i] = make([]complex128, len(frequencyHz))
		for k, f := range frequencyHz {
			t.gamma[i][k], _ = span.Medium.Wave(f)
		}
	}
	t.hold(settings)
	t.plan()
	return t, nil
}

// Clone returns the same transform with scratch of its own, for another goroutine.
func (t *Transform) Clone() *Transform {
	c := *t
	c.pieces = append([]piece(nil), t.pieces...)
	for i := range c.pieces {
		c.pieces[i].sum = c.pieces[i].sum.Clone()
	}
	return &c
}

// Weights returns the weights w_k of the sum, which add up to 1: the window at
// each frequency's place in the band times the width of the grid around it.
func Weights(frequencyHz []float64, window dsp.Window) []float64 {
	low, high := frequencyHz[0], frequencyHz[len(frequencyHz)-1]
	w := window.At(nil, dsp.BandPositions(frequencyHz, low, high))
	sum := 0.0
	for k, width := range dsp.GridWeights(nil, frequencyHz) {
		w[k] *= width
		sum += w[k]
	}
	if sum == 0 { // two points under a window that ends in zeros
		return equalWeights(len(w))
	}
	for k := range w {
		w[k] /= sum
	}
	return w
}

// equalWeights returns n equal weights of sum 1.
func equalWeights(n int) []float64 {
	w := make([]float64, n)
	for k := range w {
		w[k] = 1 / float64(n)
	}
	return w
}

func checkGrid(frequencyHz []float64) error {
	if len(frequencyHz) < 2 {
		return fmt.Errorf("distance: %d frequencies are too few: a profile needs at least two", len(frequencyHz))
	}
	before := 0.0
	for k, f := range frequencyHz {
		if !(f > before) || math.IsInf(f, 0) {
			return fmt.Errorf("distance: frequency %d (%g Hz) is not above the one before it (%g Hz), or not finite", k+1, f, before)
		}
		before = f
	}
	return nil
}

// places returns the places that the settings ask for.
func (s Settings) places(path *cables.Path, frequencyHz []float64) ([]float64, error) {
	slowest := math.Inf(1)
	for _, span := range path.Spans {
		slowest = min(slowest, span.Medium.VelocityFactor)
	}
	cell := cables.SpeedOfLight * slowest / (2 * (frequencyHz[len(frequencyHz)-1] - frequencyHz[0]))
	to := s.ToM
	if to == 0 {
		to = path.LengthM() + max(0.05*path.LengthM(), 2*cell)
	}
	if !(to > s.FromM) || math.IsInf(s.FromM, 0) || math.IsInf(to, 0) {
		return nil, fmt.Errorf("distance: the range from %g m to %g m is empty or endless", s.FromM, to)
	}
	if cells := (to - s.FromM) / cell; cells > mostPlaces {
		return nil, fmt.Errorf("distance: the range from %g m to %g m holds %.3g cells of %.3g m, more than %d", s.FromM, to, cells, cell, mostPlaces)
	}
	n := s.Points
	if n == 0 {
		n = min(20001, max(201, int(math.Ceil(4*(to-s.FromM)/cell))+1))
	}
	if n < 1 || n > mostPlaces {
		return nil, fmt.Errorf("distance: %d places are not within 1 to %d", n, mostPlaces)
	}
	x := make([]float64, n)
	for i := range x {
		x[i] = s.FromM
		if n > 1 {
			x[i] += (to - s.FromM) * float64(i) / float64(n-1)
		}
	}
	return x, nil
}

// hold finds the place from which on the loss correction is held back.
func (t *Transform) hold(settings Settings) {
	t.heldFromM = math.Inf(1)
	if settings.Loss != LossHeldBack {
		return
	}
	t.heldFromM = t.path.LengthM()
	noise, ceiling := settings.NoiseRMS, settings.CeilingDB
	if noise == 0 {
		noise = 1e-3
	}
	if ceiling == 0 {
		ceiling = 40
	}
	theta := make([]complex128, len(t.weights))
	tooMuch := func(x float64) bool {
		t.way(theta, x, math.Inf(1))
		sum := 0.0
		for k, w := range t.weights {
			sum += w * w * math.Exp(4*real(theta[k]))
		}
		return noise*math.Sqrt(sum) > math.Pow(10, -ceiling/20)
	}
	if !tooMuch(t.heldFromM) {
		return
	}
	t.heldByNoise = true
	low, high := 0.0, t.heldFromM
	for range 30 {
		if middle := (low + high) / 2; tooMuch(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	t.heldFromM = low
}

// way stores Θ(f_k,x) in theta with the loss held back from heldFromM on; with
// no loss correction the real part is zero.
func (t *Transform) way(theta []complex128, x, heldFromM float64) {
	clear(theta)
	last := len(t.path.Spans) - 1
	for i, span := range t.path.Spans {
		inside := func(x float64) float64 {
			within := x - span.StartM
			if i < last {
				within = min(within, span.LengthM)
			}
			if i > 0 {
				within = max(within, 0)
			}
			return within
		}
		phaseM, lossM := inside(x), inside(min(x, heldFromM))
		if t.loss == LossUncorrected {
			lossM = 0
		}
		if phaseM == 0 && lossM == 0 {
			continue
		}
		for k, g := range t.gamma[i] {
			theta[k] += complex(real(g)*lossM, imag(g)*phaseM)
		}
	}
}

// plan cuts the places into pieces and plans the sum of each.
func (t *Transform) plan() {
	var cuts []float64
	for _, span := range t.path.Spans[1:] {
		cuts = append(cuts, span.StartM)
	}
	if !math.IsInf(t.heldFromM, 0) {
		cuts = append(cuts, t.heldFromM)
	}
	sort.Float64s(cuts)
	cuts = append(cuts, math.Inf(1))
	first := 0
	for _, cut := range cuts {
		past := first + sort.SearchFloat64s(t.distanceM[first:], cut)
		if past > first {
			t.planRun(first, past)
			first = past
		}
	}
}

// planRun plans the places first...past-1, which lie in one span and under one
// rule of loss, as one piece, or as several where the loss or the dispersion
// changes too much along them.
func (t *Transform) planRun(first, past int) {
	x := t.distanceM[first:past]
	span := t.path.SpanAt(x[0])
	middle, half := (x[0]+x[len(x)-1])/2, (x[len(x)-1]-x[0])/2
	lossy := t.loss != LossUncorrected && x[0] < t.heldFromM

	// γ = level + j·slope·f + remainder(f), the remainder small.
	gamma := append([]complex128(nil), t.gamma[span]...)
	if !lossy {
		for k := range gamma {
			gamma[k] = complex(0, imag(gamma[k]))
		}
	}
	level, slope := t.smooth(gamma)
	change := 0.0
	for _, r := range gamma {
		change = max(change, 2*half*cmplx.Abs(r))
	}
	if change > mostSmoothChange && past-first > 1 {
		parts := min(past-first, int(math.Ceil(change/mostSmoothChange)))
		for i := range parts {
			t.planRun(first+i*(past-first)/parts, first+(i+1)*(past-first)/parts)
		}
		return
	}
	nodes, tolerance := nodesFor(change, exactTolerance), exactTolerance
	if nodes > 1 {
		nodes, tolerance = nodesFor(change, nodesTolerance), nodesTolerance/4
	}

	p := piece{first: first, past: past}
	s, u := make([]float64, len(gamma)), make([]float64, len(x))
	for k, f := range t.frequencyHz {
		s[k] = 2 * slope * f
	}
	for n, place := range x {
		u[n] = place - middle
	}
	p.sum = dsp.NewExponentialSum(s, u, tolerance)
	p.outer = append([]complex128(nil), p.sum.Outer()...)
	for n := range p.outer {
		p.outer[n] *= cmplx.Exp(2 * level * complex(u[n], 0))
	}
	common := make([]complex128, len(gamma))
	t.way(common, middle, t.heldFromM)
	for k, theta := range common {
		common[k] = cmplx.Exp(2*theta) * complex(t.weights[k], 0)
	}
	p.sum.Fold(common)
	for m := range nodes {
		v := math.Cos(math.Pi * (float64(m) + 0.5) / float64(nodes))
		factor := make([]complex128, len(gamma))
		for k, r := range gamma {
			factor[k] = common[k]
			if nodes > 1 {
				factor[k] *= cmplx.Exp(2 * r * complex(v*half, 0))
			}
		}
		p.factors = append(p.factors, factor)
		if nodes > 1 {
			p.bases = append(p.bases, lagrange(u, half, m, nodes))
		} else {
			p.bases = append(p.bases, nil)
		}
	}
	t.pieces = append(t.pieces, p)
}

// smooth takes the mid-range of Re γ, and a straight line over f from Im γ, out
// of gamma in place. The line is the least-squares line, shifted to the middle
// of what remains.
func (t *Transform) smooth(gamma []complex128) (level complex128, slope float64) {
	n := float64(len(gamma))
	var meanF, meanG float64
	for k, f := range t.frequencyHz {
		meanF += f / n
		meanG += imag(gamma[k]) / n
	}
	var fg, ff float64
	for k, f := range t.frequencyHz {
		fg += (f - meanF) * (imag(gamma[k]) - meanG)
		ff += (f - meanF) * (f - meanF)
	}
	slope = fg / ff
	lowRe, highRe, lowIm, highIm := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for k, f := range t.frequencyHz {
		im := imag(gamma[k]) - slope*f
		gamma[k] = complex(real(gamma[k]), im)
		lowRe, highRe = min(lowRe, real(gamma[k])), max(highRe, real(gamma[k]))
		lowIm, highIm = min(lowIm, im), max(highIm, im)
	}
	level = complex((lowRe+highRe)/2, (lowIm+highIm)/2)
	for k := range gamma {
		gamma[k] -= level
	}
	return level, slope
}

// nodesFor returns how many Chebyshev nodes interpolate e^{zv}, |z| ≤ change,
// over v in [-1, 1] to within tolerance: the error is at most
// change^n·e^change/(2^{n-1}·n!).
func nodesFor(change, tolerance float64) int {
	bound := 2 * math.Exp(change)
	for n := 1; ; n++ {
		bound *= change / (2 * float64(n))
		if bound <= tolerance {
			return n
		}
	}
}

// lagrange returns the m-th of n Lagrange polynomials at the Chebyshev nodes
// over [-half, half], at the places u.
func lagrange(u []float64, half float64, m, n int) []float64 {
	node := make([]float64, n)
	for i := range node {
		node[i] = math.Cos(math.Pi * (float64(i) + 0.5) / float64(n))
	}
	scale := 1.0
	for i, x := range node {
		if i != m {
			scale /= node[m] - x
		}
	}
	basis := make([]float64, len(u))
	for j, place := range u {
		product := scale
		for i, x := range node {
			if i != m {
				product *= place/half - x
			}
		}
		basis[j] = product
	}
	return basis
}

// DistanceM returns the places of the profile, m. The slice belongs to t.
func (t *Transform) DistanceM() []float64 { return t.distanceM }

// Weights returns the weights of the points, which add up to 1. The slice
// belongs to t.
func (t *Transform) Weights() []float64 { return t.weights }

// Profile computes the profile of gamma, one reflection coefficient for each
// frequency, into dst, which has one element for each place (nil is allocated).
// Other lengths panic. A NaN in gamma makes the whole profile NaN. The error is
// at most 1e-9 of full scale along a line without loss and dispersion, and
// about 1e-7 along any other (less than 1e-8 is usual).
func (t *Transform) Profile(dst, gamma []complex128) Profile {
	dst = t.check(dst, gamma)
	clear(dst)
	for i := range t.pieces {
		p := &t.pieces[i]
		part := dst[p.first:p.past]
		for m, factor := range p.factors {
			p.sum.Add(part, gamma, factor, p.bases[m])
		}
		for n, v := range p.outer {
			part[n] *= v
		}
	}
	return Profile{DistanceM: t.distanceM, Amplitude: dst, HeldFromM: t.heldFromM, HeldByNoise: t.heldByNoise}
}

// Direct is Profile by the sum itself, term by term: the slow reference.
func (t *Transform) Direct(dst, gamma []complex128) Profile {
	dst = t.check(dst, gamma)
	theta := make([]complex128, len(gamma))
	for n, x := range t.distanceM {
		t.way(theta, x, t.heldFromM)
		var sum complex128
		for k, g := range gamma {
			sum += complex(t.weights[k], 0) * g * cmplx.Exp(2*theta[k])
		}
		dst[n] = sum
	}
	return Profile{DistanceM: t.distanceM, Amplitude: dst, HeldFromM: t.heldFromM, HeldByNoise: t.heldByNoise}
}

func (t *Transform) check(dst, gamma []complex128) []complex128 {
	if dst == nil {
		dst = make([]complex128, len(t.distanceM))
	}
	if len(gamma) != len(t.frequencyHz) || len(dst) != len(t.distanceM) {
		panic(fmt.Sprintf("distance: %d values at %d frequencies into %d places of %d", len(gamma), len(t.frequencyHz), len(dst), len(t.distanceM)))
	}
	return dst
}
