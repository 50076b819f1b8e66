package report

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/sweep"
)

// figure is a drawing that a page, an SVG and a PNG share.
type figure struct {
	name   string // for files
	height float64
	draw   func(draw.Canvas)
}

// plotHeight is how high a plot is, points.
const plotHeight = 31 * grid

// textStyle is how text of a plot looks.
func (b *book) textStyle(c color.Color, strong bool) draw.TextStyle {
	return draw.TextStyle{Color: c, Font: b.face.font(bodySize, strong), Handler: b.face.handler()}
}

// blank is a plot in the report's dress. Return loss grows downward from 0 dB.
func (b *book) blank(xLabel string, domain color.Color, fromX, toX float64, traces []trace) *plot.Plot {
	p := plot.New()
	p.TextHandler = b.face.handler()
	p.BackgroundColor = color.White
	p.Title.TextStyle = b.textStyle(b.colours.Ink, true)
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle = draw.LineStyle{Color: b.colours.Quiet, Width: 0.75}
		a.Padding = 0
		a.Label.TextStyle = b.textStyle(domain, false)
		a.Tick.Label = b.textStyle(b.colours.Quiet, false)
		a.Tick.LineStyle = draw.LineStyle{Color: b.colours.Quiet, Width: 0.75}
		a.Tick.Length = 3
	}
	p.X.Label.TextStyle.XAlign, p.X.Label.TextStyle.YAlign = draw.XCenter, draw.YBottom
	p.X.Tick.Label.XAlign, p.X.Tick.Label.YAlign = draw.XCenter, draw.YTop
	p.Y.Label.TextStyle.XAlign, p.Y.Label.TextStyle.YAlign = draw.XCenter, draw.YBottom
	p.Y.Tick.Label.XAlign, p.Y.Tick.Label.YAlign = draw.XRight, draw.YCenter
	p.X.Label.Text, p.Y.Label.Text = xLabel, "return loss, dB"
	p.X.Min, p.X.Max = fromX, toX
	p.Y.Min, p.Y.Max = 0, deepest(traces)
	p.Y.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}}
	p.X.Tick.Marker, p.Y.Tick.Marker = rounded(7), rounded(6)
	grid := plotter.NewGrid()
	grid.Vertical = draw.LineStyle{Color: b.colours.Edge, Width: 0.5}
	grid.Horizontal = grid.Vertical
	p.Add(grid)
	return p
}

// The foot of the axis of return loss, dB.
const (
	leastDeep = 40.0
	mostDeep  = 60.0
)

// deepest is where the axis of return loss ends: all but the depths of notches
// is on it.
func deepest(traces []trace) float64 {
	deep := leastDeep
	for _, t := range traces {
		beyond := 0
		for _, v := range t.y {
			if v > deep {
				beyond++
			}
		}
		for ; beyond*20 > len(t.y) && deep < mostDeep; deep += 10 {
			beyond = 0
			for _, v := range t.y {
				if v > deep+10 {
					beyond++
				}
			}
		}
	}
	return deep
}

// rounded makes about so many ticks at round values.
type rounded int

// Ticks implements plot.Ticker.
func (n rounded) Ticks(low, high float64) []plot.Tick {
	step := dsp.TickStep((high - low) / float64(n))
	var ticks []plot.Tick
	for k := math.Ceil(low/step-1e-9) + 0; k*step <= high+1e-9*step; k++ {
		ticks = append(ticks, plot.Tick{Value: k * step, Label: strconv.FormatFloat(math.Round(k*step*1e6)/1e6+0, 'f', -1, 64)})
	}
	return ticks
}

// lineStyle is how a trace of a kind is drawn, its own colour that of its domain.
func (b *book) lineStyle(k kind, domain color.Color) draw.LineStyle {
	switch k {
	case model:
		return draw.LineStyle{Color: b.colours.Model, Width: 2.5, Dashes: []vg.Length{1, 3}}
	case earlier:
		return draw.LineStyle{Color: b.colours.Earlier, Width: 1, Dashes: []vg.Length{5, 2}}
	case limit:
		return draw.LineStyle{Color: b.colours.Out, Width: 1, Dashes: []vg.Length{8, 2, 2, 2}}
	}
	return draw.LineStyle{Color: domain, Width: 1}
}

// mostColumns is how many columns a trace is thinned to; a page shows no more.
const mostColumns = 1200

// points returns a trace for gonum, x divided by unit, thinned to the extremes
// of each column, and no deeper than shown.
func points(t trace, unit, deep float64) plotter.XYs {
	at := func(k int) plotter.XY {
		y := t.y[k]
		if !(y < 2*deep) { // a notch may be bottomless
			y = 2 * deep
		}
		return plotter.XY{X: t.x[k] / unit, Y: y}
	}
	var out plotter.XYs
	n := len(t.x)
	if n <= 2*mostColumns {
		for k := range n {
			out = append(out, at(k))
		}
		return out
	}
	for c := range mostColumns {
		from, to := c*n/mostColumns, (c+1)*n/mostColumns
		low, high := from, from
		for k := from; k < to; k++ {
			if t.y[k] < t.y[low] {
				low = k
			}
			if t.y[k] > t.y[high] {
				high = k
			}
		}
		out = append(out, at(min(low, high)))
		if low != high {
			out = append(out, at(max(low, high)))
		}
	}
	return out
}

// drawn is a plotter of one function.
type drawn func(draw.Canvas, *plot.Plot)

// Plot implements plot.Plotter.
func (d drawn) Plot(c draw.Canvas, p *plot.Plot) { d(c, p) }

// key is one entry of a plot's key.
type key struct {
	text string
	line draw.LineStyle
	dot  bool
	rank kind
}

// keyHeight is how high the key of a plot is.
func (b *book) keyHeight(keys []key, width float64) float64 {
	rows := 1
	b.eachKey(keys, width, func(_ key, _ float64, row int) { rows = row + 1 })
	return float64(rows)*bodyLeading + grid/2
}

// eachKey says where the entries of a key stand.
func (b *book) eachKey(keys []key, width float64, do func(k key, x float64, row int)) {
	style := b.textStyle(b.colours.Ink, false)
	x, row := 0.0, 0
	for _, k := range keys {
		wide := 3*grid + style.Width(k.text).Points()
		if x > 0 && x+wide > width {
			x, row = 0, row+1
		}
		do(k, x, row)
		x += wide + 2*grid
	}
}

// withKey draws a plot under its key.
func (b *book) withKey(c draw.Canvas, p *plot.Plot, keys []key) {
	width := c.Size().X.Points()
	slices.SortStableFunc(keys, func(x, y key) int { return cmp.Compare(x.rank, y.rank) })
	b.eachKey(keys, width, func(k key, x float64, row int) {
		y := c.Max.Y - vg.Length(float64(row)*bodyLeading+bodyLeading/2)
		left := c.Min.X + vg.Length(x)
		if k.dot {
			b.ring(c, vg.Point{X: left + grid, Y: y}, k.line.Color)
		} else {
			c.StrokeLine2(k.line, left, y, left+2*grid, y)
		}
		style := b.textStyle(b.colours.Ink, false)
		style.YAlign = draw.YCenter
		c.FillText(style, vg.Point{X: left + 2.5*grid, Y: y + 0.5}, k.text)
	})
	p.Draw(b.underKey(c, keys))
}

// underKey is the part of c that its key leaves to a plot.
func (b *book) underKey(c draw.Canvas, keys []key) draw.Canvas {
	return draw.Crop(c, 0, -grid, 0, vg.Length(-b.keyHeight(keys, c.Size().X.Points())))
}

// ring is the mark of one point.
func (b *book) ring(c draw.Canvas, at vg.Point, clr color.Color) {
	c.DrawGlyph(draw.GlyphStyle{Color: clr, Radius: 3, Shape: draw.RingGlyph{}}, at)
}

// overFrequency is return loss over frequency with the limit in its band.
func (b *book) overFrequency() figure {
	const unit = 1e6
	f := b.Sweep.FrequencyHz
	v := b.Findings.Verdict
	p := b.blank("frequency, MHz", b.colours.Frequency, f[0]/unit, f[len(f)-1]/unit, b.over)
	var keys []key
	if floor := b.Sweep.ErrorFloor; floor != nil {
		p.Add(b.errorBand(unit, p.Y.Max))
		keys = append(keys, key{text: "within the residual directivity", rank: earlier, line: draw.LineStyle{Color: b.colours.Field, Width: grid}})
	}
	if v.HighHz > v.LowHz {
		p.Add(drawn(func(c draw.Canvas, p *plot.Plot) {
			trX, _ := p.Transforms(&c)
			for _, hz := range []float64{v.LowHz, v.HighHz} {
				if x := trX(hz / unit); x > c.Min.X && x < c.Max.X {
					c.StrokeLine2(draw.LineStyle{Color: b.colours.Quiet, Width: 0.5, Dashes: []vg.Length{1, 3}}, x, c.Min.Y, x, c.Max.Y)
				}
			}
		}))
	}
	keys = append(keys, b.lines(p, b.over, unit, b.colours.Frequency)...)
	if v.LimitVSWR > 1 {
		style := draw.LineStyle{Color: b.colours.Out, Width: 1.5}
		db := sweep.ReturnLossFromVSWR(v.LimitVSWR)
		p.Add(drawn(func(c draw.Canvas, p *plot.Plot) {
			trX, trY := p.Transforms(&c)
			y := trY(db)
			c.StrokeLine2(style, max(trX(v.LowHz/unit), c.Min.X), y, min(trX(v.HighHz/unit), c.Max.X), y)
		}))
		keys = append(keys, key{text: fmt.Sprintf("limit %.1f dB (VSWR %.2f), %s to %s", db, v.LimitVSWR, Frequency(v.LowHz), Frequency(v.HighHz)), line: style, rank: limit})
	}
	clr := b.colours.In
	if !v.Passes {
		clr = b.colours.Out
	}
	worst := sweep.ReturnLossFromVSWR(v.WorstVSWR)
	p.Add(drawn(func(c draw.Canvas, p *plot.Plot) {
		trX, trY := p.Transforms(&c)
		b.ring(c, vg.Point{X: trX(v.AtHz / unit), Y: trY(worst)}, clr)
	}))
	keys = append(keys, key{text: fmt.Sprintf("worst %.1f dB (%s) at %s", worst, VSWR(v.WorstVSWR), Frequency(v.AtHz)), line: draw.LineStyle{Color: clr}, dot: true, rank: limit})
	return figure{"frequency", plotHeight, func(c draw.Canvas) { b.withKey(c, p, keys) }}
}

// errorBand is between which return losses the true one lies, by the residual
// directivity that the calibration yielded.
func (b *book) errorBand(unit, deep float64) plot.Plotter {
	var low, high trace
	for k, rl := range b.Sweep.ReturnLossDB() {
		from, to := calibration.ReturnLossBounds(rl, sweep.ReturnLossFromMagnitude(b.Sweep.ErrorFloor[k]), math.Inf(1))
		low.x, low.y = append(low.x, b.Sweep.FrequencyHz[k]), append(low.y, from)
		high.x, high.y = low.x, append(high.y, to)
	}
	upper, lower := points(low, unit, deep), points(high, unit, deep)
	return drawn(func(c draw.Canvas, p *plot.Plot) {
		trX, trY := p.Transforms(&c)
		var outline []vg.Point
		add := func(at plotter.XY) {
			outline = append(outline, vg.Point{X: trX(at.X), Y: max(c.Min.Y, min(c.Max.Y, trY(at.Y)))})
		}
		for _, at := range upper {
			add(at)
		}
		for k := len(lower) - 1; k >= 0; k-- {
			add(lower[k])
		}
		c.FillPolygon(b.colours.Field, outline)
	})
}

// lines adds traces to a plot and returns their keys.
func (b *book) lines(p *plot.Plot, traces []trace, unit float64, domain color.Color) (keys []key) {
	for _, t := range traces {
		style := b.lineStyle(t.kind, domain)
		at := points(t, unit, p.Y.Max)
		p.Add(drawn(func(c draw.Canvas, p *plot.Plot) {
			trX, trY := p.Transforms(&c)
			line := make([]vg.Point, len(at))
			for i, one := range at {
				line[i] = vg.Point{X: trX(one.X), Y: trY(one.Y)}
			}
			c.StrokeLines(style, c.ClipLinesXY(line)...)
		}))
		keys = append(keys, key{text: t.name, line: style, rank: t.kind})
	}
	return keys
}

// alongLine is return loss along the line, the loss on the way taken out, with
// the faults as numbered flags.
func (b *book) alongLine() figure {
	p, keys := b.alongPlot()
	return figure{"distance", plotHeight, func(c draw.Canvas) { b.withKey(c, p, keys) }}
}

// beyondEnd is how much farther than what is shown the axis along the line goes.
const beyondEnd = 1.02

// mostJoints is how many joints a plot marks; more would hide it.
const mostJoints = 20

func (b *book) alongPlot() (*plot.Plot, []key) {
	unit := b.scale.Metres
	p := b.blank("distance from the test port, "+b.scale.Unit, b.colours.Distance, 0, b.toM*beyondEnd/unit, b.along)
	keys := b.lines(p, b.along, unit, b.colours.Distance)
	if joints := b.path.JointsM()[1:]; len(joints) <= mostJoints {
		dotted := draw.LineStyle{Color: b.colours.Quiet, Width: 0.5, Dashes: []vg.Length{1, 3}}
		p.Add(drawn(func(c draw.Canvas, p *plot.Plot) {
			trX, _ := p.Transforms(&c)
			for _, joint := range joints {
				x := trX(joint / unit)
				c.StrokeLine2(dotted, x, c.Min.Y, x, c.Max.Y)
			}
		}))
		keys = append(keys, key{text: "joint, end", rank: limit, line: dotted})
	}
	p.Add(drawn(func(c draw.Canvas, p *plot.Plot) {
		trX, _ := p.Transforms(&c)
		b.flags(c, func(m float64) vg.Length { return trX(m / unit) }, c.Max.Y, -1, true)
	}))
	return p, keys
}

// mostStems is how many flags have a stem through a plot; more would hide it.
const mostStems = 8

// flags draws the numbered flags of the faults from y upward (way 1) or downward
// (way -1), on as many rows as keep them apart, each with a bar of one standard
// deviation to both sides; a stem goes through the whole canvas with through.
func (b *book) flags(c draw.Canvas, at func(m float64) vg.Length, y vg.Length, way vg.Length, through bool) {
	rows := b.flagRows(at)
	style := b.textStyle(b.colours.OnStrong, true)
	style.XAlign, style.YAlign = draw.XCenter, draw.YCenter
	stem := draw.LineStyle{Color: b.colours.Out, Width: 0.5}
	box := func(i int) vg.Length { return y + way*vg.Length(float64(rows[i]))*(bodyLeading+grid) }
	for i, f := range b.found.Faults { // stems first, under all flags
		from := y - way*grid/2
		if through && len(b.found.Faults) > mostStems {
			continue
		}
		if through {
			from = c.Min.Y
		}
		c.StrokeLine2(stem, at(f.DistanceM+f.ExtentM/2), from, at(f.DistanceM+f.ExtentM/2), box(i))
	}
	for i, f := range b.found.Faults {
		middle, wide, y := at(f.DistanceM+f.ExtentM/2), b.flagWidth(f.Label), box(i)
		c.FillPolygon(b.colours.Out, rectangle(middle-wide/2, y, middle+wide/2, y+way*bodyLeading))
		c.FillText(style, vg.Point{X: middle, Y: y + way*bodyLeading/2}, f.Label)
		bar := y + way*(bodyLeading+grid/2)
		line := draw.LineStyle{Color: b.colours.Out, Width: 1}
		from, to := at(f.DistanceM-f.SigmaM), at(f.DistanceM+f.ExtentM+f.SigmaM)
		c.StrokeLine2(line, max(from, c.Min.X), bar, min(to, c.Max.X), bar)
		for _, end := range []vg.Length{from, to} {
			if end >= c.Min.X && end <= c.Max.X { // the bar goes on where it does not end
				c.StrokeLine2(line, end, bar-2, end, bar+2)
			}
		}
		if f.ExtentM > 0 {
			c.FillPolygon(b.colours.Out, rectangle(at(f.DistanceM), bar-1.5, at(f.DistanceM+f.ExtentM), bar+1.5))
		}
	}
}

func rectangle(x, y, toX, toY vg.Length) []vg.Point {
	return []vg.Point{{X: x, Y: y}, {X: toX, Y: y}, {X: toX, Y: toY}, {X: x, Y: toY}}
}

func (b *book) flagWidth(label string) vg.Length {
	return max(bodyLeading, b.textStyle(b.colours.Ink, true).Width(label)+6)
}

// flagRows puts each flag on the first row where it and its bar are clear of
// those before it.
func (b *book) flagRows(at func(m float64) vg.Length) []int {
	var ends []vg.Length // of each row
	rows := make([]int, len(b.found.Faults))
	for i, f := range b.found.Faults {
		middle, half := at(f.DistanceM+f.ExtentM/2), b.flagWidth(f.Label)/2
		from := min(middle-half, at(f.DistanceM-f.SigmaM))
		to := max(middle+half, at(f.DistanceM+f.ExtentM+f.SigmaM))
		row := 0
		for row < len(ends) && ends[row] > from-2 {
			row++
		}
		if row == len(ends) {
			ends = append(ends, to)
		}
		ends[row], rows[i] = to, row
	}
	return rows
}
