package simulate

import (
	"cmp"
	"math"
	"math/cmplx"

	"downlead/cables"
)

// typical fills the severities that f leaves at zero. Orders of magnitude:
// common practice, no source.
func (f Fault) typical(extentM float64) Fault {
	or := func(field *float64, value float64) { *field = cmp.Or(*field, value) }
	switch f.Cause {
	case openCircuit:
		or(&f.ShuntFarad, 0.05e-12)
	case shortCircuit:
		or(&f.SeriesHenry, 0.1e-9)
	case poorContact:
		or(&f.SeriesOhm, 15)
	case connectorMismatch:
		if f.ShuntFarad == 0 {
			or(&f.SeriesHenry, 2e-9)
		}
	case waterInConnector:
		or(&f.SeriesOhm, 0.5)
		or(&f.ShuntSiemens, 5e-3)
		or(&f.ShuntFarad, 2e-12)
		or(&f.LossTangent, 0.05)
	case waterInCable:
		or(&f.ImpedanceDrop, 0.15)
		or(&f.LossTangent, 0.02)
		or(&f.TaperM, extentM/6)
	case dentOrKink:
		or(&f.ImpedanceOhm, 33)
	case wrongImpedance:
		or(&f.ImpedanceOhm, 75)
	case lossySection:
		or(&f.LossFactor, 2.5)
	case antennaFault:
		f.Mode = cmp.Or(f.Mode, "detuned")
		or(&f.ReturnLossDB, 6)
	}
	return f
}

// referenceHz is where a wet stretch's permittivity is stated, 1 GHz.
const referenceHz = 1e9

// constantLossTangent returns (j·f/f0)^{-2φ/π} with tan φ the loss tangent:
// the causal permittivity of the package comment, over its size at f0.
func constantLossTangent(lossTangent, frequencyHz float64) complex128 {
	phi := math.Atan(lossTangent)
	return cmplx.Exp(complex(-2*phi/math.Pi*math.Log(frequencyHz/referenceHz), -phi))
}

// lumped returns the circuit of a fault without extent, from the test port on.
// For a line that ends in it, ends is what the last element sees: the
// admittance (siemens, over Hz) across the open or shorted end.
func (f Fault) lumped() (circuit cables.Cascade, ends func(frequencyHz float64) complex128) {
	j := func(frequencyHz float64) complex128 { return complex(0, 2*math.Pi*frequencyHz) }
	gap := func(frequencyHz float64) complex128 { return 1 / (j(frequencyHz) * complex(f.GapFarad, 0)) }
	inductive := func(frequencyHz float64) complex128 {
		return complex(f.SeriesOhm, 0) + j(frequencyHz)*complex(f.SeriesHenry, 0)
	}
	capacitive := func(frequencyHz float64) complex128 {
		y := j(frequencyHz) * complex(f.ShuntFarad, 0)
		if f.LossTangent > 0 {
			y *= constantLossTangent(f.LossTangent, frequencyHz)
		}
		return complex(f.ShuntSiemens, 0) + y
	}
	switch f.Cause {
	case openCircuit:
		if f.GapFarad > 0 {
			return cables.Cascade{cables.Shunt(capacitive), cables.Series(gap)}, nil
		}
		return nil, capacitive
	case shortCircuit:
		return nil, func(frequencyHz float64) complex128 { return 1 / inductive(frequencyHz) }
	case poorContact:
		return cables.Cascade{cables.Series(func(frequencyHz float64) complex128 {
			z := complex(f.SeriesOhm, 0)
			if f.GapFarad > 0 {
				z += gap(frequencyHz)
			}
			return z
		})}, nil
	case connectorMismatch:
		if f.ShuntFarad > 0 {
			return cables.Cascade{cables.Shunt(capacitive)}, nil
		}
		return cables.Cascade{cables.Series(inductive)}, nil
	case waterInConnector:
		return cables.Cascade{cables.Series(inductive), cables.Shunt(capacitive)}, nil
	}
	return nil, nil
}

// slice is a piece of cable whose impedance differs from its section's.
type slice struct {
	lengthM float64
	scale   float64 // of the impedance, about 1
}

// roughStretch is a stretch of cable whose impedance wanders along it while the
// velocity stays.
type roughStretch struct {
	cables.Medium
	slices []slice
}

// TwoPort returns the chain of the slices.
func (r roughStretch) TwoPort(frequencyHz float64) cables.TwoPort {
	gamma, zc := r.Wave(frequencyHz)
	p := cables.Through
	for _, s := range r.slices {
		p = p.Then(lineTwoPort(gamma*complex(s.lengthM, 0), zc*complex(s.scale, 0)))
	}
	return p
}

// lineTwoPort is the chain matrix of a uniform line of θ = γ·length. See thinTwoPort for
// thin slices.
func lineTwoPort(theta, zc complex128) cables.TwoPort {
	grow := cmplx.Exp(theta)
	shrink := 1 / grow
	ch, sh := (grow+shrink)/2, (grow-shrink)/2
	return cables.TwoPort{A: ch, B: zc * sh, C: sh / zc, D: ch}
}

// thinTwoPort is lineTwoPort by the impedance in series and the admittance across of the
// whole piece, ohm and siemens, zy their product: cosh θ = Σ (zy)^n/(2n)!, sinh θ/θ =
// Σ (zy)^n/(2n+1)!, θ² = zy. Of slices as thin as |zy| ≤ mostThin no root and no power is
// needed; seven terms leave out less than 1e-15.
func thinTwoPort(z, y, zy complex128) cables.TwoPort {
	ch, sh := 1+zy/(11*12), 1+zy/(12*13)
	for n := 5; n > 0; n-- {
		k := float64(2 * n)
		ch, sh = 1+zy*ch*complex(1/(k*(k-1)), 0), 1+zy*sh*complex(1/(k*(k+1)), 0)
	}
	return cables.TwoPort{A: ch, B: z * sh, C: y * sh, D: ch}
}

// mostThin bounds |θ²| of a slice for thinTwoPort; slices of a wet stretch's edges have
// less than (2π/20)².
const mostThin = 0.25

// wetSlice is a piece of wet cable.
type wetSlice struct {
	slice
	permittivity float64    // at 1 GHz, over the dry cable's
	lossTangent  float64    // that the water adds
	power        float64    // of f/f0, to which the permittivity goes
	lean         complex128 // what that is multiplied by
}

// newWetSlice returns the slice with what does not change with frequency worked out:
// constantLossTangent(lossTangent, f) = (f/f0)^{-2φ/π}·e^{-jφ}.
func newWetSlice(s slice, permittivity, lossTangent float64) wetSlice {
	phi := math.Atan(lossTangent)
	return wetSlice{s, permittivity, lossTangent, -2 * phi / math.Pi, cmplx.Rect(permittivity, -phi)}
}

// wetStretch is a stretch of cable with water in its dielectric.
type wetStretch struct {
	cables.Medium // dry
	slices        []wetSlice
}

// TwoPort returns the chain of the slices: the dry series impedance, and the
// dry shunt conductance beside the wet capacitance.
func (w wetStretch) TwoPort(frequencyHz float64) cables.TwoPort {
	gamma, zc := w.Wave(frequencyHz)
	z, y := gamma*zc, gamma/zc
	p, logFrequency := cables.Through, math.Log(frequencyHz/referenceHz)
	for _, s := range w.slices {
		wet := complex(real(y), 0) + complex(0, imag(y)*math.Exp(s.power*logFrequency))*s.lean
		// Of the whole slice; the scale is that of its impedance and leaves θ as it is.
		whole, across := z*complex(s.lengthM*s.scale, 0), wet*complex(s.lengthM/s.scale, 0)
		if zy := whole * across; real(zy)*real(zy)+imag(zy)*imag(zy) < mostThin*mostThin {
			p = p.Then(thinTwoPort(whole, across, zy))
			continue
		}
		root := cmplx.Sqrt(z * wet)
		p = p.Then(lineTwoPort(root*complex(s.lengthM, 0), root/wet*complex(s.scale, 0)))
	}
	return p
}

var (
	_ cables.Element = roughStretch{}
	_ cables.Element = wetStretch{}
)

// wet cuts rough, a stretch of dry cable, into the slices of fault f, which
// covers it from end to end. uneven is the relative unevenness along the
// extent, its knots evenly spaced; topHz the top of the sweep.
func wet(rough roughStretch, f Fault, uneven []float64, topHz float64) wetStretch {
	extent := 0.0
	for _, s := range rough.slices {
		extent += s.lengthM
	}
	thinnest := cables.SpeedOfLight * rough.VelocityFactor * (1 - f.ImpedanceDrop) / topHz / 20
	out := wetStretch{Medium: rough.Medium}
	at := 0.0
	for _, s := range rough.slices {
		end := at + s.lengthM
		for at < end {
			next := end
			flat := f.Unevenness == 0 && at >= f.TaperM && at < extent-f.TaperM
			switch {
			case flat:
				next = math.Min(next, extent-f.TaperM)
			default:
				next = math.Min(next, at+thinnest)
				if at < f.TaperM {
					next = math.Min(next, f.TaperM)
				}
			}
			if next-at < 1e-9 {
				next = math.Min(end, at+thinnest)
			}
			share := wetness((at+next)/2, extent, f.TaperM)
			drop := f.ImpedanceDrop * share
			if n := len(uneven); n > 1 && f.Unevenness > 0 {
				place := (at + next) / 2 / extent * float64(n-1)
				k := min(int(place), n-2)
				drop *= 1 + f.Unevenness*(uneven[k]+(place-float64(k))*(uneven[k+1]-uneven[k]))
			}
			drop = math.Min(math.Max(drop, 0), 0.8)
			out.slices = append(out.slices, newWetSlice(slice{next - at, s.scale}, 1/((1-drop)*(1-drop)), f.LossTangent*share))
			at = next
			if end-at < 1e-12 {
				break
			}
		}
		at = end
	}
	return out
}

// wetness rises from 0 at either end of the extent to 1 over taperM with a
// raised cosine.
func wetness(at, extent, taperM float64) float64 {
	edge := math.Min(at, extent-at)
	if edge >= taperM {
		return 1
	}
	return (1 - math.Cos(math.Pi*edge/taperM)) / 2
}

// seventyFive is the medium of the cable that gets mixed up with 50-ohm cable:
// foam-dielectric 75-ohm drop cable of 7 mm. Figures: common practice, from
// memory.
func seventyFive() cables.Medium {
	m := cables.Medium{ImpedanceOhm: 75, VelocityFactor: 0.83}
	m.ConductorNp, m.DielectricNp, _ = cables.FitAttenuation([]cables.AttenuationPoint{
		{FrequencyHz: 100e6, DBPerHundredM: 6.6}, {FrequencyHz: 1e9, DBPerHundredM: 21.5}})
	return m
}
