package simulate

// Truth is what is really there: the truth.json beside a simulated sweep.
// Distances are metres along the cable as built from the reference plane.
type Truth struct {
	Schema    string       `json:"schema"`
	CaseCause string       `json:"case_cause"` // none, a cause, or double for two and more
	Seed      uint64       `json:"seed"`
	SpanHz    [2]float64   `json:"span_hz"`
	Points    int          `json:"points"`
	Faults    []FaultTruth `json:"faults"`
	Ghosts    []Ghost      `json:"ghosts"`
	// TrueSections are the sections and devices as built.
	TrueSections      []SectionTruth `json:"true_sections"`
	FarEndM           float64        `json:"far_end_m"`
	JointsM           []float64      `json:"joints_m"`
	AliasFreeOverLine float64        `json:"alias_free_over_line"` // by the mean spacing of the grid
	// The verdict in the antenna's band (the whole span without an antenna) on
	// the sweep as written, interference left out.
	InBandWorstVSWR float64         `json:"in_band_worst_vswr"` // 9999 stands for total reflection
	InBandWorstAtHz float64         `json:"in_band_worst_at_hz"`
	PassesLimit     bool            `json:"passes_limit"`
	Load            LoadTruth       `json:"load"`
	Instrument      InstrumentTruth `json:"instrument"`
	InterferenceHz  []float64       `json:"interference_hz,omitempty"`
	Baseline        *BaselineTruth  `json:"baseline,omitempty"`
}

// TruthSchema names the JSON form of Truth.
const TruthSchema = "downlead/truth/1"

// FaultTruth is a fault as built.
type FaultTruth struct {
	Cause     string         `json:"cause"`
	DistanceM float64        `json:"distance_m"` // of a stretch its beginning
	ExtentM   float64        `json:"extent_m"`   // of an antenna how deep its reflection seems to lie (group delay)
	Severity  map[string]any `json:"severity"`
	// Detectable says whether the sweep can show the fault at all: its detection
	// index is at least 13 dB. A lossy section also needs the far end to reflect
	// and its excess to exceed what the record leaves open three times; an
	// antenna must be 3 dB worse than promised within the span.
	Detectable bool `json:"detectable"`
	// ApparentDistanceM is where it seems to lie with the record's velocities.
	ApparentDistanceM float64 `json:"apparent_distance_m"`
	Place             string  `json:"place"` // joint, section, load
	// Localizable says whether the reflection of wet cable itself can be seen,
	// or only its delay and loss. Only water-in-cable has it.
	Localizable *bool `json:"localizable,omitempty"`
	// ToldApartDB is the deflection left when the best circuit of another cause
	// stands at the same joint, dB; below 9.5 dB (3 sigma) that cause is
	// ConfusableWith this one. Only lumped faults at joints have them.
	ToldApartDB    map[string]float64 `json:"told_apart_db,omitempty"`
	ConfusableWith []string           `json:"confusable_with,omitempty"`
}

// Ghost is a triple bounce: out to the farther place of Of, back to the nearer,
// out again and home.
type Ghost struct {
	DistanceM       float64    `json:"distance_m"` // apparent
	Of              [2]float64 `json:"of"`
	BackAtM         float64    `json:"back_at_m"` // 0: the test port
	LevelDB         float64    `json:"level_db"`
	FoldedDistanceM float64    `json:"folded_distance_m"` // inside the alias-free range
}

// SectionTruth is a section or device as built.
type SectionTruth struct {
	Name             string  `json:"name"`
	LengthM          float64 `json:"length_m"`
	VelocityFactor   float64 `json:"velocity_factor"`
	ImpedanceOhm     float64 `json:"impedance_ohm,omitempty"`
	AttenuationScale float64 `json:"attenuation_scale"`
	Cable            string  `json:"cable,omitempty"`
	RecordLengthM    float64 `json:"record_length_m,omitempty"`
}

// LoadTruth is the load as built.
type LoadTruth struct {
	Kind              string  `json:"kind"`
	Model             string  `json:"model,omitempty"`
	WorstReturnLossDB float64 `json:"in_band_worst_return_loss_db,omitempty"`
}

// InstrumentTruth repeats the errors of the scenario.
type InstrumentTruth struct {
	DirectivityDB float64 `json:"directivity_db"`
	SourceMatchDB float64 `json:"source_match_db"`
	TrackingDB    float64 `json:"tracking_db"`
	NoiseFloorDB  float64 `json:"noise_floor_db"`
	TraceNoise    float64 `json:"trace_noise"`
}

// BaselineTruth says how the baseline's line differs.
type BaselineTruth struct {
	VelocityFactorChange float64 `json:"velocity_factor_change"` // relative
}
