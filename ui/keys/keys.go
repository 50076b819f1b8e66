// Package keys holds what a room of the window has in common with the others on the
// keyboard: commands that count wherever the keys go, and what a list of them says.
package keys

import (
	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/layout"
	"gioui.org/op"
)

// Command is something that a key does in a room R wherever the keys go.
type Command[R any] struct {
	Key  key.Name
	Mods key.Modifiers
	Says string // "Ctrl O"
	Does string
	Run  func(R, layout.Context)
}

// On is a command by its key.
func On[R any](k key.Name, mods key.Modifiers, says, does string, run func(R, layout.Context)) Command[R] {
	return Command[R]{k, mods, says, does, run}
}

// Take runs the commands whose keys no focused control wanted, but for those that allowed
// turns away; nil: none. It asks for a frame, as the one that is drawn does not show it yet.
func Take[R any](gtx layout.Context, room R, all []Command[R], allowed func(key.Name) bool) {
	filters := make([]event.Filter, len(all))
	for i, c := range all {
		filters[i] = key.Filter{Name: c.Key, Required: c.Mods}
	}
	for {
		e, ok := gtx.Event(filters...)
		if !ok {
			return
		}
		pressed, is := e.(key.Event)
		if !is || pressed.State != key.Press || allowed != nil && !allowed(pressed.Name) {
			continue
		}
		for _, c := range all {
			if c.Key == pressed.Name && c.Mods == pressed.Modifiers {
				c.Run(room, gtx)
				gtx.Execute(op.InvalidateCmd{})
				break
			}
		}
	}
}

// Pairs are the keys and what they do, each thing once, for a list.
func Pairs[R any](all []Command[R]) [][2]string {
	var out [][2]string
	seen := map[string]bool{}
	for _, c := range all {
		if !seen[c.Does] {
			seen[c.Does] = true
			out = append(out, [2]string{c.Says, c.Does})
		}
	}
	return out
}

// Steps and bounds of the size of text.
const (
	TextStep  = 1.1
	leastText = 0.8
	mostText  = 2.0
)

// Zoom changes the size of text by a factor.
func Zoom(scale, by float32) float32 { return min(max(scale*by, leastText), mostText) }
