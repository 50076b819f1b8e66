package calibration

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"os/exec"
	"testing"

	"downlead/dsp/sweep"
)

// TestSolveClosedForm: with a perfect open, short and load (Γ = 1, −1, 0) the
// terms are, by hand from the model,
//
//	e00 = ml,  e11 = (mo + ms − 2ml)/(mo − ms),
//	e10e01 = 2(mo − ml)(ml − ms)/(mo − ms).
func TestSolveClosedForm(t *testing.T) {
	mo, ms, ml := 0.9+0.2i, -0.8-0.3i, 0.05-0.02i
	one := func(g complex128) *sweep.Sweep {
		return &sweep.Sweep{FrequencyHz: []float64{1e9}, Gamma: []complex128{g}, ReferenceOhm: 50}
	}
	terms, problems, err := Solve(nil, Standards{one(mo), one(ms), one(ml)})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		got, want complex128
	}{
		{"e00", terms.Directivity[0], ml},
		{"e11", terms.SourceMatch[0], (mo + ms - 2*ml) / (mo - ms)},
		{"e10e01", terms.Tracking[0], 2 * (mo - ml) * (ml - ms) / (mo - ms)},
	} {
		if cmplx.Abs(c.got-c.want) > 1e-14 { // rounding
			t.Errorf("%s = %v, want %v", c.name, c.got, c.want)
		}
	}
	if len(problems) != 1 || problems[0].Kind != KindKit || problems[0].Severity != Note {
		t.Errorf("problems %v, want the note that ideal standards are assumed", problems)
	}
	perfect, _, err := Solve(nil, Standards{one(1), one(-1), one(0)})
	if err != nil {
		t.Fatal(err)
	}
	// A = [1 1 1; 1 1 −1; 1 0 0]: ‖A‖₁ = 3; A⁻¹ = [0 0 1; ½ ½ −1; ½ −½ 0],
	// ‖A⁻¹‖₁ = 2. Condition 6.
	if math.Abs(perfect.Condition[0]-6) > 1e-12 {
		t.Errorf("condition %v, want 6", perfect.Condition[0])
	}
}

// TestCorrectRoundTrip: correcting what the model made gives the device back
// to rounding, with real definitions and without noise.
func TestCorrectRoundTrip(t *testing.T) {
	kit, f := fieldKit(), grid(5e6, 3e9, 501)
	in := newInstrument(3)
	in.noise = 0
	terms, _, err := Solve(kit, in.standards(kit, f))
	if err != nil {
		t.Fatal(err)
	}
	raw := in.read("line.s1p", f, feeder(100e-9))
	raw.Warnings = []string{"from the file"}
	got, err := terms.Correct(raw)
	if err != nil {
		t.Fatal(err)
	}
	for k := range f {
		e00, e11, tracking := in.terms(f[k])
		if d := max(cmplx.Abs(terms.Directivity[k]-e00), cmplx.Abs(terms.SourceMatch[k]-e11), cmplx.Abs(terms.Tracking[k]-tracking)); d > 1e-12 {
			t.Fatalf("terms at %s off by %g", hz(f[k]), d)
		}
		if d := cmplx.Abs(got.Gamma[k] - feeder(100e-9)(f[k])); d > 1e-12 {
			t.Fatalf("corrected at %s off by %g", hz(f[k]), d)
		}
	}
	if got.Correction != sweep.Corrected || len(got.Warnings) != 1 || got.ErrorFloor != nil || Notice(got) != "" {
		t.Errorf("state %v, warnings %q, floor %v, notice %q", got.Correction, got.Warnings, got.ErrorFloor != nil, Notice(got))
	}
	if raw.Correction == sweep.Corrected || &got.FrequencyHz[0] == &raw.FrequencyHz[0] {
		t.Error("the raw sweep was touched or is shared")
	}
}

// TestDefinitions against closed forms: a lossless offset turns a perfect end
// by −4πfτ; a capacitance C has the phase −2·atan(2πfC·Z0), an inductance L
// π − 2·atan(2πfL/Z0); a resistance (R − Z0)/(R + Z0) (transmission line
// theory; Pozar, from memory).
func TestDefinitions(t *testing.T) {
	const f = 2e9
	offset := Offset{DelayS: 40e-12, ImpedanceOhm: 50}
	turn := cmplx.Rect(1, -4*math.Pi*f*40e-12)
	for _, c := range []struct {
		name string
		d    Definition
		want complex128
	}{
		{"ideal open", Open{}, 1},
		{"ideal short", Short{}, -1},
		{"offset open", Open{Offset: offset}, turn},
		{"offset short", Short{Offset: offset}, -turn},
		{"open 50 fF", Open{CapacitanceF: [4]float64{50e-15}, Offset: offset}, turn * cmplx.Rect(1, -2*math.Atan(2*math.Pi*f*50e-15*50))},
		{"open C3", Open{CapacitanceF: [4]float64{0, 0, 0, 50e-15 / (f * f * f)}}, cmplx.Rect(1, -2*math.Atan(2*math.Pi*f*50e-15*50))},
		{"short 30 pH", Short{InductanceH: [4]float64{0, 30e-12 / f}}, cmplx.Rect(1, math.Pi-2*math.Atan(2*math.Pi*f*30e-12/50))},
		{"load 75", Load{ResistanceOhm: 75}, 0.2},
		// A quarter wave of 75 ohm turns 50 ohm into 112.5.
		{"quarter wave", Load{ResistanceOhm: 50, Offset: Offset{DelayS: 1 / (4 * f), ImpedanceOhm: 75}}, complex(62.5/162.5, 0)},
	} {
		if got := c.d.Reflection(f, 50); cmplx.Abs(got-c.want) > 1e-12 { // rounding
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	// The offset's loss is all series resistance, Re(Zc·γl) = loss·τ at 1 GHz,
	// so an electrically short line ended in a short reads that resistance;
	// 4 ps are 1.4°, which moves it by (0.025)² = 6e-4.
	lossy := Short{Offset: Offset{DelayS: 4e-12, ImpedanceOhm: 50, LossOhmPerS: 0.2e9}}
	g := lossy.Reflection(1e9, 50)
	if r := real(50 * (1 + g) / (1 - g)); math.Abs(r/(0.2e9*4e-12)-1) > 1e-3 {
		t.Errorf("short with loss reads %.6f ohm, want 0.0008", r)
	}
}

const scikitRF = `
import json, sys
import numpy as np, skrf
case = json.load(sys.stdin)
z = lambda a: np.array(a)[:, 0] + 1j*np.array(a)[:, 1]
f = skrf.Frequency.from_f(case["f"], unit="hz")
net = lambda a: skrf.Network(frequency=f, s=z(a), z0=50)
cal = skrf.calibration.OnePort(ideals=[net(a) for a in case["known"]], measured=[net(a) for a in case["raw"]])
cal.run()
ri = lambda v: [[float(x.real), float(x.imag)] for x in np.ravel(v)]
c = cal.coefs
json.dump({"e00": ri(c["directivity"]), "e11": ri(c["source match"]), "e10e01": ri(c["reflection tracking"]),
           "corrected": ri(cal.apply_cal(net(case["device"])).s)}, sys.stdout)
`

// TestAgainstScikitRF holds terms and correction to scikit-rf's
// calibration.OnePort on noisy readings of an instrument with errors.
func TestAgainstScikitRF(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-W", "ignore", "-c", "import skrf").CombinedOutput(); err != nil {
		t.Skipf("SKIPPED, NOT CHECKED AGAINST SCIKIT-RF: %s cannot import skrf (%v): install python3 and scikit-rf\n%s", python, err, out)
	}
	pairs := func(z []complex128) [][2]float64 {
		p := make([][2]float64, len(z))
		for k := range z {
			p[k] = [2]float64{real(z[k]), imag(z[k])}
		}
		return p
	}
	kit, f := fieldKit(), grid(5e6, 4e9, 201)
	in := newInstrument(11)
	standards := in.standards(kit, f)
	device := in.read("line.s1p", f, feeder(80e-9))
	terms, _, err := Solve(kit, standards)
	if err != nil {
		t.Fatal(err)
	}
	corrected, err := terms.Correct(device)
	if err != nil {
		t.Fatal(err)
	}
	var known [3][][2]float64
	for i, d := range [3]Definition{kit.Open, kit.Short, kit.Load} {
		for _, at := range f {
			g := d.Reflection(at, 50)
			known[i] = append(known[i], [2]float64{real(g), imag(g)})
		}
	}
	input, err := json.Marshal(map[string]any{
		"f": f, "known": known, "device": pairs(device.Gamma),
		"raw": [][][2]float64{pairs(standards.Open.Gamma), pairs(standards.Short.Gamma), pairs(standards.Load.Gamma)},
	})
	if err != nil {
		t.Fatal(err)
	}
	command := exec.Command(python, "-W", "ignore", "-c", scikitRF)
	command.Stdin = bytes.NewReader(input)
	var stdout, stderr bytes.Buffer
	command.Stdout, command.Stderr = &stdout, &stderr
	if err := command.Run(); err != nil {
		t.Fatalf("scikit-rf: %v\n%s", err, stderr.Bytes())
	}
	text := stdout.Bytes()
	var want map[string][][2]float64
	if err := json.Unmarshal(text[max(0, bytes.IndexByte(text, '{')):], &want); err != nil {
		t.Fatalf("%v in %.200s", err, text)
	}
	for name, got := range map[string][]complex128{
		"e00": terms.Directivity, "e11": terms.SourceMatch, "e10e01": terms.Tracking, "corrected": corrected.Gamma,
	} {
		if len(want[name]) != len(got) {
			t.Fatalf("%s: scikit-rf gave %d values for %d", name, len(want[name]), len(got))
		}
		var worst float64
		for k, w := range want[name] {
			worst = max(worst, cmplx.Abs(got[k]-complex(w[0], w[1])))
		}
		t.Logf("%s: largest difference %.1e", name, worst)
		if worst > 1e-9 {
			t.Errorf("%s differs from scikit-rf by %.1e, want 1e-9", name, worst)
		}
	}
}

func TestSolveBadInput(t *testing.T) {
	kit, f := fieldKit(), grid(1e8, 1e9, 51)
	for name, c := range map[string]struct {
		spoil func(*Standards)
		want  string
	}{
		"missing": {func(s *Standards) { s.Short = nil }, "calibrating: no sweep of the short; measure open, short and load"},
		"empty": {func(s *Standards) { s.Load = &sweep.Sweep{Name: "load.s1p"} },
			"calibrating: the load (load.s1p) has 0 frequencies and 0 readings; measure it again"},
		"not a number": {func(s *Standards) { s.Open.Gamma[2] = cmplx.NaN() },
			"calibrating: the open (open.s1p) has no usable reading at point 3 (136 MHz); measure it again"},
		"corrected": {func(s *Standards) { s.Open.Correction = sweep.Corrected },
			"calibrating: the open (open.s1p) is already corrected; give its raw sweep"},
		"reference": {func(s *Standards) { s.Load.ReferenceOhm = 75 },
			"calibration refused: the open is in 50 ohm, the load in 75 ohm; measure all standards with one reference impedance"},
	} {
		standards := newInstrument(1).standards(kit, f)
		c.spoil(&standards)
		terms, _, err := Solve(kit, standards)
		if terms != nil || fmt.Sprint(err) != c.want {
			t.Errorf("%s: %v\nwant %s", name, err, c.want)
		}
	}
}
