package bench

import (
	"fmt"
	"math"

	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
	"downlead/ui/theme"
	"downlead/ui/traces"
)

func (b *Bench) chartStyle() chart.Style {
	t := &b.theme
	return chart.Style{Shaper: t.Shaper, Font: theme.Regular, TextSize: t.Small(), Ground: t.Panel, Ink: t.Ink, Quiet: t.Quiet, Grid: t.Edge,
		Axis: [2]theme.Color{chart.Lower: t.Distance, chart.Upper: t.Frequency}, Brush: theme.Alpha(t.Distance, 0.14), Focus: theme.Alpha(t.Link, 0.7)}
}

// length is the quantity that distances are written in.
func (b *Bench) length() chart.Quantity {
	if b.look.Feet {
		return chart.Foot
	}
	return chart.Metre
}

// patterns keep neighbours apart where colours alone would not.
func patternOf(i int) chart.Pattern {
	return []chart.Pattern{chart.Dashed, chart.Solid, chart.Dotted}[i%3]
}

// contents are what the two charts show.
func (b *Bench) contents() (over, along chart.Content) {
	p := b.drawn
	if p == nil {
		empty := "…"
		if b.drawErr != nil {
			empty = b.drawErr.Error()
		}
		return chart.Content{Name: "empty chart", Empty: empty}, chart.Content{Name: "empty chart"}
	}
	f := p.sweep.FrequencyHz
	overView, alongView := p.views.over, p.views.along
	over = chart.Content{Name: overView.Name() + " over frequency", Y: p.frequency.Y}
	over.X[chart.Upper] = chart.Axis{Quantity: chart.Hertz, Low: f[0], High: f[len(f)-1]}
	along = chart.Content{Name: alongView.Name() + " along the line", Y: p.along.Y}
	if p.alongErr != nil {
		along.Empty = p.alongErr.Error()
	} else {
		along.X[chart.Lower] = chart.Axis{Quantity: b.length(), Low: 0, High: p.toM}
	}
	t := &b.theme
	beside := func(all both, name string, c theme.Color, pattern chart.Pattern, width float32) {
		for _, part := range all.frequency {
			over.Traces = append(over.Traces, chart.Trace{Name: part.Name + name, Series: part.Series, Side: chart.Upper, Color: c, Pattern: pattern, Width: width})
		}
		for _, part := range all.along {
			along.Traces = append(along.Traces, chart.Trace{Name: part.Name + name, Series: part.Series, Side: chart.Lower, Color: c, Pattern: pattern, Width: width})
		}
	}
	beside(p.model, ", fitted model", t.Model, chart.Dotted, 3)
	whole := float32(1.4)
	if b.each {
		whole = 0.8 // under its parts
	}
	for _, part := range p.frequency.Parts {
		over.Traces = append(over.Traces, chart.Trace{Name: part.Name, Series: part.Series, Side: chart.Upper, Color: t.Frequency, Width: whole})
	}
	for _, part := range p.along.Parts {
		along.Traces = append(along.Traces, chart.Trace{Name: part.Name, Series: part.Series, Side: chart.Lower, Color: t.Distance, Width: whole})
	}
	if b.each {
		for i, one := range p.alone {
			c := t.Series(i)
			for _, part := range one.frequency.Parts {
				over.Traces = append(over.Traces, chart.Trace{Name: one.name, Series: part.Series, Side: chart.Upper, Color: c, Pattern: patternOf(i), Width: 1.8})
			}
			for _, part := range one.along.Parts {
				along.Traces = append(along.Traces, chart.Trace{Name: one.name, Series: part.Series, Side: chart.Lower, Color: c, Pattern: patternOf(i), Width: 1.8})
			}
		}
	}
	beside(p.earlier, ", earlier", t.Earlier, chart.Dashed, 0)
	beside(p.expected, ", expected", t.In, chart.Dashed, 1.6)
	if v := b.limitVSWR(); v > 1 {
		line := b.Setup().Line
		limit := chart.Limit{Side: chart.Upper, From: line.Load.BandHz[0], To: line.Load.BandHz[1], Color: t.Out}
		switch level := sweep.ReturnLossFromMagnitude((v - 1) / (v + 1)); overView {
		case traces.ReturnLoss:
			limit.Label, limit.Level = fmt.Sprintf("limit %.1f dB (%.2f : 1)", level, v), level
			over.Limits = append(over.Limits, limit)
		case traces.VSWR:
			limit.Label, limit.Level = fmt.Sprintf("limit %.2f : 1 (%.1f dB)", v, level), v
			over.Limits = append(over.Limits, limit)
		}
	}
	if b.presenting { // people at the back see them too
		for _, c := range []*chart.Content{&over, &along} {
			for i := range c.Traces {
				c.Traces[i].Width = presentStroke * max(c.Traces[i].Width, 1)
			}
		}
	}
	b.flags(&along)
	return over, along
}

// presentStroke is how much thicker lines are for a room of people.
const presentStroke = 1.7

// limitVSWR is the line's limit where it is shown, else 0.
func (b *Bench) limitVSWR() float64 {
	if b.drawn == nil || !b.drawn.scene.limited() {
		return 0
	}
	return b.Setup().Line.Limits.LimitVSWR()
}

// smithContent is what the view over frequency shows as a Smith chart.
func (b *Bench) smithContent() chart.SmithContent {
	t, p := &b.theme, b.drawn
	content := chart.SmithContent{ReferenceOhm: p.sweep.ReferenceOhm, LimitVSWR: b.limitVSWR(), LimitColor: t.Out}
	add := func(name string, s *sweep.Sweep, c theme.Color, pattern chart.Pattern) {
		if s != nil {
			content.Loci = append(content.Loci, chart.Locus{Name: name, FrequencyHz: s.FrequencyHz, Gamma: s.Gamma, Color: c, Pattern: pattern})
		}
	}
	add("reflection", p.sweep, t.Frequency, chart.Solid)
	if b.each {
		for i, one := range p.alone {
			content.Loci = append(content.Loci, chart.Locus{Name: one.name, FrequencyHz: p.sweep.FrequencyHz, Gamma: one.gamma, Color: t.Series(i), Pattern: patternOf(i), Width: 1.8})
		}
	}
	add("fitted model", p.model.sweep, t.Model, chart.Dotted)
	add("earlier", p.earlier.sweep, t.Earlier, chart.Dashed)
	add("expected", p.expected.sweep, t.In, chart.Dashed)
	return content
}

// sample is a line of the charts with its name.
type sample struct {
	name    string
	color   theme.Color
	pattern chart.Pattern
}

// legend names the lines that lie beside the whole; reflections that stand alone are named
// beside the charts.
func (b *Bench) legend() []sample {
	p, t := b.drawn, &b.theme
	if p == nil {
		return nil
	}
	var all []sample
	for _, one := range []struct {
		of both
		sample
	}{{p.earlier, sample{"earlier", t.Earlier, chart.Dashed}}, {p.model, sample{"fitted model", t.Model, chart.Dotted}}, {p.expected, sample{"expected", t.In, chart.Dashed}}} {
		if one.of.sweep != nil {
			all = append(all, one.sample)
		}
	}
	return all
}

// flags are where the faults are, and the ghosts after them.
func (b *Bench) flags(c *chart.Content) {
	if c.X[chart.Lower].Low == c.X[chart.Lower].High {
		return
	}
	t := &b.theme
	for i := range b.shownFaults() {
		from, _ := b.span(i)
		c.Flags = append(c.Flags, chart.Flag{Label: letter(i), At: from, Level: math.NaN(), Color: t.Distance, On: t.OnStrong, Selected: i == b.selected})
	}
	if !b.ghosts {
		return
	}
	for i, g := range b.drawn.ghosts {
		c.Flags = append(c.Flags, chart.Flag{Label: fmt.Sprintf("g%d", i+1), At: g.distanceM, Level: b.levelAt(g.distanceM), Color: t.Model, On: t.OnStrong})
	}
}

// shownFaults are the faults of the setup, none while they are veiled.
func (b *Bench) shownFaults() []simulate.Fault {
	if b.veiled {
		return nil
	}
	return b.Setup().Faults
}

// span is where fault i lies, m along the line.
func (b *Bench) span(i int) (fromM, toM float64) {
	s := b.Setup()
	if b.path == nil || i < 0 || i >= len(s.Faults) {
		return 0, 0
	}
	fromM, toM, err := s.Faults[i].Span(b.path)
	if err != nil { // a setup that has one does not get onto the bench
		return 0, 0
	}
	return fromM, toM
}

// levelAt is how high the whole stands at a place; NaN where it does not reach.
func (b *Bench) levelAt(m float64) float64 {
	if len(b.drawn.along.Parts) == 0 {
		return math.NaN()
	}
	return b.drawn.along.Parts[0].Series.At(m)
}
