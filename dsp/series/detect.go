package series

import (
	"errors"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"downlead/cables"
	"downlead/dsp/distance"
)

// view lays residuals along the line and behind it. The loss is left in, so
// that noise is the same everywhere.
type view struct {
	line, quiet *distance.Transform
	x           []float64
	shrink      []float64 // what the loss leaves of a reflection at x
	noiseGain   float64   // of the variance of one point
}

const (
	gridStep  = 0.35 // cells
	behind    = 2.0  // cells behind the end that belong to it
	quietFrom = 1.3  // lines' lengths behind which nothing moves
	mostQuiet = 2000 // places
	leastDone = 60   // quiet places, at least
)

func newView(l *line) (*view, error) {
	end := l.path.LengthM()
	cell := slices.Min(l.fit.CellM)
	lay := func(from, to, step float64, most int) (*distance.Transform, error) {
		return distance.New(l.path, l.hz, distance.Settings{FromM: from, ToM: to, Loss: distance.LossUncorrected,
			Points: min(most, int((to-from)/step)+2)})
	}
	v := &view{}
	var err error
	if v.line, err = lay(-0.5*cell, end+behind*cell, gridStep*cell, 1<<20); err != nil {
		return nil, err
	}
	// Where nothing of the line comes back once: behind it, as far as echoes do not
	// fold; all of that when the line fills nearly all.
	step := (l.hz[len(l.hz)-1] - l.hz[0]) / float64(len(l.hz)-1)
	foldM := 0.9 * l.path.PhysicalM(cables.SpeedOfLight/(2*step))
	from := quietFrom*end + 4*cell
	if foldM-from < leastDone*cell {
		from = 0.5 * cell
	}
	if !(foldM > from+8*cell) {
		return nil, errors.New("the sweeps' points are too few, or too far apart, for a line of this length: sweep it again with more")
	}
	if v.quiet, err = lay(from, foldM, cell, mostQuiet); err != nil {
		return nil, err
	}
	for _, w := range v.line.Weights() {
		v.noiseGain += w * w
	}
	v.x = v.line.DistanceM()
	for _, x := range v.x {
		sum, total := 0.0, 0.0
		for k := 0; k < len(l.hz); k += max(1, len(l.hz)/32) {
			w := v.line.Weights()[k]
			sum += w * math.Exp(-2*real(l.path.Theta(l.hz[k], x)))
			total += w
		}
		v.shrink = append(v.shrink, sum/total)
	}
	return v, nil
}

// profiles returns what each residual holds along the line.
func (v *view) profiles(residuals [][]complex128) [][]complex128 {
	out := make([][]complex128, len(residuals))
	for i, r := range residuals {
		out[i] = make([]complex128, len(v.x))
		v.line.Profile(out[i], r)
	}
	return out
}

// noise returns the variance of a profile of noise alone.
func (v *view) noise(residuals [][]complex128) float64 {
	n := len(v.quiet.DistanceM())
	power := make([]float64, 0, n*len(residuals))
	amplitude := make([]complex128, n)
	for _, r := range residuals {
		v.quiet.Profile(amplitude, r)
		for _, a := range amplitude {
			power = append(power, square(a))
		}
	}
	slices.Sort(power)
	return math.Max(power[len(power)/2]/math.Ln2, 1e-30)
}

func square(a complex128) float64 { return real(a)*real(a) + imag(a)*imag(a) }

// thresholds of the two statistics over the variance of noise.
type thresholds struct{ sum, most float64 }

// newThresholds returns those that deviations of sweeps from their mean exceed at
// any of so many places with probability rate at most. Deviations from a mean of N
// have N−1 degrees of freedom and (N−1)/N of the variance of a sweep, which is what
// is known of the noise.
func newThresholds(rate float64, sweeps, places int) thresholds {
	n := float64(sweeps)
	each := rate / 2 / float64(places)
	return thresholds{
		sum:  distuv.Gamma{Alpha: n - 1, Beta: 1}.Quantile(1-each) * n / (n - 1),
		most: math.Log(n / each),
	}
}

// excess returns by how much the stronger statistic exceeds its threshold at
// place i; above 1 there is something.
func (t thresholds) excess(profiles [][]complex128, i int, noise float64) float64 {
	sum, most := 0.0, 0.0
	for _, p := range profiles {
		s := square(p[i]) / noise
		sum, most = sum+s, math.Max(most, s)
	}
	return math.Max(sum/t.sum, most/t.most)
}

// strongest returns the place of the largest excess outside the guarded ones;
// -1 where there is none above 1.
func (t thresholds) strongest(profiles [][]complex128, noise float64, guarded []bool) int {
	best, at := 1.0, -1
	for i := range guarded {
		if guarded[i] {
			continue
		}
		if e := t.excess(profiles, i, noise); e > best {
			best, at = e, i
		}
	}
	return at
}

// refine returns the place of the maximum near i by a parabola through the levels
// of the power of all sweeps.
func (v *view) refine(profiles [][]complex128, i int) float64 {
	if i == 0 || i == len(v.x)-1 {
		return v.x[i]
	}
	var power [3]float64
	for _, p := range profiles {
		for j := range power {
			power[j] += square(p[i-1+j])
		}
	}
	a, b, c := math.Log(power[0]), math.Log(power[1]), math.Log(power[2])
	bend := a - 2*b + c
	if !(bend < 0) {
		return v.x[i]
	}
	return v.x[i] + (v.x[i+1]-v.x[i-1])/2*math.Max(-0.5, math.Min(0.5, (a-c)/(2*bend)))
}

// kernel returns what a reflection at x is read with: its inner product with data
// is the windowed sum, corrected for the loss. power is that of noise of unit
// variance.
func (v *view) kernel(l *line, x float64) (kernel []complex128, power float64) {
	kernel = make([]complex128, len(l.hz))
	shrink := 0.0
	for k, w := range v.line.Weights() {
		theta := l.path.Theta(l.hz[k], x)
		kernel[k] = complex(w, 0) * cmplx.Rect(1, -2*imag(theta)) // the inner product conjugates it
		shrink += w * math.Exp(-2*real(theta))
	}
	for k := range kernel {
		kernel[k] /= complex(shrink, 0)
	}
	return kernel, v.noiseGain / (shrink * shrink)
}
