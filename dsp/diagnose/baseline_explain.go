package diagnose

import (
	"math"
	"math/cmplx"

	"downlead/cables"
)

// explain finds the model of what differs at place i, and takes it into the
// bumps: a part that reflects, with what it does to all behind it; or no part,
// where all from there on is only later or weaker.
func (w *walk) explain(i int) {
	x := w.refined(i)
	rows := max(0, w.index(x)-4*perCell)
	variance := w.variance()
	weight, dst := make([]float64, len(w.x)), make([]complex128, len(w.x))
	type hypothesis struct {
		cost float64
		b    bump
	}
	best := hypothesis{cost: math.Inf(1)}
	consider := func(b bump, own [][]complex128) float64 {
		base := w.later(w.base, b.cut, b.delayS)
		target := w.e
		cost := 0.0
		if b.delayS != 0 {
			moved := w.later([][]complex128{w.passing}, b.cut, b.delayS)[0]
			target = append([]complex128(nil), w.e...)
			for n := range target {
				target[n] += w.passing[n] - moved[n]
			}
			cost += delayCost
		}
		if b.columns = own; own == nil {
			w.fill(&b, base)
		} else {
			w.fillBehind(&b, base)
		}
		sigma := make([]float64, len(b.columns))
		for j := range sigma {
			sigma[j] = looseSigma
		}
		copy(dst, target)
		for range 4 {
			robustWeights(weight, dst, variance)
			thin(weight, rows)
			value, _ := ridge(b.columns, sigma, 0, target, weight)
			if value == nil {
				return math.Inf(1)
			}
			b.value = value
			subtract(dst, target, b.columns, value)
		}
		cost += robustCost(dst[rows:], variance[rows:]) + 4*float64(len(b.columns)) // of more unknowns
		if cost < best.cost {
			best = hypothesis{cost, b}
		}
		return cost
	}
	// Later or weaker only: where there was something strong enough to do so.
	delays := w.delayGrid(x)
	alone := true // what is behind an earlier change is free to be later by that
	for _, b := range w.bumps {
		alone = alone && b.cut > x
	}
	if alone && cmplx.Abs(w.e[i]) < 2.5*envelope(w.passing, perCell)[i] {
		for _, delayS := range append([]float64{0}, delays...) {
			consider(bump{x: x, cut: x - 1.3*w.cellM, delayS: delayS}, nil)
		}
	}
	part := bump{x: x, cut: x + w.cellM, part: true}
	w.fill(&part, w.base)
	consider(part, part.columns)
	if x+w.cellM < w.endM {
		for _, delayS := range delays {
			trial := part
			trial.delayS = delayS
			consider(trial, part.columns)
		}
	}
	// A delay between two of the grid.
	if best.b.delayS != 0 {
		for _, h := range []float64{0.12, 0.05, 0.02} {
			at := best.b
			for _, sign := range []float64{-1, 1} {
				trial := at
				trial.delayS += sign * h / w.bandHz()
				consider(trial, nil)
			}
		}
	}
	// The place, by a parabola through costs a twentieth of a cell apart.
	if best.b.part {
		for range 2 {
			h := 0.05 * w.cellM
			left, at, right := best.b, best.b, best.b
			left.x -= h
			right.x += h
			middle, a, z := consider(at, nil), consider(left, nil), consider(right, nil)
			if bend := a - 2*middle + z; bend > 0 {
				at.x += math.Max(-5*h, math.Min(5*h, h/2*(a-z)/bend))
				consider(at, nil)
			}
		}
	}
	found := best.b
	if !found.part {
		found.fromM = w.lastWitness(x, variance)
	}
	w.base = w.later(w.base, found.cut, found.delayS)
	w.bumps = append(w.bumps, &found)
	if found.delayS != 0 {
		for _, b := range w.bumps {
			w.fillBehind(b, w.base)
		}
	}
}

func (w *walk) bandHz() float64 { return w.frequencyHz[len(w.frequencyHz)-1] - w.frequencyHz[0] }

// delayGrid lists delays to try for what lies behind x: up to a third of the
// way there, which is wet cable all along, or 10 ns.
func (w *walk) delayGrid(x float64) []float64 {
	step := 0.25 / w.bandHz()
	most := math.Max(step, math.Min(1e-8, 2*w.path.ElectricalM(math.Max(x, w.cellM))/cables.SpeedOfLight/3))
	var grid []float64
	for s := step; s <= most && len(grid) < mostDelays; s += step {
		grid = append(grid, s)
	}
	return grid
}

const mostDelays = 40

// through returns what passes b beyond what passes the changes in front of it,
// at the middle of the band, and the delay that its phase holds, s:
// G = 1 + g0 + g1·u + ..., summed over the changes, and minus the slope of the
// phase of the ratio.
func (w *walk) through(b *bump) (ratio complex128, delayS float64) {
	first := func(b *bump) int {
		if b.part {
			return partTerms
		}
		return 0
	}
	if len(b.value) < first(b)+2 {
		return 1, 0
	}
	sum, slope := complex128(1), complex128(0)
	for _, other := range w.bumps {
		if n := first(other); other != b && other.cut < b.cut && len(other.value) > n+1 {
			sum += other.value[n]
			slope += other.value[n+1]
		}
	}
	after, afterSlope := sum+b.value[first(b)], slope+b.value[first(b)+1]
	if cmplx.Abs(sum) < 0.1 || cmplx.Abs(after) < 0.1 {
		return 1, 0
	}
	return after / sum, -imag(afterSlope/after-slope/sum) / (math.Pi * w.bandHz())
}

// lastWitness is the last place in front of x that reflects enough to show that
// nothing had changed up to it, and shows it.
func (w *walk) lastWitness(x float64, variance []float64) float64 {
	for i := w.index(x - 1.3*w.cellM); i > perCell; i-- {
		a := cmplx.Abs(w.base[0][i])
		if a*a > 25*variance[i] && cmplx.Abs(w.e[i]) < 0.3*a && a >= cmplx.Abs(w.base[0][i-1]) && a > cmplx.Abs(w.base[0][i+1]) {
			return math.Max(0, w.x[i])
		}
	}
	return 0
}

// refined is the place of the peak of e at i, by a parabola through its levels.
func (w *walk) refined(i int) float64 {
	level := func(i int) float64 { return math.Log(cmplx.Abs(w.e[i]) + 1e-30) }
	a, b, c := level(i-1), level(i), level(i+1)
	if bend := a - 2*b + c; bend < 0 {
		return w.x[i] + (w.x[1]-w.x[0])*math.Max(-0.5, math.Min(0.5, (a-c)/(2*bend)))
	}
	return w.x[i]
}

// describe says what b is: sizes, kind and sentence.
func (w *walk) describe(b *bump, d *difference) change {
	i := w.index(b.x)
	c := change{DistanceM: b.x, AtLoad: b.x > w.endM-loadCells*w.cellM, SmallestDB: decibels(d.smallest[i])}
	passed, more := w.through(b)
	c.DelayS = b.delayS + more
	c.PassDB = 20 * math.Log10(math.Max(1e-3, cmplx.Abs(passed)))
	before := w.plain[0][i] / complex(w.shrink[i], 0)
	c.BeforeDB = decibels(cmplx.Abs(before))
	velocity := w.path.Spans[w.path.SpanAt(c.DistanceM)].Medium.VelocityFactor
	if b.part {
		c.Amplitude = b.value[0]
		power := 0.0
		for _, u := range w.turn {
			r := b.value[0] + complex(u, 0)*(b.value[1]+complex(u, 0)*b.value[2])
			power += (real(r)*real(r) + imag(r)*imag(r)) / float64(len(w.turn))
		}
		c.ChangeDB = -10 * math.Log10(power+1e-12)
		// Both at the peak, under the same window.
		var sum complex128
		for j := range partTerms {
			sum += b.value[j] * b.columns[j][i]
		}
		c.NowDB = decibels(cmplx.Abs(before + sum/complex(w.shrink[i], 0)))
		c.GrownDB = c.BeforeDB - c.NowDB
		changed := decibels(cmplx.Abs(sum) / w.shrink[i])
		switch {
		case c.BeforeDB > changed+absentDB:
			c.Kind = changeNew
		case c.GrownDB > grownDB:
			c.Kind = changeGrown
		case c.GrownDB < -grownDB:
			c.Kind = changeFallen
		default:
			c.Kind = changeTurned
		}
		moved, sigma := w.settle(b, math.Sqrt(w.variance()[i])/w.shrink[i])
		c.DistanceM, c.SigmaM = b.x+moved, sigma
		if c.AtLoad { // an antenna answers from behind its connector
			c.DistanceM = math.Min(c.DistanceM, w.endM)
		}
		c.Amplitude *= cmplx.Rect(1, w.carrier.phase(b.x+moved)-w.carrier.phase(b.x))
		// What a lumped part so strong can delay: 2·|r|/ω out and as much back.
		omega := math.Pi * (w.frequencyHz[0] + w.frequencyHz[len(w.frequencyHz)-1])
		if c.DelayS < delaySeenS+lumpedDelay*4*math.Sqrt(power)/omega {
			c.DelayS = 0
		}
	} else {
		c.Kind = changeWeaker
		c.FromM = b.fromM
		c.SigmaM = (b.x - c.FromM) / math.Sqrt(12) // anywhere between
		c.GrownDB = 20 * math.Log10(math.Max(1e-3, cmplx.Abs(passed)))
		c.NowDB = c.BeforeDB - c.GrownDB
		c.ChangeDB = c.BeforeDB - 20*math.Log10(math.Max(1e-3, cmplx.Abs(b.value[0])))
		if c.DelayS < delaySeenS {
			c.DelayS = 0
		} else {
			c.Kind = changeDelayed
		}
	}
	c.DelayM = c.DelayS * cables.SpeedOfLight / 2 * velocity
	c.Sentence = c.words()
	return c
}

// settle returns how far from b's place its reflection is most like that of a
// part at one place, and one standard deviation of that place, m. A polynomial
// over the band holds a delay as well as a circuit; what tells them apart is
// that a part's impedance in series, or admittance across, is a resistance and
// a reactance in proportion to frequency, or against it: a + j·(b·q − c/q),
// with real a, b, c, q the frequency over its mean. noise is the standard
// deviation of the reflection. Places that fit as well to within the noise are
// within the deviation.
func (w *walk) settle(b *bump, noise float64) (moved, sigma float64) {
	n := len(w.frequencyHz)
	stride := max(1, n/96)
	middle := (w.frequencyHz[0] + w.frequencyHz[n-1]) / 2
	weights := w.profile.Weights()
	span := w.path.SpanAt(b.x)
	const steps = 60
	h := w.cellM / steps
	misfit := make([]float64, 0, 2*steps+1)
	for s := -steps; s <= steps; s++ {
		best := math.Inf(1)
		for _, form := range []float64{1, -1} { // in series, across
			var gram [3][3]float64
			var right [3]float64
			var square, total float64
			for k := 0; k < n; k += stride {
				f := w.frequencyHz[k]
				u, q := complex(w.turn[k], 0), f/middle
				r := b.value[0] + u*(b.value[1]+u*b.value[2])
				// β is near enough in proportion to frequency over so little.
				r *= cmplx.Rect(form, w.carrier.beta[span]*q*h*float64(s))
				if a := cmplx.Abs(r); a > 0.98 {
					r *= complex(0.98/a, 0)
				}
				z := 2 * r / (1 - r)
				slope := (1 - r) * (1 - r) / 2 // ∂r/∂z
				weight := weights[k] * weights[k] * (real(slope)*real(slope) + imag(slope)*imag(slope))
				total += weights[k] * weights[k]
				square += weight * (real(z)*real(z) + imag(z)*imag(z))
				column := [3]float64{1, q, -1 / q}
				value := [3]float64{real(z), imag(z), imag(z)}
				for i := range column {
					right[i] += weight * column[i] * value[i]
					for j := range column {
						if (i == 0) == (j == 0) {
							gram[i][j] += weight * column[i] * column[j]
						}
					}
				}
			}
			left := square - right[0]*right[0]/gram[0][0]
			det := gram[1][1]*gram[2][2] - gram[1][2]*gram[1][2]
			if det > 1e-9*gram[1][1]*gram[2][2] {
				x, y := (right[1]*gram[2][2]-right[2]*gram[1][2])/det, (right[2]*gram[1][1]-right[1]*gram[1][2])/det
				left -= x*right[1] + y*right[2]
			} else {
				left -= right[1] * right[1] / gram[1][1]
			}
			best = math.Min(best, left/total)
		}
		misfit = append(misfit, best)
	}
	least := steps
	for i, m := range misfit {
		if m < misfit[least] {
			least = i
		}
	}
	limit := misfit[least] + noise*noise
	var sum, square, count float64
	for i, m := range misfit {
		if m <= limit+misfit[least] {
			d := h * float64(i-least)
			sum += d
			square += d * d
			count++
		}
	}
	return h * float64(least-steps), math.Hypot(h, math.Sqrt(square/count))
}
