package calibration

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"
	"time"

	"gonum.org/v1/gonum/stat"
)

// The thresholds of the checks. Magnitudes are relative to the size of the
// instrument's reading of a total reflection, so a raw scale of its own does
// not matter. Ninth deciles are used rather than largest values: a term that
// turns over frequency peaks where its parts add, and one bad point is the
// business of the roughness check.
const (
	// alikeRatio: two standards read alike when they lie closer together
	// than this part of the distance their definitions ask for. Exact
	// repeats give 0, a healthy instrument 0.8 and more.
	alikeRatio = 0.3

	// Directivity, ninth decile. Uncorrected bridges and couplers in the
	// field reach 20-30 dB, poor ones 15 dB (common practice). 12 dB is past
	// those; at 9 dB an instrument could not be used, so the load is to blame.
	directivityDoubtful = 0.25
	directivityRefuse   = 0.35

	// Source match, ninth decile. Uncorrected 15-25 dB (common practice);
	// 9 dB is well past. 3 dB is no instrument.
	sourceMatchDoubtful = 0.35
	sourceMatchRefuse   = 0.7

	// Open and short count as exchanged when the source match is worse than
	// 14 dB rms (a healthy one is not) and halves on exchanging them back.
	swapSourceMatchRMS = 0.2
	swapRatio          = 2.0

	// reversedRad (25°): how near 180° the tracking's phase at zero frequency
	// must come to be worth a remark. It is no more than that, since the
	// phase of a raw reading is the instrument's own affair.
	reversedRad = 0.44

	// Tracking, median. A passive bridge cannot gain; 3 dB leaves room for
	// the receivers' own scale. Below -20 dB the reading hangs on noise.
	trackingHighest = 1.4125
	trackingLowest  = 0.1

	// jumpFloor and jumpRatio: a point jumps when it leaves the cubic
	// through its four neighbours by more than both this much (a step of
	// twice the size, 34 dB below total reflection, smaller than which a
	// calibrated field instrument's own residual errors hide it) and this
	// many times the median (Gaussian noise reaches 3.3 times in 2000 points).
	jumpFloor = 0.01
	jumpRatio = 8.0

	// noiseDoubtful is the rms noise of a standard that would leave an error
	// like a directivity of 40 dB.
	noiseDoubtful = 0.01

	// conditionDoubtful: perfect standards give 6, kits in use up to 15; 50
	// makes the errors of the standards some five times larger.
	conditionDoubtful = 50.0

	// turnPerPointRad is how far a reading may turn from point to point for
	// interpolation and smoothness to mean anything: a cubic through four
	// points then errs by 3/128·0.52⁴ = 0.2 % in the middle, 55 dB down.
	turnPerPointRad = 0.52

	// longestDelayS is the delay up to which a test cable counts as possible:
	// 3 m, both ways. Where it could turn a reading by more than half a turn
	// from point to point the turn read off is ambiguous, and neither
	// smoothness nor interpolation means anything.
	longestDelayS = 30e-9

	// Temperature: about 5 °C is where a recalibration is advised, 10 °C
	// where the drift shows in return losses above 20 dB (common practice,
	// no source).
	temperatureNoteC     = 5.0
	temperatureDoubtfulC = 10.0

	// calibrationAgeNote is a working day (common practice, no source).
	calibrationAgeNote = 12 * time.Hour
)

// Conditions are the circumstances of a measurement. The zero value is
// nothing known.
type Conditions struct {
	TemperatureC     float64
	TemperatureKnown bool // TemperatureC counts only when set
	At               time.Time
}

// CheckConditions compares the circumstances of the calibration with those of
// the sweep. Append its answer to [ErrorTerms.Problems] before correcting.
// What is not known is not judged.
func CheckConditions(calibration, device Conditions) []Problem {
	var problems []Problem
	if calibration.TemperatureKnown && device.TemperatureKnown {
		moved := math.Abs(device.TemperatureC - calibration.TemperatureC)
		p := Problem{
			Kind: KindTemperature,
			Text: fmt.Sprintf("calibrated at %.1f °C, swept at %.1f °C: the instrument and its test cable have drifted", calibration.TemperatureC, device.TemperatureC),
			Mend: "let the instrument settle and measure the standards again",
		}
		switch {
		case !(moved <= temperatureDoubtfulC):
			p.Severity = Doubtful
			problems = append(problems, p)
		case moved > temperatureNoteC:
			problems = append(problems, p)
		}
	}
	if !calibration.At.IsZero() && !device.At.IsZero() {
		if age := device.At.Sub(calibration.At).Abs(); age > calibrationAgeNote {
			problems = append(problems, Problem{
				Kind: KindAge, Severity: Note,
				Text: fmt.Sprintf("calibration and sweep lie %.0f hours apart", age.Hours()),
				Mend: "measure the standards on the day and the place of the sweep",
			})
		}
	}
	return problems
}

// checkAlike looks for standards measured twice or not changed in between.
func checkAlike(known, raw [3][]complex128) []Problem {
	var problems []Problem
	for _, pair := range [3][2]int{{0, 1}, {0, 2}, {1, 2}} {
		i, j := pair[0], pair[1]
		identical := true
		is, should := make([]float64, len(raw[0])), make([]float64, len(raw[0]))
		for k := range raw[0] {
			is[k] = apart(raw, k, i, j)
			should[k] = apart(known, k, i, j)
			identical = identical && raw[i][k] == raw[j][k]
		}
		text := fmt.Sprintf("%s and %s read alike: %.0f %% of the distance between them that their definitions ask for", standardNames[i], standardNames[j], 100*quantile(is, 0.5)/quantile(should, 0.5))
		if identical {
			text = fmt.Sprintf("%s and %s are the same measurement", standardNames[i], standardNames[j])
		} else if quantile(is, 0.5) >= alikeRatio*quantile(should, 0.5) {
			continue
		}
		problems = append(problems, Problem{
			Kind: KindAlike, Severity: Refuse, Text: text,
			Mend: "measure both again, each tightened to its torque, and give each its own file",
		})
	}
	return problems
}

// apart is the distance between standards i and j at point k relative to the
// largest distance between any two.
func apart(g [3][]complex128, k, i, j int) float64 {
	largest := 2 * circle(g, k)
	if largest == 0 {
		return 0
	}
	return cmplx.Abs(g[i][k]-g[j][k]) / largest
}

// circle is half the largest distance between two standards at point k: about
// the reading of a total reflection, whichever standard is which.
func circle(g [3][]complex128, k int) float64 {
	return max(cmplx.Abs(g[0][k]-g[1][k]), cmplx.Abs(g[0][k]-g[2][k]), cmplx.Abs(g[1][k]-g[2][k])) / 2
}

// checkTerms judges the solved terms and the readings behind them; limits
// says what could not be judged.
func checkTerms(frequencyHz []float64, known, raw [3][]complex128, s solution) (problems []Problem, limits []string) {
	size := make([]float64, len(frequencyHz))
	for k := range size {
		size[k] = circle(raw, k)
	}
	scale := quantile(size, 0.5)

	if p, ok := checkExchanged(frequencyHz, known, raw, s, &limits); ok {
		problems = append(problems, p) // what follows would only repeat it
	} else if p, ok := checkLoad(s, raw); ok {
		problems = append(problems, p) // a bad load spoils the source match too
	} else {
		problems = append(problems, checkInstrument(s)...)
	}

	judged := true
	rough := false
	for i, name := range standardNames {
		found, ok := checkRoughness(frequencyHz, raw[i], scale, "the "+name)
		problems = append(problems, found...)
		judged, rough = judged && ok, rough || found != nil
	}
	if !judged {
		limits = append(limits, "the standards are swept too coarsely to show a loose connector: more points, or a shorter test cable, would")
	}
	var weak []float64
	for k, c := range s.condition {
		if c > conditionDoubtful {
			weak = append(weak, frequencyHz[k])
		}
	}
	if weak != nil {
		problems = append(problems, Problem{
			Kind: KindCondition, Severity: Doubtful,
			Text:  fmt.Sprintf("at %d points from %s to %s two standards reflect nearly the same, so that their own errors grow in the result", len(weak), hz(weak[0]), hz(weak[len(weak)-1])),
			Mend:  "use a kit made for this band, or sweep only where it holds",
			LowHz: weak[0], HighHz: weak[len(weak)-1],
		})
	} else if !rough && judged {
		// Terms of smooth, well separated standards are smooth; one that is
		// not points at a definition that breaks off inside the band.
		for _, term := range []struct {
			name  string
			value []complex128
		}{{"source match", s.sourceMatch}, {"tracking", s.tracking}} {
			found, _ := checkRoughness(frequencyHz, term.value, scale, "the solved "+term.name)
			problems = append(problems, found...)
		}
	}
	return problems, limits
}

// checkExchanged looks for standards given in each other's place.
func checkExchanged(frequencyHz []float64, known, raw [3][]complex128, s solution, limits *[]string) (Problem, bool) {
	const mend = "give the files in their right places, or measure the standards again in the order open, short, load"
	directivity := relative(s.directivity, raw)
	if quantile(directivity, 0.9) > directivityRefuse {
		// Is one of the other two the load?
		for i := range 2 {
			rest := 1 - i
			for _, o := range [2][3]int{{2, rest, i}, {rest, 2, i}} {
				other, err := solveTerms(frequencyHz, known, [3][]complex128{raw[o[0]], raw[o[1]], raw[o[2]]})
				if err != nil || quantile(relative(other.directivity, raw), 0.9) > directivityDoubtful || quantile(magnitudes(other.sourceMatch), 0.9) > sourceMatchDoubtful {
					continue
				}
				return Problem{
					Kind: KindSwapped, Severity: Refuse,
					Text: fmt.Sprintf("the standard given as load reads like a total reflection and the one given as %s like a load: they are exchanged", standardNames[i]),
					Mend: mend,
				}, true
			}
		}
		return Problem{}, false
	}

	// Open and short are told apart by how far they are from being mirror
	// images, which the wrong order turns into source match.
	exchanged, err := solveTerms(frequencyHz, known, [3][]complex128{raw[1], raw[0], raw[2]})
	if err != nil {
		return Problem{}, false
	}
	given, other := rms(s.sourceMatch), rms(exchanged.sourceMatch)
	switch {
	case given > swapSourceMatchRMS && given > swapRatio*other:
		return Problem{
			Kind: KindSwapped, Severity: Refuse,
			Text: fmt.Sprintf("the open looks like a short and the short like an open: exchanging them improves the instrument's source match from %.0f to %.0f dB", decibel(given), decibel(other)),
			Mend: mend,
		}, true
	case !(other > swapSourceMatchRMS && other > swapRatio*given):
		limit := "in this band the kit's open and short are too nearly mirror images to show whether they were exchanged: measure a known device, or look at the sign of the far end's echo"
		if phase, ok := phaseAtZero(frequencyHz, s.tracking); ok && math.Abs(phase) > math.Pi-reversedRad {
			limit += fmt.Sprintf(". The tracking starts at %.0f°: on an instrument whose phase counts from its port, that is what an exchange looks like", phase*180/math.Pi)
		}
		*limits = append(*limits, limit)
	}
	return Problem{}, false
}

// phaseAtZero extrapolates the phase of the tracking to zero frequency by a
// straight line through its first third, in radians within ±π; ok is false
// where that third lies too far up or is too coarse to follow.
func phaseAtZero(f []float64, tracking []complex128) (phase float64, ok bool) {
	n := len(f) / 3
	if n < 3 || f[0] > f[n-1]-f[0] {
		return 0, false
	}
	unwrapped := make([]float64, n)
	unwrapped[0] = cmplx.Phase(tracking[0])
	for k := 1; k < n; k++ {
		if (f[k]-f[k-1])*longestDelayS > 0.5 {
			return 0, false
		}
		unwrapped[k] = unwrapped[k-1] + cmplx.Phase(tracking[k]*cmplx.Conj(tracking[k-1]))
	}
	intercept, _ := stat.LinearRegression(f[:n], unwrapped, nil, false)
	return math.Remainder(intercept, 2*math.Pi), true
}

// checkLoad compares the load with where a matched one lies.
func checkLoad(s solution, raw [3][]complex128) (Problem, bool) {
	d := quantile(relative(s.directivity, raw), 0.9)
	if d <= directivityDoubtful {
		return Problem{}, false
	}
	p := Problem{
		Kind: KindLoad, Severity: Doubtful,
		Text: fmt.Sprintf("the load reads %.0f dB where a matched load on a sound instrument reads 20 dB or better", decibel(d)),
		Mend: "check that the load is connected and tight, clean it, try another one, and measure it again",
	}
	if d > directivityRefuse {
		p.Severity = Refuse
	}
	return p, true
}

// checkInstrument judges source match and tracking.
func checkInstrument(s solution) []Problem {
	var problems []Problem
	if m := quantile(magnitudes(s.sourceMatch), 0.9); m > sourceMatchDoubtful {
		p := Problem{
			Kind: KindSourceMatch, Severity: Doubtful,
			Text: fmt.Sprintf("the source match comes out as %.0f dB where an instrument has 15 dB or better: open or short is loose, or is not what the kit file says", decibel(m)),
			Mend: "check the kit file and the adapters, tighten open and short, and measure them again",
		}
		if m > sourceMatchRefuse {
			p.Severity = Refuse
		}
		problems = append(problems, p)
	}
	t := quantile(magnitudes(s.tracking), 0.5)
	if t > trackingHighest || t < trackingLowest {
		problems = append(problems, Problem{
			Kind: KindTracking, Severity: Doubtful,
			Text: fmt.Sprintf("the reflection tracking comes out as %+.0f dB where it lies between -20 and +3 dB", 20*math.Log10(t)),
			Mend: "check that the sweeps are raw reflections and that no attenuator or amplifier was in the way, and measure the standards again",
		})
	}
	return problems
}

// checkRoughness looks for jumps and noise in a reading over frequency: how
// far each point lies from the cubic through its four neighbours, after the
// reading's own delay is taken out. ok is false where the grid is too coarse
// to judge. scale is the reading of a total reflection.
func checkRoughness(frequencyHz []float64, g []complex128, scale float64, name string) (problems []Problem, ok bool) {
	at, off := roughness(frequencyHz, g)
	if 2*len(at) < len(g) || len(at) == 0 || scale == 0 {
		return nil, false
	}
	for i := range off {
		off[i] /= scale
	}
	median := quantile(off, 0.5)
	// Complex Gaussian noise of rms 1 leaves the cubic by
	// sqrt(1 + 2·(4/6)² + 2·(1/6)²) = 1.39 rms, of which the median of the
	// magnitude is sqrt(ln 2).
	if noise := median / (1.39 * math.Sqrt(math.Ln2)); noise > noiseDoubtful {
		problems = append(problems, Problem{
			Kind: KindNoise, Severity: Doubtful,
			Text: fmt.Sprintf("%s is noisy: %.1f %% of a total reflection, rms", name, 100*noise),
			Mend: "tighten the connector, narrow the receiver's bandwidth or average, and measure the standards again",
		})
	}
	var jumps []float64
	var largest float64
	for i, r := range off {
		if r > jumpFloor && r > jumpRatio*median {
			jumps = append(jumps, frequencyHz[at[i]])
			largest = max(largest, r)
		}
	}
	if jumps != nil {
		problems = append(problems, Problem{
			Kind: KindLoose, Severity: Doubtful,
			Text:  fmt.Sprintf("%s jumps at %d points from %s to %s, by up to %.0f %% of a total reflection", name, len(jumps), hz(jumps[0]), hz(jumps[len(jumps)-1]), 100*largest),
			Mend:  "a connector is loose or a transmitter close by broke in: tighten it, keep the cable still, and measure the standards again",
			LowHz: jumps[0], HighHz: jumps[len(jumps)-1],
		})
	}
	return problems, true
}

// roughness returns, for the points at whose neighbours the reading turns
// slowly enough, their indices and their distances from the cubic through two
// neighbours on either side.
func roughness(f []float64, g []complex128) (at []int, off []float64) {
	if len(f) < 7 {
		return nil, nil
	}
	slopes := make([]float64, len(f)-1)
	for k := range slopes {
		slopes[k] = cmplx.Phase(g[k+1]*cmplx.Conj(g[k])) / (f[k+1] - f[k])
	}
	slope := quantile(slopes, 0.5)
	for k := 2; k+2 < len(f); k++ {
		widest := max(f[k-1]-f[k-2], f[k]-f[k-1], f[k+1]-f[k], f[k+2]-f[k+1])
		if math.Abs(slope)*widest > turnPerPointRad || widest*longestDelayS > 0.5 {
			continue
		}
		var expected complex128
		for _, i := range [4]int{k - 2, k - 1, k + 1, k + 2} {
			weight := 1.0
			for _, j := range [4]int{k - 2, k - 1, k + 1, k + 2} {
				if j != i {
					weight *= (f[k] - f[j]) / (f[i] - f[j])
				}
			}
			expected += complex(weight, 0) * g[i] * cmplx.Rect(1, -slope*(f[i]-f[k]))
		}
		at, off = append(at, k), append(off, cmplx.Abs(g[k]-expected))
	}
	return at, off
}

// relative returns |term| over the reading of a total reflection.
func relative(term []complex128, raw [3][]complex128) []float64 {
	r := make([]float64, len(term))
	for k, z := range term {
		r[k] = cmplx.Abs(z) / circle(raw, k)
	}
	return r
}

func magnitudes(z []complex128) []float64 {
	m := make([]float64, len(z))
	for k := range z {
		m[k] = cmplx.Abs(z[k])
	}
	return m
}

// quantile returns the value below which the part q of x lies; x is kept.
func quantile(x []float64, q float64) float64 {
	sorted := append([]float64(nil), x...)
	sort.Float64s(sorted)
	return sorted[int(q*float64(len(sorted)-1)+0.5)]
}

func rms(z []complex128) float64 {
	var sum float64
	for _, v := range z {
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	return math.Sqrt(sum / float64(len(z)))
}

// decibel is the return loss of a magnitude.
func decibel(magnitude float64) float64 { return -20 * math.Log10(magnitude) }
