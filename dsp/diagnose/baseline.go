package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"
)

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
