package cables

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// FileError is an error with its place in a file. Its text is
// "file:line:column: reason; mend".
type FileError struct {
	File         string
	Line, Column int // 1-based; 0: the file as a whole
	Err          error
}

func (e *FileError) Error() string {
	if e.Line == 0 {
		return fmt.Sprintf("%s: %v", e.File, e.Err)
	}
	return fmt.Sprintf("%s:%d:%d: %v", e.File, e.Line, e.Column, e.Err)
}

// Unwrap returns the reason.
func (e *FileError) Unwrap() error { return e.Err }

// mostBytes and mostDepth bound what is read: a line file or a catalogue is a
// few kilobytes, and the TOML parser recurses into brackets. mostErrors bounds
// what is reported at once.
const (
	mostBytes  = 4 << 20
	mostDepth  = 16
	mostErrors = 20
)

// problem is something wrong or odd in a document.
type problem struct {
	place  place
	text   string
	refuse bool // the document cannot be used; otherwise it is only odd
}

// document is a TOML file read into plain values, with the places of its keys.
// Its tables collect every problem, so that a file is mended in one go.
type document struct {
	file     string
	places   map[string]place
	problems []problem
	wrong    map[string]bool // keys that already make the document unusable
}

// readDocument reads the TOML from r and returns its root table. The errors
// are of reading and of TOML syntax.
func readDocument(file string, r io.Reader) (*table, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return nil, &FileError{File: file, Err: fmt.Errorf("reading: %w", err)}
	}
	if len(data) > mostBytes {
		return nil, &FileError{File: file, Err: fmt.Errorf("larger than %d MB; this is not a line or a catalogue", mostBytes>>20)}
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	places, depth := scanPlaces(text)
	if depth > mostDepth {
		return nil, &FileError{File: file, Err: fmt.Errorf("brackets nest more than %d deep; this is not a line or a catalogue", mostDepth)}
	}
	values := map[string]any{}
	if _, err := toml.Decode(text, &values); err != nil {
		var syntax toml.ParseError
		if errors.As(err, &syntax) {
			return nil, &FileError{File: file, Line: max(syntax.Position.Line, 1), Column: max(syntax.Position.Col, 1),
				Err: fmt.Errorf("%s; mend the TOML", strings.TrimSuffix(syntax.Message, "."))}
		}
		return nil, &FileError{File: file, Err: err}
	}
	return &table{doc: &document{file: file, places: places, wrong: map[string]bool{}}, values: values, asked: map[string]bool{}}, nil
}

// at records a problem at the key path, or at the nearest table above it.
func (d *document) at(path string, refuse bool, format string, args ...any) {
	if d.wrong[path] {
		return // one reason is enough
	}
	d.wrong[path] = refuse
	where, found := d.places[path]
	for !found && path != "" {
		path = path[:max(strings.LastIndexAny(path, ".["), 0)]
		where, found = d.places[path]
	}
	if !found {
		where = place{Line: 1, Column: 1}
	}
	d.problems = append(d.problems, problem{place: where, refuse: refuse, text: fmt.Sprintf(format, args...)})
}

// sorted returns the problems in the order of the file.
func (d *document) sorted() []problem {
	slices.SortStableFunc(d.problems, func(a, b problem) int {
		return cmp.Or(cmp.Compare(a.place.Line, b.place.Line), cmp.Compare(a.place.Column, b.place.Column))
	})
	return d.problems
}

func (d *document) error(p problem) *FileError {
	return &FileError{File: d.file, Line: p.place.Line, Column: p.place.Column, Err: errors.New(p.text)}
}

// refusal returns the problems for which the document cannot be used, joined,
// or nil.
func (d *document) refusal() error {
	var all []error
	for _, p := range d.sorted() {
		if p.refuse {
			all = append(all, d.error(p))
		}
	}
	if len(all) > mostErrors {
		all = append(all[:mostErrors], fmt.Errorf("%s: and %d more", d.file, len(all)-mostErrors))
	}
	if len(all) == 1 {
		return all[0]
	}
	return errors.Join(all...)
}

// oddities returns all problems in words, each with its place.
func (d *document) oddities() []string {
	var all []string
	for _, p := range d.sorted() {
		all = append(all, d.error(p).Error())
	}
	return all
}

// table is one table of a document. Its getters return the zero value for a
// key that is absent or wrong; what is wrong is recorded as a problem.
type table struct {
	doc    *document
	path   string
	values map[string]any
	asked  map[string]bool
}

func (t *table) pathOf(key string) string {
	if t.path == "" || key == "" {
		return t.path + key
	}
	return t.path + "." + key
}

// wrong records that the document cannot be used because of this key.
func (t *table) wrong(key, format string, args ...any) {
	t.doc.at(t.pathOf(key), true, format, args...)
}

// odd records that this key is odd.
func (t *table) odd(key, format string, args ...any) {
	t.doc.at(t.pathOf(key), false, format, args...)
}

func (t *table) has(key string) bool {
	_, ok := t.values[key]
	return ok
}

func (t *table) get(key string) any {
	t.asked[key] = true
	return t.values[key]
}

func (t *table) text(key string) string {
	value := t.get(key)
	s, ok := value.(string)
	if value != nil && !ok {
		t.wrong(key, "%s is not text; put it in quotes", key)
	}
	return s
}

// asNumber takes a TOML integer or float; NaN and infinity are not numbers.
func asNumber(value any) (float64, bool) {
	switch v := value.(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, !math.IsNaN(v) && !math.IsInf(v, 0)
	}
	return 0, false
}

func (t *table) number(key string) float64 {
	value := t.get(key)
	x, ok := asNumber(value)
	if value != nil && !ok {
		t.wrong(key, "%s is not a finite number; write it plainly, without quotes or unit", key)
		return 0
	}
	return x
}

func (t *table) integer(key string) int {
	value := t.get(key)
	x, ok := value.(int64)
	if value != nil && !ok {
		t.wrong(key, "%s is not a whole number; write it plainly, such as 1001", key)
	}
	return int(x)
}

// numbers returns a list of exactly n numbers, or nil.
func asNumbers(value any, n int) []float64 {
	list, ok := value.([]any)
	if !ok || len(list) != n {
		return nil
	}
	out := make([]float64, n)
	for i, v := range list {
		if out[i], ok = asNumber(v); !ok {
			return nil
		}
	}
	return out
}

// lowestHz and highestHz bound any frequency in a file: what lies outside was
// not written in hertz.
const (
	lowestHz  = 1e5
	highestHz = 1e12
)

// hertz says what is wrong with a frequency, or "".
func hertz(f float64) string {
	switch {
	case f <= 0:
		return fmt.Sprintf("the frequency %g is not positive", f)
	case f < lowestHz:
		return fmt.Sprintf("%g Hz is below 100 kHz; give hertz, such as 824e6 for 824 MHz", f)
	case f > highestHz:
		return fmt.Sprintf("%g Hz is above 1000 GHz; give hertz, such as 824e6 for 824 MHz", f)
	}
	return ""
}

func (t *table) frequency(key string) float64 {
	f := t.number(key)
	if t.has(key) && f != 0 {
		if wrong := hertz(f); wrong != "" {
			t.wrong(key, "%s: %s", key, wrong)
			return 0
		}
	}
	return f
}

// band returns a pair of ascending frequencies.
func (t *table) band(key string) [2]float64 {
	value := t.get(key)
	if value == nil {
		return [2]float64{}
	}
	band := asNumbers(value, 2)
	if band == nil {
		t.wrong(key, "%s is not two numbers; write it as [lowest, highest] in hertz, such as [824e6, 960e6]", key)
		return [2]float64{}
	}
	for _, f := range band {
		if wrong := hertz(f); wrong != "" {
			t.wrong(key, "%s: %s", key, wrong)
			return [2]float64{}
		}
	}
	if band[0] >= band[1] {
		t.wrong(key, "%s runs from %g to %g Hz; put the lower edge first", key, band[0], band[1])
		return [2]float64{}
	}
	return [2]float64{band[0], band[1]}
}

// UnmarshalTOML reads the point from [hz, dB].
func (p *AttenuationPoint) UnmarshalTOML(value any) error {
	pair := asNumbers(value, 2)
	if pair == nil {
		return errors.New("an attenuation point is not two numbers; write it as [hertz, dB per 100 m], such as [100e6, 2.2]")
	}
	*p = AttenuationPoint{FrequencyHz: pair[0], DBPerHundredM: pair[1]}
	return nil
}

// MarshalTOML writes the point as [hz, dB].
func (p AttenuationPoint) MarshalTOML() ([]byte, error) {
	return []byte("[" + formatHertz(p.FrequencyHz) + ", " + formatNumber(p.DBPerHundredM) + "]"), nil
}

// points returns an attenuation table; the frequencies ascend.
func (t *table) points(key string) []AttenuationPoint {
	value := t.get(key)
	if value == nil {
		return nil
	}
	list, ok := value.([]any)
	if !ok {
		t.wrong(key, "%s is not a list; write it as [[hertz, dB per 100 m], ...], such as [[100e6, 2.2], [1000e6, 7.3]]", key)
		return nil
	}
	out := make([]AttenuationPoint, 0, len(list))
	for i, v := range list {
		var p AttenuationPoint
		reason := ""
		if err := p.UnmarshalTOML(v); err != nil {
			reason = err.Error()
		} else if reason = hertz(p.FrequencyHz); reason == "" {
			switch {
			case p.DBPerHundredM < 0:
				reason = fmt.Sprintf("the loss %g dB is negative; give loss as a positive number", p.DBPerHundredM)
			case p.DBPerHundredM > 1e5:
				reason = fmt.Sprintf("the loss %g dB per 100 m is above 1000 dB a metre; give dB per 100 m", p.DBPerHundredM)
			case i > 0 && len(out) == i && p.FrequencyHz <= out[i-1].FrequencyHz:
				reason = fmt.Sprintf("%g Hz does not come after %g Hz; sort the points by frequency, each once", p.FrequencyHz, out[i-1].FrequencyHz)
			}
		}
		if reason != "" {
			t.wrong(key, "%s, point %d: %s", key, i+1, reason)
			return nil
		}
		out = append(out, p)
	}
	return out
}

// table returns the table under key, or nil when it is absent.
func (t *table) table(key string) *table {
	value := t.get(key)
	if value == nil {
		return nil
	}
	values, ok := value.(map[string]any)
	if !ok {
		t.wrong(key, "%s is not one table; write a heading [%s]", key, key)
		return nil
	}
	return &table{doc: t.doc, path: t.pathOf(key), values: values, asked: map[string]bool{}}
}

// tables returns the tables of the array under key.
func (t *table) tables(key string) []*table {
	var list []map[string]any
	switch value := t.get(key).(type) {
	case nil:
		return nil
	case []map[string]any:
		list = value
	case []any:
		for _, v := range value {
			values, ok := v.(map[string]any)
			if !ok {
				t.wrong(key, "%s holds something that is not a table; write headings [[%s]]", key, key)
				return nil
			}
			list = append(list, values)
		}
	default:
		t.wrong(key, "%s is not a list of tables; write a heading [[%s]] with double brackets for each", key, key)
		return nil
	}
	out := make([]*table, len(list))
	for i, values := range list {
		out[i] = &table{doc: t.doc, path: fmt.Sprintf("%s[%d]", t.pathOf(key), i), values: values, asked: map[string]bool{}}
	}
	return out
}

// unknown records the keys that nobody asked for, each with the nearest known
// name. refuse says whether the document is then unusable.
func (t *table) unknown(refuse bool) {
	for key := range t.values {
		if t.asked[key] {
			continue
		}
		nearest, distance := "", 1<<30
		for known := range t.asked {
			d := EditDistance(strings.ToLower(key), known)
			if len(key) >= 4 && len(known) > len(key) { // cut short, such as "velocity"
				d = min(d, 1+EditDistance(strings.ToLower(key), known[:len(key)]))
			}
			if d < distance || d == distance && known < nearest {
				nearest, distance = known, d
			}
		}
		if distance <= max(2, len(nearest)/3) {
			t.doc.at(t.pathOf(key), refuse, "unknown key %q; did you mean %q?", key, nearest)
			continue
		}
		t.doc.at(t.pathOf(key), refuse, "unknown key %q; known here are %s", key, strings.Join(sortedKeys(t.asked), ", "))
	}
}

func sortedKeys(set map[string]bool) []string {
	var keys []string
	for k := range set {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// EditDistance is the Levenshtein distance of two words in bytes, for naming the
// word that a mistyped one was meant to be. Beyond 64 bytes, where no key comes
// near, words are cut.
func EditDistance(a, b string) int {
	a, b = a[:min(len(a), 64)], b[:min(len(b), 64)]
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			diagonal, row[j+1] = row[j+1], min(row[j+1]+1, row[j]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}
