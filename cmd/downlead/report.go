package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
)

// reportInput is all that the text report of locate shows.
type reportInput struct {
	Sweep    *sweep.Sweep
	Line     *cables.Line
	Path     *cables.Path
	Findings *diagnose.Findings
	Scale    lengthScale
	ASCII    bool
	Window   dsp.Window // of the profile
	Explain  int        // number of the fault whose reasoning to add; 0: none
}

// labelled is a finding with the sign that names it in the report: a number
// for a fault, a letter for what is there as built.
type labelled struct {
	diagnose.Finding
	label string
}

// mostGhosts is how many ghosts a report lists, the strongest.
const mostGhosts = 6

// sorted is a report's findings in order of distance: faults numbered, parts as
// built lettered, then ghosts lettered.
type sorted struct {
	faults, built, ghosts []labelled
	moreGhosts            int // weaker ones that are left out
}

func sortFindings(findings []diagnose.Finding) sorted {
	byDistance := func(a, b diagnose.Finding) int { return cmp.Compare(a.DistanceM, b.DistanceM) }
	var out sorted
	var built, ghosts []diagnose.Finding
	for _, f := range slices.SortedStableFunc(slices.Values(findings), byDistance) {
		switch {
		case f.IsFault:
			out.faults = append(out.faults, labelled{f, fmt.Sprint(len(out.faults) + 1)})
		case f.Cause == diagnose.Ghost:
			ghosts = append(ghosts, f)
		default:
			built = append(built, f)
		}
	}
	slices.SortStableFunc(ghosts, func(a, b diagnose.Finding) int { return cmp.Compare(a.ReturnLossDB, b.ReturnLossDB) })
	if out.moreGhosts = len(ghosts) - mostGhosts; out.moreGhosts > 0 {
		ghosts = ghosts[:mostGhosts]
	}
	slices.SortStableFunc(ghosts, byDistance)
	for i, f := range slices.Concat(built, ghosts) {
		if i < len(built) {
			out.built = append(out.built, labelled{f, letter(i)})
		} else {
			out.ghosts = append(out.ghosts, labelled{f, letter(i)})
		}
	}
	return out
}

// letter counts a, b, … z, then A … Z; what comes after shares the last.
func letter(i int) string {
	const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
	return letters[min(i, len(letters)-1):][:1]
}

// place writes where a finding is: one distance, or from where to where.
func (r *reportInput) place(f diagnose.Finding) string {
	if f.ExtentM > 0 {
		return fmt.Sprintf("%s to %s", r.Scale.number(f.DistanceM), r.Scale.uncertain(f.DistanceM+f.ExtentM, f.SigmaM))
	}
	return r.Scale.uncertain(f.DistanceM, f.SigmaM)
}

func vswrText(v float64) string {
	switch {
	case v >= 9999:
		return "total reflection"
	case v > 100:
		return "VSWR over 100"
	}
	return fmt.Sprintf("VSWR %.2f", v)
}

func percent(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) }

// writeReport writes the findings as an engineer reads them: what is wrong and
// whether to believe it first, then the drawing, then the reasons.
func writeReport(r *reportInput) (string, error) {
	p := &page{ascii: r.ASCII}
	found := sortFindings(r.Findings.Findings)
	r.head(p)
	r.verdict(p, found.faults)
	if err := r.drawing(p, &found); err != nil {
		return "", err
	}
	r.faults(p, found.faults)
	r.built(p, &found)
	r.ghosts(p, &found)
	r.doubts(p)
	r.explanation(p, found.faults)
	p.cautions(faultCautions(found.faults)...)
	return p.String(), nil
}

func (r *reportInput) head(p *page) {
	f := r.Sweep.FrequencyHz
	name := r.Line.Name
	if name == "" {
		name = "Unnamed line"
	}
	p.text("", name)
	p.text("", fmt.Sprintf("%s: %d points from %s to %s; worked out in %.0f ms", r.Sweep.Name, len(f),
		frequencyText(f[0]), frequencyText(f[len(f)-1]), 1000*r.Findings.RuntimeS))
	if notice := calibration.Notice(r.Sweep); notice != "" {
		p.row("")
		p.loud(notice)
	}
}

func (r *reportInput) verdict(p *page, faults []labelled) {
	p.row("")
	v := r.Findings.Verdict
	judged := fmt.Sprintf("worst %s at %s", vswrText(v.WorstVSWR), frequencyText(v.AtHz))
	if v.LimitVSWR > 0 {
		judged += fmt.Sprintf(", limit %.2f", v.LimitVSWR)
	}
	if v.HighHz > v.LowHz {
		judged += fmt.Sprintf(", judged from %s to %s", frequencyText(v.LowHz), frequencyText(v.HighHz))
	}
	switch {
	case v.LimitVSWR == 0:
		p.text("  NO LIMIT       ", judged+"; the line states no limit to judge it by")
	case v.Passes:
		p.text("  WITHIN LIMIT   ", judged)
	default:
		p.text("  OUT OF LIMIT   ", judged)
	}
	if len(faults) == 0 {
		p.text("  NO FAULT       ", "nothing on the line reflects more than it should as built")
	}
	for _, f := range faults {
		text := fmt.Sprintf("%s: %s, %s sure", r.place(f.Finding), f.Cause.Words(), percent(f.Confidence))
		if f.Cause == diagnose.Unnamed {
			text = fmt.Sprintf("%s: a fault is here, but its cause is not named", r.place(f.Finding))
		}
		if f.Place != "" {
			text += "; " + f.Place
		}
		p.text(fmt.Sprintf("  FAULT %-8s ", f.label), text)
	}
	if calibration.Notice(r.Sweep) == "" { // which the head has shown, loudly
		p.text("  CALIBRATION    ", r.Findings.Calibration)
	}
}

func (r *reportInput) drawing(p *page, found *sorted) error {
	p.heading(fmt.Sprintf("The line, %s, drawn to scale", r.Scale.text(r.Path.LengthM())))
	var marks []mark
	for _, f := range slices.Concat(found.built, found.ghosts) {
		marks = append(marks, mark{atM: f.DistanceM, label: f.label})
	}
	for _, f := range found.faults {
		marks = append(marks, mark{f.DistanceM, f.SigmaM, f.ExtentM, f.label, p.plain(r.place(f.Finding)), true})
	}
	along, err := lineProfile(r.Sweep, r.Path, r.Window, drawnM(r.Path, marks), r.Findings.LeftOutHz)
	if err != nil {
		return err
	}
	for _, row := range drawLine(r.Path, r.Line.Load.Kind, marks, r.Scale, along) {
		p.row("  " + row)
	}
	p.row("")
	p.text("  ", r.legend(found))
	return nil
}

// legend explains the signs that the drawing uses.
func (r *reportInput) legend(found *sorted) string {
	words := []string{"┣ test port", "┿ joint"}
	if len(r.Line.Devices) > 0 {
		words = append(words, "▣ device")
	}
	load := string(r.Line.Load.Kind)
	if load == "" {
		load = "end not stated"
	}
	words = append(words, loadGlyph(r.Line.Load.Kind)+" "+load)
	if len(found.faults) > 0 {
		words = append(words, "▲ fault", "╌ one sigma about it")
	}
	if len(found.built)+len(found.ghosts) > 0 {
		words = append(words, "letters: no faults, see below")
	}
	words = append(words, fmt.Sprintf("bars: reflection along the line below a total one, loss taken out, %v window", r.Window.Kind))
	return strings.Join(words, " · ")
}

func (r *reportInput) faults(p *page, faults []labelled) {
	for _, f := range faults {
		p.heading(fmt.Sprintf("Fault %s: %s", f.label, f.Cause.Words()))
		where := r.place(f.Finding) + " from the test port"
		if f.FromFarEndM > 0 {
			where += ", " + r.Scale.text(f.FromFarEndM) + " from the far end"
		}
		p.text("  where         ", where+prefixed("; ", f.Place))
		if f.Cause != diagnose.LossySection { // it reflects nothing of its own
			p.text("  how big       ", fmt.Sprintf("local return loss %.1f dB (%s by itself, the loss on the way taken out), phase %.0f°",
				f.ReturnLossDB, vswrText(sweep.VSWRFromReturnLoss(f.ReturnLossDB)), f.PhaseDeg))
		}
		p.text("  how sure      ", percent(f.Confidence)+alternatives(f.Alternatives))
		list(p, "  because       ", f.Evidence)
		list(p, "  to check      ", f.Checks)
		list(p, "  to take along ", f.TakeAlong)
	}
}

// explanation adds the reasoning that led to the fault asked for.
func (r *reportInput) explanation(p *page, faults []labelled) {
	if r.Explain == 0 {
		return
	}
	p.heading(fmt.Sprintf("How fault %d was found and named", r.Explain))
	switch {
	case len(faults) == 0:
		p.text("  ", "No fault was found, so there is none to explain.")
	case r.Explain > len(faults):
		p.text("  ", fmt.Sprintf("There is no fault %d: the report counts to %d.", r.Explain, len(faults)))
	case len(faults[r.Explain-1].Explanation) == 0:
		p.text("  ", "No reasoning was recorded for this fault beyond what stands above.")
	default:
		list(p, "  ", faults[r.Explain-1].Explanation)
	}
}

func prefixed(prefix, text string) string {
	if text == "" {
		return ""
	}
	return prefix + text
}

func alternatives(list []diagnose.Alternative) string {
	var words []string
	for _, a := range list {
		words = append(words, fmt.Sprintf("%s %s", a.Cause.Words(), percent(a.Confidence)))
	}
	return prefixed("; otherwise ", strings.Join(words, ", "))
}

// list writes items one below the other behind a label.
func list(p *page, label string, items []string) {
	for _, item := range items {
		p.text(label, item)
		label = strings.Repeat(" ", utf8.RuneCountInString(label))
	}
}

func (r *reportInput) built(p *page, found *sorted) {
	if len(found.built) == 0 {
		return
	}
	p.heading("As built: no faults")
	for _, f := range found.built {
		what := f.Cause.Words()
		if f.Cause == diagnose.Unnamed {
			what = "small reflection"
		}
		p.text(fmt.Sprintf("  %s  %18s   %6.1f dB   %-16s  ", f.label, p.plain(r.place(f.Finding)), f.ReturnLossDB, what), f.Place)
	}
}

func (r *reportInput) ghosts(p *page, found *sorted) {
	if len(found.ghosts) == 0 {
		return
	}
	p.heading("Ghosts: echoes of echoes; nothing is where they seem to be")
	for _, f := range found.ghosts {
		text := "waves that bounce more than once"
		if len(f.GhostOf) == 2 {
			text = fmt.Sprintf("bounces between %s and %s", found.named(f.GhostOf[0], r.Scale), found.named(f.GhostOf[1], r.Scale))
		}
		p.text(fmt.Sprintf("  %s  %18s   %6.1f dB   ", f.label, p.plain(r.place(f.Finding)), f.ReturnLossDB), text)
	}
	if found.moreGhosts > 0 {
		p.text("     ", fmt.Sprintf("and %d weaker ones, which --json lists", found.moreGhosts))
	}
}

// named writes a place with the label of the finding that is there, if any.
func (s *sorted) named(atM float64, scale lengthScale) string {
	if atM == 0 {
		return "the test port"
	}
	nearest, name := math.Inf(1), ""
	for _, f := range slices.Concat(s.faults, s.built) {
		if away := math.Abs(f.DistanceM - atM); away <= math.Max(3*f.SigmaM, 0.01) && away < nearest {
			nearest, name = away, f.label+" at "
		}
	}
	return name + scale.text(atM)
}

func (r *reportInput) doubts(p *page) {
	notes := slices.Clone(r.Findings.Warnings)
	if left := r.Findings.LeftOutHz; len(left) > 0 {
		notes = append(notes, fmt.Sprintf("%d of %d points were left out as interference: %s",
			len(left), len(r.Sweep.FrequencyHz), frequencyRuns(left, r.Sweep.FrequencyHz)))
	}
	if len(notes) == 0 {
		return
	}
	p.heading("Worth knowing about this sweep")
	for _, n := range notes {
		p.text("  · ", n)
	}
}

// frequencyRuns names frequencies, neighbours on the grid as a range, at most
// six of them.
func frequencyRuns(hz, grid []float64) string {
	var words []string
	runs := 0
	for i := 0; i < len(hz); runs++ {
		k, _ := slices.BinarySearch(grid, hz[i])
		first := i
		for i++; i < len(hz) && k+1 < len(grid) && hz[i] == grid[k+1]; i++ {
			k++
		}
		text := frequencyText(hz[first])
		if i-first > 1 {
			text += " to " + frequencyText(hz[i-1])
		}
		if runs < 6 {
			words = append(words, text)
		}
	}
	if runs > 6 {
		words = append(words, fmt.Sprintf("and %d more", runs-6))
	}
	return strings.Join(words, ", ")
}

func faultCautions(faults []labelled) []string {
	var out []string
	for _, f := range faults {
		out = append(out, f.Cautions...)
	}
	return out
}
