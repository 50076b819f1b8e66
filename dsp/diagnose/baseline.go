package diagnose

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"

	"gonum.org/v1/gonum/mat"
)

// This file is long because the decomposition, the start and the refinement of
// the alignment share one state.

// Two sweeps of one line differ even if nothing happened to it. With A the
// earlier sweep as the line would show it today,
//
//	A(f)   = Σ_m h_m·e^{−jω(τ_m + ε·min(τ_m, τ_end) + d)}
//	now(f) = A·(1 + t(f)) + e00(f) + e11(f)·A² + changes
//
// h is the earlier sweep over the delay τ; ε the change of velocity with
// temperature, which stretches every delay on the line, but not the antenna's
// own behind its end τ_end; d a shift of the reference plane; t, e00 and e11 what
// is left between two calibrations, slow functions of frequency (D. Rytting,
// "Network analyzer error models and calibration methods", from memory). They
// are estimated along the line, place by place, with a cost that grows as the
// logarithm (that of Student's distribution), so that the places that did not
// change decide and a fault among them hardly pulls.
const (
	baselineVelocityMost  = 6e-3  // of ε: about 60 °C on solid dielectric; common practice, no source
	baselineVelocitySigma = 7e-4  // an ordinary day; common practice, no source
	baselinePlaneSigmaS   = 2e-11 // of d: 3 mm there and back
	baselineDirectivity   = 0.01
	baselineSourceMatch   = 0.02
	baselineTracking      = 0.02
	// witness is the share of a reflection that may differ between two sweeps
	// for reasons that the alignment does not know; 36 dB.
	witness = 0.015
	// baselineBand is the least share of the sweep's band that the earlier
	// one must cover.
	baselineBand = 0.6
	perCell      = 4   // places of the profiles
	robustNu     = 2.0 // where the cost turns from the square to the logarithm, in variances
)

// alignment is how an earlier sweep was brought to the day of the present one.
type alignment struct {
	Velocity      float64 // relative change of velocity since
	VelocitySigma float64 // one standard deviation
	PlaneM        float64 // how far the reference plane moved towards the load, m in free space
	GainDB        float64 // change of level (tracking, and loss on the way), mean
	BeforeDB      float64 // rms difference of the sweeps as they are, dB of full scale
	AfterDB       float64 // and when aligned
}

// sweepPair is two sweeps of a line on the same frequencies, and their profiles.
type sweepPair struct {
	path        *cables.Path
	frequencyHz []float64
	now         []complex128
	taps        []complex128 // h
	delayS      []float64    // τ
	endS        float64      // τ_end
	endM        float64
	depthM      float64    // how far behind the end the load may answer from
	foldS       [2]float64 // delay after which the grid of now, and that of the earlier sweep, repeats
	turn        []float64  // u: the place in the band, −1 to 1
	cellM       float64    // the line's mean cell
	profile     *distance.Transform
	x           []float64 // places of the profiles
	carrier     *carrier
	port        [][]complex128 // profiles of what the port's own reflection multiplies
	measured    []complex128
	aligned     []complex128 // A
	epsilon     float64
	shiftS      float64 // d
	nuisances   []complex128
	columns     [][]complex128 // of A, of what the nuisances multiply, and by ε and d
	sigmas      []float64      // of the nuisances, ε and d
	noise       float64        // variance of a profile
}

// newSweepPair brings both sweeps to one grid: that of now within the common band.
func newSweepPair(now, before *sweep.Sweep, path *cables.Path, line *cables.Line) (*sweepPair, error) {
	for _, s := range []*sweep.Sweep{now, before} {
		if err := s.Validate(); err != nil {
			return nil, err
		}
		if len(s.FrequencyHz) < 16 {
			return nil, fmt.Errorf("sweep %q has %d points: a comparison needs at least 16", s.Name, len(s.FrequencyHz))
		}
	}
	if math.Abs(before.ReferenceOhm/now.ReferenceOhm-1) > 1e-6 {
		return nil, fmt.Errorf("the earlier sweep is in %g ohm, this one in %g ohm: export both in the same", before.ReferenceOhm, now.ReferenceOhm)
	}
	if before.Correction == sweep.Uncorrected || now.Correction == sweep.Uncorrected {
		return nil, fmt.Errorf("an uncorrected sweep cannot be compared: correct both with their standards first")
	}
	f, b := now.FrequencyHz, before.FrequencyHz
	low, high := math.Max(f[0], b[0]), math.Min(f[len(f)-1], b[len(b)-1])
	slack := 1e-9 * high
	first, past := sort.SearchFloat64s(f, low-slack), sort.SearchFloat64s(f, high+slack)
	if past-first < 16 || high-low < baselineBand*(f[len(f)-1]-f[0]) {
		return nil, fmt.Errorf("the earlier sweep covers %.0f-%.0f MHz, this one %.0f-%.0f MHz: too little in common to compare (%.0f %% of the band are needed); sweep again as then",
			b[0]/1e6, b[len(b)-1]/1e6, f[0]/1e6, f[len(f)-1]/1e6, 100*baselineBand)
	}
	p := &sweepPair{path: path, frequencyHz: f[first:past], now: append([]complex128(nil), now.Gamma[first:past]...)}
	n := len(p.frequencyHz)
	p.endM = path.LengthM()
	p.endS = 2 * path.ElectricalM(p.endM) / cables.SpeedOfLight
	for i, s := range []*sweep.Sweep{now, before} {
		p.foldS[i] = 1 / meanStep(s.FrequencyHz)
		if step := meanStep(s.FrequencyHz); line.Load.Kind != "" && 1/step < 1.02*p.endS {
			return nil, fmt.Errorf("sweep %q steps %.3g MHz at a time: it shows the line folded over itself (alias-free to %.1f m of %.1f m), which cannot be compared; sweep again with more points",
				s.Name, step/1e6, path.PhysicalM(cables.SpeedOfLight/(2*step)), p.endM)
		}
	}
	band := p.frequencyHz[n-1] - p.frequencyHz[0]
	p.turn = dsp.BandPositions(p.frequencyHz, p.frequencyHz[0], p.frequencyHz[n-1])
	p.cellM = cables.SpeedOfLight / (2 * band) * p.endM / path.ElectricalM(p.endM)
	to := p.endM + 3*p.cellM
	if line.Load.Kind == cables.Antenna { // it answers from some way behind its connector
		to += antennaDepthM
		p.depthM = antennaDepthM
	}
	if line.Load.Kind == "" { // where the line ends is not known
		to = 0.9 * path.PhysicalM(cables.SpeedOfLight/(2*meanStep(p.frequencyHz)))
		p.endM, p.endS = to, 2*path.ElectricalM(to)/cables.SpeedOfLight
	}
	from := -2 * p.cellM
	count := int(math.Ceil((to-from)/p.cellM*perCell)) + 1
	var err error
	p.profile, err = distance.New(path, p.frequencyHz, distance.Settings{FromM: from, ToM: to, Points: count, Loss: distance.LossUncorrected})
	if err != nil {
		return nil, err
	}
	p.x = p.profile.DistanceM()
	p.carrier = newCarrier(path, (p.frequencyHz[0]+p.frequencyHz[n-1])/2)
	p.decompose(before)
	return p, nil
}

func meanStep(frequencyHz []float64) float64 {
	n := len(frequencyHz)
	return (frequencyHz[n-1] - frequencyHz[0]) / float64(n-1)
}

// decompose finds h by least squares over delays half as far apart as the band
// resolves, so that the sum need not repeat itself beyond the band's ends as a
// discrete transform would: a stretched sweep is read there. The steps of
// conjugate gradients are few, which keeps what the grid does not show small
// (P. C. Hansen, "Rank-Deficient and Discrete Ill-Posed Problems", SIAM 1998,
// ch. 6, from memory).
func (p *sweepPair) decompose(before *sweep.Sweep) {
	f, n := before.FrequencyHz, len(before.FrequencyHz)
	step, band := meanStep(f), f[n-1]-f[0]
	spacing := 0.5 / band
	// The delays end where those begin that the grid folds onto them.
	early := math.Min(0.1/step, math.Max(3/band, (1/step-1.02*p.endS)/3))
	count := int(math.Min((1/step)/spacing, (early+1.1*p.endS+longestRingS)/spacing))
	p.delayS = make([]float64, count)
	turns, back := make([]float64, count), make([]float64, count)
	for m := range p.delayS {
		p.delayS[m] = spacing*float64(m) - early
		turns[m] = 2 * math.Pi * p.delayS[m]
		back[m] = -turns[m]
	}
	inverse, forward := dsp.NewExponentialSum(f, turns, 1e-9), dsp.NewExponentialSum(back, f, 1e-9)
	power := func(v []complex128) float64 {
		s := 0.0
		for _, c := range v {
			s += real(c)*real(c) + imag(c)*imag(c)
		}
		return s
	}
	p.taps = make([]complex128, count)
	residual := append([]complex128(nil), before.Gamma...)
	slope := inverse.Evaluate(make([]complex128, count), residual)
	way := append([]complex128(nil), slope...)
	q := make([]complex128, n)
	gamma := power(slope)
	first := gamma
	for range decomposeSteps {
		if gamma <= 1e-16*first {
			break
		}
		forward.Evaluate(q, way)
		a := complex(gamma/power(q), 0)
		for m, w := range way {
			p.taps[m] += a * w
		}
		for k, v := range q {
			residual[k] -= a * v
		}
		inverse.Evaluate(slope, residual)
		next := power(slope)
		b := complex(next/gamma, 0)
		for m, s := range slope {
			way[m] = s + b*way[m]
		}
		gamma = next
	}
}

const (
	mostStarts     = 6
	antennaDepthM  = 2.5
	decomposeSteps = 25
	longestRingS   = 3e-7 // of an antenna behind the line
)

// earlier returns the earlier sweep with delays stretched by epsilon and
// shifted by shiftS, and its derivative by epsilon.
func (p *sweepPair) earlier(epsilon, shiftS float64) (aligned, slope []complex128) {
	at, stretched := make([]float64, len(p.taps)), make([]complex128, len(p.taps))
	for m, tau := range p.delayS {
		on := math.Max(0, math.Min(tau, p.endS))
		at[m] = -2 * math.Pi * (tau + epsilon*on + shiftS)
		stretched[m] = p.taps[m] * complex(on, 0)
	}
	sum := dsp.NewExponentialSum(at, p.frequencyHz, 1e-9)
	n := len(p.frequencyHz)
	aligned, slope = sum.Evaluate(make([]complex128, n), p.taps), sum.Evaluate(make([]complex128, n), stretched)
	for k, f := range p.frequencyHz {
		slope[k] *= complex(0, -2*math.Pi*f)
	}
	return aligned, slope
}

// times returns the profile of gamma times function(k).
func (p *sweepPair) times(gamma []complex128, function func(k int) complex128) []complex128 {
	v := make([]complex128, len(gamma))
	for k, g := range gamma {
		v[k] = g * function(k)
	}
	return p.profile.Profile(nil, v).Amplitude
}

// delayed returns the profile of −j2πf·A, given that of A and that of A times the
// place in the band.
func (p *sweepPair) delayed(base, turned []complex128) []complex128 {
	low, high := p.frequencyHz[0], p.frequencyHz[len(p.frequencyHz)-1]
	out := make([]complex128, len(base))
	for i, v := range base {
		w := complex((low+high)/2, 0)*v + complex((high-low)/2, 0)*turned[i]
		out[i] = complex(2*math.Pi*imag(w), -2*math.Pi*real(w))
	}
	return out
}

// portTerms is how many delays stand for what the port reflects.
const portTerms = 3

// gainTerms is how many terms of a polynomial over the band stand for a slow
// gain.
const gainTerms = 3

// nuisanceColumns returns the profiles of what the nuisances multiply, and the
// standard deviation of each. base is the profile of a.
func (p *sweepPair) nuisanceColumns(a, base []complex128) (columns [][]complex128, sigma []float64) {
	for j := range portTerms { // as if something reflected a little way in front and behind the reference plane
		if len(p.port) == j {
			p.port = append(p.port, p.profile.Profile(nil, phasor(p.frequencyHz, 0.25e-9*float64(j))).Amplitude)
		}
		columns = append(columns, p.port[j])
		sigma = append(sigma, baselineDirectivity)
	}
	// Where most of the line lies behind a fault, most of it is weaker: the
	// instrument must not account for that, however many places say so.
	firm := math.Pow(1+p.endM/p.cellM/10, 0.25)
	for j := range gainTerms {
		if j == 0 {
			columns, sigma = append(columns, base), append(sigma, baselineTracking/firm)
			continue
		}
		columns = append(columns, p.times(a, func(k int) complex128 { return complex(math.Pow(p.turn[k], float64(j)), 0) }))
		sigma = append(sigma, baselineTracking/float64(j+1)/firm)
	}
	for j := range 2 {
		columns = append(columns, p.times(a, func(k int) complex128 { return a[k] * complex(math.Pow(p.turn[k], float64(j)), 0) }))
		sigma = append(sigma, baselineSourceMatch/float64(j+1)/firm)
	}
	return columns, sigma
}

func phasor(frequencyHz []float64, delayS float64) []complex128 {
	v := make([]complex128, len(frequencyHz))
	for k, f := range frequencyHz {
		v[k] = cmplx.Rect(1, -2*math.Pi*f*delayS)
	}
	return v
}

// ridge solves min Σ w|e − Σ c_i·p_i|² + Σ |p_i|²/σ_i², the unknowns p complex,
// the last reals of them real. It works in units of σ. It returns nil where that
// cannot be solved, and the inverse of the normal matrix in these units, the
// real unknowns last.
func ridge(columns [][]complex128, sigma []float64, reals int, e []complex128, weight []float64) ([]complex128, *mat.SymDense) {
	count := len(columns)
	whole := count - reals
	size := 2*whole + reals
	a, b := mat.NewSymDense(size, nil), mat.NewVecDense(size, nil)
	place := func(i int) (re, im int) {
		if i < whole {
			return 2 * i, 2*i + 1
		}
		return whole + i, -1
	}
	columns, weight = rowsThatCount(append(columns[:count:count], e), weight)
	weighted, turned := make([]complex128, len(weight)), make([]complex128, len(weight)) // w·c_i and j·w·c_i
	for i, ci := range columns[:count] {
		ri, ii := place(i)
		for k, w := range weight {
			v := complex(w*real(ci[k]), w*imag(ci[k]))
			weighted[k], turned[k] = v, complex(-imag(v), real(v))
		}
		for j := i; j <= count; j += 4 { // of Σ w·conj(c_i)·others
			sums := dsp.ProductsOfTwo(weighted, turned, columns[j], columns[min(j+1, count)], columns[min(j+2, count)], columns[min(j+3, count)])
			for c := j; c <= min(j+3, count); c++ {
				re, im := sums[0][c-j]*sigma[i], sums[1][c-j]*sigma[i]
				if c == count {
					b.SetVec(ri, re)
					if ii >= 0 {
						b.SetVec(ii, im)
					}
					continue
				}
				re *= sigma[c]
				im *= sigma[c]
				rj, ij := place(c)
				a.SetSym(ri, rj, re)
				if ij >= 0 { // the column j·c_j
					a.SetSym(ri, ij, -im)
				}
				if ii >= 0 {
					a.SetSym(ii, rj, im)
				}
				if ii >= 0 && ij >= 0 {
					a.SetSym(ii, ij, re)
				}
			}
		}
		a.SetSym(ri, ri, a.At(ri, ri)*(1+1e-12)+1)
		if ii >= 0 {
			a.SetSym(ii, ii, a.At(ii, ii)*(1+1e-12)+1)
		}
	}
	var chol mat.Cholesky
	var solved mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&solved, b) != nil {
		return nil, nil
	}
	out := make([]complex128, count)
	for i := range out {
		re, im := place(i)
		out[i] = complex(sigma[i]*solved.AtVec(re), 0)
		if im >= 0 {
			out[i] += complex(0, sigma[i]*solved.AtVec(im))
		}
	}
	covariance := mat.NewSymDense(size, nil)
	if chol.InverseTo(covariance) != nil {
		return out, nil
	}
	return out, covariance
}

// rowsThatCount returns the rows of columns whose weight is not 0, and these weights.
func rowsThatCount(columns [][]complex128, weight []float64) ([][]complex128, []float64) {
	var rows []int
	var w []float64
	for k, v := range weight {
		if v != 0 {
			rows, w = append(rows, k), append(w, v)
		}
	}
	if len(rows) == len(weight) {
		return columns, weight
	}
	out := make([][]complex128, len(columns))
	flat := make([]complex128, len(columns)*len(rows))
	for i, c := range columns {
		out[i] = flat[i*len(rows) : (i+1)*len(rows)]
		for n, k := range rows {
			out[i][n] = c[k]
		}
	}
	return out, w
}

// variances returns what the difference of the profiles may vary by at each
// place: the noise, and share of what reflects there.
func (p *sweepPair) variances(a []complex128, share float64) []float64 {
	return p.variancesOf(envelope(a, perCell), share)
}

// variancesOf is variances where the size of what reflects around each place is
// known.
func (p *sweepPair) variancesOf(sizes []float64, share float64) []float64 {
	v := make([]float64, len(sizes))
	for i, size := range sizes {
		v[i] = p.noise + share*share*size*size
	}
	return v
}

// envelope returns the greatest magnitude within reach places.
func envelope(a []complex128, reach int) []float64 {
	size := make([]float64, len(a))
	for i, v := range a {
		size[i] = cmplx.Abs(v)
	}
	return widest(size, reach)
}

// widest returns the greatest of size within reach places. The greatest of each
// block, run forwards and backwards, gives it in linear time (M. van Herk,
// Pattern Recognition Letters 13, 1992, from memory).
func widest(size []float64, reach int) []float64 {
	n, width := len(size), 2*reach+1
	ahead, behind := make([]float64, n), make([]float64, n)
	for i := range n {
		ahead[i] = size[i]
		if i%width != 0 {
			ahead[i] = max(ahead[i-1], size[i])
		}
		j := n - 1 - i
		behind[j] = size[j]
		if j+1 < n && (j+1)%width != 0 {
			behind[j] = max(behind[j+1], size[j])
		}
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = max(behind[max(0, i-reach)], ahead[min(n-1, i+reach)])
		if i < reach || i+reach >= n { // a window that the ends cut
			for _, v := range size[max(0, i-reach):min(n, i+reach+1)] {
				out[i] = max(out[i], v)
			}
		}
	}
	return out
}

// noiseOf estimates the noise of a profile from its lower part; see
// locate's scan: what is coherent stands in few places.
func noiseOf(e []complex128) float64 {
	power := make([]float64, len(e))
	for i, v := range e {
		power[i] = real(v)*real(v) + imag(v)*imag(v)
	}
	return math.Max(1e-16, dsp.Ranked(power, len(power)*3/10)/0.3567)
}

// robustCost is minus twice the logarithm of Student's density, less a constant.
func robustCost(e []complex128, variance []float64) float64 {
	s := 0.0
	for i, v := range e {
		s += (robustNu + 2) * math.Log1p((real(v)*real(v)+imag(v)*imag(v))/(robustNu*variance[i]))
	}
	return s / perCell // neighbouring places say the same
}

func robustWeights(dst []float64, e []complex128, variance []float64) {
	for i, v := range e {
		q := (real(v)*real(v) + imag(v)*imag(v)) / variance[i]
		dst[i] = (robustNu + 2) / (robustNu + q) / variance[i] / perCell
	}
}

// stretchPrior is the cost of a change of velocity: heavy-tailed as well, since
// seasons exist.
func stretchPrior(epsilon float64) float64 {
	return 2 * math.Log1p(epsilon*epsilon/(baselineVelocitySigma*baselineVelocitySigma))
}

// align estimates ε, d and the nuisances.
func (p *sweepPair) align(ctx context.Context) (*alignment, error) {
	p.measured = p.profile.Profile(nil, p.now).Amplitude
	plain, _ := p.earlier(0, 0)
	a := &alignment{BeforeDB: rmsDB(p.now, plain)}
	starts := p.coarse(plain)
	var candidates []candidate
	noisiest := 0.0
	for i, start := range starts {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if slices.ContainsFunc(starts[:i], func(other float64) bool { return p.sameStretch(start, other) }) {
			continue
		}
		c := p.refine(start, candidates)
		if c.aligned == nil {
			continue
		}
		candidates = append(candidates, c)
		noisiest = math.Max(noisiest, c.noise)
	}
	if len(candidates) == 0 {
		return nil, errors.New("the two sweeps cannot be aligned")
	}
	// All are held to one noise: a stretch beyond the band's end adds some.
	p.noise = noisiest
	best := math.Inf(1)
	var least candidate
	for _, c := range candidates {
		if cost := c.cost + robustCost(c.left, p.variances(c.columns[0], witness)); cost < best {
			best, least = cost, c
		}
	}
	p.take(least)
	if hits := p.spikes(); hits > 0 { // once more without what is not of the line
		p.measured = p.profile.Profile(nil, p.now).Amplitude
		least = p.refine(p.epsilon, nil)
		p.take(least)
	}
	a.Velocity, a.VelocitySigma = 1/(1+p.epsilon)-1, least.sigma
	a.PlaneM = p.shiftS * cables.SpeedOfLight / 2
	a.GainDB = 20 * math.Log10(cmplx.Abs(1+p.nuisances[3]+p.nuisances[5]/3))
	a.AfterDB = rmsDB(p.now, p.predicted())
	return a, nil
}

func (p *sweepPair) take(c candidate) {
	p.epsilon, p.shiftS, p.aligned, p.noise = c.epsilon, c.shiftS, c.aligned, c.noise
	p.nuisances, p.columns, p.sigmas = c.nuisances, c.columns, c.sigmas
}

// predicted is the aligned earlier sweep with the nuisances.
func (p *sweepPair) predicted() []complex128 {
	out := make([]complex128, len(p.now))
	for k, f := range p.frequencyHz {
		u := complex(p.turn[k], 0)
		v := p.aligned[k]
		for j := range 3 {
			out[k] += p.nuisances[j] * cmplx.Rect(1, -2*math.Pi*f*0.25e-9*float64(j))
		}
		out[k] += v*(1+p.nuisances[3]+u*(p.nuisances[4]+u*p.nuisances[5])) + v*v*(p.nuisances[6]+u*p.nuisances[7])
	}
	return out
}

// spikes replaces single points that stand out of the difference by what the
// alignment expects there: a transmitter on the air, in either sweep.
func (p *sweepPair) spikes() int {
	model := p.predicted()
	n := len(p.now)
	jump := make([]float64, n)
	for k := 1; k+1 < n; k++ {
		e := func(k int) complex128 { return p.now[k] - model[k] }
		jump[k] = cmplx.Abs(e(k) - (e(k-1)+e(k+1))/2)
	}
	sorted := append([]float64(nil), jump...)
	sort.Float64s(sorted)
	limit, hits := 8*sorted[n/2], 0
	for k := 1; k+1 < n; k++ {
		if jump[k] > limit && jump[k] >= jump[k-1] && jump[k] >= jump[k+1] {
			p.now[k] = model[k]
			hits++
		}
	}
	if hits > n/10 {
		return 0 // not spikes, then
	}
	return hits
}

func rmsDB(a, b []complex128) float64 {
	s := 0.0
	for k := range a {
		d := a[k] - b[k]
		s += real(d)*real(d) + imag(d)*imag(d)
	}
	return 10 * math.Log10(s/float64(len(a))+1e-20)
}

// carrier is the phase 2·Im Θ of the middle of the band along the line.
type carrier struct {
	path *cables.Path
	beta []float64 // per span: 2·Im γ
	at   []float64 // per span: the phase where it starts
}

func newCarrier(path *cables.Path, frequencyHz float64) *carrier {
	c := &carrier{path: path}
	sum := 0.0
	for _, span := range path.Spans {
		gamma, _ := span.Medium.Wave(frequencyHz)
		c.beta = append(c.beta, 2*imag(gamma))
		c.at = append(c.at, sum)
		sum += 2 * imag(gamma) * span.LengthM
	}
	return c
}

func (c *carrier) phase(x float64) float64 {
	i := c.path.SpanAt(x)
	return c.at[i] + c.beta[i]*(x-c.path.Spans[i].StartM)
}

// demodulated is a profile without its carrier, for reading between its places.
type demodulated struct {
	carrier *carrier
	from    float64
	step    float64
	value   []complex128
}

// demodulate takes the carrier out of a profile whose places are as far apart
// as those of p.
func (p *sweepPair) demodulate(profile []complex128) *demodulated {
	d := &demodulated{carrier: p.carrier, from: p.x[0], step: p.x[1] - p.x[0], value: make([]complex128, len(profile))}
	for i, v := range profile {
		d.value[i] = v * cmplx.Rect(1, -p.carrier.phase(d.from+d.step*float64(i)))
	}
	return d
}

// readingOrder is over how many places a profile is read.
const readingOrder = 6

// reading is how a profile is read at a place: the same for all whose places
// are the same.
type reading struct {
	first  int
	weight [readingOrder]float64
	turn   complex128
}

// reading is how d is read at x, by Lagrange's formula; ok is false beyond its
// ends.
func (d *demodulated) reading(x float64) (r reading, ok bool) {
	t := (x - d.from) / d.step
	r.first = min(max(0, int(math.Floor(t))-readingOrder/2+1), len(d.value)-readingOrder)
	if t < 0 || t > float64(len(d.value)-1) {
		return r, false
	}
	// Π (t − j) over the places before and behind each, over Π (i − j).
	below := [readingOrder]float64{-120, 24, -12, 12, -24, 120}
	ahead, behind := [readingOrder]float64{1}, 1.0
	u := t - float64(r.first)
	for i := 1; i < readingOrder; i++ {
		ahead[i] = ahead[i-1] * (u - float64(i-1))
	}
	for i := readingOrder - 1; i >= 0; i-- {
		r.weight[i] = ahead[i] * behind / below[i]
		behind *= u - float64(i)
	}
	r.turn = cmplx.Rect(1, d.carrier.phase(x))
	return r, true
}

// read reads d so.
func (d *demodulated) read(r *reading) complex128 {
	var re, im float64
	for i, v := range d.value[r.first : r.first+readingOrder] {
		re += r.weight[i] * real(v)
		im += r.weight[i] * imag(v)
	}
	return complex(re, im) * r.turn
}

// at reads at x; 0 beyond the ends.
func (d *demodulated) at(x float64) complex128 {
	r, ok := d.reading(x)
	if !ok {
		return 0
	}
	return d.read(&r)
}

// coarse looks for starts of ε over its whole range, far finer than a turn of
// the far end's phase: the profile of the earlier sweep is read at stretched
// places.
func (p *sweepPair) coarse(plain []complex128) []float64 {
	base := p.profile.Profile(nil, plain).Amplitude
	read := p.demodulate(base)
	// Side lobes far from where they come from turn as the place is read that
	// is stretched, which the line does not: they count as noise here.
	most := 0.0
	for _, v := range base {
		most = math.Max(most, cmplx.Abs(v))
	}
	p.noise = noiseOf(p.measured) + 4e-6*most*most
	variance := p.variances(base, 0.3)
	top := p.frequencyHz[len(p.frequencyHz)-1]
	turns := 2 * imag(p.path.Theta(top, p.endM))
	step := math.Max(1e-5, 0.2/turns)
	type trial struct{ epsilon, cost float64 }
	var trials []trial
	var e []complex128
	var some []float64
	for i := -math.Ceil(baselineVelocityMost / step); i <= math.Ceil(baselineVelocityMost/step); i++ {
		epsilon := i * step
		e, some = e[:0], some[:0]
		for n := 0; n < len(p.x); n += perCell / 2 {
			x := p.x[n]
			far := p.path.ElectricalM(x)
			from := p.path.PhysicalM(far - epsilon*math.Max(0, math.Min(far, p.endS*cables.SpeedOfLight/2)))
			e = append(e, p.measured[n]-read.at(from))
			some = append(some, variance[min(len(variance)-1, max(0, int(math.Round((from-read.from)/read.step))))])
		}
		trials = append(trials, trial{epsilon, 2*robustCost(e, some)*perCell/2 + stretchPrior(epsilon)})
	}
	starts := []float64{0}
	var minima []trial
	for i, t := range trials {
		lowest := true
		for _, other := range trials[max(0, i-3):min(len(trials), i+4)] {
			lowest = lowest && t.cost <= other.cost
		}
		if lowest {
			minima = append(minima, t)
		}
	}
	sort.SliceStable(minima, func(i, j int) bool { return minima[i].cost < minima[j].cost })
	for _, t := range minima[:min(len(minima), mostStarts-1)] {
		starts = append(starts, t.epsilon)
	}
	return starts
}

// candidate is an alignment that a start led to.
type candidate struct {
	cost, epsilon, shiftS, sigma, noise float64 // cost of the unknowns alone
	left                                []complex128
	aligned                             []complex128
	nuisances                           []complex128
	columns                             [][]complex128 // the aligned sweep's, then those of the unknowns, ε and d last
	sigmas                              []float64
}

// sameStretch says whether two ε turn the far end by the same at the top of the
// band, to within a hundredth of a radian.
func (p *sweepPair) sameStretch(a, b float64) bool {
	return math.Abs(a-b)*2*math.Pi*p.frequencyHz[len(p.frequencyHz)-1]*p.endS < 0.01
}

// refine fits all of the alignment from a start of ε. It gives up, its aligned nil,
// where it comes to what has been found already.
func (p *sweepPair) refine(epsilon float64, found []candidate) candidate {
	c := candidate{cost: math.Inf(1), epsilon: epsilon}
	e := make([]complex128, len(p.x))
	weight := make([]float64, len(p.x))
	nuisances := []complex128(nil)
	shiftS := 0.0
	share := 0.3 // first all may differ much, lest what is a little off counts as changed
	for range 9 {
		share = math.Max(witness, 0.4*share)
		a, slope := p.earlier(epsilon, shiftS)
		base := p.profile.Profile(nil, a).Amplitude
		sizes := envelope(base, perCell)
		columns, sigma := p.nuisanceColumns(a, base)
		whole := len(columns)
		columns = append(columns, p.profile.Profile(nil, slope).Amplitude, p.delayed(base, columns[portTerms+1]))
		sigma = append(sigma, baselineVelocitySigma, baselinePlaneSigmaS)
		if nuisances == nil {
			nuisances = make([]complex128, whole)
		}
		solved := append(append([]complex128(nil), nuisances...), 0, 0)
		left, rest := make([]complex128, len(e)), make([]complex128, len(e))
		for i, v := range base {
			left[i] = p.measured[i] - v
			// Expanded around today's ε and d, their prior's mean is −ε, −d: the steps of
			// ε and d are held to it as a whole, not each, and the right side carries what
			// has gone before.
			rest[i] = left[i] + (complex(epsilon, 0)*columns[whole][i] + complex(shiftS, 0)*columns[whole+1][i])
		}
		var covariance *mat.SymDense
		for range 4 {
			subtract(e, left, columns, solved)
			p.noise = noiseOf(e)
			robustWeights(weight, e, p.variancesOf(sizes, share))
			next, cov := ridge(columns, sigma, 2, rest, weight)
			if next == nil {
				return c
			}
			covariance = cov
			next[whole] -= complex(epsilon, 0)
			next[whole+1] -= complex(shiftS, 0)
			copy(solved, next)
		}
		subtract(e, left, columns, solved)
		cost := stretchPrior(epsilon) + shiftS*shiftS/(baselinePlaneSigmaS*baselinePlaneSigmaS)
		for j, q := range solved[:whole] {
			cost += (real(q)*real(q) + imag(q)*imag(q)) / (sigma[j] * sigma[j])
		}
		nuisances = append(nuisances[:0:0], solved[:whole]...)
		if share == witness {
			c.left = append(c.left[:0], e...)
			c.cost, c.epsilon, c.shiftS, c.noise = cost, epsilon, shiftS, p.noise
			c.aligned, c.columns, c.sigmas = a, append([][]complex128{base}, columns...), sigma
			c.nuisances = nuisances
			if covariance != nil {
				c.sigma = baselineVelocitySigma * math.Sqrt(covariance.At(2*whole, 2*whole))
			}
		}
		stepE, stepD := real(solved[whole]), real(solved[whole+1])
		top := 2 * math.Pi * p.frequencyHz[len(p.frequencyHz)-1]
		limit := 1 / (top * p.endS)
		stepE = math.Max(-limit, math.Min(limit, stepE))
		stepD = math.Max(-1/top, math.Min(1/top, stepD))
		epsilon += stepE
		shiftS += stepD
		if share == witness && slices.ContainsFunc(found, func(o candidate) bool {
			return p.sameStretch(epsilon, o.epsilon) && math.Abs(shiftS-o.shiftS)*top < 0.01
		}) {
			return candidate{}
		}
		if share == witness && math.Abs(stepE)*top*p.endS < 1e-4 && math.Abs(stepD)*top < 1e-4 {
			break
		}
	}
	return c
}
