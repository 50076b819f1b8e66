package batch

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"time"

	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
)

// Schema names the JSON form of a Row.
const Schema = "downlead/batch/1"

// Outcome says in a word how a sweep did.
type Outcome string

// The outcomes.
const (
	Passes     Outcome = "passes"       // within the limit, if there is one, and no fault
	Faulty     Outcome = "fault"        // within the limit, but with a fault
	OutOfLimit Outcome = "out-of-limit" // with or without a fault found
	Unusable   Outcome = "unusable"     // see Problem
)

// Row is what a record keeps of one sweep.
type Row struct {
	Schema   string    `json:"schema"`
	Path     string    `json:"path"` // as it was found
	Bytes    int64     `json:"bytes"`
	Modified time.Time `json:"modified"`
	Line     string    `json:"line"`      // the line file; "": there was none
	JudgedBy string    `json:"judged_by"` // fingerprint of the line file and the settings
	Outcome  Outcome   `json:"outcome"`
	Problem  string    `json:"problem,omitempty"`   // what is wrong with an unusable one, and the mend
	TryAgain bool      `json:"try_again,omitempty"` // it may go better although the file does not change
	Points   int       `json:"points"`
	// Calibration is how far the readings can be believed, in the words of
	// sweep.Correction; "": there is nothing to believe, or no phase.
	Calibration string `json:"calibration,omitempty"`
	Doubt       string `json:"doubt,omitempty"` // why the file may not be whole; only a Watcher asks
	// Verdict is nil for an unusable one. MarginDB is the return loss at the port at
	// its worst less the limit, dB, negative out of limits; nil without a limit.
	Verdict  *diagnose.Verdict `json:"verdict"`
	MarginDB *float64          `json:"margin_db"`
	Faults   []Fault           `json:"faults"` // worst first, never null
	Warnings []string          `json:"warnings,omitempty"`
	RuntimeS float64           `json:"runtime_s"`
}

// Fault is a finding in brief.
type Fault struct {
	DistanceM    float64        `json:"distance_m"`
	SigmaM       float64        `json:"sigma_m"`
	ExtentM      float64        `json:"extent_m"`
	Cause        diagnose.Cause `json:"cause"`
	Confidence   float64        `json:"confidence"`
	ReturnLossDB float64        `json:"return_loss_db"` // local
	Place        string         `json:"place"`
}

// Uncalibrated says that the readings hold the instrument's own errors; InDoubt,
// that they were corrected with standards of which a check failed.
func (r *Row) Uncalibrated() bool { return r.Calibration == sweep.Uncorrected.String() }

// InDoubt is told at Uncalibrated.
func (r *Row) InDoubt() bool { return r.Calibration == sweep.Doubtful.String() }

// marginDB is the margin of a verdict.
func marginDB(v *diagnose.Verdict) *float64 {
	if v.LimitVSWR == 0 {
		return nil
	}
	db := sweep.ReturnLossFromVSWR(v.WorstVSWR) - sweep.ReturnLossFromVSWR(v.LimitVSWR)
	return &db
}

// severity orders rows: of two, the one of the higher class is worse, within a
// class the one of the higher degree.
func (r *Row) severity() (class int, degree float64) {
	margin := math.Inf(1) // of a line without a limit
	if r.MarginDB != nil {
		margin = *r.MarginDB
	}
	switch r.Outcome {
	case Unusable:
		return 0, 0
	case OutOfLimit:
		return 3, -margin
	case Faulty:
		return 2, -r.Faults[0].ReturnLossDB
	}
	return 1, -margin
}

// line writes the row as one line of a record.
func (r *Row) line() ([]byte, error) {
	text, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("the row of %s: %w", r.Path, err)
	}
	return append(text, '\n'), nil
}

// parseRow reads a line of a record.
func parseRow(text []byte) (*Row, error) {
	var r Row
	if err := json.Unmarshal(text, &r); err != nil {
		return nil, err
	}
	faulty := r.Outcome == Faulty
	switch {
	case r.Schema != Schema:
		return nil, fmt.Errorf("its schema is %q, not %q", r.Schema, Schema)
	case r.Path == "":
		return nil, fmt.Errorf("it names no sweep")
	case r.Outcome != Passes && r.Outcome != OutOfLimit && r.Outcome != Unusable && !faulty:
		return nil, fmt.Errorf("there is no outcome %q", r.Outcome)
	case r.Outcome != Unusable && r.Verdict == nil:
		return nil, fmt.Errorf("it has no verdict")
	case faulty && len(r.Faults) == 0:
		return nil, fmt.Errorf("its fault is missing")
	}
	return &r, nil
}

// Columns are the titles of the CSV form.
func Columns() []string {
	return []string{"path", "outcome", "worst VSWR", "at Hz", "limit VSWR", "margin dB", "faults",
		"distance m", "sigma m", "extent m", "cause", "confidence", "return loss dB", "place", "line", "problem", "calibration"}
}

// Fields are the row under Columns; the fault in them is the worst.
func (r *Row) Fields() []string {
	out := make([]string, len(Columns()))
	number := func(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
	out[0], out[1], out[14], out[15], out[16] = r.Path, string(r.Outcome), r.Line, r.Problem, r.Calibration
	if v := r.Verdict; v != nil {
		out[2], out[3] = number(v.WorstVSWR, 3), number(v.AtHz, 0)
		if v.LimitVSWR > 0 {
			out[4] = number(v.LimitVSWR, 3)
		}
		if r.MarginDB != nil {
			out[5] = number(*r.MarginDB, 2)
		}
		out[6] = strconv.Itoa(len(r.Faults))
	}
	if len(r.Faults) > 0 {
		f := r.Faults[0]
		out[7], out[8], out[9], out[10] = number(f.DistanceM, 3), number(f.SigmaM, 3), number(f.ExtentM, 3), string(f.Cause)
		out[11], out[12], out[13] = number(f.Confidence, 2), number(f.ReturnLossDB, 1), f.Place
	}
	return out
}
