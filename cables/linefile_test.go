package cables

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

// everything is a line file with every key there is, in the writer's form.
const everything = `name = "Gull Rock \"north\" sector"
reference_impedance_ohm = 50.0

[[cable]]
id = "own"
name = "reel 4"
impedance_ohm = 50.2
velocity_factor = 0.873
velocity_factor_tolerance = 0.004
attenuation_db_per_100m = [[100e6, 2.2], [1234.5e6, 8.4]]
max_frequency_hz = 6000e6
diameter_mm = 15.9
inner_diameter_mm = 4.0
outer_diameter_mm = 10.44
inner_conductor = "copper"
outer_conductor = "aluminium"
source = "measured"

[[section]]
name = "jumper"
cable = "own"
length_m = 2.5

[[section]]
name = "feeder"
cable = "own"
length_m = 48.81

[[device]]
after = "jumper"
kind = "filter"
length_m = 0.21
return_loss_db = 22.5
passband_hz = [880e6, 960e6]

[load]
kind = "antenna"
band_hz = [824e6, 960e6]
return_loss_db = 14.3

[limits]
vswr = 1.5

[instrument]
most_points = 1001
`

func TestLineRoundTrip(t *testing.T) {
	line, err := mustEmbedded(t).DecodeLine("site.toml", strings.NewReader(everything))
	if err != nil {
		t.Fatal(err)
	}
	want := &Line{
		Name: `Gull Rock "north" sector`, ReferenceImpedanceOhm: 50,
		Cables: []Type{{
			ID: "own", Name: "reel 4", ImpedanceOhm: 50.2, VelocityFactor: 0.873, VelocityFactorTolerance: 0.004,
			Attenuation: []AttenuationPoint{{100e6, 2.2}, {1234.5e6, 8.4}}, MaxFrequencyHz: 6e9, DiameterMM: 15.9,
			InnerDiameterMM: 4, OuterDiameterMM: 10.44, InnerConductor: "copper", OuterConductor: "aluminium", Source: "measured",
		}},
		Sections:   []Section{{"jumper", "own", 2.5}, {"feeder", "own", 48.81}},
		Devices:    []Device{{"jumper", "filter", 0.21, 22.5, [2]float64{880e6, 960e6}}},
		Load:       Load{Antenna, [2]float64{824e6, 960e6}, 14.3},
		Limits:     Limits{VSWR: 1.5},
		Instrument: Instrument{MostPoints: 1001},
	}
	line.Notes = nil // the made-up geometry is odd
	if !reflect.DeepEqual(line, want) {
		t.Errorf("read\n%+v\nwant\n%+v", line, want)
	}
	path := filepath.Join(t.TempDir(), "site.toml")
	if err := WriteLine(path, line); err != nil {
		t.Fatal(err)
	}
	if data, err := os.ReadFile(path); err != nil || string(data) != everything {
		t.Errorf("written\n%s\n%v", data, err)
	}
	if again, err := ReadLine(path); err != nil {
		t.Error(err)
	} else if again.Notes = nil; !reflect.DeepEqual(again, want) {
		t.Errorf("read again\n%+v", again)
	}
}

// A line that could not be read back is not written, and leaves the file.
func TestWriteLineRefuses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.toml")
	line := SimpleLine(Type{ID: "a", ImpedanceOhm: 50, VelocityFactor: 0.66}, 10)
	if err := WriteLine(path, line); err != nil {
		t.Fatal(err)
	}
	before, _ := os.ReadFile(path)
	for _, spoil := range []func(*Line){
		func(l *Line) { l.Sections[0].LengthM = math.NaN() },
		func(l *Line) { l.Sections[0].CableID = "b" },
		func(l *Line) { l.Cables[0].VelocityFactor = 66 },
		func(l *Line) { l.Load.Kind = "kite" },
		func(l *Line) { l.Sections = nil },
		func(l *Line) { l.Limits.VSWR = math.Inf(1) },
	} {
		bad := SimpleLine(line.Cables[0], 10)
		spoil(bad)
		if err := WriteLine(path, bad); err == nil {
			t.Errorf("%+v was written", bad)
		}
	}
	if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
		t.Error("a refused line changed the file")
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*")); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	if err := WriteLine(filepath.Join(path, "below"), line); err == nil || !strings.Contains(err.Error(), "not written") {
		t.Errorf("writing below a file: %v", err)
	}
	if _, err := ReadLine(path + "x"); !errors.Is(err, fs.ErrNotExist) || err.Error() != path+"x: open: no such file or directory" {
		t.Errorf("reading nothing: %v", err)
	}
}

// The cable comes from the catalogue by its id; a definition of the line's own
// wins; what was taken is written into the record.
func TestLineCablesFromCatalogue(t *testing.T) {
	c := mustEmbedded(t)
	text := "[[section]]\nname = 'feeder'\ncable = 'rg-213'\nlength_m = 12\n[load]\nkind = 'short'\n"
	line, err := c.DecodeLine("site.toml", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	want, _ := c.Find("rg-213")
	if !reflect.DeepEqual(line.Cables, []Type{want}) || len(line.Notes) != 0 || line.ReferenceImpedanceOhm != 50 {
		t.Errorf("line %+v", line)
	}
	var record bytes.Buffer
	if err := EncodeLine(&record, line); err != nil {
		t.Fatal(err)
	}
	var none *Catalogue
	if again, err := none.DecodeLine("record.toml", &record); err != nil || !reflect.DeepEqual(again, line) {
		t.Errorf("without a catalogue: %+v, %v", again, err)
	}
	own := text + "[[cable]]\nid = 'rg-213'\nimpedance_ohm = 50\nvelocity_factor = 0.7\nvelocity_factor_tolerance = 0.01\n"
	if line, err := c.DecodeLine("site.toml", strings.NewReader(own)); err != nil || len(line.Cables) != 1 || line.Cables[0].VelocityFactor != 0.7 {
		t.Errorf("own definition: %+v, %v", line, err)
	}
	bad := read(t, "[[cable]]\nid='rg-213'\nimpedance_ohm=50\nvelocity_factor=66\n")
	_, err = c.Overlay(bad).DecodeLine("site.toml", strings.NewReader(text))
	if want := `site.toml:3:1: cable "rg-213" of the catalogue cannot be used: velocity factor 66 is above 1: give it as a fraction such as 0.88`; err == nil || err.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
}

// Each mistake, put into a good file, is reported at its place with its mend.
func TestDecodeLineErrors(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`name = "Gull`, `nmae = "Gull`, `1:1: unknown key "nmae"; did you mean "name"?`},
		{`= 50.0`, `= "50"`, `2:1: reference_impedance_ohm is not a finite number; write it plainly, without quotes or unit`},
		{`= 50.0`, `= 0.05`, `2:1: reference impedance 0.05 ohm is outside 1 to 1000 ohm; test ports have 50 or 75`},
		{`impedance_ohm = 50.2`, `impedance_ohm = 50.2 ohm`, `7:21: expected a top-level item to end with a newline, comment, or EOF, but got 'o' instead; mend the TOML`},
		{`velocity_factor = 0.873`, `velocity_factor = 87.3`, `8:1: cable "own": velocity factor 87.3 is above 1: give it as a fraction such as 0.88`},
		{`[[100e6, 2.2], [1234.5e6, 8.4]]`, `[[100, 2.2], [1234.5, 8.4]]`, `10:1: attenuation_db_per_100m, point 1: 100 Hz is below 100 kHz; give hertz, such as 824e6 for 824 MHz`},
		{`max_frequency_hz = 6000e6`, `max_frequency_hz = 6000`, `11:1: max_frequency_hz: 6000 Hz is below 100 kHz; give hertz, such as 824e6 for 824 MHz`},
		{"name = \"jumper\"\n", "", "19:1: this section has no name; give it one, such as name = \"feeder\"\n" +
			"site.toml:29:1: device \"filter\" comes after section \"jumper\", which does not exist; name a section such as \"feeder\""},
		{`name = "feeder"`, `name = "jumper"`, "25:1: section \"jumper\" exists twice; give each section its own name"},
		{`cable = "own"`, `cable = "onw"`, `21:1: cable "onw" is neither defined in this file nor in the catalogue; add a [[cable]] with this id`},
		{`cable = "own"`, `cable = "rg-583"`, `21:1: cable "rg-583" is neither defined in this file nor in the catalogue (near: rg-58); add a [[cable]] with this id`},
		{`cable = "own"`, `cable = ""`, `21:1: section "jumper" names no cable; give cable = the id of a [[cable]] or of the catalogue`},
		{`length_m = 2.5`, `length_m = 0`, `22:1: section "jumper": a length of 0 m is not positive; give metres, measured or from the drawing`},
		{`length_m = 2.5`, `length_m = nan`, `22:1: length_m is not a finite number; write it plainly, without quotes or unit`},
		{`length_m = 2.5`, `length_m = 48810`, `22:1: section "jumper": a length of 48810 m is above 5000 m; give metres, not millimetres`},
		{`length_m = 2.5`, `lenght_m = 2.5`, "19:1: section \"jumper\" has no length; give length_m in metres\nsite.toml:22:1: unknown key \"lenght_m\"; did you mean \"length_m\"?"},
		{`after = "jumper"`, `after = "Feder"`, `30:1: device "filter" comes after section "Feder", which does not exist; name a section such as "feeder"`},
		{`kind = "filter"`, `kind = ""`, `31:1: this device has no kind; say what it is, such as kind = "surge-arrestor"`},
		{`length_m = 0.21`, `length_m = 210`, `32:1: device "filter": a length of 210 m is outside 0 to 100 m; give metres`},
		{`return_loss_db = 22.5`, `return_loss_db = -22.5`, `33:1: return_loss_db -22.5 is negative; return loss is a positive number of dB, such as 20`},
		{`[880e6, 960e6]`, `[960e6, 880e6]`, `34:1: passband_hz runs from 9.6e+08 to 8.8e+08 Hz; put the lower edge first`},
		{`kind = "antenna"`, `kind = "anntenna"`, `37:1: load kind "anntenna" is unknown; write antenna, termination, open or short`},
		{`[824e6, 960e6]`, `[824, 960]`, `38:1: band_hz: 824 Hz is below 100 kHz; give hertz, such as 824e6 for 824 MHz`},
		{`[824e6, 960e6]`, `960e6`, `38:1: band_hz is not two numbers; write it as [lowest, highest] in hertz, such as [824e6, 960e6]`},
		{`[load]`, `[[load]]`, `36:1: load is not one table; write a heading [load]`},
		{`[load]`, `[laod]`, `36:1: unknown key "laod"; did you mean "load"?`},
		{`vswr = 1.5`, `vswr = 0.5`, `42:1: a VSWR limit of 0.5 is not above 1; give a ratio such as 1.5, or return_loss_db in dB`},
		{`vswr = 1.5`, "vswr = 1.5\nreturn_loss_db = 14", `43:1: the limit is given twice, as VSWR and as return loss; keep one`},
		{`most_points = 1001`, `most_points = 1001.0`, `45:1: most_points is not a whole number; write it plainly, such as 1001`},
		{`most_points = 1001`, `most_points = 1`, `45:1: most_points 1 is outside 2 to 10000000`},
	} {
		text := strings.Replace(everything, c.old, c.new, 1)
		if text == everything {
			t.Errorf("%q is not in the file", c.old)
		}
		_, err := mustEmbedded(t).DecodeLine("site.toml", strings.NewReader(text))
		if err == nil || err.Error() != "site.toml:"+c.want {
			t.Errorf("%s -> %s\ngot  %v\nwant site.toml:%s", c.old, c.new, err, c.want)
			continue
		}
		var where *FileError
		if !errors.As(err, &where) || where.File != "site.toml" || where.Line < 1 || where.Column < 1 {
			t.Errorf("%v has no place", err)
		}
	}
	for text, want := range map[string]string{
		"# x\nschema = \"downlead/investigation/2\"\n[sweep]\n": "site.toml:2:1: this is no line file, but of the kind \"downlead/investigation/2\"; name the line's own file, which has [[section]] tables",
		"":            "site.toml:1:1: the line has no section of cable; add a [[section]] with name, cable and length_m",
		"section = 1": "site.toml:1:1: section is not a list of tables; write a heading [[section]] with double brackets for each",
		"section = [{name = 'a', cable = 'rg-58', length_m = 0}]": `site.toml:1:1: section "a": a length of 0 m is not positive; give metres, measured or from the drawing`,
		"\x00\x01": "site.toml:1:1: files cannot contain NULL bytes; probably using UTF-16; TOML files must be UTF-8; mend the TOML",
	} {
		if _, err := mustEmbedded(t).DecodeLine("site.toml", strings.NewReader(text)); err == nil || err.Error() != want {
			t.Errorf("%q: got %v\nwant %s", text, err, want)
		}
	}
}

// The catalogue is read only for cables that the line file does not define.
func TestBrokenUserCatalogue(t *testing.T) {
	broken := func() (*Catalogue, error) { return nil, errors.New("cables.toml:7:3: broken") }
	if _, err := decodeLine("site.toml", strings.NewReader(everything), broken); err != nil {
		t.Error(err)
	}
	text := strings.Replace(everything, `cable = "own"`, `cable = "rg-58"`, 1)
	_, err := decodeLine("site.toml", strings.NewReader(text), broken)
	if want := `site.toml:21:1: cable "rg-58" is not defined in this file, and the catalogue cannot be read: cables.toml:7:3: broken`; err == nil || err.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
}

func TestLineNotes(t *testing.T) {
	line, err := mustEmbedded(t).DecodeLine("site.toml", strings.NewReader("[[cable]]\nid='a'\nimpedance_ohm=50\nvelocity_factor=0.66\nattenuation_db_per_100m=[[1e8,3]]\n[[section]]\nname='s'\ncable='a'\nlength_m=1"))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		`site.toml:1:1: cable "a": velocity_factor_tolerance is missing, 0.02 is assumed; distances are only as sure as it`,
		`site.toml:1:1: nothing says what ends the line; add [load] with kind = "antenna", "termination", "open" or "short"`,
	}
	if !reflect.DeepEqual(line.Notes, want) {
		t.Errorf("notes %q\nwant  %q", line.Notes, want)
	}
	if line.Cables[0].VelocityFactorTolerance != AssumedVelocityTolerance || line.Load.Kind != Unstated {
		t.Errorf("assumed %+v", line)
	}
}

// Types inside other TOML files go through the TOML library's own interfaces.
func TestTypeInOtherFiles(t *testing.T) {
	type file struct {
		Cable Type `toml:"cable"`
	}
	want := file{Type{ID: "a", Attenuation: []AttenuationPoint{{1e8, 3.25}, {1.5e9, 14}}}}
	var b bytes.Buffer
	if err := toml.NewEncoder(&b).Encode(want); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "attenuation_db_per_100m = [[100e6, 3.25], [1500e6, 14.0]]") {
		t.Errorf("encoded\n%s", b.String())
	}
	var got file
	if _, err := toml.Decode(b.String(), &got); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("decoded %+v, %v", got, err)
	}
	if _, err := toml.Decode("cable.attenuation_db_per_100m = [[1e8]]", &got); err == nil {
		t.Error("half a point was read")
	}
}

func FuzzLine(f *testing.F) {
	f.Add(everything)
	f.Add("section = [{name = 'a', cable = 'rg-58', length_m = 1e1}]\nload.kind = 'open'\nlimits = {return_loss_db = 14}\n")
	f.Add("[[section]]\nname = \"\"\"a\n[b]\"\"\"\ncable = 'RG 58'\nlength_m = 3\n[[device]]\nafter = \"a\\n[b]\"\nkind = 'x'\n")
	f.Add("[[section]]\n[section.name]\n[[section.cable]]\n")
	catalogue := mustEmbedded(f)
	f.Fuzz(func(t *testing.T, text string) {
		line, err := catalogue.DecodeLine("fuzz.toml", strings.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "fuzz.toml:") {
				t.Errorf("the error does not name the file: %v", err)
			}
			return
		}
		path, err := line.Path()
		if err != nil {
			t.Fatalf("a line that reads cannot be laid out: %v", err)
		}
		if theta := path.Theta(1e9, path.LengthM()); math.IsNaN(real(theta)) || math.IsNaN(imag(theta)) {
			t.Errorf("Θ is %v", theta)
		}
		var record bytes.Buffer
		if err := EncodeLine(&record, line); err != nil {
			t.Fatalf("a line that reads cannot be written: %v", err)
		}
		written := record.String()
		again, err := catalogue.DecodeLine("again.toml", &record)
		if err != nil {
			t.Fatal(err)
		}
		line.Notes, again.Notes = nil, nil
		if fmt.Sprintf("%+v", line) != fmt.Sprintf("%+v", again) {
			t.Errorf("%+v becomes %+v through\n%s", line, again, written)
		}
	})
}
