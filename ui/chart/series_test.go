package chart

import (
	"math"
	"math/rand/v2"
	"testing"
)

func noisy(n int, seed uint64) *Series {
	r := rand.New(rand.NewPCG(seed, 1))
	s := &Series{}
	for k := range n {
		s.X = append(s.X, float64(k))
		s.Y = append(s.Y, 30+3*r.NormFloat64())
	}
	return s
}

// However many points there are, each pixel column is drawn from its least to
// its largest value: a spike of a single point among 100,001 is there.
func TestPolylineLosesNoSpike(t *testing.T) {
	const width, height = 700.0, 400.0
	s := noisy(100_001, 7)
	s.Y[54_321], s.Y[98_765] = 2, 59
	x, y := Axis{Low: 0, High: 100_000}, Axis{Low: 0, High: 60}
	line := s.Polyline(nil, x, y, width, height)
	if len(line) > 4*(width+1) {
		t.Errorf("%d dots for %g columns", len(line), width)
	}
	type ends struct{ least, most float64 }
	want := map[int]ends{}
	for i := range s.X {
		c := int(math.Floor(x.Position(s.X[i], width)))
		v := y.Position(s.Y[i], height)
		e, ok := want[c]
		if !ok {
			e = ends{v, v}
		}
		want[c] = ends{math.Min(e.least, v), math.Max(e.most, v)}
	}
	got := map[int]ends{}
	before := math.Inf(-1)
	for _, d := range line {
		c := int(math.Floor(d.X))
		e, ok := got[c]
		if !ok {
			e = ends{d.Y, d.Y}
		}
		got[c] = ends{math.Min(e.least, d.Y), math.Max(e.most, d.Y)}
		if d.X < before {
			t.Fatalf("the line turns back at %g", d.X)
		}
		before = d.X
	}
	if len(got) != len(want) {
		t.Fatalf("%d columns, want %d", len(got), len(want))
	}
	for c, e := range want {
		if math.Abs(got[c].least-e.least) > 1e-9 || math.Abs(got[c].most-e.most) > 1e-9 {
			t.Fatalf("column %d: %v, want %v", c, got[c], e)
		}
	}
}

// A few points are drawn as they are, and a gap stays a gap.
func TestPolylineKeepsPointsAndGaps(t *testing.T) {
	s := &Series{X: []float64{0, 25, 50, 75, 100}, Y: []float64{0, 10, math.NaN(), math.Inf(1), 20}}
	line := s.Polyline(nil, Axis{Low: 0, High: 100}, Axis{Low: 0, High: 20}, 100, 40)
	want := []Dot{{0, 0}, {25, 20}, {math.NaN(), math.NaN()}, {75, 200}, {100, 40}}
	if len(line) != len(want) {
		t.Fatalf("%v, want %v", line, want)
	}
	for i := range want {
		if line[i] != want[i] && !(math.IsNaN(want[i].Y) && math.IsNaN(line[i].Y)) {
			t.Errorf("dot %d is %v, want %v", i, line[i], want[i])
		}
	}
}

// Zoomed in, the lines to the points outside on either side are there.
func TestPolylineReachesTheEdges(t *testing.T) {
	s := &Series{X: []float64{0, 10, 20, 30}, Y: []float64{1, 2, 3, 4}}
	line := s.Polyline(nil, Axis{Low: 12, High: 18}, Axis{Low: 5, High: 0}, 60, 50)
	if len(line) != 2 || line[0].X != -20 || line[1].X != 80 {
		t.Errorf("got %v", line)
	}
	if got := s.Polyline(nil, Axis{Low: 12, High: 18}, Axis{}, 0, 50); got != nil {
		t.Errorf("no width, but %v", got)
	}
}

func TestAt(t *testing.T) {
	s := &Series{X: []float64{0, 10, 20}, Y: []float64{1, 3, 1}}
	for x, want := range map[float64]float64{0: 1, 5: 2, 10: 3, 15: 2, 20: 1} {
		if got := s.At(x); got != want {
			t.Errorf("at %g: %g, want %g", x, got, want)
		}
	}
	if !math.IsNaN(s.At(-1)) || !math.IsNaN(s.At(21)) || !math.IsNaN((&Series{}).At(0)) {
		t.Error("a value outside the points")
	}
}

// Dashes cover their share of the line and lie on it.
func TestDashes(t *testing.T) {
	line := []Dot{{0, 0}, {30, 40}, {130, 40}, {math.NaN(), math.NaN()}, {200, 0}, {200, 90}}
	drawn, at := 0.0, Dot{math.NaN(), math.NaN()}
	for _, d := range Dashes(nil, line, 6, 4) {
		if !math.IsNaN(d.Y) && !math.IsNaN(at.Y) {
			drawn += math.Hypot(d.X-at.X, d.Y-at.Y)
		}
		at = d
	}
	if whole := 150.0 + 90; math.Abs(drawn-0.6*whole) > 6 {
		t.Errorf("%g of %g drawn, want six tenths", drawn, whole)
	}
}

func BenchmarkPolyline100001(b *testing.B) {
	s := noisy(100_001, 7)
	x, y := Axis{Low: 0, High: 100_000}, Axis{Low: 0, High: 60}
	var dst []Dot
	for b.Loop() {
		dst = s.Polyline(dst[:0], x, y, 700, 400)
	}
}
