package investigation

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"downlead/cables/tables"
)

// Opened is an investigation as it was read, with what is the matter with the
// files that it names.
type Opened struct {
	Document Document
	Problems []Problem
	// Unsaved is set where this is no investigation that somebody saved, but what
	// the program kept of one.
	Unsaved *Unsaved
}

// Unsaved says what an investigation was when the program kept it.
type Unsaved struct {
	Of      string // the file that it belongs to; "": it was never saved
	Process int    // that kept it
	At      time.Time
}

// Problem is something the matter with a file that an investigation names.
type Problem struct {
	What string // "the sweep"
	File string
	Text string // what is the matter, and the mend
	Used bool   // it is used all the same
}

func (p Problem) String() string { return fmt.Sprintf("%s, %s, %s", p.What, p.File, p.Text) }

// Is says whether the plain file at path calls itself an investigation, of
// whatever version.
func Is(path string) bool {
	f, err := openPlain(path)
	if err != nil {
		return false
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for n := 0; n < 200 && lines.Scan(); n++ {
		line := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if strings.HasPrefix(line, "[") {
			return false
		}
		if key, value, has := strings.Cut(line, "="); has && strings.Trim(strings.TrimSpace(key), `"'`) == "schema" {
			return strings.HasPrefix(strings.TrimLeft(value, ` "'`), schema)
		}
	}
	return false
}

// Open reads the investigation at path and the files that it names. Those that
// are missing or changed are told in Problems and not used. A file that cannot be
// an investigation is an error with its place and the mend.
func Open(path string) (*Opened, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	f, err := openPlain(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	self, err := f.Stat()
	if err != nil {
		return nil, about(path, err)
	}
	d, err := decode(path, f)
	if err != nil {
		return nil, err
	}
	folder, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, about(path, err)
	}
	defer folder.Close()
	l := &loader{record: d, folder: folder, self: self}
	return l.load()
}

// loader reads the files that a record names.
type loader struct {
	*record
	folder   *os.Root
	self     os.FileInfo
	problems []Problem
	err      error // for which the whole is refused
}

func (l *loader) load() (*Opened, error) {
	s := &l.Standards
	for _, one := range []struct {
		what, key string
		source    *Source
	}{{"the sweep", "sweep", &l.Sweep}, {"the earlier sweep", "earlier", &l.Baseline},
		{"the sweep of the open", "calibration.open", &s.Open}, {"the sweep of the short", "calibration.short", &s.Short}, {"the sweep of the load", "calibration.load", &s.Load}} {
		one.source.Sweep = take(l, one.what, one.key, &one.source.Path, &one.source.SHA256, decodeSweep)
	}
	s.Kit = take(l, "the definitions of the standards", "calibration.kit", &s.KitPath, &s.KitSHA256, decodeKit)
	if l.LineNew {
		if l.LinePath != "" {
			l.LinePath = l.absolute(l.LinePath)
		}
	} else if l.Line = take(l, "the line", "line", &l.LinePath, &l.LineSHA256, decodeLine); l.Line != nil && l.cablesSum != "" {
		if sum, err := cablesSum(l.Line); err != nil || sum != l.cablesSum {
			l.problems = append(l.problems, Problem{What: "the line", File: l.LinePath, Used: true,
				Text: "names cables of the catalogue that are not what they were when this was saved; the present ones are used, and distances may differ"})
		}
	}
	if l.err != nil {
		return nil, l.err
	}
	return &Opened{Document: l.Document, Problems: l.problems, Unsaved: l.unsaved}, nil
}

func (l *loader) absolute(path string) string {
	return filepath.Join(l.folder.Name(), filepath.FromSlash(path))
}

// take reads the file that is named under key. It makes the path absolute; the
// value is the zero one where the file cannot be used.
func take[T any](l *loader, what, key string, path, sum *string, decode func(string, io.Reader) (T, string, error)) (value T) {
	var none T
	if *path == "" || l.err != nil {
		return none
	}
	name := filepath.FromSlash(*path)
	*path = l.absolute(*path)
	problem := func(used bool, format string, args ...any) {
		l.problems = append(l.problems, Problem{What: what, File: *path, Used: used, Text: fmt.Sprintf(format, args...)})
	}
	refuse := func(format string, args ...any) {
		where, _ := l.root.Place(key + ".file")
		l.err = &tables.FileError{File: l.root.File(), Line: where.Line, Column: where.Column, Err: fmt.Errorf("%s, %s: %w", what, name, fmt.Errorf(format, args...))}
	}
	info, err := l.folder.Stat(name)
	switch {
	case os.IsNotExist(err):
		problem(false, "is missing; put it back, or open %s anew", what)
		return none
	case err != nil:
		problem(false, "cannot be read (%v); a link must not lead out of the folder: copy the file there, or open %s anew", cause(err), what)
		return none
	case os.SameFile(info, l.self):
		refuse("an investigation cannot be its own measurement; name another file")
		return none
	case !info.Mode().IsRegular():
		refuse("%w", errNotPlain)
		return none
	}
	f, err := plain(name, l.folder.Stat, l.folder.OpenFile)
	if err != nil {
		problem(false, "cannot be read (%v)", cause(err))
		return none
	}
	defer f.Close()
	value, got, err := decode(*path, f)
	switch {
	case *sum != "" && got != *sum:
		problem(false, "is not what it was when this was saved (another SHA-256), so it is not used; put the old one back, or open %s anew to take it as it is now", what)
		return none
	case err != nil:
		problem(false, "cannot be used: %v", err)
		return none
	case *sum == "":
		problem(true, "has no SHA-256 in the investigation, so a change of it would not be noticed; save the investigation")
		*sum = got
	}
	return value
}

// cause is an error of the file system without the path, which is told beside it.
func cause(err error) error {
	var place *os.PathError
	if errors.As(err, &place) {
		return place.Err
	}
	return err
}
