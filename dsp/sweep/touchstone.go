package sweep

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// numberFormat is how a Touchstone file writes a complex number.
type numberFormat byte

const (
	magnitudeAngle numberFormat = iota // MA: magnitude, degrees
	decibelAngle                       // DB: 20·log10 of the magnitude, degrees
	realImaginary                      // RI
)

// option is what the option line says.
type option struct {
	unitShift    int          // frequency unit is 10^unitShift Hz
	parameter    byte         // S, Y, Z, H or G
	format       numberFormat //
	referenceOhm []float64    // one, or one per port (version 1.1); empty: 50
}

var defaultOption = option{unitShift: 9, parameter: 'S'} // GHz S MA R 50

// part is where in a file the parser is.
type part int

const (
	inHead part = iota
	inNetwork
	inNoise
	inInformation
	afterEnd
)

// touchstone is the parser's state.
type touchstone struct {
	builder
	part        part
	beforeNotes part // the part that [Begin Information] interrupted
	version     int  // 1 or 2
	option      option
	optionLine  int    // 0: none so far
	ports       int    // 0: not known yet
	portsFrom   string // what says so, in words
	portsSaid   bool   // by [Number of Ports]
	noiseRows   int

	// Version 2 keywords.
	dataOrder    string // "12_21" or "21_12"
	frequencies  int    // -1: not said
	matrix       string // full, lower or upper
	referenceOhm []float64
	wantOhm      int // values of [Reference] still to come
}

var portsExtension = regexp.MustCompile(`^\.[sS]([0-9]{1,6})[pP]$`)

// portsByName returns the number of ports that a file name ending in .sNp
// declares, 0 if it does not.
func portsByName(name string) int {
	m := portsExtension.FindStringSubmatch(filepath.Ext(name))
	if m == nil {
		return 0
	}
	n, _ := strconv.Atoi(m[1]) // digits by the pattern
	return n
}

// ReadTouchstone reads a Touchstone file of version 1.x or 2.x with one or
// two ports. The extension of name (.s1p, .s2p) or [Number of Ports] says how
// many; without either the first data line does. The grammar and its sources
// are in the package comment. Errors are of type *ParseError. What was taken
// on trust or left out is in Warnings.
func ReadTouchstone(name string, r io.Reader) (*Sweep, error) {
	p := &touchstone{
		builder: newBuilder(name, r), version: 1, option: defaultOption, frequencies: -1, matrix: "full",
	}
	if n := portsByName(name); n > 0 {
		if n > 2 {
			return nil, &ParseError{File: name, Err: fmt.Errorf("a file of %d ports: only one and two ports can be read; export the port that faces the line as .s1p", n)}
		}
		p.ports, p.portsFrom = n, fmt.Sprintf("by its name (.s%dp)", n)
	}
	for {
		err := p.next()
		if err == io.EOF {
			break
		}
		if err == nil {
			err = p.line()
		}
		if err != nil {
			return nil, err
		}
	}
	if err := p.finish(); err != nil {
		return nil, &ParseError{File: name, Line: max(p.number, 1), Err: err}
	}
	return p.sweep, nil
}

// line takes the present line.
func (p *touchstone) line() error {
	text := p.text
	if mark := bytes.IndexByte(text, '!'); mark >= 0 {
		if p.part == inHead && p.rows == 0 && len(bytes.TrimLeft(text[:mark], " \t")) == 0 {
			p.comment(text[mark+1:])
		}
		text = text[:mark]
	}
	first, _ := nextField(text, 0)
	if len(first.text) == 0 || p.part == afterEnd {
		if len(first.text) > 0 {
			warn(&p.sweep.Warnings, "text after [End] is left out")
		}
		return nil
	}
	switch {
	case first.text[0] == '[':
		return p.keyword(text, first.column)
	case p.part == inInformation:
		return nil
	case first.text[0] == '#':
		return p.optionWords(text, first.column)
	case p.wantOhm > 0:
		return p.references(text, 0)
	case p.part == inNoise:
		p.noiseRows++
		return nil
	case p.version == 2 && p.part != inNetwork:
		return p.at(first.column, errors.New("data before [Network Data]: put that keyword on the line above the first data line"))
	}
	return p.row(text)
}

// optionWords takes "# unit parameter format R ohm", in any order.
func (p *touchstone) optionWords(text []byte, column int) error {
	if p.optionLine > 0 || p.rows > 0 {
		if p.optionLine > 0 {
			warn(&p.sweep.Warnings, "option line in line %d is left out, since line %d has one already", p.number, p.optionLine)
			return nil
		}
		return p.at(column, errors.New("option line after the first data line: move it above the data"))
	}
	p.optionLine = p.number
	var unit, parameter, format, reference bool // seen already
	once := func(seen *bool, f field, what string) error {
		if *seen {
			return p.at(f.column, fmt.Errorf("a second %s %q in the option line: leave one", what, cleanText(f.text)))
		}
		*seen = true
		return nil
	}
	offset := column // behind '#'
	for {
		var f field
		if f, offset = nextField(text, offset); len(f.text) == 0 {
			return nil
		}
		var err error
		switch word := strings.ToUpper(string(f.text)); word {
		case "HZ", "KHZ", "MHZ", "GHZ":
			err = once(&unit, f, "frequency unit")
			p.option.unitShift = unitShift(strings.ToLower(word))
		case "S", "Y", "Z", "H", "G":
			err = once(&parameter, f, "parameter")
			p.option.parameter = word[0]
		case "MA", "DB", "RI":
			err = once(&format, f, "number format")
			p.option.format = map[string]numberFormat{"MA": magnitudeAngle, "DB": decibelAngle, "RI": realImaginary}[word]
		case "R":
			if err = once(&reference, f, "reference"); err != nil {
				break
			}
			for {
				number, behind := nextField(text, offset)
				if len(number.text) == 0 || !bytes.ContainsAny(number.text[:1], "0123456789+-.") {
					break
				}
				if len(p.option.referenceOhm) == 2 {
					return p.at(number.column, errors.New("more than two reference impedances: only one and two ports can be read; export the port that faces the line as .s1p"))
				}
				ohm, err := p.ohm(number)
				if err != nil {
					return err
				}
				p.option.referenceOhm, offset = append(p.option.referenceOhm, ohm), behind
			}
			if len(p.option.referenceOhm) == 0 {
				return p.at(f.column, errors.New("no number behind R in the option line: write the reference impedance in ohm there, as in R 50"))
			}
		default:
			return p.at(f.column, fmt.Errorf("%q in the option line is not known: it takes a unit (Hz, kHz, MHz, GHz), a parameter (S, Y, Z, H, G), a format (RI, MA, DB) and R with the ohms, parted by blanks", cleanText(f.text)))
		}
		if err != nil {
			return err
		}
	}
}

// unitShift returns the power of ten of a frequency unit in lower case, -1 if
// it is none.
func unitShift(unit string) int {
	switch unit {
	case "hz":
		return 0
	case "khz":
		return 3
	case "mhz":
		return 6
	case "ghz":
		return 9
	}
	return -1
}

// ohm reads a reference impedance.
func (p *touchstone) ohm(f field) (float64, error) {
	value, err := parseNumber(f.text, 0)
	if err != nil {
		return 0, p.at(f.column, err)
	}
	if !(value > 0) {
		return 0, p.at(f.column, fmt.Errorf("reference impedance %g ohm: it must be positive", value))
	}
	return value, nil
}

// row takes a data line.
func (p *touchstone) row(text []byte) error {
	var value [9]float64
	var column [9]int
	count, offset := 0, 0
	for {
		var f field
		if f, offset = nextField(text, offset); len(f.text) == 0 {
			break
		}
		if count < len(value) {
			shift := 0
			if count == 0 {
				shift = p.option.unitShift
			}
			var err error
			if value[count], err = parseNumber(f.text, shift); err != nil {
				if count == 0 && p.rows == 0 && bytes.ContainsAny(text, ",;") {
					err = errors.New("this looks like CSV, not Touchstone: give the file the extension .csv")
				}
				return p.at(f.column, err)
			}
			column[count] = f.column
		}
		count++
	}
	if p.rows == 0 {
		if err := p.begin(count, column[0]); err != nil {
			return err
		}
	}
	want := 3
	if p.ports == 2 {
		want = 9
		if p.matrix != "full" {
			want = 7
		}
	}
	if count != want {
		if p.version == 1 && p.ports == 2 && count == 5 && p.rows > 0 && value[0] <= p.lastHz {
			p.part = inNoise
			p.noiseRows++
			return nil
		}
		return p.at(column[0], p.widthFault(count, want))
	}
	return p.point(value, column)
}

// begin settles, at the first data line, what the head left open.
func (p *touchstone) begin(count, column int) error {
	if p.ports == 0 {
		switch count {
		case 3:
			p.ports = 1
		case 9:
			p.ports = 2
		default:
			return p.at(column, fmt.Errorf("%d numbers on the first data line: a one-port has 3, a two-port 9; export the port that faces the line as .s1p", count))
		}
		p.portsFrom = "by its first data line"
	}
	if p.optionLine == 0 {
		warn(&p.sweep.Warnings, "the file has no option line; taken as # GHz S MA R 50, as Touchstone lays down")
	}
	if p.ports == 1 && (p.option.parameter == 'H' || p.option.parameter == 'G') {
		return p.at(column, fmt.Errorf("%c-parameters are defined for two ports only: export S-parameters", p.option.parameter))
	}
	reference := p.option.referenceOhm
	if len(reference) > p.ports {
		return p.at(column, fmt.Errorf("%d reference impedances in the option line of a one-port: leave one", len(reference)))
	}
	if len(reference) == 0 {
		reference = []float64{50}
	}
	if len(reference) < p.ports {
		reference = append(slices.Clip(reference), reference[0])
	}
	if len(p.referenceOhm) > 0 {
		reference = p.referenceOhm
	}
	if p.version == 1 && p.ports == 2 && reference[0] != reference[1] && p.option.parameter != 'S' {
		return p.at(column, fmt.Errorf("%c-parameters normalised to two different references: export S-parameters", p.option.parameter))
	}
	p.sweep.ReferenceOhm = reference[0]
	if p.ports == 2 {
		p.sweep.TwoPort = &TwoPort{ReferenceOhm: reference[1]}
	}
	return nil
}

// widthFault explains a data line of count numbers where want are due.
func (p *touchstone) widthFault(count, want int) error {
	switch {
	case p.ports == 1 && count == 9:
		return fmt.Errorf("9 numbers on a line, but the file has one port %s and a one-port line holds 3: it looks like a two-port; name it .s2p", p.portsFrom)
	case p.ports == 2 && count == 3:
		return fmt.Errorf("3 numbers on a line, but the file has two ports %s and a two-port line holds %d: it looks like a one-port; name it .s1p", p.portsFrom, want)
	case count < want:
		return fmt.Errorf("the line ends after %d of %d numbers: the file looks cut off or its lines are wrapped; export the sweep again", count, want)
	}
	return fmt.Errorf("%d numbers on a line, where %d are due for %d port(s): export the port that faces the line as .s1p", count, want, p.ports)
}

// point takes one frequency point: value[0] in Hz, then the parameters.
func (p *touchstone) point(value [9]float64, column [9]int) error {
	if keep, err := p.frequency(value[0], column[0]); !keep {
		return err
	}
	var n [4]complex128
	values := p.ports * p.ports
	if p.ports == 2 && p.matrix != "full" {
		values = 3
	}
	for i := range values {
		a, b := value[2*i+1], value[2*i+2]
		if p.option.format == magnitudeAngle && a < 0 {
			return p.at(column[2*i+1], fmt.Errorf("magnitude %g is negative: if the file is in decibels, write DB in place of MA in the option line", a))
		}
		n[i] = p.option.format.complex(a, b)
	}
	switch { // to the order N11, N21, N12, N22
	case p.ports == 2 && p.matrix != "full":
		n = [4]complex128{n[0], n[1], n[1], n[2]}
	case p.dataOrder == "12_21":
		n[1], n[2] = n[2], n[1]
	}
	gamma := n[0]
	t := p.sweep.TwoPort
	switch {
	case p.option.parameter == 'S':
	case t == nil:
		gamma = oneToScattering(p.option.parameter, n[0], p.ownReference(0))
	default:
		n = twoToScattering(p.option.parameter, n, p.ownReference(0), p.ownReference(1))
		gamma = n[0]
	}
	if reason := gammaFault(gamma); reason != "" {
		return p.at(column[1], errors.New(reason))
	}
	if t != nil {
		if !finite(n[1]) || !finite(n[2]) || !finite(n[3]) {
			return p.at(column[1], errors.New("a parameter of the two-port is not finite; correct or delete the point"))
		}
		t.S21, t.S12, t.S22 = append(t.S21, n[1]), append(t.S12, n[2]), append(t.S22, n[3])
	}
	p.sweep.FrequencyHz = append(p.sweep.FrequencyHz, value[0])
	p.sweep.Gamma = append(p.sweep.Gamma, gamma)
	return nil
}

// ownReference is the impedance that the file's Z, Y, H and G parameters are
// in units of, as a multiple of the port's reference: version 1 normalises,
// so 1; version 2 does not.
func (p *touchstone) ownReference(port int) float64 {
	if p.version == 1 {
		return 1
	}
	if port == 1 {
		return p.sweep.TwoPort.ReferenceOhm
	}
	return p.sweep.ReferenceOhm
}

// complex makes a complex number of the two that a file holds; degrees.
func (f numberFormat) complex(a, b float64) complex128 {
	switch f {
	case realImaginary:
		return complex(a, b)
	case decibelAngle:
		a = math.Pow(10, a/20)
	}
	return polarDeg(a, b)
}

// polarDeg is magnitude·e^{j·degrees}.
func polarDeg(magnitude, degrees float64) complex128 {
	sin, cos := math.Sincos(math.Remainder(degrees, 360) * (math.Pi / 180))
	return complex(magnitude*cos, magnitude*sin)
}

// finish checks the whole when the file is through.
func (p *touchstone) finish() error {
	switch {
	case p.part == inInformation:
		return errors.New("[Begin Information] without [End Information]: the file looks cut off; export the sweep again")
	case p.wantOhm > 0:
		return fmt.Errorf("[Reference] lacks %d values: write one for each port", p.wantOhm)
	case p.rows == 0:
		return fewPoints(0)
	case p.frequencies >= 0 && p.rows < p.frequencies:
		return fmt.Errorf("%d of the %d frequencies of [Number of Frequencies]: the file looks cut off; export the sweep again", p.rows, p.frequencies)
	case p.frequencies >= 0 && p.rows > p.frequencies:
		return fmt.Errorf("%d frequencies, but [Number of Frequencies] says %d: correct that number or export the sweep again", p.rows, p.frequencies)
	}
	if err := fewPoints(len(p.sweep.FrequencyHz)); err != nil {
		return err
	}
	if p.version == 2 && p.frequencies < 0 {
		warn(&p.sweep.Warnings, "the file does not say its [Number of Frequencies]: a cut-off file would not be noticed")
	}
	if p.version == 2 && p.part != afterEnd {
		warn(&p.sweep.Warnings, "the file has no [End]: it may have been cut off")
	}
	if p.noiseRows > 0 {
		warn(&p.sweep.Warnings, "noise data (%d lines) are left out", p.noiseRows)
	}
	p.sweep.warnMagnitude()
	return p.sweep.check()
}
