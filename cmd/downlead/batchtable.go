package main

import (
	"fmt"
	"io"
	"unicode/utf8"

	"downlead/dsp/diagnose"
	"downlead/ui/batch"
)

// show writes the counts and the worst sweeps.
func (c *batchChoice) show(w io.Writer, s *batch.Summary) error {
	p := &page{ascii: c.ascii}
	scale := inMetres
	if c.feet {
		scale = inFeet
	}
	p.text("", counted(s.Total(), "sweep"))
	p.row("")
	p.text("  PASS           ", fmt.Sprint(s.Counts[batch.Passes]))
	for _, o := range []struct {
		outcome batch.Outcome
		label   string
		words   string
	}{
		{batch.OutOfLimit, "  OUT OF LIMIT   ", ""},
		{batch.Faulty, "  FAULT          ", ", within the limit"},
		{batch.Unusable, "  NOT USABLE     ", ", see below"},
	} {
		if n := s.Counts[o.outcome]; n > 0 {
			p.text(o.label, fmt.Sprint(n)+o.words)
		}
	}
	if s.Uncalibrated > 0 {
		p.text("  NOT CALIBRATED ", fmt.Sprintf("%d of them, marked !: raw readings with the instrument's own errors in them; --open, --short and --load correct them", s.Uncalibrated))
	}
	if s.InDoubt > 0 {
		p.text("  IN DOUBT       ", fmt.Sprintf("%d of them, marked ?: a check of the standards failed; downlead calibrate says which", s.InDoubt))
	}
	if worst := s.Worst(); len(worst) > 0 {
		p.heading("Worst first")
		p.row(fmt.Sprintf("  %7s  %8s  %19s  %-28s  %s", "VSWR", "margin", "worst fault", "what", "sweep"))
		for _, row := range worst {
			p.row("  " + tableRow(p, row, scale))
		}
		if left := s.Total() - s.Counts[batch.Unusable] - len(worst); left > 0 {
			p.text("  ", fmt.Sprintf("and %d less bad; --top shows more, --csv and --out keep all", left))
		}
	}
	if broken := s.Broken(); len(broken) > 0 {
		p.heading("Not usable")
		for _, row := range broken {
			p.text("  · ", row.Problem)
		}
		if left := s.Counts[batch.Unusable] - len(broken); left > 0 {
			p.text("  ", fmt.Sprintf("and %d more; --top shows more, --csv and --out keep all", left))
		}
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// tableRow is a row of the table of the worst.
func tableRow(p *page, row *batch.Row, scale lengthScale) string {
	margin, where, what := "no limit", "-", "no fault"
	if row.MarginDB != nil {
		margin = fmt.Sprintf("%+.1f dB", *row.MarginDB)
	}
	if len(row.Faults) > 0 {
		where, what = p.plain(scale.uncertain(row.Faults[0].DistanceM, row.Faults[0].SigmaM)), row.Faults[0].Cause.Words()
		if row.Faults[0].Cause == diagnose.Unnamed {
			what = "not named"
		}
		if more := len(row.Faults) - 1; more > 0 {
			what += fmt.Sprintf(" +%d", more)
		}
	}
	vswr := fmt.Sprintf("%.2f", row.Verdict.WorstVSWR)
	if row.Verdict.WorstVSWR > 100 {
		vswr = "> 100"
	}
	sign := " "
	switch {
	case row.Uncalibrated():
		sign = "!"
	case row.InDoubt():
		sign = "?"
	}
	start := fmt.Sprintf("%7s  %8s  %19s  %-28s %s", vswr, margin, where, what, sign)
	return start + p.plain(endOf(row.Path, pageColumns-4-utf8.RuneCountInString(start)))
}

// endOf shortens a text to so many columns, at its front.
func endOf(text string, columns int) string {
	if runes := []rune(text); len(runes) > columns {
		return "…" + string(runes[len(runes)-columns+1:])
	}
	return text
}

// counted writes a number with its noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
