package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"downlead/dsp"
	"downlead/dsp/diagnose"
	"downlead/ui/lesson"
)

// class is somebody going through a lesson on the terminal.
type class struct {
	choice *lessonChoice
	bench  *lesson.Bench
	out    output
	asker  *asker

	right, asked          int
	ended                 bool // the input has ended: the rest is shown without asking
	cautionsShown         bool
	drawnOver, drawnAlong string // what was drawn last, not to be drawn again at once
	questionNumber        int
}

// teach goes through the whole lesson.
func (c *class) teach(ctx context.Context) error {
	l := c.bench.Lesson
	p := c.page()
	p.text("", l.Title)
	if l.Summary != "" {
		p.text("", l.Summary)
	}
	first, err := c.bench.Scene(&l.Steps[0].Show)
	if err != nil {
		return err
	}
	if err := c.paragraphs(ctx, p, first, l.Text); err != nil {
		return err
	}
	c.print(p)
	for i := range l.Steps {
		later, err := c.step(ctx, i)
		if err != nil {
			return err
		}
		questions := l.QuestionsAfter(i)
		for _, k := range questions {
			if err := c.question(ctx, k); err != nil {
				return err
			}
		}
		if len(later) > 0 {
			p := c.page()
			c.sights(p, later)
			c.print(p)
		}
		if len(questions) == 0 && i+1 < len(l.Steps) && terminalIn(c.out.stdin) && !c.ended {
			_, more, err := c.asker.ask(ctx, "\nEnter goes on: ")
			if err != nil {
				return err
			}
			c.ended = !more
		}
	}
	p = c.page()
	if l.HandsOn && !c.cautionsShown {
		p.cautions(l.Cautions...)
	}
	if len(l.Sources) > 0 {
		p.heading("Where this comes from")
		for _, s := range l.Sources {
			p.text("  · ", s)
		}
	}
	p.row("")
	switch {
	case len(l.Questions) == 0:
	case c.asked == 0:
		p.text("", "No question was answered.")
	default:
		p.text("", fmt.Sprintf("%d of %d questions right.", c.right, len(l.Questions)))
	}
	c.print(p)
	return nil
}

func (c *class) page() *page { return &page{ascii: c.choice.ascii} }

func (c *class) print(p *page) { fmt.Fprint(c.out.stdout, p.String()) }

func (c *class) scale() lengthScale {
	if c.choice.feet {
		return inFeet
	}
	return inMetres
}

func (c *class) paragraphs(ctx context.Context, p *page, s *lesson.Scene, t lesson.Text) error {
	text, err := s.Fill(ctx, t)
	if err != nil {
		return err
	}
	for _, paragraph := range lesson.Paragraphs(text) {
		p.row("")
		p.text("  ", paragraph)
	}
	return nil
}

// sights writes numbers to look for.
func (c *class) sights(p *page, all []string) {
	p.row("")
	p.text("  ", "Look for:")
	for _, text := range all {
		p.text("  · ", text)
	}
}

// step shows a step; later are numbers to look for that would answer its questions.
func (c *class) step(ctx context.Context, i int) (later []string, err error) {
	l := c.bench.Lesson
	step := &l.Steps[i]
	s, err := c.bench.Scene(&step.Show)
	if err != nil {
		return nil, err
	}
	p := c.page()
	title := fmt.Sprintf("Step %d of %d", i+1, len(l.Steps))
	if step.Title != "" {
		title += ": " + step.Title
	}
	p.heading(title)
	if err := c.paragraphs(ctx, p, s, step.Text); err != nil {
		return nil, err
	}
	if step.HandsOn && !c.cautionsShown {
		p.cautions(l.Cautions...)
		c.cautionsShown = true
	}
	if err := c.pictures(p, s); err != nil {
		return nil, err
	}
	var now []string
	for k := range step.See {
		see := &step.See[k]
		what, err := s.Fill(ctx, see.Text)
		if err != nil {
			return nil, err
		}
		v, err := s.Value(ctx, &see.Value)
		if err != nil {
			return nil, err
		}
		text := fmt.Sprintf("%s: %s", what, s.Write(v, see.Decimals, see.Unit))
		gives, err := c.bench.GivenAway(ctx, i, see)
		if err != nil {
			return nil, err
		}
		if len(gives) > 0 {
			later = append(later, text)
		} else {
			now = append(now, text)
		}
	}
	if len(now) > 0 {
		c.sights(p, now)
	}
	c.print(p)
	return later, nil
}

// pictures draws what a scene shows, as far as a terminal can: return loss; not
// what stands above already.
func (c *class) pictures(p *page, s *lesson.Scene) error {
	show := s.Show
	over := fmt.Sprint(show.Sweep, show.BandHz, show.Every, show.ZoomHz)
	along := fmt.Sprint(show.Sweep, show.BandHz, show.Every, show.Window, show.VelocityFactor, show.ZoomM)
	drawOver, drawAlong := show.Over != "" && over != c.drawnOver, show.Along != "" && along != c.drawnAlong
	if show.Over != "" {
		c.drawnOver = over
	}
	if show.Along != "" {
		c.drawnAlong = along
	}
	if drawOver {
		f := s.Sweep.FrequencyHz
		low, high := f[0], f[len(f)-1]
		if show.ZoomHz[1] > 0 {
			low, high = math.Max(low, show.ZoomHz[0]), math.Min(high, show.ZoomHz[1])
		}
		p.row("")
		p.text("  ", fmt.Sprintf("Return loss over frequency, %s sweep, %d points%s", show.Sweep, len(f), inWindow(show.Over, "return-loss", show.Overlays)))
		for _, row := range drawBars(profile{f, s.Sweep.ReturnLossDB()}, low, high, "MHz", 1e6) {
			p.row(row)
		}
	}
	if !drawAlong {
		return nil
	}
	scale := c.scale()
	p.row("")
	window := ""
	if show.Window != (dsp.Window{}) {
		window = ", window " + windowText(show.Window)
	}
	p.text("  ", fmt.Sprintf("Return loss along the line, %s to %s%s%s", frequencyText(s.Sweep.FrequencyHz[0]), frequencyText(s.Sweep.FrequencyHz[len(s.Sweep.FrequencyHz)-1]),
		window, inWindow(show.Along, "return-loss", show.Overlays)))
	levels, err := lineProfile(s.Sweep, s.Path, show.Window, math.Max(drawnM(s.Path, nil), show.ZoomM[1]), nil)
	if err != nil {
		return err
	}
	if show.ZoomM[1] > 0 {
		for _, row := range drawBars(levels, show.ZoomM[0], show.ZoomM[1], scale.unit, scale.metres) {
			p.row(row)
		}
		return nil
	}
	for _, row := range drawLine(s.Path, s.Line.Load.Kind, nil, scale, levels) {
		p.row(row)
	}
	return nil
}

// inWindow says what the window shows there and a terminal does not.
func inWindow(view, drawn string, overlays []string) string {
	var more []string
	if view != drawn {
		more = append(more, strings.ReplaceAll(strings.ReplaceAll(view, "-", " "), "vswr", "VSWR"))
	}
	if len(overlays) > 0 {
		more = append(more, "with "+strings.Join(overlays, ", "))
	}
	if len(more) == 0 {
		return ""
	}
	return " (in the window: " + strings.Join(more, ", ") + ")"
}

func (c *class) question(ctx context.Context, i int) error {
	q := &c.bench.Lesson.Questions[i]
	s, err := c.bench.Scene(c.bench.Lesson.ShowOf(q))
	if err != nil {
		return err
	}
	c.questionNumber++
	p := c.page()
	p.heading(fmt.Sprintf("Question %d of %d", c.questionNumber, len(c.bench.Lesson.Questions)))
	if err := c.pictures(p, s); err != nil {
		return err
	}
	if err := c.paragraphs(ctx, p, s, q.Text); err != nil {
		return err
	}
	prompt := "answer: "
	switch q.Kind {
	case lesson.Choice:
		for k := range q.Options {
			text, err := s.Fill(ctx, q.Options[k].Text)
			if err != nil {
				return err
			}
			p.text(fmt.Sprintf("    %d  ", k+1), text)
		}
		prompt = fmt.Sprintf("answer (1 to %d): ", len(q.Options))
	case lesson.Cause:
		for k, cause := range lesson.Causes() {
			words := diagnose.Cause(cause).Words()
			if cause == string(diagnose.Unnamed) {
				words = "nothing is wrong"
			}
			p.text(fmt.Sprintf("   %2d  ", k+1), words)
		}
		prompt = fmt.Sprintf("cause (1 to %d): ", len(lesson.Causes()))
	default:
		unit := q.Unit
		if unit == "m" {
			unit = c.scale().unit
		}
		if unit != "" {
			prompt = "answer, in " + unit + ": "
		}
	}
	p.row("")
	c.print(p)
	return c.takeAnswer(ctx, i, prompt)
}

// takeAnswer asks until there is an answer that can be read, or none.
func (c *class) takeAnswer(ctx context.Context, i int, prompt string) error {
	for {
		given, more := "", false
		if !c.ended {
			var err error
			if given, more, err = c.asker.ask(ctx, prompt); err != nil {
				return err
			}
			c.ended = !more
		}
		if c.ended {
			return nil
		}
		if given == "" {
			given = "-" // left out: shown what is right
		}
		outcome, err := c.bench.Answer(ctx, i, given)
		var unreadable *lesson.UnreadableError
		switch {
		case errors.As(err, &unreadable) && given != "-":
			fmt.Fprintf(c.out.stdout, "  %v\n", err)
			continue
		case err != nil && !errors.As(err, &unreadable):
			return err
		}
		p := c.page()
		if err != nil {
			p.text("  ", "Left out.")
			c.print(p)
			return nil
		}
		c.asked++
		word := "Not so: " + outcome.Expected + "."
		if outcome.Right {
			c.right++
			word = "Right: " + outcome.Expected + "."
		}
		if outcome.Alike {
			word = "Accepted: this sweep does not tell it from " + outcome.Expected + "."
		}
		p.text("  ", word)
		for _, paragraph := range lesson.Paragraphs(outcome.Because) {
			p.text("  ", paragraph)
		}
		c.print(p)
		return nil
	}
}
