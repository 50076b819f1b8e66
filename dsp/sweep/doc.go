// Package sweep holds the one-port reflection sweep: the type, its views, its
// judgement against limits, and Touchstone and CSV files in and out.
//
// Symbols of this package, which every other package follows:
//
//	f      frequency, Hz, strictly ascending, > 0
//	Γ      reflection coefficient b/a at the test port in R, dimensionless,
//	       complex; time convention e^{+jωt}, so a delay turns Γ clockwise
//	R      real reference impedance, ohm
//	ρ      magnitude |Γ|; at most 1 for a passive line measured without error
//	RL     return loss -20·log10 ρ, dB, positive for a passive line
//	VSWR   voltage standing wave ratio (1+ρ)/(1-ρ), +Inf for ρ ≥ 1
//	φ      phase of Γ, degrees where the name says Deg
//	τ      group delay -dφ/dω of Γ, seconds, there and back
//	Z, Y   impedance R·(1+Γ)/(1-Γ), ohm, and admittance 1/Z, siemens
//	Sij    scattering parameter: out of port i, into port j
//
// Touchstone. Read in full for one and two ports; of a two-port, S11 is the
// sweep and the other three parameters are kept beside it. The rules are those
// of the "Touchstone File Format Specification", IBIS Open Forum, version 1.1
// (2002), 2.0 (2009) and 2.1 (2024); the texts are public, the wording of the
// rules in this package is from memory. In brief:
//
//	! comment, to the end of the line
//	# unit parameter format R ohm      any order, any case; GHz S MA R 50 if left out
//	f N11                              one port: 3 numbers a line
//	f N11 N21 N12 N22                  two ports: 9 numbers a line
//	f Fmin |Γopt| ∠Γopt rn             noise, two ports only: from the first line of
//	                                   5 numbers whose frequency does not rise
//
// Version 2 puts [Keywords] around this and says the order of a two-port and
// the reference of each port. In version 1 the Z, Y, H and G parameters are
// normalised to R, in version 2 they are in ohm and siemens. Line ends are LF,
// CR LF or CR, blanks are spaces or tabs, a UTF-8 byte order mark is skipped.
//
// Where this reader differs from the specification: a data line before any
// option line is read with the defaults, and says so in Warnings; a version 2
// file that lacks [End] or [Number of Frequencies] is read with a warning; a
// point at 0 Hz is left out with a warning, since a line's loss and phase say
// nothing there; [Mixed-Mode Order] and three or more ports are refused; noise
// data are skipped with a warning and not kept.
//
// Files are written as Hz, S, real and imaginary part, every number in the
// shortest decimal form that reads back to the same bits. The state of
// correction and the warnings travel in comment lines that begin with
// "downlead"; ErrorFloor does not travel.
//
// CSV. A header row names the columns (see ReadCSV). The separator is comma,
// semicolon or tab; with the last two a decimal comma is understood. Lines
// that begin with # or ! are comments.
//
// Bounds. A line holds at most 64 KiB, a sweep 2,000,000 points; more is
// refused where it is met, so that no file fills the memory. One core reads
// about a million points a second (BenchmarkFile100001Points), so the largest
// sweep takes some two seconds. Whoever wants to break that off hands in an
// io.Reader that returns an error; it comes back in the chain of the ParseError.
//
// Sources of the formulas: ρ, RL and VSWR are the definitions of the
// International Electrotechnical Vocabulary, IEC 60050-726 (transmission lines
// and waveguides); D. M. Pozar, "Microwave Engineering", 4th ed., Wiley 2012,
// ch. 2.3 (RL, VSWR, Z), table 4.2 (two-port conversions). Both from memory.
//
// Known limits: the reference impedance is real; a sweep whose phase turns by
// more than half a turn from point to point unwraps to the wrong multiple, and
// its group delay is wrong by a multiple of 1/Δf.
package sweep
