package bench

import (
	"fmt"
	"math"
	"slices"

	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/dsp"
	"downlead/dsp/simulate"
	"downlead/ui/chart"
	"downlead/ui/theme"
	"downlead/ui/traces"
)

// panel is what stands at the sides of the charts.
type panel struct {
	sweep, faults widget.List
	rows          [mostFaults]widget.Clickable
	modes         theme.Choice
	other         widget.Clickable // the other form of a mismatch
	remove        widget.Clickable
	find, stop    widget.Clickable
	follow        widget.Clickable
}

// dial is a knob of the sweep.
type dial struct {
	key   string // of its knob, and the kind of its steps
	name  string
	scale scale
	get   func(*Setup) float64
	set   func(*Setup, float64)
	says  func(v float64) string
}

// dials are the knobs of the sweep, as far as they mean something in a setup.
func (b *Bench) dials() []dial {
	s := b.Setup()
	hertz := func(v float64) string { return chart.Hertz.Write(v, 0) }
	decibel := func(v float64) string {
		if v == 0 {
			return "perfect"
		}
		return fmt.Sprintf("%.0f dB", v)
	}
	all := []dial{
		{"low", "band from", scale{leastHz, mostHz / 1.1, true, false}, func(s *Setup) float64 { return s.LowHz },
			func(s *Setup, v float64) { s.LowHz = math.Min(v, s.HighHz/narrowest) }, hertz},
		{"high", "band to", scale{leastHz * 1.1, mostHz, true, false}, func(s *Setup) float64 { return s.HighHz },
			func(s *Setup, v float64) { s.HighHz = math.Max(v, s.LowHz*narrowest) }, hertz},
		{"points", "points", scale{fewestPoints, mostPoints, true, false}, func(s *Setup) float64 { return float64(s.Points) },
			func(s *Setup, v float64) { s.Points = int(math.Round(v)) }, func(v float64) string { return fmt.Sprintf("%.0f", v) }},
	}
	if p, ok := traces.ParameterOf(s.Window.Kind); ok {
		all = append(all, dial{"parameter", "of the window, quieter →", scale{p.Low, p.High, false, false}, func(s *Setup) float64 { return p.Of(s.Window) },
			func(s *Setup, v float64) { s.Window.Parameter = v }, func(v float64) string { return fmt.Sprintf("%s %.1f", p.Name, v) }})
	}
	all = append(all, dial{"noise", "noise of one point", scale{-120, -30, false, true}, func(s *Setup) float64 { return s.Errors.NoiseDB },
		func(s *Setup, v float64) { s.Errors.NoiseDB = v }, func(v float64) string {
			if v == 0 {
				return "none"
			}
			return fmt.Sprintf("−%.0f dB", -v)
		}})
	if !s.Raw {
		all = append(all,
			dial{"directivity", "directivity left", scale{60, 15, false, true}, func(s *Setup) float64 { return s.Errors.DirectivityDB }, func(s *Setup, v float64) { s.Errors.DirectivityDB = v }, decibel},
			dial{"match", "source match left", scale{60, 15, false, true}, func(s *Setup) float64 { return s.Errors.SourceMatchDB }, func(s *Setup, v float64) { s.Errors.SourceMatchDB = v }, decibel})
	}
	return append(all, dial{"speed", "its velocity factors", scale{-0.1, 0.1, false, false}, func(s *Setup) float64 { return s.WrongSpeed },
		func(s *Setup, v float64) {
			if s.WrongSpeed = math.Round(v*500) / 500; math.Abs(s.WrongSpeed) < 0.0015 {
				s.WrongSpeed = 0
			}
		}, func(v float64) string {
			if v == 0 {
				return "right"
			}
			return fmt.Sprintf("%.1f %% too %s", 100*math.Abs(v), map[bool]string{true: "fast", false: "slow"}[v > 0])
		}})
}

// shownDials are those that can be turned: of a blind case what only changes the way it is
// looked at.
func (b *Bench) shownDials() []dial {
	if !b.hasKnobs() {
		return nil
	}
	all := b.dials()
	if !b.blind.on {
		return all
	}
	return slices.DeleteFunc(all, func(d dial) bool { return d.key != "parameter" && d.key != "speed" })
}

// knob returns the state of a knob.
func (b *Bench) knob(key string) *knob {
	k := b.knobs[key]
	if k == nil {
		k = &knob{}
		b.knobs[key] = k
	}
	return k
}

func (b *Bench) updatePanel(gtx layout.Context) {
	for _, d := range b.shownDials() {
		s := b.Setup()
		did := b.knob(d.key).update(gtx, d.scale, d.get(&s))
		if did.changed {
			_ = b.change("turn "+d.name, d.key, func(s *Setup) { d.set(s, did.value) }) // the foot says why not
		}
		if did.rest {
			b.history.Rest()
		}
	}
	if picked, ok := b.bar.window.Update(gtx); ok {
		_ = b.change("window "+dsp.Kinds()[picked].String(), "", func(s *Setup) { s.Window = dsp.Window{Kind: dsp.Kinds()[picked]} })
	}
	for b.bar.raw.Clicked(gtx) {
		_ = b.change("calibration on or off", "", func(s *Setup) { s.Raw = !s.Raw })
	}
	p := &b.panel
	for i := range p.rows {
		for p.rows[i].Clicked(gtx) {
			if i < len(b.Setup().Faults) {
				b.selected = i
			}
		}
	}
	for p.find.Clicked(gtx) {
		b.find()
	}
	for p.stop.Clicked(gtx) {
		b.stopFinding()
	}
	for p.follow.Clicked(gtx) {
		b.follow = !b.follow
	}
	b.updateSelected(gtx)
}

// stopFinding ends the search that runs.
func (b *Bench) stopFinding() {
	if _, running := b.finding.Running(); running {
		b.finding.Stop()
		b.findErr = errStopped
		b.follow = false
	}
}

// updateSelected drains the knobs of the selected fault.
func (b *Bench) updateSelected(gtx layout.Context) {
	p, i := &b.panel, b.selected
	if i < 0 || i >= len(b.shownFaults()) || b.path == nil {
		return
	}
	f := b.Setup().Faults[i]
	if f.Cause != "antenna" {
		from, _ := b.span(i)
		did := b.knob("place").update(gtx, scale{0, b.path.LengthM(), false, false}, from)
		if did.changed {
			b.move(i, did.value, "place")
		}
		if did.rest {
			b.history.Rest()
		}
	}
	for n, s := range severities(&f) {
		now := b.Setup().Faults[i]
		did := b.knob(fmt.Sprint("severity", n)).update(gtx, scale{s.low, s.high, s.log, s.none}, *s.of(&now))
		if did.changed {
			b.edit(i, "change "+s.name+" of ", "severity"+s.name, func(f *simulate.Fault) {
				*s.of(f) = did.value
				if simulate.Stretches(f.Cause) {
					from, _ := b.span(i)
					*f = inSection(*f, b.path, from)
				}
			})
		}
		if did.rest {
			b.history.Rest()
		}
	}
	if picked, ok := p.modes.Update(gtx); ok {
		b.edit(i, "change ", "", func(f *simulate.Fault) { f.Mode = modes()[picked] })
	}
	for p.other.Clicked(gtx) {
		b.edit(i, "change ", "", func(f *simulate.Fault) {
			if f.ShuntFarad > 0 {
				f.ShuntFarad, f.SeriesHenry = 0, 2e-9
			} else {
				f.ShuntFarad, f.SeriesHenry = 0.8e-12, 0
			}
		})
	}
	for p.remove.Clicked(gtx) {
		b.history.Rest()
		b.remove(i, "")
		return
	}
}

func (b *Bench) heading(text string) layout.Widget {
	return b.theme.Text(theme.Label{Text: text, Font: theme.Strong})
}

func (b *Bench) small(text string, c theme.Color) layout.Widget {
	return b.theme.Text(theme.Label{Text: text, Color: c, Size: b.theme.Small()})
}

// scroll lays widgets out one under the other in a list that scrolls.
func (b *Bench) scroll(gtx layout.Context, list *widget.List, all []layout.Widget) layout.Dimensions {
	list.Axis = layout.Vertical
	return b.theme.Scroll(gtx, list, len(all), func(gtx layout.Context, i int) layout.Dimensions {
		return layout.Inset{Bottom: 6, Right: 12}.Layout(gtx, all[i])
	})
}

// layoutSweep is the sweep with its instrument and the record.
func (b *Bench) layoutSweep(gtx layout.Context) layout.Dimensions {
	s := b.Setup()
	all := []layout.Widget{b.heading("Sweep")}
	if b.blind.on {
		all = []layout.Widget{b.heading("How it is looked at"), b.small("The line and its sweep stay as they are.", b.theme.Quiet)}
	}
	windowed := false
	window := func() {
		if !windowed {
			all = append(all, b.windowChoice)
		}
		windowed = true
	}
	for _, d := range b.shownDials() {
		switch d.key {
		case "parameter":
			window()
		case "noise":
			window()
			all = append(all, b.heading("Instrument"))
		case "directivity":
			all = append(all, b.rawButton)
		case "speed":
			window()
			if s.Raw && !b.blind.on {
				all = append(all, b.rawButton)
			}
			all = append(all, b.heading("Record of the line"))
		}
		v := d.get(&s)
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return b.knob(d.key).layout(gtx, &b.theme, d.name, d.says(v), d.scale.share(v))
		})
	}
	all = append(all, b.small(b.tradeWords(), b.theme.Quiet))
	if i := b.selected; b.lessons.on && i >= 0 && i < len(b.shownFaults()) { // the lesson stands where it would stand else
		from, to := b.span(i)
		all = append(all, b.theme.Rule, b.heading(b.name(i)), b.small(b.place(from, to), b.theme.Quiet))
		all = append(all, b.selectedWidgets(i)...)
	}
	return b.scroll(gtx, &b.panel.sweep, all)
}

func (b *Bench) windowChoice(gtx layout.Context) layout.Dimensions {
	var names []string
	chosen := 0
	for i, k := range dsp.Kinds() {
		names = append(names, k.String())
		if k == b.Setup().Window.Kind {
			chosen = i
		}
	}
	return theme.Flow(gtx, 6, func(gtx layout.Context) layout.Dimensions {
		return layout.Inset{Top: 6}.Layout(gtx, b.small("window", b.theme.Quiet))
	}, func(gtx layout.Context) layout.Dimensions {
		return b.theme.Choice(gtx, &b.bar.window, "window", names, chosen)
	})
}

func (b *Bench) rawButton(gtx layout.Context) layout.Dimensions {
	text := "calibrated"
	if b.Setup().Raw {
		text = "not calibrated"
	}
	return b.theme.Button(gtx, &b.bar.raw, theme.Button{Text: text, Chosen: b.Setup().Raw})
}

// tradeWords are what band, points and window buy and cost.
func (b *Bench) tradeWords() string {
	p := b.drawn
	if p == nil {
		return ""
	}
	if p.figuresErr != nil {
		return p.figuresErr.Error()
	}
	f := p.figures
	text := fmt.Sprintf("cell %s\ntwo equal faults show as two %s apart\nside lobes %.0f dB\nalias-free to %s",
		metres(f.CellM, b.look.Feet), metres(f.MainLobe6DBM, b.look.Feet), f.HighestSideLobeDB, metres(f.AliasFreeM, b.look.Feet))
	if f.AliasFreeM < p.path.LengthM() {
		text += "\nTHE LINE IS LONGER THAN THE ALIAS-FREE RANGE"
	}
	return text
}
