package sweep

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// Correction says how far a sweep can be believed to be free of the
// instrument's own errors.
type Correction int

// The states of correction.
const (
	AssumedCorrected Correction = iota // the file does not say; taken as corrected by the instrument
	Corrected                          // corrected here, with standards that passed their checks
	Doubtful                           // corrected here, but a check failed: see Warnings
	Uncorrected                        // raw: readings are not to be believed
)

// String returns the state in words, as it is also written to files.
func (c Correction) String() string {
	switch c {
	case AssumedCorrected:
		return "assumed corrected"
	case Corrected:
		return "corrected"
	case Doubtful:
		return "doubtful"
	case Uncorrected:
		return "uncorrected"
	}
	return fmt.Sprintf("Correction(%d)", int(c))
}

// Sweep is a one-port reflection sweep.
type Sweep struct {
	Name         string       // where it came from, usually the file's name
	FrequencyHz  []float64    // strictly ascending, > 0
	Gamma        []complex128 // reflection coefficient in ReferenceOhm, one per frequency
	ReferenceOhm float64
	Correction   Correction
	Warnings     []string // what a reader of any result should know about this sweep
	// ErrorFloor is the magnitude of the residual directivity, per frequency,
	// when the calibration yielded it; nil when it is not known.
	ErrorFloor []float64
	Comments   []string // comment lines of the file's head, without their mark
	TwoPort    *TwoPort // what a two-port file holds beside Gamma; nil for a one-port
}

// TwoPort is the rest of a two-port sweep, of which Gamma is S11. Whoever
// changes Gamma (a correction, say) drops it, as it no longer belongs to it.
type TwoPort struct {
	S21, S12, S22 []complex128 // one per frequency of the sweep
	ReferenceOhm  float64      // of port 2
}

// Limits of what is taken as a sweep.
const (
	// MinPoints of a sweep: distance follows from the phase step between
	// neighbours, so one point alone has no distance in it.
	MinPoints = 2
	// MaxPoints of a sweep; bounds the memory that a file can take.
	MaxPoints = 2_000_000

	minFrequencyHz = 1.0  // less is a wrong unit, not a sweep of a feeder
	maxFrequencyHz = 1e12 // more is a wrong unit, too
	maxMagnitude   = 1000 // |Γ| above this is not a reflection coefficient
)

// Validate returns an error that names the first point of s that breaks the
// promises of the type: lengths, order, finite numbers, a positive reference.
// The readers of this package return only sweeps that pass.
func (s *Sweep) Validate() error {
	if err := s.check(); err != nil {
		return fmt.Errorf("sweep %q: %w", s.Name, err)
	}
	return nil
}

func (s *Sweep) check() error {
	n := len(s.FrequencyHz)
	switch {
	case n != len(s.Gamma):
		return fmt.Errorf("%d frequencies but %d reflection coefficients", n, len(s.Gamma))
	case n > MaxPoints:
		return fmt.Errorf("%d points: at most %d are taken", n, MaxPoints)
	case s.ErrorFloor != nil && len(s.ErrorFloor) != n:
		return fmt.Errorf("%d frequencies but an error floor of %d values", n, len(s.ErrorFloor))
	case !(s.ReferenceOhm > 0) || math.IsInf(s.ReferenceOhm, 0):
		return fmt.Errorf("reference impedance %g ohm: it must be positive", s.ReferenceOhm)
	}
	if err := fewPoints(n); err != nil {
		return err
	}
	previous := 0.0
	for i, f := range s.FrequencyHz {
		if reason := frequencyFault(f, previous); reason != "" {
			return fmt.Errorf("point %d of %d: %s", i+1, n, reason)
		}
		previous = f
		if reason := gammaFault(s.Gamma[i]); reason != "" {
			return fmt.Errorf("point %d of %d, %g Hz: %s", i+1, n, f, reason)
		}
	}
	for i, e := range s.ErrorFloor {
		if !(e >= 0) || math.IsInf(e, 0) {
			return fmt.Errorf("point %d of %d: error floor %g", i+1, n, e)
		}
	}
	if t := s.TwoPort; t != nil {
		if len(t.S21) != n || len(t.S12) != n || len(t.S22) != n {
			return fmt.Errorf("%d frequencies but %d, %d and %d values of S21, S12 and S22", n, len(t.S21), len(t.S12), len(t.S22))
		}
		if !(t.ReferenceOhm > 0) || math.IsInf(t.ReferenceOhm, 0) {
			return fmt.Errorf("reference impedance of port 2 %g ohm: it must be positive", t.ReferenceOhm)
		}
		for i := range n {
			if !finite(t.S21[i]) || !finite(t.S12[i]) || !finite(t.S22[i]) {
				return fmt.Errorf("point %d of %d: S21, S12 or S22 is not finite", i+1, n)
			}
		}
	}
	return nil
}

func finite(z complex128) bool { return !cmplx.IsNaN(z) && !cmplx.IsInf(z) }

// fewPoints is the error of a sweep of n points when that is not enough.
func fewPoints(n int) error {
	switch {
	case n == 0:
		return errors.New("no data point: the file is empty or was cut off; export the sweep again")
	case n < MinPoints:
		return fmt.Errorf("only %d data point: a sweep needs at least %d, since distance comes from the step between two; export the whole sweep", n, MinPoints)
	}
	return nil
}

// frequencyFault says what is wrong with f as the frequency after previous
// (0: the first), both in Hz, and how to mend it; "" if nothing is.
func frequencyFault(f, previous float64) string {
	switch {
	case math.IsNaN(f) || math.IsInf(f, 0):
		return "the frequency is not a finite number; correct or delete the point"
	case f < 0:
		return fmt.Sprintf("negative frequency %g Hz; correct or delete the point", f)
	case f < minFrequencyHz:
		return fmt.Sprintf("frequency %g Hz is below %g Hz; check the frequency unit", f, minFrequencyHz)
	case f > maxFrequencyHz:
		return fmt.Sprintf("frequency %g Hz is above %g Hz; check the frequency unit", f, maxFrequencyHz)
	case f == previous:
		return fmt.Sprintf("frequency %s Hz repeats the point before; delete one of the two", formatHz(f))
	case f < previous:
		return fmt.Sprintf("frequency falls from %s Hz to %s Hz; sort the points by ascending frequency", formatHz(previous), formatHz(f))
	}
	return ""
}

// gammaFault says what is wrong with a reflection coefficient; "" if nothing is.
func gammaFault(g complex128) string {
	if !finite(g) {
		return "the reflection coefficient is not finite; correct or delete the point"
	}
	if magnitude := cmplx.Abs(g); magnitude > maxMagnitude {
		return fmt.Sprintf("|Γ| = %.4g cannot be a reflection coefficient; check the number format (RI, MA or DB) that the file declares", magnitude)
	}
	return ""
}

// Band returns a copy of the points with lowHz ≤ f ≤ highHz; 0 for lowHz
// means from the start, 0 for highHz to the end. It is an error if fewer than
// MinPoints lie in the band.
func (s *Sweep) Band(lowHz, highHz float64) (*Sweep, error) {
	from, to := bandIndices(s.FrequencyHz, lowHz, highHz)
	if n := max(to-from, 0); n < MinPoints {
		return nil, fmt.Errorf("sweep %q: %d of its points lie in the band %s, at least %d are needed; the sweep covers %s",
			s.Name, n, bandText(lowHz, highHz), MinPoints, coverText(s.FrequencyHz))
	}
	b := *s
	b.FrequencyHz = slices.Clone(s.FrequencyHz[from:to])
	b.Gamma = slices.Clone(s.Gamma[from:to])
	if s.ErrorFloor != nil {
		b.ErrorFloor = slices.Clone(s.ErrorFloor[from:to])
	}
	b.Warnings = slices.Clone(s.Warnings)
	b.Comments = slices.Clone(s.Comments)
	if t := s.TwoPort; t != nil {
		b.TwoPort = &TwoPort{
			S21: slices.Clone(t.S21[from:to]), S12: slices.Clone(t.S12[from:to]), S22: slices.Clone(t.S22[from:to]),
			ReferenceOhm: t.ReferenceOhm,
		}
	}
	return &b, nil
}

// bandIndices returns the half-open range of indices in the band; 0 leaves a
// side open. to may be less than from when highHz < lowHz.
func bandIndices(frequencyHz []float64, lowHz, highHz float64) (from, to int) {
	to = len(frequencyHz)
	if lowHz > 0 {
		from, _ = slices.BinarySearch(frequencyHz, lowHz)
	}
	if highHz > 0 {
		var exact bool
		to, exact = slices.BinarySearch(frequencyHz, highHz)
		if exact {
			to++
		}
	}
	return from, to
}

func bandText(lowHz, highHz float64) string {
	low, high := "start", "end"
	if lowHz > 0 {
		low = formatHz(lowHz) + " Hz"
	}
	if highHz > 0 {
		high = formatHz(highHz) + " Hz"
	}
	return low + " to " + high
}

func coverText(frequencyHz []float64) string {
	if len(frequencyHz) == 0 {
		return "nothing"
	}
	return bandText(frequencyHz[0], frequencyHz[len(frequencyHz)-1])
}

// warn adds a warning once.
func warn(warnings *[]string, format string, arguments ...any) {
	text := fmt.Sprintf(format, arguments...)
	if !slices.Contains(*warnings, text) {
		*warnings = append(*warnings, text)
	}
}

// warnMagnitude notes a |Γ| that no passive line has.
func (s *Sweep) warnMagnitude() {
	worst, at := 0.0, 0.0
	for i, g := range s.Gamma {
		if m := cmplx.Abs(g); m > worst {
			worst, at = m, s.FrequencyHz[i]
		}
	}
	if worst > 1.1 {
		warn(&s.Warnings, "|Γ| reaches %.3g at %s Hz, more than any passive line reflects: check the calibration and the file's number format", worst, formatHz(at))
	}
}

// Every returns a copy of each step-th point, the first among them, without the
// other parameters of a two-port; s itself for a step of 1 or less.
func (s *Sweep) Every(step int) *Sweep {
	if step <= 1 {
		return s
	}
	thin := *s
	thin.FrequencyHz, thin.Gamma, thin.ErrorFloor, thin.TwoPort = nil, nil, nil, nil
	for k := 0; k < len(s.FrequencyHz); k += step {
		thin.FrequencyHz, thin.Gamma = append(thin.FrequencyHz, s.FrequencyHz[k]), append(thin.Gamma, s.Gamma[k])
		if s.ErrorFloor != nil {
			thin.ErrorFloor = append(thin.ErrorFloor, s.ErrorFloor[k])
		}
	}
	return &thin
}
