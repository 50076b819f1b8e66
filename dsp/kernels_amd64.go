package dsp

// hasVectors says whether the processor has AVX2 and FMA and the system saves
// their registers.
var hasVectors = detectVectors()

func detectVectors() bool {
	const fma, osxsave, avx, avx2, state = 1 << 12, 1 << 27, 1 << 28, 1 << 5, 6
	most, _, _, _ := cpuid(0, 0)
	if most < 7 {
		return false
	}
	_, _, c, _ := cpuid(1, 0)
	_, b, _, _ := cpuid(7, 0)
	return c&fma != 0 && c&osxsave != 0 && c&avx != 0 && b&avx2 != 0 && xgetbv()&state == state
}

// Intel, "64 and IA-32 Architectures Software Developer's Manual", volume 2
// (CPUID, XGETBV) and volume 1, ch. 14.3 (from memory).

//go:noescape
func cpuid(leaf, sub uint32) (a, b, c, d uint32)

//go:noescape
func xgetbv() uint32

// combSumsVectors is combSumsPlain with pairs of rows, half a multiple of 4.
//
//go:noescape
func combSumsVectors(dst, table, planes *float64, half, pairs int)

// combSpreadVectors is combSpreadPlain with pairs of rows, half a multiple of 4.
//
//go:noescape
func combSpreadVectors(planes, table, values *float64, half, pairs int)

// expVectors is Exp of quads times four values.
//
//go:noescape
func expVectors(dst, z *complex128, quads int)

// expBothVectors is ExpBoth of quads times four values.
//
//go:noescape
func expBothVectors(dst, inverse, z *complex128, quads int)

// dotsVectors is Products of pairs times two terms.
//
//go:noescape
func dotsVectors(dst *float64, a, b0, b1, b2, b3 *complex128, pairs int)

// dotsOfTwoVectors is ProductsOfTwo of pairs times two terms.
//
//go:noescape
func dotsOfTwoVectors(dst *float64, a, also, b0, b1, b2, b3 *complex128, pairs int)

// chainVectors is Chain of pairs times two values.
//
//go:noescape
func chainVectors(back, loop, local, seen, phasor, undo, reflect, through, behind *complex128, pairs int)

// passVectors is Pass of pairs times two values.
//
//go:noescape
func passVectors(dst, gain, through, loop, undo, phasor *complex128, pairs int)

// marchVectors is March of pairs times two values.
//
//go:noescape
func marchVectors(sums *float64, here, turn, against, weight *complex128, pairs int)

// stretchVectors is Stretch of pairs times two values.
//
//go:noescape
func stretchVectors(reflect, through, edge, once, passed *complex128, pairs int)

// moveVectors is Moved of pairs times two values.
//
//go:noescape
func moveVectors(dst, gain, gamma, through, back, loop, local *complex128, pairs int)

// lumpedVectors is Lumped of pairs times two values.
//
//go:noescape
func lumpedVectors(reflect, through, value *complex128, pairs int)

func combSums(dst, table, planes []float64, half int) {
	if !hasVectors || len(table) == 0 {
		combSumsPlain(dst, table, planes, half)
		return
	}
	combSumsVectors(&dst[0], &table[0], &planes[0], half, len(table)/(4*half))
}

func combSpread(planes, table, values []float64, half int) {
	if !hasVectors || len(table) == 0 {
		combSpreadPlain(planes, table, values, half)
		return
	}
	combSpreadVectors(&planes[0], &table[0], &values[0], half, len(table)/(4*half))
}

// Exp writes e^z to dst, one value per z, which may be dst itself, to some 1e-15 for |Im z| below 10⁵; the
// real parts are taken to lie within ±700.
func Exp(dst, z []complex128) {
	if !hasVectors {
		expPlain(dst, z)
		return
	}
	n := len(z) &^ 3
	if n > 0 {
		expVectors(&dst[0], &z[0], n/4)
	}
	if n < len(z) {
		var rest [4]complex128
		copy(rest[:], z[n:])
		expVectors(&rest[0], &rest[0], 1)
		copy(dst[n:len(z)], rest[:])
	}
}

// ExpBoth writes e^z to dst and e^−z to inverse, as Exp; either may be z.
func ExpBoth(dst, inverse, z []complex128) {
	if !hasVectors {
		expBothPlain(dst, inverse, z)
		return
	}
	n := len(z) &^ 3
	var rest, undone [4]complex128
	copy(rest[:], z[n:])
	if n > 0 {
		expBothVectors(&dst[0], &inverse[0], &z[0], n/4)
	}
	expBothVectors(&rest[0], &undone[0], &rest[0], 1)
	copy(dst[n:len(z)], rest[:])
	copy(inverse[n:len(z)], undone[:])
}

// Products returns Re(aᴴb) for each of four b as long as a, which may be the same.
func Products(a, b0, b1, b2, b3 []complex128) (sums [4]float64) {
	n := 0
	if hasVectors && len(a) > 1 {
		n = len(a) &^ 1
		b0, b1, b2, b3 = b0[:len(a)], b1[:len(a)], b2[:len(a)], b3[:len(a)]
		dotsVectors(&sums[0], &a[0], &b0[0], &b1[0], &b2[0], &b3[0], n/2)
	}
	addProducts(&sums, a[n:], b0[n:], b1[n:], b2[n:], b3[n:])
	return sums
}

// ProductsOfTwo is Products for a and for also, to the last digit; both are as long.
func ProductsOfTwo(a, also, b0, b1, b2, b3 []complex128) (sums [2][4]float64) {
	n := 0
	if hasVectors && len(a) > 1 {
		n = len(a) &^ 1
		also, b0, b1, b2, b3 = also[:len(a)], b0[:len(a)], b1[:len(a)], b2[:len(a)], b3[:len(a)]
		dotsOfTwoVectors(&sums[0][0], &a[0], &also[0], &b0[0], &b1[0], &b2[0], &b3[0], n/2)
	}
	addProducts(&sums[0], a[n:], b0[n:], b1[n:], b2[n:], b3[n:])
	addProducts(&sums[1], also[n:], b0[n:], b1[n:], b2[n:], b3[n:])
	return sums
}

func vectorsChain(back, loop, local, seen, phasor, undo, reflect, through, behind []complex128) (done int) {
	if n := len(back) &^ 1; hasVectors && n > 0 {
		chainVectors(&back[0], &loop[0], &local[0], &seen[0], &phasor[0], &undo[0], &reflect[0], &through[0], &behind[0], n/2)
		return n
	}
	return 0
}

func vectorsPass(dst, gain, through, loop, undo, phasor []complex128) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		passVectors(&dst[0], &gain[0], &through[0], &loop[0], &undo[0], &phasor[0], n/2)
		return n
	}
	return 0
}

func vectorsMarch(sums *[2]float64, here, turn, against, weight []complex128) (done int) {
	if n := len(here) &^ 1; hasVectors && n > 0 {
		marchVectors(&sums[0], &here[0], &turn[0], &against[0], &weight[0], n/2)
		return n
	}
	return 0
}

func vectorsStretch(reflect, through, edge, once, passed []complex128) (done int) {
	if n := len(reflect) &^ 1; hasVectors && n > 0 {
		stretchVectors(&reflect[0], &through[0], &edge[0], &once[0], &passed[0], n/2)
		return n
	}
	return 0
}

func vectorsMoved(dst, gain, gamma, through, back, loop, local []complex128) (done int) {
	if n := len(dst) &^ 1; hasVectors && n > 0 {
		moveVectors(&dst[0], &gain[0], &gamma[0], &through[0], &back[0], &loop[0], &local[0], n/2)
		return n
	}
	return 0
}

func vectorsLumped(reflect, through, value []complex128) (done int) {
	if n := len(reflect) &^ 1; hasVectors && n > 0 {
		lumpedVectors(&reflect[0], &through[0], &value[0], n/2)
		return n
	}
	return 0
}
