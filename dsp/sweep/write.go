package sweep

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// WriteOptions of a Touchstone file. The zero value is a good default.
type WriteOptions struct {
	Version2 bool // write version 2.0; false: 1.1, unless the two ports differ in reference
	OnePort  bool // of a two-port, write S11 alone; false: write what there is
}

// WriteTouchstone writes s, which must be valid, as a Touchstone file: Hz,
// S-parameters, real and imaginary part. Frequencies, S-parameters, references,
// comments, warnings and the state of correction read back exactly as they
// are (line breaks in a text become blanks); ErrorFloor is not written.
func WriteTouchstone(w io.Writer, s *Sweep, options WriteOptions) error {
	if err := s.Validate(); err != nil {
		return fmt.Errorf("writing Touchstone: %w", err)
	}
	two := s.TwoPort
	if options.OnePort {
		two = nil
	}
	version2 := options.Version2 || two != nil && two.ReferenceOhm != s.ReferenceOhm

	out := bufio.NewWriterSize(w, 1<<16)
	if s.Correction != AssumedCorrected {
		fmt.Fprintf(out, "!%s%v\n", correctionMark, s.Correction)
	}
	for _, text := range s.Warnings {
		fmt.Fprintf(out, "!%s%s\n", warningMark, oneLine(text))
	}
	for _, text := range s.Comments {
		fmt.Fprintf(out, "!%s\n", oneLine(text))
	}
	if version2 {
		fmt.Fprint(out, "[Version] 2.0\n")
	}
	reference := strconv.FormatFloat(s.ReferenceOhm, 'g', -1, 64)
	fmt.Fprintf(out, "# Hz S RI R %s\n", reference)
	if version2 {
		if two == nil {
			fmt.Fprintf(out, "[Number of Ports] 1\n[Number of Frequencies] %d\n[Reference] %s\n", len(s.FrequencyHz), reference)
		} else {
			fmt.Fprintf(out, "[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] %d\n[Reference] %s %s\n",
				len(s.FrequencyHz), reference, strconv.FormatFloat(two.ReferenceOhm, 'g', -1, 64))
		}
		fmt.Fprint(out, "[Network Data]\n")
	}
	var line []byte
	for i, f := range s.FrequencyHz {
		line = strconv.AppendFloat(line[:0], f, 'f', -1, 64)
		line = appendComplex(line, s.Gamma[i])
		if two != nil {
			line = appendComplex(line, two.S21[i])
			line = appendComplex(line, two.S12[i])
			line = appendComplex(line, two.S22[i])
		}
		line = append(line, '\n')
		if _, err := out.Write(line); err != nil {
			return fmt.Errorf("writing Touchstone: %w", err)
		}
	}
	if version2 {
		fmt.Fprint(out, "[End]\n")
	}
	if err := out.Flush(); err != nil { // holds the first error of any write above
		return fmt.Errorf("writing Touchstone: %w", err)
	}
	return nil
}

// appendComplex appends both parts in the shortest form that reads back exactly.
func appendComplex(line []byte, z complex128) []byte {
	line = append(line, ' ')
	line = strconv.AppendFloat(line, real(z), 'g', -1, 64)
	line = append(line, ' ')
	return strconv.AppendFloat(line, imag(z), 'g', -1, 64)
}

// oneLine makes a comment of text: control characters become blanks, blanks
// at the end go.
func oneLine(text string) string {
	return strings.TrimRight(strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' {
			return ' '
		}
		return r
	}, text), " \t")
}

// WriteFile writes s as a Touchstone file at path, whose extension must fit
// the number of ports: .s1p, .s2p, or .ts with Version2. A file already there
// is replaced as a whole or not at all.
func WriteFile(path string, s *Sweep, options WriteOptions) error {
	ports := 1
	if s.TwoPort != nil && !options.OnePort {
		ports = 2
	}
	if extension := strings.ToLower(filepath.Ext(path)); extension == ".ts" {
		if !options.Version2 {
			return fmt.Errorf("writing %s: a Touchstone file of version 1 must be named .s%dp", path, ports)
		}
	} else if want := fmt.Sprintf(".s%dp", ports); extension != want {
		return fmt.Errorf("writing %s: the sweep has %d port(s): name the file %s", path, ports, want)
	}
	return ReplaceFile(path, func(w io.Writer) error { return WriteTouchstone(w, s, options) })
}

// ReplaceFile makes or replaces the file at path by what write writes, as a
// whole or not at all: it writes a new file beside it, flushes that to the
// disk and then renames it. A symbolic link is followed. When write fails, its
// error is returned and what was at path stays.
func ReplaceFile(path string, write func(io.Writer) error) (err error) {
	mode := os.FileMode(0o666) // before the umask
	if target, failed := filepath.EvalSymlinks(path); failed == nil {
		path = target
		if info, failed := os.Stat(path); failed == nil {
			if !info.Mode().IsRegular() {
				return fmt.Errorf("writing %s: there is something that is not a plain file; choose another name", path)
			}
			mode = info.Mode().Perm()
		}
	}
	file, err := createBeside(path, mode)
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			os.Remove(file.Name()) // the error that brought us here matters more than its own
		}
	}()
	if err := write(file); err != nil {
		file.Close()
		return fmt.Errorf("writing %s: %w", path, err)
	}
	if err := errors.Join(file.Sync(), file.Close()); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	if err := os.Rename(file.Name(), path); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	// The new name is on the disk once the folder is flushed. Not every system
	// can do that, and the file is whole either way.
	if folder, failed := os.Open(filepath.Dir(path)); failed == nil {
		_ = folder.Sync()
		folder.Close()
	}
	return nil
}

// createBeside creates a new file in the folder of path.
func createBeside(path string, mode os.FileMode) (*os.File, error) {
	for try := 0; ; try++ {
		name := fmt.Sprintf("%s.%d-%d.part", path, os.Getpid(), try)
		file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
		if err == nil || !os.IsExist(err) || try == 100 {
			return file, err
		}
	}
}
