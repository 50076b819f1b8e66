package locate

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// problem is a model against a measured sweep.
type problem struct {
	model
	measured []complex128
	weight   []float64 // of the squared residual, per frequency; 0 leaves a point out
	cellM    []float64 // per span: c·VF/(2·bandwidth)
	noise    float64   // estimated variance of one point of the sweep
	residual []complex128
	scratch  [][]complex128
}

// How large the residual directivity and source match are
// expected to be: 40 dB and 34 dB, common practice for a field calibration, no
// source.
const (
	directivitySigma = 0.01
	sourceMatchSigma = 0.02
)

// cell returns the resolution cell at x, m.
func (p *problem) cell(x float64) float64 { return p.cellM[p.spanAt(x)] }

// evaluate runs the model and returns the cost: the weighted sum of squared
// residuals, and the prior on the directivity.
func (p *problem) evaluate() float64 {
	p.forward()
	return p.compare()
}

// compare computes the residual from the model's sum, and the cost.
func (p *problem) compare() float64 {
	cost := 0.0
	for k, s := range p.measured {
		e := s - p.sum[k]
		p.residual[k] = e
		cost += p.weight[k] * (real(e)*real(e) + imag(e)*imag(e))
	}
	for i, terms := range p.port {
		for _, c := range terms {
			cost += (real(c)*real(c) + imag(c)*imag(c)) * p.portPrecision(i)
		}
	}
	return cost
}

// portPrecision is the prior precision of a term of the instrument's residual
// error, in units of the cost.
func (p *problem) portPrecision(which int) float64 {
	sigma := directivitySigma
	if which == sourceMatch {
		sigma = sourceMatchSigma
	}
	return math.Max(p.noise, 1e-12) / (sigma * sigma)
}

// parameter is one fitted quantity: of a point, or (point nil) of the port,
// quantity counting error, term, and real or imaginary part.
type parameter struct {
	point    *scatterer
	quantity int
}

func (q parameter) portTerm() (which, term int, unit complex128) {
	unit = 1
	if q.quantity%2 == 1 {
		unit = 1i
	}
	return q.quantity / 2 / portTerms, q.quantity / 2 % portTerms, unit
}

func parameters(points []*scatterer, port bool) []parameter {
	var list []parameter
	for _, q := range points {
		for c, on := range q.fits {
			if on {
				list = append(list, parameter{q, c})
			}
		}
	}
	if port {
		for c := range 2 * 2 * portTerms {
			list = append(list, parameter{nil, c})
		}
	}
	return list
}

func rows(dst [][]complex128, count, n int) [][]complex128 {
	for len(dst) < count {
		dst = append(dst, make([]complex128, n))
	}
	return dst
}

// jacobian fills scratch with the columns of list.
func (p *problem) jacobian(list []parameter) {
	p.scratch = rows(p.scratch, len(list)+1, len(p.measured))
	for c, item := range list {
		dst := p.scratch[c]
		if item.point != nil {
			p.derivative(dst, item.point, item.quantity)
			continue
		}
		which, term, unit := item.portTerm()
		for k, b := range p.basis[term] {
			if which == directivity {
				dst[k] = unit * complex(b, 0)
			} else {
				t := p.input[k]
				loop := 1 - p.match[k]*t
				dst[k] = unit * complex(b, 0) * quotient(t*t, loop*loop)
			}
		}
	}
}

// gram returns Re(JᴴWJ) and Re(JᴴWr) of the first count columns of scratch.
func (p *problem) gram(count int, weight []float64) (*mat.SymDense, *mat.VecDense) {
	a, b := mat.NewSymDense(count, nil), mat.NewVecDense(count, nil)
	weighted := p.scratch[count]
	for i := range count {
		ci := p.scratch[i]
		s := 0.0
		for k, w := range weight {
			re, im := w*real(ci[k]), w*imag(ci[k])
			weighted[k] = complex(re, im)
			s += re*real(p.residual[k]) + im*imag(p.residual[k])
		}
		b.SetVec(i, s)
		for j := 0; j <= i; j++ {
			s := 0.0
			for k, c := range p.scratch[j] {
				s += real(weighted[k])*real(c) + imag(weighted[k])*imag(c)
			}
			a.SetSym(i, j, s)
		}
	}
	return a, b
}

// prior adds the port's prior to the normal equations.
func (p *problem) prior(list []parameter, a *mat.SymDense, b *mat.VecDense) {
	for c, item := range list {
		if item.point != nil {
			continue
		}
		which, term, _ := item.portTerm()
		v := real(p.port[which][term])
		if item.quantity%2 == 1 {
			v = imag(p.port[which][term])
		}
		precision := p.portPrecision(which)
		a.SetSym(c, c, a.At(c, c)+precision)
		b.SetVec(c, b.AtVec(c)-v*precision)
	}
}

// refine fits the given points, all others held, by damped Gauss-Newton
// steps, at most steps of them, from the state whose cost is given. It returns
// the new cost; the model is evaluated.
func (p *problem) refine(points []*scatterer, port bool, steps int, cost float64) float64 {
	list := parameters(points, port)
	if len(list) == 0 {
		return cost
	}
	damping := 1e-4
	for range steps {
		p.jacobian(list)
		a, b := p.gram(len(list), p.weight)
		p.prior(list, a, b)
		before := cost
		accepted := false
		for try := 0; try < 4 && !accepted; try++ {
			damped := mat.NewSymDense(len(list), nil)
			damped.CopySym(a)
			for i := range list {
				damped.SetSym(i, i, a.At(i, i)*(1+damping)+1e-300)
			}
			var chol mat.Cholesky
			var d mat.VecDense
			if !chol.Factorize(damped) {
				damping = math.Max(damping*30, 1e-3)
				continue
			}
			if err := chol.SolveVecTo(&d, b); err != nil {
				damping = math.Max(damping*30, 1e-3)
				continue
			}
			saved := p.save()
			p.apply(list, &d)
			if now := p.evaluate(); now < cost {
				cost, accepted = now, true
				damping /= 10
			} else {
				p.restore(saved)
				damping = math.Max(damping*20, 1e-3)
			}
		}
		if !accepted {
			return p.evaluate()
		}
		if before-cost < 1e-4*cost {
			break
		}
	}
	return cost
}

// apply takes step d of the parameters in list, each held to what the
// linearisation can answer for.
func (p *problem) apply(list []parameter, d *mat.VecDense) {
	limit := func(v, most float64) float64 { return math.Max(-most, math.Min(most, v)) }
	for c, item := range list {
		q, step := item.point, d.AtVec(c)
		if q == nil {
			which, term, unit := item.portTerm()
			p.port[which][term] += unit * complex(step, 0)
			continue
		}
		switch item.quantity {
		case byFlat:
			q.flat += limit(step, 0.5+0.5*math.Abs(q.flat))
			if q.form == stepForm {
				q.flat = limit(q.flat, 0.999)
			}
		case byRising:
			q.rising += limit(step, 0.5+0.5*math.Abs(q.rising))
		case byFalling:
			q.falling += limit(step, 0.5+0.5*math.Abs(q.falling))
		case byPlace:
			q.x += limit(step, math.Min(0.4*p.cell(q.x), 0.6/p.beta0[p.spanAt(q.x)]))
			p.phasors(q.phasor, q.x)
		}
		p.sample(q)
	}
}

// saved is the state of a point that a step may change.
type saved struct {
	x, flat, rising, falling float64
	form                     form
	fits                     [4]bool
}

type state struct {
	points []saved
	port   [2][portTerms]complex128
}

func (p *problem) save() state {
	s := state{make([]saved, len(p.points)), p.port}
	for i, q := range p.points {
		s.points[i] = saved{q.x, q.flat, q.rising, q.falling, q.form, q.fits}
	}
	return s
}

// restore takes the points back to s, which holds the same points in the same
// order. The model is not evaluated.
func (p *problem) restore(s state) {
	p.port = s.port
	for i, q := range p.points {
		was := s.points[i]
		now := saved{q.x, q.flat, q.rising, q.falling, q.form, q.fits}
		if now == was {
			continue
		}
		q.x, q.flat, q.rising, q.falling, q.form, q.fits = was.x, was.flat, was.rising, was.falling, was.form, was.fits
		if now.x != was.x {
			p.phasors(q.phasor, q.x)
		}
		p.sample(q)
	}
}

// placeSigma returns the standard deviation of each point's place that noise
// gives, m. With weights that are not the inverse of the noise's variance, the
// covariance is that of a weighted fit: N⁻¹·(JᴴW²J)·N⁻¹·σ², N = JᴴWJ.
func (p *problem) placeSigma() []float64 {
	out := make([]float64, len(p.points))
	list := parameters(p.points, true)
	p.jacobian(list)
	a, b := p.gram(len(list), p.weight)
	p.prior(list, a, b)
	squared := make([]float64, len(p.weight))
	for k, w := range p.weight {
		squared[k] = w * w
	}
	spread, _ := p.gram(len(list), squared)
	for i := range list {
		a.SetSym(i, i, a.At(i, i)*(1+1e-12))
	}
	index := map[*scatterer]int{}
	for i, q := range p.points {
		index[q] = i
	}
	var chol mat.Cholesky
	var half, covariance mat.Dense
	if !chol.Factorize(a) || chol.SolveTo(&half, spread) != nil || chol.SolveTo(&covariance, half.T()) != nil {
		for i, q := range p.points { // not told apart: no better than a cell
			out[i] = p.cell(q.x)
		}
		return out
	}
	for c, item := range list {
		if item.point != nil && item.quantity == byPlace {
			out[index[item.point]] = math.Sqrt(math.Max(0, covariance.At(c, c)*p.noise/2))
		}
	}
	return out
}
