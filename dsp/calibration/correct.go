package calibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"downlead/dsp/sweep"
)

// A passive device reflects at most everything. With residual errors of a
// poor but sound calibration (source match 26 dB, directivity 30 dB) a total
// reflection may read 1.08; past 1.1 at more points than interference spoils
// (5 %), the calibration does not belong to the sweep.
const (
	activeMagnitude = 1.1
	activePart      = 0.06
)

// Correct takes the instrument's errors out of a raw sweep:
//
//	Γ = (Γm − e00) / (e10e01 + e11·(Γm − e00))
//
// The answer is a new sweep marked as corrected, or as doubtful when one of
// the Problems is more than a note; its Warnings are those of raw and the
// texts of all problems, its ErrorFloor is set when a known device was
// measured ([ErrorTerms.Adopt]). A sweep on another grid than the standards'
// gets interpolated terms, with a note, where that is safe, and a *[Refusal]
// otherwise; so does one that leaves the standards' span, for which the
// calibration is void.
func (t *ErrorTerms) Correct(raw *sweep.Sweep) (*sweep.Sweep, error) {
	if len(raw.FrequencyHz) == 0 || len(raw.FrequencyHz) != len(raw.Gamma) {
		return nil, fmt.Errorf("correcting %s: %d frequencies and %d readings; measure it again", raw.Name, len(raw.FrequencyHz), len(raw.Gamma))
	}
	if raw.Correction == sweep.Corrected || raw.Correction == sweep.Doubtful {
		return nil, fmt.Errorf("correcting %s: it is already corrected; give the raw sweep", raw.Name)
	}
	for k, f := range raw.FrequencyHz {
		if !(f > 0) || math.IsInf(f, 1) || k > 0 && !(f > raw.FrequencyHz[k-1]) {
			return nil, fmt.Errorf("correcting %s: the frequencies do not rise at point %d (%s); measure it again", raw.Name, k+1, hz(f))
		}
	}
	if raw.ReferenceOhm != t.ReferenceOhm {
		return nil, &Refusal{[]Problem{{Kind: KindReference, Severity: Refuse,
			Text: fmt.Sprintf("the sweep is in %g ohm, the standards in %g ohm", raw.ReferenceOhm, t.ReferenceOhm),
			Mend: "measure both with one reference impedance"}}}
	}
	problems := append([]Problem(nil), t.Problems...)
	terms := solution{directivity: t.Directivity, sourceMatch: t.SourceMatch, tracking: t.Tracking}
	if where := gridsDiffer(t.FrequencyHz, raw.FrequencyHz); where != "" {
		var note Problem
		var err error
		if terms, note, err = t.interpolate(raw.FrequencyHz, where); err != nil {
			return nil, err
		}
		problems = append(problems, note)
	}

	corrected := &sweep.Sweep{
		Name:         raw.Name,
		FrequencyHz:  append([]float64(nil), raw.FrequencyHz...),
		Gamma:        make([]complex128, len(raw.Gamma)),
		ReferenceOhm: raw.ReferenceOhm,
		Correction:   sweep.Corrected,
		Comments:     append([]string(nil), raw.Comments...),
	}
	active := 0
	for k, m := range raw.Gamma {
		d := m - terms.directivity[k]
		g := d / (terms.tracking[k] + terms.sourceMatch[k]*d)
		if !finite(g) {
			return nil, fmt.Errorf("correcting %s: no corrected value at point %d (%s); measure the standards and the line again", raw.Name, k+1, hz(raw.FrequencyHz[k]))
		}
		corrected.Gamma[k] = g
		if cmplx.Abs(g) > activeMagnitude {
			active++
		}
	}
	if float64(active) > activePart*float64(len(raw.Gamma)) {
		problems = append(problems, Problem{
			Kind: KindActive, Severity: Doubtful,
			Text: fmt.Sprintf("at %d of %d points the corrected line reflects over %.0f %% of what it gets, which no line does: the standards do not belong to this sweep", active, len(raw.Gamma), 100*activeMagnitude),
			Mend: "measure the standards again with the test cable and adapters of the sweep",
		})
	}
	corrected.Warnings = append(corrected.Warnings, raw.Warnings...)
	for _, p := range problems {
		corrected.Warnings = append(corrected.Warnings, p.String())
		if p.Severity > Note {
			corrected.Correction = sweep.Doubtful
		}
	}
	if t.Residual != nil && t.Residual.Directivity != nil {
		corrected.ErrorFloor = make([]float64, len(raw.FrequencyHz))
		for k, f := range raw.FrequencyHz {
			corrected.ErrorFloor[k] = linear(t.Residual.FrequencyHz, t.Residual.Directivity, f)
		}
	}
	return corrected, nil
}

// interpolate carries the terms to another grid by cubics through four
// points. It is refused outside the standards' span and where the terms turn
// too far from point to point. where says how the grids differ.
func (t *ErrorTerms) interpolate(frequencyHz []float64, where string) (solution, Problem, error) {
	f := t.FrequencyHz
	last := len(f) - 1
	low, high := frequencyHz[0], frequencyHz[len(frequencyHz)-1]
	if low < f[0]-gridTolerance(f, 0) || high > f[last]+gridTolerance(f, last) {
		return solution{}, Problem{}, &Refusal{[]Problem{{
			Kind: KindBand, Severity: Refuse,
			Text: fmt.Sprintf("the sweep covers %s to %s, the standards only %s to %s: the calibration is void", hz(low), hz(high), hz(f[0]), hz(f[last])),
			Mend: "measure the standards over the band of the sweep, or sweep only the standards' band", LowHz: low, HighHz: high}}}
	}
	refuse := func(format string, args ...any) error {
		return &Refusal{[]Problem{{
			Kind: KindGrid, Severity: Refuse,
			Text:  fmt.Sprintf("the frequencies of standards and sweep differ (%s) and cannot be bridged: ", where) + fmt.Sprintf(format, args...),
			Mend:  "measure the standards with the start, stop and number of points of the sweep",
			LowHz: low, HighHz: high}}}
	}
	if len(f) < 4 {
		return solution{}, Problem{}, refuse("%d points are too few", len(f))
	}
	n := len(frequencyHz)
	s := solution{directivity: make([]complex128, n), sourceMatch: make([]complex128, n), tracking: make([]complex128, n)}
	k, checked := 0, -1
	for i, at := range frequencyHz {
		for k < last-1 && f[k+1] <= at {
			k++
		}
		first := min(max(k-1, 0), last-3)
		for c := max(first, checked+1); c < first+3; c++ {
			if step := f[c+1] - f[c]; step*longestDelayS > 0.5 {
				return solution{}, Problem{}, refuse("the standards' points lie %s apart at %s, between which a test cable of some metres turns the phase nobody knows how often", hz(step), hz(f[c]))
			}
			if turn := t.turn(c); turn > turnPerPointRad {
				return solution{}, Problem{}, refuse("between %s and %s the instrument's errors turn by %.0f° from one point of the standards to the next, more than %.0f°", hz(f[c]), hz(f[c+1]), turn*180/math.Pi, turnPerPointRad*180/math.Pi)
			}
			checked = c
		}
		for a := first; a < first+4; a++ {
			weight := 1.0
			for b := first; b < first+4; b++ {
				if b != a {
					weight *= (at - f[b]) / (f[a] - f[b])
				}
			}
			w := complex(weight, 0)
			s.directivity[i] += w * t.Directivity[a]
			s.sourceMatch[i] += w * t.SourceMatch[a]
			s.tracking[i] += w * t.Tracking[a]
		}
	}
	return s, Problem{
		Kind: KindGrid, Severity: Note,
		Text: fmt.Sprintf("the frequencies of standards and sweep differ (%s): the error terms are interpolated", where),
		Mend: "measure the standards with the settings of the sweep to be free of that",
	}, nil
}

// turn is how far the terms move from point k to the next, as an angle: the
// phase of the tracking, or the chord of the others where that is more. A
// chord of directivity or source match counts at the size 0.2, the largest a
// sound instrument has.
func (t *ErrorTerms) turn(k int) float64 {
	const largest = 0.2
	tracking := math.Abs(cmplx.Phase(t.Tracking[k+1] * cmplx.Conj(t.Tracking[k])))
	size := cmplx.Abs(t.Tracking[k]) * largest
	return max(tracking,
		cmplx.Abs(t.Directivity[k+1]-t.Directivity[k])/size,
		cmplx.Abs(t.SourceMatch[k+1]-t.SourceMatch[k])/largest)
}

// linear interpolates y over the ascending x, held at the ends.
func linear(x, y []float64, at float64) float64 {
	lo, hi := 0, len(x)-1
	if at <= x[lo] {
		return y[lo]
	}
	if at >= x[hi] {
		return y[hi]
	}
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; x[mid] <= at {
			lo = mid
		} else {
			hi = mid
		}
	}
	return y[lo] + (y[hi]-y[lo])*(at-x[lo])/(x[hi]-x[lo])
}
