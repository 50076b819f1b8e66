package diagnose

import (
	"flag"
	"math"
	"math/rand/v2"

	"downlead/dsp/simulate"
)

var usualSizes = flag.Bool("usual", false, "TestJudgedLines gives its faults usual sizes")

// sized gives f a size as faults have that someone is called for: those of 48 lines of an independent simulator, widened on either
// side by half of their span in the logarithm, by half at least. Without, a fault is of any size that the sweep can show.
func sized(r *rand.Rand, f *simulate.Fault) {
	decades := func(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }
	between := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	switch Cause(f.Cause) {
	case PoorContact:
		f.SeriesOhm = decades(3.7, 98)
		if f.GapFarad > 0 {
			f.GapFarad = decades(2.7e-12, 186e-12)
		}
	case ConnectorMismatch:
		if f.SeriesHenry > 0 {
			f.SeriesHenry = decades(1.26e-9, 3.6e-9)
		} else {
			f.ShuntFarad = decades(0.95e-12, 2.2e-12)
		}
	case WaterInConnector:
		f.ShuntSiemens, f.ShuntFarad = decades(2.5e-3, 12e-3), decades(0.88e-12, 6.2e-12)
		f.LossTangent, f.SeriesOhm = decades(0.019, 0.107), decades(0.13, 2.3)
	case WaterInCable:
		f.ImpedanceDrop, f.LossTangent = decades(0.073, 0.35), decades(0.0022, 0.048)
		f.TaperM = min(between(0.2, 0.8), 0.4*f.ExtentM)
	case DentOrKink:
		f.ImpedanceOhm = 50 - between(11.7, 29)
	case LossySection:
		f.LossFactor = 1 + decades(0.69, 2.5)
	case AntennaFault:
		f.ReturnLossDB = between(4, 10)
	}
}
