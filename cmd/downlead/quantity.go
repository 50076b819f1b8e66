package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"downlead/dsp"
	"downlead/ui/report"
)

const metresPerFoot = 0.3048 // exact, international foot

// unit is a unit's name and its size in the SI unit.
type unit struct {
	name string
	size float64
}

var (
	lengthUnits    = [...]unit{{"cm", 0.01}, {"mm", 0.001}, {"m", 1}, {"ft", metresPerFoot}, {"in", metresPerFoot / 12}}
	frequencyUnits = [...]unit{{"GHz", 1e9}, {"MHz", 1e6}, {"kHz", 1e3}, {"Hz", 1}}
)

// parseQuantity reads a positive number with a unit, such as 0.3m or "12 in".
// Case matters little: 900mhz is understood.
func parseQuantity(text string, units []unit, example string) (float64, error) {
	trimmed := strings.TrimSpace(text)
	for _, u := range units {
		cut := len(trimmed) - len(u.name)
		if cut < 0 || !strings.EqualFold(trimmed[cut:], u.name) {
			continue
		}
		number, err := strconv.ParseFloat(strings.TrimSpace(trimmed[:cut]), 64)
		if err != nil {
			continue // "5GHz" ends in Hz too
		}
		if value := number * u.size; value > 0 && !math.IsInf(value, 0) {
			return value, nil
		}
		return 0, fmt.Errorf("%q is not above zero", text)
	}
	if _, err := strconv.ParseFloat(trimmed, 64); err == nil {
		return 0, fmt.Errorf("%q has no unit; write for example %s", text, example)
	}
	return 0, fmt.Errorf("%q is not understood; write for example %s", text, example)
}

// parseLength reads a length in metres: 0.3m, 30cm, 1ft, 6in.
func parseLength(text string) (float64, error) {
	return parseQuantity(text, lengthUnits[:], "0.3m or 1ft")
}

// parseFrequency reads a frequency in hertz: 1710MHz, 2.4GHz.
func parseFrequency(text string) (float64, error) {
	return parseQuantity(text, frequencyUnits[:], "1710MHz")
}

// parseBand reads LOW..HIGH in hertz.
func parseBand(text string) (low, high float64, err error) {
	a, b, found := strings.Cut(text, "..")
	if !found {
		return 0, 0, fmt.Errorf("%q is not a band; write for example 1710MHz..2170MHz", text)
	}
	if low, err = parseFrequency(a); err != nil {
		return 0, 0, err
	}
	if high, err = parseFrequency(b); err != nil {
		return 0, 0, err
	}
	if !(low < high) {
		return 0, 0, fmt.Errorf("%q runs downward; write the lower frequency first", text)
	}
	return low, high, nil
}

// frequencyText writes a frequency in the unit that suits it.
func frequencyText(hz float64) string { return report.Frequency(hz) }

// vswrText writes a standing wave ratio with its name.
func vswrText(v float64) string { return report.VSWR(v) }

// percent writes a share.
func percent(x float64) string { return report.Percent(x) }

// lengthScale writes lengths in the user's unit.
type lengthScale struct {
	unit   string
	metres float64 // of one unit
}

var (
	inMetres = lengthScale{report.InMetres().Unit, report.InMetres().Metres}
	inFeet   = lengthScale{report.InFeet().Unit, report.InFeet().Metres}
)

// scale is what the room of the report writes lengths with.
func (s lengthScale) scale() report.Scale { return report.Scale{Unit: s.unit, Metres: s.metres} }

// number writes a length to the hundredth, without its unit.
func (s lengthScale) number(m float64) string { return s.scale().Number(m) }

// text writes a length with its unit.
func (s lengthScale) text(m float64) string { return s.scale().Text(m) }

// uncertain writes a length with its standard deviation.
func (s lengthScale) uncertain(m, sigmaM float64) string { return s.scale().Uncertain(m, sigmaM) }

// parseWindow reads the name of a window and, after a colon, its parameter.
func parseWindow(text string) (dsp.Window, error) {
	name, parameter, has := strings.Cut(text, ":")
	var names []string
	for _, kind := range dsp.Kinds() {
		names = append(names, kind.String())
		if !strings.EqualFold(name, kind.String()) {
			continue
		}
		w := dsp.Window{Kind: kind}
		if has {
			switch kind {
			case dsp.Kaiser, dsp.DolphChebyshev, dsp.Taylor:
			default:
				return w, fmt.Errorf("the %v window takes no parameter", kind)
			}
			var err error
			if w.Parameter, err = strconv.ParseFloat(parameter, 64); err != nil {
				return w, fmt.Errorf("%q is not a number; write for example kaiser:6 or taylor:40", parameter)
			}
		}
		return w, w.Validate()
	}
	return dsp.Window{}, fmt.Errorf("no window is called %q; there are %s", name, strings.Join(names, ", "))
}

// windowText writes a window as parseWindow reads it.
func windowText(w dsp.Window) string { return report.Window(w) }
