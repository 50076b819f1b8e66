package traces

import "downlead/dsp"

// Parameter is what can be turned of a window.
type Parameter struct {
	Name             string // "β", or the unit of side lobes
	Low, High, Usual float64
}

// ParameterOf returns the parameter of a kind of window; ok is false for one without.
// Usual is what dsp.Window takes 0 for.
func ParameterOf(k dsp.Kind) (p Parameter, ok bool) {
	switch k {
	case dsp.Kaiser:
		return Parameter{"β", 0.1, 14, 6}, true
	case dsp.DolphChebyshev:
		return Parameter{"dB", 30, 100, 60}, true
	case dsp.Taylor:
		return Parameter{"dB", 20, 60, 40}, true
	}
	return Parameter{}, false
}

// Of is the parameter of a window as it counts.
func (p Parameter) Of(w dsp.Window) float64 {
	if w.Parameter == 0 {
		return p.Usual
	}
	return w.Parameter
}
