package locate

import (
	"math"
	"sort"

	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/dsp/linemodel"
)

// scan looks along the line for what the residual still holds. Its profile
// leaves the loss in, so that noise is the same everywhere.
type scan struct {
	transform *distance.Transform
	x         []float64
	amplitude []complex128 // estimate of a reflection at x, windowed, corrected for the loss on the way
	power     []float64    // of the profile
	taper     []float64    // the profile's weights; 0 where a point is left out
	spread    float64      // variance of 2β under taper², (rad/m)²
	noiseGain float64      // profile power of unit noise
	shrink    []float64    // what the loss leaves of a full reflection at x
	used      []complex128 // the residual, left-out points set to 0
	behind    *behind      // nil: nothing is known of delays behind the line
	plan      plan
}

// newScan lays a grid of step cells over [fromM, toM].
func newScan(p *linemodel.Fit, fromM, toM, step float64) (*scan, error) {
	finest := p.CellM[0]
	for _, c := range p.CellM {
		finest = math.Min(finest, c)
	}
	t, err := distance.New(p.Path, p.FrequencyHz, distance.Settings{FromM: fromM, ToM: toM,
		Points: max(8, int((toM-fromM)/(step*finest))+1), Loss: distance.LossUncorrected})
	if err != nil {
		return nil, err
	}
	n := len(p.FrequencyHz)
	s := &scan{transform: t, x: t.DistanceM(), taper: make([]float64, n), used: make([]complex128, n)}
	sum, sum2 := 0.0, 0.0
	for k, w := range t.Weights() {
		if p.Weight[k] > 0 {
			s.taper[k] = w
			sum += w
			sum2 += w * w
		}
	}
	s.noiseGain = sum2 / (sum * sum)
	var mean, square float64
	gamma := p.Gamma[p.SpanAt((fromM+toM)/2)]
	for k, w := range s.taper {
		b := 2 * imag(gamma[k])
		mean += w * w * b / sum2
		square += w * w * b * b / sum2
	}
	s.spread = square - mean*mean
	s.power, s.amplitude, s.shrink = make([]float64, len(s.x)), make([]complex128, len(s.x)), make([]float64, len(s.x))
	stride := max(1, n/64) // the loss is smooth in f: a few points will do
	var left, onward []float64
	total, before := 0.0, -1
	for k := 0; k < n; k += stride {
		total += s.taper[k]
	}
	for i, x := range s.x {
		at := p.SpanAt(x)
		if at != before { // then from step to step: an exponential costs more than all else here
			left, onward, before = left[:0], onward[:0], at
			for k := 0; k < n; k += stride {
				alpha := real(p.Gamma[at][k])
				left = append(left, s.taper[k]/total*math.Exp(-2*(real(p.Start[at][k])+alpha*(x-p.Starts[at]))))
				onward = append(onward, math.Exp(-2*alpha*(s.x[1]-s.x[0])))
			}
		}
		for k, v := range left {
			s.shrink[i] += v
			left[k] = v * onward[k]
		}
	}
	return s, nil
}

// run fills power and amplitude from residual.
func (s *scan) run(residual []complex128) {
	sum := 0.0
	for k, w := range s.taper {
		s.used[k] = 0
		if w > 0 {
			s.used[k] = residual[k]
			sum += w
		}
	}
	s.transform.Profile(s.amplitude, s.used)
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
func (s *scan) peaks(p *linemodel.Fit, noise, level, floor float64) []peak {
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
func (s *scan) clutter(p *linemodel.Fit) []float64 {
	out := make([]float64, len(s.x))
	var near []float64
	const cells = 12
	for i := 0; i < len(s.x); {
		// One estimate serves a cell's worth of places.
		c := p.Cell(s.x[i])
		lo := sort.SearchFloat64s(s.x, s.x[i]-cells*c)
		hi := sort.SearchFloat64s(s.x, s.x[i]+cells*c)
		near = append(near[:0], s.power[lo:hi]...)
		level := dsp.Ranked(near, len(near)/4) / 0.2877
		for x := s.x[i]; i < len(s.x) && s.x[i] < x+c; i++ {
			out[i] = level
		}
	}
	return out
}

// noisePower estimates the variance of the sweep's noise per point from the
// residual after run: quiet is noise alone, read behind the line, where nothing
// coherent comes back from; all includes what is left unexplained everywhere
// along the line, which stands in the way of one more quantity as noise does.
// On a line of few cells the profile has no quiet part to read that from, but
// it cannot be more than left, what the fit leaves by its own weights. Where the alias-free range
// leaves no room behind the line the two are the same.
func (s *scan) noisePower(left float64) (quiet, all float64) {
	all = math.Min(quietPower(s.power)/s.noiseGain, left)
	if s.behind == nil {
		return all, all
	}
	quiet = s.behind.noisePower(s)
	return quiet, math.Max(quiet, all)
}

// quietPower is the mean of exponentially distributed powers some of which are
// not noise: the 30 % point of the distribution is 0.3567 of its mean.
func quietPower(power []float64) float64 {
	return dsp.Ranked(append([]float64(nil), power...), len(power)*3/10) / 0.3567
}

// behind is the part of a uniform sweep's delays from which nothing comes back.
type behind struct {
	fft         *dsp.FFT
	from, to    int // bins
	a, b        []complex128
	power       []float64
	taperSquare float64
}

const (
	behindGuard = 3.0 // reciprocal bands to either side that a window's main lobe needs
	behindLeast = 24  // reciprocal bands that a variance can be read from: to 1/√24
)

// newBehind returns nil where delays behind longestS leave too little of the
// alias-free range, 1/stepHz.
func newBehind(taper []float64, stepHz, longestS float64) *behind {
	n := len(taper)
	length := dsp.FFTLength(n)
	perBand := float64(length) / float64(n)
	from := int(longestS*stepHz*float64(length) + behindGuard*perBand)
	to := length - int(behindGuard*perBand)
	if float64(to-from) < behindLeast*perBand {
		return nil
	}
	b := &behind{fft: dsp.NewFFT(length), from: from, to: to, a: make([]complex128, length), b: make([]complex128, length), power: make([]float64, to-from)}
	for _, w := range taper {
		b.taperSquare += w * w
	}
	return b
}

func (b *behind) noisePower(s *scan) float64 {
	clear(b.a)
	for k, w := range s.taper {
		b.a[k] = complex(w, 0) * s.used[k]
	}
	out := b.fft.Transform(b.a, b.b)
	for i := range b.power {
		v := out[b.from+i]
		b.power[i] = real(v)*real(v) + imag(v)*imag(v)
	}
	return quietPower(b.power) / b.taperSquare
}
