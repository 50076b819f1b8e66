package cables

import (
	"fmt"
	"math"
	"strings"

	"downlead/cables/tables"
)

// cableIn reads one cable type and records what is wrong or odd about it.
// strict says that an unknown key or a value out of its range makes the
// document unusable.
func cableIn(t *tables.Table, strict bool) Type {
	c := Type{
		ID:                      t.Text("id"),
		Name:                    t.Text("name"),
		ImpedanceOhm:            t.Number("impedance_ohm"),
		VelocityFactor:          t.Number("velocity_factor"),
		VelocityFactorTolerance: t.Number("velocity_factor_tolerance"),
		Attenuation:             points(t, "attenuation_db_per_100m"),
		MaxFrequencyHz:          t.Frequency("max_frequency_hz"),
		DiameterMM:              t.Number("diameter_mm"),
		InnerDiameterMM:         t.Number("inner_diameter_mm"),
		OuterDiameterMM:         t.Number("outer_diameter_mm"),
		InnerConductor:          t.Text("inner_conductor"),
		OuterConductor:          t.Text("outer_conductor"),
		Source:                  t.Text("source"),
	}
	t.Unknown(strict)
	if strings.TrimSpace(c.ID) == "" {
		t.Wrong("id", "this cable has no id; give it a short one, such as id = \"rg-58\"")
	}
	if !t.Has("velocity_factor_tolerance") {
		t.Odd("", "cable %q: velocity_factor_tolerance is missing, %g is assumed; distances are only as sure as it", c.ID, AssumedVelocityTolerance)
		c.VelocityFactorTolerance = AssumedVelocityTolerance
	}
	for _, o := range c.unusable() {
		t.Doubt(o.key, strict, "cable %q: %s", c.ID, o.text)
	}
	for _, o := range c.odd() {
		t.Odd(o.key, "cable %q: %s", c.ID, o.text)
	}
	return c
}

// remark is something wrong or odd about the value of a key.
type remark struct{ key, text string }

// unusable says for which values the type cannot describe a cable. The
// attenuation points are judged where they are read.
func (c *Type) unusable() (all []remark) {
	add := func(key, format string, args ...any) {
		all = append(all, remark{key, fmt.Sprintf(format, args...)})
	}
	switch v := c.VelocityFactor; {
	case v == 0:
		add("velocity_factor", "the velocity factor is missing or 0; give it as a fraction such as 0.88")
	case v > 1:
		add("velocity_factor", "velocity factor %g is above 1: give it as a fraction such as 0.88", v)
	case !(v >= 0.01):
		add("velocity_factor", "velocity factor %g is below 0.01: give it as a fraction such as 0.88", v)
	}
	if z := c.ImpedanceOhm; !(z >= 1 && z <= 1000) {
		add("impedance_ohm", "impedance %g ohm is missing or outside 1 to 1000 ohm; coaxial cable has 50 or 75", z)
	}
	if s := c.VelocityFactorTolerance; !(s >= 0 && s <= 0.5) {
		add("velocity_factor_tolerance", "velocity factor tolerance %g is outside 0 to 0.5: give it as a fraction such as 0.01", s)
	}
	for _, d := range []struct {
		key string
		mm  float64
	}{{"diameter_mm", c.DiameterMM}, {"inner_diameter_mm", c.InnerDiameterMM}, {"outer_diameter_mm", c.OuterDiameterMM}} {
		if !(d.mm >= 0 && d.mm <= 1000) {
			add(d.key, "%s %g is outside 0 to 1000 mm; give millimetres", d.key, d.mm)
		}
	}
	return all
}

// largestResidual is how far the two-term law may lie from a published
// attenuation point before the table is called odd, as a ratio. Tables are
// printed to two digits and conductors are plated, stranded and braided.
const largestResidual = 0.15

// odd says what is unlikely, though possible, about the type.
func (c *Type) odd() (all []remark) {
	add := func(key, format string, args ...any) {
		all = append(all, remark{key, fmt.Sprintf(format, args...)})
	}
	if v := c.VelocityFactor; v >= 0.01 && v < 0.4 {
		add("velocity_factor", "velocity factor %g is below 0.4, slower than any common cable", v)
	}
	if s := c.VelocityFactorTolerance; s > 0.05 && s <= 0.5 {
		add("velocity_factor_tolerance", "velocity factor tolerance %g is above 0.05; it is the standard deviation of the factor itself", s)
	}
	if z := c.ImpedanceOhm; z >= 1 && z <= 1000 && !commonImpedance(z) {
		add("impedance_ohm", "impedance %g ohm is not that of a common cable (50, 52, 60, 70, 75, 93)", z)
	}
	if len(c.Attenuation) == 0 {
		add("", "attenuation_db_per_100m is missing: the cable counts as lossless")
	}
	previous := AttenuationPoint{}
	for i, p := range c.Attenuation {
		if p.DBPerHundredM == 0 {
			add("attenuation_db_per_100m", "the loss at %s is 0 dB", inMHz(p.FrequencyHz))
		}
		if i > 0 && p.DBPerHundredM < previous.DBPerHundredM {
			add("attenuation_db_per_100m", "the loss falls from %g dB at %s to %g dB at %s; it rises with frequency in every cable",
				previous.DBPerHundredM, inMHz(previous.FrequencyHz), p.DBPerHundredM, inMHz(p.FrequencyHz))
		}
		previous = p
	}
	if last := previous.FrequencyHz; c.MaxFrequencyHz > 0 && last > c.MaxFrequencyHz {
		add("max_frequency_hz", "the upper frequency %s lies below the last attenuation point at %s", inMHz(c.MaxFrequencyHz), inMHz(last))
	}
	a, b, err := FitAttenuation(c.Attenuation)
	if err != nil {
		return append(all, remark{"attenuation_db_per_100m", err.Error()})
	}
	m := Medium{ConductorNp: a, DielectricNp: b}
	worst, worstAt := 0.0, AttenuationPoint{}
	for _, p := range c.Attenuation {
		law := m.AttenuationNp(p.FrequencyHz) / NeperPerDB * 100
		if r := math.Abs(law/p.DBPerHundredM - 1); p.DBPerHundredM > 0 && r > worst {
			worst, worstAt = r, p
		}
	}
	if worst > largestResidual {
		add("attenuation_db_per_100m", "the law a·√f + b·f misses the table by %.0f %% at %s (%g dB per 100 m); check that point",
			100*worst, inMHz(worstAt.FrequencyHz), worstAt.DBPerHundredM)
	}
	return append(all, c.oddGeometry(a)...)
}

// oddGeometry compares the table with the geometry of solid conductors.
func (c *Type) oddGeometry(conductorNp float64) (all []remark) {
	for _, m := range []struct{ key, material string }{{"inner_conductor", c.InnerConductor}, {"outer_conductor", c.OuterConductor}} {
		if _, known := conductivity(m.material); !known {
			all = append(all, remark{m.key, fmt.Sprintf("%s %q is not copper, silver or aluminium", m.key, m.material)})
		}
	}
	if (c.InnerDiameterMM > 0) != (c.OuterDiameterMM > 0) || c.InnerDiameterMM > 0 && c.OuterDiameterMM <= c.InnerDiameterMM {
		return append(all, remark{"inner_diameter_mm", "the geometry needs both inner_diameter_mm and a larger outer_diameter_mm"})
	}
	if z, ok := c.GeometricImpedanceOhm(); ok && math.Abs(z/c.ImpedanceOhm-1) > 0.05 {
		all = append(all, remark{"impedance_ohm", fmt.Sprintf("the geometry gives %.1f ohm, the row says %g", z, c.ImpedanceOhm)})
	}
	if alpha, ok := c.SkinEffectNp(1); ok && len(c.Attenuation) > 0 && math.Abs(conductorNp/alpha-1) > largestResidual {
		all = append(all, remark{"attenuation_db_per_100m", fmt.Sprintf("the table's conductor loss is %.2f times what skin effect in these conductors gives", conductorNp/alpha)})
	}
	return all
}

// commonImpedance says whether z is within 2 ohm of a common impedance.
func commonImpedance(z float64) bool {
	for _, common := range []float64{50, 52, 60, 70, 75, 93} {
		if math.Abs(z-common) <= 2 {
			return true
		}
	}
	return false
}

func inMHz(f float64) string { return fmt.Sprintf("%g MHz", f/1e6) }
