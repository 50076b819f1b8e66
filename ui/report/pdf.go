package report

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
)

// mostRounds is how often the pages are made until their number, and the letters
// that the font lacks, are known.
const mostRounds = 5

// PDF returns the report as a PDF; in must come from Prepare. It ends with ctx's error when ctx ends.
func PDF(ctx context.Context, in *Input, style Style) ([]byte, error) {
	b, err := newBook(ctx, in, style)
	if err != nil {
		return nil, err
	}
	of, lacking := 0, -1
	for range mostRounds {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		s := newSheet(style.Paper, b.face, b.name(), of)
		b.write(s)
		if pages := s.pdf.PageNo(); pages != of || lacking != len(b.face.lacking) {
			of, lacking = pages, len(b.face.lacking)
			continue
		}
		return s.output("Report: "+b.name(), b.date())
	}
	return nil, fmt.Errorf("the report does not come to an end at %d pages: this is a mistake in the program", of)
}

// write puts all pages on s.
func (b *book) write(s *sheet) {
	b.first(s)
	b.measurement(s)
	b.findings(s)
	b.beforeAndAfter(s)
	b.calibration(s)
	b.repeat(s)
	b.reasoning(s)
}

// first is the page with the verdict.
func (b *book) first(s *sheet) {
	quiet := written{color: s.colours.Quiet}
	d := &b.Document
	s.text(s.left(), s.inner(), "Fault report of a coaxial antenna line", quiet)
	s.skip(grid / 2)
	title := written{title: true, strong: true, color: s.colours.Ink}
	for _, row := range s.atMost(2, b.name(), s.inner(), title) {
		s.put(s.left(), s.y+titleSize+1, row, title)
		s.skip(titleLeading)
	}
	s.skip(grid)
	var unstated []string
	for _, one := range [][2]string{{"site", d.Site}, {"date", d.Date}, {"instrument", d.Instrument}, {"operator", d.Operator}, {"sweep", b.sweepWords()}} {
		if one[1] == "" {
			unstated = append(unstated, one[0])
		}
		s.fact(one[0], one[1])
	}
	s.factIn("not stated", strings.Join(unstated, ", "), quiet)
	s.skip(grid)
	b.verdict(s)
	s.skip(grid)
	figure, legend := b.lineFigure(s.inner(), b.profile()), b.lineLegend()
	if b.profile() > 0 {
		legend = b.alongLegend(false) + " Under it the line: " + strings.ToLower(legend[:1]) + legend[1:]
	}
	s.heading(fmt.Sprintf("The line, %s", b.scale.Text(b.path.LengthM())), figure.height+2*bodyLeading)
	s.drawing(figure.height, figure.draw)
	s.text(s.left(), s.inner(), legend, quiet)
	s.heading("Before anybody touches the line", 4*bodyLeading)
	s.items(b.cautions())
	if d.Notes != "" {
		s.heading("Notes", 2*bodyLeading)
		for _, line := range strings.Split(d.Notes, "\n") {
			if strings.TrimSpace(line) != "" {
				s.paragraph(line)
			}
		}
	}
	if b.spare < 0 { // the first time, without the plot
		b.spare = 0
		if s.pdf.PageNo() == 1 {
			b.spare = s.foot() - s.y
		}
	}
}

// leastProfile and mostProfile bound how high the plot along the line is on the
// first page, points.
const (
	leastProfile = 17 * grid
	mostProfile  = plotHeight
)

// profile is how high the plot along the line is on the first page, where what
// must stand there leaves room for it; 0: it has a page of its own.
func (b *book) profile() float64 {
	const legend = 3 * bodyLeading // how much longer the legend is with it
	if room := b.spare + rulerSpace - legend; room >= leastProfile {
		return min(room, mostProfile)
	}
	return 0
}

func (b *book) sweepWords() string {
	f := b.Sweep.FrequencyHz
	return fmt.Sprintf("%s, %d points from %s to %s", b.Sweep.Name, len(f), Frequency(f[0]), Frequency(f[len(f)-1]))
}

// cautions are the usual ones and those of the findings, each once.
func (b *book) cautions() []string {
	all := diagnose.Cautions()
	for _, f := range b.found.Faults {
		for _, c := range f.Cautions {
			if !slices.Contains(all, c) {
				all = append(all, c)
			}
		}
	}
	return all
}

// mostOnFirst is how many faults the first page names.
const mostOnFirst = 6

// verdict is the judgement in words and numbers, and the faults, beside a bar of
// its colour.
func (b *book) verdict(s *sheet) {
	v := b.Findings.Verdict
	word, clr := "Within the limit", s.colours.In
	switch {
	case v.LimitVSWR == 0:
		word, clr = "No limit is set", s.colours.Quiet
	case !v.Passes:
		word, clr = "Out of the limit", s.colours.Out
	case len(b.found.Faults) > 0:
		word, clr = "Within the limit, but not sound", s.colours.Out
	}
	const indent = 2 * grid
	page, top := s.pdf.PageNo(), s.y
	s.text(s.left()+indent, s.inner()-indent, word, written{title: true, strong: true, color: clr})
	ink, quiet := written{color: s.colours.Ink}, written{color: s.colours.Quiet}
	s.text(s.left()+indent, s.inner()-indent, b.verdictWords(), ink)
	if notice := calibration.Notice(b.Sweep); notice != "" {
		s.text(s.left()+indent, s.inner()-indent, notice, written{strong: true, color: s.colours.Out})
	} else {
		s.text(s.left()+indent, s.inner()-indent, "Calibration: "+b.Findings.Calibration+".", ink)
	}
	s.skip(grid / 2)
	if len(b.found.Faults) == 0 {
		s.text(s.left()+indent, s.inner()-indent, "No fault: nothing on the line reflects more than it should as built.", ink)
	}
	for i, f := range b.found.Faults {
		if i == mostOnFirst && len(b.found.Faults) > mostOnFirst+1 {
			s.text(s.left()+indent, s.inner()-indent, fmt.Sprintf("and %d more faults, see Findings", len(b.found.Faults)-mostOnFirst), ink)
			break
		}
		x, width := s.left()+indent+3*grid, s.inner()-indent-3*grid
		s.need(2 * bodyLeading)
		s.flag(s.left()+indent, s.y, f.Label)
		for _, row := range s.atMost(2, b.faultWords(&f.Finding), width, ink) { // so that the line has its place on this page
			s.text(x, width, row, ink)
		}
		if r := f.Repaired; r != nil && len(b.found.Faults) <= mostOnFirst/2 {
			s.text(x, width, "If repaired alone: "+repairedWords(r)+".", quiet)
		}
		s.skip(grid / 4)
	}
	if s.pdf.PageNo() == page {
		s.box(s.left(), top, grid/2, s.y-top, clr)
	}
}

func (b *book) verdictWords() string {
	v := b.Findings.Verdict
	text := fmt.Sprintf("Worst %s at %s (return loss %.1f dB)", VSWR(v.WorstVSWR), Frequency(v.AtHz), sweep.ReturnLossFromVSWR(v.WorstVSWR))
	if v.LimitVSWR > 0 {
		text += fmt.Sprintf(", limit %.2f (%.1f dB)", v.LimitVSWR, sweep.ReturnLossFromVSWR(v.LimitVSWR))
	}
	if v.HighHz > v.LowHz {
		text += fmt.Sprintf(", judged from %s to %s", Frequency(v.LowHz), Frequency(v.HighHz))
	}
	if v.LimitVSWR == 0 {
		text += "; the record of the line states no limit to judge it by"
	}
	return text + "."
}

// faultWords is a fault in a sentence.
func (b *book) faultWords(f *diagnose.Finding) string {
	text := fmt.Sprintf("%s: %s, %s sure", b.scale.Place(*f), b.called(f), Percent(f.Confidence)) + otherwise(f)
	if f.Place != "" {
		text += "; " + f.Place
	}
	if said := b.said(f); said.State != investigation.Undecided {
		text += "; " + stateWords(said.State)
	}
	return text + "."
}

// measurement is both domains.
func (b *book) measurement(s *sheet) {
	quiet := written{color: s.colours.Quiet}
	s.chapter("The measurement", plotHeight)
	over := b.overFrequency()
	s.drawing(over.height, over.draw)
	s.text(s.left(), s.inner(), "At the test port. 0 dB, a total reflection, is at the top: a higher curve is a worse line. Dotted uprights bound the judged band.", quiet)
	if b.profile() == 0 {
		s.skip(2 * grid)
		along := b.alongLine()
		s.drawing(along.height, along.draw)
		s.text(s.left(), s.inner(), b.alongLegend(true), quiet)
	}
	b.doubts(s)
}

// alongLegend explains the plot along the line, its flags too where nothing else does.
func (b *book) alongLegend(flags bool) string {
	text := fmt.Sprintf("Along the line, the loss on the way taken out; %s window, resolution %s.", Window(b.Document.Window), b.scale.Text(b.figures.MainLobe6DBM))
	if flags && len(b.found.Faults) > 0 {
		text += " Numbered flags are the faults, with one standard deviation to both sides."
	}
	if b.Findings.Verdict.LimitVSWR > 1 {
		text += fmt.Sprintf(" A single reflection above the dash-dotted curve would by itself reach the port's limit at %s.", Frequency(b.judgedMiddleHz()))
	}
	return text
}

// doubts are what a reader of the result should know.
func (b *book) doubts(s *sheet) {
	notes := slices.Clone(b.Findings.Warnings)
	for _, note := range b.Notes {
		if !slices.Contains(notes, note) {
			notes = append(notes, note)
		}
	}
	if left := b.Findings.LeftOutHz; len(left) > 0 {
		notes = append(notes, fmt.Sprintf("%d of %d points were left out as interference: %s", len(left), len(b.Sweep.FrequencyHz), FrequencyRuns(left, b.Sweep.FrequencyHz, len(left))))
	}
	if n := len(b.face.lacking); n > 0 {
		notes = append(notes, fmt.Sprintf("%d letters of names or notes are not in this report's font; each stands as %c, and the title in the properties of this document keeps the name of the line", n, missing))
	}
	if len(notes) > 0 {
		s.heading("Worth knowing", 2*bodyLeading)
		s.items(notes)
	}
}
