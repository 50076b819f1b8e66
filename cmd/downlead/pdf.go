package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
	"downlead/ui/report"
)

// reportChoice is what the user asks of report.
type reportChoice struct {
	line           lineChoice
	standards      standardFiles
	baseline       string
	low, high      float64
	points         int
	window         dsp.Window
	windowGiven    bool
	texts          [5]string // site, date, instrument, operator, notes
	target, figure string
	style          report.Style
	beforeRepair   bool
	force          bool
}

func (c *reportChoice) options() *options {
	o := &options{verb: "report", operands: "SWEEP",
		about: "Writes a PDF to send on: the verdict, the line and both plots, the findings with their\nuncertainty and reasons, what to check, and what is needed to repeat the measurement.\n" +
			"SWEEP is a saved investigation, or a sweep with the options of its line. The same input\ngives the same file.",
		list: append(c.line.options(), option{"baseline", "FILE", "an earlier sweep of the same line, healthy or before a repair", toText(&c.baseline)},
			option{"before-repair", "", "the earlier sweep shows the line before a repair: say whether that worked", toSwitch(&c.beforeRepair)})}
	o.list = append(o.list, c.standards.options()...)
	o.list = append(o.list,
		option{"band", "LOW..HIGH", "use only this band, for example 1710MHz..2170MHz", toBand(&c.low, &c.high)},
		option{"points", "N", "use about N points of the sweep, evenly chosen", func(s string) error {
			l := locateChoice{}
			err := l.setPoints(s)
			c.points = l.points
			return err
		}},
		option{"window", "NAME[:VALUE]", "window of the profile, for example taylor:40", func(s string) (err error) {
			c.window, err = parseWindow(s)
			c.windowGiven = true
			return err
		}},
		option{"out", "FILE", "the PDF; else the sweep's name with .pdf", toText(&c.target)},
		option{"figures", "DIR", "also the figures as SVG and PNG, the traces as CSV, the findings as JSON", toText(&c.figure)})
	for i, name := range []string{"site", "date", "instrument", "operator", "notes"} {
		help := name + " to print"
		if name == "date" {
			help += ", as 2031-05-04"
		}
		o.list = append(o.list, option{name, "TEXT", help, toText(&c.texts[i])})
	}
	o.list = append(o.list,
		option{"paper", "a4|letter", "size of the pages; else A4", func(s string) error {
			switch strings.ToLower(s) {
			case "a4":
				c.style.Paper = report.A4
			case "letter":
				c.style.Paper = report.Letter
			default:
				return fmt.Errorf("%q is not a paper; there are a4 and letter", s)
			}
			return nil
		}},
		option{"feet", "", "lengths in feet", toSwitch(&c.style.Feet)},
		option{"force", "", "replace files that are already there", toSwitch(&c.force)})
	return o
}

// reportVerb writes the report of an investigation.
func reportVerb(ctx context.Context, words []string, out output) (int, error) {
	var choice reportChoice
	operands, done, err := choice.options().take(words, out)
	if done || err != nil {
		return statusPasses, err
	}
	path := operands[0]
	if choice.target == "" {
		choice.target = strings.TrimSuffix(path, filepath.Ext(path)) + ".pdf"
	}
	in := &report.Input{Program: programText()}
	if err := choice.gather(in, path, out); err != nil {
		return 0, err
	}
	d := &in.Document
	if err := mayWrite(choice.target, choice.force, path, d.Sweep.Path, d.Baseline.Path, d.LinePath, d.Standards.Open.Path, d.Standards.Short.Path, d.Standards.Load.Path, d.Standards.KitPath, choice.standards.check); err != nil {
		return 0, err
	}
	if choice.figure != "" {
		if err := mayFill(choice.figure, choice.force); err != nil {
			return 0, err
		}
	}
	finished := working(out.stderr, "making the report")
	defer func() { finished() }()
	whole, err := report.Prepare(ctx, *in)
	if err != nil {
		return 0, err
	}
	whole.Notes = append(whole.Notes, d.Found.Differs(whole.Findings)...)
	pdf, err := report.PDF(ctx, whole, choice.style)
	if err != nil {
		return 0, err
	}
	var figures []report.File
	if choice.figure != "" {
		if figures, err = report.Figures(ctx, whole, choice.style); err != nil {
			return 0, err
		}
	}
	finished()
	finished = func() {}
	p := &page{}
	if err := writeWhole(choice.target, pdf); err != nil {
		return 0, err
	}
	p.text("  written        ", choice.target)
	if len(figures) > 0 {
		if err := os.MkdirAll(choice.figure, 0o777); err != nil {
			return 0, err
		}
		var names []string
		for _, f := range figures {
			if err := writeWhole(filepath.Join(choice.figure, f.Name), f.Data); err != nil {
				return 0, err
			}
			names = append(names, f.Name)
		}
		p.text("  written        ", choice.figure+": "+strings.Join(names, ", "))
	}
	_, err = io.WriteString(out.stdout, p.String())
	return statusOf(whole.Findings), err
}

func writeWhole(path string, data []byte) error {
	return sweep.ReplaceFile(path, func(w io.Writer) error { _, err := io.Copy(w, bytes.NewReader(data)); return err })
}

// programText says in a report which build made it.
func programText() string { return "downlead, " + commit() + ", findings by schema " + diagnose.Schema }

// gather reads the investigation at path, or the sweep there and what the options
// name.
func (c *reportChoice) gather(in *report.Input, path string, out output) error {
	d := &in.Document
	if investigation.Is(path) {
		if c.line != (lineChoice{}) || c.standards.given() || c.baseline != "" {
			return fmt.Errorf("%s is an investigation, which names its own line, standards and earlier sweep: leave those options out, or name the sweep itself", path)
		}
		doc, notes, err := readInvestigation(path, out.stderr)
		if err != nil {
			return err
		}
		*d, in.Notes = *doc, notes
	} else if err := c.read(in, path); err != nil {
		return err
	}
	if c.low > 0 {
		d.BandHz = [2]float64{c.low, c.high}
	}
	if c.windowGiven {
		d.Window = c.window
	}
	if c.points > 0 {
		used, err := investigation.Used(d.Sweep.Sweep, d.BandHz, 1)
		if err != nil {
			return err
		}
		d.Every = max(1, (len(used.FrequencyHz)-1)/(c.points-1))
	}
	if c.beforeRepair {
		if d.Baseline.Sweep == nil {
			return errors.New("--before-repair goes with an earlier sweep; name it with --baseline")
		}
		d.Earlier = investigation.BeforeRepair
	}
	for i, into := range []*string{&d.Site, &d.Date, &d.Instrument, &d.Operator, &d.Notes} {
		if c.texts[i] != "" {
			*into = c.texts[i]
		}
	}
	return nil
}

// read makes an investigation of a sweep and what the options name.
func (c *reportChoice) read(in *report.Input, path string) error {
	d := &in.Document
	s := &d.Standards
	var err error
	for _, one := range []struct {
		path string
		into *investigation.Source
	}{{path, &d.Sweep}, {c.baseline, &d.Baseline}, {c.standards.open, &s.Open}, {c.standards.short, &s.Short}, {c.standards.load, &s.Load}} {
		if one.path == "" {
			continue
		}
		if *one.into, err = investigation.ReadSweep(one.path); errors.Is(err, sweep.ErrScalar) {
			return fmt.Errorf("%w; downlead locate holds it against the line's limit", err)
		} else if err != nil {
			return err
		}
	}
	if c.standards.kit != "" {
		s.KitPath = c.standards.kit
		if s.Kit, s.KitSHA256, err = investigation.ReadKit(s.KitPath); err != nil {
			return err
		}
	}
	if c.standards.check != "" {
		if in.Check, err = investigation.ReadSweep(c.standards.check); err != nil {
			return err
		}
	}
	if c.standards.given() {
		if in.Corrected, in.Terms, err = c.standards.correct(d.Sweep.Sweep); err != nil {
			return err
		}
	}
	d.LinePath = c.line.file
	if d.Line, err = c.line.read(func(velocityFactor float64) float64 { return aliasFreeM(d.Sweep.Sweep.FrequencyHz, velocityFactor) }); err != nil {
		return err
	}
	if c.line.file != "" {
		var again *cables.Line
		if again, d.LineSHA256, err = investigation.ReadLine(c.line.file); err == nil {
			d.Line = again
		}
	}
	return err
}
