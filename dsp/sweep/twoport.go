package sweep

import "math"

// oneToScattering returns the reflection coefficient of a one-port given as
// parameter 'Z' (in ohm) or 'Y' (in siemens), in the reference ohm; with 1 for
// ohm the parameter is taken as normalised. Γ = (Z-R)/(Z+R).
func oneToScattering(parameter byte, value complex128, ohm float64) complex128 {
	r := complex(ohm, 0)
	if parameter == 'Y' {
		return (1 - value*r) / (1 + value*r)
	}
	return (value - r) / (value + r)
}

// twoToScattering converts n = {N11, N21, N12, N22} of the given parameter
// (Z, Y, H or G; ohm, siemens or a ratio as each is defined) to S11, S21, S12,
// S22 with the references ohm1 and ohm2; with 1 for both, the parameters are
// taken as normalised.
//
// Definitions, the currents flowing into the ports:
//
//	Z  V1 = Z11·I1 + Z12·I2,  V2 = Z21·I1 + Z22·I2
//	Y  I1 = Y11·V1 + Y12·V2,  I2 = Y21·V1 + Y22·V2
//	H  V1 = H11·I1 + H12·V2,  I2 = H21·I1 + H22·V2
//	G  I1 = G11·V1 + G12·I2,  V2 = G21·V1 + G22·I2
//
// With the waves a (in) and b (out), v = V/√R = a+b and i = I·√R = a-b. Each
// of the four is x = n·y, where port by port x = a+s·b and y = a-s·b, s being
// +1 where x is the voltage and -1 where it is the current. Hence
// (n+1)·c = (n-1)·a with c = s·b, and S = diag(s)·(n+1)⁻¹·(n-1). For Z and Y
// this is table 4.2 of D. M. Pozar, "Microwave Engineering", 4th ed.
func twoToScattering(parameter byte, n [4]complex128, ohm1, ohm2 float64) [4]complex128 {
	r1, r2 := complex(math.Sqrt(ohm1), 0), complex(math.Sqrt(ohm2), 0)
	// Scales that normalise x and y at either port: voltages are divided by
	// √R, currents multiplied; s is +1 where x is a voltage.
	s1, s2 := complex128(1), complex128(1)
	x1, x2 := 1/r1, 1/r2
	if parameter == 'Y' || parameter == 'G' {
		s1, x1 = -1, r1
	}
	if parameter == 'Y' || parameter == 'H' {
		s2, x2 = -1, r2
	}
	// y is the other quantity of each port, so its scale is 1/x.
	n11, n12 := n[0]*x1*x1, n[2]*x1*x2
	n21, n22 := n[1]*x2*x1, n[3]*x2*x2
	determinant := (n11+1)*(n22+1) - n12*n21
	c11 := ((n22+1)*(n11-1) - n12*n21) / determinant
	c12 := 2 * n12 / determinant
	c21 := 2 * n21 / determinant
	c22 := ((n11+1)*(n22-1) - n21*n12) / determinant
	return [4]complex128{s1 * c11, s2 * c21, s1 * c12, s2 * c22}
}
