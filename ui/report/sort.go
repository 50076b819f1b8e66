package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"downlead/dsp/diagnose"
)

// Labelled is a finding with the sign that names it: a number for a fault, a
// letter for what is there as built.
type Labelled struct {
	diagnose.Finding
	Label string
}

// mostGhosts is how many ghosts a report lists, the strongest.
const mostGhosts = 6

// Sorted is findings in order of distance: faults numbered, parts as built
// lettered, then ghosts lettered.
type Sorted struct {
	Faults, Built, Ghosts []Labelled
	MoreGhosts            int // weaker ones that are left out
}

// Sort sorts findings for a report.
func Sort(findings []diagnose.Finding) Sorted { return sortFindings(findings, mostGhosts) }

// sortFindings is Sort with another number of ghosts.
func sortFindings(findings []diagnose.Finding, most int) Sorted {
	byDistance := func(a, b diagnose.Finding) int { return cmp.Compare(a.DistanceM, b.DistanceM) }
	var out Sorted
	var built, ghosts []diagnose.Finding
	for _, f := range slices.SortedStableFunc(slices.Values(findings), byDistance) {
		switch {
		case f.IsFault:
			out.Faults = append(out.Faults, Labelled{f, fmt.Sprint(len(out.Faults) + 1)})
		case f.Cause == diagnose.Ghost:
			ghosts = append(ghosts, f)
		default:
			built = append(built, f)
		}
	}
	slices.SortStableFunc(ghosts, func(a, b diagnose.Finding) int { return cmp.Compare(a.ReturnLossDB, b.ReturnLossDB) })
	if len(ghosts) > most {
		out.MoreGhosts = len(ghosts) - most
		ghosts = ghosts[:most]
	}
	slices.SortStableFunc(ghosts, byDistance)
	for i, f := range slices.Concat(built, ghosts) {
		if i < len(built) {
			out.Built = append(out.Built, Labelled{f, letter(i)})
		} else {
			out.Ghosts = append(out.Ghosts, Labelled{f, letter(i)})
		}
	}
	return out
}

// letter counts a, b, … z, then A … Z; what comes after shares the last.
func letter(i int) string {
	const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
	return letters[min(i, len(letters)-1):][:1]
}

// Named writes a place with the label of the finding that is there, if any.
func (s *Sorted) Named(atM float64, scale Scale) string {
	if atM == 0 {
		return "the test port"
	}
	nearest, name := math.Inf(1), ""
	for _, f := range slices.Concat(s.Faults, s.Built) {
		if away := math.Abs(f.DistanceM - atM); away <= math.Max(3*f.SigmaM, 0.01) && away < nearest {
			nearest, name = away, f.Label+" at "
		}
	}
	return name + scale.Text(atM)
}
