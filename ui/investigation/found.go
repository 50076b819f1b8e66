package investigation

import (
	"fmt"
	"math"

	"downlead/dsp/diagnose"
)

// Found is what a run found, in short.
type Found struct {
	WithinLimit bool
	WorstVSWR   float64
	AtHz        float64
	LimitVSWR   float64 // 0: the line has none
	Faults      []FoundFault
}

// FoundFault is a fault in short.
type FoundFault struct {
	Cause      diagnose.Cause
	DistanceM  float64 // to a millimetre, as the next two
	SigmaM     float64
	ExtentM    float64
	Confidence float64 // to a hundredth
	Place      string
}

// How finely findings and places are kept.
const (
	lengthStepM    = 1e-3
	frequencyStep  = 1.0
	confidenceStep = 0.01
	vswrStep       = 0.001
)

func roundTo(v, step float64) float64 { return math.Round(v/step) / math.Round(1/step) }

// FoundBy returns findings in short; nil for nil.
func FoundBy(f *diagnose.Findings) *Found {
	if f == nil {
		return nil
	}
	v := f.Verdict
	out := &Found{WithinLimit: v.Passes, WorstVSWR: roundTo(v.WorstVSWR, vswrStep), AtHz: roundTo(v.AtHz, frequencyStep), LimitVSWR: roundTo(v.LimitVSWR, vswrStep)}
	for _, one := range f.Findings {
		if one.IsFault && len(out.Faults) < mostFaults {
			out.Faults = append(out.Faults, FoundFault{one.Cause, roundTo(one.DistanceM, lengthStepM), roundTo(one.SigmaM, lengthStepM),
				roundTo(one.ExtentM, lengthStepM), roundTo(one.Confidence, confidenceStep), one.Place})
		}
	}
	return out
}

// sameVSWR is how far two runs of the same sweep may differ and agree.
const sameVSWR = 0.01

// Differs says in sentences where a run disagrees with what was found before,
// places with uncertainties in metres; none where it agrees. A place agrees within
// three standard deviations of both, and what any two faults may be apart, near.
func (f *Found) Differs(now *diagnose.Findings) []string {
	if f == nil || now == nil {
		return nil
	}
	var all []string
	v := now.Verdict
	if math.Abs(v.WorstVSWR-f.WorstVSWR) > sameVSWR || v.Passes != f.WithinLimit {
		all = append(all, fmt.Sprintf("the file holds a worst VSWR of %.2f, %s; this run finds %.2f, %s", f.WorstVSWR, within(f.WithinLimit), v.WorstVSWR, within(v.Passes)))
	}
	var faults []diagnose.Finding
	for _, one := range now.Findings {
		if one.IsFault {
			faults = append(faults, one)
		}
	}
	met := make([]bool, len(faults))
	for _, old := range f.Faults {
		k := nearestFault(&old, faults, met)
		if k < 0 {
			all = append(all, fmt.Sprintf("the file holds %s at %.2f ± %.2f m; this run does not find a fault there", old.Cause.Words(), old.DistanceM, old.SigmaM))
			continue
		}
		met[k] = true
		if faults[k].Cause != old.Cause {
			all = append(all, fmt.Sprintf("the file holds %s at %.2f ± %.2f m; this run finds %s there", old.Cause.Words(), old.DistanceM, old.SigmaM, faults[k].Cause.Words()))
		}
	}
	for k, one := range faults {
		if !met[k] {
			all = append(all, fmt.Sprintf("this run finds %s at %.2f ± %.2f m, which the file does not hold", one.Cause.Words(), one.DistanceM, one.SigmaM))
		}
	}
	return all
}

func within(limit bool) string {
	if limit {
		return "within the limit"
	}
	return "out of the limit"
}

// nearestFault returns the fault that agrees best with an earlier one and was not
// met yet: one of its cause before one of another; -1 without any.
func nearestFault(old *FoundFault, faults []diagnose.Finding, met []bool) int {
	best, least := -1, math.Inf(1)
	for k, one := range faults {
		off := math.Abs(one.DistanceM - old.DistanceM)
		if met[k] || off > 3*math.Hypot(one.SigmaM, old.SigmaM)+0.1 {
			continue
		}
		if one.Cause != old.Cause {
			off += 1e3
		}
		if off < least {
			best, least = k, off
		}
	}
	return best
}
