package investigation

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

// keptBy makes what is kept at path look as if another process had kept it.
func keptBy(t *testing.T, path string, process int) {
	t.Helper()
	text, own := string(must(os.ReadFile(path))), fmt.Sprintf("process = %d\n", os.Getpid())
	if !strings.Contains(text, own) {
		t.Fatalf("no %q in\n%s", own, text)
	}
	write(t, path, strings.Replace(text, own, fmt.Sprintf("process = %d\n", process), 1))
}

// endedProcess returns the number of a process that is no more.
func endedProcess(t *testing.T) int {
	t.Helper()
	child := exec.Command(must(os.Executable()), "-test.run", "^$")
	check(t, child.Run())
	return child.Process.Pid
}

func onlyKept(t *testing.T, folder string) string {
	t.Helper()
	found := must(filepath.Glob(filepath.Join(folder, "*", "investigation.toml")))
	if len(found) != 1 {
		t.Fatalf("kept: %v", found)
	}
	return found[0]
}

// What was never saved is kept with its measurements, wherever they were.
func TestUnsavedIsKeptWhole(t *testing.T) {
	own, elsewhere := t.TempDir(), t.TempDir()
	k := &Keeper{Folder: own, Now: func() time.Time { return time.Date(2031, 5, 4, 9, 30, 0, 0, time.UTC) }}
	d := site(t, elsewhere)
	check(t, k.Keep("", d))
	d.Notes = "later"
	check(t, k.Keep("", d))
	path := onlyKept(t, own)
	// The window that keeps it still runs.
	parent := os.Getppid()
	keptBy(t, path, parent)
	if got := Recoveries(own); len(got) > 0 {
		t.Errorf("offered while its window runs: %+v", got)
	}
	write(t, path, strings.Replace(string(must(os.ReadFile(path))), fmt.Sprintf("process = %d\n", parent), fmt.Sprintf("process = %d\n", endedProcess(t)), 1))
	got := Recoveries(own)
	if len(got) != 1 || got[0].Of != "" || !got[0].At.Equal(k.Now()) {
		t.Fatalf("offered %+v", got)
	}
	check(t, os.RemoveAll(elsewhere)) // the stick was pulled out
	o, err := Open(got[0].Path)
	check(t, err)
	if len(o.Problems) > 0 || o.Unsaved == nil || o.Document.Notes != "later" || !reflect.DeepEqual(o.Document.Standards.Load.Sweep.Gamma, d.Standards.Load.Sweep.Gamma) {
		t.Errorf("%v, %+v", o.Problems, o.Document)
	}
	// It is taken up: the next state takes its place, and saving ends it.
	next := &Keeper{Folder: own}
	next.Adopt(got[0])
	o.Document.Notes = "later still"
	check(t, next.Keep("", o.Document))
	if o, err = Open(onlyKept(t, own)); err != nil || o.Document.Notes != "later still" || len(o.Problems) > 0 {
		t.Errorf("%+v, %v", o, err)
	}
	saved, err := Save(filepath.Join(t.TempDir(), "x.toml"), o.Document)
	check(t, err)
	check(t, next.Done())
	if left := must(os.ReadDir(own)); len(left) > 0 {
		t.Errorf("left over: %v", left)
	}
	if saved.Document.Sweep.Sweep == nil || len(saved.Copied) != 6 {
		t.Errorf("saved with %v", saved.Copied)
	}
}

// What belongs to a saved investigation is kept beside it, without copies, unless
// something came in from elsewhere.
func TestChangesAreKeptBeside(t *testing.T) {
	own, folder := t.TempDir(), t.TempDir()
	d := site(t, folder)
	path := filepath.Join(folder, "x.toml")
	_, err := Save(path, d)
	check(t, err)
	before := string(must(os.ReadFile(path)))
	k := &Keeper{Folder: own}
	d.Site = "another"
	check(t, k.Keep(path, d))
	beside := filepath.Join(folder, ".x.unsaved.toml")
	keptBy(t, beside, endedProcess(t))
	r, ok := RecoveryOf(path)
	if !ok || r.Of != path || r.Path != beside {
		t.Fatalf("%+v, %v", r, ok)
	}
	if string(must(os.ReadFile(path))) != before {
		t.Error("keeping changed what was saved")
	}
	if o, err := Open(r.Path); err != nil || o.Document.Site != "another" || len(o.Problems) > 0 {
		t.Errorf("%+v, %v", o, err)
	}
	d.Baseline = Source{Sweep: swept(0.4)}
	check(t, k.Keep(path, d))
	if _, ok := RecoveryOf(path); ok {
		t.Error("two states are kept")
	}
	keptBy(t, onlyKept(t, own), endedProcess(t))
	if got := Recoveries(own); len(got) != 1 || got[0].Of != path {
		t.Errorf("offered %+v", got)
	}
	if copies := must(filepath.Glob(filepath.Join(folder, "*.sweeps"))); len(copies) > 0 {
		t.Errorf("copies in the user's folder: %v", copies)
	}
	check(t, Recoveries(own)[0].Discard())
	if left := must(os.ReadDir(own)); len(left) > 0 {
		t.Errorf("left over: %v", left)
	}
	// What is damaged, or something else, is not offered.
	write(t, beside, head)
	if _, ok := RecoveryOf(path); ok {
		t.Error("a saved investigation counts as kept")
	}
	write(t, beside, "[")
	if _, ok := RecoveryOf(path); ok {
		t.Error("a broken file counts as kept")
	}
}

// A process that nobody waits for keeps its number after its end.
func TestEndedProcessesAreNotAlive(t *testing.T) {
	child := exec.Command(must(os.Executable()), "-test.run", "^$")
	check(t, child.Start())
	if _, err := os.ReadFile("/proc/self/stat"); err == nil {
		for range 1000 {
			if ended(child.Process.Pid) {
				break
			}
			time.Sleep(10 * time.Millisecond)
		}
		if alive(child.Process.Pid) {
			t.Error("a process that has ended counts as alive until its parent asks for it")
		}
	}
	check(t, child.Wait())
	if alive(child.Process.Pid) || !alive(os.Getppid()) {
		t.Error("alive and ended are mixed up")
	}
}
