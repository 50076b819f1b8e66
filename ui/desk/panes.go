package desk

import (
	"image"

	"gioui.org/io/event"
	"gioui.org/io/key"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/unit"
	"gioui.org/widget"
)

// panes are the widths of the outer panels, and the handles between.
type panes struct {
	left, right         unit.Dp
	leftOff, rightOff   bool
	held                [2]bool
	from                float32
	tags                [2]int
	leftSeen, rightSeen unit.Dp // as last laid out

	awaited *widget.Editor // to get the focus once it is laid out; nil: none
	frames  int            // until then
}

// The least and the most that an outer panel can be.
const (
	leastPane = unit.Dp(190)
	mostPane  = unit.Dp(560)
)

// sizes returns the widths in pixels, narrower where the window is.
func (p *panes) sizes(gtx layout.Context) (left, right int) {
	room := gtx.Metric.PxToDp(gtx.Constraints.Max.X) - 2*gap
	l, r := min(max(p.left, leastPane), mostPane), min(max(p.right, leastPane), mostPane)
	if p.leftOff {
		l = 0
	}
	if p.rightOff {
		r = 0
	}
	if over := l + r - (room - leastMiddle); over > 0 && l+r > 0 {
		scale := max(float32(l+r-over)/float32(l+r), 0.4)
		l, r = unit.Dp(float32(l)*scale), unit.Dp(float32(r)*scale)
	}
	p.leftSeen, p.rightSeen = l, r
	return gtx.Dp(l), gtx.Dp(r)
}

// handle is the gap between two panels, which can be dragged.
func (p *panes) handle(gtx layout.Context, which int) layout.Dimensions {
	tag := &p.tags[which]
	for {
		e, ok := gtx.Event(pointer.Filter{Target: tag, Kinds: pointer.Press | pointer.Drag | pointer.Release | pointer.Cancel})
		if !ok {
			break
		}
		at, ok := e.(pointer.Event)
		if !ok {
			continue
		}
		switch at.Kind {
		case pointer.Press:
			p.held[which], p.from = true, at.Position.X
		case pointer.Drag:
			// The handle moves with the panel, so what counts is how far the pointer
			// is from where the handle was taken.
			by := gtx.Metric.PxToDp(int(at.Position.X - p.from))
			if p.held[which] && which == 0 {
				p.left = min(max(p.leftSeen+by, leastPane), mostPane)
			} else if p.held[which] {
				p.right = min(max(p.rightSeen-by, leastPane), mostPane)
			}
		case pointer.Release, pointer.Cancel:
			p.held[which] = false
		}
	}
	size := image.Pt(gtx.Dp(gap), gtx.Constraints.Max.Y)
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	event.Op(gtx.Ops, tag)
	pointer.CursorColResize.Add(gtx.Ops)
	return layout.Dimensions{Size: size}
}

// reveal scrolls the left panel to one of its parts and gives a field in it the
// focus as soon as the field is laid out: what is not, cannot have it.
func (d *Desk) reveal(part int, field *widget.Editor) {
	d.panes.leftOff = false
	d.sources.list.list.ScrollTo(part)
	d.panes.awaited, d.panes.frames = field, 2
}

// focusAwaited gives the field that was asked for the focus.
func (d *Desk) focusAwaited(gtx layout.Context) {
	if d.panes.awaited == nil {
		return
	}
	if d.panes.frames--; d.panes.frames == 0 {
		gtx.Execute(key.FocusCmd{Tag: d.panes.awaited})
		d.panes.awaited = nil
	}
	gtx.Execute(op.InvalidateCmd{})
}
