package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// How an antenna is seen and what a sound one shows. Common practice, no source,
// but for what the record says.
const (
	antennaMarginDB  = 3.0  // how much worse than its record it may show in its band
	antennaDefaultDB = 14.0 // VSWR 1.5, where the record gives none
	antennaSmooth    = 40.0 // either side, the share of its band over which what the taps left is averaged
	antennaPoints    = 120  // in its band, and as many outside, that the circuits at its connector are tried on
	lossRecordSigma  = 0.03 // of the line's own loss, relative
	leastSeen        = 1e-6 // |Γ| that is told apart from nothing
	impossible       = 1.3  // |Γ| that no antenna shows: what is in front of it is not understood
)

// antennaSeen is an antenna's reflection at its connector, the line and what is
// on it taken off.
type antennaSeen struct {
	hz          []float64
	gamma       []complex128
	low, high   float64 // its band, Hz
	promisedDB  float64
	worstDB     float64 // return loss at its worst in its band
	worstHz     float64
	sigma       float64 // standard deviation of |Γ| there
	placeSigmaM float64 // of the connector's place
	delayM      float64 // how far behind the connector of the record what it reflects in its band comes from, in metres of cable
	delaySigmaM float64 // of that by itself, the place apart
	spanHz      float64
	before      []complex128 // what it reflected in the earlier sweep; nil: not known
	beforeSigma float64      // standard deviation of that
}

// allowedDB is the return loss that the antenna may show and be sound.
func (a *antennaSeen) allowedDB() float64 { return a.promisedDB - antennaMarginDB }

// seeAntenna takes the line off the antenna. ok is false where the line ends in
// none, or its band was not swept.
func (b *bench) seeAntenna(line *cables.Line) (a *antennaSeen, ok bool) {
	fit, low, high := b.fit, line.Load.BandHz[0], line.Load.BandHz[1]
	if line.Load.Kind != cables.Antenna || fit.Load == nil {
		return nil, false
	}
	n := len(fit.FrequencyHz)
	if !(high > low) {
		low, high = fit.FrequencyHz[0], fit.FrequencyHz[n-1]
	}
	a = &antennaSeen{low: low, high: high, promisedDB: line.Load.ReturnLossDB, spanHz: fit.FrequencyHz[n-1] - fit.FrequencyHz[0],
		placeSigmaM: placeSigma(fit.Load.X)}
	if a.promisedDB == 0 {
		a.promisedDB = antennaDefaultDB
	}
	fit.Gains()
	var arrives, nominal float64
	for k, g := range fit.LoadGain {
		if f := fit.FrequencyHz[k]; f >= low && f <= high {
			arrives += real(g * cmplx.Conj(g))
			nominal += real(fit.Load.Phasor[k] * cmplx.Conj(fit.Load.Phasor[k]))
		}
	}
	if arrives < math.Pow(10, -hiddenDB/10)*nominal {
		return nil, false
	}
	// What the taps did not follow, referred to the connector, and its average
	// over a small share of the band: what comes from elsewhere on the line turns
	// too fast to stay in that.
	left := make([]complex128, n)
	for k, e := range fit.Residual {
		if fit.Weight[k] > 0 {
			left[k] = e / fit.LoadGain[k]
		}
	}
	changed := b.changedAtLoad()
	reach := (high - low) / antennaSmooth
	var sum, sumChanged complex128
	count, from, to := 0, 0, 0
	ripple, inBand := 0.0, 0
	worst := -1.0
	for k, f := range fit.FrequencyHz {
		for ; to < n && fit.FrequencyHz[to] <= f+reach; to++ {
			sum += left[to]
			if changed != nil {
				sumChanged += changed[to]
			}
			count += present(fit.Weight[to])
		}
		for ; fit.FrequencyHz[from] < f-reach; from++ {
			sum -= left[from]
			if changed != nil {
				sumChanged -= changed[from]
			}
			count -= present(fit.Weight[from])
		}
		if fit.Weight[k] == 0 {
			continue
		}
		mean := sum / complex(float64(count), 0)
		g := fit.Load.Gamma[k] + mean
		a.hz, a.gamma = append(a.hz, f), append(a.gamma, g)
		if changed != nil {
			a.before = append(a.before, g-sumChanged/complex(float64(count), 0))
		}
		if f < low || f > high {
			continue
		}
		d := left[k] - mean
		ripple += real(d)*real(d) + imag(d)*imag(d)
		inBand++
		if m := cmplx.Abs(g); m > worst {
			worst, a.worstHz = m, f
		}
	}
	for _, edge := range [2]float64{low, high} {
		if g, ok := a.atEdge(edge); ok && cmplx.Abs(g) > worst {
			worst, a.worstHz = cmplx.Abs(g), edge
		}
	}
	if inBand == 0 || worst > impossible {
		return nil, false
	}
	a.worstDB = sweep.ReturnLossFromMagnitude(math.Max(worst, leastSeen))
	noise := math.Sqrt(ripple / float64(inBand)) // the average of what is not white is no better
	joint := math.Hypot(jointFlatSigma, jointRisingSigma*a.worstHz/1e9) / 2
	loss := worst * 2 * real(b.path.Theta(a.worstHz, fit.Load.X)) * lossRecordSigma
	a.sigma = math.Sqrt(noise*noise + joint*joint + loss*loss)
	a.delay(b.path.Spans[len(b.path.Spans)-1].Medium.VelocityFactor)
	if changed != nil {
		a.beforeSigma = math.Max(beforeLeast, b.since.smallest[b.since.index(fit.Load.X)]/changeSigmas)
	}
	return a, true
}

// atEdge puts what the antenna shows at an edge of its band, which need not be a point of the sweep, among the rest: between its
// neighbours on a straight line. ok is false where it is a point, or the sweep does not reach that far.
func (a *antennaSeen) atEdge(hz float64) (g complex128, ok bool) {
	i, at := slices.BinarySearch(a.hz, hz)
	if at || i == 0 || i == len(a.hz) {
		return 0, false
	}
	share := (hz - a.hz[i-1]) / (a.hz[i] - a.hz[i-1])
	between := func(v []complex128) complex128 { return v[i-1] + complex(share, 0)*(v[i]-v[i-1]) }
	g = between(a.gamma)
	if a.before != nil {
		a.before = slices.Insert(a.before, i, between(a.before))
	}
	a.hz, a.gamma = slices.Insert(a.hz, i, hz), slices.Insert(a.gamma, i, g)
	return g, true
}

// delaySteps is into how many steps the antenna's band is divided for its delay.
const delaySteps = 20

// delay measures from where the antenna's band is reflected: the group delay, weighted by
// the power reflected.
func (a *antennaSeen) delay(velocityFactor float64) {
	var inBand []int
	for k, f := range a.hz {
		if f >= a.low && f <= a.high {
			inBand = append(inBand, k)
		}
	}
	step := max(1, len(inBand)/delaySteps)
	var turn complex128
	var lag, count float64
	for i := step; i < len(inBand); i += step {
		k, before := inBand[i], inBand[i-step]
		turn += a.gamma[k] * cmplx.Conj(a.gamma[before])
		lag += a.hz[k] - a.hz[before]
		count++
	}
	a.delaySigmaM = math.Inf(1)
	if count == 0 || turn == 0 {
		return
	}
	metres := cables.SpeedOfLight * velocityFactor / 2
	a.delayM = -cmplx.Phase(turn) / (2 * math.Pi * lag / count) * metres
	a.delaySigmaM = a.sigma / sweep.MagnitudeFromReturnLoss(a.worstDB) * math.Sqrt2 / (2 * math.Pi * lag) * metres
}

func present(weight float64) int {
	if weight > 0 {
		return 1
	}
	return 0
}

// thinned returns the indices of at most count points of a in its band and as
// many outside, evenly taken.
func (a *antennaSeen) thinned(count int) []int {
	inside := func(k int) bool { return a.hz[k] >= a.low && a.hz[k] <= a.high }
	var total, taken [2]int
	for k := range a.hz {
		total[side(inside(k))]++
	}
	var out []int
	for k := range a.hz {
		s := side(inside(k))
		if taken[s]%(1+(total[s]-1)/count) == 0 {
			out = append(out, k)
		}
		taken[s]++
	}
	return out
}

func side(inside bool) int {
	if inside {
		return 1
	}
	return 0
}

// surelyBelow says whether what the antenna shows is worse than limitDB beyond doubt.
func (a *antennaSeen) surelyBelow(limitDB float64) bool {
	return sweep.MagnitudeFromReturnLoss(a.worstDB)-antennaSigmas*a.sigma > sweep.MagnitudeFromReturnLoss(limitDB)
}

// antennaSigmas is how many standard deviations an antenna must be beyond both the line's limit and its record to
// be out of limits whatever else is likely.
const antennaSigmas = 3.0

// words says what the antenna shows in its band.
func (a *antennaSeen) words() string {
	off := a.promisedDB - a.worstDB
	text := fmt.Sprintf("in its band of %s the antenna shows a return loss of %s at its worst, at %s, the line's loss removed",
		bandWords(a.low, a.high), uncertain(a.worstDB, a.sigmaDB(), "dB"), hertz(a.worstHz))
	switch {
	case off > 0:
		return text + fmt.Sprintf(": %.1f dB short of the %.1f dB of its record", off, a.promisedDB)
	case -off > tooGoodDB:
		return text + fmt.Sprintf(": %.1f dB better than its record of %.1f dB; if it is no better than that, the line loses up to %.1f dB more on the way than its record, and hides how good the antenna is: sweep the line with a short in the antenna's place",
			-off, a.promisedDB, -off/2)
	default:
		return text + fmt.Sprintf(": its record of %.1f dB is kept", a.promisedDB)
	}
}

// tooGoodDB is how much better than its record an antenna may show before the line in front of it
// is doubted: makers promise with some 3 dB in hand (common practice, no source).
const tooGoodDB = 4.0

// sigmaDB is sigma as a return loss.
func (a *antennaSeen) sigmaDB() float64 {
	return a.sigma / sweep.MagnitudeFromReturnLoss(a.worstDB) / cables.NeperPerDB
}

// What locating calls the antenna, and the joint in front of it.
const (
	placeAntenna = "antenna"
	placeInFront = "just in front of the antenna"
	placeAtLoad  = "connector at the load"
)

// judgeAntenna says what the far end of a line with an antenna is: the antenna
// as it should be, out of its limit, or what stands at its connector. The
// finding that locating gave for it is in found.
func (b *bench) judgeAntenna(found []Finding, line *cables.Line) []Finding {
	at := -1
	for i := range found {
		if found[i].Place == placeAntenna {
			at = i
		}
	}
	if at < 0 {
		return found
	}
	a, ok := b.seeAntenna(line)
	if !ok {
		return found
	}
	f := &found[at]
	f.Evidence, f.Alternatives = []string{a.words()}, []Alternative{}
	f.Cause, f.IsFault, f.Confidence, f.ReturnLossDB = FarEnd, false, usual, a.worstDB
	if edge := b.edgeAtAntenna(); edge > 0 && sweep.MagnitudeFromReturnLoss(a.worstDB) < sweep.MagnitudeFromReturnLoss(a.allowedDB())+2*edge {
		f.Confidence = 0.5
		f.Evidence = append(f.Evidence, "the stretch of other cable in front of it ends at its connector and hides how good it is: sweep again after the repair")
		return found
	}
	if b.behindDent(found, a) {
		f.Confidence = doubtful
		f.Evidence = append(f.Evidence, hiddenByFault)
		return found
	}
	if slices.ContainsFunc(found, func(f Finding) bool {
		return f.IsFault && f.Place != placeAntenna && f.DistanceM < b.fit.Load.X-b.fit.Cell(b.fit.Load.X)
	}) {
		a.before = nil // what a fault in front of it does has changed as well
	}
	bench := b.newAntennaBench(a)
	fitted := bench.trials(b.fit.MiddleHz)
	least := a.promisedDB
	if vswr := line.Limits.LimitVSWR(); vswr > 0 {
		least = math.Min(least, sweep.ReturnLossFromVSWR(vswr))
	}
	fitted = b.surelyThere(bench, fitted)
	if fitted[0].cause == FarEnd && a.surelyBelow(least) {
		fitted = fitted[1:] // however usual sound antennas are
	}
	best := &fitted[0]
	switch {
	case best.cause == FarEnd:
		return found
	case best.cause == Unnamed:
		b.inFrontOfAntenna(found, at, a)
		return found
	}
	v := &verdictOf{budgetDB: a.allowedDB(), sigma: bench.sigmas(best)}
	for i := range fitted {
		v.trials = append(v.trials, fitted[i].trial(b.fit))
	}
	f.IsFault = true
	nameFinding(f, v.trials, connectorTrust)
	f.Alternatives = slices.DeleteFunc(f.Alternatives, func(x Alternative) bool { return x.Cause == FarEnd || x.Cause == Unnamed })
	v.trials = slices.DeleteFunc(v.trials, func(t trial) bool { return t.cause == FarEnd || t.cause == Unnamed })
	f.Evidence = append(f.Evidence, a.whence(), bench.sinceWords(best))
	if f.Cause != AntennaFault {
		if best.total == 0 {
			f.Evidence = append(f.Evidence, fmt.Sprintf("with that taken off, the antenna behind it shows %.1f dB at its worst in its band: it need not be at fault", bench.behindDB(best)))
		}
		switch {
		case best.total > 0:
			f.PhaseDeg = 0
			f.Evidence = append(f.Evidence, "out of the antenna's band as in it the voltage comes back upright, as from an open circuit")
		case best.total < 0:
			f.PhaseDeg = 180
			f.Evidence = append(f.Evidence, "out of the antenna's band as in it the voltage comes back inverted, as from a short circuit")
		}
		f.Place, f.DistanceM, f.SigmaM = placeAtLoad, b.fit.Load.X, placeSigma(b.fit.Load.X)
		if p := v.trials[0].point; p.Form != linemodel.Step {
			b.fit.Insert(p)
			b.fit.Evaluate()
			b.fit.QuickFitLoad()
		}
	}
	f.Evidence = slices.DeleteFunc(f.Evidence, func(s string) bool { return s == "" })
	v.finding = *f
	b.named = append(b.named, v)
	var out []Finding
	for i, g := range found {
		if i == at || !g.IsFault || g.Place != placeAtLoad {
			out = append(out, g)
		}
	}
	return out
}

// surelyThere leaves out of fitted what comes first but is a circuit of no size that is known.
func (b *bench) surelyThere(t *antennaBench, fitted []antennaTrial) []antennaTrial {
	for len(fitted) > 1 && len(fitted[0].fits) > 0 {
		p, sigma := fitted[0].trial(b.fit).point, t.sigmas(&fitted[0])
		if b.widen(sigma, p); !b.asUnevenness(p) && !b.unsure(p, sigma) {
			break
		}
		fitted = fitted[1:]
	}
	return fitted
}

// edgeAtAntenna is the |Γ| of the far edge of a stretch of other cable that the
// sweep does not tell from the antenna's connector, 0 where there is none. How
// much of what is reflected there is the edge's, its impedance and its place do
// not say to better than about once its size either way.
func (b *bench) edgeAtAntenna() float64 {
	end := b.fit.Load.X
	for _, p := range b.fit.Points {
		if p.Form == linemodel.Foreign && p.LengthM() > dentLongestM && math.Abs(p.X+p.LengthM()-end) < b.fit.Cell(end)+3*placeSigma(end) {
			return math.Abs(p.Ratio-1) / (p.Ratio + 1)
		}
	}
	return 0
}

// dentLongestM is how long a dent is at most.
const dentLongestM = 0.2

// whence says from where the antenna's band is reflected.
func (a *antennaSeen) whence() string {
	if math.IsInf(a.delaySigmaM, 1) {
		return ""
	}
	sigma := math.Hypot(a.delaySigmaM, a.placeSigmaM)
	where := fmt.Sprintf("its connector to within %s m", uncertain(sigma, 0, ""))
	switch {
	case a.delayM > sigma:
		where = fmt.Sprintf("%s m behind its connector, in metres of the cable", uncertain(a.delayM, sigma, ""))
	case a.delayM < -sigma:
		where = fmt.Sprintf("%s m in front of its connector", uncertain(-a.delayM, sigma, ""))
	}
	return "what comes back in its band comes from " + where + ": an antenna answers from behind it, a connector at once"
}

// inFrontOfAntenna says of finding at that what comes back in the antenna's band
// comes from in front of it: another finding there accounts for it, or it is a
// fault of unknown cause.
func (b *bench) inFrontOfAntenna(found []Finding, at int, a *antennaSeen) {
	f := &found[at]
	f.Confidence = doubtful
	if a.worstDB > a.allowedDB() {
		f.Evidence = append(f.Evidence, a.whence())
		return
	}
	for i := range found {
		if g := &found[i]; i != at && g.IsFault && g.DistanceM+g.ExtentM > b.fit.Load.X-inFrontM {
			f.Evidence = append(f.Evidence, "what comes back in its band comes from in front of it, where a fault was found: how good the antenna is shows after the repair")
			return
		}
	}
	// The antenna's own share of it pulls the place towards the antenna: what is
	// beyond is at a joint of the record, if one is as near as that.
	x := math.Max(0, b.fit.Load.X+a.delayM)
	f.Cause, f.IsFault, f.Place = Unnamed, true, placeInFront
	f.DistanceM, f.SigmaM = x, math.Hypot(a.delaySigmaM, a.placeSigmaM)
	share := math.Min(1, sweep.MagnitudeFromReturnLoss(a.promisedDB)/sweep.MagnitudeFromReturnLoss(a.worstDB))
	for _, joint := range b.joints {
		if pull := share*(b.fit.Load.X-joint) + 3*f.SigmaM; joint < x && x-joint < pull && joint > b.fit.Load.X-inFrontM {
			f.DistanceM, f.SigmaM, f.Place = joint, math.Max(f.SigmaM, (x-joint)/2), b.placeOf(joint)
		}
	}
	f.Evidence = append(f.Evidence, a.whence())
}

// connectorTrust is how often a name is right that stands by itself, of an
// antenna or its connector, from drawn lines.
const connectorTrust = 0.97

// behindDent says whether there is a dent just in front of antenna a that reflects more than a shows: what it shows may be what is
// not known of the dent.
func (b *bench) behindDent(found []Finding, a *antennaSeen) bool {
	return slices.ContainsFunc(found, func(f Finding) bool {
		if !f.IsFault || f.Cause != DentOrKink || !b.isAtEnd(f.DistanceM) {
			return false
		}
		v := b.verdict(&f)
		if v == nil {
			return false
		}
		p, _ := b.point(v)
		return p != nil && b.fit.RMS(p) > sweep.MagnitudeFromReturnLoss(a.worstDB)
	})
}

// hiddenByFault is said of an antenna just behind a fault.
const hiddenByFault = "the fault just in front of it hides how good the antenna is: sweep again after the repair"

// doubtful is the confidence in what the sweep shows without saying why.
const doubtful = 0.5
