package linemodel

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"downlead/cables"
)

// TestEdgeless holds what wet cable without a place does to the wave against the formula of the dielectric
// (constant loss tangent: Kjartansson 1979, from memory), there and back, with a mirror behind it; that it reflects nothing;
// and its derivatives against differences.
func TestEdgeless(t *testing.T) {
	m := New(testPath(t), testGrid(101, 50e6, 1.1e9))
	p := m.NewPoint(6, Edgeless)
	p.Extent, p.Drop, p.Tangent = 2, 0.12, 0.03
	end := m.NewPoint(11, Step)
	end.Flat = -0.9
	for _, q := range []*Point{p, end} {
		m.Sample(q)
		m.Insert(q)
	}
	m.Forward()
	velocity := cables.SpeedOfLight * m.Path.Spans[m.SpanAt(6)].Medium.VelocityFactor
	for k, f := range m.FrequencyHz {
		kappa := cmplx.Pow(complex(0, f/1e9), complex(-math.Atan(p.Tangent)/math.Pi, 0)) / complex(1-p.Drop, 0)
		beta := complex(2*math.Pi*f/velocity*p.Extent, 0)
		want := -0.9 * end.Phasor[k] * cmplx.Exp(-2i*beta*(kappa-1))
		if cmplx.Abs(m.Input[k]-want) > 1e-12 {
			t.Fatalf("%g Hz: %v, want %v", f, m.Input[k], want)
		}
		if p.Reflect[k] != 0 || p.Behind[k] != 0 {
			t.Fatalf("%g Hz: reflects %v and %v", f, p.Reflect[k], p.Behind[k])
		}
	}
	fit := &Fit{Model: m, Measured: make([]complex128, 101), Weight: make([]float64, 101), Residual: make([]complex128, 101)}
	got, worst, size := make([]complex128, 101), 0.0, 0.0
	for _, quantity := range []int{ByExtent, ByDrop, ByTangent} {
		fit.gainsOf([]parameter{{p, quantity}})
		fit.derivative(got, p, quantity, nil)
		v := p.quantity(quantity)
		at := func(by float64) []complex128 {
			held := *v
			*v += by
			fit.Sample(p)
			fit.Forward()
			*v = held
			return append([]complex128(nil), fit.Sum...)
		}
		a, b := at(-1e-5), at(1e-5)
		at(0)
		for k := range got {
			worst = math.Max(worst, cmplx.Abs(got[k]-(b[k]-a[k])/2e-5))
			size = math.Max(size, cmplx.Abs(got[k]))
		}
	}
	if size < 1 || worst > 2e-3*size { // a one-sided step of 1e-5 against a phase of 60 rad per unit
		t.Errorf("derivatives off by %.2g of %.2g", worst, size)
	}
}

// TestSeenBehind holds where things seem to be behind a stretch to the delay by the record: there and back again, across
// a joint between cables of different velocities too.
func TestSeenBehind(t *testing.T) {
	m := New(testPath(t), testGrid(11, 50e6, 1.1e9))
	for _, form := range []Form{Wet, Foreign, Edgeless} {
		p := m.NewPoint(1, form)
		p.Extent, p.Drop, p.Taper, p.Ratio, p.Shift = 1, 0.25, 0.2, 1.5, 0.3
		for _, x := range []float64{2.1, m.Starts[1] - 0.05, m.Starts[1] + 0.4, m.Path.LengthM()} {
			t.Run(fmt.Sprint(form, x), func(t *testing.T) {
				seen := m.SeenAt(p, x)
				want := p.ExcessM() / m.VelocityAt(1.5)
				if got := m.Path.DelayS(x, seen); math.Abs(got-want) > 1e-15 {
					t.Errorf("seen %.3g s late, want %.3g", got, want)
				}
				if back := m.SeenFrom(p, seen); math.Abs(back-x) > 1e-9 {
					t.Errorf("back at %.6f m, want %.6f", back, x)
				}
			})
		}
	}
	p := m.NewPoint(1, Shunt)
	if m.SeenAt(p, 7) != 7 {
		t.Error("a point holds nothing up")
	}
}
