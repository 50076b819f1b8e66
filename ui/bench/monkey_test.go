package bench

import (
	"image"
	"math/rand/v2"
	"testing"
	"time"

	"gioui.org/io/key"

	"downlead/ui/rig"
)

// monkeyEvents is how many random events the monkey sends; fewer with -short, where the
// race detector watches each.
const monkeyEvents, monkeyShort = 20_000, 2_000

// Nothing that hands on the bench can do makes it panic or hang, or puts on it what the
// simulator cannot have.
func TestMonkey(t *testing.T) {
	events := monkeyEvents
	if testing.Short() {
		events = monkeyShort
	}
	g := newRig(t, image.Pt(1280, 720))
	names := []key.Name{key.NameTab, key.NameReturn, key.NameSpace, key.NameLeftArrow, key.NameRightArrow, "M", "+", "-", key.NameDeleteForward, key.NameDeleteBackward}
	for _, c := range commands() {
		if c.Key != key.NameF5 { // the search for faults is another room's
			names = append(names, c.Key)
		}
	}
	most, marked, lessons := 0, 0, 0
	line := image.Rect(240, 560, 970, 670) // the line and its tray
	monkey := rig.Monkey{Random: rand.New(rand.NewPCG(21, 22)), Size: g.Size, Names: names, Texts: rig.OddTexts(), Often: &line}
	for sent := 0; sent < events; {
		batch := monkey.Batch()
		sent += len(batch)
		g.Size = monkey.Size
		if monkey.Random.IntN(50) == 0 {
			g.Size = image.Pt(300+monkey.Random.IntN(1500), 200+monkey.Random.IntN(1000))
		}
		g.Now = g.Now.Add(10 * time.Millisecond)
		g.frame(batch...)
		s := g.bench.Setup()
		most, marked = max(most, len(s.Faults)), max(marked, len(s.Marks))
		if g.bench.lessons.page != nil {
			lessons++
		}
		if g.bench.blind.on && !s.sameSweep(&g.bench.started) {
			t.Fatalf("after %d events a blind case has another line", sent)
		}
		if err := s.scenario().Check(); err != nil {
			t.Fatalf("after %d events: %v", sent, err)
		}
		g.bench.finding.Stop()
	}
	t.Logf("at most %d faults and %d marks; a page of a lesson in %d frames", most, marked, lessons)
	if most < 3 {
		t.Errorf("the monkey never had more than %d faults on the line; it tests little", most)
	}
	g.settle()
	if g.bench.drawErr != nil {
		t.Error(g.bench.drawErr)
	}
}

// From a moved fault to the new picture, 1001 points: what follows the hand.
func BenchmarkFollow1001(b *testing.B) {
	g := twoFaults(b, image.Pt(1280, 720))
	for name, take := range map[string]apart{"whole": {}, "apart": {true, true}} {
		b.Run(name, func(b *testing.B) {
			s, k, before := g.bench.Setup(), 0, g.bench.drawn
			for b.Loop() {
				k++
				s.Faults[1].DistanceM = 10 + float64(k%100)/10
				var err error
				if before, err = draw(b.Context(), s, aim{apart: take}, before); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
