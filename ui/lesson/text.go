package lesson

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Text is text with formulas in braces: {formula|decimals unit}. The zero value
// is empty.
type Text struct {
	Source string
	parts  []part
}

// part is plain text, or a formula and how its value is written.
type part struct {
	plain    string
	formula  Formula
	decimals int // -1: three significant digits
	unit     string
}

// metresPerFoot is exact: the international foot.
const metresPerFoot = 0.3048

// unitSizes are the units that values are written and answered in, in SI units.
func unitSizes() map[string]float64 {
	return map[string]float64{"": 1, "m": 1, "cm": 0.01, "mm": 0.001, "Hz": 1, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9, "s": 1, "ns": 1e-9, "us": 1e-6,
		"%": 0.01, "dB": 1, "ohm": 1, "deg": 1, "pF": 1e-12, "nH": 1e-9, "dB/100 m": 0.01}
}

// Units lists the units that a lesson may use.
func Units() []string {
	var out []string
	for name := range unitSizes() {
		if name != "" {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

func checkUnit(unit string) error {
	if _, ok := unitSizes()[unit]; !ok {
		return fmt.Errorf("the unit %q is not known; there are %s", clip(unit), strings.Join(Units(), ", "))
	}
	return nil
}

// parseText reads text with formulas.
func parseText(source string, at place) (Text, error) {
	t := Text{Source: source}
	rest := source
	var plain strings.Builder
	flush := func() {
		if plain.Len() > 0 {
			t.parts = append(t.parts, part{plain: plain.String()})
			plain.Reset()
		}
	}
	for rest != "" {
		k := strings.IndexAny(rest, "{}")
		if k < 0 {
			plain.WriteString(rest)
			break
		}
		plain.WriteString(rest[:k])
		brace := rest[k]
		switch rest = rest[k+1:]; {
		case rest != "" && rest[0] == brace: // doubled
			plain.WriteByte(brace)
			rest = rest[1:]
			continue
		case brace == '}':
			return Text{}, errors.New("a closing brace has no opening one; double it to write a brace")
		}
		end := strings.IndexByte(rest, '}')
		if end < 0 {
			return Text{}, errors.New("an opening brace has no closing one; double it to write a brace")
		}
		p, err := parsePart(rest[:end], at)
		if err != nil {
			return Text{}, err
		}
		flush()
		t.parts = append(t.parts, p)
		rest = rest[end+1:]
	}
	flush()
	return t, nil
}

// mostDecimals bounds how many decimals a value is written with.
const mostDecimals = 6

func parsePart(inside string, at place) (p part, err error) {
	p.decimals = -1
	formula, how, has := strings.Cut(inside, "|")
	if has {
		digits, unit, _ := strings.Cut(strings.TrimSpace(how), " ")
		if p.decimals, err = strconv.Atoi(digits); err != nil || p.decimals < 0 || p.decimals > mostDecimals {
			return p, fmt.Errorf("behind | comes a number of decimals from 0 to %d and a unit, as in {cell_m|2 m}, not %q", mostDecimals, clip(how))
		}
		p.unit = strings.TrimSpace(unit)
		if err := checkUnit(p.unit); err != nil {
			return p, err
		}
	}
	p.formula, err = parseFormula(formula, at)
	return p, err
}

// formulas returns the formulas of the text.
func (t *Text) formulas() []*Formula {
	var out []*Formula
	for i := range t.parts {
		if !t.parts[i].formula.Empty() {
			out = append(out, &t.parts[i].formula)
		}
	}
	return out
}

// Fill returns the text with its values, as the scene shows them.
func (s *Scene) Fill(ctx context.Context, t Text) (string, error) {
	var b strings.Builder
	for i := range t.parts {
		p := &t.parts[i]
		if p.formula.Empty() {
			b.WriteString(p.plain)
			continue
		}
		v, err := s.Value(ctx, &p.formula)
		if err != nil {
			return "", err
		}
		b.WriteString(s.Write(v, p.decimals, p.unit))
	}
	return b.String(), nil
}

// Write writes a value in a unit; decimals -1: three significant digits. A place
// or length in metres is in feet where the bench says so.
func (s *Scene) Write(v Value, decimals int, unit string) string {
	switch v.Kind {
	case IsText:
		return strings.ReplaceAll(v.Text, "-", " ")
	case IsTruth:
		return map[bool]string{true: "yes", false: "no"}[v.True]
	}
	size := unitSizes()[unit]
	if s.bench.Feet && unit == "m" {
		unit, size = "ft", metresPerFoot
	}
	x := v.Number / size
	text := ""
	switch {
	case math.IsInf(x, 0):
		text = "no limit"
	case decimals >= 0:
		text = strconv.FormatFloat(x, 'f', decimals, 64)
	case x == 0:
		text = "0"
	default:
		n := 2 - int(math.Floor(math.Log10(math.Abs(x))))
		text = strconv.FormatFloat(x, 'f', min(max(n, 0), 12), 64)
	}
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	if unit != "" {
		text += " " + unit
	}
	return text
}

// Paragraphs breaks a text at its blank lines; single line ends become spaces.
func Paragraphs(text string) []string {
	var out []string
	for _, p := range strings.Split(strings.ReplaceAll(text, "\r", ""), "\n\n") {
		if p = strings.Join(strings.Fields(p), " "); p != "" && utf8.ValidString(p) {
			out = append(out, p)
		}
	}
	return out
}
