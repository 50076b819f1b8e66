package sweep

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

func TestCSVColumns(t *testing.T) {
	const tolerance = 1e-14
	half := []complex128{0.5i, -0.5}
	for _, c := range []struct {
		rule, text   string
		gamma        []complex128
		referenceOhm float64
		warnings     []string
	}{
		{"real and imaginary", "Frequency (Hz),S11 real,S11 imaginary\n10e6,0,.5\n20e6,-.5,0\n", half, 50, nil},
		{"Re() and Im(), MHz, semicolons with decimal comma", "f [MHz];Re(S11);Im(S11)\n10,0;0,0;0,5\n20;-0,5;0\n", half, 50, nil},
		{"tabs, quotes, CR LF, byte order mark, spare columns", "\ufeff\"Frequency, kHz\"\t\"Note\"\t\"re\"\t\"im\"\t\"S21 re\"\r\n10000\t\"a \"\"b\"\"\"\t0\t.5\t7\r\n20000\t\t-.5\t0\t7\r\n", half, 50, nil},
		{"magnitude and phase, GHz", "freq_ghz,|S11|,phase_deg\n0.01,.5,90\n.02,.5,180\n", half, 50, nil},
		{"dB and phase in radians", "freq (Hz),S11 (dB),angle (rad)\n10e6,-6.020599913279624,1.5707963267948966\n20e6,-6.020599913279624,3.141592653589793\n", half, 50, nil},
		{"return loss and phase", "freq (Hz),Return loss (dB),phase\n10e6,6.020599913279624,90\n20e6,6.020599913279624,-180\n", half, 50, nil},
		{"return loss with a minus sign", "freq (Hz),RL,phase\n10e6,-6.020599913279624,90\n20e6,-6.020599913279624,-180\n", half, 50,
			[]string{`column "RL" is negative; taken as return loss written with a minus sign`}},
		{"VSWR and phase", "freq (Hz),SWR,phase\n10e6,3,90\n20e6,3,180\n", half, 50, nil},
		{"resistance and reactance, reference by comment", "# reference 75 ohm\nfreq (Hz),resistance,reactance\n10e6,45,60\n20e6,25,0\n", half, 75, nil},
		{"complex impedance", "freq (Hz),Z real,Z imag\n10e6,30,40\n20e6,16.666666666666668,0\n", half, 50, nil},
		{"of two ways, real and imaginary wins", "freq (Hz),VSWR,phase,real,imag\n10e6,1,0,0,.5\n20e6,1,0,-.5,0\n", half, 50, nil},
		{"lines above the header, comments, blank lines, no unit", "Swept by,night shift\n\nStart frequency (Hz),1\n# 5 degrees\nFrequency,real,imag\n10e6,0,.5\n\n20e6,-.5,0\n", half, 50,
			[]string{`column "Frequency" has no unit; taken as Hz`}},
		{"0 Hz is left out", "freq (Hz),real,imag\n0,1,0\n10e6,0,.5\n20e6,-.5,0,\n", half, 50,
			[]string{"the point at 0 Hz is left out: the loss and phase of a line say nothing there"}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			s, err := ReadCSV("a.csv", strings.NewReader(c.text))
			if err != nil {
				t.Fatal(err)
			}
			if want := []float64{10e6, 20e6}; !slices.Equal(s.FrequencyHz, want) {
				t.Errorf("frequencies %v, want %v", s.FrequencyHz, want)
			}
			nearAll(t, "Γ", s.Gamma, c.gamma, tolerance)
			if s.ReferenceOhm != c.referenceOhm || !slices.Equal(s.Warnings, c.warnings) {
				t.Errorf("reference %v ohm, warnings %q; want %v, %q", s.ReferenceOhm, s.Warnings, c.referenceOhm, c.warnings)
			}
		})
	}
}

func TestScalarColumns(t *testing.T) {
	for _, c := range []struct{ rule, text string }{
		{"VSWR", "f (MHz),VSWR\n10,3\n20,1.5\n"},
		{"return loss", "f (MHz),return loss (dB)\n10,6.020599913279624\n20,13.979400086720377\n"},
		{"return loss with a minus sign", "f (MHz),return loss (dB)\n10,-6.020599913279624\n20,-13.979400086720377\n"},
		{"S11 in dB", "f (MHz),S11 dB\n10,-6.020599913279624\n20,-13.979400086720377\n"},
		{"magnitude", "f (MHz),|Γ|\n10,.5\n20,.2\n"},
		{"a file with phase serves as well", "f (MHz),real,imag\n10,.3,-.4\n20,-.2,0\n"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			s, err := ReadScalar("a.csv", strings.NewReader(c.text))
			if err != nil {
				t.Fatal(err)
			}
			if want := []float64{10e6, 20e6}; !slices.Equal(s.FrequencyHz, want) {
				t.Errorf("frequencies %v, want %v", s.FrequencyHz, want)
			}
			want := []float64{.5, .2}
			for i, m := range s.Magnitude {
				if !(math.Abs(m-want[i]) <= 1e-15) {
					t.Errorf("|Γ| %v, want %v", m, want[i])
				}
			}
			if got := s.VSWR(); !(math.Abs(got[0]-3) <= 1e-14) || !(math.Abs(got[1]-1.5) <= 1e-14) {
				t.Errorf("VSWR %v, want 3 and 1.5", got)
			}
			if got := s.ReturnLossDB(); !(math.Abs(got[1]-13.979400086720377) <= 1e-13) {
				t.Errorf("return loss %v dB", got)
			}
		})
	}
	if s, err := ReadScalar("a.csv", strings.NewReader("f (MHz),VSWR\n10,3\n")); err != nil || len(s.Magnitude) != 1 {
		t.Errorf("one point is enough for a limit: %v, %v", s, err)
	}
}

const scalarText = "the file has no phase: distance needs phase (real and imaginary part, or magnitude and phase); a scalar file is good for limit checks only"

func TestCSVErrors(t *testing.T) {
	const head = "freq (Hz),real,imag\n"
	const noHeader = "no header row names a frequency and a reflection: write one above the data, such as Frequency (Hz),S11 real,S11 imaginary"
	for _, c := range []struct{ fault, text, want string }{
		{"empty", "", "a.csv:1: " + noHeader},
		{"no header", "10e6,0,.5\n", "a.csv:1:1: " + noHeader},
		{"header without frequency", "time,real,imag\n", "a.csv:1: " + noHeader},
		{"no header in sight", strings.Repeat("notes\n", 200), "a.csv:100:1: " + noHeader},
		{"header alone", head, "a.csv:1: no data point: the file is empty or was cut off; export the sweep again"},
		{"one point", head + "10e6,0,0\n", "a.csv:2: only 1 data point: a sweep needs at least 2, since distance comes from the step between two; export the whole sweep"},
		{"scalar", "freq (MHz),VSWR\n700,1.1\n701,1.1\n", "a.csv:1:1: " + scalarText},
		{"half a pair", "freq (MHz),real\n700,1\n", "a.csv:1:1: one part of a complex column pair is missing: real needs imaginary, resistance needs reactance; export both"},
		{"two columns of one meaning", "freq (Hz),real,S11 real,imag\n", `a.csv:1:1: two columns mean the same, "real" and "S11 real": delete one or rename it`},
		{"no unit", "Frequency,real,imag\n700,0,0\n", `a.csv:2:1: column "Frequency" has no unit and 700 would be in Hz: write the unit into the header, as in Frequency (MHz)`},
		{"truncated", head + "10e6,0,0\n20e6,0", "a.csv:3:1: the line ends after 2 of 3 columns: the file looks cut off; export the sweep again"},
		{"empty cell", head + "10e6,,0\n", `a.csv:2:6: column "real" is empty: fill it in or delete the line`},
		{"NaN", head + "10e6,0,nan\n", `a.csv:2:8: "nan" is not a measured value: delete the point or export the sweep again`},
		{"decimal comma among commas", head + "10,0,0,5,0,1\n", "a.csv:2:8: 6 cells under a header of 3 columns: numbers with a decimal comma need semicolons or tabs between them"},
		{"falling", head + "20e6,0,0\n10e6,0,0\n", "a.csv:3:1: frequency falls from 20000000 Hz to 10000000 Hz; sort the points by ascending frequency"},
		{"duplicate", head + "20e6,0,0\n20e6,0,0\n", "a.csv:3:1: frequency 20000000 Hz repeats the point before; delete one of the two"},
		{"VSWR below 1", "freq (Hz),VSWR,phase\n20e6,.9,0\n", "a.csv:2:6: VSWR 0.9 is below 1, which does not exist: correct it or delete the line"},
		{"negative magnitude", "freq (Hz),mag,phase\n20e6,-9,0\n", "a.csv:2:6: magnitude -9 is negative: if it is in decibels, write dB into the header, as in S11 (dB)"},
		{"too large", head + "20e6,5000,0\n", "a.csv:2:6: |Γ| = 5000 cannot be a reflection coefficient; check the number format (RI, MA or DB) that the file declares"},
		{"quote open", "\"freq (Hz),real,imag\n", "a.csv:1:1: a quote is not closed on its line: close it"},
		{"text behind a quote", "\"freq (Hz)\"x,real,imag\n", "a.csv:1:12: text behind a closing quote: delete it"},
		{"binary", "freq\x00", "a.csv:1:5: this is a binary file, not text: export the sweep as Touchstone (.s1p) or CSV"},
		{"return loss out of range", "freq (Hz),RL,phase\n10e6,10,0\n20e6,-99,0\n30e6,-99,0\n40e6,99,0\n50e6,99,0\n", "a.csv:1: point 2 of 5, 2e+07 Hz: |Γ| = 8.913e+04 cannot be a reflection coefficient; check the number format (RI, MA or DB) that the file declares"},
	} {
		t.Run(c.fault, func(t *testing.T) {
			s, err := ReadCSV("a.csv", strings.NewReader(c.text))
			if err == nil {
				t.Fatalf("no error; read %+v", s)
			}
			if err.Error() != c.want {
				t.Errorf("got\n%s\nwant\n%s", err, c.want)
			}
			if errors.Is(err, ErrScalar) != (c.fault == "scalar") {
				t.Errorf("ErrScalar in the chain: %v", errors.Is(err, ErrScalar))
			}
			var place *ParseError
			if !errors.As(err, &place) {
				t.Errorf("%#v is not a ParseError", err)
			}
		})
	}
}
