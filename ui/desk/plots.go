package desk

import (
	"fmt"
	"image"
	"math"
	"strings"

	"gioui.org/layout"
	"gioui.org/op/clip"
	"gioui.org/widget"

	"downlead/ui/chart"
	"downlead/ui/investigation"
	"downlead/ui/theme"
	"downlead/ui/traces"
)

// plots are the charts of both domains. One canvas holds both where they
// measure the same and the user wants that; else over is the view over frequency
// and along the view along the line.
type plots struct {
	over, along   chart.Chart
	smith         chart.Smith
	frequency     theme.Choice
	alongChoice   theme.Choice
	stack         widget.Clickable
	model         widget.Clickable
	without       widget.Clickable
	showModel     bool
	left          widget.Clickable
	showLeft      bool // what is left between the two sweeps of the comparison
	frequencyName []string
	alongName     []string
	footUnit      widget.Clickable
	footFace      widget.Clickable
	second        bool // F6 goes to the chart along the line next
}

func (p *plots) lists() {
	p.showModel = true
	for _, v := range traces.EveryOverFrequency() {
		p.frequencyName = append(p.frequencyName, v.Name())
	}
	for _, v := range traces.EveryAlongLine() {
		p.alongName = append(p.alongName, v.Name())
	}
}

// together says whether both domains share a canvas.
func (d *Desk) together() bool {
	return !d.views.stacked && traces.SameScale(d.views.frequency, d.views.along)
}

func (d *Desk) chartStyle() chart.Style {
	t := &d.theme
	return chart.Style{Shaper: t.Shaper, Font: theme.Regular, TextSize: t.Small(), Ground: t.Panel, Ink: t.Ink, Quiet: t.Quiet, Grid: t.Edge,
		Axis: [2]theme.Color{chart.Lower: t.Distance, chart.Upper: t.Frequency}, Brush: theme.Alpha(t.Distance, 0.14), Focus: theme.Alpha(t.Link, 0.7)}
}

// updatePlots drains the charts and the choices of views.
func (d *Desk) updatePlots(gtx layout.Context) {
	p := &d.plots
	if picked, ok := p.frequency.Update(gtx); ok {
		d.views.frequency = traces.EveryOverFrequency()[picked]
		d.refresh()
	}
	if picked, ok := p.alongChoice.Update(gtx); ok {
		d.views.along = traces.EveryAlongLine()[picked]
		d.refresh()
	}
	for p.stack.Clicked(gtx) {
		d.views.stacked = !d.views.stacked
	}
	for p.without.Clicked(gtx) {
		d.views.without = !d.views.without
		d.refresh()
	}
	for p.model.Clicked(gtx) {
		p.showModel = !p.showModel
		d.refresh()
	}
	for p.left.Clicked(gtx) {
		p.showLeft = !p.showLeft
		d.refresh()
	}
	over, along := d.contents()
	d.chartEvents(p.over.Update(gtx, over), &p.over, &p.along)
	if !d.together() {
		d.chartEvents(p.along.Update(gtx, along), &p.along, &p.over)
	}
}

// chartEvents takes what the user did to one chart over to the other and to the
// document.
func (d *Desk) chartEvents(events []chart.Event, from, other *chart.Chart) {
	for _, e := range events {
		switch e := e.(type) {
		case chart.FlagPressed:
			d.choosePlace(e.Index)
		case chart.Brushed:
			// Both charts know the stretch, so that either may show it.
			other.SetBrush(e.Side, e.From, e.To)
			from.SetBrush(e.Side, e.From, e.To)
			d.refresh()
		case chart.MarkersChanged:
			other.Markers = from.Markers
			doc := d.document()
			doc.Markers = nil
			for _, m := range from.Markers {
				doc.Markers = append(doc.Markers, investigation.Marker{AlongLine: m.Side == chart.Lower, At: m.X})
			}
			d.history.Do(doc, "move a marker", "")
		}
	}
}

// takeMarkers shows the document's markers.
func (p *plots) takeMarkers(markers []investigation.Marker) {
	var all []chart.Marker
	for _, m := range markers {
		side := chart.Upper
		if m.AlongLine {
			side = chart.Lower
		}
		all = append(all, chart.Marker{Side: side, X: m.At})
	}
	p.over.Markers, p.along.Markers = all, all
}

// contents are what the charts show. In one canvas the first holds everything.
func (d *Desk) contents() (over, along chart.Content) {
	p := d.drawn
	if p == nil {
		empty := "open a sweep to begin (Ctrl O)"
		if d.drawErr != nil {
			empty = d.drawErr.Error()
		} else if d.corrected != nil {
			empty = "…"
		}
		return chart.Content{Name: "empty chart", Empty: empty}, chart.Content{Name: "empty chart"}
	}
	over = chart.Content{Name: d.views.frequency.Name() + " over frequency", Y: p.frequency.Y}
	over.X[chart.Upper] = chart.Axis{Quantity: chart.Hertz, Low: p.lowHz, High: p.highHz}
	d.traceOver(p, &over)
	along = chart.Content{Name: d.views.along.Name() + " along the line", Y: p.along.Y}
	if p.alongErr == nil {
		along.X[chart.Lower] = chart.Axis{Quantity: d.length(), Low: 0, High: p.toM}
		d.traceAlong(p, &along)
	} else {
		along.Empty = strings.TrimPrefix(oneLine(p.alongErr.Error()), "distance: ")
	}
	if !d.together() {
		return over, along
	}
	both := over
	both.Name = d.views.frequency.Name() + " over frequency and along the line"
	both.X[chart.Lower] = along.X[chart.Lower]
	if both.Y.Quantity == chart.Ratio {
		both.Y.Low = math.Max(over.Y.Low, along.Y.Low)
	}
	both.Traces = append(both.Traces, along.Traces...)
	both.Shades, both.Flags = along.Shades, along.Flags
	return both, along
}

// modelWidth is that of the model's dots. They lie under the measured line and look
// out at both sides of it, so that each is seen where the two agree.
const modelWidth = 3

func (d *Desk) traceOver(p *picture, c *chart.Content) {
	t := &d.theme
	color := t.Frequency
	for i, part := range p.frequency.Parts {
		if i == 1 {
			color = t.Model // the second line of a view, such as the reactance
		}
		c.Traces = append(c.Traces, chart.Trace{Name: part.Name, Series: part.Series, Side: chart.Upper, Color: color})
	}
	for _, part := range p.earlier.frequency {
		c.Traces = append(c.Traces, chart.Trace{Name: part.Name + ", earlier", Series: part.Series, Side: chart.Upper, Color: t.Earlier, Pattern: chart.Dashed})
	}
	for _, part := range p.model.frequency {
		c.Traces = append(c.Traces, chart.Trace{Name: part.Name + d.modelName(), Series: part.Series, Side: chart.Upper, Color: t.Model, Pattern: chart.Dotted, Width: modelWidth, Under: true})
	}
	if p.partSide == chart.Upper && p.partErr == nil {
		for _, part := range p.part.Parts {
			c.Traces = append(c.Traces, chart.Trace{Name: part.Name + ", the chosen stretch alone", Series: part.Series, Side: chart.Upper, Color: t.Distance, Width: 1.6})
		}
	}
	d.limitOver(c)
}

func (d *Desk) modelName() string {
	if d.reach.without != nil {
		return ", if the fault were repaired"
	}
	return ", fitted model"
}

// limitOver draws the limit where it is judged.
func (d *Desk) limitOver(c *chart.Content) {
	line := d.document().Line
	if line == nil {
		return
	}
	v := line.Limits.LimitVSWR()
	if !(v > 1) {
		return
	}
	limit := chart.Limit{Side: chart.Upper, Color: d.theme.Out, Label: fmt.Sprintf("limit %.2f : 1", v), Level: v}
	switch d.views.frequency {
	case traces.ReturnLoss:
		limit.Level = -20 * math.Log10((v-1)/(v+1))
		limit.Label = fmt.Sprintf("limit %.1f dB (%.2f : 1)", limit.Level, v)
	case traces.VSWR:
	default:
		return
	}
	if d.findings != nil {
		limit.From, limit.To = d.findings.Verdict.LowHz, d.findings.Verdict.HighHz
	}
	c.Limits = append(c.Limits, limit)
}

func (d *Desk) traceAlong(p *picture, c *chart.Content) {
	t := &d.theme
	for _, part := range p.along.Parts {
		c.Traces = append(c.Traces, chart.Trace{Name: part.Name, Series: part.Series, Color: t.Distance, Width: 1.5})
	}
	for _, part := range p.earlier.along {
		c.Traces = append(c.Traces, chart.Trace{Name: part.Name + ", earlier", Series: part.Series, Color: t.Earlier, Pattern: chart.Dashed})
	}
	for _, part := range p.model.along {
		c.Traces = append(c.Traces, chart.Trace{Name: part.Name + d.modelName(), Series: part.Series, Color: t.Model, Pattern: chart.Dotted, Width: modelWidth, Under: true})
	}
	if p.partSide == chart.Lower && p.partErr == nil {
		for _, part := range p.part.Parts {
			c.Traces = append(c.Traces, chart.Trace{Name: part.Name + ", the chosen band alone", Series: part.Series, Color: t.Frequency, Width: 1.6})
		}
	}
	for _, part := range p.left {
		c.Traces = append(c.Traces, chart.Trace{Name: part.Name + ", the difference from the earlier sweep", Series: part.Series, Color: t.Ink, Width: 1})
	}
	if shade, ok := d.entryShade(); ok {
		c.Shades = append(c.Shades, shade)
	}
	if p.heldByNoise && p.heldFromM < p.toM {
		c.Shades = append(c.Shades, chart.Shade{Side: chart.Lower, From: p.heldFromM, To: p.toM, Color: theme.Alpha(t.Quiet, 0.1)})
	}
	if alias := p.figures.AliasFreeM; p.figuresErr == nil && alias < p.toM {
		c.Shades = append(c.Shades, chart.Shade{Side: chart.Lower, From: alias, To: p.toM, Color: theme.Alpha(t.Out, 0.12)})
	}
	if d.findings == nil {
		return
	}
	for n, i := range d.faults() {
		f := &d.findings.Findings[i]
		level := math.NaN()
		if len(p.along.Parts) > 0 {
			level = nearestPeak(p.along.Parts[0].Series, f.DistanceM, math.Max(p.figures.CellM, 0.05), p.along.Y)
		}
		color := t.Distance
		if doc := d.document(); doc.DecisionOn(f) >= 0 && doc.Decisions[doc.DecisionOn(f)].State == investigation.Rejected {
			color = t.Quiet
		}
		c.Flags = append(c.Flags, chart.Flag{Label: fmt.Sprint(n + 1), At: f.DistanceM, Level: level, Color: color, On: t.OnStrong, Selected: i == d.selected})
		width := math.Max(f.ExtentM, 0)
		from, to := f.DistanceM-f.SigmaM, f.DistanceM+width+f.SigmaM
		if i == d.selected && to > from {
			c.Shades = append(c.Shades, chart.Shade{Side: chart.Lower, From: from, To: to, Color: theme.Alpha(t.Distance, 0.1)})
		}
	}
}

// nearestPeak is the level nearest to the top within reach of x.
func nearestPeak(s *chart.Series, x, reach float64, y chart.Axis) float64 {
	best := math.NaN()
	for i, at := range s.X {
		if math.Abs(at-x) > reach {
			continue
		}
		if v := s.Y[i]; math.IsNaN(best) || math.Abs(v-y.Low) < math.Abs(best-y.Low) {
			best = v
		}
	}
	return best
}

// faults are the indices of the findings that are faults, in the order of their
// flags.
func (d *Desk) faults() []int {
	if d.findings == nil {
		return nil
	}
	var out []int
	for i, f := range d.findings.Findings {
		if f.IsFault {
			out = append(out, i)
		}
	}
	return out
}

// choosePlace selects the fault with the n-th flag.
func (d *Desk) choosePlace(n int) {
	if all := d.faults(); n < len(all) {
		d.selectFinding(all[n])
	}
}

// selectFinding shows a finding; selecting it once more shows the whole again.
func (d *Desk) selectFinding(i int) {
	if d.selected == i {
		d.selected = -1
		d.plots.over.ShowAll()
		d.plots.along.ShowAll()
	} else {
		d.selected = i
		f := &d.findings.Findings[i]
		if d.drawn != nil && d.drawn.alongErr == nil {
			d.showStretch(f.DistanceM, f.ExtentM)
		}
		d.cards.scrollTo = i
	}
	d.refresh()
}

// showStretch brings a place, or a stretch, into the middle of the charts.
func (d *Desk) showStretch(fromM, extentM float64) {
	half := math.Max(2*extentM, math.Max(12*d.drawn.figures.CellM, 0.08*d.drawn.toM))
	middle := fromM + extentM/2
	for _, c := range []*chart.Chart{&d.plots.over, &d.plots.along} {
		c.Show(chart.Lower, middle-half, middle+half)
	}
}

func (d *Desk) nextFinding(by int) {
	all := d.faults()
	if len(all) == 0 {
		return
	}
	now := -1
	for n, i := range all {
		if i == d.selected {
			now = n
		}
	}
	next := now + by
	if now < 0 && by < 0 {
		next = len(all) - 1
	}
	if next = (next + len(all)) % len(all); all[next] != d.selected {
		d.selectFinding(all[next])
	}
}

func (d *Desk) focusChart(gtx layout.Context) {
	if d.plots.second && !d.together() {
		d.plots.along.Focus(gtx)
	} else {
		d.plots.over.Focus(gtx)
	}
	d.plots.second = !d.plots.second
}

// layoutViews is the row over the charts: what is shown, and what the lines are.
func (d *Desk) layoutViews(gtx layout.Context) layout.Dimensions {
	p := &d.plots
	stack := "one canvas"
	if !d.together() {
		stack = "one above the other"
	}
	all := []layout.Widget{
		func(gtx layout.Context) layout.Dimensions {
			return d.theme.Choice(gtx, &p.frequency, "over frequency", p.frequencyName, int(d.views.frequency))
		},
		d.key(d.theme.Frequency, chart.Solid, "over frequency"),
		func(gtx layout.Context) layout.Dimensions {
			return d.theme.Choice(gtx, &p.alongChoice, "along the line", p.alongName, int(d.views.along))
		},
		d.key(d.theme.Distance, chart.Solid, "along the line"),
		func(gtx layout.Context) layout.Dimensions {
			return d.theme.Button(gtx, &p.stack, theme.Button{Text: stack, Off: !traces.SameScale(d.views.frequency, d.views.along)})
		},
	}
	if d.findings != nil && d.findings.Model != nil {
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return d.theme.Button(gtx, &p.model, theme.Button{Text: "fitted model", Chosen: p.showModel})
		})
		if p.showModel {
			if d.selected >= 0 && d.findings.Findings[d.selected].Without != nil {
				all = append(all, func(gtx layout.Context) layout.Dimensions {
					return d.theme.Button(gtx, &p.without, theme.Button{Text: "if repaired", Chosen: d.views.without})
				})
			}
			word := "as fitted"
			if d.reach.without != nil {
				word = "if the fault were repaired"
			}
			all = append(all, d.key(d.theme.Model, chart.Dotted, word))
		}
	}
	if d.document().Baseline.Sweep != nil {
		all = append(all, d.key(d.theme.Earlier, chart.Dashed, "earlier"))
	}
	if c := d.compared.is; c != nil && c.Left != nil {
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return d.theme.Button(gtx, &p.left, theme.Button{Text: "difference", Chosen: p.showLeft})
		})
		if p.showLeft {
			all = append(all, d.key(d.theme.Ink, chart.Solid, "less the earlier"))
		}
	}
	return layout.Inset{Bottom: 6}.Layout(gtx, func(gtx layout.Context) layout.Dimensions { return row(gtx, 8, all...) })
}

// key is a piece of line and what it stands for.
func (d *Desk) key(c theme.Color, pattern chart.Pattern, text string) layout.Widget {
	return func(gtx layout.Context) layout.Dimensions {
		return layout.Inset{Top: 6, Right: 6}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
			return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
				layout.Rigid(func(gtx layout.Context) layout.Dimensions {
					size := image.Pt(gtx.Dp(20), gtx.Dp(10))
					dash := map[chart.Pattern]int{chart.Solid: size.X, chart.Dashed: gtx.Dp(6), chart.Dotted: gtx.Dp(2)}[pattern]
					space := map[chart.Pattern]int{chart.Solid: 0, chart.Dashed: gtx.Dp(4), chart.Dotted: gtx.Dp(3)}[pattern]
					for x := 0; x < size.X; x += max(dash+space, 1) {
						rectangle(gtx, image.Rect(x, size.Y/2-1, min(x+dash, size.X), size.Y/2+gtx.Dp(1)), c)
					}
					return layout.Dimensions{Size: size}
				}),
				layout.Rigid(layout.Spacer{Width: 5}.Layout),
				layout.Rigid(d.small(text, c)))
		})
	}
}

func (d *Desk) layoutPlots(gtx layout.Context) layout.Dimensions {
	p := &d.plots
	style := d.chartStyle()
	size := gtx.Constraints.Max
	switch {
	case d.together():
		p.over.Layout(gtx, style)
	default:
		half := (size.Y - gtx.Dp(6)) / 2
		upper := gtx
		upper.Constraints = layout.Exact(image.Pt(size.X, half))
		func() {
			defer clip.Rect{Max: image.Pt(size.X, half)}.Push(gtx.Ops).Pop()
			if d.views.frequency == traces.Smith {
				d.layoutSmith(upper)
			} else {
				p.over.Layout(upper, style)
			}
		}()
		at(gtx, image.Pt(0, size.Y-half), func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints = layout.Exact(image.Pt(size.X, half))
			return p.along.Layout(gtx, style)
		})
	}
	if d.hints {
		d.layoutHints(gtx)
	}
	return layout.Dimensions{Size: size}
}

// alongChart is the chart that has the line under it.
func (d *Desk) alongChart() *chart.Chart {
	if d.together() {
		return &d.plots.over
	}
	return &d.plots.along
}

// layoutHints are the three hints of the first run.
func (d *Desk) layoutHints(gtx layout.Context) layout.Dimensions {
	hints := []string{
		"This is the demonstration: a site of our own invention with faults on its line.",
		"1  Press a numbered flag, or Ctrl ↓, to see where a fault is and how it is known.",
		"2  Drag a section's end below, or type its length at the left: everything follows.",
		"3  Ctrl O opens a sweep of yours, Ctrl L its line. F1 lists all keys.",
	}
	macroAt := image.Pt(gtx.Dp(64), gtx.Constraints.Max.Y-gtx.Dp(150))
	at(gtx, macroAt, func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min = image.Point{}
		return filled(gtx, theme.Alpha(d.theme.Field, 0.95), func(gtx layout.Context) layout.Dimensions {
			return layout.UniformInset(10).Layout(gtx, func(gtx layout.Context) layout.Dimensions {
				var all []layout.Widget
				for _, h := range hints {
					all = append(all, d.words(h, d.theme.Ink))
				}
				return column(gtx, 4, all...)
			})
		})
	})
	return layout.Dimensions{}
}
