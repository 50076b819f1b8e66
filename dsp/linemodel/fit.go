package linemodel

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"downlead/cables"
	"downlead/dsp"
)

// Fit is a model against a measured sweep. Its cost is
//
//	Σ w·|measured − model|² + Unit·(−log of the priors),
//
// so that cost over Noise is minus the logarithm of the posterior where w is 1.
// With Unit above Noise the sweep counts for less than its noise allows, and
// cost over Unit is that logarithm.
type Fit struct {
	Model
	Measured []complex128
	Weight   []float64 // of the squared residual, per frequency; 0 leaves a point out
	CellM    []float64 // per span: c·VF/(2·bandwidth)
	Noise    float64   // variance of one point of the sweep, |Γ|²
	Unit     float64   // cost of one natural unit of improbability; 0: Noise
	Links    []Link
	Tracked  bool // the port's tracking is fitted as its other errors are
	Patient  bool // steps are tried shorter before a fit ends
	Residual []complex128
	Cost     float64
	// Ended is asked before every evaluation and every step whether the work is
	// wanted no more; from then on neither does anything, and what the fit holds
	// is of no use. nil: never.
	Ended func() bool

	scratch     [][]complex128  // columns of J
	rows        [2][]complex128 // of it, weighted
	stepper     stepper
	held        []bool      // of a step: what is at a bound
	elimination elimination // of a step
	loadAlone   elimination // of the load by itself, also between the tries of a step
}

// Link is what is known of the way between two points, or, A nil, from the
// test port to B: normally distributed around LengthM.
type Link struct {
	A, B            *Point
	LengthM, SigmaM float64
}

func (l Link) excess() float64 {
	from := 0.0
	if l.A != nil {
		from = l.A.X
	}
	return (l.B.X - from - l.LengthM) / l.SigmaM
}

// NewFit returns a fit of the bare path to measured at frequencyHz; all points
// weigh the same.
func NewFit(path *cables.Path, frequencyHz []float64, measured []complex128) *Fit {
	n := len(frequencyHz)
	p := &Fit{Model: New(path, frequencyHz), Measured: measured, Weight: make([]float64, n), Residual: make([]complex128, n)}
	for k := range p.Weight {
		p.Weight[k] = 1
	}
	band := frequencyHz[n-1] - frequencyHz[0]
	for _, span := range path.Spans {
		p.CellM = append(p.CellM, cables.SpeedOfLight*span.Medium.VelocityFactor/(2*band))
	}
	return p
}

// Cell returns the resolution cell at x, m.
func (p *Fit) Cell(x float64) float64 { return p.CellM[p.SpanAt(x)] }

// Over says whether the work is wanted no more.
func (p *Fit) Over() bool { return p.Ended != nil && p.Ended() }

// Evaluate runs the model and computes the residual and the cost.
func (p *Fit) Evaluate() {
	if p.Over() {
		return
	}
	p.inward()
	cost := 0.0
	for k, s := range p.Measured {
		e := s - p.Sum[k]
		p.Residual[k] = e
		cost += p.Weight[k] * (real(e)*real(e) + imag(e)*imag(e))
	}
	p.Cost = cost + p.priorCost()
}

func (p *Fit) priorCost() float64 {
	unit := p.unit()
	cost := 0.0
	for i, terms := range p.Port {
		for term, c := range terms[:p.terms] {
			sigma := p.portSigma(i, term)
			cost += (real(c)*real(c) + imag(c)*imag(c)) * unit / (sigma * sigma)
		}
	}
	for _, q := range p.Points {
		for c, prior := range q.Prior {
			if prior.Sigma > 0 {
				u := (*q.quantity(c) - prior.Mean) / prior.Sigma
				cost += unit / 2 * u * u
			}
		}
	}
	for _, q := range p.Points {
		for c := range q.Inside {
			u := q.Inside[c] / q.InsideSigma
			cost += unit / 2 * u * u
		}
	}
	for _, l := range p.Links {
		u := l.excess()
		cost += unit / 2 * u * u
	}
	if p.Load != nil {
		for _, c := range p.Load.Taps {
			cost += p.Load.ridge * (real(c)*real(c) + imag(c)*imag(c))
		}
	}
	return cost
}

// unit is the cost of one natural unit of improbability.
func (p *Fit) unit() float64 { return math.Max(math.Max(p.Unit, p.Noise), 1e-12) }

// quantity returns the fitted quantity c of the point; those behind the last of
// the list are Inside.
func (q *Point) quantity(c int) *float64 {
	if c >= quantities {
		return &q.Inside[c-quantities]
	}
	switch c {
	case ByFlat:
		return &q.Flat
	case ByRising:
		return &q.Rising
	case ByFalling:
		return &q.Falling
	case ByExtent:
		return &q.Extent
	case ByDrop:
		if q.Form == Foreign {
			return &q.Ratio
		}
		return &q.Drop
	case ByTangent:
		if q.Form == Foreign {
			return &q.LossScale
		}
		return &q.Tangent
	case ByTaper:
		return &q.Taper
	case ByShift:
		return &q.Shift
	default:
		return &q.X
	}
}

// prior is what is known beforehand of quantity c.
func (q *Point) prior(c int) Prior {
	if c >= quantities {
		return Prior{Sigma: q.InsideSigma}
	}
	return q.Prior[c]
}

// parameter is one fitted quantity: of a point, or (point nil) of the port,
// quantity counting error, term, and real or imaginary part.
type parameter struct {
	point    *Point
	quantity int
}

func (q parameter) portTerm() (which, term int, unit complex128) {
	unit = 1
	if q.quantity%2 == 1 {
		unit = 1i
	}
	return q.quantity / 2 / portTerms, q.quantity / 2 % portTerms, unit
}

func (p *Fit) parameters(points []*Point, port bool) []parameter {
	var list []parameter
	for _, q := range points {
		for c, on := range q.Fits {
			if on {
				list = append(list, parameter{q, c})
			}
		}
		if q.FitsInside {
			for c := range q.Inside {
				list = append(list, parameter{q, quantities + c})
			}
		}
	}
	if port {
		errors := portErrors
		if !p.Tracked {
			errors = Tracking
		}
		for which := range errors {
			for c := range 2 * p.terms {
				list = append(list, parameter{nil, 2*portTerms*which + c})
			}
		}
	}
	return list
}

// jacobian fills scratch with the columns of list.
func (p *Fit) jacobian(list []parameter) {
	for len(p.scratch) < len(list) {
		p.scratch = append(p.scratch, make([]complex128, len(p.Measured)))
	}
	p.gainsOf(list)
	var flat []complex128 // of the point that is at hand
	for c, item := range list {
		dst := p.scratch[c]
		if item.point == nil {
			p.portDerivative(dst, c, item)
			continue
		}
		if c == 0 || list[c-1].point != item.point {
			flat = nil
		}
		p.derivative(dst, item.point, item.quantity, flat)
		if item.quantity == ByFlat {
			flat = dst
		}
	}
}

// gram returns Re(JᴴWJ) and Re(JᴴWr) of the first count columns of scratch.
func (p *Fit) gram(count int, weight []float64) (*mat.SymDense, *mat.VecDense) {
	a, b := mat.NewSymDense(count, nil), mat.NewVecDense(count, nil)
	for i := 0; i < count; i += 2 { // two rows at a time, for which every column is read once
		end := min(i+2, count)
		column := func(j int) []complex128 { // the residual is the one behind those of these rows
			if j >= end {
				return p.Residual
			}
			return p.scratch[j]
		}
		rows := p.rows[:end-i]
		for r := range rows {
			if rows[r] == nil {
				rows[r] = make([]complex128, len(p.Measured))
			}
			dsp.Weigh(rows[r], p.scratch[i+r], weight)
		}
		for j := 0; j <= end; j += 4 {
			sums := dsp.ProductsOfTwo(rows[0], rows[len(rows)-1], column(j), column(j+1), column(j+2), column(j+3))
			for r := range rows {
				for c := j; c <= min(j+3, i+r); c++ {
					a.SetSym(i+r, c, sums[r][c-j])
				}
				if j+3 >= end {
					b.SetVec(i+r, sums[r][end-j])
				}
			}
		}
	}
	return a, b
}

// addPriors adds the priors to the normal equations.
func (p *Fit) addPriors(list []parameter, a *mat.SymDense, b *mat.VecDense) {
	p.addOwnPriors(list, 0, a, b)
	p.addLinks(list, a, b)
}

// addOwnPriors adds those of single quantities, from that index on.
func (p *Fit) addOwnPriors(list []parameter, from int, a *mat.SymDense, b *mat.VecDense) {
	unit := p.unit()
	for c := from; c < len(list); c++ {
		item := list[c]
		if item.point == nil {
			which, term, _ := item.portTerm()
			v := real(p.Port[which][term])
			if item.quantity%2 == 1 {
				v = imag(p.Port[which][term])
			}
			sigma := p.portSigma(which, term)
			precision := unit / (sigma * sigma)
			a.SetSym(c, c, a.At(c, c)+precision)
			b.SetVec(c, b.AtVec(c)-v*precision)
			continue
		}
		if prior := item.point.prior(item.quantity); prior.Sigma > 0 {
			precision := unit / 2 / (prior.Sigma * prior.Sigma)
			a.SetSym(c, c, a.At(c, c)+precision)
			b.SetVec(c, b.AtVec(c)-(*item.point.quantity(item.quantity)-prior.Mean)*precision)
		}
	}
}

// addLinks adds what is known of the ways between points.
func (p *Fit) addLinks(list []parameter, a *mat.SymDense, b *mat.VecDense) {
	unit := p.unit()
	place := make(map[*Point]int, len(list))
	for c, item := range list {
		if item.point != nil && item.quantity == ByPlace {
			place[item.point] = c
		}
	}
	for _, l := range p.Links {
		precision, pull := unit/2/(l.SigmaM*l.SigmaM), unit/2*l.excess()/l.SigmaM
		i, hasA := place[l.A]
		j, hasB := place[l.B]
		if hasA {
			a.SetSym(i, i, a.At(i, i)+precision)
			b.SetVec(i, b.AtVec(i)+pull)
		}
		if hasB {
			a.SetSym(j, j, a.At(j, j)+precision)
			b.SetVec(j, b.AtVec(j)-pull)
		}
		if hasA && hasB {
			a.SetSym(i, j, a.At(i, j)-precision)
		}
	}
}

// Refine fits the given points, with port the instrument's errors, and with
// load the load, all else held, by at most steps damped Gauss-Newton steps. The
// model must be, and is afterwards, evaluated.
func (p *Fit) Refine(points []*Point, port, load bool, steps int) {
	list := p.parameters(points, port)
	load = load && p.Load != nil
	if len(list) == 0 {
		if load {
			p.FitLoad()
		}
		return
	}
	damping := 1e-4
	for range steps {
		if p.Over() {
			return
		}
		p.jacobian(list)
		a, b := p.gram(len(list), p.Weight)
		var taps *elimination
		if load {
			taps = p.eliminate(&p.elimination, list, a, b)
		}
		p.addPriors(list, a, b)
		before := p.Save()
		for try := 0; ; try++ {
			if try == mostTries || try == fewTries && !p.Patient {
				p.resample(list)
				p.Evaluate()
				return
			}
			if d, ok := p.inside(list, a, b, damping); ok {
				p.apply(list, d)
				if load {
					taps.apply(p.Load, d)
				}
				p.Evaluate()
				if load && !(p.Cost < before.Cost) {
					// What the taps were to do was right to first order alone: a strong echo that comes
					// a little later is far more than its first order.
					p.FitLoad()
				}
				if p.Cost < before.Cost {
					damping /= 10
					break
				}
				p.revert(before, false) // apply samples anew
			}
			damping = math.Max(damping*20, 1e-3)
		}
		if before.Cost-p.Cost < 1e-4*p.Cost {
			return
		}
	}
}

// resample computes anew what is sampled of the points in list.
func (p *Fit) resample(list []parameter) {
	for c, item := range list {
		if q := item.point; q != nil && (c+1 == len(list) || list[c+1].point != q) {
			p.Move(q)
			p.Sample(q)
		}
	}
}

// How often a step is taken again, each time damped more. With few a fit stays where it is when many places depend
// on one another through phases, where a shorter step would have led on.
const (
	fewTries  = 4
	mostTries = 6
)

// RMS is the rms of the point's local reflection, in the fit's weighting.
func (p *Fit) RMS(q *Point) float64 {
	sum, total := 0.0, 0.0
	for k, r := range q.Reflect {
		sum += p.Weight[k] * (real(r)*real(r) + imag(r)*imag(r))
		total += p.Weight[k]
	}
	return math.Sqrt(sum / total)
}

// ResidualRMS is the weighted rms of the residual.
func (p *Fit) ResidualRMS() float64 {
	sum, total := 0.0, 0.0
	for k, w := range p.Weight {
		a := cmplx.Abs(p.Residual[k])
		sum += w * a * a
		total += w
	}
	return math.Sqrt(sum / total)
}

// OccamInside returns how many natural units the places inside q cost: of each, the logarithm of how much
// narrower the sweep makes what was known of it, the others and all else held. With it a stretch with places
// inside is compared with one without (D. J. C. MacKay, "Information Theory, Inference, and Learning
// Algorithms", ch. 28, the Occam factor). The model must be evaluated.
func (p *Fit) OccamInside(q *Point) (units float64) {
	var list []parameter
	for c := range q.Inside {
		list = append(list, parameter{q, quantities + c})
	}
	if len(list) == 0 || p.Over() {
		return 0
	}
	p.jacobian(list)
	for c := range list {
		sum := 0.0
		for k, v := range p.scratch[c] {
			sum += p.Weight[k] * (real(v)*real(v) + imag(v)*imag(v))
		}
		units += math.Log1p(2*sum/p.unit()*q.InsideSigma*q.InsideSigma) / 2
	}
	return units
}
