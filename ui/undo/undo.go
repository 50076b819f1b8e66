// Package undo keeps what a user works on with its past, step by step. It knows
// nothing of what that is, and draws nothing.
package undo

// mostSteps is how many steps can be undone. Steps share what they did not
// change, so they cost little.
const mostSteps = 500

// History is a value with its past and its undone future. The value must not be
// changed through its pointers once it is here. The zero History holds the zero
// value.
type History[T any] struct {
	now          step[T]
	past, future []step[T]
	count        int // of the steps ever done
	saved        int // number of the step that is saved; -1: none
}

type step[T any] struct {
	value  T
	did    string // what led here, in words
	kind   string
	number int
}

// Now returns the value.
func (h *History[T]) Now() T { return h.now.value }

// Begin takes a value without a past. It counts as saved.
func (h *History[T]) Begin(v T) { *h = History[T]{now: step[T]{value: v}} }

// Number tells the states of the value apart: undoing goes back to a number.
func (h *History[T]) Number() int { return h.now.number }

// Saved says that the state of a number is the one that is saved; -1: none is.
func (h *History[T]) Saved(number int) { h.saved = number }

// Changed says whether the value is another than the saved one.
func (h *History[T]) Changed() bool { return h.now.number != h.saved }

// Amend puts v in the place of the value without a step, for what is no change of
// the user's: where its files lie after saving.
func (h *History[T]) Amend(v T) { h.now.value = v }

// Do makes v the value; did says in words what was done ("feeder set to 44 m"). A
// kind that is not empty joins steps of the same kind that follow each other
// directly, such as the way of a slider, into one.
func (h *History[T]) Do(v T, did, kind string) {
	if kind == "" || kind != h.now.kind || len(h.future) > 0 {
		h.past = append(h.past, h.now)
		if len(h.past) > mostSteps {
			h.past = append(h.past[:0], h.past[len(h.past)-mostSteps:]...)
		}
	}
	h.count++
	h.now, h.future = step[T]{v, did, kind, h.count}, nil
}

// Rest ends the joining of steps of one kind: what comes next is a new step.
func (h *History[T]) Rest() { h.now.kind = "" }

// Undo goes back one step and returns what was undone; ok is false where there
// is none.
func (h *History[T]) Undo() (what string, ok bool) {
	if len(h.past) == 0 {
		return "", false
	}
	last := len(h.past) - 1
	what = h.now.did
	h.future = append(h.future, h.now)
	h.now, h.past = h.past[last], h.past[:last]
	h.now.kind = ""
	return what, true
}

// Redo takes back an Undo.
func (h *History[T]) Redo() (what string, ok bool) {
	if len(h.future) == 0 {
		return "", false
	}
	last := len(h.future) - 1
	h.past = append(h.past, h.now)
	h.now, h.future = h.future[last], h.future[:last]
	h.now.kind = ""
	return h.now.did, true
}

// CanUndo says what Undo would undo; ok is false where there is nothing.
func (h *History[T]) CanUndo() (what string, ok bool) { return h.now.did, len(h.past) > 0 }

// CanRedo says what Redo would do again.
func (h *History[T]) CanRedo() (what string, ok bool) {
	if len(h.future) == 0 {
		return "", false
	}
	return h.future[len(h.future)-1].did, true
}
