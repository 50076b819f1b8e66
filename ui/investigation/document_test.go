package investigation

import (
	"fmt"
	"testing"

	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
)

func TestHistoryGoesBackAndForth(t *testing.T) {
	var h History
	h.Begin(Document{LinePath: "0"})
	for n := 1; n <= 5; n++ {
		h.Do(Document{LinePath: fmt.Sprint(n)}, fmt.Sprint("step ", n), "")
	}
	for n := 4; n >= 0; n-- {
		what, ok := h.Undo()
		if !ok || what != fmt.Sprint("step ", n+1) || h.Now().LinePath != fmt.Sprint(n) {
			t.Fatalf("undo gives %q, %v, %q", what, ok, h.Now().LinePath)
		}
	}
	if _, ok := h.Undo(); ok {
		t.Error("more undone than done")
	}
	for n := 1; n <= 5; n++ {
		if what, ok := h.Redo(); !ok || what != fmt.Sprint("step ", n) || h.Now().LinePath != fmt.Sprint(n) {
			t.Fatalf("redo gives %q, %v, %q", what, ok, h.Now().LinePath)
		}
	}
	h.Undo()
	h.Do(Document{LinePath: "other"}, "another way", "")
	if _, ok := h.Redo(); ok {
		t.Error("a future is left after another step")
	}
}

// The way of a slider is one step; two ways are two.
func TestHistoryJoinsStepsOfAKind(t *testing.T) {
	var h History
	h.Begin(Document{LinePath: "start"})
	for n := range 20 {
		h.Do(Document{LinePath: fmt.Sprint(n)}, "drag", "drag")
	}
	h.Rest()
	for n := range 20 {
		h.Do(Document{LinePath: fmt.Sprint(100 + n)}, "drag", "drag")
	}
	h.Undo()
	if got := h.Now().LinePath; got != "19" {
		t.Errorf("one step back is %q, want the end of the first way", got)
	}
	h.Undo()
	if got := h.Now().LinePath; got != "start" {
		t.Errorf("two steps back is %q", got)
	}
}

// What was said of a finding stays with it when a later run moves it a little,
// and is not taken for that of another.
func TestDecisionsStayWithTheirFinding(t *testing.T) {
	f := &diagnose.Finding{Cause: diagnose.DentOrKink, DistanceM: 30}
	var d Document
	said := d.Decide(f, func(x *Decision) { x.State, x.Note = Accepted, "seen from the ground" })
	if len(d.Decisions) != 0 {
		t.Error("the earlier document was changed")
	}
	moved := &diagnose.Finding{Cause: diagnose.DentOrKink, DistanceM: 30.4}
	if k := said.DecisionOn(moved); k != 0 {
		t.Errorf("moved by 0.4 m it is lost: %d", k)
	}
	for _, other := range []*diagnose.Finding{{Cause: diagnose.DentOrKink, DistanceM: 33}, {Cause: diagnose.PoorContact, DistanceM: 30}} {
		if said.DecisionOn(other) >= 0 {
			t.Errorf("%s at %g m got the decision", other.Cause, other.DistanceM)
		}
	}
	again := said.Decide(moved, func(x *Decision) { x.State, x.Note = Undecided, "" })
	if len(again.Decisions) != 0 {
		t.Errorf("nothing said leaves %v", again.Decisions)
	}
}

func TestUsed(t *testing.T) {
	s := &sweep.Sweep{ReferenceOhm: 50}
	for k := range 11 {
		s.FrequencyHz, s.Gamma = append(s.FrequencyHz, 100+float64(k)), append(s.Gamma, complex(float64(k), 0))
	}
	got, err := Used(s, [2]float64{102, 108}, 3)
	if err != nil || fmt.Sprint(got.FrequencyHz) != "[102 105 108]" || got.Gamma[1] != 5 {
		t.Errorf("%v, %v", got, err)
	}
	if all, err := Used(s, [2]float64{}, 1); all != s || err != nil {
		t.Errorf("everything is not the sweep itself: %v", err)
	}
	if _, err := Used(s, [2]float64{}, 20); err == nil {
		t.Error("one point is used")
	}
}

// A raw sweep stays raw, and says so, until all three standards are there.
func TestCorrectedNeedsAllStandards(t *testing.T) {
	f := []float64{1e8, 2e8, 3e8}
	all := func(g complex128) *sweep.Sweep {
		return &sweep.Sweep{FrequencyHz: f, Gamma: []complex128{g, g, g}, ReferenceOhm: 50}
	}
	d := Document{Sweep: Source{Sweep: all(0.3)}}
	d.Standards.Open.Sweep, d.Standards.Short.Sweep = all(0.9), all(-0.9)
	if s, _, _, err := d.Corrected(); s != d.Sweep.Sweep || err != nil {
		t.Errorf("with two standards: %v, %v", s, err)
	}
	d.Standards.Load.Sweep = all(0.05)
	s, terms, _, err := d.Corrected()
	if err != nil || terms == nil || s == d.Sweep.Sweep {
		t.Fatalf("with three: %v, %v", s, err)
	}
	// The three equations by hand: e00 = 0.05; open and short mirror each other.
	e00 := 0.05
	e11 := (0.9 - e00 - (0.9 + e00)) / (0.9 - e00 + 0.9 + e00)
	track := (0.9 - e00) * (1 - e11)
	want := (0.3 - e00) / (track + e11*(0.3-e00))
	if got := real(s.Gamma[1]); got < want-1e-9 || got > want+1e-9 {
		t.Errorf("corrected %g, want %g", got, want)
	}
	d.Standards.Load.Sweep = all(0.9) // the open once more: nothing can be solved
	if s, _, problems, err := d.Corrected(); err == nil || s.Correction != sweep.Uncorrected {
		t.Errorf("with two alike: %v, %v, %v", s.Correction, problems, err)
	}
}
