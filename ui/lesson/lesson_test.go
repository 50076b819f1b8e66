package lesson

import (
	"context"
	"slices"
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
