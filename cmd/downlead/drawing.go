package main

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"downlead/cables"
	"downlead/dsp"
)

// drawingColumns is how wide a line is drawn, test port to load.
const drawingColumns = 92

// mark is something to show on the drawing of a line.
type mark struct {
	atM, sigmaM, extentM float64
	label                string // short, "1" or "a"
	text                 string // long; used below the line where there is room
	fault                bool
}

// canvas is a grid of characters that grows downward.
type canvas struct {
	columns int
	rows    [][]rune
}

func (c *canvas) at(row, column int) rune {
	if row < len(c.rows) && column >= 0 && column < c.columns {
		return c.rows[row][column]
	}
	return ' '
}

func (c *canvas) put(row, column int, text string) {
	for len(c.rows) <= row {
		c.rows = append(c.rows, []rune(strings.Repeat(" ", c.columns)))
	}
	for _, r := range text {
		if column >= 0 && column < c.columns {
			c.rows[row][column] = r
		}
		column++
	}
}

func (c *canvas) lines() []string {
	out := make([]string, len(c.rows))
	for i, row := range c.rows {
		out[i] = strings.TrimRight(string(row), " ")
	}
	return out
}

// callout is a text with a leader from a column of the line.
type callout struct {
	column      int
	text, short string // short stands in where text finds no room
}

// callouts lays texts out below the line, each beside the foot of a leader that
// comes down from its column, so that no two overlap. Texts stand to the right
// of their leader; the last ones, which would run off the edge, to the left.
func callouts(columns int, list []callout) []string {
	list = append([]callout(nil), list...)
	sort.SliceStable(list, func(i, j int) bool { return list[i].column < list[j].column })
	c := &canvas{columns: columns}

	// From the right: a text goes right unless it would cover the leader of one
	// that went left, or run off the edge.
	edge := columns
	left := make([]bool, len(list))
	for i := len(list) - 1; i >= 0; i-- {
		wide := 2 + len([]rune(list[i].text))
		switch {
		case list[i].column+wide <= edge:
		case list[i].column-wide >= 0:
			left[i] = true
			edge = list[i].column
		default:
			list[i].text = list[i].short
		}
	}
	for i := len(list) - 1; i >= 0; i-- {
		if !left[i] {
			c.callout(list[i].column, list[i].column, "└ "+list[i].text)
		}
	}
	for i := range list {
		if text := list[i].text + " ┘"; left[i] {
			c.callout(list[i].column, list[i].column+1-len([]rune(text)), text)
		}
	}
	return c.lines()
}

// callout puts text at the highest row where it is clear of its neighbours and
// draws the leader down to it.
func (c *canvas) callout(column, start int, text string) {
	row := 0
	for ; ; row++ {
		free := true
		for k := start - 1; k <= start+len([]rune(text)); k++ {
			free = free && c.at(row, k) == ' '
		}
		if free {
			break
		}
	}
	for r := range row {
		if c.at(r, column) == ' ' {
			c.put(r, column, "│")
		}
	}
	c.put(row, start, text)
}

// mirrored turns rows upside down, for callouts above the line.
func mirrored(rows []string) []string {
	out := make([]string, len(rows))
	for i, row := range rows {
		out[len(rows)-1-i] = strings.NewReplacer("└", "┌", "┘", "┐").Replace(row)
	}
	return out
}

// loadGlyph is the sign of what ends a line.
func loadGlyph(kind cables.LoadKind) string {
	switch kind {
	case cables.Antenna:
		return "◁"
	case cables.Termination:
		return "▮"
	case cables.Short:
		return "┫"
	}
	return "○"
}

// drawnM returns how far the drawing of a line reaches, m.
func drawnM(path *cables.Path, marks []mark) float64 {
	total := path.LengthM()
	for _, m := range marks {
		// What is explained as it is may lie far behind the line; the drawing
		// would shrink for it.
		if end := m.atM + m.extentM; m.fault || end < 1.15*path.LengthM() {
			total = math.Max(total, end)
		}
	}
	return total
}

// drawLine draws a line to scale: its sections and devices named above, the
// parts that show as built lettered, faults called out below with their
// uncertainty, and a ruler. Every row is at most drawingColumns wide,
// that of the profile four more. Marks far
// behind the line that are no faults are left out. The profile, unless empty,
// stands on the line as bars.
func drawLine(path *cables.Path, load cables.LoadKind, marks []mark, scale lengthScale, profile profile) []string {
	total := drawnM(path, marks)
	const last = drawingColumns - 2 // the load's own column comes after
	column := func(x float64) int {
		return int(math.Round(math.Max(0, math.Min(x/total, 1)) * last))
	}

	line := &canvas{columns: drawingColumns}
	var names []callout
	solid := true
	for _, span := range path.Spans {
		from, to := column(span.StartM), column(span.StartM+span.LengthM)
		text := fmt.Sprintf("%s, %s", span.Name, scale.text(span.LengthM))
		if span.Device != nil {
			line.put(0, from, strings.Repeat("▣", max(1, to-from)))
			if span.LengthM == 0 {
				text = span.Name
			}
			names = append(names, callout{from, text, ""})
			continue
		}
		stroke := "━"
		if solid = !solid; solid {
			stroke = "═"
		}
		if line.at(0, from) == ' ' { // a device keeps its column
			line.put(0, from, "┿")
		}
		line.put(0, from+1, strings.Repeat(stroke, max(0, to-from-1)))
		names = append(names, callout{(column(span.StartM) + to) / 2, text, ""})
	}
	line.put(0, 0, "┣")
	end := column(path.LengthM())
	line.put(0, end, "┿")
	line.put(0, end+1, loadGlyph(load))

	letters := &canvas{columns: drawingColumns}
	pointers := &canvas{columns: drawingColumns}
	var faults []callout
	for _, m := range marks {
		if !m.fault && m.atM > total {
			continue
		}
		if !m.fault {
			row := 0
			for letters.at(row, column(m.atM)) != ' ' {
				row++
			}
			letters.put(row, column(m.atM), m.label)
			continue
		}
		from, to := column(m.atM), column(m.atM+m.extentM)
		for k := column(m.atM - m.sigmaM); k <= column(m.atM+m.extentM+m.sigmaM); k++ {
			if pointers.at(0, k) != '▲' {
				pointers.put(0, k, "╌")
			}
		}
		pointers.put(0, from, strings.Repeat("▲", to-from+1))
		faults = append(faults, callout{from, m.label + "  " + m.text, m.label})
	}

	for row := range letters.rows {
		for _, n := range names {
			if letters.at(row, n.column) == ' ' {
				letters.put(row, n.column, "│")
			}
		}
	}

	rows := mirrored(callouts(drawingColumns, names))
	rows = append(rows, mirrored(letters.lines())...)
	rows = append(rows, profile.bars(last, column)...)
	rows = append(rows, line.lines()...)
	if len(faults) > 0 {
		rows = append(rows, pointers.lines()...)
		rows = append(rows, callouts(drawingColumns, faults)...)
	}
	return append(rows, ruler(total, last, scale)...)
}

// ruler draws a scale from 0 to totalM over columns 0 to last.
func ruler(totalM float64, last int, scale lengthScale) []string {
	total := totalM / scale.metres
	step := dsp.TickStep(total / 10)
	r := &canvas{columns: drawingColumns}
	r.put(0, 0, strings.Repeat("─", last+1))
	for k := 0; float64(k)*step <= total*(1+1e-9); k++ {
		at := int(math.Round(float64(k) * step / total * float64(last)))
		text := fmt.Sprintf("%.4g", float64(k)*step)
		if k == 0 {
			text = "0 " + scale.unit
		}
		r.put(0, at, "┬")
		r.put(1, min(at, drawingColumns-len(text)), text)
	}
	return r.lines()
}
