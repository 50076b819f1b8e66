package chart

import (
	"image/color"
	"math"
)

// Side names one of the two horizontal axes.
type Side int

// The horizontal axes.
const (
	Lower Side = iota
	Upper
)

// Pattern is how a trace's line is broken.
type Pattern int

// The patterns of lines.
const (
	Solid Pattern = iota
	Dashed
	Dotted
)

// Trace is a line on the chart.
type Trace struct {
	Name    string
	Series  *Series
	Side    Side
	Color   color.NRGBA
	Width   float32 // dp; 0: 1.2
	Pattern Pattern
	Under   bool // drawn below those that are not, whatever the order
}

// Limit is a level that a trace is held against, from From to To of an axis.
type Limit struct {
	Label    string
	Level    float64
	Side     Side
	From, To float64 // equal: from edge to edge
	Color    color.NRGBA
}

// Shade is a stretch of an axis that is set off from the rest.
type Shade struct {
	Side     Side
	From, To float64
	Color    color.NRGBA
}

// Flag is a numbered place on the lower axis.
type Flag struct {
	Label    string
	At       float64
	Level    float64 // where its foot stands; NaN: at the top
	Color    color.NRGBA
	On       color.NRGBA // of the label
	Selected bool
}

// Content is what a chart shows. Axes with Low equal to High are not there.
type Content struct {
	Name   string  // said to those who cannot see it
	X      [2]Axis // by Side, their whole range
	Y      Axis    // its whole range
	Traces []Trace
	Limits []Limit
	Shades []Shade
	Flags  []Flag
	// Empty is said in place of traces when there are none.
	Empty string
}

func (c *Content) has(side Side) bool { return c.X[side].Low != c.X[side].High }

// Marker is a place that the user keeps in view.
type Marker struct {
	Side Side
	X    float64
}

// Reading is what a trace shows at a place.
type Reading struct {
	Trace string
	X, Y  float64
}

// Readings returns what the traces of a side show at x, in their order.
func (c *Content) Readings(side Side, x float64) []Reading {
	var out []Reading
	for _, t := range c.Traces {
		if t.Side != side || t.Series == nil {
			continue
		}
		if y := t.Series.At(x); !math.IsNaN(y) {
			out = append(out, Reading{t.Name, x, y})
		}
	}
	return out
}

// Event is something that the user did to a chart.
type Event interface{ isEvent() }

// Brushed says that a stretch of an axis was chosen; From equal to To: none is
// chosen any more.
type Brushed struct {
	Side     Side
	From, To float64
}

// FlagPressed says that a flag, by its index in Content.Flags, was chosen.
type FlagPressed struct{ Index int }

// MarkersChanged says that a marker was put, moved or taken away, and what the
// markers were before.
type MarkersChanged struct{ Before []Marker }

func (Brushed) isEvent()        {}
func (FlagPressed) isEvent()    {}
func (MarkersChanged) isEvent() {}
