package diagnose

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// A finding names the cause whose circuit explains the sweep best, and with it
// every other that may be the truth. How likely each is has two parts. As far as
// the model is complete, with the probability trusted, the shares of e^score count, that
// of each cause summed over its circuits. Where it is not, their likelihoods are worth
// no more than an order: causes are then the likelier the less theirs falls behind,
// as 1/(1 + behind), less what it takes to be there by chance, which is no likelihood, and one that reflects alike in most bands is in the
// running whether or not a circuit of it was fitted here. Common practice, no source.
const (
	alikeBehind      = 50.0  // natural units that a cause which is like the first and was not fitted is taken to be behind
	alikeStep        = 10.0  // and the next likely one farther
	leastAlternative = 0.003 // probability from which one is told
	mostAlternatives = 5
	cannotTell       = 4.5 // natural units within which one sweep does not tell two causes apart, three standard deviations
)

// alike lists what one port mistakes for each cause: what reflects alike over a
// band that is not wide, the likeliest first. D. M. Pozar, "Microwave Engineering",
// 4th ed., ch. 2 and 4 (from memory), for the circuits; which are mistaken in practice: no source.
func alike(c Cause) []Cause {
	switch c {
	case OpenCircuit:
		return []Cause{PoorContact}
	case ShortCircuit:
		return []Cause{WaterInConnector}
	case PoorContact:
		return []Cause{ConnectorMismatch, OpenCircuit}
	case ConnectorMismatch:
		return []Cause{WaterInConnector, DentOrKink}
	case WaterInConnector:
		return []Cause{ConnectorMismatch, DentOrKink}
	case WaterInCable:
		return []Cause{LossySection, DentOrKink}
	case DentOrKink:
		return []Cause{WrongImpedance, ConnectorMismatch, WaterInCable}
	case WrongImpedance:
		return []Cause{DentOrKink}
	case LossySection:
		return []Cause{WaterInCable, PoorContact}
	case AntennaFault:
		return []Cause{ConnectorMismatch, PoorContact}
	}
	return nil
}

// isCause says whether c is a fault that can be named.
func isCause(c Cause) bool {
	switch c {
	case Unnamed, Joint, Device, FarEnd, Ghost:
		return false
	}
	return true
}

// nameFinding gives f the causes of the trials, best first, with what each is
// likely where the model is complete with the probability trusted; also are causes that
// were not fitted here and are as near as the nearest that was.
func nameFinding(f *Finding, trials []trial, trusted float64, also ...Cause) {
	behind := map[Cause]float64{}
	share := map[Cause]float64{}
	chance := map[Cause]float64{}
	total := 0.0
	for _, t := range trials {
		late := trials[0].score - t.score
		if least, ok := behind[t.cause]; !ok || late < least {
			behind[t.cause], chance[t.cause] = late, t.chance
		}
		share[t.cause] += math.Exp(-late)
		total += math.Exp(-late)
	}
	for c := range share {
		share[c] *= trusted / total
	}
	f.Cause = trials[0].cause
	f.Confidence = share[f.Cause]
	delete(share, f.Cause)
	delete(behind, f.Cause)
	for _, c := range also {
		if _, tried := behind[c]; !tried && c != f.Cause {
			behind[c] = 0
		}
	}
	f.spread(share, behind, chance, 1-trusted)
	f.cannotBeTold(behind)
}

// nameAlone gives f, whose cause follows from its place and size alone, the
// others that it may be.
func nameAlone(f *Finding) { f.spread(nil, map[Cause]float64{}, nil, 1-f.Confidence) }

// spread makes the alternatives of f: of each cause its share, and of the rest so
// much as its being behind, and there by chance, leaves it.
func (f *Finding) spread(share, behind, chance map[Cause]float64, rest float64) {
	behind = maps.Clone(behind)
	of := func(c Cause) float64 { return math.Exp(-chance[c]) / (1 + math.Max(0, behind[c])) }
	for i, c := range alike(f.Cause) {
		if _, tried := behind[c]; !tried {
			behind[c] = alikeBehind + alikeStep*float64(i)
		}
	}
	causes := slices.Sorted(maps.Keys(behind)) // a sum in another order is another number
	total := 0.0
	for _, c := range causes {
		if isCause(c) {
			total += of(c)
		}
	}
	f.Alternatives = []Alternative{}
	for _, c := range causes {
		p := share[c]
		if isCause(c) {
			p += rest * of(c) / total
		}
		if p > leastAlternative {
			f.Alternatives = append(f.Alternatives, Alternative{c, p})
		}
	}
	slices.SortFunc(f.Alternatives, func(a, b Alternative) int {
		return cmp.Or(cmp.Compare(b.Confidence, a.Confidence), cmp.Compare(a.Cause, b.Cause))
	})
	f.Alternatives = f.Alternatives[:min(len(f.Alternatives), mostAlternatives)]
}

// evenOut makes no alternative of f likelier than its cause: the best circuit is one cause's, and several circuits together may
// make another's the likelier, which is to say that they are about as likely.
func (f *Finding) evenOut() {
	sum, count := f.Confidence, 1.0
	for _, a := range f.Alternatives {
		if a.Confidence <= sum/count {
			break
		}
		sum += a.Confidence
		count++
	}
	for i := range f.Alternatives {
		f.Alternatives[i].Confidence = math.Min(f.Alternatives[i].Confidence, sum/count)
	}
	f.Confidence = math.Max(f.Confidence, sum/count)
}

// cannotBeTold says in the evidence which causes this sweep does not tell from
// that of f, and what would.
func (f *Finding) cannotBeTold(behind map[Cause]float64) {
	for _, a := range f.Alternatives {
		if late, near := behind[a.Cause]; near && late < cannotTell && isCause(a.Cause) {
			f.Evidence = append(f.Evidence, fmt.Sprintf("one port cannot tell here whether it is %s or %s; what would: %s", f.Cause.Words(), a.Cause.Words(),
				strings.TrimSuffix(separate(f.Cause, a.Cause), ".")))
		}
	}
}
