package linemodel

import "slices"

// saved is the state of a point that a step may change.
type saved struct {
	v     [quantities]float64
	form  Form
	fits  Fitted
	prior [quantities]Prior
}

// savedInside is the unevenness of a stretch that a step may change.
type savedInside struct {
	v     []float64
	sigma float64
	fits  bool
}

func (q *Point) savedInside() savedInside {
	return savedInside{slices.Clone(q.Inside), q.InsideSigma, q.FitsInside}
}

func (q *Point) saved() saved {
	s := saved{form: q.Form, fits: q.Fits, prior: q.Prior}
	for c := range quantities {
		s.v[c] = *q.quantity(c)
	}
	return s
}

// CopyFrom takes over the quantities, form and priors of p; Sample makes them
// count.
func (q *Point) CopyFrom(p *Point) {
	q.Form, q.Passive, q.Round, q.Fits, q.Prior = p.Form, p.Passive, p.Round, p.Fits, p.Prior
	for c := range quantities { // which field a quantity is depends on the form
		*q.quantity(c) = *p.quantity(c)
	}
	q.Inside, q.InsideSigma, q.FitsInside = slices.Clone(p.Inside), p.InsideSigma, p.FitsInside
}

// State is a fit to come back to: which points there are, their values, the
// links, the port's errors, the load, and the cost.
type State struct {
	Cost   float64
	points []*Point
	values []saved
	inside []savedInside
	links  []Link
	port   [portErrors][portTerms]complex128
	load   *Load
	taps   []complex128
	gamma  []complex128
}

// Save returns the present state.
func (p *Fit) Save() *State {
	s := &State{Cost: p.Cost, points: append([]*Point(nil), p.Points...), links: append([]Link(nil), p.Links...), port: p.Port, load: p.Load}
	s.values, s.inside = make([]saved, 0, len(p.Points)), make([]savedInside, 0, len(p.Points))
	for _, q := range p.Points {
		s.values, s.inside = append(s.values, q.saved()), append(s.inside, q.savedInside())
	}
	if p.Load != nil {
		s.taps = append(s.taps, p.Load.Taps...)
		s.gamma = append(s.gamma, p.Load.Gamma...)
	}
	return s
}

// Restore goes back to s and evaluates the model.
func (p *Fit) Restore(s *State) {
	p.Return(s)
	p.Evaluate()
}

// Return goes back to s for another change: the model is not evaluated.
func (p *Fit) Return(s *State) {
	p.revert(s, true)
}

// revert goes back to s; unless sampled, what is sampled of the points stays as
// it is.
func (p *Fit) revert(s *State, sampled bool) {
	p.Cost = s.Cost
	p.Points = append(p.Points[:0], s.points...)
	p.Links = append(p.Links[:0], s.links...)
	p.Port = s.port
	if p.Load = s.load; p.Load != nil {
		copy(p.Load.Taps, s.taps)
		copy(p.Load.Gamma, s.gamma)
		p.Load.stamp++
	}
	for i, q := range p.Points {
		was, now, inside := s.values[i], q.saved(), s.inside[i]
		if now == was && slices.Equal(inside.v, q.Inside) {
			continue
		}
		q.Inside, q.InsideSigma, q.FitsInside = slices.Clone(inside.v), inside.sigma, inside.fits
		q.Form, q.Fits, q.Prior = was.form, was.fits, was.prior
		for c, v := range was.v {
			*q.quantity(c) = v
		}
		if !sampled {
			continue
		}
		if now.v[ByPlace] != was.v[ByPlace] {
			p.Move(q)
		}
		p.Sample(q)
	}
}
