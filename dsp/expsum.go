package dsp

import (
	"math"
	"math/bits"
	"math/cmplx"
)

// ExponentialSum is a planned sum of exponentials at any frequencies s and any
// places t,
//
//	Y_n = Σ_k c_k·e^{+j·s_k·t_n}     (s·t in radians)
//
// in time N log N and memory linear in the number of terms, places, and the
// product of the widths of s and t (which is what the sum can resolve).
//
// Method: the sum is sampled by an oversampled FFT and read between the
// samples with a Kaiser-Bessel kernel, after the terms were divided by the
// kernel's transform. Terms that do not lie on a lattice, or sums that are
// wanted over a small part of their period only, are first spread onto a
// coarse lattice by the same kernel. Sources: J. A. Fessler, B. P. Sutton,
// "Nonuniform fast Fourier transforms using min-max interpolation", IEEE
// Trans. Signal Process. 51(2), 2003, doi:10.1109/TSP.2002.807005;
// J.-Y. Lee, L. Greengard, "The type 3 nonuniform FFT and its applications",
// J. Comput. Phys. 206(1), 2005, doi:10.1016/j.jcp.2004.12.004 (both from
// memory). The chirp-z transform would need two FFTs of twice the length;
// distance.BenchmarkProfile compares the two.
//
// The error is at most about tolerance·Σ|c_k|. A plan owns its scratch and so
// serves one goroutine at a time.
type ExponentialSum struct {
	inner   []complex128 // per term: what it is multiplied by
	spread  *spreading   // nil: the terms lie on the lattice
	slot    []int32      // per term, without spreading: its place in the FFT's input
	lattice int          // points of the lattice of terms
	fft     *FFT
	a, b    []complex128 // FFT work; kernel.width more than its length
	ends    bool         // the input lies in the first and last quarter
	kernel  kernel
	first   []int32      // per place: the first FFT sample under the kernel
	taps    []float64    // per place: kernel.width weights
	outer   []complex128 // per place: what the reading is multiplied by
}

// spreading puts terms at any frequencies onto a coarse lattice.
type spreading struct {
	kernel kernel
	first  []int32   // per term: index of the first lattice point under the kernel
	taps   []float64 // per term: kernel.width weights
	grid   []complex128
	scale  []float64 // per lattice point: reciprocal of the reading kernel's transform
}

// latticeTolerance is the largest phase error, in radians, for which terms
// count as lying on a lattice.
const latticeTolerance = 1e-12

// NewExponentialSum plans sums of len(s) terms at len(t) places; s need not be
// sorted. Both must be finite; tolerance is clamped to 1e-13...1e-3.
func NewExponentialSum(s, t []float64, tolerance float64) *ExponentialSum {
	tolerance = min(max(tolerance, 1e-13), 1e-3)
	p := &ExponentialSum{inner: make([]complex128, len(s)), outer: make([]complex128, len(t))}
	if len(s) == 0 || len(t) == 0 {
		return p
	}
	sLow, sHigh := Extent(s)
	tLow, tHigh := Extent(t)
	tMid, tHalf := (tLow+tHigh)/2, (tHigh-tLow)/2
	sMid, sHalf := (sLow+sHigh)/2, (sHigh-sLow)/2

	// The terms' own lattice, if they have one, or else a coarse one on which
	// the kernel's images stay clear of the wanted places.
	step, count, onLattice := findLattice(s, max(math.Abs(tLow), math.Abs(tHigh)))
	const oversampling = 2.0
	spread := newKernel(oversampling, tolerance)
	coarse := math.Pi / (oversampling * max(tHalf, 1e-12/max(sHalf, 1e-12)))
	coarseCount := 2*int(math.Ceil(sHalf/coarse)) + spread.width + 2
	useSpread := !onLattice
	if onLattice && spreadingPays(len(s), count, coarseCount, spread.width) {
		useSpread = true
	}
	if useSpread {
		step, count = coarse, coarseCount
	}
	p.lattice = count
	length := max(8, FFTLength(count+count/2)) // oversampling 1.5 to 3
	p.fft = NewFFT(length)
	p.kernel = newKernel(float64(length)/float64(count), tolerance)
	p.a, p.b = make([]complex128, length+p.kernel.width), make([]complex128, length+p.kernel.width)
	p.ends = count <= length/2
	middle := count / 2 // lattice point that becomes the FFT's zero

	perSample := 2 * math.Pi / float64(length) // lattice·sample to radians
	if useSpread {
		s0 := sMid - step*float64(middle) // frequency of lattice point 0
		p.spread = &spreading{kernel: spread, grid: make([]complex128, count), scale: make([]float64, 0, count),
			first: make([]int32, len(s)), taps: make([]float64, len(s)*spread.width)}
		for l := range count {
			p.spread.scale = append(p.spread.scale, 1/p.kernel.transform(perSample*float64(l-middle)))
		}
		for k, sk := range s {
			p.spread.first[k] = int32(spread.place((sk-s0)/step, p.spread.taps[k*spread.width:][:spread.width]))
			sin, cos := math.Sincos((sk - sMid) * tMid)
			p.inner[k] = complex(cos, sin)
		}
	} else {
		p.slot = make([]int32, len(s))
		for k, sk := range s {
			l := int(math.Round((sk-sLow)/step)) - middle
			sin, cos := math.Sincos(step * float64(l) * tMid)
			scale := 1 / p.kernel.transform(perSample*float64(l))
			p.inner[k] = complex(scale*cos, scale*sin)
			p.slot[k] = int32((l + length) % length)
		}
		sMid = sLow + step*float64(middle)
	}
	p.first = make([]int32, len(t))
	p.taps = make([]float64, len(t)*p.kernel.width)
	for n, tn := range t {
		u := step * (tn - tMid) / perSample // in samples
		first := p.kernel.place(u, p.taps[n*p.kernel.width:][:p.kernel.width])
		p.first[n] = int32(((first % length) + length) % length)
		sin, cos := math.Sincos(sMid * tn)
		if useSpread {
			scale := 1 / spread.transform(step*(tn-tMid))
			sin, cos = sin*scale, cos*scale
		}
		p.outer[n] = complex(cos, sin)
	}
	return p
}

// spreadingPays tells whether spreading terms onto a coarse lattice costs less
// than the longer FFT on their own. The units are the time of one butterfly's
// share of a sample, about 0.7 ns where spreading took 1.7 ns a tap.
func spreadingPays(terms, count, coarseCount, width int) bool {
	cost := func(count int) float64 {
		length := FFTLength(count + count/2)
		return float64(length) * float64(bits.Len(uint(length)))
	}
	return 2.5*float64(terms*width)+cost(coarseCount) < cost(count)
}

// findLattice returns step and size of the lattice on which all s lie to
// within latticeTolerance radians at distance reach, and whether there is one
// with at most four times as many points as terms.
func findLattice(s []float64, reach float64) (step float64, count int, ok bool) {
	if len(s) < 2 {
		return 0, 0, false
	}
	low, high := Extent(s)
	step = math.Inf(1)
	for k := 1; k < len(s); k++ {
		if d := math.Abs(s[k] - s[k-1]); d > 0 {
			step = min(step, d)
		}
	}
	cells := math.Round((high - low) / step)
	if !(cells >= 1) || cells > float64(4*len(s)) {
		return 0, 0, false
	}
	step = (high - low) / cells
	// Rounding of the input itself must not count.
	slack := latticeTolerance + 4*reach*0x1p-52*max(math.Abs(low), math.Abs(high))
	for _, sk := range s {
		at := (sk - low) / step
		if math.Abs(at-math.Round(at))*step*reach > slack {
			return 0, 0, false
		}
	}
	return step, int(cells) + 1, true
}

// Clone returns the same plan with scratch of its own, for another goroutine.
func (p *ExponentialSum) Clone() *ExponentialSum {
	c := *p
	c.a, c.b = make([]complex128, len(p.a)), make([]complex128, len(p.b))
	if p.spread != nil {
		spread := *p.spread
		spread.grid = make([]complex128, len(spread.grid))
		c.spread = &spread
	}
	return &c
}

// Fold multiplies factor (one number for each term) in place by what the
// method needs, for use with Add.
func (p *ExponentialSum) Fold(factor []complex128) {
	for k, v := range p.inner {
		factor[k] *= v
	}
}

// Outer returns the numbers that a caller of Add must multiply the results by,
// one for each place. The slice belongs to the plan.
func (p *ExponentialSum) Outer() []complex128 { return p.outer }

// Evaluate stores Y_n for the terms c in dst, which must have one element for
// each place, and returns it.
func (p *ExponentialSum) Evaluate(dst, c []complex128) []complex128 {
	clear(dst)
	p.Add(dst, c, p.inner, nil)
	for n, v := range p.outer {
		dst[n] *= v
	}
	return dst
}

// Add adds basis_n·Y_n/outer_n to dst_n, where the terms are value_k·factor_k,
// factor has been through Fold, and a nil basis is all one. It is the building
// block of sums whose terms are not pure exponentials but combinations of a
// few of them.
func (p *ExponentialSum) Add(dst, value, factor []complex128, basis []float64) {
	if len(p.inner) == 0 || len(p.outer) == 0 {
		return
	}
	length := p.fft.Len()
	in := p.a[:length]
	clear(in)
	value = value[:len(factor)]
	if p.spread == nil {
		slot := p.slot[:len(factor)]
		for k, v := range factor {
			in[slot[k]] = v * value[k]
		}
	} else {
		p.spreadOnto(in, value, factor)
	}
	var out []complex128
	if p.ends {
		out = p.fft.transformEnds(in, p.b[:length])
	} else {
		out = p.fft.Transform(in, p.b[:length])
	}
	width := p.kernel.width
	out = out[:length+width] // room for the samples that wrap around
	for i := range width {
		out[length+i] = out[i%length]
	}
	p.read(dst, out, basis)
}

// spreadOnto spreads the terms onto the coarse lattice and places them, divided
// by the reading kernel's transform, in the FFT's input.
func (p *ExponentialSum) spreadOnto(in, value, factor []complex128) {
	s := p.spread
	width := s.kernel.width
	clear(s.grid)
	for k, v := range factor {
		v *= value[k]
		re, im := real(v), imag(v)
		taps := s.taps[k*width:][:width]
		cells := s.grid[s.first[k]:][:width]
		for i, w := range taps {
			cells[i] += complex(w*re, w*im)
		}
	}
	// Lattice points below the middle wrap to the end of the FFT's input.
	length, middle := p.fft.Len(), p.lattice/2
	for l, v := range s.grid[:middle] {
		in[length-middle+l] = complex(real(v)*s.scale[l], imag(v)*s.scale[l])
	}
	for l, v := range s.grid[middle:] {
		in[l] = complex(real(v)*s.scale[middle+l], imag(v)*s.scale[middle+l])
	}
}

// read interpolates between the FFT's samples.
func (p *ExponentialSum) read(dst, out []complex128, basis []float64) {
	width := p.kernel.width
	taps := p.taps
	dst = dst[:len(p.first)]
	for n, first := range p.first {
		w := taps[:width]
		taps = taps[width:]
		re, im := weigh(w, out[first:])
		if basis != nil {
			re *= basis[n]
			im *= basis[n]
		}
		dst[n] += complex(re, im)
	}
}

// weigh returns Σ w_i·x_i. It is a function of its own, with two chains of
// additions, because the compiler then keeps all in registers (1.5 times as fast).
func weigh(w []float64, x []complex128) (re, im float64) {
	x = x[:len(w)]
	var re1, im1 float64
	i := 0
	for ; i+1 < len(w); i += 2 {
		re += w[i] * real(x[i])
		im += w[i] * imag(x[i])
		re1 += w[i+1] * real(x[i+1])
		im1 += w[i+1] * imag(x[i+1])
	}
	if i < len(w) {
		re += w[i] * real(x[i])
		im += w[i] * imag(x[i])
	}
	return re + re1, im + im1
}

// kernel is the Kaiser-Bessel kernel I0(β√(1-(2u/width)²)) for |u| < width/2
// samples, with the transform width·sinh(q)/q, q = √(β²-(width·ω/2)²).
type kernel struct {
	width int
	beta  float64
	// series[j] holds the j-th Chebyshev coefficient of every tap as a function
	// of the place between two samples.
	series [][]float64
}

// mostTaps bounds the kernel's width: 20 at the least oversampling and tolerance.
const mostTaps = 24

// newKernel returns the narrowest kernel whose images, on a grid oversampled by
// the given ratio, stay below tolerance: they fall as e^{-π·width·√(1-1/ratio)}.
func newKernel(oversampling, tolerance float64) kernel {
	oversampling = min(oversampling, 4)
	width := int(math.Ceil(-math.Log(tolerance/8)/(math.Pi*math.Sqrt(1-1/oversampling)))) + 1
	k := kernel{width: width, beta: math.Pi * float64(width) * (1 - 1/(2*oversampling))}
	nodes := width + 6
	scale := 1 / BesselI0(k.beta)
	values, matrix := make([]float64, nodes), chebyshevTransform(nodes)
	k.series = make([][]float64, nodes)
	for j := range k.series {
		k.series[j] = make([]float64, width)
	}
	largest := make([]float64, nodes)
	for i := range width {
		for m := range nodes {
			x := math.Cos(math.Pi * (float64(m) + 0.5) / float64(nodes))
			z := 2 * (float64(i) - float64(width)/2 + (x+1)/2) / float64(width)
			values[m] = scale * BesselI0(k.beta*math.Sqrt(max(0, 1-z*z)))
		}
		for j, row := range matrix {
			c := 0.0
			for m, v := range values {
				c += row[m] * v
			}
			k.series[j][i] = c
			largest[j] = max(largest[j], math.Abs(c))
		}
	}
	for last := nodes - 1; last > 1 && largest[last] < tolerance/20; last-- {
		k.series = k.series[:last]
	}
	return k
}

// place fills taps with the weights for place u and returns the first sample.
func (k *kernel) place(u float64, taps []float64) int {
	// Samples i with |i-u| < width/2 start at ceil(u - width/2).
	start := u - float64(k.width)/2
	first := math.Ceil(start)
	between := first - start // 0...1: tap i lies at i + between - width/2
	// Clenshaw's recurrence, all taps abreast.
	x := 2*between - 1
	var now, before [mostTaps]float64
	b1, b2 := now[:len(taps)], before[:len(taps)]
	for j := len(k.series) - 1; j > 0; j-- {
		c := k.series[j][:len(taps)]
		for i := range taps {
			b1[i], b2[i] = c[i]+2*x*b1[i]-b2[i], b1[i]
		}
	}
	for i, c := range k.series[0][:len(taps)] {
		taps[i] = c + x*b1[i] - b2[i]
	}
	return int(first)
}

// transform returns ∫ kernel·e^{jωu} du, ω in radians a sample.
func (k *kernel) transform(omega float64) float64 {
	half := float64(k.width) * omega / 2
	q := cmplx.Sqrt(complex(k.beta*k.beta-half*half, 0))
	scale := float64(k.width) / BesselI0(k.beta)
	if cmplx.Abs(q) < 1e-6 {
		return scale
	}
	return scale * real(cmplx.Sinh(q)/q)
}

// chebyshevTransform returns the matrix that turns the values at the Chebyshev
// nodes cos(π(m+½)/n), m = 0...n-1, into the coefficients of the polynomial
// through them.
func chebyshevTransform(n int) [][]float64 {
	matrix := make([][]float64, n)
	for j := range matrix {
		matrix[j] = make([]float64, n)
		for m := range matrix[j] {
			matrix[j][m] = 2 / float64(n) * math.Cos(math.Pi*float64(j)*(float64(m)+0.5)/float64(n))
			if j == 0 {
				matrix[j][m] = 1 / float64(n)
			}
		}
	}
	return matrix
}

// clenshaw evaluates a Chebyshev series at x in [-1, 1].
func clenshaw(c []float64, x float64) float64 {
	var b1, b2 float64
	for j := len(c) - 1; j > 0; j-- {
		b1, b2 = c[j]+2*x*b1-b2, b1
	}
	return c[0] + x*b1 - b2
}

// BesselI0 returns the modified Bessel function of the first kind and order
// zero by its power series Σ (x²/4)^k/(k!)², all of whose terms are positive
// (NIST DLMF, eq. 10.25.2).
func BesselI0(x float64) float64 {
	quarter := x * x / 4
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*0x1p-54; k++ {
		term *= quarter / (k * k)
		sum += term
	}
	return sum
}

// Extent returns the smallest and largest of x, which must not be empty.
func Extent(x []float64) (low, high float64) {
	low, high = x[0], x[0]
	for _, v := range x[1:] {
		low, high = min(low, v), max(high, v)
	}
	return low, high
}
