package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
)

// leastChange is how high a plot of both sweeps is at least, points.
const leastChange = 22 * grid

// beforeAndAfter compares with the earlier sweep.
func (b *book) beforeAndAfter(s *sheet) {
	c := b.Comparison
	if b.Document.Baseline.Sweep == nil {
		return
	}
	keep := 6 * bodyLeading
	if c != nil { // the plots belong together
		keep = 2*(leastChange+2*grid) + 16*bodyLeading
	}
	s.chapter("Before and now", keep)
	switch {
	case c == nil:
		s.paragraph("The two sweeps cannot be compared, see Worth knowing.")
	case b.Document.Earlier == investigation.BeforeRepair:
		clr := s.colours.Ink
		switch c.Repair {
		case diagnose.Repaired:
			clr = s.colours.In
		case diagnose.PartlyRepaired, diagnose.NotRepaired:
			clr = s.colours.Out
		}
		s.text(s.left(), s.inner(), "Repaired: "+c.Repair.Words(), written{strong: true, color: clr})
		s.paragraph(upper(c.Reason) + ".")
	case !c.Coherent:
		s.paragraph(upper(c.Reason) + ".")
	default:
		s.paragraph(upper(c.LimitWords()) + ".")
	}
	if c != nil {
		b.verdicts(s, c)
		b.entries(s, c)
	}
	if c != nil && c.Coherent {
		s.skip(grid / 2)
		s.text(s.left(), s.inner(), "To be compared, the earlier sweep was laid over the one now: "+Aligned(c.Aligned, b.scale)+". The plots show it as it was measured.", written{color: s.colours.Quiet})
	}
	// Both on this page, lower than elsewhere where it is nearly full.
	high := max(leastChange, min(plotHeight, (s.foot()-s.y)/2-2*grid))
	for _, figure := range b.changeFigures() {
		s.skip(2 * grid)
		s.drawing(high, figure.draw)
	}
	if c != nil && len(c.Warnings) > 0 {
		s.skip(grid)
		s.items(c.Warnings)
	}
}

// verdicts are those of both sweeps.
func (b *book) verdicts(s *sheet, c *diagnose.Comparison) {
	row := func(name string, v diagnose.Verdict) []cell {
		verdict := cell{text: "no limit set"}
		switch {
		case v.LimitVSWR == 0:
		case v.Passes:
			verdict = cell{text: fmt.Sprintf("within the limit of %.2f", v.LimitVSWR), color: s.colours.In}
		default:
			verdict = cell{text: fmt.Sprintf("out of the limit of %.2f", v.LimitVSWR), color: s.colours.Out}
		}
		return []cell{{text: name, strong: true}, {text: VSWR(v.WorstVSWR)}, {text: fmt.Sprintf("%.1f dB", sweep.ReturnLossFromVSWR(v.WorstVSWR))}, {text: Frequency(v.AtHz)}, verdict}
	}
	s.table([]column{{title: "sweep", width: 1}, {title: "worst", width: 1}, {title: "return loss", width: 1}, {title: "at", width: 1}, {title: "limit", width: 1.4}}, [][]cell{row("earlier", c.Before), row("now", c.After)})
}

// entries are the places at which something is to be told.
func (b *book) entries(s *sheet, c *diagnose.Comparison) {
	if !c.Coherent {
		return
	}
	s.heading("What became of it, along the line", 4*bodyLeading)
	if len(c.Entries) == 0 {
		s.paragraph("Nothing along the line has changed.")
		return
	}
	var rows [][]cell
	for i := range c.Entries {
		e := &c.Entries[i]
		where := b.scale.Place(diagnose.Finding{DistanceM: e.DistanceM, SigmaM: e.SigmaM, ExtentM: e.ExtentM})
		clr := s.colours.Ink
		switch e.Kind {
		case diagnose.EntryNew, diagnose.EntryGrown:
			clr = s.colours.Out
		case diagnose.EntryGone, diagnose.EntryWeaker:
			clr = s.colours.In
		}
		rows = append(rows, []cell{{text: string(e.Kind), strong: true, color: clr}, {text: where}, {text: e.Place, most: mostNameRows}, {text: e.Sentence}})
	}
	s.table([]column{{title: "now", width: 9 * grid, fixed: true}, {title: "from the test port", width: mostPlace, fixed: true}, {title: "place", width: 1}, {title: "in words", width: 2.4}}, rows)
}

// Aligned says what the sweep before was changed by to lie over that after.
func Aligned(a diagnose.AlignedBy, scale Scale) string {
	speed := map[bool]string{true: "faster", false: "slower"}[a.Velocity > 0]
	lead := fmt.Sprintf("%.1f mm", 1000*math.Abs(a.LeadM))
	if scale == InFeet() {
		lead = fmt.Sprintf("%.2f in", math.Abs(a.LeadM)/metresPerFoot*12)
	}
	longer := map[bool]string{true: "longer", false: "shorter"}[a.LeadM > 0]
	return fmt.Sprintf("line %.3f ± %.3f %% %s, lead %s %s, level %+.2f dB; what is left between them is %.0f dB of full scale",
		100*math.Abs(a.Velocity), 100*a.VelocitySigma, speed, lead, longer, a.GainDB, a.DiffersDB)
}

// changeFigures are both sweeps alone, over frequency and along the line.
func (b *book) changeFigures() []figure {
	only := func(traces []trace) (out []trace) {
		for _, t := range traces {
			if t.kind == measured || t.kind == earlier {
				out = append(out, t)
			}
		}
		return out
	}
	two := *b
	two.over, two.along = only(b.over), only(b.along)
	over, along := two.overFrequency(), two.alongLine()
	over.name, along.name = "change-frequency", "change-distance"
	return []figure{over, along}
}

// calibration is the state of the calibration and what it leaves of doubt.
func (b *book) calibration(s *sheet) {
	s.chapter("Calibration and error bars", 6*bodyLeading)
	s.fact("state", b.Findings.Calibration)
	if notice := calibration.Notice(b.Sweep); notice != "" {
		s.factIn("notice", notice, written{strong: true, color: s.colours.Out})
	}
	s.fact("calibrated", conditions(b.Document.Standards.At))
	s.fact("swept", conditions(b.Document.Standards.SweptAt))
	if t := b.Terms; t != nil {
		var found []string
		for _, p := range t.Problems {
			found = append(found, p.Severity.String()+": "+p.String())
		}
		s.facts("checks found", found, false)
		s.facts("cannot be told", t.Limits, false)
		if r := t.Residual; r != nil {
			s.fact("residual errors", r.Method)
		}
	}
	floor := b.Sweep.ErrorFloor
	if len(floor) == 0 {
		s.fact("error bars", "the residual directivity is not known, as no further known match was measured: return losses carry no error bar here. Measured at the port, a second good match gives one.")
		return
	}
	sorted := slices.Sorted(slices.Values(floor))
	middle, worst := sweep.ReturnLossFromMagnitude(sorted[len(sorted)/2]), sweep.ReturnLossFromMagnitude(sorted[len(sorted)-1])
	s.fact("directivity left", fmt.Sprintf("%.1f dB in the middle, %.1f dB at worst", middle, worst))
	v := b.Findings.Verdict
	at, _ := slices.BinarySearch(b.Sweep.FrequencyHz, v.AtHz)
	at = min(at, len(floor)-1)
	rl := sweep.ReturnLossFromVSWR(v.WorstVSWR)
	low, high := calibration.ReturnLossBounds(rl, sweep.ReturnLossFromMagnitude(floor[at]), math.Inf(1))
	text := fmt.Sprintf("the worst return loss, %.1f dB at %s, lies between %.1f dB and %.1f dB", rl, Frequency(v.AtHz), low, high)
	if limitDB := sweep.ReturnLossFromVSWR(v.LimitVSWR); v.LimitVSWR > 1 {
		switch {
		case low >= limitDB:
			text += fmt.Sprintf("; all of that keeps the limit of %.1f dB", limitDB)
		case high < limitDB:
			text += fmt.Sprintf("; all of that misses the limit of %.1f dB", limitDB)
		default:
			text += fmt.Sprintf("; the limit of %.1f dB lies within: the verdict is not certain", limitDB)
		}
	}
	s.fact("error bars", text)
}

// conditions are the circumstances of a measurement as far as they are known.
func conditions(c calibration.Conditions) string {
	var words []string
	if !c.At.IsZero() {
		words = append(words, c.At.Format("2006-01-02 15:04 MST"))
	}
	if c.TemperatureKnown {
		words = append(words, fmt.Sprintf("%g °C", c.TemperatureC))
	}
	return strings.Join(words, ", ")
}

// repeat is what is needed to measure and compute the same again.
func (b *book) repeat(s *sheet) {
	s.chapter("To repeat this", 8*bodyLeading)
	f, d := b.Sweep.FrequencyHz, &b.Document
	s.fact("band", fmt.Sprintf("%s to %s", Frequency(f[0]), Frequency(f[len(f)-1])))
	points := fmt.Sprintf("%d, %s apart", len(f), Frequency(b.figures.StepHz))
	if all := len(d.Sweep.Sweep.FrequencyHz); all != len(f) {
		points += fmt.Sprintf(" (of %d that were swept)", all)
	}
	s.fact("points", points)
	s.fact("window", fmt.Sprintf("%s; highest side lobe %.0f dB", windowWords(d.Window), b.figures.HighestSideLobeDB))
	s.fact("range, resolution", fmt.Sprintf("%s until echoes fold back; cell %s, main lobe %s wide at -6 dB", b.scale.Text(b.figures.AliasFreeM), b.scale.Text(b.figures.CellM), b.scale.Text(b.figures.MainLobe6DBM)))
	s.fact("reference", fmt.Sprintf("%g ohm", b.Sweep.ReferenceOhm))
	s.fact("end of the line", b.loadWords())
	s.fact("program", b.Program)
	s.heading("Line and cables", 5*bodyLeading)
	b.lineTable(s)
	b.fileTable(s)
}

// windowWords names a window with the parameter in use.
func windowWords(w dsp.Window) string {
	text := w.Kind.String()
	switch w.Kind {
	case dsp.Kaiser:
		text += fmt.Sprintf(", β = %g", w.Effective())
	case dsp.DolphChebyshev, dsp.Taylor:
		text += fmt.Sprintf(", side lobes %g dB down", w.Effective())
	}
	if w.Terms > 0 {
		text += fmt.Sprintf(", %d terms", w.Terms)
	}
	return text
}

func (b *book) loadWords() string {
	load := b.Document.Line.Load
	text := string(load.Kind)
	if text == "" {
		return "not stated"
	}
	if load.BandHz[1] > load.BandHz[0] {
		text += fmt.Sprintf(", %s to %s", Frequency(load.BandHz[0]), Frequency(load.BandHz[1]))
	}
	if load.ReturnLossDB > 0 {
		text += fmt.Sprintf(", return loss %.1f dB", load.ReturnLossDB)
	}
	return text
}

func (b *book) lineTable(s *sheet) {
	middle := (b.Sweep.FrequencyHz[0] + b.Sweep.FrequencyHz[len(b.Sweep.FrequencyHz)-1]) / 2
	var rows [][]cell
	for _, span := range b.path.Spans {
		row := []cell{{text: span.Name, strong: true, most: mostNameRows}, {text: b.scale.Text(span.StartM)}, {text: b.scale.Text(span.LengthM)}}
		if span.Device != nil {
			about := "device"
			if rl := span.Device.ReturnLossDB; rl > 0 {
				about += fmt.Sprintf(", return loss %.1f dB", rl)
			}
			rows = append(rows, append(row, cell{text: about}, cell{}, cell{}, cell{}))
			continue
		}
		c := span.Cable
		name := c.Name
		if name == "" {
			name = c.ID
		}
		vf := fmt.Sprintf("%g", c.VelocityFactor)
		if c.VelocityFactorTolerance > 0 {
			vf += fmt.Sprintf(" ± %g", c.VelocityFactorTolerance)
		}
		source := c.Source
		if source == "" {
			source = "not stated"
		}
		loss := span.Medium.AttenuationNp(middle) * span.LengthM / cables.NeperPerDB
		rows = append(rows, append(row, cell{text: name, most: mostNameRows}, cell{text: vf}, cell{text: fmt.Sprintf("%.2f dB", loss)}, cell{text: source}))
	}
	s.table([]column{{title: "section or device", width: 1}, {title: "from", width: 8 * grid, fixed: true, right: true}, {title: "length", width: 8 * grid, fixed: true, right: true}, {title: "cable", width: 1.2},
		{title: "velocity factor", width: 9 * grid, fixed: true}, {title: "loss one way", width: 9 * grid, fixed: true, right: true}, {title: "source of its figures", width: 1.4}}, rows)
	s.text(s.left(), s.inner(), fmt.Sprintf("Loss by the record at %s. The tolerance of a velocity factor is its maker's bound, three standard deviations.", Frequency(middle)), written{color: s.colours.Quiet})
}

// fileTable names the files, where there are any.
func (b *book) fileTable(s *sheet) {
	d := &b.Document
	lineSum := d.LineSHA256
	if d.LineNew {
		lineSum = "changed since it was read; as in the table above"
	}
	var rows [][]cell
	named := false
	for _, one := range []struct {
		what, path, sum string
		there           bool
	}{{"sweep", d.Sweep.Path, d.Sweep.SHA256, true}, {"earlier sweep", d.Baseline.Path, d.Baseline.SHA256, d.Baseline.Sweep != nil}, {"line", d.LinePath, lineSum, true},
		{"open", d.Standards.Open.Path, d.Standards.Open.SHA256, d.Standards.Open.Sweep != nil}, {"short", d.Standards.Short.Path, d.Standards.Short.SHA256, d.Standards.Short.Sweep != nil},
		{"load", d.Standards.Load.Path, d.Standards.Load.SHA256, d.Standards.Load.Sweep != nil}, {"standards", d.Standards.KitPath, d.Standards.KitSHA256, d.Standards.Kit != nil},
		{"second match", b.Check.Path, b.Check.SHA256, b.Check.Path != ""}} {
		if !one.there {
			continue
		}
		name, sum := fileName(one.path), one.sum
		named = named || one.path != ""
		if one.path == "" {
			name = "not from a file"
		}
		if sum == "" {
			sum = "–"
		}
		rows = append(rows, []cell{{text: one.what, strong: true}, {text: name, most: mostNameRows}, {text: sum}})
	}
	if !named {
		return
	}
	s.heading("Files", 5*bodyLeading)
	s.table([]column{{title: "what", width: 10 * grid, fixed: true}, {title: "file", width: 1}, {title: "SHA-256", width: 44 * grid, fixed: true}}, rows)
}

// fileName is the last part of a path of whatever system.
func fileName(path string) string {
	return path[strings.LastIndexAny(path, `/\`)+1:]
}
