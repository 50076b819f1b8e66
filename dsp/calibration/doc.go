// Package calibration takes an instrument's own errors out of a one-port
// sweep with a measured open, short and load, checks whether those
// standards can be believed, and says how large the errors left over are.
//
// # The error model
//
// A one-port instrument reads
//
//	Γm = e00 + e10e01·Γ / (1 − e11·Γ)
//
// with, per frequency and dimensionless,
//
//	Γm     reading                    e00     directivity
//	Γ      reflection at the port     e11     source match
//	                                  e10e01  reflection tracking
//
// Multiplied out this is linear in e00, e11 and c = e10e01 − e00·e11:
//
//	Γm = e00 + Γ·Γm·e11 + Γ·c
//
// so three standards with known, different Γ give the three terms, and
//
//	Γ = (Γm − e00) / (e10e01 + e11·(Γm − e00))
//
// corrects a reading. Source: the three-term one-port error model as in
// Rytting's notes on network analyzer error models and in Pozar, Microwave
// Engineering, chapter on network analysis (both cited from memory). Tests
// hold the solution to scikit-rf's OnePort.
//
// # Standards
//
// Open C(f) = C0 + C1·f + C2·f² + C3·f³ (F), short L(f) likewise (H), load a
// resistance in series with an inductance, each behind an offset line given
// by its one-way delay, impedance and loss in Ω/s at 1 GHz, growing with √f.
// This is the offset-delay/offset-loss model in common use for calibration
// kits (common practice):
//
//	α·l = loss·delay/(2·Z0)·√(f/1 GHz)        Np, one way
//	γ·l = α·l + j(2πf·delay + α·l)
//	Zc  = Z0 + (1−j)·loss/(4πf)·√(f/1 GHz)    Ω
//
// # Conventions
//
// SI units; the time factor is e^{+jωt}, so a delay lags: e^{−j2πfτ}. Decibel
// figures of errors (directivity, source match) are positive, as return
// losses are: 40 dB is the magnitude 0.01.
//
// # What the checks judge, and what they cannot
//
// Each threshold is a named constant in checks.go with its reason. A problem
// has one of three severities: a note is worth reading, doubtful means the
// corrected sweep is to be read with distrust, refuse means it is wrong.
//
// Three standards give three unknowns: nothing is left over to contradict.
// The checks therefore lean on what an instrument is expected to be: its
// directivity and source match small, its tracking near one, everything
// smooth over frequency. What that cannot show:
//
//   - Open and short exchanged, where their definitions are mirror images
//     (|Γopen/Γshort + 1| small): exchanging them only turns the sign of the
//     tracking, whose phase is the instrument's own affair. Kits in use are
//     made like that below some gigahertz. [ErrorTerms.Limits] says so when
//     it is the case; a known fourth device shows it at once.
//   - A small, steady fault of a standard (a few ohms in a contact, a load of
//     25 dB): it looks like an instrument with that directivity. Only a
//     fourth known device ([Verify]) finds it.
//   - A standard that differs from its definition: the same.
//
// From one known device, one complex number per frequency, not all residual
// errors can be told apart: a known match shows the residual directivity; a
// known line ended in a short shows directivity, tracking and source match,
// because the line turns them at 0, 1 and 2 times its own delay (the ripple
// method); a single known reflection shows only their sum.
package calibration
