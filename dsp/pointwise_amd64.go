package dsp

// blendVectors is Blend of pairs times two values.
//
//go:noescape
func blendVectors(dst, x, y *complex128, a, b float64, pairs int)

// scaleVectors is Scale of pairs times two values.
//
//go:noescape
func scaleVectors(dst, v *complex128, factor float64, pairs int)

// weighVectors is Weigh of quads times four values.
//
//go:noescape
func weighVectors(dst, v *complex128, weight *float64, quads int)

// multiplyVectors is Multiply of pairs times two values.
//
//go:noescape
func multiplyVectors(dst, a, b *complex128, pairs int)

// lateralVectors is Lateral of pairs times two values.
//
//go:noescape
func lateralVectors(dst, gain, local *complex128, sign, scale float64, pairs int)

// changedVectors is Changed of pairs times two values.
//
//go:noescape
func changedVectors(dst, gain, local, reflect, through, behind, back *complex128, step float64, pairs int)

// mismatchVectors is Mismatch of pairs times two values.
//
//go:noescape
func mismatchVectors(dst, z, line *complex128, pairs int)

// accumulateVectors is Accumulate of pairs times two values.
//
//go:noescape
func accumulateVectors(dst, v *complex128, re, im float64, pairs int)

// rotateVectors is Rotate of pairs times two values.
//
//go:noescape
func rotateVectors(dst, u, v *complex128, re, im, s float64, pairs int)

func vectorsBlend(dst []complex128, a float64, x []complex128, b float64, y []complex128) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		blendVectors(&dst[0], &x[0], &y[0], a, b, n/2)
		return n
	}
	return 0
}

func vectorsScale(dst []complex128, factor float64, v []complex128) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		scaleVectors(&dst[0], &v[0], factor, n/2)
		return n
	}
	return 0
}

func vectorsWeigh(dst, v []complex128, weight []float64) (done int) {
	if n := len(dst) &^ 3; hasVectors && n > 0 {
		weighVectors(&dst[0], &v[0], &weight[0], n/4)
		return n
	}
	return 0
}

func vectorsMultiply(dst, a, b []complex128) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		multiplyVectors(&dst[0], &a[0], &b[0], n/2)
		return n
	}
	return 0
}

func vectorsLateral(dst, gain, local []complex128, sign, scale float64) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		lateralVectors(&dst[0], &gain[0], &local[0], sign, scale, n/2)
		return n
	}
	return 0
}

func vectorsChanged(dst, gain, local, reflect, through, behind, back []complex128, step float64) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		changedVectors(&dst[0], &gain[0], &local[0], &reflect[0], &through[0], &behind[0], &back[0], step, n/2)
		return n
	}
	return 0
}

func vectorsMismatch(dst, z, line []complex128) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		mismatchVectors(&dst[0], &z[0], &line[0], n/2)
		return n
	}
	return 0
}

func vectorsAccumulate(dst []complex128, factor complex128, v []complex128) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		accumulateVectors(&dst[0], &v[0], real(factor), imag(factor), n/2)
		return n
	}
	return 0
}

func vectorsRotate(dst, u, v []complex128, rho complex128, s float64) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		rotateVectors(&dst[0], &u[0], &v[0], real(rho), imag(rho), s, n/2)
		return n
	}
	return 0
}
