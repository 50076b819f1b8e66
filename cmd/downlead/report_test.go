package main

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"downlead/cables"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
)

// siteLine is a line of our own for the tests of the report.
func siteLine() *cables.Line {
	jumper := cables.Type{ID: "jumper", ImpedanceOhm: 50, VelocityFactor: 0.82}
	feeder := cables.Type{ID: "feeder", ImpedanceOhm: 50, VelocityFactor: 0.89}
	return &cables.Line{
		Name: "Heron Weir, sector north", Cables: []cables.Type{jumper, feeder},
		Sections: []cables.Section{{Name: "bottom jumper", CableID: "jumper", LengthM: 2.5}, {Name: "feeder", CableID: "feeder", LengthM: 48.8}, {Name: "top jumper", CableID: "jumper", LengthM: 1.8}},
		Devices:  []cables.Device{{After: "bottom jumper", Kind: "surge arrestor", LengthM: 0.1}},
		Load:     cables.Load{Kind: cables.Antenna, BandHz: [2]float64{1710e6, 2170e6}},
		Limits:   cables.Limits{VSWR: 1.5},
	}
}

func siteReport(t *testing.T) *reportInput {
	t.Helper()
	line := siteLine()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	s := &sweep.Sweep{Name: "sweep.s1p", ReferenceOhm: 50}
	for k := range 401 {
		s.FrequencyHz = append(s.FrequencyHz, 700e6+float64(k)*1e6)
	}
	s.Gamma = path.Cascade().Reflection(s.FrequencyHz, func(float64) complex128 { return 0.3 }, 50)
	return &reportInput{
		Line: line, Path: path, Scale: inMetres,
		Sweep: s,
		Findings: &diagnose.Findings{
			RuntimeS: 0.041, Calibration: "taken as corrected by the instrument (the file does not say)",
			Verdict:   diagnose.Verdict{WorstVSWR: 1.83, AtHz: 1842e6, LimitVSWR: 1.5, LowHz: 1710e6, HighHz: 2170e6},
			LeftOutHz: []float64{700e6, 701e6, 703e6},
			Findings: []diagnose.Finding{
				{DistanceM: 51.4, SigmaM: 0.08, Cause: diagnose.WaterInConnector, Confidence: 0.91, ReturnLossDB: 18.2, IsFault: true, Place: "joint feeder / top jumper",
					Alternatives: []diagnose.Alternative{{Cause: diagnose.ConnectorMismatch, Confidence: 0.06}},
					Evidence:     []string{"the reflection turns by 40° over the band, as a shunt conductance with a capacitance does"},
					Checks:       []string{"open the joint and look for corrosion"}, Cautions: []string{"the joint may hold water: let it drain"}},
				{DistanceM: 20, SigmaM: 0.1, ExtentM: 3, Cause: diagnose.WaterInCable, Confidence: 0.6, ReturnLossDB: 25, IsFault: true, Place: "feeder"},
				{DistanceM: 2.5, SigmaM: 0.02, Cause: diagnose.Joint, ReturnLossDB: 36, Place: "joint bottom jumper / surge arrestor"},
				{DistanceM: 53.2, SigmaM: 0.02, Cause: diagnose.FarEnd, ReturnLossDB: 14, Place: "antenna"},
				{DistanceM: 102.8, SigmaM: 0.1, Cause: diagnose.Ghost, ReturnLossDB: 44, GhostOf: []float64{51.4, 0}},
			},
		},
	}
}

// written is the report's text.
func written(t *testing.T, r *reportInput) string {
	t.Helper()
	text, err := writeReport(r)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestReportSaysTheVerdictFirst(t *testing.T) {
	text := written(t, siteReport(t))
	for _, want := range []string{
		"OUT OF LIMIT   worst VSWR 1.83 at 1842 MHz, limit 1.50, judged from 1710 MHz to 2170 MHz\n",
		"  FAULT 1        20.00 to 23.00 ± 0.10 m: water in the cable, 60 % sure; feeder\n",
		"  FAULT 2        51.40 ± 0.08 m: water in a connector, 91 % sure; joint feeder / top jumper\n",
		"  how sure      91 %; otherwise connector mismatch 6 %\n",
		"  c     102.80 ± 0.10 m     44.0 dB   bounces between 2 at 51.40 m and the test port\n",
		"3 of 401 points were left out as interference: 700 MHz to 701 MHz, 703 MHz\n",
		"  · the joint may hold water: let it drain\n",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if verdict, drawing := strings.Index(text, "FAULT 1"), strings.Index(text, "drawn to scale"); verdict > drawing {
		t.Error("the verdict stands after the drawing")
	}
	if t.Failed() {
		t.Log("\n" + text)
	}
}

func TestReportFitsThePageInEveryDress(t *testing.T) {
	for _, scale := range []lengthScale{inMetres, inFeet} {
		for _, ascii := range []bool{false, true} {
			r := siteReport(t)
			r.Scale, r.ASCII = scale, ascii
			for _, row := range strings.Split(written(t, r), "\n") {
				if n := utf8.RuneCountInString(row); n > 100 {
					t.Errorf("%d columns: %s", n, row)
				}
				if ascii && strings.ContainsFunc(row, func(c rune) bool { return c > 126 || c == '?' }) {
					t.Errorf("not plain ASCII: %s", row)
				}
			}
		}
	}
}

func TestUncorrectedSweepIsLoud(t *testing.T) {
	r := siteReport(t)
	r.Sweep.Correction = sweep.Uncorrected
	text := written(t, r)
	if at := strings.Index(text, "NOT CALIBRATED"); at < 0 || at > strings.Index(text, "OUT OF LIMIT") {
		t.Errorf("the notice does not come before the verdict:\n%s", text)
	}
}

func TestDrawingIsToScale(t *testing.T) {
	r := siteReport(t)
	rows := drawLine(r.Path, cables.Antenna, []mark{{atM: 26.6, label: "1", text: "26.60 m", fault: true}}, inMetres, profile{})
	total := r.Path.LengthM()
	var line, pointer []rune
	for _, row := range rows {
		if strings.Contains(row, "┣") {
			line = []rune(row)
		}
		if strings.Contains(row, "▲") {
			pointer = []rune(row)
		}
	}
	at := func(row []rune, sign rune) int {
		for i, c := range row {
			if c == sign {
				return i
			}
		}
		return -1
	}
	const last = drawingColumns - 2
	if got, want := at(pointer, '▲'), int(26.6/total*last+0.5); got != want {
		t.Errorf("the fault is at column %d, want %d", got, want)
	}
	if got, want := at(line, '▣'), int(2.5/total*last+0.5); got != want {
		t.Errorf("the device is at column %d, want %d", got, want)
	}
	if got := at(line, '◁'); got != last+1 {
		t.Errorf("the antenna is at column %d, want %d", got, last+1)
	}
}

func TestCalloutsNeverOverlap(t *testing.T) {
	// Any number of callouts anywhere: each text must be found whole.
	for seed := range 200 {
		var list []callout
		for i := range 2 + seed%7 {
			column := (seed*31 + i*i*17 + i*seed) % drawingColumns
			list = append(list, callout{column, strings.Repeat(string(rune('a'+i)), 1+(seed*7+i*13)%30), string(rune('a' + i))})
		}
		rows := strings.Join(callouts(drawingColumns, list), "\n")
		for _, c := range list {
			if !strings.Contains(rows, "└ "+c.text) && !strings.Contains(rows, c.text+" ┘") && !strings.Contains(rows, "└ "+c.short) {
				t.Fatalf("seed %d: %q is damaged in\n%s", seed, c.text, rows)
			}
		}
	}
}

func TestReportExplainsTheFaultAskedFor(t *testing.T) {
	r := siteReport(t)
	r.Findings.Findings[0].Explanation = []string{"1. Seen: something at the joint.", "2. Record: the joint is there."}
	r.Findings.Findings[0].TakeAlong = []string{"torque wrench", "tape"}
	r.Findings.Findings[0].FromFarEndM = 1.8
	text := written(t, r)
	for _, want := range []string{
		"\n  where         51.40 ± 0.08 m from the test port, 1.80 m from the far end; joint feeder / top\n",
		"\n  to take along torque wrench\n                tape\n",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	if strings.Contains(text, "was found and named") {
		t.Error("the report explains without being asked")
	}
	for explain, want := range map[int]string{ // the nearer fault is fault 1
		1: "No reasoning was recorded for this fault beyond what stands above.\n",
		2: "1. Seen: something at the joint.\n  2. Record: the joint is there.\n",
		3: "There is no fault 3: the report counts to 2.\n",
	} {
		r.Explain = explain
		text := written(t, r)
		at := strings.Index(text, "── How fault "+fmt.Sprint(explain)+" was found and named ")
		if at < 0 || !strings.Contains(text[at:], "\n  "+want) || at > strings.Index(text, "Before anybody touches the line") {
			t.Errorf("--explain %d:\n%s", explain, text)
		}
	}
	r.Findings.Findings = nil
	if text := written(t, r); !strings.Contains(text, "\n  No fault was found, so there is none to explain.\n") {
		t.Errorf("without a fault:\n%s", text)
	}
}
