package cables

import (
	"math"
	"math/cmplx"
)

// TwoPort is a chain (ABCD) matrix at one frequency: [A B; C D], B in ohm,
// C in siemens. D. M. Pozar, "Microwave Engineering", 4th ed., table 4.1.
type TwoPort struct{ A, B, C, D complex128 }

// Through is the two-port of nothing at all.
var Through = TwoPort{A: 1, D: 1}

// Then returns the chain of p followed by q, seen from p's port.
func (p TwoPort) Then(q TwoPort) TwoPort {
	return TwoPort{
		A: p.A*q.A + p.B*q.C, B: p.A*q.B + p.B*q.D,
		C: p.C*q.A + p.D*q.C, D: p.C*q.B + p.D*q.D,
	}
}

// InputReflection returns the reflection coefficient, in the reference
// impedance referenceOhm, of p ended in a load whose reflection coefficient
// in the same reference is load.
func (p TwoPort) InputReflection(load complex128, referenceOhm float64) complex128 {
	z0 := complex(referenceOhm, 0)
	voltage, current := 1+load, (1-load)/z0 // at the load, for an incident wave of 1
	v := p.A*voltage + p.B*current
	i := p.C*voltage + p.D*current
	return (v - z0*i) / (v + z0*i)
}

// Element is one piece of a cascade.
type Element interface {
	// TwoPort returns the chain matrix at frequencyHz > 0.
	TwoPort(frequencyHz float64) TwoPort
}

// Stretch is a uniform piece of line.
type Stretch struct {
	Medium
	LengthM float64
}

// mostNeper bounds the loss of one stretch so that its chain matrix stays
// finite. Far less already hides everything behind it: the echo of a full
// reflection behind 300 Np is 10^-261.
const mostNeper = 300

// TwoPort returns [cosh θ, Zc·sinh θ; sinh θ/Zc, cosh θ] with θ = γ·length.
func (s Stretch) TwoPort(frequencyHz float64) TwoPort {
	gamma, zc := s.Wave(frequencyHz)
	theta := gamma * complex(s.LengthM, 0)
	if real(theta) > mostNeper {
		theta = complex(mostNeper, imag(theta))
	}
	grow := cmplx.Exp(theta)
	decay := inverse(grow)
	ch, sh := (grow+decay)/2, (grow-decay)/2
	return TwoPort{A: ch, B: zc * sh, C: sh * inverse(zc), D: ch}
}

// inverse is 1/z for numbers whose square neither overflows nor vanishes; the
// language's division, which minds those, is the cascade's largest cost.
func inverse(z complex128) complex128 {
	square := real(z)*real(z) + imag(z)*imag(z)
	return complex(real(z)/square, -imag(z)/square)
}

// Series is an impedance (ohm, as a function of Hz) in series with the line.
type Series func(frequencyHz float64) complex128

// TwoPort returns [1, Z; 0, 1].
func (s Series) TwoPort(frequencyHz float64) TwoPort {
	return TwoPort{A: 1, B: s(frequencyHz), D: 1}
}

// Shunt is an admittance (siemens, as a function of Hz) across the line.
type Shunt func(frequencyHz float64) complex128

// TwoPort returns [1, 0; Y, 1].
func (s Shunt) TwoPort(frequencyHz float64) TwoPort {
	return TwoPort{A: 1, C: s(frequencyHz), D: 1}
}

var (
	_ Element = Stretch{}
	_ Element = Series(nil)
	_ Element = Shunt(nil)
)

// Cascade is a chain of elements, the first at the test port.
type Cascade []Element

// TwoPort returns the product of all elements' chain matrices. It overflows
// where the losses add up to more than 700 Np; Reflection does not.
func (c Cascade) TwoPort(frequencyHz float64) TwoPort {
	p := Through
	for _, e := range c {
		p = p.Then(e.TwoPort(frequencyHz))
	}
	return p
}

// Reflection returns the reflection coefficient of the cascade ended in load
// (reflection in referenceOhm as a function of Hz), at each of frequencyHz.
// The result is a new slice of the same length.
func (c Cascade) Reflection(frequencyHz []float64, load func(float64) complex128, referenceOhm float64) []complex128 {
	out := make([]complex128, len(frequencyHz))
	z0 := complex(referenceOhm, 0)
	for k, f := range frequencyHz {
		// The waves are carried from the load to the port as a voltage and a
		// current, which takes half the products of a chain of matrices.
		reflection := load(f)
		voltage, current := 1+reflection, (1-reflection)/z0
		for i := len(c) - 1; i >= 0; i-- {
			m := c[i].TwoPort(f)
			voltage, current = m.A*voltage+m.B*current, m.C*voltage+m.D*current
			if size := math.Abs(real(voltage)) + math.Abs(imag(voltage)); size > 1e100 {
				scale := complex(1/size, 0) // only their ratio matters
				voltage, current = voltage*scale, current*scale
			}
		}
		out[k] = (voltage - z0*current) / (voltage + z0*current)
	}
	return out
}
