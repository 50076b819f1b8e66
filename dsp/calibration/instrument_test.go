package calibration

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"downlead/dsp/sweep"
)

// instrument makes raw readings with errors of the size field instruments
// have uncorrected (common practice): directivity 20-30 dB, source match
// 15-25 dB, tracking within ±1 dB, behind a test cable, each made of three
// parts of different delay so that it turns over frequency.
type instrument struct {
	directivity, sourceMatch parts
	trackingRipple           parts
	gain                     complex128
	delayS                   float64 // of the test cable, two ways
	noise                    float64 // rms
	random                   *rand.Rand
}

type parts struct {
	size   [3]complex128
	delayS [3]float64
}

func (p parts) at(f float64) complex128 {
	var z complex128
	for i := range p.size {
		z += p.size[i] * cmplx.Rect(1, -2*math.Pi*f*p.delayS[i])
	}
	return z
}

func newInstrument(seed uint64) *instrument {
	r := rand.New(rand.NewPCG(seed, 7))
	uniform := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	turning := func(sizeDB float64) parts {
		var p parts
		for i, share := range [3]float64{0.6, 0.25, 0.15} {
			p.size[i] = cmplx.Rect(share*math.Pow(10, -sizeDB/20), uniform(0, 2*math.Pi))
			p.delayS[i] = uniform(0.1e-9, 6e-9)
		}
		return p
	}
	return &instrument{
		directivity:    turning(uniform(20, 30)),
		sourceMatch:    turning(uniform(15, 25)),
		trackingRipple: turning(26),
		gain:           cmplx.Rect(math.Pow(10, uniform(-1, 1)/20), uniform(0, 2*math.Pi)),
		delayS:         uniform(0, 28e-9),
		noise:          1e-4,
		random:         r,
	}
}

func (in *instrument) terms(f float64) (e00, e11, tracking complex128) {
	tracking = in.gain * (1 + in.trackingRipple.at(f)) * cmplx.Rect(math.Pow(10, -0.05*math.Sqrt(f/1e9)), -2*math.Pi*f*in.delayS)
	return in.directivity.at(f), in.sourceMatch.at(f), tracking
}

// read sweeps a device; its noise comes from the instrument's own source.
func (in *instrument) read(name string, f []float64, device func(f float64) complex128) *sweep.Sweep {
	s := &sweep.Sweep{Name: name, FrequencyHz: f, Gamma: make([]complex128, len(f)), ReferenceOhm: 50}
	for k, at := range f {
		e00, e11, tracking := in.terms(at)
		g := device(at)
		s.Gamma[k] = e00 + tracking*g/(1-e11*g) +
			complex(in.random.NormFloat64(), in.random.NormFloat64())*complex(in.noise/math.Sqrt2, 0)
	}
	return s
}

func (in *instrument) standards(kit *Kit, f []float64) Standards {
	return Standards{
		Open:  in.read("open.s1p", f, at50(kit.Open)),
		Short: in.read("short.s1p", f, at50(kit.Short)),
		Load:  in.read("load.s1p", f, at50(kit.Load)),
	}
}

func at50(d Definition) func(float64) complex128 {
	return func(f float64) complex128 { return d.Reflection(f, 50) }
}

func grid(lowHz, highHz float64, n int) []float64 {
	f := make([]float64, n)
	for k := range f {
		f[k] = lowHz + (highHz-lowHz)*float64(k)/float64(n-1)
	}
	return f
}

// fieldKit has the size of coefficients that kits for 7 mm coaxial connectors
// have (common practice; the digits are ours).
func fieldKit() *Kit {
	return &Kit{
		Name:  "made up",
		Open:  Open{CapacitanceF: [4]float64{40e-15, 20e-27, 12e-36, -0.2e-45}, Offset: Offset{DelayS: 31e-12, ImpedanceOhm: 50, LossOhmPerS: 1.3e9}},
		Short: Short{InductanceH: [4]float64{3e-12, -20e-24, 1.5e-33, 0.01e-42}, Offset: Offset{DelayS: 33e-12, ImpedanceOhm: 50, LossOhmPerS: 1.1e9}},
		Load:  Load{ResistanceOhm: 50.1, InductanceH: 3e-12},
	}
}

// unbalancedKit has an open whose capacitance the short's offset does not
// make up for, so that the two are no mirror images at gigahertz.
func unbalancedKit() *Kit {
	kit := fieldKit()
	kit.Open.CapacitanceF[0] = 80e-15
	kit.Short.Offset.DelayS = 26e-12
	return kit
}

// feeder is a device to correct: a lossy line of delayS one way ended in an
// antenna-like reflection.
func feeder(delayS float64) func(float64) complex128 {
	return func(f float64) complex128 {
		return complex(-0.5*math.Exp(-0.3*math.Sqrt(f/1e9)), 0) * cmplx.Rect(1, -4*math.Pi*f*delayS)
	}
}
