package diagnose

import (
	"context"
	"fmt"
	"math"
	"time"

	"downlead/cables"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// Run is the whole main job: sweep and line to findings. It gives up with
// ctx's error when ctx ends.
func Run(ctx context.Context, s *sweep.Sweep, line *cables.Line, settings Settings) (*Findings, error) {
	begun := time.Now()
	if settings.LowHz > 0 || settings.HighHz > 0 {
		var err error
		if s, err = s.Band(settings.LowHz, settings.HighHz); err != nil {
			return nil, err
		}
	}
	path, err := line.Path()
	if err != nil {
		return nil, err
	}
	found, err := locate.Find(ctx, s, locate.Line{Path: path, Load: line.Load, OpenEnded: line.Load.Kind == ""},
		locate.Settings{ToM: settings.RangeM})
	if err != nil {
		return nil, err
	}
	out := &Findings{Schema: Schema, Warnings: append([]string(nil), s.Warnings...), Findings: []Finding{}}
	for _, k := range found.LeftOut {
		out.LeftOutHz = append(out.LeftOutHz, s.FrequencyHz[k])
	}
	out.Verdict = judge(s, line)
	for _, r := range found.Reflections {
		out.Findings = append(out.Findings, finding(r))
	}
	for _, r := range found.Echoes {
		out.Findings = append(out.Findings, finding(r))
	}
	out.RuntimeS = time.Since(begun).Seconds()
	return out, nil
}

// total stands for an infinite VSWR in numbers.
const total = 9999

// judge holds the sweep against the line's limit: in the antenna's band, over
// the whole sweep without one.
func judge(s *sweep.Sweep, line *cables.Line) Verdict {
	v := Verdict{LowHz: s.FrequencyHz[0], HighHz: s.FrequencyHz[len(s.FrequencyHz)-1], LimitVSWR: line.Limits.VSWR}
	if v.LimitVSWR == 0 && line.Limits.ReturnLossDB > 0 {
		v.LimitVSWR = sweep.VSWRFromReturnLoss(line.Limits.ReturnLossDB)
	}
	if band := line.Load.BandHz; line.Load.Kind == cables.Antenna && band[1] > band[0] {
		v.LowHz, v.HighHz = math.Max(v.LowHz, band[0]), math.Min(v.HighHz, band[1])
	}
	worst := -1.0
	for k, f := range s.FrequencyHz {
		if f < v.LowHz || f > v.HighHz {
			continue
		}
		if a := real(s.Gamma[k])*real(s.Gamma[k]) + imag(s.Gamma[k])*imag(s.Gamma[k]); a > worst {
			worst, v.AtHz = a, f
		}
	}
	v.WorstVSWR = math.Min(total, sweep.VSWRFromMagnitude(math.Sqrt(math.Max(0, worst))))
	v.Passes = v.LimitVSWR == 0 || v.WorstVSWR <= v.LimitVSWR
	return v
}

// finding puts a reflection into the terms of a finding.
func finding(r locate.Reflection) Finding {
	f := Finding{DistanceM: r.DistanceM, SigmaM: r.SigmaM, ExtentM: r.ExtentM, ReturnLossDB: r.ReturnLossDB, PhaseDeg: r.PhaseDeg,
		Place: r.Place, IsFault: r.Excess, Confidence: 0.5, Alternatives: []Alternative{}, Evidence: []string{}, Checks: []string{}, Cautions: []string{}}
	switch {
	case r.Kind == locate.EchoOf:
		f.Cause, f.GhostOf, f.IsFault = Ghost, []float64{r.Of[0], r.Of[1]}, false
	case !r.Excess:
		f.Cause = map[locate.Kind]Cause{locate.AtJoint: Joint, locate.AtDevice: Device, locate.AtFarEnd: FarEnd}[r.Kind]
		if f.Cause == "" {
			f.Cause = Unnamed
		}
	case r.Total == locate.LikeOpen:
		f.Cause = OpenCircuit
	case r.Total == locate.LikeShort:
		f.Cause = ShortCircuit
	default:
		f.Cause = Unnamed
	}
	f.Evidence = append(f.Evidence, fmt.Sprintf("local return loss %.1f dB against %.1f dB expected", r.ReturnLossDB, r.BudgetDB))
	return f
}
