package cables

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Checks against programs that share nothing with this one: scikit-rf (its
// DistributedCircuit media and network algebra), scipy and ngspice.

// outsideElement is an element that outside programs know too. Kind is "line"
// or one of series-, shunt- with resistor, inductor, capacitor.
type outsideElement struct {
	Kind    string
	Value   float64 // ohm, henry or farad
	Stretch Stretch // of a line
}

func (e outsideElement) element() Element {
	if e.Kind == "line" {
		return e.Stretch
	}
	place, part, _ := strings.Cut(e.Kind, "-")
	impedance := func(f float64) complex128 {
		switch omega := 2 * math.Pi * f; part {
		case "resistor":
			return complex(e.Value, 0)
		case "inductor":
			return complex(0, omega*e.Value)
		default:
			return complex(0, -1/(omega*e.Value))
		}
	}
	if place == "series" {
		return Series(impedance)
	}
	return Shunt(func(f float64) complex128 { return 1 / impedance(f) })
}

// outsideCase is a feeder with a load that is a plain resistor.
type outsideCase struct {
	Name        string
	FrequencyHz []float64
	Elements    []outsideElement
	LoadOhm     float64
}

func (c outsideCase) reflection() []complex128 {
	var cascade Cascade
	for _, e := range c.Elements {
		cascade = append(cascade, e.element())
	}
	return cascade.Reflection(c.FrequencyHz, constant(complex(c.LoadOhm, 0), 50), 50)
}

// compare asserts that the outside answer agrees at every frequency.
func (c outsideCase) compare(t *testing.T, outside []complex128, tolerance float64) {
	t.Helper()
	got := c.reflection()
	if len(outside) != len(got) {
		t.Fatalf("%s: %d answers for %d frequencies", c.Name, len(outside), len(got))
	}
	worst := 0.0
	for k := range got {
		worst = max(worst, cmplx.Abs(got[k]-outside[k]))
	}
	t.Logf("%s: largest difference %.2g", c.Name, worst)
	if !(worst <= tolerance) {
		t.Errorf("%s: differs by %.3g, tolerance %g", c.Name, worst, tolerance)
	}
}

func outsideCases() []outsideCase {
	grid := func(n int, from, to float64) []float64 {
		f := make([]float64, n)
		for k := range f {
			f[k] = from + (to-from)*float64(k)/float64(n-1)
		}
		return f
	}
	line := func(m Medium, lengthM float64) outsideElement {
		return outsideElement{Kind: "line", Stretch: Stretch{m, lengthM}}
	}
	jumper := Medium{ImpedanceOhm: 50, VelocityFactor: 0.82, ConductorNp: 3.7e-7, DielectricNp: 1.2e-12}
	foreign := Medium{ImpedanceOhm: 75, VelocityFactor: 0.66, ConductorNp: 1.3e-6, DielectricNp: 5e-12}
	ideal := func(impedance, velocity float64) Medium {
		return Medium{ImpedanceOhm: impedance, VelocityFactor: velocity}
	}
	conductor := func(m Medium) Medium { m.DielectricNp = 0; return m }
	return []outsideCase{
		{Name: "lossless with lumped parts", FrequencyHz: grid(13, 10e6, 2.7e9), LoadOhm: 60, Elements: []outsideElement{
			line(ideal(50, 0.8), 2.5), {Kind: "series-inductor", Value: 2e-9}, line(ideal(75, 0.66), 3.1),
			{Kind: "shunt-capacitor", Value: 0.7e-12}, {Kind: "series-resistor", Value: 4}, line(ideal(50, 1), 0.1),
			{Kind: "series-capacitor", Value: 15e-12}, {Kind: "shunt-resistor", Value: 900}, {Kind: "shunt-inductor", Value: 40e-9}, line(ideal(48, 0.89), 30),
		}},
		{Name: "conductor loss", FrequencyHz: grid(11, 10e6, 4e9), LoadOhm: 1e9, Elements: []outsideElement{
			line(conductor(jumper), 2.5), {Kind: "series-inductor", Value: 0.4e-9}, line(conductor(typical), 21.7),
			{Kind: "shunt-capacitor", Value: 0.3e-12}, line(conductor(foreign), 1.3),
		}},
		{Name: "conductor and dielectric loss", FrequencyHz: grid(201, 10e6, 4e9), LoadOhm: 1e-6, Elements: []outsideElement{
			line(jumper, 2.5), {Kind: "series-inductor", Value: 0.4e-9}, {Kind: "series-resistor", Value: 1.5}, line(typical, 21.7),
			{Kind: "shunt-capacitor", Value: 0.3e-12}, line(foreign, 1.3), {Kind: "shunt-resistor", Value: 400}, line(jumper, 1.75),
		}},
	}
}

// outsidePython runs the script in testdata with the first Python that has
// what it imports, and decodes its last line into answers.
func outsidePython(t *testing.T, module string, tasks, answers any) {
	t.Helper()
	python := ""
	for _, candidate := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(candidate, "-c", "import "+module).Run() == nil {
			python = candidate
			break
		}
	}
	if python == "" {
		t.Skipf("NOT CHECKED against %s: no python3 here can import it; install python3-%s", module, map[string]string{"skrf": "scikit-rf", "scipy": "scipy"}[module])
	}
	input, err := json.Marshal(tasks)
	if err != nil {
		t.Fatal(err)
	}
	command := exec.Command(python, filepath.Join("testdata", "outside.py"))
	command.Stdin = bytes.NewReader(input)
	var notes bytes.Buffer
	command.Stderr = &notes
	output, err := command.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", module, err, notes.Bytes())
	}
	lines := strings.Split(strings.TrimSpace(string(output)), "\n")
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), answers); err != nil {
		t.Fatalf("%s: %v in %q", module, err, lines[len(lines)-1])
	}
}

func TestCascadeAgainstScikitRF(t *testing.T) {
	var tasks []map[string]any
	for _, c := range outsideCases() {
		var elements []map[string]any
		for _, e := range c.Elements {
			row := map[string]any{"kind": e.Kind, "value": e.Value, "length_m": e.Stretch.LengthM}
			if e.Kind == "line" {
				var zr, zi, yr, yi []float64
				for _, f := range c.FrequencyHz {
					z, y := e.Stretch.perMetre(f)
					zr, zi, yr, yi = append(zr, real(z)), append(zi, imag(z)), append(yr, real(y)), append(yi, imag(y))
				}
				row["series_real"], row["series_imag"], row["shunt_real"], row["shunt_imag"] = zr, zi, yr, yi
			}
			elements = append(elements, row)
		}
		tasks = append(tasks, map[string]any{"task": "cascade", "frequency_hz": c.FrequencyHz, "elements": elements, "load_ohm": c.LoadOhm})
	}
	var answers [][][2]float64
	outsidePython(t, "skrf", tasks, &answers)
	for i, c := range outsideCases() {
		outside := make([]complex128, len(answers[i]))
		for k, v := range answers[i] {
			outside[k] = complex(v[0], v[1])
		}
		c.compare(t, outside, 1e-9)
	}
}

var spiceAnswer = regexp.MustCompile(`(?m)^v\(p(\d+)\) = ([-+.\deE]+),\s*([-+.\deE]+)`)

// ngspice knows no conductors whose resistance grows with frequency, so the
// netlist holds the circuit once for each frequency, with the resistance and
// inductance that a lossy line (LTRA) has there. LTRA has no conductance, so
// dielectric loss is left to scikit-rf.
func TestCascadeAgainstSpice(t *testing.T) {
	spice, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("NOT CHECKED against ngspice: it is not installed; install the package ngspice")
	}
	ran := 0
	for _, c := range outsideCases() {
		if netlist, ok := c.netlist(); ok {
			file := filepath.Join(t.TempDir(), "case.cir")
			if err := os.WriteFile(file, []byte(netlist), 0o600); err != nil {
				t.Fatal(err)
			}
			output, err := exec.Command(spice, "-b", file).CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, output)
			}
			outside := make([]complex128, len(c.FrequencyHz))
			found := spiceAnswer.FindAllStringSubmatch(string(output), -1)
			if len(found) != len(outside) {
				t.Fatalf("%s: %d answers for %d frequencies in\n%s", c.Name, len(found), len(outside), output)
			}
			for _, m := range found {
				k, _ := strconv.Atoi(m[1])
				re, errRe := strconv.ParseFloat(m[2], 64)
				im, errIm := strconv.ParseFloat(m[3], 64)
				if errRe != nil || errIm != nil {
					t.Fatalf("%s: %q", c.Name, m[0])
				}
				outside[k] = 2*complex(re, im) - 1 // a source of 1 V behind 50 ohm
			}
			c.compare(t, outside, 1e-6)
			ran++
		}
	}
	if ran != 2 {
		t.Errorf("%d cases ran, want 2", ran)
	}
}

// netlist returns the case for ngspice, and false when a line in it has
// dielectric loss.
func (c outsideCase) netlist() (string, bool) {
	var circuit, control strings.Builder
	for k, f := range c.FrequencyHz {
		fmt.Fprintf(&circuit, "V%d s%d 0 AC 1\nRs%d s%d p%d 50\n", k, k, k, k, k)
		node := fmt.Sprint("p", k)
		for i, e := range c.Elements {
			name, next := fmt.Sprintf("%d_%d", k, i), fmt.Sprintf("n%d_%d", k, i)
			place, part, _ := strings.Cut(e.Kind, "-")
			switch m := e.Stretch.Medium; {
			case place != "line":
				letter := map[string]string{"resistor": "R", "inductor": "L", "capacitor": "C"}[part]
				if place == "shunt" {
					next = "0"
				}
				fmt.Fprintf(&circuit, "%s%s %s %s %.17g\n", letter, name, node, next, e.Value)
				if place == "shunt" {
					next = node
				}
			case m.DielectricNp != 0:
				return "", false
			case m.ConductorNp == 0:
				fmt.Fprintf(&circuit, "T%s %s 0 %s 0 Z0=%.17g TD=%.17g\n", name, node, next, m.ImpedanceOhm, e.Stretch.LengthM/(SpeedOfLight*m.VelocityFactor))
			default:
				z, y := m.perMetre(f)
				omega := 2 * math.Pi * f
				fmt.Fprintf(&circuit, "O%s %s 0 %s 0 M%s\n.model M%s LTRA(R=%.17g L=%.17g C=%.17g LEN=%.17g REL=1 ABS=1)\n",
					name, node, next, name, name, real(z), imag(z)/omega, imag(y)/omega, e.Stretch.LengthM)
			}
			node = next
		}
		fmt.Fprintf(&circuit, "Rl%d %s 0 %.17g\n", k, node, c.LoadOhm)
		fmt.Fprintf(&control, "ac lin 1 %.17g %.17g\nprint v(p%d)\n", f, f, k)
	}
	return fmt.Sprintf("* %s\n%s.control\nset numdgt=15\n%squit\n.endc\n.end\n", c.Name, circuit.String(), control.String()), true
}

// The two-term fit is a small non-negative least-squares problem, so scipy's
// general solver must find the same minimum; 1e-9 is far above its rounding.
func TestFitAgainstScipy(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	var tables [][]AttenuationPoint
	var tasks []map[string]any
	for n := range 40 {
		var points []AttenuationPoint
		var columns [2][]float64
		for range 2 + n%8 {
			f := math.Pow(10, 7+3*random.Float64())
			p := AttenuationPoint{f, math.Pow(f/1e9, 0.3+0.9*random.Float64()) * 20}
			alpha := p.DBPerHundredM / 100 * math.Ln10 / 20
			points = append(points, p)
			columns[0] = append(columns[0], math.Sqrt(f)/alpha)
			columns[1] = append(columns[1], f/alpha)
		}
		tables = append(tables, points)
		tasks = append(tasks, map[string]any{"task": "fit", "columns": columns})
	}
	var answers [][2]float64
	outsidePython(t, "scipy", tasks, &answers)
	bounded := 0
	for i, points := range tables {
		a, b, err := FitAttenuation(points)
		if err != nil {
			t.Fatal(err)
		}
		if a == 0 || b == 0 {
			bounded++
		}
		if want := answers[i]; math.Abs(a-want[0]) > 1e-9*math.Abs(a) || math.Abs(b-want[1]) > 1e-9*math.Abs(b) {
			t.Errorf("%d points: %g, %g; scipy %g, %g", len(points), a, b, want[0], want[1])
		}
	}
	if bounded == 0 || bounded == len(tables) {
		t.Errorf("%d of %d tables meet a bound; both kinds are to be tried", bounded, len(tables))
	}
}
