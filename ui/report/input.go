package report

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"time"

	"downlead/cables"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
)

// Input is all that a report is made of. Document must be there; Prepare works out
// what else is not given.
type Input struct {
	Document  investigation.Document // what people wrote, the line, the files, the decisions
	Corrected *sweep.Sweep           // that of the document, corrected; nil: by its standards
	Terms     *calibration.ErrorTerms
	Findings  *diagnose.Findings // of Corrected, in the document's band and of its points; nil: by diagnose.Run
	// Comparison with the earlier sweep, if there is one; nil: by diagnose.Compare.
	Comparison *diagnose.Comparison
	// Check is a further known match that showed what the calibration left, if any.
	Check   investigation.Source
	Notes   []string // what else a reader should know
	Program string   // which build made it; "": not told

	used *sweep.Sweep // that the findings come from
}

// Style is how a report is made up. The zero value is metres on A4.
type Style struct {
	Feet  bool
	Paper Paper
}

// Prepare returns in with all that a report needs: the sweep corrected, and its
// findings by diagnose.Run. It ends with ctx's error when ctx ends.
func Prepare(ctx context.Context, in Input) (*Input, error) {
	d := &in.Document
	switch {
	case d.Sweep.Sweep == nil:
		return nil, errors.New("there is no sweep to report on yet; open one")
	case d.Line == nil:
		return nil, errors.New("there is no line to report on yet; open or enter one")
	}
	var err error
	if in.Corrected == nil {
		if in.Corrected, in.Terms, _, err = d.Corrected(); err != nil {
			return nil, err
		}
	}
	if in.used, err = investigation.Used(in.Corrected, d.BandHz, d.Every); err != nil {
		return nil, err
	}
	if in.Findings == nil {
		if in.Findings, err = diagnose.Run(ctx, in.used, d.Line, diagnose.Settings{Baseline: d.HealthyBaseline(), LowHz: d.BandHz[0], HighHz: d.BandHz[1]}); err != nil {
			return nil, err
		}
	}
	if d.Baseline.Sweep != nil && in.Comparison == nil {
		now := diagnose.Taken{Sweep: in.used}
		if d.HealthyBaseline() == nil { // found without a baseline
			now.Findings = in.Findings
		}
		in.Comparison, err = diagnose.Compare(ctx, diagnose.Taken{Sweep: d.Baseline.Sweep}, now, d.Line, diagnose.Settings{LowHz: d.BandHz[0], HighHz: d.BandHz[1]})
		if err != nil && ctx.Err() == nil {
			in.Notes = append(slices.Clone(in.Notes), fmt.Sprintf("the earlier sweep cannot be compared: %v", err))
		}
	}
	return &in, ctx.Err()
}

// book is an input with what is drawn of it.
type book struct {
	*Input
	Sweep   *sweep.Sweep // as used
	style   Style
	scale   Scale
	face    *typeface
	colours palette
	path    *cables.Path
	found   Sorted
	figures distance.Figures
	over    []trace // over frequency
	along   []trace // along the line
	toM     float64
	named   bool // the drawing of the line names its sections
	// spare is how much of the first page is left over under all that must be on
	// it, points; negative: not known yet.
	spare float64
}

// trace is one line of a plot, in Hz or metres and dB of return loss.
type trace struct {
	name string // for people
	file string // for files
	x, y []float64
	of   *sweep.Sweep // over frequency: what it is of
	kind kind
}

// kind is what a trace shows, and so how it is drawn.
type kind int

const (
	measured kind = iota
	model
	earlier
	limit
)

// mostBehind is how far behind its end a line is drawn for what is no fault.
const mostBehind = 1.15

func newBook(ctx context.Context, in *Input, style Style) (*book, error) {
	face, err := newTypeface()
	if err != nil {
		return nil, err
	}
	own := *in
	b := &book{Input: &own, Sweep: in.used, style: style, scale: InMetres(), face: face, colours: colours(), spare: -1}
	if style.Feet {
		b.scale, own.Findings = InFeet(), in.Findings.InFeet()
		own.Notes = nil
		for _, note := range in.Notes {
			own.Notes = append(own.Notes, diagnose.InFeet(note))
		}
	}
	if b.path, err = in.Document.Line.Path(); err != nil {
		return nil, err
	}
	b.found = sortFindings(own.Findings.Findings, math.MaxInt)
	if b.figures, err = distance.TradeOff(b.path, in.used.FrequencyHz, in.Document.Window); err != nil {
		return nil, err
	}
	b.toM = b.path.LengthM()
	for _, f := range in.Findings.Findings {
		if end := f.DistanceM + f.ExtentM; f.IsFault || end < mostBehind*b.path.LengthM() {
			b.toM = math.Max(b.toM, end)
		}
	}
	return b, b.trace(ctx)
}

// trace computes the traces of both domains.
func (b *book) trace(ctx context.Context) error {
	// In the order of drawing: the measured one lies on top.
	sweeps := []struct {
		name, file string
		s          *sweep.Sweep
		kind       kind
	}{{"earlier sweep", "earlier", b.within(b.Document.Baseline.Sweep), earlier}, {"fitted model", "model", b.Findings.Model, model}, {"measured", "measured", without(b.Sweep, b.Findings.LeftOutHz), measured}}
	for _, one := range sweeps {
		if one.s == nil || len(one.s.FrequencyHz) < sweep.MinPoints {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		over := one.s
		if one.kind == measured { // over frequency it is shown whole
			over = b.Sweep
		}
		b.over = append(b.over, trace{one.name, one.file, over.FrequencyHz, over.ReturnLossDB(), over, one.kind})
		t, err := distance.New(b.path, one.s.FrequencyHz, distance.Settings{Window: b.Document.Window, ToM: b.toM * beyondEnd})
		if err != nil {
			return fmt.Errorf("drawing the %s along the line: %w", one.name, err)
		}
		p := t.Profile(nil, one.s.Gamma)
		y := make([]float64, len(p.Amplitude))
		for i, a := range p.Amplitude {
			y[i] = sweep.ReturnLossFromMagnitude(cmplx.Abs(a))
		}
		b.along = append(b.along, trace{one.name, one.file, slices.Clone(p.DistanceM), y, nil, one.kind})
	}
	if limitVSWR := b.Findings.Verdict.LimitVSWR; limitVSWR > 1 {
		x := make([]float64, 101)
		y := make([]float64, len(x))
		for i := range x {
			x[i] = b.path.LengthM() * float64(i) / float64(len(x)-1)
			y[i] = sweep.ReturnLossFromVSWR(limitVSWR) - 2*real(b.path.Theta(b.judgedMiddleHz(), x[i]))/cables.NeperPerDB
		}
		b.along = append(b.along, trace{"reaches the port's limit by itself", "limit", x, y, nil, limit})
	}
	return nil
}

// judgedMiddleHz is the middle of the band that the verdict is of.
func (b *book) judgedMiddleHz() float64 {
	return (b.Findings.Verdict.LowHz + b.Findings.Verdict.HighHz) / 2
}

// within returns the part of s in the band of the investigation; nil where there
// is none.
func (b *book) within(s *sweep.Sweep) *sweep.Sweep {
	if s == nil || b.Document.BandHz == [2]float64{} {
		return s
	}
	part, err := s.Band(b.Document.BandHz[0], b.Document.BandHz[1])
	if err != nil {
		return nil
	}
	return part
}

// without returns s without the points at these frequencies, which ascend.
func without(s *sweep.Sweep, hz []float64) *sweep.Sweep {
	if len(hz) == 0 {
		return s
	}
	c := *s
	c.FrequencyHz, c.Gamma = nil, nil
	for k, f := range s.FrequencyHz {
		if _, left := slices.BinarySearch(hz, f); !left {
			c.FrequencyHz, c.Gamma = append(c.FrequencyHz, f), append(c.Gamma, s.Gamma[k])
		}
	}
	return &c
}

// date is the day of the investigation, where it is written as one.
func (b *book) date() time.Time {
	for _, form := range []string{time.RFC3339, "2006-01-02 15:04", "2006-01-02"} {
		if at, err := time.Parse(form, b.Document.Date); err == nil {
			return at
		}
	}
	return time.Time{}
}

// name is what the report is on.
func (b *book) name() string {
	switch {
	case b.Document.Line.Name != "":
		return b.Document.Line.Name
	case b.Document.Site != "":
		return b.Document.Site
	}
	return "Unnamed line"
}

// said is what the user said of a finding; the zero one where nothing was.
func (b *book) said(f *diagnose.Finding) investigation.Decision {
	if k := b.Document.DecisionOn(f); k >= 0 {
		return b.Document.Decisions[k]
	}
	return investigation.Decision{}
}

// called is what a finding is called: by the user, else by its cause.
func (b *book) called(f *diagnose.Finding) string {
	if name := b.said(f).Name; name != "" {
		return name
	}
	return f.Cause.Words()
}

// stateWords says what the user thinks of a finding.
func stateWords(s investigation.State) string {
	return [...]string{"not decided", "accepted", "rejected"}[s]
}
