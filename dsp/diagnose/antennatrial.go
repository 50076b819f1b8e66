package diagnose

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// How what may stand at an antenna's connector is fitted, and how well its sizes are known then.

// antennaTrial is a hypothesis fitted.
type antennaTrial struct {
	atAntenna
	score  float64
	shiftM float64 // how much farther out than the record the connector is
	values []float64
	costs
}

// try fits h: over a grid of places and values, then from the best of these by
// smaller and smaller steps.
func (t *antennaBench) try(h atAntenna) antennaTrial {
	best := antennaTrial{atAntenna: h, score: math.Inf(-1)}
	take := func(shiftM float64, values []float64) bool {
		c, ok := t.cost(&h, values, shiftM, h.prior-best.score)
		if score := h.prior - c.sum(); ok && score > best.score {
			best.score, best.shiftM, best.costs = score, shiftM, c
			best.values = append(best.values[:0], values...)
			return true
		}
		return false
	}
	t.shift(0)
	values := make([]float64, len(h.fits))
	if len(values) == 0 && h.total == 0 { // of an antenna alone, sizes count, and these are the same everywhere
		take(0, nil)
		return best
	}
	t.loose = looseFirst
	wave := math.Pi / t.beta[len(t.beta)-1] // Γ turns once
	steps := math.Min(mostShifts, math.Ceil(shiftReach*t.placeSigmaM/(wave*shiftShare)))
	var walk func(shiftM float64, at int)
	walk = func(shiftM float64, at int) {
		if at == len(values) {
			take(shiftM, values)
			return
		}
		count := float64(valueSteps / len(values))
		for j := -count; j <= count; j++ {
			values[at] = h.log[at] + h.sigma[at]*valueReach*j/count
			walk(shiftM, at+1)
		}
	}
	for i := -steps; i <= steps; i++ {
		shiftM := shiftReach * t.placeSigmaM * i / steps
		t.shift(shiftM)
		walk(shiftM, 0)
	}
	if math.IsInf(best.score, -1) {
		t.loose = 1
		return best
	}
	shiftStep, valueStep := shiftReach*t.placeSigmaM/steps/2, valueReach/valueSteps
	for range halvings {
		if t.loose > 1 { // what was nearest is held to more
			t.loose /= 2
			t.shift(best.shiftM)
			best.score = math.Inf(-1)
			take(best.shiftM, append(values[:0], best.values...))
		}
		for moved := true; moved; {
			moved = false
			for _, sign := range []float64{-1, 1} {
				shiftM := best.shiftM + sign*shiftStep
				t.shift(shiftM)
				moved = take(shiftM, append(values[:0], best.values...)) || moved
			}
			t.shift(best.shiftM)
			for i := range values {
				for _, sign := range []float64{-1, 1} {
					copy(values, best.values)
					values[i] += sign * valueStep
					moved = take(best.shiftM, values) || moved
				}
			}
		}
		shiftStep /= 2
		valueStep /= 2
	}
	return best
}

// trials fits what may stand at the antenna's connector, best first.
func (t *antennaBench) trials(middleHz float64) []antennaTrial {
	var out []antennaTrial
	for _, h := range t.antennaCircuits(middleHz, t.hz[len(t.hz)-1]) {
		if c := t.try(h); !math.IsInf(c.score, -1) {
			out = append(out, c)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].score > out[j].score })
	return out
}

// sigmas returns the standard deviations of the sizes of the best of trials, by quantity, from
// the curvature of its score over sizes and place.
func (t *antennaBench) sigmas(c *antennaTrial) map[int]float64 {
	n := len(c.values) + 1
	score := func(move []float64) float64 {
		values := append([]float64(nil), c.values...)
		for i := range values {
			values[i] += move[i]
		}
		shiftM := c.shiftM + move[n-1]
		t.shift(shiftM)
		costs, _ := t.cost(&c.atAntenna, values, shiftM, math.Inf(1))
		return -costs.sum()
	}
	steps := make([]float64, n)
	for i := range steps {
		steps[i] = curvatureStep
	}
	steps[n-1] = curvatureStep * atOnceM
	at := func(i, j int, a, b float64) float64 {
		move := make([]float64, n)
		move[i] += a * steps[i]
		move[j] += b * steps[j]
		return score(move)
	}
	middle := score(make([]float64, n))
	curvature := mat.NewSymDense(n, nil)
	for i := range n {
		curvature.SetSym(i, i, (2*middle-at(i, i, 1, 0)-at(i, i, -1, 0))/(steps[i]*steps[i]))
		for j := range i {
			mixed := at(i, j, 1, 1) + at(i, j, -1, -1) - at(i, j, 1, -1) - at(i, j, -1, 1)
			curvature.SetSym(i, j, -mixed/(4*steps[i]*steps[j]))
		}
	}
	out := map[int]float64{}
	var chol mat.Cholesky
	var covariance mat.SymDense
	if !chol.Factorize(curvature) || chol.InverseTo(&covariance) != nil {
		return out
	}
	for i, quantity := range c.fits {
		out[quantity] = math.Exp(c.values[i]) * math.Sqrt(covariance.At(i, i))
	}
	return out
}

// curvatureStep is the step for sigmas, of the logarithm of a size.
const curvatureStep = 0.05

// behindDB is the return loss of the antenna behind circuit c at its worst in its band.
func (t *antennaBench) behindDB(c *antennaTrial) float64 {
	t.shift(c.shiftM)
	t.takeOff(&c.atAntenna, c.values)
	return sweep.ReturnLossFromMagnitude(math.Max(t.worst(), leastSeen))
}

// trial is c with its circuit as a point of the model, which it is not in yet.
func (c *antennaTrial) trial(fit *linemodel.Fit) trial {
	p := fit.NewPoint(fit.Load.X+c.shiftM, c.form)
	p.Flat = c.total * 0.999
	for i, quantity := range c.fits {
		v := math.Exp(c.values[i])
		switch quantity {
		case linemodel.ByFlat:
			p.Flat = v
		case linemodel.ByRising:
			p.Rising, p.Falling = v, c.tangent*v
		case linemodel.ByFalling:
			p.Falling = v
		}
	}
	fit.Sample(p)
	out := trial{cause: c.cause, point: p, score: c.score}
	switch {
	case len(c.fits) > 0 || c.total != 0:
		out.words = describe(p, nil, fit, 0, "")[0]
	case c.cause == AntennaFault:
		out.words = "with nothing at its connector"
	}
	return out
}
