package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downlead/cables"
)

// ran is how a call of the program ended.
type ran struct {
	status         int
	stdout, stderr string
}

// call runs the program in this process.
func call(t *testing.T, args ...string) ran {
	t.Helper()
	var stdout, stderr bytes.Buffer
	status := run(context.Background(), args, &stdout, &stderr)
	return ran{status, stdout.String(), stderr.String()}
}

// unusable checks that a call ends with status 2, exactly this text on the
// standard error and nothing on the standard output.
func unusable(t *testing.T, want string, args ...string) {
	t.Helper()
	got := call(t, args...)
	if got.status != statusUnusable || got.stderr != want+"\n" || got.stdout != "" {
		t.Errorf("%q: status %d, stderr %q, stdout %q; want status 2 and %q", args, got.status, got.stderr, got.stdout, want)
	}
}

// file writes a file into a fresh folder and returns its path.
func file(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// noUserCatalogue points the user's configuration at an empty folder.
func noUserCatalogue(t *testing.T) {
	t.Helper()
	folder := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", folder)
	t.Setenv("HOME", folder)
	t.Setenv("AppData", folder)
}

func TestUsage(t *testing.T) {
	for _, args := range [][]string{nil, {"help"}, {"--help"}, {"-h"}} {
		got := call(t, args...)
		if got.status != statusPasses || got.stderr != "" {
			t.Errorf("%q: status %d, stderr %q", args, got.status, got.stderr)
		}
		for _, v := range verbs() {
			if !strings.Contains(got.stdout, "downlead "+v.name+" ") {
				t.Errorf("%q: the usage does not name %s", args, v.name)
			}
		}
	}
}

func TestEveryVerbExplainsItself(t *testing.T) {
	for _, v := range verbs() {
		for _, args := range [][]string{{"help", v.name}, {v.name, "--help"}, {v.name, "-h"}} {
			got := call(t, args...)
			if got.status != statusPasses || got.stderr != "" || !strings.HasPrefix(got.stdout, "usage: downlead "+v.name) {
				t.Errorf("%q: status %d, stdout %q, stderr %q", args, got.status, got.stdout, got.stderr)
			}
			for _, row := range strings.Split(got.stdout, "\n") {
				if len(row) > 100 {
					t.Errorf("%q: %d columns: %s", args, len(row), row)
				}
			}
		}
		unusable(t, "downlead "+v.name+": "+v.name+" has no option --nonsense", v.name, "--nonsense")
	}
}

func TestWrongVerbs(t *testing.T) {
	unusable(t, `downlead: there is no "locat"; did you mean "locate"? (downlead help lists what there is)`, "locat")
	unusable(t, `downlead: there is no "sweep.s1p" (downlead help lists what there is)`, "sweep.s1p")
	unusable(t, `downlead: there is no "zebra" (downlead help lists what there is)`, "help", "zebra")
}

func TestVersion(t *testing.T) {
	if got := call(t, "version"); got.status != statusPasses || !strings.HasPrefix(got.stdout, "downlead, ") {
		t.Errorf("status %d, %q", got.status, got.stdout)
	}
	unusable(t, `downlead version: "now" is one word too many; usage: downlead version`, "version", "now")
}

func TestMayWrite(t *testing.T) {
	taken := file(t, "taken.s1p", "")
	if err := mayWrite(taken, false); err == nil || err.Error() != taken+" is already there; add --force to replace it, or choose another name" {
		t.Errorf("taken: %v", err)
	}
	if err := mayWrite(taken, true); err != nil {
		t.Errorf("forced: %v", err)
	}
	if err := mayWrite(taken, true, "", taken); err == nil || err.Error() != taken+" is one of the measurements; choose another name for the result" {
		t.Errorf("an input: %v", err)
	}
	if err := mayWrite(taken+"x", false); err != nil {
		t.Errorf("free: %v", err)
	}
}

// readTypes reads the cable types of a catalogue file.
func readTypes(t *testing.T, path string) []cables.Type {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	catalogue, err := cables.ReadCatalogue(path, f)
	if err != nil {
		t.Fatal(err)
	}
	return catalogue.Search()
}
