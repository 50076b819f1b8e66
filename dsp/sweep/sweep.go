package sweep

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
}
