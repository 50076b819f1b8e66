package linemodel

import (
	"math"
	"math/cmplx"
	"testing"

	"downlead/cables"
)

// uneven is a model with a wet stretch in the feeder that is uneven inside, and
// a mirror behind it.
func uneven(t *testing.T, inside []float64) (Model, *Point) {
	m := New(testPath(t), testGrid(101, 50e6, 1.1e9))
	p := m.NewPoint(6, Wet)
	p.Extent, p.Inside, p.InsideSigma = 1.5, inside, 0.05
	m.Sample(p)
	m.Insert(p)
	end := m.NewPoint(11, Step)
	end.Flat = -0.9
	m.Sample(end)
	m.Insert(end)
	m.Forward()
	return m, p
}

// TestUneven holds the first order of an uneven stretch against the chain of 2 mm
// slices whose impedance follows the triangles, dry but for that, with a mirror
// behind, so that both sides of the stretch reflect. What is neglected is of the
// second order: half the unevenness leaves a quarter of the error.
func TestUneven(t *testing.T) {
	worst := func(scale float64) (off, size float64) {
		inside := []float64{0.004, -0.003, 0.002, 0.001, -0.004, 0.003, -0.001}
		for i := range inside {
			inside[i] *= scale
		}
		m, p := uneven(t, inside)
		medium := m.Path.Spans[m.SpanAt(6)].Medium
		spacing := p.Extent / float64(len(inside)+1)
		half := math.Min(spacing, cables.SpeedOfLight*medium.VelocityFactor/1.1e9/4)
		const slice = 0.002
		var chain cables.Cascade
		for x := slice / 2; x < p.Extent; x += slice {
			log := 0.0
			for i, v := range inside {
				log += v * math.Max(0, 1-math.Abs(x-spacing*float64(i+1))/half)
			}
			chain = append(chain, realLine{medium, slice, 50 * math.Exp(log)})
		}
		chain = append(chain, realLine{medium, 5 - p.Extent, 50})
		for k, f := range m.FrequencyHz {
			want := chain.TwoPort(f).InputReflection(-0.9, 50) * p.Phasor[k]
			size = math.Max(size, cmplx.Abs(want+0.9*m.Points[1].Phasor[k]))
			off = math.Max(off, cmplx.Abs(m.Input[k]-want))
		}
		return off, size
	}
	whole, size := worst(1)
	half, _ := worst(0.5)
	if size < 3e-3 || whole > 0.03*size || half > 0.27*whole {
		t.Errorf("of %.2g the model misses %.2g, and %.2g of half the unevenness", size, whole, half)
	}
}

// TestUnevenDerivatives holds the derivatives to the unevenness, of a wet and
// tapered stretch, against differences.
func TestUnevenDerivatives(t *testing.T) {
	m, p := uneven(t, []float64{0.02, -0.03, 0.01})
	p.Drop, p.Tangent, p.Taper = 0.12, 0.02, 0.3
	m.Sample(p)
	m.Forward()
	n := len(m.FrequencyHz)
	got, before := make([]complex128, n), make([]complex128, n)
	for c := range p.Inside {
		m.Forward()
		m.derivative(got, p, quantities+c, nil)
		const h = 1e-5
		v := p.quantity(quantities + c)
		*v -= h
		m.Sample(p)
		m.Forward()
		copy(before, m.Sum)
		*v += 2 * h
		m.Sample(p)
		m.Forward()
		for k, s := range m.Sum {
			if want := (s - before[k]) / (2 * h); cmplx.Abs(got[k]-want) > 1e-6 {
				t.Fatalf("place %d, %.0f MHz: %.8f, the difference is %.8f", c, m.FrequencyHz[k]/1e6, got[k], want)
			}
		}
		*v -= h
		m.Sample(p)
	}
}

// TestUnevenRecovers fits an uneven stretch to its own sweep from an even one.
func TestUnevenRecovers(t *testing.T) {
	want := []float64{0.02, -0.03, 0.01, 0.015, -0.02}
	m, p := uneven(t, append([]float64(nil), want...))
	p.Drop, p.Tangent = 0.1, 0.01
	m.Sample(p)
	m.Forward()
	fit := measuredFit(m)
	fit.Noise = 1e-10
	held := fit.Save()
	p.Drop, p.FitsInside = 0.11, true
	p.Fits = Fitting(ByDrop, ByTangent)
	clear(p.Inside)
	fit.Sample(p)
	fit.Evaluate()
	fit.Refine([]*Point{p}, false, false, 20)
	for i, v := range want {
		if math.Abs(p.Inside[i]-v) > 1e-4 {
			t.Errorf("place %d: %.5f, want %.5f", i, p.Inside[i], v)
		}
	}
	fit.Restore(held)
	if p.Inside[1] != want[1] || p.FitsInside {
		t.Errorf("going back leaves %v, fitted: %v", p.Inside, p.FitsInside)
	}
}

// TestOccamInside holds what the places inside cost against the evidence itself: the integral of the likelihood over what was
// known of one place, the others held (D. J. C. MacKay, ch. 28: best fit times Occam factor).
func TestOccamInside(t *testing.T) {
	m, p := uneven(t, []float64{0.02})
	fit := measuredFit(m)
	fit.Noise = 1e-5
	fit.Evaluate()
	got := fit.OccamInside(p)
	best := 0.02 // what the sweep says by itself
	const steps = 4000
	sum := 0.0
	for i := range steps {
		u := 16 * ((float64(i)+0.5)/steps - 0.5) // of the prior's deviations, about that
		p.Inside[0] = best + u*p.InsideSigma
		fit.Sample(p)
		fit.Evaluate()
		likelihood := (fit.Cost - fit.priorCost()) / fit.unit()
		sum += math.Exp(-likelihood-u*u/2) / math.Sqrt(2*math.Pi) * 16 / steps
	}
	if want := -math.Log(sum); math.Abs(got-want) > 0.02 || want < 1 {
		t.Errorf("costs %.3f units, the integral says %.3f", got, want)
	}
}
