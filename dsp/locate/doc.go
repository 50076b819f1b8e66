// Package locate finds where an installed line reflects: it detects
// reflections at a stated rate of false alarms, separates them, fits their places
// and sizes together to the whole sweep, and says what each may be by its place
// and size alone. What causes them is package diagnose's business.
//
// # The search
//
// The residual of the fit so far is laid along the line (package distance), with
// a window, since side lobes must not be taken for reflections; the strongest
// peaks above the threshold become points of package linemodel, as whichever
// form explains most; all points are fitted to the unwindowed sweep; and so on
// until nothing is left above the threshold. Two points within a cell are tried in
// place of one that does not fit. An antenna is a free response that begins at
// its connector. The method is greedy selection with joint refinement after
// each step: Y. C. Pati, R. Rezaiifar, P. S. Krishnaprasad, Proc. 27th Asilomar
// Conf., 1993, doi:10.1109/ACSSC.1993.342465 (from memory).
//
// # Symbols and units
//
//	x, DistanceM  metres of the record's path from the reference plane
//	SigmaM        one standard deviation of x: noise, velocity tolerance of the
//	              cables in front, reference plane, in quadrature
//	NoiseM        the share of noise, from the covariance of the fit
//	Γ             local reflection: by itself between matched lines, loss on the
//	              way and transmission through what lies in front removed
//	ReturnLossDB  −20·log10 of Γ's rms over the span, dB
//	Flat, Rising  the circuit that fits, over the line's impedance: real part, and
//	              imaginary part at the middle of the span
//	cell          c·VF/(2·bandwidth), m
//
// The time convention is e^{+jωt}; phases are in degrees.
//
// # What is a fault
//
// BudgetDB is what the record and common practice allow at a place; Excess says
// that a reflection is clearly more. What a chain of the points bounces more
// than once is in the model, is listed as an echo with the two places that
// make it, and is never in excess.
//
// # Interference
//
// Up to a twentieth of the points may be hit by transmitters nearby: they do
// not follow from their neighbours, as what comes back from a line of known length
// must. They are left out and reported. See interference.go.
//
// # Sources
//
// The threshold: S. O. Rice, "Mathematical analysis of random noise", Bell
// Syst. Tech. J. 23-24, 1944-45. The fit and its covariance: package linemodel;
// the bound that tests hold the places to: S. M. Kay, "Fundamentals of
// Statistical Signal Processing: Estimation Theory", Prentice Hall 1993, ch. 3.
// All from memory.
//
// # Known limits
//
// Delay fixes length over velocity, never the two apart: places are those of
// the record's velocities. On a line of few cells there is no quiet part to
// read the noise from. Nothing behind a total reflection is seen. On a uniform
// grid what lies an alias-free range apart is one.
package locate
