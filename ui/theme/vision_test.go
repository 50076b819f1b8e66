package theme

import (
	"image/color"
	"math"
	"testing"
)

// seen simulates dichromatic vision in linear RGB with the matrices of G. M.
// Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Visualization and
// Computer Graphics 15(6), 2009, doi:10.1109/TVCG.2009.113, table for severity
// 1.0 (from memory).
func seen(c color.NRGBA, m [9]float64) [3]float64 {
	r, g, b := linear(c.R), linear(c.G), linear(c.B)
	return [3]float64{m[0]*r + m[1]*g + m[2]*b, m[3]*r + m[4]*g + m[5]*b, m[6]*r + m[7]*g + m[8]*b}
}

var visions = map[string][9]float64{
	"usual":        {1, 0, 0, 0, 1, 0, 0, 0, 1},
	"protanopia":   {0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998},
	"deuteranopia": {0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881},
	"tritanopia":   {1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.303900},
}

// lab is CIE 1976 L*a*b* for the white of sRGB (IEC 61966-2-1, CIE 15).
func lab(c [3]float64) [3]float64 {
	for i := range c {
		c[i] = min(max(c[i], 0), 1)
	}
	x := (0.4124*c[0] + 0.3576*c[1] + 0.1805*c[2]) / 0.9505
	y := 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	z := (0.0193*c[0] + 0.1192*c[1] + 0.9505*c[2]) / 1.089
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	return [3]float64{116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))}
}

// The white of sRGB is L* 100, a* and b* 0; red is about 53, 80, 67 (common
// tables).
func TestLab(t *testing.T) {
	if w := lab([3]float64{1, 1, 1}); math.Abs(w[0]-100) > 0.1 || math.Abs(w[1]) > 0.3 || math.Abs(w[2]) > 0.3 {
		t.Errorf("white is %v", w)
	}
	if r := lab([3]float64{1, 0, 0}); math.Abs(r[0]-53.2) > 0.3 || math.Abs(r[1]-80.1) > 0.5 || math.Abs(r[2]-67.2) > 0.5 {
		t.Errorf("red is %v", r)
	}
}

// Traces must be told apart by everybody. A difference of 2.3 is the least that
// is noticed (M. Mahy et al., Color Res. Appl. 19(2), 1994, from memory); thin
// lines need several times that. Where two colours come nearer than 20 their
// lines also differ in pattern: the model is dotted, the earlier sweep dashed.
func TestTracesApart(t *testing.T) {
	for face, p := range faces() {
		for vision, m := range visions {
			apart := func(a, b color.NRGBA) float64 {
				x, y := lab(seen(a, m)), lab(seen(b, m))
				return math.Sqrt((x[0]-y[0])*(x[0]-y[0]) + (x[1]-y[1])*(x[1]-y[1]) + (x[2]-y[2])*(x[2]-y[2]))
			}
			if d := apart(p.Frequency, p.Distance); d < 20 {
				t.Errorf("%s, %s: frequency and distance are %.1f apart, want 20", face, vision, d)
			}
			for i, c := range append([]color.NRGBA{p.Frequency, p.Distance}, p.Apart[:]...) {
				for k, o := range append([]color.NRGBA{p.Frequency, p.Distance}, p.Apart[:]...) {
					if d := apart(c, o); k < i && d < 20 {
						t.Errorf("%s, %s: traces %d and %d are %.1f apart, want 20", face, vision, i-2, k-2, d)
					}
				}
			}
			for name, c := range map[string]color.NRGBA{"model": p.Model, "earlier": p.Earlier} {
				for other, o := range map[string]color.NRGBA{"frequency": p.Frequency, "distance": p.Distance} {
					if d := apart(c, o); d < 7 {
						t.Errorf("%s, %s: %s and %s are %.1f apart, want 7 with a pattern of its own", face, vision, name, other, d)
					}
				}
			}
		}
	}
}
