// Package theme is how the workbench looks: the colours of its light and its
// dark face, the font, the sizes, and the few controls that all panes share.
//
// One colour stands for one thing everywhere: what is over frequency, what is
// along the line, the fitted model, the earlier sweep, in and out of limits. A
// state is never said by colour alone. Text has a contrast of at least 4.5:1 on
// every ground it stands on (W3C, Web Content Accessibility Guidelines 2.1,
// criterion 1.4.3), and the traces stay apart under the common deficiencies of
// colour vision; tests hold the colours to both.
package theme

import (
	"image/color"

	"gioui.org/font"
	"gioui.org/font/gofont"
	"gioui.org/text"
	"gioui.org/unit"
)

// Palette is the colours of one face.
type Palette struct {
	Paper  color.NRGBA // behind the panels
	Panel  color.NRGBA
	Field  color.NRGBA // where something can be typed or chosen
	Chosen color.NRGBA // a selected row
	Edge   color.NRGBA // lines between things
	Ink    color.NRGBA
	Quiet  color.NRGBA // text of the second rank
	Link   color.NRGBA // what can be pressed

	Frequency color.NRGBA // everything over frequency
	Distance  color.NRGBA // everything along the line
	Model     color.NRGBA
	Earlier   color.NRGBA
	Out       color.NRGBA // of limits
	In        color.NRGBA // in limits
	OnStrong  color.NRGBA // text on Ink, Distance, Out and In
	Warning   color.NRGBA // ground of what must not be overlooked

	Apart [6]color.NRGBA // of things of one kind that have to be told apart, beside Frequency and Distance
}

// Series is the colour of the i-th of things of one kind.
func (p *Palette) Series(i int) color.NRGBA { return p.Apart[i%len(p.Apart)] }

func rgb(v uint32) color.NRGBA {
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

// Light is the face for daylight.
func Light() Palette {
	return Palette{
		Paper: rgb(0xF4F2EC), Panel: rgb(0xFFFFFF), Field: rgb(0xF0EEE7), Chosen: rgb(0xEBE6DA), Edge: rgb(0xDEDAD0),
		Ink: rgb(0x1D2329), Quiet: rgb(0x5A636B), Link: rgb(0x0B5CAD),
		Frequency: rgb(0x0B5CAD), Distance: rgb(0xB8480A), Model: rgb(0x6A4C93), Earlier: rgb(0x737B83),
		Out: rgb(0xA3271F), In: rgb(0x14694D), OnStrong: rgb(0xFFFFFF), Warning: rgb(0xFBE9E2),
		Apart: [6]color.NRGBA{rgb(0x20975B), rgb(0x891AF9), rgb(0x524427), rgb(0x90456B), rgb(0x10104B), rgb(0x320A17)},
	}
}

// Projector is the face for a room of people: nothing paler than a projector in a lit
// room shows, text at 7:1 (the guidelines' criterion 1.4.6).
func Projector() Palette {
	return Palette{
		Paper: rgb(0xFFFFFF), Panel: rgb(0xFFFFFF), Field: rgb(0xF0F0F0), Chosen: rgb(0xE4E4E4), Edge: rgb(0xA0A0A0),
		Ink: rgb(0x000000), Quiet: rgb(0x333A40), Link: rgb(0x003F88),
		Frequency: rgb(0x003F9A), Distance: rgb(0x9A3400), Model: rgb(0x6A2A6A), Earlier: rgb(0x555C63),
		Out: rgb(0x8C1510), In: rgb(0x07502F), OnStrong: rgb(0xFFFFFF), Warning: rgb(0xFFE9E0),
		Apart: [6]color.NRGBA{rgb(0x20975B), rgb(0x891AF9), rgb(0x4A4632), rgb(0x90456B), rgb(0x10104B), rgb(0x320A17)},
	}
}

// Dark is the face for the night and the vehicle.
func Dark() Palette {
	return Palette{
		Paper: rgb(0x14181C), Panel: rgb(0x1C2126), Field: rgb(0x272D33), Chosen: rgb(0x30383F), Edge: rgb(0x3A424A),
		Ink: rgb(0xECEAE4), Quiet: rgb(0xA9B1B8), Link: rgb(0x6FB1F2),
		Frequency: rgb(0x5AA6F0), Distance: rgb(0xF0894A), Model: rgb(0xB79AE0), Earlier: rgb(0x98A1A9),
		Out: rgb(0xFF8A7D), In: rgb(0x5CCB9F), OnStrong: rgb(0x14181C), Warning: rgb(0x452B24),
		Apart: [6]color.NRGBA{rgb(0xE2C9C4), rgb(0x8950FA), rgb(0x6EFB9D), rgb(0xD53953), rgb(0xADF915), rgb(0xB15D95)},
	}
}

// Alpha returns c with the given opacity, 0 to 1.
func Alpha(c color.NRGBA, opacity float64) color.NRGBA {
	c.A = uint8(opacity*255 + 0.5)
	return c
}

// Theme is a face with its type.
type Theme struct {
	Palette
	Shaper *text.Shaper
	// Scale multiplies the size of all text; 0: 1.
	Scale float32
}

// Shaper returns a shaper of the embedded font alone, so that the program looks
// the same everywhere. It serves one goroutine.
func Shaper() *text.Shaper {
	return text.NewShaper(text.NoSystemFonts(), text.WithCollection(gofont.Collection()))
}

// The two sizes and the two weights.
const (
	bodySize  = 13
	titleSize = 16
)

// Regular and Strong are the two weights of the font.
var (
	Regular = font.Font{Typeface: "Go"}
	Strong  = font.Font{Typeface: "Go", Weight: font.Bold}
)

func (t *Theme) scaled(size float32) unit.Sp {
	if t.Scale > 0 {
		size *= t.Scale
	}
	return unit.Sp(size)
}

// Body is the size of most text.
func (t *Theme) Body() unit.Sp { return t.scaled(bodySize) }

// Small is the size of notes under other text.
func (t *Theme) Small() unit.Sp { return t.scaled(bodySize - 1.5) }

// Title is the size of names.
func (t *Theme) Title() unit.Sp { return t.scaled(titleSize) }

// Color is a colour without a colour space of its own: sRGB, alpha not
// multiplied in.
type Color = color.NRGBA
