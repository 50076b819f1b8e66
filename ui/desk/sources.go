package desk

import (
	"fmt"
	"image"
	"math"
	"path/filepath"

	"gioui.org/layout"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/widget"

	"downlead/dsp/calibration"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
	"downlead/ui/theme"
)

func imageRect(width, height int) image.Rectangle { return image.Rect(0, 0, width, height) }

// sources are the sweeps and the calibration.
type sources struct {
	list        scroller
	correctedOf correctedOf
	errors      *calibration.ErrorTerms // of the standards
	pick        [pickKit + 1]widget.Clickable
	dropEarlier widget.Clickable
	dropCal     widget.Clickable
	showTerms   widget.Clickable
	terms       bool
	temperature [2]widget.Editor // at calibration, at the sweep, °C
	temperBad   [2]bool
}

func (d *Desk) updateSources(gtx layout.Context) {
	s := &d.sources
	for i := range s.pick {
		for s.pick[i].Clicked(gtx) {
			d.browse(pick(i))
		}
	}
	for s.dropEarlier.Clicked(gtx) {
		doc := d.document()
		doc.Baseline, doc.Earlier = investigation.Source{}, investigation.Healthy
		d.change(doc, "leave the earlier sweep out", "")
	}
	for s.dropCal.Clicked(gtx) {
		doc := d.document()
		doc.Standards = investigation.Standards{}
		d.change(doc, "leave the standards out", "")
	}
	for s.showTerms.Clicked(gtx) {
		s.terms = !s.terms
	}
	for i := range s.temperature {
		for {
			e, ok := s.temperature[i].Update(gtx)
			if !ok {
				break
			}
			if _, changed := e.(widget.ChangeEvent); changed {
				d.temperatureTyped(i)
			}
		}
	}
}

// temperatureTyped takes a temperature; an empty field is an unknown one.
func (d *Desk) temperatureTyped(i int) {
	s := &d.sources
	var c calibration.Conditions
	if text := s.temperature[i].Text(); text != "" {
		v, err := readNumber(text)
		if s.temperBad[i] = err != nil || v < -90 || v > 200; s.temperBad[i] {
			return
		}
		c = calibration.Conditions{TemperatureC: v, TemperatureKnown: true}
	}
	s.temperBad[i] = false
	doc := d.document()
	*[]*calibration.Conditions{&doc.Standards.At, &doc.Standards.SweptAt}[i] = c
	d.change(doc, "set the temperature", "temperature"+fmt.Sprint(i))
}

// sweepRow is a sweep with its part in the investigation.
func (d *Desk) sweepRow(click *widget.Clickable, part string, from investigation.Source, absent string) layout.Widget {
	name, below := absent, part
	if s := from.Sweep; s != nil {
		name = filepath.Base(from.Path)
		if from.Path == "" {
			name = s.Name
		}
		n := len(s.FrequencyHz)
		below = fmt.Sprintf("%s · %s – %s · %d points", part, hertz(s.FrequencyHz[0]), hertz(s.FrequencyHz[n-1]), n)
	}
	c, quiet := d.theme.Ink, d.theme.Quiet
	if from.Sweep == nil {
		c = d.theme.Link
	}
	if from.Sweep == nil && from.Path != "" {
		name, below, quiet = filepath.Base(from.Path), part+" · not used: missing or changed", d.theme.Out
	}
	return func(gtx layout.Context) layout.Dimensions {
		return d.theme.Row(gtx, click, part+": "+name, false, func(gtx layout.Context) layout.Dimensions {
			return column(gtx, 1, d.theme.Text(theme.Label{Text: name, Color: c, Lines: 1}), d.theme.Text(theme.Label{Text: below, Color: quiet, Size: d.theme.Small(), Lines: 2}))
		})
	}
}

func (d *Desk) layoutSources(gtx layout.Context) layout.Dimensions {
	s, doc := &d.sources, d.document()
	all := []layout.Widget{
		d.heading("Sweeps"),
		d.sweepRow(&s.pick[pickSweep], "as found", doc.Sweep, "open a sweep…"),
		d.sweepRow(&s.pick[pickEarlier], map[investigation.Earlier]string{investigation.Healthy: "earlier, of the healthy line", investigation.BeforeRepair: "earlier, before the repair"}[doc.Earlier], doc.Baseline, "open an earlier sweep…"),
	}
	if doc.Baseline != (investigation.Source{}) {
		other := map[investigation.Earlier]string{investigation.Healthy: "it is from before a repair", investigation.BeforeRepair: "it is of the healthy line"}[doc.Earlier]
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return row(gtx, 6, d.plain(&d.compared.healed, other), d.plain(&s.dropEarlier, "leave it out"))
		})
	}
	state, c := d.calibrationState()
	all = append(all, d.heading("Calibration"))
	if state != "" {
		all = append(all, d.words(state, c))
	}
	all = append(all,
		d.sweepRow(&s.pick[pickOpen], "open", doc.Standards.Open, "raw sweep of the open…"),
		d.sweepRow(&s.pick[pickShort], "short", doc.Standards.Short, "raw sweep of the short…"),
		d.sweepRow(&s.pick[pickLoad], "load", doc.Standards.Load, "raw sweep of the load…"))
	if doc.Standards.Any() {
		all = append(all, d.layoutCalibration)
	}
	return column(gtx, 4, all...)
}

// plain is a word that can be pressed.
func (d *Desk) plain(click *widget.Clickable, text string) layout.Widget {
	return func(gtx layout.Context) layout.Dimensions {
		return d.theme.Button(gtx, click, theme.Button{Text: text, Plain: true})
	}
}

// layoutCalibration is what belongs to the standards: their definitions, the
// temperatures, what the checks found, and the error terms.
func (d *Desk) layoutCalibration(gtx layout.Context) layout.Dimensions {
	s, doc := &d.sources, d.document()
	kit := investigation.Source{}
	kitName := "definitions of the standards…"
	if doc.Standards.Kit != nil {
		kitName = filepath.Base(doc.Standards.KitPath)
	} else if doc.Standards.KitPath != "" {
		kit.Path = doc.Standards.KitPath
	}
	temperature := func(i int, name string) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions {
			return column(gtx, 2, d.small(name, d.theme.Quiet), func(gtx layout.Context) layout.Dimensions {
				s.temperature[i].SingleLine = true
				gtx.Constraints.Max.X = min(gtx.Constraints.Max.X, gtx.Dp(96))
				return d.theme.Editor(gtx, &s.temperature[i], theme.Entry{Hint: "unknown", Unit: "°C", Name: name, Bad: s.temperBad[i]})
			})
		}
	}
	all := []layout.Widget{
		d.sweepRow(&s.pick[pickKit], "without a file: ideal standards", kit, kitName),
		func(gtx layout.Context) layout.Dimensions {
			return row(gtx, 8, temperature(0, "at the calibration"), temperature(1, "at the sweep"))
		},
	}
	for _, p := range d.problems {
		c := d.theme.Quiet
		if p.Severity != calibration.Note {
			c = d.theme.Out
		}
		text := p.Severity.String() + ": " + p.Text
		if p.Mend != "" {
			text += " " + p.Mend
		}
		all = append(all, d.small(text, c))
	}
	all = append(all, func(gtx layout.Context) layout.Dimensions {
		word := "show the error terms"
		if s.terms {
			word = "hide the error terms"
		}
		return row(gtx, 6, d.plain(&s.showTerms, word), d.plain(&s.dropCal, "leave the standards out"))
	})
	if s.terms {
		all = append(all, d.layoutTerms)
	}
	return column(gtx, 5, all...)
}

// layoutTerms draws the three error terms over frequency, small, with their
// range in words.
func (d *Desk) layoutTerms(gtx layout.Context) layout.Dimensions {
	s, doc := &d.sources, d.document()
	if !doc.Standards.Complete() {
		return d.small("open, short and load are needed for the error terms", d.theme.Quiet)(gtx)
	}
	terms := s.errors
	if terms == nil {
		return d.small("the standards give no error terms: "+fmt.Sprint(d.correctErr), d.theme.Out)(gtx)
	}
	var all []layout.Widget
	for _, t := range []struct {
		name  string
		value []complex128
	}{{"directivity", terms.Directivity}, {"source match", terms.SourceMatch}, {"tracking", terms.Tracking}} {
		db := make([]float64, len(t.value))
		low, high := math.Inf(1), math.Inf(-1)
		for k, v := range t.value {
			db[k] = -sweep.ReturnLossFromMagnitude(math.Hypot(real(v), imag(v)))
			low, high = math.Min(low, db[k]), math.Max(high, db[k])
		}
		all = append(all, d.small(fmt.Sprintf("%s: %.1f to %.1f dB", t.name, low, high), d.theme.Ink),
			func(gtx layout.Context) layout.Dimensions { return d.spark(gtx, db, low, high) })
	}
	return column(gtx, 3, all...)
}

// spark draws values as a small line without axes.
func (d *Desk) spark(gtx layout.Context, y []float64, low, high float64) layout.Dimensions {
	size := image.Pt(gtx.Constraints.Max.X, gtx.Dp(34))
	if high-low < 0.2 {
		low, high = low-0.1, high+0.1
	}
	theme.Fill(gtx, size, 3, d.theme.Field)
	var path clip.Path
	path.Begin(gtx.Ops)
	step := max(1, len(y)/max(size.X, 1))
	for k := 0; k < len(y); k += step {
		p := pt(float64(k)/math.Max(float64(len(y)-1), 1)*float64(size.X), 3+(high-y[k])/(high-low)*(float64(size.Y)-6))
		if k == 0 {
			path.MoveTo(p)
		} else {
			path.LineTo(p)
		}
	}
	paint.FillShape(gtx.Ops, d.theme.Frequency, clip.Stroke{Path: path.End(), Width: float32(gtx.Dp(1))}.Op())
	return layout.Dimensions{Size: size}
}
