// Package dsp holds numeric kernels on plain slices: windows and their figures
// of merit, a planned FFT, sums of exponentials at any frequencies and places,
// the weights of uneven grids, the steps of ticks, and the inner loops of chains of
// two-ports. It knows no files and no units of the trade.
//
// Conventions:
//
//	u      position in a window, -1 at its first and +1 at its last point
//	bin    the reciprocal of the width of the band, first to last point
//	FFT    Y_l = Σ_k x_k·e^{+j2πkl/n}, unnormalised
//	s, t   frequency and place of a sum of exponentials, s·t in radians
//
// A window is a function of position, so that an uneven grid takes the same
// window as an even one. Figures of merit are those of F. J. Harris, Proc. IEEE
// 66(1), 1978, computed from the window; where they depart from Harris's own
// table the tests say so and why.
//
// Where the processor has AVX2 and FMA some loops use them; results then differ in
// the last digits from those of other machines.
//
// Limits: FFT lengths are powers of two; a plan of an ExponentialSum and a Comb
// serve one goroutine at a time; all else is pure functions.
package dsp
