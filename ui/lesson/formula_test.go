package lesson

import (
	"context"
	"math"
	"strings"
	"testing"
)

// bench opens the first embedded lesson.
func bench(t *testing.T) *Bench {
	t.Helper()
	all, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	b, err := Open(context.Background(), all[0])
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Formulas of numbers, by hand: rank, brackets, signs, comparisons.
func TestFormulas(t *testing.T) {
	b := bench(t)
	s, err := b.Scene(&Show{})
	if err != nil {
		t.Fatal(err)
	}
	for source, want := range map[string]Value{
		"1 + 2*3":                        number(7),
		"(1 + 2)*3":                      number(9),
		"-2*-3 - 1":                      number(5),
		"8/4/2":                          number(1),
		"8 - 4 - 2":                      number(2),
		"1.5e3 + .5":                     number(1500.5),
		"1 < 2 and 2 < 1":                truth(false),
		"1 < 2 or 2 < 1 and 1 == 0":      truth(true),
		"not 1 == 2":                     truth(true),
		`"a" == "a" and "a" != "b"`:      truth(true),
		"max(1, 2) - min(1, 2)":          number(1),
		"abs(-3) >= 3":                   truth(true),
		"false and finding[9].sigma_m>1": truth(false), // the right side is left alone
		"points":                         number(401),
		"section[1].length_m":            number(3),
		"truth.faults == 0":              truth(true),
	} {
		f, err := parseFormula(source, place{})
		if err != nil {
			t.Errorf("%s: %v", source, err)
			continue
		}
		v, err := s.Value(context.Background(), &f)
		if err != nil || v.Kind != want.Kind || math.Abs(v.Number-want.Number) > 1e-12 || v.True != want.True {
			t.Errorf("%s = %+v, %v; want %+v", source, v, err, want)
		}
	}
	// Handbook pairs (Pozar, ch. 2.3): 1.5 is Γ = 0.2, 3 is 0.5, 20 dB is 0.1.
	for source, want := range map[string]float64{"return_loss_of_vswr(1.5)": 13.979, "vswr_of_return_loss(20)": 1.2222, "gamma_of_vswr(3)": 0.5} {
		f, err := parseFormula(source, place{})
		if err != nil {
			t.Fatal(err)
		}
		if v, err := s.Value(context.Background(), &f); err != nil || math.Abs(v.Number-want) > 5e-4 { // tabulated to four digits
			t.Errorf("%s = %g, %v; want %g", source, v.Number, err, want)
		}
	}
}

func TestFormulasThatAreWrong(t *testing.T) {
	for source, want := range map[string]string{
		"":                        "it ends where a number or a quantity is expected",
		"1 +":                     "it ends where a number or a quantity is expected",
		"1 2":                     `"2" is not expected after a whole formula`,
		"(1":                      `")" is missing at its end`,
		"1..2":                    `"1..2" is not a number`,
		"1 < 2 < 3":               `"<" is not expected after a whole formula`,
		"verdict.worst_vsrw":      `no quantity is called "verdict.worst_vsrw"; did you mean "verdict.worst_vswr"?`,
		"finding[0].sigma_m":      "finding[0] is counted from 1",
		"finding[1]":              "finding[1] is followed by a dot and what of it is meant",
		"finding[1].[2]":          "finding[1] is followed by a dot and what of it is meant",
		"at.vswr":                 "at.vswr takes 1 values in brackets, not 0: at.vswr(frequency Hz)",
		"1 ; 2":                   `";" does not belong into a formula`,
		`"open`:                   "a text has no closing quote",
		`1 == ""`:                 "a text is empty",
		"1 = 2":                   `"=" does not belong into a formula`,
		strings.Repeat("(", 60):   "brackets nest more than 40 deep",
		strings.Repeat("-", 60):   "signs nest more than 40 deep",
		strings.Repeat("1+", 300): "a formula of 600 bytes is longer than 400; shorten it",
	} {
		_, err := parseFormula(source, place{})
		if err == nil || !strings.HasSuffix(err.Error(), want) {
			t.Errorf("%.30q: %v; want ... %s", source, err, want)
		}
	}
	b := bench(t)
	s, err := b.Scene(&Show{})
	if err != nil {
		t.Fatal(err)
	}
	for source, want := range map[string]string{
		"1/0":                         "something is divided by zero",
		`1 + "a"`:                     `"+" joins a number and a text`,
		`"a" + "b"`:                   `"+" cannot join a text`,
		"not 1":                       `"not" stands before a number`,
		"finding[7].distance_m":       "finding[7].distance_m: there are 0 faults found",
		"truth.fault[1].cause":        "truth.fault[1].cause: the scenario has 0 faults",
		"at.vswr(1e6)":                "at.vswr: 1e+06 Hz is outside the sweep",
		"section[2].length_m":         "section[2].length_m: the line has 1 sections",
		"earlier.worst_vswr(1e9,2e9)": "earlier.worst_vswr: the scenario makes no such sweep",
	} {
		f, err := parseFormula(source, place{file: "l.toml"})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Value(context.Background(), &f); err == nil || !strings.HasSuffix(err.Error(), want) {
			t.Errorf("%s: %v; want ... %s", source, err, want)
		}
	}
}

// No text makes the formula's or the text's parser panic, and a formula that is
// taken is taken again.
func FuzzFormula(f *testing.F) {
	for _, seed := range []string{"1 + 2*max(3, -4)", "finding[1].distance_m < 2", `not "a" == "b" or true`, "at.vswr(1e9)", "((((", "1e999", "finding[99999999999].x", `"`, "!", "a[", "\xff"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, source string) {
		if formula, err := parseFormula(source, place{}); err == nil {
			if _, err := parseFormula(formula.Source, place{}); err != nil {
				t.Errorf("%q is taken once only: %v", source, err)
			}
		}
		parseText(source, place{})
		parseText("{"+source+"|2 m}", place{})
	})
}
