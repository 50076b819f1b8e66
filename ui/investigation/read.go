package investigation

import (
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"downlead/cables"
	"downlead/cables/tables"
	"downlead/dsp"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
)

// What an investigation may hold. People write some hundred lines; the bounds
// keep a file from elsewhere from taking the memory.
const (
	mostBytes     = 1 << 20
	mostDepth     = 8
	mostText      = 1000    // bytes of a free text of one line, and of a path
	mostNotes     = 200_000 // bytes of notes
	mostMarkers   = 1000
	mostDecisions = 2000
	mostFaults    = 2000
	mostLengthM   = 1e5
	mostHz        = 1e13
)

// schema names the file's form; the version follows it.
const (
	schema  = "downlead/investigation/"
	version = 2 // 1 had no state of the earlier sweep: it was always of the healthy line
)

// kept are the keys of each table of a file that are not known.
type kept map[string]map[string]any

// record is an investigation as it is written: paths are relative, and nothing
// that they lead to was read.
type record struct {
	Document
	cablesSum string
	unsaved   *Unsaved
	version   int
	root      *tables.Table
}

// decode reads what is written. Every error is a *tables.FileError, or several
// joined.
func decode(file string, r io.Reader) (*record, error) {
	root, err := tables.Read(file, r, tables.Bounds{Kind: "an investigation", Bytes: mostBytes, Depth: mostDepth})
	if err != nil {
		return nil, err
	}
	d := &record{root: root}
	if d.version, err = versionOf(root); err != nil {
		return nil, err
	}
	d.kept = kept{}
	d.Site, d.Date = text(root, "site", mostText), text(root, "date", mostText)
	d.Instrument, d.Operator = text(root, "instrument", mostText), text(root, "operator", mostText)
	d.Notes = text(root, "notes", mostNotes)
	d.each("sweep", func(t *tables.Table) { d.Sweep.Path, d.Sweep.SHA256 = fileOf(t) })
	d.each("earlier", d.earlier)
	d.each("calibration", d.calibration)
	if err := d.line(); err != nil {
		return nil, err
	}
	d.each("choices", d.choices)
	d.markers()
	d.decisions()
	d.each("found", d.found)
	d.each("unsaved", func(t *tables.Table) {
		d.unsaved = &Unsaved{Of: text(t, "of", 4*mostText), Process: t.Integer("process"), At: moment(t, "at")}
	})
	d.keep(root, "")
	d.comments = root.Comments(isHeadComment)
	if err := root.Refusal(); err != nil {
		return nil, err
	}
	return d, nil
}

// versionOf returns the version of the file's form.
func versionOf(root *tables.Table) (int, error) {
	where, _ := root.Place("schema")
	refuse := func(format string, args ...any) error {
		return &tables.FileError{File: root.File(), Line: where.Line, Column: where.Column, Err: fmt.Errorf(format, args...)}
	}
	name, is := root.Get("schema").(string)
	number, ours := strings.CutPrefix(name, schema)
	v, err := strconv.Atoi(number)
	switch {
	case !root.Has("schema"):
		return 0, refuse("this is not an investigation: it has no schema = %q", schema+strconv.Itoa(version))
	case !is || !ours || err != nil || v < 1 || number != strconv.Itoa(v):
		return 0, refuse("this is not an investigation: its schema is %.60q, not %q", fmt.Sprint(root.Get("schema")), schema+strconv.Itoa(version))
	case v > version:
		return 0, refuse("this investigation was saved by a newer version of the program (%s%d; this one reads up to %d): open it with that, since this one could misread it", schema, v, version)
	}
	return v, nil
}

// each reads the table of a name, where there is one, and keeps what is not
// known of it.
func (d *record) each(name string, read func(*tables.Table)) {
	if t := d.root.Table(name); t != nil {
		read(t)
		d.keep(t, name)
	}
}

func (d *record) keep(t *tables.Table, name string) {
	if rest := t.Rest(); rest != nil {
		d.kept[name] = rest
	}
}

// text reads a free text of bounded length.
func text(t *tables.Table, key string, most int) string {
	s := t.Text(key)
	if len(s) > most {
		t.Wrong(key, "%s is %d bytes long, more than %d; shorten it", key, len(s), most)
		return ""
	}
	return s
}

var sumForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// sum reads a SHA-256.
func sum(t *tables.Table, key string) string {
	s := t.Text(key)
	if t.Has(key) && !sumForm.MatchString(s) {
		t.Wrong(key, "%s is not the 64 hexadecimal digits of a SHA-256; leave the key out where it is not known", key)
		return ""
	}
	return s
}

// fileOf reads the name of a file and its SHA-256.
func fileOf(t *tables.Table) (file, sha256 string) {
	file, sha256 = text(t, "file", mostText), sum(t, "sha256")
	switch {
	case strings.TrimSpace(file) == "":
		t.Wrong("file", "no file is named; write file = \"sweeps/found.s1p\", or leave the table out")
	case !isWithin(file):
		t.Wrong("file", "%q leads out of the folder of this investigation, which reads only what lies in that folder; copy the file there and name it by its place in it", file)
	}
	return file, sha256
}

// isWithin says whether a path of a file stays in its folder, on every system.
func isWithin(p string) bool {
	return filepath.IsLocal(filepath.FromSlash(p)) && !strings.ContainsAny(p, "\\\x00") && !strings.HasPrefix(p, "/") && (len(p) < 2 || p[1] != ':')
}

// moment reads a date with time.
func moment(t *tables.Table, key string) time.Time {
	value := t.Get(key)
	at, is := value.(time.Time)
	if value != nil && !is {
		t.Wrong(key, "%s is not a time; write it as 2031-05-04T09:30:00Z", key)
	}
	return at
}

// bounded reads a number that must lie in a range.
func bounded(t *tables.Table, key string, low, high float64, unit string) float64 {
	v := t.Number(key)
	if t.Has(key) && !(v >= low && v <= high) {
		t.Wrong(key, "%s = %g is outside %g to %g %s", key, v, low, high, unit)
		return 0
	}
	return v
}

// earlierWords are what an earlier sweep can show, as it is written.
func earlierWords() [2]string { return [...]string{"healthy", "before-repair"} }

func (d *record) earlier(t *tables.Table) {
	d.Baseline.Path, d.Baseline.SHA256 = fileOf(t)
	word, known := t.Text("state"), !t.Has("state")
	if d.version < 2 {
		return // it had none: what stands there means nothing
	}
	for state, w := range earlierWords() {
		if w == word {
			d.Earlier, known = Earlier(state), true
		}
	}
	if !known {
		t.Wrong("state", "the state %.40q of the earlier sweep is not healthy or before-repair", word)
	}
}

func (d *record) calibration(t *tables.Table) {
	s := &d.Standards
	for _, one := range []struct {
		name string
		file *Source
	}{{"open", &s.Open}, {"short", &s.Short}, {"load", &s.Load}} {
		if part := t.Table(one.name); part != nil {
			one.file.Path, one.file.SHA256 = fileOf(part)
			d.keep(part, "calibration."+one.name)
		}
	}
	if kit := t.Table("kit"); kit != nil {
		s.KitPath, s.KitSHA256 = fileOf(kit)
		d.keep(kit, "calibration.kit")
	}
	conditions := func(temperature, at string) calibration.Conditions {
		return calibration.Conditions{TemperatureC: bounded(t, temperature, -90, 200, "°C"), TemperatureKnown: t.Has(temperature), At: moment(t, at)}
	}
	s.At, s.SweptAt = conditions("temperature_c", "at"), conditions("sweep_temperature_c", "swept_at")
}

// line reads the line, or which file it is in.
func (d *record) line() (err error) {
	t := d.root.Table("line")
	switch {
	case t == nil:
	case t.Has("file"):
		d.LinePath, d.LineSHA256 = fileOf(t)
		d.cablesSum = sum(t, "cables_sha256")
		d.keep(t, "line")
	default:
		if t.Has("changed_from") {
			if d.LinePath = text(t, "changed_from", mostText); !isWithin(d.LinePath) {
				t.Wrong("changed_from", "%q leads out of the folder of this investigation; leave it out", d.LinePath)
			}
		}
		d.LineNew = true
		d.Line, err = cables.LineIn(t)
	}
	return err
}

func (d *record) choices(t *tables.Table) {
	if t.Has("band_hz") {
		band := tables.Numbers(t.Get("band_hz"), 2)
		if band == nil || !(band[0] >= 0 && band[0] < band[1] && band[1] <= mostHz) {
			t.Wrong("band_hz", "band_hz is not a band; write it as [lowest, highest] in hertz, such as [824e6, 960e6]")
		} else {
			d.BandHz = [2]float64(band)
		}
	}
	if d.Every = t.Integer("every_nth"); d.Every < 0 || d.Every > 1e6 {
		t.Wrong("every_nth", "every_nth = %d is outside 0 to 1000000; 1 uses every point", d.Every)
	}
	name := t.Text("window")
	known := name == ""
	var names []string
	for _, kind := range dsp.Kinds() {
		names = append(names, kind.String())
		if name == kind.String() {
			d.Window.Kind, known = kind, true
		}
	}
	d.Window.Parameter, d.Window.Terms = t.Number("window_parameter"), t.Integer("window_terms")
	if !known {
		t.Wrong("window", "no window is called %.40q; there are %s", name, strings.Join(names, ", "))
	} else if err := d.Window.Validate(); err != nil {
		t.Wrong("window", "%v", err)
	}
}

// entries returns the entries of a list that may have so many.
func (d *record) entries(t *tables.Table, name string, most int) []*tables.Table {
	all := t.Tables(name)
	if len(all) > most {
		t.Wrong(name, "%d entries of %s are more than %d", len(all), name, most)
		return nil
	}
	return all
}

func (d *record) markers() {
	for _, t := range d.entries(d.root, "marker", mostMarkers) {
		m := Marker{AlongLine: t.Has("at_m")}
		if m.AlongLine == t.Has("at_hz") {
			t.Wrong("", "a marker is at one place: give at_m, or at_hz")
			continue
		}
		if m.AlongLine {
			m.At = roundTo(bounded(t, "at_m", -mostLengthM, mostLengthM, "m"), lengthStepM)
		} else {
			m.At = roundTo(bounded(t, "at_hz", -mostHz, mostHz, "Hz"), frequencyStep)
		}
		t.Unknown(false)
		d.Markers = append(d.Markers, m)
	}
}

// stateWords are the states of a finding as they are written.
func stateWords() [3]string { return [...]string{"", "accepted", "rejected"} }

func (d *record) decisions() {
	for _, t := range d.entries(d.root, "decision", mostDecisions) {
		one := Decision{Cause: diagnose.Cause(text(t, "cause", mostText)), DistanceM: roundTo(bounded(t, "distance_m", -mostLengthM, mostLengthM, "m"), lengthStepM),
			Name: text(t, "name", mostText), Note: text(t, "note", mostNotes)}
		word, known := t.Text("state"), false
		for state, w := range stateWords() {
			if w == word {
				one.State, known = State(state), true
			}
		}
		if !known {
			t.Wrong("state", "the state %.40q of a decision is not accepted or rejected; leave it out where nothing is decided", word)
		}
		if one.Cause == "" || !t.Has("distance_m") {
			t.Wrong("", "this decision does not say on what; give cause and distance_m")
		}
		one.kept = t.Rest()
		d.Decisions = append(d.Decisions, one)
	}
}

func (d *record) found(t *tables.Table) {
	limit, is := t.Get("within_limit").(bool)
	if !is {
		t.Wrong("within_limit", "within_limit is not true or false")
	}
	most := 1e6
	d.Found = &Found{WithinLimit: limit, WorstVSWR: roundTo(bounded(t, "worst_vswr", 0, most, ""), vswrStep),
		AtHz: roundTo(bounded(t, "worst_at_hz", 0, mostHz, "Hz"), frequencyStep), LimitVSWR: roundTo(bounded(t, "limit_vswr", 0, most, ""), vswrStep)}
	for _, f := range d.entries(t, "fault", mostFaults) {
		length := func(key string) float64 { return roundTo(bounded(f, key, -mostLengthM, mostLengthM, "m"), lengthStepM) }
		d.Found.Faults = append(d.Found.Faults, FoundFault{Cause: diagnose.Cause(text(f, "cause", mostText)), DistanceM: length("distance_m"), SigmaM: length("sigma_m"),
			ExtentM: length("extent_m"), Confidence: roundTo(bounded(f, "confidence", 0, 1, ""), confidenceStep), Place: text(f, "place", mostText)})
	}
}
