package keys

import (
	"image"
	"testing"

	"gioui.org/io/input"
	"gioui.org/io/key"
	"gioui.org/layout"
	"gioui.org/op"
)

// A key runs its command with exactly its modifiers, and asks for a frame; one that is not
// allowed now does nothing.
func TestTake(t *testing.T) {
	var router input.Router
	var ops op.Ops
	var done []string
	all := []Command[string]{
		{"S", key.ModCtrl, "Ctrl S", "save", func(room string, _ layout.Context) { done = append(done, room+" save") }},
		{"S", key.ModCtrl | key.ModShift, "Ctrl Shift S", "save elsewhere", func(room string, _ layout.Context) { done = append(done, room+" elsewhere") }},
		{"Z", key.ModCtrl, "Ctrl Z", "undo", func(room string, _ layout.Context) { done = append(done, room+" undo") }},
		{"Y", key.ModCtrl, "Ctrl Y", "undo", func(room string, _ layout.Context) {}},
	}
	frame := func(events ...key.Event) {
		for _, e := range events {
			router.Queue(e)
		}
		ops.Reset()
		Take(layout.Context{Ops: &ops, Source: router.Source(), Constraints: layout.Exact(image.Pt(10, 10))}, "desk", all, func(name key.Name) bool { return name != "Z" })
		router.Frame(&ops)
	}
	frame()
	frame(key.Event{Name: "S", Modifiers: key.ModCtrl | key.ModShift, State: key.Press}, key.Event{Name: "Z", Modifiers: key.ModCtrl, State: key.Press}, key.Event{Name: "S", State: key.Press})
	if len(done) != 1 || done[0] != "desk elsewhere" {
		t.Errorf("did %q", done)
	}
	if _, asked := router.WakeupTime(); !asked {
		t.Error("no frame is asked for")
	}
	if pairs := Pairs(all); len(pairs) != 3 || pairs[2] != [2]string{"Ctrl Z", "undo"} {
		t.Errorf("the list says %q", pairs)
	}
	if Zoom(1.9, TextStep) != mostText || Zoom(0.81, 1/TextStep) != leastText {
		t.Error("text has no bounds")
	}
}
