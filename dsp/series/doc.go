// Package series looks at many sweeps of one line, taken while somebody taps
// the connectors, the wind blows or the sun warms the feeder, and says where the
// line moves, how much and when, against noise.
//
// # The model
//
// The sweeps' mean is located on (package locate), which gives the line as a
// chain of points, and so what a small change anywhere does at the port. With
// G the gain from a place x to the port, u what comes back from behind x, both of
// that chain, and q the frequency, −1 to 1 over the band, a change at x is
//
//	ΔS = G·(a0 + a1·u + a2·u² + …),   a0, a1, … slow functions of q
//
// (a series impedance z: z/2·(1−u)²/(1+z/2·(1−u)); D. M. Pozar, "Microwave
// Engineering", 4th ed., ch. 4, from memory): the place itself, everything behind
// it that the change modulates, and what bounces. All of that is one place. What
// all places do together is not a place:
//
//	S̄·(b0 + b1·q + b2·q²)   gain and phase of the instrument, and the second order
//	                        of a lengthening
//	−j·4πf/c·S̄              the test cable, per metre of electrical length
//	−j·2β·G·u, per section  a section that becomes longer, slower or lossier
//	c0 + c1·q               directivity, the connector at the port
//
// with S̄ the mean sweep. The deviations of all sweeps from the mean are fitted
// with these columns by least squares, with real coefficients, one per sweep, each
// held near 0 by what is known of it beforehand: in many series the sweeps alone do
// not tell two of these apart. Where everything changes in size by more than an
// instrument does, a change of what reflects most is tried instead, and the cheaper of
// the two kept. Points that interference hits in single sweeps are not believed.
//
// # Detection
//
// What is left is laid along the line (package distance, Kaiser window, loss left
// in), where noise is the same everywhere: its variance is the median of |P|² over
// a quiet stretch behind the line and all sweeps, over ln 2, so that what moves
// does not count for noise. A place is found where either statistic is above its
// threshold; each gets half of the false-alarm rate, divided by the number of places
// looked at (Bonferroni, so the true rate is lower):
//
//	Σ_k |P_k(x)|²        by the gamma distribution of N−1 degrees, for lasting motion
//	max_k |P_k(x)|²      by the exponential distribution, for a single jump
//
// The strongest joins the columns, all are fitted again, until nothing is left;
// then what is not needed any more goes. The model is not exact: what is 30 dB and
// more under something stronger and moves only as that, or as its square, is no
// place. A place behind another that moves in step with it, and not more, is told
// with it and not by itself.
//
// # Symbols and units
//
//	x, DistanceM   metres of the record's path
//	SigmaM         one standard deviation of x: noise, velocity tolerance, plane
//	ChangeDB       20·log10 of a change of the local reflection, the loss on the
//	               way removed; −40 dB is a hundredth of a total reflection
//	cell           c·VF/(2·bandwidth), m
//
// The time convention is e^{+jωt}.
//
// # Known limits
//
// What reflects most, usually the far end, dominates the mean sweep: its own slow
// changes look like the instrument's gain and phase and are told as such, unless
// they are larger than an instrument's. Two places nearer than a cell and a
// quarter are one. Two that move in exact step are taken for one and its echo.
// Frequencies must be the same in all sweeps.
package series
