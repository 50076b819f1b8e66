package series

import (
	"cmp"
	"context"
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// search is the state of one Find.
type search struct {
	line
	settings   Settings
	record     *cables.Line
	found      *locate.Result
	mean       []complex128
	deviations [][]complex128
	hits       [][]int // per sweep: points that are not believed
	view       *view
	thresholds thresholds
	sigma      float64 // rms of the real part of a point of a deviation, as known before the search
	shares     []share // those that common keeps
	common     *frame
	places     []*candidate

	// By refit:
	frame     *frame      // common and the places' columns
	fitted    [][]float64 // per sweep: the coefficients
	residuals [][]complex128
	noise     float64 // variance of a profile of a residual
	cost      float64 // of all sweeps, in squares of sigma
}

// candidate is a place with its columns, each with a complex coefficient.
type candidate struct {
	x        float64
	largest  float64 // change of any sweep, about
	columns  [][]complex128
	first    int // of its columns in the frame
	past     int
	enlarged int
}

func newSearch(sweeps []*sweep.Sweep, mean *sweep.Sweep, hits [][]int, found *locate.Result, path *cables.Path, record *cables.Line, settings Settings) (*search, error) {
	hz := mean.FrequencyHz
	n := len(hz)
	s := &search{settings: settings, record: record, found: found, mean: mean.Gamma,
		line: line{fit: found.Fit, path: path, load: record.Load.Kind, hz: hz, q: make([]complex128, n), used: make([]complex128, n)}}
	for k, f := range hz {
		s.q[k], s.used[k] = complex((2*f-hz[0]-hz[n-1])/(hz[n-1]-hz[0]), 0), 1
	}
	for _, k := range found.LeftOut {
		s.used[k] = 0
	}
	s.hits = hits
	for i, one := range sweeps {
		d := make([]complex128, n)
		for k, g := range one.Gamma {
			d[k] = (g - mean.Gamma[k]) * s.used[k]
		}
		for _, k := range hits[i] {
			d[k] = 0
		}
		s.deviations = append(s.deviations, d)
	}
	var err error
	if s.view, err = newView(&s.line); err != nil {
		return nil, err
	}
	s.thresholds = newThresholds(settings.FalseAlarmRate, len(sweeps), len(s.view.x))
	s.sigma = math.Sqrt(s.view.noise(s.deviations) / s.view.noiseGain / 2)
	s.common = &frame{}
	for _, one := range s.together(mean.Gamma) {
		if s.common.add(one.column, one.sigma, s.sigma) {
			s.shares = append(s.shares, one)
		}
	}
	return s, nil
}

// refit fits all columns to all sweeps.
func (s *search) refit() {
	s.frame = s.common.copy()
	s.fitted, s.residuals, s.cost = s.fitPlaces(s.frame, s.places)
	for i, hit := range s.hits { // where nothing is known, what is fitted stands
		for _, k := range hit {
			s.deviations[i][k] -= s.residuals[i][k]
			s.residuals[i][k] = 0
		}
	}
	s.noise = s.view.noise(s.residuals)
}

// fitPlaces adds the places' columns to a frame and fits that.
func (s *search) fitPlaces(frame *frame, places []*candidate) (fitted [][]float64, residuals [][]complex128, cost float64) {
	for _, p := range places {
		p.first = len(frame.q)
		for _, c := range p.columns {
			frame.addBoth(c, placeSigma*p.largest, s.sigma)
		}
		p.past = len(frame.q)
	}
	for _, d := range s.deviations {
		c, left, one := frame.fit(d)
		fitted, residuals, cost = append(fitted, c), append(residuals, left), cost+one/(s.sigma*s.sigma)
	}
	return fitted, residuals, cost
}

// run finds the places. Where everything changes in size by more than an
// instrument does, it tries whether that is what reflects most.
func (s *search) run(ctx context.Context) error {
	if err := s.grow(ctx); err != nil {
		return err
	}
	if s.largestGain() < beyondInstrument*sizeSigma {
		return nil
	}
	plain := *s
	x := s.strongest()
	kernel, _ := s.view.kernel(&s.line, x)
	largest := cmplx.Abs(inner(kernel, product(s.mean, s.used))) * s.largestGain()
	s.places = []*candidate{{x: x, largest: largest, columns: s.local(x, largest, 2*s.sigma*s.sigma)}}
	if err := s.grow(ctx); err != nil {
		return err
	}
	if s.price() > plain.price() {
		*s = plain
	}
	return nil
}

// price is the cost, with what the places' columns cost by being there: G.
// Schwarz, Ann. Stat. 6(2), 1978 (from memory).
func (s *search) price() float64 { return s.cost + s.penalty(len(s.frame.q)-len(s.common.q)) }

func (s *search) penalty(columns int) float64 {
	return float64(columns*len(s.deviations)) * math.Log(2*float64(len(s.hz)))
}

// largestGain is the largest relative change of size of everything in any sweep.
func (s *search) largestGain() float64 {
	most := 0.0
	for _, c := range s.fitted {
		for j, share := range s.shares {
			if share.kind == ofSize {
				most = math.Max(most, math.Abs(c[j]))
			}
		}
	}
	return most
}

// grow adds places until nothing is left, and takes those out again that are not
// needed.
func (s *search) grow(ctx context.Context) error {
	s.refit()
	for range mostRounds {
		if err := ctx.Err(); err != nil {
			return err
		}
		profiles := s.view.profiles(s.residuals)
		guarded, courses := s.guarded(), s.courses()
		i := s.thresholds.strongest(profiles, s.noise, guarded)
		for i >= 0 && s.leaks(profiles, i, courses) {
			guarded[i] = true
			i = s.thresholds.strongest(profiles, s.noise, guarded)
		}
		if i < 0 || !s.take(profiles, i) {
			break
		}
		s.refit()
	}
	s.prune()
	s.settle()
	s.prune()
	return ctx.Err()
}

// guarded marks the places of the view where nothing more is looked for.
func (s *search) guarded() []bool {
	out := make([]bool, len(s.view.x))
	for i, x := range s.view.x {
		out[i] = x < portCells*s.fit.Cell(0)
		for _, p := range s.places {
			if p.enlarged >= mostAtPlace && s.near(p.x, x) {
				out[i] = true
			}
		}
	}
	return out
}

// courses are the changes, one per sweep, of all places so far, and of what all do
// together where the line reflects most.
func (s *search) courses() [][]complex128 {
	kernel, _ := s.view.kernel(&s.line, s.strongest())
	all := make([]complex128, len(s.residuals))
	for k := range all {
		sum := make([]complex128, len(s.hz))
		for j := range s.shares {
			subtract(sum, -s.fitted[k][j], s.frame.columns[j])
		}
		all[k] = inner(kernel, sum)
	}
	out := [][]complex128{all}
	for i, p := range s.places {
		kernel, _ := s.view.kernel(&s.line, p.x)
		course := make([]complex128, len(s.residuals))
		for k, rest := range s.residuals {
			course[k] = inner(kernel, s.own(i, k, rest))
		}
		out = append(out, course)
	}
	return out
}

// leaks says whether place i of the view moves only as something else does that
// is far stronger, or as its square: the model is not exact, and leaves a little.
func (s *search) leaks(profiles [][]complex128, i int, courses [][]complex128) bool {
	n := len(profiles)
	own, power := make([]complex128, n), 0.0
	for k, p := range profiles {
		own[k] = p[i]
		power += square(p[i])
	}
	var strong frame
	for _, c := range courses {
		if dot(c, c) < power/(s.view.shrink[i]*s.view.shrink[i])*math.Pow(10, leakDB/10) {
			continue
		}
		squares := make([]complex128, n)
		for k, v := range c {
			squares[k] = complex(square(v), 0)
		}
		strong.addBoth(c, 1, 0)
		strong.addBoth(squares, 1, 0)
		if len(strong.q) > n { // with as many, anything is in step
			break
		}
	}
	if len(strong.q) == 0 {
		return false
	}
	_, left, _ := strong.fit(own)
	rest := make([][]complex128, n)
	for k := range rest {
		rest[k] = left[k : k+1]
	}
	return s.thresholds.excess(rest, 0, s.noise) <= 1
}

// near says whether two places are one. What the far end does rings behind it.
func (s *search) near(a, b float64) bool {
	return math.Abs(a-b) < guardCells*s.fit.Cell(a) || s.far(a) && s.far(b)
}

// take makes place i of the view a candidate, or gives the one that is there more
// columns; false when there are enough.
func (s *search) take(profiles [][]complex128, i int) bool {
	x := s.view.refine(profiles, i)
	largest := 0.0
	for _, p := range profiles {
		largest = math.Max(largest, cmplx.Abs(p[i])/s.view.shrink[i])
	}
	for _, p := range s.places {
		if s.near(p.x, x) {
			p.largest = math.Max(p.largest, largest)
			gain, _ := s.at(x)
			p.columns = append(slices.Clone(p.columns), s.powers(gain, 2)...)
			p.enlarged++
			return true
		}
	}
	if len(s.places) == mostPlaces {
		return false
	}
	s.places = append(s.places, &candidate{x: x, largest: largest, columns: s.local(x, largest, 2*s.sigma*s.sigma)})
	return true
}

// prune takes out again what is not needed beside the others, the weakest first,
// and makes one of two that have moved together.
func (s *search) prune() {
	for i := len(s.places) - 1; i >= 0; i-- {
		for j := range i {
			if s.near(s.places[i].x, s.places[j].x) {
				s.places[j].columns = append(slices.Clone(s.places[j].columns), s.places[i].columns...)
				s.places = slices.Delete(s.places, i, i+1)
				s.refit()
				break
			}
		}
	}
	for again := true; again; {
		again = false
		for i := len(s.places) - 1; i >= 0; i-- {
			if !s.needed(i) {
				s.places = slices.Delete(s.places, i, i+1)
				s.refit()
				again = true
			}
		}
	}
	s.refit()
}

// without returns what the others leave of the deviations, and at what cost.
func (s *search) without(i int) ([][]complex128, float64) {
	var others []*candidate
	for j, p := range s.places {
		if j != i {
			copied := *p
			others = append(others, &copied)
		}
	}
	_, left, cost := s.fitPlaces(s.common.copy(), others)
	return left, cost
}

// needed says whether the others leave something at place i, or have to change
// more than they can.
func (s *search) needed(i int) bool {
	p := s.places[i]
	left, cost := s.without(i)
	if cost-s.cost > s.penalty(p.past-p.first) {
		return true
	}
	noise, profiles := s.view.noise(left), s.view.profiles(left)
	for j, at := range s.view.x {
		if s.near(p.x, at) && s.thresholds.excess(profiles, j, noise) > 1 {
			return true
		}
	}
	return false
}

// settle moves each place to where its own contribution peaks, until none moves.
func (s *search) settle() {
	for range mostSettling {
		moved := 0.0
		for i, p := range s.places {
			if s.load == cables.Antenna && s.far(p.x) {
				continue // its taps cover it
			}
			if x, ok := s.peak(i); ok {
				moved = math.Max(moved, math.Abs(x-p.x)/s.fit.Cell(x))
				p.x = x
			}
		}
		if moved < 0.02 {
			break
		}
		for _, p := range s.places {
			p.columns = s.local(p.x, p.largest, 2*s.sigma*s.sigma)
		}
		slices.SortFunc(s.places, func(a, b *candidate) int { return cmp.Compare(a.x, b.x) })
		s.refit()
	}
}

// peak returns where place i's own contribution peaks.
func (s *search) peak(i int) (x float64, ok bool) {
	p := s.places[i]
	own := make([][]complex128, len(s.residuals))
	for k, r := range s.residuals {
		own[k] = s.own(i, k, r)
	}
	profiles := s.view.profiles(own)
	best, at := 0.0, -1
	for j, x := range s.view.x {
		if math.Abs(x-p.x) < 0.8*s.fit.Cell(p.x) {
			power := 0.0
			for _, profile := range profiles {
				power += square(profile[j])
			}
			if power > best {
				best, at = power, j
			}
		}
	}
	if at < 0 {
		return 0, false
	}
	return s.view.refine(profiles, at), true
}

// own returns what place i contributes to sweep k, on top of rest.
func (s *search) own(i, k int, rest []complex128) []complex128 {
	out := slices.Clone(rest)
	p := s.places[i]
	for j := p.first; j < p.past; j++ {
		subtract(out, -s.fitted[k][j], s.frame.columns[j])
	}
	return out
}
