package diagnose

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"
)

// This file is long because the walk's hypotheses, their clutter and their
// wording share one state.

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
	lumpedDelay   = 3.0 // times what a lumped part as strong as the change could delay
	delaySeenS    = 3e-11
	unchangedPart = 0.25 // of a reflection: 2 dB
)

// changeKind says what happened.
type changeKind int

const (
	changeNew     changeKind = iota // nothing was there
	changeGrown                     // a reflection became stronger
	changeFallen                    // a reflection became weaker, or went away
	changeTurned                    // as strong as before, but of another phase
	changeDelayed                   // what lies behind comes later, and more or less weak; no reflection of its own
	changeWeaker                    // what lies behind comes weaker, not later
)

// change is one thing that differs between two sweeps.
//
// Behind a strong change everything looks different: less gets there, later,
// and it bounces between the change and what lies behind. With r the new
// reflection at x1, u what the line behind reflected before and T what passes
// there and back, the port sees
//
//	r + T·u + T·r'·u² + ...
//
// in place of u. T and T·r' are slow functions of frequency, so the walk goes
// outwards from the port: the first place that differs is news; T and T·r' are
// fitted to all behind it; and only what that leaves is news again.
type change struct {
	Kind       changeKind
	DistanceM  float64 // of changeDelayed and changeWeaker: the first place that shows it
	SigmaM     float64 // one standard deviation: noise, and what is left of the clutter
	FromM      float64 // changeDelayed, changeWeaker: it begins behind this place
	AtLoad     bool    // within reach of the line's end
	Amplitude  complex128
	ChangeDB   float64 // local return loss of the difference, rms over the band
	BeforeDB   float64 // local return loss here, then
	NowDB      float64 // and now
	GrownDB    float64 // by how much; of changeWeaker and changeDelayed negative: what is behind fell
	SmallestDB float64 // local return loss of the smallest change that would have been seen here
	DelayS     float64 // what lies behind comes so much later, there and back; 0: no more than a part at one place does
	DelayM     float64 // the same as metres of line as recorded
	PassDB     float64 // by how much what lies behind comes stronger there and back, dB, besides what changes in front do
	Sentence   string  // for a technician
}

// difference is what two sweeps of one line say together.
type difference struct {
	Alignment alignment
	Changes   []change // in order along the line
	Unwatched float64  // m: behind this place a total reflection hides everything; +Inf: none
	Warnings  []string
	x         []float64
	smallest  []float64 // local amplitude of the smallest change that would have been seen
	before    []float64 // local amplitude then
	cellM     float64
	left      *sweep.Sweep // now less the aligned earlier sweep, where both have frequencies
}

// at returns the change within reach of x, nil when there is none. reach 0 is
// the resolution: one cell.
func (d *difference) at(x, reach float64) *change {
	if reach == 0 {
		reach = d.cellM
	}
	var best *change
	for i := range d.Changes {
		c := &d.Changes[i]
		if math.Abs(c.DistanceM-x) <= reach && (best == nil || math.Abs(c.DistanceM-x) < math.Abs(best.DistanceM-x)) {
			best = c
		}
	}
	return best
}

// unchanged says whether a reflection of the given local return loss at x is as
// it was in the earlier sweep: no change was found there, and one of a quarter
// of it would have been. The sentence says so.
func (d *difference) unchanged(x, returnLossDB float64) (bool, string) {
	i := d.index(x)
	for _, c := range d.Changes {
		reach := lobeCells * d.cellM
		if math.Abs(c.DistanceM-x) < reach {
			return false, ""
		}
	}
	size := math.Pow(10, -returnLossDB/20)
	if x > d.Unwatched || d.smallest[i] > unchangedPart*size || d.before[i] < (1-unchangedPart)*size/2 {
		return false, ""
	}
	return true, fmt.Sprintf("was there in the earlier sweep, and has not changed by more than %.0f dB", -20*math.Log10(1-math.Min(0.9, d.smallest[i]/size)))
}

func (d *difference) index(x float64) int {
	t := (x - d.x[0]) / (d.x[1] - d.x[0])
	return min(max(0, int(math.Round(t))), len(d.x)-1)
}

func decibels(amplitude float64) float64 { return -20 * math.Log10(math.Max(amplitude, 1e-6)) }

// compareBaseline compares now with an earlier sweep of the same line when
// healthy. The grids may differ. An error says in words why the two cannot be
// compared; the diagnosis goes on without.
func compareBaseline(ctx context.Context, now, before *sweep.Sweep, path *cables.Path, line *cables.Line) (*difference, error) {
	p, err := newSweepPair(now, before, path, line)
	if err != nil {
		return nil, fmt.Errorf("comparing with the earlier sweep: %w", err)
	}
	aligned, err := p.align(ctx)
	if err != nil {
		return nil, err
	}
	w, err := newWalk(p)
	if err != nil {
		return nil, fmt.Errorf("comparing with the earlier sweep: %w", err)
	}
	d := &difference{Alignment: *aligned, Unwatched: math.Inf(1), x: p.x, cellM: p.cellM, left: &sweep.Sweep{FrequencyHz: p.frequencyHz, Gamma: p.predicted()}}
	for k, v := range d.left.Gamma {
		d.left.Gamma[k] = p.now[k] - v
	}
	if err := w.run(ctx, d); err != nil {
		return nil, err
	}
	if v := math.Abs(aligned.Velocity); v > 2e-3 && aligned.VelocitySigma < v/3 {
		d.Warnings = append(d.Warnings, fmt.Sprintf("the whole line is %.2f %% %s than in the earlier sweep: a large difference of temperature, or water along all of it",
			100*v, map[bool]string{true: "slower", false: "faster"}[aligned.Velocity < 0]))
	}
	if math.Abs(p.foldS[0]/p.foldS[1]-1) > 1e-6 && math.Min(p.foldS[0], p.foldS[1]) < 2.2*p.endS {
		d.Warnings = append(d.Warnings, "the two sweeps step differently, and so coarsely that what bounces twice folds back onto the line, in each to another place: small changes may be such bounces; sweep again with the points of the earlier sweep")
	}
	if aligned.AfterDB > -20 && len(d.Changes) == 0 {
		d.Warnings = append(d.Warnings, fmt.Sprintf("the earlier sweep differs by %.0f dB of full scale even when aligned: is it of this line?", aligned.AfterDB))
	}
	return d, nil
}

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

func (w *walk) index(x float64) int {
	t := (x - w.x[0]) / (w.x[1] - w.x[0])
	return min(max(0, int(math.Round(t))), len(w.x)-1)
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
		e, slow, noise := append([]complex128(nil), w.e...), w.slow, w.noise
		for i, b := range all {
			if b.delayS != 0 {
				continue
			}
			at := w.index(b.x)
			own := w.own(b)
			w.bumps = append(append([]*bump(nil), all[:i]...), all[i+1:]...)
			values := make([][]complex128, len(all))
			for j, other := range all {
				values[j] = other.value
			}
			w.solve(5)
			again := w.thresholds()
			most := 0.0
			for n := max(0, at-perCell); n <= min(len(w.e)-1, at+perCell); n++ {
				most = math.Max(most, cmplx.Abs(w.e[n])/again[n])
			}
			if own < again[at] { // it stands for something else
				most = 0
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

// own is how much b changes the profile at its own place.
func (w *walk) own(b *bump) float64 {
	i := w.index(b.x)
	var sum complex128
	for j, q := range b.value {
		sum += q * b.columns[j][i]
	}
	return cmplx.Abs(sum)
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

// words says the change to a technician.
func (c *change) words() string {
	var s string
	switch c.Kind {
	case changeNew, changeGrown, changeFallen, changeTurned:
		if c.AtLoad {
			s = "the load or its connector reflects differently: "
		}
	}
	switch c.Kind {
	case changeNew:
		s += fmt.Sprintf("absent in the earlier sweep (less than %.0f dB return loss here); now %.1f dB, grown by %.0f dB", c.BeforeDB, c.NowDB, c.GrownDB)
	case changeGrown:
		s += fmt.Sprintf("was there in the earlier sweep with %.1f dB return loss; now %.1f dB, grown by %.1f dB", c.BeforeDB, c.NowDB, c.GrownDB)
	case changeFallen:
		s += fmt.Sprintf("weaker than in the earlier sweep: %.1f dB return loss then, %.1f dB now", c.BeforeDB, c.NowDB)
	case changeTurned:
		s += fmt.Sprintf("as strong as in the earlier sweep (%.1f dB return loss), but of another kind: the difference is %.1f dB", c.BeforeDB, c.ChangeDB)
	case changeDelayed:
		return fmt.Sprintf("all from %.2f m on comes %.2f ns later than in the earlier sweep, as if the line were %.2f m longer, and %+.1f dB stronger or weaker: the cable between %.2f m and %.2f m is slower than it was",
			c.DistanceM, 1e9*c.DelayS, c.DelayM, c.GrownDB, c.FromM, c.DistanceM)
	case changeWeaker:
		return fmt.Sprintf("what is at %.2f m comes back %+.1f dB against the earlier sweep, no later: loss between %.2f m and there, or a change there", c.DistanceM, c.GrownDB, c.FromM)
	}
	if c.DelayS != 0 {
		s += fmt.Sprintf("; what lies behind comes %.2f ns later (%.2f m of cable)", 1e9*c.DelayS, c.DelayM)
	}
	return s
}
