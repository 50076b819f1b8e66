package bench

import (
	"fmt"
	"math"

	"downlead/dsp/diagnose"
	"downlead/dsp/simulate"
	"downlead/ui/chart"
)

// kind is a cause as it lies in the tray.
type kind struct {
	cause   string
	short   [2]string // on the tray, in two lines
	extentM float64   // at first, of stretches
}

// kinds are the causes in the order of the tray: ends, joints, stretches, antenna.
func kinds() []kind {
	return []kind{
		{"open-circuit", [2]string{"open", "circuit"}, 0}, {"short-circuit", [2]string{"short", "circuit"}, 0},
		{"poor-contact", [2]string{"poor", "contact"}, 0}, {"connector-mismatch", [2]string{"connector", "mismatch"}, 0},
		{"water-in-connector", [2]string{"water in", "connector"}, 0}, {"water-in-cable", [2]string{"water in", "cable"}, 2},
		{"dent-or-kink", [2]string{"dent", "or kink"}, 0.08}, {"wrong-impedance", [2]string{"other", "cable"}, 2},
		{"lossy-section", [2]string{"lossy", "section"}, 10}, {"antenna", [2]string{"antenna", "fault"}, 0},
	}
}

// ofJoints says whether faults of a cause sit at joints and nowhere else.
func ofJoints(cause string) bool {
	switch cause {
	case "poor-contact", "connector-mismatch", "water-in-connector":
		return true
	}
	return false
}

// words is a cause in full.
func words(cause string) string { return diagnose.Cause(cause).Words() }

// fresh is a fault of a kind as it comes from the tray.
func (k kind) fresh() simulate.Fault {
	f := simulate.Fault{Cause: k.cause, ExtentM: k.extentM}.Typical(k.extentM)
	f.TaperM = 0 // a sixth of the extent, whatever that becomes
	return f
}

// severity is a number of a fault that can be turned.
type severity struct {
	name      string
	of        func(*simulate.Fault) *float64
	low, high float64
	log       bool
	none      bool // the low end stands for none of it
	quantity  chart.Quantity
	percent   bool
}

// severities are the numbers of a cause, the one that matters most first. Ranges:
// what is met on lines and what shows it well; common practice, no source.
func severities(f *simulate.Fault) []severity {
	extent := func(low, high float64) severity {
		return severity{"length", func(f *simulate.Fault) *float64 { return &f.ExtentM }, low, high, true, false, chart.Metre, false}
	}
	ohm := func(name string, low, high float64) severity {
		return severity{name, func(f *simulate.Fault) *float64 { return &f.ImpedanceOhm }, low, high, false, false, chart.Ohm, false}
	}
	series := func(low, high float64) severity {
		return severity{"resistance in series", func(f *simulate.Fault) *float64 { return &f.SeriesOhm }, low, high, true, true, chart.Ohm, false}
	}
	shunt := func(name string, low, high float64) severity {
		return severity{name, func(f *simulate.Fault) *float64 { return &f.ShuntFarad }, low, high, true, true, chart.Farad, false}
	}
	inductance := func(low, high float64) severity {
		return severity{"inductance in series", func(f *simulate.Fault) *float64 { return &f.SeriesHenry }, low, high, true, true, chart.Henry, false}
	}
	tangent := severity{"loss tangent of the water", func(f *simulate.Fault) *float64 { return &f.LossTangent }, 0.001, 0.3, true, true, chart.Ratio, false}
	switch f.Cause {
	case "open-circuit":
		return []severity{shunt("capacitance of the end", 0.01e-12, 10e-12)}
	case "short-circuit":
		return []severity{series(0.01, 20), inductance(0.02e-9, 10e-9)}
	case "poor-contact":
		return []severity{series(0.5, 500),
			{"gap (capacitance in series)", func(f *simulate.Fault) *float64 { return &f.GapFarad }, 0.5e-12, 500e-12, true, true, chart.Farad, false}}
	case "connector-mismatch":
		if f.ShuntFarad > 0 {
			return []severity{shunt("capacitance across", 0.1e-12, 10e-12)}
		}
		return []severity{inductance(0.2e-9, 20e-9)}
	case "water-in-connector":
		return []severity{{"moisture (leak across)", func(f *simulate.Fault) *float64 { return &f.ShuntSiemens }, 0.1e-3, 50e-3, true, true, chart.Siemens, false},
			shunt("capacitance of the water", 0.1e-12, 20e-12), tangent, series(0.05, 20)}
	case "water-in-cable":
		return []severity{{"moisture (fall of the impedance)", func(f *simulate.Fault) *float64 { return &f.ImpedanceDrop }, 0.005, 0.6, false, false, chart.Ratio, true},
			extent(0.1, 20), tangent}
	case "dent-or-kink":
		return []severity{ohm("impedance where it is crushed", 8, 49), extent(0.01, 0.5)}
	case "wrong-impedance":
		return []severity{ohm("impedance of the other cable", 25, 150), extent(0.1, 40)}
	case "lossy-section":
		return []severity{{"times the loss of sound cable", func(f *simulate.Fault) *float64 { return &f.LossFactor }, 1.05, 20, true, false, chart.Ratio, false}, extent(0.5, 100)}
	}
	return []severity{{"return loss of the antenna", func(f *simulate.Fault) *float64 { return &f.ReturnLossDB }, 0.5, 25, false, false, chart.Decibel, false}}
}

// modes are what an antenna can have.
func modes() []string { return []string{"detuned", "arm-lost", "poor-match"} }

// write writes a severity with its unit.
func (s severity) write(v float64, feet bool) string {
	switch {
	case s.none && v == 0:
		return "none"
	case s.percent:
		return fmt.Sprintf("%.3g %%", 100*v)
	case s.quantity == chart.Metre:
		return metres(v, feet)
	}
	return s.quantity.Write(v, math.Abs(v)/100)
}

// metres writes a distance to a centimetre, or to a tenth of a foot.
func metres(m float64, feet bool) string {
	if feet {
		return chart.Foot.Write(m, chart.FootM/10)
	}
	return chart.Metre.Write(m, 0.01)
}

// letter names a fault by its index.
func letter(i int) string { return string(rune('A' + i%26)) }
