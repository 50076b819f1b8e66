package diagnose

import (
	"math"
	"math/cmplx"

	"downlead/cables"
)

// variance is what may be left at each place when all is explained: noise, and
// a share of the clutter; more of it behind changes, and where a strong change
// and a reflection in front of it bounce: there and back, and once more
// between the two.
func (w *walk) variance() []float64 {
	v := make([]float64, len(w.x))
	for i, size := range envelope(w.base[0], perCell) {
		v[i] = w.noise + witness*witness*size*size
	}
	local := envelope(w.plain[0], perCell)
	for i := range local {
		local[i] /= w.shrink[i]
		if math.Abs(w.x[i]) < 1.5*w.cellM {
			local[i] = math.Max(local[i], portShare)
		}
	}
	fresh := make([]float64, len(v)) // what has been found so far
	for _, b := range w.bumps {
		if b.part && len(b.value) > 0 {
			i := w.index(b.x)
			fresh[i] = math.Max(fresh[i], cmplx.Abs(b.value[0]))
		}
	}
	fresh = widest(fresh, perCell)
	w.folded(v, local, fresh)
	for i := range local {
		local[i] = math.Max(local[i], fresh[i])
	}
	passing, skirts := envelope(w.base[0], perCell), envelope(w.base[0], skirtCells*perCell)
	reach := int(math.Ceil(lobeCells * perCell))
	for _, b := range w.bumps {
		size := 0.0
		if b.part && len(b.value) > 0 {
			size = cmplx.Abs(b.value[0])
			i := w.index(b.x)
			own := behindShare * size * w.shrink[i] // its circuit is only a polynomial
			for n := max(0, i-reach); n <= min(len(v)-1, i+reach); n++ {
				v[n] += own * own
			}
		}
		share := math.Max(behindShare, ghostShare*size*size)
		for i, x := range w.x {
			if x < b.cut-w.cellM/2 {
				continue
			}
			left := share*passing[i] + sideLobes*math.Min(1, 3*size)*skirts[i]
			v[i] += left * left
			if back := 2*w.path.ElectricalM(b.x) - w.electricalM[i]; b.part && x > b.x && back > -w.cellM && back < w.path.ElectricalM(b.x)-lobeCells*w.cellM {
				ghost := ghostShare * size * size * local[w.index(w.path.PhysicalM(back))] * w.shrink[i]
				v[i] += ghost * ghost
			}
			if b.part && len(b.value) > partTerms+behindTerms {
				echo := share * cmplx.Abs(b.columns[partTerms+behindTerms][i])
				v[i] += echo * echo
			}
		}
	}
	return v
}

// folded adds to v what bounces between the far end and reflections in front of
// it and arrives so late that the grid folds it back onto the line, where the
// alignment stretches it as if it had just come from there. local is the size
// of the earlier reflections along the line, fresh that of the new ones.
func (w *walk) folded(v, local, fresh []float64) {
	end := w.index(w.endM)
	mirror := 0.0
	for _, a := range w.base[0][max(0, end-perCell):min(len(v), w.index(w.endM+w.depthM)+2*perCell)] {
		mirror = math.Max(mirror, cmplx.Abs(a))
	}
	omega := math.Pi * (w.frequencyHz[0] + w.frequencyHz[len(w.frequencyHz)-1])
	slackS := 1/w.bandHz() + 2*w.path.ElectricalM(foldedShare*2*w.endM+2*w.depthM)/cables.SpeedOfLight
	reach := perCell + int((foldedShare*2*w.endM+2*w.depthM)/w.cellM*perCell)
	near, nearNew := widest(local, reach), widest(fresh, reach)
	for which, fold := range w.foldS {
		share := math.Min(1.5, behindShare+omega*math.Abs(w.epsilon)*fold)
		if math.Abs(w.foldS[0]/w.foldS[1]-1) > 1e-6 {
			share = 1.5 // they do not even fall on the same place
		} else if which == 1 {
			break
		}
		for i := range w.x {
			back := 2*w.endS - 2*w.electricalM[i]/cables.SpeedOfLight - fold
			if back < -slackS || back > w.endS+slackS {
				continue
			}
			at := w.index(w.path.PhysicalM(back * cables.SpeedOfLight / 2))
			ghost := (share*near[at] + 1.5*nearNew[at]) * mirror * mirror / w.shrink[at]
			v[i] += ghost * ghost
		}
	}
}

// thresholds returns the amplitude that a peak of the difference must exceed
// at each place: noise at the false-alarm rate, the quiet part of what is
// around (see locate's scan), the clutter that the alignment leaves, and the
// floor.
func (w *walk) thresholds() []float64 {
	cells := float64(len(w.x)) / perCell
	level := math.Log(2 * cells / changeRate) // of an exponential distribution, two looks a cell
	variance := w.variance()
	floor := math.Pow(10, -changeFloorDB/20)
	out := make([]float64, len(w.e))
	for i := 0; i < len(w.e); i += perCell {
		lo, hi := max(0, i-clutterCells*perCell), min(len(w.e), i+clutterCells*perCell)
		around := noiseOf(w.e[lo:hi])
		for n := i; n < min(len(w.e), i+perCell); n++ {
			clutter := variance[n] - w.noise
			out[n] = math.Max(floor*w.shrink[n], math.Sqrt(level*math.Max(w.noise, around)+4*clutter))
		}
	}
	return out
}
