package series

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"downlead/cables"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// Schema names the JSON form of a Result.
const Schema = "downlead/series/1"

// Settings of Find. The zero value is a good default.
type Settings struct {
	// FalseAlarmRate is the probability, at most, that a series in which nothing
	// moves shows a place anywhere. 0: 1e-3.
	FalseAlarmRate float64
	PlaneSigmaM    float64 // how well the reference plane is known; 0: 5 mm
}

// Result is what a series shows.
type Result struct {
	Schema         string  `json:"schema"`
	Sweeps         int     `json:"sweeps"`
	FalseAlarmRate float64 `json:"false_alarm_rate"`
	// NoiseDB is the noise of one point of one sweep against a total reflection,
	// dB, as the series shows it.
	NoiseDB  float64  `json:"noise_db"`
	Places   []Place  `json:"places"` // nearest first, never null
	Echoes   []Echo   `json:"echoes"` // never null
	Length   Drift    `json:"length"` // electrical length to what reflects most
	Gain     Drift    `json:"gain"`   // of everything together
	Port     Drift    `json:"port"`   // directivity, or the connector at the test port
	Summary  string   `json:"summary"`
	Warnings []string `json:"warnings,omitempty"`
	Map      Map      `json:"-"`
}

// Motion says how something moves.
type Motion string

// The kinds of motion.
const (
	Steady Motion = "steady"
	Jumps  Motion = "jumps"  // from one sweep to the next
	Drifts Motion = "drifts" // slowly, to one side
	Swings Motion = "swings" // slowly, to and fro
)

// Place is where the line moves.
type Place struct {
	DistanceM float64 `json:"distance_m"`
	SigmaM    float64 `json:"sigma_m"`
	Place     string  `json:"place"` // in words
	Motion    Motion  `json:"motion"`
	// RMSDB and PeakDB are the change of the local reflection from its mean over the
	// series, and at most from its resting state, dB against a total reflection.
	RMSDB   float64 `json:"rms_db"`
	PeakDB  float64 `json:"peak_db"`
	FloorDB float64 `json:"floor_db"` // noise of one sweep here, in the same terms
	// Moved are the sweeps, from 1, in which it is away from its resting state
	// (the median) by more than 4 sigma and a tenth of its largest change; Jumped
	// those before which it jumped.
	Moved  []int `json:"moved"`
	Jumped []int `json:"jumped"`
	// Trace is the change of the local reflection from its median, one per sweep,
	// along the direction in the complex plane in which it moves most.
	Trace []float64 `json:"trace"`

	changes []complex128 // of the local reflection, by its own columns
	left    []complex128 // the same, as what the others leave: too small, but with less noise
}

// Echo is a place that moves in step with one in front of it: what passes there
// is changed too.
type Echo struct {
	DistanceM float64 `json:"distance_m"`
	OfM       float64 `json:"of_m"`
	RMSDB     float64 `json:"rms_db"`
}

// Drift is something that all places do together. Trace has one value per sweep,
// from the series' mean, with standard deviation Sigma; Motion is Steady when
// noise explains it.
type Drift struct {
	Unit   string    `json:"unit"`
	Motion Motion    `json:"motion"`
	Range  float64   `json:"range"` // largest less smallest
	Sigma  float64   `json:"sigma"`
	Trace  []float64 `json:"trace"`
}

// Map is the change along the line in each sweep from the median of all, what all
// places do together taken out, and with it most of what one does to those behind
// it: for a picture of distance against sweep.
type Map struct {
	DistanceM []float64
	ChangeDB  [][]float64 // per sweep and place; dB against a total reflection, the loss removed
	FloorDB   []float64   // per place: noise of one sweep
}

// LeastSweeps is how many sweeps make a series.
const LeastSweeps = 4

// Bounds of the search.
const (
	mostPlaces   = 12
	mostRounds   = 40
	guardCells   = 1.25 // about a place, within which there is no other
	portCells    = 1.0  // in front, where changes are the port's
	mostAtPlace  = 3    // times that a place may take more columns
	mostSettling = 4    // rounds of moving places
	// so many sigmas of sizeSigma: then it may be what reflects most that changes
	beyondInstrument = 3.0
	spikesAbove      = 6.0 // times the median of the neighbours on either side
	spikeNeighbours  = 8
	mostSpikes       = 0.05 // of a sweep's points
	awaySigmas       = 4.0
	awayShare        = 0.1
	shareOfJumps     = 0.55 // of the whole range, that one step takes where something jumps
	trendRelated     = 0.85 // correlation with the number of the sweep where something drifts
	stepInStep       = 0.9  // squared correlation of an echo with what it echoes, at least
	chanceInStep     = 1e-3 // and no more likely by chance than this
	leakDB           = 30.0 // so far under a place, what moves in step is no better known than the model
	driftUnlikely    = 1e-4 // probability that noise alone drifts so
	stepLeaves       = 0.03 // of what places do to everything may be left when that is taken out
	leastGainDB      = 0.005
	leastLengthMM    = 0.02
	leastPort        = 3e-4 // an instrument holds gain, length and port no better (common practice, no source)
)

// Find says where the line moves in a series of at least four sweeps, in the
// order they were taken. The sweeps must have the same frequencies and reference.
// It gives up with ctx's error when ctx ends.
func Find(ctx context.Context, sweeps []*sweep.Sweep, record *cables.Line, settings Settings) (*Result, error) {
	if settings.FalseAlarmRate == 0 {
		settings.FalseAlarmRate = 1e-3
	}
	if settings.PlaneSigmaM == 0 {
		settings.PlaneSigmaM = 0.005
	}
	if err := alike(sweeps); err != nil {
		return nil, err
	}
	path, err := record.Path()
	if err != nil {
		return nil, err
	}
	hits := interference(sweeps)
	mean := meanOf(sweeps, hits)
	found, err := locate.Find(ctx, mean, locate.Line{Path: path, Load: record.Load, OpenEnded: record.Load.Kind == cables.Unstated}, locate.Settings{})
	if err != nil {
		return nil, err
	}
	s, err := newSearch(sweeps, mean, hits, found, path, record, settings)
	if err != nil {
		return nil, err
	}
	if err := s.run(ctx); err != nil {
		return nil, err
	}
	return s.result(), nil
}

// alike says what keeps sweeps from being a series.
func alike(sweeps []*sweep.Sweep) error {
	if len(sweeps) < LeastSweeps {
		return fmt.Errorf("%d sweeps are no series: noise and motion can be told apart from %d on", len(sweeps), LeastSweeps)
	}
	first := sweeps[0]
	for _, s := range sweeps[1:] {
		if len(s.FrequencyHz) != len(first.FrequencyHz) || len(s.Gamma) != len(s.FrequencyHz) {
			return fmt.Errorf("%s has %d points and %s %d: a series needs the same frequencies in all sweeps", s.Name, len(s.FrequencyHz), first.Name, len(first.FrequencyHz))
		}
		if math.Abs(s.ReferenceOhm-first.ReferenceOhm) > 1e-6 {
			return fmt.Errorf("%s is in %g ohm and %s in %g ohm: a series needs the same reference in all sweeps", s.Name, s.ReferenceOhm, first.Name, first.ReferenceOhm)
		}
		for k, f := range s.FrequencyHz {
			if math.Abs(f-first.FrequencyHz[k]) > 1e-6*f {
				return fmt.Errorf("point %d of %s is at %g Hz and that of %s at %g Hz: a series needs the same frequencies in all sweeps", k+1, s.Name, f, first.Name, first.FrequencyHz[k])
			}
		}
	}
	return nil
}

// interference returns, per sweep, the points that single out themselves: far from
// the median of all sweeps against their neighbours in frequency, as what hits the
// sweep from outside, and not as what moves on the line.
func interference(sweeps []*sweep.Sweep) [][]int {
	n := len(sweeps[0].FrequencyHz)
	median := make([]complex128, n)
	re, im := make([]float64, len(sweeps)), make([]float64, len(sweeps))
	for k := range median {
		for i, s := range sweeps {
			re[i], im[i] = real(s.Gamma[k]), imag(s.Gamma[k])
		}
		median[k] = complex(middle(re), middle(im))
	}
	hits := make([][]int, len(sweeps))
	away, around := make([]float64, n), make([]float64, 0, 2*spikeNeighbours)
	for i, s := range sweeps {
		for k, g := range s.Gamma {
			away[k] = cmplx.Abs(g - median[k])
		}
		var hit []int
		for k := range away {
			around = around[:0]
			for j := max(0, k-spikeNeighbours); j < min(n, k+spikeNeighbours+1); j++ {
				if j != k {
					around = append(around, away[j])
				}
			}
			if away[k] > spikesAbove*middle(around) {
				hit = append(hit, k)
			}
		}
		if len(hit) <= int(mostSpikes*float64(n)) { // else they are not single points
			hits[i] = hit
		}
	}
	return hits
}

// meanOf returns the mean sweep, without the hits.
func meanOf(sweeps []*sweep.Sweep, hits [][]int) *sweep.Sweep {
	m := *sweeps[0]
	m.Name, m.TwoPort = "mean", nil
	m.Gamma = make([]complex128, len(m.FrequencyHz))
	count := make([]float64, len(m.FrequencyHz))
	for i, s := range sweeps {
		for k, g := range s.Gamma {
			if _, hit := slices.BinarySearch(hits[i], k); !hit {
				m.Gamma[k] += g
				count[k]++
			}
		}
	}
	for k := range m.Gamma {
		if count[k] == 0 { // hit in all: locate leaves it out
			m.Gamma[k] = sweeps[0].Gamma[k]
			continue
		}
		m.Gamma[k] /= complex(count[k], 0)
	}
	return &m
}

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
