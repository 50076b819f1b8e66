// Package distance turns a sweep over frequency into a profile along an
// installed line, and answers what a band, a number of points and a window buy
// and cost in metres and decibels.
//
// The matched transform. With Θ(f,x) the way out to x (package cables) and w_k
// the weights of the sweep's points,
//
//	P(x) = Σ_k w_k·Γ(f_k)·e^{+2Θ(f_k,x)} / Σ_k w_k
//
// is the least-squares answer to "how much total reflection sits at x": every
// section's own velocity, dispersion and loss are undone, so a total reflection
// reads 0 dB at its true metre, on any grid. w_k is the window at the point's
// place in the band times the width of the grid around the point
// (dsp.GridWeights), so uneven grids, logarithmic grids and grids with holes
// read right too. Θ is piecewise linear in x, so P along one span is a Fourier
// sum of the data referred to that span; what is not linear in f (skin-effect
// phase, loss) is smooth and needs a few Chebyshev nodes in x.
//
//	f     frequency, Hz, strictly ascending
//	Γ     reflection coefficient at the test port, time convention e^{+jωt}
//	x     metres along the line from the reference plane
//	P     complex amplitude of the profile; 1 is a total reflection
//	B     band, last frequency minus first, Hz
//	cell  c·VF/(2B), the metres that one reciprocal band comes to
//
// Loss correction. The factor e^{2·Re Θ} that undoes the loss lifts noise as
// well. Settings.Loss says what to do; held back means that the correction
// stops growing where it would only lift noise, by the rule at Loss.
//
// Sources: Fourier sums of reflection data over distance are textbook matter
// (J. A. Dobrowolski, "Microwave Network Design Using the Scattering Matrix",
// Artech House 2010, on time-domain reflection; from memory); the numeric method
// is cited at dsp.ExponentialSum.
//
// Limits: the profile is first order, it shows re-reflections where they arrive;
// places that differ by the alias-free range cannot be told apart on a uniform
// grid. A Transform owns scratch and serves one goroutine at a time.
package distance
