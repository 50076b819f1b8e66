package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
)

// tool is an outside program that checks of the project use.
type tool struct {
	name     string
	use      string   // what for
	probe    []string // a command that succeeds when the tool is there
	packages []string // what brings it on Debian and Ubuntu
}

// tools are all that the tests need besides Go. The system's own Python is
// asked, since another one first on the path would not see Debian's packages.
func tools() []tool {
	return append(windowTools(), []tool{
		{"gcc", "the race detector", []string{"gcc", "--version"}, []string{"gcc", "libc6-dev"}},
		{"scipy", "reference results in tests", []string{"/usr/bin/python3", "-c", "import scipy"}, []string{"python3-scipy"}},
		{"scikit-rf", "reference results in tests", []string{"/usr/bin/python3", "-c", "import skrf"}, []string{"python3-scikit-rf"}},
		{"ngspice", "reference results in tests", []string{"ngspice", "--version"}, []string{"ngspice"}},
		{"Poppler", "reading the PDF of a report in tests", []string{"sh", "-c", "command -v pdftotext pdftoppm pdfinfo pdffonts"}, []string{"poppler-utils"}},
		{"Ghostscript", "reading the PDF of a report in tests", []string{"gs", "--version"}, []string{"ghostscript"}},
		{"display", "the test that works the window by keyboard and mouse", []string{"sh", "-c", "command -v Xvfb && command -v xdotool && command -v import"}, []string{"xvfb", "xdotool", "imagemagick"}},
		{"software drawing", "pictures of the window in tests", []string{"sh", "-c", "ls /usr/lib/*/dri/swrast_dri.so /usr/lib/*/libgallium*.so 2>/dev/null | grep -q ."}, []string{"libgl1-mesa-dri", "libegl1", "libgles2"}},
	}...)
}

// windowTools are what building the window needs besides Go.
func windowTools() []tool {
	return []tool{{"window libraries", "building the window",
		[]string{"pkg-config", "--exists", "x11", "x11-xcb", "xkbcommon", "xkbcommon-x11", "wayland-client", "wayland-egl", "wayland-cursor", "egl", "glesv2", "xcursor", "xfixes", "vulkan", "libffi"},
		[]string{"gcc", "libc6-dev", "pkg-config", "libwayland-dev", "libx11-dev", "libx11-xcb-dev", "libxkbcommon-x11-dev", "libgles2-mesa-dev", "libegl1-mesa-dev",
			"libffi-dev", "libxcursor-dev", "libvulkan-dev", "libxfixes-dev"}}}
}

func (t tool) present(ctx context.Context) bool {
	return exec.CommandContext(ctx, t.probe[0], t.probe[1:]...).Run() == nil
}

// missing returns those of all that present denies.
func missing(all []tool, present func(tool) bool) []tool {
	var out []tool
	for _, t := range all {
		if !present(t) {
			out = append(out, t)
		}
	}
	return out
}

// packages returns the Debian packages that bring the tools, each once.
func packages(of []tool) []string {
	var out []string
	seen := map[string]bool{}
	for _, t := range of {
		for _, p := range t.packages {
			if !seen[p] {
				seen[p] = true
				out = append(out, p)
			}
		}
	}
	return out
}

// installer returns the words that go before "apt-get", or why packages cannot
// be installed here.
func installer(lookPath func(string) (string, error), uid int) ([]string, error) {
	if _, err := lookPath("apt-get"); err != nil {
		return nil, errors.New("this system has no apt-get")
	}
	if uid == 0 {
		return nil, nil
	}
	if _, err := lookPath("sudo"); err != nil {
		return nil, errors.New("neither root nor sudo")
	}
	return []string{"sudo"}, nil
}

// prepare installs the outside tools that are missing and returns those that
// still are. It fails only when an installation that could be tried went wrong.
func prepare(ctx context.Context, out io.Writer, wanting []tool) ([]tool, error) {
	present := func(t tool) bool { return t.present(ctx) }
	lacking := missing(wanting, present)
	if len(lacking) == 0 {
		var names []string
		for _, t := range wanting {
			names = append(names, t.name)
		}
		fmt.Fprintf(out, "%s: all here, nothing to install\n", strings.Join(names, ", "))
		return nil, nil
	}
	for _, t := range lacking {
		fmt.Fprintf(out, "missing: %s, for %s\n", t.name, t.use)
	}
	wanted := packages(lacking)
	prefix, err := installer(exec.LookPath, os.Getuid())
	if err != nil {
		fmt.Fprintf(out, "%v: please install by hand what Debian calls %s\n", err, strings.Join(wanted, ", "))
		return lacking, nil
	}
	apt := func(args ...string) command {
		words := append(append([]string(nil), prefix...), "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-q")
		return command{args: append(words, args...)}
	}
	fmt.Fprintf(out, "installing the system packages %s\n", strings.Join(wanted, ", "))
	if err := apt("update").run(ctx, out); err != nil {
		fmt.Fprintln(out, err) // an old list may still do
	}
	err = apt(append([]string{"install", "-y", "--no-install-recommends"}, wanted...)...).run(ctx, out)
	return missing(lacking, present), err
}
