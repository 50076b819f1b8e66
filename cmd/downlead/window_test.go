//go:build wholewindow && cgo && linux

package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"downlead/cables"
)

// display starts a display that nobody sees and returns its name.
func display(t *testing.T) string {
	t.Helper()
	for _, tool := range []string{"Xvfb", "xdotool", "import"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("DOWNLEAD_REQUIRE_TOOLS") != "" {
				t.Fatal(err)
			}
			t.Skip(err)
		}
	}
	// The server picks a free number and tells it.
	told, writer, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	server := exec.Command("Xvfb", "-displayfd", "3", "-screen", "0", "1440x900x24", "-nolisten", "tcp")
	server.ExtraFiles = []*os.File{writer}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	writer.Close()
	t.Cleanup(func() {
		server.Process.Kill()
		server.Wait()
	})
	var number int
	if _, err := fmt.Fscan(told, &number); err != nil {
		t.Fatalf("the display does not start: %v", err)
	}
	return fmt.Sprintf(":%d", number)
}

// hands is a person at a display.
type hands struct {
	t       *testing.T
	display string
}

func (h hands) do(args ...string) string {
	h.t.Helper()
	cmd := exec.Command("xdotool", args...)
	cmd.Env = append(os.Environ(), "DISPLAY="+h.display)
	text, err := cmd.CombinedOutput()
	if err != nil {
		h.t.Fatalf("xdotool %v: %v: %s", args, err, text)
	}
	return string(text)
}

// look takes a picture of the display.
func (h hands) look() image.Image {
	h.t.Helper()
	path := filepath.Join(h.t.TempDir(), "look.png")
	cmd := exec.Command("import", "-window", "root", path)
	cmd.Env = append(os.Environ(), "DISPLAY="+h.display)
	if text, err := cmd.CombinedOutput(); err != nil {
		h.t.Fatalf("%v: %s", err, text)
	}
	f, err := os.Open(path)
	if err != nil {
		h.t.Fatal(err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		h.t.Fatal(err)
	}
	return img
}

// until waits for something to be seen or done.
func (h hands) until(what string, done func() bool) {
	h.t.Helper()
	for begun := time.Now(); time.Since(begun) < 5*time.Minute; time.Sleep(200 * time.Millisecond) {
		if done() {
			h.t.Logf("%s: after %.0f s", what, time.Since(begun).Seconds())
			return
		}
	}
	seen := filepath.Join(os.TempDir(), "downlead-window.png")
	cmd := exec.Command("import", "-window", "root", seen)
	cmd.Env = append(os.Environ(), "DISPLAY="+h.display)
	cmd.Run()
	h.t.Fatalf("%s: it does not come; the screen is kept in %s", what, seen)
}

// changes does something and waits until a part of the screen has changed by it
// and has come to rest.
func (h hands) changes(what string, part image.Rectangle, args ...string) {
	h.t.Helper()
	differ := func(a, b image.Image) int {
		n := 0
		for y := part.Min.Y; y < part.Max.Y; y += 2 {
			for x := part.Min.X; x < part.Max.X; x += 2 {
				if a.At(x, y) != b.At(x, y) {
					n++
				}
			}
		}
		return n
	}
	before := h.look()
	h.do(args...)
	now := before
	h.until(what, func() bool {
		was := now
		now = h.look()
		return differ(before, now) > 50 && differ(was, now) < 20
	})
}

// count counts pixels of about a colour in a part of a picture.
func count(img image.Image, part image.Rectangle, r, g, b int) int {
	n := 0
	for y := part.Min.Y; y < part.Max.Y; y++ {
		for x := part.Min.X; x < part.Max.X; x++ {
			cr, cg, cb, _ := img.At(x, y).RGBA()
			away := func(v uint32, want int) bool { d := int(v>>8) - want; return d > 24 || d < -24 }
			if !away(cr, r) && !away(cg, g) && !away(cb, b) {
				n++
			}
		}
	}
	return n
}

// A person opens a sweep and its line, picks a cable, moves a marker and reads a
// finding in a real window, by keyboard and mouse.
func TestWholeWindow(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a display")
	}
	screen := display(t)
	folder := t.TempDir()
	program := filepath.Join(folder, "downlead")
	if text, err := exec.Command("go", "build", "-o", program, "downlead/cmd/downlead").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	site := filepath.Join(folder, "site")
	if text, err := exec.Command(program, "simulate", "--demo", "--out", site).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	config := filepath.Join(folder, "config")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	window := exec.CommandContext(ctx, program)
	window.Env = append(os.Environ(), "DISPLAY="+screen, "XDG_CONFIG_HOME="+config, "WAYLAND_DISPLAY=", "LIBGL_ALWAYS_SOFTWARE=1", "EGL_PLATFORM=x11")
	var said bytes.Buffer
	window.Stderr = &said
	if err := window.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		cancel()
		window.Wait()
		if t.Failed() {
			t.Log(said.String())
		}
	}()
	h := hands{t, screen}
	orange, card, chart := [3]int{0xB8, 0x48, 0x0A}, image.Rect(1090, 60, 1440, 860), image.Rect(280, 150, 1080, 660)
	sees := func(part image.Rectangle, c [3]int, least int) func() bool {
		return func() bool { return count(h.look(), part, c[0], c[1], c[2]) >= least }
	}
	h.do("search", "--sync", "--name", "Downlead", "windowfocus") // no window manager does it
	h.do("mousemove", "700", "800")
	h.until("the first run shows a finding's card", sees(card, orange, 200))

	// Open by typing a path.
	recent := func() string {
		text, _ := os.ReadFile(filepath.Join(config, "downlead", "recent.txt"))
		return string(text)
	}
	paper := h.look().At(4, 880)
	open := func(keys, path string) {
		h.do("key", keys)
		h.until("the dialog for "+path, func() bool { return h.look().At(4, 880) != paper })
		h.do("type", "--delay", "30", path)
		h.do("key", "Return")
		h.until("opening "+path, func() bool { return strings.Contains(recent(), path) })
	}
	open("ctrl+o", filepath.Join(site, "sweep.s1p"))
	open("ctrl+l", filepath.Join(site, "line.toml"))
	h.until("the finding comes again", sees(card, orange, 200))
	h.until("its trace is drawn", sees(chart, orange, 300))

	// A marker: to the chart, crosshair to the middle, M; it is a line from top to
	// bottom, which stays when the pointer has gone and follows a drag.
	upright := func(at int) bool {
		img, most := h.look(), 0
		for x := at - 4; x <= at+4; x++ {
			n := 0
			for y := chart.Min.Y + 20; y < chart.Max.Y-40; y++ {
				if r, g, b, _ := img.At(x, y).RGBA(); r+g+b < 3*0xC000 {
					n++
				}
			}
			most = max(most, n)
		}
		return most > (chart.Dy()-60)*9/10
	}
	if upright(560) {
		t.Fatal("there is a line before the marker")
	}
	h.do("mousemove", "560", "420", "click", "1")
	h.until("the chart has the focus: a frame", func() bool { return upright(1057) })
	h.do("key", "m")
	h.until("a marker is there, with its letter", func() bool {
		img, n := h.look(), 0
		for y := 634; y < 648; y++ {
			for x := 564; x < 576; x++ {
				if _, g, _, _ := img.At(x, y).RGBA(); g < 0xB000 {
					n++
				}
			}
		}
		return n >= 8
	})
	h.do("mousemove", "900", "720")
	h.until("the marker stays", func() bool { return upright(560) })
	h.do("mousemove", "560", "420", "mousedown", "1", "mousemove", "610", "420", "mousemove", "660", "420", "mouseup", "1", "mousemove", "900", "720")
	h.until("the marker has moved", func() bool { return !upright(560) && upright(660) })

	// Pick a cable: choose the feeder in the drawn line, search, look at it, take it.
	left := image.Rect(8, 60, 272, 860)
	h.changes("the feeder is chosen", left, "mousemove", "700", "708", "click", "1")
	h.changes("the search is in sight", left, "key", "F8")
	h.changes("cables are found", left, "type", "--delay", "30", "superflexible")
	h.changes("the first one is looked at", left, "key", "Tab", "Return")
	h.do("key", "Tab", "Tab", "Return") // past its curve: make the section of this
	h.do("key", "ctrl+shift+l")
	line := filepath.Join(site, "line.toml")
	h.until("the line is saved with the cable", func() bool {
		got, err := cables.ReadLine(line)
		if err != nil {
			return false
		}
		for _, s := range got.Sections {
			if s.Name == "feeder" {
				cable, ok := cableOf(got, s.CableID)
				return ok && strings.Contains(cable.Name, "superflexible")
			}
		}
		return false
	})

	// Read a finding: choosing the next one looks closer at it.
	h.changes("the cable is taken back", left, "key", "ctrl+z")
	h.until("the finding is back", sees(card, orange, 200))
	h.changes("a closer look", chart, "key", "ctrl+Down")
}

func cableOf(line *cables.Line, id string) (cables.Type, bool) {
	for _, c := range line.Cables {
		if c.ID == id {
			return c, true
		}
	}
	return cables.Type{}, false
}
