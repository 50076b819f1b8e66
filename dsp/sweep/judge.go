package sweep

import (
	"errors"
	"fmt"
	"math"
)

// LimitBand is a flat limit line over a band. Exactly one of the two limits
// is set.
type LimitBand struct {
	Name            string
	LowHz           float64 // 0: from the start of the sweep
	HighHz          float64 // 0: to the end of the sweep
	MaxVSWR         float64 // 0: not set
	MinReturnLossDB float64 // 0: not set
}

// BandVerdict is the judgement of a sweep in one band.
type BandVerdict struct {
	Band   LimitBand
	Points int // measured points in the band
	// Passes: every point in the band keeps the limit, and the sweep covers
	// the band. A value equal to the limit keeps it.
	Passes bool
	// Covered: the sweep reaches both edges of the band to within the distance
	// of two neighbouring points. A hole inside the band is not looked for.
	Covered           bool
	WorstVSWR         float64 // +Inf for total reflection
	WorstReturnLossDB float64
	AtHz              float64 // of the worst point, the lowest of equals
	LimitVSWR         float64 // the limit, in both units
	LimitReturnLossDB float64
	MarginDB          float64 // worst return loss less the limit; negative: out of limits
}

// Judge holds the sweep against limits, one verdict per band in their order.
// Only measured points count, nothing is interpolated. A band without a valid
// limit or without a point of the sweep is an error.
func (s *Sweep) Judge(bands []LimitBand) ([]BandVerdict, error) {
	verdicts, err := judge(s.FrequencyHz, s.Magnitude(), bands)
	if err != nil {
		return nil, fmt.Errorf("judging sweep %q: %w", s.Name, err)
	}
	return verdicts, nil
}

// Judge holds the scalar sweep against limits as Sweep.Judge does.
func (s *Scalar) Judge(bands []LimitBand) ([]BandVerdict, error) {
	verdicts, err := judge(s.FrequencyHz, s.Magnitude, bands)
	if err != nil {
		return nil, fmt.Errorf("judging scalar sweep %q: %w", s.Name, err)
	}
	return verdicts, nil
}

// WorstVSWR returns the highest VSWR from lowHz to highHz (0 leaves a side
// open) and the frequency in Hz where it is, the lowest of equals; +Inf for
// total reflection. It is an error if no point lies in the band.
func (s *Sweep) WorstVSWR(lowHz, highHz float64) (vswr, atHz float64, err error) {
	from, to := bandIndices(s.FrequencyHz, lowHz, highHz)
	if to <= from {
		return 0, 0, fmt.Errorf("sweep %q: %w", s.Name, emptyBand(s.FrequencyHz, lowHz, highHz))
	}
	magnitude, at := worst(s.Magnitude(), from, to)
	return VSWRFromMagnitude(magnitude), s.FrequencyHz[at], nil
}

// worst returns the highest magnitude in the non-empty range and its index; a
// NaN is as bad as can be.
func worst(magnitude []float64, from, to int) (highest float64, at int) {
	highest, at = magnitude[from], from
	for i := from + 1; i < to && !math.IsNaN(highest); i++ {
		if !(magnitude[i] <= highest) {
			highest, at = magnitude[i], i
		}
	}
	return highest, at
}

func emptyBand(frequencyHz []float64, lowHz, highHz float64) error {
	return fmt.Errorf("no point lies in the band %s; the sweep covers %s", bandText(lowHz, highHz), coverText(frequencyHz))
}

// magnitudeLimit returns the highest ρ that the band allows.
func (b LimitBand) magnitudeLimit() (float64, error) {
	switch {
	case b.MaxVSWR != 0 && b.MinReturnLossDB != 0:
		return 0, errors.New("both a VSWR and a return loss limit: leave one")
	case b.MaxVSWR > 1 && !math.IsInf(b.MaxVSWR, 0):
		return MagnitudeFromVSWR(b.MaxVSWR), nil
	case b.MaxVSWR != 0:
		return 0, fmt.Errorf("VSWR limit %g: it must be above 1", b.MaxVSWR)
	case b.MinReturnLossDB > 0 && !math.IsInf(b.MinReturnLossDB, 0):
		return MagnitudeFromReturnLoss(b.MinReturnLossDB), nil
	case b.MinReturnLossDB != 0:
		return 0, fmt.Errorf("return loss limit %g dB: it must be above 0", b.MinReturnLossDB)
	}
	return 0, errors.New("no limit: set a VSWR or a return loss")
}

func judge(frequencyHz, magnitude []float64, bands []LimitBand) ([]BandVerdict, error) {
	verdicts := make([]BandVerdict, 0, len(bands))
	for i, band := range bands {
		limit, err := band.magnitudeLimit()
		if err == nil && band.HighHz > 0 && band.HighHz < band.LowHz {
			err = fmt.Errorf("it ends at %s Hz, below its start: swap the two", formatHz(band.HighHz))
		}
		from, to := bandIndices(frequencyHz, band.LowHz, band.HighHz)
		if err == nil && to <= from {
			err = emptyBand(frequencyHz, band.LowHz, band.HighHz)
		}
		if err != nil {
			return nil, fmt.Errorf("limit band %d %q: %w", i+1, band.Name, err)
		}
		highest, at := worst(magnitude, from, to)
		v := BandVerdict{
			Band: band, Points: to - from,
			Covered:   reaches(frequencyHz, from, to, band.LowHz, band.HighHz),
			WorstVSWR: VSWRFromMagnitude(highest), WorstReturnLossDB: ReturnLossFromMagnitude(highest),
			AtHz:      frequencyHz[at],
			LimitVSWR: VSWRFromMagnitude(limit), LimitReturnLossDB: ReturnLossFromMagnitude(limit),
		}
		// The limit as it was given, not as it came back from a conversion.
		within := highest <= limit
		if band.MaxVSWR != 0 {
			v.LimitVSWR = band.MaxVSWR
		} else {
			v.LimitReturnLossDB = band.MinReturnLossDB
		}
		v.MarginDB = v.WorstReturnLossDB - v.LimitReturnLossDB
		v.Passes = within && v.Covered
		verdicts = append(verdicts, v)
	}
	return verdicts, nil
}

// reaches says whether the points from..to come within one step of both edges.
func reaches(frequencyHz []float64, from, to int, lowHz, highHz float64) bool {
	step := func(i int) float64 { // of the grid at point i
		if len(frequencyHz) < 2 {
			return 0
		}
		i = min(i, len(frequencyHz)-2)
		return frequencyHz[i+1] - frequencyHz[i]
	}
	low := from > 0 || lowHz <= 0 || frequencyHz[0]-lowHz <= step(0)
	last := len(frequencyHz) - 1
	high := to <= last || highHz <= 0 || highHz-frequencyHz[last] <= step(last)
	return low && high
}
