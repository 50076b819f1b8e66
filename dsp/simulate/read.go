package simulate

import (
	"cmp"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"

	"downlead/cables"
)

// Bounds of a scenario file: the TOML parser recurses into brackets.
const (
	mostBytes = 1 << 20
	mostDepth = 32
)

// file is a scenario as written.
type file struct {
	Name     string       `toml:"name"`
	Seed     uint64       `toml:"seed"`
	Baseline bool         `toml:"baseline"`
	Line     any          `toml:"line"` // a path; tables are read by package cables
	Sweep    sweepTable   `toml:"sweep"`
	Faults   []Fault      `toml:"fault"`
	AsBuilt  AsBuilt      `toml:"as_built"`
	Antenna  AntennaModel `toml:"antenna"`
	Errors   Instrument   `toml:"instrument"`
}

// sweepTable is [sweep]: one segment in place, or [[sweep.segment]].
type sweepTable struct {
	Segment
	Segments []Segment `toml:"segment"`
}

// ReadScenario reads a scenario file. A line given as a path is read relative
// to the file. Errors are *cables.FileError: "file:line:column: reason; mend".
func ReadScenario(path string) (*Scenario, error) {
	f, err := os.Open(path)
	if err != nil {
		var place *os.PathError
		if errors.As(err, &place) {
			err = fmt.Errorf("%s: %w", place.Op, place.Err)
		}
		return nil, &cables.FileError{File: path, Err: err}
	}
	defer f.Close()
	return decode(path, f, func(linePath string) (*cables.Line, error) {
		if !filepath.IsAbs(linePath) {
			linePath = filepath.Join(filepath.Dir(path), linePath)
		}
		return cables.ReadLine(linePath)
	})
}

// DecodeScenario reads a scenario from r; name is the file's name for errors.
// The line must be inside. Errors are as those of ReadScenario.
func DecodeScenario(name string, r io.Reader) (*Scenario, error) {
	return decode(name, r, func(string) (*cables.Line, error) {
		return nil, errors.New("a line file can be named only in a scenario file; put the line's tables here")
	})
}

func decode(name string, r io.Reader, readLine func(string) (*cables.Line, error)) (*Scenario, error) {
	whole := func(format string, args ...any) error {
		return &cables.FileError{File: name, Err: fmt.Errorf(format, args...)}
	}
	data, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return nil, whole("reading: %w", err)
	}
	if len(data) > mostBytes {
		return nil, whole("larger than %d MB; this is not a scenario", mostBytes>>20)
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	if nesting(text) > mostDepth {
		return nil, whole("brackets nest more than %d deep; this is not a scenario", mostDepth)
	}
	lines := strings.Split(text, "\n")
	at := func(table string, index int, key string, err error) error {
		line, column := find(lines, table, index, key)
		return &cables.FileError{File: name, Line: line, Column: column, Err: err}
	}
	rest, inline := separate(lines)
	var f file
	meta, err := toml.Decode(rest, &f)
	if err != nil {
		var syntax toml.ParseError
		if errors.As(err, &syntax) {
			return nil, &cables.FileError{File: name, Line: max(syntax.Position.Line, 1), Column: max(syntax.Position.Col, 1),
				Err: fmt.Errorf("%s; mend the TOML", strings.TrimSuffix(syntax.Message, "."))}
		}
		// Wrong types come as "toml: line N (last key ...): ...".
		if m := regexp.MustCompile(`^toml: line (\d+) (.*)$`).FindStringSubmatch(err.Error()); m != nil {
			number, _ := strconv.Atoi(m[1]) // digits by the pattern
			return nil, &cables.FileError{File: name, Line: number, Column: 1, Err: fmt.Errorf("%s; mend the TOML", m[2])}
		}
		return nil, whole("%w; mend the TOML", err)
	}
	for _, key := range meta.Undecoded() {
		table, last := strings.Join(key[:len(key)-1], "."), key[len(key)-1]
		for index := 0; ; index++ { // which of several tables of that name has it
			line, column, exact := findExact(lines, table, index, last)
			if exact || index > 60 {
				return nil, &cables.FileError{File: name, Line: max(line, 1), Column: max(column, 1),
					Err: fmt.Errorf("%s is not a setting of a scenario; remove it or mend its spelling", key)}
			}
		}
	}
	s := &Scenario{Name: f.Name, Seed: f.Seed, Baseline: f.Baseline, Faults: f.Faults, AsBuilt: f.AsBuilt, Antenna: f.Antenna, Errors: f.Errors}
	switch line := f.Line.(type) {
	case nil:
		if inline == "" {
			return nil, at("", 0, "line", s.Check())
		}
		if s.Line, err = cables.DecodeLine(name, strings.NewReader(inline)); err != nil {
			return nil, err
		}
	case string:
		if inline != "" {
			return nil, at("", 0, "line", errors.New("both a line file and line tables; leave one out"))
		}
		if s.Line, err = readLine(line); err != nil {
			return nil, at("", 0, "line", err)
		}
	default:
		return nil, at("", 0, "line", errors.New("line is the path of a line file in quotes, or the tables [line], [[line.section]] and so on, each under its own heading"))
	}
	s.Sweep.Segments = f.Sweep.Segments
	if f.Sweep.Segment != (Segment{}) {
		if len(f.Sweep.Segments) > 0 {
			return nil, at("sweep", 0, "", errors.New("both low_hz, high_hz, points and segments; leave one out"))
		}
		s.Sweep.Segments = []Segment{f.Sweep.Segment}
	}
	if err := s.Check(); err != nil {
		var place *placeError
		if errors.As(err, &place) {
			return nil, at(place.table, place.index, place.key, err)
		}
		return nil, whole("%w", err)
	}
	s.Name = cmp.Or(s.Name, s.Line.Name)
	return s, nil
}

// heading matches the heading of a table or of a table of an array.
func heading() *regexp.Regexp {
	return regexp.MustCompile(`^\s*(\[\[?)\s*([A-Za-z0-9_][A-Za-z0-9_.-]*)\s*\]\]?\s*(#.*)?$`)
}

// separate splits a scenario into the text without its line tables and the
// line file that they make, each line at its own number.
func separate(lines []string) (rest, line string) {
	match := heading()
	restLines, lineLines := make([]string, len(lines)), make([]string, len(lines))
	inside, found := false, false
	for i, text := range lines {
		if m := match.FindStringSubmatch(strings.TrimSuffix(text, "\r")); m != nil {
			inside = m[2] == "line" || strings.HasPrefix(m[2], "line.")
			if inside {
				found = true
				if m[2] != "line" { // the heading of [line] itself is the top of a line file
					lineLines[i] = strings.Replace(text, m[2], strings.TrimPrefix(m[2], "line."), 1)
				}
				continue
			}
		}
		if inside {
			lineLines[i] = text
		} else {
			restLines[i] = text
		}
	}
	if found {
		line = strings.Join(lineLines, "\n") + "\n"
	}
	return strings.Join(restLines, "\n"), line
}

// find returns the place of a key in the index-th table of a name, or of its
// heading when the key is not there; 1-based.
func find(lines []string, table string, index int, key string) (line, column int) {
	line, column, _ = findExact(lines, table, index, key)
	return max(line, 1), max(column, 1)
}

func findExact(lines []string, table string, index int, key string) (line, column int, exact bool) {
	match := heading()
	current, seen := "", map[string]int{}
	indent := func(text string) int { return len(text) - len(strings.TrimLeft(text, " \t")) + 1 }
	for i, text := range lines {
		if m := match.FindStringSubmatch(strings.TrimSuffix(text, "\r")); m != nil {
			current = m[2]
			seen[current]++
			if current == table && seen[current] == index+1 {
				line, column = i+1, indent(text)
			}
			continue
		}
		if current == table && (table == "" || seen[current] == index+1) && key != "" {
			name, _, ok := strings.Cut(text, "=")
			if ok && strings.Trim(name, " \t\"'") == key {
				return i + 1, indent(text), true
			}
		}
	}
	return line, column, false
}

// nesting is how deep the brackets of a text nest, strings and comments left out
// roughly.
func nesting(text string) int {
	deepest, now := 0, 0
	for _, line := range strings.Split(text, "\n") {
		deepest = max(deepest, strings.Count(line, "."))
		var quote byte
		for i := 0; i < len(line); i++ {
			c := line[i]
			switch {
			case quote != 0:
				if c == quote {
					quote = 0
				}
			case c == '"' || c == '\'':
				quote = c
			case c == '#':
				i = len(line)
			case c == '[' || c == '{':
				now++
				deepest = max(deepest, now)
			case c == ']' || c == '}':
				now--
			}
		}
	}
	return deepest
}

//go:embed demo/scenario.toml
var demoText string

// Demo returns the scenario of the demonstration: a site of our own invention
// with a fault worth finding.
func Demo() (*Scenario, error) {
	return DecodeScenario("demo/scenario.toml", strings.NewReader(demoText))
}
