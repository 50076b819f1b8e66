package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// An earlier sweep of the healthy line knows the antenna as it was: whatever stands at its connector now, that must be behind
// it, unless the antenna itself is at fault. Sizes: common practice, no source.
const (
	beforeLeast    = 0.01 // how well its reflection of another day is known at best, |Γ|: its connector was undone, and the weather is another
	changeSigmas   = 4.0  // standard deviations that the smallest change that is seen stands out by
	beforeShare    = 0.03 // of |Γ| that an antenna may have changed by from day to day, one standard deviation
	anyChange      = 0.3  // |Γ| that one at fault has changed by
	asBeforeMost   = 3.0  // natural units that an independent point of a sound one costs at most beyond one at fault
	moreLossStepNp = 0.05 // there and back, at the middle of the band
	moreLossMostNp = 1.5
	laterMostS     = 10e-9 // how much later, there and back
	laterStep      = 0.3   // rad
	looseFirst     = 8.0   // times these sizes a circuit is held to at first: a grid of its values is coarser than they are
	turnLeast      = 0.05  // rad that the alignment of two sweeps leaves at least, and
	turnMost       = 1.0   // at most
)

// changedAtLoad is by how much what the load reflects has changed since the earlier sweep, at the frequencies of the
// fit and 0 where that has no weight; nil where there is no earlier sweep, where it does not have them all, or
// where the load is hidden.
func (b *bench) changedAtLoad() []complex128 {
	if b.since == nil || b.fit.Load.X > b.since.Unwatched {
		return nil
	}
	left := b.since.left
	out := make([]complex128, len(b.fit.FrequencyHz))
	for k, f := range b.fit.FrequencyHz {
		i, ok := slices.BinarySearch(left.FrequencyHz, f)
		if !ok {
			return nil
		}
		if b.fit.Weight[k] > 0 {
			out[k] = left.Gamma[i] / b.fit.LoadGain[k]
		}
	}
	return out
}

// asBefore is what it costs that what is left by a hypothesis of the given cause is not what the antenna was in the
// earlier sweep, seen at a connector shiftM farther out. A sound one is that within beforeSigma everywhere; one at fault
// is anything where it has changed. The change of the line's length between the sweeps, which the two were aligned
// by, is taken to be what explains most; a sound antenna may also be seen through a line that loses more and is slower
// than then.
func (t *antennaBench) asBefore(shiftM float64, cause Cause) float64 {
	if t.before == nil {
		return 0
	}
	turn := t.turnSince(shiftM)
	best := t.differs(turn, 0, cause)
	if cause != FarEnd {
		return best
	}
	late, most := 0.0, math.Inf(-1)
	for turn := t.turnMost; turn > -2*math.Pi*t.middleHz*laterMostS; turn -= laterStep {
		sum := 0.0
		for k, v := range t.was {
			v *= cmplx.Rect(t.weight[k], turn*t.q[k])
			sum += real(v)*real(t.left[k]) + imag(v)*imag(t.left[k])
		}
		if sum > most {
			late, most = turn, sum
		}
	}
	for loss := 0.0; loss < moreLossMostNp; loss += moreLossStepNp {
		for _, turn := range []float64{turn, late, late - laterStep/2, late + laterStep/2} {
			best = math.Min(best, lossPrior+t.differs(turn, loss, cause))
		}
	}
	return best
}

// turnSince puts the antenna of the earlier sweep behind a connector shiftM farther out, and returns by how many radians at
// q = 1 it is turned against what is left, as far as the alignment of the sweeps allows.
func (t *antennaBench) turnSince(shiftM float64) float64 {
	var across, power float64
	for k, v := range t.before {
		v *= cmplx.Rect(1, 2*t.beta[k]*shiftM)
		t.was[k] = v
		g := t.left[k]
		across += t.weight[k] * t.q[k] * (real(v)*imag(g) - imag(v)*real(g))
		power += t.weight[k] * t.q[k] * t.q[k] * (real(v)*real(v) + imag(v)*imag(v))
	}
	return math.Max(-t.turnMost, math.Min(across/(power+1e-12), t.turnMost))
}

// sinceWords says how far what c leaves is from the antenna of the earlier sweep; "" where that is not known.
func (t *antennaBench) sinceWords(c *antennaTrial) string {
	if t.before == nil || c.total != 0 {
		return ""
	}
	t.shift(c.shiftM)
	t.takeOff(&c.atAntenna, c.values)
	turn := t.turnSince(c.shiftM)
	sum, all := 0.0, 0.0
	for k, v := range t.was {
		d := t.left[k] - v*cmplx.Rect(1, turn*t.q[k])
		sum += t.weight[k] * (real(d)*real(d) + imag(d)*imag(d))
		all += t.weight[k]
	}
	off := math.Sqrt(sum / all)
	if c.cause == AntennaFault {
		return fmt.Sprintf("the antenna is not what it was in the earlier sweep: its Γ has changed by %.3f (rms), and nothing tried at its connector does that", off)
	}
	return fmt.Sprintf("with that taken off, the antenna behind it is what it was in the earlier sweep, to %.3f of |Γ| (rms)", off)
}

// differs is what it costs that what is left is not what was, turned by so many radians at q = 1 and through a line that
// loses lossNp more there.
func (t *antennaBench) differs(turn, lossNp float64, cause Cause) float64 {
	surprise := asBeforeMost
	if cause == AntennaFault {
		surprise = 0
	}
	sum := 0.0
	for k, v := range t.was {
		sigma := t.knownTo(v)
		v *= cmplx.Rect(math.Exp(-lossNp*math.Sqrt(t.q[k])), turn*t.q[k])
		d := t.left[k] - v
		square := (real(d)*real(d) + imag(d)*imag(d)) / 2
		sum += t.weight[k] * math.Min(square/(sigma*sigma), square/(anyChange*anyChange)+2*math.Log(anyChange/sigma)+surprise)
	}
	return sum
}

// knownTo is how well the antenna is known where it reflected v in the earlier sweep, one standard deviation.
func (t *antennaBench) knownTo(v complex128) float64 {
	return t.loose * (t.beforeSigma + beforeShare*cmplx.Abs(v))
}

// notAsBefore is what it costs by asBefore's measure to be known within sigma without the earlier sweep.
func (t *antennaBench) notAsBefore(sigma float64) float64 {
	sum := 0.0
	for k, v := range t.before {
		sum += 2 * t.weight[k] * math.Log(sigma/t.knownTo(v))
	}
	return sum
}
