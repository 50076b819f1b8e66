package blind

import (
	"math"
	"slices"

	"downlead/dsp/diagnose"
)

// Mark is what somebody thinks is wrong. No marks at all say that nothing is.
type Mark struct {
	DistanceM float64 // from the test port
	Cause     diagnose.Cause
}

// Result is the score of a case.
type Result struct {
	Points     float64   // 0 to 100
	Faults     []Outcome // one for each fault of the case
	FalseMarks []int     // indices of the marks that belong to no fault
}

// Outcome is what became of one fault.
type Outcome struct {
	Fault Fault
	Mark  int     // index of the mark that belongs to it; -1: missed
	OffM  float64 // how far from it the mark is, m; 0 anywhere on a stretch
	Place float64 // points for the place, 0 to 50
	Cause float64 // points for the cause, 0 to 50
	Alike bool    // the cause named is not the one, but looks alike
}

// The points.
const (
	forPlace  = 50
	forCause  = 50
	falseMark = 25
)

// off is how far x is from the fault. What lies behind cable that is slower than
// the record says may be put where it is or where it seems to be.
func (f *Fault) off(x float64) float64 {
	low, high := min(f.DistanceM, f.ApparentM), max(f.DistanceM, f.ApparentM)
	high += f.ExtentM // of an antenna how deep it seems to lie
	return max(low-x, x-high, 0)
}

// Score judges marks. The nearest pairs of mark and fault are put together first;
// see the package comment for the points.
func (c *Case) Score(marks []Mark) Result {
	r := Result{Faults: make([]Outcome, len(c.faults))}
	for i, f := range c.faults {
		r.Faults[i] = Outcome{Fault: f, Mark: -1}
	}
	used := make([]bool, len(marks))
	for {
		bestFault, bestMark, least := -1, -1, math.Inf(1)
		for i := range r.Faults {
			if r.Faults[i].Mark >= 0 {
				continue
			}
			f := &r.Faults[i].Fault
			for k, m := range marks {
				if used[k] {
					continue
				}
				// The right cause decides between marks that are as near.
				share := f.off(m.DistanceM) / f.ReachM
				if f.names(m.Cause) == 0 {
					share += 1e-6
				}
				if f.off(m.DistanceM) <= f.ReachM && share < least {
					bestFault, bestMark, least = i, k, share
				}
			}
		}
		if bestFault < 0 {
			break
		}
		used[bestMark] = true
		r.Faults[bestFault].judge(bestMark, marks[bestMark])
	}
	for _, o := range r.Faults {
		r.Points += (o.Place + o.Cause) / float64(len(r.Faults))
	}
	if len(r.Faults) == 0 {
		r.Points = forPlace + forCause
	}
	for k := range marks {
		if !used[k] {
			r.FalseMarks = append(r.FalseMarks, k)
			r.Points -= falseMark
		}
	}
	r.Points = max(r.Points, 0)
	return r
}

// names returns 2 when cause is the fault's, 1 when it looks alike, 0 otherwise.
func (f *Fault) names(cause diagnose.Cause) int {
	switch {
	case cause == f.Cause:
		return 2
	case slices.Contains(f.Alike, cause):
		return 1
	}
	return 0
}

func (o *Outcome) judge(index int, m Mark) {
	f := &o.Fault
	o.Mark, o.OffM = index, f.off(m.DistanceM)
	o.Place = forPlace
	if o.OffM > f.FullM {
		o.Place = forPlace * max(0, (f.ReachM-o.OffM)/(f.ReachM-f.FullM))
	}
	if n := f.names(m.Cause); n > 0 {
		o.Cause, o.Alike = forCause, n == 1
	}
}
