package main

import (
	"fmt"
	"math"
	"strings"

	"downlead/dsp"
	"downlead/dsp/sweep"
)

// drawSpectrum draws a sweep's return loss over frequency as bars, full height for
// a total reflection, with a ruler below.
func drawSpectrum(s *sweep.Sweep) []string {
	f := s.FrequencyHz
	low, high := f[0], f[len(f)-1]
	const last = drawingColumns - 2
	column := func(hz float64) int { return int(math.Round((hz - low) / (high - low) * last)) }
	rows := profile{f, s.ReturnLossDB()}.bars(last, column)
	r := &canvas{columns: drawingColumns}
	r.put(0, 0, strings.Repeat("─", last+1))
	step := dsp.TickStep((high - low) / 7)
	end := -2
	for hz := math.Ceil(low/step) * step; hz <= high*(1+1e-9); hz += step {
		at := column(hz)
		text := fmt.Sprintf("%.4g", hz/1e6)
		if end < 0 {
			text += " MHz"
		}
		r.put(0, at, "┬")
		if at = min(at, drawingColumns-len(text)); at > end+1 {
			r.put(1, at, text)
			end = at + len(text)
		}
	}
	return append(rows, r.lines()...)
}
