package bench

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"gioui.org/f32"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/widget"

	"downlead/dsp/diagnose"
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
	marks   []mark // one for each marker of the line's chart, in their order
	result  *blind.Result
	levels  theme.Choice
	again   widget.Clickable
	answer  widget.Clickable
	scroll  widget.List
	pressed f32.Point // on the chart of the line; its address is the tag of presses there
}

// mark is a place that the trainee set, and what it is taken for.
type mark struct {
	m      float64
	cause  int // of blind.Causes; -1: not said yet
	choice *theme.Choice
	off    *widget.Clickable
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
	b.blind.on, b.blind.theCase, b.veiled, b.scene = false, nil, false, nil
	b.setMarks(nil)
	b.putBack()
}

// nextCase draws another case.
func (b *Bench) nextCase() {
	s := &b.blind
	s.theCase, s.result, s.err, b.scene = nil, nil, nil, nil
	b.setMarks(nil)
	if s.level == 0 {
		s.level = 1
	}
	if s.seed == nil {
		s.seed = func() uint64 { return rand.Uint64N(1e6) }
	}
	seed, level := s.seed(), s.level
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
	setup := b.aside.Now()
	setup.Line, setup.Faults, setup.WrongSpeed, setup.Raw = r.Value.Line, nil, 0, false
	f := r.Value.Sweep.FrequencyHz
	setup.LowHz, setup.HighHz, setup.Points = f[0], f[len(f)-1], len(f)
	b.Begin(setup)
	b.scene = &scene{sweep: r.Value.Sweep, record: r.Value.Line}
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
		for _, m := range s.marks {
			onMark = onMark || math.Abs(seen.Position(m.m, float64(a.Dx()))-x) < 8
		}
		if !onMark {
			b.markHere(seen.Value(x, float64(a.Dx())))
		}
	}
}

// setMarks makes the marks, and the markers of the chart with them.
func (b *Bench) setMarks(marks []mark) {
	b.blind.marks = marks
	b.along.Markers = nil
	for _, m := range marks {
		b.along.Markers = append(b.along.Markers, chart.Marker{Side: chart.Lower, X: m.m})
	}
}

// markHere adds a mark.
func (b *Bench) markHere(m float64) {
	s := &b.blind
	if s.theCase == nil || s.result != nil || len(s.marks) == mostFaults || m < 0 || m > b.path.LengthM() {
		return
	}
	b.setMarks(append(s.marks[:len(s.marks):len(s.marks)], newMark(m)))
}

func newMark(m float64) mark {
	return mark{m: math.Round(m*100) / 100, cause: -1, choice: new(theme.Choice), off: new(widget.Clickable)}
}

// markersChanged takes over what was done to the markers of the chart: one more, one
// less, or one moved.
func (b *Bench) markersChanged() {
	s := &b.blind
	if !s.on {
		return
	}
	var marks []mark
	for i, k := range b.along.Markers {
		one := newMark(k.X)
		for _, old := range s.marks {
			if old.m == k.X {
				one = old
			}
		}
		if len(b.along.Markers) == len(s.marks) {
			one = s.marks[i]
			one.m = k.X
		}
		marks = append(marks, one)
	}
	if s.result == nil {
		b.setMarks(marks)
	} else {
		b.setMarks(s.marks)
	}
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
	for s.answer.Clicked(gtx) {
		b.score()
	}
	for i := 0; i < len(s.marks); i++ {
		if picked, ok := s.marks[i].choice.Update(gtx); ok && s.result == nil && picked < len(blind.Causes()) {
			s.marks[i].cause = picked
		}
		for s.marks[i].off.Clicked(gtx) {
			if s.result == nil {
				b.setMarks(append(s.marks[:i:i], s.marks[i+1:]...))
				return
			}
		}
	}
}

// score holds the marks against the truth.
func (b *Bench) score() {
	s := &b.blind
	if s.theCase == nil {
		return
	}
	var marks []blind.Mark
	for _, m := range s.marks {
		cause := diagnose.Unnamed
		if m.cause >= 0 {
			cause = blind.Causes()[m.cause]
		}
		marks = append(marks, blind.Mark{DistanceM: m.m, Cause: cause})
	}
	r := s.theCase.Score(marks)
	s.result = &r
}

// layoutBlind is the case, in place of the faults.
func (b *Bench) layoutBlind(gtx layout.Context) layout.Dimensions {
	s, t := &b.blind, &b.theme
	quiet := func(text string) layout.Widget { return t.Text(theme.Label{Text: text, Color: t.Quiet}) }
	var levels []string
	for i := range blind.Levels {
		levels = append(levels, fmt.Sprintf("level %d of %d", i+1, blind.Levels))
	}
	all := []layout.Widget{b.heading("What is wrong with this line, and where?"), func(gtx layout.Context) layout.Dimensions {
		return theme.Flow(gtx, 6, func(gtx layout.Context) layout.Dimensions {
			return t.Choice(gtx, &s.levels, "level", levels, s.level-1)
		}, func(gtx layout.Context) layout.Dimensions {
			return t.Button(gtx, &s.again, theme.Button{Text: "another case"})
		})
	}}
	switch {
	case s.err != nil:
		return b.scroll(gtx, &s.scroll, append(all, t.Text(theme.Label{Text: s.err.Error(), Color: t.Out})))
	case s.theCase == nil:
		return b.scroll(gtx, &s.scroll, append(all, quiet("A line is being drawn …")))
	case s.result != nil:
		return b.scroll(gtx, &s.scroll, append(all, b.resultWidgets()...))
	}
	all = append(all, quiet("Press the drawn line, or its chart, where something is wrong (M on the chart by keys); then say what it is. Without a mark the answer is that nothing is wrong."))
	var names []string
	for _, c := range blind.Causes() {
		names = append(names, c.Words())
	}
	for i := range s.marks {
		m := &s.marks[i]
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return theme.Flow(gtx, 6, func(gtx layout.Context) layout.Dimensions {
				return layout.Inset{Top: 5}.Layout(gtx, t.Text(theme.Label{Text: fmt.Sprintf("%s  %s", letter(i), metres(m.m, b.look.Feet)), Font: theme.Strong}))
			}, func(gtx layout.Context) layout.Dimensions {
				if m.cause < 0 { // named before the list is opened
					return t.Choice(gtx, m.choice, "cause", append(names[:len(names):len(names)], "which cause?"), len(names))
				}
				return t.Choice(gtx, m.choice, "cause", names, m.cause)
			}, func(gtx layout.Context) layout.Dimensions {
				return t.Button(gtx, m.off, theme.Button{Text: "remove"})
			})
		})
	}
	all = append(all, func(gtx layout.Context) layout.Dimensions {
		text := "answer: nothing is wrong"
		if len(s.marks) > 0 {
			text = "answer"
		}
		return t.Button(gtx, &s.answer, theme.Button{Text: text, Strong: true})
	})
	return b.scroll(gtx, &s.scroll, all)
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
	return append(all, b.small(fmt.Sprintf("case %d, level %d; the same number gives the same case on the command line", s.theCase.Seed, s.theCase.Difficulty), t.Quiet))
}
