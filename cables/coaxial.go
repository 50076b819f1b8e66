package cables

import "math"

// vacuumPermeability is μ0, H/m (the value before 2019, exact to 1e-9 after).
const vacuumPermeability = 4e-7 * math.Pi

// conductivity returns the conductivity of a conductor's material at 20 °C in
// S/m, and whether the material is known; "" is copper. D. M. Pozar,
// "Microwave Engineering", 4th ed., appendix F, from memory.
func conductivity(material string) (siemensPerM float64, known bool) {
	switch material {
	case "", "copper":
		return 5.813e7, true
	case "silver":
		return 6.173e7, true
	case "aluminium":
		return 3.816e7, true
	}
	return 0, false
}

// SurfaceResistanceOhm returns the resistance per square of a conductor in
// which the skin effect is developed, Rs = √(π·f·μ0/σ). D. M. Pozar,
// "Microwave Engineering", 4th ed., ch. 1.7.
func SurfaceResistanceOhm(frequencyHz, siemensPerM float64) float64 {
	return math.Sqrt(math.Pi * frequencyHz * vacuumPermeability / siemensPerM)
}

// SkinEffectNp returns the conductor loss in Np/m that the geometry of smooth,
// solid conductors gives, and false where the type states no geometry or no
// known material:
//
//	α = 1/(2·Z0) · (Rs_inner/(π·d) + Rs_outer/(π·D))
//
// d the outside diameter of the inner conductor, D the inside diameter of the
// outer one. D. M. Pozar, "Microwave Engineering", 4th ed., ch. 2.7 (loss of a
// coaxial line), from memory.
func (t *Type) SkinEffectNp(frequencyHz float64) (alphaNp float64, ok bool) {
	inner, innerKnown := conductivity(t.InnerConductor)
	outer, outerKnown := conductivity(t.OuterConductor)
	if !innerKnown || !outerKnown || t.InnerDiameterMM <= 0 || t.OuterDiameterMM <= t.InnerDiameterMM || t.ImpedanceOhm <= 0 {
		return 0, false
	}
	resistancePerM := SurfaceResistanceOhm(frequencyHz, inner)/(math.Pi*t.InnerDiameterMM*1e-3) +
		SurfaceResistanceOhm(frequencyHz, outer)/(math.Pi*t.OuterDiameterMM*1e-3)
	return resistancePerM / (2 * t.ImpedanceOhm), true
}

// GeometricImpedanceOhm returns the impedance that the geometry gives for a
// dielectric whose permittivity is 1/VF², Z = (η0/2π)·VF·ln(D/d), and false
// where the type states no geometry. D. M. Pozar, "Microwave Engineering",
// 4th ed., table 2.1.
func (t *Type) GeometricImpedanceOhm() (impedanceOhm float64, ok bool) {
	if t.InnerDiameterMM <= 0 || t.OuterDiameterMM <= t.InnerDiameterMM || t.VelocityFactor <= 0 {
		return 0, false
	}
	return vacuumPermeability * SpeedOfLight / (2 * math.Pi) * t.VelocityFactor * math.Log(t.OuterDiameterMM/t.InnerDiameterMM), true
}
