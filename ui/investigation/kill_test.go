package investigation

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

const saveForever = "DOWNLEAD_TEST_SAVE_FOREVER"

// TestMain is also the child that is killed: it saves one and then the other
// document in turn, until it dies.
func TestMain(m *testing.M) {
	path := os.Getenv(saveForever)
	if path == "" {
		os.Exit(m.Run())
	}
	for n := 0; ; n++ {
		if _, err := Save(path, Document{Site: "s", Notes: turn(n)}); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		if n == 0 {
			fmt.Println("saving")
		}
	}
}

// turn are long notes, all of one letter.
func turn(n int) string { return strings.Repeat(string(rune('a'+n%2)), 4000) }

// A program that is killed while it saves leaves the old or the new file, whole.
func TestKilledWhileSaving(t *testing.T) {
	const kills, atOnce = 200, 8
	self, err := os.Executable()
	check(t, err)
	folder := t.TempDir()
	var all sync.WaitGroup
	for lane := range atOnce {
		all.Go(func() {
			random := rand.New(rand.NewPCG(uint64(lane), 7))
			for n := range kills / atOnce {
				path := filepath.Join(folder, fmt.Sprintf("%d-%d.toml", lane, n))
				if err := killOne(self, path, time.Duration(random.IntN(3000))*time.Microsecond); err != nil {
					t.Errorf("kill %d of lane %d: %v", n, lane, err)
					return
				}
			}
		})
	}
	all.Wait()
	parts, err := filepath.Glob(filepath.Join(folder, "*.part"))
	check(t, err)
	t.Logf("%d of %d kills came while a file was being written", len(parts), kills)
	if len(parts) == 0 {
		t.Error("no kill came while a file was being written: this tested nothing")
	}
}

func killOne(self, path string, after time.Duration) error {
	child := exec.Command(self)
	child.Env = append(os.Environ(), saveForever+"="+path)
	said, err := child.StdoutPipe()
	if err != nil {
		return err
	}
	if err := child.Start(); err != nil {
		return err
	}
	word, _ := bufio.NewReader(said).ReadString('\n')
	time.Sleep(after) // to die at any moment of a save
	killed := child.Process.Kill()
	_ = child.Wait()
	if word != "saving\n" || killed != nil {
		return fmt.Errorf("the child said %q; %v", word, killed)
	}
	o, err := Open(path)
	if err != nil {
		return err
	}
	if got := o.Document.Notes; got != turn(0) && got != turn(1) {
		return fmt.Errorf("a mixed file of %d bytes", len(got))
	}
	return nil
}
