package diagnose

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

// How a line differs from its record. Many lines are just as recorded, to
// within asExact; of the others each section is off, in velocity by a share of
// the tolerance of its cable, in length by a share of recordLengthSigma, the
// same share along the line but drawn for every section by itself. Common practice, no
// source: makers keep well within the tolerance they state, and lengths are
// taped, or read from a drum.
const (
	velocityOff  = 0.5    // share of the lines whose cables are off in velocity,
	lengthOff    = 1. / 3 // and in length
	asExactShare = 2e-5   // of length and velocity, and
	asExactM     = 0.0005 // of a section's length: what "as recorded" leaves
	connectorM   = 0.001  // where in a joint its reflection arises
	weakStray    = 0.3    // share of the sound joints that are taken for something else beside them,
	strayCells   = 0.25   // so far from them
	mostStrays   = 5      // joints that are doubted
	planeSigmaM  = 0.0005 // the reference plane that a calibration leaves
)

// offShare is a share of its tolerance that a line may be off by, and how many of
// those that are off at all are so.
type offShare struct{ share, odds float64 }

func offShares() []offShare { return []offShare{{0.25, 0.4}, {0.5, 0.4}, {1, 0.2}} }

// asBuilt is what a sweep and the record together tell of where things are on
// the line as it was built. The unknowns, all small and independent beforehand,
// are of every section how much longer (λ) it is and how much faster (υ) the
// wave goes than by the record, of every joint where in it it reflects, the
// reference plane π, and of every fault that is at no joint its place:
//
//	joint k seems to be at    x_k + Σ L_i·(λ_i − υ_i) + ε_k + π     sections i in front of it
//	and is at                 x_k + Σ L_i·λ_i + ε_k
//	a place that seems at X   is at X + Σ L_i·υ_i − π
//
// to first order. What the sweep tells of the seeming places
// (linemodel.Fit.PlaceInformation) makes the posterior of each way of being off a normal
// distribution, and weighs the ways by their evidence: R. E. Kass, A. E. Raftery, "Bayes
// factors", J. Am. Stat. Assoc. 90(430), 1995, doi:10.1080/01621459.1995.10476572
// (from memory). Delay alone fixes length over velocity: where what lies behind a fault
// comes late, it is off in one of the two, and in the first case the place stays and in
// the second it does not. The distribution says so.
type asBuilt struct {
	path   *cables.Path
	joints []float64
	points []*linemodel.Point
	roles  []int // the joint that a point is at
	ways   []wayOff
}

// wayOff is one way of being off, z the unknowns over their deviations.
type wayOff struct {
	weight    float64
	deviation []float64
	mean      *mat.VecDense
	chol      *mat.Cholesky // of the precision of z
}

// The unknowns in their order: λ and υ of every section, the plane, then ε of
// every point.
func (a *asBuilt) lengthOf(span int) int   { return span }
func (a *asBuilt) velocityOf(span int) int { return len(a.path.Spans) + span }
func (a *asBuilt) plane() int              { return 2 * len(a.path.Spans) }
func (a *asBuilt) ownOf(point int) int     { return 2*len(a.path.Spans) + 1 + point }
func (a *asBuilt) unknowns() int           { return 2*len(a.path.Spans) + 1 + len(a.points) }

// inside is how much of span lies in front of x.
func (a *asBuilt) inside(span int, x float64) float64 {
	s := &a.path.Spans[span]
	in := math.Max(0, x-s.StartM)
	if span+1 < len(a.path.Spans) {
		in = math.Min(in, s.LengthM)
	}
	return in
}

// newAsBuilt weighs the ways in which the line may be off. roles gives the
// points of the fit that are at a joint, and which; of these sound are joints that
// nothing but the record speaks of. clutter is the variance of one point of the
// sweep as the place of a point feels it.
func newAsBuilt(fit *linemodel.Fit, path *cables.Path, roles map[*linemodel.Point]int, sound map[*linemodel.Point]bool, clutter func(p *linemodel.Point) float64) *asBuilt {
	a := &asBuilt{path: path, joints: path.JointsM()}
	for _, p := range fit.Points { // in the order of the line
		if role, ok := roles[p]; ok {
			a.points, a.roles = append(a.points, p), append(a.roles, role)
		}
	}
	var doubted []int
	variance := make([]float64, len(a.points))
	for i, p := range a.points {
		variance[i] = clutter(p)
		if !sound[p] {
			continue
		}
		variance[i] *= temper // what is left beside a weak reflection looks like it
		if len(doubted) < mostStrays {
			doubted = append(doubted, i)
		}
	}
	precision, pull, ok := fit.PlaceInformation(a.points, fit.Noise)
	if !ok { // nothing but the record
		precision, pull = mat.NewSymDense(max(1, len(a.points)), nil), mat.NewVecDense(max(1, len(a.points)), nil)
	}
	variance = together(precision, variance)
	for i, v := range variance {
		pull.SetVec(i, pull.AtVec(i)*fit.Noise/v)
		for j := range i + 1 {
			precision.SetSym(i, j, precision.At(i, j)*fit.Noise/math.Sqrt(v*variance[j]))
		}
	}
	n := a.unknowns()
	seeming := mat.NewDense(max(1, len(a.points)), n, nil)
	offset := mat.NewVecDense(max(1, len(a.points)), nil)
	for i, p := range a.points {
		k := a.roles[i]
		offset.SetVec(i, a.joints[k]-p.X)
		seeming.Set(i, a.ownOf(i), 1)
		seeming.Set(i, a.plane(), 1)
		for s := range k {
			seeming.Set(i, a.lengthOf(s), path.Spans[s].LengthM)
			seeming.Set(i, a.velocityOf(s), -path.Spans[s].LengthM)
		}
	}
	var left, told mat.VecDense
	left.MulVec(precision, offset)
	left.SubVec(pull, &left)
	told.MulVec(seeming.T(), &left)
	var half, information mat.Dense
	half.Mul(precision, seeming)
	information.Mul(seeming.T(), &half)
	shares := append([]offShare{{}}, offShares()...)
	prior := func(s offShare, off float64) float64 {
		if s.share == 0 {
			return math.Log(1 - off)
		}
		return math.Log(off * s.odds)
	}
	best := math.Inf(-1)
	var evidence []float64
	weigh := func(deviation []float64, logPrior float64) {
		w := wayOff{deviation: deviation}
		m, right := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		for i, d := range w.deviation {
			right.SetVec(i, d*told.AtVec(i))
			for j := range i + 1 {
				m.SetSym(i, j, d*w.deviation[j]*information.At(i, j))
			}
			m.SetSym(i, i, m.At(i, i)+1)
		}
		w.chol, w.mean = &mat.Cholesky{}, mat.NewVecDense(n, nil)
		if !w.chol.Factorize(m) || w.chol.SolveVecTo(w.mean, right) != nil {
			return
		}
		e := logPrior - w.chol.LogDet()/2 + mat.Dot(w.mean, right)/2
		a.ways, evidence = append(a.ways, w), append(evidence, e)
		best = math.Max(best, e)
	}
	for _, velocity := range shares {
		for _, length := range shares {
			for stray := range 1 << len(doubted) {
				deviation := a.deviations(fit, velocity.share, length.share)
				logPrior := prior(velocity, velocityOff) + prior(length, lengthOff)
				for bit, i := range doubted {
					if stray&(1<<bit) == 0 {
						logPrior += math.Log(1 - weakStray)
						continue
					}
					logPrior += math.Log(weakStray)
					deviation[a.ownOf(i)] = strayCells * fit.Cell(a.points[i].X)
				}
				weigh(deviation, logPrior)
			}
		}
	}
	total := 0.0
	for i := range a.ways {
		a.ways[i].weight = math.Exp(evidence[i] - best)
		total += a.ways[i].weight
	}
	for i := range a.ways {
		a.ways[i].weight /= total
	}
	return a
}

// togetherFrom is the correlation from which two places err together.
const togetherFrom = 0.3

// together gives places that err together the same variance, the largest.
func together(precision *mat.SymDense, variance []float64) []float64 {
	out := append([]float64(nil), variance...)
	for range variance {
		for i := range out {
			for j := range i {
				if math.Abs(precision.At(i, j)) > togetherFrom*math.Sqrt(precision.At(i, i)*precision.At(j, j)) {
					out[i] = math.Max(out[i], out[j])
					out[j] = out[i]
				}
			}
		}
	}
	return out
}

// deviations are what each unknown is known to beforehand, the line off by so
// many of its tolerances in velocity and in length.
func (a *asBuilt) deviations(fit *linemodel.Fit, velocity, length float64) []float64 {
	out := make([]float64, a.unknowns())
	for s := range a.path.Spans {
		span := &a.path.Spans[s]
		out[a.lengthOf(s)] = math.Hypot(asExactM/span.LengthM, asExactShare)
		if span.Cable == nil {
			continue
		}
		// The inner inductance of the conductors slows the wave in proportion to their
		// loss, which is as uncertain as loss is.
		slowed := lossRecordSigma * span.Medium.AttenuationNp(fit.MiddleHz) / fit.Beta0[s]
		out[a.lengthOf(s)] = math.Hypot(out[a.lengthOf(s)], length*recordLengthSigma)
		out[a.velocityOf(s)] = math.Hypot(math.Hypot(slowed, asExactShare), velocity*span.VelocityTolerance)
	}
	out[a.plane()] = planeSigmaM
	for i, p := range a.points {
		out[a.ownOf(i)] = connectorM
		if fit.RMS(p) > totalLeast { // its own joint's reactance makes it seem farther out
			out[a.ownOf(i)] += jointRisingSigma / fit.Beta0[fit.SpanAt(p.X)] * fit.MiddleHz / 1e9
		}
	}
	return out
}

// place is where something is on the line as built, m, and one standard
// deviation of that.
type place struct{ mean, sigma float64 }

// weigh is the distribution of from + g·unknowns.
func (a *asBuilt) weigh(from float64, g []float64) place {
	scaled, solved := mat.NewVecDense(len(g), nil), mat.NewVecDense(len(g), nil)
	first, second := 0.0, 0.0
	var parts []normal
	for i := range a.ways {
		w := &a.ways[i]
		for j, v := range g {
			scaled.SetVec(j, v*w.deviation[j])
		}
		if w.chol.SolveVecTo(solved, scaled) != nil {
			continue
		}
		mean := mat.Dot(scaled, w.mean)
		first += w.weight * mean
		variance := mat.Dot(scaled, solved)
		second += w.weight * (mean*mean + variance)
		parts = append(parts, normal{w.weight, mean, math.Sqrt(math.Max(0, variance))})
	}
	deviation := math.Sqrt(math.Max(0, second-first*first))
	return place{from + first, math.Max(deviation, within(parts, first)/2)}
}

// normal is one of several normal distributions of which one holds, with the probability weight.
type normal struct{ weight, mean, sigma float64 }

// twoSigmas is the share of a normal distribution within two standard deviations of its mean.
const twoSigmas = 0.9545

// within is how far from x as much of parts lies as of one normal distribution within two of its standard deviations.
func within(parts []normal, x float64) float64 {
	holds := func(reach float64) float64 {
		sum, total := 0.0, 0.0
		for _, p := range parts {
			if total += p.weight; p.sigma > 0 {
				sum += p.weight / 2 * (math.Erf((x+reach-p.mean)/p.sigma/math.Sqrt2) - math.Erf((x-reach-p.mean)/p.sigma/math.Sqrt2))
			} else if math.Abs(p.mean-x) <= reach {
				sum += p.weight
			}
		}
		return sum - twoSigmas*total
	}
	low, high := 0.0, 0.0
	for _, p := range parts {
		high = math.Max(high, math.Abs(p.mean-x)+3*p.sigma)
	}
	for range 50 {
		if middle := (low + high) / 2; holds(middle) < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// seeming is where that is which seems to be at x.
func (a *asBuilt) seeming(x float64) place {
	g := make([]float64, a.unknowns())
	a.addVelocities(g, x)
	return a.weigh(x, g)
}

func (a *asBuilt) addVelocities(g []float64, x float64) {
	g[a.plane()]--
	for s := range a.path.Spans {
		g[a.velocityOf(s)] += a.inside(s, x)
	}
}

// joint is where joint k of the record is.
func (a *asBuilt) joint(k int) place {
	g := make([]float64, a.unknowns())
	for s := range k {
		g[a.lengthOf(s)] = a.path.Spans[s].LengthM
	}
	return a.weigh(a.joints[k], g)
}

// of is where point p is; ok is false where it is not at a joint.
func (a *asBuilt) of(p *linemodel.Point) (at place, ok bool) {
	for i, q := range a.points {
		if q == p {
			g := make([]float64, a.unknowns())
			g[a.ownOf(i)] = 1
			for s := range a.roles[i] {
				g[a.lengthOf(s)] = a.path.Spans[s].LengthM
			}
			return a.weigh(a.joints[a.roles[i]], g), true
		}
	}
	return place{}, false
}
