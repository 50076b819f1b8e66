package sweep

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"unicode/utf8"
)

// ParseError is an error in a sweep file, with its place.
type ParseError struct {
	File   string // as it was given to the reader
	Line   int    // from 1; 0: the whole file
	Column int    // from 1, in bytes; 0: the whole line
	Err    error  // what is wrong and how to mend it
}

// Error returns "file:line:column: reason".
func (e *ParseError) Error() string {
	switch {
	case e.Line == 0:
		return fmt.Sprintf("%s: %v", e.File, e.Err)
	case e.Column == 0:
		return fmt.Sprintf("%s:%d: %v", e.File, e.Line, e.Err)
	}
	return fmt.Sprintf("%s:%d:%d: %v", e.File, e.Line, e.Column, e.Err)
}

// Unwrap returns the reason.
func (e *ParseError) Unwrap() error { return e.Err }

const (
	maxLineBytes = 64 << 10
	maxLines     = 2 * MaxPoints // comments and blank lines included
)

var (
	errBinary = errors.New("this is a binary file, not text: export the sweep as Touchstone (.s1p) or CSV")
	errUTF16  = errors.New("the text is stored as UTF-16: save it as plain text (ASCII or UTF-8)")
)

// lineReader hands out the lines of a text one by one, in bounded memory.
type lineReader struct {
	file    string
	scanner *bufio.Scanner
	number  int    // of the line in text, from 1
	text    []byte // without its end; valid until the next call of next
}

func newLineReader(file string, r io.Reader) *lineReader {
	l := &lineReader{file: file, scanner: bufio.NewScanner(r)}
	l.scanner.Buffer(make([]byte, 0, maxLineBytes), maxLineBytes)
	l.scanner.Split(splitLine)
	return l
}

// splitLine is a bufio.SplitFunc for lines that end in LF, CR LF or CR.
func splitLine(data []byte, atEOF bool) (advance int, token []byte, err error) {
	end := bytes.IndexByte(data, '\n')
	head := data
	if end >= 0 {
		head = data[:end]
	}
	if cr := bytes.IndexByte(head, '\r'); cr >= 0 {
		switch {
		case cr+1 < len(data) && data[cr+1] == '\n':
			return cr + 2, data[:cr], nil
		case cr+1 < len(data) || atEOF:
			return cr + 1, data[:cr], nil
		}
		return 0, nil, nil // the byte after CR decides
	}
	if end >= 0 {
		return end + 1, head, nil
	}
	if atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}

// next steps to the next line; io.EOF after the last.
func (l *lineReader) next() error {
	if !l.scanner.Scan() {
		err := l.scanner.Err()
		l.text = nil
		switch {
		case err == nil:
			return io.EOF
		case errors.Is(err, bufio.ErrTooLong):
			l.number++
			return l.at(1, fmt.Errorf("the line is longer than %d bytes: this is not a sweep file; export the sweep again", maxLineBytes))
		}
		return &ParseError{File: l.file, Line: l.number + 1, Err: fmt.Errorf("reading stopped: %w", err)}
	}
	l.number++
	l.text = l.scanner.Bytes()
	if l.number == 1 {
		if bytes.HasPrefix(l.text, []byte("\xff\xfe")) || bytes.HasPrefix(l.text, []byte("\xfe\xff")) {
			return l.at(1, errUTF16)
		}
		l.text = bytes.TrimPrefix(l.text, []byte("\xef\xbb\xbf"))
	}
	if l.number > maxLines {
		return l.at(1, fmt.Errorf("the file has more than %d lines: split it, or export fewer points", maxLines))
	}
	for i, c := range l.text {
		if c < ' ' && c != '\t' {
			return l.at(i+1, errBinary)
		}
	}
	return nil
}

// at is an error at a column, from 1, of the present line.
func (l *lineReader) at(column int, err error) error {
	return &ParseError{File: l.file, Line: l.number, Column: column, Err: err}
}

// cleanText returns b as valid UTF-8; bytes that are none are taken as Latin-1.
func cleanText(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	runes := make([]rune, len(b))
	for i, c := range b {
		runes[i] = rune(c)
	}
	return string(runes)
}

// field is a blank-separated word of a line.
type field struct {
	text   []byte
	column int // from 1
}

// nextField returns the first field of line at or after the offset, and the
// offset behind it; an empty field at the end of the line.
func nextField(line []byte, offset int) (field, int) {
	for offset < len(line) && (line[offset] == ' ' || line[offset] == '\t') {
		offset++
	}
	start := offset
	for offset < len(line) && line[offset] != ' ' && line[offset] != '\t' {
		offset++
	}
	return field{line[start:offset], start + 1}, offset
}

// parseNumber reads a finite decimal number times 10^shift, rounded once.
func parseNumber(text []byte, shift int) (float64, error) {
	exponentAt := -1
	for i, c := range text {
		switch {
		case c >= '0' && c <= '9' || c == '+' || c == '-' || c == '.':
		case (c == 'e' || c == 'E') && exponentAt < 0:
			exponentAt = i
		default:
			return 0, badNumber(text)
		}
	}
	var value float64
	var err error
	if shift == 0 {
		value, err = strconv.ParseFloat(string(text), 64)
	} else {
		mantissa := text
		if exponentAt >= 0 {
			mantissa = text[:exponentAt]
			own, failed := strconv.Atoi(string(text[exponentAt+1:]))
			if failed != nil || own < -9999 || own > 9999 {
				return 0, badNumber(text)
			}
			shift += own
		}
		var room [48]byte
		shifted := append(room[:0], mantissa...)
		shifted = append(shifted, 'e')
		shifted = strconv.AppendInt(shifted, int64(shift), 10)
		value, err = strconv.ParseFloat(string(shifted), 64)
	}
	if err != nil {
		return 0, badNumber(text)
	}
	return value, nil
}

// badNumber says why text is no finite number.
func badNumber(text []byte) error {
	shown := text
	if len(shown) > 40 {
		shown = shown[:40]
	}
	quoted := strconv.Quote(cleanText(shown))
	value, err := strconv.ParseFloat(string(text), 64)
	switch {
	case err == nil && math.IsNaN(value):
		return fmt.Errorf("%s is not a measured value: delete the point or export the sweep again", quoted)
	case math.IsInf(value, 0):
		return fmt.Errorf("%s is not a finite number: delete the point or export the sweep again", quoted)
	case bytes.IndexByte(text, ',') >= 0:
		return fmt.Errorf("%s is not a number: use a decimal point, and blanks between numbers", quoted)
	}
	return fmt.Errorf("%s is not a number: correct it or delete the line", quoted)
}

// formatHz writes a frequency in the shortest form that reads back exactly,
// without an exponent.
func formatHz(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
