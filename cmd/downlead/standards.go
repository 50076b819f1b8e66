package main

import (
	"crypto/sha256"
	"fmt"
	"math"
	"os"
	"slices"

	"downlead/dsp/calibration"
	"downlead/dsp/sweep"
	"downlead/ui/batch"
)

// standardFiles are the files that a raw sweep is corrected with.
type standardFiles struct {
	open, short, load, kit, check string
}

func (s *standardFiles) options() []option {
	return []option{
		{"open", "FILE", "raw sweep of the open", toText(&s.open)},
		{"short", "FILE", "raw sweep of the short", toText(&s.short)},
		{"load", "FILE", "raw sweep of the load", toText(&s.load)},
		{"kit", "FILE", "definitions of the three standards", toText(&s.kit)},
		{"check", "FILE", "raw sweep of a second, good match: shows the residual errors", toText(&s.check)},
	}
}

func (s *standardFiles) given() bool { return *s != standardFiles{} }

// correct corrects the raw sweep. The terms hold what the checks found.
func (s *standardFiles) correct(raw *sweep.Sweep) (*sweep.Sweep, *calibration.ErrorTerms, error) {
	terms, err := s.terms()
	if err != nil {
		return nil, nil, err
	}
	corrected, err := terms.Correct(raw)
	return corrected, terms, err
}

// terms reads the standards and returns the instrument's errors as they show them,
// with what the checks found.
func (s *standardFiles) terms() (*calibration.ErrorTerms, error) {
	var kit *calibration.Kit
	if s.kit != "" {
		var err error
		if kit, err = calibration.ReadKit(s.kit); err != nil {
			return nil, err
		}
	}
	var standards calibration.Standards
	for _, one := range []struct {
		name, file string
		into       **sweep.Sweep
	}{{"open", s.open, &standards.Open}, {"short", s.short, &standards.Short}, {"load", s.load, &standards.Load}} {
		if one.file == "" {
			return nil, fmt.Errorf("the %s is missing: correcting needs --open, --short and --load", one.name)
		}
		var err error
		if *one.into, err = sweep.Read(one.file); err != nil {
			return nil, err
		}
	}
	terms, _, err := calibration.Solve(kit, standards)
	if err != nil {
		return nil, err
	}
	if s.check != "" {
		if s.check == s.open || s.check == s.short || s.check == s.load {
			return nil, fmt.Errorf("--check %s is one of the standards, which cannot show what they leave over; measure a second match", s.check)
		}
		measured, err := sweep.Read(s.check)
		if err != nil {
			return nil, err
		}
		match := calibration.Load{ResistanceOhm: terms.ReferenceOhm}
		residual, err := calibration.Verify(terms, match, measured)
		if err != nil {
			return nil, err
		}
		terms.Adopt(residual)
	}
	return terms, nil
}

// files are those that are given.
func (s *standardFiles) files() (given []string) {
	for _, file := range []string{s.open, s.short, s.load, s.kit, s.check} {
		if file != "" {
			given = append(given, file)
		}
	}
	return given
}

// correctAll has the judge correct each sweep with these standards, if they are
// given.
func (s *standardFiles) correctAll(j *batch.Judge) error {
	if !s.given() {
		return nil
	}
	terms, err := s.terms()
	if err != nil {
		return err
	}
	sum := sha256.New()
	for _, file := range []string{s.open, s.short, s.load, s.kit, s.check} {
		var text []byte
		if file != "" {
			if text, err = os.ReadFile(file); err != nil {
				return err
			}
		}
		fmt.Fprintf(sum, "%d\n%s\n", len(text), text) // never fails
	}
	j.Correct, j.CorrectedBy = terms.Correct, fmt.Sprintf("%x", sum.Sum(nil))
	return nil
}

// calibrationReport writes what a correction found, for a person to judge.
func calibrationReport(p *page, corrected *sweep.Sweep, terms *calibration.ErrorTerms) {
	p.row("")
	if notice := calibration.Notice(corrected); notice != "" {
		p.loud(notice)
	} else {
		p.text("  CORRECTED      ", "with measured standards that passed every check")
	}
	p.heading("The instrument's own errors, now taken out")
	p.row("                      best      middle       worst")
	for _, e := range []struct {
		name   string
		values []complex128
	}{{"directivity", terms.Directivity}, {"source match", terms.SourceMatch}} {
		low, middle, high := spread(decibels(e.values))
		p.row(fmt.Sprintf("  %-14s %6.1f dB   %6.1f dB   %6.1f dB", e.name, high, middle, low))
	}
	low, middle, high := spread(decibels(terms.Tracking)) // a loss: the less the better
	p.row(fmt.Sprintf("  %-14s %6.1f dB   %6.1f dB   %6.1f dB", "tracking", low, middle, high))
	low, middle, high = spread(terms.Condition)
	p.row(fmt.Sprintf("  %-14s %6.1f      %6.1f      %6.1f     (the lower the better)", "condition", low, middle, high))

	if r := terms.Residual; r != nil {
		p.heading("Left over after correction, as the known match shows it")
		value, name := r.Directivity, "directivity"
		if value == nil {
			value, name = r.Total, "all errors"
		}
		_, middle, worst := spread(value)
		p.row(fmt.Sprintf("  %-14s %6.1f dB middle   %6.1f dB worst", name, -20*math.Log10(middle), -20*math.Log10(worst)))
		p.text("  ", r.Method)
	}
	if len(terms.Problems) > 0 {
		p.heading("What the checks found")
		for _, problem := range terms.Problems {
			p.text(fmt.Sprintf("  %-9s ", problem.Severity), problem.String())
		}
	}
	if len(terms.Limits) > 0 {
		p.heading("What they cannot tell here")
		for _, limit := range terms.Limits {
			p.text("  · ", limit)
		}
	}
}

// decibels returns -20·log10|z| of each value, dB.
func decibels(values []complex128) []float64 {
	out := make([]float64, len(values))
	for i, z := range values {
		out[i] = -20 * math.Log10(math.Hypot(real(z), imag(z)))
	}
	return out
}

// spread returns the least, the middle and the greatest value; values has at
// least one.
func spread(values []float64) (low, middle, high float64) {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[0], sorted[len(sorted)/2], sorted[len(sorted)-1]
}
