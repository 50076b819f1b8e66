package batch

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Watcher judges sweeps as they come into a folder. It looks at the folder when
// Step is called and keeps no clock of its own. Looking, and not being told by the
// system: network shares and the folders of synchronising programs tell nothing,
// and a look at ten thousand files takes milliseconds.
//
// When is a file whole? When its size and time have stayed for Settle and the
// parser takes it; at once when it has been renamed from another name in the
// folder, or comes with a time older than Patience, as what is moved or
// synchronised into place does. What does not look whole is given until Patience,
// and then told as it is, once: what the parser refuses, and, with its doubt said
// in the row, what ends within a line or has fewer points than the sweep told
// before it in its folder.
type Watcher struct {
	Folder   string
	Judge    *Judge
	Settle   time.Duration // 0: 2 s
	Patience time.Duration // 0: 10 s, or Settle when that is longer
	All      bool          // judge what is in the folder at the first look, too
	But      []string      // files that are not judged

	looked bool
	sweeps map[string]*watched
	others []os.FileInfo  // files that are no sweeps by their name
	points map[string]int // of the last sweep told of each folder
}

// watched is a sweep file as it was last seen.
type watched struct {
	info  os.FileInfo
	since time.Time // when it was first seen so
	whole bool      // without waiting
	tried bool      // and did not look whole
	told  bool
	row   *Row // as told; nil for what was there before
}

// Step looks at the folder and tells the rows of what is new, in the order of the
// paths, each as soon as it is judged. An error of tell or of ctx ends it; any
// other says that the folder, or one in it, cannot be read, after what can be was
// told.
func (w *Watcher) Step(ctx context.Context, now time.Time, tell func(*Row) error) error {
	settle, patience := w.Settle, w.Patience
	if settle == 0 {
		settle = 2 * time.Second
	}
	if patience == 0 {
		patience = 10 * time.Second
	}
	patience = max(patience, settle)

	seen, others, listing := w.look()
	if seen == nil {
		return listing
	}
	if w.sweeps == nil {
		w.sweeps, w.points = map[string]*watched{}, map[string]int{}
	}
	gone := w.others
	for path, f := range w.sweeps {
		if _, has := seen[path]; !has && listing == nil {
			gone = append(gone, f.info)
			delete(w.sweeps, path)
		}
	}
	for _, path := range slices.Sorted(maps.Keys(seen)) {
		info, f := seen[path], w.sweeps[path]
		if f == nil || stampOf(f.info) != stampOf(info) {
			renamed := slices.ContainsFunc(gone, func(was os.FileInfo) bool { return os.SameFile(was, info) && stampOf(was) == stampOf(info) })
			f = &watched{info: info, since: now, whole: renamed || now.Sub(info.ModTime()) >= patience, told: !w.looked && !w.All}
			w.sweeps[path] = f
		}
		f.mend(w.Judge, path)
		early := now.Sub(f.since) < patience
		if f.told || !f.whole && now.Sub(f.since) < settle || f.tried && early {
			continue
		}
		doubt := ""
		if !f.whole {
			if doubt = unended(path); doubt != "" && early {
				f.tried = true
				continue
			}
		}
		row := w.Judge.Sweep(ctx, path)
		if row == nil {
			return ctx.Err()
		}
		if doubt == "" && !f.whole {
			doubt = w.shorter(row)
		}
		switch {
		case row.Bytes != info.Size() || !row.Modified.Equal(info.ModTime()): // it goes on growing
		case (row.Outcome == Unusable || doubt != "") && early:
			f.tried = true
		default:
			if row.Outcome != Unusable {
				row.Doubt = doubt
				w.points[filepath.Dir(path)] = row.Points
			}
			f.told, f.row = true, row
			if err := tell(row); err != nil {
				return err
			}
		}
	}
	w.looked, w.others = true, others
	return listing
}

// unended says in words that the file at path ends within a line; "" where it does
// not, or cannot be read. Of a number that was cut off the rest may still read as
// a number, so the parser does not notice.
func unended(path string) string {
	file, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer file.Close()
	var tail [256]byte
	size, err := file.Seek(0, io.SeekEnd)
	if err != nil {
		return ""
	}
	n, err := file.ReadAt(tail[:min(size, int64(len(tail)))], max(0, size-int64(len(tail))))
	if err != nil && err != io.EOF {
		return ""
	}
	last := string(tail[:n])
	last = strings.TrimSpace(last[strings.LastIndexAny(last, "\r\n")+1:])
	if last == "" || strings.EqualFold(last, "[end]") {
		return ""
	}
	return "its last line has no end, so the file may be cut off there"
}

// shorter says in words that a sweep has fewer points than the one told before it
// in its folder; "" where it has not.
func (w *Watcher) shorter(row *Row) string {
	before := w.points[filepath.Dir(row.Path)]
	if row.Outcome == Unusable || row.Points >= before {
		return ""
	}
	return fmt.Sprintf("it has %d points and the sweep before it in its folder %d, so its end may be missing", row.Points, before)
}

// mend lets a sweep be judged again that wanted something beside it, when there
// is another line for it now.
func (f *watched) mend(j *Judge, path string) {
	if f.told && f.row != nil && f.row.TryAgain {
		if by := j.JudgedBy(path); by != "" && by != f.row.JudgedBy {
			f.told, f.whole = false, true
		}
	}
}

// look lists the sweeps, by path, and all other files of the folder and those
// below it. sweeps is nil when the folder itself cannot be read.
func (w *Watcher) look() (sweeps map[string]os.FileInfo, others []os.FileInfo, problem error) {
	sweeps = map[string]os.FileInfo{}
	err := filepath.WalkDir(w.Folder, func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil && path == w.Folder:
			return err
		case errors.Is(err, fs.ErrNotExist): // it went while we looked
			return nil
		case err != nil:
			problem = err
			return nil
		case entry.IsDir():
			if path != w.Folder && strings.HasPrefix(entry.Name(), ".") {
				return filepath.SkipDir
			}
			return nil
		}
		info, err := os.Stat(path)
		switch {
		case err != nil || !info.Mode().IsRegular():
		case slices.ContainsFunc(w.But, func(but string) bool { // of a link, too
			other, err := os.Stat(but)
			return err == nil && os.SameFile(info, other)
		}):
		case IsSweep(path):
			sweeps[path] = info
		default:
			others = append(others, info)
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	return sweeps, others, problem
}

// Outcomes counts the sweeps that are there and were told, by what they came to.
func (w *Watcher) Outcomes() map[Outcome]int {
	counts := map[Outcome]int{}
	for _, f := range w.sweeps {
		if f.row != nil {
			counts[f.row.Outcome]++
		}
	}
	return counts
}
