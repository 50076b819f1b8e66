package theme

import (
	"image"

	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/widget"
)

// Choice is one of several, picked from a list that drops down. The zero value
// is closed.
type Choice struct {
	Upward bool // the list opens above the button

	open   bool
	toggle widget.Clickable
	items  []widget.Clickable
	list   widget.List
	away   int // its address is the tag of everything outside the list
}

// Update drains what was pressed; picked is the index of an item, ok whether
// one was.
func (c *Choice) Update(gtx layout.Context) (picked int, ok bool) {
	for c.toggle.Clicked(gtx) {
		c.open = !c.open
		if c.open && len(c.items) > 0 {
			gtx.Execute(key.FocusCmd{Tag: &c.items[0]})
		}
	}
	for i := range c.items {
		for c.items[i].Clicked(gtx) {
			picked, ok, c.open = i, true, false
			gtx.Execute(key.FocusCmd{Tag: &c.toggle})
		}
	}
	if !c.open {
		return picked, ok
	}
	for {
		e, more := gtx.Event(pointer.Filter{Target: &c.away, Kinds: pointer.Press}, key.Filter{Name: key.NameEscape})
		if !more {
			return picked, ok
		}
		switch e := e.(type) {
		case pointer.Event:
			if e.Kind == pointer.Press {
				c.open = false
			}
		case key.Event:
			c.open = false
		}
	}
}

// Choice lays a choice out: a button that says which of items is chosen, and
// the list when it is open.
func (t *Theme) Choice(gtx layout.Context, c *Choice, name string, items []string, chosen int) layout.Dimensions {
	if len(c.items) != len(items) {
		c.items = make([]widget.Clickable, len(items))
	}
	said := "–"
	if chosen >= 0 && chosen < len(items) {
		said = items[chosen]
	}
	dims := t.Button(gtx, &c.toggle, Button{Text: said, Opens: true, Wide: gtx.Constraints.Min.X > 0})
	if !c.open {
		return dims
	}
	macro := op.Record(gtx.Ops)
	// Behind the list everything else is out of reach: a press there closes it.
	func() {
		defer clip.Rect{Min: image.Pt(-1e5, -1e5), Max: image.Pt(1e5, 1e5)}.Push(gtx.Ops).Pop()
		event.Op(gtx.Ops, &c.away)
	}()
	c.list.Axis = layout.Vertical
	inner := gtx
	inner.Constraints = layout.Constraints{Min: image.Pt(max(dims.Size.X, gtx.Dp(150)), 0), Max: image.Pt(max(dims.Size.X, gtx.Dp(280)), gtx.Dp(360))}
	rows := op.Record(gtx.Ops)
	size := c.list.List.Layout(inner, len(items), func(gtx layout.Context, i int) layout.Dimensions {
		gtx.Constraints.Max.X = max(dims.Size.X, gtx.Dp(220))
		return t.Row(gtx, &c.items[i], name+": "+items[i], i == chosen, t.Text(Label{Text: items[i], Lines: 1}))
	}).Size
	call := rows.Stop()
	pad := gtx.Dp(4)
	at := image.Pt(0, dims.Size.Y+gtx.Dp(2))
	if c.Upward {
		at.Y = -size.Y - 2*pad - gtx.Dp(2)
	}
	offset := op.Offset(at).Push(gtx.Ops)
	box := size.Add(image.Pt(2*pad, 2*pad))
	Fill(gtx, box, 5, t.Panel)
	Outline(gtx, box, 5, 1, t.Edge)
	inside := op.Offset(image.Pt(pad, pad)).Push(gtx.Ops)
	call.Add(gtx.Ops)
	inside.Pop()
	offset.Pop()
	op.Defer(gtx.Ops, macro.Stop())
	return dims
}
