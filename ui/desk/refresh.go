package desk

import (
	"context"
	"errors"
	"math"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
	"downlead/ui/investigation"
	"downlead/ui/traces"
)

// aim is all that the picture depends on. What its pointers lead to is never
// changed.
type aim struct {
	sweep, baseline, model, without *sweep.Sweep
	left                            *sweep.Sweep // of the comparison
	path                            *cables.Path
	band                            [2]float64
	every                           int
	window                          dsp.Window
	frequency                       traces.OverFrequency
	along                           traces.AlongLine
	brush                           chart.Shade // Color left zero
}

// picture is what the charts show.
type picture struct {
	frequency, along  traces.Drawn
	alongErr          error // why there is no view along the line
	earlier, model    both
	left              []traces.Part // along the line
	part              traces.Drawn  // what the chosen stretch or band alone shows
	partSide          chart.Side
	partErr           error
	smith             []complex128
	smithHz           []float64
	figures           distance.Figures
	figuresErr        error
	lossAtEndDB       float64 // one way, at the middle of the band
	heldFromM         float64
	heldByNoise       bool
	lowHz, highHz     float64
	points            int
	toM               float64
	referenceOhm      float64
	partLow, partHigh float64
}

// both are the lines of a further sweep in both domains.
type both struct{ frequency, along []traces.Part }

// diagnosisOf is all that the findings depend on.
type diagnosisOf struct {
	sweep, baseline *sweep.Sweep // the baseline only where it is of the healthy line
	line            *cables.Line
	band            [2]float64
	every           int
}

// correctedOf is all that the corrected sweep depends on.
type correctedOf struct {
	raw, open, short, load *sweep.Sweep
	kit                    *calibration.Kit
	complete               bool
	at, sweptAt            calibration.Conditions
}

// correction is a corrected sweep, how it was made, and why it could not be.
type correction struct {
	sweep    *sweep.Sweep
	terms    *calibration.ErrorTerms
	problems []calibration.Problem
	err      error
}

// refresh renews what follows from the document and from what is shown, and
// starts the jobs whose inputs have changed.
func (d *Desk) refresh() {
	doc := d.document()
	c := &doc.Standards
	if of := (correctedOf{doc.Sweep.Sweep, c.Open.Sweep, c.Short.Sweep, c.Load.Sweep, c.Kit, c.Complete(), c.At, c.SweptAt}); of != d.sources.correctedOf {
		d.sources.correctedOf = of
		d.correcting.Stop()
		d.corrected, d.problems, d.correctErr, d.sources.errors = doc.Sweep.Sweep, nil, nil, nil
		if of.complete && of.raw != nil {
			d.corrected = nil // until it is there
			d.correcting.Start(func(context.Context) (correction, error) {
				s, terms, problems, err := doc.Corrected()
				return correction{s, terms, problems, err}, nil
			})
		}
	}
	if doc.Line != d.editor.line {
		d.editor.line = doc.Line
		d.editor.stale = true
		d.path, d.pathErr = nil, nil
		if doc.Line != nil {
			d.path, d.pathErr = doc.Line.Path()
		}
	}
	d.startDiagnosis(doc)
	d.startComparison(doc)
	d.startPicture(doc)
}

func (d *Desk) startDiagnosis(doc investigation.Document) {
	of := diagnosisOf{d.corrected, doc.HealthyBaseline(), doc.Line, doc.BandHz, doc.Every}
	if of == d.diagnosedOf {
		return
	}
	d.diagnosedOf = of
	d.findings, d.findErr, d.selected = nil, nil, -1
	if d.corrected == nil || d.path == nil {
		d.diagnosis.Stop()
		return
	}
	d.diagnosis.Start(func(ctx context.Context) (*diagnose.Findings, error) {
		s, err := investigation.Used(of.sweep, of.band, of.every)
		if err != nil {
			return nil, err
		}
		return diagnose.Run(ctx, s, of.line, diagnose.Settings{Baseline: of.baseline, LowHz: of.band[0], HighHz: of.band[1]})
	})
}

// again runs the diagnosis once more.
func (d *Desk) again() {
	d.diagnosedOf = diagnosisOf{}
	d.refresh()
}

func (d *Desk) startPicture(doc investigation.Document) {
	a := aim{sweep: d.corrected, baseline: doc.Baseline.Sweep, path: d.path, band: doc.BandHz, every: doc.Every, window: doc.Window,
		frequency: d.views.frequency, along: d.views.along}
	if d.findings != nil && d.plots.showModel {
		a.model = d.findings.Model
		if d.selected >= 0 && d.views.without {
			a.without = d.findings.Findings[d.selected].Without
		}
	}
	if c := d.compared.is; c != nil && d.plots.showLeft {
		a.left = c.Left
	}
	if side, from, to, ok := d.plots.over.Brush(); ok {
		a.brush = chart.Shade{Side: side, From: from, To: to}
	}
	if a == d.reach {
		return
	}
	d.reach = a
	if a.sweep == nil {
		d.picture.Stop()
		d.drawn, d.drawErr = nil, nil
		return
	}
	d.picture.Start(func(ctx context.Context) (*picture, error) { return draw(ctx, a) })
}

// take gets the results of the jobs.
func (d *Desk) take() {
	if r, ok := d.opening.Take(); ok {
		d.fail(r.Err)
		if r.Err == nil {
			r.Value(d)
		}
	}
	d.takeSaved()
	d.takeComparison()
	if r, ok := d.correcting.Take(); ok {
		d.fail(r.Err)
		c := r.Value
		d.corrected, d.problems, d.correctErr, d.sources.errors = c.sweep, c.problems, c.err, c.terms
		d.refresh()
	}
	if r, ok := d.diagnosis.Take(); ok {
		d.findings, d.findErr = r.Value, r.Err
		if r.Err == nil {
			d.selected = d.firstFault()
			d.renewCards()
			d.holdAgainst()
		}
		d.refresh()
	}
	d.takeReport()
	if r, ok := d.picture.Take(); ok {
		if r.Err != nil {
			d.drawErr = r.Err
		} else {
			d.drawn, d.drawErr = r.Value, nil
		}
	}
	if r, ok := d.answering.Take(); ok {
		d.strip.answer, d.strip.answerBad = r.Value, r.Err != nil
		if r.Err != nil {
			d.strip.answer = r.Err.Error()
		}
	}
}

// firstFault is the index of the surest fault, -1 without any.
func (d *Desk) firstFault() int {
	best := -1
	for i, f := range d.findings.Findings {
		if f.IsFault && (best < 0 || f.Confidence > d.findings.Findings[best].Confidence) {
			best = i
		}
	}
	return best
}

// within returns the part of s in a band; nil where there is none.
func within(s *sweep.Sweep, band [2]float64) *sweep.Sweep {
	if s == nil || band == [2]float64{} {
		return s
	}
	part, err := s.Band(band[0], band[1])
	if err != nil {
		return nil
	}
	return part
}

// draw computes the picture.
func draw(ctx context.Context, a aim) (*picture, error) {
	s, err := investigation.Used(a.sweep, a.band, a.every)
	if err != nil {
		return nil, err
	}
	n := len(s.FrequencyHz)
	p := &picture{lowHz: s.FrequencyHz[0], highHz: s.FrequencyHz[n-1], points: n, referenceOhm: s.ReferenceOhm}
	if a.frequency == traces.Smith {
		p.smith, p.smithHz = s.Gamma, s.FrequencyHz
	} else {
		p.frequency = traces.Frequency(s, a.frequency)
	}
	earlier, model := within(a.baseline, a.band), within(a.model, a.band)
	if a.without != nil {
		model = within(a.without, a.band)
	}
	over := func(s *sweep.Sweep) []traces.Part {
		if s == nil || a.frequency == traces.Smith {
			return nil
		}
		return traces.Frequency(s, a.frequency).Parts
	}
	p.earlier.frequency, p.model.frequency = over(earlier), over(model)
	if a.path == nil {
		p.alongErr = errors.New("open or enter the line to see where along it the reflections are")
		return p, nil
	}
	p.figures, p.figuresErr = distance.TradeOff(a.path, s.FrequencyHz, a.window)
	p.lossAtEndDB = real(a.path.Theta((p.lowHz+p.highHz)/2, a.path.LengthM())) / cables.NeperPerDB
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	p.along, p.alongErr = p.alongView(a, s)
	if p.alongErr != nil {
		return p, nil
	}
	also := func(s *sweep.Sweep) []traces.Part {
		if s == nil || ctx.Err() != nil {
			return nil
		}
		var other picture
		drawn, err := other.alongView(a, s)
		if err != nil {
			return nil
		}
		return drawn.Parts
	}
	p.earlier.along, p.model.along, p.left = also(earlier), also(model), also(a.left)
	p.chosenPart(a, s)
	return p, ctx.Err()
}

// alongView is the view of s along the line.
func (p *picture) alongView(a aim, s *sweep.Sweep) (traces.Drawn, error) {
	p.toM = a.path.LengthM()
	if a.along == traces.ImpedanceAlong {
		return traces.Step(s, a.path, a.window)
	}
	profile, err := traces.NewProfile(s, a.path, traces.Settings{Window: a.window})
	if err != nil {
		return traces.Drawn{}, err
	}
	p.toM = profile.DistanceM[len(profile.DistanceM)-1]
	p.heldFromM, p.heldByNoise = profile.HeldFromM, profile.HeldNoise
	return profile.Draw(a.along), nil
}

// chosenPart is what a chosen stretch of the line alone contributes over
// frequency, or what a chosen band alone can resolve along the line.
func (p *picture) chosenPart(a aim, s *sweep.Sweep) {
	low, high := math.Min(a.brush.From, a.brush.To), math.Max(a.brush.From, a.brush.To)
	if low == high {
		return
	}
	p.partLow, p.partHigh = low, high
	switch a.brush.Side {
	case chart.Lower:
		gamma, err := distance.Gate(a.path, s.FrequencyHz, s.Gamma, distance.GateSettings{FromM: low, ToM: high})
		if err != nil {
			p.partErr = err
			return
		}
		only := *s
		only.Gamma = gamma
		if a.frequency != traces.Smith {
			p.part, p.partSide = traces.Frequency(&only, a.frequency), chart.Upper
		}
	case chart.Upper:
		band, err := s.Band(low, high)
		if err != nil {
			p.partErr = err
			return
		}
		var other picture
		p.part, p.partErr = other.alongView(a, band)
		p.partSide = chart.Lower
	}
}
