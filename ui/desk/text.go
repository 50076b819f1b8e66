package desk

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"downlead/dsp/diagnose"
	"downlead/ui/chart"
)

func hertz(f float64) string { return chart.Hertz.Write(f, resolutionOf(f)) }

// resolutionOf keeps five digits of a value.
func resolutionOf(v float64) float64 {
	if v == 0 {
		return 0
	}
	step := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-4)
	for _, digits := range []float64{1e4, 1e3, 1e2, 10, 1} { // drop zeros at the end
		if coarse := step * digits; math.Abs(v/coarse-math.Round(v/coarse)) < 1e-9 {
			return coarse
		}
	}
	return step
}

// length is the quantity that distances are written in.
func (d *Desk) length() chart.Quantity {
	if d.look.feet {
		return chart.Foot
	}
	return chart.Metre
}

// metres writes a distance in the chosen unit, to a centimetre or a tenth of a
// foot.
func (d *Desk) metres(m float64) string {
	if d.look.feet {
		return d.length().Write(m, chart.FootM/10)
	}
	return d.length().Write(m, 0.01)
}

// sentence is one of a finding in the chosen unit.
func (d *Desk) sentence(s string) string {
	if d.look.feet {
		return diagnose.InFeet(s)
	}
	return s
}

// place writes where a finding is, with its uncertainty.
func (d *Desk) place(f *diagnose.Finding) string {
	size, unit := 1.0, "m"
	if d.look.feet {
		size, unit = chart.FootM, "ft"
	}
	decimals := 2
	if f.SigmaM/size >= 0.095 {
		decimals = 1
	}
	if f.SigmaM <= 0 {
		return fmt.Sprintf("%.2f %s", f.DistanceM/size, unit)
	}
	return fmt.Sprintf("%.*f ± %.*f %s", decimals, f.DistanceM/size, decimals, math.Max(f.SigmaM/size, math.Pow(10, -float64(decimals))), unit)
}

// share writes a confidence without false precision.
func share(confidence float64) string {
	switch {
	case confidence >= 0.95:
		return "over 95 %"
	case confidence < 0.05:
		return "under 5 %"
	}
	return fmt.Sprintf("about %.0f %%", 5*math.Round(confidence*20))
}

func vswr(v float64) string {
	if v > 100 {
		return "over 100"
	}
	return fmt.Sprintf("%.2f", v)
}

// readNumber reads a number as people write it: a comma for a point, and a
// minus sign of print.
func readNumber(text string) (float64, error) {
	text = strings.TrimSpace(strings.NewReplacer(",", ".", "−", "-").Replace(text))
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	return v, nil
}

// readLength reads a length in the chosen unit, or in the one it names.
func (d *Desk) readLength(text string) (float64, error) {
	text = strings.TrimSpace(strings.ToLower(text))
	size := 1.0
	if d.look.feet {
		size = chart.FootM
	}
	for name, s := range map[string]float64{"ft": chart.FootM, "m": 1} {
		if cut, ok := strings.CutSuffix(text, name); ok {
			text, size = cut, s
			break
		}
	}
	v, err := readNumber(text)
	return v * size, err
}

// readFrequency reads a frequency in MHz, or in the unit it names.
func readFrequency(text string) (float64, error) {
	text = strings.TrimSpace(strings.ToLower(text))
	size := 1e6
	for _, u := range []struct {
		name string
		size float64
	}{{"ghz", 1e9}, {"mhz", 1e6}, {"khz", 1e3}, {"hz", 1}, {"g", 1e9}, {"m", 1e6}, {"k", 1e3}} {
		if cut, ok := strings.CutSuffix(text, u.name); ok {
			text, size = cut, u.size
			break
		}
	}
	v, err := readNumber(text)
	return v * size, err
}
