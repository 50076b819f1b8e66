package bench

import (
	"fmt"
	"slices"
	"time"

	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/widget"

	"downlead/ui/lesson"
	"downlead/ui/theme"
)

// layoutLessons is the list, or the page, in place of the faults.
func (b *Bench) layoutLessons(gtx layout.Context) layout.Dimensions {
	s, t := &b.lessons, &b.theme
	quiet := func(text string) layout.Widget { return t.Text(theme.Label{Text: text, Color: t.Quiet}) }
	var all []layout.Widget
	if s.err != nil {
		all = append(all, t.Text(theme.Label{Text: s.err.Error(), Color: t.Out}))
	}
	switch {
	case s.err != nil && s.open != nil:
	case s.open == nil:
		all = append(all, b.heading("Lessons"), quiet("Each has a line of its own; what is right is worked out by the program."))
		for i, l := range s.all {
			all = append(all, func(gtx layout.Context) layout.Dimensions {
				return t.Row(gtx, &s.rows[i], "lesson: "+l.Title, false, func(gtx layout.Context) layout.Dimensions {
					return theme.Column(gtx, 1, t.Text(theme.Label{Text: fmt.Sprintf("%d  %s", i+1, l.Title), Font: theme.Strong}),
						b.small(fmt.Sprintf("%s (%d min)", l.Summary, l.Minutes), t.Quiet))
				})
			})
		}
		all = append(all, t.Rule, b.small("A lesson of your own", t.Quiet), func(gtx layout.Context) layout.Dimensions {
			return t.Editor(gtx, &s.own, theme.Entry{Name: "lesson of your own", Hint: "its file, then Return", Bad: s.err != nil})
		})
	case s.page == nil:
		since, _ := s.turn.Running()
		all = append(all, b.heading(s.open.Title), quiet(fmt.Sprintf("The program works this step out … (%.0f s)", max(b.now.Sub(since), 0).Seconds())))
		gtx.Execute(op.InvalidateCmd{At: gtx.Now.Add(200 * time.Millisecond)})
	default:
		all = b.pageWidgets()
	}
	body := func(gtx layout.Context) layout.Dimensions { return b.scroll(gtx, &s.scroll, all) }
	if s.open == nil {
		return body(gtx)
	}
	return layout.Flex{Axis: layout.Vertical}.Layout(gtx, layout.Flexed(1, body), layout.Rigid(t.Rule), layout.Rigid(b.layoutTurning))
}

// layoutTurning is where the pages are turned.
func (b *Bench) layoutTurning(gtx layout.Context) layout.Dimensions {
	s, t := &b.lessons, &b.theme
	button := func(click *widget.Clickable, text string, off bool) layout.Widget {
		return func(gtx layout.Context) layout.Dimensions {
			return t.Button(gtx, click, theme.Button{Text: text, Off: off})
		}
	}
	veil := "show the faults"
	if !b.veiled {
		veil = "hide the faults"
	}
	return layout.Inset{Top: 8}.Layout(gtx, func(gtx layout.Context) layout.Dimensions {
		return theme.Flow(gtx, 6, button(&s.back, "← Back", s.step < 0), button(&s.next, "Next →", s.step+1 >= len(s.open.Steps)),
			func(gtx layout.Context) layout.Dimensions {
				return layout.Inset{Top: 5}.Layout(gtx, b.small(fmt.Sprintf("%d of %d", s.step+2, len(s.open.Steps)+1), t.Quiet))
			}, button(&s.reveal, veil, false), button(&s.list, "all lessons", false),
			button(&s.saving, "save its pictures", s.page == nil), func(gtx layout.Context) layout.Dimensions {
				if s.said == "" {
					return layout.Dimensions{}
				}
				return b.small(s.said, t.Quiet)(gtx)
			})
	})
}

func (b *Bench) pageWidgets() []layout.Widget {
	s, t := &b.lessons, &b.theme
	p := s.page
	all := []layout.Widget{t.Text(theme.Label{Text: p.title, Font: theme.Strong, Size: t.Title()})}
	for _, text := range p.paragraphs {
		all = append(all, t.Text(theme.Label{Text: text}))
	}
	for _, see := range p.sights {
		if !slices.ContainsFunc(see.holds, func(k int) bool { return !s.fields[k].done }) {
			all = append(all, t.Text(theme.Label{Text: "→ " + see.text, Font: theme.Strong}))
		}
	}
	if b.tried() {
		all = append(all, func(gtx layout.Context) layout.Dimensions {
			return theme.Flow(gtx, 6, b.small("You are trying things out: this is no longer what the lesson shows, which it judges answers by.", t.Link),
				func(gtx layout.Context) layout.Dimensions {
					return t.Button(gtx, &s.asTaught, theme.Button{Text: "as the lesson has it"})
				})
		})
	}
	if len(p.cautions) > 0 {
		all = append(all, t.Text(theme.Label{Text: "Before anybody touches the line", Color: t.Out, Font: theme.Strong}))
	}
	for _, text := range p.cautions {
		all = append(all, t.Text(theme.Label{Text: "· " + text, Color: t.Out}))
	}
	if p.step < 0 {
		how := "Next → or PageDown goes on."
		if b.hasKnobs() {
			how += " The sliders at the left are for trying: each step begins again with what it shows."
		}
		all = append(all, b.small(how, t.Quiet))
	}
	for i, q := range p.questions {
		all = append(all, t.Rule, t.Text(theme.Label{Text: q.text, Font: theme.Strong}))
		f := &s.fields[i]
		if q.scene != nil && q.scene != b.scene {
			all = append(all, func(gtx layout.Context) layout.Dimensions {
				return t.Button(gtx, &f.look, theme.Button{Text: "show what is asked about", Plain: true})
			})
		}
		if len(q.options) == 0 {
			all = append(all, func(gtx layout.Context) layout.Dimensions {
				return layout.Flex{Alignment: layout.Middle}.Layout(gtx,
					layout.Flexed(1, func(gtx layout.Context) layout.Dimensions {
						return t.Editor(gtx, &f.editor, theme.Entry{Name: "answer", Unit: q.unit})
					}),
					layout.Rigid(layout.Spacer{Width: 6}.Layout),
					layout.Rigid(func(gtx layout.Context) layout.Dimensions {
						return t.Button(gtx, &f.submit, theme.Button{Text: "answer"})
					}))
			})
		}
		for k, o := range q.options {
			all = append(all, func(gtx layout.Context) layout.Dimensions {
				dot := "○ "
				if f.picked == k+1 {
					dot = "● "
				}
				if q.kind == lesson.Choice {
					dot += fmt.Sprint(k+1, "  ") // which the answer names
				}
				return t.Row(gtx, &f.choices[k], "answer: "+o, f.picked == k+1, t.Text(theme.Label{Text: dot + o}))
			})
		}
		if f.said != "" {
			c := t.Out
			if f.right {
				c = t.In
			}
			all = append(all, t.Text(theme.Label{Text: f.said, Color: c}))
		}
	}
	if k := b.following(); k > 0 && p.step+1 == len(s.open.Steps) {
		all = append(all, t.Rule, b.small("That was the last step.", t.Quiet), func(gtx layout.Context) layout.Dimensions {
			return t.Button(gtx, &s.following, theme.Button{Text: "next lesson: " + s.all[k].Title, Lead: true})
		})
	}
	return all
}

// following is the index of the lesson after the open one; 0: there is none.
func (b *Bench) following() int {
	s := &b.lessons
	for i := range s.all[:max(len(s.all)-1, 0)] {
		if s.open != nil && s.all[i] == s.open.Lesson {
			return i + 1
		}
	}
	return 0
}
