package cables

// AttenuationPoint is one point of a published attenuation table.
type AttenuationPoint struct {
	FrequencyHz   float64
	DBPerHundredM float64
}

// Type is a cable type: one row of a catalogue or of a line file's [[cable]].
type Type struct {
	ID                      string             `toml:"id"`
	Name                    string             `toml:"name"`
	ImpedanceOhm            float64            `toml:"impedance_ohm"`
	VelocityFactor          float64            `toml:"velocity_factor"`
	VelocityFactorTolerance float64            `toml:"velocity_factor_tolerance"` // absolute, one standard deviation
	Attenuation             []AttenuationPoint `toml:"attenuation_db_per_100m"`
	MaxFrequencyHz          float64            `toml:"max_frequency_hz,omitempty"` // 0: not stated
	Source                  string             `toml:"source,omitempty"`
}

// Section is a length of one cable type.
type Section struct {
	Name    string  `toml:"name"`
	CableID string  `toml:"cable"`
	LengthM float64 `toml:"length_m"`
}

// Device is a lumped thing between two sections: a surge arrestor, filter, ...
type Device struct {
	After        string     `toml:"after"` // name of the section that it follows
	Kind         string     `toml:"kind"`
	LengthM      float64    `toml:"length_m,omitempty"`
	ReturnLossDB float64    `toml:"return_loss_db,omitempty"` // 0: not stated
	PassbandHz   [2]float64 `toml:"passband_hz,omitempty"`    // zero: passes everything
}

// LoadKind says what ends the line.
type LoadKind string

// The kinds of load.
const (
	Antenna     LoadKind = "antenna"
	Termination LoadKind = "termination"
	Open        LoadKind = "open"
	Short       LoadKind = "short"
)

// Load is what ends the line.
type Load struct {
	Kind         LoadKind   `toml:"kind"`
	BandHz       [2]float64 `toml:"band_hz,omitempty"`        // zero: not stated
	ReturnLossDB float64    `toml:"return_loss_db,omitempty"` // 0: not stated
}

// Limits are the acceptance limits at the test port; one of the two is set,
// or neither.
type Limits struct {
	VSWR         float64 `toml:"vswr,omitempty"`
	ReturnLossDB float64 `toml:"return_loss_db,omitempty"`
}

// Instrument states what limits the sweeps that can be taken.
type Instrument struct {
	MostPoints int `toml:"most_points,omitempty"` // 0: not stated
}

// Line is the record of an installed line, from the test port to the load.
type Line struct {
	Name                  string     `toml:"name"`
	ReferenceImpedanceOhm float64    `toml:"reference_impedance_ohm"` // 0: 50
	Cables                []Type     `toml:"cable"`
	Sections              []Section  `toml:"section"`
	Devices               []Device   `toml:"device"`
	Load                  Load       `toml:"load"`
	Limits                Limits     `toml:"limits"`
	Instrument            Instrument `toml:"instrument,omitempty"`
}

// Span is a section or a device laid out along the line.
type Span struct {
	Name              string
	Device            *Device // nil for a section of cable
	Cable             *Type   // nil for a device
	StartM, LengthM   float64
	Medium            Medium
	VelocityTolerance float64 // one standard deviation, relative (σ_VF/VF)
}

// Path is the line laid out: its spans in order from the test port. Positions
// beyond the last span continue in its medium.
type Path struct {
	ReferenceOhm float64
	Spans        []Span // at least one
}
