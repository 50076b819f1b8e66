package dsp

import "math"

// The loops in which a fit spends its time are written with the processor's vector
// instructions where it has them (kernels_amd64.s); what stands here says what
// they compute, and serves all other machines.

func expPlain(dst, z []complex128) {
	for k, v := range z {
		e := math.Exp(real(v))
		sin, cos := math.Sincos(imag(v))
		dst[k] = complex(e*cos, e*sin)
	}
}

func expBothPlain(dst, inverse, z []complex128) {
	for k, v := range z {
		e := math.Exp(real(v))
		sin, cos := math.Sincos(imag(v))
		dst[k], inverse[k] = complex(e*cos, e*sin), complex(cos/e, -sin/e)
	}
}

// addProducts adds Re(aᴴb) of four b to sums.
func addProducts(sums *[4]float64, a, b0, b1, b2, b3 []complex128) {
	b0, b1, b2, b3 = b0[:len(a)], b1[:len(a)], b2[:len(a)], b3[:len(a)]
	s0, s1, s2, s3 := sums[0], sums[1], sums[2], sums[3]
	for k, v := range a {
		x, y := real(v), imag(v)
		s0 += x*real(b0[k]) + y*imag(b0[k])
		s1 += x*real(b1[k]) + y*imag(b1[k])
		s2 += x*real(b2[k]) + y*imag(b2[k])
		s3 += x*real(b3[k]) + y*imag(b3[k])
	}
	*sums = [4]float64{s0, s1, s2, s3}
}

// Chain puts one scattering two-port in front of a chain of them: with what is
// seen behind it brought to it, u = seen·phasor·undo,
//
//	back = u,  loop = 1/(1 − behind·u),  local = reflect + through·u·loop
//
// (D. M. Pozar, "Microwave Engineering", 4th ed., ch. 4, from memory). All are as
// long as back.
func Chain(back, loop, local, seen, phasor, undo, reflect, through, behind []complex128) {
	n := len(back)
	loop, local, seen, phasor, undo = loop[:n], local[:n], seen[:n], phasor[:n], undo[:n]
	reflect, through, behind = reflect[:n], through[:n], behind[:n]
	for k := vectorsChain(back, loop, local, seen, phasor, undo, reflect, through, behind); k < n; k++ {
		u := seen[k] * phasor[k] * undo[k]
		w := 1 - behind[k]*u
		s := 1 / (real(w)*real(w) + imag(w)*imag(w))
		w = complex(real(w)*s, -imag(w)*s)
		back[k], loop[k], local[k] = u, w, reflect[k]+through[k]*u*w
	}
}

// Pass writes gain·through·loop²·undo·phasor to dst: what gets through one
// two-port of a chain to the next. All are as long as dst.
func Pass(dst, gain, through, loop, undo, phasor []complex128) {
	n := len(dst)
	gain, through, loop, undo, phasor = gain[:n], through[:n], loop[:n], undo[:n], phasor[:n]
	for k := vectorsPass(dst, gain, through, loop, undo, phasor); k < n; k++ {
		dst[k] = gain[k] * through[k] * loop[k] * loop[k] * (undo[k] * phasor[k])
	}
}

// March takes one step of a search along a line: it returns
//
//	Re Σ here*·against  and  Σ (re here)²·re weight + (im here)²·im weight
//
// and then turns here by turn. All are as long as here.
func March(here, turn, against, weight []complex128) (along, power float64) {
	n := len(here)
	turn, against, weight = turn[:n], against[:n], weight[:n]
	var sums [2]float64
	k := vectorsMarch(&sums, here, turn, against, weight)
	along, power = sums[0], sums[1]
	for ; k < n; k++ {
		h := here[k]
		along += real(h)*real(against[k]) + imag(h)*imag(against[k])
		power += real(h)*real(h)*real(weight[k]) + imag(h)*imag(h)*imag(weight[k])
		here[k] = h * turn[k]
	}
	return along, power
}

// Stretch is the two-port of two opposite edges of reflection a with the wave P =
// once·passed between them,
//
//	reflect = a·(1 − P²)/(1 − a²P²),  through = ((1 − a²)·passed/(1 − a²P²))²
//
// (D. M. Pozar, "Microwave Engineering", 4th ed., ch. 4, from memory). All are as
// long as reflect, which may be edge.
func Stretch(reflect, through, edge, once, passed []complex128) {
	n := len(reflect)
	through, edge, once, passed = through[:n], edge[:n], once[:n], passed[:n]
	for k := vectorsStretch(reflect, through, edge, once, passed); k < n; k++ {
		a, p := edge[k], once[k]*passed[k]
		w := 1 - a*a*p*p
		s := 1 / (real(w)*real(w) + imag(w)*imag(w))
		w = complex(real(w)*s, -imag(w)*s)
		t := (1 - a*a) * passed[k] * w
		reflect[k], through[k] = a*(1-p*p)*w, t*t
	}
}

// Moved writes 2·gain·gamma·(through·back·loop² − local) to dst: what a port sees
// of a two-port in a chain as that is moved outwards, what lies behind it staying
// where it is. All are as long as dst.
func Moved(dst, gain, gamma, through, back, loop, local []complex128) {
	n := len(dst)
	gain, gamma, through, back, loop, local = gain[:n], gamma[:n], through[:n], back[:n], loop[:n], local[:n]
	for k := vectorsMoved(dst, gain, gamma, through, back, loop, local); k < n; k++ {
		dst[k] = 2 * gain[k] * gamma[k] * (through[k]*back[k]*loop[k]*loop[k] - local[k])
	}
}

// Lumped is the two-port of an impedance v in series with a line, over the line's
// own,
//
//	reflect = v/(2 + v),  through = (1 − reflect)²
//
// and, −reflect being that, of an admittance across it (D. M. Pozar, "Microwave
// Engineering", 4th ed., ch. 4, from memory). All are as long as reflect, which may
// be value.
func Lumped(reflect, through, value []complex128) {
	n := len(reflect)
	through, value = through[:n], value[:n]
	for k := vectorsLumped(reflect, through, value); k < n; k++ {
		v := value[k]
		w := 2 + v
		s := 1 / (real(w)*real(w) + imag(w)*imag(w))
		r := v * complex(real(w)*s, -imag(w)*s)
		reflect[k], through[k] = r, (1-r)*(1-r)
	}
}
