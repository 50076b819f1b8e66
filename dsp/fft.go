package dsp

import (
	"fmt"
	"math"
	"math/bits"
)

// FFT is a planned discrete Fourier transform of a power-of-two length,
//
//	Y_l = Σ_k x_k·e^{+j2πkl/n}
//
// unnormalised, with the plus sign that turns a sweep over frequency into a
// profile over distance. It is a Stockham autosort transform of radix 4 (one
// radix-2 pass where the length asks for it): C. Van Loan, "Computational
// Frameworks for the Fast Fourier Transform", SIAM 1992, ch. 1.7 (from memory).
//
// It exists for speed alone: BenchmarkFFT measures it against gonum's
// dsp/fourier in one run (4.0 to 4.6 times as fast at 4096 points, where the
// profile lives).
//
// A plan holds no scratch, so any number of goroutines may share one.
type FFT struct {
	length int
	stages []fftStage
}

// fftStage is one pass over the data, seen as radix × groups × stride.
type fftStage struct {
	radix, groups, stride int
	twiddles              []complex128 // radix-1 for each group; nil: all one
}

// FFTLength returns the smallest length a plan takes that is at least n.
func FFTLength(n int) int {
	if n < 2 {
		return 2
	}
	return 1 << bits.Len(uint(n-1))
}

// NewFFT plans a transform of length n, a power of two of at least 2; any
// other length is a programming error and panics.
func NewFFT(n int) *FFT {
	if n < 2 || n&(n-1) != 0 {
		panic(fmt.Sprintf("dsp: FFT length %d is not a power of two", n))
	}
	p := &FFT{length: n}
	for rest, stride := n, 1; rest > 1; {
		radix := 4
		if rest == 2 {
			radix = 2
		}
		stage := fftStage{radix: radix, groups: rest / radix, stride: stride}
		if stage.groups > 1 {
			stage.twiddles = make([]complex128, 0, stage.groups*(radix-1))
			for p := range stage.groups {
				for r := 1; r < radix; r++ {
					sin, cos := math.Sincos(2 * math.Pi * float64(r*p) / float64(rest))
					stage.twiddles = append(stage.twiddles, complex(cos, sin))
				}
			}
		}
		p.stages = append(p.stages, stage)
		rest, stride = rest/radix, stride*radix
	}
	return p
}

// Len returns the length of the transform.
func (p *FFT) Len() int { return p.length }

// Transform overwrites a and b, both of the plan's length: a holds the input,
// and the returned slice, which is a or b, the output. Other lengths panic.
func (p *FFT) Transform(a, b []complex128) []complex128 {
	if len(a) != p.length || len(b) != p.length {
		panic("dsp: FFT of slices that are not of the plan's length")
	}
	for i := range p.stages {
		p.stages[i].run(b, a)
		a, b = b, a
	}
	return a
}

// transformEnds is Transform for an input that is zero outside its first and
// last quarter, which spares half of the first pass.
func (p *FFT) transformEnds(a, b []complex128) []complex128 {
	if p.stages[0].radix != 4 || len(p.stages) < 2 {
		return p.Transform(a, b)
	}
	first := &p.stages[0]
	first.runEnds(b, a)
	a, b = b, a
	for i := 1; i < len(p.stages); i++ {
		p.stages[i].run(b, a)
		a, b = b, a
	}
	return a
}

func (s *fftStage) run(dst, src []complex128) {
	switch {
	case s.radix == 2: // always the last pass, one group
		a, b := src[:s.stride], src[s.stride:][:s.stride]
		y0, y1 := dst[:s.stride], dst[s.stride:][:s.stride]
		for q := range a {
			y0[q], y1[q] = a[q]+b[q], a[q]-b[q]
		}
	case s.groups == 1:
		s.runLast(dst, src)
	case s.stride == 1:
		s.runFirst(dst, src)
	default:
		s.runMiddle(dst, src)
	}
}

// turn returns j·z.
func turn(z complex128) complex128 { return complex(-imag(z), real(z)) }

func (s *fftStage) runFirst(dst, src []complex128) {
	n := s.groups
	a, b, c, d := src[:n], src[n:][:n], src[2*n:][:n], src[3*n:][:n]
	for p := range a {
		w := s.twiddles[3*p:][:3]
		y := dst[4*p:][:4]
		sum0, diff0 := a[p]+c[p], a[p]-c[p]
		sum1, diff1 := b[p]+d[p], turn(b[p]-d[p])
		y[0] = sum0 + sum1
		y[1] = w[0] * (diff0 + diff1)
		y[2] = w[1] * (sum0 - sum1)
		y[3] = w[2] * (diff0 - diff1)
	}
}

// runEnds is runFirst with the second and third quarter zero.
func (s *fftStage) runEnds(dst, src []complex128) {
	n := s.groups
	a, d := src[:n], src[3*n:][:n]
	for p := range a {
		w := s.twiddles[3*p:][:3]
		y := dst[4*p:][:4]
		x, z := a[p], d[p]
		v := turn(z)
		y[0] = x + z
		y[1] = w[0] * (x - v)
		y[2] = w[1] * (x - z)
		y[3] = w[2] * (x + v)
	}
}

func (s *fftStage) runMiddle(dst, src []complex128) {
	n := s.stride
	step := s.groups * n
	for p := range s.groups {
		w := s.twiddles[3*p:][:3]
		w1, w2, w3 := w[0], w[1], w[2]
		a, b, c, d := src[p*n:][:n], src[p*n+step:][:n], src[p*n+2*step:][:n], src[p*n+3*step:][:n]
		y := dst[4*p*n:][:4*n]
		y0, y1, y2, y3 := y[:n], y[n:][:n], y[2*n:][:n], y[3*n:][:n]
		for q := range a {
			sum0, diff0 := a[q]+c[q], a[q]-c[q]
			sum1, diff1 := b[q]+d[q], turn(b[q]-d[q])
			y0[q] = sum0 + sum1
			y1[q] = w1 * (diff0 + diff1)
			y2[q] = w2 * (sum0 - sum1)
			y3[q] = w3 * (diff0 - diff1)
		}
	}
}

func (s *fftStage) runLast(dst, src []complex128) {
	n := s.stride
	a, b, c, d := src[:n], src[n:][:n], src[2*n:][:n], src[3*n:][:n]
	y0, y1, y2, y3 := dst[:n], dst[n:][:n], dst[2*n:][:n], dst[3*n:][:n]
	for q := range a {
		sum0, diff0 := a[q]+c[q], a[q]-c[q]
		sum1, diff1 := b[q]+d[q], turn(b[q]-d[q])
		y0[q] = sum0 + sum1
		y1[q] = diff0 + diff1
		y2[q] = sum0 - sum1
		y3[q] = diff0 - diff1
	}
}
