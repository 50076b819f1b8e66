package report

import (
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"downlead/cables"
)

// The parts of the drawing of a line, points.
const (
	barHeight  = 6.0
	nameRows   = 4 // at most, above the line
	rulerSpace = 3 * grid
)

// lineFigure is the line to scale: its sections and devices named above, what
// shows as built lettered, the faults as numbered flags below, and a ruler. With
// profile above 0 the plot along the line stands over it, so high, on the same
// scale and in the ruler's place.
func (b *book) lineFigure(width, profile float64) figure {
	const inset = grid
	from, to := vg.Length(inset), vg.Length(width-inset-grid)
	toM := b.toM
	var over func(draw.Canvas)
	if profile > 0 {
		p, keys := b.alongPlot()
		page := draw.Canvas{Rectangle: vg.Rectangle{Max: vg.Point{X: vg.Length(width), Y: vg.Length(profile)}}}
		inner := p.DataCanvas(b.underKey(page, keys))
		from, to, toM = inner.Min.X, inner.Max.X, b.toM*beyondEnd
		over = func(c draw.Canvas) { b.withKey(c, p, keys) }
		profile += grid / 2 // below it
	}
	scaled := func(left vg.Length) func(m float64) vg.Length {
		return func(m float64) vg.Length { return left + from + vg.Length(max(0, min(1, m/toM)))*(to-from) }
	}
	names := b.sectionNames(scaled(0), width)
	b.named = len(names) > 0
	above := 0
	for _, n := range names {
		above = max(above, n.row+1)
	}
	below := 0
	for _, row := range b.flagRows(scaled(0)) {
		below = max(below, row+1)
	}
	rowsBelow := float64(below) * (bodyLeading + grid)
	height := float64(above)*bodyLeading + 2*bodyLeading + barHeight + grid + rowsBelow
	if profile > 0 {
		height += profile
	} else {
		height += rulerSpace
	}
	return figure{"line", height, func(c draw.Canvas) {
		if over != nil {
			over(draw.Crop(c, 0, 0, c.Max.Y-c.Min.Y-vg.Length(profile-grid/2), 0))
			c = draw.Crop(c, 0, 0, 0, -vg.Length(profile))
		}
		at := scaled(c.Min.X)
		y := c.Max.Y - vg.Length(float64(above)*bodyLeading+2*bodyLeading) // upper edge of the line
		for _, n := range names {
			style := b.textStyle(b.colours.Ink, false)
			style.YAlign = draw.YCenter
			row := c.Max.Y - vg.Length(float64(above-1-n.row)*bodyLeading+bodyLeading/2)
			c.StrokeLine2(draw.LineStyle{Color: b.colours.Edge, Width: 0.75}, c.Min.X+n.at, row-bodyLeading/2, c.Min.X+n.at, y+1)
			c.FillText(style, vg.Point{X: c.Min.X + n.from, Y: row}, n.text)
		}
		b.bar(c, at, y)
		b.letters(c, at, y)
		b.flags(c, at, y-barHeight-grid, -1, false)
		if over == nil {
			b.ruler(c, at, y-barHeight-grid-vg.Length(rowsBelow)-grid/2)
		}
	}}
}

// ruler draws the scale of the line at y.
func (b *book) ruler(c draw.Canvas, at func(m float64) vg.Length, y vg.Length) {
	line := draw.LineStyle{Color: b.colours.Quiet, Width: 0.75}
	c.StrokeLine2(line, at(0), y, at(b.toM), y)
	quiet := b.textStyle(b.colours.Quiet, false)
	quiet.XAlign, quiet.YAlign = draw.XCenter, draw.YTop
	for _, tick := range rounded(10).Ticks(0, b.toM/b.scale.Metres) {
		x := at(tick.Value * b.scale.Metres)
		c.StrokeLine2(line, x, y, x, y-3)
		text := tick.Label
		if tick.Value == 0 {
			text += " " + b.scale.Unit
		}
		c.FillText(quiet, vg.Point{X: x, Y: y - 4}, text)
	}
}

// bar draws the sections, the devices, the port and the load.
func (b *book) bar(c draw.Canvas, at func(m float64) vg.Length, y vg.Length) {
	dark := false
	for _, span := range b.path.Spans {
		from, to := at(span.StartM), at(span.StartM+span.LengthM)
		if span.Device != nil {
			middle, half := (from+to)/2, max((to-from)/2, 2.5)
			c.FillPolygon(b.colours.Ink, rectangle(middle-half, y-barHeight-1.5, middle+half, y+1.5))
			continue
		}
		dark = !dark
		clr := b.colours.Earlier
		if dark {
			clr = b.colours.Quiet
		}
		c.FillPolygon(clr, rectangle(from, y-barHeight, to, y))
	}
	for _, joint := range b.path.JointsM() {
		c.StrokeLine2(draw.LineStyle{Color: b.colours.OnStrong, Width: 1}, at(joint), y-barHeight, at(joint), y)
	}
	ink := draw.LineStyle{Color: b.colours.Ink, Width: 1.5}
	c.StrokeLine2(ink, at(0), y-barHeight-3, at(0), y+3) // the port
	end, middle := at(b.path.LengthM()), y-barHeight/2
	switch b.Document.Line.Load.Kind {
	case cables.Antenna:
		c.FillPolygon(b.colours.Ink, []vg.Point{{X: end, Y: middle}, {X: end + 7, Y: middle + 6}, {X: end + 7, Y: middle - 6}})
	case cables.Termination:
		c.FillPolygon(b.colours.Ink, rectangle(end, middle-5, end+5, middle+5))
	case cables.Short:
		c.StrokeLine2(draw.LineStyle{Color: b.colours.Ink, Width: 3}, end+1.5, middle-6, end+1.5, middle+6)
	default:
		b.ring(c, vg.Point{X: end + 4, Y: middle}, b.colours.Ink)
	}
}

// letters draws the signs of what shows as built, where there is room for them.
func (b *book) letters(c draw.Canvas, at func(m float64) vg.Length, y vg.Length) {
	style := b.textStyle(b.colours.Quiet, false)
	style.XAlign = draw.XCenter
	taken := vg.Length(-100)
	for _, f := range b.found.Built {
		x := at(f.DistanceM)
		if half := style.Width(f.Label) / 2; f.DistanceM <= b.toM && x-half > taken+1 {
			c.FillText(style, vg.Point{X: x, Y: y + 3}, f.Label)
			taken = x + half
		}
	}
}

// lineLegend explains the signs of the drawing.
func (b *book) lineLegend() string {
	words := []string{"test port at the left"}
	if len(b.Document.Line.Devices) > 0 {
		words = append(words, "dark blocks: devices")
	}
	end := string(b.Document.Line.Load.Kind)
	if end == "" {
		end = "end not stated"
	}
	words = append(words, "at the right: "+end)
	if len(b.found.Faults) > 0 {
		words = append(words, "numbered flags: faults, the bar under each one standard deviation to both sides")
	}
	if len(b.found.Built) > 0 {
		words = append(words, "letters: as built, see Findings")
	}
	words = append(words, "drawn to scale")
	if !b.named {
		words = append(words, "its sections, too many to name here, stand under Line and cables")
	}
	return strings.ToUpper(words[0][:1]) + strings.Join(words, "; ")[1:] + "."
}

// named is the name of a span above the line: its text from x to x, the leader
// that comes down from it, its row from below.
type named struct {
	text         string
	from, to, at vg.Length
	row          int
}

// clear says whether two names on their rows keep out of each other's way, the
// leaders included.
func (n named) clear(o named) bool {
	crosses := func(a, b named) bool { return a.row > b.row && a.at > b.from-3 && a.at < b.to+3 }
	same := n.row == o.row && n.from < o.to+grid && o.from < n.to+grid
	return !same && !crosses(n, o) && !crosses(o, n)
}

// sectionNames puts the names of the spans on rows, each beside its leader: to
// the right of it, or to the left where the paper ends. None where that takes
// more rows than there are.
func (b *book) sectionNames(at func(m float64) vg.Length, width float64) []named {
	var right, left []named
	for _, span := range b.path.Spans {
		length := ""
		if span.LengthM > 0 {
			length = ", " + b.scale.Text(span.LengthM)
		}
		text := shortened(b.face.clean(span.Name), func(s string) bool { return b.face.wide(s+length, bodySize, false) <= width/3 }) + length
		x, wide := at(span.StartM+span.LengthM/2), vg.Length(b.face.wide(text, bodySize, false))
		if n := (named{text: text, at: x, from: x + 3, to: x + 3 + wide}); n.to <= vg.Length(width) {
			right = append(right, n)
		} else {
			n.from, n.to = x-3-wide, x-3
			left = append(left, n)
		}
	}
	slices.Reverse(right)
	var all []named
	for _, n := range append(right, left...) {
		for slices.ContainsFunc(all, func(o named) bool { return !n.clear(o) }) {
			if n.row++; n.row == nameRows {
				return nil
			}
		}
		all = append(all, n)
	}
	return all
}

// shortened leaves out the middle of text until it fits.
func shortened(text string, fits func(string) bool) string {
	runes := []rune(text)
	for keep := len(runes) - 1; !fits(text) && keep >= 0; keep-- {
		head := (keep + 1) / 2
		text = string(runes[:head]) + "…" + string(runes[len(runes)-(keep-head):])
	}
	return text
}
