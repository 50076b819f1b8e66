// Package diagnose turns a sweep and the record of a line into findings: what is
// wrong, where, how sure that is, how it is known, and what to do. Run is the
// whole main job; all else here serves it.
//
// # From reflections to causes
//
// Package locate says where the line reflects, with free points. Here the line
// of the record takes their place: a small reactance at every joint and device,
// the load behind, and in place of each reflection, or cluster of them, every
// physical circuit that it could be, fitted together with its neighbours:
//
//	poor-contact        series R, or R with a gap C
//	connector-mismatch  series L, or shunt C, beside a joint's small step
//	water-in-connector  shunt G ∥ lossy C
//	dent-or-kink        shunt C, or a few centimetres of low impedance
//	wrong-impedance     a stretch of 75-ohm cable (or of 50 in 75), or a section
//	water-in-cable      a slow, lossy stretch with tapered edges; or, where it
//	                    reflects all along, the free points themselves
//	open-, short-circuit  the line's end, with a leak or a loop of its own; a
//	                    contact above a few hundred ohm
//	lossy-section       the far end comes back weaker than the record says
//	antenna             its own reflection in its band, the line's loss removed
//
// The score of a fit is its log posterior in natural units,
//
//	score = −cost/unit + log prior − quantities fitted
//
// with cost that of linemodel.Fit (squared residual, and the priors of the
// record and the circuit). unit is not the noise's variance but temper times
// what the best fit so far leaves: no model is complete, neighbouring points
// say much the same, and a score in the noise's own units would make every
// verdict certain. Shares of e^score, times how often a fit that leaves as much as
// this one is right (trust), are the confidences; the rest goes to what else it may be. A fault must explain more than a sound line may
// show. The same counting with a penalty per quantity is common as the Bayesian
// information criterion: G. Schwarz, Ann. Statist. 6(2), 1978,
// doi:10.1214/aos/1176344136 (from memory).
//
// # Symbols and units
//
//	x               metres of the record's path from the test port
//	DistanceM       metres along the line as built; of a stretch its beginning; of
//	                a ghost where it seems to be
//	SigmaM          one standard deviation: the sweep, and how the line differs
//	                from its record (asbuilt.go)
//	Γ, ReturnLossDB local: by itself between matched lines, rms over the span, the
//	                loss on the way removed; dB, positive
//	z, y            series impedance, shunt admittance over the line's own, in the
//	                terms of linemodel.Point with q = f/f0, f0 the mean frequency
//	R, L, G, C      ohm, H, S, F; written in ohm, nH, mS, pF
//	κ               how many times slower the wave goes in wet cable
//	Confidence      0 to 1
//
// The time convention is e^{+jωt}. SI units throughout; words for people use
// the units of the trade.
//
// # Files
//
// findings.go is the answer's form, run.go the order of the work, record.go the
// line as recorded, name.go and circuit.go lumped causes, screen.go where their
// fits begin, stretch.go causes with an extent, total.go opens and shorts, atload.go and nearload.go the far end, antenna.go and
// antennaconnector.go an antenna and its connector, loss.go excess loss, measure.go
// sizes and their uncertainty, asbuilt.go and asbuiltplace.go places and theirs, alternatives.go
// what else a finding may be; whatif.go masking and repairs; words.go, explain.go
// and advice.go the texts; since.go, sincebehind.go, antennasince.go and baseline*.go the
// comparison with an earlier sweep; compare.go and compare_words.go hold any two
// sweeps of a line against each other, such as before and after a repair.
//
// # Sources
//
// Circuits and two-ports: D. M. Pozar, "Microwave Engineering", 4th ed., Wiley
// 2012, ch. 2 and 4. Wet dielectric: E. Kjartansson, J. Geophys. Res. 84(B9),
// 1979. The fit: package linemodel. All from memory. What a sound line may show,
// how large faults usually are and what to do about them is common practice, no
// source, and says so where it stands.
//
// # Known limits
//
// One port cannot tell everything: docs/physics.md has the list. Beyond that,
// by measurement on drawn lines (docs/numbers.md): a small reactance at the antenna's own
// connector is missed; smooth wet cable in a narrow band, or in
// front of an antenna, is missed; of two faults within a few cells one is named
// for both; on lines of a few cells dents, contacts and short 75-ohm stretches
// are mixed up; what lies behind a stretch of another velocity keeps its
// apparent place. The uncertainty of a fitted size counts noise, the fit's own
// freedom and the joint's own share, but not a wrong model.
package diagnose
