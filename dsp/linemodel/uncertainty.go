package linemodel

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// Sigma returns the standard deviation that noise gives each fitted quantity of
// each point, in the order of Points, 0 for what is not fitted; priors and all
// fitted quantities of the points, the port and the load included. With weights
// that are not the inverse of the noise's variance, the covariance is that of a
// weighted fit: N⁻¹·(JᴴW²J)·N⁻¹·σ², N = JᴴWJ. Places that cannot be told apart get
// a cell.
func (p *Fit) Sigma() [][quantities]float64 {
	unit := p.Unit
	p.Unit = 0 // how much the sweep is believed is no matter of noise
	defer func() { p.Unit = unit }()
	out := make([][quantities]float64, len(p.Points))
	list := p.parameters(p.Points, true)
	p.columns(list)
	a, b := p.gram(len(list), p.Weight)
	p.addPriors(list, a, b)
	squared := make([]float64, len(p.Weight))
	for k, w := range p.Weight {
		squared[k] = w * w
	}
	spread, unused := p.gram(len(list), squared)
	p.addPriors(list, spread, unused) // what the priors add is as certain as they say
	for i := range list {
		a.SetSym(i, i, a.At(i, i)*(1+1e-12))
	}
	index := map[*Point]int{}
	for i, q := range p.Points {
		index[q] = i
	}
	var chol mat.Cholesky
	var half, covariance mat.Dense
	if !chol.Factorize(a) || chol.SolveTo(&half, spread) != nil || chol.SolveTo(&covariance, half.T()) != nil {
		for i, q := range p.Points {
			out[i][ByPlace] = p.Cell(q.X)
		}
		return out
	}
	for c, item := range list {
		if item.point != nil && item.quantity < quantities {
			out[index[item.point]][item.quantity] = math.Sqrt(math.Max(0, covariance.At(c, c)*p.Noise/2))
		}
	}
	return out
}

// PlaceInformation returns what the sweep by itself tells of the places of
// points, in their order: it speaks for moving them by d from where the fit has
// put them with a likelihood of
//
//	log L(d) = pull·d − d·precision·d/2
//
// to second order in d (1/m and 1/m²), all else that is fitted of any point, of
// the port and of the load being free within its prior. What is known
// beforehand of places is left out: a place the sweep does not tell has a
// precision of about 0, and pull is what the fit, being the best, holds against those
// priors. variance is that of one point of the sweep, |Γ|², what the model leaves
// included. Where the weights differ their mean in their own weighting stands
// for the N⁻¹·(JᴴW²J)·N⁻¹ of Sigma. ok is false without points, or where the
// rest cannot be told apart either.
func (p *Fit) PlaceInformation(points []*Point, variance float64) (precision *mat.SymDense, pull *mat.VecDense, ok bool) {
	count := len(points)
	if count == 0 {
		return nil, nil, false
	}
	sum, squares := 0.0, 0.0
	for _, w := range p.Weight {
		sum += w
		squares += w * w
	}
	variance = math.Max(variance, minVariance) * squares / sum
	var list []parameter
	asked := make(map[*Point]bool, count)
	for _, q := range points {
		list = append(list, parameter{q, ByPlace})
		asked[q] = true
	}
	for _, item := range p.parameters(p.Points, true) {
		if item.quantity != ByPlace || item.point == nil || !asked[item.point] {
			list = append(list, item)
		}
	}
	// What is known beforehand pulls on each, as the fit weighs it; the rest's own counts as much as the sweep does.
	weighed, held, own := mat.NewSymDense(len(list), nil), mat.NewVecDense(len(list), nil), mat.NewVecDense(len(list), nil)
	p.addPriors(list, weighed, held)
	p.columns(list)
	a, _ := p.gram(len(list), p.Weight)
	unit, noise := p.Unit, p.Noise
	p.Unit, p.Noise = 0, variance
	p.addOwnPriors(list, count, a, own)
	p.Unit, p.Noise = unit, noise
	held.SubVec(held, own)
	for i := range list {
		a.SetSym(i, i, a.At(i, i)*(1+1e-12))
	}
	// The rest is eliminated: A − C·R⁻¹·Cᵀ.
	rest := len(list) - count
	r, c := mat.NewSymDense(rest, nil), mat.NewDense(rest, count, nil)
	for i := range rest {
		for j := range i + 1 {
			r.SetSym(i, j, a.At(count+i, count+j))
		}
		for j := range count {
			c.Set(i, j, a.At(count+i, j))
		}
	}
	var chol mat.Cholesky
	var solved, taken mat.Dense
	if !chol.Factorize(r) || chol.SolveTo(&solved, c) != nil {
		return nil, nil, false
	}
	taken.Mul(c.T(), &solved)
	var through mat.VecDense // what pulls on the rest, through it
	through.MulVec(solved.T(), held.SliceVec(count, len(list)))
	precision, pull = mat.NewSymDense(count, nil), mat.NewVecDense(count, nil)
	for i := range count {
		for j := range i + 1 {
			precision.SetSym(i, j, 2/variance*(a.At(i, j)-taken.At(i, j)))
		}
		pull.SetVec(i, -2/variance*(held.AtVec(i)-through.AtVec(i)))
	}
	return precision, pull, true
}

// minVariance keeps a sweep without noise from being believed without bound, |Γ|².
const minVariance = 1e-12

// columns fills scratch with the columns of list, those of the load's taps
// taken off.
func (p *Fit) columns(list []parameter) {
	load := p.Load
	if load == nil {
		p.jacobian(list)
		return
	}
	// Its own echo tells nothing of the points in front: its taps are free.
	p.Load = nil
	p.Forward()
	p.jacobian(list)
	p.Load = load
	p.Forward()
	p.clearOfLoad(list)
}

// loadReachCells is how near the load a point must be for the load's taps to
// answer for a part of its echo: beyond, the window holds the two apart.
const loadReachCells = 8

// clearOfLoad takes from the columns in scratch of points near the load what
// its taps can do as well: J − A·H⁻¹·K with the terms of eliminate.
func (p *Fit) clearOfLoad(list []parameter) {
	var near []int
	for c, item := range list {
		if item.point != nil && math.Abs(p.Load.X-item.point.X) < loadReachCells*p.Cell(p.Load.X) {
			near = append(near, c)
		}
	}
	if len(near) == 0 {
		return
	}
	l := p.Load
	power, z := make([]float64, len(p.Measured)), make([]complex128, len(p.Measured))
	for k, g := range p.LoadGain {
		power[k] = p.Weight[k] * (real(g)*real(g) + imag(g)*imag(g))
	}
	var factor triangle
	l.normal(&factor, power)
	follow := make([]complex128, len(l.Taps))
	for _, c := range near {
		column := p.scratch[c]
		for k, v := range column {
			z[k] = complex(p.Weight[k], 0) * cmplx.Conj(p.LoadGain[k]) * v
		}
		l.comb.Correlate(follow, z)
		factor.solve(follow)
		l.comb.Compose(z, follow)
		for k, v := range z {
			column[k] -= p.LoadGain[k] * v
		}
	}
}
