package linemodel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// measuredFit is a fit of the model with what it predicts as the measurement.
func measuredFit(m Model) *Fit {
	m.Forward()
	p := NewFit(m.Path, m.FrequencyHz, append([]complex128(nil), m.Sum...))
	p.Model = m
	p.Noise = 1e-8
	return p
}

// TestRefineRecovers starts away from the truth and must come back to it where
// there is no noise.
func TestRefineRecovers(t *testing.T) {
	m := New(testPath(t), testGrid(401, 25e6, 1.2e9))
	type truth struct{ x, flat, rising, falling float64 }
	var want []truth
	for _, c := range []struct {
		p    Point
		fits Fitted
	}{
		{Point{X: 2.5, Form: Series, Flat: 0.1, Rising: 0.05}, Fitted{true, true, false, true}},
		{Point{X: 2.62, Form: Shunt, Flat: 0.02, Rising: 0.2}, Fitted{true, true, false, true}},
		{Point{X: 9.2, Form: Step, Flat: 0.2}, Fitted{true, false, false, true}},
		{Point{X: 10.1, Form: Step, Flat: -0.2}, Fitted{true, false, false, true}},
		{Point{X: 15.0, Form: Series, Flat: 0.1, Falling: 0.4}, Fitted{true, false, true, true}},
		{Point{X: 20.5, Form: Step, Flat: -0.9, Rising: 0.1}, Fitted{true, true, false, true}},
	} {
		q := m.NewPoint(c.p.X, c.p.Form)
		q.Flat, q.Rising, q.Falling, q.Fits = c.p.Flat, c.p.Rising, c.p.Falling, c.fits
		m.Sample(q)
		m.Insert(q)
		want = append(want, truth{q.X, q.Flat, q.Rising, q.Falling})
	}
	p := measuredFit(m)
	p.Noise = 1e-12 // so that the port's priors do not pull
	rng := rand.New(rand.NewPCG(2, 1))
	for _, q := range p.Points {
		q.X += 0.004 * rng.NormFloat64()
		for c := range 3 {
			if q.Fits[c] {
				*q.quantity(c) *= 1 + 0.1*rng.NormFloat64()
			}
		}
		p.Move(q)
		p.Sample(q)
	}
	p.Evaluate()
	for range 10 { // Refine stops at a gain of 1e-4 a step
		p.Refine(p.Points, true, false, 30)
	}
	for i, q := range p.Points {
		got := truth{q.X, q.Flat, q.Rising, q.Falling}
		for c, d := range []float64{got.x - want[i].x, got.flat - want[i].flat, got.rising - want[i].rising, got.falling - want[i].falling} {
			if math.Abs(d) > 1e-5 {
				t.Errorf("point %d, quantity %d: off by %.2g", i, c, d)
			}
		}
	}
	if p.ResidualRMS() > 1e-6 {
		t.Errorf("residual %.2g", p.ResidualRMS())
	}
}

// TestRefineFollowsTheLoad starts from wet cable a little too long and too wet in front of a load that
// reflects nearly all over many taps: to first order in the delay that it changes a step makes matters
// worse, and the load must be solved for anew in every step.
func TestRefineFollowsTheLoad(t *testing.T) {
	path := testPath(t)
	m := New(path, testGrid(401, 5e6, 1e9))
	ones := make([]float64, len(m.FrequencyHz))
	for k := range ones {
		ones[k] = 1
	}
	m.Load = NewLoad(&m.Medium, path.LengthM(), -2e-9, 0.8e-9, 60, ones)
	rng := rand.New(rand.NewPCG(4, 1))
	for i := range m.Load.Taps {
		m.Load.Taps[i] = complex(math.Exp(-float64(i)/8)*rng.NormFloat64(), 0)
	}
	m.Load.compose()
	q := m.NewPoint(8.8, Wet)
	q.Extent, q.Drop, q.Tangent, q.Taper, q.Round = 2.1, 0.067, 0.006, 0.58, true
	q.Fits = Fitting(ByPlace, ByExtent, ByDrop, ByTangent)
	m.Sample(q)
	m.Insert(q)
	p := measuredFit(m)
	p.Noise = 1e-12
	q.X, q.Extent, q.Drop, q.Tangent = 8.92, 1.96, 0.08, 0.01
	p.Move(q)
	p.Sample(q)
	p.Evaluate()
	p.FitLoad()
	for range 6 {
		p.Refine(p.Points, false, true, 1)
	}
	if math.Abs(q.X-8.8) > 0.01 || math.Abs(q.Extent-2.1) > 0.02 || math.Abs(q.Drop-0.067) > 0.002 || math.Abs(q.Tangent-0.006) > 0.0005 {
		t.Errorf("at %.3f m over %.3f m, drop %.4f, loss tangent %.5f; want 8.8, 2.1, 0.067, 0.006", q.X, q.Extent, q.Drop, q.Tangent)
	}
}

// TestPriorCost holds what the priors and links add to the normal equations
// against differences of the cost: the right side is minus half its gradient,
// the matrix half its curvature.
func TestPriorCost(t *testing.T) {
	p := measuredFit(crowded(t))
	p.Load = nil
	p.Noise = 2e-6
	a, b, c := p.Points[1], p.Points[3], p.Points[5]
	a.Prior[ByFlat], a.Prior[ByPlace] = Prior{0.1, 0.3}, Prior{2.4, 0.05}
	c.Prior[ByFalling] = Prior{0.1, 0.2}
	p.Links = []Link{{nil, a, 2.3, 0.1}, {a, b, 4.7, 0.02}, {b, c, 6, 0.3}}
	for _, q := range p.Points {
		q.Fits = Fitted{true, true, true, true}
	}
	p.Tracked = true
	list := p.parameters(p.Points, true)
	at := func(i int) *float64 {
		if item := list[i]; item.point != nil {
			return item.point.quantity(item.quantity)
		}
		return nil
	}
	move := func(i int, by float64) {
		if v := at(i); v != nil {
			*v += by
			return
		}
		which, term, unit := list[i].portTerm()
		p.Port[which][term] += unit * complex(by, 0)
	}
	matrix, right := mat.NewSymDense(len(list), nil), mat.NewVecDense(len(list), nil)
	p.addPriors(list, matrix, right)
	const h = 1e-3 // the cost is quadratic: any step will do
	cost := func(i, j int, hi, hj float64) float64 {
		move(i, hi)
		move(j, hj)
		v := p.priorCost()
		move(j, -hj)
		move(i, -hi)
		return v
	}
	felt := 0
	for i := range list {
		gradient := (cost(i, i, h, 0) - cost(i, i, -h, 0)) / (2 * h)
		if want := -gradient / 2; math.Abs(right.AtVec(i)-want) > 1e-9*math.Max(1, math.Abs(want)) {
			t.Errorf("parameter %d: right side %.6g, want %.6g", i, right.AtVec(i), want)
		}
		if matrix.At(i, i) > 0 {
			felt++
		}
		for j := 0; j < i; j++ {
			want := (cost(i, j, h, h) - cost(i, j, h, -h) - cost(i, j, -h, h) + cost(i, j, -h, -h)) / (8 * h * h)
			if math.Abs(matrix.At(i, j)-want) > 1e-6*p.Noise/1e-4 {
				t.Errorf("parameters %d, %d: matrix %.6g, want %.6g", i, j, matrix.At(i, j), want)
			}
		}
		want := (cost(i, i, h, 0) - 2*cost(i, i, 0, 0) + cost(i, i, -h, 0)) / (2 * h * h)
		if math.Abs(matrix.At(i, i)-want) > 1e-5*math.Max(want, 1e-6) {
			t.Errorf("parameter %d: curvature %.6g, want %.6g", i, matrix.At(i, i), want)
		}
	}
	if felt != 5+2*portErrors*p.terms { // a's flat, c's falling, three places, and the port
		t.Errorf("%d parameters feel a prior", felt)
	}
}

// TestLinkHolds fits a point that no data speak for: it must go where the links
// say, and a stiff link must carry a point along with its neighbour.
func TestLinkHolds(t *testing.T) {
	m := New(testPath(t), testGrid(201, 25e6, 1.2e9))
	strong, weak := m.NewPoint(6, Series), m.NewPoint(9, Series)
	strong.Flat = 0.2
	m.Sample(strong)
	m.Insert(strong)
	m.Insert(weak)
	p := measuredFit(m)
	strong.Fits[ByPlace], weak.Fits[ByPlace] = true, true
	p.Links = []Link{{strong, weak, 3.5, 0.01}}
	strong.X = 6.01
	p.Move(strong)
	p.Evaluate()
	for range 5 {
		p.Refine(p.Points, false, false, 20)
	}
	if math.Abs(strong.X-6) > 1e-5 || math.Abs(weak.X-9.5) > 1e-4 {
		t.Errorf("places %.6f and %.6f, want 6 and 9.5", strong.X, weak.X)
	}
}

// TestPriorBalances holds the fit of one value between data and prior to the
// closed form of the normal distribution: precisions add, means weigh. Where the
// data count for less, only their precision shrinks.
func TestPriorBalances(t *testing.T) {
	for _, tempered := range []float64{1, 4} {
		m := New(testPath(t), testGrid(201, 25e6, 1.2e9))
		q := m.NewPoint(6, Series)
		q.Flat = 1e-3 // small: linear
		q.Fits[ByFlat] = true
		m.Sample(q)
		m.Insert(q)
		p := measuredFit(m)
		p.Noise = 1e-6
		p.Unit = tempered * p.Noise
		data := 0.0 // precision of the data: 2·Σ|∂S/∂flat|²/noise
		for _, g := range q.Phasor {
			data += 2 * real(g*cmplx.Conj(g)) / 4 / p.Noise
		}
		q.Prior[ByFlat] = Prior{Mean: 1.2e-3, Sigma: 1 / math.Sqrt(3*data)}
		p.Evaluate()
		for range 5 {
			p.Refine(p.Points, false, false, 20)
		}
		share := 1 / (1 + 3*tempered)
		if want := share*1e-3 + (1-share)*1.2e-3; math.Abs(q.Flat-want) > 2e-6 { // z²/4 makes it a little non-linear
			t.Errorf("unit %g noises: flat %.7f, want %.7f", tempered, q.Flat, want)
		}
		p.Unit = 0
		plain := p.Sigma()[0][ByFlat]
		p.Unit = tempered * p.Noise
		if s := p.Sigma()[0][ByFlat]; math.Abs(s/plain-1) > 1e-9 {
			t.Errorf("unit %g noises: standard deviation %.3g, want that of the noise, %.3g", tempered, s, plain)
		}
	}
}

// TestElimination holds the step with the load's taps eliminated against the
// dense least-squares solution of all unknowns at once (gonum's QR).
func TestElimination(t *testing.T) {
	p := measuredFit(crowded(t))
	rng := rand.New(rand.NewPCG(3, 1))
	for k := range p.Measured {
		p.Measured[k] += complex(rng.NormFloat64(), rng.NormFloat64()) * 0.01
		p.Weight[k] = 0.5 + rng.Float64()
	}
	for _, q := range p.Points {
		q.Fits = Fitted{true, q.Form != Step, false, true}
		q.Prior[ByFlat] = Prior{Mean: q.Flat + 0.01, Sigma: 0.05}
	}
	p.Noise = 1e-4
	p.Evaluate()
	p.Tracked = true
	list := p.parameters(p.Points, true)
	p.jacobian(list)
	a, b := p.gram(len(list), p.Weight)
	taps := p.eliminate(&p.elimination, list, a, b)
	p.addPriors(list, a, b)
	var chol mat.Cholesky
	var d mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&d, b) != nil {
		t.Fatal("normal equations cannot be solved")
	}

	// All at once: rows of the data, then of the ridge, then of the priors.
	n, count := len(p.Measured), len(list)
	load := p.Load
	columns := count + 2*len(load.Taps)
	prior, priorRight := mat.NewSymDense(count, nil), mat.NewVecDense(count, nil)
	p.addPriors(list, prior, priorRight) // diagonal here: no links
	rows := 2*n + 2*len(load.Taps) + count
	big, right := mat.NewDense(rows, columns, nil), mat.NewDense(rows, 1, nil)
	comb := combOf(load)
	for k := range n {
		root := complex(math.Sqrt(p.Weight[k]), 0)
		set := func(c int, v complex128) {
			big.Set(2*k, c, real(v*root))
			big.Set(2*k+1, c, imag(v*root))
		}
		for c := range list {
			set(c, p.scratch[c][k])
		}
		for tap := range load.Taps {
			v := p.LoadGain[k] * comb[tap][k]
			set(count+2*tap, v)
			set(count+2*tap+1, v*1i)
		}
		e := p.Residual[k] * root
		right.Set(2*k, 0, real(e))
		right.Set(2*k+1, 0, imag(e))
	}
	for tap, c := range load.Taps {
		root := math.Sqrt(load.ridge)
		big.Set(2*n+2*tap, count+2*tap, root)
		big.Set(2*n+2*tap+1, count+2*tap+1, root)
		right.Set(2*n+2*tap, 0, -root*real(c))
		right.Set(2*n+2*tap+1, 0, -root*imag(c))
	}
	for c := range list {
		if v := prior.At(c, c); v > 0 {
			row := 2*n + 2*len(load.Taps) + c
			big.Set(row, c, math.Sqrt(v))
			right.Set(row, 0, priorRight.AtVec(c)/math.Sqrt(v))
		}
	}
	var qr mat.QR
	var all mat.Dense
	qr.Factorize(big)
	if err := qr.SolveTo(&all, false, right); err != nil {
		t.Fatal(err)
	}
	for c := range list {
		if got, want := d.AtVec(c), all.At(c, 0); math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
			t.Errorf("parameter %d: step %.9g, want %.9g", c, got, want)
		}
	}
	before := append([]complex128(nil), load.Taps...)
	taps.apply(load, d.RawVector().Data)
	for tap := range load.Taps {
		got, want := load.Taps[tap]-before[tap], complex(all.At(count+2*tap, 0), all.At(count+2*tap+1, 0))
		if cmplx.Abs(got-want) > 1e-6*(1+cmplx.Abs(want)) {
			t.Errorf("tap %d: step %v, want %v", tap, got, want)
		}
	}
}

// TestSaveRestore goes away and comes back.
func TestSaveRestore(t *testing.T) {
	p := measuredFit(crowded(t))
	p.Evaluate()
	sum := append([]complex128(nil), p.Sum...)
	held := p.Save()
	p.Remove(p.Points[2])
	p.Points[0].X += 0.1
	p.Move(p.Points[0])
	p.Points[1].Form, p.Points[1].Flat = Series, 2
	p.Sample(p.Points[1])
	p.Port[0][1] = 1
	p.Load.Taps[2] = 3
	p.Load.compose()
	p.Evaluate()
	p.Restore(held)
	for k := range sum {
		if cmplx.Abs(sum[k]-p.Sum[k]) > 1e-14 {
			t.Fatalf("point %d: %v, was %v", k, p.Sum[k], sum[k])
		}
	}
	if p.Cost != held.Cost {
		t.Errorf("cost %g, was %g", p.Cost, held.Cost)
	}
}

// TestPlaceSigma holds the stated deviation of places against the scatter of
// fits to noisy data, the port's errors drawn from their priors. With 300
// trials the scatter itself is known to 1/√600 = 4.1 %; three of those pass.
func TestPlaceSigma(t *testing.T) {
	const trials, noise = 300, 1e-6
	for _, c := range []struct {
		name     string
		windowed bool
		load     bool
	}{{"even weights", false, false}, {"windowed", true, false}, {"antenna", true, true}} {
		t.Run(c.name, func(t *testing.T) {
			build := func() *Fit {
				m := New(testPath(t), testGrid(151, 300e6, 1.2e9))
				for _, p := range []Point{{X: 2.3, Rising: 0.05, Flat: 0.02}, {X: 8, Flat: 0.03}, {X: 8.12, Flat: 0.03}, {X: 20.3, Flat: 0.04}} {
					q := m.NewPoint(p.X, Series)
					q.Flat, q.Rising = p.Flat, p.Rising
					q.Fits = Fitted{true, p.Rising != 0, false, true}
					m.Sample(q)
					m.Insert(q)
				}
				p := measuredFit(m)
				p.Noise = noise
				for k := range p.Weight {
					if c.windowed {
						u := float64(k) / float64(len(p.Weight)-1)
						p.Weight[k] = 2 * math.Pow(math.Sin(math.Pi*u), 2)
					}
				}
				if c.load {
					p.Load = NewLoad(&p.Medium, 20.62, -1.5e-9, 0.9e-9, 20, p.Weight)
					for i := range p.Load.Taps {
						if i > 1 {
							p.Load.Taps[i] = cmplx.Rect(0.2*math.Exp(-float64(i)/5), float64(i*i))
						}
					}
					p.Load.compose()
				}
				p.Evaluate()
				p.Tracked = true
				return p
			}
			rng := rand.New(rand.NewPCG(4, 1))
			var stated []float64
			for _, s := range build().Sigma() {
				stated = append(stated, s[ByPlace])
			}
			sum, square := make([]float64, len(stated)), make([]float64, len(stated))
			p := build()
			truth := p.Save()
			var places []float64
			for _, q := range p.Points {
				places = append(places, q.X)
			}
			for range trials {
				p.Restore(truth)
				for i := range p.Port {
					for d := range p.Port[i][:p.terms] {
						s := p.portSigma(i, d) / math.Sqrt2
						p.Port[i][d] = complex(s*rng.NormFloat64(), s*rng.NormFloat64())
					}
				}
				p.Forward()
				for k, s := range p.Sum {
					p.Measured[k] = s + complex(rng.NormFloat64(), rng.NormFloat64())*complex(math.Sqrt(noise/2), 0)
				}
				p.Restore(truth)
				for range 3 {
					p.Refine(p.Points, true, c.load, 20)
				}
				for i, q := range p.Points {
					d := q.X - places[i]
					sum[i] += d
					square[i] += d * d
				}
			}
			for i := range stated {
				mean := sum[i] / trials
				scatter := math.Sqrt(square[i]/trials - mean*mean)
				t.Logf("place %d: stated %.3g m, scatter %.3g m, bias %.2g m", i, stated[i], scatter, mean)
				if ratio := scatter / stated[i]; ratio < 1-3*0.041 || ratio > 1+3*0.041 {
					t.Errorf("place %d: scatter over stated %.3f", i, ratio)
				}
				if math.Abs(mean) > 4*scatter/math.Sqrt(trials) {
					t.Errorf("place %d: bias %.3g m with scatter %.3g m", i, mean, scatter)
				}
			}
		})
	}
}
