package series

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"downlead/cables"
)

// words names a place of the line.
func (s *search) words(x float64) string {
	end := s.path.LengthM()
	if x > end-s.fit.Cell(end) {
		return "far end"
	}
	reach := math.Max(guardCells*s.fit.Cell(x), 3*math.Sqrt(s.path.VelocityVariance(x)))
	nearest, words := reach, ""
	spans := s.path.Spans
	for i := 1; i < len(spans); i++ {
		if away := math.Abs(spans[i].StartM - x); away < nearest {
			nearest, words = away, "joint "+spans[i-1].Name+" / "+spans[i].Name
		}
	}
	if words == "" {
		words = "in " + spans[s.path.SpanAt(x)].Name
	}
	return words
}

// say puts the result into words.
func (s *search) say(r *Result) {
	var told []string
	for _, p := range r.Places {
		at := fmt.Sprintf("%.2f ± %.2f m (%s)", p.DistanceM, math.Max(p.SigmaM, 0.01), p.Place)
		switch p.Motion {
		case Jumps:
			told = append(told, "loose contact at "+at)
		case Drifts:
			told = append(told, "what is at "+at+" drifts to one side, as with temperature or water")
		default:
			told = append(told, "something moves slowly to and fro at "+at+", as in wind")
		}
	}
	if r.Length.Motion != Steady {
		relative := 1e3 * r.Length.Range / s.path.ElectricalM(s.path.LengthM()) // mm over m, so parts in a million
		how := map[Motion]string{Jumps: "jumps, as a test cable does that is moved", Drifts: "drifts, as with temperature", Swings: "goes to and fro"}[r.Length.Motion]
		told = append(told, fmt.Sprintf("the line's electrical length %s: by %.2f mm, %.0f parts in a million", how, r.Length.Range, relative))
	}
	if r.Gain.Motion != Steady {
		told = append(told, fmt.Sprintf("everything changes in size together, by %.3f dB: the instrument, or what reflects most", r.Gain.Range))
	}
	if r.Port.Motion != Steady {
		told = append(told, fmt.Sprintf("the test port changes by %.0f dB: its connector, or the instrument", decibels(r.Port.Range)))
	}
	if len(told) == 0 {
		told = []string{"steady: nothing moves beyond the noise"}
	}
	r.Summary = strings.Join(told, "; ")
	if len(r.Echoes) > 0 {
		r.Warnings = append(r.Warnings, "a change at one place also changes what passes it, there and back: places behind it that move in step are told as its echoes, and may still be places of their own")
	}
	if !s.found.Explained {
		r.Warnings = append(r.Warnings, "the line's record explains the mean sweep only in part; what moves is told by place, but what it does to what lies behind it may be told as an echo")
	}
	if s.record.Load.Kind == cables.Unstated {
		r.Warnings = append(r.Warnings, "the record does not say what ends the line")
	}
	r.Warnings = append(r.Warnings, slices.Clone(s.record.Notes)...)
}
