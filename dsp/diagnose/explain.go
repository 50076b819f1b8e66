package diagnose

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"downlead/cables"
)

// considered is a circuit that was tried in place of a finding.
type considered struct {
	Cause     Cause
	Score     float64 // log posterior in natural units, to within a constant that all share
	Words     string  // the circuit as fitted, short: "series resistance 14 ± 2 ohm"
	Converged bool    // false: the fit found no rest, so that its score says little
}

// reasoning is what explain goes by beside the finding.
type reasoning struct {
	Considered []considered
	Path       *cables.Path
	Others     []Finding // all findings of the sweep; that at the same place is the finding itself
	// LowHz and HighHz bound the sweep; BudgetDB is the local return loss that is
	// no fault at this place, 0: not known.
	LowHz, HighHz float64
	BudgetDB      float64
	// ResidualRMS and NoiseRMS are what the whole model leaves unexplained and
	// what noise alone would, |Γ|; 0: not known.
	ResidualRMS, NoiseRMS float64
	Repaired              string // of repairedWords; empty: not worked out
}

// How far behind the best a circuit may be to remain possible, and when more
// is left than the noise. In natural units of log posterior: e⁵ is about 150.
const (
	remainsWithin = 5.0
	rivalLeast    = 0.03 // probability of an alternative from which it is told of as a rival
	residueFactor = 2.0
	neighbourM    = 3.0
	mostGhosts    = 4
)

// explain is the reasoning that led to f, in numbered sentences: what was seen
// and where, what the record and the neighbours say, what was tried with which
// result, what remains possible and what would settle it, and what is left
// unexplained.
func explain(f Finding, r reasoning) []string {
	var out []string
	say := func(format string, arguments ...any) {
		out = append(out, fmt.Sprintf("%d. ", len(out)+1)+fmt.Sprintf(format, arguments...))
	}
	if f.Cause == Ghost {
		say("%s", noWork(&f))
		return out
	}
	r.seen(f, say)
	r.record(f, say)
	r.neighbours(f, say)
	r.tried(f, say)
	r.remaining(f, say)
	r.residue(say)
	if r.Repaired != "" {
		say("%s.", capital(r.Repaired))
	}
	return out
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func (r *reasoning) seen(f Finding, say func(string, ...any)) {
	from := ""
	if f.FromFarEndM > 0 {
		from = fmt.Sprintf(" (%.2f m from the far end)", f.FromFarEndM)
	}
	at := atMetres(f.DistanceM, f.SigmaM) + " from the test port" + from
	if f.Cause == LossySection {
		say("Seen: the far end comes back weaker than the record says; what is lost is put into the stretch from %.2f m to %.2f m.", f.DistanceM, f.DistanceM+f.ExtentM)
		return
	}
	if !f.Reflects() {
		say("Seen: what lies behind comes later than the record says; what holds the wave up is put into the stretch from %.2f m to %.2f m.", f.DistanceM, f.DistanceM+f.ExtentM)
		return
	}
	text := "Seen: " + at + " the line reflects"
	if f.ExtentM > pointBelowM {
		text = fmt.Sprintf("Seen: from %s over %s the line reflects", at, atMetres(f.ExtentM, f.ExtentSigmaM))
	}
	text += fmt.Sprintf(" with a local return loss of %.1f dB", f.ReturnLossDB)
	if r.HighHz > r.LowHz {
		text += fmt.Sprintf(" and a phase of %.0f° at %s", f.PhaseDeg, hertz((r.LowHz+r.HighHz)/2))
	}
	text += ", the loss on the way taken out"
	if r.BudgetDB > 0 {
		text += fmt.Sprintf("; %.1f dB would be no fault here", r.BudgetDB)
	}
	say("%s.", text)
}

func (r *reasoning) record(f Finding, say func(string, ...any)) {
	if r.Path == nil || f.Cause == AntennaFault {
		return
	}
	joints := r.Path.JointsM()
	near := joints[0]
	for _, x := range joints {
		if math.Abs(x-f.DistanceM) < math.Abs(near-f.DistanceM) {
			near = x
		}
	}
	off := math.Abs(near - f.DistanceM)
	place := "test port"
	switch i := slices.Index(joints, near); {
	case i == len(joints)-1:
		place = "far end"
	case i > 0:
		place = "joint " + r.Path.Spans[i-1].Name + " / " + r.Path.Spans[i].Name
	}
	switch {
	case off <= math.Max(reachM, 2*f.SigmaM):
		say("Record: the %s is at %.2f m, %.2f m away, which the sweep cannot tell from the finding; so what happens in connectors was tried as well, at that joint.", place, near, off)
	default:
		s := r.Path.Spans[r.Path.SpanAt(f.DistanceM)]
		say("Record: the nearest joint, the %s at %.2f m, is %.2f m away; the finding lies in %s, where there are no connectors to blame unless the record is wrong.", place, near, off, s.Name)
	}
}

func (r *reasoning) neighbours(f Finding, say func(string, ...any)) {
	self := func(o *Finding) bool { return o.DistanceM == f.DistanceM && o.Cause == f.Cause }
	var near []string
	var ghosts []float64
	hidden := ""
	for i := range r.Others {
		o := &r.Others[i]
		switch {
		case self(o):
		case o.Cause == Ghost:
			for _, x := range o.GhostOf {
				if x > 0 && math.Abs(x-f.DistanceM) <= math.Max(reachM, 2*f.SigmaM) {
					ghosts = append(ghosts, o.DistanceM)
					break
				}
			}
		case (o.Cause == OpenCircuit || o.Cause == ShortCircuit) && o.DistanceM < f.DistanceM:
			hidden = fmt.Sprintf("Neighbours: a total reflection at %.2f m stands in front of this, so hardly anything that is seen here can be relied on.", o.DistanceM)
		case math.Abs(o.DistanceM-f.DistanceM) <= neighbourM:
			what := o.Cause.Words()
			if o.Cause == Unnamed && !o.IsFault {
				what = "small reflection"
			}
			near = append(near, fmt.Sprintf("%s at %.2f m (%.1f dB)", what, o.DistanceM, o.ReturnLossDB))
		}
	}
	if hidden != "" {
		say("%s", hidden)
	}
	if len(near) > 0 {
		say("Neighbours: %s; they were fitted together with it, as what one of them takes the other does not get.", strings.Join(near, ", "))
	}
	if len(ghosts) > 0 {
		slices.Sort(ghosts)
		var places []string
		for _, x := range ghosts[:min(len(ghosts), mostGhosts)] {
			places = append(places, fmt.Sprintf("%.2f m", x))
		}
		text := strings.Join(once(places), ", ")
		if more := len(ghosts) - mostGhosts; more > 0 {
			text += fmt.Sprintf(" and %d more places", more)
		}
		say("Ghosts: what shows at %s is this reflection bouncing once more, and is counted nowhere else.", text)
	}
}

// ranked is the best converged trial of each cause, best first, and the causes
// whose fits never came to rest.
func (r *reasoning) ranked() (best []considered, restless []Cause) {
	sorted := slices.Clone(r.Considered)
	slices.SortStableFunc(sorted, func(a, b considered) int { return cmp.Compare(b.Score, a.Score) })
	has := func(c Cause) bool {
		return slices.ContainsFunc(best, func(b considered) bool { return b.Cause == c })
	}
	for _, c := range sorted {
		if c.Converged && !has(c.Cause) {
			best = append(best, c)
		}
	}
	for _, c := range sorted {
		if !c.Converged && !has(c.Cause) && !slices.Contains(restless, c.Cause) {
			restless = append(restless, c.Cause)
		}
	}
	return best, restless
}

// odds says a difference of log posteriors.
func odds(behind float64) string {
	switch n := math.Exp(behind); {
	case behind < 0.4:
		return "as likely as the best"
	case n < 10:
		return fmt.Sprintf("%s times less likely", decimals(n, 1))
	case n < 1e6:
		return fmt.Sprintf("about %s times less likely", decimals(n, -int(math.Floor(math.Log10(n)))))
	}
	return "more than a million times less likely"
}

func (r *reasoning) tried(f Finding, say func(string, ...any)) {
	best, restless := r.ranked()
	if len(best) > 0 {
		say("Best of %d circuits that were fitted here: %s%s.", len(r.Considered), best[0].Cause.Words(), behindColon(best[0].Words))
		for _, c := range best[1:] {
			say("Tried: %s%s; %s (log posterior %.1f behind).", c.Cause.Words(), behindColon(c.Words), odds(best[0].Score-c.Score), best[0].Score-c.Score)
		}
	}
	if len(restless) > 0 {
		var names []string
		for _, c := range restless {
			names = append(names, c.Words())
		}
		say("Tried without the fit's coming to rest, so neither shown nor ruled out: %s.", strings.Join(names, ", "))
	}
	if len(r.Considered) == 0 && f.Reflects() && f.Cause != AntennaFault {
		say("No circuit was fitted here: the name follows from the size, the sign and the place of the reflection alone.")
	}
}

func behindColon(words string) string {
	if words == "" {
		return ""
	}
	return ", " + words
}

func (r *reasoning) remaining(f Finding, say func(string, ...any)) {
	var rivals []Cause
	best, _ := r.ranked()
	for _, c := range best {
		if c.Cause != f.Cause && best[0].Score-c.Score < remainsWithin {
			rivals = append(rivals, c.Cause)
		}
	}
	for _, a := range f.Alternatives {
		if a.Confidence >= rivalLeast && !slices.Contains(rivals, a.Cause) {
			rivals = append(rivals, a.Cause)
		}
	}
	if len(rivals) == 0 {
		say("Nothing else that was tried comes near: %s stands by itself, with a confidence of %.0f %%.", f.Cause.Words(), 100*f.Confidence)
		return
	}
	for _, c := range rivals {
		say("Still possible: %s. What tells it from %s: %s", c.Words(), f.Cause.Words(), separate(f.Cause, c))
	}
}

func (r *reasoning) residue(say func(string, ...any)) {
	if !(r.ResidualRMS > 0) {
		return
	}
	text := fmt.Sprintf("Left over: the whole model leaves %.1f dB (rms |Γ|) unexplained", 20*math.Log10(r.ResidualRMS))
	if !(r.NoiseRMS > 0) {
		say("%s.", text)
		return
	}
	times := r.ResidualRMS / r.NoiseRMS
	text += fmt.Sprintf(", %.1f times the noise of a point", times)
	if times > residueFactor {
		say("%s: something on this line is not in the model yet, and the name counts for less.", text)
		return
	}
	say("%s: next to nothing but noise.", text)
}

// causePair is two causes, in either order.
type causePair struct{ a, b Cause }

// separations says which measurement tells two causes apart. Common practice, no source.
func separations() map[causePair]string {
	const (
		replaceLoad = "put a known good termination in place of the antenna: what stays is the line's, what goes is the antenna's."
		megohms     = "measure the resistance between the conductors, the line dead, its far end open, arrestors and grounded antennas off: only water, or a bridge of metal, conducts."
		lowest      = "sweep again down to the lowest frequency there is: a resistance reflects the same there, an inductance or a capacitance hardly at all."
		endShort    = "repeat with a short and with an open at the far end: electrical length and loss of the stretch show, and water both slows and loses."
		widest      = "sweep a wider band and lay a tape along the cable: the place is either at the joint or beside it."
		loopOhms    = "measure the loop's resistance, the line dead and its far end shorted: a bad contact or an open shows in ohms."
		dryAndWet   = "sweep again after dry weather and after rain, and look inside: only water changes."
		print       = "read the print on the jacket at both ends of the stretch and hold it against the record."
	)
	return map[causePair]string{
		{PoorContact, ConnectorMismatch}:      lowest + " And tap the connector while watching: a contact jumps.",
		{PoorContact, WaterInConnector}:       "at direct current the two differ: " + loopOhms + " Then " + megohms,
		{PoorContact, OpenCircuit}:            loopOhms,
		{PoorContact, DentOrKink}:             lowest,
		{PoorContact, WrongImpedance}:         lowest,
		{PoorContact, LossySection}:           lowest + " A loss along the cable shrinks towards low frequencies instead.",
		{PoorContact, AntennaFault}:           replaceLoad,
		{ConnectorMismatch, WaterInConnector}: dryAndWet + " Or " + megohms,
		{ConnectorMismatch, DentOrKink}:       widest,
		{ConnectorMismatch, WrongImpedance}:   widest + " A stretch has two edges, which a wide band parts.",
		{ConnectorMismatch, AntennaFault}:     replaceLoad,
		{WaterInConnector, AntennaFault}:      replaceLoad,
		{WaterInConnector, ShortCircuit}:      megohms,
		{WaterInConnector, WaterInCable}:      widest + " " + capital(endShort),
		{WaterInConnector, DentOrKink}:        widest + " " + capital(megohms),
		{WaterInCable, DentOrKink}:            endShort + " A dent does neither.",
		{WaterInCable, WrongImpedance}:        endShort + " " + capital(print),
		{WaterInCable, LossySection}:          endShort + " Other loss leaves the electrical length as it was.",
		{WaterInCable, AntennaFault}:          replaceLoad,
		{DentOrKink, WrongImpedance}:          widest + " Or " + print,
		{DentOrKink, AntennaFault}:            replaceLoad,
		{WrongImpedance, AntennaFault}:        replaceLoad,
		{WrongImpedance, LossySection}:        print,
		{LossySection, AntennaFault}:          "put a short in place of the antenna and sweep again: a mirror shows what the line loses, and an antenna may swallow power by itself.",
		{OpenCircuit, AntennaFault}:           replaceLoad,
		{ShortCircuit, AntennaFault}:          replaceLoad,
		{OpenCircuit, ShortCircuit}:           "their signs are opposite: check the calibration, whose open and short may have been exchanged, and then " + loopOhms,
	}
}

// separate names the measurement that tells a from b.
func separate(a, b Cause) string {
	table := separations()
	if words, ok := table[causePair{a, b}]; ok {
		return words
	}
	if words, ok := table[causePair{b, a}]; ok {
		return words
	}
	return "repeat the sweep with a short and with an open at the far end, over a wider and a lower band; what still fits both is settled by opening the place."
}
