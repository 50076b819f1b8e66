package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/blind"
)

// blindChoice is what the user asks of blind.
type blindChoice struct {
	level        int
	seed         uint64
	seeded       bool
	folder       string
	given        []string // marks as given on the command line
	marks        []blind.Mark
	nothing      bool
	name, record string
	feet, ascii  bool
	force        bool
	own          bool // say what the program itself finds
	scale        lengthScale
}

// blindVerb sets an exercise: a line with faults that only the program knows.
func blindVerb(ctx context.Context, words []string, out output) (int, error) {
	c := blindChoice{level: 1, scale: inMetres}
	o := options{verb: "blind",
		about: "Draws a line with faults that you do not know, shows its sweep, takes your marks (distance and\ncause), and only then says what is there and scores you.",
		list: []option{
			{"level", "N", fmt.Sprintf("how hard, 1 to %d; 1 when left out", blind.Levels), func(text string) (err error) {
				c.level, err = strconv.Atoi(text)
				if err != nil || c.level < 1 || c.level > blind.Levels {
					return fmt.Errorf("%q is not a level; there are 1 to %d", text, blind.Levels)
				}
				return nil
			}},
			{"seed", "N", "the same number gives the same case; another each time when left out", func(text string) (err error) {
				c.seeded = true
				if c.seed, err = strconv.ParseUint(text, 10, 64); err != nil {
					return fmt.Errorf("%q is not a whole number of at least 0", text)
				}
				return nil
			}},
			{"out", "DIR", "write sweep.s1p and line.toml there first, to be looked at in the window", toText(&c.folder)},
			{"mark", "LENGTH,CAUSE", "a fault, for example 31.4m,poor-contact; once for each; asked for if left out", func(text string) error {
				c.given = append(c.given, text)
				return nil
			}},
			{"nothing", "", "in place of marks: nothing is wrong", toSwitch(&c.nothing)},
			{"record", "FILE", "add the score to this CSV file, which is made when it is not there", toText(&c.record)},
			{"name", "NAME", "the name to put beside it; nothing else about you is kept", toText(&c.name)},
			{"compare", "", "say in the end what locate finds on the same sweep", toSwitch(&c.own)},
			{"force", "", "with --out: write into a folder that holds something", toSwitch(&c.force)},
			{"feet", "", "lengths in feet", toSwitch(&c.feet)},
			{"ascii", "", "plain characters only", toSwitch(&c.ascii)},
		}}
	if _, done, err := o.take(words, out); done || err != nil {
		return statusPasses, err
	}
	if err := c.check(); err != nil {
		return 0, err
	}
	finished := working(out.stderr, "drawing a line")
	made, err := blind.New(ctx, c.seed, c.level)
	finished()
	if err != nil {
		return 0, err
	}
	if c.folder != "" {
		if err := writeCase(c.folder, made); err != nil {
			return 0, err
		}
	}
	if err := c.show(made, out); err != nil {
		return 0, err
	}
	if len(c.marks) == 0 && !c.nothing {
		answered, err := c.askMarks(ctx, out)
		if err != nil {
			return 0, err
		}
		if !answered { // the input ended: nobody is there to be scored
			_, err := fmt.Fprintf(out.stdout, "\nNo answer, so nothing is shown or scored. The same case again: downlead blind --level %d --seed %d\n", c.level, c.seed)
			return statusPasses, err
		}
	}
	result := made.Score(c.marks)
	p := &page{ascii: c.ascii}
	c.answer(p, made, result)
	if c.own {
		finished := working(out.stderr, "locating")
		found, err := diagnose.Run(ctx, made.Sweep, made.Line, diagnose.Settings{})
		finished()
		if err != nil {
			return 0, err
		}
		c.compare(p, found)
	}
	if c.record != "" {
		if err := blind.Append(c.record, blind.RowOf(c.name, time.Now(), made, result)); err != nil {
			return 0, err
		}
		p.row("")
		p.text("", "Added to "+c.record+".")
	}
	_, err = io.WriteString(out.stdout, p.String())
	return statusPasses, err
}

func (c *blindChoice) check() error {
	if c.feet {
		c.scale = inFeet
	}
	for _, text := range c.given { // now that --feet is known
		m, err := parseMark(strings.Replace(text, ",", " ", 1), c.scale)
		if err != nil {
			return fmt.Errorf("--mark: %w", err)
		}
		c.marks = append(c.marks, m)
	}
	if !c.seeded {
		c.seed = uint64(rand.Uint32())
	}
	switch {
	case c.nothing && len(c.marks) > 0:
		return errors.New("--nothing says that nothing is wrong, and --mark that something is; leave one out")
	case c.record != "" && c.name == "":
		return errors.New("--record needs --name: any word that tells the trainees apart")
	case c.record == "" && c.name != "":
		return errors.New("--name goes with --record FILE, where the score is kept")
	case c.name != "":
		if err := blind.CheckName(c.name); err != nil {
			return fmt.Errorf("--name: %w", err)
		}
	}
	if c.folder != "" {
		return mayFill(c.folder, c.force)
	}
	return nil
}

// writeCase writes what may be looked at.
func writeCase(folder string, c *blind.Case) error {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return fmt.Errorf("writing the case: %w", err)
	}
	if err := sweep.WriteFile(filepath.Join(folder, "sweep.s1p"), c.Sweep, sweep.WriteOptions{}); err != nil {
		return err
	}
	return cables.WriteLine(filepath.Join(folder, "line.toml"), c.Line)
}

// parseMark reads a distance and a cause, such as "31.4m poor-contact". A
// distance without a unit is in the unit that is shown.
func parseMark(text string, scale lengthScale) (blind.Mark, error) {
	place, cause, _ := strings.Cut(strings.TrimSpace(text), " ")
	var m blind.Mark
	if plain, err := strconv.ParseFloat(place, 64); err == nil && plain >= 0 && plain < 1e5 {
		m.DistanceM = plain * scale.metres
	} else if m.DistanceM, err = parseLength(place); err != nil {
		return m, fmt.Errorf("%w, then the cause: 31.4m poor-contact", err)
	}
	cause = strings.Join(strings.Fields(strings.ReplaceAll(cause, "-", " ")), "-")
	var names []string
	for i, known := range blind.Causes() {
		if cause == string(known) || cause == strconv.Itoa(i+1) {
			m.Cause = known
			return m, nil
		}
		names = append(names, string(known))
	}
	mend := "use one of " + strings.Join(names, ", ")
	if near := nearest(cause, names); near != "" {
		mend = fmt.Sprintf("did you mean %q?", near)
	}
	return m, fmt.Errorf("%q is not a cause; %s", cause, mend)
}

// show writes what there is to go by.
func (c *blindChoice) show(made *blind.Case, out output) error {
	path, err := made.Line.Path()
	if err != nil {
		return err
	}
	p := &page{ascii: c.ascii}
	f := made.Sweep.FrequencyHz
	p.text("", fmt.Sprintf("Case %d, level %d of %d. The line and its sweep are invented.", c.seed, c.level, blind.Levels))
	p.row("")
	p.text("  sweep          ", fmt.Sprintf("%d points from %s to %s; one resolution cell is %s", len(f), frequencyText(f[0]), frequencyText(f[len(f)-1]), c.scale.text(made.CellM)))
	end := "ends in: " + string(made.Line.Load.Kind)
	if band := made.Line.Load.BandHz; band[1] > 0 {
		end += fmt.Sprintf(" for %s to %s, return loss %.1f dB or better in it", frequencyText(band[0]), frequencyText(band[1]), made.Line.Load.ReturnLossDB)
	}
	p.text("  line           ", fmt.Sprintf("%s long, %s", c.scale.text(path.LengthM()), end))
	if limit := made.Line.Limits.LimitVSWR(); limit > 0 && made.Line.Load.Kind != cables.Open && made.Line.Load.Kind != cables.Short {
		p.text("  limit          ", fmt.Sprintf("VSWR %.2f", limit))
	}
	if c.folder != "" {
		p.text("  files          ", fmt.Sprintf("%s: sweep.s1p, line.toml; downlead %s --line %s shows them in the window", c.folder, filepath.Join(c.folder, "sweep.s1p"), filepath.Join(c.folder, "line.toml")))
	}
	p.heading("Return loss over frequency")
	for _, row := range drawSpectrum(made.Sweep) {
		p.row(row)
	}
	p.heading("Return loss along the line, drawn to scale")
	along, err := lineProfile(made.Sweep, path, dsp.Window{}, drawnM(path, nil), nil)
	if err != nil {
		return err
	}
	for _, row := range drawLine(path, made.Line.Load.Kind, nil, c.scale, along) {
		p.row(row)
	}
	p.heading("What is wrong, and where?")
	for i, cause := range blind.Causes() {
		p.text(fmt.Sprintf("  %2d  ", i+1), fmt.Sprintf("%s (%s)", cause, cause.Words()))
	}
	_, err = io.WriteString(out.stdout, p.String())
	return err
}

// askMarks takes marks until somebody says that these are all.
func (c *blindChoice) askMarks(ctx context.Context, out output) (answered bool, err error) {
	a := newAsker(ctx, out.stdin, out.stdout)
	fmt.Fprintf(out.stdout, "\nOne row for each fault: its distance and its cause or number, such as 31.4%s poor-contact.\nThe word nothing when nothing is wrong; an empty row when these are all.\n", c.scale.unit)
	for {
		text, more, err := a.ask(ctx, fmt.Sprintf("fault %d: ", len(c.marks)+1))
		switch {
		case err != nil:
			return false, err
		case !more:
			return len(c.marks) > 0, nil
		case text == "" && len(c.marks) > 0:
			return true, nil
		case text == "":
			fmt.Fprintln(out.stdout, "  a distance and a cause, or the word nothing")
			continue
		case strings.EqualFold(text, "nothing"):
			c.marks = nil
			return true, nil
		}
		m, err := parseMark(text, c.scale)
		if err != nil {
			fmt.Fprintf(out.stdout, "  %v\n", err)
			continue
		}
		c.marks = append(c.marks, m)
	}
}

// answer writes what is there, and the score.
func (c *blindChoice) answer(p *page, made *blind.Case, r blind.Result) {
	p.heading("The answer")
	if len(r.Faults) == 0 {
		p.text("  ", "Nothing is wrong with this line.")
	}
	for i, o := range r.Faults {
		f := o.Fault
		where := c.scale.text(f.DistanceM)
		if f.ExtentM > 0.01 && f.Cause != diagnose.AntennaFault {
			where = fmt.Sprintf("%s to %s", c.scale.number(f.DistanceM), c.scale.text(f.DistanceM+f.ExtentM))
		}
		p.text(fmt.Sprintf("  fault %d        ", i+1), fmt.Sprintf("%s: %s, %s", where, f.Cause.Words(), f.Where))
		if o.Mark < 0 {
			p.text("  your mark      ", "missed: no mark within "+c.scale.text(f.ReachM))
			continue
		}
		m := c.marks[o.Mark]
		off := "at the place"
		if o.OffM > 0 {
			off = c.scale.text(o.OffM) + " off"
		}
		word := "another cause"
		switch {
		case o.Alike:
			word = "not the cause, but one port does not tell the two apart here: accepted"
		case o.Cause > 0:
			word = "the right cause"
		}
		p.text("  your mark      ", fmt.Sprintf("%s, %s: %s (%.0f of 50 points), %s (%.0f of 50)", c.scale.text(m.DistanceM), m.Cause.Words(), off, o.Place, word, o.Cause))
	}
	for _, k := range r.FalseMarks {
		m := c.marks[k]
		p.text("  false mark     ", fmt.Sprintf("%s, %s: there is no fault (25 points off)", c.scale.text(m.DistanceM), m.Cause.Words()))
	}
	p.row("")
	p.text("  SCORE          ", fmt.Sprintf("%.0f of 100. The same case again: downlead blind --level %d --seed %d", r.Points, made.Difficulty, made.Seed))
}

// compare writes what the program finds by itself.
func (c *blindChoice) compare(p *page, found *diagnose.Findings) {
	p.heading("What locate finds on the same sweep")
	any := false
	for _, f := range found.Findings {
		if f.IsFault {
			any = true
			p.text("  · ", fmt.Sprintf("%s: %s, %s sure", c.scale.uncertain(f.DistanceM, f.SigmaM), f.Cause.Words(), percent(f.Confidence)))
		}
	}
	if !any {
		p.text("  · ", "no fault")
	}
}
