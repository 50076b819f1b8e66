package lesson

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"slices"
	"strings"

	"downlead/cables"
	"downlead/cables/tables"
	"downlead/dsp"
	"downlead/dsp/simulate"
)

// Bounds of a lesson's file.
const (
	mostBytes     = 256 << 10
	mostDepth     = 12
	mostLine      = 300 // bytes of a text of one line
	mostSteps     = 60
	mostQuestions = 60
	mostOptions   = 12
	mostPoints    = 4001
	schema        = "downlead/lesson/1"
)

// Read reads the lesson at path. Errors are *tables.FileError or several of them
// joined: "file:line:column: reason; mend".
func Read(path string) (*Lesson, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &tables.FileError{File: path, Err: fmt.Errorf("this is not a plain file; give a lesson's TOML file")}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return Decode(path, f)
}

// Decode reads a lesson from r; name is the file's name for errors, which are as
// those of Read.
func Decode(name string, r io.Reader) (*Lesson, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return nil, &tables.FileError{File: name, Err: fmt.Errorf("reading: %w", err)}
	}
	if len(data) > mostBytes {
		return nil, &tables.FileError{File: name, Err: fmt.Errorf("larger than %d kB; this is not a lesson", mostBytes>>10)}
	}
	root, err := tables.Read(name, bytes.NewReader(data), tables.Bounds{Kind: "a lesson", Bytes: mostBytes, Depth: mostDepth})
	if err != nil {
		return nil, err
	}
	if has := root.Text("schema"); has != schema {
		where, _ := root.Place("schema")
		return nil, &tables.FileError{File: name, Line: max(where.Line, 1), Column: max(where.Column, 1), Err: fmt.Errorf("this is not a lesson: it has no schema = %q", schema)}
	}
	d := &reader{root: root, lesson: &Lesson{ID: name}}
	d.head()
	d.steps()
	d.questions()
	for _, t := range d.entries(root, "check", mostQuestions) {
		d.lesson.Checks = append(d.lesson.Checks, d.formula(t, "that", true))
		t.Unknown(true)
	}
	switch scenario := root.Get("scenario").(type) {
	case nil:
		root.Wrong("", "the lesson has no line; give it under [scenario], as a scenario file has it")
	case map[string]any:
	default:
		root.Wrong("scenario", "scenario is %T; write it as tables, [scenario], [scenario.sweep] and so on, each under its own heading", scenario)
	}
	root.Unknown(true)
	if err := root.Refusal(); err != nil {
		return nil, err
	}
	if d.lesson.Scenario, err = scenarioIn(name, string(data)); err != nil {
		return nil, err
	}
	if err := d.against(); err != nil {
		return nil, err
	}
	return d.lesson, nil
}

// The heading of a table of the scenario, and that of any table.
var (
	scenarioHeading = regexp.MustCompile(`^(\s*\[\[?\s*)scenario(\s*\]|\s*\.\s*)`)
	anyHeading      = regexp.MustCompile(`^\s*\[\[?[^\[\]"']+\]\]?\s*(#.*)?$`)
)

// scenarioIn takes the scenario's tables out of a lesson, each row at its own
// number, and reads them as a scenario file.
func scenarioIn(name, text string) (*simulate.Scenario, error) {
	rows := strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n")
	inside, quote, begun := false, "", false
	for i, row := range rows {
		if quote == "" {
			if m := scenarioHeading.FindStringSubmatch(row); m != nil {
				inside = true
				if strings.HasSuffix(m[2], "]") { // [scenario] itself: the top of a scenario file
					if begun {
						return nil, &tables.FileError{File: name, Line: i + 1, Column: 1, Err: fmt.Errorf("[scenario] stands behind tables of the scenario; put it before them")}
					}
					row = ""
				} else {
					row = m[1] + row[len(m[0]):]
				}
				begun = true
			} else if anyHeading.MatchString(row) {
				inside = false
			}
		}
		quote = openQuote(rows[i], quote)
		rows[i] = ""
		if inside {
			rows[i] = row
		}
	}
	s, err := simulate.DecodeScenario(name, strings.NewReader(strings.Join(rows, "\n")))
	if err != nil {
		return nil, err
	}
	points := 0
	for _, segment := range s.Sweep.Segments {
		points += segment.Points
	}
	if points > mostPoints {
		return nil, &tables.FileError{File: name, Err: fmt.Errorf("the scenario's sweep has %d points; a lesson has at most %d", points, mostPoints)}
	}
	return s, nil
}

// openQuote returns which triple quote is open behind a row.
func openQuote(row, open string) string {
	for {
		if open != "" {
			k := strings.Index(row, open)
			if k < 0 {
				return open
			}
			row, open = row[k+3:], ""
			continue
		}
		k := strings.Index(row, `"""`)
		if j := strings.Index(row, "'''"); j >= 0 && (k < 0 || j < k) {
			k = j
		}
		if k < 0 {
			return ""
		}
		if hash := strings.IndexByte(row, '#'); hash >= 0 && hash < k && !strings.ContainsAny(row[:hash], `"'`) {
			return "" // in a comment
		}
		open, row = row[k:k+3], row[k+3:]
	}
}

// reader fills a lesson from its tables.
type reader struct {
	root   *tables.Table
	lesson *Lesson
	raised []raised
}

// raised is a wish that needs the scenario: the earlier or the raw sweep.
type raised struct {
	show *Show
	at   place
}

func (d *reader) at(t *tables.Table, key string) place {
	path := t.PathOf(key)
	where, found := t.Place(path)
	for !found && path != "" { // the nearest table above
		path = path[:max(strings.LastIndexAny(path, ".["), 0)]
		where, found = t.Place(path)
	}
	if where.Line == 0 {
		where = tables.Place{Line: 1, Column: 1}
	}
	return place{t.File(), where}
}

// line reads a text of one line.
func (d *reader) line(t *tables.Table, key string) string {
	s := t.Text(key)
	if len(s) > mostLine || strings.ContainsAny(s, "\n\r\x1b") {
		t.Wrong(key, "%s is longer than one line of %d bytes; shorten it", key, mostLine)
		return ""
	}
	return s
}

func (d *reader) text(t *tables.Table, key string, must bool) Text {
	source := t.Text(key)
	if must && strings.TrimSpace(source) == "" {
		t.Wrong(key, "%s is missing; say it in words", key)
		return Text{}
	}
	if k := strings.IndexFunc(source, func(r rune) bool { return r < ' ' && r != '\n' && r != '\r' && r != '\t' || r == 0x7f }); k >= 0 {
		t.Wrong(key, "%s holds a control character; take it out", key)
		return Text{}
	}
	out, err := parseText(source, d.at(t, key))
	if err != nil {
		t.Wrong(key, "%s: %v", key, err)
	}
	return out
}

func (d *reader) formula(t *tables.Table, key string, must bool) Formula {
	source := t.Text(key)
	if strings.TrimSpace(source) == "" {
		if must {
			t.Wrong(key, "%s is missing; give the formula that works it out, in quotes", key)
		}
		return Formula{}
	}
	f, err := parseFormula(source, d.at(t, key))
	if err != nil {
		t.Wrong(key, "%s: %v", key, err)
	}
	return f
}

func (d *reader) lines(t *tables.Table, key string) []string {
	value := t.Get(key)
	if value == nil {
		return nil
	}
	list, ok := value.([]any)
	var out []string
	for _, v := range list {
		s, is := v.(string)
		if ok = ok && is && len(s) <= 2*mostLine; ok {
			out = append(out, s)
		}
	}
	if !ok || len(list) > 50 {
		t.Wrong(key, "%s is not a list of short texts; write it as [\"...\", \"...\"]", key)
		return nil
	}
	return out
}

func (d *reader) truth(t *tables.Table, key string) bool {
	value := t.Get(key)
	b, ok := value.(bool)
	if value != nil && !ok {
		t.Wrong(key, "%s is not true or false", key)
	}
	return b
}

func (d *reader) entries(t *tables.Table, key string, most int) []*tables.Table {
	all := t.Tables(key)
	if len(all) > most {
		t.Wrong(key, "%d entries of %s are more than %d", len(all), key, most)
		return nil
	}
	return all
}

func (d *reader) head() {
	l, t := d.lesson, d.root
	if l.Title = d.line(t, "title"); l.Title == "" {
		t.Wrong("title", "title is missing; name the lesson in a line")
	}
	l.Summary = d.line(t, "summary")
	if l.Minutes = t.Integer("minutes"); t.Has("minutes") && (l.Minutes < 1 || l.Minutes > 240) {
		t.Wrong("minutes", "%d minutes are outside 1 to 240", l.Minutes)
	}
	l.Text = d.text(t, "text", false)
	l.Sources = d.lines(t, "sources")
	l.HandsOn = d.truth(t, "hands_on")
	l.Cautions = d.lines(t, "cautions")
}

func (d *reader) steps() {
	for _, t := range d.entries(d.root, "step", mostSteps) {
		s := Step{Title: d.line(t, "title"), Text: d.text(t, "text", true), HandsOn: d.truth(t, "hands_on")}
		d.lesson.HandsOn = d.lesson.HandsOn || s.HandsOn
		if show := d.show(t); show != nil {
			s.Show = *show
		}
		for _, see := range d.entries(t, "see", mostOptions) {
			one := Sight{Text: d.text(see, "text", true), Value: d.formula(see, "value", true), Unit: d.line(see, "unit"), Decimals: -1}
			if see.Has("decimals") {
				if one.Decimals = see.Integer("decimals"); one.Decimals < 0 || one.Decimals > mostDecimals {
					see.Wrong("decimals", "%d decimals are outside 0 to %d", one.Decimals, mostDecimals)
				}
			}
			if err := checkUnit(one.Unit); err != nil {
				see.Wrong("unit", "%v", err)
			}
			see.Unknown(true)
			s.See = append(s.See, one)
		}
		t.Unknown(true)
		d.lesson.Steps = append(d.lesson.Steps, s)
	}
	if len(d.lesson.Steps) == 0 {
		d.root.Wrong("step", "the lesson has no step; give at least one under [[step]]")
	}
}

// word reads one of a list of words.
func (d *reader) word(t *tables.Table, key string, known []string) string {
	s := t.Text(key)
	if s != "" && !slices.Contains(known, s) {
		t.Wrong(key, "%s cannot be %q; use one of %s", key, clip(s), strings.Join(known, ", "))
		return ""
	}
	return s
}

// show reads the table show in t, nil where there is none.
func (d *reader) show(in *tables.Table) *Show {
	t := in.Table("show")
	if t == nil {
		return nil
	}
	s := &Show{Over: d.word(t, "over", Overs()), Along: d.word(t, "along", Alongs()), ZoomHz: t.Band("zoom_hz"), BandHz: t.Band("band_hz"),
		AgainstEarlier: d.truth(t, "against_earlier"), Locked: d.truth(t, "locked")}
	for k, name := range []string{"measured", "earlier", "raw"} {
		if d.word(t, "sweep", []string{"measured", "earlier", "raw"}) == name {
			s.Sweep = Shown(k)
		}
	}
	if t.Has("zoom_m") {
		zoom := tables.Numbers(t.Get("zoom_m"), 2)
		if zoom == nil || !(zoom[0] >= -1000 && zoom[0] < zoom[1] && zoom[1] <= 1e4) {
			t.Wrong("zoom_m", "zoom_m is not two places in metres, the nearer first, such as [20, 30]")
		} else {
			s.ZoomM = [2]float64(zoom)
		}
	}
	if s.Every = t.Integer("every_nth"); s.Every < 0 || s.Every > 1000 {
		t.Wrong("every_nth", "every_nth = %d is outside 0 to 1000", s.Every)
	}
	var names []string
	for _, kind := range dsp.Kinds() {
		names = append(names, kind.String())
	}
	if name := d.word(t, "window", names); name != "" {
		s.Window.Kind = dsp.Kind(slices.Index(names, name))
	}
	s.Window.Parameter, s.Window.Terms = t.Number("window_parameter"), t.Integer("window_terms")
	if err := s.Window.Validate(); err != nil {
		t.Wrong("window", "%v", err)
	}
	if s.VelocityFactor = t.Number("velocity_factor"); t.Has("velocity_factor") && !(s.VelocityFactor >= 0.2 && s.VelocityFactor <= 1) {
		t.Wrong("velocity_factor", "a velocity factor of %g is outside 0.2 to 1", s.VelocityFactor)
	}
	for _, o := range d.lines(t, "overlays") {
		if !slices.Contains(Overlays(), o) {
			t.Wrong("overlays", "there is no overlay %q; use %s", clip(o), strings.Join(Overlays(), ", "))
		}
		s.Overlays = append(s.Overlays, o)
	}
	t.Unknown(true)
	d.raised = append(d.raised, raised{s, d.at(t, "")})
	return s
}

func (d *reader) questions() {
	steps := len(d.lesson.Steps)
	for _, t := range d.entries(d.root, "question", mostQuestions) {
		q := Question{Text: d.text(t, "text", true), Because: d.text(t, "because", false), Unit: d.line(t, "unit"), Show: d.show(t), After: steps - 1}
		if after := t.Integer("after"); t.Has("after") && after != 0 {
			if after < 1 || after > steps {
				t.Wrong("after", "there is no step %d; the lesson has %d", after, steps)
			}
			q.After = after - 1
		}
		kinds := []string{"number", "place", "cause", "choice"}
		kind := d.word(t, "kind", kinds)
		if kind == "" {
			t.Wrong("kind", "kind is missing; use one of %s", strings.Join(kinds, ", "))
		}
		q.Kind = Kind(max(slices.Index(kinds, kind), 0))
		if err := checkUnit(q.Unit); err != nil {
			t.Wrong("unit", "%v", err)
		}
		switch q.Kind {
		case Number, Place:
			if q.Kind == Place {
				if t.Has("unit") && q.Unit != "m" {
					t.Wrong("unit", "a place is answered in metres or feet; leave unit out")
				}
				q.Unit = "m"
			}
			q.Answer = d.formula(t, "answer", true)
			switch value := t.Get("tolerance").(type) {
			case nil:
				t.Wrong("tolerance", "tolerance is missing; a number in the question's unit, or a formula in SI units such as \"cell_m\"")
			case string:
				q.Tolerance = d.formula(t, "tolerance", true)
			default:
				q.Plain = true
				v := t.Number("tolerance")
				if !(v > 0) || math.IsInf(v, 0) {
					t.Wrong("tolerance", "a tolerance of %v is not above zero", value)
				}
				q.Tolerance = Formula{fmt.Sprint(v), d.at(t, "tolerance"), constant(number(v))}
			}
		case Cause:
			q.Answer = d.formula(t, "answer", true)
		case Choice:
			for _, o := range d.entries(t, "option", mostOptions) {
				q.Options = append(q.Options, Option{d.text(o, "text", true), d.formula(o, "when", true)})
				o.Unknown(true)
			}
			if len(q.Options) < 2 {
				t.Wrong("option", "a choice has at least two answers; give each under [[question.option]] with text and when")
			}
		}
		t.Unknown(true)
		d.lesson.Questions = append(d.lesson.Questions, q)
	}
}

// against holds what is to be shown against the scenario.
func (d *reader) against() error {
	s := d.lesson.Scenario
	for _, r := range d.raised {
		switch {
		case (r.show.Sweep == Earlier || r.show.AgainstEarlier || slices.Contains(r.show.Overlays, "earlier")) && !s.Baseline:
			return r.at.wrong(fmt.Errorf("the earlier sweep is shown, but the scenario makes none; add baseline = true under [scenario]"))
		case r.show.Sweep == Raw && !s.Errors.Raw:
			return r.at.wrong(fmt.Errorf("the raw sweep is shown, but the scenario makes none; add raw = true under [scenario.instrument]"))
		}
		if v := r.show.VelocityFactor; v > 0 {
			line := withVelocity(s.Line, v)
			if _, err := line.Path(); err != nil {
				return r.at.wrong(err)
			}
		}
	}
	return nil
}

// withVelocity returns the line with another velocity factor in every cable.
func withVelocity(line *cables.Line, velocityFactor float64) *cables.Line {
	c := *line
	c.Cables = slices.Clone(line.Cables)
	for i := range c.Cables {
		c.Cables[i].VelocityFactor = velocityFactor
	}
	return &c
}
