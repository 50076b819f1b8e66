package batch

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"downlead/dsp/sweep"
)

// Record is a file of rows, open for more of them.
type Record struct{ file *os.File }

// done is what tells whether a sweep is to be judged again.
type done struct {
	stamp
	judgedBy uint64
	tryAgain bool
}

// mostRowBytes is how long a row may be.
const mostRowBytes = 4 << 20

// Resume opens the record at path, or makes one, and returns which of the items
// have no row in it that still holds. Rows of those are taken out of the record,
// as is half a row at its end. judgedBy says what a sweep is judged by now. It is
// an error, and nothing is changed, when the file is no record.
func Resume(ctx context.Context, path string, items []Item, judgedBy func(path string) string) (r *Record, todo []Item, err error) {
	if err := repair(path); err != nil {
		return nil, nil, err
	}
	have, rows := map[uint64]done{}, 0
	err = scanOne(0, path, func(_ place, row *Row) error {
		rows++
		have[key(row.Path)] = done{stamp{row.Bytes, row.Modified.UnixNano()}, hash(row.JudgedBy), row.TryAgain}
		return nil
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, err
	}
	stale := map[uint64]bool{}
	for _, item := range items {
		k := key(item.Path)
		was, has := have[k]
		if has && was.holds(item.Path, judgedBy(item.Path)) {
			continue
		}
		todo = append(todo, item)
		if has {
			stale[k] = true
		}
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
	}
	if len(stale) > 0 || rows > len(have) {
		err := writeRecord(ctx, path, []string{path}, func(row *Row) bool { return !stale[key(row.Path)] })
		if err != nil {
			return nil, nil, err
		}
	}
	r = &Record{}
	if r.file, err = os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o666); err != nil {
		return nil, nil, err
	}
	return r, todo, nil
}

// holds says whether a row need not be made again.
func (d done) holds(path, judgedBy string) bool {
	if d.tryAgain || judgedBy == "" || d.judgedBy != hash(judgedBy) {
		return false
	}
	info, err := os.Stat(path)
	return err == nil && stampOf(info) == d.stamp
}

// key is the hash of a path as a row has it.
func key(path string) uint64 { return hash(strings.ToValidUTF8(path, "\uFFFD")) }

// repair ends the file at path with a whole row. A last line without an end that
// is a row all the same gets its end.
func repair(path string) error {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer file.Close()
	size, err := file.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	tail := make([]byte, min(size, mostRowBytes))
	if _, err := file.ReadAt(tail, size-int64(len(tail))); err != nil && err != io.EOF {
		return err
	}
	if len(tail) == 0 || tail[len(tail)-1] == '\n' {
		return nil
	}
	half := tail[bytes.LastIndexByte(tail, '\n')+1:]
	if _, err := parseRow(half); err == nil {
		_, err = file.WriteAt([]byte{'\n'}, size)
		return err
	}
	// Half a row begins as a row does; anything else is not ours to cut.
	begin := []byte(`{"schema":"` + Schema + `"`)
	if n := min(len(half), len(begin)); !bytes.Equal(half[:n], begin[:n]) {
		return fmt.Errorf("%s is not a record of sweeps: it ends in %q; choose another name", path, bounded(half))
	}
	return file.Truncate(size - int64(len(half)))
}

func bounded(text []byte) []byte { return text[:min(len(text), 40)] }

// Add writes a row.
func (r *Record) Add(row *Row) error {
	text, err := row.line()
	if err != nil {
		return err
	}
	if _, err := r.file.Write(text); err != nil {
		return fmt.Errorf("the record: %w", err)
	}
	return nil
}

// Close flushes the record to the disk.
func (r *Record) Close() error { return errors.Join(r.file.Sync(), r.file.Close()) }

// place is where a row stands: line of which file.
type place struct{ file, line int }

// Rows gives each the rows of the records at paths, of several rows of a sweep
// the last, in the order of the files. Half a row at the end of a file counts for
// nothing: it may be in the writing.
func Rows(paths []string, each func(*Row) error) error {
	last := map[uint64]place{}
	err := scan(paths, func(at place, row *Row) error {
		last[key(row.Path)] = at
		return nil
	})
	if err != nil {
		return err
	}
	return scan(paths, func(at place, row *Row) error {
		if last[key(row.Path)] != at {
			return nil
		}
		return each(row)
	})
}

func scan(paths []string, each func(place, *Row) error) error {
	for i, path := range paths {
		if err := scanOne(i, path, each); err != nil {
			return err
		}
	}
	return nil
}

func scanOne(number int, path string, each func(place, *Row) error) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	return scanText(number, path, file, each)
}

func scanText(number int, path string, text io.Reader, each func(place, *Row) error) error {
	lines := bufio.NewReaderSize(text, 64<<10)
	for n, end := 1, false; !end; n++ {
		text, err := readLine(lines)
		if end = err == io.EOF; err != nil && !end {
			return fmt.Errorf("%s:%d: %w", path, n, err)
		}
		if len(bytes.TrimSpace(text)) == 0 {
			continue
		}
		row, err := parseRow(text)
		switch {
		case err != nil && end:
			return nil
		case err != nil:
			return fmt.Errorf("%s:%d: this is no row of a record: %w; delete the line, or choose another file", path, n, err)
		}
		if err := each(place{number, n}, row); err != nil {
			return err
		}
	}
	return nil
}

// readLine reads a line; with io.EOF the rest of the text, which no line end follows.
func readLine(r *bufio.Reader) ([]byte, error) {
	var whole []byte
	for {
		part, err := r.ReadSlice('\n')
		if err == nil && whole == nil {
			return part, nil
		}
		whole = append(whole, part...)
		switch {
		case err == nil:
			return whole, nil
		case !errors.Is(err, bufio.ErrBufferFull):
			return whole, err
		case len(whole) > mostRowBytes:
			return nil, errors.New("the line is too long to be a row of a record")
		}
	}
}

// WriteRecord writes the rows of records into one at path, as a whole or not at
// all. path may be one of them.
func WriteRecord(ctx context.Context, path string, from []string) error {
	return writeRecord(ctx, path, from, func(*Row) bool { return true })
}

func writeRecord(ctx context.Context, path string, from []string, keep func(*Row) bool) error {
	return sweep.ReplaceFile(path, func(w io.Writer) error {
		b := bufio.NewWriter(w)
		err := Rows(from, func(row *Row) error {
			if !keep(row) {
				return ctx.Err()
			}
			text, err := row.line()
			if err != nil {
				return err
			}
			_, err = b.Write(text)
			return errors.Join(err, ctx.Err())
		})
		return errors.Join(err, b.Flush())
	})
}

// Table writes rows as CSV.
type Table struct{ csv *csv.Writer }

// NewTable writes the titles.
func NewTable(w io.Writer) (*Table, error) {
	t := &Table{csv.NewWriter(w)}
	return t, t.csv.Write(Columns())
}

// Add writes a row.
func (t *Table) Add(row *Row) error { return t.csv.Write(row.Fields()) }

// Flush writes what is still held.
func (t *Table) Flush() error {
	t.csv.Flush()
	return t.csv.Error()
}
