package rig

import (
	"image"
	"math/rand/v2"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
)

// Monkey makes events without sense: the mouse anywhere or a little way on, the wheel, keys
// with modifiers, text.
type Monkey struct {
	Random *rand.Rand
	Size   image.Point // of the window
	Names  []key.Name
	Texts  []string         // that are typed; none: nothing is
	Often  *image.Rectangle // where the mouse goes often; nil: nowhere more than elsewhere

	down  bool
	place image.Point
}

// Batch returns up to 20 events.
func (m *Monkey) Batch() []event.Event {
	batch := make([]event.Event, 1+m.Random.IntN(20))
	for i := range batch {
		batch[i] = m.next()
	}
	return batch
}

func (m *Monkey) within(r image.Rectangle) image.Point {
	return r.Min.Add(image.Pt(m.Random.IntN(max(r.Dx(), 1)), m.Random.IntN(max(r.Dy(), 1))))
}

func (m *Monkey) next() event.Event {
	r := m.Random
	mods := []key.Modifiers{0, 0, key.ModShift, key.ModCtrl, key.ModShift | key.ModCtrl}[r.IntN(5)]
	at := func(kind pointer.Kind) pointer.Event {
		e := Mouse(kind, m.place)
		e.Modifiers = mods
		if kind == pointer.Move && !m.down {
			e.Buttons = 0
		}
		return e
	}
	switch r.IntN(10) {
	case 0:
		m.place = m.within(image.Rectangle{Max: m.Size})
		return at(pointer.Move)
	case 1, 2:
		if m.Often == nil {
			m.place = m.within(image.Rectangle{Max: m.Size})
		} else {
			m.place = m.within(*m.Often)
		}
		return at(pointer.Move)
	case 3:
		m.place = m.place.Add(image.Pt(r.IntN(41)-20, r.IntN(41)-20))
		return at(pointer.Move)
	case 4, 5:
		m.down = !m.down
		if m.down {
			return at(pointer.Press)
		}
		return at(pointer.Release)
	case 6:
		e := at(pointer.Scroll)
		e.Buttons = 0
		e.Scroll = f32.Pt(float32(r.NormFloat64()*30), float32(r.NormFloat64()*60))
		return e
	case 7:
		if len(m.Texts) > 0 {
			return key.EditEvent{Range: key.Range{Start: r.IntN(4), End: r.IntN(8)}, Text: m.Texts[r.IntN(len(m.Texts))]}
		}
	}
	state := key.Press
	if r.IntN(3) == 0 {
		state = key.Release
	}
	return key.Event{Name: m.Names[r.IntN(len(m.Names))], Modifiers: mods, State: state}
}

// OddTexts are texts that fields must bear.
func OddTexts() []string {
	return []string{"1", "9", ".", "-", "e", "foam", "7/8", " ", "\u202e", "é", "1e999", "0"}
}
