package linemodel

import "math"

// circle holds e^{jφ} at even steps of φ. Between them a few terms of the series
// do: half a step away the first one left out is below 1e-17.
type circle [circleSteps]complex128

const circleSteps = 1024 // a power of two

func newCircle() *circle {
	var c circle
	for i := range c {
		sin, cos := math.Sincos(2 * math.Pi / circleSteps * float64(i))
		c[i] = complex(cos, sin)
	}
	return &c
}

// The step in two parts, so that its multiples up to 2^24 are subtracted without
// rounding (W. J. Cody, W. Waite, "Software Manual for the Elementary
// Functions", Prentice-Hall 1980, from memory).
const (
	stepHigh = 0x1.921fb54p-08
	stepLow  = 2*math.Pi/circleSteps - stepHigh
)

// at returns e^{jφ} for |φ| below 10⁵, to some 1e-15; beyond, to the
// rounding of φ.
func (c *circle) at(phi float64) complex128 {
	n := math.RoundToEven(phi * (circleSteps / (2 * math.Pi)))
	r := (phi - n*stepHigh) - n*stepLow
	z := r * r
	cos := 1 - z*(0.5-z*(1.0/24))
	sin := r * (1 - z*(1.0/6-z*(1.0/120)))
	e := c[int(n)&(circleSteps-1)]
	return complex(real(e)*cos-imag(e)*sin, imag(e)*cos+real(e)*sin)
}
