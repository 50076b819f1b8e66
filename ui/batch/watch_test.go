package batch

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// watching is a watcher with a clock that the test turns.
type watching struct {
	*testing.T
	w      *Watcher
	folder string
	now    time.Time
}

func newWatching(t *testing.T) *watching {
	folder := t.TempDir()
	write(t, folder, "line.toml", lineText)
	j := &Judge{LineFile: filepath.Join(folder, "line.toml"), Quick: true}
	return &watching{t, &Watcher{Folder: folder, Judge: j}, folder, time.Date(2026, 4, 2, 9, 0, 0, 0, time.UTC)}
}

// put writes a file with the clock's time.
func (w *watching) put(name, text string) {
	w.Helper()
	path := write(w, w.folder, name, text)
	if err := os.Chtimes(path, w.now, w.now); err != nil {
		w.Fatal(err)
	}
}

func (w *watching) rename(from, to string) {
	w.Helper()
	if err := os.Rename(filepath.Join(w.folder, from), filepath.Join(w.folder, to)); err != nil {
		w.Fatal(err)
	}
}

// step lets the seconds go by, looks, and checks what is told.
func (w *watching) step(seconds float64, want ...string) {
	w.Helper()
	w.now = w.now.Add(time.Duration(seconds * float64(time.Second)))
	var got []string
	err := w.w.Step(context.Background(), w.now, func(r *Row) error {
		got = append(got, filepath.Base(r.Path)+" "+string(r.Outcome))
		return nil
	})
	if err != nil {
		w.Fatal(err)
	}
	if !slices.Equal(got, want) {
		w.Errorf("told %q, want %q", got, want)
	}
}

func TestWatchTellsWhatIsNew(t *testing.T) {
	w := newWatching(t)
	w.put("old.s1p", sweepText(t, 60))
	w.step(0)
	w.put("sub/a.s1p", sweepText(t, 0))
	w.put("b.s1p", sweepText(t, 8))
	w.step(1)
	w.step(1)
	w.step(1, "b.s1p fault", "a.s1p passes")
	w.step(60)
	w.put("b.s1p", sweepText(t, 60)) // changed
	w.step(1)
	w.step(2, "b.s1p out-of-limit")
	if got := w.w.Outcomes(); got[Passes] != 1 || got[OutOfLimit] != 1 || len(got) != 2 {
		t.Errorf("%v", got)
	}
	if err := os.Remove(filepath.Join(w.folder, "b.s1p")); err != nil {
		t.Fatal(err)
	}
	w.step(1)
	if got := w.w.Outcomes(); len(got) != 1 {
		t.Errorf("%v", got)
	}
	all := &Watcher{Folder: w.folder, Judge: w.w.Judge, All: true}
	rows := 0
	if err := all.Step(context.Background(), w.now.Add(time.Hour), func(*Row) error { rows++; return nil }); err != nil || rows != 2 {
		t.Errorf("what is there: %d, %v", rows, err)
	}
}

// A file that is written piece by piece is not told before it is whole, however
// its pieces parse.
func TestWatchWaitsForTheRest(t *testing.T) {
	w := newWatching(t)
	w.step(0)
	whole := sweepText(t, 60)
	for n := len(whole) / 8; n < len(whole); n += len(whole) / 8 {
		w.put("a.s1p", whole[:n])
		w.step(1)
	}
	// The writer pauses within a row for longer than Settle: no sweep yet, and no
	// complaint.
	last := strings.LastIndex(strings.TrimSuffix(whole, "\n"), "\n") + 1
	w.put("a.s1p", whole[:last+4])
	w.step(1)
	w.step(3)
	w.step(3)
	w.put("a.s1p", whole)
	w.step(1)
	w.step(1)
	w.step(1, "a.s1p out-of-limit")
}

func TestWatchTellsABadFileOnce(t *testing.T) {
	w := newWatching(t)
	w.step(0)
	w.put("a.s1p", "# Hz S RI R 50\n1e6 0.1 0.1\n2e6 0.1")
	w.step(1)
	w.step(5)
	w.step(5, "a.s1p unusable")
	w.step(5)
	w.step(500)
	w.put("a.s1p", sweepText(t, 0))
	w.step(1)
	w.step(2, "a.s1p passes")
}

func TestWatchTakesARenamedFileAtOnce(t *testing.T) {
	w := newWatching(t)
	w.step(0)
	w.put("a.s1p.part", sweepText(t, 0))
	w.step(1)
	w.rename("a.s1p.part", "a.s1p")
	w.step(0.1, "a.s1p passes")
	// Synchronised: under a hidden name, then with the time of the original.
	w.now = w.now.Add(-time.Hour)
	w.put(".b.s1p.x7", sweepText(t, 8))
	w.now = w.now.Add(time.Hour)
	w.rename(".b.s1p.x7", "b.s1p")
	w.step(0.1, "b.s1p fault")
	w.rename("b.s1p", "c.s1p")
	w.step(0.1, "c.s1p fault")
}

// A sweep that wants its line is told once, and again when the line is there.
func TestWatchSweepWhoseLineComesLater(t *testing.T) {
	w := newWatching(t)
	w.w.Judge.LineFile = ""
	w.step(0)
	w.put("sub/a.s1p", sweepText(t, 0))
	w.step(1)
	w.step(11, "a.s1p unusable")
	w.step(11)
	w.put("sub/line.toml", strings.Replace(lineText, "1.5", "1.01", 1))
	w.step(1, "a.s1p out-of-limit")
	w.step(1)
}

func TestWatchOutlivesItsFolder(t *testing.T) {
	w := newWatching(t)
	w.put("a.s1p", sweepText(t, 0))
	w.step(0)
	away := w.folder + "-away"
	if err := os.Rename(w.folder, away); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := w.w.Step(context.Background(), w.now, func(r *Row) error { return errors.New("told " + r.Path) }); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%v", err)
		}
	}
	if err := os.Rename(away, w.folder); err != nil {
		t.Fatal(err)
	}
	w.step(60)
}

// A file that stays broken off where the parser does not notice is given until
// Patience, and then told as it is, with the doubt: within a number, and after a
// row, where the folder's other sweeps have more points. Renamed into place, or
// short like those before it, a sweep is told at once.
func TestWatchDoubtsAFileThatMayBeCut(t *testing.T) {
	w := newWatching(t)
	w.step(0)
	doubts := func(want string) {
		t.Helper()
		if got := w.w.sweeps[filepath.Join(w.folder, "a.s1p")].row.Doubt; !strings.Contains(got, want) || want == "" && got != "" {
			t.Errorf("doubts %q, want %q", got, want)
		}
	}
	whole := sweepText(t, 60)
	if !strings.HasSuffix(whole, "\n") {
		t.Fatal("the test's sweep ends within a line")
	}
	w.put("a.s1p", whole[:len(whole)-3]) // 0.1234567 became 0.12345
	w.step(1)
	w.step(3)
	w.step(3)
	w.step(5, "a.s1p out-of-limit")
	doubts("its last line has no end")
	w.put("a.s1p", whole)
	w.step(1)
	w.step(2, "a.s1p out-of-limit")
	doubts("")
	w.step(60)

	rows := strings.SplitAfter(whole, "\n")
	short := strings.Join(rows[:len(rows)-30], "")
	w.put("a.s1p", short)
	w.step(1)
	w.step(3)
	w.step(3)
	w.step(5, "a.s1p out-of-limit")
	doubts("it has 72 points and the sweep before it in its folder 101")
	w.put("a.s1p", short+"! as short as the one before\n")
	w.step(1)
	w.step(2, "a.s1p out-of-limit")
	doubts("")

	w.put("b.part", whole[:len(whole)-1]) // a program that ends no last line
	w.step(1)
	w.rename("b.part", "a.s1p")
	w.step(0.1, "a.s1p out-of-limit")
	doubts("")
}

func TestUnended(t *testing.T) {
	folder := t.TempDir()
	for text, want := range map[string]bool{"": false, "1 2 3\n": false, "1 2 3\r": false, "1 2 3\n \n": false, "1 2 3": true, "1 2 3\n4 5": true,
		"1 2 3\n[End]": false, strings.Repeat("9", 1000): true, strings.Repeat("9 ", 1000) + "\n": false} {
		if got := unended(write(t, folder, "a.s1p", text)) != ""; got != want {
			t.Errorf("%.20q: %v", text, got)
		}
	}
	if got := unended(filepath.Join(folder, "none")); got != "" {
		t.Errorf("a file that is not there: %q", got)
	}
}
