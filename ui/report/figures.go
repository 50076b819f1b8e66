package report

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strconv"

	"downlead/dsp/diagnose"
)

// File is a file to be written.
type File struct {
	Name string
	Data []byte
}

// The size of a figure that stands alone, and the dots of its picture.
const (
	figureWidth = 64 * grid
	figureDPI   = 192
)

// Figures returns the drawings of the report as SVG and PNG, each trace as CSV
// (that over frequency reads back as a sweep) and the findings as JSON, in which
// runtime_s is 0, so that the same investigation gives the same files. in must
// come from Prepare. It ends with ctx's error when ctx ends.
func Figures(ctx context.Context, in *Input, style Style) ([]File, error) {
	b, err := newBook(ctx, in, style)
	if err != nil {
		return nil, err
	}
	figures := []figure{b.lineFigure(figureWidth, 0), b.overFrequency(), b.alongLine()}
	var files []File
	for _, f := range figures {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		drawn, err := figureFiles(f)
		if err != nil {
			return nil, err
		}
		files = append(files, drawn...)
	}
	for _, t := range b.over {
		files = append(files, File{"frequency-" + t.file + ".csv", t.overCSV()})
	}
	for _, t := range b.along {
		files = append(files, File{"distance-" + t.file + ".csv", t.alongCSV()})
	}
	var data bytes.Buffer
	findings := *in.Findings
	findings.RuntimeS = 0
	if err := WriteFindings(&data, &findings); err != nil {
		return nil, err
	}
	return append(files, File{"findings.json", data.Bytes()}), nil
}

func exact(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

func (t trace) overCSV() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %s; reference %s ohm\n", t.name, exact(t.of.ReferenceOhm))
	b.WriteString("frequency (Hz),real,imaginary,return loss (dB)\n")
	for k, g := range t.of.Gamma {
		fmt.Fprintf(&b, "%s,%s,%s,%s\n", exact(t.x[k]), exact(real(g)), exact(imag(g)), exact(t.y[k]))
	}
	return b.Bytes()
}

func (t trace) alongCSV() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %s\n", t.name)
	b.WriteString("distance (m),return loss (dB)\n")
	for k := range t.x {
		fmt.Fprintf(&b, "%s,%s\n", exact(t.x[k]), exact(t.y[k]))
	}
	return b.Bytes()
}

// WriteFindings writes findings as JSON; its lists are never null.
func WriteFindings(w io.Writer, f *diagnose.Findings) error {
	whole := *f
	whole.Findings = make([]diagnose.Finding, len(f.Findings))
	for i, one := range f.Findings {
		one.Alternatives = append([]diagnose.Alternative{}, one.Alternatives...)
		one.Evidence = append([]string{}, one.Evidence...)
		one.Checks = append([]string{}, one.Checks...)
		one.TakeAlong = append([]string{}, one.TakeAlong...)
		one.Cautions = append([]string{}, one.Cautions...)
		one.Explanation = append([]string{}, one.Explanation...)
		whole.Findings[i] = one
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(whole); err != nil {
		return fmt.Errorf("writing the findings: %w", err)
	}
	return nil
}
