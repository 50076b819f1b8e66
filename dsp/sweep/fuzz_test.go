package sweep

import (
	"bytes"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
)

// checkRead holds what any reader returns to its promises: a ParseError, or a
// valid sweep that a written file gives back bit for bit.
func checkRead(t *testing.T, input []byte, s *Sweep, err error) {
	t.Helper()
	if err != nil {
		var place *ParseError
		if !errors.As(err, &place) || place.Err == nil || strings.ContainsAny(err.Error(), "\n\x00") {
			t.Fatalf("not a ParseError in one line: %q", err)
		}
		if lines := 1 + bytes.Count(input, []byte("\n")) + bytes.Count(input, []byte("\r")); place.Line > lines+1 {
			t.Fatalf("line %d of %d: %v", place.Line, lines, err)
		}
		return
	}
	if err := s.Validate(); err != nil {
		t.Fatalf("read an invalid sweep: %v", err)
	}
	// A point takes at least six bytes ("1 0 0\n"), so memory is bounded by the input.
	if len(s.Gamma) > len(input)/6+1 {
		t.Fatalf("%d points out of %d bytes", len(s.Gamma), len(input))
	}
	for _, options := range []WriteOptions{{}, {Version2: true}} {
		var file bytes.Buffer
		if err := WriteTouchstone(&file, s, options); err != nil {
			t.Fatal(err)
		}
		text := file.String()
		back, err := ReadTouchstone("written", &file)
		if err != nil {
			t.Fatalf("%v in what was written:\n%.500s", err, text)
		}
		back.Name = s.Name
		if err := sameBits(back, s); err != nil {
			t.Fatal(err)
		}
	}
	for _, view := range [][]float64{s.VSWR(), s.ReturnLossDB(), s.PhaseDeg(), s.UnwrappedPhaseDeg(), s.GroupDelayS(), s.CableLossDB()} {
		for i, v := range view {
			if math.IsNaN(v) {
				t.Fatalf("a view of point %d, %v, is NaN", i+1, s.Gamma[i])
			}
		}
	}
}

func FuzzTouchstone(f *testing.F) {
	for _, text := range []string{
		"# Hz S RI R 50\n10 .1 .2\n20 .3 .4\n",
		"! c\r\n#  mhz\tz ma r 75 !x\r\n0 1 2\r\n1 2 3\r\n2 3 4\r\n",
		"1 .5 90\r2 .5 180\r",
		"# GHz S DB R 50 75\n1 -1 2 -3 4 -5 6 -7 8\n2 -1 2 -3 4 -5 6 -7 8\n1 2 3 4 5\n",
		"[Version] 2.0\n# Hz G MA\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 2\n[Reference]\n50 75\n[Matrix Format] Lower\n[Begin Information]\nx\n[End Information]\n[Network Data]\n10 1 2 3 4 5 6\n20 1 2 3 4 5 6\n[Noise Data]\n1 2 3 4 5\n[End]\n",
		"! downlead correction: uncorrected\n! downlead warning: w\n!\xe9\n# Hz H RI\n10 1 0 1 0 1 0 1 0\n20 1 0 1 0 1 0 1 0\n",
	} {
		f.Add(byte(0), []byte(text))
		f.Add(byte(1), []byte(text))
		f.Add(byte(2), []byte(text))
	}
	f.Fuzz(func(t *testing.T, name byte, text []byte) {
		s, err := ReadTouchstone([]string{"a.s1p", "a.s2p", "a.ts"}[int(name)%3], bytes.NewReader(text))
		checkRead(t, text, s, err)
	})
}

func FuzzCSV(f *testing.F) {
	for _, text := range []string{
		"Frequency (Hz),S11 real,S11 imaginary\n10e6,0,.5\n20e6,-.5,0\n",
		"# reference 75 ohm\nf [MHz];Re(Z);Im(Z)\n10,0;0,0;0,5\n20;-0,5;0\n",
		"x\n\"freq\"\"\"\t|S11|\tangle rad\r\n1e6\t1\t2\r\n2e6\t\"1\"\t2\r\n",
		"f GHz,RL,VSWR,dB,phase\n1,-10,1,1,1\n2,-10,1,1,1\n",
		"f GHz,VSWR,phase\n0,1,1\n1,1.5,1\n2,1,1\n",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := ReadCSV("a.csv", bytes.NewReader(text))
		checkRead(t, text, s, err)
	})
}

func FuzzScalar(f *testing.F) {
	for _, text := range []string{
		"f (MHz),VSWR\n10,3\n20,1.5\n",
		"f (GHz);return loss\n1,5;-14,2\n2,5;-20\n",
		"freq,S11 dB\n1e9,-20\n",
		"f Hz,re,im\n10,1,1\n20,0,0\n",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := ReadScalar("a.csv", bytes.NewReader(text))
		if err != nil {
			checkRead(t, text, nil, err)
			return
		}
		if len(s.FrequencyHz) == 0 || len(s.FrequencyHz) != len(s.Magnitude) || len(s.Magnitude) > len(text)/4+1 {
			t.Fatalf("%d frequencies, %d magnitudes out of %d bytes", len(s.FrequencyHz), len(s.Magnitude), len(text))
		}
		canonical := []byte("Frequency (Hz),|Γ|\n")
		for i, m := range s.Magnitude {
			if !(m >= 0) || math.IsInf(m, 0) {
				t.Fatalf("|Γ| = %v", m)
			}
			canonical = strconv.AppendFloat(canonical, s.FrequencyHz[i], 'g', -1, 64)
			canonical = append(canonical, ',')
			canonical = strconv.AppendFloat(canonical, m, 'g', -1, 64)
			canonical = append(canonical, '\n')
		}
		back, err := ReadScalar("a.csv", bytes.NewReader(canonical))
		if err != nil {
			t.Fatalf("%v in\n%s", err, canonical)
		}
		for i := range s.Magnitude {
			if back.FrequencyHz[i] != s.FrequencyHz[i] || back.Magnitude[i] != s.Magnitude[i] {
				t.Fatalf("point %d: %v Hz %v reads back as %v Hz %v", i+1, s.FrequencyHz[i], s.Magnitude[i], back.FrequencyHz[i], back.Magnitude[i])
			}
		}
		if _, err := s.Judge([]LimitBand{{MaxVSWR: 1.5}}); err != nil {
			t.Fatal(err)
		}
	})
}
