package sweep

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// near fails the test unless got is within tolerance of want.
func near(t *testing.T, what string, got, want complex128, tolerance float64) {
	t.Helper()
	if !(cmplx.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v, off by %.2g", what, got, want, cmplx.Abs(got-want))
	}
}

func polar(magnitude, degrees float64) complex128 {
	return cmplx.Rect(magnitude, degrees*math.Pi/180)
}

// The rules of the Touchstone File Format Specification, IBIS Open Forum,
// versions 1.1 and 2.0/2.1. The examples are small ones of the specification
// retyped, some shortened; numbers as printed there. One-point examples got a
// second point, which is marked "added".
func TestTouchstoneRules(t *testing.T) {
	const tolerance = 1e-12 // a few roundings of values of order 1
	for _, c := range []struct {
		rule, name, text string
		frequencyHz      []float64
		gamma            []complex128
		referenceOhm     float64
		two              *TwoPort
		warnings         []string
	}{
		{
			rule:        "example: one-port S, MA",
			name:        "x.s1p",
			text:        "!1-port S-parameter file\n# MHz S MA R 50\n!freq magS11 angS11\n2.000 0.894 -12.136\n3.000 0.5 90 ! added\n",
			frequencyHz: []float64{2e6, 3e6}, gamma: []complex128{polar(0.894, -12.136), 0.5i}, referenceOhm: 50,
		},
		{
			rule:        "example: one-port Z of version 1 is normalised to R",
			name:        "x.s1p",
			text:        "!1-port Z-parameter file, multiple frequency points\n# MHz Z MA R 75\n!freq magZ11 angZ11\n100 0.99 -4\n200 0.80 -22\n300 0.707 -45\n400 0.40 -62\n500 0.01 -89\n",
			frequencyHz: []float64{100e6, 200e6, 300e6, 400e6, 500e6},
			gamma: []complex128{
				(polar(0.99, -4) - 1) / (polar(0.99, -4) + 1), (polar(0.80, -22) - 1) / (polar(0.80, -22) + 1),
				(polar(0.707, -45) - 1) / (polar(0.707, -45) + 1), (polar(0.40, -62) - 1) / (polar(0.40, -62) + 1),
				(polar(0.01, -89) - 1) / (polar(0.01, -89) + 1),
			},
			referenceOhm: 75,
		},
		{
			rule:        "example: one-port Z of version 2 is in ohm",
			name:        "x.ts",
			text:        "!1-port Z-parameter file, multiple frequency points\n[Version] 2.0\n# MHz Z MA\n[Number of Ports] 1\n[Number of Frequencies] 5\n[Reference] 20.0\n[Network Data]\n!freq magZ11 angZ11\n100 74.25 -4\n200 60 -22\n300 53.025 -45\n400 30 -62\n500 0.75 -89\n[End]\n",
			frequencyHz: []float64{100e6, 200e6, 300e6, 400e6, 500e6},
			gamma: []complex128{
				(polar(74.25, -4) - 20) / (polar(74.25, -4) + 20), (polar(60, -22) - 20) / (polar(60, -22) + 20),
				(polar(53.025, -45) - 20) / (polar(53.025, -45) + 20), (polar(30, -62) - 20) / (polar(30, -62) + 20),
				(polar(0.75, -89) - 20) / (polar(0.75, -89) + 20),
			},
			referenceOhm: 20,
		},
		{
			rule:        "example: two-port S, RI, order N11 N21 N12 N22",
			name:        "x.s2p",
			text:        "!2-port S-parameter file, three frequency points\n# GHz S RI R 50.0\n!freq ReS11 ImS11 ReS21 ImS21 ReS12 ImS12 ReS22 ImS22\n1.0000 0.3926 -0.1211 -0.0003 -0.0021 -0.0004 -0.0022 0.3927 -0.1212\n2.0000 0.3517 -0.3054 -0.0096 -0.0298 -0.0096 -0.0298 0.3517 -0.3054\n10.000 0.3419 0.3336 -0.0134 0.0379 -0.0134 0.0379 0.3419 0.3336\n",
			frequencyHz: []float64{1e9, 2e9, 10e9}, gamma: []complex128{0.3926 - 0.1211i, 0.3517 - 0.3054i, 0.3419 + 0.3336i}, referenceOhm: 50,
			two: &TwoPort{
				S21:          []complex128{-0.0003 - 0.0021i, -0.0096 - 0.0298i, -0.0134 + 0.0379i},
				S12:          []complex128{-0.0004 - 0.0022i, -0.0096 - 0.0298i, -0.0134 + 0.0379i},
				S22:          []complex128{0.3927 - 0.1212i, 0.3517 - 0.3054i, 0.3419 + 0.3336i},
				ReferenceOhm: 50,
			},
		},
		{
			rule:        "example: version 1 noise data begin where the frequency does not rise; defaults of a bare #",
			name:        "x.s2p",
			text:        "!2-port network, S-parameter and noise data\n!Default MA format, GHz frequencies, 50 ohm reference, S-parameters\n#\n! NETWORK PARAMETERS\n2 .95 -26 3.57 157 .04 76 .66 -14\n22 .60 -144 1.30 40 .14 40 .56 -85\n! NOISE PARAMETERS\n4 .7 .64 69 .38\n18 2.7 .46 -33 .40\n",
			frequencyHz: []float64{2e9, 22e9}, gamma: []complex128{polar(.95, -26), polar(.60, -144)}, referenceOhm: 50,
			two: &TwoPort{
				S21: []complex128{polar(3.57, 157), polar(1.30, 40)}, S12: []complex128{polar(.04, 76), polar(.14, 40)},
				S22: []complex128{polar(.66, -14), polar(.56, -85)}, ReferenceOhm: 50,
			},
			warnings: []string{"noise data (2 lines) are left out"},
		},
		{
			rule:        "example: version 2 with two references and noise data",
			name:        "x.ts",
			text:        "!2-port network, S-parameter and noise data\n!Default MA format, GHz frequencies, 50 ohm reference, S-parameters\n[Version] 2.0\n#\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Number of Noise Frequencies] 2\n[Reference] 50 25.0\n[Network Data]\n! NETWORK PARAMETERS\n2 .95 -26 3.57 157 .04 76 .66 -14\n22 .60 -144 1.30 40 .14 40 .56 -85\n[Noise Data]\n! NOISE PARAMETERS\n4 .7 .64 69 19\n18 2.7 .46 -33 20\n[End]\n",
			frequencyHz: []float64{2e9, 22e9}, gamma: []complex128{polar(.95, -26), polar(.60, -144)}, referenceOhm: 50,
			two: &TwoPort{
				S21: []complex128{polar(3.57, 157), polar(1.30, 40)}, S12: []complex128{polar(.04, 76), polar(.14, 40)},
				S22: []complex128{polar(.66, -14), polar(.56, -85)}, ReferenceOhm: 25,
			},
			warnings: []string{"noise data (2 lines) are left out"},
		},
		{
			rule:        "version 2: [Two-Port Data Order] 12_21 swaps the middle pair; keywords in any case, _ as blank; values of [Reference] on lines of their own",
			name:        "x.ts",
			text:        "[VERSION] 2.1\n# hz s ri r 60\n[number_of_ports] 2\n[Number  of  Frequencies] 2\n[two-port DATA order] 12_21\n[Reference]\n50\n75 ! second port\n[Begin Information]\n[Manufacturer] nobody\n1 2 3\n[End Information]\n[Network Data]\n10 1 2 3 4 5 6 7 8\n20 1 0 3 0 5 0 7 0\n[End]\n",
			frequencyHz: []float64{10, 20}, gamma: []complex128{1 + 2i, 1}, referenceOhm: 50,
			two:      &TwoPort{S12: []complex128{3 + 4i, 3}, S21: []complex128{5 + 6i, 5}, S22: []complex128{7 + 8i, 7}, ReferenceOhm: 75},
			warnings: []string{"|Γ| reaches 2.24 at 10 Hz, more than any passive line reflects: check the calibration and the file's number format"},
		},
		{
			rule:        "version 2: [Matrix Format] Lower holds N11 N21 N22",
			name:        "x.s2p",
			text:        "[Version] 2.0\n# Hz S RI\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Matrix Format] lower\n[Network Data]\n10 .1 .2 .3 .4 .5 .6\n20 .1 0 .3 0 .5 0\n[End]\n",
			frequencyHz: []float64{10, 20}, gamma: []complex128{.1 + .2i, .1}, referenceOhm: 50,
			two: &TwoPort{S12: []complex128{.3 + .4i, .3}, S21: []complex128{.3 + .4i, .3}, S22: []complex128{.5 + .6i, .5}, ReferenceOhm: 50},
		},
		{
			rule:        "option line in any order and case; only R has a number; kHz; DB",
			name:        "x.s1p",
			text:        "# r 75 db KHZ s\n1000 -6.020599913279624 180\n2000 0 0\n",
			frequencyHz: []float64{1e6, 2e6}, gamma: []complex128{-0.5, 1}, referenceOhm: 75,
		},
		{
			rule:        "version 1.1: a reference for each port in the option line",
			name:        "x.s2p",
			text:        "# Hz S RI R 50 75\n10 .1 0 .2 0 .3 0 .4 0\n20 .1 0 .2 0 .3 0 .4 0\n",
			frequencyHz: []float64{10, 20}, gamma: []complex128{.1, .1}, referenceOhm: 50,
			two: &TwoPort{S21: []complex128{.2, .2}, S12: []complex128{.3, .3}, S22: []complex128{.4, .4}, ReferenceOhm: 75},
		},
		{
			rule:        "tabs, CR LF, UTF-8 byte order mark, blank lines, comment behind data, no end of the last line",
			name:        "x.s1p",
			text:        "\ufeff! caf\xe9\r\n#\tHz\tS\tRI\tR\t50\r\n\r\n10\t.1\t-.2!x\r\n\t 20 1e-1 +.2 ",
			frequencyHz: []float64{10, 20}, gamma: []complex128{.1 - .2i, .1 + .2i}, referenceOhm: 50,
		},
		{
			rule:        "CR alone ends a line",
			name:        "x.s1p",
			text:        "# Hz S RI R 50\r10 .1 -.2\r20 .1 .2\r",
			frequencyHz: []float64{10, 20}, gamma: []complex128{.1 - .2i, .1 + .2i}, referenceOhm: 50,
		},
		{
			rule:        "without option line: GHz S MA R 50",
			name:        "x.s1p",
			text:        "0.7 .5 0\n0.8 .5 180\n",
			frequencyHz: []float64{700e6, 800e6}, gamma: []complex128{.5, -.5}, referenceOhm: 50,
			warnings: []string{"the file has no option line; taken as # GHz S MA R 50, as Touchstone lays down"},
		},
		{
			rule:        "option lines after the first are left out",
			name:        "x.s1p",
			text:        "# Hz S RI R 50\n10 .1 0\n# GHz Z MA R 75\n20 .2 0\n",
			frequencyHz: []float64{10, 20}, gamma: []complex128{.1, .2}, referenceOhm: 50,
			warnings: []string{"option line in line 3 is left out, since line 1 has one already"},
		},
		{
			rule:        "one-port Y of version 1: Γ = (1-y)/(1+y)",
			name:        "x.s1p",
			text:        "# Hz Y RI R 50\n10 3 0\n20 0 1\n",
			frequencyHz: []float64{10, 20}, gamma: []complex128{-.5, (1 - 1i) / (1 + 1i)}, referenceOhm: 50,
		},
		{
			rule:        "no number of ports in the name: the first data line tells",
			name:        "x.txt",
			text:        "# Hz S RI R 50\n10 .1 0\n20 .2 0\n",
			frequencyHz: []float64{10, 20}, gamma: []complex128{.1, .2}, referenceOhm: 50,
		},
		{
			rule:        "house rule: the point at 0 Hz is left out",
			name:        "x.s1p",
			text:        "# Hz S RI R 50\n0 1 0\n10 .1 0\n20 .2 0\n",
			frequencyHz: []float64{10, 20}, gamma: []complex128{.1, .2}, referenceOhm: 50,
			warnings: []string{"the point at 0 Hz is left out: the loss and phase of a line say nothing there"},
		},
	} {
		t.Run(c.rule, func(t *testing.T) {
			s, err := ReadTouchstone(c.name, strings.NewReader(c.text))
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(s.FrequencyHz, c.frequencyHz) { // exact: the unit is applied before rounding
				t.Errorf("frequencies %v, want %v", s.FrequencyHz, c.frequencyHz)
			}
			if s.ReferenceOhm != c.referenceOhm {
				t.Errorf("reference %v ohm, want %v", s.ReferenceOhm, c.referenceOhm)
			}
			if !slices.Equal(s.Warnings, c.warnings) {
				t.Errorf("warnings %q, want %q", s.Warnings, c.warnings)
			}
			if s.Name != c.name {
				t.Errorf("name %q, want %q", s.Name, c.name)
			}
			nearAll(t, "S11", s.Gamma, c.gamma, tolerance)
			if (s.TwoPort == nil) != (c.two == nil) {
				t.Fatalf("two-port %v, want %v", s.TwoPort, c.two)
			}
			if c.two != nil {
				nearAll(t, "S21", s.TwoPort.S21, c.two.S21, tolerance)
				nearAll(t, "S12", s.TwoPort.S12, c.two.S12, tolerance)
				nearAll(t, "S22", s.TwoPort.S22, c.two.S22, tolerance)
				if s.TwoPort.ReferenceOhm != c.two.ReferenceOhm {
					t.Errorf("reference of port 2 %v ohm, want %v", s.TwoPort.ReferenceOhm, c.two.ReferenceOhm)
				}
			}
		})
	}
}

func nearAll(t *testing.T, what string, got, want []complex128, tolerance float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d values, want %d", what, len(got), len(want))
	}
	for i := range got {
		near(t, fmt.Sprintf("%s point %d", what, i+1), got[i], want[i], tolerance)
	}
}

func TestTouchstoneKeepsHeadComments(t *testing.T) {
	s, err := ReadTouchstone("x.s1p", strings.NewReader("! swept in rain \n!\tcaf\xe9\n# Hz S RI R 50 ! not this\n! yes\n10 .1 0\n! nor this\n20 .1 0\n"))
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{" swept in rain", "\tcafé", " yes"}; !slices.Equal(s.Comments, want) {
		t.Errorf("comments %q, want %q", s.Comments, want)
	}
}

// Every text ends in what to do about it.
func TestTouchstoneErrors(t *testing.T) {
	const head = "# Hz S RI R 50\n"
	v2 := func(lines string) string { return "[Version] 2.0\n# Hz S RI\n" + lines }
	for _, c := range []struct{ fault, name, text, want string }{
		{"empty", "a.s1p", "", `a.s1p:1: no data point: the file is empty or was cut off; export the sweep again`},
		{"comments alone", "a.s1p", "! x\n" + head, `a.s1p:2: no data point: the file is empty or was cut off; export the sweep again`},
		{"too few points", "a.s1p", head + "10 .1 0\n", `a.s1p:2: only 1 data point: a sweep needs at least 2, since distance comes from the step between two; export the whole sweep`},
		{"falling frequency", "a.s1p", head + "20 .1 0\n10 .1 0\n", `a.s1p:3:1: frequency falls from 20 Hz to 10 Hz; sort the points by ascending frequency`},
		{"duplicate frequency", "a.s1p", head + "20 .1 0\n  20 .1 0\n", `a.s1p:3:3: frequency 20 Hz repeats the point before; delete one of the two`},
		{"negative frequency", "a.s1p", head + "-20 .1 0\n", `a.s1p:2:1: negative frequency -20 Hz; correct or delete the point`},
		{"0 Hz behind other points", "a.s1p", head + "20 .1 0\n0 .1 0\n", `a.s1p:3:1: frequency 0 Hz behind other points: sort the points by ascending frequency`},
		{"frequency in the wrong unit", "a.s1p", "# S RI R 50\n700000000 .1 0\n", `a.s1p:2:1: frequency 7e+17 Hz is above 1e+12 Hz; check the frequency unit`},
		{"frequency too low", "a.s1p", head + "0.7 .1 0\n", `a.s1p:2:1: frequency 0.7 Hz is below 1 Hz; check the frequency unit`},
		{"NaN", "a.s1p", head + "20 NaN 0\n", `a.s1p:2:4: "NaN" is not a measured value: delete the point or export the sweep again`},
		{"infinity", "a.s1p", head + "20 0 -Inf\n", `a.s1p:2:6: "-Inf" is not a finite number: delete the point or export the sweep again`},
		{"number beyond float64", "a.s1p", head + "20 1e999 0\n", `a.s1p:2:4: "1e999" is not a finite number: delete the point or export the sweep again`},
		{"decimal comma", "a.s1p", head + "20 0,5 0\n", `a.s1p:2:4: "0,5" is not a number: use a decimal point, and blanks between numbers`},
		{"hexadecimal", "a.s1p", head + "20 0x1p-2 0\n", `a.s1p:2:4: "0x1p-2" is not a number: correct it or delete the line`},
		{"words", "a.s1p", head + "20 .1 .1\nhello\n", `a.s1p:3:1: "hello" is not a number: correct it or delete the line`},
		{"truncated line", "a.s1p", head + "10 .1 0\n20 .1", `a.s1p:3:1: the line ends after 2 of 3 numbers: the file looks cut off or its lines are wrapped; export the sweep again`},
		{"truncated two-port line is not noise", "a.s2p", head + "10 1 0 1 0 1 0 1 0\n20 1 0 1 0\n", `a.s2p:3:1: the line ends after 5 of 9 numbers: the file looks cut off or its lines are wrapped; export the sweep again`},
		{"two-port named .s1p", "a.s1p", head + "10 1 0 1 0 1 0 1 0\n", `a.s1p:2:1: 9 numbers on a line, but the file has one port by its name (.s1p) and a one-port line holds 3: it looks like a two-port; name it .s2p`},
		{"one-port named .s2p", "a.S2P", head + "10 1 0\n", `a.S2P:2:1: 3 numbers on a line, but the file has two ports by its name (.s2p) and a two-port line holds 9: it looks like a one-port; name it .s1p`},
		{"three ports by name", "dir/a.s3p", head, `dir/a.s3p: a file of 3 ports: only one and two ports can be read; export the port that faces the line as .s1p`},
		{"three ports by keyword", "a.ts", v2("[Number of Ports] 3\n"), `a.ts:3:19: a file of 3 ports: only one and two ports can be read; export the port that faces the line as .s1p`},
		{"three ports by width", "a.txt", head + "10 1 0 1 0 1 0\n", `a.txt:2:1: 7 numbers on the first data line: a one-port has 3, a two-port 9; export the port that faces the line as .s1p`},
		{"width changes", "a.s1p", head + "10 1 0\n20 1 0 5\n", `a.s1p:3:1: 4 numbers on a line, where 3 are due for 1 port(s): export the port that faces the line as .s1p`},
		{"binary", "a.s1p", "PK\x03\x04\x00", `a.s1p:1:3: this is a binary file, not text: export the sweep as Touchstone (.s1p) or CSV`},
		{"UTF-16", "a.s1p", "\xff\xfe#\x00", `a.s1p:1:1: the text is stored as UTF-16: save it as plain text (ASCII or UTF-8)`},
		{"long line", "a.s1p", head + strings.Repeat("1 ", 40000), `a.s1p:2:1: the line is longer than 65536 bytes: this is not a sweep file; export the sweep again`},
		{"CSV under a Touchstone name", "a.s1p", "10,.1,0\n", `a.s1p:1:1: this looks like CSV, not Touchstone: give the file the extension .csv`},
		{"decibels declared as magnitude", "a.s1p", "# Hz S MA R 50\n10 -18.9 63\n", `a.s1p:2:4: magnitude -18.9 is negative: if the file is in decibels, write DB in place of MA in the option line`},
		{"impossible reflection", "a.s1p", head + "10 1e4 0\n", `a.s1p:2:4: |Γ| = 1e+04 cannot be a reflection coefficient; check the number format (RI, MA or DB) that the file declares`},
		{"Z without a reflection", "a.s1p", "# Hz Z RI R 50\n10 -1 0\n", `a.s1p:2:4: the reflection coefficient is not finite; correct or delete the point`},
		{"two-port beyond float64", "a.s2p", "# Hz S DB R 50\n10 -9 0 9999 0 -9 0 -9 0\n", `a.s2p:2:4: a parameter of the two-port is not finite; correct or delete the point`},
		{"unknown option", "a.s1p", "# THz S MA R 50\n", `a.s1p:1:3: "THz" in the option line is not known: it takes a unit (Hz, kHz, MHz, GHz), a parameter (S, Y, Z, H, G), a format (RI, MA, DB) and R with the ohms, parted by blanks`},
		{"option twice", "a.s1p", "# MHz S MA Hz R 50\n", `a.s1p:1:12: a second frequency unit "Hz" in the option line: leave one`},
		{"R twice", "a.s1p", "# R 50 R 75\n", `a.s1p:1:8: a second reference "R" in the option line: leave one`},
		{"R without ohms", "a.s1p", "# Hz R S MA\n", `a.s1p:1:6: no number behind R in the option line: write the reference impedance in ohm there, as in R 50`},
		{"R of zero", "a.s1p", "# Hz R 0\n", `a.s1p:1:8: reference impedance 0 ohm: it must be positive`},
		{"three references", "a.s2p", "# R 50 50 50\n", `a.s2p:1:11: more than two reference impedances: only one and two ports can be read; export the port that faces the line as .s1p`},
		{"two references of one port", "a.s1p", "# Hz R 50 50\n10 1 0\n", `a.s1p:2:1: 2 reference impedances in the option line of a one-port: leave one`},
		{"option line too late", "a.s1p", "10 .1 0\n# Hz\n", `a.s1p:2:1: option line after the first data line: move it above the data`},
		{"H of one port", "a.s1p", "# Hz H RI\n10 1 0\n", `a.s1p:2:1: H-parameters are defined for two ports only: export S-parameters`},
		{"Z normalised to two references", "a.s2p", "# Hz Z RI R 50 75\n10 1 0 1 0 1 0 1 0\n", `a.s2p:2:1: Z-parameters normalised to two different references: export S-parameters`},
		{"keyword in version 1", "a.s1p", head + "[Number of Ports] 1\n", `a.s1p:2:1: keyword [number of ports] in a file without [Version]: write [Version] 2.0 on the first line`},
		{"unknown version", "a.ts", "[Version] 3.0\n", `a.ts:1:11: version "3.0" of Touchstone is not known: 2.0 and 2.1 are, and version 1 has no [Version]`},
		{"version too late", "a.s1p", head + "10 .1 0\n[Version] 2.0\n", `a.s1p:3:1: [Version] after the first data line: move it to the top of the file`},
		{"bracket open", "a.ts", "[Version 2.0\n", `a.ts:1:1: keyword without its closing bracket: write ] behind it`},
		{"unknown keyword", "a.ts", v2("[Colour] 1\n"), `a.ts:3:1: keyword [colour] is not known: correct or delete it`},
		{"mixed mode", "a.ts", v2("[Number of Ports] 2\n[Mixed-Mode Order] D1,2 C1,2\n"), `a.ts:4:1: mixed-mode parameters mean nothing for a single coaxial port: export single-ended S-parameters`},
		{"no [Number of Ports]", "a.ts", v2("[Network Data]\n"), `a.ts:3:1: [Network Data] without [Number of Ports]: write [Number of Ports] above it`},
		{"no [Two-Port Data Order]", "a.ts", v2("[Number of Ports] 2\n[Network Data]\n"), `a.ts:4:1: two ports without [Two-Port Data Order]: write [Two-Port Data Order] 21_12 (N11 N21 N12 N22) or 12_21 above [Network Data]`},
		{"wrong [Two-Port Data Order]", "a.ts", v2("[Two-Port Data Order] 11_22\n"), `a.ts:3:23: two-port data order "11_22": write 21_12 or 12_21`},
		{"wrong [Matrix Format]", "a.ts", v2("[Matrix Format] round\n"), `a.ts:3:17: matrix format "round": write Full, Lower or Upper`},
		{"data before [Network Data]", "a.ts", v2("[Number of Ports] 1\n10 1 0\n"), `a.ts:4:1: data before [Network Data]: put that keyword on the line above the first data line`},
		{"keyword behind the data", "a.ts", v2("[Number of Ports] 1\n[Network Data]\n10 1 0\n[Reference] 50\n"), `a.ts:6:1: keyword [reference] after [Network Data]: move it above`},
		{"[Reference] before [Number of Ports]", "a.ts", v2("[Reference] 50\n"), `a.ts:3:1: [Reference] before [Number of Ports]: swap the two`},
		{"[Reference] before [Number of Ports] that contradicts the name", "a.s1p", v2("[Reference] 50\n[Number of Ports] 2\n"), `a.s1p:3:1: [Reference] before [Number of Ports]: swap the two`},
		{"[Number of Ports] twice", "a.ts", v2("[Number of Ports] 2\n[Number of Ports] 1\n"), `a.ts:4:1: a second [Number of Ports]: leave one`},
		{"[Reference] too short", "a.ts", v2("[Number of Ports] 2\n[Reference] 50\n[Matrix Format] Full\n"), `a.ts:5:1: [Reference] lacks 1 values: write one for each port`},
		{"[Reference] too long", "a.ts", v2("[Number of Ports] 1\n[Reference] 50 75\n"), `a.ts:4:16: [Reference] has more values than the 1 ports: leave one for each port`},
		{"[Reference] twice", "a.ts", v2("[Number of Ports] 1\n[Reference] 50\n[Reference] 50\n"), `a.ts:5:1: a second [Reference]: leave one`},
		{"no count", "a.ts", v2("[Number of Frequencies] many\n"), `a.ts:3:25: "many" is not a whole number of at least 1: correct it`},
		{"fewer points than said", "a.ts", v2("[Number of Ports] 1\n[Number of Frequencies] 3\n[Network Data]\n10 1 0\n20 1 0\n"), `a.ts:7: 2 of the 3 frequencies of [Number of Frequencies]: the file looks cut off; export the sweep again`},
		{"more points than said", "a.ts", v2("[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n10 1 0\n20 1 0\n"), `a.ts:7: 2 frequencies, but [Number of Frequencies] says 1: correct that number or export the sweep again`},
		{"[Noise Data] too early", "a.ts", v2("[Noise Data]\n"), `a.ts:3:1: [Noise Data] before [Network Data]: move it below the network data`},
		{"notes never end", "a.ts", v2("[Begin Information]\n"), `a.ts:3: [Begin Information] without [End Information]: the file looks cut off; export the sweep again`},
	} {
		t.Run(c.fault, func(t *testing.T) {
			s, err := ReadTouchstone(c.name, strings.NewReader(c.text))
			if err == nil {
				t.Fatalf("no error; read %+v", s)
			}
			if err.Error() != c.want {
				t.Errorf("got\n%s\nwant\n%s", err, c.want)
			}
			var place *ParseError
			if !errors.As(err, &place) || place.File != c.name {
				t.Errorf("%#v is not a ParseError of %s", err, c.name)
			}
		})
	}
}

func TestReadErrorOfTheSourceIsKept(t *testing.T) {
	source := errors.New("cable pulled")
	_, err := ReadTouchstone("a.s1p", io.MultiReader(strings.NewReader("# Hz S RI R 50\n"), failing{source}))
	if want := "a.s1p:2: reading stopped: cable pulled"; err == nil || err.Error() != want || !errors.Is(err, source) {
		t.Errorf("got %v, want %s", err, want)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// Version 2 files that a strict reader refuses, but that are clear.
func TestTouchstoneVersion2WithoutEndOrCount(t *testing.T) {
	s, err := ReadTouchstone("a.s1p", strings.NewReader("[Version] 2.0\n# Hz S RI\n[Number of Ports] 1\n[Network Data]\n10 .1 0\n20 .1 0\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"the file does not say its [Number of Frequencies]: a cut-off file would not be noticed",
		"the file has no [End]: it may have been cut off",
	}
	if !slices.Equal(s.Warnings, want) {
		t.Errorf("warnings %q, want %q", s.Warnings, want)
	}
}

// endless makes up a file of any size on the fly, in little memory.
type endless struct {
	line func(buffer []byte, i int) []byte // appends line i to buffer
	i    int
	room [128]byte
	rest []byte
}

func (e *endless) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		if len(e.rest) == 0 {
			e.rest = e.line(e.room[:0], e.i)
			e.i++
		}
		k := copy(p[n:], e.rest)
		e.rest = e.rest[k:]
		n += k
	}
	return n, nil
}

// A file without end stands for one of 200 MB and more: it is refused at the
// bound, and what was allocated until then is bounded, too.
func TestHugeFilesAreRefusedInBoundedMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("reads some 100 MB")
	}
	for _, c := range []struct {
		name string
		line func(buffer []byte, i int) []byte
		want string
		// Slices that grow by a quarter allocate about five times their final
		// size in all: 24 bytes a point here.
		maxBytes uint64
	}{
		{"points", func(buffer []byte, i int) []byte {
			if i == 0 {
				return append(buffer, "# Hz S RI R 50\n"...)
			}
			return append(strconv.AppendInt(buffer, int64(i), 10), " 0.123456789012345 -0.123456789012345\n"...)
		}, "huge.s1p:2000002:1: more than 2000000 points: export fewer points or a narrower band", 6 * 24 * MaxPoints},
		{"comments", func(buffer []byte, _ int) []byte { return append(buffer, "! nothing but comment\n"...) }, "huge.s1p:4000001:1: the file has more than 4000000 lines: split it, or export fewer points", 4 << 20},
		{"no line end", func(buffer []byte, _ int) []byte { return append(buffer, "1 2 3 4 5 "...) }, "huge.s1p:1:1: the line is longer than 65536 bytes: this is not a sweep file; export the sweep again", 1 << 20},
	} {
		t.Run(c.name, func(t *testing.T) {
			var before, after runtime.MemStats
			source := &endless{line: c.line}
			runtime.ReadMemStats(&before)
			_, err := ReadTouchstone("huge.s1p", source)
			runtime.ReadMemStats(&after)
			if err == nil || err.Error() != c.want {
				t.Errorf("got %v, want %s", err, c.want)
			}
			own := after.TotalAlloc - before.TotalAlloc
			t.Logf("allocated %d bytes in all", own)
			if own > c.maxBytes {
				t.Errorf("allocated %d bytes, want at most %d", own, c.maxBytes)
			}
		})
	}
}

// The conversions hold the definitions that stand above twoToScattering: waves
// through the resulting S give voltages and currents that the parameters tie
// together. Independent of the derivation in the code.
func TestTwoPortConversionsKeepTheDefinitions(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	number := func() complex128 { return complex(random.NormFloat64(), random.NormFloat64()) }
	for range 50 {
		ohm1, ohm2 := 20+80*random.Float64(), 20+80*random.Float64()
		for _, parameter := range []byte("ZYHG") {
			n := [4]complex128{number(), number(), number(), number()}
			scale := map[byte][4]float64{'Z': {50, 50, 50, 50}, 'Y': {.02, .02, .02, .02}, 'H': {50, 1, 1, .02}, 'G': {.02, 1, 1, 50}}[parameter]
			for i := range n {
				n[i] *= complex(scale[i], 0)
			}
			s := twoToScattering(parameter, n, ohm1, ohm2)
			for _, a := range [][2]complex128{{1, 0}, {0, 1}} {
				b1, b2 := s[0]*a[0]+s[2]*a[1], s[1]*a[0]+s[3]*a[1]
				v1, i1 := (a[0]+b1)*complex(math.Sqrt(ohm1), 0), (a[0]-b1)/complex(math.Sqrt(ohm1), 0)
				v2, i2 := (a[1]+b2)*complex(math.Sqrt(ohm2), 0), (a[1]-b2)/complex(math.Sqrt(ohm2), 0)
				var x1, x2, y1, y2 complex128
				switch parameter {
				case 'Z':
					x1, x2, y1, y2 = v1, v2, i1, i2
				case 'Y':
					x1, x2, y1, y2 = i1, i2, v1, v2
				case 'H':
					x1, x2, y1, y2 = v1, i2, i1, v2
				case 'G':
					x1, x2, y1, y2 = i1, v2, v1, i2
				}
				// Rounding grows with the terms and with S, hence relative to both.
				size1 := cmplx.Abs(n[0]*y1) + cmplx.Abs(n[2]*y2) + cmplx.Abs(x1)
				size2 := cmplx.Abs(n[1]*y1) + cmplx.Abs(n[3]*y2) + cmplx.Abs(x2)
				grow := 1 + cmplx.Abs(b1) + cmplx.Abs(b2)
				near(t, string(parameter)+" row 1", x1/complex(size1, 0), (n[0]*y1+n[2]*y2)/complex(size1, 0), 1e-13*grow)
				near(t, string(parameter)+" row 2", x2/complex(size2, 0), (n[1]*y1+n[3]*y2)/complex(size2, 0), 1e-13*grow)
			}
		}
	}
}
