package cables

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"downlead/cables/tables"
)

//go:embed catalogue.toml
var embedded string

// Catalogue is a list of cable types by id. The zero value and nil are empty.
type Catalogue struct {
	types    []Type
	oddities []string
}

// Embedded returns the catalogue that comes with the program.
func Embedded() (*Catalogue, error) {
	return ReadCatalogue("catalogue.toml", strings.NewReader(embedded))
}

// ReadCatalogue reads a catalogue from r; file is the name for errors. What
// has the wrong form is an error (*FileError, or several joined): TOML syntax,
// text for a number, NaN, attenuation points out of order, a row without an
// id. What is out of its range or odd is left to Check, so that a catalogue
// with one bad row can still be searched; a line refuses such a row.
func ReadCatalogue(file string, r io.Reader) (*Catalogue, error) {
	root, err := readTOML(file, r)
	if err != nil {
		return nil, err
	}
	c := &Catalogue{}
	seen := map[string]bool{}
	for _, row := range root.Tables("cable") {
		t := cableIn(row, false)
		if key := fold(t.ID); seen[key] {
			row.Odd("id", "cable %q is defined before; the first one counts", t.ID)
			continue
		} else {
			seen[key] = true
		}
		c.types = append(c.types, t)
	}
	root.Unknown(false)
	if err := root.Refusal(); err != nil {
		return nil, err
	}
	c.oddities = root.Oddities()
	return c, nil
}

// UserCataloguePath returns where the user's own catalogue is kept: cables.toml
// in the folder downlead of the user's configuration folder.
func UserCataloguePath() (string, error) {
	folder, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("finding the user's catalogue: %w", err)
	}
	return filepath.Join(folder, "downlead", "cables.toml"), nil
}

// LoadCatalogue returns the embedded catalogue overlaid with the user's, where
// there is one. Where no configuration folder is known there is none.
func LoadCatalogue() (*Catalogue, error) {
	path, err := UserCataloguePath()
	if err != nil {
		return Embedded()
	}
	return loadCatalogue(path)
}

func loadCatalogue(path string) (*Catalogue, error) {
	c, err := Embedded()
	if err != nil {
		return nil, err
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err != nil {
		return nil, &FileError{File: path, Err: reason(err)}
	}
	user, err := ReadCatalogue(path, bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	return c.Overlay(user), nil
}

// Overlay returns a new catalogue with the rows of both; where ids agree the
// row of over counts, in the place of the one it replaces.
func (c *Catalogue) Overlay(over *Catalogue) *Catalogue {
	out := &Catalogue{types: slices.Clone(c.types), oddities: slices.Concat(c.oddities, over.oddities)}
	for _, t := range over.types {
		if i := out.index(t.ID); i >= 0 {
			out.types[i] = t
			continue
		}
		out.types = append(out.types, t)
	}
	return out
}

// Check says in words what is odd in the catalogue, each with file, line and
// column: values out of their range, loss that falls with frequency or does
// not follow the cable law, ids defined twice, unknown keys. None is good.
func (c *Catalogue) Check() []string { return slices.Clone(c.oddities) }

// fold reduces an id to what people tell ids apart by: "RG-58 C/U" to "rg58cu".
func fold(id string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r >= 0x80 {
			return r
		}
		return -1
	}, strings.ToLower(id))
}

func (c *Catalogue) index(id string) int {
	if i := slices.IndexFunc(c.types, func(t Type) bool { return t.ID == id }); i >= 0 {
		return i
	}
	key := fold(id)
	if key == "" {
		return -1
	}
	return slices.IndexFunc(c.types, func(t Type) bool { return fold(t.ID) == key })
}

func (t Type) clone() Type {
	t.Attenuation = slices.Clone(t.Attenuation)
	return t
}

// Find returns the type with this id. Letter case and punctuation do not
// count where no id is spelled exactly so.
func (c *Catalogue) Find(id string) (Type, bool) {
	if c == nil {
		return Type{}, false
	}
	if i := c.index(id); i >= 0 {
		return c.types[i].clone(), true
	}
	return Type{}, false
}

// tokens are what a search word is matched against: runs of letters, of
// digits, and sizes such as 1-5/8 or .141 whole.
var tokens = regexp.MustCompile(`\d+-\d+/\d+|\d+/\d+|\d*\.\d+|\d+|[^\s\d"'/,;:()\-]+`)

// rank says how well a search word fits the type: 0 not at all, higher is
// better. The word may be of several tokens, such as rg-58 or 7/8-inch.
func (t *Type) rank(word string) int {
	word = strings.Trim(strings.ToLower(word), `"'`)
	words := tokens.FindAllString(word, -1)
	if len(words) == 0 {
		return 0
	}
	id := fold(t.ID)
	if fold(word) == id {
		return 4
	}
	text := strings.ToLower(fmt.Sprintf("%s %s %g ohm", t.ID, t.Name, t.ImpedanceOhm))
	if t.DiameterMM > 0 {
		text += fmt.Sprintf(" %g mm", t.DiameterMM)
	}
	have := tokens.FindAllString(text, -1)
	best := 3
	for _, w := range words {
		switch {
		case slices.Contains(have, w):
		case len(w) >= 2 && slices.ContainsFunc(have, func(h string) bool { return strings.HasPrefix(h, w) }):
			best = min(best, 2)
		default:
			best = 0
		}
	}
	if key := fold(word); best == 0 && len(key) >= 3 && (strings.Contains(id, key) || strings.Contains(fold(t.Name), key)) {
		best = 1
	}
	return best
}

// Search returns the types that every word fits, by id, name, size or
// impedance, the best first, otherwise in the order of the catalogue. Letter
// case does not count. No words return all.
func (c *Catalogue) Search(words ...string) []Type {
	if c == nil {
		return nil
	}
	type hit struct{ at, rank int }
	var hits []hit
next:
	for i := range c.types {
		total := 0
		for _, phrase := range words {
			for _, w := range strings.Fields(phrase) {
				r := c.types[i].rank(w)
				if r == 0 {
					continue next
				}
				total += r
			}
		}
		hits = append(hits, hit{i, total})
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return b.rank - a.rank })
	found := make([]Type, len(hits))
	for i, h := range hits {
		found[i] = c.types[h.at].clone()
	}
	return found
}

// SaveUserCable writes the type into the user's catalogue, in the place of the
// row with the same id or at the end. The rest of the file, comments included,
// stays as it is; the file is replaced as a whole or not at all. A type that
// cannot describe a cable is refused.
func SaveUserCable(t Type) error {
	path, err := UserCataloguePath()
	if err != nil {
		return err
	}
	return saveCable(path, t)
}

func saveCable(path string, t Type) error {
	for _, r := range t.unusable() {
		return fmt.Errorf("cable %q is not saved: %s", t.ID, r.text)
	}
	data, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return &FileError{File: path, Err: reason(err)}
	}
	old := strings.TrimPrefix(string(data), "\ufeff")
	root, err := readTOML(path, strings.NewReader(old))
	if err != nil {
		return fmt.Errorf("cable %q is not saved, because the catalogue is broken: %w", t.ID, err)
	}
	var row tables.Writer
	writeCable(&row, &t)
	block := strings.TrimPrefix(row.String(), "\n")
	text := ""
	if at := rowNamed(root, t.ID); at >= 0 {
		where, found := root.Place(fmt.Sprintf("cable[%d]", at))
		if !found {
			return &FileError{File: path, Err: fmt.Errorf("cable %q is not saved: its row is written inline; give it a heading [[cable]]", t.ID)}
		}
		head, rest := splitLines(old, where.Line-1)
		text = head + block + tables.AfterTable(rest)
	} else {
		text = strings.TrimRight(old, "\n")
		if text != "" {
			text += "\n\n"
		}
		text += block
	}
	back, err := ReadCatalogue(path, strings.NewReader(text))
	if err != nil {
		return fmt.Errorf("cable %q is not saved: %w", t.ID, err)
	}
	if _, found := back.Find(t.ID); !found {
		return &FileError{File: path, Err: fmt.Errorf("cable %q is not saved: its row was not found again", t.ID)}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return &FileError{File: path, Err: reason(err)}
	}
	return replaceFile(path, []byte(text))
}

// rowNamed returns the number of the row that Find would return, or -1.
func rowNamed(root *tables.Table, id string) int {
	return slices.IndexFunc(root.Tables("cable"), func(row *tables.Table) bool { return fold(row.Text("id")) == fold(id) })
}

// splitLines cuts text after n lines.
func splitLines(text string, n int) (head, rest string) {
	at := 0
	for range n {
		at += strings.IndexByte(text[at:], '\n') + 1
	}
	return text[:at], text[at:]
}
