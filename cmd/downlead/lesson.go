package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"downlead/ui/lesson"
)

// lessonChoice is what the user asks of lesson.
type lessonChoice struct {
	check, quantities bool
	folder            string // for the pictures
	force             bool
	feet, ascii       bool
}

// lessonVerb lists the lessons, checks one, or goes through one on the terminal.
func lessonVerb(ctx context.Context, words []string, out output) (int, error) {
	var c lessonChoice
	o := options{verb: "lesson", operands: "[N | FILE]",
		about: "Goes through lesson N, or the one in FILE, with pictures and questions; without either it lists\nthe lessons. A question is answered in a row; an empty row leaves it out.",
		list: []option{
			{"check", "", "work out all that the lesson states, and say what is wrong with it", toSwitch(&c.check)},
			{"quantities", "", "what the formulas of a lesson may use", toSwitch(&c.quantities)},
			{"export", "DIR", "write the figures of its steps there (SVG, PNG, CSV) and do nothing else", toText(&c.folder)},
			{"force", "", "with --export: write into a folder that holds something", toSwitch(&c.force)},
			{"feet", "", "lengths in feet", toSwitch(&c.feet)},
			{"ascii", "", "plain characters only", toSwitch(&c.ascii)},
		}}
	operands, done, err := o.takeAny(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	switch {
	case len(operands) > 1:
		return 0, fmt.Errorf("%q is one word too many; usage: %s", operands[1], o.usage())
	case c.quantities && len(operands) > 0:
		return 0, errors.New("--quantities stands alone")
	case c.check && c.folder != "":
		return 0, errors.New("--check and --export are two things; ask for one")
	case c.folder != "" && len(operands) == 0:
		return 0, errors.New("--export needs the lesson: its number or its file")
	case c.check && len(operands) == 0:
		return 0, errors.New("--check needs the lesson: its number or its file")
	}
	p := &page{ascii: c.ascii}
	if c.quantities {
		listQuantities(p)
		_, err := io.WriteString(out.stdout, p.String())
		return statusPasses, err
	}
	if len(operands) == 0 {
		if err := listLessons(p); err != nil {
			return 0, err
		}
		_, err := io.WriteString(out.stdout, p.String())
		return statusPasses, err
	}
	if c.folder != "" {
		if err := mayFill(c.folder, c.force); err != nil {
			return 0, err
		}
	}
	l, err := lessonOf(operands[0])
	if err != nil {
		return 0, err
	}
	finished := working(out.stderr, "sweeping the lesson's line")
	bench, err := lesson.Open(ctx, l)
	finished()
	if err != nil {
		return 0, err
	}
	bench.Feet = c.feet
	if c.check {
		finished := working(out.stderr, "working out the lesson's answers")
		err := bench.Check(ctx)
		finished()
		if err != nil {
			return 0, err
		}
		p.text("", fmt.Sprintf("%s; steps: %d, questions: %d; everything that it states can be worked out", l.Title, len(l.Steps), len(l.Questions)))
		_, err = io.WriteString(out.stdout, p.String())
		return statusPasses, err
	}
	class := &class{choice: &c, bench: bench, out: out}
	if c.folder != "" {
		finished := working(out.stderr, "drawing")
		defer finished()
		return statusPasses, class.export(ctx)
	}
	class.asker = newAsker(ctx, out.stdin, out.stdout)
	return statusPasses, class.teach(ctx)
}

// lessonOf finds an embedded lesson by its number, or reads a file.
func lessonOf(word string) (*lesson.Lesson, error) {
	n, err := strconv.Atoi(word)
	if err != nil {
		l, err := lesson.Read(word)
		if errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("there is no lesson %s: give a number of the list that downlead lesson shows, or the file of a lesson", word)
		}
		return l, err
	}
	all, err := lesson.Embedded()
	if err != nil {
		return nil, err
	}
	if n < 1 || n > len(all) {
		return nil, fmt.Errorf("there is no lesson %d; there are 1 to %d", n, len(all))
	}
	return all[n-1], nil
}

func listLessons(p *page) error {
	all, err := lesson.Embedded()
	if err != nil {
		return err
	}
	p.text("", "Lessons. Each has a line of its own; its answers are worked out by the program.")
	p.row("")
	for i, l := range all {
		p.text(fmt.Sprintf("  %2d  ", i+1), fmt.Sprintf("%s (%d min)", l.Title, l.Minutes))
		p.text("      ", l.Summary)
	}
	p.row("")
	p.text("", "downlead lesson 1 begins the first. downlead lesson --check FILE checks one of your own; the guide says how to write it.")
	return nil
}

func listQuantities(p *page) {
	p.text("", "What a lesson's formulas may use, in SI units. [] is counted from 1: finding[1].distance_m.")
	p.row("")
	for _, q := range lesson.Quantities() {
		p.text(fmt.Sprintf("  %-34s  ", q.Usage), q.About)
	}
	p.row("")
	p.text("  units  ", strings.Join(lesson.Units(), ", "))
}
