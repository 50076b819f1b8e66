package diagnose

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"downlead/cables"

	"gonum.org/v1/gonum/mat"
)

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
