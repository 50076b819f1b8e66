package sweep

import (
	"math"
	"math/cmplx"
)

// The conversions below take and return NaN for NaN. Definitions: IEC
// 60050-726 (International Electrotechnical Vocabulary, transmission lines and
// waveguides), return loss and voltage standing wave ratio; D. M. Pozar,
// "Microwave Engineering", 4th ed., eqs. 2.38 and 2.41. Both from memory.

// ReturnLossFromMagnitude returns RL = -20·log10 ρ in dB, +Inf for ρ = 0.
func ReturnLossFromMagnitude(magnitude float64) float64 { return -20 * math.Log10(magnitude) }

// MagnitudeFromReturnLoss returns ρ = 10^(-RL/20).
func MagnitudeFromReturnLoss(returnLossDB float64) float64 { return math.Pow(10, -returnLossDB/20) }

// VSWRFromMagnitude returns (1+ρ)/(1-ρ), +Inf for ρ ≥ 1.
func VSWRFromMagnitude(magnitude float64) float64 {
	if magnitude >= 1 {
		return math.Inf(1)
	}
	return (1 + magnitude) / (1 - magnitude)
}

// MagnitudeFromVSWR returns ρ = (VSWR-1)/(VSWR+1), 1 for +Inf. A VSWR below 1
// does not exist and gives NaN.
func MagnitudeFromVSWR(vswr float64) float64 {
	switch {
	case vswr < 1:
		return math.NaN()
	case math.IsInf(vswr, 1):
		return 1
	}
	return (vswr - 1) / (vswr + 1)
}

// VSWRFromReturnLoss returns the VSWR of a return loss in dB, +Inf for RL ≤ 0.
func VSWRFromReturnLoss(returnLossDB float64) float64 {
	return VSWRFromMagnitude(MagnitudeFromReturnLoss(returnLossDB))
}

// ReturnLossFromVSWR returns the return loss in dB of a VSWR, +Inf for 1, NaN
// below 1.
func ReturnLossFromVSWR(vswr float64) float64 {
	return ReturnLossFromMagnitude(MagnitudeFromVSWR(vswr))
}

// The views below return a new slice with one value per point of the sweep.

// perPoint applies view to each Γ.
func perPoint[T any](s *Sweep, view func(gamma complex128) T) []T {
	values := make([]T, len(s.Gamma))
	for i, g := range s.Gamma {
		values[i] = view(g)
	}
	return values
}

// Magnitude returns ρ = |Γ|.
func (s *Sweep) Magnitude() []float64 { return perPoint(s, cmplx.Abs) }

// ReturnLossDB returns -20·log10 |Γ| in dB, +Inf where Γ is 0.
func (s *Sweep) ReturnLossDB() []float64 {
	return perPoint(s, func(g complex128) float64 { return ReturnLossFromMagnitude(cmplx.Abs(g)) })
}

// VSWR returns (1+|Γ|)/(1-|Γ|), +Inf where |Γ| ≥ 1.
func (s *Sweep) VSWR() []float64 {
	return perPoint(s, func(g complex128) float64 { return VSWRFromMagnitude(cmplx.Abs(g)) })
}

// CableLossDB returns the one-way loss in dB of a line that ends in an open or
// a short: half the return loss, because the wave goes the line twice and is
// reflected in full between. It means nothing for a line that ends in an
// antenna or a termination. Mismatch on the way makes it ripple over
// frequency; its mean over a ripple is the loss. Common practice, no source.
func (s *Sweep) CableLossDB() []float64 {
	return perPoint(s, func(g complex128) float64 { return ReturnLossFromMagnitude(cmplx.Abs(g)) / 2 })
}

// PhaseDeg returns the phase of Γ in degrees, in (-180, 180].
func (s *Sweep) PhaseDeg() []float64 {
	return perPoint(s, func(g complex128) float64 {
		degrees := cmplx.Phase(g) * (180 / math.Pi)
		if degrees <= -180 { // -0 as imaginary part
			return 180
		}
		return degrees
	})
}

// UnwrappedPhaseDeg returns the phase of Γ in degrees, made continuous by
// whole turns: it starts as PhaseDeg, and no step exceeds half a turn. A
// sweep that turns further from point to point unwraps wrongly.
func (s *Sweep) UnwrappedPhaseDeg() []float64 {
	phase := s.PhaseDeg()
	turns := 0.0
	for i := 1; i < len(phase); i++ {
		step := phase[i] + turns - phase[i-1]
		turns -= 360 * math.Round(step/360)
		phase[i] += turns
	}
	return phase
}

// Impedance returns R·(1+Γ)/(1-Γ) in ohm, cmplx.Inf() where Γ is exactly 1.
func (s *Sweep) Impedance() []complex128 {
	return perPoint(s, func(g complex128) complex128 {
		if g == 1 {
			return cmplx.Inf()
		}
		return complex(s.ReferenceOhm, 0) * (1 + g) / (1 - g)
	})
}

// Admittance returns (1-Γ)/(1+Γ)/R in siemens, cmplx.Inf() where Γ is exactly -1.
func (s *Sweep) Admittance() []complex128 {
	return perPoint(s, func(g complex128) complex128 {
		if g == -1 {
			return cmplx.Inf()
		}
		return (1 - g) / (1 + g) / complex(s.ReferenceOhm, 0)
	})
}

// GroupDelayS returns τ = -dφ/dω of the unwrapped phase of Γ in seconds, there
// and back: a single reflection at one-way delay T reads 2T. The derivative is
// of second order on any grid: the parabola through a point and its neighbours
// inside, through the three outermost points at the ends; two points share
// their difference, fewer give zeros.
func (s *Sweep) GroupDelayS() []float64 {
	phase := s.UnwrappedPhaseDeg()
	n := len(phase)
	delay := make([]float64, n)
	if n < 2 {
		return delay
	}
	slope := func(i int) float64 { // of the chord from i to i+1, degrees per Hz
		return (phase[i+1] - phase[i]) / (s.FrequencyHz[i+1] - s.FrequencyHz[i])
	}
	if n == 2 {
		delay[0] = -slope(0) / 360
		delay[1] = delay[0]
		return delay
	}
	for i := 1; i < n-1; i++ {
		before, after := s.FrequencyHz[i]-s.FrequencyHz[i-1], s.FrequencyHz[i+1]-s.FrequencyHz[i]
		left, right := slope(i-1), slope(i)
		delay[i] = -(left*after + right*before) / (before + after) / 360
		// The parabola's slope is linear and equals a chord's at its middle, so
		// at the ends it is twice the chord's less the slope at the other end.
		if i == 1 {
			delay[0] = -2*left/360 - delay[i]
		}
		if i == n-2 {
			delay[n-1] = -2*right/360 - delay[i]
		}
	}
	return delay
}
