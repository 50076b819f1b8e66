//go:build unix

package investigation

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// specialFiles makes a pipe and links in folder, and says what an investigation
// that names each is to tell.
func specialFiles(t *testing.T, folder, outside string) map[string]string {
	in := func(name string) string { return filepath.Join(folder, name) }
	check(t, syscall.Mkfifo(in("pipe.s1p"), 0o666))
	for name, to := range map[string]string{"link.s1p": outside, "self.s1p": "x.toml", "loop.s1p": "loop.s1p", "zero.s1p": "/dev/zero"} {
		check(t, os.Symlink(to, in(name)))
	}
	return map[string]string{
		"pipe.s1p": "it is not a plain file",
		"self.s1p": "cannot be its own measurement",
		"loop.s1p": "told: the sweep, " + in("loop.s1p") + ", cannot be read",
		"link.s1p": "told: the sweep, " + in("link.s1p") + ", cannot be read",
		"zero.s1p": "told: the sweep, " + in("zero.s1p") + ", cannot be read",
	}
}
