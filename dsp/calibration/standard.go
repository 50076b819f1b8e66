package calibration

import (
	"math"
	"math/cmplx"
)

// Definition is a device whose reflection is known.
type Definition interface {
	// Reflection returns the reflection coefficient at frequencyHz (> 0)
	// in referenceOhm.
	Reflection(frequencyHz, referenceOhm float64) complex128
}

// Offset is the line between a standard's connector and its end: the
// offset-delay/offset-loss model of calibration kits. The zero value is no
// line at all.
type Offset struct {
	DelayS       float64 // one way
	ImpedanceOhm float64 // 0 stands for 50 ohm
	LossOhmPerS  float64 // at 1 GHz, growing with the root of frequency
}

// Open is an open end with fringing capacitance behind an offset line. The
// zero value is the ideal open.
type Open struct {
	// CapacitanceF are the coefficients of C(f) = C0 + C1·f + C2·f² + C3·f³
	// in F, F/Hz, F/Hz², F/Hz³.
	CapacitanceF [4]float64
	Offset       Offset
}

// Short is a short with its inductance behind an offset line. The zero value
// is the ideal short. With a long offset it is the known line of [Verify].
type Short struct {
	// InductanceH are the coefficients of L(f) = L0 + L1·f + L2·f² + L3·f³
	// in H, H/Hz, H/Hz², H/Hz³.
	InductanceH [4]float64
	Offset      Offset
}

// Load is a resistance in series with an inductance behind an offset line.
type Load struct {
	ResistanceOhm float64
	InductanceH   float64
	Offset        Offset
}

var (
	_ Definition = Open{}
	_ Definition = Short{}
	_ Definition = Load{}
)

// Reflection of the open; see [Definition].
func (o Open) Reflection(frequencyHz, referenceOhm float64) complex128 {
	admittance := complex(0, 2*math.Pi*frequencyHz*polynomial(o.CapacitanceF, frequencyHz))
	zc, gammaLength := o.Offset.line(frequencyHz)
	return seenThrough((1-zc*admittance)/(1+zc*admittance), zc, gammaLength, referenceOhm)
}

// Reflection of the short; see [Definition].
func (s Short) Reflection(frequencyHz, referenceOhm float64) complex128 {
	z := complex(0, 2*math.Pi*frequencyHz*polynomial(s.InductanceH, frequencyHz))
	zc, gammaLength := s.Offset.line(frequencyHz)
	return seenThrough((z-zc)/(z+zc), zc, gammaLength, referenceOhm)
}

// Reflection of the load; see [Definition].
func (l Load) Reflection(frequencyHz, referenceOhm float64) complex128 {
	z := complex(l.ResistanceOhm, 2*math.Pi*frequencyHz*l.InductanceH)
	zc, gammaLength := l.Offset.line(frequencyHz)
	return seenThrough((z-zc)/(z+zc), zc, gammaLength, referenceOhm)
}

// line returns the offset's characteristic impedance in ohm and γ·l.
func (o Offset) line(frequencyHz float64) (zc, gammaLength complex128) {
	z0 := o.ImpedanceOhm
	if z0 == 0 {
		z0 = defaultOhm
	}
	root := math.Sqrt(frequencyHz / 1e9)
	alpha := o.LossOhmPerS * o.DelayS / (2 * z0) * root
	skin := o.LossOhmPerS / (4 * math.Pi * frequencyHz) * root
	return complex(z0+skin, -skin), complex(alpha, 2*math.Pi*frequencyHz*o.DelayS+alpha)
}

// seenThrough carries a reflection given in zc through the line and into
// referenceOhm, without passing through an impedance that may be infinite.
func seenThrough(end, zc, gammaLength complex128, referenceOhm float64) complex128 {
	e := end * cmplx.Exp(-2*gammaLength)
	ref := complex(referenceOhm, 0)
	return (zc*(1+e) - ref*(1-e)) / (zc*(1+e) + ref*(1-e))
}

func polynomial(c [4]float64, x float64) float64 {
	return c[0] + x*(c[1]+x*(c[2]+x*c[3]))
}
