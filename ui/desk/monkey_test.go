package desk

import (
	"image"
	"math/rand/v2"
	"runtime"
	"testing"

	"gioui.org/io/key"
	"gioui.org/io/pointer"

	"downlead/ui/rig"
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
	var names []key.Name
	for _, c := range commands() {
		names = append(names, c.Key)
	}
	names = append(names, key.NameTab, key.NameReturn, key.NameSpace, key.NameLeftArrow, key.NameRightArrow, key.NameUpArrow, key.NameDownArrow, key.NameHome, "M", "X", "B", "0", "+", "-", key.NameDeleteForward, key.NameDeleteBackward)
	r := rand.New(rand.NewPCG(11, 12))
	monkey := rig.Monkey{Random: r, Size: g.Size, Names: names, Texts: rig.OddTexts()}
	for sent := 0; sent < events; {
		batch := monkey.Batch()
		sent += len(batch)
		if r.IntN(50) == 0 {
			g.Size = image.Pt(300+r.IntN(1500), 200+r.IntN(1000))
		}
		if r.IntN(200) == 0 { // never lost in an empty or a broken line for good
			g.Size = image.Pt(1280, 800)
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
