package cables

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"downlead/cables/tables"
)

func mustEmbedded(t testing.TB) *Catalogue {
	t.Helper()
	c, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func read(t *testing.T, text string) *Catalogue {
	t.Helper()
	c, err := ReadCatalogue("cables.toml", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestEmbeddedCatalogue(t *testing.T) {
	c := mustEmbedded(t)
	for _, oddity := range c.Check() {
		t.Error(oddity)
	}
	all := c.Search()
	if len(all) < 40 {
		t.Errorf("%d types, want 40 or more", len(all))
	}
	for _, cable := range all {
		if cable.Name == "" || cable.Source == "" || cable.MaxFrequencyHz == 0 || len(cable.Attenuation) < 2 || cable.VelocityFactorTolerance == 0 {
			t.Errorf("%s: a name, source, upper frequency, tolerance or attenuation is missing", cable.ID)
		}
		// What no coaxial cable escapes: an air line of the same diameter with
		// copper conductors loses least. The outer conductor is at most as wide
		// as the cable, and the best impedance for its loss is 77 ohm, D/d =
		// 3.59 (Pozar, ch. 3, problem on minimum attenuation; from memory).
		if cable.DiameterMM == 0 {
			t.Errorf("%s: no diameter", cable.ID)
			continue
		}
		bound := Type{ImpedanceOhm: 76.7, InnerDiameterMM: cable.DiameterMM / 3.59, OuterDiameterMM: cable.DiameterMM}
		for _, p := range cable.Attenuation {
			least, _ := bound.SkinEffectNp(p.FrequencyHz)
			if alpha := p.DBPerHundredM / 100 * NeperPerDB; alpha < least {
				t.Errorf("%s at %g Hz loses %g Np/m, less than a copper air line as wide, %g", cable.ID, p.FrequencyHz, alpha, least)
			}
		}
	}
	for _, family := range []string{
		"rg 58", "rg 213", "rg 214", "rg 142", "rg 174", "rg 316", "rg 223", "rg 400", "rg 393", "rg 59", "rg 6", "rg 11", "rg 179", "rg 8x",
		"5mm foam", "6mm foam", "7mm foam", "10mm foam", "13mm foam", "15mm foam",
		"1/4 corrugated foam", "3/8 corrugated foam", "1/2 corrugated foam", "5/8 corrugated foam", "7/8 corrugated foam",
		"1-1/4 corrugated foam", "1-5/8 corrugated foam", "2-1/4 corrugated foam", "1/4 superflexible", "3/8 superflexible", "1/2 superflexible",
		"1/2 air", "4 air", "7/8 rigid", "1-5/8 rigid", "3-1/8 rigid",
		".047 semi-rigid", ".086 semi-rigid", ".141 semi-rigid", ".250 semi-rigid", "drop 75 ohm", "trunk 75 ohm",
	} {
		if len(c.Search(family)) == 0 {
			t.Errorf("nothing fits %q", family)
		}
	}
}

// The handbook's skin-effect loss of smooth solid conductors (D. M. Pozar,
// "Microwave Engineering", 4th ed., ch. 2.7) against the √f term of the law
// that the table gives. 15 %: drawn and plated conductors are rougher than the
// formula's, and the tables are rounded.
func TestAttenuationAgainstSkinEffect(t *testing.T) {
	held := map[string]bool{}
	for _, cable := range mustEmbedded(t).Search() {
		m, err := cable.Medium()
		if err != nil {
			t.Fatal(err)
		}
		alpha, ok := cable.SkinEffectNp(1)
		if !ok {
			continue
		}
		held[cable.ID] = true
		if ratio := m.ConductorNp / alpha; !(ratio > 0.85 && ratio < 1.15) {
			t.Errorf("%s: the table's conductor loss is %.3f times the formula's", cable.ID, ratio)
		} else {
			t.Logf("%-16s table / formula = %.3f", cable.ID, ratio)
		}
	}
	for _, id := range []string{"rigid-7-8", "rigid-1-5-8", "rigid-3-1-8", "semi-rigid-047", "semi-rigid-086", "semi-rigid-141"} {
		if !held[id] {
			t.Errorf("%s has no geometry to be held to", id)
		}
	}
}

// Copper at 1 GHz has 8.25 milliohm per square and a skin depth of 2.09 µm;
// Rs = 1/(σ·δ). Widely tabulated, from memory.
func TestSurfaceResistance(t *testing.T) {
	copper, _ := conductivity("copper")
	rs := SurfaceResistanceOhm(1e9, copper)
	if math.Abs(rs-8.25e-3) > 0.01e-3 || math.Abs(1/(copper*rs)-2.09e-6) > 0.005e-6 {
		t.Errorf("Rs %g ohm, skin depth %g m", rs, 1/(copper*rs))
	}
}

func TestCheck(t *testing.T) {
	c := read(t, `
[[cable]]
id = "a"
impedance_ohm = 51
velocity_factor = 1.2
attenuation_db_per_100m = [[100e6, 10.0], [200e6, 9.0], [1000e6, 30.0]]
max_frequency_hz = 500e6
colour = "black"

[[cable]]
id = "A"
impedance_ohm = 50
velocity_factor = 0.66

[[cable]]
id = "c"
impedance_ohm = 42.0
velocity_factor = 0.3
velocity_factor_tolerance = 2
attenuation_db_per_100m = [
  [100e6, 10.0],   # a comment
]
velocty = 1

[[cable]]
id = "d"
impedance_ohm = 50.0
velocity_factor = 0.9
velocity_factor_tolerance = 0.01
attenuation_db_per_100m = [[100e6, 3.0], [1000e6, 9.5]]
inner_diameter_mm = 3.0
outer_diameter_mm = 6.0
inner_conductor = "gold"

[other]
x = 1
`)
	want := `
cables.toml:2:1: cable "a": velocity_factor_tolerance is missing, 0.02 is assumed; distances are only as sure as it
cables.toml:5:1: cable "a": velocity factor 1.2 is above 1: give it as a fraction such as 0.88
cables.toml:6:1: cable "a": the loss falls from 10 dB at 100 MHz to 9 dB at 200 MHz; it rises with frequency in every cable
cables.toml:6:1: cable "a": the law a·√f + b·f misses the table by 26 % at 100 MHz (10 dB per 100 m); check that point
cables.toml:7:1: cable "a": the upper frequency 500 MHz lies below the last attenuation point at 1000 MHz
cables.toml:8:1: unknown key "colour"; known here are attenuation_db_per_100m, diameter_mm, id, impedance_ohm, inner_conductor, inner_diameter_mm, max_frequency_hz, name, outer_conductor, outer_diameter_mm, source, velocity_factor, velocity_factor_tolerance
cables.toml:10:1: cable "A": velocity_factor_tolerance is missing, 0.02 is assumed; distances are only as sure as it
cables.toml:10:1: cable "A": attenuation_db_per_100m is missing: the cable counts as lossless
cables.toml:11:1: cable "A" is defined before; the first one counts
cables.toml:17:1: cable "c": impedance 42 ohm is not that of a common cable (50, 52, 60, 70, 75, 93)
cables.toml:18:1: cable "c": velocity factor 0.3 is below 0.4, slower than any common cable
cables.toml:19:1: cable "c": velocity factor tolerance 2 is outside 0 to 0.5: give it as a fraction such as 0.01
cables.toml:23:1: unknown key "velocty"; did you mean "velocity_factor"?
cables.toml:27:1: cable "d": the geometry gives 37.4 ohm, the row says 50
cables.toml:33:1: cable "d": inner_conductor "gold" is not copper, silver or aluminium
cables.toml:35:1: unknown key "other"; known here are cable
`
	if got := "\n" + strings.Join(c.Check(), "\n") + "\n"; got != want {
		t.Errorf("got%swant%s", got, want)
	}
}

func TestReadCatalogueErrors(t *testing.T) {
	for text, want := range map[string]string{
		"[[cable]]\nid = 'a\n":                                               `cables.toml:2:8: strings cannot contain newlines; mend the TOML`,
		"[[cable]]\nname = 'a'\n":                                            `cables.toml:1:1: this cable has no id; give it a short one, such as id = "rg-58"`,
		"[[cable]]\nid = 58\n":                                               "cables.toml:2:1: id is not text; put it in quotes",
		"cable = 3":                                                          "cables.toml:1:1: cable is not a list of tables; write a heading [[cable]] with double brackets for each",
		"[cable]\nid = 'a'":                                                  "cables.toml:1:1: cable is not a list of tables; write a heading [[cable]] with double brackets for each",
		"[[cable]]\nid='a'\nimpedance_ohm=nan":                               "cables.toml:3:1: impedance_ohm is not a finite number; write it plainly, without quotes or unit",
		"[[cable]]\nid='a'\n  velocity_factor='66 %'":                        "cables.toml:3:3: velocity_factor is not a finite number; write it plainly, without quotes or unit",
		"[[cable]]\nid='a'\nattenuation_db_per_100m=[1e8, 3]":                "cables.toml:3:1: attenuation_db_per_100m, point 1: an attenuation point is not two numbers; write it as [hertz, dB per 100 m], such as [100e6, 2.2]",
		"[[cable]]\nid='a'\nattenuation_db_per_100m=[[1e8, 3], [1e8, 4]]":    "cables.toml:3:1: attenuation_db_per_100m, point 2: 1e+08 Hz does not come after 1e+08 Hz; sort the points by frequency, each once",
		"[[cable]]\nid='a'\nattenuation_db_per_100m=[[100, 3]]":              "cables.toml:3:1: attenuation_db_per_100m, point 1: 100 Hz is below 100 kHz; give hertz, such as 824e6 for 824 MHz",
		"[[cable]]\nid='a'\nattenuation_db_per_100m=[[1e8, -3]]":             "cables.toml:3:1: attenuation_db_per_100m, point 1: the loss -3 dB is negative; give loss as a positive number",
		"[[cable]]\nid='a'\nattenuation_db_per_100m=[[1e8, inf]]":            "cables.toml:3:1: attenuation_db_per_100m, point 1: an attenuation point is not two numbers; write it as [hertz, dB per 100 m], such as [100e6, 2.2]",
		"x = " + strings.Repeat("[", 40):                                     "cables.toml:1:1: brackets nest more than 16 deep; this is not a line or a catalogue: name another file",
		"#" + strings.Repeat("x", 5<<20):                                     "cables.toml:1:1: larger than 4 MB, which this line goes beyond; this is not a line or a catalogue: name another file, or shorten this one",
		"[[cable]]\nname = \"\"\"\nid = 'x'\n[[cable]]\n\"\"\"\nid = 5\n":    "cables.toml:6:1: id is not text; put it in quotes",
		"\ufeff[[cable]]\r\n# id\r\n\tid = 5\r\n":                            "cables.toml:3:2: id is not text; put it in quotes",
		"cable = [{id = 5}]":                                                 "cables.toml:1:1: id is not text; put it in quotes",
		"[[cable]]\nid = 'a'\nimpedance_ohm = 'x'\n[[cable]]\nid = ['b',\n]": "cables.toml:3:1: impedance_ohm is not a finite number; write it plainly, without quotes or unit\ncables.toml:5:1: id is not text; put it in quotes",
	} {
		if _, err := ReadCatalogue("cables.toml", strings.NewReader(text)); err == nil || err.Error() != want {
			t.Errorf("%.80q:\ngot  %v\nwant %s", text, err, want)
		}
	}
}

func TestSearch(t *testing.T) {
	c := mustEmbedded(t)
	for words, first := range map[string]string{
		"rg58": "rg-58", "RG-213/U": "rg-213", "RG 58 foam": "rg-58-foam", "7/8": "corrugated-7-8", `7/8" rigid`: "rigid-7-8",
		"1/4 superflex": "superflex-1-4", "141": "semi-rigid-141", ".141": "semi-rigid-141", "75 trunk 500": "trunk-500", "10mm foam": "foam-braid-10mm",
		"50ohm 22 mm": "rg-218", "rg-8x": "rg-8x", "RG8": "rg-8", "rg-6": "rg-6", "coRRUgated 1-5/8-inch": "corrugated-1-5-8",
	} {
		found := c.Search(strings.Fields(words)...)
		if len(found) == 0 || found[0].ID != first {
			var ids []string
			for _, f := range found {
				ids = append(ids, f.ID)
			}
			t.Errorf("%s: %q, want %s first", words, ids, first)
		}
	}
	for _, found := range c.Search("1/4") {
		if strings.Contains(found.Name, "1-1/4") {
			t.Errorf("1/4 finds %s", found.Name)
		}
	}
	for _, found := range c.Search("75 ohm") {
		if found.ImpedanceOhm != 75 {
			t.Errorf("75 ohm finds %s of %g ohm", found.ID, found.ImpedanceOhm)
		}
	}
	for _, none := range []string{"75 rg-58", "zeppelin", "%"} {
		if found := c.Search(none); len(found) != 0 {
			t.Errorf("%q finds %s", none, found[0].ID)
		}
	}
	var empty *Catalogue
	if _, found := empty.Find("rg-58"); found || len(empty.Search("rg")) != 0 {
		t.Error("a nil catalogue finds something")
	}
}

func TestFindGivesItsOwnCopy(t *testing.T) {
	c := mustEmbedded(t)
	first, found := c.Find("RG 58")
	if !found || first.ID != "rg-58" {
		t.Fatalf("RG 58 finds %q", first.ID)
	}
	first.Attenuation[0].DBPerHundredM = -1
	if again, _ := c.Find("rg-58"); again.Attenuation[0].DBPerHundredM == -1 {
		t.Error("the catalogue can be changed from outside")
	}
}

func TestUserCatalogue(t *testing.T) {
	path := filepath.Join(t.TempDir(), "downlead", "cables.toml")
	if c, err := loadCatalogue(path); err != nil || len(c.types) != len(mustEmbedded(t).types) {
		t.Fatalf("without a user catalogue: %v", err)
	}
	own := Type{
		ID: "rg-58", Name: `our "measured" cable`, ImpedanceOhm: 50, VelocityFactor: 0.654, VelocityFactorTolerance: 0.002,
		Attenuation: []AttenuationPoint{{1e8, 15.3}, {1.2345678e9, 61}}, Source: "measured\non a reel",
	}
	save := func(cable Type) {
		t.Helper()
		if err := saveCable(path, cable); err != nil {
			t.Fatal(err)
		}
	}
	save(own)
	other := own
	other.ID = "yard feeder"
	save(other)
	c, err := loadCatalogue(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []Type{own, other} {
		if got, found := c.Find(want.ID); !found || !reflect.DeepEqual(got, want) {
			t.Errorf("%s comes back as %+v", want.ID, got)
		}
	}
	if n := len(c.types) - len(mustEmbedded(t).types); n != 1 {
		t.Errorf("%d types more than embedded, want 1: one replaces, one is new", n)
	}
	// Comments and what else the user wrote stay.
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := "# mine\n" + strings.Replace(string(data), "\n[[cable]]\nid = \"yard", "# about the next\n[[cable]]\nid = \"yard", 1) + "# the end\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	own.VelocityFactor = 0.66
	save(own)
	data, err = os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.Replace(text, "velocity_factor = 0.654", "velocity_factor = 0.66", 1); string(data) != want {
		t.Errorf("saved\n%s\nwant\n%s", data, want)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file's permissions changed: %v %v", info.Mode(), err)
	}
	// What cannot be used is not saved, and a broken file is left alone.
	bad := own
	bad.VelocityFactor = 66
	if err := saveCable(path, bad); err == nil || err.Error() != `cable "rg-58" is not saved: velocity factor 66 is above 1: give it as a fraction such as 0.88` {
		t.Error(err)
	}
	bad = own
	bad.ID = " "
	if err := saveCable(path, bad); err == nil {
		t.Error("a cable without id was saved")
	}
	for _, broken := range []string{"id = ", "cable = [{id = 'rg-58'}]", "cable = [{id = 'x'}]"} {
		if err := os.WriteFile(path, []byte(broken), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := saveCable(path, own); err == nil {
			t.Errorf("saved into %q", broken)
		}
		if after, _ := os.ReadFile(path); string(after) != broken {
			t.Errorf("%q became %q", broken, after)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".downlead-*")); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
	if err := os.WriteFile(path, []byte("id = "), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := loadCatalogue(path); err == nil || !strings.HasPrefix(err.Error(), path+":1:") {
		t.Errorf("a broken user catalogue: %v", err)
	}
}

// The exported way, with the configuration folder moved.
func TestSaveUserCable(t *testing.T) {
	for _, key := range []string{"XDG_CONFIG_HOME", "HOME", "AppData"} {
		t.Setenv(key, t.TempDir())
	}
	own := Type{ID: "spool 7", ImpedanceOhm: 50, VelocityFactor: 0.7, VelocityFactorTolerance: 0.01}
	if err := SaveUserCable(own); err != nil {
		t.Fatal(err)
	}
	line, err := DecodeLine("site.toml", strings.NewReader("[[section]]\nname = 'feeder'\ncable = 'spool 7'\nlength_m = 3\n[load]\nkind = 'open'"))
	if err != nil {
		t.Fatal(err)
	}
	if len(line.Cables) != 1 || line.Cables[0].VelocityFactor != 0.7 {
		t.Errorf("cables %+v", line.Cables)
	}
	if got := fmt.Sprint(line.Notes); got != `[site.toml:3:1: cable "spool 7" of the catalogue: attenuation_db_per_100m is missing: the cable counts as lossless]` {
		t.Errorf("notes %s", got)
	}
}

func FuzzCatalogue(f *testing.F) {
	f.Add(embedded[:3000])
	f.Add("[[cable]]\nid = \"a\\u0041\"\nimpedance_ohm = 50\nvelocity_factor = 0.66\nattenuation_db_per_100m = [[1e8, 3], [2e8, 5.5]]\n")
	f.Add("cable = [{id = 'x', attenuation_db_per_100m = []}]\n'a b'.\"c\" = '''\n]'''\n")
	f.Add("[[cable]]\nid = 'a'\n[cable.b]\n[[cable.c]]\n x = {y = [1, 'z']} # ]\n")
	f.Fuzz(func(t *testing.T, text string) {
		c, err := ReadCatalogue("fuzz.toml", strings.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "fuzz.toml:") {
				t.Errorf("the error does not name the file: %v", err)
			}
			return
		}
		c.Search("rg", "7/8")
		var w tables.Writer
		for _, cable := range c.types {
			writeCable(&w, &cable)
		}
		again, err := ReadCatalogue("again.toml", strings.NewReader(w.String()))
		if err != nil {
			t.Fatalf("%v in\n%s", err, w.String())
		}
		if len(again.types) != len(c.types) {
			t.Fatalf("%d types become %d", len(c.types), len(again.types))
		}
		for i := range c.types {
			if got, want := again.types[i], c.types[i]; fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("%+v becomes %+v", want, got)
			}
			if _, found := c.Find(c.types[i].ID); !found {
				t.Errorf("%q is not found", c.types[i].ID)
			}
			m, err := c.types[i].Medium()
			if err != nil || !(m.ConductorNp >= 0) || !(m.DielectricNp >= 0) || math.IsInf(m.ConductorNp, 0) || math.IsInf(m.DielectricNp, 0) {
				t.Errorf("%+v: %+v, %v", c.types[i], m, err)
			}
		}
	})
}
