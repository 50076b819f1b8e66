package desk

import (
	"fmt"
	"image"
	"math"

	"gioui.org/io/event"
	"gioui.org/io/pointer"
	"gioui.org/layout"
	"gioui.org/op"
	"gioui.org/op/clip"
	"gioui.org/op/paint"
	"gioui.org/text"

	"downlead/cables"
	"downlead/ui/chart"
	"downlead/ui/theme"
)

// lineView is the line drawn to scale under the distance axis.
type lineView struct {
	held    int // index of the section whose end is dragged, plus one; 0: none
	from    float32
	length  float64 // of that section when it was taken
	hover   float32
	over    bool
	area    image.Rectangle // as laid out, where the line is drawn
	seen    chart.Axis
	flags   []image.Rectangle
	flagsOf []int
}

// ends are the places of the sections' ends, m, by section.
func sectionEnds(path *cables.Path) []float64 {
	var out []float64
	for _, s := range path.Spans {
		if s.Device == nil {
			out = append(out, s.StartM+s.LengthM)
		}
	}
	return out
}

// endReach is how near to a section's end a press takes hold of it.
const endReach = 6

func (d *Desk) updateLine(gtx layout.Context) {
	v := &d.line
	for {
		e, ok := gtx.Event(pointer.Filter{Target: v, Kinds: pointer.Press | pointer.Drag | pointer.Release | pointer.Cancel | pointer.Move | pointer.Leave})
		if !ok {
			return
		}
		p, is := e.(pointer.Event)
		if !is || d.path == nil {
			continue
		}
		switch p.Kind {
		case pointer.Leave:
			v.over = false
		case pointer.Move:
			v.hover, v.over = p.Position.X, true
		case pointer.Press:
			d.pressLine(gtx, p)
		case pointer.Drag:
			d.dragLine(p)
		case pointer.Release, pointer.Cancel:
			v.held = 0
			d.history.Rest()
			d.editor.stale = true
		}
	}
}

// endAt is the section whose end lies at x pixels, -1 for none.
func (d *Desk) endAt(x float32, reach int) int {
	v := &d.line
	best, off := -1, float64(reach)
	for i, m := range sectionEnds(d.path) {
		if away := math.Abs(v.seen.Position(m, float64(v.area.Dx())) + float64(v.area.Min.X) - float64(x)); away <= off {
			best, off = i, away
		}
	}
	return best
}

func (d *Desk) pressLine(gtx layout.Context, p pointer.Event) {
	v := &d.line
	for i, r := range v.flags {
		if p.Position.Round().In(r) {
			d.selectFinding(v.flagsOf[i])
			return
		}
	}
	if i := d.endAt(p.Position.X, gtx.Dp(endReach)); i >= 0 {
		v.held, v.from, v.length = i+1, p.Position.X, d.editor.line.Sections[i].LengthM
		return
	}
	m := v.seen.Value(float64(p.Position.X)-float64(v.area.Min.X), float64(v.area.Dx()))
	if m < 0 || m > d.path.LengthM() {
		return
	}
	at := d.path.SpanAt(m)
	if d.path.Spans[at].Device != nil {
		return
	}
	section := 0
	for _, s := range d.path.Spans[:at] {
		if s.Device == nil {
			section++
		}
	}
	d.chooseSection(section)
}

func (d *Desk) dragLine(p pointer.Event) {
	v := &d.line
	if v.held == 0 || v.area.Dx() <= 0 {
		return
	}
	perPixel := v.seen.Resolution((v.seen.Low+v.seen.High)/2, float64(v.area.Dx()))
	m := math.Max(math.Round((v.length+float64(p.Position.X-v.from)*perPixel)*100)/100, 0.01)
	d.fail(d.setLength(v.held-1, m, "drag"))
	d.editor.stale = true
}

func (d *Desk) layoutLine(gtx layout.Context) layout.Dimensions {
	v := &d.line
	size := image.Pt(gtx.Constraints.Max.X, gtx.Dp(86))
	c := d.alongChart()
	v.area = image.Rectangle{Min: image.Pt(c.Area().Min.X, gtx.Dp(22)), Max: image.Pt(c.Area().Max.X, gtx.Dp(42))}
	v.seen = c.View(chart.Lower)
	if d.path == nil || d.drawn == nil || d.drawn.alongErr != nil || v.seen.Low == v.seen.High {
		return layout.Dimensions{Size: image.Pt(size.X, gtx.Dp(8))}
	}
	defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
	event.Op(gtx.Ops, v)
	if v.held > 0 || v.over && d.endAt(v.hover, gtx.Dp(endReach)) >= 0 {
		pointer.CursorColResize.Add(gtx.Ops)
	} else {
		pointer.CursorPointer.Add(gtx.Ops)
	}
	column := func(m float64) int {
		x := v.seen.Position(m, float64(v.area.Dx()))
		return v.area.Min.X + int(math.Round(min(max(x, -1e4), 1e4)))
	}
	func() {
		defer clip.Rect(image.Rect(v.area.Min.X, 0, v.area.Max.X+gtx.Dp(14), size.Y)).Push(gtx.Ops).Pop()
		d.drawSpans(gtx, column)
		d.drawEnd(gtx, column(d.path.LengthM()))
	}()
	d.drawFlags(gtx, column)
	d.drawResolution(gtx)
	return layout.Dimensions{Size: size}
}

// drawSpans draws the sections and the devices with their names.
func (d *Desk) drawSpans(gtx layout.Context, column func(float64) int) {
	v := &d.line
	section := -1
	for _, s := range d.path.Spans {
		from, to := column(s.StartM), column(s.StartM+s.LengthM)
		if s.Device != nil {
			from, to = min(from, to-gtx.Dp(4)), max(to, from+gtx.Dp(4))
			rectangle(gtx, image.Rect(from, v.area.Min.Y-gtx.Dp(3), to, v.area.Max.Y+gtx.Dp(3)), d.theme.Ink)
			continue
		}
		section++
		ground := theme.Alpha(d.theme.Quiet, 0.22+0.22*float64(cableShade(d.path, s.Cable)%3))
		r := image.Rect(from, v.area.Min.Y, max(to, from+1), v.area.Max.Y)
		rectangle(gtx, r, ground)
		rectangle(gtx, image.Rect(r.Max.X-1, r.Min.Y, r.Max.X, r.Max.Y), d.theme.Panel)
		if section == d.editor.chosen {
			at(gtx, r.Min, func(gtx layout.Context) layout.Dimensions {
				theme.Outline(gtx, r.Size(), 0, 2, d.theme.Link)
				return layout.Dimensions{}
			})
		}
		left, right := max(from, v.area.Min.X), min(to, v.area.Max.X)
		long := s.Name
		if s.Cable != nil {
			long += " · " + s.Cable.Name
		}
		d.centred(gtx, image.Rect(left, v.area.Min.Y, right, v.area.Max.Y), []string{long, s.Name})
	}
	at(gtx, image.Pt(column(0)+gtx.Dp(2), gtx.Dp(2)), d.small("test port", d.theme.Quiet))
}

// cableShade numbers the cables of a path by their first use, so that sections
// of one cable look alike.
func cableShade(path *cables.Path, cable *cables.Type) int {
	n := 0
	seen := map[string]bool{}
	for _, s := range path.Spans {
		if s.Cable == nil || seen[s.Cable.ID] {
			continue
		}
		if cable != nil && s.Cable.ID == cable.ID {
			return n
		}
		seen[s.Cable.ID] = true
		n++
	}
	return n
}

// centred writes the first of the texts that fits into r.
func (d *Desk) centred(gtx layout.Context, r image.Rectangle, texts []string) {
	for _, one := range texts {
		macro := op.Record(gtx.Ops)
		inner := gtx
		inner.Constraints = layout.Constraints{Max: image.Pt(1e5, 1e5)}
		size := d.theme.Label(inner, theme.Label{Text: one, Size: d.theme.Small(), Lines: 1}).Size
		call := macro.Stop()
		if size.X+gtx.Dp(6) > r.Dx() {
			continue
		}
		offset := op.Offset(r.Min.Add(r.Size().Sub(size).Div(2))).Push(gtx.Ops)
		call.Add(gtx.Ops)
		offset.Pop()
		return
	}
}

// drawEnd draws what ends the line.
func (d *Desk) drawEnd(gtx layout.Context, x int) {
	v := &d.line
	kind := d.document().Line.Load.Kind
	top, bottom := float64(v.area.Min.Y-gtx.Dp(6)), float64(v.area.Max.Y+gtx.Dp(6))
	w := float64(gtx.Dp(11))
	switch kind {
	case cables.Antenna:
		var path clip.Path
		path.Begin(gtx.Ops)
		path.MoveTo(pt(float64(x), top+w/2))
		path.LineTo(pt(float64(x)+w, top))
		path.LineTo(pt(float64(x)+w, bottom))
		path.LineTo(pt(float64(x), bottom-w/2))
		path.Close()
		paint.FillShape(gtx.Ops, d.theme.Ink, clip.Outline{Path: path.End()}.Op())
	case cables.Unstated:
	default:
		rectangle(gtx, image.Rect(x, v.area.Min.Y-gtx.Dp(2), x+gtx.Dp(5), v.area.Max.Y+gtx.Dp(2)), d.theme.Ink)
	}
	at(gtx, image.Pt(max(x-gtx.Dp(60), v.area.Min.X), gtx.Dp(2)), func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min.X, gtx.Constraints.Max.X = gtx.Dp(70), gtx.Dp(70)
		return d.theme.Label(gtx, theme.Label{Text: loadName(kind), Size: d.theme.Small(), Color: d.theme.Quiet, Lines: 1, Align: text.End})
	})
}

// drawResolution draws, to scale, how far apart two equal faults must be.
func (d *Desk) drawResolution(gtx layout.Context) {
	v, m := &d.line, d.drawn.figures.MainLobe6DBM
	width := int(math.Abs(v.seen.Position(v.seen.Low+m, float64(v.area.Dx()))))
	if d.drawn.figuresErr != nil || width > v.area.Dx()/2 {
		return
	}
	y, x := v.area.Max.Y+gtx.Dp(28), v.area.Min.X
	c := d.theme.Quiet
	rectangle(gtx, image.Rect(x, y, x+max(width, 1), y+gtx.Dp(1)), c)
	rectangle(gtx, image.Rect(x, y-gtx.Dp(3), x+1, y+gtx.Dp(4)), c)
	rectangle(gtx, image.Rect(x+width, y-gtx.Dp(3), x+width+1, y+gtx.Dp(4)), c)
	at(gtx, image.Pt(x+width+gtx.Dp(6), y-gtx.Dp(8)), func(gtx layout.Context) layout.Dimensions {
		gtx.Constraints.Min = image.Point{}
		return d.small(d.metres(m)+" apart show as two", c)(gtx)
	})
}

// drawFlags pins the faults to the line: a number, a bar of ± one standard
// deviation or the stretch, and for the selected one its words.
func (d *Desk) drawFlags(gtx layout.Context, column func(float64) int) {
	v := &d.line
	v.flags, v.flagsOf = v.flags[:0], v.flagsOf[:0]
	for n, i := range d.faults() {
		f := &d.findings.Findings[i]
		from, to := column(f.DistanceM-f.SigmaM), column(f.DistanceM+f.ExtentM+f.SigmaM)
		if to < v.area.Min.X || from > v.area.Max.X {
			continue
		}
		from, to = max(from, v.area.Min.X), min(to, v.area.Max.X)
		if f.ExtentM > 0 {
			rectangle(gtx, image.Rect(column(f.DistanceM), v.area.Min.Y, max(column(f.DistanceM+f.ExtentM), column(f.DistanceM)+2), v.area.Max.Y), theme.Alpha(d.theme.Distance, 0.65))
		}
		y := v.area.Max.Y + gtx.Dp(5)
		rectangle(gtx, image.Rect(from, y, max(to, from+gtx.Dp(2)), y+gtx.Dp(2)), d.theme.Distance)
		mark := column(f.DistanceM)
		rectangle(gtx, image.Rect(mark, v.area.Min.Y, mark+gtx.Dp(2), y), d.theme.Distance)
		said := fmt.Sprint(n + 1)
		c := d.theme.Distance
		if i == d.selected {
			said += "  " + d.nameOf(f) + "  " + d.place(f)
			if f.ExtentM > 0 {
				said += ", " + d.metres(f.ExtentM) + " long"
			}
		}
		for _, o := range v.flags {
			if image.Rect(mark, y, mark+gtx.Dp(16), y+gtx.Dp(20)).Overlaps(o) {
				y = o.Max.Y - gtx.Dp(4)
			}
		}
		left := mark
		macro := op.Record(gtx.Ops)
		inner := gtx
		inner.Constraints = layout.Constraints{Max: image.Pt(1e5, 1e5)}
		size := d.theme.Label(inner, theme.Label{Text: said, Color: c, Font: theme.Strong, Size: d.theme.Small(), Lines: 1}).Size
		call := macro.Stop()
		left = max(min(left, gtx.Constraints.Max.X-size.X), 0)
		r := image.Rect(left, y+gtx.Dp(3), left+size.X, y+gtx.Dp(3)+size.Y)
		offset := op.Offset(r.Min).Push(gtx.Ops)
		call.Add(gtx.Ops)
		offset.Pop()
		v.flags, v.flagsOf = append(v.flags, r.Inset(-gtx.Dp(3))), append(v.flagsOf, i)
	}
}
