package desk

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"downlead/dsp/sweep"
)

// recent is the files last opened, the latest first, kept in a file of one path a
// line. What cannot be read or written there is let go: it is a convenience.
type recent struct {
	file string
	list []string
}

// mostRecent is how many files are remembered.
const mostRecent = 12

func newRecent(file string) *recent {
	r := &recent{file: file}
	if file == "" {
		return r
	}
	text, err := os.ReadFile(file)
	if err != nil || len(text) > 1<<16 {
		return r
	}
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); filepath.IsAbs(line) && len(r.list) < mostRecent {
			r.list = append(r.list, line)
		}
	}
	return r
}

// add puts a file at the head.
func (r *recent) add(path string) {
	path, err := filepath.Abs(path)
	if err != nil || strings.ContainsAny(path, "\r\n") {
		return
	}
	r.list = slices.DeleteFunc(r.list, func(p string) bool { return p == path })
	r.list = slices.Insert(r.list, 0, path)
	r.list = r.list[:min(len(r.list), mostRecent)]
	if r.file == "" || os.MkdirAll(filepath.Dir(r.file), 0o777) != nil {
		return
	}
	_ = sweep.ReplaceFile(r.file, func(w io.Writer) error {
		_, err := io.WriteString(w, strings.Join(r.list, "\n")+"\n")
		return err
	})
}

// files are those that are still there.
func (r *recent) files() []string {
	var out []string
	for _, path := range r.list {
		if _, err := os.Stat(path); err == nil {
			out = append(out, path)
		}
	}
	return out
}
