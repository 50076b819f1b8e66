package cables

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// formatNumber writes a TOML float that reads back as the same number.
func formatNumber(x float64) string {
	if size := math.Abs(x); size != 0 && (size < 1e-4 || size >= 1e7) {
		return strconv.FormatFloat(x, 'e', -1, 64)
	}
	s := strconv.FormatFloat(x, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

// formatHertz writes a frequency in megahertz, such as 824e6, where that reads
// back as the same number.
func formatHertz(f float64) string {
	s := strconv.FormatFloat(f/1e6, 'f', -1, 64) + "e6"
	if back, err := strconv.ParseFloat(s, 64); err == nil && back == f && len(s) <= 16 {
		return s
	}
	return formatNumber(f)
}

// formatText writes a TOML basic string. What is not UTF-8 is replaced.
func formatText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\ufffd") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// writer writes TOML one key a line, so that files compare well line by line.
// Keys whose value is zero are left out, except with the must methods.
type writer struct{ strings.Builder }

func (w *writer) heading(h string) { fmt.Fprintf(w, "\n%s\n", h) }

func (w *writer) key(key, value string) { fmt.Fprintf(w, "%s = %s\n", key, value) }

func (w *writer) text(key, s string) {
	if s != "" {
		w.key(key, formatText(s))
	}
}

func (w *writer) number(key string, x float64) {
	if x != 0 {
		w.key(key, formatNumber(x))
	}
}

func (w *writer) hertz(key string, f float64) {
	if f != 0 {
		w.key(key, formatHertz(f))
	}
}

func (w *writer) band(key string, band [2]float64) {
	if band != [2]float64{} {
		w.key(key, "["+formatHertz(band[0])+", "+formatHertz(band[1])+"]")
	}
}

// cable writes one [[cable]].
func (w *writer) cable(c *Type) {
	w.heading("[[cable]]")
	w.key("id", formatText(c.ID))
	w.text("name", c.Name)
	w.key("impedance_ohm", formatNumber(c.ImpedanceOhm))
	w.key("velocity_factor", formatNumber(c.VelocityFactor))
	w.key("velocity_factor_tolerance", formatNumber(c.VelocityFactorTolerance))
	if len(c.Attenuation) > 0 {
		points := make([]string, len(c.Attenuation))
		for i, p := range c.Attenuation {
			points[i] = "[" + formatHertz(p.FrequencyHz) + ", " + formatNumber(p.DBPerHundredM) + "]"
		}
		w.key("attenuation_db_per_100m", "["+strings.Join(points, ", ")+"]")
	}
	w.hertz("max_frequency_hz", c.MaxFrequencyHz)
	w.number("diameter_mm", c.DiameterMM)
	w.number("inner_diameter_mm", c.InnerDiameterMM)
	w.number("outer_diameter_mm", c.OuterDiameterMM)
	w.text("inner_conductor", c.InnerConductor)
	w.text("outer_conductor", c.OuterConductor)
	w.text("source", c.Source)
}
