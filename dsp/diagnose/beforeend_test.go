package diagnose

import (
	"testing"

	"downlead/dsp/simulate"
)

// A fault at the joint a cell and more in front of a shorted or an open end, over 90 MHz: located, it is the skirts of the mirror
// behind it. One of the lines has an arrestor whose reflection and its joints' are seen as one, and is longer than its record.
// Drawn lines, the first two with faults of other sizes.
func TestCircuitBeforeEnd(t *testing.T) {
	if testing.Short() {
		t.Skip("four diagnoses")
	}
	for _, c := range []struct {
		seed    uint64
		cause   Cause
		fault   simulate.Fault // its sizes, zero: as drawn
		atM     float64
		withinM float64
	}{
		{89008, PoorContact, simulate.Fault{SeriesOhm: 41.4}, 35.11, 0.03},
		{90011, WaterInConnector, simulate.Fault{SeriesOhm: 0.2, ShuntFarad: 2.8e-12, ShuntSiemens: 6e-3, LossTangent: 0.07}, 31.66, 0.05},
		{90001, WaterInConnector, simulate.Fault{}, 51.79, 0.2},
		{97014, PoorContact, simulate.Fault{}, 28.17, 0.05}, // three free points that make up the far end
	} {
		s := drawn(t, c.seed, c.cause)
		if f := &s.Faults[0]; c.fault.SeriesOhm > 0 {
			f.SeriesOhm, f.GapFarad, f.ShuntFarad, f.ShuntSiemens, f.LossTangent = c.fault.SeriesOhm, 0, c.fault.ShuntFarad, c.fault.ShuntSiemens, c.fault.LossTangent
		}
		found, _ := diagnosed(t, s)
		alone(t, found, c.cause, c.atM, c.withinM)
	}
}
