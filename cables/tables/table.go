// Package tables reads and writes TOML files for people: every value that is wrong
// or odd is a problem with file, line and column and the mend, all of them
// collected before a file is refused, and what is read is bounded. The line file,
// the catalogue and the investigation are such files.
//
// A Table's getters return the zero value for a key that is absent or wrong. Keys
// that nobody asked for are known afterwards: Unknown refuses them, Rest hands
// them on. NaN and infinity are not numbers. SI units throughout.
package tables

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

// Bounds are what a reader takes. The TOML parser recurses into brackets, so
// depth is bounded too.
type Bounds struct {
	Kind  string // what the file is, for errors: "a line or a catalogue"
	Bytes int64
	Depth int
}

// mostErrors bounds what is reported at once.
const mostErrors = 20

// problem is something wrong or odd in a document.
type problem struct {
	path   string
	place  Place
	text   string
	refuse bool // the document cannot be used; otherwise it is only odd
}

// document is a TOML file read into plain values, with the places of its keys.
// Its tables collect every problem, so that a file is mended in one go.
type document struct {
	file     string
	text     string
	places   map[string]Place
	problems []problem
	wrong    map[string]bool // keys that already make the document unusable
}

// Read reads the TOML from r, no more of it than the bounds allow, and returns its
// root table; file is the name for errors. Every error is a *FileError, of
// reading or of TOML syntax.
func Read(file string, r io.Reader, bounds Bounds) (*Table, error) {
	data, err := io.ReadAll(io.LimitReader(r, bounds.Bytes+1))
	if err != nil {
		return nil, &FileError{File: file, Err: fmt.Errorf("reading: %w", err)}
	}
	if int64(len(data)) > bounds.Bytes {
		row := strings.Count(string(data[:bounds.Bytes]), "\n") + 1
		return nil, &FileError{File: file, Line: row, Column: 1, Err: fmt.Errorf("larger than %d MB, which this line goes beyond; this is not %s: name another file, or shorten this one", bounds.Bytes>>20, bounds.Kind)}
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	places, depth, deepest := scanPlaces(text)
	if depth > bounds.Depth {
		return nil, &FileError{File: file, Line: deepest.Line, Column: deepest.Column, Err: fmt.Errorf("brackets nest more than %d deep; this is not %s: name another file", bounds.Depth, bounds.Kind)}
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
	return &Table{doc: &document{file: file, text: text, places: places, wrong: map[string]bool{}}, values: values, asked: map[string]bool{}}, nil
}

// at records a problem at the key path, or at the nearest table above it.
func (d *document) at(path string, refuse bool, format string, args ...any) {
	if d.wrong[path] {
		return // one reason is enough
	}
	d.wrong[path] = refuse
	at := path
	where, found := d.places[path]
	for !found && path != "" {
		path = path[:max(strings.LastIndexAny(path, ".["), 0)]
		where, found = d.places[path]
	}
	if !found {
		where = Place{Line: 1, Column: 1}
	}
	d.problems = append(d.problems, problem{path: at, place: where, refuse: refuse, text: fmt.Sprintf(format, args...)})
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

// oddities returns all problems under a path in words, each with its place.
func (d *document) oddities(under string) []string {
	var all []string
	for _, p := range d.sorted() {
		if !strings.HasPrefix(p.path, under) {
			continue
		}
		all = append(all, d.error(p).Error())
	}
	return all
}

// Table is one table of a document. Its getters return the zero value for a
// key that is absent or wrong; what is wrong is recorded as a problem.
type Table struct {
	doc    *document
	path   string
	values map[string]any
	asked  map[string]bool
}

// PathOf returns the path of a key, such as "section[2].length_m".
func (t *Table) PathOf(key string) string {
	if t.path == "" || key == "" {
		return t.path + key
	}
	return t.path + "." + key
}

// File returns the name of the file, for errors.
func (t *Table) File() string { return t.doc.file }

// Comments returns the comments of the whole file but for those that drop names.
func (t *Table) Comments(drop func(comment string) bool) Comments {
	return CommentsOf(t.doc.text, drop)
}

// Place returns where the key of a path stands; see PathOf.
func (t *Table) Place(path string) (Place, bool) {
	where, found := t.doc.places[path]
	return where, found
}

// Refusal returns, of all that was recorded of the file so far, the problems for
// which it cannot be used, joined, or nil. Each is a *FileError.
func (t *Table) Refusal() error { return t.doc.refusal() }

// Oddities returns all problems in this table and those in it in words, each with
// its place.
func (t *Table) Oddities() []string { return t.doc.oddities(t.path) }

// Doubt records a problem with this key, for which the file cannot be used only
// where refuse is set.
func (t *Table) Doubt(key string, refuse bool, format string, args ...any) {
	t.doc.at(t.PathOf(key), refuse, format, args...)
}

// Rest returns what nobody asked for so far.
func (t *Table) Rest() map[string]any {
	var rest map[string]any
	for key, value := range t.values {
		if !t.asked[key] {
			if rest == nil {
				rest = map[string]any{}
			}
			rest[key] = value
		}
	}
	return rest
}

// Wrong records that the document cannot be used because of this key.
func (t *Table) Wrong(key, format string, args ...any) {
	t.doc.at(t.PathOf(key), true, format, args...)
}

// Odd records that this key is odd.
func (t *Table) Odd(key, format string, args ...any) {
	t.doc.at(t.PathOf(key), false, format, args...)
}

// Has says whether the key is there.
func (t *Table) Has(key string) bool {
	_, ok := t.values[key]
	return ok
}

// Get returns the plain value of the key, nil where it is absent.
func (t *Table) Get(key string) any {
	t.asked[key] = true
	return t.values[key]
}

// Text returns a text.
func (t *Table) Text(key string) string {
	value := t.Get(key)
	s, ok := value.(string)
	if value != nil && !ok {
		t.Wrong(key, "%s is not text; put it in quotes", key)
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

// Number returns a finite number.
func (t *Table) Number(key string) float64 {
	value := t.Get(key)
	x, ok := asNumber(value)
	if value != nil && !ok {
		t.Wrong(key, "%s is not a finite number; write it plainly, without quotes or unit", key)
		return 0
	}
	return x
}

// Integer returns a whole number.
func (t *Table) Integer(key string) int {
	value := t.Get(key)
	x, ok := value.(int64)
	if value != nil && !ok {
		t.Wrong(key, "%s is not a whole number; write it plainly, such as 1001", key)
	}
	return int(x)
}

// Numbers returns a list of exactly n numbers, or nil.
func Numbers(value any, n int) []float64 {
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

// HertzProblem says what is wrong with a frequency, or "".
func HertzProblem(f float64) string {
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

// Frequency returns a frequency, Hz; 0 is not stated.
func (t *Table) Frequency(key string) float64 {
	f := t.Number(key)
	if t.Has(key) && f != 0 {
		if wrong := HertzProblem(f); wrong != "" {
			t.Wrong(key, "%s: %s", key, wrong)
			return 0
		}
	}
	return f
}

// Band returns a pair of ascending frequencies.
func (t *Table) Band(key string) [2]float64 {
	value := t.Get(key)
	if value == nil {
		return [2]float64{}
	}
	band := Numbers(value, 2)
	if band == nil {
		t.Wrong(key, "%s is not two numbers; write it as [lowest, highest] in hertz, such as [824e6, 960e6]", key)
		return [2]float64{}
	}
	for _, f := range band {
		if wrong := HertzProblem(f); wrong != "" {
			t.Wrong(key, "%s: %s", key, wrong)
			return [2]float64{}
		}
	}
	if band[0] >= band[1] {
		t.Wrong(key, "%s runs from %g to %g Hz; put the lower edge first", key, band[0], band[1])
		return [2]float64{}
	}
	return [2]float64{band[0], band[1]}
}

// Table returns the table under key, or nil when it is absent.
func (t *Table) Table(key string) *Table {
	value := t.Get(key)
	if value == nil {
		return nil
	}
	values, ok := value.(map[string]any)
	if !ok {
		t.Wrong(key, "%s is not one table; write a heading [%s]", key, key)
		return nil
	}
	return &Table{doc: t.doc, path: t.PathOf(key), values: values, asked: map[string]bool{}}
}

// Tables returns the tables of the array under key.
func (t *Table) Tables(key string) []*Table {
	var list []map[string]any
	switch value := t.Get(key).(type) {
	case nil:
		return nil
	case []map[string]any:
		list = value
	case []any:
		for _, v := range value {
			values, ok := v.(map[string]any)
			if !ok {
				t.Wrong(key, "%s holds something that is not a table; write headings [[%s]]", key, key)
				return nil
			}
			list = append(list, values)
		}
	default:
		t.Wrong(key, "%s is not a list of tables; write a heading [[%s]] with double brackets for each", key, key)
		return nil
	}
	out := make([]*Table, len(list))
	for i, values := range list {
		out[i] = &Table{doc: t.doc, path: fmt.Sprintf("%s[%d]", t.PathOf(key), i), values: values, asked: map[string]bool{}}
	}
	return out
}

// Unknown records the keys that nobody asked for, each with the nearest known
// name. refuse says whether the document is then unusable.
func (t *Table) Unknown(refuse bool) {
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
			t.doc.at(t.PathOf(key), refuse, "unknown key %q; did you mean %q?", key, nearest)
			continue
		}
		t.doc.at(t.PathOf(key), refuse, "unknown key %q; known here are %s", key, strings.Join(sortedKeys(t.asked), ", "))
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
