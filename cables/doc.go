// Package cables holds cable types, the catalogue, and the installed line:
// its sections, devices and load, and how a wave travels along it.
//
// Conventions of this package, which every other package follows:
//
//	f      frequency, Hz
//	x      metres along the line from the reference plane (the first connector),
//	       devices counted with their own length
//	γ(f)   propagation constant of a cable, α + jβ, 1/m (α in Np/m, β in rad/m)
//	Zc(f)  characteristic impedance of a cable, ohm, complex
//	Θ(f,x) ∫ γ dx from the reference plane to x, dimensionless
//	Γ      reflection coefficient; time convention e^{+jωt}, so a wave that has
//	       gone x metres carries e^{-Θ}, and a mirror at x returns e^{-2Θ}
//	ABCD   chain (transmission) parameters; voltages and currents at the left
//	       port are the matrix times those at the right port, the current
//	       flowing to the right
//
// Cable law. The attenuation of a coaxial line is α(f) = a·√f + b·f: conductor
// loss by skin effect and dielectric loss at a constant loss tangent. With the
// skin effect developed, the internal reactance of the conductors equals their
// resistance, so per metre
//
//	z = (1+j)·R + jωL,  R = 2·Z0·a·√f,  L = Z0/(c·VF)
//	y = G + jωC,        G = 2·b·f/Z0,   C = 1/(Z0·c·VF)
//	γ = √(z·y),         Zc = √(z/y)
//
// Z0 and VF are thus the high-frequency limits of impedance and velocity
// factor. Sources: S. Ramo, J. R. Whinnery, T. Van Duzer, "Fields and Waves in
// Communication Electronics", 3rd ed., Wiley 1994, ch. 3.16-3.17 (surface
// impedance (1+j)·Rs) and ch. 5 (line constants); D. M. Pozar, "Microwave
// Engineering", 4th ed., Wiley 2012, ch. 2.1 (γ, Z0), ch. 4.4 (ABCD matrices).
// Both are cited from memory.
//
// Files. A line file and a catalogue are TOML 1.0, UTF-8, at most 4 MB. Both
// hold [[cable]] tables with the keys in the tags of Type; frequencies are in
// hertz (0.1 MHz to 1000 GHz), attenuation_db_per_100m is a list of
// [hertz, dB] in ascending order. A line file adds name,
// reference_impedance_ohm (50 when absent), [[section]], [[device]], [load],
// [limits] and [instrument] with the keys in the tags of Line. Sections stand
// in order from the test port; a section takes its cable by id from the file
// or else from the catalogue. Key names count letter case. Infinity and NaN
// are refused, and in a line file unknown keys too; what is merely odd is kept
// and told, in Line.Notes and by Catalogue.Check. Errors are FileError, one
// for each mistake.
//
// Known limits. The law holds where the skin effect is developed and the
// conductors are solid for the current: copper-clad steel is left by it below
// some 50 MHz. Sections are uniform, at room temperature and without bends.
package cables
