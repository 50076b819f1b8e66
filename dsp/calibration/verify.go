package calibration

import (
	"fmt"
	"math"
	"math/cmplx"

	"downlead/dsp/sweep"
)

const (
	// matchMagnitude: a known device below this (20 dB) is a match; what it
	// reads beside its definition is directivity, since tracking and source
	// match errors enter times Γ and Γ² and are a tenth and less.
	matchMagnitude = 0.1

	// rippleTurns is how many turns of the known reflection one fit takes,
	// Hann-weighted: with three the parts that turn at 0, 1 and 2 times the
	// line's own rate fall apart.
	rippleTurns = 3.0

	// rippleFits bounds the number of frequencies fitted; between them the
	// residual errors, which turn slowly, are interpolated.
	rippleFits = 256

	// smoothingPart of the points goes into each rms value of a residual
	// error, so that it does not read low where a turning one crosses zero.
	smoothingPart = 1.0 / 20

	// residualDoubtful is a residual directivity of 26 dB. Open-short-load in
	// the field leaves 35-45 dB (common practice).
	residualDoubtful = 0.05

	// totalDoubtful is the same for the sum of three residual errors.
	totalDoubtful = 0.1
)

// Residual is what calibration left over, as a known device shows it. All
// values are magnitudes, one per frequency.
type Residual struct {
	FrequencyHz []float64
	// Directivity is the error in the reading of a match; nil when the
	// device could not show it.
	Directivity []float64
	// SourceMatch is the error in Γ per Γ²; nil when not shown.
	SourceMatch []float64
	// Total is the whole difference between reading and definition.
	Total []float64
	// Method says in words what was done and what it cannot tell.
	Method   string
	Problems []Problem
}

// Verify measures a calibration with a fourth device that is known and was not
// one of the three standards; measured is its raw sweep. To first order the
// corrected reading differs from the known Γ by
//
//	Γc − Γ = δD + δT·Γ + δM·Γ²
//
// with the residual directivity, tracking and source match. One device gives
// one number per frequency, so what can be told depends on it:
//
//   - a match (|Γ| under 20 dB) shows δD, as well as the match is known;
//   - a reflection behind a line, turning three times or more over the span,
//     shows δD and δM, since they turn at 0, 1 and 2 times the line's rate
//     (the ripple method; common practice). An error of the line's length or
//     loss falls into δT and does no harm; one of its impedance does not;
//   - any other reflection shows only the sum: Directivity stays nil.
func Verify(t *ErrorTerms, known Definition, measured *sweep.Sweep) (*Residual, error) {
	// The calibration's own problems are no business of the comparison.
	bare := *t
	bare.Problems, bare.Residual = nil, nil
	corrected, err := bare.Correct(measured)
	if err != nil {
		return nil, fmt.Errorf("verifying: %w", err)
	}
	f := corrected.FrequencyHz
	n := len(f)
	gamma, difference := make([]complex128, n), make([]complex128, n)
	turns := make([]float64, n) // of Γ since the first point
	for k := range f {
		gamma[k] = known.Reflection(f[k], t.ReferenceOhm)
		difference[k] = corrected.Gamma[k] - gamma[k]
		if k > 0 {
			turns[k] = turns[k-1] + math.Abs(cmplx.Phase(gamma[k]*cmplx.Conj(gamma[k-1])))/(2*math.Pi)
		}
	}
	width := max(1, int(smoothingPart*float64(n)))
	r := &Residual{FrequencyHz: f, Total: movingRMS(magnitudes(difference), width)}
	var directivity, sourceMatch []float64
	if turns[n-1] >= rippleTurns && float64(n) >= 8*turns[n-1] {
		directivity, sourceMatch = ripple(f, turns, gamma, difference)
	}
	switch {
	case quantile(magnitudes(gamma), 0.9) <= matchMagnitude:
		r.Directivity = r.Total
		r.Method = "known match: its difference from the definition is the residual directivity; source match cannot be told from it"
	case directivity != nil:
		r.Directivity, r.SourceMatch = movingRMS(directivity, width), movingRMS(sourceMatch, width)
		r.Method = "known reflection behind a line: residual directivity and source match from their ripples"
	default:
		r.Method = fmt.Sprintf("known reflection that turns %.1f times over %d points: directivity, tracking and source match cannot be told apart, only their sum; a match would, or a line that turns three times or more at eight points a turn", turns[n-1], n)
	}

	limit, value, what := residualDoubtful, r.Directivity, "directivity"
	if value == nil {
		limit, value, what = totalDoubtful, r.Total, "error"
	}
	if q := quantile(value, 0.9); q > limit {
		r.Problems = append(r.Problems, Problem{
			Kind: KindResidual, Severity: Doubtful,
			Text: fmt.Sprintf("the known device shows a residual %s of %.0f dB: the calibration does not hold, or the device is not what its definition says", what, decibel(q)),
			Mend: "check the definitions of the standards and the device, tighten the connectors, and measure the standards again",
		})
	}
	return r, nil
}

// Adopt keeps a residual for the error floor of corrected sweeps, with its
// problems.
func (t *ErrorTerms) Adopt(r *Residual) {
	t.Residual = r
	t.Problems = append(t.Problems, r.Problems...)
}

// ripple fits difference = δD + δT·Γ + δM·Γ² in Hann-weighted stretches of
// rippleTurns turns by least squares and returns |δD| and |δM| at every point;
// nil where no stretch has points enough.
func ripple(f, turns []float64, gamma, difference []complex128) (d, m []float64) {
	n := len(f)
	var at, directivity, sourceMatch []float64
	stride := max(1, n/rippleFits)
	lo, hi := 0, 0
	for k := 0; k < n; k += stride {
		// The stretch around k, moved inside the span at its ends.
		start := min(max(turns[k]-rippleTurns/2, 0), turns[n-1]-rippleTurns)
		for lo < n-1 && turns[lo] < start {
			lo++
		}
		for hi < n && turns[hi] <= start+rippleTurns {
			hi++
		}
		var a [3][3]complex128
		var b [3]complex128
		for i := lo; i < hi; i++ {
			w := math.Sin(math.Pi * (turns[i] - start) / rippleTurns)
			row := [3]complex128{1, gamma[i], gamma[i] * gamma[i]}
			for p := range 3 {
				weighted := complex(w*w, 0) * cmplx.Conj(row[p])
				b[p] += weighted * difference[i]
				for q := range 3 {
					a[p][q] += weighted * row[q]
				}
			}
		}
		inverse, err := invert(a)
		if err != nil {
			continue // a gap in the grid left too few points here
		}
		at = append(at, f[k])
		directivity = append(directivity, cmplx.Abs(inverse[0][0]*b[0]+inverse[0][1]*b[1]+inverse[0][2]*b[2]))
		sourceMatch = append(sourceMatch, cmplx.Abs(inverse[2][0]*b[0]+inverse[2][1]*b[1]+inverse[2][2]*b[2]))
	}
	if at == nil {
		return nil, nil
	}
	d, m = make([]float64, n), make([]float64, n)
	for k := range f {
		d[k], m[k] = linear(at, directivity, f[k]), linear(at, sourceMatch, f[k])
	}
	return d, m
}

// movingRMS returns the rms of x over width points around each.
func movingRMS(x []float64, width int) []float64 {
	sums := make([]float64, len(x)+1)
	for k, v := range x {
		sums[k+1] = sums[k] + v*v
	}
	smooth := make([]float64, len(x))
	for k := range x {
		lo, hi := max(k-width/2, 0), min(k+width/2+1, len(x))
		smooth[k] = math.Sqrt(max(0, sums[hi]-sums[lo]) / float64(hi-lo))
	}
	return smooth
}

// ReturnLossBounds says between which return losses (dB, positive) the true
// one lies when returnLossDB is read with a residual directivity and a
// residual source match (dB, positive; +Inf leaves one out). With the
// magnitudes ρ, d and m of the three the true reflection lies within
//
//	ρ ± (d + m·ρ²)
//
// The usual directivity table 20·log10(1 ± 10^(−(D−RL)/20)) is this with m = 0
// (common practice). high is +Inf where a perfect match is possible.
func ReturnLossBounds(returnLossDB, directivityDB, sourceMatchDB float64) (low, high float64) {
	rho := math.Pow(10, -returnLossDB/20)
	uncertainty := math.Pow(10, -directivityDB/20) + math.Pow(10, -sourceMatchDB/20)*rho*rho
	if math.IsNaN(rho) || math.IsNaN(uncertainty) {
		return math.NaN(), math.NaN()
	}
	return decibel(rho + uncertainty), decibel(max(0, rho-uncertainty))
}
