package lesson

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"downlead/dsp/simulate"
)

// Outcome is how an answer was judged.
type Outcome struct {
	Right    bool
	Alike    bool   // not the expected cause, but one that the sweep does not tell from it
	Expected string // in words
	Because  string // filled in; may be empty
}

// UnreadableError says that an answer could not be understood; it may be given
// again.
type UnreadableError struct{ Err error }

func (e *UnreadableError) Error() string { return e.Err.Error() }
func (e *UnreadableError) Unwrap() error { return e.Err }

func unreadable(format string, args ...any) error {
	return &UnreadableError{fmt.Errorf(format, args...)}
}

// Answer judges an answer to question i: a number with or without its unit, a
// place, a cause in words, or the number of an option counted from 1. An answer
// that cannot be read is an *UnreadableError.
func (b *Bench) Answer(ctx context.Context, i int, given string) (Outcome, error) {
	q := &b.Lesson.Questions[i]
	s, err := b.Scene(b.Lesson.ShowOf(q))
	if err != nil {
		return Outcome{}, err
	}
	var out Outcome
	given = strings.TrimSpace(given)
	switch q.Kind {
	case Choice:
		k, err := strconv.Atoi(strings.Trim(given, " ."))
		if err != nil || k < 1 || k > len(q.Options) {
			return Outcome{}, unreadable("%q is not one of the answers; give its number, 1 to %d", clip(given), len(q.Options))
		}
		right, err := s.rightOption(ctx, q)
		if err != nil {
			return Outcome{}, err
		}
		out.Right = k-1 == right
		expected, err := s.Fill(ctx, q.Options[right].Text)
		if err != nil {
			return Outcome{}, err
		}
		out.Expected = fmt.Sprintf("%d, %s", right+1, expected)
	case Cause:
		expected, err := s.Value(ctx, &q.Answer)
		if err != nil {
			return Outcome{}, err
		}
		word, err := causeOf(given)
		if err != nil {
			return Outcome{}, err
		}
		out.Right = word == expected.Text
		if !out.Right && slices.Contains(expected.Alike, word) {
			out.Right, out.Alike = true, true
		}
		out.Expected = strings.ReplaceAll(expected.Text, "-", " ")
	default:
		expected, tolerance, err := s.expected(ctx, q)
		if err != nil {
			return Outcome{}, err
		}
		x, err := b.parseQuantity(given, q.Unit)
		if err != nil {
			return Outcome{}, err
		}
		out.Right = math.Abs(x-expected) <= tolerance*(1+1e-9)
		within := strconv.FormatFloat(tolerance/unitSizes()[q.Unit], 'g', 2, 64) + " " + q.Unit
		if q.Unit == "m" {
			within = s.Write(number(tolerance), 2, "m")
		}
		out.Expected = fmt.Sprintf("%s, give or take %s", s.Write(number(expected), -1, q.Unit), strings.TrimSpace(within))
	}
	out.Because, err = s.Fill(ctx, q.Because)
	return out, err
}

// GivenAway returns which questions behind step i a sight of that step answers, as it is
// within their tolerance of what is right: it is to be shown once they are answered.
func (b *Bench) GivenAway(ctx context.Context, i int, see *Sight) ([]int, error) {
	s, err := b.Scene(&b.Lesson.Steps[i].Show)
	if err != nil {
		return nil, err
	}
	v, err := s.Value(ctx, &see.Value)
	if err != nil || v.Kind != IsNumber {
		return nil, err
	}
	var out []int
	for _, k := range b.Lesson.QuestionsAfter(i) {
		q := &b.Lesson.Questions[k]
		unit := q.Unit
		if q.Kind == Place {
			unit = "m"
		}
		if q.Kind != Number && q.Kind != Place || unit != see.Unit {
			continue
		}
		asked, err := b.Scene(b.Lesson.ShowOf(q))
		if err != nil {
			return nil, err
		}
		expected, tolerance, err := asked.expected(ctx, q)
		if err != nil {
			return nil, err
		}
		if math.Abs(v.Number-expected) <= tolerance {
			out = append(out, k)
		}
	}
	return out, nil
}

// expected returns the answer to a number or a place and its tolerance, SI.
func (s *Scene) expected(ctx context.Context, q *Question) (answer, tolerance float64, err error) {
	v, err := s.Value(ctx, &q.Answer)
	if err != nil {
		return 0, 0, err
	}
	if v.Kind != IsNumber || math.IsInf(v.Number, 0) {
		return 0, 0, q.Answer.place.wrong(fmt.Errorf("the answer is %v, not a finite number", v.Kind))
	}
	t, err := s.Value(ctx, &q.Tolerance)
	if err != nil {
		return 0, 0, err
	}
	if t.Kind != IsNumber || !(t.Number > 0) || math.IsInf(t.Number, 0) {
		return 0, 0, q.Tolerance.place.wrong(errors.New("the tolerance is not a number above zero"))
	}
	if q.Plain {
		t.Number *= unitSizes()[q.Unit]
	}
	return v.Number, t.Number, nil
}

// rightOption returns the index of the option that is right.
func (s *Scene) rightOption(ctx context.Context, q *Question) (int, error) {
	right := -1
	for k := range q.Options {
		is, err := s.Truth(ctx, &q.Options[k].When)
		switch {
		case err != nil:
			return 0, err
		case is && right >= 0:
			return 0, q.Options[k].When.place.wrong(fmt.Errorf("answers %d and %d are both right; make their formulas exclude each other", right+1, k+1))
		case is:
			right = k
		}
	}
	if right < 0 {
		return 0, q.Options[0].When.place.wrong(errors.New("no answer of this choice is right"))
	}
	return right, nil
}

// Causes lists the words that answer a question for a cause.
func Causes() []string { return append(simulate.Causes(), "none") }

// causeOf reads a cause: its word, with spaces or hyphens, or its number in
// Causes counted from 1.
func causeOf(given string) (string, error) {
	all := Causes()
	word := strings.Join(strings.Fields(strings.ReplaceAll(strings.ToLower(given), "-", " ")), "-")
	if slices.Contains(all, word) {
		return word, nil
	}
	if k, err := strconv.Atoi(word); err == nil && k >= 1 && k <= len(all) {
		return all[k-1], nil
	}
	return "", unreadable("%q is not a cause; there are %s", clip(given), strings.Join(all, ", "))
}

// parseQuantity reads a number in a unit, which may be left out or be another of
// its kind: 3.5, 3.5 m, 11 ft.
func (b *Bench) parseQuantity(given, unit string) (float64, error) {
	given = strings.ReplaceAll(strings.TrimSpace(given), ",", ".")
	end := len(given)
	for end > 0 && !(given[end-1] >= '0' && given[end-1] <= '9' || given[end-1] == '.') {
		end--
	}
	x, err := strconv.ParseFloat(strings.TrimSpace(given[:end]), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, unreadable("%q is not a number; write it as 3.5%s", clip(given), map[bool]string{true: " " + unit}[unit != ""])
	}
	with := strings.TrimSpace(given[end:])
	sizes := unitSizes()
	sizes["ft"] = metresPerFoot
	switch {
	case with == "" && unit == "m" && b.Feet:
		with = "ft"
	case with == "":
		with = unit
	}
	groups := [][]string{{"m", "cm", "mm", "ft"}, {"Hz", "kHz", "MHz", "GHz"}, {"s", "us", "ns"}}
	for _, known := range append(Units(), "ft", "") {
		if !strings.EqualFold(with, known) {
			continue
		}
		same := known == unit
		for _, g := range groups {
			same = same || slices.Contains(g, known) && slices.Contains(g, unit)
		}
		if same {
			return x * sizes[known], nil
		}
	}
	if unit == "" {
		return 0, unreadable("%q: a plain number is asked for", clip(given))
	}
	return 0, unreadable("%q: the answer is asked for in %s", clip(given), unit)
}

// Check works out everything that the lesson states: every value in its texts,
// every sight, answer and option, and its own checks. It returns all that is
// wrong, joined; each error has its place in the file.
func (b *Bench) Check(ctx context.Context) error {
	var wrong []error
	note := func(err error) {
		if err != nil && len(wrong) < 20 && !slices.ContainsFunc(wrong, func(have error) bool { return have.Error() == err.Error() }) {
			wrong = append(wrong, err)
		}
	}
	l := b.Lesson
	fill := func(show *Show, list ...Text) *Scene {
		s, err := b.Scene(show)
		note(err)
		if err != nil {
			return nil
		}
		for _, t := range list {
			for _, f := range t.formulas() {
				_, err := s.Value(ctx, f)
				note(err)
			}
		}
		return s
	}
	fill(&l.Steps[0].Show, l.Text)
	for i := range l.Steps {
		step := &l.Steps[i]
		s := fill(&step.Show, step.Text)
		for k := range step.See {
			if s == nil {
				break
			}
			fill(&step.Show, step.See[k].Text)
			_, err := s.Value(ctx, &step.See[k].Value)
			note(err)
		}
	}
	for i := range l.Questions {
		q := &l.Questions[i]
		s := fill(l.ShowOf(q), q.Text, q.Because)
		if s == nil {
			continue
		}
		switch q.Kind {
		case Choice:
			for k := range q.Options {
				fill(l.ShowOf(q), q.Options[k].Text)
			}
			_, err := s.rightOption(ctx, q)
			note(err)
		case Cause:
			v, err := s.Value(ctx, &q.Answer)
			note(err)
			if err == nil && (v.Kind != IsText || !slices.Contains(Causes(), v.Text)) {
				note(q.Answer.place.wrong(fmt.Errorf("the answer %q is not a cause; there are %s", clip(v.Text), strings.Join(Causes(), ", "))))
			}
		default:
			x, _, err := s.expected(ctx, q)
			note(err)
			if end := 1.2*b.Result.Truth.FarEndM + 1; err == nil && q.Kind == Place && !(x >= -0.5 && x <= end) {
				note(q.Answer.place.wrong(fmt.Errorf("the answer %.2f m does not lie on the line", x)))
			}
		}
	}
	for i := range l.Checks {
		s, err := b.Scene(&l.Steps[len(l.Steps)-1].Show)
		note(err)
		if err != nil {
			continue
		}
		holds, err := s.Truth(ctx, &l.Checks[i])
		note(err)
		if err == nil && !holds {
			note(l.Checks[i].place.wrong(fmt.Errorf("the lesson's own check does not hold: %s", clip(l.Checks[i].Source))))
		}
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if len(wrong) == 1 {
		return wrong[0]
	}
	return errors.Join(wrong...)
}
