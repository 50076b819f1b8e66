package diagnose

import "downlead/dsp/sweep"

// Schema names the JSON form of Findings.
const Schema = "downlead/findings/1"

// Cause names what a finding is.
type Cause string

// The vocabulary of causes. The last four are not faults.
const (
	OpenCircuit       Cause = "open-circuit"
	ShortCircuit      Cause = "short-circuit"
	PoorContact       Cause = "poor-contact"
	ConnectorMismatch Cause = "connector-mismatch"
	WaterInConnector  Cause = "water-in-connector"
	WaterInCable      Cause = "water-in-cable"
	DentOrKink        Cause = "dent-or-kink"
	WrongImpedance    Cause = "wrong-impedance"
	LossySection      Cause = "lossy-section"
	AntennaFault      Cause = "antenna"
	Unnamed           Cause = "none" // a localised fault that is not named yet
	Joint             Cause = "joint"
	Device            Cause = "device"
	FarEnd            Cause = "far-end"
	Ghost             Cause = "ghost"
)

// Findings is the whole answer about one sweep of one line.
type Findings struct {
	Schema   string    `json:"schema"`
	RuntimeS float64   `json:"runtime_s"`
	Verdict  Verdict   `json:"verdict"`
	Findings []Finding `json:"findings"`
	// Calibration says in words whether the sweep can be believed.
	Calibration string   `json:"calibration"`
	Warnings    []string `json:"warnings,omitempty"`
	// LeftOutHz are the frequencies of points recognised as interference.
	LeftOutHz []float64 `json:"left_out_hz,omitempty"`
	// Model is the sweep as the fitted line would give it, at the frequencies
	// that were used; what it leaves of the measured one is unexplained. Not in
	// the JSON form.
	Model *sweep.Sweep `json:"-"`
}

// Verdict is the judgement at the test port against the line's limit.
type Verdict struct {
	Passes    bool    `json:"passes"`
	WorstVSWR float64 `json:"worst_vswr"` // 9999 stands for total reflection
	AtHz      float64 `json:"at_hz"`
	LimitVSWR float64 `json:"limit_vswr"` // 0: the line has no limit
	LowHz     float64 `json:"low_hz"`     // the judged band
	HighHz    float64 `json:"high_hz"`
}

// Finding is one thing on the line: a fault, or a part as built.
type Finding struct {
	DistanceM    float64       `json:"distance_m"`
	SigmaM       float64       `json:"sigma_m"`        // one standard deviation of DistanceM: 95 % lie within twice that
	FromFarEndM  float64       `json:"from_far_end_m"` // 0: at the far end, or where that is is not known
	ExtentM      float64       `json:"extent_m"`
	ExtentSigmaM float64       `json:"extent_sigma_m"` // 0: not known, or a point
	Cause        Cause         `json:"cause"`
	Confidence   float64       `json:"confidence"`
	ReturnLossDB float64       `json:"return_loss_db"` // local, corrected for the loss on the way
	PhaseDeg     float64       `json:"phase_deg"`      // of the local reflection at the middle of the span
	IsFault      bool          `json:"is_fault"`
	GhostOf      []float64     `json:"ghost_of"` // the two places that make it, m; null unless a ghost
	Place        string        `json:"place"`    // in words: "joint bottom jumper / feeder"
	Alternatives []Alternative `json:"alternatives"`
	Evidence     []string      `json:"evidence"`
	Checks       []string      `json:"checks"` // in the order of the work, ground first
	TakeAlong    []string      `json:"take_along"`
	Cautions     []string      `json:"cautions"`
	Explanation  []string      `json:"explanation"` // the reasoning, in numbered sentences
	// Repaired is the verdict if this alone were repaired, by the fitted line; nil
	// where that cannot be told. Without is the sweep it is judged by: the measured
	// one with the fault taken out of the model.
	Repaired *Verdict     `json:"repaired,omitempty"`
	Without  *sweep.Sweep `json:"-"`

	seenM float64 // how surely the sweep tells where it seems to be, m
}

// Alternative is another cause that would explain a finding.
type Alternative struct {
	Cause      Cause   `json:"cause"`
	Confidence float64 `json:"confidence"`
}

// Settings of Run. The zero value is a good default.
type Settings struct {
	Baseline *sweep.Sweep // an earlier sweep of the same line when healthy; nil: none
	LowHz    float64      // use only this band of the sweep; 0: from its start
	HighHz   float64      // 0: to its end
	RangeM   float64      // look no further than this; 0: to the end of the line and a little behind it
}
