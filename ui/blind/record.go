package blind

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"downlead/dsp/sweep"
)

// Row is one line of a record.
type Row struct {
	At            time.Time
	Trainee       string
	Level         int
	Seed          uint64
	Points        float64
	Faults, Found int     // in the line, and marked
	Causes        int     // named right or alike
	FalseMarks    int     //
	MeanOffM      float64 // of the faults found, m; 0 without any
}

// RowOf sums up a result for a record.
func RowOf(trainee string, at time.Time, c *Case, r Result) Row {
	row := Row{At: at.UTC().Truncate(time.Second), Trainee: strings.TrimSpace(trainee), Level: c.Difficulty, Seed: c.Seed, Points: r.Points, Faults: len(r.Faults), FalseMarks: len(r.FalseMarks)}
	for _, o := range r.Faults {
		if o.Mark < 0 {
			continue
		}
		row.Found++
		row.MeanOffM += o.OffM
		if o.Cause > 0 {
			row.Causes++
		}
	}
	row.MeanOffM /= float64(max(row.Found, 1))
	return row
}

// Of returns the rows of one trainee, in their order.
func Of(rows []Row, trainee string) []Row {
	var out []Row
	for _, r := range rows {
		if r.Trainee == strings.TrimSpace(trainee) {
			out = append(out, r)
		}
	}
	return out
}

// LevelSum sums up what was done on one level.
type LevelSum struct {
	Level, Cases int
	Points       float64 // mean
}

// ByLevel sums rows up by their levels, the lowest first.
func ByLevel(rows []Row) []LevelSum {
	var out []LevelSum
	for _, r := range rows {
		at, found := slices.BinarySearchFunc(out, r.Level, func(l LevelSum, level int) int { return cmp.Compare(l.Level, level) })
		if !found {
			out = slices.Insert(out, at, LevelSum{Level: r.Level})
		}
		l := &out[at]
		l.Points = (l.Points*float64(l.Cases) + r.Points) / float64(l.Cases+1)
		l.Cases++
	}
	return out
}

func columns() []string {
	return []string{"at_utc", "trainee", "level", "seed", "points", "faults", "found", "causes_right", "false_marks", "mean_off_m"}
}

// mostRecordBytes is how large a record may be, mostName how long a name, in characters.
const (
	mostRecordBytes = 16 << 20
	mostName        = 60
)

// CheckName says what is wrong with a trainee's name: it must be short and hold
// letters, digits, spaces, dots, dashes and apostrophes only, so that no table
// program takes it for a formula. Any name will do, or a number.
func CheckName(name string) error {
	name = strings.TrimSpace(name)
	switch {
	case name == "":
		return errors.New("a name is missing; any word that tells the trainees apart will do")
	case utf8.RuneCountInString(name) > mostName:
		return fmt.Errorf("the name has more than %d characters; shorten it", mostName)
	}
	for i, r := range name {
		if !(unicode.IsLetter(r) || unicode.IsDigit(r) || i > 0 && (unicode.IsMark(r) || strings.ContainsRune(" .-'", r))) {
			return fmt.Errorf("the name %q holds %q; use letters, digits, spaces, dots, dashes and apostrophes, a letter or digit first", name, r)
		}
	}
	return nil
}

// Append adds a row to the record at path, which it makes where there is none.
// The file is replaced as a whole or not at all. A file that is no record is
// left as it is, and an error says so.
func Append(path string, row Row) error {
	if err := CheckName(row.Trainee); err != nil {
		return err
	}
	var have []byte
	switch f, err := os.Open(path); {
	case err == nil:
		have, err = io.ReadAll(io.LimitReader(f, mostRecordBytes+1))
		f.Close()
		if err != nil {
			return fmt.Errorf("reading the record: %w", err)
		}
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("reading the record: %w", err)
	}
	if len(have) > 0 {
		if _, err := decode(path, bytes.NewReader(have)); err != nil {
			return err
		}
		if have[len(have)-1] != '\n' {
			have = append(have, '\n')
		}
	}
	var b bytes.Buffer
	b.Write(have)
	w := csv.NewWriter(&b)
	if len(have) == 0 {
		w.Write(columns())
	}
	w.Write(row.fields())
	w.Flush() // into memory, which does not fail
	err := sweep.ReplaceFile(path, func(out io.Writer) error {
		_, err := out.Write(b.Bytes())
		return err
	})
	if err != nil {
		return fmt.Errorf("adding to the record: %w", err)
	}
	return nil
}

func (r *Row) fields() []string {
	return []string{r.At.UTC().Format(time.RFC3339), r.Trainee, strconv.Itoa(r.Level), strconv.FormatUint(r.Seed, 10), strconv.FormatFloat(r.Points, 'f', 1, 64),
		strconv.Itoa(r.Faults), strconv.Itoa(r.Found), strconv.Itoa(r.Causes), strconv.Itoa(r.FalseMarks), strconv.FormatFloat(r.MeanOffM, 'f', 2, 64)}
}

// Read reads a record. Errors are "file:line: reason; mend".
func Read(path string) ([]Row, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return decode(path, f)
}

func decode(name string, r io.Reader) ([]Row, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostRecordBytes+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: reading: %w", name, err)
	case len(data) > mostRecordBytes:
		return nil, fmt.Errorf("%s: larger than %d MB; this is not a record of results", name, mostRecordBytes>>20)
	}
	table := csv.NewReader(bytes.NewReader(data))
	table.FieldsPerRecord = -1
	var rows []Row
	for first := true; ; first = false {
		fields, err := table.Read()
		if errors.Is(err, io.EOF) {
			if first {
				return nil, fmt.Errorf("%s: the file is empty; this is not a record of results", name)
			}
			return rows, nil
		}
		var syntax *csv.ParseError
		if errors.As(err, &syntax) {
			return nil, fmt.Errorf("%s:%d: %v; mend the row, or take it out", name, syntax.Line, syntax.Err)
		} else if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		line, _ := table.FieldPos(0)
		if first {
			if !slices.Equal(fields, columns()) {
				return nil, fmt.Errorf("%s:%d: this is not a record of results, whose first line is %s; choose another file", name, line, strings.Join(columns(), ","))
			}
			continue
		}
		row, err := rowOf(fields)
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w; mend the row, or take it out", name, line, err)
		}
		rows = append(rows, row)
	}
}

func rowOf(fields []string) (row Row, err error) {
	if len(fields) != len(columns()) {
		return row, fmt.Errorf("%d values instead of %d", len(fields), len(columns()))
	}
	wrong := func(i int) (Row, error) { return Row{}, fmt.Errorf("%s cannot be %q", columns()[i], fields[i]) }
	if row.At, err = time.Parse(time.RFC3339, fields[0]); err != nil {
		return wrong(0)
	}
	if err := CheckName(fields[1]); err != nil {
		return Row{}, err
	}
	row.Trainee = fields[1]
	if row.Seed, err = strconv.ParseUint(fields[3], 10, 64); err != nil {
		return wrong(3)
	}
	for i, into := range []*int{2: &row.Level, 5: &row.Faults, 6: &row.Found, 7: &row.Causes, 8: &row.FalseMarks} {
		if into == nil {
			continue
		}
		if *into, err = strconv.Atoi(fields[i]); err != nil || *into < 0 {
			return wrong(i)
		}
	}
	for i, into := range []*float64{4: &row.Points, 9: &row.MeanOffM} {
		if into == nil {
			continue
		}
		if *into, err = strconv.ParseFloat(fields[i], 64); err != nil || !(*into >= 0 && *into <= 1e6) {
			return wrong(i)
		}
	}
	return row, nil
}
