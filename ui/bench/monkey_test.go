package bench

import (
	"image"
	"math/rand/v2"
	"testing"
	"time"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
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
	r := rand.New(rand.NewPCG(21, 22))
	names := []key.Name{key.NameTab, key.NameReturn, key.NameSpace, key.NameLeftArrow, key.NameRightArrow, "+", "-", key.NameDeleteForward, key.NameDeleteBackward}
	for _, c := range commands() {
		if c.key != key.NameF5 { // the search for faults is another room's
			names = append(names, c.key)
		}
	}
	mods := []key.Modifiers{0, 0, key.ModShift, key.ModCtrl, key.ModShift | key.ModCtrl}
	down, place, most := false, image.Pt(600, 600), 0
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
		switch r.IntN(9) {
		case 0:
			place = image.Pt(r.IntN(1280), r.IntN(720))
			return at(pointer.Move)
		case 1, 2: // between the line and its tray
			place = image.Pt(240+r.IntN(730), 560+r.IntN(110))
			return at(pointer.Move)
		case 3:
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
		g.size = image.Pt(1280, 720)
		if r.IntN(50) == 0 {
			g.size = image.Pt(300+r.IntN(1500), 200+r.IntN(1000))
		}
		g.now = g.now.Add(10 * time.Millisecond)
		g.frame(batch...)
		s := g.bench.Setup()
		most = max(most, len(s.Faults))
		if err := s.scenario().Check(); err != nil {
			t.Fatalf("after %d events: %v", sent, err)
		}
		g.bench.finding.Stop()
	}
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
