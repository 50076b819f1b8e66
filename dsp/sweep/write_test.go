package sweep

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
)

// randomSweep has numbers of every size that a sweep may have, with all their bits.
func randomSweep(n int, two bool) *Sweep {
	random := rand.New(rand.NewPCG(3, uint64(n)))
	number := func() complex128 {
		return complex(random.NormFloat64()*math.Pow(10, -20*random.Float64()), random.NormFloat64()*math.Pow(10, -300*random.Float64()))
	}
	s := &Sweep{Name: "random.s1p", ReferenceOhm: 50.00000000000001}
	if two {
		s.Name = "random.s2p"
		s.TwoPort = &TwoPort{ReferenceOhm: s.ReferenceOhm}
	}
	f := 1.0
	for range n {
		f += random.Float64() * 1e11 / float64(n)
		s.FrequencyHz = append(s.FrequencyHz, f)
		s.Gamma = append(s.Gamma, number()/4)
		if two {
			s.TwoPort.S21 = append(s.TwoPort.S21, number()*1e300)
			s.TwoPort.S12 = append(s.TwoPort.S12, number())
			s.TwoPort.S22 = append(s.TwoPort.S22, number())
		}
	}
	return s
}

// What is written reads back to the same bits.
func TestWriteReadsBackBitForBit(t *testing.T) {
	negativeZero := randomSweep(3, false)
	negativeZero.Gamma[1] = complex(math.Copysign(0, -1), 5e-324)
	words := randomSweep(4, false)
	words.Comments = []string{" on the roof, +5 °C", "", "\ttab", "# Hz"}
	words.Warnings = []string{"loose load", "open looks like a short"}
	words.Correction = Doubtful
	differ := randomSweep(50, true)
	differ.TwoPort.ReferenceOhm = 75
	for _, c := range []struct {
		name    string
		s       *Sweep
		options WriteOptions
		first   string // what the file begins with
	}{
		{"one-port", randomSweep(1000, false), WriteOptions{}, "# Hz S RI R 50.00000000000001\n"},
		{"one-port, version 2", randomSweep(1000, false), WriteOptions{Version2: true}, "[Version] 2.0\n# Hz S RI R 50.00000000000001\n[Number of Ports] 1\n[Number of Frequencies] 1000\n"},
		{"two-port", randomSweep(500, true), WriteOptions{}, "# Hz S RI R 50.00000000000001\n"},
		{"two-port, version 2", randomSweep(500, true), WriteOptions{Version2: true}, "[Version] 2.0\n"},
		{"two-port of two references takes version 2", differ, WriteOptions{}, "[Version] 2.0\n"},
		{"negative zero and the smallest number", negativeZero, WriteOptions{}, "# Hz"},
		{"comments, warnings and state", words, WriteOptions{}, "! downlead correction: doubtful\n! downlead warning: loose load\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var file bytes.Buffer
			if err := WriteTouchstone(&file, c.s, c.options); err != nil {
				t.Fatal(err)
			}
			if !strings.HasPrefix(file.String(), c.first) {
				t.Errorf("begins with %.80q, want %q", file.String(), c.first)
			}
			back, err := ReadTouchstone(c.s.Name, &file)
			if err != nil {
				t.Fatal(err)
			}
			if err := sameBits(back, c.s); err != nil {
				t.Error(err)
			}
		})
	}
}

// sameBits compares all that a file holds; unlike ==, it tells -0 from 0.
func sameBits(a, b *Sweep) error {
	if !reflect.DeepEqual(a, b) {
		return fmt.Errorf("sweeps differ:\n%.300s\n%.300s", fmt.Sprintf("%+v %+v", a, a.TwoPort), fmt.Sprintf("%+v %+v", b, b.TwoPort))
	}
	for i := range a.Gamma {
		if math.Float64bits(real(a.Gamma[i])) != math.Float64bits(real(b.Gamma[i])) || math.Float64bits(imag(a.Gamma[i])) != math.Float64bits(imag(b.Gamma[i])) {
			return fmt.Errorf("point %d: %v and %v differ in a bit", i+1, a.Gamma[i], b.Gamma[i])
		}
	}
	return nil
}

func TestWriteOnePortOfATwoPort(t *testing.T) {
	var file bytes.Buffer
	s := randomSweep(5, true)
	if err := WriteTouchstone(&file, s, WriteOptions{OnePort: true}); err != nil {
		t.Fatal(err)
	}
	s.TwoPort, s.Name = nil, "a.s1p"
	back, err := ReadTouchstone("a.s1p", &file)
	if err != nil {
		t.Fatal(err)
	}
	if err := sameBits(back, s); err != nil {
		t.Error(err)
	}
}

func TestTextsCannotBreakOutOfTheirComment(t *testing.T) {
	s := randomSweep(2, false)
	s.Comments = []string{"a\n1 2 3\r\n4 5 6 "}
	s.Warnings = []string{"b\n# GHz Z"}
	var file bytes.Buffer
	if err := WriteTouchstone(&file, s, WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	back, err := ReadTouchstone(s.Name, &file)
	if err != nil {
		t.Fatal(err)
	}
	s.Comments, s.Warnings = []string{"a 1 2 3  4 5 6"}, []string{"b # GHz Z"}
	if err := sameBits(back, s); err != nil {
		t.Error(err)
	}
}

func TestWriteRefusesABrokenSweep(t *testing.T) {
	s := randomSweep(2, false)
	s.Gamma[1] = complex(math.NaN(), 0)
	err := WriteTouchstone(io.Discard, s, WriteOptions{})
	if err == nil || !strings.HasPrefix(err.Error(), `writing Touchstone: sweep "random.s1p": point 2 of 2, `) {
		t.Errorf("got %v", err)
	}
}

func TestWriteFileReplacesAsAWholeOrNotAtAll(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.s1p")
	first, second := randomSweep(3, false), randomSweep(4, false)
	for _, s := range []*Sweep{first, second} {
		if err := WriteFile(path, s, WriteOptions{}); err != nil {
			t.Fatal(err)
		}
		back, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		back.Name = s.Name
		if err := sameBits(back, s); err != nil {
			t.Error(err)
		}
	}
	disk := errors.New("disk full")
	err := ReplaceFile(path, func(w io.Writer) error {
		io.WriteString(w, "half a")
		return disk
	})
	if !errors.Is(err, disk) || err.Error() != "writing "+path+": disk full" {
		t.Errorf("got %v", err)
	}
	if back, err := Read(path); err != nil || len(back.Gamma) != 4 {
		t.Errorf("the failed write harmed the file: %v", err)
	}
	entries, err := os.ReadDir(folder)
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

func TestReplaceFileKeepsModeAndFollowsLinks(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no modes and links to test here")
	}
	folder := t.TempDir()
	path, link := filepath.Join(folder, "a.txt"), filepath.Join(folder, "link.txt")
	if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	if err := ReplaceFile(link, func(w io.Writer) error { _, err := io.WriteString(w, "new"); return err }); err != nil {
		t.Fatal(err)
	}
	info, err := os.Lstat(path)
	if err != nil || info.Mode() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	if text, err := os.ReadFile(path); err != nil || string(text) != "new" {
		t.Errorf("%q, %v", text, err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is gone: %v, %v", info, err)
	}
	err = ReplaceFile(folder, func(io.Writer) error { return nil })
	if want := "writing " + folder + ": there is something that is not a plain file; choose another name"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestWriteFileWantsTheExtensionThatFits(t *testing.T) {
	folder := t.TempDir()
	for _, c := range []struct {
		name    string
		s       *Sweep
		options WriteOptions
		want    string // behind the path; "": no error
	}{
		{"a.S1P", randomSweep(2, false), WriteOptions{}, ""},
		{"a.ts", randomSweep(2, false), WriteOptions{Version2: true}, ""},
		{"b.s1p", randomSweep(2, true), WriteOptions{OnePort: true}, ""},
		{"c.s1p", randomSweep(2, true), WriteOptions{}, ": the sweep has 2 port(s): name the file .s2p"},
		{"c.csv", randomSweep(2, false), WriteOptions{}, ": the sweep has 1 port(s): name the file .s1p"},
		{"c.ts", randomSweep(2, false), WriteOptions{}, ": a Touchstone file of version 1 must be named .s1p"},
	} {
		path := filepath.Join(folder, c.name)
		err := WriteFile(path, c.s, c.options)
		if c.want == "" && err != nil || c.want != "" && (err == nil || err.Error() != "writing "+path+c.want) {
			t.Errorf("%s: got %v, want %s", c.name, err, c.want)
		}
	}
}

func TestReadPicksTheFormat(t *testing.T) {
	folder := t.TempDir()
	const touchstone = "# Hz S RI R 50\n10 .1 0\n20 .1 0\n"
	const csv = "f (Hz),re,im\n10,.1,0\n20,.1,0\n"
	for _, c := range []struct{ name, text, want string }{
		{"a.s1p", touchstone, ""},
		{"a.txt", touchstone, ""},
		{"noextension", "! x\n" + touchstone, ""},
		{"touchstone.csv", touchstone, ""},
		{"version2.csv", "[Version] 2.0\n# Hz S RI\n[Number of Ports] 1\n[Number of Frequencies] 2\n[Network Data]\n10 .1 0\n20 .1 0\n[End]\n", ""},
		{"bare.dat", "1 .1 0\n2 .1 0\n", ""},
		{"a.csv", csv, ""},
		{"a.dat", "# swept at night\n" + csv, ""},
		{"comment.csv", "! swept at night\n" + csv, ""},
		{"csv.s1p", csv, ""},
		{"empty.csv", "", ":1: " + errNoHeader.Error()},
		{"empty.s1p", "", ":1: no data point: the file is empty or was cut off; export the sweep again"},
		{"scalar.csv", "f (Hz),VSWR\n10,1.1\n20,1.1\n", ":1:1: " + scalarText},
		{"numbers.csv", "10,.1,0\n", ":1:1: " + errNoHeader.Error()},
	} {
		path := filepath.Join(folder, c.name)
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := Read(path)
		if c.want != "" {
			if err == nil || err.Error() != path+c.want {
				t.Errorf("%s: got %v, want %s", c.name, err, c.want)
			}
			continue
		}
		if err != nil || len(s.Gamma) != 2 || s.Gamma[0] != .1 || s.Name != c.name {
			t.Errorf("%s: got %+v, %v", c.name, s, err)
		}
	}
	if _, err := Read(filepath.Join(folder, "missing.s1p")); !errors.Is(err, os.ErrNotExist) || !strings.HasPrefix(err.Error(), "reading sweep: ") {
		t.Errorf("missing file: %v", err)
	}
	if _, err := Read(folder); err == nil || err.Error() != folder+": this is a folder: name the sweep file in it" {
		t.Errorf("folder: %v", err)
	}
	scalar, err := ReadScalarFile(filepath.Join(folder, "scalar.csv"))
	if err != nil || len(scalar.Magnitude) != 2 {
		t.Errorf("scalar: %v, %v", scalar, err)
	}
}
