package linemodel

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestInside: of the minimum of a quadratic form, worked out by hand, what lies beyond a bound or past a neighbour is left out.
func TestInside(t *testing.T) {
	m := New(testPath(t), testGrid(11, 25e6, 1.2e9))
	p, end := m.NewPoint(20.498, Shunt), m.NewPoint(20.5, OpenEnd)
	p.Rising, p.Passive = 1, true
	m.Insert(p)
	m.Insert(end)
	fit := measuredFit(m)
	fit.Links = []Link{{A: p, B: end, LengthM: 0.002, SigmaM: 0.0005}}
	flat, rising := parameter{p, ByFlat}, parameter{p, ByRising}
	near, far := parameter{p, ByPlace}, parameter{end, ByPlace}
	for _, c := range []struct {
		name string
		list []parameter
		a    [3]float64 // A11, A12, A22
		b    [2]float64
		want [2]float64
	}{
		{"free", []parameter{flat, rising}, [3]float64{2, 1, 2}, [2]float64{1, -1}, [2]float64{1, -1}},
		{"no conductance below none: 2·d = 1", []parameter{flat, rising}, [3]float64{2, 1, 2}, [2]float64{-1, 1}, [2]float64{0, 0.5}},
		{"in order", []parameter{near, far}, [3]float64{1, 0, 1}, [2]float64{0.001, 0}, [2]float64{0.001, 0}},
		// 0.2 mm apart from 2 mm: d of the far one is 1.8 mm less; (d − 3)² + (d − 1.8)² is least at 2.4 mm.
		{"not past the end", []parameter{near, far}, [3]float64{1, 0, 1}, [2]float64{0.003, 0}, [2]float64{0.0024, 0.0006}},
	} {
		a, b := mat.NewSymDense(2, []float64{c.a[0], c.a[1], c.a[1], c.a[2]}), mat.NewVecDense(2, c.b[:])
		d, ok := fit.inside(c.list, a, b, 0)
		if !ok || math.Abs(d[0]-c.want[0]) > 1e-6 || math.Abs(d[1]-c.want[1]) > 1e-6 {
			t.Errorf("%s: step %v, want %v", c.name, d, c.want)
		}
	}
}

// TestRefinePastTheEnd begins a capacitance just in front of an open end too large: less of it farther out looks nearly the
// same, and on the way there it must not pass the end, behind which it does nothing.
func TestRefinePastTheEnd(t *testing.T) {
	m := New(testPath(t), testGrid(401, 25e6, 1.2e9))
	const size, beginM, endM = 0.33, 20.498, 20.5
	end := m.NewPoint(endM, OpenEnd)
	end.Fits = Fitting(ByFlat, ByRising, ByFalling, ByPlace)
	end.Prior[ByFlat], end.Prior[ByRising], end.Prior[ByFalling] = Prior{Sigma: 0.004}, Prior{Sigma: 0.02}, Prior{Sigma: 0.02}
	p := m.NewPoint(beginM, Shunt)
	p.Rising, p.Passive, p.Fits = size, true, Fitting(ByRising, ByPlace)
	for _, q := range []*Point{p, end} {
		m.Sample(q)
		m.Insert(q)
	}
	fit := measuredFit(m)
	fit.Links = []Link{{A: p, B: end, LengthM: endM - beginM, SigmaM: 0.0005}}
	for _, begun := range []float64{0.5, 0.7} {
		// The phase at the middle of the band is that of the truth.
		moved := (math.Atan(size) - math.Atan(begun)) / m.Beta0[m.SpanAt(endM)]
		p.Rising, end.Rising, p.X, end.X = begun, 0, beginM+moved, endM+moved
		for _, q := range fit.Points {
			fit.Move(q)
			fit.Sample(q)
		}
		fit.Evaluate()
		fit.Refine(fit.Points, false, false, 16)
		if math.Abs(p.Rising-size) > 0.01 || fit.ResidualRMS() > math.Sqrt(fit.Noise) {
			t.Errorf("from %.2f it comes to %.3f with residual %.2g; want %.2f", begun, p.Rising, fit.ResidualRMS(), size)
		}
	}
}
