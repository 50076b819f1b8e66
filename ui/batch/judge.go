package batch

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"downlead/cables"
	"downlead/dsp/diagnose"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
	"downlead/ui/investigation"
)

// Judge judges sweep files. Set its fields before the first use; then it serves
// any number of goroutines.
type Judge struct {
	LineFile string // the line of all sweeps; "": each has its own beside it
	Quick    bool   // places only, no causes
	Settings diagnose.Settings
	// Correct takes the instrument's errors out of each sweep before it is judged;
	// nil: they are judged as they are. CorrectedBy is a fingerprint of what it does.
	Correct     func(raw *sweep.Sweep) (*sweep.Sweep, error)
	CorrectedBy string

	lock  sync.Mutex
	lines map[string]*lineFile
	order []string // of lines, oldest first
}

// lineFile is a line file as read, for all sweeps that need it.
type lineFile struct {
	stamp    stamp
	line     *cables.Line
	path     *cables.Path
	prepared locate.Prepared
	judgedBy string
	err      error
}

// stamp tells whether a file has changed.
type stamp struct{ bytes, modifiedNS int64 }

func stampOf(info fs.FileInfo) stamp { return stamp{info.Size(), info.ModTime().UnixNano()} }

// mostLines is how many line files are held at once.
const mostLines = 64

// lineFor names the line file of a sweep; "" where there is none.
func (j *Judge) lineFor(path string) string {
	if j.LineFile != "" {
		return j.LineFile
	}
	for _, file := range []string{strings.TrimSuffix(path, filepath.Ext(path)) + ".toml", filepath.Join(filepath.Dir(path), "line.toml")} {
		if info, err := os.Stat(file); err == nil && info.Mode().IsRegular() && !investigation.Is(file) {
			return file
		}
	}
	return ""
}

// read returns the line file, read anew when it has changed.
func (j *Judge) read(file string) *lineFile {
	info, err := os.Stat(file)
	if err != nil {
		return &lineFile{err: fmt.Errorf("reading line: %w", err)}
	}
	j.lock.Lock()
	defer j.lock.Unlock()
	if r := j.lines[file]; r != nil && r.stamp == stampOf(info) {
		return r
	}
	r := &lineFile{stamp: stampOf(info)}
	text, err := os.ReadFile(file)
	if err == nil {
		r.judgedBy = j.fingerprint(text)
		r.line, err = cables.ReadLine(file)
	}
	if err == nil {
		r.path, err = r.line.Path()
	}
	r.err = err
	if j.lines == nil {
		j.lines = map[string]*lineFile{}
	}
	if j.lines[file] == nil {
		j.order = append(j.order, file)
	}
	if len(j.order) > mostLines {
		delete(j.lines, j.order[0])
		j.order = slices.Delete(j.order, 0, 1)
	}
	j.lines[file] = r
	return r
}

// fingerprint is of what a sweep is judged by: another one, and it is judged again.
func (j *Judge) fingerprint(line []byte) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s quick=%t band=%g..%g range=%g\n", Schema, j.Quick, j.Settings.LowHz, j.Settings.HighHz, j.Settings.RangeM)
	h.Write(line) // never fails
	if j.CorrectedBy != "" {
		fmt.Fprintf(h, "\ncorrected by %s", j.CorrectedBy)
	}
	return fmt.Sprintf("%x", h.Sum(nil)[:8])
}

// JudgedBy returns the fingerprint of what a sweep would be judged by; "" where
// there is no line that can be read.
func (j *Judge) JudgedBy(path string) string {
	file := j.lineFor(path)
	if file == "" {
		return ""
	}
	return j.read(file).judgedBy
}

// CheckLine reads the line of all sweeps, to tell what is wrong with it before
// any sweep is judged.
func (j *Judge) CheckLine() error {
	if j.LineFile == "" {
		return nil
	}
	return j.read(j.LineFile).err
}

// Sweep judges a sweep file. It always returns a row, unless ctx ends: then it
// returns nil.
func (j *Judge) Sweep(ctx context.Context, path string) (row *Row) {
	row = &Row{Schema: Schema, Path: strings.ToValidUTF8(path, "\uFFFD"), Faults: []Fault{}}
	defer func() {
		if fault := recover(); fault != nil {
			row.fail(fmt.Errorf("%s: this is a mistake in the program, not in the sweep: %v", path, fault), false)
		}
		if ctx.Err() != nil {
			row = nil
		}
	}()
	info, err := os.Stat(path)
	if err != nil {
		row.fail(err, true)
		return row
	}
	row.Bytes, row.Modified = info.Size(), info.ModTime().UTC()
	if row.Line = j.lineFor(path); row.Line == "" {
		row.fail(fmt.Errorf("%s: what line is it? put its line file beside it, as %s.toml or line.toml, or give one for all with --line",
			path, strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))), true)
		return row
	}
	r := j.read(row.Line)
	row.JudgedBy = r.judgedBy
	if r.err != nil {
		row.fail(r.err, true)
		return row
	}
	s, err := sweep.Read(path)
	if errors.Is(err, sweep.ErrScalar) {
		if j.Correct != nil {
			row.fail(fmt.Errorf("%s: this sweep has no phase, so it cannot be corrected with the standards; sweep again with phase, or judge it without them", path), false)
		} else {
			j.scalar(row, r, path)
		}
		return row
	}
	if err != nil {
		var wrong *sweep.ParseError
		row.fail(err, !errors.As(err, &wrong))
		return row
	}
	row.Points = len(s.FrequencyHz)
	if j.Correct != nil {
		if s, err = j.Correct(s); err != nil {
			row.fail(fmt.Errorf("%s: %w", path, err), false)
			return row
		}
	}
	row.Calibration = s.Correction.String()
	var found *diagnose.Findings
	if j.Quick {
		found, err = diagnose.Places(ctx, s, r.line, r.path, &r.prepared, j.Settings)
	} else {
		found, err = diagnose.Run(ctx, s, r.line, j.Settings)
	}
	if err != nil {
		row.fail(fmt.Errorf("%s: %w", path, err), false)
		return row
	}
	row.take(found)
	return row
}

// scalar holds a sweep without phase against the limit.
func (j *Judge) scalar(row *Row, r *lineFile, path string) {
	s, err := sweep.ReadScalarFile(path)
	if err != nil {
		row.fail(err, false)
		return
	}
	verdict, covered, err := diagnose.JudgeScalar(s, r.line, j.Settings.LowHz, j.Settings.HighHz)
	if err != nil {
		row.fail(fmt.Errorf("%s: %w", path, err), false)
		return
	}
	row.Points = len(s.FrequencyHz)
	warnings := append([]string{"the sweep has no phase: it was held against the limit, and no fault was looked for"}, s.Warnings...)
	if !covered {
		warnings = append(warnings, "the sweep does not cover the whole band, so it does not pass")
	}
	row.take(&diagnose.Findings{Verdict: verdict, Warnings: warnings})
}

// take puts findings into the row.
func (r *Row) take(found *diagnose.Findings) {
	verdict := found.Verdict
	r.Verdict, r.MarginDB, r.Warnings, r.RuntimeS = &verdict, marginDB(&verdict), found.Warnings, found.RuntimeS
	for _, f := range found.Findings {
		if f.IsFault {
			r.Faults = append(r.Faults, Fault{f.DistanceM, f.SigmaM, f.ExtentM, f.Cause, f.Confidence, f.ReturnLossDB, f.Place})
		}
	}
	// What reflects nothing of its own comes last: its return loss says so.
	slices.SortStableFunc(r.Faults, func(a, b Fault) int { return cmp.Compare(a.ReturnLossDB, b.ReturnLossDB) })
	switch {
	case verdict.LimitVSWR > 0 && !verdict.Passes:
		r.Outcome = OutOfLimit
	case len(r.Faults) > 0:
		r.Outcome = Faulty
	default:
		r.Outcome = Passes
	}
}

func (r *Row) fail(err error, tryAgain bool) {
	r.Outcome, r.Problem, r.TryAgain = Unusable, strings.ToValidUTF8(err.Error(), "\uFFFD"), tryAgain
	r.Verdict, r.MarginDB, r.Faults, r.Calibration = nil, nil, []Fault{}, ""
}
