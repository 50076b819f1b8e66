package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/report"
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

// writeReport writes the findings as an engineer reads them: what is wrong and
// whether to believe it first, then the drawing, then the reasons.
func writeReport(r *reportInput) (string, error) {
	p := &page{ascii: r.ASCII}
	found := report.Sort(r.Findings.Findings)
	r.head(p)
	r.verdict(p, found.Faults)
	if err := r.drawing(p, &found); err != nil {
		return "", err
	}
	r.faults(p, found.Faults)
	r.built(p, &found)
	r.ghosts(p, &found)
	r.doubts(p)
	r.explanation(p, found.Faults)
	p.cautions(faultCautions(found.Faults)...)
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

func (r *reportInput) verdict(p *page, faults []report.Labelled) {
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
		text := fmt.Sprintf("%s: %s, %s sure", r.Scale.scale().Place(f.Finding), f.Cause.Words(), percent(f.Confidence))
		if f.Cause == diagnose.Unnamed {
			text = fmt.Sprintf("%s: a fault is here, but its cause is not named", r.Scale.scale().Place(f.Finding))
		}
		if f.Place != "" {
			text += "; " + f.Place
		}
		p.text(fmt.Sprintf("  FAULT %-8s ", f.Label), text)
	}
	if calibration.Notice(r.Sweep) == "" { // which the head has shown, loudly
		p.text("  CALIBRATION    ", r.Findings.Calibration)
	}
}

func (r *reportInput) drawing(p *page, found *report.Sorted) error {
	p.heading(fmt.Sprintf("The line, %s, drawn to scale", r.Scale.text(r.Path.LengthM())))
	var marks []mark
	for _, f := range slices.Concat(found.Built, found.Ghosts) {
		marks = append(marks, mark{atM: f.DistanceM, label: f.Label})
	}
	for _, f := range found.Faults {
		marks = append(marks, mark{f.DistanceM, f.SigmaM, f.ExtentM, f.Label, p.plain(r.Scale.scale().Place(f.Finding)), true})
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
func (r *reportInput) legend(found *report.Sorted) string {
	words := []string{"┣ test port", "┿ joint"}
	if len(r.Line.Devices) > 0 {
		words = append(words, "▣ device")
	}
	load := string(r.Line.Load.Kind)
	if load == "" {
		load = "end not stated"
	}
	words = append(words, loadGlyph(r.Line.Load.Kind)+" "+load)
	if len(found.Faults) > 0 {
		words = append(words, "▲ fault", "╌ one sigma about it")
	}
	if len(found.Built)+len(found.Ghosts) > 0 {
		words = append(words, "letters: no faults, see below")
	}
	words = append(words, fmt.Sprintf("bars: reflection along the line below a total one, loss taken out, %v window", r.Window.Kind))
	return strings.Join(words, " · ")
}

func (r *reportInput) faults(p *page, faults []report.Labelled) {
	for _, f := range faults {
		p.heading(fmt.Sprintf("Fault %s: %s", f.Label, f.Cause.Words()))
		where := r.Scale.scale().Place(f.Finding) + " from the test port"
		if f.FromFarEndM > 0 {
			where += ", " + r.Scale.text(f.FromFarEndM) + " from the far end"
		}
		p.text("  where         ", where+prefixed("; ", f.Place))
		if f.Reflects() {
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
func (r *reportInput) explanation(p *page, faults []report.Labelled) {
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

func (r *reportInput) built(p *page, found *report.Sorted) {
	if len(found.Built) == 0 {
		return
	}
	p.heading("As built: no faults")
	for _, f := range found.Built {
		what := f.Cause.Words()
		if f.Cause == diagnose.Unnamed {
			what = "small reflection"
		}
		p.text(fmt.Sprintf("  %s  %18s   %6.1f dB   %-16s  ", f.Label, p.plain(r.Scale.scale().Place(f.Finding)), f.ReturnLossDB, what), f.Place)
	}
}

func (r *reportInput) ghosts(p *page, found *report.Sorted) {
	if len(found.Ghosts) == 0 {
		return
	}
	p.heading("Ghosts: echoes of echoes; nothing is where they seem to be")
	for _, f := range found.Ghosts {
		text := "waves that bounce more than once"
		if len(f.GhostOf) == 2 {
			text = fmt.Sprintf("bounces between %s and %s", found.Named(f.GhostOf[0], r.Scale.scale()), found.Named(f.GhostOf[1], r.Scale.scale()))
		}
		p.text(fmt.Sprintf("  %s  %18s   %6.1f dB   ", f.Label, p.plain(r.Scale.scale().Place(f.Finding)), f.ReturnLossDB), text)
	}
	if found.MoreGhosts > 0 {
		p.text("     ", fmt.Sprintf("and %d weaker ones, which --json lists", found.MoreGhosts))
	}
}

func (r *reportInput) doubts(p *page) {
	notes := slices.Clone(r.Findings.Warnings)
	if left := r.Findings.LeftOutHz; len(left) > 0 {
		notes = append(notes, fmt.Sprintf("%d of %d points were left out as interference: %s",
			len(left), len(r.Sweep.FrequencyHz), report.FrequencyRuns(left, r.Sweep.FrequencyHz, 6)))
	}
	if len(notes) == 0 {
		return
	}
	p.heading("Worth knowing about this sweep")
	for _, n := range notes {
		p.text("  · ", n)
	}
}

func faultCautions(faults []report.Labelled) []string {
	var out []string
	for _, f := range faults {
		out = append(out, f.Cautions...)
	}
	return out
}
