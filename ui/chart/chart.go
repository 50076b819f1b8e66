package chart

import (
	"image"
	"math"
	"slices"
	"time"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"
)

// Chart is the state of a chart: what part is seen, markers, the brush. The
// zero value is ready.
type Chart struct {
	// Active is the horizontal axis that keys, markers and the crosshair use
	// where the chart has two.
	Active  Side
	Markers []Marker
	// Linked, when not nil, is told of the horizontal view after each change of
	// it by the user, so that charts can move together.
	Linked func(side Side, seen Axis)

	content   Content
	view      view
	begun     bool
	area      image.Rectangle // of the traces, pixels
	flags     []image.Rectangle
	brush     Shade
	cross     float64 // position of the crosshair in the area, pixels
	hasCross  bool
	drag      drag
	kept      [keptTraces]keptTrace
	focused   bool
	pressed   time.Duration // of the last press, and where: two near each other are a double click
	pressedAt Dot
}

// what a press has hold of
type grip int

const (
	nothing grip = iota
	panning
	boxing
	brushing
	moving // a marker
)

type drag struct {
	grip     grip
	side     Side
	from, to Dot // in the area
	marker   int
	before   []Marker
}

// Hint is the one line that says what the pointer does.
const Hint = "drag to move · wheel to zoom · Shift-drag to choose a stretch · Ctrl-drag a box · double click for all"

// View returns the part of the axis of side that is seen.
func (c *Chart) View(side Side) Axis { return c.view.x[side] }

// Show makes the axis of side show from low to high, as far as it has that.
func (c *Chart) Show(side Side, low, high float64) {
	a := c.view.x[side]
	a.Low, a.High = low, high
	c.view.x[side] = a.Within(c.content.X[side])
}

// ShowAll shows everything.
func (c *Chart) ShowAll() { c.view.fit(&c.content) }

// Brush returns the chosen stretch; ok is false when there is none.
func (c *Chart) Brush() (side Side, from, to float64, ok bool) {
	return c.brush.Side, c.brush.From, c.brush.To, c.brush.From != c.brush.To
}

// SetBrush chooses a stretch; equal ends choose none.
func (c *Chart) SetBrush(side Side, from, to float64) {
	c.brush = Shade{Side: side, From: math.Min(from, to), To: math.Max(from, to)}
}

// Crosshair returns where the crosshair stands on the active axis.
func (c *Chart) Crosshair() (side Side, x float64, ok bool) {
	if !c.hasCross || c.area.Dx() <= 0 {
		return c.Active, 0, false
	}
	return c.Active, c.view.x[c.Active].Value(c.cross, float64(c.area.Dx())), true
}

// SetCrosshair puts the crosshair at x of the active axis.
func (c *Chart) SetCrosshair(x float64) {
	c.cross, c.hasCross = c.view.x[c.Active].Position(x, float64(c.area.Dx())), true
}

// Focus makes the chart the one that keys go to.
func (c *Chart) Focus(gtx layout.Context) { gtx.Execute(key.FocusCmd{Tag: c}) }

// Focused says whether keys go to the chart.
func (c *Chart) Focused() bool { return c.focused }

// Update takes the content and drains the events of the last frame. Call it
// before Layout in every frame.
func (c *Chart) Update(gtx layout.Context, content Content) []Event {
	if !c.begun {
		c.begun = true
		c.view.fit(&content)
	} else {
		c.view.keep(&content, &c.content)
	}
	c.content = content
	if !content.has(c.Active) && content.has(1-c.Active) {
		c.Active = 1 - c.Active
	}
	var out []Event
	for {
		e, ok := gtx.Event(
			pointer.Filter{Target: c, Kinds: pointer.Press | pointer.Drag | pointer.Release | pointer.Cancel | pointer.Move | pointer.Enter | pointer.Leave | pointer.Scroll,
				ScrollX: pointer.ScrollRange{Min: -math.MaxInt32, Max: math.MaxInt32}, ScrollY: pointer.ScrollRange{Min: -math.MaxInt32, Max: math.MaxInt32}},
			key.FocusFilter{Target: c},
			key.Filter{Focus: c, Name: key.NameLeftArrow, Optional: key.ModShift | key.ModCtrl},
			key.Filter{Focus: c, Name: key.NameRightArrow, Optional: key.ModShift | key.ModCtrl},
			key.Filter{Focus: c, Name: key.NameUpArrow, Optional: key.ModShift},
			key.Filter{Focus: c, Name: key.NameDownArrow, Optional: key.ModShift},
			key.Filter{Focus: c, Name: "+", Optional: key.ModShift}, key.Filter{Focus: c, Name: "=", Optional: key.ModShift},
			key.Filter{Focus: c, Name: "-"}, key.Filter{Focus: c, Name: key.NameHome}, key.Filter{Focus: c, Name: "0"},
			key.Filter{Focus: c, Name: "M"}, key.Filter{Focus: c, Name: key.NameDeleteBackward}, key.Filter{Focus: c, Name: key.NameDeleteForward},
			key.Filter{Focus: c, Name: "X"}, key.Filter{Focus: c, Name: "B"}, key.Filter{Focus: c, Name: key.NameEscape},
		)
		if !ok {
			return out
		}
		switch e := e.(type) {
		case key.FocusEvent:
			c.focused = e.Focus
		case key.Event:
			if e.State == key.Press {
				out = append(out, c.key(e)...)
			}
		case pointer.Event:
			out = append(out, c.pointer(gtx, e)...)
		}
	}
}

// dot is a pointer's place in the area.
func (c *Chart) dot(p f32.Point) Dot {
	return Dot{float64(p.X) - float64(c.area.Min.X), float64(p.Y) - float64(c.area.Min.Y)}
}

func (c *Chart) size() (width, height float64) {
	return math.Max(float64(c.area.Dx()), 1), math.Max(float64(c.area.Dy()), 1)
}

// region says which axes a place belongs to: a margin belongs to its own.
func (c *Chart) region(d Dot) (side Side, horizontal, vertical bool) {
	_, height := c.size()
	switch {
	case d.Y > height && c.content.has(Lower):
		return Lower, true, false
	case d.Y < 0 && c.content.has(Upper):
		return Upper, true, false
	case d.X < 0:
		return c.Active, false, true
	}
	return c.Active, true, true
}

func (c *Chart) changed(side Side) {
	if c.Linked != nil {
		c.Linked(side, c.view.x[side])
	}
}

func (c *Chart) pointer(gtx layout.Context, e pointer.Event) []Event {
	d := c.dot(e.Position)
	width, height := c.size()
	switch e.Kind {
	case pointer.Leave:
		if c.drag.grip == nothing {
			c.hasCross = false
		}
	case pointer.Move, pointer.Enter:
		c.cross, c.hasCross = d.X, d.X >= 0 && d.X <= width
	case pointer.Scroll:
		c.scroll(d, e)
	case pointer.Press:
		if e.Source == pointer.Mouse && !e.Buttons.Contain(pointer.ButtonPrimary) {
			return nil
		}
		gtx.Execute(key.FocusCmd{Tag: c})
		return c.press(d, e)
	case pointer.Drag:
		c.dragTo(d)
	case pointer.Release:
		held := c.drag
		c.drag = drag{}
		switch held.grip {
		case boxing:
			c.view.box(&c.content, held.side, held.from, held.to, width, height)
			c.changed(held.side)
		case brushing:
			a := c.view.x[held.side]
			if math.Abs(held.to.X-held.from.X) < 3 {
				c.brush.To = c.brush.From
			} else {
				c.SetBrush(held.side, a.Value(held.from.X, width), a.Value(held.to.X, width))
			}
			return []Event{Brushed{c.brush.Side, c.brush.From, c.brush.To}}
		case moving:
			if held.from != held.to {
				return []Event{MarkersChanged{held.before}}
			}
		}
	case pointer.Cancel:
		c.drag = drag{}
	}
	return nil
}

// One unit of the wheel scales by e^wheelScale. A notch is 10 units on some
// systems and 120 on others, so one event scales by no more than e^wheelMost.
const (
	wheelScale = 0.015
	wheelMost  = 0.25
)

func (c *Chart) scroll(d Dot, e pointer.Event) {
	width, height := c.size()
	side, horizontal, vertical := c.region(d)
	factor := math.Exp(min(max(float64(e.Scroll.Y)*wheelScale, -wheelMost), wheelMost))
	switch {
	case e.Modifiers.Contain(key.ModShift) || e.Scroll.Y == 0:
		c.view.pan(&c.content, side, float64(e.Scroll.X+e.Scroll.Y), width)
	case vertical && (!horizontal || e.Modifiers.Contain(key.ModCtrl)):
		c.view.zoomY(&c.content, factor, d.Y, height)
		return
	default:
		c.view.zoom(&c.content, side, factor, d.X, width)
	}
	c.changed(side)
}

// Within markerReach pixels of a marker a press takes hold of it; two presses
// as near to each other and within doubleClick are one double click.
const (
	markerReach = 6
	doubleClick = 400 * time.Millisecond
)

func (c *Chart) press(d Dot, e pointer.Event) []Event {
	width, _ := c.size()
	for i := len(c.flags) - 1; i >= 0; i-- {
		if e.Position.Round().In(c.flags[i]) {
			return []Event{FlagPressed{i}}
		}
	}
	side, horizontal, _ := c.region(d)
	if horizontal {
		c.Active = side
	}
	if again := e.Time-c.pressed < doubleClick && math.Hypot(d.X-c.pressedAt.X, d.Y-c.pressedAt.Y) < markerReach; again {
		c.all()
		c.pressed = 0
		return nil
	}
	c.pressed, c.pressedAt = e.Time, d
	c.drag = drag{side: side, from: d, to: d}
	for i, m := range c.Markers {
		if c.content.has(m.Side) && math.Abs(c.view.x[m.Side].Position(m.X, width)-d.X) <= markerReach {
			c.drag.grip, c.drag.marker, c.drag.side, c.drag.before = moving, i, m.Side, c.Markers
			c.Markers = slices.Clone(c.Markers)
			return nil
		}
	}
	switch {
	case e.Modifiers.Contain(key.ModShift):
		c.drag.grip = brushing
	case e.Modifiers.Contain(key.ModCtrl):
		c.drag.grip = boxing
	default:
		c.drag.grip = panning
	}
	return nil
}

func (c *Chart) dragTo(d Dot) {
	width, height := c.size()
	before := c.drag.to
	c.drag.to = d
	c.cross, c.hasCross = min(max(d.X, 0), width), true
	switch c.drag.grip {
	case panning:
		if _, horizontal, vertical := c.region(c.drag.from); horizontal {
			c.view.pan(&c.content, c.drag.side, before.X-d.X, width)
			if vertical {
				c.view.panY(&c.content, before.Y-d.Y, height)
			}
			c.changed(c.drag.side)
		} else {
			c.view.panY(&c.content, before.Y-d.Y, height)
		}
	case moving:
		if c.drag.marker < len(c.Markers) {
			c.Markers[c.drag.marker].X = c.clamped(c.drag.side, c.view.x[c.drag.side].Value(d.X, width))
		}
	}
}

// clamped keeps x on its axis.
func (c *Chart) clamped(side Side, x float64) float64 {
	a := c.content.X[side]
	return min(max(x, math.Min(a.Low, a.High)), math.Max(a.Low, a.High))
}

// all shows everything, and says so.
func (c *Chart) all() {
	c.ShowAll()
	c.changed(Lower)
	c.changed(Upper)
}

// Parts of the seen range that one press of a key moves, and by how much it zooms.
const (
	keyPan  = 0.1
	keyZoom = 1.25
)

func (c *Chart) key(e key.Event) []Event {
	width, height := c.size()
	side := c.Active
	move := func(by float64) {
		switch {
		case e.Modifiers.Contain(key.ModCtrl): // the crosshair, a pixel or ten
			if !c.hasCross {
				c.cross = width / 2
			}
			if e.Modifiers.Contain(key.ModShift) {
				by *= 10
			}
			c.cross, c.hasCross = min(max(c.cross+by, 0), width), true
		default:
			c.view.pan(&c.content, side, by*keyPan*width, width)
			c.changed(side)
		}
	}
	switch e.Name {
	case key.NameLeftArrow:
		move(-1)
	case key.NameRightArrow:
		move(1)
	case key.NameUpArrow:
		if e.Modifiers.Contain(key.ModShift) {
			c.view.zoomY(&c.content, 1/keyZoom, height/2, height)
		} else {
			c.view.panY(&c.content, -keyPan*height, height)
		}
	case key.NameDownArrow:
		if e.Modifiers.Contain(key.ModShift) {
			c.view.zoomY(&c.content, keyZoom, height/2, height)
		} else {
			c.view.panY(&c.content, keyPan*height, height)
		}
	case "+", "=", "-":
		factor, about := 1/keyZoom, width/2
		if e.Name == "-" {
			factor = keyZoom
		}
		if c.hasCross {
			about = c.cross
		}
		c.view.zoom(&c.content, side, factor, about, width)
		c.changed(side)
	case key.NameHome, "0":
		c.all()
	case "M":
		_, x, ok := c.Crosshair()
		if !ok {
			x = c.view.x[side].Value(width/2, width)
		}
		before := c.Markers
		c.Markers = append(slices.Clone(before), Marker{side, c.clamped(side, x)})
		return []Event{MarkersChanged{before}}
	case key.NameDeleteBackward, key.NameDeleteForward:
		if i := c.nearestMarker(); i >= 0 {
			before := c.Markers
			c.Markers = slices.Delete(slices.Clone(before), i, i+1)
			return []Event{MarkersChanged{before}}
		}
	case "X":
		if c.content.has(1 - side) {
			c.Active = 1 - side
		}
	case "B":
		return c.brushKey()
	case key.NameEscape:
		if c.brush.From != c.brush.To {
			c.brush.To = c.brush.From
			return []Event{Brushed{c.brush.Side, c.brush.From, c.brush.To}}
		}
	}
	return nil
}

// brushKey chooses from the last marker, or the left edge, to the crosshair.
func (c *Chart) brushKey() []Event {
	side, x, ok := c.Crosshair()
	if !ok {
		return nil
	}
	from := c.view.x[side].Low
	for _, m := range c.Markers {
		if m.Side == side {
			from = m.X
		}
	}
	c.SetBrush(side, from, x)
	return []Event{Brushed{c.brush.Side, c.brush.From, c.brush.To}}
}

// nearestMarker is the marker nearest to the crosshair, -1 without any.
func (c *Chart) nearestMarker() int {
	width, _ := c.size()
	best, distance := -1, math.Inf(1)
	for i, m := range c.Markers {
		p := c.view.x[m.Side].Position(m.X, width)
		if off := math.Abs(p - c.cross); c.content.has(m.Side) && (off < distance || !c.hasCross) {
			best, distance = i, off
		}
	}
	return best
}

func (c *Chart) listen(gtx layout.Context) { event.Op(gtx.Ops, c) }

// Area returns where the traces stand, in pixels from the chart's corner.
func (c *Chart) Area() image.Rectangle { return c.area }
