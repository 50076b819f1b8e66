package report

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"downlead/cables"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
)

// site is a line of our own.
func site() *cables.Line {
	jumper := cables.Type{ID: "jumper", Name: "half-inch jumper", ImpedanceOhm: 50, VelocityFactor: 0.82, VelocityFactorTolerance: 0.01, Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e9, DBPerHundredM: 11}}, Source: "invented"}
	feeder := cables.Type{ID: "feeder", ImpedanceOhm: 50, VelocityFactor: 0.89, Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e9, DBPerHundredM: 4}}}
	return &cables.Line{
		Name: "Heron Weir, sector north", Cables: []cables.Type{jumper, feeder},
		Sections: []cables.Section{{Name: "bottom jumper", CableID: "jumper", LengthM: 2.5}, {Name: "feeder", CableID: "feeder", LengthM: 48.8}, {Name: "top jumper", CableID: "jumper", LengthM: 1.8}},
		Devices:  []cables.Device{{After: "bottom jumper", Kind: "surge arrestor", LengthM: 0.1, ReturnLossDB: 27.5}},
		Load:     cables.Load{Kind: cables.Antenna, BandHz: [2]float64{1710e6, 2170e6}, ReturnLossDB: 15.5},
		Limits:   cables.Limits{VSWR: 1.5},
	}
}

// swept is what a load at the end of the line shows at the port.
func swept(t *testing.T, line *cables.Line, load complex128) *sweep.Sweep {
	t.Helper()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	s := &sweep.Sweep{Name: "sweep.s1p", ReferenceOhm: 50}
	for k := range 401 {
		s.FrequencyHz = append(s.FrequencyHz, 1650e6+float64(k)*1.5e6)
	}
	s.Gamma = path.Cascade().Reflection(s.FrequencyHz, func(float64) complex128 { return load }, 50)
	return s
}

// input is an investigation with findings made by hand, each number of them
// another.
func input(t *testing.T) Input {
	t.Helper()
	line := site()
	s := swept(t, line, 0.3)
	s.ErrorFloor = make([]float64, len(s.FrequencyHz))
	for k := range s.ErrorFloor {
		s.ErrorFloor[k] = 0.004 + 1e-5*float64(k)
	}
	earlier := swept(t, line, 0.1)
	repaired := &diagnose.Verdict{Passes: true, WorstVSWR: 1.27, AtHz: 1934.5e6, LimitVSWR: 1.5, LowHz: 1710e6, HighHz: 2170e6}
	in := Input{Program: "a build of the tests", Corrected: s, Document: investigation.Document{
		Sweep: investigation.Source{Path: "/elsewhere/sweep.s1p", SHA256: strings.Repeat("0123456789abcdef", 4), Sweep: s}, Baseline: investigation.Source{Path: "/elsewhere/earlier.s1p", SHA256: strings.Repeat("fedcba9876543210", 4), Sweep: earlier},
		Line: line, LinePath: "/elsewhere/line.toml", LineSHA256: strings.Repeat("00112233aabbccdd", 4),
		Site: "Heron Weir", Date: "2031-05-04", Instrument: "an instrument", Operator: "somebody", Notes: "Swept after rain.\n\nThe hoist was out of order.",
	}, Findings: &diagnose.Findings{
		RuntimeS: 0.041, Calibration: "corrected here, with standards that passed every check", Warnings: []string{"the tower moved"}, Model: swept(t, line, 0.29),
		Verdict: diagnose.Verdict{WorstVSWR: 1.83, AtHz: 1842e6, LimitVSWR: 1.5, LowHz: 1710e6, HighHz: 2170e6}, LeftOutHz: []float64{1650e6, 1651.5e6, 1656e6},
		Findings: []diagnose.Finding{
			{DistanceM: 51.4, SigmaM: 0.08, FromFarEndM: 1.79, Cause: diagnose.WaterInConnector, Confidence: 0.91, ReturnLossDB: 18.2, PhaseDeg: -117, IsFault: true, Place: "joint feeder / top jumper",
				Alternatives: []diagnose.Alternative{{Cause: diagnose.ConnectorMismatch, Confidence: 0.06}, {Cause: diagnose.PoorContact, Confidence: 0.02}},
				Evidence:     []string{"the reflection turns by 40° over the band"}, Checks: []string{"open the joint", "sweep again"}, TakeAlong: []string{"torque wrench"}, Cautions: []string{"the joint may hold water: let it drain"}, Repaired: repaired,
				Explanation: []string{"1. Seen: 51.40 ± 0.08 m from the test port the line reflects.", "2. Record: the joint feeder / top jumper is at 51.37 m, 0.03 m away.", "3. Left over: -47.6 dB. Next to nothing but noise."}},
			{DistanceM: 20, SigmaM: 0.11, FromFarEndM: 30.07, ExtentM: 3.21, ExtentSigmaM: 0.34, Cause: diagnose.WaterInCable, Confidence: 0.63, ReturnLossDB: 25.4, PhaseDeg: 44, IsFault: true, Place: "feeder"},
			{DistanceM: 2.5, SigmaM: 0.02, FromFarEndM: 50.66, Cause: diagnose.Joint, Confidence: 0.88, ReturnLossDB: 36.1, PhaseDeg: 13, Place: "joint bottom jumper / surge arrestor", Alternatives: []diagnose.Alternative{{Cause: diagnose.PoorContact, Confidence: 0.07}},
				Explanation: []string{"1. Seen: 2.50 ± 0.02 m from the test port the line reflects.", "no number, 31.5 dB"}},
			{DistanceM: 53.2, SigmaM: 0.03, Cause: diagnose.FarEnd, Confidence: 0.97, ReturnLossDB: 14.7, PhaseDeg: 171, Place: "antenna"},
			{DistanceM: 102.8, SigmaM: 0.13, Cause: diagnose.Ghost, Confidence: 0.85, ReturnLossDB: 44.9, PhaseDeg: -5, GhostOf: []float64{51.4, 0},
				Explanation: []string{"1. Nothing is here: the wave bounces between 51.40 m and 0.00 m. It goes when either of them does."}},
		},
	}}
	in.Document.Standards.At = calibration.Conditions{At: time.Date(2031, 5, 4, 9, 10, 0, 0, time.UTC), TemperatureC: 12.5, TemperatureKnown: true}
	in.Check = investigation.Source{Path: "/elsewhere/match.s1p", SHA256: strings.Repeat("8899", 16)}
	in.Comparison = &diagnose.Comparison{Repair: diagnose.PartlyRepaired, Reason: "one fault of two is gone", Coherent: true,
		Before: diagnose.Verdict{WorstVSWR: 2.21, AtHz: 1722e6, LimitVSWR: 1.5, LowHz: 1710e6, HighHz: 2170e6}, After: in.Findings.Verdict,
		Aligned: diagnose.AlignedBy{Velocity: 1.2e-4, VelocitySigma: 3e-5, LeadM: -0.0042, GainDB: 0.13, DifferedDB: -31, DiffersDB: -52},
		Entries: []diagnose.Entry{{Kind: diagnose.EntryGone, DistanceM: 31.27, SigmaM: 0.09, Place: "in feeder", CauseBefore: diagnose.DentOrKink, Sentence: "dent or kink is gone: return loss 20.1 dB then, over 40 dB now"}}}
	in.Document = in.Document.Decide(&in.Findings.Findings[0], func(d *investigation.Decision) {
		d.State, d.Name, d.Note = investigation.Accepted, "wet joint", "seen through binoculars"
	})
	return in
}

// many is a line of forty sections with a fault at each joint, and names without
// a blank.
func many(t *testing.T) Input {
	t.Helper()
	in := input(t)
	long := strings.Repeat("Verylongname-without_blanks", 8)[:200]
	line := &cables.Line{Name: long, Cables: in.Document.Line.Cables, Load: cables.Load{Kind: cables.Open}}
	findings := *in.Findings
	findings.Findings = nil
	for k := range 40 {
		line.Sections = append(line.Sections, cables.Section{Name: fmt.Sprint(k, long), CableID: "feeder", LengthM: 1.3})
		f := in.Findings.Findings[0]
		f.DistanceM, f.FromFarEndM, f.Place = 1.3*float64(k+1), 52-1.3*float64(k+1), "joint "+long
		if k%4 == 0 {
			f.ExtentM = 0.7
		}
		findings.Findings = append(findings.Findings, f)
	}
	in.Document.Line, in.Findings = line, &findings
	in.Document.Site, in.Document.Operator, in.Document.Notes, in.Document.Sweep.Path = long, long, long, "/elsewhere/"+long
	in.Document.Decisions[0].Name, in.Document.Decisions[0].Note = long, long
	return in
}

// healthy is a line without a fault, of which little is known.
func healthy(t *testing.T) Input {
	t.Helper()
	line := cables.VelocityLine(0.88, 40)
	s := swept(t, line, 0.05)
	return Input{Corrected: s, Document: investigation.Document{Sweep: investigation.Source{Sweep: s}, Line: line},
		Findings: &diagnose.Findings{Calibration: "taken as corrected", Verdict: diagnose.Verdict{Passes: true, WorstVSWR: 1.1, AtHz: 1.8e9, LowHz: 1650e6, HighHz: 2250e6}, Findings: []diagnose.Finding{}}}
}

func prepared(t *testing.T, in Input) *Input {
	t.Helper()
	whole, err := Prepare(context.Background(), in)
	if err != nil {
		t.Fatal(err)
	}
	return whole
}

func made(t *testing.T, in Input, style Style) []byte {
	t.Helper()
	data, err := PDF(context.Background(), prepared(t, in), style)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// outside runs a program on the PDF, written to a file, and returns what it says
// on both outputs; without the program the test is skipped, in CI it fails.
func outside(t *testing.T, data []byte, name string, args ...string) (stdout, stderr string) {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("CI") == "true" || os.Getenv("DOWNLEAD_REQUIRE_TOOLS") != "" {
			t.Fatalf("%s is missing; go run ./cmd/bootstrap test installs it", name)
		}
		t.Skipf("NOT CHECKED: no %s here (Debian: apt install poppler-utils ghostscript)", name)
	}
	path := filepath.Join(t.TempDir(), "report.pdf")
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "FILE", path)
	}
	var out, problems bytes.Buffer
	cmd := exec.Command(name, args...)
	cmd.Stdout, cmd.Stderr = &out, &problems
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s: %v\n%s", name, err, &problems)
	}
	return out.String(), problems.String()
}

// textOf is the text of a PDF, all white space single blanks.
func textOf(t *testing.T, data []byte) string {
	t.Helper()
	text, _ := outside(t, data, "pdftotext", "-raw", "FILE", "-")
	return strings.Join(strings.Fields(text), " ")
}

// word is a word of a page with its box, points from the upper left.
type word struct {
	text                   string
	page                   int
	left, top, right, foot float64
}

var (
	pageLine = regexp.MustCompile(`<page `)
	wordLine = regexp.MustCompile(`<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*)</word>`)
)

func wordsOf(t *testing.T, data []byte) []word {
	t.Helper()
	text, _ := outside(t, data, "pdftotext", "-bbox", "FILE", "-")
	var all []word
	page := 0
	for _, line := range strings.Split(text, "\n") {
		if pageLine.MatchString(line) {
			page++
		}
		m := wordLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		var box [4]float64
		for i := range box {
			v, err := strconv.ParseFloat(m[i+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			box[i] = v
		}
		all = append(all, word{m[5], page, box[0], box[1], box[2], box[3]})
	}
	if len(all) < 50 {
		t.Fatalf("only %d words", len(all))
	}
	return all
}
