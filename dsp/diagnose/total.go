package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// A total reflection is the end of what can be seen: the line ends there, open
// but for what leaks across and a stray capacitance, or in the little resistance
// and inductance of a short. The two differ by their sign, which a quarter of a
// wave of place turns round: each sign is begun from its own places, on both
// sides of where the reflection was located, and the slope of the phase over
// frequency decides, with what the record says of the place.
//
// How such ends are, one standard deviation. Common practice, no source.
const (
	endLeaksSigma   = 0.1     // of y or z: 2 mS or 5 ohm at 50 ohm
	openStrayF      = 0.2e-12 // stray capacitance
	shortLoopH      = 0.5e-9  // inductance of a short
	totalLeast      = 0.5     // |Γ| from which it is worth trying, loss that is not in the record included
	totalAtJoint    = 0.7     // share of opens and shorts that are at joints
	totalEndIsSound = 0.9     // share of the opens and shorts at an open or shorted end that are that end
	endMoved        = 0.1     // share of the lines with a fault whose end a stretch moves
	endSuffices     = 1.2     // times what the free points of locating leave: no other thing need be tried
	endReachCells   = 1.5     // how far from where it was located a total reflection may be
	endStarts       = 3       // places of each sign that are fitted,
	endBehind       = 1000    // unless so many natural units behind before that
)

// endAt returns the end of the line, of the given form, at x. It is not in the
// model yet.
func (b *bench) endAt(x float64, form linemodel.Form) *linemodel.Point {
	fit := b.fit
	p := fit.NewPoint(x, form)
	p.Flat = 0.02
	p.Fits = linemodel.Fitting(linemodel.ByFlat, linemodel.ByRising, linemodel.ByFalling, linemodel.ByPlace)
	p.Prior[linemodel.ByFlat].Sigma = endLeaksSigma
	p.Prior[linemodel.ByRising].Sigma = straySigma(fit, form)
	p.Prior[linemodel.ByFalling].Sigma = soundLossNp(fit, x)
	fit.Sample(p)
	return p
}

// straySigma is one standard deviation of the stray capacitance of an open end or
// the inductance of a short, over the line's impedance at the middle of the span.
func straySigma(fit *linemodel.Fit, form linemodel.Form) float64 {
	if form == linemodel.ShortEnd {
		return 2 * math.Pi * fit.MiddleHz * shortLoopH / fit.Path.ReferenceOhm
	}
	return 2 * math.Pi * fit.MiddleHz * openStrayF * fit.Path.ReferenceOhm
}

// soundLossNp is what the way to x and back may lose beyond the record, Np at
// the middle of the span. Common practice, no source: cable holds to 5 % of its
// sheet, and joints add a little.
func soundLossNp(fit *linemodel.Fit, x float64) float64 {
	return 0.01 + 0.05*2*real(fit.Path.Theta(fit.MiddleHz, math.Max(0, x)))
}

// ends tries the two kinds of total reflection in place of the points of c.
func (b *bench) ends(c *cluster) []trial {
	first, last := c.points[0], c.points[0]
	for _, p := range c.points {
		if p.X < first.X {
			first = p
		}
		if p.X > last.X {
			last = p
		}
	}
	if meanSquare(first.Local, b.fit.Weight) < totalLeast*totalLeast {
		return nil
	}
	reach := endReachCells * b.fit.Cell(first.X)
	from, to := first.X-reach, last.X+reach
	if meanSquare(c.points[0].Local, b.fit.Weight) > totalLeast*totalLeast {
		first = c.points[0] // nearer to the end: the cable may change on the way
	}
	out := b.endsBetween(c.points, from, to, first.X, first.Local)
	if c.head().Kind != locate.AtFarEnd || b.load != cables.Open && b.load != cables.Short {
		return out
	}
	// Most total reflections at an open or shorted end are that end.
	for _, t := range slices.Clone(out) {
		if b.recorded(t.point) {
			end := t
			end.cause = FarEnd
			end.score += math.Log(totalEndIsSound) + b.endOdds(t.point.X) - b.placeOdds(t.point.X)
			out = append(out, end)
		}
	}
	for i := range out {
		if out[i].cause != FarEnd {
			out[i].score += math.Log(1 - totalEndIsSound)
		}
	}
	return out
}

// recorded says whether p is an end of the recorded kind.
func (b *bench) recorded(p *linemodel.Point) bool {
	return p.Form == linemodel.OpenEnd && b.load == cables.Open || p.Form == linemodel.ShortEnd && b.load == cables.Short
}

// isTheEnd says whether t is a circuit that turns back all where the record has the line end so.
func (b *bench) isTheEnd(t trial) bool {
	length := b.path.LengthM()
	return math.Abs(t.point.X-length) < 3*placeSigma(length) && (t.cause == OpenCircuit && b.load == cables.Open || t.cause == ShortCircuit && b.load == cables.Short)
}

// endsBetween tries an open and a short between from and to in place of the
// points of instead; seen is what comes back at x. They are named by their sign
// and weighed by their place.
func (b *bench) endsBetween(instead []*linemodel.Point, from, to, x float64, seen []complex128) []trial {
	seen = slices.Clone(seen)
	held := b.fit.Save()
	var out []trial
	for _, form := range []linemodel.Form{linemodel.OpenEnd, linemodel.ShortEnd} {
		for _, x := range b.endPlaces(instead, from, to, x, seen, form) {
			t := b.try(instead, b.endAt(x, form))
			t.cause = OpenCircuit
			if form == linemodel.ShortEnd {
				t.cause = ShortCircuit
			}
			t.score += b.placeOdds(t.point.X) - float64(count(t.point.Fits))
			out = append(out, t)
			b.fit.Restore(held)
		}
	}
	return out
}

// placeOdds is the log of how likely a total reflection is at x, over how likely
// it is just at a joint whose place is known: at joints, to within their
// places' tolerance, or anywhere on the line.
func (b *bench) placeOdds(x float64) float64 {
	joint, ok := nearest(b.joints, x)
	if !ok {
		return 0
	}
	sigma := placeSigma(joint)
	u := (x - joint) / sigma
	anywhere := (1 - totalAtJoint) * math.Sqrt(2*math.Pi) * sigma / b.path.LengthM()
	if x > b.path.LengthM() { // there is no line
		anywhere = 0
	}
	return math.Log(totalAtJoint*math.Exp(-u*u/2) + anywhere + 1e-12)
}

// endOdds is the same of the line's own end, which a stretch that slows the wave
// may show farther out than it is.
func (b *bench) endOdds(x float64) float64 {
	length := b.path.LengthM()
	sigma := placeSigma(length)
	u := (x - length) / sigma
	moved := 0.0
	if x > length && x < length+mostVelocityChange*wetMostM {
		moved = endMoved * math.Sqrt(2*math.Pi) * sigma / (mostVelocityChange * wetMostM)
	}
	return math.Log((1-endMoved)*math.Exp(-u*u/2) + moved + 1e-12)
}

// endsEarly makes a fault of the end of the line that lies farther in front of where the record has it than
// lengths and velocities allow: the line ends there as its own end does, and not at its end. A stretch of another velocity moves it.
func (b *bench) endsEarly(found []Finding) {
	cause := map[cables.LoadKind]Cause{cables.Open: OpenCircuit, cables.Short: ShortCircuit}[b.load]
	if cause == "" || slowed(found) {
		return
	}
	length := b.path.LengthM()
	for i := range found {
		f := &found[i]
		if f.Cause != FarEnd || length-f.DistanceM < earlySigmas*placeSigma(length) || f.ReturnLossDB > totalDB {
			continue
		}
		odds := math.Exp(math.Log(1-totalEndIsSound) + b.placeOdds(f.DistanceM) - math.Log(totalEndIsSound) - b.endOdds(f.DistanceM))
		if odds < 1 {
			continue
		}
		f.Cause, f.IsFault, f.Confidence = cause, true, trust(1)*odds/(1+odds)
		f.Place, _ = b.placeAt(f.DistanceM)
		f.Evidence = append(f.Evidence, fmt.Sprintf("it reflects all, as the end of the line does, but lies %.2f m in front of that, where lengths and velocities allow %.2f m (one standard deviation)", length-f.DistanceM, placeSigma(length)))
	}
}

// earlySigmas is how many standard deviations the end of a line may lie in front of where the record has it.
const earlySigmas = 3.5

// endPlaces lists where between from and to an end of the given form may be
// begun instead of the given points: where its echo has the phase of seen, which
// is what comes back at x, at the middle of the span, half a wave apart; those
// that fit best.
func (b *bench) endPlaces(instead []*linemodel.Point, from, to, x float64, seen []complex128, form linemodel.Form) []float64 {
	fit := b.fit
	middle := sort.SearchFloat64s(fit.Ratio, 1)
	beta := fit.Beta0[fit.SpanAt(x)] * fit.Ratio[middle]
	phase := cmplx.Phase(seen[middle])
	if form == linemodel.ShortEnd {
		phase -= math.Pi
	}
	period := math.Pi / beta
	from, to = math.Max(-frontSlackM, from-period/2), to+period/2
	begin := x - math.Remainder(phase, 2*math.Pi)/(2*beta)
	begin += period * math.Ceil((from-begin)/period)
	var places []float64
	cost := map[float64]float64{}
	held := fit.Save()
	for at := begin; at < to && !fit.Over(); at += period {
		p := b.endAt(math.Max(0, at), form)
		b.replace(instead, p)
		fit.Refine([]*linemodel.Point{p}, false, false, 2)
		places, cost[p.X] = append(places, p.X), fit.Cost
		fit.Restore(held)
	}
	sort.Slice(places, func(i, j int) bool { return cost[places[i]] < cost[places[j]] })
	kept := min(len(places), endStarts)
	for kept > 1 && cost[places[kept-1]]-cost[places[0]] > endBehind*b.unit {
		kept--
	}
	return places[:kept]
}

// frontSlackM is how far in front of the port a place at the port may seem to
// be, m: how well the reference plane is known. Common practice, no source.
const frontSlackM = 0.02

// meanSquare is the weighted mean square of v.
func meanSquare(v []complex128, weight []float64) float64 {
	total := 0.0
	for _, w := range weight {
		total += w
	}
	return weighed(v, weight) / total
}

// weighed is the weighted sum of the squares of v.
func weighed(v []complex128, weight []float64) float64 {
	sum := 0.0
	for k, c := range v {
		sum += weight[k] * (real(c)*real(c) + imag(c)*imag(c))
	}
	return sum
}

// endsForTotals leaves out of trials the other circuits that reflect everything,
// where an end of the same sign was tried: a circuit that lets through as good as
// nothing fits noise with what lies behind it, and says no more. A parted contact
// stays that explains more by what still passes it.
func endsForTotals(trials []trial) []trial {
	best := map[Cause]float64{}
	for _, t := range trials {
		if was, ok := best[t.cause]; t.point.Form.Ends() && (!ok || t.score > was) {
			best[t.cause] = t.score
		}
	}
	return slices.DeleteFunc(trials, func(t trial) bool {
		end, ok := best[t.cause]
		contact := t.point.Form == linemodel.Series && t.point.Rising == 0
		return ok && !t.point.Form.Ends() && !(contact && t.score > end+endGain)
	})
}

// isTotal says whether t is an open, a short or the end of the line, behind which
// nothing is seen.
func (b *bench) isTotal(t trial) bool {
	return (t.cause == OpenCircuit || t.cause == ShortCircuit || t.cause == FarEnd) && hides(t.point)
}

// blocked says whether an open or a short was named, which hides the end.
func (b *bench) blocked() bool {
	return slices.ContainsFunc(b.named, func(v *verdictOf) bool { return v.trials[0].cause != FarEnd && b.isTotal(v.trials[0]) })
}
