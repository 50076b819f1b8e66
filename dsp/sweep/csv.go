package sweep

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode"
)

// ErrScalar is in the chain of the error when a sweep without phase is read
// as a Sweep; ReadScalar takes such a file.
var ErrScalar = errors.New("the file has no phase: distance needs phase (real and imaginary part, or magnitude and phase); a scalar file is good for limit checks only")

// Scalar is a reflection sweep without phase. It can be held against limits;
// distance cannot be had from it.
type Scalar struct {
	Name        string    // where it came from, usually the file's name
	FrequencyHz []float64 // strictly ascending, > 0, at least one
	Magnitude   []float64 // |Γ|, one per frequency
	Warnings    []string
}

// meaning is what a CSV column holds.
type meaning int

const (
	unknownColumn meaning = iota
	frequencyColumn
	realColumn
	imaginaryColumn
	resistanceColumn // of the impedance, ohm
	reactanceColumn
	magnitudeColumn // |Γ|
	decibelColumn   // 20·log10 |Γ|
	returnLossColumn
	vswrColumn
	phaseColumn
	meanings // how many there are
)

// csvColumn is a column of known meaning.
type csvColumn struct {
	index     int    // from 0; -1: not there
	title     string // as in the file
	unitShift int    // of a frequency: the unit is 10^unitShift Hz; -1: not said
	radians   bool   // of a phase
}

// csvReader is the parser's state.
type csvReader struct {
	builder
	separator byte
	width     int // columns of the header row
	headerAt  int // its line
	columns   [meanings]csvColumn
	first     meaning // of the two numbers of a point
	second    meaning // unknownColumn: there is none, the file is scalar
	cells     []field
	// Return loss is converted at the end, when its sign convention is known.
	returnLoss []float64
}

// ReadCSV reads a sweep from text with named columns. The first line that
// names a frequency and something known beside it is the header row; lines
// above it are skipped. A column is known by words in its title, in any case:
//
//	frequency, freq, f                        with Hz, kHz, MHz or GHz; Hz if not said
//	real, re and imaginary, imag, im          of Γ, or of the impedance in ohm if
//	                                          the title also has z or impedance
//	resistance and reactance                  ohm
//	magnitude, mag, abs, |...|                |Γ|, or 20·log10 |Γ| with dB
//	return loss, rl                           dB
//	vswr, swr
//	phase, angle                              degrees, or radians with rad
//
// Titles that name another parameter (S21, ...), a limit or a loss other than
// return loss are passed over. Of several ways to a complex Γ the first in
// this order is taken: real and imaginary, resistance and reactance, then
// phase with magnitude, dB, return loss, VSWR. The reference is 50 ohm unless
// a comment such as "# reference 75 ohm" stands above the data. Errors are of
// type *ParseError; a file without phase gives ErrScalar.
func ReadCSV(name string, r io.Reader) (*Sweep, error) {
	c, err := readCSV(name, r, false)
	if err != nil {
		return nil, err
	}
	s := c.sweep
	if err := fewPoints(len(s.FrequencyHz)); err != nil {
		return nil, &ParseError{File: name, Line: max(c.number, 1), Err: err}
	}
	s.warnMagnitude()
	if err := s.check(); err != nil {
		return nil, &ParseError{File: name, Line: c.headerAt, Err: err}
	}
	return s, nil
}

// ReadScalar reads the frequency and the magnitude of the reflection from text
// with named columns, as ReadCSV does, but needs no phase: VSWR, return loss
// or magnitude will do. One point is enough, as a limit is kept or broken
// point by point. Errors are of type *ParseError.
func ReadScalar(name string, r io.Reader) (*Scalar, error) {
	c, err := readCSV(name, r, true)
	if err != nil {
		return nil, err
	}
	s := c.sweep
	if len(s.FrequencyHz) == 0 {
		return nil, &ParseError{File: name, Line: max(c.number, 1), Err: fewPoints(0)}
	}
	s.warnMagnitude()
	for i, g := range s.Gamma {
		if reason := gammaFault(g); reason != "" {
			return nil, &ParseError{File: name, Line: c.headerAt, Err: fmt.Errorf("%s Hz: %s", formatHz(s.FrequencyHz[i]), reason)}
		}
	}
	return &Scalar{Name: s.Name, FrequencyHz: s.FrequencyHz, Magnitude: s.Magnitude(), Warnings: s.Warnings}, nil
}

// VSWR returns (1+|Γ|)/(1-|Γ|) per point, +Inf where |Γ| ≥ 1.
func (s *Scalar) VSWR() []float64 {
	values := make([]float64, len(s.Magnitude))
	for i, m := range s.Magnitude {
		values[i] = VSWRFromMagnitude(m)
	}
	return values
}

// ReturnLossDB returns the return loss per point in dB.
func (s *Scalar) ReturnLossDB() []float64 {
	values := make([]float64, len(s.Magnitude))
	for i, m := range s.Magnitude {
		values[i] = ReturnLossFromMagnitude(m)
	}
	return values
}

// readCSV reads the points; without phase only if scalar is taken.
func readCSV(name string, r io.Reader, scalar bool) (*csvReader, error) {
	c := &csvReader{builder: newBuilder(name, r)}
	c.sweep.ReferenceOhm = 50
	for {
		err := c.next()
		if err == io.EOF {
			break
		}
		if err == nil {
			err = c.line(scalar)
		}
		if err != nil {
			return nil, err
		}
	}
	if c.headerAt == 0 {
		return nil, &ParseError{File: name, Line: max(c.number, 1), Err: errNoHeader}
	}
	c.convertReturnLoss()
	return c, nil
}

var errNoHeader = errors.New("no header row names a frequency and a reflection: write one above the data, such as Frequency (Hz),S11 real,S11 imaginary")

// maxPreamble is how many lines may stand above the header row.
const maxPreamble = 100

func (c *csvReader) line(scalar bool) error {
	text := bytes.TrimRight(c.text, " \t")
	if len(bytes.TrimLeft(text, " \t")) == 0 {
		return nil
	}
	if mark := bytes.TrimLeft(text, " \t")[0]; mark == '#' || mark == '!' {
		if c.rows == 0 {
			line := bytes.TrimLeft(text, " \t")[1:]
			c.comment(line)
			c.referenceComment(string(line))
		}
		return nil
	}
	if c.headerAt > 0 {
		if err := c.split(c.text); err != nil {
			return err
		}
		return c.row()
	}
	c.separator = separatorOf(text)
	if err := c.split(c.text); err != nil {
		return err
	}
	if _, err := parseNumber(c.decimalPoint(c.cells[0].text), 0); err == nil {
		return c.at(c.cells[0].column, errNoHeader)
	}
	if !c.header() {
		if c.number >= maxPreamble {
			return c.at(1, errNoHeader)
		}
		return nil
	}
	return c.choose(scalar)
}

// referenceComment takes the reference impedance from a comment that names it.
func (c *csvReader) referenceComment(text string) {
	words := titleWords(text)
	if !words["reference"] || !(words["ohm"] || words["ohms"] || words["impedance"]) {
		return
	}
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsDigit(r) && r != '.' }) {
		if ohm, err := parseNumber([]byte(word), 0); err == nil && ohm > 0 {
			c.sweep.ReferenceOhm = ohm
			return
		}
	}
}

// separatorOf finds the separator of a header row: the commas of a row that
// also has semicolons or tabs belong to its text.
func separatorOf(line []byte) byte {
	for _, separator := range []byte{';', '\t'} {
		if bytes.IndexByte(line, separator) >= 0 {
			return separator
		}
	}
	return ','
}

// split cuts a line into c.cells. A cell that begins with a quote ends at the
// next quote that is not doubled; line breaks in quotes are not taken.
func (c *csvReader) split(line []byte) error {
	c.cells = c.cells[:0]
	for i := 0; ; i++ {
		for i < len(line) && line[i] == ' ' {
			i++
		}
		start := i
		if i < len(line) && line[i] == '"' {
			i++
			for i < len(line) && (line[i] != '"' || i+1 < len(line) && line[i+1] == '"') {
				if line[i] == '"' {
					i++
				}
				i++
			}
			if i >= len(line) {
				return c.at(start+1, errors.New("a quote is not closed on its line: close it"))
			}
			text := bytes.ReplaceAll(line[start+1:i], []byte(`""`), []byte(`"`))
			c.cells = append(c.cells, field{bytes.TrimSpace(text), start + 2})
			for i++; i < len(line) && line[i] != c.separator; i++ {
				if line[i] != ' ' && line[i] != '\t' {
					return c.at(i+1, errors.New("text behind a closing quote: delete it"))
				}
			}
		} else {
			for i < len(line) && line[i] != c.separator {
				i++
			}
			c.cells = append(c.cells, field{bytes.TrimSpace(line[start:i]), start + 1})
		}
		if i >= len(line) {
			return nil
		}
	}
}

// decimalPoint replaces the decimal comma, where the separator leaves room for one.
func (c *csvReader) decimalPoint(text []byte) []byte {
	if c.separator == ',' || bytes.Count(text, []byte(",")) != 1 || bytes.IndexByte(text, '.') >= 0 {
		return text
	}
	return bytes.Replace(text, []byte(","), []byte("."), 1)
}

// header takes the present line as header row if it names a frequency and a
// reflection.
func (c *csvReader) header() bool {
	for i := range c.columns {
		c.columns[i].index = -1
	}
	var known int
	for i, cell := range c.cells {
		title := cleanText(cell.text)
		m, column := classify(title)
		if m == unknownColumn {
			continue
		}
		column.index, column.title = i, title
		if c.columns[m].index >= 0 {
			// Told in choose, if this is the header.
			column.title = c.columns[m].title + `" and "` + title
			column.index = len(c.cells)
		} else if m != frequencyColumn && m != phaseColumn {
			known++
		}
		c.columns[m] = column
	}
	return known > 0 && c.columns[frequencyColumn].index >= 0
}

// choose settles which columns make the reflection.
func (c *csvReader) choose(scalar bool) error {
	c.headerAt, c.width = c.number, len(c.cells)
	has := func(m meaning) bool { return c.columns[m].index >= 0 }
	magnitudes := []meaning{magnitudeColumn, decibelColumn, returnLossColumn, vswrColumn}
	switch {
	case has(realColumn) && has(imaginaryColumn):
		c.first, c.second = realColumn, imaginaryColumn
	case has(resistanceColumn) && has(reactanceColumn):
		c.first, c.second = resistanceColumn, reactanceColumn
	default:
		for _, m := range magnitudes {
			if has(m) {
				c.first = m
				break
			}
		}
		if has(phaseColumn) {
			c.second = phaseColumn
		}
	}
	switch {
	case c.first == unknownColumn:
		return c.at(1, errors.New("one part of a complex column pair is missing: real needs imaginary, resistance needs reactance; export both"))
	case c.second == unknownColumn && !scalar:
		return c.at(1, ErrScalar)
	}
	for _, m := range []meaning{frequencyColumn, c.first, c.second} {
		if m != unknownColumn && c.columns[m].index >= c.width {
			return c.at(1, fmt.Errorf("two columns mean the same, \"%s\": delete one or rename it", c.columns[m].title))
		}
	}
	return nil
}

// titleWords returns the words of a column title in lower case.
func titleWords(title string) map[string]bool {
	words := map[string]bool{}
	for _, word := range strings.FieldsFunc(strings.ToLower(title), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}) {
		words[word] = true
	}
	if strings.Count(title, "|") >= 2 {
		words["mag"] = true
	}
	return words
}

// classify returns the meaning of a column by its title.
func classify(title string) (meaning, csvColumn) {
	words := titleWords(title)
	oneOf := func(list ...string) bool {
		for _, word := range list {
			if words[word] {
				return true
			}
		}
		return false
	}
	column := csvColumn{unitShift: -1}
	returnLoss := oneOf("rl", "returnloss") || words["return"] && words["loss"]
	impedance := oneOf("z", "z11", "impedance")
	switch {
	case oneOf("s21", "s12", "s22", "limit", "memory", "marker", "start", "stop", "span", "center", "centre"),
		words["loss"] && !returnLoss:
	case oneOf("frequency", "freq", "f"):
		for word := range words {
			column.unitShift = max(column.unitShift, unitShift(word))
		}
		return frequencyColumn, column
	case oneOf("phase", "angle", "ang", "arg"):
		column.radians = oneOf("rad", "radian", "radians")
		return phaseColumn, column
	case oneOf("resistance"), impedance && oneOf("real", "re"):
		return resistanceColumn, column
	case oneOf("reactance"), impedance && oneOf("imaginary", "imag", "im"):
		return reactanceColumn, column
	case impedance:
	case oneOf("real", "re"):
		return realColumn, column
	case oneOf("imaginary", "imag", "im"):
		return imaginaryColumn, column
	case returnLoss:
		return returnLossColumn, column
	case oneOf("vswr", "swr"):
		return vswrColumn, column
	case oneOf("db", "logmag"):
		return decibelColumn, column
	case oneOf("magnitude", "mag", "abs", "linmag", "rho", "ρ"), words["reflection"] && words["coefficient"]:
		return magnitudeColumn, column
	}
	return unknownColumn, column
}

// cell reads the number of a column of the present line.
func (c *csvReader) cell(m meaning, shift int) (value float64, column int, err error) {
	f := c.cells[c.columns[m].index]
	value, err = parseNumber(c.decimalPoint(f.text), shift)
	if err != nil {
		if len(f.text) == 0 {
			err = fmt.Errorf("column %q is empty: fill it in or delete the line", c.columns[m].title)
		}
		return 0, f.column, c.at(f.column, err)
	}
	return value, f.column, nil
}

// row takes a data line.
func (c *csvReader) row() error {
	need := max(c.columns[frequencyColumn].index, c.columns[c.first].index)
	if c.second != unknownColumn {
		need = max(need, c.columns[c.second].index)
	}
	if len(c.cells) <= need {
		return c.at(1, fmt.Errorf("the line ends after %d of %d columns: the file looks cut off; export the sweep again", len(c.cells), c.width))
	}
	for _, extra := range c.cells[min(c.width, len(c.cells)):] {
		if len(extra.text) > 0 {
			return c.at(extra.column, fmt.Errorf("%d cells under a header of %d columns: numbers with a decimal comma need semicolons or tabs between them", len(c.cells), c.width))
		}
	}
	f, column, err := c.cell(frequencyColumn, max(c.columns[frequencyColumn].unitShift, 0))
	if err != nil {
		return err
	}
	if c.columns[frequencyColumn].unitShift < 0 {
		if f < 1e5 { // no feeder is swept there, but every sweep in MHz or GHz lies there
			return c.at(column, fmt.Errorf("column %q has no unit and %g would be in Hz: write the unit into the header, as in Frequency (MHz)", c.columns[frequencyColumn].title, f))
		}
		warn(&c.sweep.Warnings, "column %q has no unit; taken as Hz", c.columns[frequencyColumn].title)
	}
	if keep, err := c.frequency(f, column); !keep {
		return err
	}
	a, columnA, err := c.cell(c.first, 0)
	if err != nil {
		return err
	}
	b := 0.0
	if c.second != unknownColumn {
		if b, _, err = c.cell(c.second, 0); err != nil {
			return err
		}
	}
	if c.second == phaseColumn && c.columns[phaseColumn].radians {
		b *= 180 / math.Pi
	}
	var g complex128
	switch c.first {
	case realColumn:
		g = complex(a, b)
	case resistanceColumn:
		g = oneToScattering('Z', complex(a, b), c.sweep.ReferenceOhm)
	case magnitudeColumn:
		if a < 0 {
			return c.at(columnA, fmt.Errorf("magnitude %g is negative: if it is in decibels, write dB into the header, as in S11 (dB)", a))
		}
		g = polarDeg(a, b)
	case decibelColumn:
		g = decibelAngle.complex(a, b)
	case vswrColumn:
		if a < 1 {
			return c.at(columnA, fmt.Errorf("VSWR %g is below 1, which does not exist: correct it or delete the line", a))
		}
		g = polarDeg(MagnitudeFromVSWR(a), b)
	case returnLossColumn:
		g = polarDeg(1, b) // its magnitude comes in convertReturnLoss
		c.returnLoss = append(c.returnLoss, a)
	}
	if reason := gammaFault(g); reason != "" {
		return c.at(columnA, errors.New(reason))
	}
	c.sweep.FrequencyHz = append(c.sweep.FrequencyHz, f)
	c.sweep.Gamma = append(c.sweep.Gamma, g)
	return nil
}

// convertReturnLoss gives a sweep read from return loss its magnitudes. Some
// write return loss as a negative number; a passive line has it positive, so
// a negative sum tells.
func (c *csvReader) convertReturnLoss() {
	var sum float64
	for _, db := range c.returnLoss {
		sum += db
	}
	sign := 1.0
	if sum < 0 {
		sign = -1
		warn(&c.sweep.Warnings, "column %q is negative; taken as return loss written with a minus sign", c.columns[returnLossColumn].title)
	}
	for i, db := range c.returnLoss {
		c.sweep.Gamma[i] *= complex(MagnitudeFromReturnLoss(sign*db), 0)
	}
}
