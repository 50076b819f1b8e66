package investigation

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"downlead/cables/tables"
)

const head = "schema = \"downlead/investigation/2\"\n"

// What cannot be an investigation is refused, with the place and the mend.
func TestRefused(t *testing.T) {
	file := func(path string) string { return head + "[sweep]\nfile = " + path + "\n" }
	for name, one := range map[string]struct{ text, want string }{
		"nothing":            {"", "this is not an investigation: it has no schema = \"downlead/investigation/2\""},
		"a line file":        {"name = \"x\"\n", "this is not an investigation: it has no schema"},
		"another schema":     {"schema = \"downlead/findings/1\"\n", ":1:1: this is not an investigation: its schema is \"downlead/findings/1\""},
		"a number as schema": {"schema = 1\n", "its schema is \"1\""},
		"version 0":          {"schema = \"downlead/investigation/0\"\n", "its schema is"},
		"version 01":         {"schema = \"downlead/investigation/01\"\n", "its schema is"},
		"a newer version":    {"schema = \"downlead/investigation/9\"\n", ":1:1: this investigation was saved by a newer version of the program (downlead/investigation/9; this one reads up to 2): open it with that"},
		"no TOML":            {head + "[sweep\n", "expected '.' or ']' to end table name"},
		"an absolute path":   {file(`"/etc/hosts"`), ":3:1: \"/etc/hosts\" leads out of the folder of this investigation, which reads only what lies in that folder; copy the file there"},
		"a climb":            {file(`"../x.s1p"`), "leads out of the folder"},
		"a hidden climb":     {file(`"a/../../x.s1p"`), "leads out of the folder"},
		"a drive":            {file(`"C:x.s1p"`), "leads out of the folder"},
		"a share":            {file(`'\\server\share\x.s1p'`), "leads out of the folder"},
		"no file":            {head + "[earlier]\nsha256 = \"" + strings.Repeat("0", 64) + "\"\n", "no file is named"},
		"not a sum":          {file("\"x\"\nsha256 = \"abc\""), "sha256 is not the 64 hexadecimal digits"},
		"a table for text":   {head + "[site]\n", "site is not text"},
		"a text for a table": {head + "sweep = \"x.s1p\"\n", "sweep is not one table"},
		"a line's climb":     {head + "[line]\nfile = \"../line.toml\"\n", "leads out"},
		"a line's origin":    {head + "[line]\nchanged_from = \"/etc/line.toml\"\n[[line.section]]\nname = \"a\"\ncable = \"rg-58\"\nlength_m = 1\n", "leads out"},
		"a misspelt line":    {head + "[line]\n[[line.section]]\nname = \"a\"\ncable = \"rg-58\"\nlenght_m = 1\n", "unknown key \"lenght_m\"; did you mean \"length_m\"?"},
		"not a number":       {head + "[[marker]]\nat_m = nan\n", ":3:1: at_m is not a finite number"},
		"a huge number":      {head + "[[marker]]\nat_m = 1e300\n", "at_m = 1e+300 is outside"},
		"an endless number":  {head + "[[marker]]\nat_hz = inf\n", "at_hz is not a finite number"},
		"a marker nowhere":   {head + "[[marker]]\n", "a marker is at one place"},
		"a marker twice":     {head + "[[marker]]\nat_m = 1\nat_hz = 1e6\n", "a marker is at one place"},
		"a band upside down": {head + "[choices]\nband_hz = [2e9, 1e9]\n", "band_hz is not a band"},
		"a band of nothing":  {head + "[choices]\nband_hz = [nan, 1e9]\n", "band_hz is not a band"},
		"a point of none":    {head + "[choices]\nevery_nth = -1\n", "every_nth = -1 is outside"},
		"a half point":       {head + "[choices]\nevery_nth = 1.5\n", "every_nth is not a whole number"},
		"an unknown window":  {head + "[choices]\nwindow = \"bay\"\n", "no window is called \"bay\"; there are kaiser"},
		"a window's number":  {head + "[choices]\nwindow = \"taylor\"\nwindow_parameter = 1e9\n", "side lobes 1e+09 dB down"},
		"hot":                {head + "[calibration]\ntemperature_c = 5000\n", "temperature_c = 5000 is outside -90 to 200 °C"},
		"a time of words":    {head + "[calibration]\nat = \"noon\"\n", "at is not a time"},
		"a decision on what": {head + "[[decision]]\nstate = \"accepted\"\n", "this decision does not say on what"},
		"an odd past":        {head + "[earlier]\nfile = \"x.s1p\"\nstate = \"sore\"\n", "the state \"sore\" of the earlier sweep is not healthy or before-repair"},
		"a state of mind":    {head + "[[decision]]\ncause = \"x\"\ndistance_m = 1\nstate = \"sure\"\n", "the state \"sure\" of a decision"},
		"sure twice over":    {head + "[found]\nwithin_limit = true\n[[found.fault]]\ncause = \"x\"\nconfidence = 2\n", "confidence = 2 is outside 0 to 1"},
		"deep":               {head + "a = " + strings.Repeat("[", 500) + strings.Repeat("]", 500) + "\n", ":2:1: brackets nest more than 8 deep; this is not an investigation: name another file"},
		"too many markers":   {head + strings.Repeat("[[marker]]\nat_m = 1\n", mostMarkers+1), "1001 entries of marker are more than 1000"},
		"too many decisions": {head + strings.Repeat("[[decision]]\ncause=\"x\"\ndistance_m=1\n", mostDecisions+1), "2001 entries of decision are more than 2000"},
		"too many faults":    {head + "[found]\nwithin_limit = true\n" + strings.Repeat("[[found.fault]]\n", mostFaults+1), "2001 entries of fault are more than 2000"},
		"a long site":        {head + "site = \"" + strings.Repeat("x", mostText+1) + "\"\n", "site is 1001 bytes long, more than 1000"},
		"long notes":         {head + "notes = \"" + strings.Repeat("x", mostNotes+1) + "\"\n", "notes is 200001 bytes long"},
		"a long file":        {head + "notes = \"" + strings.Repeat("x", mostBytes) + "\"\n", ":2:1: larger than 1 MB, which this line goes beyond; this is not an investigation: name another file, or shorten this one"},
	} {
		path := filepath.Join(t.TempDir(), "x.toml")
		write(t, path, one.text)
		_, err := Open(path)
		var place *tables.FileError
		if err == nil || !errors.As(err, &place) || place.File != path || !strings.Contains(err.Error(), one.want) {
			t.Errorf("%s: %.300v, want %q", name, err, one.want)
		}
	}
}

// endless is a file without an end, and counts what is read of it.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	e.read += len(p)
	return len(p), nil
}

func TestReadingIsBounded(t *testing.T) {
	e := &endless{}
	if _, err := decode("endless", e); err == nil || e.read > 2*mostBytes {
		t.Errorf("%d bytes of an endless investigation were read: %v", e.read, err)
	}
	e = &endless{}
	if _, _, err := decodeLine("endless", e); err == nil || e.read > 8*mostBytes {
		t.Errorf("%d bytes of an endless line were read: %v", e.read, err)
	}
	// A sweep of rows that never end is no sweep, but its sum is taken to the bound.
	e = &endless{}
	if _, _, err := decodeSweep("endless.s1p", e); err == nil || !strings.Contains(err.Error(), "larger than 64 MB") || e.read > mostSweepBytes+mostBytes {
		t.Errorf("%d bytes of an endless sweep were read: %.200v", e.read, err)
	}
}

// What would make the program wait, or read itself.
func TestRefusedFiles(t *testing.T) {
	folder := t.TempDir()
	outside := filepath.Join(t.TempDir(), "outside.s1p")
	write(t, outside, "# Hz S RI R 50\n1e8 0 0\n2e8 0 0\n")
	check(t, os.Mkdir(filepath.Join(folder, "folder.s1p"), 0o777))
	named := func(name string) error {
		path := filepath.Join(folder, "x.toml")
		write(t, path, head+"[sweep]\nfile = \""+name+"\"\n")
		o, err := Open(path)
		if err == nil && o.Document.Sweep.Sweep != nil {
			t.Errorf("%s was read", name)
		}
		if err == nil && len(o.Problems) == 1 {
			return fmt.Errorf("told: %v", o.Problems[0])
		}
		return err
	}
	want := map[string]string{
		"folder.s1p": ":3:1: the sweep, folder.s1p: it is not a plain file",
		".":          "it is not a plain file",
		"x.toml":     ":3:1: the sweep, x.toml: an investigation cannot be its own measurement",
		"./x.toml":   "cannot be its own measurement",
	}
	maps.Copy(want, specialFiles(t, folder, outside))
	for name, text := range want {
		if err := named(name); err == nil || !strings.Contains(err.Error(), text) {
			t.Errorf("%s: %v, want %q", name, err, text)
		}
	}
	for _, name := range []string{"folder.s1p", "pipe.s1p", "zero.s1p"} {
		if _, err := os.Lstat(filepath.Join(folder, name)); err != nil {
			continue
		}
		if _, err := Open(filepath.Join(folder, name)); err == nil || !strings.Contains(err.Error(), "not a plain file") {
			t.Errorf("%s as an investigation: %v", name, err)
		}
		if _, err := ReadSweep(filepath.Join(folder, name)); err == nil || !strings.Contains(err.Error(), "not a plain file") {
			t.Errorf("%s as a sweep: %v", name, err)
		}
	}
	// Two that name each other: neither is a sweep.
	write(t, filepath.Join(folder, "a.toml"), head+"[sweep]\nfile = \"b.toml\"\n")
	write(t, filepath.Join(folder, "b.toml"), head+"[sweep]\nfile = \"a.toml\"\n")
	if o, err := Open(filepath.Join(folder, "a.toml")); err != nil || len(o.Problems) != 1 || !strings.Contains(o.Problems[0].Text, "cannot be used") {
		t.Errorf("%+v, %v", o, err)
	}
}

// Saving must not write over what it names.
func TestSaveSparesItsMeasurements(t *testing.T) {
	folder := t.TempDir()
	d := site(t, folder)
	for _, name := range []string{"now.s1p", "line.toml", "raw/kit.toml"} {
		path := filepath.Join(folder, name)
		before := must(os.ReadFile(path))
		if _, err := Save(path, d); err == nil {
			t.Errorf("%s was overwritten", name)
		}
		if string(must(os.ReadFile(path))) != string(before) {
			t.Errorf("%s is changed", name)
		}
	}
	if _, err := Save(filepath.Join(folder, "none", "x.toml"), d); err == nil {
		t.Error("saved into a folder that is not there, from which it was then to be read")
	}
	d.Site = strings.Repeat("x", mostText+1)
	path := filepath.Join(folder, "long.toml")
	if _, err := Save(path, d); err == nil || !strings.Contains(err.Error(), "shorten it") {
		t.Errorf("what cannot be read is saved: %v", err)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("something was written")
	}
}

// What is read is written so that it reads the same.
func FuzzInvestigation(f *testing.F) {
	golden := must(os.ReadFile("testdata/tarn-head.toml"))
	f.Add(string(must(os.ReadFile("testdata/version-1.toml"))))
	f.Add(strings.ReplaceAll(string(golden), "that of today", strings.Repeat("0", 64)))
	f.Add(head)
	f.Add(head + "notes = '''\na\r\nb\"\"\"\n'''\n[sweep]\nfile = \"a/b.s1p\"\nextra = {x = [1, {y = 07:32:00}]}\n")
	f.Add(head + "[line]\nchanged_from = \"l.toml\"\n[[line.section]]\nname = \"a\"\ncable = \"rg-58\"\nlength_m = 1\n")
	f.Add(head + "marker = [{at_m = 1}, {at_hz = 5e8}]\nfound.within_limit = true\n\"odd key\" = -inf\n")
	f.Add(head + "[[decision]]\ncause = 'x'\ndistance_m = -0.0\nother = 1979-05-27\n")
	f.Add("# a\n\n# b\n" + head + "# c\n[[marker]] # d\n# e\nat_m = 1 # f\n[[marker]]\nat_m = 1#g\n[choices]\nband_hz = [1, # h\n2] # i\n# j")
	f.Setenv("XDG_CONFIG_HOME", f.TempDir())
	f.Fuzz(func(t *testing.T, text string) {
		d, err := decode("fuzz.toml", strings.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "fuzz.toml") {
				t.Errorf("the error does not name the file: %v", err)
			}
			return
		}
		once, err := encode(d)
		if err != nil {
			t.Fatalf("what reads cannot be written: %v", err)
		}
		again, err := decode("again.toml", strings.NewReader(once))
		if err != nil {
			t.Fatalf("%v in\n%s", err, once)
		}
		twice, err := encode(again)
		if err != nil || twice != once {
			t.Errorf("%v\n%s\nbecomes\n%s", err, once, twice)
		}
		if had, has := tables.CommentsOf(text, isHeadComment).Sorted(), tables.CommentsOf(once, isHeadComment).Sorted(); !slices.Equal(had, has) {
			t.Errorf("of the comments %q there are %q in\n%s", had, has, once)
		}
	})
}
