package lesson

import (
	"context"
	"slices"
	"strings"
	"testing"

	"downlead/dsp/simulate"
)

// Everything that an embedded lesson states is worked out, every answer with it.
func TestEmbeddedLessonsHold(t *testing.T) {
	all, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 12 {
		t.Fatalf("%d lessons", len(all))
	}
	for i, l := range all {
		if testing.Short() && i >= 7 { // those with faults take a second each
			break
		}
		t.Run(l.ID, func(t *testing.T) {
			t.Parallel()
			b, err := Open(context.Background(), l)
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Check(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
}

// Every lesson has what a lesson must have, and together they teach every cause;
// the short is told beside the open.
func TestEmbeddedLessonsAreWhole(t *testing.T) {
	all, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	taught := map[string]bool{}
	kinds := map[Kind]bool{}
	for _, l := range all {
		if l.Summary == "" || l.Minutes == 0 || len(l.Sources) == 0 || len(l.Questions) < 3 || len(l.Checks) == 0 || len(l.Text.Source) == 0 {
			t.Errorf("%s lacks a summary, minutes, a source, three questions, a check or a text", l.ID)
		}
		for _, f := range l.Scenario.Faults {
			taught[f.Cause] = true
		}
		if len(l.Scenario.Faults) > 0 && !l.HandsOn && l.ID[:2] > "05" {
			t.Errorf("%s sends somebody to a fault without the cautions", l.ID)
		}
		for _, q := range l.Questions {
			kinds[q.Kind] = true
		}
	}
	for _, cause := range simulate.Causes() {
		if !taught[cause] && !slices.Contains([]string{"short-circuit"}, cause) {
			t.Errorf("no lesson has the cause %s", cause)
		}
	}
	if len(kinds) != 4 {
		t.Errorf("only %d kinds of questions are asked", len(kinds))
	}
}

// A number that answers a question of its step is told from one that does not, or that only
// looks like it in another unit; what is expected by the record knows no fault and no noise.
func TestGivenAway(t *testing.T) {
	l, err := decodeSmall(strings.Replace(small, "[[question]]", `[[step.see]]
text = "the end"
value = "line.length_m"
unit = "m"
decimals = 1
[[step.see]]
text = "the end, nearly"
value = "line.length_m + 3*cell_m"
unit = "m"
decimals = 1
[[step.see]]
text = "as many decibels"
value = "line.length_m"
unit = "dB"
decimals = 1
[[question]]`, 1))
	if err != nil {
		t.Fatal(err)
	}
	b, err := Open(context.Background(), l)
	if err != nil {
		t.Fatal(err)
	}
	for k, want := range [][]int{{0}, nil, nil} {
		got, err := b.GivenAway(context.Background(), 0, &l.Steps[0].See[k])
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("sight %d gives away %v, want %v (%v)", k+1, got, want, err)
		}
	}
}

// What the record leads one to expect knows neither faults nor noise, and is cut as the sweep
// beside it is.
func TestExpected(t *testing.T) {
	faulty := strings.Replace(small, "[scenario.sweep]\nlow", "[[scenario.fault]]\ncause = \"short-circuit\"\ndistance_m = 4.0\n[scenario.instrument]\nnoise_db = -40.0\n[scenario.sweep]\nlow", 1)
	l, err := decodeSmall(faulty)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Open(context.Background(), l)
	if err != nil {
		t.Fatal(err)
	}
	s, err := b.Scene(&Show{Along: "return-loss", Every: 2})
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.Expected(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	sound, err := decodeSmall(small)
	if err != nil {
		t.Fatal(err)
	}
	want, err := Open(context.Background(), sound)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got.FrequencyHz, s.Sweep.FrequencyHz) || !slices.Equal(got.Gamma, want.Result.Sweep.Every(2).Gamma) || slices.Equal(got.Gamma, s.Sweep.Gamma) {
		t.Errorf("%d points are expected beside %d, and they are not those of the sound line", len(got.Gamma), len(s.Sweep.Gamma))
	}
}
