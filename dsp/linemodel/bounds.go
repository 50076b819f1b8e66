package linemodel

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// hardSigmas is how far from its prior's mean a quantity may go at all: where a
// sweep has little noise the prior alone would not hold a sound joint from
// standing in for a fault.
const hardSigmas = 3.5

// frontCells is how far in front of the port a place may move: what is at the
// port may seem to lie a little before it.
const frontCells = 0.5

// leastFlat bounds a resistance or conductance from below. A little less than
// nothing is needed where a point stands for the difference of two; at −2 it
// would reflect without bound.
const leastFlat = -0.9

// inside solves for a step that does not push what is at its bound already farther, nor a point past one that a link has
// behind it: the one is held there, the other goes with that, and all else where it is best so (D. P. Bertsekas, SIAM J.
// Control Optim. 20(2), 1982, projected Newton steps, from memory).
func (p *Fit) inside(list []parameter, a *mat.SymDense, b *mat.VecDense, damping float64) (d []float64, ok bool) {
	if cap(p.held) < len(list) {
		p.held = make([]bool, len(list))
	}
	p.held = p.held[:len(list)]
	clear(p.held)
	var ties []tie
	for {
		d, ok = p.stepper.solve(a, b, damping, p.held, ties)
		if !ok {
			return nil, false
		}
		more := false
		for c, item := range list {
			if item.point == nil || p.held[c] {
				continue
			}
			v := *item.point.quantity(item.quantity)
			if _, low, high := p.bounds(item); v <= low && d[c] < 0 || v >= high && d[c] > 0 {
				p.held[c], more = true, true
			}
		}
		if !more && len(ties) == 0 {
			ties = p.inOrder(list, d)
			more = len(ties) > 0
		}
		if !more {
			return d, true
		}
	}
}

// inOrder returns ties for the links whose points step d would put the wrong way round.
func (p *Fit) inOrder(list []parameter, d []float64) (ties []tie) {
	for _, l := range p.Links {
		if l.A == nil {
			continue
		}
		near, far := -1, -1
		for c, item := range list {
			if item.quantity == ByPlace && item.point == l.A {
				near = c
			} else if item.quantity == ByPlace && item.point == l.B {
				far = c
			}
		}
		if gap := l.B.X - l.A.X; near >= 0 && far >= 0 && gap+d[far]-d[near] <= 0 {
			ties = append(ties, tie{near, far, closest*l.LengthM - gap})
		}
	}
	return ties
}

// closest is the share of its length that a link leaves at least between its points.
const closest = 0.1

// bounds says how far a quantity of a point may go in one step, and at all.
func (p *Fit) bounds(item parameter) (most, low, high float64) {
	q := item.point
	v := *q.quantity(item.quantity)
	if item.quantity == ByPlace {
		return math.Min(0.4*p.Cell(q.X), 0.6/p.Beta0[p.SpanAt(q.X)]), math.Min(v, -frontCells*p.Cell(0)), math.Inf(1)
	}
	most, low, high = 0.5+0.5*math.Abs(v), math.Inf(-1), math.Inf(1)
	switch item.quantity {
	case ByFlat, ByRising, ByFalling:
		if q.Form.Ends() && item.quantity != ByFalling || q.Passive && q.Prior[item.quantity].Sigma == 0 {
			low = 0
		}
		if q.Form == Step && item.quantity == ByFlat {
			low, high = -0.999, 0.999
		} else if item.quantity == ByFlat {
			low = math.Max(low, leastFlat)
		}
	case ByExtent:
		most, low = math.Max(p.Cell(q.X), 0.3*v), 0.005
	case ByDrop:
		most, low, high = 0.1, -0.2, 0.6
		if q.Form == Foreign {
			low, high = 0.3, 3
		}
	case ByTangent:
		most, low, high = 0.05, 0, 1
		if q.Form == Foreign { // what is much to cable that loses next to nothing is little to other cable
			sigma, mean := q.prior(ByTangent).Sigma, q.prior(ByTangent).Mean
			most, low, high = math.Max(0.5, sigma/2), 0, math.Max(20, mean+hardSigmas*sigma)
		}
	case ByTaper:
		most, low = math.Max(p.Cell(q.X), 0.3*v), 0
	case ByShift: // as a place
		most = 0.6 / p.Beta0[p.SpanAt(q.X)]
		low, high = -q.Extent, 0.5*q.Extent
	}
	if prior := q.prior(item.quantity); prior.Sigma > 0 {
		low, high = math.Max(low, prior.Mean-hardSigmas*prior.Sigma), math.Min(high, prior.Mean+hardSigmas*prior.Sigma)
	}
	return most, low, high
}

// apply takes step d of the parameters in list, each held to what the
// linearisation can answer for.
func (p *Fit) apply(list []parameter, d []float64) {
	limit := func(v, most float64) float64 { return math.Max(-most, math.Min(most, v)) }
	for c, item := range list {
		q, step := item.point, d[c]
		if q == nil {
			which, term, unit := item.portTerm()
			v := p.Port[which][term] + unit*complex(step, 0)
			most := 3 * p.portSigma(which, term)
			p.Port[which][term] = complex(limit(real(v), most), limit(imag(v), most))
			continue
		}
		v := q.quantity(item.quantity)
		most, low, high := p.bounds(item)
		*v = math.Max(low, math.Min(high, *v+limit(step, most)))
		if item.quantity == ByPlace {
			p.Move(q)
		}
		if c+1 == len(list) || list[c+1].point != q {
			p.Sample(q)
		}
	}
}
