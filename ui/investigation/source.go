package investigation

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"syscall"

	"downlead/cables"
	"downlead/dsp/calibration"
	"downlead/dsp/sweep"
)

// mostSweepBytes bounds a sweep file: it is some three million points.
const mostSweepBytes = 64 << 20

// ReadSweep reads the sweep at path and its SHA-256. The file must be a plain one
// of at most 64 MB. Errors are as those of sweep.Read.
func ReadSweep(path string) (Source, error) {
	f, err := openPlain(path)
	if err != nil {
		return Source{}, err
	}
	defer f.Close()
	s, sum, err := decodeSweep(path, f)
	return Source{Path: path, SHA256: sum, Sweep: s}, err
}

// ReadLine reads the line file at path and its SHA-256.
func ReadLine(path string) (line *cables.Line, sum string, err error) {
	f, err := openPlain(path)
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	return decodeLine(path, f)
}

// ReadKit reads the definitions of the standards at path and their SHA-256.
func ReadKit(path string) (kit *calibration.Kit, sum string, err error) {
	f, err := openPlain(path)
	if err != nil {
		return nil, "", err
	}
	defer f.Close()
	return decodeKit(path, f)
}

func decodeSweep(path string, f io.Reader) (*sweep.Sweep, string, error) {
	return hashed(path, f, mostSweepBytes, sweep.Decode)
}

func decodeLine(path string, f io.Reader) (*cables.Line, string, error) {
	return hashed(path, f, mostBytes, cables.DecodeLine)
}

func decodeKit(path string, f io.Reader) (*calibration.Kit, string, error) {
	return hashed(path, f, mostBytes, calibration.DecodeKit)
}

// hashed decodes what f holds and returns its SHA-256 too, which is known even
// where it cannot be decoded.
func hashed[T any](path string, f io.Reader, most int64, decode func(string, io.Reader) (T, error)) (value T, sum string, err error) {
	hash := sha256.New()
	limited := &io.LimitedReader{R: f, N: most + 1}
	through := io.TeeReader(limited, hash)
	value, err = decode(path, through)
	if _, more := io.Copy(io.Discard, through); err == nil && more != nil {
		err = fmt.Errorf("reading %s: %w", path, more)
	}
	if limited.N == 0 {
		var none T
		return none, "", fmt.Errorf("%s is larger than %d MB: this is not what it is named for", path, most>>20)
	}
	return value, hex.EncodeToString(hash.Sum(nil)), err
}

// errNotPlain is why folders, devices and pipes are not read.
var errNotPlain = errors.New("it is not a plain file; name a file that can be read twice")

// openPlain opens a plain file. What is not plain is not opened, since opening
// alone may wait for ever, or rewind something.
func openPlain(path string) (*os.File, error) {
	return plain(path, os.Stat, os.OpenFile)
}

func plain(path string, stat func(string) (os.FileInfo, error), open func(string, int, os.FileMode) (*os.File, error)) (*os.File, error) {
	info, err := stat(path)
	if err == nil && !info.Mode().IsRegular() {
		err = errNotPlain
	}
	if err != nil {
		return nil, about(path, err)
	}
	// Something else may have taken its place meanwhile: do not wait for it.
	f, err := open(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, about(path, err)
	}
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		f.Close()
		return nil, about(path, errNotPlain)
	}
	return f, nil
}

// about says what an error of the file system is about.
func about(path string, err error) error { return fmt.Errorf("reading %s: %w", path, cause(err)) }

// sumOf returns the SHA-256 of the plain file at path, "" where that cannot be
// read.
func sumOf(path string) string {
	f, err := openPlain(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	hash := sha256.New()
	if n, err := io.Copy(hash, io.LimitReader(f, mostSweepBytes+1)); err != nil || n > mostSweepBytes {
		return ""
	}
	return hex.EncodeToString(hash.Sum(nil))
}

// cablesSum is the SHA-256 of the line written with all its cables.
func cablesSum(line *cables.Line) (string, error) {
	var text strings.Builder
	if err := cables.EncodeLine(&text, line); err != nil {
		return "", err
	}
	return sumOfBytes([]byte(text.String())), nil
}

func sumOfBytes(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
