package bench

import (
	"fmt"
	"image"
	"math"

	"gioui.org/f32"
	"gioui.org/io/event"
	"gioui.org/io/pointer"
	"gioui.org/io/semantic"
	"gioui.org/layout"
	"gioui.org/op/clip"
	"gioui.org/text"
	"gioui.org/unit"

	"downlead/cables"
	"downlead/dsp/simulate"
	"downlead/ui/chart"
	"downlead/ui/theme"
)

// latticeRoom is the height of the bounce diagram.
const latticeRoom = unit.Dp(150)

// pinGap is how far under the line the pins stand, pixels.
func pinGap(gtx layout.Context) int { return gtx.Dp(5) }

func (b *Bench) layoutBoard(gtx layout.Context) layout.Dimensions {
	v := &b.board
	width := gtx.Constraints.Max.X
	a := b.along.Area()
	v.chart = a
	v.seen = b.seen()
	letters := gtx.Sp(b.theme.Small())
	top := letters*4/3 + gtx.Dp(3) // of the line, under a row of names
	v.area = image.Rect(a.Min.X, top, max(a.Max.X, a.Min.X+1), top+letters*4/3+gtx.Dp(5))
	y := v.area.Max.Y + pinGap(gtx) + letters*3/2 + gtx.Dp(5)
	var lattice image.Rectangle
	if b.bounces {
		lattice = image.Rect(v.area.Min.X, y, v.area.Max.X, y+gtx.Dp(latticeRoom))
		y = lattice.Max.Y + gtx.Dp(6)
	}
	if b.hasTray() {
		y = b.setTray(gtx, y, width)
	} else {
		v.tray = v.tray[:0]
	}
	v.size = image.Pt(width, y)
	defer clip.Rect{Max: v.size}.Push(gtx.Ops).Pop()
	event.Op(gtx.Ops, v)
	semantic.LabelOp("the line with the tray").Add(gtx.Ops)
	if b.path != nil && b.drawn != nil {
		func() {
			defer clip.Rect(image.Rect(v.area.Min.X, 0, v.area.Max.X+gtx.Dp(14), y)).Push(gtx.Ops).Pop()
			b.drawLine(gtx)
		}()
		if b.bounces {
			b.drawLattice(gtx, lattice)
		}
		b.drawFound(gtx)
		b.drawMarks(gtx)
		b.drawFaults(gtx)
	}
	if b.hasTray() {
		b.drawTray(gtx)
	}
	b.drawHeld(gtx)
	return layout.Dimensions{Size: v.size}
}

// seen is the part of the line that its chart shows.
func (b *Bench) seen() chart.Axis {
	seen := b.along.View(chart.Lower)
	if seen.Low == seen.High {
		return chart.Axis{Low: 0, High: 1}
	}
	return seen
}

// drawLine draws the sections, the devices and what ends the line.
func (b *Bench) drawLine(gtx layout.Context) {
	v, t := &b.board, &b.theme
	shade := map[*cables.Type]int{}
	for _, s := range b.path.Spans {
		from, to := b.column(s.StartM), b.column(s.StartM+s.LengthM)
		if s.Device != nil {
			from, to = min(from, to-gtx.Dp(4)), max(to, from+gtx.Dp(4))
			theme.Rectangle(gtx, image.Rect(from, v.area.Min.Y-gtx.Dp(3), to, v.area.Max.Y+gtx.Dp(3)), t.Ink)
			continue
		}
		if _, seen := shade[s.Cable]; !seen {
			shade[s.Cable] = len(shade)
		}
		r := image.Rect(from, v.area.Min.Y, max(to, from+1), v.area.Max.Y)
		theme.Rectangle(gtx, r, theme.Alpha(t.Quiet, 0.2+0.15*float64(shade[s.Cable]%3)))
		theme.Rectangle(gtx, image.Rect(r.Max.X-1, r.Min.Y, r.Max.X, r.Max.Y), t.Panel)
		left, right := max(from, v.area.Min.X), min(to, v.area.Max.X)
		if middle := image.Pt((left+right)/2, (v.area.Min.Y+v.area.Max.Y)/2); right-left > gtx.Sp(t.Small())*len([]rune(s.Name))*6/10 { // a piece of a name tells nobody anything
			func() {
				defer clip.Rect(image.Rect(left, 0, right, v.size.Y)).Push(gtx.Ops).Pop()
				b.write(gtx, theme.Label{Text: s.Name, Size: t.Small()}, middle, 0.5, 0.5, right-left)
			}()
		}
	}
	b.write(gtx, theme.Label{Text: "test port", Size: t.Small(), Color: t.Quiet}, image.Pt(b.column(0)+gtx.Dp(2), 0), 0, 0, 0)
	x := b.column(b.path.LengthM())
	load := b.Setup().Line.Load.Kind
	if load != cables.Unstated {
		theme.Rectangle(gtx, image.Rect(x, v.area.Min.Y-gtx.Dp(4), x+gtx.Dp(6), v.area.Max.Y+gtx.Dp(4)), t.Ink)
		b.write(gtx, theme.Label{Text: string(load), Size: t.Small(), Color: t.Quiet}, image.Pt(x, 0), 1, 0, 0)
	}
}

// drawFaults draws the faults on the line: a pin with its letter, and the stretch of
// those that have one.
func (b *Bench) drawFaults(gtx layout.Context) {
	v, t := &b.board, &b.theme
	faults := b.shownFaults()
	v.pins = v.pins[:0]
	size := gtx.Sp(t.Small()) * 3 / 2
	taken := make([]image.Rectangle, 0, len(faults))
	for i := range faults {
		from, to := b.span(i)
		x, end := b.column(from), b.column(to)
		pin := image.Rect(x-size/2, v.area.Max.Y+pinGap(gtx), x-size/2+size, v.area.Max.Y+pinGap(gtx)+size)
		for moved := true; moved; {
			moved = false
			for _, o := range taken {
				if pin.Overlaps(o) {
					pin, moved = pin.Add(image.Pt(o.Max.X-pin.Min.X+1, 0)), true
				}
			}
		}
		taken = append(taken, pin)
		hold := pin.Inset(-gtx.Dp(3))
		if to > from {
			r := image.Rect(max(x, v.area.Min.X), v.area.Min.Y, min(max(end, x+gtx.Dp(3)), v.area.Max.X), v.area.Max.Y)
			theme.Rectangle(gtx, r, theme.Alpha(t.Distance, 0.55))
			theme.Rectangle(gtx, image.Rect(r.Max.X-gtx.Dp(2), r.Min.Y-gtx.Dp(2), r.Max.X, r.Max.Y+gtx.Dp(2)), t.Distance)
			hold = hold.Union(r.Inset(-gtx.Dp(3)))
		} else {
			theme.Rectangle(gtx, image.Rect(x-gtx.Dp(1), v.area.Min.Y-gtx.Dp(4), x+gtx.Dp(1), pin.Min.Y), t.Distance)
			hold = hold.Union(image.Rect(x-gtx.Dp(5), v.area.Min.Y-gtx.Dp(6), x+gtx.Dp(5), pin.Max.Y))
		}
		v.pins = append(v.pins, hold)
		middle := pin.Min.Add(pin.Size().Div(2))
		if i == b.selected {
			disc(gtx, middle, size/2+gtx.Dp(3), theme.Alpha(t.Distance, 0.35))
		}
		if gtx.Focused(&v.marks[i]) {
			disc(gtx, middle, size/2+gtx.Dp(2), t.Link)
		}
		disc(gtx, middle, size/2, t.Distance)
		b.write(gtx, theme.Label{Text: letter(i), Size: t.Small(), Color: t.OnStrong, Font: theme.Strong}, middle, 0.5, 0.5, 0)
		func() {
			defer clip.Rect(hold).Push(gtx.Ops).Pop()
			semantic.Button.Add(gtx.Ops)
			semantic.LabelOp("fault " + b.name(i) + ", " + metres(from, b.look.Feet)).Add(gtx.Ops)
			semantic.SelectedOp(i == b.selected).Add(gtx.Ops)
			keyed(gtx, hold, &v.marks[i])
		}()
	}
}

// keyed makes a rectangle something that keys can be aimed at. It is an area of its own:
// the router keeps no words for one that takes keys alone.
func keyed(gtx layout.Context, r image.Rectangle, tag event.Tag) {
	defer clip.Rect(r).Push(gtx.Ops).Pop()
	event.Op(gtx.Ops, tag)
	pointer.CursorGrab.Add(gtx.Ops)
}

// drawFound marks what the program found under the line, where it is of what is shown.
func (b *Bench) drawFound(gtx layout.Context) {
	if b.findings == nil || !b.fresh() {
		return
	}
	v, t := &b.board, &b.theme
	for i, f := range b.faultsFound() {
		x := b.column(f.DistanceM)
		if x < v.area.Min.X || x > v.area.Max.X {
			continue
		}
		theme.Rectangle(gtx, image.Rect(x-gtx.Dp(1), v.area.Min.Y-gtx.Dp(8), x+gtx.Dp(1), v.area.Min.Y), t.Model)
		b.write(gtx, theme.Label{Text: fmt.Sprintf("found %d", i+1), Size: t.Small(), Color: t.Model, Font: theme.Strong}, image.Pt(x-gtx.Dp(3), 0), 1, 0, 0)
	}
}

// drawMarks draws the trainee's marks over the line, and after the answer the truth.
func (b *Bench) drawMarks(gtx layout.Context) {
	if !b.blind.on {
		return
	}
	v, t := &b.board, &b.theme
	for i, m := range b.Setup().Marks {
		x := b.column(m.DistanceM)
		theme.Rectangle(gtx, image.Rect(x-gtx.Dp(1), v.area.Min.Y-gtx.Dp(6), x+gtx.Dp(1), v.area.Max.Y+gtx.Dp(6)), t.Link)
		b.write(gtx, theme.Label{Text: letter(i), Size: t.Small(), Color: t.Link, Font: theme.Strong}, image.Pt(x, v.area.Max.Y+gtx.Dp(5)), 0.5, 0, 0)
	}
	if b.blind.result == nil {
		return
	}
	for i, o := range b.blind.result.Faults {
		x, end := b.column(o.Fault.DistanceM), b.column(o.Fault.DistanceM+o.Fault.ExtentM)
		theme.Rectangle(gtx, image.Rect(x-gtx.Dp(1), v.area.Min.Y, max(end, x+gtx.Dp(1)), v.area.Max.Y), theme.Alpha(t.Distance, 0.6))
		middle := image.Pt((x+max(end, x))/2, (v.area.Min.Y+v.area.Max.Y)/2)
		disc(gtx, middle, gtx.Sp(t.Small())*2/3, t.Distance)
		b.write(gtx, theme.Label{Text: fmt.Sprint(i + 1), Size: t.Small(), Color: t.OnStrong, Font: theme.Strong}, middle, 0.5, 0.5, 0)
	}
}

// setTray gives the tray its place under y and returns where it ends.
func (b *Bench) setTray(gtx layout.Context, y, width int) int {
	v := &b.board
	n := len(v.chips)
	perRow := n
	if width < gtx.Sp(b.theme.Small())*5*n {
		perRow = (n + 1) / 2
	}
	pad := gtx.Dp(4)
	wide, tall := (width-pad*(perRow-1))/perRow, gtx.Sp(b.theme.Small())*5/2+gtx.Dp(8)
	v.tray = v.tray[:0]
	for i := range n {
		corner := image.Pt((i%perRow)*(wide+pad), y+(i/perRow)*(tall+pad))
		v.tray = append(v.tray, image.Rectangle{Min: corner, Max: corner.Add(image.Pt(wide, tall))})
	}
	return v.tray[n-1].Max.Y
}

// hasTray says whether faults can be put on the line.
func (b *Bench) hasTray() bool { return !b.veiled }

func (b *Bench) drawTray(gtx layout.Context) {
	v, t := &b.board, &b.theme
	for i, k := range kinds() {
		theme.At(gtx, v.tray[i].Min, func(gtx layout.Context) layout.Dimensions {
			size := v.tray[i].Size()
			defer clip.Rect{Max: size}.Push(gtx.Ops).Pop()
			semantic.Button.Add(gtx.Ops)
			semantic.LabelOp("tray: " + words(k.cause)).Add(gtx.Ops)
			keyed(gtx, image.Rectangle{Max: size}, &v.chips[i])
			theme.Fill(gtx, size, 4, t.Field)
			if gtx.Focused(&v.chips[i]) {
				theme.Outline(gtx, size, 4, 2, t.Link)
			} else {
				theme.Outline(gtx, size, 4, 1, t.Edge)
			}
			for n, word := range k.short {
				b.write(gtx, theme.Label{Text: word, Size: t.Small(), Align: text.Middle}, image.Pt(size.X/2, size.Y*(1+2*n)/4+gtx.Dp(1)-n*gtx.Dp(2)), 0.5, 0.5, size.X)
			}
			return layout.Dimensions{Size: size}
		})
	}
}

// drawHeld draws what is in the hand and not on the line.
func (b *Bench) drawHeld(gtx layout.Context) {
	d := &b.board.drag
	if !d.on || d.index >= 0 {
		return
	}
	t := &b.theme
	word := words(d.fault.Cause)
	if !d.fresh {
		word = "off the line: " + word
	}
	pad := gtx.Dp(6)
	macroSize := image.Pt(gtx.Sp(t.Small())*len(word)*6/10+2*pad, gtx.Sp(t.Small())+2*pad)
	corner := d.place.Sub(macroSize.Div(2))
	corner.X = min(max(corner.X, 0), max(b.board.size.X-macroSize.X, 0))
	corner.Y = min(max(corner.Y, 0), max(b.board.size.Y-macroSize.Y, 0))
	theme.At(gtx, corner, func(gtx layout.Context) layout.Dimensions {
		theme.Fill(gtx, macroSize, 4, t.Distance)
		b.write(gtx, theme.Label{Text: word, Size: t.Small(), Color: t.OnStrong}, macroSize.Div(2), 0.5, 0.5, macroSize.X)
		return layout.Dimensions{}
	})
}

// drawLattice draws the ways of the waves: distance across, time downward. The louder
// a path, the stronger its line; the first reflections are solid, what is reflected
// again is in the model's colour.
func (b *Bench) drawLattice(gtx layout.Context, r image.Rectangle) {
	t := &b.theme
	l := b.drawn.lattice
	if l == nil || len(l.Paths) == 0 {
		b.write(gtx, theme.Label{Text: "…", Color: t.Quiet}, r.Min.Add(r.Size().Div(2)), 0.5, 0.5, 0)
		return
	}
	end := 0.0
	for _, p := range l.Places {
		end = math.Max(end, p.TimeS)
	}
	time := chart.Axis{Quantity: chart.Second, Low: 0, High: 4.4 * end} // two ways to the end and back
	theme.Rectangle(gtx, image.Rect(r.Min.X, r.Min.Y, r.Min.X+1, r.Max.Y), t.Edge)
	for _, tick := range time.Ticks(float64(r.Dy()), float64(gtx.Sp(t.Small()))*2) {
		if tick.Label == "" {
			continue
		}
		y := r.Min.Y + int(time.Position(tick.Value, float64(r.Dy())))
		theme.Rectangle(gtx, image.Rect(r.Min.X, y, r.Max.X, y+1), theme.Alpha(t.Edge, 0.6))
		b.write(gtx, theme.Label{Text: tick.Label, Size: t.Small(), Color: t.Quiet}, image.Pt(r.Min.X-gtx.Dp(6), y), 1, 0.5, 0)
	}
	defer clip.Rect(r).Push(gtx.Ops).Pop()
	for _, place := range l.Places {
		x := b.column(place.DistanceM)
		theme.Rectangle(gtx, image.Rect(x, r.Min.Y, x+1, r.Max.Y), t.Edge)
	}
	for i := min(len(l.Paths), mostPaths) - 1; i >= 0; i-- {
		b.drawPath(gtx, r, time, &l.Paths[i])
	}
}

// mostPaths is how many paths of waves are drawn, the earliest.
const mostPaths = 400

func (b *Bench) drawPath(gtx layout.Context, r image.Rectangle, time chart.Axis, p *simulate.LatticePath) {
	strength := math.Min(math.Max((p.LevelDB-latticeDB)/50, 0), 1)
	if strength < 0.05 {
		return
	}
	c := b.theme.Distance
	if p.Bounces() > 0 {
		c = b.theme.Model
	}
	var corners []f32.Point
	for _, e := range p.Trace {
		corners = append(corners, f32.Pt(float32(b.column(e.DistanceM)), float32(r.Min.Y)+float32(time.Position(e.TimeS, float64(r.Dy())))))
	}
	stroke(gtx, float32(gtx.Dp(1))*float32(0.5+1.5*strength), theme.Alpha(c, 0.15+0.85*strength), corners...)
}
