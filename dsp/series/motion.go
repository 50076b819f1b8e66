package series

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// result tells what the search has found.
func (s *search) result() *Result {
	r := &Result{Schema: Schema, Sweeps: len(s.deviations), FalseAlarmRate: s.settings.FalseAlarmRate, Places: []Place{}, Echoes: []Echo{},
		NoiseDB: 10 * math.Log10(s.pointNoise())}
	var all []Place
	for i := range s.places {
		all = append(all, s.place(i))
	}
	r.Places, r.Echoes = s.withoutEchoes(all, r.Places, r.Echoes)
	frame, fitted := s.bare()
	s.drifts(r, frame, fitted)
	s.drawMap(r, frame, fitted)
	s.say(r)
	return r
}

// pointNoise is the variance of one point of one sweep: the deviations from a
// mean have a little less.
func (s *search) pointNoise() float64 {
	n := float64(len(s.deviations))
	return s.noise / s.view.noiseGain * n / (n - 1)
}

// place describes candidate i.
func (s *search) place(i int) Place {
	c := s.places[i]
	kernel, power := s.view.kernel(&s.line, c.x)
	changes, left := make([]complex128, len(s.residuals)), make([]complex128, len(s.residuals))
	sum := 0.0
	for k, rest := range s.residuals {
		changes[k] = inner(kernel, s.own(i, k, rest))
		sum += square(changes[k])
	}
	leaves, _ := s.without(i)
	for k, rest := range leaves {
		left[k] = inner(kernel, rest)
	}
	n := float64(len(changes))
	sigma := math.Sqrt(power * s.noise / s.view.noiseGain) // of a change, complex
	p := Place{DistanceM: c.x, Place: s.words(c.x), changes: changes, left: left, FloorDB: decibels(sigma),
		RMSDB: decibels(math.Sqrt(math.Max(sum/n-sigma*sigma, sigma*sigma/n)))}
	p.Trace = along(changes)
	p.describe(sigma / math.Sqrt2)

	// The bound on the place of a reflection whose size is free in each sweep: S. M.
	// Kay, "Estimation Theory", ch. 3 (from memory).
	gain, _ := s.at(c.x)
	beta := s.fit.Gamma[s.path.SpanAt(c.x)]
	var weight, first, second float64
	for k, g := range gain {
		w, b := square(g), 2*imag(beta[k])
		weight, first, second = weight+w, first+w*b, second+w*b*b
	}
	information := 2 / s.pointNoise() * sum * (second - first*first/weight)
	p.SigmaM = math.Sqrt(1/information + s.path.VelocityVariance(c.x) + s.settings.PlaneSigmaM*s.settings.PlaneSigmaM)
	return p
}

// along returns the changes from their median along the direction in which they
// vary most.
func along(changes []complex128) []float64 {
	var mean, turn complex128
	for _, c := range changes {
		mean += c / complex(float64(len(changes)), 0)
	}
	for _, c := range changes {
		turn += (c - mean) * (c - mean)
	}
	axis := cmplx.Rect(1, -cmplx.Phase(turn)/2)
	out := make([]float64, len(changes))
	for k, c := range changes {
		out[k] = real(c * axis)
	}
	median := middle(out)
	if -slices.Min(out)+median > slices.Max(out)-median { // the larger side is positive
		for k := range out {
			out[k] = -out[k]
		}
		median = -median
	}
	for k := range out {
		out[k] -= median
	}
	return out
}

func middle(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return (sorted[(len(sorted)-1)/2] + sorted[len(sorted)/2]) / 2
}

// describe fills how and when the place moved, from its trace with noise sigma.
func (p *Place) describe(sigma float64) {
	p.Motion, p.Moved, p.Jumped = motion(p.Trace, sigma), []int{}, []int{}
	peak := 0.0
	for _, v := range p.Trace {
		peak = math.Max(peak, math.Abs(v))
	}
	p.PeakDB = decibels(peak)
	for k, v := range p.Trace {
		if math.Abs(v) > math.Max(awaySigmas*sigma, awayShare*peak) {
			p.Moved = append(p.Moved, k+1)
		}
	}
	if p.Motion != Jumps {
		return
	}
	whole := slices.Max(p.Trace) - slices.Min(p.Trace)
	for k := 1; k < len(p.Trace); k++ {
		if step := math.Abs(p.Trace[k] - p.Trace[k-1]); step > math.Max(awaySigmas*math.Sqrt2*sigma, awayShare*whole) {
			p.Jumped = append(p.Jumped, k+1)
		}
	}
}

// motion says how a trace with noise sigma moves.
func motion(trace []float64, sigma float64) Motion {
	whole, step := slices.Max(trace)-slices.Min(trace), 0.0
	number := make([]float64, len(trace))
	for k := range trace {
		number[k] = float64(k)
		if k > 0 {
			step = math.Max(step, math.Abs(trace[k]-trace[k-1]))
		}
	}
	switch {
	case !(whole > 0):
		return Steady
	case step > shareOfJumps*whole && step > awaySigmas*math.Sqrt2*sigma:
		return Jumps
	case math.Abs(stat.Correlation(number, trace, nil)) > trendRelated:
		return Drifts
	}
	return Swings
}

// withoutEchoes sorts the places into those that move by themselves and those
// that move in step with a stronger one in front, or far under one anywhere.
func (s *search) withoutEchoes(all, places []Place, echoes []Echo) ([]Place, []Echo) {
	for _, p := range all {
		i := slices.IndexFunc(all, func(q Place) bool {
			weaker := q.RMSDB - p.RMSDB
			return inStep(&p, &q) && (weaker > 0 && q.DistanceM < p.DistanceM || weaker > leakDB)
		})
		if i < 0 {
			places = append(places, p)
		} else {
			echoes = append(echoes, Echo{DistanceM: p.DistanceM, OfM: all[i].DistanceM, RMSDB: p.RMSDB})
		}
	}
	return places, echoes
}

// inStep says whether p moves as the stronger q does: when the squared correlation
// of their courses is no chance, and near 1 with p's noise taken out.
func inStep(p, q *Place) bool {
	noise := float64(len(p.changes)) * math.Pow(10, p.FloorDB/10)
	return related(p.changes, q.changes, noise) || related(p.left, q.changes, noise)
}

// related is inStep for two courses, noise being the expected power of a's noise.
func related(a, b []complex128, noise float64) bool {
	both, power := square(inner(a, b)), real(inner(a, a))*real(inner(b, b))
	chance := 1 - math.Pow(chanceInStep, 1/float64(len(a)-2))
	return both > chance*power && both > stepInStep*(power-noise*real(inner(b, b)))
}

// bare fits the places by themselves: what they do to all that lies behind them is
// left to the columns of everything together.
func (s *search) bare() (*frame, [][]float64) {
	var places []*candidate
	for _, p := range s.places {
		gain, _ := s.at(p.x)
		places = append(places, &candidate{x: p.x, largest: p.largest, columns: s.powers(gain, 3)})
	}
	frame := s.common.copy()
	fitted, _, _ := s.fitPlaces(frame, places)
	return frame, fitted
}

// drifts fills what all places do together; what is in step with a place is taken
// out of it.
func (s *search) drifts(r *Result, frame *frame, fitted [][]float64) {
	sum := func(weight func(share) float64) (trace []float64, sigma float64) {
		a := make([]float64, len(frame.q))
		for j, share := range s.shares {
			a[j] = weight(share)
		}
		for _, c := range fitted {
			v := 0.0
			for j := range s.shares {
				v += a[j] * c[j]
			}
			trace = append(trace, v)
		}
		return trace, math.Sqrt(s.pointNoise() / 2 * frame.variance(a))
	}
	// At what reflects most: by the columns of all together, and by those of the
	// sections in front of it.
	strongest, middle := s.strongest(), len(s.hz)/2
	inFront := func(share share) float64 {
		p := s.path.Spans[share.span]
		return math.Max(0, math.Min(p.LengthM, strongest-p.StartM))
	}
	first := map[kind]bool{}
	trace, sigma := sum(func(one share) float64 {
		switch {
		case one.kind == ofSize && !first[ofSize]:
			first[ofSize] = true // the power 0 of q
			return 1
		case one.kind == ofLoss: // −j·2β·length times −j
			return -2 * imag(s.fit.Gamma[one.span][middle]) * inFront(one)
		}
		return 0
	})
	r.Gain = told("dB", 20/math.Ln10, leastGainDB, r.Places, trace, sigma)
	trace, sigma = sum(func(one share) float64 {
		switch one.kind {
		case ofPlane:
			return 1
		case ofSection:
			return inFront(one) / s.path.Spans[one.span].Medium.VelocityFactor
		}
		return 0
	})
	r.Length = told("mm", 1000, leastLengthMM, r.Places, trace, sigma)
	port := slices.IndexFunc(s.shares, func(one share) bool { return one.kind == ofPort })
	var changes []complex128
	for _, c := range fitted {
		changes = append(changes, complex(c[port], c[port+1]))
	}
	a := make([]float64, len(frame.q))
	a[port] = 1
	r.Port = told("of a total reflection", 1, leastPort, r.Places, along(changes), math.Sqrt(s.pointNoise()/2*frame.variance(a)))
}

// strongest is the place of the strongest reflection of the mean sweep as the port
// sees it.
func (s *search) strongest() float64 {
	profiles := s.view.profiles([][]complex128{product(s.mean, s.used)})
	at := 0
	for i, p := range profiles[0] {
		if square(p) > square(profiles[0][at]) {
			at = i
		}
	}
	return s.view.refine(profiles, at)
}

// told makes a Drift of a trace and its sigma, both times scale. What is in step
// with one of the places is taken out; what has no larger range than least is not
// told.
func told(unit string, scale, least float64, places []Place, trace []float64, sigma float64) Drift {
	was := slices.Clone(trace)
	for k, left := range outOfStep(trace, places) {
		taken := stepLeaves * (was[k] - left)
		sigma = math.Max(sigma, math.Abs(taken))
		trace[k] = left
	}
	d := Drift{Unit: unit, Sigma: sigma * scale, Trace: trace}
	sum, mean := 0.0, stat.Mean(trace, nil)
	for k, v := range trace {
		sum += (v - mean) * (v - mean)
		trace[k] = v * scale
	}
	d.Range = slices.Max(trace) - slices.Min(trace)
	d.Motion = Steady
	// Σ of squares over variance is chi-squared with N−1 degrees.
	free := float64(len(trace) - 1)
	if d.Range > least && sigma > 0 && (distuv.ChiSquared{K: free}).Survival(sum/(sigma*sigma)) < driftUnlikely {
		d.Motion = motion(trace, d.Sigma)
	}
	return d
}

// outOfStep returns what is left of a trace when the part in step with the
// places' traces, where they are away from rest, and with their squares is taken
// out. A steady drift is fitted with them and stays.
func outOfStep(trace []float64, places []Place) []float64 {
	n := len(trace)
	f := &frame{}
	for power := range 3 {
		column := make([]complex128, n)
		for k := range column {
			column[k] = complex(math.Pow(2*float64(k)/float64(n-1)-1, float64(power)), 0)
		}
		f.add(column, 1, 0)
	}
	drift := len(f.q)
	for _, p := range places {
		if len(f.q)+2 > n/2 {
			break
		}
		first, second := make([]complex128, n), make([]complex128, n)
		for _, number := range p.Moved {
			v := p.Trace[number-1]
			first[number-1], second[number-1] = complex(v, 0), complex(v*v, 0)
		}
		f.add(first, 1, 0)
		f.add(second, 1, 0)
	}
	left := make([]complex128, n)
	for k, v := range trace {
		left[k] = complex(v, 0)
	}
	c, _, _ := f.fit(left)
	for j := drift; j < len(c); j++ {
		subtract(left, c[j], f.columns[j])
	}
	out := make([]float64, n)
	for k := range out {
		out[k] = real(left[k])
	}
	return out
}

// drawMap fills the map.
func (s *search) drawMap(r *Result, frame *frame, fitted [][]float64) {
	var left [][]complex128
	for k, d := range s.deviations {
		rest := slices.Clone(d)
		for j := range s.shares {
			subtract(rest, fitted[k][j], frame.columns[j])
		}
		left = append(left, rest)
	}
	r.Map.DistanceM = s.view.x
	for i := range s.view.x {
		r.Map.FloorDB = append(r.Map.FloorDB, decibels(math.Sqrt(s.noise)/s.view.shrink[i]))
	}
	profiles := s.view.profiles(left)
	rest := make([]complex128, len(s.view.x))
	for i := range rest {
		var re, im []float64
		for _, p := range profiles {
			re, im = append(re, real(p[i])), append(im, imag(p[i]))
		}
		rest[i] = complex(middle(re), middle(im))
	}
	for _, profile := range profiles {
		row := make([]float64, len(profile))
		for i, a := range profile {
			row[i] = decibels(cmplx.Abs(a-rest[i]) / s.view.shrink[i])
		}
		r.Map.ChangeDB = append(r.Map.ChangeDB, row)
	}
}

// decibels of an amplitude; nothing at all is −200 dB.
func decibels(amplitude float64) float64 { return 20 * math.Log10(math.Max(amplitude, 1e-10)) }
