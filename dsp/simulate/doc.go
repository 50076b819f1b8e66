// Package simulate makes sweeps of lines whose faults are known: a scenario
// (a line, its faults, how far it was built away from its record, and the
// instrument's errors) goes through the exact two-port cascade of package
// cables to the sweep that an analyser at the test port would have shown,
// with the truth beside it.
//
// Everything random is drawn from the scenario's seed, each purpose from its
// own stream, so that adding a fault or noise leaves the line as it was.
//
// Symbols and conventions are those of package cables: f in Hz, time
// convention e^{+jωt}, positions in metres from the reference plane. Severity
// is in SI units (ohm, henry, farad, siemens).
//
// # Faults
//
//	open-circuit        the line ends here in fringe C ∥ leak G; with a gap C
//	                    some signal still gets through
//	short-circuit       the line ends here in R + jωL
//	poor-contact        series R, with a gap C in series when one is given
//	connector-mismatch  series L, or shunt C
//	water-in-connector  series R, shunt G ∥ lossy C
//	water-in-cable      a stretch of raised permittivity, tapered, uneven
//	dent-or-kink        a stretch of low impedance, a few centimetres
//	wrong-impedance     a stretch or section of another cable, 75-ohm as a rule
//	lossy-section       R and G of the cable raised by one factor
//	antenna             detuned, an arm lost, or badly matched
//
// Lumped parts: D. M. Pozar, "Microwave Engineering", 4th ed., Wiley 2012,
// table 4.1. Orders of magnitude of severities are common practice, no source.
//
// # Wet dielectric
//
// Water raises permittivity and loss together, and a loss tangent that is
// constant over frequency forces the permittivity to fall with frequency
// (Kramers-Kronig). The constant-Q law keeps both: with tan φ the loss tangent
// and f0 = 1 GHz,
//
//	ε(f)/ε(f0) ∝ (j·f/f0)^{-2φ/π} = e^{-jφ}·(f/f0)^{-2φ/π}
//
// E. Kjartansson, "Constant Q wave propagation and attenuation", J. Geophys.
// Res. 84 (B9), 4737-4748, 1979, doi:10.1029/JB084iB09p04737 (from memory),
// applied to permittivity in place of compliance. The power of j is analytic in
// the lower half plane of ω and has positive conductance, so the stretch is
// causal and passive at any thickness. Slices of a stretch are thinner than a
// tenth of the wavelength in it at the top of the sweep.
//
// # Antennas
//
// A third-order Chebyshev band-pass ladder of resonators with finite Q behind
// a short lossy feed: matched in its band, nearly a mirror outside. Element
// values: G. Matthaei, L. Young, E. M. T. Jones, "Microwave Filters,
// Impedance-Matching Networks, and Coupling Structures", Artech 1980, sec. 4.05
// and 4.13 (also Pozar, ch. 8.3-8.4). A wide-band antenna is the high-pass ladder
// of the same prototype. What a real antenna swallows out of band, up to about
// 2 dB, is common practice, no source.
//
// # Instrument
//
// The reading is S = e00 + (1+t)·Γ/(1 - e11·Γ), e00 the residual directivity,
// e11 the residual source match, t the residual tracking, each a sum of three
// phasors of 0, 0.2 and 0.4 ns, so slowly turning over frequency; then additive
// noise, multiplicative trace noise and interference on single points. One-port error model: D. Rytting,
// "Network analyzer error models and calibration methods", 1996 (from memory).
// The raw sweep and raw standards pass through one more such error box with
// large terms. Correcting the raw sweep with the kit's definitions gives the
// sweep with its residual errors back: a residual error is the difference
// between the real standards and their definitions. The standards are taken as
// averaged until their noise is part of that difference.
//
// # Detectable
//
// A fault is marked detectable by what it changes at the port, not by its
// severity. The faulted sweep S1, free of noise and with smooth cable, is held
// against the best that the line without the fault can do when everything
// that nobody knows exactly may give way: u, in standard deviations of its prior
// (joints, lengths and velocities, impedances, losses, residual errors, the
// load):
//
//	D² = min over u of |S1 - S0(u)|²/σ² + |u|²,  detection_index_db = 10·log10 D²
//
// by damped Gauss-Newton steps, with real and imaginary parts counted as two
// readings of variance σ²/2 each. σ² is noise plus the part of the cable's
// roughness that u does not explain. D is the deflection (distance in standard
// deviations) of the best test: S. M. Kay, "Fundamentals of Statistical Signal
// Processing: Detection Theory", Prentice Hall 1998, ch. 4 (from memory). At
// 13 dB and above (4.5 sigma) the fault counts as detectable. Excess loss
// further needs a mirror
// at the far end: see [FaultTruth].
//
// # Known limits
//
// The measure is local: it starts from the line as built, so it does not
// charge a locator for finding its way when a velocity is off by many
// wavelengths; and it may stop short of the least D², which then reads too large.
// Cables are uniform in
// temperature; connectors are points; higher modes do not exist.
package simulate
