package bench

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"gioui.org/f32"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/ui/blind"
	"downlead/ui/chart"
	"downlead/ui/theme"
	"downlead/ui/work"
)

// blindfold is an exercise: a line whose faults only the program knows.
type blindfold struct {
	on      bool // in place of what is on the bench
	level   int
	draw    work.Slot[*blind.Case]
	seed    func() uint64
	theCase *blind.Case
	err     error
	rows    [mostFaults]markRow // of the marks, which the setup holds
	shown   aim                 // whose marks the line's chart has
	result  *blind.Result
	record  record
	levels  theme.Choice
	again   widget.Clickable
	number  widget.Editor // of the case, for all of a class to have the same
	answer  widget.Clickable
	scroll  widget.List
	pressed f32.Point // on the chart of the line; its address is the tag of presses there
}

// markRow is what is pressed to say what a mark is taken for.
type markRow struct {
	choice theme.Choice
	off    widget.Clickable
}

// goBlind begins with a blind case in place of the faults, or goes back to them.
func (b *Bench) goBlind() {
	if b.blind.on {
		b.leaveBlind()
		return
	}
	if b.lessons.on {
		b.goToLessons()
	}
	b.setAside()
	b.blind.on, b.veiled = true, true
	b.nextCase()
}

// leaveBlind puts what was there before back onto the bench.
func (b *Bench) leaveBlind() {
	if !b.blind.on {
		return
	}
	b.blind.draw.Stop()
	b.blind.on, b.blind.theCase, b.blind.result, b.veiled, b.scene = false, nil, nil, false, nil
	b.along.Markers, b.blind.shown = nil, aim{}
	b.putBack()
}

// nextCase draws another case, by chance.
func (b *Bench) nextCase() {
	s := &b.blind
	if s.seed == nil {
		s.seed = func() uint64 { return rand.Uint64N(1e6) }
	}
	s.number.SetText("")
	b.drawCase(s.seed())
}

// drawCase draws the case of a number.
func (b *Bench) drawCase(seed uint64) {
	s := &b.blind
	s.theCase, s.result, s.err = nil, nil, nil
	s.record.kept = false
	if fresh := b.Setup(); len(fresh.Marks) > 0 { // of the case before
		fresh.Marks = nil
		b.Begin(fresh)
	}
	if s.level == 0 {
		s.level = 1
	}
	level := s.level
	s.draw.Start(func(ctx context.Context) (*blind.Case, error) { return blind.New(ctx, seed, level) })
}

// takeBlind takes a case that was drawn.
func (b *Bench) takeBlind() {
	r, ok := b.blind.draw.Take()
	if !ok || !b.blind.on {
		return
	}
	b.blind.err = r.Err
	if r.Err != nil {
		return
	}
	b.blind.theCase = r.Value
	setup := b.aside.history.Now()
	setup.Line, setup.Record, setup.Faults, setup.WrongSpeed, setup.Raw = r.Value.Line, nil, nil, 0, false
	f := r.Value.Sweep.FrequencyHz
	setup.LowHz, setup.HighHz, setup.Points = f[0], f[len(f)-1], len(f)
	b.scene = &scene{sweep: r.Value.Sweep, record: r.Value.Line, secret: true}
	b.views = views{}
	b.Begin(setup)
	b.each, b.ghosts, b.bounces = false, false, false
}

// updateClicks takes presses on the line's chart that did not move it.
func (b *Bench) updateClicks(gtx layout.Context) {
	s := &b.blind
	for {
		e, ok := gtx.Event(pointer.Filter{Target: &s.pressed, Kinds: pointer.Press | pointer.Release})
		if !ok {
			return
		}
		p, is := e.(pointer.Event)
		if !is {
			continue
		}
		if p.Kind == pointer.Press {
			s.pressed = p.Position
			continue
		}
		a := b.along.Area()
		seen := b.along.View(chart.Lower)
		x := float64(p.Position.X) - float64(a.Min.X)
		if off := p.Position.Sub(s.pressed); p.Kind != pointer.Release || math.Hypot(float64(off.X), float64(off.Y)) > 3 || !p.Position.Round().In(a) {
			continue
		}
		onMark := false
		for _, m := range b.Setup().Marks {
			onMark = onMark || math.Abs(seen.Position(m.DistanceM, float64(a.Dx()))-x) < 8
		}
		if !onMark {
			b.markHere(seen.Value(x, float64(a.Dx())))
		}
	}
}

// showMarks puts the marks of the setup onto the line's chart, where they are others than
// before.
func (b *Bench) showMarks() {
	now := aim{begun: b.begun, step: b.history.Number()}
	if !b.blind.on || now == b.blind.shown {
		return
	}
	b.blind.shown = now
	b.along.Markers = nil
	for _, m := range b.Setup().Marks {
		b.along.Markers = append(b.along.Markers, chart.Marker{Side: chart.Lower, X: m.DistanceM})
	}
}

// marking says whether marks can be set and changed.
func (b *Bench) marking() bool { return b.blind.on && b.blind.theCase != nil && b.blind.result == nil }

// markHere adds a mark.
func (b *Bench) markHere(m float64) {
	if !b.marking() || m < 0 || m > b.path.LengthM() {
		return
	}
	marks := b.Setup().Marks
	if len(marks) == mostFaults {
		b.trouble = fmt.Sprintf("there are %d marks already; take one off first", mostFaults)
		return
	}
	b.history.Rest()
	b.mark("set mark "+letter(len(marks)), append(slices.Clone(marks), blind.Mark{DistanceM: rounded(m)}))
}

// rounded is a place that somebody pointed at, to a centimetre.
func rounded(m float64) float64 { return math.Round(m*100) / 100 }

// mark changes the marks: a step that can be undone.
func (b *Bench) mark(did string, marks []blind.Mark) {
	_ = b.change(did, "", func(s *Setup) { s.Marks = marks }) // marks are no part of what is checked
}

// markersChanged takes over what was done to the markers of the chart: one more, one
// less, or one moved.
func (b *Bench) markersChanged() {
	if !b.blind.on {
		return
	}
	old := b.Setup().Marks
	var marks []blind.Mark
	for i, k := range b.along.Markers {
		one := blind.Mark{DistanceM: rounded(k.X)}
		for _, o := range old {
			if o.DistanceM == k.X {
				one = o
			}
		}
		if len(b.along.Markers) == len(old) {
			one = blind.Mark{DistanceM: rounded(k.X), Cause: old[i].Cause}
		}
		marks = append(marks, one)
	}
	b.blind.shown = aim{} // the chart takes them back as they are here
	if !b.marking() || len(marks) > mostFaults || slices.Equal(marks, old) {
		return
	}
	did := "move a mark"
	switch {
	case len(marks) > len(old):
		did = "set mark " + letter(len(old))
	case len(marks) < len(old):
		did = "take a mark off"
	}
	b.mark(did, marks)
}

func (b *Bench) updateBlind(gtx layout.Context) {
	s := &b.blind
	if picked, ok := s.levels.Update(gtx); ok {
		s.level = picked + 1
		b.nextCase()
	}
	for s.again.Clicked(gtx) {
		b.nextCase()
	}
	s.number.SingleLine, s.number.Submit, s.number.Filter, s.number.MaxLen = true, true, "0123456789", 18
	if text, ok := theme.Submitted(gtx, &s.number); ok {
		if seed, err := strconv.ParseUint(text, 10, 64); err == nil {
			b.drawCase(seed)
		}
	}
	for s.answer.Clicked(gtx) {
		b.score()
	}
	for i := range s.rows {
		row := &s.rows[i]
		picked, chose := row.choice.Update(gtx)
		off := row.off.Clicked(gtx)
		marks := b.Setup().Marks
		if i >= len(marks) || !b.marking() {
			continue
		}
		if chose && picked < len(blind.Causes()) {
			marks = slices.Clone(marks)
			marks[i].Cause = blind.Causes()[picked]
			b.mark("call mark "+letter(i)+" "+marks[i].Cause.Words(), marks)
		}
		if off {
			b.mark("take mark "+letter(i)+" off", slices.Delete(slices.Clone(marks), i, i+1))
		}
	}
	b.updateRecord(gtx)
}

// score holds the marks against the truth. After that they stay.
func (b *Bench) score() {
	s := &b.blind
	if !b.marking() {
		return
	}
	r := s.theCase.Score(b.Setup().Marks)
	s.result = &r
	b.Begin(b.Setup())
	b.keepResult()
}

// layoutBlind is the case, in place of the faults.
func (b *Bench) layoutBlind(gtx layout.Context) layout.Dimensions {
	s, t := &b.blind, &b.theme
	quiet := func(text string) layout.Widget { return t.Text(theme.Label{Text: text, Color: t.Quiet}) }
	marks := b.Setup().Marks
	var levels []string
	for i := range blind.Levels {
		levels = append(levels, fmt.Sprintf("level %d of %d", i+1, blind.Levels))
	}
	all := []layout.Widget{b.heading("What is wrong with this line, and where?"), func(gtx layout.Context) layout.Dimensions {
		return theme.Flow(gtx, 6, func(gtx layout.Context) layout.Dimensions {
			return t.Choice(gtx, &s.levels, "level", levels, s.level-1)
		}, func(gtx layout.Context) layout.Dimensions {
			return t.Button(gtx, &s.again, theme.Button{Text: "another case"})
		}, func(gtx layout.Context) layout.Dimensions {
			gtx.Constraints.Max.X = min(gtx.Constraints.Max.X, gtx.Sp(t.Body())*8)
			return t.Editor(gtx, &s.number, theme.Entry{Name: "number of the case", Hint: "or its number"})
		})
	}}
	all = append(all, b.recordWidgets()...)
	switch {
	case s.err != nil:
		return b.scroll(gtx, &s.scroll, append(all, t.Text(theme.Label{Text: s.err.Error(), Color: t.Out})))
	case s.theCase == nil:
		return b.scroll(gtx, &s.scroll, append(all, quiet("A line is being drawn …")))
	case s.result != nil:
		all = append(all, b.resultWidgets()...)
		return b.scroll(gtx, &s.scroll, append(all, b.historyWidgets()...))
	}
	all = append(all, quiet("Press the drawn line, or its chart, where something is wrong (M on the chart by keys); then say what it is. Without a mark the answer is that nothing is wrong."))
	var names []string
	for _, c := range blind.Causes() {
		names = append(names, c.Words())
	}
	for i, m := range marks {
		row := &s.rows[i]
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return theme.Flow(gtx, 6, func(gtx layout.Context) layout.Dimensions {
				return layout.Inset{Top: 5}.Layout(gtx, t.Text(theme.Label{Text: fmt.Sprintf("%s  %s", letter(i), metres(m.DistanceM, b.look.Feet)), Font: theme.Strong}))
			}, func(gtx layout.Context) layout.Dimensions {
				if at := slices.Index(blind.Causes(), m.Cause); at >= 0 {
					return t.Choice(gtx, &row.choice, "cause", names, at)
				}
				return t.Choice(gtx, &row.choice, "cause", append(names[:len(names):len(names)], "which cause?"), len(names)) // named before the list is opened
			}, func(gtx layout.Context) layout.Dimensions {
				return t.Button(gtx, &row.off, theme.Button{Text: "remove"})
			})
		})
	}
	all = append(all, func(gtx layout.Context) layout.Dimensions {
		text := "answer: nothing is wrong"
		if len(marks) > 0 {
			text = "answer"
		}
		return t.Button(gtx, &s.answer, theme.Button{Text: text, Strong: true})
	})
	return b.scroll(gtx, &s.scroll, append(all, b.historyWidgets()...))
}

// resultWidgets are the answer and the score.
func (b *Bench) resultWidgets() []layout.Widget {
	s, t := &b.blind, &b.theme
	all := []layout.Widget{t.Text(theme.Label{Text: fmt.Sprintf("%.0f of 100 points", s.result.Points), Font: theme.Strong, Size: t.Title()})}
	if len(s.result.Faults) == 0 {
		all = append(all, t.Text(theme.Label{Text: "Nothing is wrong with this line."}))
	}
	for i, o := range s.result.Faults {
		f := o.Fault
		all = append(all, t.Rule, t.Text(theme.Label{Text: fmt.Sprintf("%d  %s\n%s, %s", i+1, f.Cause.Words(), b.place(f.DistanceM, f.DistanceM+f.ExtentM), f.Where), Font: theme.Strong}))
		said, c := "not marked", t.Out
		if o.Mark >= 0 {
			said = fmt.Sprintf("your mark %s is %s off: %.0f of 50 for the place; ", letter(o.Mark), metres(o.OffM, b.look.Feet), o.Place)
			switch {
			case o.Alike:
				said, c = said+"the cause looks alike on this sweep: 50 of 50", t.In
			case o.Cause > 0:
				said, c = said+"the cause is right: 50 of 50", t.In
			default:
				said += "the cause is another: 0 of 50"
			}
		}
		all = append(all, t.Text(theme.Label{Text: said, Color: c}))
	}
	for _, k := range s.result.FalseMarks {
		all = append(all, t.Text(theme.Label{Text: fmt.Sprintf("mark %s: nothing is wrong there, 25 off", letter(k)), Color: t.Out}))
	}
	all = append(all, b.small(fmt.Sprintf("case %d, level %d; the same number gives the same case", s.theCase.Seed, s.theCase.Difficulty), t.Quiet), t.Rule)
	all = append(all, b.heading("What the program finds"))
	return append(all, b.foundWidgets()...)
}
