package linemodel

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"downlead/cables"
)

// testPath is a jumper, a surge arrestor and a feeder. The attenuations are of
// the usual size for such cables (common practice, no source); the tests need
// no more of them than that they differ.
func testPath(t testing.TB) *cables.Path {
	t.Helper()
	line := &cables.Line{
		Cables: []cables.Type{
			{ID: "jumper", ImpedanceOhm: 50, VelocityFactor: 0.82, Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e8, DBPerHundredM: 3.5}, {FrequencyHz: 1e9, DBPerHundredM: 11.6}}},
			{ID: "feeder", ImpedanceOhm: 50, VelocityFactor: 0.88, Attenuation: []cables.AttenuationPoint{{FrequencyHz: 1e8, DBPerHundredM: 1.2}, {FrequencyHz: 1e9, DBPerHundredM: 4.0}}},
		},
		Sections: []cables.Section{{Name: "jumper", CableID: "jumper", LengthM: 2.5}, {Name: "feeder", CableID: "feeder", LengthM: 18}},
		Devices:  []cables.Device{{After: "jumper", Kind: "surge-arrestor", LengthM: 0.12}},
	}
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func testGrid(n int, lowHz, highHz float64) []float64 {
	f := make([]float64, n)
	for k := range f {
		f[k] = lowHz + (highHz-lowHz)*float64(k)/float64(n-1)
	}
	return f
}

// realLine is a stretch of line with the propagation constant of a span and an
// impedance held real: cables.Stretch without the small complex part of Zc,
// which the model neglects (see TestNeglectedImpedance).
type realLine struct {
	medium          cables.Medium
	lengthM, zcOhms float64
}

func (l realLine) TwoPort(f float64) cables.TwoPort {
	gamma, _ := l.medium.Wave(f)
	theta := gamma * complex(l.lengthM, 0)
	sinh, cosh, z := cmplx.Sinh(theta), cmplx.Cosh(theta), complex(l.zcOhms, 0)
	return cables.TwoPort{A: cosh, B: z * sinh, C: sinh / z, D: cosh}
}

// chain builds the exact chain of the model's points: a step changes the
// impedance of all that lies behind it. It returns the chain and the impedance
// that the load stands in. With exact the stretches are those of cables.
func chain(m *Model, endM float64, exact bool) (cables.Cascade, float64) {
	var c cables.Cascade
	z, at := m.Path.ReferenceOhm, 0.0
	way := func(to float64) {
		for at < to {
			i := m.SpanAt(at)
			next := to
			if i+1 < len(m.Starts) {
				next = math.Min(next, m.Starts[i+1])
			}
			medium := m.Path.Spans[i].Medium
			if medium.ImpedanceOhm = z; exact {
				c = append(c, cables.Stretch{Medium: medium, LengthM: next - at})
			} else {
				c = append(c, realLine{medium, next - at, z})
			}
			at = next
		}
	}
	for _, p := range m.Points {
		way(p.X)
		value := func(f float64) complex128 {
			q := f / m.MiddleHz
			if p.Form == Shunt {
				return complex(p.Flat+p.Falling*q, p.Rising*q)
			}
			return complex(p.Flat, p.Rising*q-p.Falling/q)
		}
		here := z
		switch p.Form {
		case Series:
			c = append(c, cables.Series(func(f float64) complex128 { return value(f) * complex(here, 0) }))
		case Shunt:
			c = append(c, cables.Shunt(func(f float64) complex128 { return value(f) / complex(here, 0) }))
		default:
			z *= (1 + p.Flat) / (1 - p.Flat)
		}
	}
	way(endM)
	return c, z
}

// crowded returns a model with points of every form at which much bounces to
// and fro, a load and port errors.
func crowded(t testing.TB) Model {
	path := testPath(t)
	m := New(path, testGrid(201, 20e6, 1.2e9))
	for _, p := range []Point{
		{X: 0.01, Form: Series, Flat: 0.02, Rising: 0.03},
		{X: 2.47, Form: Shunt, Flat: 0.3, Rising: 0.8},
		{X: 2.61, Form: Series, Flat: 0.4, Rising: -0.2, Falling: 0.7},
		{X: 7.03, Form: Step, Flat: 0.35},
		{X: 7.5, Form: Step, Flat: -0.4},
		{X: 13.2, Form: Shunt, Rising: 0.5, Falling: 0.3},
		{X: 19.9, Form: Series, Flat: 3},
	} {
		q := m.NewPoint(p.X, p.Form)
		q.Flat, q.Rising, q.Falling = p.Flat, p.Rising, p.Falling
		m.Sample(q)
		m.Insert(q)
	}
	ones := make([]float64, len(m.FrequencyHz))
	for k := range ones {
		ones[k] = 1
	}
	m.Load = NewLoad(&m.Medium, path.LengthM(), -1e-9, 0.7e-9, 8, ones)
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range m.Load.Taps {
		m.Load.Taps[i] = complex(rng.NormFloat64(), rng.NormFloat64()) / 8
	}
	m.Load.compose()
	m.Port = [portErrors][portTerms]complex128{{0.02 + 0.01i, 0.01i, -0.005}, {0.05 - 0.02i, 0.02, 0.01i}, {0.01i, 0.02 - 0.005i, 0.01}}
	return m
}

// behindPort applies the instrument's errors by the definition of the error
// model, D. Rytting (see Model).
func behindPort(m *Model, k int, gamma complex128) complex128 {
	var e [portErrors]complex128
	for i, terms := range m.Port {
		for d, c := range terms[:m.terms] {
			e[i] += c * complex(m.basis[d][k], 0)
		}
	}
	return e[Directivity] + (1+e[Tracking])*gamma/(1-e[SourceMatch]*gamma)
}

// TestForward holds the recursion of scattering two-ports against the product
// of chain matrices (Pozar, 4th ed., table 4.1, by way of package cables).
func TestForward(t *testing.T) {
	m := crowded(t)
	m.Forward()
	check := func(name string) {
		t.Helper()
		c, z := chain(&m, m.Path.LengthM(), false)
		worst := 0.0
		for k, f := range m.FrequencyHz {
			load := m.Load.Gamma[k] // in z; the cascade wants it in the reference impedance
			zl := complex(z, 0) * (1 + load) / (1 - load)
			reference := complex(m.Path.ReferenceOhm, 0)
			in := c.Reflection([]float64{f}, func(float64) complex128 { return (zl - reference) / (zl + reference) }, m.Path.ReferenceOhm)
			worst = math.Max(worst, cmplx.Abs(behindPort(&m, k, in[0])-m.Sum[k]))
		}
		if worst > 1e-12 { // double precision over some 20 products of modulus up to 10
			t.Errorf("%s: worst difference %.2g", name, worst)
		}
	}
	check("all")
	for len(m.Points) > 0 {
		m.Remove(m.Points[len(m.Points)/2])
		m.Forward()
		check(fmt.Sprint(len(m.Points), " points left"))
	}
}

// TestForwardNothing holds the bare path to reflect nothing but what the port adds.
func TestForwardNothing(t *testing.T) {
	m := New(testPath(t), testGrid(17, 1e8, 2e8))
	m.Port[Directivity][0] = 0.01i
	m.Forward()
	for k, s := range m.Sum {
		if s != 0.01i {
			t.Fatalf("point %d: %v", k, s)
		}
	}
}

// TestNeglectedImpedance measures what the model leaves out, the complex part
// of the impedance of a lossy cable, Zc ≈ Z0·(1 + (1−j)·α_c/(2β)), which falls
// as 1/√f. For feeder cable from 25 MHz up it must stay below the 40 dB that
// judging allows any joint.
func TestNeglectedImpedance(t *testing.T) {
	m := New(testPath(t), testGrid(201, 25e6, 1.2e9))
	p := m.NewPoint(9, Series)
	p.Flat = 0.1
	m.Sample(p)
	m.Insert(p)
	m.Forward()
	c, _ := chain(&m, m.Path.LengthM(), true)
	in := c.Reflection(m.FrequencyHz, func(f float64) complex128 { return 0 }, 50)
	worst := 0.0
	for k := range in {
		worst = math.Max(worst, cmplx.Abs(in[k]-m.Sum[k]))
	}
	if worst > 0.01 {
		t.Errorf("neglected impedance makes %.4f", worst)
	}
	t.Logf("neglected complex impedance: at most %.5f in |Γ|", worst)
}

// TestDerivatives holds every derivative against central differences,
// extrapolated to fourth order.
func TestDerivatives(t *testing.T) {
	m := crowded(t)
	last := m.NewPoint(20.3, Step) // an end that loses
	last.Flat, last.Rising = 0.8, 0.2
	m.Sample(last)
	m.Insert(last)
	p := &Fit{Model: m, Measured: make([]complex128, len(m.FrequencyHz)), Weight: make([]float64, len(m.FrequencyHz)), Residual: make([]complex128, len(m.FrequencyHz))}
	compare := func(name string, got []complex128, step float64, move func(by float64)) {
		t.Helper()
		at := func(by float64) []complex128 {
			move(by)
			p.Forward()
			return append([]complex128(nil), p.Sum...)
		}
		a, b, c, d := at(-2*step), at(-step), at(step), at(2*step)
		move(0)
		p.Forward()
		worst, size := 0.0, 0.0
		for k := range got {
			want := (8*(c[k]-b[k]) - (d[k] - a[k])) / complex(12*step, 0)
			worst = math.Max(worst, cmplx.Abs(got[k]-want))
			size = math.Max(size, cmplx.Abs(want))
		}
		if size == 0 {
			t.Errorf("%s: no effect", name)
		}
		if worst > 2e-9*math.Max(size, 1) { // rounding 1e-16/step, truncation step⁴
			t.Errorf("%s: off by %.2g of %.2g", name, worst, size)
		}
	}
	got := make([]complex128, len(m.FrequencyHz))
	p.Forward()
	names := [4]string{"flat", "rising", "falling", "place"}
	check := func(i int, q *Point) {
		for c, name := range names {
			if q.Form == Step && c == ByFalling {
				continue // a step has none
			}
			p.Forward()
			p.derivative(got, q, c, nil)
			was := *q.quantity(c)
			step := 1e-5
			if c == ByPlace {
				step = 2e-6 // β is 30 rad/m
			}
			compare(fmt.Sprintf("point %d %s", i, name), got, step, func(by float64) {
				*q.quantity(c) = was + by
				p.Move(q)
				p.Sample(q)
			})
		}
	}
	for i, q := range p.Points {
		check(i, q)
	}
	for _, form := range []Form{OpenEnd, ShortEnd} { // nothing shows behind these
		last.Form, last.Flat, last.Rising, last.Falling = form, 0.1, 0.3, 0.2
		p.Sample(last)
		check(len(p.Points)-1, last)
	}
	last.Form, last.Flat, last.Rising, last.Falling = Step, 0.8, 0.2, 0
	p.Sample(last)
	p.Tracked = true
	list := p.parameters(nil, true)
	p.Forward()
	p.jacobian(list)
	for c, item := range list {
		copy(got, p.scratch[c])
		which, term, unit := item.portTerm()
		was := p.Port[which][term]
		compare(fmt.Sprintf("port %d term %d by %v", which, term, unit), got, 1e-5, func(by float64) {
			p.Port[which][term] = was + unit*complex(by, 0)
		})
	}
	comb := combOf(p.Load)
	for tap := range p.Load.Taps {
		for k := range got {
			got[k] = p.LoadGain[k] * comb[tap][k]
		}
		was := p.Load.Taps[tap]
		compare(fmt.Sprintf("tap %d", tap), got, 1e-5, func(by float64) {
			p.Load.Taps[tap] = was + complex(by, 0)
			p.Load.compose()
		})
	}
}

// combOf returns what each tap of a load contributes.
func combOf(l *Load) [][]complex128 {
	out := make([][]complex128, len(l.Taps))
	for t := range out {
		out[t] = make([]complex128, len(l.Gamma))
		unit := make([]complex128, len(l.Taps))
		unit[t] = 1
		l.comb.Compose(out[t], unit)
	}
	return out
}

func TestPhasors(t *testing.T) {
	m := New(testPath(t), testGrid(11, 1e8, 1e9))
	got := make([]complex128, 11)
	for _, x := range []float64{-0.1, 0, 1.3, 2.5, 2.56, 2.62, 10, 20.62, 23} {
		m.phasors(got, nil, x)
		for k, f := range m.FrequencyHz {
			if want := cmplx.Exp(-2 * m.Path.Theta(f, x)); cmplx.Abs(got[k]-want) > 1e-12 {
				t.Errorf("x %v, %v Hz: %v, want %v", x, f, got[k], want)
			}
		}
	}
}

// What a tapered edge reflects, against the integral of its slope: a raised
// cosine of the logarithm of the impedance over length T, seen twice through the
// phase βx.
func TestRoundEdge(t *testing.T) {
	m := New(testPath(t), testGrid(3, 1e9, 2e9))
	for _, u := range []float64{0, 0.3, math.Pi / 2, 1.9, 4, 11} {
		const steps = 20000
		var re float64
		for i := range steps {
			x := (float64(i)+0.5)/steps - 0.5 // over T, from the middle
			re += math.Pi / 2 * math.Cos(math.Pi*x) * math.Cos(2*u*x) / steps
		}
		if got := m.RoundEdge(u); math.Abs(got-re) > 1e-6 {
			t.Errorf("phase %.2f: %.7f, the integral is %.7f", u, got, re)
		}
	}
}

// TestLossyEnd holds an end with loss beyond the record against a line whose
// cables themselves have it, internal inductance included.
func TestLossyEnd(t *testing.T) {
	path := testPath(t)
	m := New(path, testGrid(101, 50e6, 1.1e9))
	const scale = 2.5
	lossy := *path
	lossy.Spans = append([]cables.Span(nil), path.Spans...)
	for i := range lossy.Spans {
		lossy.Spans[i].Medium.ConductorNp *= scale
		lossy.Spans[i].Medium.DielectricNp *= scale
	}
	size, turned := 0.0, 0.0
	for _, form := range []Form{OpenEnd, ShortEnd} {
		q := m.NewPoint(path.LengthM(), form)
		q.Falling = 2 * (scale - 1) * real(path.Theta(m.MiddleHz, path.LengthM()))
		sign := complex(1, 0)
		if form == ShortEnd {
			sign = -1
		}
		m.Sample(q)
		for k, f := range m.FrequencyHz {
			want := sign * cmplx.Exp(-2*lossy.Theta(f, path.LengthM()))
			if d := cmplx.Abs(q.Reflect[k]*q.Phasor[k] - want); d > 5e-3*cmplx.Abs(want) {
				t.Errorf("form %d at %.0f MHz: off by %.1e of %.2f", form, f/1e6, d, cmplx.Abs(want))
			}
			plain := sign * cmplx.Exp(-2*path.Theta(f, path.LengthM()))
			size = math.Max(size, 1-cmplx.Abs(want/plain))
			turned = math.Max(turned, math.Abs(cmplx.Phase(want/plain)))
		}
	}
	if size < 0.05 || turned < 0.05 {
		t.Errorf("a test of nothing: loses %.3f, turns %.3f rad", size, turned)
	}
}

// TestPointsPassEachOther moves a point past another: the line is then the one
// whose points stand the other way round.
func TestPointsPassEachOther(t *testing.T) {
	path := testPath(t)
	hz := testGrid(51, 100e6, 1e9)
	two := func(series, shunt float64) (m Model, p *Point) {
		m = New(path, hz)
		p = m.NewPoint(series, Series)
		p.Flat = 0.8
		m.Sample(p)
		m.Insert(p)
		q := m.NewPoint(shunt, Shunt)
		q.Rising = 0.5
		m.Sample(q)
		m.Insert(q)
		m.Forward()
		return m, p
	}
	m, p := two(5, 6)
	want, _ := two(7, 6)
	p.X = 7
	m.Move(p)
	m.Forward()
	for k := range hz {
		if d := cmplx.Abs(m.Input[k] - want.Input[k]); d > 1e-9 {
			t.Fatalf("at %.0f MHz: off by %.1e", hz[k]/1e6, d)
		}
	}
}
