package cables

import (
	"errors"
	"fmt"
	"strings"

	"downlead/cables/tables"
)

// writeCable writes one [[cable]].
func writeCable(w *tables.Writer, c *Type) {
	w.Entry("cable")
	w.Key("id", tables.FormatText(c.ID))
	w.Text("name", c.Name)
	w.Key("impedance_ohm", tables.FormatNumber(c.ImpedanceOhm))
	w.Key("velocity_factor", tables.FormatNumber(c.VelocityFactor))
	w.Key("velocity_factor_tolerance", tables.FormatNumber(c.VelocityFactorTolerance))
	if len(c.Attenuation) > 0 {
		points := make([]string, len(c.Attenuation))
		for i, p := range c.Attenuation {
			points[i] = "[" + tables.FormatHertz(p.FrequencyHz) + ", " + tables.FormatNumber(p.DBPerHundredM) + "]"
		}
		w.Key("attenuation_db_per_100m", "["+strings.Join(points, ", ")+"]")
	}
	w.Hertz("max_frequency_hz", c.MaxFrequencyHz)
	w.Number("diameter_mm", c.DiameterMM)
	w.Number("inner_diameter_mm", c.InnerDiameterMM)
	w.Number("outer_diameter_mm", c.OuterDiameterMM)
	w.Text("inner_conductor", c.InnerConductor)
	w.Text("outer_conductor", c.OuterConductor)
	w.Text("source", c.Source)
}

// UnmarshalTOML reads the point from [hz, dB].
func (p *AttenuationPoint) UnmarshalTOML(value any) error {
	pair := tables.Numbers(value, 2)
	if pair == nil {
		return errors.New("an attenuation point is not two numbers; write it as [hertz, dB per 100 m], such as [100e6, 2.2]")
	}
	*p = AttenuationPoint{FrequencyHz: pair[0], DBPerHundredM: pair[1]}
	return nil
}

// MarshalTOML writes the point as [hz, dB].
func (p AttenuationPoint) MarshalTOML() ([]byte, error) {
	return []byte("[" + tables.FormatHertz(p.FrequencyHz) + ", " + tables.FormatNumber(p.DBPerHundredM) + "]"), nil
}

// points returns an attenuation table; the frequencies ascend.
func points(t *tables.Table, key string) []AttenuationPoint {
	value := t.Get(key)
	if value == nil {
		return nil
	}
	list, ok := value.([]any)
	if !ok {
		t.Wrong(key, "%s is not a list; write it as [[hertz, dB per 100 m], ...], such as [[100e6, 2.2], [1000e6, 7.3]]", key)
		return nil
	}
	out := make([]AttenuationPoint, 0, len(list))
	for i, v := range list {
		var p AttenuationPoint
		reason := ""
		if err := p.UnmarshalTOML(v); err != nil {
			reason = err.Error()
		} else if reason = tables.HertzProblem(p.FrequencyHz); reason == "" {
			switch {
			case p.DBPerHundredM < 0:
				reason = fmt.Sprintf("the loss %g dB is negative; give loss as a positive number", p.DBPerHundredM)
			case p.DBPerHundredM > 1e5:
				reason = fmt.Sprintf("the loss %g dB per 100 m is above 1000 dB a metre; give dB per 100 m", p.DBPerHundredM)
			case i > 0 && len(out) == i && p.FrequencyHz <= out[i-1].FrequencyHz:
				reason = fmt.Sprintf("%g Hz does not come after %g Hz; sort the points by frequency, each once", p.FrequencyHz, out[i-1].FrequencyHz)
			}
		}
		if reason != "" {
			t.Wrong(key, "%s, point %d: %s", key, i+1, reason)
			return nil
		}
		out = append(out, p)
	}
	return out
}
