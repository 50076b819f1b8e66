package investigation

// mostSteps is how many steps can be undone. Steps share what they did not
// change, so they cost little.
const mostSteps = 500

// History is a document with its past and its undone future. The zero value is
// an empty document.
type History struct {
	now          step
	past, future []step
	count        int // of the steps ever done
	saved        int // number of the step that is saved; -1: none
}

type step struct {
	document Document
	did      string // what led here, in words
	kind     string
	number   int
}

// Now returns the document.
func (h *History) Now() Document { return h.now.document }

// Begin takes a document without a past. It counts as saved.
func (h *History) Begin(d Document) { *h = History{now: step{document: d}} }

// Number tells the states of the document apart: undoing goes back to a number.
func (h *History) Number() int { return h.now.number }

// Saved says that the state of a number is the one that is saved; -1: none is.
func (h *History) Saved(number int) { h.saved = number }

// Changed says whether the document is another than the saved one.
func (h *History) Changed() bool { return h.now.number != h.saved }

// Amend puts d in the place of the document without a step, for what is no
// change of the user's: where its files lie after saving.
func (h *History) Amend(d Document) { h.now.document = d }

// Do makes d the document; did says in words what was done ("feeder set to
// 44 m"). A kind that is not empty joins steps of the same kind that follow each
// other directly, such as the way of a slider, into one.
func (h *History) Do(d Document, did, kind string) {
	if kind == "" || kind != h.now.kind || len(h.future) > 0 {
		h.past = append(h.past, h.now)
		if len(h.past) > mostSteps {
			h.past = append(h.past[:0], h.past[len(h.past)-mostSteps:]...)
		}
	}
	h.count++
	h.now, h.future = step{d, did, kind, h.count}, nil
}

// Rest ends the joining of steps of one kind: what comes next is a new step.
func (h *History) Rest() { h.now.kind = "" }

// Undo goes back one step and returns what was undone; ok is false where there
// is none.
func (h *History) Undo() (what string, ok bool) {
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
func (h *History) Redo() (what string, ok bool) {
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
func (h *History) CanUndo() (what string, ok bool) { return h.now.did, len(h.past) > 0 }

// CanRedo says what Redo would do again.
func (h *History) CanRedo() (what string, ok bool) {
	if len(h.future) == 0 {
		return "", false
	}
	return h.future[len(h.future)-1].did, true
}
