package sweep

import (
	"bytes"
	"fmt"
	"io"
	"testing"
)

// Reading and writing 100,001 points, and the floor below which no reader can
// go: the bytes once through the line splitter.
func BenchmarkFile100001Points(b *testing.B) {
	s := randomSweep(100_001, false)
	var touchstone, csv bytes.Buffer
	if err := WriteTouchstone(&touchstone, s, WriteOptions{}); err != nil {
		b.Fatal(err)
	}
	fmt.Fprintln(&csv, "Frequency (Hz),real,imag")
	for i, f := range s.FrequencyHz {
		fmt.Fprintf(&csv, "%v,%v,%v\n", f, real(s.Gamma[i]), imag(s.Gamma[i]))
	}
	b.Run("ReadTouchstone", func(b *testing.B) {
		b.SetBytes(int64(touchstone.Len()))
		b.ReportAllocs()
		for b.Loop() {
			if _, err := ReadTouchstone("a.s1p", bytes.NewReader(touchstone.Bytes())); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("ReadCSV", func(b *testing.B) {
		b.SetBytes(int64(csv.Len()))
		b.ReportAllocs()
		for b.Loop() {
			if _, err := ReadCSV("a.csv", bytes.NewReader(csv.Bytes())); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("WriteTouchstone", func(b *testing.B) {
		b.SetBytes(int64(touchstone.Len()))
		b.ReportAllocs()
		for b.Loop() {
			if err := WriteTouchstone(io.Discard, s, WriteOptions{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("LinesAlone", func(b *testing.B) {
		b.SetBytes(int64(touchstone.Len()))
		b.ReportAllocs()
		for b.Loop() {
			l := newLineReader("a.s1p", bytes.NewReader(touchstone.Bytes()))
			for l.next() == nil {
			}
		}
	})
}
