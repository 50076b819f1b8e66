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

// maskedReturnLossDB is the return loss that a load of loadDB shows through a
// line that loses oneWayLossDB: loadDB + 2·oneWayLossDB. From |Γ(0)| =
// |Γ(ℓ)|·e^{−2αℓ}; D. M. Pozar, "Microwave Engineering", 4th ed., ch. 2.7 (the
// terminated lossy line), from memory. Nothing else on the line may reflect.
func maskedReturnLossDB(loadDB, oneWayLossDB float64) float64 { return loadDB + 2*oneWayLossDB }

// maskingWords says in numbers how the loss of the line hides what its antenna
// does: measured at the port, and with the line's loss removed, in the
// antenna's band. excessDB is what the line loses one way beyond its record, at
// the middle of the sweep, growing with the root of frequency. nil for a line
// without an antenna of stated band, or where the sweep or the fit does not show it.
func maskingWords(s *sweep.Sweep, line *cables.Line, fit *linemodel.Fit, excessDB float64) []string {
	low, high := line.Load.BandHz[0], line.Load.BandHz[1]
	if line.Load.Kind != cables.Antenna || !(high > low) || fit.Load == nil {
		return nil
	}
	loss := func(f float64) float64 {
		return real(fit.Path.Theta(f, fit.Load.X))/cables.NeperPerDB + excessDB*math.Sqrt(f/fit.MiddleHz)
	}
	own, ownAt := math.Inf(1), 0.0
	for k, f := range fit.FrequencyHz {
		if f < low || f > high || fit.Weight[k] == 0 {
			continue
		}
		if db := sweep.ReturnLossFromMagnitude(cmplx.Abs(fit.Load.Gamma[k])) - 2*excessDB*math.Sqrt(f/fit.MiddleHz); db < own {
			own, ownAt = db, f
		}
	}
	if math.IsInf(own, 1) {
		return nil
	}
	own = math.Max(0, own)
	port := judge(s, line)
	middle := (low + high) / 2
	oneWay := loss(middle)
	words := []string{
		fmt.Sprintf("the line loses %.1f dB one way at %s%s, so what the antenna throws back reaches the port %.1f dB weaker",
			oneWay, hertz(middle), map[bool]string{true: ", the excess found included", false: " by its record"}[excessDB > 0], 2*oneWay),
		fmt.Sprintf("worst return loss over %s: %.1f dB (VSWR %.2f) at the port, %.1f dB (VSWR %s) at the antenna's connector at %s with the line's loss removed",
			bandWords(port.LowHz, port.HighHz), sweep.ReturnLossFromVSWR(port.WorstVSWR), port.WorstVSWR, own, ratioWords(own), hertz(ownAt)),
	}
	if recorded := line.Load.ReturnLossDB; recorded > 0 {
		words[1] += fmt.Sprintf("; the record gives it %.1f dB", recorded)
	}
	blind := maskedReturnLossDB(0, oneWay)
	text := fmt.Sprintf("a total reflection in the antenna's place would read %.1f dB (VSWR %s) at the port", blind, ratioWords(blind))
	if port.LimitVSWR > 1 {
		limit := sweep.ReturnLossFromVSWR(port.LimitVSWR)
		switch bare := limit - 2*oneWay; {
		case bare <= 0:
			text += fmt.Sprintf(": the port's limit of VSWR %.2f (%.1f dB) cannot tell any antenna from none", port.LimitVSWR, limit)
		default:
			text += fmt.Sprintf(", and the port's limit of VSWR %.2f (%.1f dB) lets an antenna of %.1f dB (VSWR %s) pass", port.LimitVSWR, limit, bare, ratioWords(bare))
		}
	}
	return append(words, text)
}

// ratioWords is the VSWR of a return loss.
func ratioWords(returnLossDB float64) string {
	vswr := sweep.VSWRFromReturnLoss(returnLossDB)
	if vswr > 100 {
		return "over 100"
	}
	return fmt.Sprintf("%.2f", vswr)
}

// withoutPoints is the sweep as it would be with the given points taken out of
// the model, which is left as it was. What the model leaves unexplained is kept,
// except at points that were recognised as interference. s must be the sweep that
// was fitted. nil where one of the points lets next to nothing through: what is
// behind it is not known.
func withoutPoints(fit *linemodel.Fit, remove []*linemodel.Point, s *sweep.Sweep) *sweep.Sweep {
	if len(remove) == 0 || slices.ContainsFunc(remove, hides) {
		return nil
	}
	return changedSweep(fit, s, func() {
		for _, p := range remove {
			fit.Remove(p)
		}
	})
}

// withAntenna is the sweep as it would be if the antenna reflected no more than
// returnLossDB in its band; nil for a line without such an antenna.
func withAntenna(fit *linemodel.Fit, returnLossDB float64, s *sweep.Sweep, line *cables.Line) *sweep.Sweep {
	low, high := line.Load.BandHz[0], line.Load.BandHz[1]
	if fit.Load == nil || !(high > low) {
		return nil
	}
	most := sweep.MagnitudeFromReturnLoss(returnLossDB)
	return changedSweep(fit, s, func() {
		for k, f := range fit.FrequencyHz {
			if a := cmplx.Abs(fit.Load.Gamma[k]); f >= low && f <= high && a > most {
				fit.Load.Gamma[k] *= complex(most/a, 0)
			}
		}
	})
}

// changedSweep is the sweep as it would be with the model changed.
func changedSweep(fit *linemodel.Fit, s *sweep.Sweep, change func()) *sweep.Sweep {
	held := fit.Save()
	fit.Forward()
	gamma := make([]complex128, len(s.Gamma))
	for k, g := range s.Gamma {
		if fit.Weight[k] > 0 {
			gamma[k] = g - fit.Sum[k]
		}
	}
	change()
	fit.Forward()
	for k := range gamma {
		gamma[k] += fit.Sum[k]
	}
	fit.Restore(held)
	return &sweep.Sweep{Name: s.Name, FrequencyHz: s.FrequencyHz, Gamma: gamma, ReferenceOhm: s.ReferenceOhm, Correction: s.Correction}
}

// modelled is the sweep as the fitted line gives it.
func modelled(fit *linemodel.Fit, s *sweep.Sweep) *sweep.Sweep {
	fit.Forward()
	return &sweep.Sweep{Name: s.Name + ", model", FrequencyHz: s.FrequencyHz, Gamma: slices.Clone(fit.Sum), ReferenceOhm: s.ReferenceOhm, Correction: sweep.Corrected}
}

// hiddenDB is the loss there and back through a point from which on it counts
// as hiding what is behind it. Common practice, no source: what comes back from
// behind is then as weak as the instrument's own errors.
const hiddenDB = 20.0

// hides says whether next to nothing passes p.
func hides(p *linemodel.Point) bool {
	if p.Form.Ends() || p.Form == linemodel.Step && math.Abs(p.Flat) >= totalAbove {
		return true
	}
	sum := 0.0
	for _, t := range p.Through {
		sum += cmplx.Abs(t)
	}
	return sum < math.Pow(10, -hiddenDB/20)*float64(len(p.Through))
}

// repairedWords says the verdict of a repair; what names it: "this fault".
func repairedWords(what string, before, after Verdict, ok bool) string {
	if !ok {
		return fmt.Sprintf("whether repairing %s is enough cannot be told: it hides what lies behind it; sweep again after the repair", what)
	}
	text := fmt.Sprintf("if %s were repaired, the worst VSWR at the port would be %s at %s instead of %s", what, vswrWords(after), hertz(after.AtHz), vswrWords(before))
	switch {
	case after.LimitVSWR == 0:
		return text
	case after.Passes && before.Passes:
		return text + fmt.Sprintf("; the limit of %.2f is kept either way", after.LimitVSWR)
	case after.Passes:
		return text + fmt.Sprintf(", inside the limit of %.2f: it explains the failure", after.LimitVSWR)
	case before.Passes:
		return text + fmt.Sprintf(", outside the limit of %.2f: the loss and the echoes of this fault hide another reflection", after.LimitVSWR)
	}
	return text + fmt.Sprintf(", still outside the limit of %.2f: it is not all that is wrong", after.LimitVSWR)
}

func vswrWords(v Verdict) string {
	if v.WorstVSWR > 100 {
		return "over 100"
	}
	return fmt.Sprintf("%.2f", v.WorstVSWR)
}
