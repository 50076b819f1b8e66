package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downlead/dsp/diagnose"
	"downlead/ui/blind"
)

// answered runs the program with answers on its standard input.
func answered(t *testing.T, answers string, args ...string) ran {
	t.Helper()
	var stdout, stderr strings.Builder
	status := runAnswered(context.Background(), args, output{&stdout, &stderr, strings.NewReader(answers)})
	return ran{status, stdout.String(), stderr.String()}
}

// A case is worked through on the terminal, kept, and given again by its seed.
func TestBlind(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "case")
	record := filepath.Join(t.TempDir(), "results.csv")
	c, err := blind.New(context.Background(), 3, 1)
	if err != nil {
		t.Fatal(err)
	}
	f := c.Faults()[0]
	first := answered(t, "far off\n999 dent-or-kink\n\n", "blind", "--seed", "3", "--out", folder, "--record", record, "--name", "Trainee 4")
	for _, want := range []string{"Case 3, level 1 of 5.", "fault 1: ", `"far" is not understood`, "missed: no mark within", "false mark", "SCORE          0 of 100", "Added to " + record} {
		if !strings.Contains(first.stdout, want) {
			t.Errorf("no %q in\n%s", want, first.stdout)
		}
	}
	before, _, _ := strings.Cut(first.stdout, "What is wrong, and where?")
	if strings.Contains(before, f.Cause.Words()) {
		t.Errorf("the cause is told before it is asked for:\n%s", before)
	}
	for _, name := range []string{"sweep.s1p", "line.toml"} {
		text, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil || strings.Contains(string(text), string(f.Cause)) {
			t.Errorf("%s: %v, or it tells the cause", name, err)
		}
	}
	if entries, err := os.ReadDir(folder); err != nil || len(entries) != 2 {
		t.Errorf("%d files beside the sweep and the line: %v", len(entries)-2, err)
	}
	mark := inMetres.number(f.DistanceM) + "m," + string(f.Cause)
	second := call(t, "blind", "--seed", "3", "--mark", mark, "--record", record, "--name", "Trainee 4")
	if second.status != statusPasses || !strings.Contains(second.stdout, "SCORE          100 of 100") || !strings.Contains(strings.Join(strings.Fields(second.stdout), " "), "the right cause (50 of 50)") {
		t.Errorf("the right mark: %+v", second)
	}
	rows, err := blind.Read(record)
	if err != nil || len(rows) != 2 || rows[0].Points != 0 || rows[1].Points != 100 || rows[1].Trainee != "Trainee 4" {
		t.Errorf("the record: %v, %+v", err, rows)
	}
	if nobody := answered(t, "", "blind", "--seed", "3"); nobody.status != statusPasses || strings.Contains(nobody.stdout, "SCORE") || !strings.Contains(nobody.stdout, "No answer") {
		t.Errorf("without an answer: %+v", nobody)
	}
}

func TestBlindWrongCalls(t *testing.T) {
	unusable(t, `downlead blind: --level: "6" is not a level; there are 1 to 5`, "blind", "--level", "6")
	unusable(t, `downlead blind: --seed: "x" is not a whole number of at least 0`, "blind", "--seed", "x")
	unusable(t, "downlead blind: --nothing says that nothing is wrong, and --mark that something is; leave one out", "blind", "--nothing", "--mark", "1m,antenna")
	unusable(t, "downlead blind: --record needs --name: any word that tells the trainees apart", "blind", "--record", "x.csv")
	unusable(t, `downlead blind: --mark: "anntenna" is not a cause; did you mean "antenna"?`, "blind", "--mark", "1m,anntenna")
	unusable(t, `downlead blind: --name: the name "=x" holds '='; use letters, digits, spaces, dots, dashes and apostrophes, a letter or digit first`, "blind", "--record", "x.csv", "--name", "=x")
}

func TestParseMark(t *testing.T) {
	for text, want := range map[string]blind.Mark{
		"31.4m poor-contact":   {DistanceM: 31.4, Cause: diagnose.PoorContact},
		"31.4 poor contact":    {DistanceM: 31.4, Cause: diagnose.PoorContact},
		"10ft  8":              {DistanceM: 3.048, Cause: diagnose.WaterInCable},
		"0.5 wrong  impedance": {DistanceM: 0.5, Cause: diagnose.WrongImpedance},
	} {
		if got, err := parseMark(text, inMetres); err != nil || got.Cause != want.Cause || got.DistanceM-want.DistanceM > 1e-12 {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	if got, err := parseMark("100 antenna", inFeet); err != nil || got.DistanceM != 30.48 {
		t.Errorf("in feet: %+v, %v", got, err)
	}
}
