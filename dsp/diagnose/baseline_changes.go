package diagnose

import (
	"context"
	"fmt"
	"math"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// changeKind says what happened.
type changeKind int

const (
	changeNew     changeKind = iota // nothing was there
	changeGrown                     // a reflection became stronger
	changeFallen                    // a reflection became weaker, or went away
	changeTurned                    // as strong as before, but of another phase
	changeDelayed                   // what lies behind comes later, and more or less weak; no reflection of its own
	changeWeaker                    // what lies behind comes weaker, not later
)

// change is one thing that differs between two sweeps.
//
// Behind a strong change everything looks different: less gets there, later,
// and it bounces between the change and what lies behind. With r the new
// reflection at x1, u what the line behind reflected before and T what passes
// there and back, the port sees
//
//	r + T·u + T·r'·u² + ...
//
// in place of u. T and T·r' are slow functions of frequency, so the walk goes
// outwards from the port: the first place that differs is news; T and T·r' are
// fitted to all behind it; and only what that leaves is news again.
type change struct {
	Kind       changeKind
	DistanceM  float64 // of changeDelayed and changeWeaker: the first place that shows it
	SigmaM     float64 // one standard deviation: noise, and what is left of the clutter
	FromM      float64 // changeDelayed, changeWeaker: it begins behind this place
	AtLoad     bool    // within reach of the line's end
	Amplitude  complex128
	ChangeDB   float64 // local return loss of the difference, rms over the band
	BeforeDB   float64 // local return loss here, then
	NowDB      float64 // and now
	GrownDB    float64 // by how much; of changeWeaker and changeDelayed negative: what is behind fell
	SmallestDB float64 // local return loss of the smallest change that would have been seen here
	DelayS     float64 // what lies behind comes so much later, there and back; 0: no more than a part at one place does
	DelayM     float64 // the same as metres of line as recorded
	PassDB     float64 // by how much what lies behind comes stronger there and back, dB, besides what changes in front do
	Sentence   string  // for a technician
}

// difference is what two sweeps of one line say together.
type difference struct {
	Alignment alignment
	Changes   []change // in order along the line
	Unwatched float64  // m: behind this place a total reflection hides everything; +Inf: none
	Warnings  []string
	x         []float64
	smallest  []float64 // local amplitude of the smallest change that would have been seen
	before    []float64 // local amplitude then
	cellM     float64
	left      *sweep.Sweep // now less the aligned earlier sweep, where both have frequencies
}

// at returns the change within reach of x, nil when there is none. reach 0 is
// the resolution: one cell.
func (d *difference) at(x, reach float64) *change {
	if reach == 0 {
		reach = d.cellM
	}
	var best *change
	for i := range d.Changes {
		c := &d.Changes[i]
		if math.Abs(c.DistanceM-x) <= reach && (best == nil || math.Abs(c.DistanceM-x) < math.Abs(best.DistanceM-x)) {
			best = c
		}
	}
	return best
}

// unchanged says whether a reflection of the given local return loss at x is as
// it was in the earlier sweep: no change was found there, and one of a quarter
// of it would have been. The sentence says so.
func (d *difference) unchanged(x, returnLossDB float64) (bool, string) {
	i := d.index(x)
	for _, c := range d.Changes {
		reach := lobeCells * d.cellM
		if math.Abs(c.DistanceM-x) < reach {
			return false, ""
		}
	}
	size := math.Pow(10, -returnLossDB/20)
	if x > d.Unwatched || d.smallest[i] > unchangedPart*size || d.before[i] < (1-unchangedPart)*size/2 {
		return false, ""
	}
	return true, fmt.Sprintf("was there in the earlier sweep, and has not changed by more than %.0f dB", -20*math.Log10(1-math.Min(0.9, d.smallest[i]/size)))
}

// asThen says whether a reflection at x is as it was, or lies farther out than was looked, and nothing has changed.
func (d *difference) asThen(x, returnLossDB float64) bool {
	if same, _ := d.unchanged(x, returnLossDB); same {
		return true
	}
	return x > d.x[len(d.x)-1] && len(d.Changes) == 0
}

func (d *difference) index(x float64) int {
	t := (x - d.x[0]) / (d.x[1] - d.x[0])
	return min(max(0, int(math.Round(t))), len(d.x)-1)
}

func decibels(amplitude float64) float64 { return -20 * math.Log10(math.Max(amplitude, 1e-6)) }

// compareBaseline compares now with an earlier sweep of the same line when
// healthy. The grids may differ. An error says in words why the two cannot be
// compared; the diagnosis goes on without.
func compareBaseline(ctx context.Context, now, before *sweep.Sweep, path *cables.Path, line *cables.Line) (*difference, error) {
	p, err := newSweepPair(now, before, path, line)
	if err != nil {
		return nil, fmt.Errorf("comparing with the earlier sweep: %w", err)
	}
	aligned, err := p.align(ctx)
	if err != nil {
		return nil, err
	}
	w, err := newWalk(p)
	if err != nil {
		return nil, fmt.Errorf("comparing with the earlier sweep: %w", err)
	}
	d := &difference{Alignment: *aligned, Unwatched: math.Inf(1), x: p.x, cellM: p.cellM, left: &sweep.Sweep{FrequencyHz: p.frequencyHz, Gamma: p.predicted()}}
	for k, v := range d.left.Gamma {
		d.left.Gamma[k] = p.now[k] - v
	}
	if err := w.run(ctx, d); err != nil {
		return nil, err
	}
	if v := math.Abs(aligned.Velocity); v > 2e-3 && aligned.VelocitySigma < v/3 {
		d.Warnings = append(d.Warnings, fmt.Sprintf("the whole line is %.2f %% %s than in the earlier sweep: a large difference of temperature, or water along all of it",
			100*v, map[bool]string{true: "slower", false: "faster"}[aligned.Velocity < 0]))
	}
	if math.Abs(p.foldS[0]/p.foldS[1]-1) > 1e-6 && math.Min(p.foldS[0], p.foldS[1]) < 2.2*p.endS {
		d.Warnings = append(d.Warnings, "the two sweeps step differently, and so coarsely that what bounces twice folds back onto the line, in each to another place: small changes may be such bounces; sweep again with the points of the earlier sweep")
	}
	if aligned.AfterDB > -20 && len(d.Changes) == 0 {
		d.Warnings = append(d.Warnings, fmt.Sprintf("the earlier sweep differs by %.0f dB of full scale even when aligned: is it of this line?", aligned.AfterDB))
	}
	return d, nil
}

// words says the change to a technician.
func (c *change) words() string {
	var s string
	switch c.Kind {
	case changeNew, changeGrown, changeFallen, changeTurned:
		if c.AtLoad {
			s = "the load or its connector reflects differently: "
		}
	}
	switch c.Kind {
	case changeNew:
		s += fmt.Sprintf("absent in the earlier sweep (less than %.0f dB return loss here); now %.1f dB, grown by %.0f dB", c.BeforeDB, c.NowDB, c.GrownDB)
	case changeGrown:
		s += fmt.Sprintf("was there in the earlier sweep with %.1f dB return loss; now %.1f dB, grown by %.1f dB", c.BeforeDB, c.NowDB, c.GrownDB)
	case changeFallen:
		s += fmt.Sprintf("weaker than in the earlier sweep: %.1f dB return loss then, %.1f dB now", c.BeforeDB, c.NowDB)
	case changeTurned:
		s += fmt.Sprintf("as strong as in the earlier sweep (%.1f dB return loss), but of another kind: the difference is %.1f dB", c.BeforeDB, c.ChangeDB)
	case changeDelayed:
		return fmt.Sprintf("all from %.2f m on comes %.2f ns later than in the earlier sweep, as if the line were %.2f m longer, and %+.1f dB stronger or weaker: the cable between %.2f m and %.2f m is slower than it was",
			c.DistanceM, 1e9*c.DelayS, c.DelayM, c.GrownDB, c.FromM, c.DistanceM)
	case changeWeaker:
		return fmt.Sprintf("what is at %.2f m comes back %+.1f dB against the earlier sweep, no later: loss between %.2f m and there, or a change there", c.DistanceM, c.GrownDB, c.FromM)
	}
	if c.DelayS != 0 {
		s += fmt.Sprintf("; what lies behind comes %.2f ns later (%.2f m of cable)", 1e9*c.DelayS, c.DelayM)
	}
	return s
}
