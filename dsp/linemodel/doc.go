// Package linemodel is the forward model that locating and diagnosing share: a
// line with points of reflection on it, the load behind them and the
// instrument's residual errors in front, and how to fit it to a sweep.
//
// Points are exact two-ports in a chain, so everything that bounces between
// them is in the model; to first order in nothing. Their places are metres of
// the record's path: a section that is slower than its record moves what lies
// behind it.
//
//	Γ_i = r_i + T_i·u_i/(1 − r'_i·u_i),   u_i = Γ_{i+1}·e^{−2(Θ_{i+1} − Θ_i)}
//	S   = e00 + (1 + t)·Γ/(1 − e11·Γ),    Γ = Γ_0·e^{−2Θ_0}
//
// with T = S21·S12 and r' the reflection from behind. Sources: D. M. Pozar,
// "Microwave Engineering", 4th ed., ch. 4 (signal flow, two-ports); the fit is
// the Gauss-Newton method with Levenberg's damping (J. Nocedal, S. Wright,
// "Numerical Optimization", 2nd ed., ch. 10), linear unknowns eliminated as in
// G. Golub, V. Pereyra, SIAM J. Numer. Anal. 10(2), 1973. All from memory.
//
// A Fit owns its scratch and serves one goroutine at a time.
package linemodel
