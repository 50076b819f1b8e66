package theme

import (
	"image/color"
	"math"
	"testing"
)

func linear(v uint8) float64 {
	s := float64(v) / 255
	if s <= 0.04045 {
		return s / 12.92
	}
	return math.Pow((s+0.055)/1.055, 2.4)
}

// luminance is the relative luminance of WCAG 2.1 (sRGB, IEC 61966-2-1).
func luminance(c color.NRGBA) float64 {
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

func contrast(a, b color.NRGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// Black on white is 21:1 by the definition; #767676 on white is the usual
// example of a colour that just passes 4.5:1 (4.54).
func TestContrastFormula(t *testing.T) {
	white, black := color.NRGBA{255, 255, 255, 255}, color.NRGBA{0, 0, 0, 255}
	if got := contrast(white, black); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white %.3f, want 21", got)
	}
	if got := contrast(white, color.NRGBA{0x76, 0x76, 0x76, 255}); math.Abs(got-4.54) > 0.005 {
		t.Errorf("#767676 on white %.3f, want 4.54", got)
	}
}

func faces() map[string]Palette {
	return map[string]Palette{"light": Light(), "dark": Dark(), "projector": Projector()}
}

func TestTextContrast(t *testing.T) {
	for name, p := range faces() {
		least := 4.5
		if name == "projector" {
			least = 7
		}
		grounds := map[string]color.NRGBA{"paper": p.Paper, "panel": p.Panel, "field": p.Field, "chosen": p.Chosen}
		inks := map[string]color.NRGBA{"ink": p.Ink, "quiet": p.Quiet, "link": p.Link}
		onPanel := map[string]color.NRGBA{"frequency": p.Frequency, "distance": p.Distance, "model": p.Model, "out": p.Out, "in": p.In}
		check := func(what string, a, b color.NRGBA) {
			if c := contrast(a, b); c < least {
				t.Errorf("%s: %s has a contrast of %.2f, want %.1f", name, what, c, least)
			}
		}
		for g, ground := range grounds {
			for i, ink := range inks {
				check(i+" on "+g, ink, ground)
			}
		}
		for i, ink := range onPanel {
			check(i+" on panel", ink, p.Panel)
			check(i+" on paper", ink, p.Paper)
		}
		check("out on warning", p.Out, p.Warning)
		check("ink on warning", p.Ink, p.Warning)
		for i, ground := range map[string]color.NRGBA{"ink": p.Ink, "distance": p.Distance, "out": p.Out, "in": p.In} {
			check("strong text on "+i, p.OnStrong, ground)
		}
		if c := contrast(p.Earlier, p.Panel); c < 3 { // criterion 1.4.11: graphical objects
			t.Errorf("%s: the earlier trace has a contrast of %.2f, want 3", name, c)
		}
		for i, c := range p.Apart {
			if got := contrast(c, p.Panel); got < 3 {
				t.Errorf("%s: trace %d has a contrast of %.2f, want 3", name, i, got)
			}
		}
	}
}
