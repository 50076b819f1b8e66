package diagnose

import (
	"context"
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
)

// Settings of the walk along the difference.
const (
	changeRate    = 1e-3 // probability that noise shows a change anywhere on the line
	mostChanges   = 6
	lobeCells     = 2.2   // half of the window's main lobe, at its foot
	inShadow      = 0.03  // of the strongest difference: what is weaker waits until that one is explained
	behindShare   = 0.05  // what the model of a change leaves of the reflections behind it, at least
	ghostShare    = 0.7   // of |r|²: the same for a strong change
	sideLobes     = 0.006 // of the window, as an amplitude: what changes near a strong reflection changes them
	skirtCells    = 8
	loadCells     = 1.5  // what is nearer to the end than this is the load, or its connector
	foldedShare   = 0.02 // of its way: how far a folded bounce may lie from where the record puts it
	portShare     = 0.03 // what the port itself may throw back
	changeFloorDB = 62.0 // local return loss below which no change is looked for
	delayCost     = 12.0 // what a delay must explain besides, in natural units
	partTerms     = 3    // terms of a polynomial over the band that stand for a part's reflection
	behindTerms   = 4    // and for what passes it
	echoTerms     = 3
	clutterCells  = 12
	grownDB       = 1.5 // a reflection that changed by less has only turned
	absentDB      = 10  // a change so much above what was there is new
	mostStrained  = 4.0 // standard deviations that what the two sweeps do not share may have to be for a change to be none
	lumpedDelay   = 3.0 // times what a lumped part as strong as the change could delay
	delaySeenS    = 3e-11
	unchangedPart = 0.25 // of a reflection: 2 dB
)

// walk goes along the difference from the port outwards.
type walk struct {
	*sweepPair
	plain   [][]complex128 // profiles of A·u^j
	base    [][]complex128 // the same, behind delayed changes as late as they come now
	echo    [echoTerms]*demodulated
	shrink  []float64 // what the loss leaves of a full reflection
	bumps   []*bump   // changes modelled so far
	front   [][]complex128
	sigma   []float64
	slow    []complex128 // of front
	e       []complex128 // what is left
	passing []complex128 // the model without the parts of the bumps
	spread  float64      // standard deviation of 2β over the band, window as weight, rad/m

	electricalM []float64                    // of the places
	known       map[*complex128]*demodulated // of demodulatedOnce, by a profile's first value
}

// bump is the model of one change.
type bump struct {
	x       float64
	part    bool    // reflects itself
	cut     float64 // what lies behind this place is changed
	delayS  float64
	fromM   float64 // without a part: the last place in front that had not changed
	columns [][]complex128
	value   []complex128
	// What bounces between its part and what lies behind, and the x and cut that
	// it belongs to.
	echoes   [][]complex128
	echoesOf [2]float64
}

func newWalk(p *sweepPair) (*walk, error) {
	w := &walk{sweepPair: p, e: make([]complex128, len(p.x)), shrink: make([]float64, len(p.x))}
	for _, x := range p.x {
		w.electricalM = append(w.electricalM, p.path.ElectricalM(x))
	}
	for j := range behindTerms {
		w.plain = append(w.plain, p.times(p.aligned, func(k int) complex128 { return complex(math.Pow(p.turn[k], float64(j)), 0) }))
	}
	w.base = w.plain
	w.front, w.sigma = append(w.front, p.columns[1:]...), append(w.sigma, p.sigmas...)
	// The port's own source match, which both sweeps share: it throws back
	// what is new.
	for j := range 2 {
		column := p.times(p.now, func(k int) complex128 {
			a := p.aligned[k]
			return (p.now[k] - a*a/p.now[k]) * complex(math.Pow(p.turn[k], float64(j)), 0)
		})
		w.front = append([][]complex128{column}, w.front...)
		w.sigma = append([]float64{portShare}, w.sigma...)
	}
	// A² lies up to twice as far.
	step := p.x[1] - p.x[0]
	count := int(math.Ceil((2*p.x[len(p.x)-1]-p.x[0])/step)) + 8
	far, err := distance.New(p.path, p.frequencyHz, distance.Settings{FromM: p.x[0], ToM: p.x[0] + step*float64(count-1), Points: count, Loss: distance.LossUncorrected})
	if err != nil {
		return nil, err
	}
	for j := range echoTerms {
		v := make([]complex128, len(p.aligned))
		for k, a := range p.aligned {
			v[k] = a * a * complex(math.Pow(p.turn[k], float64(j)), 0)
		}
		w.echo[j] = p.demodulate(far.Profile(nil, v).Amplitude)
	}
	weights := p.profile.Weights()
	var sum, mean, square float64
	middle := p.path.SpanAt(p.endM / 2)
	stride := max(1, len(weights)/64) // the loss is smooth
	for k, f := range p.frequencyHz {
		gamma, _ := p.path.Spans[middle].Medium.Wave(f)
		b := 2 * imag(gamma)
		q := weights[k] * weights[k]
		sum += q
		mean += q * b
		square += q * b * b
	}
	w.spread = math.Sqrt(square/sum - mean*mean/(sum*sum))
	total := 0.0
	for k := 0; k < len(weights); k += stride {
		total += weights[k]
		for i, x := range p.x {
			w.shrink[i] += weights[k] * math.Exp(-2*real(p.path.Theta(p.frequencyHz[k], x)))
		}
	}
	for i := range w.shrink {
		w.shrink[i] /= total
	}
	return w, nil
}

// faded returns how much place x belongs to what lies behind cut.
func (w *walk) faded(x, cut float64) float64 {
	return math.Max(0, math.Min(1, (x-cut)/w.cellM+0.5))
}

// behind returns profile for places behind cut, faded in over a cell.
func (w *walk) behind(profile []complex128, cut float64) []complex128 {
	out := make([]complex128, len(w.x))
	for i, x := range w.x {
		if t := w.faded(x, cut); t > 0 {
			out[i] = profile[i] * complex(t, 0)
		}
	}
	return out
}

// later returns the profiles as they are when all behind cut comes delayS later.
func (w *walk) later(profiles [][]complex128, cut, delayS float64) [][]complex128 {
	if delayS == 0 {
		return profiles
	}
	out, read := make([][]complex128, len(profiles)), make([]*demodulated, len(profiles))
	for j, v := range profiles {
		out[j], read[j] = append([]complex128(nil), v...), w.demodulatedOnce(v)
	}
	for i, x := range w.x {
		t := w.faded(x, cut)
		if t == 0 {
			continue
		}
		r, seen := reading{}, false
		if from := w.path.PhysicalM(w.electricalM[i] - delayS*cables.SpeedOfLight/2); from > cut-w.cellM/2 {
			r, seen = read[0].reading(from)
		}
		for j, v := range out {
			v[i] *= complex(1-t, 0)
			if seen {
				v[i] += read[j].read(&r) * complex(t, 0)
			}
		}
	}
	return out
}

// demodulatedOnce is demodulate for profiles that are asked for many times.
func (w *walk) demodulatedOnce(profile []complex128) *demodulated {
	if w.known == nil {
		w.known = map[*complex128]*demodulated{}
	}
	d, ok := w.known[&profile[0]]
	if !ok {
		d = w.demodulate(profile)
		w.known[&profile[0]] = d
	}
	return d
}

// fill computes the columns of b: its own reflection, and what base and the
// echoes do behind it.
func (w *walk) fill(b *bump, base [][]complex128) {
	b.columns = nil
	if b.part {
		way := make([]complex128, len(w.frequencyHz))
		for k, f := range w.frequencyHz {
			way[k] = cmplx.Exp(-2 * w.path.Theta(f, b.x))
		}
		for j := range partTerms {
			b.columns = append(b.columns, w.times(way, func(k int) complex128 { return complex(math.Pow(w.turn[k], float64(j)), 0) }))
		}
	}
	w.fillBehind(b, base)
}

// fillBehind is fill with b's own reflection in its place already.
func (w *walk) fillBehind(b *bump, base [][]complex128) {
	if b.part {
		b.columns = b.columns[:partTerms:partTerms]
	} else {
		b.columns = nil
	}
	if b.cut > w.x[len(w.x)-1]-w.cellM {
		return
	}
	for _, v := range base {
		b.columns = append(b.columns, w.behind(v, b.cut))
	}
	if b.part {
		if b.echoes == nil || b.echoesOf != [2]float64{b.x, b.cut} {
			w.fillEchoes(b)
		}
		b.columns = append(b.columns, b.echoes...)
	}
}

// fillEchoes computes what bounces between b's part and what lies behind it.
func (w *walk) fillEchoes(b *bump) {
	b.echoesOf, b.echoes = [2]float64{b.x, b.cut}, make([][]complex128, echoTerms)
	for j := range b.echoes {
		b.echoes[j] = make([]complex128, len(w.x))
	}
	for i, place := range w.x {
		if place <= b.cut {
			continue
		}
		if r, ok := w.echo[0].reading(w.path.PhysicalM(w.electricalM[i] + w.path.ElectricalM(b.x))); ok {
			for j, column := range b.echoes {
				column[i] = w.echo[j].read(&r)
			}
		}
	}
}

const looseSigma = 3 // of a change's quantities: only to hold what the places do not show

// solve fits all bumps and the nuisances together, robustly: e is what is left.
func (w *walk) solve(rounds int) {
	var columns [][]complex128
	var sigma []float64
	for _, b := range w.bumps {
		columns = append(columns, b.columns...)
		for range b.columns {
			sigma = append(sigma, looseSigma)
		}
	}
	columns, sigma = append(columns, w.front...), append(sigma, w.sigma...)
	target := make([]complex128, len(w.x))
	for i := range target {
		target[i] = w.measured[i] - w.base[0][i]
	}
	variance := w.variance()
	weight := make([]float64, len(w.x))
	var value []complex128
	for range rounds {
		robustWeights(weight, w.e, variance)
		thin(weight, 0)
		next, _ := ridge(columns, sigma, 2, target, weight)
		if next == nil {
			break
		}
		value = next
		subtract(w.e, target, columns, value)
	}
	if value == nil {
		return
	}
	w.passing = append([]complex128(nil), w.base[0]...)
	for _, b := range w.bumps {
		n := len(b.columns)
		b.value, value = value[:n:n], value[n:]
		first := 0
		if b.part {
			first = partTerms
		}
		for j := first; j < min(n, first+behindTerms); j++ {
			for i, c := range b.columns[j] {
				w.passing[i] += b.value[j] * c
			}
		}
	}
	w.slow = value
}

// thin leaves every other place out, and all in front of first: half a cell
// apart says all.
func thin(weight []float64, first int) {
	for i := range weight {
		if i%(perCell/2) != 0 || i < first {
			weight[i] = 0
		} else {
			weight[i] *= perCell / 2
		}
	}
}

func subtract(dst, target []complex128, columns [][]complex128, value []complex128) {
	copy(dst, target)
	for j, q := range value {
		if q == 0 {
			continue
		}
		dsp.Accumulate(dst, -q, columns[j])
	}
}

func (w *walk) index(x float64) int {
	t := (x - w.x[0]) / (w.x[1] - w.x[0])
	return min(max(0, int(math.Round(t))), len(w.x)-1)
}

// first returns the first peak above its threshold, counted from the port,
// that is not in the shadow of a much stronger one.
func (w *walk) first(threshold []float64) (int, bool) {
	most, last := 0.0, w.x[len(w.x)-1]-w.cellM
	for _, b := range w.bumps { // one change of the load is enough: it rings
		if b.x > w.endM-loadCells*w.cellM {
			last = w.endM - loadCells*w.cellM
		}
	}
	peak := func(i int) bool {
		a := cmplx.Abs(w.e[i])
		if !(a > threshold[i] && a >= cmplx.Abs(w.e[i-1]) && a > cmplx.Abs(w.e[i+1]) && w.x[i] < last && w.x[i] > -w.cellM) {
			return false
		}
		for _, b := range w.bumps {
			if math.Abs(b.x-w.x[i]) < lobeCells/2*w.cellM {
				return false
			}
		}
		return true
	}
	for i := perCell; i+1 < len(w.e); i++ {
		if peak(i) {
			most = math.Max(most, cmplx.Abs(w.e[i]))
		}
	}
	for i := perCell; i+1 < len(w.e); i++ {
		if cmplx.Abs(w.e[i]) > inShadow*most && peak(i) {
			return i, true
		}
	}
	return 0, false
}

// run finds the changes.
func (w *walk) run(ctx context.Context, d *difference) error {
	for i := range w.e {
		w.e[i] = w.measured[i] - w.base[0][i]
		for j, q := range w.nuisances {
			w.e[i] -= q * w.columns[j+1][i]
		}
	}
	w.noise = noiseOf(w.e)
	w.passing = w.base[0]
	for range mostChanges {
		if err := ctx.Err(); err != nil {
			return err
		}
		threshold := w.thresholds()
		i, ok := w.first(threshold)
		if !ok {
			break
		}
		w.yield(w.x[i])
		w.explain(i)
		w.solve(6)
		w.noise = noiseOf(w.e)
	}
	w.prune()
	threshold := w.thresholds()
	d.before = make([]float64, len(w.x))
	d.smallest = make([]float64, len(w.x))
	for i := range d.smallest {
		d.smallest[i] = threshold[i] / w.shrink[i]
		d.before[i] = cmplx.Abs(w.plain[0][i]) / w.shrink[i]
	}
	for _, b := range w.bumps {
		d.Changes = append(d.Changes, w.describe(b, d))
	}
	sort.Slice(d.Changes, func(i, j int) bool { return d.Changes[i].DistanceM < d.Changes[j].DistanceM })
	for i, c := range d.Changes {
		if cmplx.Abs(c.Amplitude) > 0.9 && !c.AtLoad { // nothing gets past it
			d.Unwatched = c.DistanceM
			d.Changes = d.Changes[:i+1]
			break
		}
	}
	if len(w.slow) > 0 {
		d.Alignment.Velocity = 1/(1+w.epsilon+real(w.slow[len(w.slow)-2])) - 1
		// What passes a change comes a little later or earlier by itself.
		for _, b := range w.bumps {
			if b.part {
				own := 4 * cmplx.Abs(b.value[0]) / (math.Pi * (w.frequencyHz[0] + w.frequencyHz[len(w.frequencyHz)-1]))
				d.Alignment.VelocitySigma = math.Hypot(d.Alignment.VelocitySigma, own/w.endS)
			}
		}
	}
	return nil
}

// prune takes out again what would not be found now that all is in: the first
// differences are found while the strongest still distort the alignment. A
// change that makes what lies behind later stays.
func (w *walk) prune() {
	for len(w.bumps) > 0 {
		w.solve(6)
		w.noise = noiseOf(w.e)
		all := w.bumps
		drop, least := -1, 1.0
		e, slow, noise, strained := append([]complex128(nil), w.e...), w.slow, w.noise, w.strained()
		for i, b := range all {
			if b.delayS != 0 {
				continue
			}
			at := w.index(b.x)
			from, to := max(0, at-perCell), min(len(w.e)-1, at+perCell)
			if !b.part { // it shows in all that lies behind
				to = len(w.e) - 1
			}
			own := w.own(b)
			w.bumps = append(append([]*bump(nil), all[:i]...), all[i+1:]...)
			values := make([][]complex128, len(all))
			for j, other := range all {
				values[j] = other.value
			}
			w.solve(5)
			again := w.thresholds()
			most, shows := 0.0, false
			for n := from; n <= to; n++ {
				most = math.Max(most, cmplx.Abs(w.e[n])/again[n])
				shows = shows || (n == at || !b.part) && cmplx.Abs(own[n]) > again[n]
			}
			if !shows { // it stands for something else
				most = 0
			} else if w.strained() > math.Max(mostStrained, strained) { // what the weather and the calibration cannot have done
				most = math.Inf(1)
			}
			if most < least {
				drop, least = i, most
			}
			for j, other := range all {
				other.value = values[j]
			}
			copy(w.e, e)
			w.slow, w.noise = slow, noise
		}
		w.bumps = all
		if drop < 0 {
			w.solve(4)
			return
		}
		w.bumps = append(append([]*bump(nil), all[:drop]...), all[drop+1:]...)
	}
}

// strained is the largest of the quantities that the two sweeps do not share, such as velocity and gain, in its standard deviations.
func (w *walk) strained() float64 {
	most := 0.0
	for j, q := range w.slow {
		most = math.Max(most, cmplx.Abs(q)/w.sigma[j])
	}
	return most
}

// own is what b does to the profile.
func (w *walk) own(b *bump) []complex128 {
	sum := make([]complex128, len(w.x))
	for j, q := range b.value {
		dsp.Accumulate(sum, q, b.columns[j])
	}
	return sum
}

// yield takes out the changes without a part that lie behind x: what begins at
// x may explain them.
func (w *walk) yield(x float64) {
	kept := w.bumps[:0:0]
	for _, b := range w.bumps {
		if b.part || b.x < x {
			kept = append(kept, b)
		}
	}
	if len(kept) == len(w.bumps) {
		return
	}
	w.bumps, w.base = kept, w.plain
	for _, b := range w.bumps {
		w.base = w.later(w.base, b.cut, b.delayS)
	}
	for _, b := range w.bumps {
		w.fillBehind(b, w.base)
	}
	w.solve(6)
}
