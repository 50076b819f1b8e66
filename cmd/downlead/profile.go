package main

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"
)

// profileRows is how high the profile is drawn; each row is worth rowDB.
const (
	profileRows = 4
	rowDB       = 15.0
)

// profile is the reflection along a line. The zero value is empty.
type profile struct {
	distanceM []float64
	levelDB   []float64 // below a total reflection, positive; one for each place
}

// lineProfile computes the profile of the sweep up to toM, without the points
// at leftOutHz. See package distance.
func lineProfile(s *sweep.Sweep, path *cables.Path, window dsp.Window, toM float64, leftOutHz []float64) (profile, error) {
	var frequencyHz []float64
	var gamma []complex128
	for k, f := range s.FrequencyHz {
		if !slices.Contains(leftOutHz, f) {
			frequencyHz = append(frequencyHz, f)
			gamma = append(gamma, s.Gamma[k])
		}
	}
	transform, err := distance.New(path, frequencyHz, distance.Settings{Window: window, ToM: toM})
	if err != nil {
		return profile{}, fmt.Errorf("drawing the profile: %w", err)
	}
	along := transform.Profile(nil, gamma)
	p := profile{along.DistanceM, make([]float64, len(along.Amplitude))}
	for k, a := range along.Amplitude {
		p.levelDB[k] = -20 * math.Log10(cmplx.Abs(a))
	}
	return p, nil
}

// bars draws the profile over columns 0 to last: the highest level that falls
// on a column as a bar, full height for a total reflection, nothing at the foot
// of the scale. column tells where a place is.
func (p profile) bars(last int, column func(m float64) int) []string {
	if len(p.levelDB) == 0 {
		return nil
	}
	level := make([]float64, last+1)
	for k := range level {
		level[k] = math.Inf(1)
	}
	for k, x := range p.distanceM {
		level[column(x)] = math.Min(level[column(x)], p.levelDB[k])
	}
	eighths := []rune("▁▂▃▄▅▆▇█")
	c := &canvas{columns: drawingColumns + 4}
	for row := range profileRows {
		top := rowDB * float64(row)
		label := fmt.Sprintf("%.0f", top)
		if row == 0 {
			label += " dB"
		}
		c.put(row, drawingColumns, label)
		for k, db := range level {
			if fill := int(math.Round(8 * math.Min(1, (top+rowDB-db)/rowDB))); fill > 0 {
				c.put(row, k, string(eighths[fill-1]))
			}
		}
	}
	return c.lines()
}
