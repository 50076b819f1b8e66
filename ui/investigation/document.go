package investigation

import (
	"fmt"
	"math"
	"slices"

	"downlead/cables"
	"downlead/cables/tables"
	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
)

// Document is one state of an investigation. It is a value: what its pointers
// and slices lead to is never changed once it is in a History, a change makes a
// copy.
type Document struct {
	Sweep    Source // the sweep under investigation, as read
	Baseline Source // an earlier sweep of the line
	Earlier  Earlier
	// Standards are the raw sweeps and definitions that correct Sweep; where they
	// are given, Sweep is raw.
	Standards  Standards
	Line       *cables.Line
	LinePath   string // "": not from a file
	LineSHA256 string // of that file as it was read, in hexadecimal digits
	LineNew    bool   // changed since it was read

	// What people write about it; free text, "": nothing.
	Site, Date, Instrument, Operator, Notes string

	BandHz    [2]float64 // what of the sweep is used; zero: all
	Every     int        // of its points each how manieth is used; 0 or 1: all
	Window    dsp.Window
	Markers   []Marker
	Decisions []Decision
	// Found is what the run before the document was saved gave, in short; nil: the
	// document was never saved with findings.
	Found *Found

	kept     kept
	comments tables.Comments // of the file that it was read from
}

// Earlier is what the earlier sweep shows.
type Earlier int

// What an earlier sweep can show. Only a healthy line says of what is as it was
// that it was built so.
const (
	Healthy      Earlier = iota
	BeforeRepair         // the line with the faults that a repair was to mend
)

// HealthyBaseline returns the earlier sweep where it is of the healthy line, for
// diagnose.Settings; nil otherwise.
func (d *Document) HealthyBaseline() *sweep.Sweep {
	if d.Earlier != Healthy {
		return nil
	}
	return d.Baseline.Sweep
}

// Source is a sweep and where it came from. Where Path is known and Sweep is nil
// the file is missing, or is not what it was; SHA256 is then that of the file as
// it should be.
type Source struct {
	Path   string // "": not from a file
	SHA256 string // of the file as it was read, in hexadecimal digits
	Sweep  *sweep.Sweep
}

// Standards are a calibration.
type Standards struct {
	Open, Short, Load Source
	KitPath           string
	KitSHA256         string           // of that file as it was read
	Kit               *calibration.Kit // nil: ideal standards
	At, SweptAt       calibration.Conditions
}

// Complete says whether all three standards are there, and their definitions where
// some are named.
func (s *Standards) Complete() bool {
	return s.Open.Sweep != nil && s.Short.Sweep != nil && s.Load.Sweep != nil && (s.Kit != nil || s.KitPath == "")
}

// Any says whether one of the standards is there, or is named though its file is
// missing.
func (s *Standards) Any() bool {
	return s.Open.given() || s.Short.given() || s.Load.given()
}

func (s *Source) given() bool { return s.Sweep != nil || s.Path != "" }

// Marker is a place that the user keeps in view: a frequency or a distance.
type Marker struct {
	AlongLine bool
	At        float64 // m or Hz; kept to a millimetre and a hertz
}

// State is what the user thinks of a finding.
type State int

// The states of a finding.
const (
	Undecided State = iota
	Accepted
	Rejected
)

// Decision is what the user said of a finding. It stays with the finding through
// later runs, by place.
type Decision struct {
	Cause     diagnose.Cause // as the program said it
	DistanceM float64
	State     State
	Name      string // "": as the program said it
	Note      string

	kept map[string]any // keys of its entry in the file that are not known
}

// near is how far a finding may have moved, m, and still be the one decided on;
// and the share of its distance that is added for a changed velocity.
const (
	nearM     = 0.5
	nearShare = 0.02
)

// DecisionOn returns the index of what was said of f, -1 where nothing was.
func (d *Document) DecisionOn(f *diagnose.Finding) int {
	best, off := -1, nearM+nearShare*f.DistanceM
	for i, one := range d.Decisions {
		if away := math.Abs(one.DistanceM - f.DistanceM); away <= off && one.Cause == f.Cause {
			best, off = i, away
		}
	}
	return best
}

// Decide returns a document in which change was made to what is said of f.
func (d Document) Decide(f *diagnose.Finding, change func(*Decision)) Document {
	d.Decisions = slices.Clone(d.Decisions)
	i := d.DecisionOn(f)
	if i < 0 {
		i = len(d.Decisions)
		d.Decisions = append(d.Decisions, Decision{Cause: f.Cause, DistanceM: roundTo(f.DistanceM, lengthStepM)})
	}
	change(&d.Decisions[i])
	if one := d.Decisions[i]; one.State == Undecided && one.Name == "" && one.Note == "" {
		d.Decisions = slices.Delete(d.Decisions, i, i+1)
	}
	return d
}

// Used returns the points of s in a band (zero: all), and of these each every-th
// (0 or 1: all).
func Used(s *sweep.Sweep, bandHz [2]float64, every int) (*sweep.Sweep, error) {
	if bandHz != [2]float64{} {
		part, err := s.Band(bandHz[0], bandHz[1])
		if err != nil {
			return nil, err
		}
		s = part
	}
	if every <= 1 {
		return s, nil
	}
	thin := s.Every(every)
	if len(thin.FrequencyHz) < sweep.MinPoints {
		return nil, fmt.Errorf("each %dth of %d points are fewer than %d; use more of them", every, len(s.FrequencyHz), sweep.MinPoints)
	}
	return thin, nil
}

// Corrected returns the sweep under investigation with the standards applied
// where they are complete, what the calibration found, and why it could not be
// applied. The sweep is nil only where there is none, the terms where the
// standards do not yield any.
func (d *Document) Corrected() (s *sweep.Sweep, terms *calibration.ErrorTerms, problems []calibration.Problem, err error) {
	s = d.Sweep.Sweep
	if s == nil || !d.Standards.Complete() {
		return s, nil, nil, nil
	}
	terms, problems, err = calibration.Solve(d.Standards.Kit, calibration.Standards{Open: d.Standards.Open.Sweep, Short: d.Standards.Short.Sweep, Load: d.Standards.Load.Sweep})
	if err == nil {
		conditions := calibration.CheckConditions(d.Standards.At, d.Standards.SweptAt)
		terms.Problems = append(terms.Problems, conditions...)
		problems = append(problems, conditions...)
		var corrected *sweep.Sweep
		if corrected, err = terms.Correct(s); err == nil {
			return corrected, terms, problems, nil
		}
	}
	raw := *s
	raw.Correction = sweep.Uncorrected
	return &raw, terms, problems, err
}
