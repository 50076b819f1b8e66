package simulate

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downlead/cables"
)

const smallScenario = `seed = 3

[line]
name = "a line"
[[line.cable]]
id = "a"
name = "cable"
impedance_ohm = 50.0
velocity_factor = 0.8
velocity_factor_tolerance = 0.01
attenuation_db_per_100m = [[100e6, 3.0], [1000e6, 11.0]]
[[line.section]]
name = "lower"
cable = "a"
length_m = 4.0
[[line.section]]
name = "upper"
cable = "a"
length_m = 3.0
[line.load]
kind = "termination"

[sweep]
low_hz = 10e6
high_hz = 1e9
points = 101

[[fault]]
cause = "poor-contact"
at = "lower / upper"

[[fault]]
cause = "dent-or-kink"
distance_m = 1.5
extent_m = 0.05
`

// lineOf returns the number of the first line that begins with text.
func lineOf(t *testing.T, whole, text string) int {
	t.Helper()
	for i, line := range strings.Split(whole, "\n") {
		if strings.HasPrefix(line, text) {
			return i + 1
		}
	}
	t.Fatalf("no line begins with %q", text)
	return 0
}

func TestDecodeScenario(t *testing.T) {
	s, err := DecodeScenario("s.toml", strings.NewReader(smallScenario))
	if err != nil {
		t.Fatal(err)
	}
	if s.Name != "a line" || s.Seed != 3 || len(s.Line.Sections) != 2 || len(s.Faults) != 2 || s.Faults[1].ExtentM != 0.05 || s.Sweep.Segments[0].Points != 101 {
		t.Errorf("read %+v", s)
	}
}

// Every complaint names the line that has to be mended.
func TestDecodeScenarioErrors(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		place          string // what the complaint's line begins with
		text           string
	}{
		{"unknown cause", `cause = "poor-contact"`, `cause = "gremlins"`, `cause = "gremlins"`, `"gremlins" is unknown; use one of antenna, connector-mismatch`},
		{"setting of another cause", `extent_m = 0.05`, `shunt_farad = 1e-12`, `shunt_farad`, `does not belong to dent-or-kink, which takes extent_m, impedance_ohm`},
		{"unknown joint", `at = "lower / upper"`, `at = "the moon"`, `[[fault]]`, `no joint is called "the moon"; the joints are ["test port" "lower / upper" "load"]`},
		{"beyond the line", `distance_m = 1.5`, `distance_m = 15`, ``, `distance_m 15 is not on the line (0 to 7.000 m)`},
		{"stretch over a joint", `extent_m = 0.05`, `extent_m = 3.0`, ``, `reaches beyond the end of section "lower" (4.000 m); shorten it`},
		{"unknown key", `seed = 3`, `sede = 3`, `sede`, `sede is not a setting of a scenario; remove it or mend its spelling`},
		{"unknown key in the second fault", `extent_m = 0.05`, `extend_m = 0.05`, `extend_m`, `fault.extend_m is not a setting of a scenario`},
		{"upside-down sweep", `high_hz = 1e9`, `high_hz = 1e6`, `high_hz`, `must be above low_hz`},
		{"too few points", `points = 101`, `points = 1`, `points`, `1 is outside 2 to 200001`},
		{"not a number", `low_hz = 10e6`, `low_hz = nan`, `low_hz`, `NaN Hz is not positive`},
		{"text for a number", `low_hz = 10e6`, `low_hz = "ten"`, `low_hz`, `mend the TOML`},
		{"syntax", `seed = 3`, `seed = = 3`, `seed`, `mend the TOML`},
		{"wrong line", `length_m = 3.0`, `length_m = -3.0`, `length_m = -3.0`, `a length of -3 m is not positive`},
		{"no load fault without antenna", `cause = "poor-contact"`, `cause = "antenna"`, `cause = "antenna"`, `the line ends in a termination, not an antenna`},
		{"line by path", "[line]\nname = \"a line\"", "line = \"site.toml\"", `line = `, `leave one out`},
	} {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(smallScenario, c.old) {
				t.Fatalf("the scenario has no %q", c.old)
			}
			text := strings.Replace(smallScenario, c.old, c.new, 1)
			_, err := DecodeScenario("s.toml", strings.NewReader(text))
			var place *cables.FileError
			if !errors.As(err, &place) {
				t.Fatalf("error %v is no *cables.FileError", err)
			}
			if !strings.Contains(err.Error(), c.text) || !strings.HasPrefix(err.Error(), "s.toml:") {
				t.Errorf("error %q, want it to say %q", err, c.text)
			}
			if c.place != "" && place.Line != lineOf(t, text, c.place) {
				t.Errorf("line %d, want %d: %v", place.Line, lineOf(t, text, c.place), err)
			}
		})
	}
}

func TestReadScenarioWithLineFile(t *testing.T) {
	dir := t.TempDir()
	whole, err := DecodeScenario("s.toml", strings.NewReader(smallScenario))
	if err != nil {
		t.Fatal(err)
	}
	if err := cables.WriteLine(filepath.Join(dir, "site.toml"), whole.Line); err != nil {
		t.Fatal(err)
	}
	text := "line = \"site.toml\"\n" + smallScenario[strings.Index(smallScenario, "[sweep]"):]
	path := filepath.Join(dir, "s.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := ReadScenario(path)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Line.Sections) != 2 || s.Line.Sections[1].LengthM != 3 {
		t.Errorf("line %+v", s.Line)
	}
	if _, err := ReadScenario(filepath.Join(dir, "none.toml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v, want os.ErrNotExist", err)
	}
	if _, err := DecodeScenario("s.toml", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), "put the line's tables here") {
		t.Errorf("error %v", err)
	}
}

func TestGrid(t *testing.T) {
	got := Grid{[]Segment{{LowHz: 1e6, HighHz: 1e8, Points: 3, Logarithmic: true}, {LowHz: 1e8, HighHz: 3e8, Points: 3}}}.FrequencyHz()
	want := []float64{1e6, 1e7, 1e8, 2e8, 3e8}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for k := range want {
		if math.Abs(got[k]/want[k]-1) > 1e-12 {
			t.Errorf("%v, want %v", got, want)
		}
	}
}

// Whatever the bytes, an answer or an error that names the file; and what
// was accepted can be put together.
func FuzzScenario(f *testing.F) {
	f.Add(smallScenario)
	f.Add(demoText)
	f.Add("line = \"x\"\n[sweep]\n[[sweep.segment]]\nlow_hz=1\nhigh_hz=2\npoints=2\n")
	f.Add("[[fault]]\n[line]\n[as_built]\njoint_return_loss_db=[1,2]")
	f.Add(strings.Replace(smallScenario, "poor-contact", "water-in-connector", 1))
	f.Add(strings.Replace(smallScenario, "dent-or-kink", "water-in-cable", 1))
	f.Fuzz(func(t *testing.T, text string) {
		s, err := DecodeScenario("fuzz.toml", strings.NewReader(text))
		if err != nil {
			if !strings.Contains(err.Error(), "fuzz.toml") {
				t.Fatalf("the error does not name the file: %v", err)
			}
			return
		}
		b, err := newBuilder(s)
		if err != nil {
			t.Fatalf("accepted, then: %v", err)
		}
		all := make([]bool, len(s.Faults))
		for i := range all {
			all[i] = true
		}
		b.build(s.draw(b.path), b.load(b.antennaFault(all)).gamma, all)
	})
}
