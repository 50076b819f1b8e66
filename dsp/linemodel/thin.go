package linemodel

// fewer returns a fit of the bare path at the picked frequencies. Quantities mean
// the same, since q = f/f0 keeps its f0; weights are those of the single points.
func (p *Fit) fewer(pick []int) *Fit {
	m := Model{Medium: Medium{Path: p.Path, FrequencyHz: picked(p.FrequencyHz, pick), Ratio: picked(p.Ratio, pick), rising: picked(p.rising, pick), MiddleHz: p.MiddleHz,
		Starts: p.Starts, Beta0: p.Beta0, root: picked(p.root, pick), octaves: picked(p.octaves, pick), loss: picked(p.loss, pick), circle: p.circle}}
	for i := range p.Gamma {
		m.Gamma, m.Start = append(m.Gamma, picked(p.Gamma[i], pick)), append(m.Start, picked(p.Start[i], pick))
		m.reactive = append(m.reactive, picked(p.reactive[i], pick))
	}
	m.spread, m.terms = p.spread, p.terms
	for i := range m.terms {
		m.basis[i] = picked(p.basis[i], pick)
	}
	for _, v := range []*[]complex128{&m.Input, &m.Match, &m.Sum, &m.LoadGain, &m.portLoop} {
		*v = make([]complex128, len(pick))
	}
	return &Fit{Model: m, Measured: picked(p.Measured, pick), Weight: picked(p.Weight, pick), CellM: p.CellM, Noise: p.Noise, Unit: p.Unit, Ended: p.Ended, Patient: p.Patient, Residual: make([]complex128, len(pick))}
}

// picked returns the given elements of v.
func picked[T any](v []T, pick []int) []T {
	out := make([]T, len(pick))
	for i, k := range pick {
		out[i] = v[k]
	}
	return out
}

// Thin returns the fit to every so-manieth of its frequencies, its points in the
// same order. Each frequency weighs as much as those that it stands for, so cost
// and priors keep their proportion; places stay unambiguous as long as the
// alias-free range of the fewer frequencies does. What is returned is evaluated.
func (p *Fit) Thin(every int) *Fit {
	var pick []int
	for k := 0; k < len(p.FrequencyHz); k += every {
		pick = append(pick, k)
	}
	q, _ := p.onto(pick, float64(every))
	return q
}

// Below returns the fit to the first count of its frequencies, and what stands there for each of its points. What is
// returned is evaluated.
func (p *Fit) Below(count int) (*Fit, map[*Point]*Point) {
	pick := make([]int, count)
	for k := range pick {
		pick[k] = k
	}
	return p.onto(pick, 1)
}

// onto returns the fit to the picked frequencies, each weighing so many times what it did, and its copies of the points.
func (p *Fit) onto(pick []int, weight float64) (*Fit, map[*Point]*Point) {
	q := p.fewer(pick)
	for k := range q.Weight {
		q.Weight[k] *= weight
	}
	q.Port = p.Port
	copies := map[*Point]*Point{}
	for _, was := range p.Points {
		c := q.Copy(was)
		q.Points = append(q.Points, c)
		copies[was] = c
	}
	for _, l := range p.Links {
		l.A, l.B = copies[l.A], copies[l.B]
		if l.B != nil {
			q.Links = append(q.Links, l)
		}
	}
	if p.Load != nil {
		q.Load = p.Load.thin(pick)
	}
	q.Evaluate()
	return q, copies
}

// thin returns the load at the given frequencies.
func (l *Load) thin(pick []int) *Load {
	every := float64(len(l.weight)) / float64(len(pick))
	t := &Load{X: l.X, Phasor: picked(l.Phasor, pick), Gamma: picked(l.Gamma, pick), Taps: append([]complex128(nil), l.Taps...),
		comb: l.comb.Picked(pick), weight: picked(l.weight, pick), ridge: l.ridge, target: make([]complex128, len(pick))}
	for k := range t.weight {
		t.weight[k] *= every
	}
	t.normal(&t.factor, t.weight)
	return t
}
