package report

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
	"downlead/ui/theme"
)

// every is reports of different kinds.
func every(t *testing.T) map[string][]byte {
	t.Helper()
	script := input(t)
	script.Document.Line.Name = "تلة مالك الحزين 鷺の堰 \u202e北\u0301 🗼 Αβγ Щука"
	script.Document.Site, script.Document.Line.Sections[1].Name = strings.Repeat("鷺の堰", 60), strings.Repeat("سلك", 60)
	return map[string][]byte{
		"ordinary": made(t, input(t), Style{}), "healthy": made(t, healthy(t), Style{Paper: Letter}),
		"many": made(t, many(t), Style{Feet: true, Paper: Letter}), "other scripts": made(t, script, Style{Feet: true}),
	}
}

// Two readers open every report without a warning, its fonts are embedded, nothing
// runs over the margins, and no word lies on another.
func TestEveryReportIsInOrder(t *testing.T) {
	for name, data := range every(t) {
		opens(t, name, data)
		paper := A4
		if name == "healthy" || name == "many" {
			paper = Letter
		}
		hasPlaces(t, name, data, paper)
	}
}

func opens(t *testing.T, name string, data []byte) {
	t.Helper()
	if _, problems := outside(t, data, "pdftoppm", "-r", "18", "-png", "FILE", t.TempDir()+"/page"); problems != "" {
		t.Errorf("%s: pdftoppm says %q", name, problems)
	}
	if said, problems := outside(t, data, "gs", "-q", "-dNOPAUSE", "-dBATCH", "-sDEVICE=nullpage", "FILE"); said+problems != "" {
		t.Errorf("%s: Ghostscript says %q", name, said+problems)
	}
	fonts, problems := outside(t, data, "pdffonts", "FILE")
	rows := strings.Split(strings.TrimSpace(fonts), "\n")[2:]
	if len(rows) != 2 || problems != "" {
		t.Errorf("%s: not two fonts: %s\n%s", name, problems, fonts)
	}
	for _, row := range rows {
		if f := strings.Fields(row); f[len(f)-5] != "yes" {
			t.Errorf("%s: a font is not embedded: %s", name, row)
		}
	}
}

func hasPlaces(t *testing.T, name string, data []byte, paper Paper) {
	t.Helper()
	width, height := paper.size()
	all := wordsOf(t, data)
	for i, w := range all {
		if w.left < margin-grid || w.right > width-margin+grid || w.top < 3*grid || w.foot > height-3*grid {
			t.Errorf("%s, page %d: %q stands at %.0f to %.0f, %.0f to %.0f", name, w.page, w.text, w.left, w.right, w.top, w.foot)
		}
		for _, o := range all[i+1:] {
			over := math.Min(w.right, o.right) - math.Max(w.left, o.left)
			high := math.Min(w.foot, o.foot) - math.Max(w.top, o.top)
			if o.page == w.page && over > 1 && high > bodySize/2 {
				t.Errorf("%s, page %d: %q and %q lie on each other at %.0f, %.0f", name, w.page, w.text, o.text, w.left, w.top)
			}
		}
	}
}

// Every number of the findings is in the text, with its unit.
func TestTheTextHasEveryNumber(t *testing.T) {
	in := input(t)
	files, err := Figures(context.Background(), prepared(t, in), Style{Feet: true}) // whose file keeps metres
	if err != nil {
		t.Fatal(err)
	}
	data := files[len(files)-1].Data
	var found diagnose.Findings
	if err := json.Unmarshal(data, &found); err != nil || files[len(files)-1].Name != "findings.json" {
		t.Fatal(files[len(files)-1].Name, err)
	}
	// What is asked for below; a number that the JSON gets anew must be asked for too.
	asked := map[string]bool{"runtime_s": true} // of the clock: a report of the same is the same, and the file has 0
	for _, key := range []string{"worst_vswr", "at_hz", "limit_vswr", "low_hz", "high_hz"} {
		asked["verdict."+key], asked["findings.repaired."+key] = true, true
	}
	for _, key := range []string{"left_out_hz", "findings.distance_m", "findings.sigma_m", "findings.from_far_end_m", "findings.extent_m", "findings.extent_sigma_m", "findings.confidence",
		"findings.return_loss_db", "findings.phase_deg", "findings.ghost_of", "findings.alternatives.confidence"} {
		asked[key] = true
	}
	for _, key := range numbersIn(t, data) {
		if !asked[key] {
			t.Errorf("the findings have the number %s, which nobody looks for in the report", key)
		}
		delete(asked, key)
	}
	if len(asked) > 0 {
		t.Errorf("the findings of this test lack %v", asked)
	}
	for _, style := range []Style{{}, {Feet: true}} {
		text := textOf(t, made(t, in, style))
		scale := InMetres()
		if style.Feet {
			scale = InFeet()
		}
		if len(found.Findings) != 5 || found.RuntimeS != 0 {
			t.Fatalf("the findings are %+v", found)
		}
		has := func(what string) {
			t.Helper()
			if !strings.Contains(text, what) {
				t.Errorf("feet %v: %q is missing", style.Feet, what)
			}
		}
		v := found.Verdict
		has(fmt.Sprintf("Worst VSWR %.2f at %.0f MHz", v.WorstVSWR, v.AtHz/1e6))
		has(fmt.Sprintf("limit %.2f", v.LimitVSWR))
		has(fmt.Sprintf("judged from %.0f MHz to %.0f MHz", v.LowHz/1e6, v.HighHz/1e6))
		has("3 of 401 points were left out as interference: 1650 MHz to 1651.5 MHz, 1656 MHz")
		for _, f := range found.Findings {
			length := func(m float64) string { return fmt.Sprintf("%.2f", m/scale.Metres) }
			if f.ExtentM > 0 {
				has(fmt.Sprintf("%s to %s ± %s %s", length(f.DistanceM), length(f.DistanceM+f.ExtentM), length(f.SigmaM), scale.Unit))
				has(fmt.Sprintf("%s ± %s %s", length(f.ExtentM), length(f.ExtentSigmaM), scale.Unit))
			} else {
				has(fmt.Sprintf("%s ± %s %s", length(f.DistanceM), length(f.SigmaM), scale.Unit))
			}
			if f.FromFarEndM > 0 {
				has(length(f.FromFarEndM) + " " + scale.Unit)
			}
			has(fmt.Sprintf("%.1f dB", f.ReturnLossDB))
			has(fmt.Sprintf("%.0f°", f.PhaseDeg))
			has(fmt.Sprintf("%.0f %%", 100*f.Confidence))
			for _, a := range f.Alternatives {
				has(fmt.Sprintf("%s %.0f %%", a.Cause.Words(), 100*a.Confidence))
			}
			if f.Cause != diagnose.Ghost { // whose two places stand in a table of their own
				has(f.Place)
				f.Evidence = append(f.Evidence, f.Explanation...)
			}
			for _, sentences := range [][]string{f.Evidence, f.Checks, f.TakeAlong, f.Cautions} {
				for _, s := range sentences {
					if style.Feet {
						s = diagnose.InFeet(s)
					}
					number, rest, numbered := strings.Cut(s, ". ")
					if numbered && len(number) < 3 {
						s = number + " " + rest
					}
					has(s)
				}
			}
			if r := f.Repaired; r != nil {
				has(fmt.Sprintf("worst VSWR %.2f at %g MHz, limit %.2f: inside, judged from %.0f MHz to %.0f MHz", r.WorstVSWR, r.AtHz/1e6, r.LimitVSWR, r.LowHz/1e6, r.HighHz/1e6))
			}
			for _, m := range f.GhostOf {
				if m > 0 {
					has(length(m) + " " + scale.Unit)
				}
			}
		}
		for _, what := range []string{"Heron Weir, sector north", "Heron Weir", "2031-05-04", "an instrument", "somebody", "Swept after rain.", "The hoist was out of order.", "accepted; named wet joint, found as water in a connector: seen through binoculars",
			"earlier.s1p", "sweep.s1p", "line.toml", strings.Repeat("0123456789abcdef", 4), strings.Repeat("fedcba9876543210", 4), strings.Repeat("00112233aabbccdd", 4),
			"2031-05-04 09:10 UTC, 12.5 °C", "second match match.s1p " + strings.Repeat("8899", 16), "0.82 ± 0.01", "0.89", "a build of the tests", "kaiser, β = 6; highest side lobe -44 dB", "401, 1.5 MHz apart", "the tower moved", "bounces between 2 at " + scale.Text(51.4) + " and the test port"} {
			has(what)
		}
	}
}

// numbersIn returns where in an object of JSON there are numbers, each key once.
func numbersIn(t *testing.T, data []byte) []string {
	t.Helper()
	var whole any
	if err := json.Unmarshal(data, &whole); err != nil {
		t.Fatal(err)
	}
	keys := map[string]bool{}
	var walk func(at string, value any)
	walk = func(at string, value any) {
		switch v := value.(type) {
		case float64:
			keys[at] = true
		case []any:
			for _, one := range v {
				walk(at, one)
			}
		case map[string]any:
			for key, one := range v {
				walk(strings.TrimPrefix(at+"."+key, "."), one)
			}
		}
	}
	walk("", whole)
	return slices.Sorted(maps.Keys(keys))
}

// The error bar of the verdict is that of the calibration, by hand: at 1842 MHz
// the residual directivity is 0.004 + 128·1e-5 = 0.00528, the reflection of VSWR
// 1.83 is 0.83/2.83 = 0.29329, and 20·log10 of their sum and difference follow.
func TestErrorBarsByHand(t *testing.T) {
	text := textOf(t, made(t, input(t), Style{}))
	low, high := -20*math.Log10(0.83/2.83+0.00528), -20*math.Log10(0.83/2.83-0.00528)
	want := fmt.Sprintf("the worst return loss, 10.7 dB at 1842 MHz, lies between %.1f dB and %.1f dB; all of that misses the limit of 14.0 dB", low, high)
	if !strings.Contains(text, want) {
		t.Errorf("%q is missing in\n%s", want, text)
	}
	in := healthy(t)
	if text := textOf(t, made(t, in, Style{})); !strings.Contains(text, "the residual directivity is not known") || !strings.Contains(text, "No fault: nothing on the line reflects more than it should as built.") {
		t.Errorf("without a residual, and without a fault:\n%s", text)
	}
}

// A comparison says whether a repair worked only where there was one.
func TestBeforeAndNow(t *testing.T) {
	in := input(t)
	text := textOf(t, made(t, in, Style{}))
	for _, want := range []string{"Before and now", "Worst VSWR 2.21 then, 1.83 now, still out of the limit of 1.50.", "earlier VSWR 2.21 8.5 dB 1722 MHz out of the limit of 1.50", "gone 31.27 ± 0.09 m in feeder dent or kink is gone: return loss 20.1 dB then, over 40 dB now",
		"line 0.012 ± 0.003 % faster, lead 4.2 mm shorter, level +0.13 dB; what is left between them is -52 dB of full scale"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	if strings.Contains(text, "Repaired") {
		t.Error("a repair is judged that nobody spoke of")
	}
	in.Document.Earlier = investigation.BeforeRepair
	if text := textOf(t, made(t, in, Style{Feet: true})); !strings.Contains(text, "Repaired: partly One fault of two is gone.") || !strings.Contains(text, "gone 102.59 ± 0.30 ft in feeder") || !strings.Contains(text, "lead 0.17 in shorter") {
		t.Errorf("after a repair, in feet:\n%s", text)
	}
	in.Comparison.Coherent, in.Comparison.Reason = false, "the sweeps are of two lines"
	if text := textOf(t, made(t, in, Style{})); strings.Contains(text, "What became of it") || !strings.Contains(text, "The sweeps are of two lines.") {
		t.Errorf("two that do not fit:\n%s", text)
	}
}

func TestPagesAreNumbered(t *testing.T) {
	text := textOf(t, made(t, many(t), Style{}))
	pages := strings.Count(text, "Downlead advises; it certifies nothing.")
	if pages < 5 {
		t.Fatalf("%d pages", pages)
	}
	for n := 1; n <= pages; n++ {
		if want := fmt.Sprintf("%d of %d", n, pages); !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
}

func TestSameInvestigationSameBytes(t *testing.T) {
	for name, make := range map[string]func(*testing.T) Input{"ordinary": input, "many": many} {
		if first, second := made(t, make(t), Style{}), made(t, make(t), Style{}); !bytes.Equal(first, second) {
			t.Errorf("%s: %d and %d bytes differ", name, len(first), len(second))
		}
	}
	slower := input(t)
	slower.Findings.RuntimeS *= 3 // by the clock
	first, err := Figures(context.Background(), prepared(t, input(t)), Style{})
	if err != nil {
		t.Fatal(err)
	}
	second, err := Figures(context.Background(), prepared(t, slower), Style{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range first {
		if first[i].Name != second[i].Name || !bytes.Equal(first[i].Data, second[i].Data) {
			t.Errorf("%s differs", first[i].Name)
		}
	}
}

// The date is that of the document; a day that is not written as one is none.
func TestDateIsOfTheDocument(t *testing.T) {
	in := input(t)
	dated := made(t, in, Style{})
	if !bytes.Contains(dated, []byte("20310504000000")) || bytes.Contains(dated, []byte(time.Now().Format("20060102"))) {
		t.Error("not dated 2031-05-04")
	}
	in.Document.Date = "the day after the storm"
	undated := made(t, in, Style{})
	if bytes.Contains(undated, []byte("CreationDate")) || bytes.Contains(undated, []byte("ModDate")) {
		t.Error("a date was made up")
	}
	if said, problems := outside(t, undated, "pdfinfo", "FILE"); problems != "" || strings.Contains(said, "Date") {
		t.Errorf("pdfinfo says %q, %q", said, problems)
	}
}

func TestLettersThatTheFontLacks(t *testing.T) {
	in := input(t)
	in.Document.Line.Name = "鷺の堰 \u202eweir e\u0301 🗼"
	data := made(t, in, Style{})
	text := textOf(t, data)
	for _, want := range []string{"□□□ weir é □", "4 letters of names or notes are not in this report's font; each stands as □"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	if said, _ := outside(t, data, "pdfinfo", "FILE"); !strings.Contains(said, "鷺の堰") {
		t.Errorf("the title lost the name: %s", said)
	}
	if strings.Contains(textOf(t, made(t, input(t), Style{})), "not in this report's font") {
		t.Error("told of letters that are not missing")
	}
}

func TestTracesReadBack(t *testing.T) {
	in := input(t)
	files, err := Figures(context.Background(), prepared(t, in), Style{})
	if err != nil {
		t.Fatal(err)
	}
	names := map[string][]byte{}
	for _, f := range files {
		names[f.Name] = f.Data
	}
	for name, want := range map[string]*sweep.Sweep{"frequency-measured.csv": in.Corrected, "frequency-earlier.csv": in.Document.Baseline.Sweep, "frequency-model.csv": in.Findings.Model} {
		got, err := sweep.ReadCSV(name, bytes.NewReader(names[name]))
		if err != nil {
			t.Fatal(err)
		}
		if fmt.Sprint(got.FrequencyHz, got.Gamma, got.ReferenceOhm) != fmt.Sprint(want.FrequencyHz, want.Gamma, want.ReferenceOhm) {
			t.Errorf("%s is another sweep", name)
		}
	}
	for _, name := range []string{"line.svg", "line.png", "frequency.svg", "frequency.png", "distance.svg", "distance.png", "distance-measured.csv", "distance-limit.csv"} {
		if len(names[name]) < 500 {
			t.Errorf("%s has %d bytes", name, len(names[name]))
		}
	}
	if !bytes.HasPrefix(names["line.png"], []byte("\x89PNG")) || !bytes.Contains(names["distance.svg"], []byte(">return loss, dB</text>")) {
		t.Error("a figure is not what its name says")
	}
}

func TestReportEndsWhenToldTo(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	whole := prepared(t, input(t))
	cancel()
	if _, err := PDF(ctx, whole, Style{}); !errors.Is(err, context.Canceled) {
		t.Errorf("PDF: %v", err)
	}
	if _, err := Figures(ctx, whole, Style{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Figures: %v", err)
	}
	if _, err := Prepare(ctx, input(t)); !errors.Is(err, context.Canceled) {
		t.Errorf("Prepare: %v", err)
	}
	if _, err := Prepare(context.Background(), Input{}); err == nil || err.Error() != "there is no sweep to report on yet; open one" {
		t.Errorf("without a sweep: %v", err)
	}
}

func TestColoursAreThoseOfTheWindow(t *testing.T) {
	have, want := colours(), theme.Light()
	if (palette{want.Ink, want.Quiet, want.Edge, want.Field, want.Frequency, want.Distance, want.Model, want.Earlier, want.Out, want.In, want.OnStrong}) != have {
		t.Errorf("%v are not those of %v", have, want)
	}
}

func TestTextNeverWiderThanItsPlace(t *testing.T) {
	face, err := newTypeface()
	if err != nil {
		t.Fatal(err)
	}
	s := newSheet(A4, face, "", 0)
	w := written{color: s.colours.Ink}
	for _, text := range []string{"", "a", "short words in a row", strings.Repeat("x", 300), strings.Repeat("鷺", 90), "a/" + strings.Repeat("b", 40) + "/c", "\xff\xfe", "tab\tand\nbreak"} {
		for _, width := range []float64{3, 20, 90.5, 400} {
			rows := s.wrap(text, width, w)
			for _, row := range rows {
				if s.wide(row, w) > width && utf8.RuneCountInString(row) > 1 {
					t.Errorf("%q is wider than %g", row, width)
				}
			}
			if got, want := strings.Join(strings.Fields(strings.Join(rows, "")), ""), strings.Join(strings.Fields(face.clean(text)), ""); got != want {
				t.Errorf("%q became %q", want, got)
			}
			if short := s.fit(text, width, w); s.wide(short, w) > width && short != "…" {
				t.Errorf("%q is wider than %g", short, width)
			}
		}
	}
}

// A number keeps its unit and its uncertainty, and what is cut short in rows is the
// text and not its rows joined anew.
func TestRowsBreakWhereTheyMay(t *testing.T) {
	face, err := newTypeface()
	if err != nil {
		t.Fatal(err)
	}
	s := newSheet(A4, face, "", 0)
	w := written{color: s.colours.Ink}
	text := "at 912 MHz 50.01 ± 0.02 m (see 3 % and 7 others), 4.27 to 6.56 ± 0.26 ft."
	for width := 60.0; width < 300; width += 7 {
		for _, row := range s.wrap(text, width, w) {
			for _, start := range []string{"±", "m ", "ft", "MHz", "%", "0.02", "0.26"} {
				if strings.HasPrefix(row+" ", start) {
					t.Errorf("at %g a row is %q", width, row)
				}
			}
		}
	}
	name := strings.Repeat("Mast-Wetherlam", 12)
	for most := 1; most < 5; most++ {
		rows := s.atMost(most, "joint "+name, 120, w)
		if len(rows) != most || strings.Contains(strings.TrimPrefix(strings.Join(rows, ""), "joint "), " ") || !strings.HasSuffix(rows[most-1], "Wetherlam") {
			t.Errorf("at most %d rows are %q", most, rows)
		}
	}
	if rows := s.wrap("joint "+name, 200, w); !strings.HasPrefix(rows[0], "joint Mast") {
		t.Errorf("a word that is broken anyway begins on a row of its own: %q", rows)
	}
}

// No page but the last is left mostly empty, and the first shows the plot along
// the line where there is room.
func TestPagesAreFull(t *testing.T) {
	for name, data := range every(t) {
		lowest := map[int]float64{}
		last := 0
		for _, w := range wordsOf(t, data) {
			last = max(last, w.page)
			if foot := 792 - 7*grid; w.foot < foot+1 { // rows of the text on either paper
				lowest[w.page] = max(lowest[w.page], w.foot)
			}
		}
		for page := 1; page < last; page++ {
			if lowest[page] < 430 {
				t.Errorf("%s: page %d of %d ends at %.0f points", name, page, last, lowest[page])
			}
		}
		first, _ := outside(t, data, "pdftotext", "-l", "1", "-raw", "FILE", "-")
		if shown := strings.Contains(first, "distance from the test port"); shown != (name != "many") {
			t.Errorf("%s: the plot along the line is on the first page: %v", name, shown)
		}
	}
}
