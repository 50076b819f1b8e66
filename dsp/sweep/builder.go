package sweep

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
)

// Bounds on what is kept of a file's comments.
const (
	maxCommentBytes  = 4 << 10
	maxCommentsBytes = 256 << 10
	maxWarnings      = 100
)

// How this package's own comment lines begin, behind the comment mark.
const (
	correctionMark = " downlead correction: "
	warningMark    = " downlead warning: "
)

// builder gathers a sweep from a text: what the parsers have in common.
type builder struct {
	*lineReader
	sweep        *Sweep
	rows         int // data lines so far, a point at 0 Hz included
	lastHz       float64
	commentBytes int  // kept so far, with a line end each
	commentsCut  bool // some were not kept
}

func newBuilder(name string, r io.Reader) builder {
	return builder{lineReader: newLineReader(name, r), sweep: &Sweep{Name: filepath.Base(name)}}
}

// comment keeps a comment line of the head, or obeys it when this package wrote it.
func (b *builder) comment(line []byte) {
	line = bytes.TrimRight(line, " \t")
	if b.commentBytes+len(line) > maxCommentsBytes {
		b.commentLost()
		return
	}
	text := cleanText(line) // may be longer than line
	if len(text) > maxCommentBytes || b.commentBytes+len(text) > maxCommentsBytes {
		b.commentLost()
		return
	}
	if state, ok := strings.CutPrefix(text, correctionMark); ok {
		for c := AssumedCorrected; c <= Uncorrected; c++ {
			if c.String() == state {
				b.sweep.Correction = c
				return
			}
		}
	}
	if text, ok := strings.CutPrefix(text, warningMark); ok && len(b.sweep.Warnings) < maxWarnings {
		warn(&b.sweep.Warnings, "%s", text)
		return
	}
	b.commentBytes += len(text) + 1
	b.sweep.Comments = append(b.sweep.Comments, text)
}

func (b *builder) commentLost() {
	if !b.commentsCut {
		b.commentsCut = true
		warn(&b.sweep.Warnings, "the file's comments are too long to be kept in full")
	}
}

// frequency checks the frequency of the next data line; keep is false for an
// error and for the point at 0 Hz, which is left out.
func (b *builder) frequency(f float64, column int) (keep bool, err error) {
	b.rows++
	if f == 0 {
		if b.rows > 1 {
			return false, b.at(column, errors.New("frequency 0 Hz behind other points: sort the points by ascending frequency"))
		}
		warn(&b.sweep.Warnings, "the point at 0 Hz is left out: the loss and phase of a line say nothing there")
		return false, nil
	}
	if reason := frequencyFault(f, b.lastHz); reason != "" {
		return false, b.at(column, errors.New(reason))
	}
	if len(b.sweep.FrequencyHz) == MaxPoints {
		return false, b.at(column, fmt.Errorf("more than %d points: export fewer points or a narrower band", MaxPoints))
	}
	b.lastHz = f
	return true, nil
}
