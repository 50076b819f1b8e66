package simulate

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"downlead/cables"
)

// loudSkip skips for a missing tool, so that nobody takes it for a pass.
func loudSkip(t *testing.T, tool string, err error) {
	t.Helper()
	fmt.Fprintf(os.Stderr, "\n*** %s SKIPPED: %s is missing (%v): nothing outside the project checked this ***\n\n", t.Name(), tool, err)
	t.Skipf("%s is missing: %v", tool, err)
}

// Each lumped fault on a lossless line against an AC analysis by ngspice, a
// general-purpose circuit simulator: within 1e-6.
func TestLumpedFaultsAgainstNgspice(t *testing.T) {
	ngspice, err := exec.LookPath("ngspice")
	if err != nil {
		loudSkip(t, "ngspice", err)
	}
	const loadOhm = 35.0
	load := func(float64) complex128 { return (loadOhm - 50) / (loadOhm + 50) }
	delay := func(lengthM, velocityFactor float64) string {
		return fmt.Sprintf("%.17g", lengthM/(velocityFactor*cables.SpeedOfLight))
	}
	for _, c := range []struct {
		name    string
		fault   Fault
		circuit string // from node 2 to node 3
	}{
		{"poor contact", Fault{Cause: poorContact, At: "lower / upper", SeriesOhm: 22, GapFarad: 6e-12}, "Rf 2 f 22\nCf f 3 6e-12"},
		{"poor contact without a gap", Fault{Cause: poorContact, At: "lower / upper", SeriesOhm: 3}, "Rf 2 3 3"},
		{"series inductance", Fault{Cause: connectorMismatch, At: "lower / upper", SeriesHenry: 2.4e-9}, "Lf 2 3 2.4e-9"},
		{"shunt capacitance", Fault{Cause: connectorMismatch, At: "lower / upper", ShuntFarad: 1.7e-12}, "Vf 2 3 0\nCf 3 0 1.7e-12"},
		{"water", Fault{Cause: waterInConnector, At: "lower / upper", SeriesOhm: 0.6, ShuntSiemens: 8e-3, ShuntFarad: 2.1e-12, LossTangent: 1e-13},
			"Rs 2 3 0.6\nRf 3 0 125\nCf 3 0 2.1e-12"},
		{"open", Fault{Cause: openCircuit, At: "lower / upper", ShuntFarad: 0.09e-12, ShuntSiemens: 1e-3}, "Rf 2 0 1000\nCf 2 0 0.09e-12\nRb 3 0 50"},
		{"open with a gap", Fault{Cause: openCircuit, At: "lower / upper", ShuntFarad: 0.09e-12, GapFarad: 0.2e-12}, "Cf 2 0 0.09e-12\nCg 2 3 0.2e-12\nRb 3 0 1e12"},
		{"short", Fault{Cause: shortCircuit, At: "lower / upper", SeriesOhm: 0.8, SeriesHenry: 0.25e-9}, "Rf 2 f 0.8\nLf f 0 0.25e-9\nRb 3 0 50"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := plain(c.fault)
			frequency, got := swept(t, s, load)
			netlist := fmt.Sprintf(`one fault on a lossless line
V1 in 0 dc 0 ac 1
Rg in 1 50
T1 1 0 2 0 Z0=50 TD=%s
%s
T2 3 0 4 0 Z0=50 TD=%s
Rl 4 0 %g
.control
set numdgt=15
ac lin %d %.17g %.17g
wrdata out.txt v(1)
quit 0
.endc
.end
`, delay(3.7, 0.8), c.circuit, delay(2.3, 0.66), loadOhm, len(frequency), frequency[0], frequency[len(frequency)-1])
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "case.cir"), []byte(netlist), 0o600); err != nil {
				t.Fatal(err)
			}
			run := exec.Command(ngspice, "-b", "case.cir")
			run.Dir = dir
			if text, err := run.CombinedOutput(); err != nil {
				t.Fatalf("ngspice: %v\n%s", err, text)
			}
			data, err := os.ReadFile(filepath.Join(dir, "out.txt"))
			if err != nil {
				t.Fatal(err)
			}
			rows, worst := strings.Split(strings.TrimSpace(string(data)), "\n"), 0.0
			if len(rows) != len(frequency) {
				t.Fatalf("ngspice gave %d points, want %d", len(rows), len(frequency))
			}
			for k, row := range rows {
				var f, re, im float64
				if _, err := fmt.Sscan(row, &f, &re, &im); err != nil {
					t.Fatalf("%q: %v", row, err)
				}
				worst = max(worst, cmplx.Abs(got[k]-(2*complex(re, im)-1))) // Γ = 2·V1 - 1 behind 50 ohm and 1 V
			}
			t.Logf("largest difference %.2g", worst)
			if worst > 1e-6 {
				t.Errorf("largest difference from ngspice %g, want at most 1e-6", worst)
			}
		})
	}
}

// python runs a script with scikit-rf and decodes its JSON. The scripts write
// the cable law and the wet law out again, from the formulas in doc.go.
func python(t *testing.T, script string, into any) {
	t.Helper()
	interpreter := ""
	for _, candidate := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(candidate, "-c", "import importlib.util, sys; sys.exit(importlib.util.find_spec('skrf') is None)").Run() == nil {
			interpreter = candidate
			break
		}
	}
	if interpreter == "" {
		loudSkip(t, "scikit-rf", exec.ErrNotFound)
	}
	var complaints bytes.Buffer
	run := exec.Command(interpreter, "-W", "ignore", "-")
	run.Stdin, run.Stderr = strings.NewReader(script), &complaints
	out, err := run.Output()
	if err != nil {
		t.Fatalf("python: %v\n%s", err, complaints.String())
	}
	if at := bytes.IndexByte(out, '{'); at >= 0 {
		out = out[at:]
	}
	if err := json.Unmarshal(out, into); err != nil {
		t.Fatalf("python: %v\n%s", err, out)
	}
}

const pythonHead = `
import json, numpy as np
np.complex = complex # older scikit-rf with newer numpy
import skrf
c0 = 299792458.0
f = np.linspace(50e6, 2.05e9, 101)
w = 2*np.pi*f
band = skrf.Frequency.from_f(f, unit='Hz')
def per_metre(z0, vf, a, b):
    r = 2*z0*a*np.sqrt(f)
    return r*(1+1j) + 1j*w*z0/(c0*vf), 2*b*f/z0 + 1j*w/(z0*c0*vf)
def line(z, y, d):
    # a network between 50-ohm ports: scikit-rf's own line of given gamma and Zc
    g, zc = np.sqrt(z*y), np.sqrt(z/y)
    m = skrf.media.DefinedGammaZ0(band, gamma=g, z0=zc) if 'z0' in skrf.media.DefinedGammaZ0.__init__.__code__.co_varnames else skrf.media.DefinedGammaZ0(band, gamma=g, Z0=zc)
    n = m.line(d, 'm')
    n.renormalize(50, s_def='traveling')
    return n
def put(n):
    s = n.s[:,0,0]
    print(json.dumps({'re': s.real.tolist(), 'im': s.imag.tolist()}))
def load(gamma):
    n = skrf.Network(frequency=band, s=np.full((len(f),1,1), gamma, complex), z0=50)
    return n
`

type points struct{ Re, Im []float64 }

func (p points) largest(t *testing.T, got []complex128) float64 {
	t.Helper()
	if len(p.Re) != len(got) {
		t.Fatalf("scikit-rf gave %d points, want %d", len(p.Re), len(got))
	}
	worst := 0.0
	for k := range got {
		worst = max(worst, cmplx.Abs(got[k]-complex(p.Re[k], p.Im[k])))
	}
	t.Logf("largest difference %.2g", worst)
	return worst
}

// A 75-ohm stretch and a lossy section on a lossy line against scikit-rf's
// cascade.
func TestStretchesAgainstScikitRF(t *testing.T) {
	s := plain(Fault{Cause: wrongImpedance, DistanceM: 0.9, ExtentM: 1.3, Cable: "c"}, Fault{Cause: lossySection, At: "upper", LossFactor: 2.2})
	table := []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 6.2}, {FrequencyHz: 1e9, DBPerHundredM: 24}}
	s.Line.Cables[0].Attenuation, s.Line.Cables[1].Attenuation = table, table
	s.Line.Cables = append(s.Line.Cables, cables.Type{ID: "c", ImpedanceOhm: 75, VelocityFactor: 0.83, Attenuation: table})
	_, got := swept(t, s, func(float64) complex128 { return 0.8 })
	a, b, err := cables.FitAttenuation(table)
	if err != nil {
		t.Fatal(err)
	}
	var want points
	python(t, pythonHead+fmt.Sprintf(`
a, b = %.17g, %.17g
one = per_metre(50, 0.8, a, b)
put(line(*one, 0.9) ** line(*per_metre(75, 0.83, a, b), 1.3) ** line(*one, 1.5) ** line(*per_metre(50, 0.66, 2.2*a, 2.2*b), 2.3) ** load(0.8))
`, a, b), &want)
	if worst := want.largest(t, got); worst > 1e-9 {
		t.Errorf("largest difference from scikit-rf %g, want at most 1e-9", worst)
	}
}

// A wet stretch with raised-cosine edges against scikit-rf with slices of 2 mm
// of its own: only the slicing may differ.
func TestWetCableAgainstScikitRF(t *testing.T) {
	s := plain(Fault{Cause: waterInCable, DistanceM: 1.2, ExtentM: 1.0, ImpedanceDrop: 0.2, TaperM: 0.3, LossTangent: 0.03})
	_, got := swept(t, s, func(float64) complex128 { return 0.8 })
	var want points
	python(t, pythonHead+`
z, y = per_metre(50, 0.8, 0, 0)
n = line(z, y, 1.2)
def wet(p, d):
    phi = np.arctan(0.03*p)
    return line(z, 1j*w/(50*c0*0.8)/(1 - 0.2*p)**2*(1j*f/1e9)**(-2*phi/np.pi), d)
edge = [0.5*(1 - np.cos(np.pi*(k + 0.5)/150)) for k in range(150)]
for p in edge:
    n = n ** wet(p, 2e-3)
n = n ** wet(1.0, 0.4)
for p in reversed(edge):
    n = n ** wet(p, 2e-3)
put(n ** line(z, y, 1.5) ** line(*per_metre(50, 0.66, 0, 0), 2.3) ** load(0.8))
`, &want)
	// Midpoint slices of 7 mm (a twentieth of the wavelength at the top) against
	// 2 mm: their error falls with the square of the slice.
	if worst := want.largest(t, got); worst > 1e-4 {
		t.Errorf("largest difference from scikit-rf %g, want at most 1e-4", worst)
	}
}
