package locate

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// part is an element at a place of a line.
type part struct {
	x       float64
	element cables.Element
}

// resistance, inductance, capacitance and conductance in SI units.
func resistance(ohm float64) cables.Element {
	return cables.Series(func(float64) complex128 { return complex(ohm, 0) })
}

func inductance(henry float64) cables.Element {
	return cables.Series(func(f float64) complex128 { return complex(0, 2*math.Pi*f*henry) })
}

func capacitance(farad float64) cables.Element {
	return cables.Shunt(func(f float64) complex128 { return complex(0, 2*math.Pi*f*farad) })
}

func conductance(siemens float64) cables.Element {
	return cables.Shunt(func(float64) complex128 { return complex(siemens, 0) })
}

// build is the sweep of a path with parts on it, by chain matrices. load is
// the reflection behind it, nil for none.
func build(path *cables.Path, frequencyHz []float64, parts []part, load func(float64) complex128) []complex128 {
	var c cables.Cascade
	at := 0.0
	way := func(to float64) {
		for at < to-1e-12 {
			i := path.SpanAt(at)
			next := to
			if i+1 < len(path.Spans) {
				next = math.Min(next, path.Spans[i+1].StartM)
			}
			c = append(c, cables.Stretch{Medium: path.Spans[i].Medium, LengthM: next - at})
			at = next
		}
	}
	for _, p := range parts {
		way(p.x)
		c = append(c, p.element)
	}
	way(path.LengthM())
	if load == nil {
		load = func(float64) complex128 { return 0 }
	}
	return c.Reflection(frequencyHz, load, path.ReferenceOhm)
}

func grid(n int, lowHz, highHz float64) []float64 {
	f := make([]float64, n)
	for k := range f {
		f[k] = lowHz + (highHz-lowHz)*float64(k)/float64(n-1)
	}
	return f
}

// noisy returns gamma with complex normal noise of the given rms added.
func noisy(gamma []complex128, rms float64, rng *rand.Rand) []complex128 {
	out := make([]complex128, len(gamma))
	s := complex(rms/math.Sqrt2, 0)
	for k, g := range gamma {
		out[k] = g + s*complex(rng.NormFloat64(), rng.NormFloat64())
	}
	return out
}

func rms(z []complex128) float64 {
	sum := 0.0
	for _, v := range z {
		sum += real(v * cmplx.Conj(v))
	}
	return math.Sqrt(sum / float64(len(z)))
}

// plain is a line of one lossless cable whose end is matched: only noise counts.
func plain(t testing.TB, velocityFactor, lengthM float64) Line {
	t.Helper()
	line := cables.VelocityLine(velocityFactor, lengthM)
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	for i := range path.Spans {
		path.Spans[i].VelocityTolerance = 0
	}
	return Line{Path: path, Load: cables.Load{Kind: cables.Termination, ReturnLossDB: 30}}
}

// feeder is a jumper, a surge arrestor and a feeder with loss; attenuations of
// the usual size (common practice, no source).
func feeder(t testing.TB, load cables.Load) Line {
	t.Helper()
	line := &cables.Line{
		Cables: []cables.Type{
			{ID: "jumper", ImpedanceOhm: 50, VelocityFactor: 0.82, VelocityFactorTolerance: 0.01, Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e8, DBPerHundredM: 3.5}, {FrequencyHz: 1e9, DBPerHundredM: 11.6}}},
			{ID: "feeder", ImpedanceOhm: 50, VelocityFactor: 0.88, VelocityFactorTolerance: 0.01, Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e8, DBPerHundredM: 1.2}, {FrequencyHz: 1e9, DBPerHundredM: 4.0}}},
		},
		Sections: []cables.Section{{Name: "jumper", CableID: "jumper", LengthM: 2.5}, {Name: "feeder", CableID: "feeder", LengthM: 35}},
		Devices:  []cables.Device{{After: "jumper", Kind: "surge-arrestor", LengthM: 0.12, ReturnLossDB: 26}},
		Load:     load,
	}
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	return Line{Path: path, Load: load}
}

// resonant is the reflection of an antenna with one resonance at the middle of
// a band, nearly total outside, behind a lossy feed: a series RLC circuit.
func resonant(middleHz, bandHz float64) func(float64) complex128 {
	q := middleHz / bandHz
	return func(f float64) complex128 {
		z := complex(1.1, 1.2*q*(f/middleHz-middleHz/f))
		return 0.95 * (z - 1) / (z + 1) * cmplx.Exp(complex(0, -2*math.Pi*f*1e-9))
	}
}

func sweepOf(frequencyHz []float64, gamma []complex128) *sweep.Sweep {
	return &sweep.Sweep{FrequencyHz: frequencyHz, Gamma: gamma, ReferenceOhm: 50}
}

func find(t testing.TB, frequencyHz []float64, gamma []complex128, line Line) *Result {
	t.Helper()
	r, err := Find(context.Background(), sweepOf(frequencyHz, gamma), line, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// nearest returns the reflection nearest x.
func nearest(r *Result, x float64) (Reflection, bool) {
	best := -1
	for i, q := range r.Reflections {
		if best < 0 || math.Abs(q.DistanceM-x) < math.Abs(r.Reflections[best].DistanceM-x) {
			best = i
		}
	}
	if best < 0 {
		return Reflection{}, false
	}
	return r.Reflections[best], true
}
