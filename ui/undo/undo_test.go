package undo

import (
	"fmt"
	"testing"
)

// What is saved is one state of the history: going away from it and back to it by
// undo is no change.
func TestHistoryKnowsWhatIsSaved(t *testing.T) {
	var h History[string]
	h.Begin("a")
	if h.Changed() {
		t.Error("a document that was just opened is changed")
	}
	h.Do("b", "", "site")
	h.Do("bc", "", "site")
	at := h.Number()
	h.Do("bcd", "", "site") // typed on while the job of saving ran
	h.Saved(at)
	if !h.Changed() {
		t.Error("what was typed while saving counts as saved")
	}
	h.Saved(h.Number())
	h.Undo()
	if !h.Changed() || h.Now() != "a" {
		t.Error("undoing what is saved is no change")
	}
	h.Redo()
	if h.Changed() {
		t.Error("back at what is saved is a change")
	}
	h.Amend("elsewhere")
	if h.Changed() || h.Now() != "elsewhere" {
		t.Error("amending is a step")
	}
	h.Saved(-1)
	if !h.Changed() {
		t.Error("nothing is saved, but nothing is changed")
	}
}

func TestHistoryForgetsTheOldest(t *testing.T) {
	var h History[string]
	for n := range 3 * mostSteps {
		h.Do(fmt.Sprint(n), "step", "")
	}
	back := 0
	for {
		if _, ok := h.Undo(); !ok {
			break
		}
		back++
	}
	if back != mostSteps {
		t.Errorf("%d steps back, want %d", back, mostSteps)
	}
}
