package sweep

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// Read reads the sweep file at path: Touchstone, or CSV with named columns.
// The beginning of the file decides which where it can (a Touchstone comment,
// option line or keyword; a row of titles), else the extension does. A scalar
// CSV file gives an error with ErrScalar in its chain; ReadScalarFile takes it.
// Errors in the content are of type *ParseError.
func Read(path string) (*Sweep, error) {
	file, err := open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return Decode(path, file)
}

// Decode reads a sweep from r as Read does; path is its name, for its extension
// and for errors.
func Decode(path string, r io.Reader) (*Sweep, error) {
	b := bufio.NewReaderSize(r, maxLineBytes)
	head, err := b.Peek(headBytes)
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("reading sweep %s: %w", path, err)
	}
	if isCSV(path, head) {
		return ReadCSV(path, b)
	}
	return ReadTouchstone(path, b)
}

// ReadScalarFile reads the scalar CSV file at path. See ReadScalar.
func ReadScalarFile(path string) (*Scalar, error) {
	file, err := open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return ReadScalar(path, file)
}

// headBytes is how much of a file decides on its kind.
const headBytes = 4 << 10

// open opens a file for reading.
func open(path string) (*os.File, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("reading sweep: %w", err)
	}
	if info, err := file.Stat(); err == nil && info.IsDir() {
		file.Close()
		return nil, &ParseError{File: path, Err: errors.New("this is a folder: name the sweep file in it")}
	}
	return file, nil
}

// isCSV says whether a file that begins with head is to be read as CSV.
func isCSV(path string, head []byte) bool {
	byName := strings.EqualFold(filepath.Ext(path), ".csv")
	head = bytes.TrimPrefix(head, []byte("\xef\xbb\xbf"))
	for line := range bytes.FieldsFuncSeq(head, func(r rune) bool { return r == '\n' || r == '\r' }) {
		line = bytes.TrimLeft(line, " \t")
		if len(line) == 0 {
			continue
		}
		switch first := line[0]; {
		case first == '[':
			return false
		case first == '!':
			if !byName {
				return false
			}
		case first == '#':
			if isOptionLine(line) {
				return false
			}
		case first >= '0' && first <= '9' || first == '-' || first == '+' || first == '.':
			return byName || bytes.ContainsAny(line, ",;")
		default: // a title, if there is something to part it from the next
			return byName || bytes.ContainsAny(line, ",;") || bytes.IndexByte(line, '\t') > 0
		}
	}
	return byName
}

// isOptionLine says whether a line that begins with # has nothing but words
// of an option line on it.
func isOptionLine(line []byte) bool {
	words := strings.Fields(strings.ToUpper(string(line[1:])))
	for _, word := range words {
		switch word {
		case "HZ", "KHZ", "MHZ", "GHZ", "S", "Y", "Z", "H", "G", "MA", "DB", "RI", "R":
		default:
			if _, err := parseNumber([]byte(word), 0); err != nil {
				return false
			}
		}
	}
	return len(words) > 0
}
