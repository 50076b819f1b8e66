package bench

import (
	"fmt"
	"image"
	"math"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"

	"downlead/dsp/simulate"
	"downlead/ui/chart"
)

// board is the drawn line with the tray under it: one panel, so that a fault can be
// dragged from one to the other.
type board struct {
	chart image.Rectangle // the area of the chart that the line is drawn to
	area  image.Rectangle // of the drawn line, in pixels of the panel
	seen  chart.Axis
	tray  []image.Rectangle
	pins  []image.Rectangle // where a fault can be taken hold of, by its index
	size  image.Point
	drag  drag
	chips [10]grasp         // of the tray, for the keyboard
	marks [mostFaults]grasp // of the faults
}

// mostFaults is how many faults the bench takes.
const mostFaults = 12

// grasp is something of the board that keys can be aimed at, by its address.
type grasp struct{ _ byte }

// drag is a fault in the hand.
type drag struct {
	on     bool
	kind   int     // of the tray, for one that is not on the line yet
	index  int     // of the fault on the line; -1: not on the line
	far    bool    // its far end is held
	offset float64 // of the fault from the pointer when it was taken, m
	place  image.Point
	fault  simulate.Fault // as it was last on the line
	fresh  bool           // from the tray
}

// offLine is how far above or below the line, in lines of its height, a fault leaves it.
const offLine = 1.6

func (b *Bench) updateBoard(gtx layout.Context) {
	for {
		e, ok := gtx.Event(pointer.Filter{Target: &b.board, Kinds: pointer.Press | pointer.Drag | pointer.Release | pointer.Cancel})
		if !ok {
			break
		}
		p, is := e.(pointer.Event)
		if !is || b.path == nil {
			continue
		}
		switch p.Kind {
		case pointer.Press:
			if p.Source != pointer.Mouse || p.Buttons.Contain(pointer.ButtonPrimary) {
				b.press(gtx, p.Position)
			}
		case pointer.Drag:
			b.dragTo(p.Position)
		case pointer.Release, pointer.Cancel:
			b.drop(gtx)
		}
	}
	b.boardKeys(gtx)
}

// metresAt is the place on the line over a column of the panel.
func (b *Bench) metresAt(x float32) float64 {
	v := &b.board
	return v.seen.Value(float64(x)-float64(v.area.Min.X), math.Max(float64(v.area.Dx()), 1))
}

// column is the inverse of metresAt.
func (b *Bench) column(m float64) int {
	v := &b.board
	x := v.seen.Position(m, float64(v.area.Dx()))
	if math.IsNaN(x) {
		return v.area.Min.X
	}
	return v.area.Min.X + int(math.Round(math.Min(math.Max(x, -1e4), 1e4)))
}

// reachM is how near to a joint something is drawn to it: some pixels, in metres.
func (b *Bench) reachM() float64 {
	return 8 * math.Abs(b.metresAt(float32(b.board.area.Min.X+1))-b.metresAt(float32(b.board.area.Min.X)))
}

func (b *Bench) press(gtx layout.Context, p f32.Point) {
	v := &b.board
	place := p.Round()
	for i := len(v.pins) - 1; i >= 0; i-- {
		if i >= len(b.shownFaults()) || !place.In(v.pins[i]) {
			continue
		}
		b.selected = i
		gtx.Execute(key.FocusCmd{Tag: &v.marks[i]})
		b.history.Rest()
		from, to := b.span(i)
		v.drag = drag{on: true, index: i, offset: from - b.metresAt(p.X), place: place, fault: b.Setup().Faults[i]}
		v.drag.far = to > from && place.Y < v.area.Max.Y && math.Abs(float64(b.column(to)-place.X)) <= float64(gtx.Dp(5))
		return
	}
	for i, r := range v.tray {
		if place.In(r) {
			gtx.Execute(key.FocusCmd{Tag: &v.chips[i]})
			b.history.Rest()
			v.drag = drag{on: true, fresh: true, kind: i, index: -1, place: place, fault: kinds()[i].fresh()}
			return
		}
	}
	b.selected = -1
	if b.blind.on && b.overLine(place) {
		b.markHere(b.metresAt(p.X))
	}
}

// overLine says whether a place is near enough to the line to stand on it.
func (b *Bench) overLine(p image.Point) bool {
	a := b.board.area
	away := int(offLine * float64(a.Dy()))
	return p.Y > a.Min.Y-away && p.Y < a.Max.Y+away && p.X > a.Min.X-away && p.X < a.Max.X+away
}

func (b *Bench) dragTo(p f32.Point) {
	d := &b.board.drag
	if !d.on {
		return
	}
	d.place = p.Round()
	m := b.metresAt(p.X) + d.offset
	switch {
	case d.far:
		b.stretchTo(m - d.offset)
	case !b.overLine(d.place):
		if d.index >= 0 {
			d.fault = b.Setup().Faults[d.index]
			b.remove(d.index, "drag")
			d.index = -1
		}
	case d.index < 0:
		d.index = b.put(d.fault, m, "drag")
	default:
		b.move(d.index, m, "drag")
	}
}

// drop lets go of what is held. Keys then go to it.
func (b *Bench) drop(gtx layout.Context) {
	d := b.board.drag
	b.board.drag = drag{}
	if d.on {
		b.history.Rest()
	}
	if d.on && d.index >= 0 {
		gtx.Execute(key.FocusCmd{Tag: &b.board.marks[d.index]})
	}
}

// stretchTo sets the far end of the held stretch.
func (b *Bench) stretchTo(m float64) {
	d := &b.board.drag
	if d.index < 0 || d.index >= len(b.Setup().Faults) {
		return
	}
	from, _ := b.span(d.index)
	b.edit(d.index, "change the length of ", "drag", func(f *simulate.Fault) {
		f.ExtentM = math.Max(math.Round((m-from)*100)/100, 0.01)
		*f = placed(*f, b.path, from, 0)
	})
}

// name is a fault's in a sentence: "B, poor contact".
func (b *Bench) name(i int) string {
	return letter(i) + ", " + words(b.Setup().Faults[i].Cause)
}

// put puts a fault on the line and returns its index; -1 where it cannot be there.
func (b *Bench) put(f simulate.Fault, m float64, kind string) int {
	n := len(b.Setup().Faults)
	if n == mostFaults {
		b.trouble = fmt.Sprintf("there are %d faults on the line already; take one off first", n)
		return -1
	}
	f = placed(f, b.path, m, b.reachM())
	if b.change("put "+words(f.Cause)+" on the line", kind, func(s *Setup) { s.Faults = append(s.Faults, f) }) != nil {
		return -1
	}
	b.selected = n
	return n
}

// remove takes a fault off the line.
func (b *Bench) remove(i int, kind string) {
	said := "take " + b.name(i) + " off the line"
	if b.change(said, kind, func(s *Setup) { s.Faults = append(s.Faults[:i], s.Faults[i+1:]...) }) == nil {
		b.selected = min(i, len(b.Setup().Faults)-1)
	}
}

// edit changes a fault.
func (b *Bench) edit(i int, did, kind string, change func(*simulate.Fault)) {
	_ = b.change(did+b.name(i), kind, func(s *Setup) { change(&s.Faults[i]) }) // the foot says why it cannot be
}

// move moves a fault to m metres, or as near to it as it can be.
func (b *Bench) move(i int, m float64, kind string) {
	f := placed(b.Setup().Faults[i], b.path, m, b.reachM())
	if f == b.Setup().Faults[i] {
		return
	}
	b.edit(i, "move ", kind, func(old *simulate.Fault) { *old = f })
}

// nudge moves a fault by keys: one of joints to the next joint, others by metres.
func (b *Bench) nudge(i int, by float64) {
	f := b.Setup().Faults[i]
	from, _ := b.span(i)
	if f.Cause == "antenna" {
		return
	}
	to := from + by
	if ofJoints(f.Cause) {
		joints := b.path.JointsM()
		best := from
		for k := range joints {
			x := joints[k]
			if by < 0 {
				x = joints[len(joints)-1-k]
			}
			if by > 0 && x > from+1e-6 || by < 0 && x < from-1e-6 {
				best = x
				break
			}
		}
		to = best
	}
	moved := placed(f, b.path, to, 0)
	if moved != f {
		b.edit(i, "move ", "nudge", func(old *simulate.Fault) { *old = moved })
	}
}

// stronger turns the first severity of a fault by a share of its range.
func (b *Bench) stronger(i int, by float64) {
	f := b.Setup().Faults[i]
	s := severities(&f)[0]
	way := scale{s.low, s.high, s.log, s.none}
	if weakerUpward(f.Cause) {
		by = -by
	}
	v := way.step(*s.of(&f), by)
	b.edit(i, "change ", "severity", func(f *simulate.Fault) { *s.of(f) = v })
}

// weakerUpward says whether the first severity of a cause is worse the lower it is.
func weakerUpward(cause string) bool { return cause == "dent-or-kink" || cause == "antenna" }

// boardKeys drains the keys aimed at the tray and at the faults.
func (b *Bench) boardKeys(gtx layout.Context) {
	v := &b.board
	for i := range v.chips {
		for {
			e, ok := gtx.Event(key.FocusFilter{Target: &v.chips[i]},
				key.Filter{Focus: &v.chips[i], Name: key.NameReturn}, key.Filter{Focus: &v.chips[i], Name: key.NameSpace})
			if !ok {
				break
			}
			if pressed, is := e.(key.Event); is && pressed.State == key.Press && b.path != nil {
				b.history.Rest()
				b.putByKey(kinds()[i])
				b.again(gtx)
			}
		}
	}
	for i := range v.marks {
		b.markKeys(gtx, i)
	}
}

// putByKey puts a fault where the crosshair of the line's chart stands, or the first
// place along it that takes one.
func (b *Bench) putByKey(k kind) {
	f := k.fresh()
	if side, x, ok := b.along.Crosshair(); ok && side == chart.Lower {
		if b.put(f, x, "") >= 0 {
			return
		}
	}
	// The middle of the line first, then outward.
	long := b.path.LengthM()
	for step := range 20 {
		if b.put(f, long*(0.5+0.025*float64(step)*float64(1-2*(step%2))), "") >= 0 {
			return
		}
	}
}

func (b *Bench) markKeys(gtx layout.Context, i int) {
	m := &b.board.marks[i]
	for {
		filters := []event.Filter{key.FocusFilter{Target: m}}
		for _, name := range []key.Name{key.NameLeftArrow, key.NameRightArrow, "+", "=", "-", key.NameDeleteBackward, key.NameDeleteForward} {
			filters = append(filters, key.Filter{Focus: m, Name: name, Optional: key.ModShift})
		}
		e, ok := gtx.Event(filters...)
		if !ok {
			return
		}
		switch e := e.(type) {
		case key.FocusEvent:
			if e.Focus && i < len(b.Setup().Faults) {
				b.selected = i
			}
		case key.Event:
			if i >= len(b.shownFaults()) || b.path == nil {
				continue
			}
			if e.State != key.Press {
				b.history.Rest()
				continue
			}
			b.markKey(i, e)
			b.again(gtx)
		}
	}
}

func (b *Bench) markKey(i int, e key.Event) {
	by := 0.01
	if !e.Modifiers.Contain(key.ModShift) {
		by = b.cellM()
	}
	switch e.Name {
	case key.NameLeftArrow:
		b.nudge(i, -by)
	case key.NameRightArrow:
		b.nudge(i, by)
	case "+", "=":
		b.stronger(i, 0.05)
	case "-":
		b.stronger(i, -0.05)
	default:
		b.history.Rest()
		b.remove(i, "")
	}
}

// cellM is what an arrow key moves a fault by: the resolution cell, m.
func (b *Bench) cellM() float64 {
	if b.drawn == nil || b.drawn.figuresErr != nil {
		return 0.1
	}
	return math.Max(math.Round(b.drawn.figures.CellM*100)/100, 0.01)
}
