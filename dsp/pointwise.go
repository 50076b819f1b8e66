package dsp

// What a fit does value by value. On amd64 with AVX2 the same is done four numbers at
// a time (pointwise_amd64.s), with every product and sum rounded by itself, as the compiler
// does it here for a processor that need not have FMA.

// Blend writes a·x + b·y to dst, which may be x or y. All are as long as dst.
func Blend(dst []complex128, a float64, x []complex128, b float64, y []complex128) {
	n := len(dst)
	x, y = x[:n], y[:n]
	for k := vectorsBlend(dst, a, x, b, y); k < n; k++ {
		dst[k] = complex(a*real(x[k])+b*real(y[k]), a*imag(x[k])+b*imag(y[k]))
	}
}

// Scale writes factor·v to dst, which may be v and is as long.
func Scale(dst []complex128, factor float64, v []complex128) {
	n := len(dst)
	v = v[:n]
	for k := vectorsScale(dst, factor, v); k < n; k++ {
		dst[k] = complex(factor*real(v[k]), factor*imag(v[k]))
	}
}

// Weigh writes weight·v to dst, which may be v. All are as long as dst.
func Weigh(dst, v []complex128, weight []float64) {
	n := len(dst)
	v, weight = v[:n], weight[:n]
	for k := vectorsWeigh(dst, v, weight); k < n; k++ {
		dst[k] = complex(weight[k]*real(v[k]), weight[k]*imag(v[k]))
	}
}

// Multiply writes a·b to dst, which may be either. All are as long as dst.
func Multiply(dst, a, b []complex128) {
	n := len(dst)
	a, b = a[:n], b[:n]
	for k := vectorsMultiply(dst, a, b); k < n; k++ {
		dst[k] = a[k] * b[k]
	}
}

// Lateral writes scale·gain·(1 + sign·local)² to dst, which may be local: what a port
// sees of a little more admittance across a line (sign 1, scale −½) or of impedance in
// series with it (−1, ½), local the reflection there: dΓ/dy of Γ = (1−y)/(1+y). All are
// as long as dst.
func Lateral(dst, gain, local []complex128, sign, scale float64) {
	n := len(dst)
	gain, local = gain[:n], local[:n]
	for k := vectorsLateral(dst, gain, local, sign, scale); k < n; k++ {
		g := complex(1+sign*real(local[k]), sign*imag(local[k]))
		v := gain[k] * g * g
		dst[k] = complex(scale*real(v), scale*imag(v))
	}
}

// Changed writes gain·(reflect + through·back/(1 − behind·back) − local)/step to dst:
// what a port sees of the change of a two-port in a chain, per step of what changed it.
// back is what comes back from behind it, local what it was seen to reflect before.
// All are as long as dst.
func Changed(dst, gain, local, reflect, through, behind, back []complex128, step float64) {
	n := len(dst)
	gain, local, reflect, through, behind, back = gain[:n], local[:n], reflect[:n], through[:n], behind[:n], back[:n]
	for k := vectorsChanged(dst, gain, local, reflect, through, behind, back, step); k < n; k++ {
		u := back[k]
		w := 1 - behind[k]*u
		s := 1 / (real(w)*real(w) + imag(w)*imag(w))
		d := gain[k] * (reflect[k] + through[k]*u*complex(real(w)*s, -imag(w)*s) - local[k])
		dst[k] = complex(real(d)/step, imag(d)/step)
	}
}

// Mismatch writes (z − line)/(z + line) to dst, which may be either: what an impedance z
// reflects at the end of a line of impedance line. All are as long as dst.
func Mismatch(dst, z, line []complex128) {
	n := len(dst)
	z, line = z[:n], line[:n]
	for k := vectorsMismatch(dst, z, line); k < n; k++ {
		d, w := z[k]-line[k], z[k]+line[k]
		s := 1 / (real(w)*real(w) + imag(w)*imag(w))
		dst[k] = complex((real(d)*real(w)+imag(d)*imag(w))*s, (imag(d)*real(w)-real(d)*imag(w))*s)
	}
}

// Accumulate adds factor·v to dst, which is as long.
func Accumulate(dst []complex128, factor complex128, v []complex128) {
	n := len(dst)
	v = v[:n]
	for k := vectorsAccumulate(dst, factor, v); k < n; k++ {
		dst[k] += factor * v[k]
	}
}

// Rotate is a hyperbolic rotation, in the mixed form: it writes (u − ρ*·v)/s to dst and
// s·v − ρ·dst to v, where s = √(1 − |ρ|²). All are as long as dst.
func Rotate(dst, u, v []complex128, rho complex128, s float64) {
	n := len(dst)
	u, v = u[:n], v[:n]
	for k := vectorsRotate(dst, u, v, rho, s); k < n; k++ {
		a, b := u[k], v[k]
		x := real(a) - real(rho)*real(b) - imag(rho)*imag(b)
		y := imag(a) - real(rho)*imag(b) + imag(rho)*real(b)
		c := complex(x/s, y/s)
		dst[k] = c
		v[k] = complex(s*real(b), s*imag(b)) - rho*c
	}
}
