//go:build !amd64

package dsp

func combSums(dst, table, planes []float64, half int) { combSumsPlain(dst, table, planes, half) }

func combSpread(planes, table, values []float64, half int) {
	combSpreadPlain(planes, table, values, half)
}

// Exp writes e^z to dst, one value per z, which may be dst itself.
func Exp(dst, z []complex128) { expPlain(dst, z) }

// ExpBoth writes e^z to dst and e^−z to inverse; either may be z.
func ExpBoth(dst, inverse, z []complex128) { expBothPlain(dst, inverse, z) }

// Products returns Re(aᴴb) for each of four b as long as a, which may be the same.
func Products(a, b0, b1, b2, b3 []complex128) (sums [4]float64) {
	addProducts(&sums, a, b0, b1, b2, b3)
	return sums
}

// ProductsOfTwo is Products for a and for also, which are as long.
func ProductsOfTwo(a, also, b0, b1, b2, b3 []complex128) (sums [2][4]float64) {
	return [2][4]float64{Products(a, b0, b1, b2, b3), Products(also, b0, b1, b2, b3)}
}

func vectorsChain(back, loop, local, seen, phasor, undo, reflect, through, behind []complex128) int {
	return 0
}

func vectorsPass(dst, gain, through, loop, undo, phasor []complex128) int { return 0 }

func vectorsMarch(sums *[2]float64, here, turn, against, weight []complex128) int { return 0 }

func vectorsStretch(reflect, through, edge, once, passed []complex128) int { return 0 }

func vectorsMoved(dst, gain, gamma, through, back, loop, local []complex128) int { return 0 }

func vectorsLumped(reflect, through, value []complex128) int { return 0 }

func vectorsBlend(dst []complex128, a float64, x []complex128, b float64, y []complex128) int {
	return 0
}

func vectorsScale(dst []complex128, factor float64, v []complex128) int { return 0 }

func vectorsWeigh(dst, v []complex128, weight []float64) int { return 0 }

func vectorsMultiply(dst, a, b []complex128) int { return 0 }

func vectorsLateral(dst, gain, local []complex128, sign, scale float64) int { return 0 }

func vectorsChanged(dst, gain, local, reflect, through, behind, back []complex128, step float64) int {
	return 0
}

func vectorsMismatch(dst, z, line []complex128) int { return 0 }

func vectorsAccumulate(dst []complex128, factor complex128, v []complex128) int { return 0 }

func vectorsRotate(dst, u, v []complex128, rho complex128, s float64) int { return 0 }
