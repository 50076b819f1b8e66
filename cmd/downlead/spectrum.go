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
	return drawBars(profile{f, s.ReturnLossDB()}, f[0], f[len(f)-1], "MHz", 1e6)
}

// drawBars draws levels between low and high with a ruler in a unit of that size.
func drawBars(levels profile, low, high float64, unit string, size float64) []string {
	const last = drawingColumns - 2
	column := func(x float64) int {
		return int(math.Round(math.Max(0, math.Min((x-low)/(high-low), 1)) * last))
	}
	// A column between two points shows what lies between them.
	var inside profile
	for k, x := range levels.distanceM {
		if k > 0 && x >= low && levels.distanceM[k-1] <= high {
			before, was := levels.distanceM[k-1], levels.levelDB[k-1]
			for c := column(before) + 1; c < column(x); c++ {
				between := low + (high-low)*float64(c)/last
				share := (between - before) / (x - before)
				inside.distanceM, inside.levelDB = append(inside.distanceM, between), append(inside.levelDB, was+share*(levels.levelDB[k]-was))
			}
		}
		if x >= low && x <= high {
			inside.distanceM, inside.levelDB = append(inside.distanceM, x), append(inside.levelDB, levels.levelDB[k])
		}
	}
	rows := inside.bars(last, column)
	r := &canvas{columns: drawingColumns}
	r.put(0, 0, strings.Repeat("─", last+1))
	step := dsp.TickStep((high - low) / size / 7)
	end := -2
	for k := math.Ceil(low/size/step - 1e-9); k*step <= high/size*(1+1e-9); k++ {
		at := column(k * step * size)
		text := fmt.Sprintf("%.4g", k*step)
		if end < 0 {
			text += " " + unit
		}
		r.put(0, at, "┬")
		if at = min(at, drawingColumns-len(text)); at > end+1 {
			r.put(1, at, text)
			end = at + len(text)
		}
	}
	return append(rows, r.lines()...)
}
