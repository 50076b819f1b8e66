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
