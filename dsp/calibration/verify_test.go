package calibration

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"downlead/dsp/sweep"
)

// TestReturnLossBounds against the usual table of the error that directivity
// makes: a reading of 26 dB with 40 dB is off by −1.6 to +1.9 dB, of 20 dB
// by −0.8 to +0.9 dB; equal figures leave +∞ and 6.0 dB. From
// 20·log10(1 ± 10^(−(D−RL)/20)) (common practice; the digits are worked out
// from the formula).
func TestReturnLossBounds(t *testing.T) {
	none := math.Inf(1)
	for _, c := range []struct{ rl, d, m, low, high, tolerance float64 }{
		{26, 40, none, 26 - 1.6, 26 + 1.9, 0.05},
		{20, 40, none, 20 - 0.83, 20 + 0.92, 0.005},
		{30, 30, none, 30 - 6.02, none, 0.005},
		{26, 40, none, 26 - 20*math.Log10(1+math.Pow(10, -14./20)), 26 - 20*math.Log10(1-math.Pow(10, -14./20)), 1e-12},
		// A total reflection is spared the directivity's logarithm but meets
		// the source match in full: ρ = 1 ± (0.01 + 0.0316).
		{0, 40, 30, -20 * math.Log10(1.0416228), -20 * math.Log10(0.9583772), 1e-6},
		{14, none, none, 14, 14, 1e-12},
		{40, 30, none, 40 - 20*math.Log10(1+math.Pow(10, 0.5)), none, 1e-12},
	} {
		low, high := ReturnLossBounds(c.rl, c.d, c.m)
		if math.Abs(low-c.low) > c.tolerance || high != c.high && !(math.Abs(high-c.high) <= c.tolerance) {
			t.Errorf("%v dB with %v and %v dB: %.4f to %.4f, want %.4f to %.4f", c.rl, c.d, c.m, low, high, c.low, c.high)
		}
	}
	if low, high := ReturnLossBounds(math.NaN(), 40, 30); !math.IsNaN(low) || !math.IsNaN(high) {
		t.Errorf("NaN gives %v to %v", low, high)
	}
}

// TestVerify: the real standards differ from their definitions, so the
// solved terms leave a known residual error; each device must show it as far
// as it can.
func TestVerify(t *testing.T) {
	kit, real := fieldKit(), fieldKit()
	real.Load = Load{ResistanceOhm: 51.5, InductanceH: 40e-12}
	real.Short.InductanceH[0] += 60e-12
	f := grid(100e6, 2.5e9, 1001)
	in := newInstrument(8)
	in.noise = 3e-5
	terms, problems, err := Solve(kit, in.standards(real, f))
	if err != nil || problems != nil {
		t.Fatal(problems, err)
	}
	// The residual terms by their definition: correcting readings of exactly
	// Γ = 0 gives δD; ±1 gives δD ± δT + δM, so δM = (Γ₊ + Γ₋)/2 − δD.
	in.noise = 0
	reading := func(g complex128) []complex128 {
		s, err := terms.Correct(in.read("", f, func(float64) complex128 { return g }))
		if err != nil {
			t.Fatal(err)
		}
		return s.Gamma
	}
	match, plus, minus := reading(0), reading(1), reading(-1)
	directivity, sourceMatch := make([]float64, len(f)), make([]float64, len(f))
	for k := range f {
		directivity[k] = cmplx.Abs(match[k])
		sourceMatch[k] = cmplx.Abs((plus[k]+minus[k])/2 - match[k])
	}
	in.noise = 3e-5
	within := func(name string, got, want []float64, tolerance float64) {
		t.Helper()
		if len(got) != len(want) {
			t.Errorf("%s: %d values", name, len(got))
			return
		}
		for k := range f {
			if math.Abs(got[k]-want[k]) > tolerance {
				t.Errorf("%s at %s: %.4f, want %.4f", name, hz(f[k]), got[k], want[k])
				return
			}
		}
	}

	// A match: tracking and source match errors enter times Γ, under 1 %.
	known := Load{ResistanceOhm: 50.3}
	r, err := Verify(terms, known, in.read("match.s1p", f, at50(known)))
	if err != nil || r.SourceMatch != nil {
		t.Fatalf("%+v %v", r, err)
	}
	within("directivity from a match", r.Directivity, directivity, 1e-3)

	// An air line ended in a short, 1 ns long, so 4.8 turns. Its length is
	// known to 0.5 ps only, which must do no harm.
	line := Short{Offset: Offset{DelayS: 1e-9, ImpedanceOhm: 50}}
	longer := line
	longer.Offset.DelayS += 0.5e-12
	shorted, err := Verify(terms, line, in.read("line.s1p", f, at50(longer)))
	if err != nil {
		t.Fatal(err)
	}
	// The residuals drift within the stretch of one fit; 0.006 is 44 dB.
	within("directivity from a line", shorted.Directivity, directivity, 0.006)
	within("source match from a line", shorted.SourceMatch, sourceMatch, 0.006)

	// A bare short cannot tell.
	sum, err := Verify(terms, Short{}, in.read("short2.s1p", f, at50(Short{})))
	if err != nil || sum.Directivity != nil || sum.SourceMatch != nil || !strings.Contains(sum.Method, "only their sum") {
		t.Fatalf("%+v %v", sum, err)
	}
	total := make([]float64, len(f))
	for k := range f {
		total[k] = cmplx.Abs(minus[k] + 1)
	}
	within("sum from a short", sum.Total, total, 0.006)

	terms.Adopt(r)
	corrected, err := terms.Correct(in.read("feeder.s1p", f, feeder(50e-9)))
	if err != nil || corrected.Correction != sweep.Corrected {
		t.Fatal(corrected.Correction, corrected.Warnings, err)
	}
	within("error floor", corrected.ErrorFloor, directivity, 1e-3)
}

// TestVerifyFindsABadLoad: what the checks cannot see, a load of 20 dB, a
// known match does.
func TestVerifyFindsABadLoad(t *testing.T) {
	kit, real := fieldKit(), fieldKit()
	real.Load = Load{ResistanceOhm: 61}
	f := grid(100e6, 2.5e9, 501)
	in := newInstrument(9)
	terms, problems, err := Solve(kit, in.standards(real, f))
	if err != nil || problems != nil {
		t.Fatal(problems, err)
	}
	match := Load{ResistanceOhm: 50}
	r, err := Verify(terms, match, in.read("match.s1p", f, at50(match)))
	if err != nil || kinds(r.Problems) != "doubtful residual" {
		t.Fatalf("%v %v", r.Problems, err)
	}
	terms.Adopt(r)
	corrected, err := terms.Correct(in.read("feeder.s1p", f, feeder(50e-9)))
	if err != nil || corrected.Correction != sweep.Doubtful || corrected.ErrorFloor == nil {
		t.Errorf("%v %v", corrected.Correction, err)
	}
	if _, err := Verify(terms, match, in.read("match.s1p", grid(1e6, 2.5e9, 501), at50(match))); err == nil {
		t.Error("a device outside the standards' band was taken")
	}
}
