package linemodel

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// What the sweep by itself tells of a place is where the fit puts it once nothing known beforehand holds it,
// though a way to another reflection, whose place is not asked for, holds both.
func TestPlaceInformationBesideLinks(t *testing.T) {
	m := New(testPath(t), testGrid(401, 25e6, 1.2e9))
	for _, c := range []Point{{X: 9.2, Form: Series, Rising: 0.12}, {X: 9.26, Form: Shunt, Flat: 0.05, Rising: 0.05}, {X: 15, Form: Series, Rising: 0.1}} {
		q := m.NewPoint(c.X, c.Form)
		q.Flat, q.Rising, q.Fits = c.Flat, c.Rising, Fitting(ByRising, ByPlace)
		m.Sample(q)
		m.Insert(q)
	}
	p := measuredFit(m)
	p.Noise = 1e-4
	rng := rand.New(rand.NewPCG(3, 5))
	for k := range p.Measured {
		p.Measured[k] += complex(rng.NormFloat64(), rng.NormFloat64()) * complex(math.Sqrt(p.Noise/2), 0)
	}
	first, beside, last := p.Points[0], p.Points[1], p.Points[2]
	settle := func() {
		p.Evaluate()
		for range 20 {
			p.Refine(p.Points, true, false, 30)
		}
	}
	first.Prior[ByPlace] = Prior{Mean: 9.201, Sigma: 0.002}
	p.Links = []Link{{A: beside, B: last, LengthM: 15 - 9.26 + 0.004, SigmaM: 0.001}}
	settle()
	asked := []*Point{first, last}
	precision, pull, ok := p.PlaceInformation(asked, p.Noise)
	if !ok {
		t.Fatal("nothing is told")
	}
	var moved mat.VecDense
	if err := moved.SolveVec(precision, pull); err != nil {
		t.Fatal(err)
	}
	at := []float64{first.X, last.X}
	first.Prior[ByPlace], p.Links = Prior{}, nil
	settle()
	for i, q := range asked {
		is := q.X - at[i]
		t.Logf("%.2f m: told %.3f mm, is %.3f mm, one sigma %.3f mm", at[i], 1e3*moved.AtVec(i), 1e3*is, 1e3/math.Sqrt(precision.At(i, i)))
		if math.Abs(moved.AtVec(i)-is) > 0.05*math.Abs(is)+1e-5 {
			t.Errorf("%.2f m: held %.3f mm off by what was known, is %.3f mm", at[i], 1e3*moved.AtVec(i), 1e3*is)
		}
	}
}
