package locate

import (
	"math"
	"math/cmplx"
	"sort"
)

// scan looks along the line for what the residual still holds.
type scan struct {
	x         []float64
	amplitude []complex128 // estimate of a reflection at x, windowed, corrected for the loss on the way
	power     []float64    // |Σ w·e·e^{j2βx}|²/(Σw)²
	taper     []float64    // detection window on the sweep's grid
	spread    float64      // variance of 2β under taper², (rad/m)²
	noiseGain float64      // Σw²/(Σw)²: profile power of unit noise
	shrink    []float64    // Σ w·e^{−2αx}/Σw: what the loss leaves of a full reflection at x
}

// newScan lays a grid of step cells over [fromM, toM].
func newScan(p *problem, taper []float64, fromM, toM, step float64) *scan {
	s := &scan{taper: make([]float64, len(taper))}
	sum, sum2 := 0.0, 0.0
	for k, w := range taper {
		if p.weight[k] == 0 {
			continue
		}
		s.taper[k] = w
		sum += w
		sum2 += w * w
	}
	s.noiseGain = sum2 / (sum * sum)
	for x := fromM; x <= toM; x += step * p.cell(x) {
		s.x = append(s.x, x)
	}
	var mean, square float64
	gamma := p.gamma[p.spanAt((fromM+toM)/2)]
	for k, w := range s.taper {
		b := 2 * imag(gamma[k])
		mean += w * w * b / sum2
		square += w * w * b * b / sum2
	}
	s.spread = square - mean*mean
	s.power, s.amplitude, s.shrink = make([]float64, len(s.x)), make([]complex128, len(s.x)), make([]float64, len(s.x))
	for i, x := range s.x {
		at := p.spanAt(x)
		for k := 0; k < len(s.taper); k += max(1, len(s.taper)/64) { // smooth in f: a few points will do
			loss := real(p.start[at][k]) + real(p.gamma[at][k])*(x-p.starts[at])
			s.shrink[i] += math.Exp(-2*loss) / float64((len(s.taper)-1)/max(1, len(s.taper)/64)+1)
		}
	}
	return s
}

// run fills power and amplitude from residual.
func (s *scan) run(p *problem, residual []complex128) {
	sum := 0.0
	for _, w := range s.taper {
		sum += w
	}
	clear(s.amplitude)
	// Span by span the grid is even, so the phase turns by the same step.
	for from := 0; from < len(s.x); {
		at := p.spanAt(s.x[from])
		to := from + 1
		for to < len(s.x) && p.spanAt(s.x[to]) == at {
			to++
		}
		step := 0.0
		if to-from > 1 {
			step = s.x[from+1] - s.x[from]
		}
		out := s.amplitude[from:to]
		for k, w := range s.taper {
			if w == 0 {
				continue
			}
			beta := imag(p.gamma[at][k])
			sin, cos := math.Sincos(2 * (imag(p.start[at][k]) + beta*(s.x[from]-p.starts[at])))
			turned := residual[k] * complex(w*cos, w*sin)
			sin, cos = math.Sincos(2 * beta * step)
			re, im := real(turned), imag(turned)
			for i := range out {
				out[i] += complex(re, im)
				re, im = re*cos-im*sin, re*sin+im*cos
			}
		}
		from = to
	}
	for i, a := range s.amplitude {
		a /= complex(sum, 0)
		s.power[i] = real(a)*real(a) + imag(a)*imag(a)
		s.amplitude[i] = a / complex(s.shrink[i], 0)
	}
}

// falseAlarmLevel returns the level T of |P|²/variance that noise alone
// exceeds anywhere on lengthM of line with probability rate. The envelope of a
// complex Gaussian process crosses √T upwards √(b·T/π)·e^{−T} times a metre, b
// the variance of its spectrum: S. O. Rice, "Mathematical analysis of random
// noise", Bell Syst. Tech. J. 23-24, 1944-45 (from memory).
func falseAlarmLevel(rate, lengthM, spread float64) float64 {
	low, high := 1.0, 200.0
	for range 60 {
		t := (low + high) / 2
		if (1+lengthM*math.Sqrt(spread*t/math.Pi))*math.Exp(-t) > rate {
			low = t
		} else {
			high = t
		}
	}
	return high
}

// peak is a local maximum of a scan.
type peak struct {
	x         float64
	amplitude complex128
	excess    float64 // power over the detection threshold there
}

// peaks returns the local maxima above their threshold: level times the noise
// power, or level times the clutter around, whichever is more, and never less
// than floor (a local reflection's power). Strongest excess first.
func (s *scan) peaks(p *problem, noise, level, floor float64) []peak {
	clutter := s.clutter(p)
	var found []peak
	for i := range s.x {
		if i > 0 && s.power[i] < s.power[i-1] || i+1 < len(s.x) && s.power[i] <= s.power[i+1] {
			continue
		}
		threshold := math.Max(level*math.Max(noise*s.noiseGain, clutter[i]), floor*s.shrink[i]*s.shrink[i])
		if s.power[i] > threshold {
			found = append(found, peak{s.refine(i), s.amplitude[i], s.power[i] / threshold})
		}
	}
	sort.Slice(found, func(i, j int) bool { return found[i].excess > found[j].excess })
	return found
}

// refine returns the place of local maximum i by a parabola through the levels.
func (s *scan) refine(i int) float64 {
	if i == 0 || i == len(s.x)-1 {
		return s.x[i]
	}
	a, b, c := math.Log(s.power[i-1]+1e-300), math.Log(s.power[i]+1e-300), math.Log(s.power[i+1]+1e-300)
	if bend := a - 2*b + c; bend < 0 {
		return s.x[i] + (s.x[i+1]-s.x[i-1])/2*math.Max(-0.5, math.Min(0.5, (a-c)/(2*bend)))
	}
	return s.x[i]
}

// clutter estimates the mean background power around each grid place from the
// lower quartile of its neighbourhood; that of an exponential distribution is
// 0.2877 of its mean.
func (s *scan) clutter(p *problem) []float64 {
	out := make([]float64, len(s.x))
	var near []float64
	const cells = 12
	for i := 0; i < len(s.x); {
		// One estimate serves a cell's worth of places.
		c := p.cell(s.x[i])
		lo := sort.SearchFloat64s(s.x, s.x[i]-cells*c)
		hi := sort.SearchFloat64s(s.x, s.x[i]+cells*c)
		near = append(near[:0], s.power[lo:hi]...)
		sort.Float64s(near)
		level := near[len(near)/4] / 0.2877
		for x := s.x[i]; i < len(s.x) && s.x[i] < x+c; i++ {
			out[i] = level
		}
	}
	return out
}

// noisePower estimates the variance of the sweep's noise per point from the
// lower part of the residual's profile, and the residual itself: what is
// coherent stands in few places, noise everywhere.
func (s *scan) noisePower() float64 {
	sorted := append([]float64(nil), s.power...)
	sort.Float64s(sorted)
	return sorted[len(sorted)*3/10] / 0.3567 / s.noiseGain // 30 % point of an exponential distribution
}

// meanPower is the weighted mean of |e|².
func meanPower(e []complex128, weight []float64) float64 {
	sum, total := 0.0, 0.0
	for k, w := range weight {
		a := cmplx.Abs(e[k])
		sum += w * a * a
		total += w
	}
	return sum / total
}
