// Package rig drives a room of the window without a system, for tests: events in, frames
// out, what the controls say of themselves, pixels. Nothing but tests imports it.
package rig

import (
	"image"
	"strings"
	"testing"
	"time"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/input"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/io/semantic"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/unit"
)

// Window is a room on a router of its own.
type Window struct {
	T      testing.TB
	Router input.Router
	Ops    op.Ops
	Size   image.Point
	Scale  float32 // pixels of a dp; 0: 1
	Now    time.Time
	Draw   func(layout.Context) // a frame of the room
	Busy   func() bool          // whether the room works in the background

	told chan struct{}
}

// New returns a window of a size; Draw and Busy are to be set, then a first Frame drawn:
// events before it are lost.
func New(t testing.TB, size image.Point) *Window {
	return &Window{T: t, Size: size, told: make(chan struct{}, 1)}
}

// Notify is what the room calls when it wants a frame.
func (w *Window) Notify() {
	select {
	case w.told <- struct{}{}:
	default:
	}
}

// Frame gives the room events and draws it.
func (w *Window) Frame(events ...event.Event) {
	w.Router.Queue(events...)
	w.Ops.Reset()
	scale := w.Scale
	if scale == 0 {
		scale = 1
	}
	w.Draw(layout.Context{Ops: &w.Ops, Now: w.Now, Source: w.Router.Source(), Metric: unit.Metric{PxPerDp: scale, PxPerSp: scale}, Constraints: layout.Exact(w.Size)})
	w.Router.Frame(&w.Ops)
}

// Settle draws frames until no job runs any more, and does do after each two; nil: nothing.
// A job may end between a frame and the question whether it runs, and taking its result may
// start another, so nothing runs only when that is so twice and no job told of its end meanwhile. A
// job that never ends is left to the time limit of the tests, which shows where it hangs.
func (w *Window) Settle(do func()) {
	for idle := 0; idle < 2; {
		w.Frame()
		w.Frame()
		if do != nil {
			do()
		}
		if w.Busy() {
			idle = 0
			<-w.told
			continue
		}
		select {
		case <-w.told:
			idle = 0
		default:
			idle++
		}
	}
}

// Find returns where what is called label stands, or else the first whose label begins so.
func (w *Window) Find(label string) (image.Rectangle, bool) {
	return w.find(label, func(input.SemanticNode) bool { return true })
}

// FindButton is Find among what can be pressed.
func (w *Window) FindButton(label string) (image.Rectangle, bool) {
	return w.find(label, func(n input.SemanticNode) bool { return n.Desc.Class == semantic.Button })
}

func (w *Window) find(label string, counts func(input.SemanticNode) bool) (image.Rectangle, bool) {
	all := w.Router.AppendSemantics(nil)
	if len(all) == 0 {
		return image.Rectangle{}, false
	}
	var walk func(nodes []input.SemanticNode, fits func(string) bool) (image.Rectangle, bool)
	walk = func(nodes []input.SemanticNode, fits func(string) bool) (image.Rectangle, bool) {
		for _, n := range nodes {
			if counts(n) && fits(n.Desc.Label) {
				return n.Desc.Bounds, true
			}
			if r, ok := walk(n.Children, fits); ok {
				return r, true
			}
		}
		return image.Rectangle{}, false
	}
	if r, ok := walk(all[:1], func(have string) bool { return have == label }); ok {
		return r, true
	}
	return walk(all[:1], func(have string) bool { return strings.HasPrefix(have, label) })
}

// Middle is the middle of a rectangle.
func Middle(r image.Rectangle) image.Point { return r.Min.Add(r.Size().Div(2)) }

// Mouse is an event of the mouse, its button held where it is pressed or moved.
func Mouse(kind pointer.Kind, at image.Point) pointer.Event {
	e := pointer.Event{Kind: kind, Source: pointer.Mouse, Position: f32.Pt(float32(at.X), float32(at.Y))}
	if kind == pointer.Press || kind == pointer.Move {
		e.Buttons = pointer.ButtonPrimary
	}
	return e
}

// ClickAt presses a place.
func (w *Window) ClickAt(at image.Point) {
	w.Frame(Mouse(pointer.Press, at))
	w.Frame(Mouse(pointer.Release, at))
	w.Frame()
}

// Drag presses at one place, goes to another in steps, and lets go.
func (w *Window) Drag(from, to image.Point) {
	w.Frame(Mouse(pointer.Press, from))
	for k := 1; k <= 4; k++ {
		w.Frame(Mouse(pointer.Move, from.Add(to.Sub(from).Mul(k).Div(4))))
	}
	w.Frame(Mouse(pointer.Release, to))
	w.Frame()
}

// Press presses a key and lets it go.
func (w *Window) Press(name key.Name, mods key.Modifiers) {
	w.Frame(key.Event{Name: name, Modifiers: mods, State: key.Press})
	w.Frame(key.Event{Name: name, Modifiers: mods, State: key.Release})
	w.Frame()
}
