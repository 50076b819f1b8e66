package cables

import (
	"math"
	"math/cmplx"
)

// SpeedOfLight is the speed of light in vacuum, m/s (SI definition).
const SpeedOfLight = 299792458.0

// NeperPerDB converts an attenuation in decibels to nepers: ln(10)/20.
const NeperPerDB = math.Ln10 / 20

// Medium is what a wave travels in: the electrical constants of one uniform
// stretch of line. The zero Medium is not usable; ImpedanceOhm and
// VelocityFactor must be positive.
type Medium struct {
	ImpedanceOhm   float64 // high-frequency characteristic impedance
	VelocityFactor float64 // high-frequency velocity over the speed of light
	ConductorNp    float64 // a of α = a·√f + b·f, Np/m per √Hz
	DielectricNp   float64 // b of α = a·√f + b·f, Np/m per Hz
}

// Air is the lossless 50-ohm air-spaced medium that devices are drawn with; in
// a system of another impedance they are drawn with that.
var Air = Medium{ImpedanceOhm: 50, VelocityFactor: 1}

// perMetre returns the series impedance (ohm/m) and shunt admittance (S/m) at
// frequencyHz, by the formulas of the package comment.
func (m Medium) perMetre(frequencyHz float64) (z, y complex128) {
	omega := 2 * math.Pi * frequencyHz
	velocity := SpeedOfLight * m.VelocityFactor
	r := 2 * m.ImpedanceOhm * m.ConductorNp * math.Sqrt(frequencyHz)
	g := 2 * m.DielectricNp * frequencyHz / m.ImpedanceOhm
	return complex(r, r+omega*m.ImpedanceOhm/velocity), complex(g, omega/(m.ImpedanceOhm*velocity))
}

// Wave returns the propagation constant γ (1/m) and the characteristic
// impedance Zc (ohm) at frequencyHz > 0. γ has a non-negative real part.
func (m Medium) Wave(frequencyHz float64) (gamma, impedance complex128) {
	z, y := m.perMetre(frequencyHz)
	gamma = cmplx.Sqrt(z * y)
	return gamma, gamma * inverse(y)
}

// AttenuationNp returns the two-term law α(f) = a·√f + b·f in Np/m.
func (m Medium) AttenuationNp(frequencyHz float64) float64 {
	return m.ConductorNp*math.Sqrt(frequencyHz) + m.DielectricNp*frequencyHz
}
