package investigation

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"downlead/cables"
	"downlead/cables/tables"
	"downlead/dsp"
)

// writer writes a record. The first error is kept.
type writer struct {
	tables.Writer
	kept kept
	err  error
}

// encode writes an investigation whose paths are relative, as decode reads it.
func encode(d *record) (string, error) {
	w := &writer{kept: d.kept}
	w.WriteString(headComment + "\n")
	w.Key("schema", tables.FormatText(schema+strconv.Itoa(version)))
	w.Text("site", d.Site)
	w.Text("date", d.Date)
	w.Text("instrument", d.Instrument)
	w.Text("operator", d.Operator)
	w.Text("notes", d.Notes)
	w.rest("")
	w.file("sweep", d.Sweep.Path, d.Sweep.SHA256)
	if d.Baseline.Path != "" {
		w.file("earlier", d.Baseline.Path, d.Baseline.SHA256, "state", earlierWords()[d.Earlier])
	}
	w.calibration(&d.Standards)
	w.line(d)
	w.choices(d)
	for _, m := range d.Markers {
		w.Entry("marker")
		if m.AlongLine {
			w.Key("at_m", tables.FormatNumber(roundTo(m.At, lengthStepM)))
		} else {
			w.Key("at_hz", tables.FormatHertz(roundTo(m.At, frequencyStep)))
		}
	}
	for _, one := range d.Decisions {
		w.Entry("decision")
		w.Key("cause", tables.FormatText(string(one.Cause)))
		w.Key("distance_m", tables.FormatNumber(roundTo(one.DistanceM, lengthStepM)))
		w.Text("state", stateWords()[one.State])
		w.Text("name", one.Name)
		w.Text("note", one.Note)
		w.keys(one.kept)
	}
	w.found(d.Found)
	w.unsaved(d.unsaved)
	return d.comments.Into(w.String()), w.err
}

// headComment is the first line of every file.
const headComment = "# An investigation of Downlead. Paths are relative to this file; distances are metres along the line from the test port."

// isHeadComment says whether a comment is that of the program, also of one that
// knew another wording.
func isHeadComment(comment string) bool {
	return strings.HasPrefix(comment, "# An investigation of Downlead.")
}

// part begins a table where it holds anything.
func (w *writer) part(name string, holds bool) bool {
	if _, also := w.kept[name]; !holds && !also {
		return false
	}
	w.Table(name)
	return true
}

// rest writes what of a table is not known.
func (w *writer) rest(name string) { w.keys(w.kept[name]) }

func (w *writer) keys(all map[string]any) {
	for _, key := range slices.Sorted(maps.Keys(all)) {
		text, err := tables.FormatValue(all[key])
		if err != nil && w.err == nil {
			w.err = fmt.Errorf("%s: %w", key, err)
		}
		w.Key(tables.FormatKey(key), text)
	}
}

// file writes where a file is, and further keys and texts.
func (w *writer) file(name, path, sum string, more ...string) {
	if path == "" {
		return // what is known of a file that is not named goes with it
	}
	w.Table(name)
	w.Text("file", path)
	w.Text("sha256", sum)
	for k := 0; k+1 < len(more); k += 2 {
		w.Text(more[k], more[k+1])
	}
	w.rest(name)
}

func (w *writer) time(key string, at time.Time) {
	if at.IsZero() {
		return
	}
	text, err := tables.FormatValue(at)
	if err != nil && w.err == nil {
		w.err = err
	}
	w.Key(key, text)
}

func (w *writer) calibration(s *Standards) {
	at, swept := s.At, s.SweptAt
	if w.part("calibration", at.TemperatureKnown || !at.At.IsZero() || swept.TemperatureKnown || !swept.At.IsZero()) {
		if at.TemperatureKnown {
			w.Key("temperature_c", tables.FormatNumber(at.TemperatureC))
		}
		w.time("at", at.At)
		if swept.TemperatureKnown {
			w.Key("sweep_temperature_c", tables.FormatNumber(swept.TemperatureC))
		}
		w.time("swept_at", swept.At)
		w.rest("calibration")
	}
	w.file("calibration.open", s.Open.Path, s.Open.SHA256)
	w.file("calibration.short", s.Short.Path, s.Short.SHA256)
	w.file("calibration.load", s.Load.Path, s.Load.SHA256)
	w.file("calibration.kit", s.KitPath, s.KitSHA256)
}

func (w *writer) line(d *record) {
	switch {
	case d.LineNew && d.Line != nil:
		if err := cables.EncodeLineIn(&w.Writer, "line", d.Line, func() { w.Text("changed_from", d.LinePath) }); err != nil && w.err == nil {
			w.err = fmt.Errorf("the line cannot be written: %w", err)
		}
	case d.LinePath != "":
		w.Table("line")
		w.Text("file", d.LinePath)
		w.Text("sha256", d.LineSHA256)
		w.Text("cables_sha256", d.cablesSum)
		w.rest("line")
	}
}

func (w *writer) choices(d *record) {
	if !w.part("choices", d.BandHz != [2]float64{} || d.Every > 1 || d.Window != dsp.Window{}) {
		return
	}
	w.Band("band_hz", d.BandHz)
	if d.Every > 1 {
		w.Key("every_nth", strconv.Itoa(d.Every))
	}
	if d.Window != (dsp.Window{}) {
		w.Text("window", d.Window.Kind.String())
		w.Number("window_parameter", d.Window.Parameter)
		if d.Window.Terms != 0 {
			w.Key("window_terms", strconv.Itoa(d.Window.Terms))
		}
	}
	w.rest("choices")
}

func (w *writer) found(f *Found) {
	if f == nil {
		return
	}
	w.Table("found")
	w.Key("within_limit", strconv.FormatBool(f.WithinLimit))
	w.Key("worst_vswr", tables.FormatNumber(f.WorstVSWR))
	w.Hertz("worst_at_hz", f.AtHz)
	w.Number("limit_vswr", f.LimitVSWR)
	w.rest("found")
	for _, one := range f.Faults {
		w.Entry("found.fault")
		w.Key("cause", tables.FormatText(string(one.Cause)))
		w.Key("distance_m", tables.FormatNumber(one.DistanceM))
		w.Key("sigma_m", tables.FormatNumber(one.SigmaM))
		w.Number("extent_m", one.ExtentM)
		w.Key("confidence", tables.FormatNumber(one.Confidence))
		w.Text("place", one.Place)
	}
}

func (w *writer) unsaved(u *Unsaved) {
	if u == nil {
		return
	}
	w.Table("unsaved")
	w.Text("of", u.Of)
	w.Key("process", strconv.Itoa(u.Process))
	w.time("at", u.At)
	w.rest("unsaved")
}
