package calibration

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"downlead/dsp/sweep"
)

// Standards are the raw sweeps of the three standards, on one grid.
type Standards struct{ Open, Short, Load *sweep.Sweep }

// standardNames are the standards in the order used throughout: open, short,
// load.
var standardNames = [3]string{"open", "short", "load"}

func (s Standards) list() [3]*sweep.Sweep { return [3]*sweep.Sweep{s.Open, s.Short, s.Load} }

// ErrorTerms are an instrument's own errors, one value per frequency in each
// slice, with what the checks found.
type ErrorTerms struct {
	FrequencyHz  []float64
	Directivity  []complex128 // e00
	SourceMatch  []complex128 // e11
	Tracking     []complex128 // e10e01
	ReferenceOhm float64
	// Condition is the 1-norm condition number of the three equations, each
	// unknown scaled to its own size: a bound on how much larger a relative
	// error of the terms is than one of the readings. Perfect standards on a
	// perfect instrument give 6.
	Condition []float64
	// Problems are what the checks found; they decide what [ErrorTerms.Correct]
	// says about its sweep. Append those of [CheckConditions].
	Problems []Problem
	// Limits says what the checks could not judge here.
	Limits []string
	// Residual is what a fourth known device showed; nil when none was
	// measured. See [ErrorTerms.Adopt].
	Residual *Residual
}

// Solve finds the instrument's error terms from measured standards and their
// definitions; kit nil stands for [IdealKit]. Formula and source: see the
// package comment.
//
// Where the problems found make a correction wrong, the error is a
// *[Refusal]; the terms come with it when they could be computed, so that a
// caller who insists gets a sweep marked as doubtful.
func Solve(kit *Kit, standards Standards) (*ErrorTerms, []Problem, error) {
	if err := standards.check(); err != nil {
		return nil, nil, err
	}
	frequencyHz, referenceOhm := standards.Open.FrequencyHz, standards.Open.ReferenceOhm

	var problems []Problem
	if kit == nil {
		kit = IdealKit(referenceOhm)
	}
	if kit.Ideal {
		problems = append(problems, Problem{
			Kind: KindKit, Severity: Note,
			Text: "no definitions of the standards were given: perfect ones are assumed, which shifts places by about a centimetre and turns the phase by tens of degrees above 1 GHz",
			Mend: "give the kit file that came with the standards",
		})
	}

	var raw, known [3][]complex128
	for i, s := range standards.list() {
		raw[i] = s.Gamma
		known[i] = make([]complex128, len(frequencyHz))
		for k, f := range frequencyHz {
			known[i][k] = [3]Definition{kit.Open, kit.Short, kit.Load}[i].Reflection(f, referenceOhm)
		}
	}
	alike := checkAlike(known, raw)
	problems = append(problems, alike...)
	solved, err := solveTerms(frequencyHz, known, raw)
	if err != nil {
		if alike != nil {
			err = refusal(problems)
		}
		return nil, problems, err
	}
	terms := &ErrorTerms{
		FrequencyHz:  append([]float64(nil), frequencyHz...),
		Directivity:  solved.directivity,
		SourceMatch:  solved.sourceMatch,
		Tracking:     solved.tracking,
		Condition:    solved.condition,
		ReferenceOhm: referenceOhm,
	}
	if alike == nil {
		found, limits := checkTerms(frequencyHz, known, raw, solved)
		problems = append(problems, found...)
		terms.Limits = limits
	}
	terms.Problems = append([]Problem(nil), problems...)
	return terms, problems, refusal(problems)
}

// check refuses standards that no equation can be made of.
func (s Standards) check() error {
	list := s.list()
	for i, sw := range list {
		if sw == nil {
			return fmt.Errorf("calibrating: no sweep of the %s; measure open, short and load", standardNames[i])
		}
		if len(sw.FrequencyHz) == 0 || len(sw.FrequencyHz) != len(sw.Gamma) {
			return fmt.Errorf("calibrating: the %s (%s) has %d frequencies and %d readings; measure it again", standardNames[i], sw.Name, len(sw.FrequencyHz), len(sw.Gamma))
		}
		if sw.Correction == sweep.Corrected || sw.Correction == sweep.Doubtful {
			return fmt.Errorf("calibrating: the %s (%s) is already corrected; give its raw sweep", standardNames[i], sw.Name)
		}
		for k, g := range sw.Gamma {
			if f := sw.FrequencyHz[k]; !finite(g) || !(f > 0) || math.IsInf(f, 1) || k > 0 && !(f > sw.FrequencyHz[k-1]) {
				return fmt.Errorf("calibrating: the %s (%s) has no usable reading at point %d (%s); measure it again", standardNames[i], sw.Name, k+1, hz(f))
			}
		}
	}
	for i, sw := range list[1:] {
		name := standardNames[i+1]
		if sw.ReferenceOhm != list[0].ReferenceOhm || !(sw.ReferenceOhm > 0) {
			return &Refusal{[]Problem{{Kind: KindReference, Severity: Refuse,
				Text: fmt.Sprintf("the open is in %g ohm, the %s in %g ohm", list[0].ReferenceOhm, name, sw.ReferenceOhm),
				Mend: "measure all standards with one reference impedance"}}}
		}
		if where := gridsDiffer(list[0].FrequencyHz, sw.FrequencyHz); where != "" {
			return &Refusal{[]Problem{{Kind: KindGrid, Severity: Refuse,
				Text: fmt.Sprintf("the frequencies of the open and the %s differ: %s", name, where),
				Mend: "measure open, short and load in one go with the same start, stop and number of points"}}}
		}
	}
	return nil
}

// gridsDiffer says in words how two grids differ; empty when they agree to a
// thousandth of a step, far below what turns a phase visibly.
func gridsDiffer(a, b []float64) string {
	if len(a) != len(b) {
		return fmt.Sprintf("%s to %s in %d points against %s to %s in %d points",
			hz(a[0]), hz(a[len(a)-1]), len(a), hz(b[0]), hz(b[len(b)-1]), len(b))
	}
	for k := range a {
		if !(math.Abs(a[k]-b[k]) <= gridTolerance(a, k)) {
			return fmt.Sprintf("point %d lies at %s against %s", k+1, hz(a[k]), hz(b[k]))
		}
	}
	return ""
}

// gridTolerance is the difference at point k that still counts as the same
// frequency: a thousandth of the step to the nearer neighbour.
func gridTolerance(f []float64, k int) float64 {
	step := math.Inf(1)
	if k > 0 {
		step = f[k] - f[k-1]
	}
	if k+1 < len(f) {
		step = min(step, f[k+1]-f[k])
	}
	if math.IsInf(step, 1) {
		return 1e-9 * f[k]
	}
	return 1e-3 * step
}

// solution is the error terms without their history.
type solution struct {
	directivity, sourceMatch, tracking []complex128
	condition                          []float64
}

var errSingular = errors.New("equations without a solution")

// solveTerms solves Γm = e00 + Γ·Γm·e11 + Γ·c, c = e10e01 − e00·e11, at
// each frequency. known and raw hold open, short, load.
func solveTerms(frequencyHz []float64, known, raw [3][]complex128) (solution, error) {
	n := len(frequencyHz)
	s := solution{make([]complex128, n), make([]complex128, n), make([]complex128, n), make([]float64, n)}
	for k := range n {
		var a [3][3]complex128
		var m [3]complex128
		for i := range 3 {
			g := known[i][k]
			m[i] = raw[i][k]
			a[i] = [3]complex128{1, g * m[i], g}
		}
		inverse, err := invert(a)
		if err != nil {
			return solution{}, fmt.Errorf("calibrating at %s: two standards cannot be told apart: %w; measure open, short and load again and check the kit file", hz(frequencyHz[k]), err)
		}
		var x [3]complex128
		for i := range 3 {
			x[i] = inverse[i][0]*m[0] + inverse[i][1]*m[1] + inverse[i][2]*m[2]
		}
		s.directivity[k], s.sourceMatch[k], s.tracking[k] = x[0], x[1], x[2]+x[0]*x[1]
		s.condition[k] = condition(a, inverse)
	}
	return s, nil
}

// invert inverts a 3×3 matrix by Gauss-Jordan elimination with partial
// pivoting.
func invert(a [3][3]complex128) ([3][3]complex128, error) {
	inverse := [3][3]complex128{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	scale := norm1(a)
	for c := range 3 {
		pivot := c
		for r := c + 1; r < 3; r++ {
			if cmplx.Abs(a[r][c]) > cmplx.Abs(a[pivot][c]) {
				pivot = r
			}
		}
		// Below this the answer would be rounding error alone.
		if !(cmplx.Abs(a[pivot][c]) > 1e-13*scale) {
			return inverse, errSingular
		}
		a[c], a[pivot] = a[pivot], a[c]
		inverse[c], inverse[pivot] = inverse[pivot], inverse[c]
		p := 1 / a[c][c]
		for j := range 3 {
			a[c][j] *= p
			inverse[c][j] *= p
		}
		for r := range 3 {
			if r == c {
				continue
			}
			q := a[r][c]
			for j := range 3 {
				a[r][j] -= q * a[c][j]
				inverse[r][j] -= q * inverse[c][j]
			}
		}
	}
	return inverse, nil
}

// condition is the condition number of a with its columns scaled to a largest
// entry of 1, so that a raw scale of the readings does not count.
func condition(a, inverse [3][3]complex128) float64 {
	for c := range 3 {
		size := complex(max(cmplx.Abs(a[0][c]), cmplx.Abs(a[1][c]), cmplx.Abs(a[2][c])), 0)
		for r := range 3 {
			a[r][c] /= size
			inverse[c][r] *= size
		}
	}
	return norm1(a) * norm1(inverse)
}

// norm1 is the largest column sum of magnitudes.
func norm1(a [3][3]complex128) float64 {
	var largest float64
	for c := range 3 {
		largest = max(largest, cmplx.Abs(a[0][c])+cmplx.Abs(a[1][c])+cmplx.Abs(a[2][c]))
	}
	return largest
}
