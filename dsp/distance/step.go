package distance

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"downlead/cables"
	"downlead/dsp"
)

const (
	mostMissingSteps  = 5    // a grid may start this many steps above zero
	offHarmonic       = 0.05 // and this part of a step off a multiple of it
	mostAmplification = 30   // of noise by the extrapolation
	impedanceCeiling  = 0.999
)

// StepSettings of Step. The zero value is a good default.
type StepSettings struct {
	Window dsp.Window // over -f_max...f_max, of which the upper half is used; zero: Kaiser, β = 6
	FromM  float64    // first place; may be negative
	ToM    float64    // last place; 0: the end of the line
	Points int        // 0: 1001
}

// ImpedanceProfile is the impedance along the line.
type ImpedanceProfile struct {
	DistanceM    []float64
	Reflection   []float64 // ρ(x), the response to a step of one
	ImpedanceOhm []float64 // Zref·(1+ρ)/(1-ρ); ρ is kept within ±0.999
	// RiseM is the length over which a sudden change is drawn out: the main
	// lobe's full width at half amplitude.
	RiseM float64
	// DCReflection is the extrapolated Γ(0), and MissingPoints how many points
	// above it were extrapolated with it.
	DCReflection  float64
	MissingPoints int
	// NoiseAmplification is how many times larger than in the data noise is in
	// the extrapolated points, at most.
	NoiseAmplification float64
}

// Step returns the impedance along path as a step of voltage would draw it,
//
//	ρ(t) = ∫_{-∞}^t h dt',  h(t) = 2·Re ∫_0^∞ W(f)·Γ(f)·e^{j2πft} df
//
// at t = 2/c·∫dx/VF, and Z = Zref·(1+ρ)/(1-ρ). It needs the spectrum down to
// DC. The grid must be uniform, start at most five steps above zero, and lie
// on multiples of its step to half a hundredth of it (an error in ρ of twice
// that, relative). What is missing, DC (real) and
// the points below the first, follows from causality: an echo of the line comes
// back between the test port and the far end, so the response must vanish over
// the rest of the alias-free range. The missing values are those that make its
// mean square there least (linear least squares; the closed form of the
// band-limited extrapolation of A. Papoulis, IEEE Trans. Circuits Syst. 22(9),
// 1975, doi:10.1109/TCS.1975.1084118, from memory).
//
// Limits: first order. ρ behind a large step reads low by the factor of what that
// step let through twice, loss and dispersion are left in and tilt the response,
// and a lossy line reads a rising impedance (its own √f resistance).
//
// Refused, with the reason, where the grid does not allow it, where a device
// on the line passes a band only, or where the line fills so much of the
// alias-free range that the extrapolation would be noise.
func Step(path *cables.Path, frequencyHz []float64, gamma []complex128, settings StepSettings) (*ImpedanceProfile, error) {
	if path == nil || len(path.Spans) == 0 {
		return nil, errors.New("distance: the line has no span")
	}
	if err := checkGrid(frequencyHz); err != nil {
		return nil, err
	}
	if err := settings.Window.Validate(); err != nil {
		return nil, fmt.Errorf("distance: %w", err)
	}
	if len(gamma) != len(frequencyHz) {
		return nil, fmt.Errorf("distance: %d values at %d frequencies", len(gamma), len(frequencyHz))
	}
	missing, stepHz, err := lowPassGrid(path, frequencyHz)
	if err != nil {
		return nil, err
	}

	n := len(frequencyHz)
	highest := frequencyHz[n-1]
	position := func(f float64) float64 { return min(1, f/highest) }
	known := spectrum{stepHz: stepHz}
	for k, f := range frequencyHz {
		known.add(f, gamma[k])
	}
	at := make([]float64, missing+1, missing+1+n) // DC and the missing points, then the known
	for m := range missing {
		at[m+1] = position(stepHz * float64(m+1))
	}
	for _, f := range frequencyHz {
		at = append(at, position(f))
	}
	weight := evenWindow(settings.Window, at)
	for k := range known.value {
		known.value[k] *= complex(weight[missing+1+k], 0)
	}

	merit := settings.Window.Figures(0)
	margin := merit.FirstNullBins / (2 * highest) // seconds
	end := 2 * path.ElectricalM(path.LengthM()) / cables.SpeedOfLight
	quietFrom, quietTo := end+margin, 1/stepHz-margin
	if !(quietTo > quietFrom) {
		return nil, fmt.Errorf("distance: no low-pass extrapolation: the line fills the alias-free range of %.4g m, a smaller frequency step would leave room", path.PhysicalM(cables.SpeedOfLight/(2*stepHz)))
	}
	found, amplification, err := extrapolate(known, missing, weight, quietFrom, quietTo)
	if err != nil {
		return nil, err
	}
	profile := &ImpedanceProfile{MissingPoints: missing, NoiseAmplification: amplification, DCReflection: real(found.value[0]),
		RiseM: merit.Width6DBBins * cables.SpeedOfLight * fastest(path, math.Inf(1)) / (4 * highest)}
	for k := range found.value {
		found.value[k] *= complex(weight[k], 0)
	}

	// ∫ from just before the test port of the sum of exponentials, term by term.
	to := settings.ToM
	if to == 0 {
		to = path.LengthM()
	}
	points := settings.Points
	if points == 0 {
		points = 1001
	}
	if points < 2 || points > mostPlaces || !(to > settings.FromM) || math.IsInf(to-settings.FromM, 0) {
		return nil, fmt.Errorf("distance: %d places from %g m to %g m are not a range", points, settings.FromM, to)
	}
	start := -margin
	t := make([]float64, points+1)
	t[points] = start
	for i := range points {
		x := settings.FromM + (to-settings.FromM)*float64(i)/float64(points-1)
		profile.DistanceM = append(profile.DistanceM, x)
		t[i] = 2 * path.ElectricalM(x) / cables.SpeedOfLight
	}
	all := spectrum{stepHz: stepHz, omega: append(found.omega[1:], known.omega...), value: append(found.value[1:], known.value...)}
	integral := make([]complex128, len(all.value))
	for k, v := range all.value {
		integral[k] = v * complex(2*stepHz, 0) / complex(0, all.omega[k])
	}
	sums := dsp.NewExponentialSum(all.omega, t, 1e-11).Evaluate(make([]complex128, points+1), integral)
	for i := range points {
		rho := real(sums[i]-sums[points]) + stepHz*real(found.value[0])*(t[i]-start)
		profile.Reflection = append(profile.Reflection, rho)
		rho = max(-impedanceCeiling, min(impedanceCeiling, rho))
		profile.ImpedanceOhm = append(profile.ImpedanceOhm, path.ReferenceOhm*(1+rho)/(1-rho))
	}
	return profile, nil
}

// lowPassGrid returns how many points are missing between DC and the first
// frequency, and the step; or the reason why there is no low-pass answer.
func lowPassGrid(path *cables.Path, frequencyHz []float64) (missing int, stepHz float64, err error) {
	n := len(frequencyHz)
	stepHz = (frequencyHz[n-1] - frequencyHz[0]) / float64(n-1)
	for k := 1; k < n; k++ {
		if math.Abs(frequencyHz[k]-frequencyHz[k-1]-stepHz) > 0.01*stepHz {
			return 0, 0, fmt.Errorf("distance: no low-pass extrapolation: the frequency step at %s is not the %s of the rest, and the step response needs an even grid", hertz(frequencyHz[k]), hertz(stepHz))
		}
	}
	steps := frequencyHz[0] / stepHz
	if steps > mostMissingSteps+offHarmonic {
		return 0, 0, fmt.Errorf("distance: no impedance along the line: the sweep starts at %s, %.3g steps of %s above zero, more than the %d that can be bridged; sweep from %s or below with this step", hertz(frequencyHz[0]), steps, hertz(stepHz), mostMissingSteps, hertz(mostMissingSteps*stepHz))
	}
	nearest := max(1, math.Round(steps))
	if math.Abs(steps-nearest) > offHarmonic {
		return 0, 0, fmt.Errorf("distance: no low-pass extrapolation: the first frequency %s is %.3g steps of %s; the frequencies must be multiples of the step", hertz(frequencyHz[0]), steps, hertz(stepHz))
	}
	for _, span := range path.Spans {
		if d := span.Device; d != nil && d.PassbandHz[0] > 0 {
			return 0, 0, fmt.Errorf("distance: no low-pass extrapolation: the %s passes only %s and up, so that the line behind it has no response at low frequency", d.Kind, hertz(d.PassbandHz[0]))
		}
	}
	return int(nearest) - 1, stepHz, nil
}

// spectrum is a few points of a real signal's spectrum: the signal is
// stepHz·(value at ω = 0 + 2·Re Σ value·e^{jωt}).
type spectrum struct {
	stepHz float64
	omega  []float64
	value  []complex128
}

func (s *spectrum) add(frequencyHz float64, value complex128) {
	s.omega = append(s.omega, 2*math.Pi*frequencyHz)
	s.value = append(s.value, value)
}

// extrapolate returns DC and the missing points (unweighted) that, with the
// known and weighted ones, make the signal least from quietFrom to quietTo, and
// the largest factor by which errors of the known points grow in them.
func extrapolate(known spectrum, missing int, weight []float64, quietFrom, quietTo float64) (found spectrum, amplification float64, err error) {
	found.stepHz = known.stepHz
	found.add(0, 0)
	for m := range missing {
		found.add(known.stepHz*float64(m+1), 0)
	}
	rows := 2 * (len(known.value) + missing + 1) // the signal's own sampling over the whole period
	t := make([]float64, rows)
	for i := range t {
		t[i] = quietFrom + (quietTo-quietFrom)*(float64(i)+0.5)/float64(rows)
	}
	doubled := make([]complex128, len(known.value))
	for k, v := range known.value {
		doubled[k] = 2 * v
	}
	signal := dsp.NewExponentialSum(known.omega, t, 1e-12).Evaluate(make([]complex128, rows), doubled)
	unknowns := 1 + 2*missing
	a, b := mat.NewDense(rows, unknowns, nil), mat.NewVecDense(rows, nil)
	for i, when := range t {
		b.SetVec(i, -real(signal[i]))
		a.Set(i, 0, weight[0])
		for m := 1; m <= missing; m++ {
			sin, cos := math.Sincos(found.omega[m] * when)
			a.Set(i, 2*m-1, 2*weight[m]*cos)
			a.Set(i, 2*m, -2*weight[m]*sin)
		}
	}
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDThin) {
		return found, 0, errors.New("distance: no low-pass extrapolation: its least squares did not converge")
	}
	// White noise on the points gives the signal, at these rows, the norm
	// √(2·rows) for each unit, so 1/σ_min of the normalised matrix is the growth.
	values := svd.Values(nil)
	amplification = math.Sqrt(2*float64(rows)) / values[len(values)-1]
	if amplification > mostAmplification {
		return found, amplification, fmt.Errorf("distance: no low-pass extrapolation: the line fills so much of the alias-free range that noise would grow %.3g times in the %d missing points; a smaller step or a lower start would mend it", amplification, missing+1)
	}
	var x mat.VecDense
	svd.SolveVecTo(&x, b, unknowns)
	found.value[0] = complex(x.AtVec(0), 0)
	for m := 1; m <= missing; m++ {
		found.value[m] = complex(x.AtVec(2*m-1), x.AtVec(2*m))
	}
	return found, amplification, nil
}

// evenWindow returns the window at positions 0...1 of its upper half.
func evenWindow(window dsp.Window, u []float64) []float64 {
	n := len(u)
	both := make([]float64, 0, 2*n)
	for _, v := range u {
		both = append(both, v, -v) // as many points as the two-sided band has
	}
	both = window.At(both, both)
	weight := make([]float64, n)
	for k := range weight {
		weight[k] = both[2*k]
	}
	return weight
}
