package linemodel

import (
	"gonum.org/v1/gonum/mat"

	"downlead/dsp"
)

// elimination is the load's linear part, solved for in every step. With H = L·Lᴴ
// half of each solution does: KᴴH⁻¹K is (L⁻¹K)ᴴ(L⁻¹K).
type elimination struct {
	factor triangle
	alone  []complex128   // L⁻¹·(AᴴWr − ρc): of the taps' step if nothing else moved
	follow [][]complex128 // L⁻¹·K, a row per column of J: of what they do as the rest moves

	rows         [][]complex128 // room for follow
	gain, column []complex128   // w·g*, and that times a column
	power        []float64      // w·|g|²
}

// sized makes room for so many frequencies, taps and columns of J.
func (e *elimination) sized(frequencies, taps, columns int) {
	if len(e.gain) != frequencies {
		e.gain, e.column, e.power = make([]complex128, frequencies), make([]complex128, frequencies), make([]float64, frequencies)
	}
	if len(e.alone) != taps {
		e.alone, e.rows = make([]complex128, taps), nil
	}
	for len(e.rows) < columns {
		e.rows = append(e.rows, make([]complex128, taps))
	}
	e.follow = e.rows[:columns]
}

// eliminate takes the load's taps out of the normal equations (Schur
// complement). A, the columns of the taps, is ∂S/∂Γ at the load times the
// comb; K = AᴴWJ, H = AᴴWA + ρ. e gives the room.
func (p *Fit) eliminate(e *elimination, list []parameter, a *mat.SymDense, b *mat.VecDense) *elimination {
	l := p.Load
	p.Gains()

	e.sized(len(p.Measured), len(l.Taps), len(list))
	for k, g := range p.LoadGain {
		w := p.Weight[k]
		e.gain[k] = complex(w*real(g), -w*imag(g))
		e.power[k] = w * (real(g)*real(g) + imag(g)*imag(g))
	}
	l.normal(&e.factor, e.power)
	project := func(dst, column []complex128) {
		dsp.Multiply(e.column, e.gain, column)
		l.comb.Correlate(dst, e.column)
	}
	project(e.alone, p.Residual)
	for t, c := range l.Taps {
		e.alone[t] -= complex(l.ridge, 0) * c
	}
	e.factor.forward(e.alone)
	for i, item := range list {
		follow := e.follow[i]
		if item.point == nil && item.quantity%2 == 1 { // j times the column before
			turn(follow, e.follow[i-1])
		} else {
			project(follow, p.scratch[i])
			e.factor.forward(follow)
		}
	}
	for i, follow := range e.follow {
		b.SetVec(i, b.AtVec(i)-dsp.Products(follow, e.alone, e.alone, e.alone, e.alone)[0])
		for j := 0; j <= i; j += 4 {
			sums := dsp.Products(follow, e.follow[j], e.follow[min(j+1, i)], e.follow[min(j+2, i)], e.follow[min(j+3, i)])
			for c := j; c <= min(j+3, i); c++ {
				a.SetSym(i, c, a.At(i, c)-sums[c-j])
			}
		}
	}
	return e
}

// turn writes j·v to dst.
func turn(dst, v []complex128) {
	for t, c := range v {
		dst[t] = complex(-imag(c), real(c))
	}
}

func (e *elimination) apply(l *Load, d []float64) {
	step := append([]complex128(nil), e.alone...) // another try may ask again
	for i, follow := range e.follow {
		s := d[i]
		for t, v := range follow {
			step[t] -= complex(s*real(v), s*imag(v))
		}
	}
	e.factor.backward(step)
	for t, v := range step {
		l.Taps[t] += v
	}
	l.compose()
}

// FitLoad fits the load alone.
func (p *Fit) FitLoad() {
	if p.Over() {
		return
	}
	e := p.eliminate(&p.loadAlone, nil, nil, nil)
	e.apply(p.Load, nil)
	p.Evaluate()
}
