package locate

import (
	"math"
	"math/cmplx"

	"downlead/dsp/linemodel"
)

// Two reflections within a cell of each other show as one peak. The first
// point then settles between them, and others beside it make up for what it
// cannot follow. repair puts two points in the place of such a crowd.
const (
	pairReachCells = 1.5  // how far from a new point its crowd reaches
	pairMost       = 4    // a larger crowd is a stretch, not a pair
	pairStepCells  = 0.1  // of the first search; the second is four times finer
	pairSpanCells  = 1.2  // from the middle of the crowd, where the two are looked for
	pairSlack      = 0.01 // of the saving, that the steps of the second search may miss: (π·step/2)² and some
	pairLeastCells = 0.25 // nearer, noise and the shape of one reflection look alike
)

// repair replaces the points within reach of p by two, where those explain the
// sweep as well or better for their number of quantities.
func (f *finder) repair(p *linemodel.Point) {
	cell := f.Cell(p.X)
	var crowd []*linemodel.Point
	middle, total, quantities := 0.0, 0.0, 0
	for _, q := range f.Points {
		if math.Abs(q.X-p.X) > pairReachCells*cell || f.isKnown(q) {
			continue
		}
		size := f.RMS(q)
		if size > totalAbove/2 { // the search below is linear
			return
		}
		crowd = append(crowd, q)
		middle += size * q.X
		total += size
		quantities += fitted(q)
	}
	if len(crowd) < 2 || len(crowd) > pairMost || total == 0 {
		return
	}
	middle /= total
	held := f.Save()
	for _, q := range crowd {
		f.Remove(q)
	}
	f.Evaluate()
	gain := make([]complex128, len(f.Weight))
	f.GainAt(gain, middle)
	bare := f.Save()
	best, bestScore := held, held.Cost+float64(quantities)*enoughFor*f.Noise
	for _, rising := range []bool{false, true} {
		two, explained := f.bestPair(middle, cell, gain, rising)
		// Two free complex amplitudes explain more than two parts will, but for
		// the steps of the search.
		if explained == 0 || bare.Cost-(1+pairSlack)*explained > bestScore {
			continue
		}
		var points []*linemodel.Point
		count := 0
		for _, s := range two {
			q := f.NewPoint(s.x, s.form)
			q.Fits[linemodel.ByPlace] = true
			s.apply(q)
			f.Sample(q)
			f.Insert(q)
			points = append(points, q)
			count += fitted(q)
		}
		f.Evaluate()
		f.Refine(points, false, false, 8)
		if score := f.Cost + float64(count)*enoughFor*f.Noise; score < bestScore {
			best, bestScore = f.Save(), score
		}
		f.Restore(bare)
	}
	f.Restore(best)
}

// fitted counts the quantities of p that are fitted.
func fitted(p *linemodel.Point) int {
	count := 0
	for _, on := range p.Fits {
		if on {
			count++
		}
	}
	return count
}

// bestPair returns the two places around x whose free complex reflections
// (with rising, in proportion to frequency) explain most of the residual, as
// starts of the kind that each one's phase is nearest to, and how much cost they
// would save. Two amplitudes follow
// linearly for every pair of places, and their Gram matrix depends on the gap
// between the places alone.
func (f *finder) bestPair(x, cell float64, gain []complex128, rising bool) (two [2]start, explained float64) {
	shape := func(k int) float64 {
		if rising {
			return f.Ratio[k]
		}
		return 1
	}
	var c [2]complex128
	var at [2]float64
	most := 0.0
	n := len(gain)
	heard, shared, turned, turn := make([]complex128, n), make([]complex128, n), make([]complex128, n), make([]complex128, n)
	power := 0.0
	for k, w := range f.Weight {
		g, e := gain[k], f.Residual[k]
		heard[k] = complex(w*shape(k), 0) * g * cmplx.Conj(e)
		p := w * shape(k) * shape(k) * (real(g)*real(g) + imag(g)*imag(g))
		shared[k] = complex(p, 0)
		power += p
	}
	// sums returns Σ z·(phase of a way of from + i·step) for i below count.
	sums := func(z []complex128, from, step float64, count int) []complex128 {
		out := make([]complex128, count)
		for k, v := range z {
			turned[k], turn[k] = v*f.shift(k, from), f.shift(k, step)
		}
		for i := range out {
			var sum complex128
			for k, v := range turned {
				sum += v
				turned[k] = v * turn[k]
			}
			out[i] = sum
		}
		return out
	}
	search := func(from [2]float64, count int, step float64) {
		// What the residual has of each place, conjugated, and what places have
		// of each other, by their gap.
		var seen [2][]complex128
		var common []complex128
		seen[0] = sums(heard, from[0]-x, step, count)
		if from[0] == from[1] { // then both are the same, and a gap back is one ahead, conjugated
			seen[1] = seen[0]
			ahead := sums(shared, 0, step, count)
			common = make([]complex128, count-1, 2*count-1)
			for i := range common {
				common[i] = cmplx.Conj(ahead[count-1-i])
			}
			common = append(common, ahead...)
		} else {
			seen[1] = sums(heard, from[1]-x, step, count)
			common = sums(shared, from[1]-from[0]-float64(count-1)*step, step, 2*count-1)
		}
		for i := range count {
			for j := range count {
				gap := from[1] - from[0] + float64(j-i)*step
				if gap < pairLeastCells*cell {
					continue
				}
				a, b, m := cmplx.Conj(seen[0][i]), cmplx.Conj(seen[1][j]), common[j-i+count-1]
				det := power*power - real(m*cmplx.Conj(m))
				if det <= 1e-9*power*power {
					continue
				}
				u := (complex(power, 0)*a - m*b) / complex(det, 0)
				v := (complex(power, 0)*b - cmplx.Conj(m)*a) / complex(det, 0)
				if saved := real(cmplx.Conj(a)*u + cmplx.Conj(b)*v); saved > most {
					most, c = saved, [2]complex128{u, v}
					at = [2]float64{from[0] + float64(i)*step, from[1] + float64(j)*step}
				}
			}
		}
	}
	steps := int(2*pairSpanCells/pairStepCells) + 1
	first := x - pairSpanCells*cell
	search([2]float64{first, first}, steps, pairStepCells*cell)
	if most == 0 {
		return two, 0
	}
	fine := pairStepCells / 4 * cell
	search([2]float64{at[0] - 4*fine, at[1] - 4*fine}, 9, fine)
	beta := f.Beta0[f.SpanAt(x)]
	for i, r := range c {
		s := start{form: linemodel.Series, quantity: linemodel.ByFlat}
		turned := r
		if rising {
			s.quantity = linemodel.ByRising
			turned = r * -1i
		}
		if real(turned) < 0 {
			s.form = linemodel.Shunt
			turned = -turned
		}
		s.x = at[i] - cmplx.Phase(turned)/(2*beta)
		s.value = 2 * cmplx.Abs(turned)
		two[i] = s
	}
	return two, most
}
