package desk

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/ui/investigation"
	"downlead/ui/theme"
	"downlead/ui/traces"
)

// strip is what the band, the points and the window buy and cost, and the means
// to change them.
type strip struct {
	stale      bool
	low, high  widget.Editor
	bad        bool
	all        widget.Clickable
	window     theme.Choice
	points     theme.Choice
	names      []string
	parameter  widget.Float
	held       bool
	resolution widget.Editor
	reachM     widget.Editor
	ask        widget.Clickable
	answer     string
	answerBad  bool
}

func (s *strip) init() {
	for _, k := range dsp.Kinds() {
		s.names = append(s.names, k.String())
	}
	for _, e := range []*widget.Editor{&s.low, &s.high, &s.resolution, &s.reachM} {
		e.SingleLine, e.Submit = true, true
	}
	s.resolution.SetText("0.3")
	s.stale = true
}

// everies are the shares of the points that can be used: all, each second, ...
var everies = [...]int{1, 2, 4, 8}

// pointNames say how many points each share is.
func (d *Desk) pointNames() []string {
	n := 0
	if s := d.document().Sweep.Sweep; s != nil {
		n = len(s.FrequencyHz)
		if part, err := investigation.Used(s, d.document().BandHz, 1); err == nil {
			n = len(part.FrequencyHz)
		}
	}
	var out []string
	for _, every := range everies {
		out = append(out, fmt.Sprint((n+every-1)/every))
	}
	return out
}

func (d *Desk) updateStrip(gtx layout.Context) {
	s := &d.strip
	if s.stale {
		d.renewStrip()
	}
	d.typedBand(gtx)
	for s.all.Clicked(gtx) {
		doc := d.document()
		doc.BandHz = [2]float64{}
		d.change(doc, "use the whole sweep", "")
		s.stale = true
	}
	if picked, ok := s.points.Update(gtx); ok {
		doc := d.document()
		doc.Every = everies[picked]
		d.change(doc, "change how many points are used", "")
	}
	if picked, ok := s.window.Update(gtx); ok {
		kind := dsp.Kinds()[picked]
		doc := d.document()
		doc.Window = dsp.Window{Kind: kind}
		if p, has := traces.ParameterOf(kind); has {
			doc.Window.Parameter = p.Usual
		}
		d.change(doc, "window "+kind.String(), "")
		s.stale = true
	}
	for s.parameter.Update(gtx) {
		doc := d.document()
		p, has := traces.ParameterOf(doc.Window.Kind)
		if !has {
			continue
		}
		doc.Window.Parameter = math.Round((p.Low+float64(s.parameter.Value)*(p.High-p.Low))*10) / 10
		d.change(doc, "change the window's parameter", "window parameter")
	}
	if s.held && !s.parameter.Dragging() {
		d.history.Rest()
	}
	s.held = s.parameter.Dragging()
	asked := s.ask.Clicked(gtx)
	for _, e := range []*widget.Editor{&s.resolution, &s.reachM} {
		_, submitted := theme.Submitted(gtx, e)
		asked = asked || submitted
	}
	if asked {
		d.askPlan()
	}
}

func (d *Desk) renewStrip() {
	s := &d.strip
	s.stale, s.bad = false, false
	doc := d.document()
	band := doc.BandHz
	if band == [2]float64{} && doc.Sweep.Sweep != nil {
		f := doc.Sweep.Sweep.FrequencyHz
		band = [2]float64{f[0], f[len(f)-1]}
	}
	if band[1] > 0 {
		setText(&s.low, fmt.Sprintf("%.8g", band[0]/1e6))
		setText(&s.high, fmt.Sprintf("%.8g", band[1]/1e6))
	}
	if p, ok := traces.ParameterOf(doc.Window.Kind); ok {
		s.parameter.Value = float32((p.Of(doc.Window) - p.Low) / (p.High - p.Low))
	}
}

func (d *Desk) typedBand(gtx layout.Context) {
	s := &d.strip
	low, high := changed(gtx, &s.low), changed(gtx, &s.high)
	doc := d.document()
	if !low && !high || doc.Sweep.Sweep == nil {
		return
	}
	from, err := readFrequency(s.low.Text())
	to, err2 := readFrequency(s.high.Text())
	s.bad = err != nil || err2 != nil || !(from >= 0 && to > from)
	if !s.bad {
		_, err = doc.Sweep.Sweep.Band(from, to)
		s.bad = err != nil
	}
	if s.bad {
		return
	}
	doc.BandHz = [2]float64{from, to}
	f := doc.Sweep.Sweep.FrequencyHz
	if from <= f[0] && to >= f[len(f)-1] {
		doc.BandHz = [2]float64{}
	}
	if doc.BandHz == d.document().BandHz {
		return
	}
	d.change(doc, "use a part of the band", "band of the sweep")
}

// askPlan answers "what would I need to resolve this at that distance?".
func (d *Desk) askPlan() {
	s := &d.strip
	line := d.document().Line
	if line == nil {
		s.answer, s.answerBad = "open or enter the line first", true
		return
	}
	request := distance.Request{}
	var err error
	if request.ResolutionM, err = d.readLength(s.resolution.Text()); err != nil || !(request.ResolutionM > 0) {
		s.answer, s.answerBad = "the resolution must be a length", true
		return
	}
	if text := strings.TrimSpace(s.reachM.Text()); text != "" {
		if request.RangeM, err = d.readLength(text); err != nil || !(request.RangeM > 0) {
			s.answer, s.answerBad = "the distance must be a length", true
			return
		}
	}
	d.answering.Start(func(context.Context) (string, error) { return d.planAnswer(line, request) })
}

// planAnswer is a plan in a sentence. It reads nothing of d but how lengths are
// written, which it is given by value.
func (d *Desk) planAnswer(line *cables.Line, request distance.Request) (string, error) {
	plan, err := distance.Plan(line, request)
	if err != nil {
		return "", err
	}
	text := fmt.Sprintf("sweep %s to %s with %d points, window %s: two equal faults %.2g m apart show as two, alias-free to %.0f m",
		hertz(plan.StartHz), hertz(plan.StopHz), plan.Points, plan.Window.Kind, plan.ResolutionM, plan.Figures.AliasFreeM)
	if !plan.Met {
		text = "out of reach; the best is: " + text
		for _, l := range plan.Limits {
			if l.Binding {
				text += ". " + l.Sentence
				break
			}
		}
	}
	return text, nil
}

func (d *Desk) layoutStrip(gtx layout.Context) layout.Dimensions {
	s, doc := &d.strip, d.document()
	width := func(dp int, w layout.Widget) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints.Max.X = min(gtx.Dp(1)*dp, gtx.Constraints.Max.X)
			return w(gtx)
		}
	}
	named := func(name string, w layout.Widget) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions {
			return column(gtx, 2, d.small(name, d.theme.Quiet), w)
		}
	}
	field := func(e *widget.Editor, entry theme.Entry) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions { return d.theme.Editor(gtx, e, entry) }
	}
	chosen := 0
	for i, k := range dsp.Kinds() {
		if k == doc.Window.Kind {
			chosen = i
		}
	}
	s.window.Upward, s.points.Upward = true, true
	unit := "m"
	if d.look.feet {
		unit = "ft"
	}
	controls := []layout.Widget{
		named("band, MHz", func(gtx layout.Context) layout.Dimensions {
			return row(gtx, 4, width(60, field(&s.low, theme.Entry{Name: "band from, MHz", Bad: s.bad})), width(60, field(&s.high, theme.Entry{Name: "band to, MHz", Bad: s.bad})))
		}),
		named("points", func(gtx layout.Context) layout.Dimensions {
			return d.theme.Choice(gtx, &s.points, "points", d.pointNames(), slices.Index(everies[:], max(doc.Every, 1)))
		}),
		named("window", func(gtx layout.Context) layout.Dimensions {
			return d.theme.Choice(gtx, &s.window, "window", s.names, chosen)
		}),
	}
	if p, ok := traces.ParameterOf(doc.Window.Kind); ok {
		controls = append(controls, named(fmt.Sprintf("%s %.1f, quieter →", p.Name, p.Of(doc.Window)), width(92, func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints.Min.X = gtx.Constraints.Max.X
			return d.theme.Slider(gtx, &s.parameter, "parameter of the window")
		})))
	}
	controls = append(controls,
		named("to resolve", width(66, field(&s.resolution, theme.Entry{Unit: unit, Name: "to resolve"}))),
		named("at", width(84, field(&s.reachM, theme.Entry{Hint: "the end", Unit: unit, Name: "at"}))),
		named(" ", func(gtx layout.Context) layout.Dimensions {
			return d.theme.Button(gtx, &s.ask, theme.Button{Text: "plan"})
		}))
	if doc.BandHz != [2]float64{} {
		controls = append(controls, named(" ", d.plain(&s.all, "whole sweep")))
	}
	all := []layout.Widget{
		func(gtx layout.Context) layout.Dimensions { return row(gtx, 10, controls...) },
		d.small(d.tradeWords(), d.theme.Ink),
	}
	if s.answer != "" {
		c := d.theme.In
		if s.answerBad {
			c = d.theme.Out
		}
		all = append(all, d.small(s.answer, c))
	}
	return layout.Inset{Top: 8}.Layout(gtx, func(gtx layout.Context) layout.Dimensions { return column(gtx, 6, all...) })
}

// tradeWords are the figures of the sweep as it is used.
func (d *Desk) tradeWords() string {
	p := d.drawn
	if p == nil || d.path == nil {
		return " "
	}
	if p.figuresErr != nil {
		return p.figuresErr.Error()
	}
	f := p.figures
	text := fmt.Sprintf("%d points · cell %s · two equal faults %s apart show as two · side lobes %.0f dB · alias-free to %s · loss to the far end %.1f dB one way",
		p.points, d.metres(f.CellM), d.metres(f.MainLobe6DBM), f.HighestSideLobeDB, d.metres(f.AliasFreeM), p.lossAtEndDB)
	if p.heldByNoise && p.heldFromM < p.toM {
		text += fmt.Sprintf(" · from %s on noise takes over", d.metres(p.heldFromM))
	}
	if d.path != nil && f.AliasFreeM < d.path.LengthM() {
		text += " · THE LINE IS LONGER THAN THE ALIAS-FREE RANGE"
	}
	return text
}
