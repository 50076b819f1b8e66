package investigation

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Keeper keeps what is not saved yet, so that a crash loses little: beside the
// investigation that it belongs to, where all its files lie in that folder, else,
// with copies of them, in a folder of the program. One Keeper serves one window;
// its methods may be called from any goroutine.
type Keeper struct {
	// Folder is the program's own; "": only what has a place beside its
	// investigation is kept.
	Folder string
	// Now is the clock; nil: the system's.
	Now func() time.Time

	mu   sync.Mutex
	kept string // where the last state is; "": nothing is kept
}

// unsavedName is how what is kept of a file is called, beside it.
func unsavedName(path string) string {
	return filepath.Join(filepath.Dir(path), "."+strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))+".unsaved.toml")
}

// Keep keeps d, which belongs to the investigation at path ("": not saved yet), in
// the place of what this Keeper kept before.
func (k *Keeper) Keep(path string, d Document) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	now := time.Now
	if k.Now != nil {
		now = k.Now
	}
	u := &Unsaved{Of: path, Process: os.Getpid(), At: now().UTC().Truncate(time.Second)}
	to := ""
	if path != "" {
		u.Of = filepath.Base(path) // the folder may be another's, and be moved
		if b := (&bundle{folder: filepath.Dir(path)}); b.holds(&d) {
			to = unsavedName(path)
		} else {
			u.Of = path
		}
	}
	if to == "" {
		if k.Folder == "" {
			return nil
		}
		folder := filepath.Join(k.Folder, fmt.Sprintf("%d-%d", u.Process, u.At.Unix()))
		if k.kept != "" && strings.HasPrefix(k.kept, k.Folder+string(filepath.Separator)) {
			folder = filepath.Dir(k.kept)
		}
		if err := os.MkdirAll(folder, 0o700); err != nil {
			return err
		}
		to = filepath.Join(folder, "investigation.toml")
	}
	if _, err := save(to, d, u); err != nil {
		return err
	}
	if k.kept != "" && k.kept != to {
		if err := (Recovery{Path: k.kept, folder: k.Folder}).Discard(); err != nil {
			return err
		}
	}
	k.kept = to
	return nil
}

// Adopt goes on with what another window kept: what comes next takes its place.
func (k *Keeper) Adopt(r Recovery) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.kept = r.Path
}

// Keeps says whether anything is kept.
func (k *Keeper) Keeps() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.kept != ""
}

// Done forgets what was kept, since all is saved.
func (k *Keeper) Done() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.kept == "" {
		return nil
	}
	err := Recovery{Path: k.kept, folder: k.Folder}.Discard()
	k.kept = ""
	return err
}

// holds says whether every file of d lies in the folder as it was read.
func (b *bundle) holds(d *Document) bool {
	s := &d.Standards
	for _, one := range []struct {
		path, sum string
		read      bool
	}{{d.Sweep.Path, d.Sweep.SHA256, d.Sweep.Sweep != nil}, {d.Baseline.Path, d.Baseline.SHA256, d.Baseline.Sweep != nil}, {s.Open.Path, s.Open.SHA256, s.Open.Sweep != nil},
		{s.Short.Path, s.Short.SHA256, s.Short.Sweep != nil}, {s.Load.Path, s.Load.SHA256, s.Load.Sweep != nil}, {s.KitPath, s.KitSHA256, s.Kit != nil}} {
		if one.path == "" && !one.read {
			continue
		}
		if _, inside := b.within(one.path); !inside || one.read && sumOf(one.path) != one.sum {
			return false
		}
	}
	return true
}

// Recovery is what was kept of an investigation by a window that did not end as
// it should.
type Recovery struct {
	Path string    // what was kept
	Of   string    // the investigation that it belongs to; "": it was never saved
	At   time.Time // when it was kept

	folder string
}

// Discard throws away what was kept.
func (r Recovery) Discard() error {
	if own := filepath.Dir(r.Path); r.folder != "" && filepath.Dir(own) == filepath.Clean(r.folder) {
		return os.RemoveAll(own)
	}
	if err := os.Remove(r.Path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// mostRecoveries bounds how many kept states are looked at.
const mostRecoveries = 50

// Recoveries returns what was kept in the program's folder by windows that are
// no more, the latest first.
func Recoveries(folder string) []Recovery {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil
	}
	var all []Recovery
	for _, e := range entries[max(0, len(entries)-mostRecoveries):] {
		if r, ok := recoveryAt(filepath.Join(folder, e.Name(), "investigation.toml")); ok {
			r.folder = folder
			all = append(all, r)
		}
	}
	slices.SortStableFunc(all, func(a, b Recovery) int { return b.At.Compare(a.At) })
	return all
}

// RecoveryOf returns what was kept beside the investigation at path by a window
// that is no more; ok is false where there is nothing.
func RecoveryOf(path string) (r Recovery, ok bool) {
	if r, ok = recoveryAt(unsavedName(path)); ok {
		r.Of = path // whatever the file says: it lies beside this one
	}
	return r, ok
}

func recoveryAt(path string) (r Recovery, ok bool) {
	f, err := openPlain(path)
	if err != nil {
		return r, false
	}
	defer f.Close()
	d, err := decode(path, f)
	if err != nil || d.unsaved == nil || alive(d.unsaved.Process) {
		return r, false
	}
	return Recovery{Path: path, Of: d.unsaved.Of, At: d.unsaved.At}, true
}

// alive says whether another process of this number runs. A number can be used
// again: then what it kept is offered once that one has ended too.
func alive(process int) bool {
	if process <= 0 || process == os.Getpid() {
		return false
	}
	p, err := os.FindProcess(process)
	if err != nil {
		return false
	}
	defer func() { _ = p.Release() }()
	if runtime.GOOS == "windows" {
		return true // FindProcess opens it
	}
	err = p.Signal(syscall.Signal(0))
	return (err == nil || errors.Is(err, os.ErrPermission)) && !ended(process)
}

// ended says whether a process has ended and only its number is still kept,
// because its parent did not ask for it yet. Only Linux tells.
func ended(process int) bool {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", process))
	if err != nil {
		return false
	}
	_, state, _ := strings.Cut(string(stat[max(0, bytes.LastIndexByte(stat, ')')):]), " ") // the name before may hold anything
	return strings.HasPrefix(state, "Z") || strings.HasPrefix(state, "X")
}
