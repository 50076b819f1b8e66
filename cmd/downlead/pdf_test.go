package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"downlead/dsp/diagnose"
	"downlead/ui/investigation"
	"downlead/ui/report"
)

// pdfTool runs a program of Poppler; without it the test is skipped, in CI it
// fails.
func pdfTool(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("CI") == "true" || os.Getenv("DOWNLEAD_REQUIRE_TOOLS") != "" {
			t.Fatalf("%s is missing; go run ./cmd/bootstrap test installs it", name)
		}
		t.Skipf("NOT CHECKED: no %s here (Debian: apt install poppler-utils)", name)
	}
	var out, problems bytes.Buffer
	cmd := exec.Command(name, args...)
	cmd.Stdout, cmd.Stderr = &out, &problems
	if err := cmd.Run(); err != nil || problems.Len() > 0 {
		t.Fatalf("%s: %v\n%s", name, err, &problems)
	}
	return out.String()
}

func pdfText(t *testing.T, path string) string {
	t.Helper()
	whole := pdfTool(t, "pdftotext", "-raw", path, "-")
	// Once more without the three lines at the foot and the head of each page: a sentence may go on
	// behind them.
	const margins = 3
	var running []string
	for _, page := range strings.Split(whole, "\f") {
		if lines := strings.Split(page, "\n"); len(lines) > margins {
			running = append(running, lines[margins:]...)
		}
	}
	return strings.Join(strings.Fields(whole+"\n"+strings.Join(running, "\n")), " ")
}

// The report of an investigation carries what locate says of it, what people wrote
// and decided, and is the same twice.
func TestReportOfAnInvestigation(t *testing.T) {
	folder := demoSite(t)
	path := savedSite(t, folder)
	o, err := investigation.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	doc := o.Document
	doc.Every, doc.Site, doc.Date, doc.Notes = 3, "Quillbarrow hill", "2031-05-04", "after a week of rain"
	if _, err := investigation.Save(path, doc); err != nil {
		t.Fatal(err)
	}
	found, _ := foundIn(t, "locate", path)
	for i := range found.Findings {
		if found.Findings[i].IsFault {
			doc = doc.Decide(&found.Findings[i], func(d *investigation.Decision) { d.State, d.Note = investigation.Rejected, "the joint was dry" })
		}
	}
	if _, err := investigation.Save(path, doc); err != nil {
		t.Fatal(err)
	}
	first := filepath.Join(folder, "site.pdf")
	figures := filepath.Join(folder, "figures")
	got := call(t, "report", path, "--figures", figures, "--operator", "night shift")
	if got.status != statusFault || !hasText(got.stdout, "written "+first) {
		t.Fatalf("%+v", got)
	}
	text := pdfText(t, first)
	data, err := os.ReadFile(filepath.Join(figures, "findings.json"))
	if err != nil {
		t.Fatal(err)
	}
	var inFile diagnose.Findings
	if err := json.Unmarshal(data, &inFile); err != nil {
		t.Fatal(err)
	}
	scale := report.InMetres()
	wants := []string{"Quillbarrow hill", "2031-05-04", "night shift", "after a week of rain", "rejected: the joint was dry", "1 of ", "Before and now", "kit.toml", doc.Sweep.SHA256, doc.Standards.KitSHA256, doc.LineSHA256,
		fmt.Sprintf("Worst VSWR %.2f at %s", found.Verdict.WorstVSWR, frequencyText(found.Verdict.AtHz)), found.Calibration}
	if len(found.Findings) != len(inFile.Findings) || len(found.Findings) == 0 {
		t.Fatalf("locate has %d findings, the file %d", len(found.Findings), len(inFile.Findings))
	}
	for i, f := range inFile.Findings {
		if one := found.Findings[i]; one.DistanceM != f.DistanceM || one.Confidence != f.Confidence {
			t.Errorf("locate says %+v, the report's file %+v", one, f)
		}
		wants = append(wants, scale.Place(f), fmt.Sprintf("%.0f %%", 100*f.Confidence))
		if f.Cause != diagnose.LossySection {
			wants = append(wants, fmt.Sprintf("%.1f dB", f.ReturnLossDB), fmt.Sprintf("%.0f°", f.PhaseDeg))
		}
		if f.Cause == diagnose.Ghost {
			for _, m := range f.GhostOf {
				if m > 0 {
					wants = append(wants, scale.Text(m))
				}
			}
			continue
		}
		for _, step := range f.Explanation {
			_, step, _ = strings.Cut(step, ". ")
			wants = append(wants, step)
		}
		if f.IsFault {
			wants = append(append(append(wants, f.Evidence...), f.Checks...), f.TakeAlong...)
		}
	}
	for _, want := range wants {
		if !hasText(text, want) {
			t.Errorf("%q is missing", want)
		}
	}

	// Nothing is written over; the same again is the same file.
	unusable(t, "downlead report: "+first+" is already there; add --force to replace it, or choose another name", "report", path)
	unusable(t, "downlead report: "+figures+" already holds something; add --force to write into it, or choose another folder", "report", path, "--out", filepath.Join(folder, "x.pdf"), "--figures", figures)
	unusable(t, "downlead report: "+doc.Sweep.Path+" is one of the measurements; choose another name for the result", "report", path, "--out", doc.Sweep.Path, "--force")
	again := filepath.Join(folder, "again.pdf")
	if got := call(t, "report", path, "--operator", "night shift", "--out", again); got.status != statusFault {
		t.Fatalf("%+v", got)
	}
	one, err := os.ReadFile(first)
	if err != nil {
		t.Fatal(err)
	}
	two, err := os.ReadFile(again)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(one, two) {
		t.Error("the same investigation gives two different files")
	}
}

// hasText says whether a text has a sentence, wherever its rows break.
func hasText(text, sentence string) bool {
	tight := func(s string) string { return strings.Join(strings.Fields(s), "") }
	return strings.Contains(tight(text), tight(sentence))
}

func TestReportTellsWhatItCannotUse(t *testing.T) {
	folder := demoSite(t)
	sweepFile, line := filepath.Join(folder, "sweep.s1p"), filepath.Join(folder, "line.toml")
	unusable(t, "downlead report: what line is it? give --line FILE, or --cable ID, or --velocity-factor VF", "report", sweepFile)
	unusable(t, `downlead report: --paper: "a5" is not a paper; there are a4 and letter`, "report", sweepFile, "--paper", "a5")
	unusable(t, "downlead report: SWEEP is missing; usage: downlead report SWEEP [options]", "report")
	scalar := file(t, "scalar.csv", "frequency (MHz),vswr\n100,1.2\n200,1.3\n")
	if got := call(t, "report", scalar, "--line", line); got.status != statusUnusable || !strings.Contains(got.stderr, "downlead locate holds it against the line's limit") {
		t.Errorf("%+v", got)
	}
}

// The picture of the guide is the first page of the demonstration's report
// (-update draws it anew). Versions of the outside program draw the edges of
// letters differently, so the mean difference counts.
func TestReportPictureOfTheGuide(t *testing.T) {
	folder := demoSite(t)
	out := filepath.Join(folder, "report.pdf")
	got := call(t, "report", filepath.Join(folder, "sweep.s1p"), "--line", filepath.Join(folder, "line.toml"), "--baseline", filepath.Join(folder, "baseline.s1p"),
		"--site", "Quillbarrow hill", "--date", "2031-05-04", "--instrument", "handheld analyser 3", "--operator", "night shift", "--out", out)
	if got.status != statusFault {
		t.Fatalf("%+v", got)
	}
	pdfTool(t, "pdftoppm", "-r", "96", "-f", "1", "-l", "1", "-singlefile", "-png", out, filepath.Join(folder, "page"))
	page, err := os.ReadFile(filepath.Join(folder, "page.png"))
	if err != nil {
		t.Fatal(err)
	}
	const kept = "../../docs/pictures/report.png"
	if *update {
		if err := os.WriteFile(kept, page, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(kept)
	if err != nil {
		t.Fatal(err)
	}
	drawn, wanted := decodePNG(t, page), decodePNG(t, want)
	if drawn.Bounds() != wanted.Bounds() {
		t.Fatalf("the page is %v, the picture %v", drawn.Bounds(), wanted.Bounds())
	}
	sum, n := 0.0, 0
	for y := range drawn.Bounds().Dy() {
		for x := range drawn.Bounds().Dx() {
			r, g, b, _ := drawn.At(x, y).RGBA()
			R, G, B, _ := wanted.At(x, y).RGBA()
			sum += math.Abs(float64(r)-float64(R)) + math.Abs(float64(g)-float64(G)) + math.Abs(float64(b)-float64(B))
			n += 3
		}
	}
	// Measured: 0 with the same version of Poppler; a row more on the page gives 0.03.
	if mean := sum / float64(n) / 0xFFFF; mean > 0.002 {
		t.Errorf("the page differs from the picture of the guide by %.4f in the mean; -update draws it anew, look at it", mean)
	}
}

func decodePNG(t *testing.T, data []byte) image.Image {
	t.Helper()
	picture, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return picture
}
