package diagnose

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// near checks to a relative tolerance.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: %.9g, want %.9g", what, got, want)
	}
}

// Worked by hand from the definitions X = ωL, X = 1/(ωC), B = ωC with ω =
// 2π·1.7 GHz = 1.0681415e10 rad/s and 50 ohm, to five digits.
func TestConversionsByHand(t *testing.T) {
	const f0, z = 1.7e9, 50.0
	near(t, "0.2·50 ohm as an inductance", inductanceH(0.2, z, f0), 0.93621e-9, 1e-5)
	near(t, "0.5·50 ohm as a gap", gapF(0.5, z, f0), 3.7448e-12, 1e-5)
	near(t, "0.3/50 S as a capacitance", shuntF(0.3, z, f0), 0.56172e-12, 1e-5)
	if c := gapF(0, z, f0); !math.IsInf(c, 1) {
		t.Errorf("no gap is %g F", c)
	}
	// A velocity factor of 0.89 that falls to 0.74: κ = 0.89/0.74 = 1.202703,
	// drop = 1 − 0.74/0.89 = 0.168539; (κ/VF)² = 1/0.74² = 1.826150.
	near(t, "κ", slowing(0.168539, 0, 1e9), 1.202703, 1e-6)
	near(t, "permittivity", permittivity(1.202703, 0.89), 1.826150, 2e-6)
	// VF 0.88, 2.6 m at 1 GHz, drop 0.15, tangent 0.03: δ/2 = 0.0149955, β =
	// 23.81647 rad/m, κ = 1.176471; loss β·l·κ·sin(δ/2) = 1.09238 Np = 9.4884 dB;
	// delay (κ·cos(δ/2) − 1)·l/v = 0.176338·9.85529 ns = 1.73787 ns.
	const v = 0.88 * cables.SpeedOfLight
	near(t, "wet loss", wetLossDB(0.15, 0.03, 2.6, v, 1e9), 9.4884, 5e-5)
	near(t, "wet delay", wetDelayS(0.15, 0.03, 2.6, v, 1e9), 1.73787e-9, 5e-5)
	// 80 mm at VF 0.88 take 303.24 ps; (1/0.7 − 0.7)/50 = 14.5714 mS: 4.4186 pF.
	near(t, "dent as a capacitance", stubF(0.08, v, 50, 0.7), 4.4186e-12, 5e-5)
}

// The conversions against chain matrices in SI units of the cable package,
// which knows nothing of the model's relative quantities.
func TestConversionsAgreeWithChainMatrices(t *testing.T) {
	fit := testFit(t, siteLine(), 700e6, 2700e6, 401)
	const z = 50.0
	f0 := fit.MiddleHz
	omega := func(f float64) float64 { return 2 * math.Pi * f }
	for name, c := range map[string]struct {
		form                  linemodel.Form
		flat, rising, falling float64
		element               cables.Element
	}{
		"R, L and gap": {linemodel.Series, 0.28, 0.2, 0.5, cables.Series(func(f float64) complex128 {
			return complex(0.28*z, omega(f)*inductanceH(0.2, z, f0)-1/(omega(f)*gapF(0.5, z, f0)))
		})},
		"G and lossy C": {linemodel.Shunt, 0.16, 0.3, 0.015, cables.Shunt(func(f float64) complex128 {
			c := shuntF(0.3, z, f0)
			return complex(0.16/z+omega(f)*c*0.05, omega(f)*c)
		})},
	} {
		p := fit.NewPoint(10, c.form)
		p.Flat, p.Rising, p.Falling = c.flat, c.rising, c.falling
		fit.Sample(p)
		want := cables.Cascade{c.element}.Reflection(fit.FrequencyHz, func(float64) complex128 { return 0 }, z)
		for k := range want {
			if cmplx.Abs(p.Reflect[k]-want[k]) > 1e-12 {
				t.Errorf("%s at %g Hz: %v by the model, %v by its words", name, fit.FrequencyHz[k], p.Reflect[k], want[k])
				break
			}
		}
	}
	// A thin stretch of slightly wet cable: what its two-port lets through
	// must be the loss and the delay that are told; 0.2 % of it reflects.
	p := fit.NewPoint(20, linemodel.Wet)
	p.Extent, p.Drop, p.Tangent, p.Taper = 2.5, 0.05, 0.02, 0.5
	fit.Sample(p)
	k := len(p.Through) / 2
	velocity := 0.89 * cables.SpeedOfLight
	f := fit.FrequencyHz[k]
	near(t, "loss of the two-port, dB", -10*math.Log10(cmplx.Abs(p.Through[k])), wetLossDB(0.05, 0.02, 2, velocity, f), 2e-3)
	turn := 2 * omega(f) * wetDelayS(0.05, 0.02, 2, velocity, f)
	if off := math.Remainder(cmplx.Phase(p.Through[k])+turn, 2*math.Pi); math.Abs(off) > 0.01 {
		t.Errorf("phase of the two-port is %.4f rad off what its delay says", off)
	}
	// A dent far below its resonance: B·Z/2 of its equivalent capacitance.
	low := testFit(t, siteLine(), 10e6, 60e6, 101)
	d := low.NewPoint(20, linemodel.Foreign)
	d.Extent, d.Ratio, d.LossScale = 0.08, 0.7, 1
	low.Sample(d)
	near(t, "a dent's reflection", cmplx.Abs(d.Reflect[0]), omega(10e6)*stubF(0.08, velocity, z, 0.7)*z/2, 1e-2)
}

func TestNumbersShowWhatTheyAreWorth(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{uncertain(14.23, 2.1, "ohm"), "14 ± 2 ohm"},
		{uncertain(14.23, 0.14, "ohm"), "14.23 ± 0.14 ohm"},
		{uncertain(0.7412, 0.0099, ""), "0.741 ± 0.010"},
		{uncertain(41.2, 0.96, "ohm"), "41.2 ± 1.0 ohm"},
		{uncertain(1234, 56, "m"), "1230 ± 60 m"},
		{uncertain(14.2345, 0, "ohm"), "14.2 ohm"},
		{uncertain(0, 0, "nH"), "0 nH"},
		{uncertain(0.99999, 0, "dB"), "1.00 dB"},
		{size(0.1, 0.5, "ohm"), "below 1.1 ohm (two sigma)"},
		{size(0.01, 0.02, ""), "below 0.05 (two sigma)"},
		{size(3.2, 0.4, "mS"), "3.2 ± 0.4 mS"},
		{bandWords(700e6, 2700e6), "0.7–2.7 GHz"},
		{bandWords(824e6, 960e6), "824–960 MHz"},
		{bandWords(1e6, 4e9), "1 MHz to 4 GHz"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestDescribe(t *testing.T) {
	fit := testFit(t, siteLine(), 700e6, 2700e6, 401) // f0 = 1.7 GHz
	point := func(form linemodel.Form, change func(*linemodel.Point)) *linemodel.Point {
		p := fit.NewPoint(20, form)
		p.Ratio, p.LossScale = 1, 1
		change(p)
		fit.Sample(p)
		return p
	}
	for name, c := range map[string]struct {
		point *linemodel.Point
		sigma map[int]float64
		want  []string
	}{
		"a contact": {point(linemodel.Series, func(p *linemodel.Point) { p.Flat = 0.28 }), map[int]float64{linemodel.ByFlat: 0.04},
			// |z/(2+z)| = 0.28/2.28 = 0.12281: 18.2 dB, VSWR 1.28.
			[]string{"series resistance 14 ± 2 ohm at the joint feeder / top jumper, flat over 0.7–2.7 GHz",
				"by itself it has a return loss of 18.2 dB over 0.7–2.7 GHz (VSWR 1.28), phase 0° at 1.7 GHz"}},
		"an inductance": {point(linemodel.Series, func(p *linemodel.Point) { p.Rising = 0.2 }), map[int]float64{linemodel.ByRising: 0.02},
			[]string{"inductance in series 0.94 ± 0.09 nH at the joint feeder / top jumper, its reflection growing in proportion to frequency"}},
		"a negative inductance": {point(linemodel.Series, func(p *linemodel.Point) { p.Rising = -0.2 }), nil,
			// B = 0.2/50 S at 1.7 GHz: 0.37448 pF.
			[]string{"capacitance across the line 0.374 pF at the joint feeder / top jumper, its reflection growing in proportion to frequency"}},
		"a negative conductance": {point(linemodel.Shunt, func(p *linemodel.Point) { p.Flat = -0.28 }), nil,
			[]string{"series resistance 14.0 ohm at the joint feeder / top jumper, flat over 0.7–2.7 GHz"}},
		"a negative resistance": {point(linemodel.Series, func(p *linemodel.Point) { p.Flat = -0.1 }), nil,
			[]string{"conductance across the line 2.00 mS (500 ohm) at the joint feeder / top jumper, flat over 0.7–2.7 GHz"}},
		"a gap": {point(linemodel.Series, func(p *linemodel.Point) { p.Flat, p.Falling = 0.1, 0.5 }), map[int]float64{linemodel.ByFlat: 0.2, linemodel.ByFalling: 0.1},
			[]string{"series resistance below 30 ohm (two sigma) at the joint feeder / top jumper, flat over 0.7–2.7 GHz",
				"a gap in series of 3.7 ± 0.7 pF, most of it seen at the low frequencies"}},
		"hardly a gap": {point(linemodel.Series, func(p *linemodel.Point) { p.Falling = 0.1 }), map[int]float64{linemodel.ByFalling: 0.2},
			[]string{"a gap in series, if there is one, of more than 3.74 pF (two sigma) at the joint feeder / top jumper"}},
		"a wet connector": {point(linemodel.Shunt, func(p *linemodel.Point) { p.Flat, p.Rising, p.Falling = 0.16, 0.3, 0.015 }),
			map[int]float64{linemodel.ByFlat: 0.02, linemodel.ByRising: 0.01, linemodel.ByFalling: 0.003},
			[]string{"conductance across the line 3.2 ± 0.4 mS (312 ohm) at the joint feeder / top jumper, flat over 0.7–2.7 GHz",
				"capacitance across the line 0.562 ± 0.019 pF, its reflection growing in proportion to frequency",
				"the dielectric of that capacitance loses: loss tangent 0.050 ± 0.010"}},
		"an open end": {point(linemodel.Step, func(p *linemodel.Point) { p.Flat, p.Rising = 0.97, 0.115129 }), map[int]float64{linemodel.ByFlat: 0.01},
			[]string{"like an open circuit: the voltage comes back upright, 97.0 ± 1.0 % of it at the joint feeder / top jumper",
				"on the way there and back 1.00 dB more is lost at 1.7 GHz than the record says"}},
		"a short": {point(linemodel.Step, func(p *linemodel.Point) { p.Flat = -0.9 }), nil,
			[]string{"like a short circuit: the voltage comes back inverted, 90.0 % of it at the joint feeder / top jumper"}},
		"a step": {point(linemodel.Step, func(p *linemodel.Point) { p.Flat = 0.2 }), map[int]float64{linemodel.ByFlat: 0.01},
			// 50·1.2/0.8 = 75; dZ/dr = 2·50/0.8² = 156.25.
			[]string{"step of impedance 50.0 → 75.0 ± 1.6 ohm at the joint feeder / top jumper",
				"by itself it has a return loss of 14.0 dB over 0.7–2.7 GHz (VSWR 1.50), phase 0° at 1.7 GHz"}},
		"wet cable": {point(linemodel.Wet, func(p *linemodel.Point) { p.Extent, p.Drop, p.Taper = 2.6, 1-0.74/0.89, 0.4 }),
			map[int]float64{linemodel.ByExtent: 0.3, linemodel.ByDrop: 0.01},
			// 50·0.74/0.89 = 41.573; 1/0.89² = 1.2625; 1/0.74² = 1.8262;
			// 2.2 m/(0.89 c)·0.2027 = 1.6714 ns; 2.2 m·0.2027 = 0.4459 m.
			[]string{"a stretch of cable 2.6 ± 0.3 m long at the joint feeder / top jumper that is slower and lossier than its record",
				"at 1.7 GHz its impedance is 50.0 → 41.6 ± 0.5 ohm and its velocity factor 0.890 → 0.740 ± 0.009",
				"its effective permittivity is 1.26 → 1.83 ± 0.04, its loss tangent 0",
				"at 1.7 GHz it loses 0 dB more than its record, one way, and holds the wave up by 1.67 ns: what lies behind seems 0.446 m farther out",
				"it begins and ends gradually, over about 0.400 m"}},
		"a dent": {point(linemodel.Foreign, func(p *linemodel.Point) { p.Extent, p.Ratio = 0.08, 0.7 }), map[int]float64{linemodel.ByExtent: 0.02, linemodel.ByDrop: 0.04},
			// 0.08/(0.89 c·50)·0.72857 = 4.3689 pF.
			[]string{"impedance 50.0 → 35 ± 2 ohm over 0.08 ± 0.02 m at the joint feeder / top jumper",
				"to a wave much longer than that it acts like 4.37 pF across the line; the sweep knows that better than length and impedance by themselves"}},
		"other cable": {point(linemodel.Foreign, func(p *linemodel.Point) { p.Extent, p.Ratio, p.LossScale = 3, 1.5, 2 }), map[int]float64{linemodel.ByExtent: 0.03, linemodel.ByTangent: 0.3},
			// 3/0.89 = 3.371.
			[]string{"impedance 50.0 → 75.0 ohm over 3.00 ± 0.03 m at the joint feeder / top jumper",
				"that length is at the record's velocity factor of 0.890: length and velocity of the stretch cannot be told apart, so cable of velocity factor VF would be 3.37 m × VF long",
				"its attenuation is 2.0 ± 0.3 times the record's"}},
	} {
		got := describe(c.point, c.sigma, fit, 50, "joint feeder / top jumper")
		for i, want := range c.want {
			if i >= len(got) || got[i] != want {
				t.Errorf("%s:\n%s\nwant\n%s", name, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
				break
			}
		}
		if last := got[len(got)-1]; !strings.HasPrefix(last, "by itself it has a return loss of ") {
			t.Errorf("%s: the local return loss is missing: %q", name, last)
		}
	}
}

func TestDescribeTakesTheRecordsImpedance(t *testing.T) {
	line := siteLine()
	line.Cables[1].ImpedanceOhm = 75
	fit := testFit(t, line, 700e6, 2700e6, 11)
	p := fit.NewPoint(20, linemodel.Series) // in the feeder
	p.Flat = 0.2
	fit.Sample(p)
	if got := describe(p, nil, fit, 0, ""); got[0] != "series resistance 15.0 ohm, flat over 0.7–2.7 GHz" {
		t.Errorf("%q", got)
	}
}

func TestCalibrationWordsAreLoudWhereNeeded(t *testing.T) {
	for _, c := range []struct {
		sweep sweep.Sweep
		want  string
	}{
		{sweep.Sweep{}, "assumed corrected by the instrument: the file does not say"},
		{sweep.Sweep{Correction: sweep.Corrected}, "corrected with standards that passed their checks"},
		{sweep.Sweep{Correction: sweep.Corrected, ErrorFloor: []float64{0.001, 0.01}}, "corrected with standards that passed their checks; residual directivity 40 dB or better"},
		{sweep.Sweep{Correction: sweep.Doubtful, Warnings: []string{"the load reads 12 dB"}}, "CALIBRATION IN DOUBT. Do not sign off or climb on these readings before the standards are measured again. Why: the load reads 12 dB"},
		{sweep.Sweep{Correction: sweep.Uncorrected}, "NOT CALIBRATED. These are raw readings"},
	} {
		if got := calibrationWords(&c.sweep); !strings.HasPrefix(got, c.want) {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// siteLine is a line of our own for the tests of the words.
func siteLine() *cables.Line {
	table := []cables.AttenuationPoint{{FrequencyHz: 1e9, DBPerHundredM: 4}}
	jumper := cables.Type{ID: "jumper", Name: "half-inch flexible", ImpedanceOhm: 50, VelocityFactor: 0.82, Attenuation: table}
	feeder := cables.Type{ID: "feeder", Name: "seven-eighths foam", ImpedanceOhm: 50, VelocityFactor: 0.89, Attenuation: table}
	return &cables.Line{
		Name: "Heron Weir, sector north", Cables: []cables.Type{jumper, feeder},
		Sections: []cables.Section{{Name: "bottom jumper", CableID: "jumper", LengthM: 2.5}, {Name: "feeder", CableID: "feeder", LengthM: 45.5}, {Name: "top jumper", CableID: "jumper", LengthM: 2}},
		Load:     cables.Load{Kind: cables.Antenna, BandHz: [2]float64{1710e6, 2170e6}, ReturnLossDB: 15},
		Limits:   cables.Limits{VSWR: 1.5},
	}
}

// testFit is a fit of the bare line over a band; it measures nothing.
func testFit(t *testing.T, line *cables.Line, low, high float64, n int) *linemodel.Fit {
	t.Helper()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	f := make([]float64, n)
	for k := range f {
		f[k] = low + (high-low)*float64(k)/float64(n-1)
	}
	return linemodel.NewFit(path, f, make([]complex128, n))
}
