package report

import (
	"fmt"
	"image/color"
	"slices"
	"strings"

	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
)

// findings is the table of all findings and what there is to each fault.
func (b *book) findings(s *sheet) {
	s.chapter("Findings", 6*bodyLeading)
	if len(b.found.Faults) == 0 {
		s.paragraph("No fault was found: nothing on the line reflects more than it should as built.")
	} else {
		b.faultTable(s)
	}
	for _, f := range b.found.Faults {
		b.fault(s, f)
	}
	b.builtTable(s)
}

// size is how big a finding is, by itself and with the loss on the way taken out.
func size(f *diagnose.Finding) string {
	if !f.Reflects() {
		return "–"
	}
	return fmt.Sprintf("%.1f dB", f.ReturnLossDB)
}

// mostNameRows is how many rows a name has in a table; the whole of it stands with
// the fault, or in the line's own file.
const mostNameRows = 3

// mostPlace is how wide the places of findings may be in a table, points.
const mostPlace = 17 * grid

func (b *book) faultTable(s *sheet) {
	var rows [][]cell
	for _, f := range b.found.Faults {
		said := b.said(&f.Finding)
		state := stateWords(said.State)
		what := b.called(&f.Finding)
		if said.Name != "" {
			what += " (found as " + f.Cause.Words() + ")"
		}
		rows = append(rows, []cell{{text: f.Label, strong: true, color: s.colours.Out}, {text: what, strong: true, most: mostNameRows}, {text: b.scale.Place(f.Finding)}, {text: f.Place, most: mostNameRows},
			{text: size(&f.Finding)}, {text: Percent(f.Confidence)}, {text: state, color: stateColor(s, said.State)}})
	}
	s.table([]column{{width: 3 * grid, fixed: true}, {title: "fault", width: 1}, {title: "from the test port", width: mostPlace, fixed: true}, {title: "place", width: 1},
		{title: "size", width: 6 * grid, fixed: true, right: true}, {title: "sure", width: 6 * grid, fixed: true, right: true}, {title: "state", width: 8 * grid, fixed: true}}, rows)
	s.skip(grid / 2)
	s.text(s.left(), s.inner(), "Distances with one standard deviation. Size: local return loss, by itself, the loss on the way taken out.", written{color: s.colours.Quiet})
}

func stateColor(s *sheet, state investigation.State) color.NRGBA {
	if state == investigation.Undecided {
		return s.colours.Quiet
	}
	return s.colours.Ink
}

// fault is all that is known of one fault.
func (b *book) fault(s *sheet, f Labelled) {
	s.skip(grid)
	s.need(8 * bodyLeading)
	s.rule(s.left(), s.right(), s.y)
	s.skip(grid / 2)
	wide := s.flag(s.left(), s.y, f.Label)
	x := s.left() + max(wide+grid/2, 2.5*grid)
	s.text(x, s.right()-x, upper(b.called(&f.Finding)), written{strong: true, color: s.colours.Ink})
	s.skip(grid / 2)
	where := b.scale.Place(f.Finding) + " from the test port"
	if f.FromFarEndM > 0 {
		where += ", " + b.scale.Text(f.FromFarEndM) + " from the far end"
	}
	if f.Place != "" {
		where += "; " + f.Place
	}
	s.fact("where", where)
	if f.ExtentM > 0 {
		s.fact("extent", b.scale.Uncertain(f.ExtentM, f.ExtentSigmaM))
	}
	if f.Reflects() {
		s.fact("how big", fmt.Sprintf("local return loss %.1f dB (%s by itself, the loss on the way taken out), phase %.0f°", f.ReturnLossDB, VSWR(sweep.VSWRFromReturnLoss(f.ReturnLossDB)), f.PhaseDeg))
	}
	s.fact("how sure", Percent(f.Confidence)+otherwise(&f.Finding))
	said := b.said(&f.Finding)
	state := stateWords(said.State)
	if said.Name != "" {
		state += fmt.Sprintf("; named %s, found as %s", said.Name, f.Cause.Words())
	}
	if said.Note != "" {
		state += ": " + said.Note
	}
	s.fact("state", state)
	if r := f.Repaired; r != nil {
		s.fact("if repaired alone", repairedWords(r)+fmt.Sprintf(", judged from %s to %s", Frequency(r.LowHz), Frequency(r.HighHz)))
	}
	s.facts("because", f.Evidence, false)
	s.facts("to check", f.Checks, true)
	s.facts("to take along", f.TakeAlong, false)
	var cautions []string
	for _, c := range f.Cautions {
		if !slices.Contains(diagnose.Cautions(), c) {
			cautions = append(cautions, c)
		}
	}
	s.facts("cautions", cautions, false)
}

// otherwise says what else a finding could be.
func otherwise(f *diagnose.Finding) string {
	text := ""
	for i, a := range f.Alternatives {
		text += map[bool]string{true: "; otherwise ", false: ", "}[i == 0] + a.Cause.Words() + " " + Percent(a.Confidence)
	}
	return text
}

// repairedWords is the verdict after a repair.
func repairedWords(r *diagnose.Verdict) string {
	text := fmt.Sprintf("worst %s at %s", VSWR(r.WorstVSWR), Frequency(r.AtHz))
	if r.LimitVSWR > 0 {
		text += fmt.Sprintf(", limit %.2f: %s", r.LimitVSWR, map[bool]string{true: "inside", false: "still outside"}[r.Passes])
	}
	return text
}

func upper(text string) string {
	if text == "" {
		return text
	}
	runes := []rune(text)
	return strings.ToUpper(string(runes[:1])) + string(runes[1:])
}

// builtAs is called, for what is there as built.
func (b *book) builtAs(f *diagnose.Finding) string {
	if f.Cause == diagnose.Unnamed && !f.IsFault && b.said(f).Name == "" {
		return "small reflection"
	}
	return b.called(f)
}

func (b *book) builtTable(s *sheet) {
	if len(b.found.Built) == 0 {
		return
	}
	s.heading("As built: no faults", 4*bodyLeading)
	var rows [][]cell
	for _, f := range b.found.Built {
		far := ""
		if f.FromFarEndM > 0 {
			far = b.scale.Text(f.FromFarEndM)
		}
		sure := Percent(f.Confidence)
		for _, a := range f.Alternatives {
			sure += "; or " + a.Cause.Words() + " " + Percent(a.Confidence)
		}
		rows = append(rows, []cell{{text: f.Label, strong: true}, {text: b.builtAs(&f.Finding), most: mostNameRows}, {text: b.placeAndExtent(&f.Finding)}, {text: far}, {text: f.Place, most: mostNameRows}, {text: size(&f.Finding)}, {text: phase(&f.Finding)}, {text: sure}})
	}
	s.table([]column{{width: 3 * grid, fixed: true}, {title: "part", width: 1}, {title: "from the test port", width: mostPlace, fixed: true}, {title: "far end", width: 9 * grid, fixed: true, right: true}, {title: "place", width: 1.5},
		{title: "size", width: 6 * grid, fixed: true, right: true}, {title: "phase", width: 6 * grid, fixed: true, right: true}, {title: "sure", width: 0.8}}, rows)
}

func (b *book) placeAndExtent(f *diagnose.Finding) string {
	if f.ExtentM > 0 {
		return b.scale.Place(*f) + ", extent " + b.scale.Uncertain(f.ExtentM, f.ExtentSigmaM)
	}
	return b.scale.Place(*f)
}

func phase(f *diagnose.Finding) string { return fmt.Sprintf("%.0f°", f.PhaseDeg) }
