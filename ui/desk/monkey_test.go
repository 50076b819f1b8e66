package desk

import (
	"image"
	"math/rand/v2"
	"runtime"
	"testing"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
)

// monkeyEvents is how many random events the monkey sends; fewer with -short,
// where the race detector watches each.
const monkeyEvents, monkeyShort = 100_000, 8_000

// Nothing that hands on the window can do makes it panic or hang.
func TestMonkey(t *testing.T) {
	events := monkeyEvents
	if testing.Short() {
		events = monkeyShort
	}
	g := demoRig(t, image.Pt(1280, 800))
	r := rand.New(rand.NewPCG(11, 12))
	var names []key.Name
	for _, c := range commands() {
		names = append(names, c.key)
	}
	names = append(names, key.NameTab, key.NameReturn, key.NameSpace, key.NameLeftArrow, key.NameRightArrow, key.NameUpArrow, key.NameDownArrow, key.NameHome, "M", "X", "B", "0", "+", "-", key.NameDeleteForward, key.NameDeleteBackward)
	mods := []key.Modifiers{0, 0, key.ModShift, key.ModCtrl, key.ModShift | key.ModCtrl}
	texts := []string{"1", "9", ".", "-", "e", "foam", "7/8", " ", "\u202e", "é", "1e999", "0"}
	down := false
	place := image.Pt(600, 400)
	random := func() event.Event {
		m := mods[r.IntN(len(mods))]
		at := func(kind pointer.Kind) pointer.Event {
			e := mouse(kind, place)
			e.Modifiers = m
			if kind == pointer.Move && !down {
				e.Buttons = 0
			}
			return e
		}
		switch r.IntN(10) {
		case 0, 1:
			place = image.Pt(r.IntN(1280), r.IntN(800))
			return at(pointer.Move)
		case 2, 3:
			place = place.Add(image.Pt(r.IntN(41)-20, r.IntN(41)-20))
			return at(pointer.Move)
		case 4, 5:
			down = !down
			if down {
				return at(pointer.Press)
			}
			return at(pointer.Release)
		case 6:
			e := at(pointer.Scroll)
			e.Buttons = 0
			e.Scroll = f32.Pt(float32(r.NormFloat64()*30), float32(r.NormFloat64()*60))
			return e
		case 7:
			return key.EditEvent{Range: key.Range{Start: r.IntN(4), End: r.IntN(8)}, Text: texts[r.IntN(len(texts))]}
		}
		state := key.Press
		if r.IntN(3) == 0 {
			state = key.Release
		}
		return key.Event{Name: names[r.IntN(len(names))], Modifiers: m, State: state}
	}
	for sent := 0; sent < events; {
		batch := make([]event.Event, 1+r.IntN(20))
		for i := range batch {
			batch[i] = random()
		}
		sent += len(batch)
		if r.IntN(50) == 0 {
			g.size = image.Pt(300+r.IntN(1500), 200+r.IntN(1000))
		}
		if r.IntN(200) == 0 { // never lost in an empty or a broken line for good
			g.size = image.Pt(1280, 800)
			take, err := madeDemo()
			if err != nil {
				t.Fatal(err)
			}
			take(g.desk)
		}
		g.frame(batch...)
	}
	g.desk.browser.open, g.desk.help.open = false, false
	g.settlePicture()
}

// Memory stays flat however long the window is open.
func TestMemoryIsFlat(t *testing.T) {
	frames := 10_000
	if testing.Short() {
		frames = 500
	}
	g := demoRig(t, image.Pt(1280, 800))
	heap := func() float64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc)
	}
	move := func(n int) {
		for k := range n {
			g.desk.plots.over.Show(0, float64(k%40)*0.1, 40)
			g.frame(mouse(pointer.Move, image.Pt(400+k%300, 300)))
		}
	}
	move(200)
	before := heap()
	move(frames)
	if after := heap(); after > before+8<<20 {
		t.Errorf("%d frames took %.1f MB", frames, (after-before)/(1<<20))
	}
}
