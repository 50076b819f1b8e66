package investigation

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/sweep"
)

// swept is a small sweep whose values tell it apart.
func swept(value float64) *sweep.Sweep {
	s := &sweep.Sweep{Name: "swept", ReferenceOhm: 50}
	for k := range 21 {
		s.FrequencyHz = append(s.FrequencyHz, 1e8+1e7*float64(k))
		s.Gamma = append(s.Gamma, complex(value, float64(k)/100))
	}
	return s
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func write(t testing.TB, path, text string) {
	t.Helper()
	check(t, os.MkdirAll(filepath.Dir(path), 0o777))
	check(t, os.WriteFile(path, []byte(text), 0o666))
}

const lineText = `name = "Tarn Head"
[[section]]
name = "feeder"
cable = "corrugated-1-2"
length_m = 20.0
[load]
kind = "antenna"
band_hz = [150e6, 250e6]
[limits]
vswr = 1.5
`

// site writes the files of an investigation and returns the document made of
// them, with something in every field.
func site(t testing.TB, folder string) Document {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir()) // no catalogue of the user's own
	d := Document{Site: "Tarn Head, \"north\"", Date: "4 May 2031", Instrument: "the old one", Operator: "whoever was there", Notes: "rain since Tuesday\n\n\"drip loop\" missing \\ at the top\n"}
	for i, one := range []*Source{&d.Sweep, &d.Baseline, &d.Standards.Open, &d.Standards.Short, &d.Standards.Load} {
		path := filepath.Join(folder, []string{"now.s1p", "then.s1p", "raw/open.s1p", "raw/short.s1p", "raw/load.s1p"}[i])
		check(t, os.MkdirAll(filepath.Dir(path), 0o777))
		check(t, sweep.WriteFile(path, swept([]float64{0.1, 0.2, 0.9, -0.9, 0.01}[i]), sweep.WriteOptions{}))
		var err error
		*one, err = ReadSweep(path)
		check(t, err)
	}
	write(t, filepath.Join(folder, "raw/kit.toml"), "[open]\nc0 = 50e-15\n[short]\nl0 = 2e-12\n[load]\nresistance = 50.0\n")
	write(t, filepath.Join(folder, "line.toml"), lineText)
	var err error
	d.Standards.KitPath = filepath.Join(folder, "raw/kit.toml")
	d.Standards.Kit, d.Standards.KitSHA256, err = ReadKit(d.Standards.KitPath)
	check(t, err)
	d.Standards.At = calibration.Conditions{TemperatureC: 0, TemperatureKnown: true, At: time.Date(2031, 5, 4, 8, 0, 0, 0, time.UTC)}
	d.Standards.SweptAt = calibration.Conditions{TemperatureC: 12.5, TemperatureKnown: true}
	d.LinePath = filepath.Join(folder, "line.toml")
	d.Line, d.LineSHA256, err = ReadLine(d.LinePath)
	check(t, err)
	d.Earlier = BeforeRepair
	d.BandHz, d.Every, d.Window = [2]float64{1.1e8, 2.9e8}, 2, dsp.Window{Kind: dsp.Taylor, Parameter: 40, Terms: 6}
	d.Markers = []Marker{{AlongLine: true, At: 12.345}, {At: 123456789}}
	d.Decisions = []Decision{{Cause: diagnose.DentOrKink, DistanceM: 12.345, State: Accepted, Name: "the clamp", Note: "seen\nfrom below"},
		{Cause: diagnose.PoorContact, DistanceM: 3, State: Rejected}, {Cause: diagnose.WaterInCable, DistanceM: 5, Note: "look again"}}
	d.Found = &Found{WorstVSWR: 1.731, AtHz: 913.3e6, LimitVSWR: 1.5, Faults: []FoundFault{{Cause: diagnose.DentOrKink, DistanceM: 12.345, SigmaM: 0.02, ExtentM: 0.08, Confidence: 0.93, Place: "in feeder"}}}
	d.kept = kept{}
	return d
}

func TestSaveAndOpen(t *testing.T) {
	folder := t.TempDir()
	d := site(t, folder)
	path := filepath.Join(folder, "tarn-head.toml")
	saved, err := Save(path, d)
	check(t, err)
	if len(saved.Copied) > 0 {
		t.Errorf("copied %v, though all lies in the folder", saved.Copied)
	}
	text, err := os.ReadFile(path)
	check(t, err)
	golden, err := os.ReadFile("testdata/tarn-head.toml")
	check(t, err)
	// The catalogue's cables may be mended; their sum is held to by other tests.
	if got := regexp.MustCompile(`(cables_sha256 = )"[0-9a-f]{64}"`).ReplaceAllString(string(text), `$1"that of today"`); got != string(golden) {
		t.Errorf("the file is\n%s\nwant\n%s", got, golden)
	}
	o, err := Open(path)
	check(t, err)
	if len(o.Problems) > 0 {
		t.Errorf("problems: %v", o.Problems)
	}
	if !reflect.DeepEqual(o.Document, d) {
		t.Errorf("saved\n%+v\nopened\n%+v", d, o.Document)
	}
	again := filepath.Join(folder, "again.toml")
	_, err = Save(again, o.Document)
	check(t, err)
	if second, _ := os.ReadFile(again); string(second) != string(text) {
		t.Errorf("saved once more it is\n%s", second)
	}
	if !Is(path) || Is(filepath.Join(folder, "line.toml")) || Is(filepath.Join(folder, "now.s1p")) || Is(folder) || Is(filepath.Join(folder, "none")) {
		t.Error("an investigation is not told from other files")
	}
}

// A folder that is moved as a whole opens as before.
func TestOpenAfterAMove(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "here")
	d := site(t, folder)
	_, err := Save(filepath.Join(folder, "a.toml"), d)
	check(t, err)
	there := filepath.Join(filepath.Dir(folder), "there")
	check(t, os.Rename(folder, there))
	o, err := Open(filepath.Join(there, "a.toml"))
	check(t, err)
	if len(o.Problems) > 0 || o.Document.Sweep.Path != filepath.Join(there, "now.s1p") || o.Document.Standards.Load.Sweep == nil {
		t.Errorf("%v, %q", o.Problems, o.Document.Sweep.Path)
	}
}

// What lies elsewhere, or in no file, or was changed after it was read, is copied
// beside the investigation.
func TestSaveTakesFilesAlong(t *testing.T) {
	elsewhere, folder := t.TempDir(), t.TempDir()
	d := site(t, elsewhere)
	d.Baseline = Source{Sweep: swept(0.55)}
	write(t, filepath.Join(elsewhere, "raw/short.s1p"), "# Hz S RI R 50\n1 0 0\n")
	saved, err := Save(filepath.Join(folder, "b"), d)
	check(t, err)
	if len(saved.Copied) != 6 {
		t.Errorf("copied %v", saved.Copied)
	}
	check(t, os.RemoveAll(elsewhere))
	o, err := Open(filepath.Join(folder, "b.toml"))
	check(t, err)
	if len(o.Problems) > 0 {
		t.Fatalf("problems: %v", o.Problems)
	}
	got := o.Document
	for i, one := range []struct {
		source Source
		want   float64
	}{{got.Sweep, 0.1}, {got.Baseline, 0.55}, {got.Standards.Open, 0.9}, {got.Standards.Short, -0.9}, {got.Standards.Load, 0.01}} {
		if g := one.source.Sweep.Gamma[7]; g != complex(one.want, 0.07) {
			t.Errorf("sweep %d reads %v", i, g)
		}
	}
	if got.Line == nil || !got.LineNew || got.Line.Sections[0].LengthM != 20 || got.LinePath != "" {
		t.Errorf("the line from elsewhere is %+v, from %q", got.Line, got.LinePath)
	}
	if again, err := Save(filepath.Join(folder, "b.toml"), got); err != nil || len(again.Copied) > 0 {
		t.Errorf("saved again it copies %v, %v", again.Copied, err)
	}
	// Another investigation's copies keep their own names.
	got.Sweep = Source{Sweep: swept(0.77)}
	other, err := Save(filepath.Join(folder, "b.toml"), got)
	check(t, err)
	got.Sweep = Source{Sweep: swept(0.78)}
	more, err := Save(filepath.Join(folder, "b.toml"), got)
	check(t, err)
	if len(other.Copied) != 1 || len(more.Copied) != 1 || other.Copied[0] == more.Copied[0] {
		t.Errorf("%v and %v", other.Copied, more.Copied)
	}
}

// A line that was changed is written in place and remembers its file.
func TestChangedLineIsWrittenInPlace(t *testing.T) {
	folder := t.TempDir()
	d := site(t, folder)
	line := *d.Line
	line.Sections = []cables.Section{{Name: "feeder", CableID: "corrugated-1-2", LengthM: 21.5}}
	d.Line, d.LineNew = &line, true
	path := filepath.Join(folder, "c.toml")
	_, err := Save(path, d)
	check(t, err)
	o, err := Open(path)
	check(t, err)
	if l := o.Document.Line; l == nil || l.Sections[0].LengthM != 21.5 || l.Load.BandHz != [2]float64{150e6, 250e6} || !o.Document.LineNew || o.Document.LinePath != d.LinePath {
		t.Errorf("%+v from %q", l, o.Document.LinePath)
	}
	// And one whose file was changed by somebody else is not lost either.
	d = site(t, folder)
	write(t, d.LinePath, strings.Replace(lineText, "20.0", "30.0", 1))
	_, err = Save(path, d)
	check(t, err)
	if o, err = Open(path); err != nil || o.Document.Line.Sections[0].LengthM != 20 {
		t.Errorf("%+v, %v", o, err)
	}
}

func TestOpenTellsOfChangedAndMissingFiles(t *testing.T) {
	folder := t.TempDir()
	d := site(t, folder)
	path := filepath.Join(folder, "d.toml")
	_, err := Save(path, d)
	check(t, err)
	text, err := os.ReadFile(path)
	check(t, err)
	check(t, os.Remove(d.Baseline.Path))
	check(t, sweep.WriteFile(d.Sweep.Path, swept(0.11), sweep.WriteOptions{}))
	write(t, d.LinePath, lineText+"# measured anew\n")
	write(t, d.Standards.KitPath, "no kit")
	o, err := Open(path)
	check(t, err)
	doc := o.Document
	if doc.Sweep.Sweep != nil || doc.Baseline.Sweep != nil || doc.Line != nil || doc.Standards.Kit != nil || doc.Standards.Open.Sweep == nil {
		t.Error("what was changed is used, or what was not is left out")
	}
	var told []string
	for _, p := range o.Problems {
		if p.Used {
			t.Errorf("used: %v", p)
		}
		told = append(told, strings.ReplaceAll(p.String(), folder+string(filepath.Separator), ""))
	}
	want := []string{"the sweep, now.s1p, is not what it was when this was saved (another SHA-256), so it is not used; put the old one back, or open the sweep anew to take it as it is now",
		"the earlier sweep, then.s1p, is missing; put it back, or open the earlier sweep anew",
		"the definitions of the standards, raw/kit.toml, is not what it was when this was saved (another SHA-256), so it is not used; put the old one back, or open the definitions of the standards anew to take it as it is now",
		"the line, line.toml, is not what it was when this was saved (another SHA-256), so it is not used; put the old one back, or open the line anew to take it as it is now"}
	if !reflect.DeepEqual(told, want) {
		t.Errorf("told\n%s", strings.Join(told, "\n"))
	}
	// Saving keeps the names, so that putting a file back mends it.
	_, err = Save(path, doc)
	check(t, err)
	if kept, _ := os.ReadFile(path); strings.Count(string(kept), "sha256") != strings.Count(string(text), "sha256")-1 { // cables_sha256 needs the line
		t.Errorf("saved without its files it is\n%s", kept)
	}
	if _, err := Save(filepath.Join(t.TempDir(), "e.toml"), doc); err == nil || !strings.Contains(err.Error(), "cannot be taken along") {
		t.Errorf("a sweep that nobody has is taken along: %v", err)
	}
}

// A catalogue that was changed since changes the line without changing its file.
func TestOpenTellsOfAnotherCatalogue(t *testing.T) {
	folder := t.TempDir()
	d := site(t, folder)
	path := filepath.Join(folder, "f.toml")
	_, err := Save(path, d)
	check(t, err)
	cable, found := must(cables.Embedded()).Find("corrugated-1-2")
	if !found {
		t.Fatal("no such cable")
	}
	cable.VelocityFactor -= 0.01
	check(t, cables.SaveUserCable(cable))
	o, err := Open(path)
	check(t, err)
	if len(o.Problems) != 1 || !o.Problems[0].Used || !strings.Contains(o.Problems[0].Text, "cables of the catalogue") {
		t.Errorf("told %v", o.Problems)
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// What a newer program of the same version wrote is kept.
func TestUnknownKeysAreKept(t *testing.T) {
	folder := t.TempDir()
	_, err := Save(filepath.Join(folder, "g.toml"), site(t, folder))
	check(t, err)
	text := string(must(os.ReadFile(filepath.Join(folder, "g.toml"))))
	for _, edit := range [][2]string{
		{"schema = ", "weather = {rain_mm = 12, since = 2031-05-01, \"who says\" = [\"a\", 1.5, true, nan]}\nschema = "},
		{"[sweep]\n", "[sweep]\ntaken_by = \"x\"\n"},
		{"[choices]\n", "[choices]\nzoom = [1, 2]\n"},
		{"[[decision]]\ncause = \"poor", "[[decision]]\nasked = 1979-05-27T07:32:00Z\ncause = \"poor"},
		{"[found]\n", "[found]\nrounds = 3\n"},
		{"[line]\n", "[line]\nsheet = 7\n"},
		{"[calibration.kit]\n", "[calibration.kit]\nowner = \"the van\"\n"},
	} {
		if !strings.Contains(text, edit[0]) {
			t.Fatalf("no %q", edit[0])
		}
		text = strings.Replace(text, edit[0], edit[1], 1)
	}
	text += "\n[cover]\npage = 1\n[[cover.sheet]]\nn = 2\n"
	path := filepath.Join(folder, "h.toml")
	write(t, path, text)
	o, err := Open(path)
	check(t, err)
	doc := o.Document
	doc.Notes += "and more\n"
	doc.Decisions = doc.Decisions[1:]
	_, err = Save(path, doc)
	check(t, err)
	got := string(must(os.ReadFile(path)))
	for _, want := range []string{"weather = {rain_mm = 12, since = 2031-05-01, \"who says\" = [\"a\", 1.5, true, nan]}\n", "taken_by = \"x\"\n", "zoom = [1, 2]\n",
		"[[decision]]\ncause = \"poor-contact\"\ndistance_m = 3.0\nstate = \"rejected\"\nasked = 1979-05-27T07:32:00Z\n", "rounds = 3\n", "sheet = 7\n", "owner = \"the van\"\n", "cover = {page = 1, sheet = [{n = 2}]}\n", "and more\n"} {
		if !strings.Contains(got, want) {
			t.Errorf("lost %q in\n%s", want, got)
		}
	}
	_, err = Open(path)
	check(t, err)
}

// Comments stay with what they stand at, through a change of something else; those
// of what is gone stand at the end, and nothing is lost or grows.
func TestCommentsAreKept(t *testing.T) {
	folder := t.TempDir()
	_, err := Save(filepath.Join(folder, "g.toml"), site(t, folder))
	check(t, err)
	text := string(must(os.ReadFile(filepath.Join(folder, "g.toml"))))
	for _, edit := range [][2]string{
		{"# An investigation", "# Property of the van.\n\n# An investigation"},
		{"schema = ", "# Keep with the tower file.\n\n# second\nschema = "},
		{"[sweep]\nfile = \"now.s1p\"\n", "# taken in the rain\n[sweep] # by the night shift\nfile = 'now.s1p' # the \"good\" one\n"},
		{"band_hz = [110e6, 290e6]\n", "band_hz = [ # in hertz\n110e6, 290e6]   # not the whole\n"},
		{"[[marker]]\nat_m = 12.345\n", "# the clamp?\n[[marker]]\nat_m = 12.345 # by tape\n"},
		{"[[decision]]\ncause = \"poor", "# asked twice\n[[decision]]\ncause = \"poor"},
		{"state = \"rejected\"\n", "state = \"rejected\" # dry\n"},
	} {
		if !strings.Contains(text, edit[0]) {
			t.Fatalf("no %q", edit[0])
		}
		text = strings.Replace(text, edit[0], edit[1], 1)
	}
	path := filepath.Join(folder, "h.toml")
	write(t, path, text+"# the end\n")
	o, err := Open(path)
	check(t, err)
	doc := o.Document
	doc.Notes += "and more\n"
	doc.Decisions = doc.Decisions[1:] // of a list the others stay who they are
	doc.Markers = doc.Markers[1:]     // whose comments have no place any more
	for range 2 {
		_, err = Save(path, doc)
		check(t, err)
		got := string(must(os.ReadFile(path)))
		for _, want := range []string{headComment + "\n# Property of the van.\n\n# Keep with the tower file.\n\n# second\nschema = ", "\n\n# taken in the rain\n[sweep] # by the night shift\nfile = \"now.s1p\" # the \"good\" one\nsha256",
			"\n# in hertz\nband_hz = [110e6, 290e6] # not the whole\n", "\n\n# asked twice\n[[decision]]\ncause = \"poor-contact\"\ndistance_m = 3.0\nstate = \"rejected\" # dry\n", "and more\n"} {
			if strings.Count(got, want) != 1 {
				t.Errorf("lost %q in\n%s", want, got)
			}
		}
		if _, end, _ := strings.Cut(got, "confidence"); strings.Count(end, "# the clamp?\n") != 1 || strings.Count(end, "# by tape\n") != 1 || strings.Count(end, "# the end\n") != 1 || strings.Count(got, "#") != 14 {
			t.Errorf("the end, with %d comments:\n%s", strings.Count(got, "#"), got)
		}
		o, err = Open(path)
		check(t, err)
		if doc = o.Document; len(doc.Markers) != 1 || len(doc.Decisions) != 2 {
			t.Errorf("%+v", doc)
		}
	}
}

// Whatever the schema of this version leaves out, or its versions had not yet.
func TestEveryTableMayBeMissing(t *testing.T) {
	folder := t.TempDir()
	_, err := Save(filepath.Join(folder, "i.toml"), site(t, folder))
	check(t, err)
	head, rest, _ := strings.Cut(string(must(os.ReadFile(filepath.Join(folder, "i.toml")))), "\n[sweep]")
	blocks := strings.Split("\n[sweep]"+rest, "\n\n")
	if len(blocks) < 12 {
		t.Fatalf("%d tables", len(blocks))
	}
	path := filepath.Join(folder, "j.toml")
	for i := range blocks {
		without := append(append([]string{head}, blocks[:i]...), blocks[i+1:]...)
		write(t, path, strings.Join(without, "\n\n")+"\n")
		o, err := Open(path)
		if err != nil && !strings.Contains(blocks[i], "[found]") { // its faults are in it
			t.Errorf("without %q: %v", blocks[i], err)
		}
		if err == nil && len(o.Problems) > 0 {
			t.Errorf("without %q: %v", blocks[i], o.Problems)
		}
	}
	write(t, path, head)
	o, err := Open(path)
	check(t, err)
	if o.Document.Sweep != (Source{}) || o.Document.Line != nil || o.Document.Found != nil {
		t.Errorf("nothing becomes %+v", o.Document)
	}
}

// A file of version 1, as that program wrote it, opens as what it meant and is
// saved in the present form.
func TestVersionOneOpens(t *testing.T) {
	folder := t.TempDir()
	d := site(t, folder)
	d.Earlier = Healthy
	path := filepath.Join(folder, "old.toml")
	old := string(must(os.ReadFile("testdata/version-1.toml")))
	for _, text := range []string{old, strings.Replace(old, "[earlier]\n", "[earlier]\nstate = \"before-repair\"\n", 1)} { // which it did not know
		write(t, path, text)
		o, err := Open(path)
		check(t, err)
		if len(o.Problems) > 0 || !reflect.DeepEqual(o.Document, d) {
			t.Errorf("%v\n%+v\nwant\n%+v", o.Problems, o.Document, d)
		}
		_, err = Save(path, o.Document)
		check(t, err)
		now := string(must(os.ReadFile(path)))
		if !strings.Contains(now, "schema = \"downlead/investigation/2\"\n") || strings.Count(now, "state = \"healthy\"\n") != 1 {
			t.Errorf("saved as\n%s", now)
		}
		if o, err = Open(path); err != nil || o.Document.Earlier != Healthy {
			t.Errorf("%+v, %v", o, err)
		}
	}
	// Without that table, too.
	before, after, _ := strings.Cut(old, "[earlier]\n")
	_, after, _ = strings.Cut(after, "\n\n")
	write(t, path, before+after)
	if o, err := Open(path); err != nil || o.Document.Baseline != (Source{}) || o.Document.Sweep.Sweep == nil {
		t.Errorf("%+v, %v", o, err)
	}
}

// The findings of a later run are held against those of the file.
func TestFoundDiffers(t *testing.T) {
	run := func(vswr float64, faults ...diagnose.Finding) *diagnose.Findings {
		f := &diagnose.Findings{Verdict: diagnose.Verdict{WorstVSWR: vswr, LimitVSWR: 1.5, Passes: vswr <= 1.5}}
		for _, one := range faults {
			one.IsFault, one.SigmaM = true, 0.1
			f.Findings = append(f.Findings, one)
		}
		return f
	}
	dent, contact := diagnose.Finding{Cause: diagnose.DentOrKink, DistanceM: 10}, diagnose.Finding{Cause: diagnose.PoorContact, DistanceM: 10.2}
	far := diagnose.Finding{Cause: diagnose.DentOrKink, DistanceM: 30}
	saved := FoundBy(run(1.8, dent, contact))
	for _, one := range []struct {
		now  *diagnose.Findings
		want string
	}{
		{run(1.8, contact, dent), "[]"},
		{run(1.8, dent), "[the file holds poor contact at 10.20 ± 0.10 m; this run does not find a fault there]"},
		{run(1.8, dent, contact, far), "[this run finds dent or kink at 30.00 ± 0.10 m, which the file does not hold]"},
		{run(1.2), "[the file holds a worst VSWR of 1.80, out of the limit; this run finds 1.20, within the limit the file holds dent or kink at 10.00 ± 0.10 m; this run does not find a fault there the file holds poor contact at 10.20 ± 0.10 m; this run does not find a fault there]"},
	} {
		if got := fmt.Sprint(saved.Differs(one.now)); got != one.want {
			t.Errorf("differs\n%s\nwant\n%s", got, one.want)
		}
	}
	swapped := FoundBy(run(1.8, dent)).Differs(run(1.8, contact))
	if fmt.Sprint(swapped) != "[the file holds dent or kink at 10.00 ± 0.10 m; this run finds poor contact there]" {
		t.Errorf("another cause: %v", swapped)
	}
}
