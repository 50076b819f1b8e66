package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// room is a package as `go list -json` shows it.
type room struct {
	ImportPath  string
	Imports     []string
	TestImports []string
	Deps        []string
	CgoFiles    []string
}

// allowed says what each room may import besides the standard library: the
// rooms before the colon in docs/architecture.md, as path prefixes. A room that
// is not named here fails the test, so that whoever adds one has to place it.
var allowed = map[string][]string{
	"downlead/cables":             {"downlead/cables/tables", "gonum.org/v1/gonum"},
	"downlead/cables/tables":      {"github.com/BurntSushi/toml"},
	"downlead/dsp":                {"gonum.org/v1/gonum"},
	"downlead/dsp/sweep":          {"downlead/dsp"},
	"downlead/dsp/calibration":    {"downlead/dsp/sweep", "downlead/dsp", "gonum.org/v1/gonum", "github.com/BurntSushi/toml"},
	"downlead/dsp/distance":       {"downlead/dsp", "downlead/dsp/sweep", "downlead/cables", "gonum.org/v1/gonum"},
	"downlead/dsp/linemodel":      {"downlead/cables", "downlead/dsp", "gonum.org/v1/gonum"},
	"downlead/dsp/locate":         {"downlead/dsp/linemodel", "downlead/dsp/distance", "downlead/dsp", "downlead/dsp/sweep", "downlead/cables", "gonum.org/v1/gonum"},
	"downlead/dsp/diagnose":       {"downlead/dsp/locate", "downlead/dsp/calibration", "downlead/dsp/linemodel", "downlead/dsp/distance", "downlead/dsp", "downlead/dsp/sweep", "downlead/cables", "gonum.org/v1/gonum"},
	"downlead/dsp/series":         {"downlead/dsp/locate", "downlead/dsp/linemodel", "downlead/dsp/distance", "downlead/dsp/sweep", "downlead/cables", "gonum.org/v1/gonum"},
	"downlead/dsp/simulate":       {"downlead/cables", "downlead/dsp/sweep", "downlead/dsp/calibration", "downlead/dsp", "gonum.org/v1/gonum", "github.com/BurntSushi/toml"},
	"downlead/ui/chart":           {"downlead/dsp", "gioui.org"},
	"downlead/ui/theme":           {"gioui.org"},
	"downlead/ui/work":            {},
	"downlead/ui/keys":            {"gioui.org"},
	"downlead/ui/rig":             {"gioui.org"},
	"downlead/ui/undo":            {},
	"downlead/ui/lesson/pictures": {"downlead/ui/traces", "downlead/dsp/sweep", "downlead/ui/investigation", "downlead/ui/lesson", "downlead/ui/report"},
	"downlead/ui/bench":           {"downlead/ui/blind", "downlead/ui/lesson", "downlead/ui/lesson/pictures", "downlead/cables", "downlead/dsp", "downlead/dsp/sweep", "downlead/dsp/distance", "downlead/dsp/diagnose", "downlead/dsp/simulate", "downlead/ui/chart", "downlead/ui/keys", "downlead/ui/theme", "downlead/ui/traces", "downlead/ui/undo", "downlead/ui/work", "gioui.org"},
	"downlead/ui/investigation":   {"downlead/ui/undo", "downlead/cables", "downlead/cables/tables", "downlead/dsp", "downlead/dsp/sweep", "downlead/dsp/calibration", "downlead/dsp/diagnose"},
	"downlead/ui/report":          {"downlead/cables", "downlead/dsp", "downlead/dsp/sweep", "downlead/dsp/calibration", "downlead/dsp/distance", "downlead/dsp/diagnose", "downlead/ui/investigation", "codeberg.org/go-pdf/fpdf", "golang.org/x/image", "golang.org/x/text", "gonum.org/v1/plot"},
	"downlead/ui/blind":           {"downlead/cables", "downlead/dsp", "downlead/dsp/diagnose", "downlead/dsp/distance", "downlead/dsp/simulate", "downlead/dsp/sweep"},
	"downlead/ui/batch":           {"downlead/ui/investigation", "downlead/cables", "downlead/dsp/diagnose", "downlead/dsp/locate", "downlead/dsp/sweep"},
	"downlead/ui/lesson":          {"downlead/cables", "downlead/cables/tables", "downlead/dsp", "downlead/dsp/calibration", "downlead/dsp/diagnose", "downlead/dsp/distance", "downlead/dsp/simulate", "downlead/dsp/sweep"},
	"downlead/ui/traces":          {"downlead/ui/chart", "downlead/cables", "downlead/dsp", "downlead/dsp/sweep", "downlead/dsp/distance"},
	"downlead/ui/desk":            {"downlead/ui", "downlead/cables", "downlead/dsp", "gioui.org"},
	"downlead/cmd/downlead":       {"downlead/cables", "downlead/dsp", "downlead/ui/batch", "downlead/ui/blind", "downlead/ui/investigation", "downlead/ui/lesson", "downlead/ui/report"},
	"downlead/cmd/bootstrap":      {},
}

// underneath lists rooms whose own subfolders they may also import.
var underneath = []string{"gonum.org/v1/gonum", "gonum.org/v1/plot", "golang.org/x/image", "golang.org/x/text", "gioui.org"}

func mayImport(from, path string) bool {
	for _, allow := range allowed[from] {
		if path == allow {
			return true
		}
		below := slices.Contains(underneath, allow) || from == "downlead/cmd/downlead" || from == "downlead/ui/desk"
		if below && strings.HasPrefix(path, allow+"/") {
			return true
		}
	}
	return false
}

func listRooms(t *testing.T) []room {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports,TestImports,Deps,CgoFiles", "downlead/...")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var rooms []room
	for stream := json.NewDecoder(strings.NewReader(string(text))); ; {
		var r room
		if err := stream.Decode(&r); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		rooms = append(rooms, r)
	}
	if len(rooms) < len(allowed) {
		t.Fatalf("go list shows %d packages, but %d rooms are placed", len(rooms), len(allowed))
	}
	return rooms
}

// isOutside tells packages outside the standard library: their first path
// element has a dot, or is this module's name.
func isOutside(path string) bool {
	first, _, _ := strings.Cut(path, "/")
	return strings.Contains(first, ".") || first == "downlead"
}

func TestImportsRunDownward(t *testing.T) {
	for _, r := range listRooms(t) {
		if _, placed := allowed[r.ImportPath]; !placed {
			t.Errorf("%s has no place in the house plan: add it to docs/architecture.md and to this test", r.ImportPath)
			continue
		}
		for _, path := range r.Imports {
			if isOutside(path) && !mayImport(r.ImportPath, path) {
				t.Errorf("%s imports %s, which the house plan does not let it", r.ImportPath, path)
			}
		}
	}
}

// Nothing below the window may need a C compiler: a server, a small computer in
// a van and a cross-build have none.
func TestNothingBelowTheWindowNeedsCgo(t *testing.T) {
	for _, r := range listRooms(t) {
		if strings.HasPrefix(r.ImportPath, "downlead/ui") {
			continue
		}
		if len(r.CgoFiles) > 0 || slices.Contains(r.Deps, "runtime/cgo") {
			t.Errorf("%s needs cgo", r.ImportPath)
		}
	}
	cmd := exec.Command("go", "build", "-o", os.DevNull, "downlead/cmd/downlead")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if text, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("the command line does not build without cgo: %v\n%s", err, text)
	}
}
