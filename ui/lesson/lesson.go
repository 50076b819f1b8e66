package lesson

import (
	"downlead/cables/tables"
	"downlead/dsp"
	"downlead/dsp/simulate"
)

// Lesson is a lesson as written. Nothing in it is computed; see Open.
type Lesson struct {
	ID        string // of an embedded lesson its number and word, "03-masking"; of a file its path
	Title     string
	Summary   string
	Minutes   int
	Text      Text
	Sources   []string
	HandsOn   bool // hands touch the line somewhere in it: show the cautions
	Cautions  []string
	Scenario  *simulate.Scenario
	Steps     []Step
	Questions []Question
	Checks    []Formula
}

// Step is something to look at.
type Step struct {
	Title   string
	Text    Text
	HandsOn bool
	Show    Show
	See     []Sight
}

// Sight is a number to look for.
type Sight struct {
	Text     Text
	Value    Formula
	Unit     string
	Decimals int
}

// Show is what the window shows. The zero value shows the measured sweep as it
// is, and no picture by itself.
type Show struct {
	Sweep          Shown
	Over           string // view over frequency, one of Overs; "": none
	Along          string // view along the line, one of Alongs; "": none
	ZoomHz, ZoomM  [2]float64
	BandHz         [2]float64 // the part of the sweep that is used; zero: all
	Every          int        // use each n-th point; 0: all
	Window         dsp.Window
	VelocityFactor float64  // of every cable; 0: as recorded
	Overlays       []string // of Overlays
	AgainstEarlier bool
	Locked         bool // nothing of it can be turned by the trainee
}

// Shown is which sweep is looked at.
type Shown int

// The sweeps of a lesson.
const (
	Measured Shown = iota
	Earlier        // the line without its faults: scenario, baseline = true
	Raw            // not corrected: scenario.instrument, raw = true
)

func (s Shown) String() string { return [...]string{"measured", "earlier", "raw"}[s] }

// Overs are the views over frequency.
func Overs() []string {
	return []string{"return-loss", "vswr", "phase", "smith", "impedance", "cable-loss", "group-delay"}
}

// Alongs are the views along the line.
func Alongs() []string { return []string{"return-loss", "vswr", "magnitude", "impedance"} }

// Overlays are what may lie over a view: the model that the diagnosis fitted, the earlier
// sweep, the line's limit, what its record leads one to expect (Scene.Expected), and the ways
// of waves that are reflected again, named or drawn.
func Overlays() []string {
	return []string{"model", "earlier", "limit", "expected", "ghosts", "lattice"}
}

// Kind is what sort of answer a question takes.
type Kind int

// The kinds of questions.
const (
	Number Kind = iota
	Place
	Cause
	Choice
)

func (k Kind) String() string { return [...]string{"number", "place", "cause", "choice"}[k] }

// Question is asked after a step.
type Question struct {
	After     int // index of the step before it
	Kind      Kind
	Text      Text
	Because   Text    // shown with the right answer
	Answer    Formula // but of a choice
	Unit      string  // of a number
	Tolerance Formula // SI; with PlainTolerance in Unit
	Plain     bool    // the tolerance is a plain number in Unit
	Options   []Option
	Show      *Show // nil: that of the step
}

// Option is one answer of a choice.
type Option struct {
	Text Text
	When Formula
}

// ShowOf returns what is shown at a question.
func (l *Lesson) ShowOf(q *Question) *Show {
	if q.Show != nil {
		return q.Show
	}
	return &l.Steps[q.After].Show
}

// QuestionsAfter returns the indices of the questions asked after step i.
func (l *Lesson) QuestionsAfter(i int) []int {
	var out []int
	for k := range l.Questions {
		if l.Questions[k].After == i {
			out = append(out, k)
		}
	}
	return out
}

// place is where something stands in the lesson's file.
type place struct {
	file string
	tables.Place
}

func (p place) wrong(err error) error {
	return &tables.FileError{File: p.file, Line: p.Line, Column: p.Column, Err: err}
}
