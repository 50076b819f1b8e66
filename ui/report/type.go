package report

import (
	"fmt"
	"image/color"
	"strings"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
	plotfont "gonum.org/v1/plot/font"
	plottext "gonum.org/v1/plot/text"
)

// The sizes of type, the distance of two rows of each, and the grid, points.
const (
	bodySize     = 9.0
	titleSize    = 15.0
	bodyLeading  = 12.0
	titleLeading = 20.0
	grid         = 8.0
	margin       = 6 * grid
)

// palette is the colours of the window's daylight face, on white.
type palette struct {
	Ink, Quiet, Edge, Field color.NRGBA
	Frequency, Distance     color.NRGBA
	Model, Earlier          color.NRGBA
	Out, In, OnStrong       color.NRGBA
}

func rgb(v uint32) color.NRGBA {
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

func colours() palette {
	return palette{Ink: rgb(0x1D2329), Quiet: rgb(0x5A636B), Edge: rgb(0xDEDAD0), Field: rgb(0xF0EEE7),
		Frequency: rgb(0x0B5CAD), Distance: rgb(0xB8480A), Model: rgb(0x6A4C93), Earlier: rgb(0x737B83),
		Out: rgb(0xA3271F), In: rgb(0x14694D), OnStrong: rgb(0xFFFFFF)}
}

// typeface is the font of a report, and the letters that it was asked for and
// does not have. It serves one goroutine.
type typeface struct {
	regular, strong *sfnt.Font
	fonts           *plotfont.Cache
	buffer          sfnt.Buffer
	advances        map[letterOf]float64
	lacking         map[rune]bool
}

func newTypeface() (*typeface, error) {
	regular, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("the embedded font: %w", err)
	}
	strong, err := opentype.Parse(gobold.TTF)
	if err != nil {
		return nil, fmt.Errorf("the embedded font: %w", err)
	}
	t := &typeface{regular: regular, strong: strong, advances: map[letterOf]float64{}, lacking: map[rune]bool{}}
	t.fonts = plotfont.NewCache(plotfont.Collection{{Font: t.font(0, false), Face: regular}, {Font: t.font(0, true), Face: strong}})
	return t, nil
}

// font is the font as gonum/plot asks for it.
func (t *typeface) font(size float64, strong bool) plotfont.Font {
	f := plotfont.Font{Typeface: "Go", Variant: "Sans", Size: plotfont.Points(size)}
	if strong {
		f.Weight = font.WeightBold
	}
	return f
}

func (t *typeface) handler() plottext.Handler { return plottext.Plain{Fonts: t.fonts} }

// missing is printed for what the font does not have.
const missing = '□'

// clean returns text as it can be printed, in one row: composed letters, blanks
// for all that is white or controls, nothing for what only steers, missing for
// what the font lacks.
func (t *typeface) clean(text string) string {
	plain := true
	for i := range len(text) {
		plain = plain && text[i] >= ' ' && text[i] < 0x7F
	}
	if plain {
		return text
	}
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) || unicode.IsControl(r):
			return ' '
		case unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Variation_Selector, r):
			return -1
		case r > 0xFFFF || !t.has(r): // what lies above has no place in the PDF's encoding
			t.lacking[r] = true
			return missing
		}
		return r
	}, norm.NFC.String(strings.ToValidUTF8(text, string(missing))))
}

// letterOf is a letter in one of the weights.
type letterOf struct {
	r      rune
	strong bool
}

// wide is how wide a clean text is, points.
func (t *typeface) wide(text string, size float64, strong bool) float64 {
	sum := 0.0
	for _, r := range text {
		key := letterOf{r, strong}
		advance, known := t.advances[key]
		if !known {
			face := t.regular
			if strong {
				face = t.strong
			}
			if at, err := face.GlyphIndex(&t.buffer, r); err == nil {
				em := face.UnitsPerEm()
				if units, err := face.GlyphAdvance(&t.buffer, at, fixed.I(int(em)), font.HintingNone); err == nil {
					advance = float64(units) / 64 / float64(em)
				}
			}
			t.advances[key] = advance
		}
		sum += advance
	}
	return sum * size
}

func (t *typeface) has(r rune) bool {
	at, err := t.regular.GlyphIndex(&t.buffer, r)
	return err == nil && at != 0
}
