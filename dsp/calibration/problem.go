package calibration

import (
	"fmt"
	"strings"

	"downlead/dsp/sweep"
)

// Severity says what a problem means for the corrected sweep.
type Severity int

// The severities, in rising order.
const (
	Note     Severity = iota // worth reading; the correction holds
	Doubtful                 // the correction is to be read with distrust
	Refuse                   // the correction is wrong
)

func (s Severity) String() string {
	switch s {
	case Note:
		return "note"
	case Doubtful:
		return "doubtful"
	case Refuse:
		return "refused"
	}
	return fmt.Sprintf("severity %d", int(s))
}

// Kind names what a problem is about.
type Kind string

// The kinds of problem.
const (
	KindKit         Kind = "kit"          // no definitions: ideal standards assumed
	KindGrid        Kind = "grid"         // frequencies of standards and device differ
	KindBand        Kind = "band"         // the device leaves the standards' span
	KindReference   Kind = "reference"    // reference impedances differ
	KindTemperature Kind = "temperature"  // moved since the calibration
	KindAge         Kind = "age"          // calibrated long ago
	KindAlike       Kind = "alike"        // two standards read the same
	KindSwapped     Kind = "swapped"      // standards exchanged
	KindLoad        Kind = "load"         // the load, or the directivity, is implausible
	KindSourceMatch Kind = "source-match" // source match is implausible
	KindTracking    Kind = "tracking"     // tracking is implausible
	KindLoose       Kind = "loose"        // a standard's reading jumps
	KindNoise       Kind = "noise"        // a standard's reading is noisy
	KindCondition   Kind = "condition"    // the standards' reflections lie too close together
	KindActive      Kind = "active"       // the corrected device reflects more than it gets
	KindResidual    Kind = "residual"     // the known device reads as it should not
)

// Problem is one thing wrong with a calibration.
type Problem struct {
	Kind     Kind
	Severity Severity
	Text     string // what is wrong, with figures
	Mend     string // what to do
	// LowHz and HighHz bound the frequencies concerned; both 0: all.
	LowHz, HighHz float64
}

func (p Problem) String() string { return p.Text + "; " + p.Mend }

// Refusal is the error that goes with problems that make a correction wrong.
type Refusal struct{ Problems []Problem }

func (r *Refusal) Error() string {
	texts := make([]string, len(r.Problems))
	for i, p := range r.Problems {
		texts[i] = p.String()
	}
	return "calibration refused: " + strings.Join(texts, "; ")
}

func refusal(problems []Problem) error {
	var refused []Problem
	for _, p := range problems {
		if p.Severity == Refuse {
			refused = append(refused, p)
		}
	}
	if refused == nil {
		return nil
	}
	return &Refusal{refused}
}

// Notice is the sentence to put before every result drawn from s when its
// calibration is missing or in doubt; empty when there is nothing to say.
func Notice(s *sweep.Sweep) string {
	switch s.Correction {
	case sweep.AssumedCorrected, sweep.Corrected:
		return ""
	case sweep.Doubtful:
		why := strings.Join(s.Warnings, " | ")
		if why == "" {
			why = "a check of the standards failed"
		}
		return "CALIBRATION IN DOUBT. Do not sign off or climb on these readings before the standards are measured again. Why: " + why
	}
	return "NOT CALIBRATED. These are raw readings with the instrument's own errors in them; return loss and faults may be wrong by many dB. " +
		"Measure open, short and load at the test port and correct the sweep with them first."
}

func hz(f float64) string {
	switch {
	case f >= 1e9:
		return fmt.Sprintf("%.6g GHz", f/1e9)
	case f >= 1e6:
		return fmt.Sprintf("%.6g MHz", f/1e6)
	case f >= 1e3:
		return fmt.Sprintf("%.6g kHz", f/1e3)
	}
	return fmt.Sprintf("%.6g Hz", f)
}
