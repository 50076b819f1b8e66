// Package chart is the plot of the workbench: traces over one or two horizontal
// axes that zoom, pan, carry markers, a brushed stretch, limits and numbered
// flags, by pointer and by keys alike. It knows quantities and units and nothing
// of feeders.
//
// scale.go (axes, ticks, units), series.go (traces to pixels) and view.go (what
// is seen) are plain geometry and run without a window; chart.go holds the state
// and drains events, draw.go draws. Values are SI and dB, places on screen are
// pixels.
//
// A trace of any length is drawn with at most four dots a pixel column, its
// least and largest value among them, so no spike is lost. Its drawing is kept
// until its data, the view or the size change.
package chart
