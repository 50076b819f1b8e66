package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"downlead/cables"
	"downlead/dsp/series"
)

// seriesReport is the text report of a series in the making.
type seriesReport struct {
	*page
	found *series.Result
	line  *cables.Line
	path  *cables.Path
	list  []timed
	from  string
	scale lengthScale
}

func (r *seriesReport) write() {
	r.head()
	r.verdict()
	var marks []mark
	for i, p := range r.found.Places {
		marks = append(marks, mark{p.DistanceM, p.SigmaM, 0, fmt.Sprint(i + 1), r.plain(r.where(&p)), true})
	}
	r.heading(fmt.Sprintf("The line, %s, drawn to scale, and its change from sweep to sweep", r.scale.text(r.path.LengthM())))
	for _, row := range r.changes(drawnM(r.path, marks)) {
		r.row("  " + row)
	}
	for _, row := range drawLine(r.path, r.line.Load.Kind, marks, r.scale, profile{}) {
		r.row("  " + row)
	}
	r.row("")
	r.text("  ", fmt.Sprintf("one row a sweep, or several; %s a change of 12, 24, 36 and 48 dB over the noise, what all places do together taken out; what stands beside a stronger change in its rows is left of what that does to the rest", shades))
	for i := range r.found.Places {
		r.place(i)
	}
	r.together()
	if len(r.found.Warnings) > 0 {
		r.heading("Worth knowing about this series")
		for _, n := range r.found.Warnings {
			r.text("  · ", n)
		}
	}
	r.cautions()
}

func (r *seriesReport) head() {
	name := r.line.Name
	if name == "" {
		name = "Unnamed line"
	}
	hz := r.list[0].sweep.FrequencyHz
	r.text("", name)
	r.text("", fmt.Sprintf("%d sweeps of %d points from %s to %s, by %s", len(r.list), len(hz), frequencyText(hz[0]), frequencyText(hz[len(hz)-1]), r.from))
	if first, last := r.list[0].at, r.list[len(r.list)-1].at; !first.IsZero() {
		r.text("", fmt.Sprintf("from %s to %s", first.Format(time.DateTime), last.Format(time.DateTime)))
	}
}

// where writes a place of the series.
func (r *seriesReport) where(p *series.Place) string { return r.scale.uncertain(p.DistanceM, p.SigmaM) }

// motionWords say what a motion of a place means.
func motionWords(m series.Motion) string {
	switch m {
	case series.Jumps:
		return "loose contact"
	case series.Drifts:
		return "drifts to one side, as with temperature or water"
	}
	return "moves slowly to and fro, as in wind"
}

func (r *seriesReport) verdict() {
	r.row("")
	for i, p := range r.found.Places {
		r.text(fmt.Sprintf("  MOVES %-8d ", i+1), fmt.Sprintf("%s: %s; %s", r.where(&p), motionWords(p.Motion), p.Place))
	}
	if len(r.found.Places) == 0 {
		r.text("  STEADY         ", "no place along the line moves beyond the noise")
	}
	if r.found.Length.Motion != series.Steady {
		r.text("  LENGTH         ", lengthWords(r.found.Length, r.path))
	}
	r.text("  NOISE          ", fmt.Sprintf("%.1f dB for a point of one sweep against a total reflection, as the sweeps show it; noise alone shows a place in at most 1 of %.0f series",
		r.found.NoiseDB, 1/r.found.FalseAlarmRate))
}

// lengthWords say what the electrical length does.
func lengthWords(d series.Drift, path *cables.Path) string {
	how := map[series.Motion]string{series.Steady: "is steady", series.Jumps: "jumps, as when a test cable is moved", series.Drifts: "drifts, as with temperature", series.Swings: "goes to and fro"}
	relative, digits := 1000*d.Range/path.ElectricalM(path.LengthM()), 0
	if relative < 9.95 {
		digits = 1
	}
	return fmt.Sprintf("the electrical length of the line, or of the test cable, %s: %.2f ± %.2f mm, %.*f parts in a million",
		how[d.Motion], d.Range, math.Max(0.01, d.Sigma), digits, relative)
}

func (r *seriesReport) place(i int) {
	p := &r.found.Places[i]
	r.heading(fmt.Sprintf("Place %d: %s", i+1, motionWords(p.Motion)))
	r.text("  where         ", r.where(p)+" from the test port; "+p.Place)
	r.text("  how much      ", fmt.Sprintf("the reflection of the place itself changes by %.1f dB rms, %.1f dB at most, against a total reflection; one sweep's noise is %.1f dB there",
		p.RMSDB, p.PeakDB, p.FloorDB))
	if 2*len(p.Moved) > len(p.Trace) {
		r.text("  when          ", fmt.Sprintf("away from rest in %d of %d sweeps", len(p.Moved), len(p.Trace)))
	} else {
		r.text("  when          ", "away from rest in "+r.sweeps(p.Moved))
	}
	if len(p.Jumped) > 0 {
		r.text("  jumps         ", "before "+r.sweeps(p.Jumped))
	}
	for n, row := range course(p.Trace) {
		label := "                "
		if n == 0 {
			label = "  course        "
		}
		r.row(label + row)
	}
	for _, e := range r.found.Echoes {
		if e.OfM == p.DistanceM {
			r.text("  in step       ", fmt.Sprintf("%s changes with it by %.1f dB rms: what passes a changing place, there and back, is changed too", r.scale.text(e.DistanceM), e.RMSDB))
		}
	}
	check := "Sweep over and over once more while this place alone is tapped and gently bent: what jumps with the tapping is the contact. Then undo it, look at it, clean it and do it up to its torque."
	switch p.Motion {
	case series.Drifts:
		check = "Sweep again on a dry and on a wet day, warm and cold: what water does stays when the temperature is back, what temperature does goes."
	case series.Swings:
		check = "Look whether cable or connector is loose there and moves: clamps, hangers, the bend of the jumper. Fasten it and take a series again in the same wind."
	}
	r.text("  to check      ", check)
}

// sweeps names sweeps by number and, where it is known, time of day.
func (r *seriesReport) sweeps(numbers []int) string {
	const most = 12
	var words []string
	for i, n := range numbers {
		if i == most {
			words = append(words, fmt.Sprintf("and %d more", len(numbers)-most))
			break
		}
		word := fmt.Sprint(n)
		if at := r.list[n-1].at; !at.IsZero() {
			word += at.Format(" (15:04:05)")
		}
		words = append(words, word)
	}
	if len(numbers) == 1 {
		return "sweep " + words[0]
	}
	return fmt.Sprintf("%d sweeps: %s", len(numbers), strings.Join(words, ", "))
}

// course draws a trace as bars, one column a sweep, from its smallest to its
// largest value.
func course(trace []float64) []string {
	const wide = pageColumns - 16
	low, high := slices.Min(trace), slices.Max(trace)
	eighths := []rune("▁▂▃▄▅▆▇█")
	var rows []string
	for part := range slices.Chunk(trace, wide) {
		row := ""
		for _, v := range part {
			row += string(eighths[int(math.Round(7*(v-low)/math.Max(high-low, 1e-300)))])
		}
		rows = append(rows, row)
	}
	return rows
}

func (r *seriesReport) together() {
	r.heading("What all places do together")
	r.text("  length        ", lengthWords(r.found.Length, r.path))
	gain := "steady"
	if d := r.found.Gain; d.Motion != series.Steady {
		gain = fmt.Sprintf("%s by %.3f ± %.3f dB: the instrument, or what reflects most", d.Motion, d.Range, math.Max(0.001, d.Sigma))
	}
	r.text("  size          ", gain)
	port := "steady"
	if d := r.found.Port; d.Motion != series.Steady {
		port = fmt.Sprintf("%s by %.1f dB against a total reflection: its connector, or the instrument", d.Motion, 20*math.Log10(d.Range))
	}
	r.text("  test port     ", port)
}

// shades are the steps of a change over the noise.
const shades = "░ ▒ ▓ █"

// changes draws the change along the line, a row a sweep or a row the largest of
// several, over the columns of the drawing of totalM.
func (r *seriesReport) changes(totalM float64) []string {
	const mostRows, last = 24, drawingColumns - 2
	steps := []rune(strings.ReplaceAll(shades, " ", ""))
	each := (len(r.found.Map.ChangeDB) + mostRows - 1) / mostRows
	var rows []string
	for n := 0; n < len(r.found.Map.ChangeDB); n += each {
		c := &canvas{columns: drawingColumns + 4}
		most := make([]float64, last+1)
		for _, sweep := range r.found.Map.ChangeDB[n:min(n+each, len(r.found.Map.ChangeDB))] {
			for i, x := range r.found.Map.DistanceM {
				if x < 0 || x > totalM {
					continue
				}
				k := int(math.Round(x / totalM * last))
				most[k] = math.Max(most[k], sweep[i]-r.found.Map.FloorDB[i])
			}
		}
		for k, over := range most {
			if step := int(over / 12); step > 0 {
				c.put(0, k, string(steps[min(step, len(steps))-1]))
			}
		}
		label := fmt.Sprint(n + 1)
		if n == 0 {
			label = "sweep 1"
		}
		c.put(0, drawingColumns-len(label)+4, label)
		rows = append(rows, c.lines()...)
	}
	return rows
}
