package calibration

import (
	"errors"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const goodKit = `# ours
name = "bench kit"
temperature_c = 23.0
[open]
c0 = 40e-15
c1 = 2e-26
delay_ps = 31
z0 = 50.5
loss = 1.3
[short]
l0 = 3e-12
delay_ps = 33.0
[load]
resistance = 50.1
inductance = 3e-12
`

func TestReadKit(t *testing.T) {
	path := filepath.Join(t.TempDir(), "kit.toml")
	// A byte order mark and CR/LF, as editors on Windows leave them.
	if err := os.WriteFile(path, []byte("\ufeff"+strings.ReplaceAll(goodKit, "\n", "\r\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	kit, err := ReadKit(path)
	if err != nil {
		t.Fatal(err)
	}
	want := Kit{
		Name: "bench kit", TemperatureC: 23, TemperatureKnown: true,
		Open:  Open{CapacitanceF: [4]float64{40e-15, 2e-26}, Offset: Offset{31 * 1e-12, 50.5, 1.3 * 1e9}},
		Short: Short{InductanceH: [4]float64{3e-12}, Offset: Offset{DelayS: 33 * 1e-12}},
		Load:  Load{ResistanceOhm: 50.1, InductanceH: 3e-12},
	}
	// The unit factors may round in the last place.
	for name, pair := range map[string][2]float64{
		"open delay": {kit.Open.Offset.DelayS, want.Open.Offset.DelayS}, "open loss": {kit.Open.Offset.LossOhmPerS, want.Open.Offset.LossOhmPerS},
		"short delay": {kit.Short.Offset.DelayS, want.Short.Offset.DelayS},
	} {
		if d := pair[0]/pair[1] - 1; d > 1e-15 || d < -1e-15 {
			t.Errorf("%s = %g, want %g", name, pair[0], pair[1])
		}
	}
	kit.Open.Offset.DelayS, kit.Open.Offset.LossOhmPerS, kit.Short.Offset.DelayS = want.Open.Offset.DelayS, want.Open.Offset.LossOhmPerS, want.Short.Offset.DelayS
	if *kit != want {
		t.Errorf("kit %+v\nwant %+v", *kit, want)
	}
	if _, err := ReadKit(filepath.Join(t.TempDir(), "none.toml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a missing file gives %v", err)
	}
}

func TestDecodeKitErrors(t *testing.T) {
	for _, c := range []struct{ name, from, to, want string }{
		{"misspelt", "delay_ps = 31", "delay = 31", `kit.toml:7: unknown key "open.delay"; the keys are`},
		{"unknown section", "[load]", "[thru]\n[load]", `kit.toml:13: unknown key "thru"; the keys are`},
		{"syntax", "loss = 1.3", "loss = 1,3", "kit.toml:9: "},
		{"text", "loss = 1.3", `loss = "low"`, "kit.toml:9: "},
		{"femtofarad", "c0 = 40e-15", "c0 = 40", "kit.toml:5: open.c0 = 40 is out of range; it is in F/Hz^0 (femtofarad are 1e-15), from -1e-09 to 1e-09"},
		{"ohm per second", "loss = 1.3", "loss = 1.3e9", "kit.toml:9: open.loss = 1.3e+09 is out of range; it is in Gohm/s at 1 GHz, from 0 to 1000"},
		{"zero impedance", "z0 = 50.5", "z0 = 0", "kit.toml:8: open.z0 = 0 is out of range"},
		{"not a number", "l0 = 3e-12", "l0 = nan", "kit.toml:11: short.l0 = NaN is out of range"},
		{"no short", "[short]\nl0 = 3e-12\ndelay_ps = 33.0\n", "", "kit.toml: no [short] section; add it, or calibrate without a kit to assume ideal standards"},
		{"no resistance", "resistance = 50.1\n", "", "kit.toml:13: load has no resistance; add resistance = 50.0 (ohm)"},
		{"large", "# ours", "# " + strings.Repeat("x", kitFileLimit), "kit.toml: larger than 1 MB"},
	} {
		text := strings.Replace(goodKit, c.from, c.to, 1)
		if text == goodKit {
			t.Fatalf("%s: nothing replaced", c.name)
		}
		kit, err := DecodeKit("kit.toml", strings.NewReader(text))
		var kitError *KitError
		if kit != nil || !errors.As(err, &kitError) || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%s: %v\nwant %s", c.name, err, c.want)
		}
	}
}

// FuzzKit: no text makes it panic, and a kit that is taken reflects finitely.
func FuzzKit(f *testing.F) {
	f.Add(goodKit)
	f.Add("[open]\n[short]\n[load]\nresistance = 50\n")
	f.Add("open = {c0 = 1e-15}\nshort.l0 = 1\n[load]\nresistance = 75.0\n")
	f.Add("\ufeff[open\r\n")
	f.Fuzz(func(t *testing.T, text string) {
		kit, err := DecodeKit("kit.toml", strings.NewReader(text))
		if err != nil {
			if kit != nil || err.Error() == "" {
				t.Errorf("kit %v with error %q", kit, err)
			}
			return
		}
		for _, d := range []Definition{kit.Open, kit.Short, kit.Load} {
			for _, at := range []float64{1e4, 1e9, 1e10} {
				g := d.Reflection(at, 50)
				if !finite(g) && !cmplx.IsInf(g) {
					t.Errorf("%#v reflects %v at %g Hz", d, g, at)
				}
			}
		}
	})
}
