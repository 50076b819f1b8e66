package cables

import (
	"fmt"
	"math"
)

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
	VelocityFactorTolerance float64            `toml:"velocity_factor_tolerance"` // absolute; a maker's bound, three standard deviations
	Attenuation             []AttenuationPoint `toml:"attenuation_db_per_100m"`
	MaxFrequencyHz          float64            `toml:"max_frequency_hz,omitempty"` // 0: not stated
	DiameterMM              float64            `toml:"diameter_mm,omitempty"`      // over all; 0: not stated

	// Geometry of smooth, solid conductors, from which SkinEffectNp follows:
	// outside diameter of the inner conductor, inside diameter of the outer
	// one, and what they are made of (a key of conductivity; "": copper). 0 for
	// braided, stranded and corrugated conductors.
	InnerDiameterMM float64 `toml:"inner_diameter_mm,omitempty"`
	OuterDiameterMM float64 `toml:"outer_diameter_mm,omitempty"`
	InnerConductor  string  `toml:"inner_conductor,omitempty"`
	OuterConductor  string  `toml:"outer_conductor,omitempty"`

	Source string `toml:"source,omitempty"`
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
	Unstated    LoadKind = "" // nobody said what ends the line
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

	// Notes say what is odd about the record and what was assumed, in words:
	// a reader of any result should know.
	Notes []string `toml:"-"`
}

// AssumedVelocityTolerance is taken as the velocity factor's
// tolerance where a record states none. Common practice, no source: published
// velocity factors are rounded to a percent or two.
const AssumedVelocityTolerance = 0.02

// SimpleLine returns a line of one cable type and unstated load, for work
// without a line file. The reference impedance is 50 ohm.
func SimpleLine(cable Type, lengthM float64) *Line {
	return &Line{
		Name:                  cable.Name,
		ReferenceImpedanceOhm: 50,
		Cables:                []Type{cable},
		Sections:              []Section{{Name: "cable", CableID: cable.ID, LengthM: lengthM}},
	}
}

// VelocityLine returns a line of 50-ohm lossless cable of which no more than
// the velocity factor is known. Its Notes say so.
func VelocityLine(velocityFactor, lengthM float64) *Line {
	line := SimpleLine(Type{
		ID:                      "velocity",
		Name:                    fmt.Sprintf("unknown cable of velocity factor %g", velocityFactor),
		ImpedanceOhm:            50,
		VelocityFactor:          velocityFactor,
		VelocityFactorTolerance: AssumedVelocityTolerance,
		Source:                  "velocity factor given by hand; impedance, tolerance and absence of loss are assumed",
	}, lengthM)
	line.Notes = []string{fmt.Sprintf(
		"only a velocity factor of %g is known of the cable: 50 ohm, no loss and ±%g on the velocity factor are assumed, so return losses along the line are not corrected for loss",
		velocityFactor, AssumedVelocityTolerance)}
	return line
}

// LimitVSWR returns the limit as a voltage standing wave ratio, whichever form
// it was given in, or 0 when there is none. VSWR = (1+ρ)/(1−ρ) with
// ρ = 10^(−RL/20); D. M. Pozar, "Microwave Engineering", 4th ed., ch. 2.3.
func (l Limits) LimitVSWR() float64 {
	if l.VSWR != 0 || l.ReturnLossDB == 0 {
		return l.VSWR
	}
	rho := math.Pow(10, -l.ReturnLossDB/20)
	return (1 + rho) / (1 - rho)
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
