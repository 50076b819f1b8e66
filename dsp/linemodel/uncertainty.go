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
	list := parameters(p.Points, true)
	if load := p.Load; load == nil {
		p.jacobian(list)
	} else { // its own echo tells nothing of the points in front: its taps are free
		p.Load = nil
		p.Forward()
		p.jacobian(list)
		p.Load = load
		p.Forward()
		p.clearOfLoad(list)
	}
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
	factor := l.normal(power)
	for _, c := range near {
		column := p.scratch[c]
		for k, v := range column {
			z[k] = complex(p.Weight[k], 0) * cmplx.Conj(p.LoadGain[k]) * v
		}
		follow := l.correlate(z)
		solveCholesky(factor, follow)
		for t, v := range follow {
			for k, e := range l.comb[t] {
				column[k] -= p.LoadGain[k] * e * v
			}
		}
	}
}
