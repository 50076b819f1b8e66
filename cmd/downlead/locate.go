package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
	"downlead/ui/report"
)

// locateChoice is what the user asks of locate.
type locateChoice struct {
	line          lineChoice
	standards     standardFiles
	baseline      string
	lowHz, highHz float64
	rangeM        float64
	points        int
	explain       int // number of the fault to explain; 0: none
	window        dsp.Window
	json, feet    bool
	ascii         bool
}

func (c *locateChoice) options() *options {
	o := &options{verb: "locate", operands: "SWEEP",
		about: "Finds and names the faults on a line from the sweep SWEEP (Touchstone or CSV), or from a saved\ninvestigation in its place. With --open,\n" +
			"--short and --load, SWEEP is raw and corrected first. A sweep without phase is held against\nthe line's limit only.",
		list: append(c.line.options(),
			option{"baseline", "FILE", "an earlier sweep of the same line when it was healthy", toText(&c.baseline)},
			option{"band", "LOW..HIGH", "use only this band, for example 1710MHz..2170MHz", toBand(&c.lowHz, &c.highHz)},
			option{"range", "LENGTH", "look no further than this, for example 80m", toLength(&c.rangeM)},
			option{"points", "N", "use about N points of the sweep, evenly chosen", c.setPoints},
			option{"explain", "N", "add the reasoning that led to fault N of the report", c.setExplain},
			option{"window", "NAME[:VALUE]", "window of the drawn profile, for example taylor:40", func(s string) (err error) {
				c.window, err = parseWindow(s)
				return err
			}})}
	o.list = append(o.list, c.standards.options()...)
	o.list = append(o.list,
		option{"json", "", "findings for machines, schema " + diagnose.Schema, toSwitch(&c.json)},
		option{"feet", "", "lengths in feet", toSwitch(&c.feet)},
		option{"ascii", "", "plain characters only", toSwitch(&c.ascii)})
	return o
}

// leastPoints is how few points --points may leave.
const leastPoints = 16

func (c *locateChoice) setPoints(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil || n < leastPoints {
		return fmt.Errorf("%q is not a number of points; give %d or more", text, leastPoints)
	}
	c.points = n
	return nil
}

func (c *locateChoice) setExplain(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		return fmt.Errorf("%q is not the number of a fault; the report counts them from 1", text)
	}
	c.explain = n
	return nil
}

// locate is the main job.
func locate(ctx context.Context, words []string, out output) (int, error) {
	var choice locateChoice
	operands, done, err := choice.options().take(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	if choice.explain > 0 && choice.json {
		return 0, errors.New("--explain goes with the text report; --json holds the explanation of every finding")
	}
	var c *located
	if investigation.Is(operands[0]) {
		c, err = choice.fromInvestigation(operands[0], out)
	} else {
		c, err = choice.fromFiles(operands[0])
	}
	if errors.Is(err, sweep.ErrScalar) {
		return choice.judgeScalar(operands[0], out)
	}
	if err != nil {
		return 0, err
	}
	s, line := c.sweep, c.line
	path, err := line.Path()
	if err != nil {
		return 0, err
	}

	finished := working(out.stderr, "locating")
	findings, err := diagnose.Run(ctx, s, line, diagnose.Settings{Baseline: c.baseline, LowHz: choice.lowHz, HighHz: choice.highHz, RangeM: choice.rangeM})
	finished()
	if err != nil {
		return 0, err
	}
	for _, note := range slices.Concat(c.notes, line.Notes, s.Warnings, c.before.Differs(findings)) {
		if !slices.Contains(findings.Warnings, note) {
			findings.Warnings = append(findings.Warnings, note)
		}
	}
	if choice.json {
		err = report.WriteFindings(out.stdout, findings)
	} else {
		text := reportInput{Sweep: s, Line: line, Path: path, Findings: findings,
			Scale: inMetres, ASCII: choice.ascii, Window: choice.window, Explain: choice.explain}
		if choice.feet {
			text.Scale, text.Findings = inFeet, findings.InFeet()
		}
		var written string
		if written, err = writeReport(&text); err == nil {
			_, err = io.WriteString(out.stdout, written)
		}
	}
	return statusOf(findings), err
}

// located is what the findings are worked out from.
type located struct {
	sweep, baseline *sweep.Sweep
	line            *cables.Line
	notes           []string
	before          *investigation.Found // by an earlier run; nil: none is known
}

// fromFiles reads the sweep at path and what the options name.
func (c *locateChoice) fromFiles(path string) (*located, error) {
	s, err := sweep.Read(path)
	if err != nil {
		return nil, err
	}
	if c.standards.given() {
		if s, _, err = c.standards.correct(s); err != nil {
			return nil, err
		}
	}
	l := &located{}
	if c.baseline != "" {
		if l.baseline, err = sweep.Read(c.baseline); err != nil {
			return nil, err
		}
	}
	if l.sweep, l.notes, err = c.narrow(s); err != nil {
		return nil, err
	}
	l.line, err = c.line.read(func(velocityFactor float64) float64 {
		if c.rangeM > 0 {
			return c.rangeM
		}
		return aliasFreeM(l.sweep.FrequencyHz, velocityFactor)
	})
	return l, err
}

// fromInvestigation takes everything from the investigation at path but the band
// and the number of points, where the options give them.
func (c *locateChoice) fromInvestigation(path string, out output) (*located, error) {
	if c.line != (lineChoice{}) || c.standards.given() || c.baseline != "" {
		return nil, fmt.Errorf("%s is an investigation, which names its own line, standards and earlier sweep: leave those options out, or name the sweep itself", path)
	}
	doc, notes, err := readInvestigation(path, out.stderr)
	if err != nil {
		return nil, err
	}
	s, _, _, err := doc.Corrected()
	if err != nil {
		return nil, err
	}
	if c.lowHz == 0 {
		c.lowHz, c.highHz = doc.BandHz[0], doc.BandHz[1]
	}
	every := doc.Every
	if c.points > 0 {
		every = 1
	}
	if c.window == (dsp.Window{}) {
		c.window = doc.Window
	}
	used, err := investigation.Used(s, [2]float64{c.lowHz, c.highHz}, every)
	if err != nil {
		return nil, err
	}
	used = thinned(used, c.points)
	notes = append(notes, usedWords(used, s)...)
	if doc.Earlier == investigation.BeforeRepair && doc.Baseline.Sweep != nil {
		notes = append(notes, "the earlier sweep shows the line before a repair and is no measure of a healthy one: downlead compare holds the two against each other")
	}
	return &located{sweep: used, baseline: doc.HealthyBaseline(), line: doc.Line, notes: notes, before: doc.Found}, nil
}

// narrow keeps the points that the user asks for, and says what that left.
func (c *locateChoice) narrow(s *sweep.Sweep) (*sweep.Sweep, []string, error) {
	all := s
	if c.lowHz > 0 {
		band, err := s.Band(c.lowHz, c.highHz)
		if err != nil {
			return nil, nil, fmt.Errorf("--band: %w", err)
		}
		s = band
	}
	s = thinned(s, c.points)
	return s, usedWords(s, all), nil
}

// usedWords says how much of a sweep is used, where that is not all of it.
func usedWords(used, all *sweep.Sweep) []string {
	if len(used.FrequencyHz) == len(all.FrequencyHz) {
		return nil
	}
	return []string{fmt.Sprintf("%d of the sweep's %d points are used, as asked", len(used.FrequencyHz), len(all.FrequencyHz))}
}

// thinned returns at most about n points of the sweep, evenly chosen, the first
// and, where the step allows it, the last; n 0 keeps all.
func thinned(s *sweep.Sweep, n int) *sweep.Sweep {
	step := 1
	if n > 0 {
		step = max(1, (len(s.FrequencyHz)-1)/(n-1))
	}
	return s.Every(step)
}

// aliasFreeM is how far a cable can be looked into, c·VF/(2Δf), by the mean
// distance of the frequencies, m.
func aliasFreeM(frequencyHz []float64, velocityFactor float64) float64 {
	n := len(frequencyHz)
	step := (frequencyHz[n-1] - frequencyHz[0]) / float64(n-1)
	return cables.SpeedOfLight * velocityFactor / (2 * step)
}

// statusOf returns the exit status that goes with findings.
func statusOf(f *diagnose.Findings) int {
	isFault := func(one diagnose.Finding) bool { return one.IsFault }
	if !f.Verdict.Passes && f.Verdict.LimitVSWR > 0 || slices.ContainsFunc(f.Findings, isFault) {
		return statusFault
	}
	return statusPasses
}

// judgeScalar holds a sweep without phase against the line's limit.
func (c *locateChoice) judgeScalar(path string, out output) (int, error) {
	s, err := sweep.ReadScalarFile(path)
	if err != nil {
		return 0, err
	}
	if c.standards.given() || c.json || c.explain > 0 {
		return 0, fmt.Errorf("%s: this sweep has no phase, so it can only be held against the limit in text; for --json, --explain or correction sweep again with phase", path)
	}
	if c.line.file == "" {
		return 0, fmt.Errorf("%s: this sweep has no phase, so it can only be held against a limit; give the --line that states one", path)
	}
	line, err := cables.ReadLine(c.line.file)
	if err != nil {
		return 0, err
	}
	v, covered, err := diagnose.JudgeScalar(s, line, c.lowHz, c.highHz)
	switch {
	case errors.Is(err, diagnose.ErrNoLimit):
		return 0, fmt.Errorf("%s: this sweep has no phase and %s states no limit, so nothing can be said; sweep again with phase", path, c.line.file)
	case err != nil:
		return 0, err
	}
	p := &page{ascii: c.ascii}
	p.text("", line.Name)
	p.text("", fmt.Sprintf("%s: %d points without phase", s.Name, len(s.FrequencyHz)))
	p.row("")
	word, status := "WITHIN LIMIT", statusPasses
	if !v.Passes {
		word, status = "OUT OF LIMIT", statusFault
	}
	text := fmt.Sprintf("worst VSWR %.2f at %s, limit %.2f", v.WorstVSWR, frequencyText(v.AtHz), v.LimitVSWR)
	if !covered {
		text += "; the sweep does not cover the whole band"
	}
	p.text("  "+word+"   ", text)
	p.text("  NO DISTANCE    ", "finding a place needs phase: sweep again and save the complex reflection (Touchstone, or CSV with magnitude and phase)")
	for _, w := range slices.Concat(s.Warnings, line.Notes) {
		p.text("  · ", w)
	}
	_, err = io.WriteString(out.stdout, p.String())
	return status, err
}
