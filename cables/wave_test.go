package cables

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// typical is a lossy cable much like RG-213/U: 24 dB per 100 m at 1 GHz.
var typical = Medium{ImpedanceOhm: 50, VelocityFactor: 0.66, ConductorNp: 6.5e-7, DielectricNp: 7e-12}

func near(t *testing.T, what string, got, want complex128, tolerance float64) {
	t.Helper()
	if d := cmplx.Abs(got - want); !(d <= tolerance) {
		t.Errorf("%s: got %v, want %v (off by %.3g, tolerance %.3g)", what, got, want, d, tolerance)
	}
}

// constant returns a load of impedance z seen in reference.
func constant(z complex128, reference float64) func(float64) complex128 {
	r := complex(reference, 0)
	g := (z - r) / (z + r)
	return func(float64) complex128 { return g }
}

func full(sign complex128) func(float64) complex128 {
	return func(float64) complex128 { return sign }
}

func inputOhm(reflection complex128, reference float64) complex128 {
	return complex(reference, 0) * (1 + reflection) / (1 - reflection)
}

func one(c Cascade, load func(float64) complex128, reference, f float64) complex128 {
	return c.Reflection([]float64{f}, load, reference)[0]
}

// lossless returns a line of the given impedance that is turns wavelengths
// long at f.
func lossless(impedance, turns, f float64) Stretch {
	return Stretch{Medium{ImpedanceOhm: impedance, VelocityFactor: 0.8}, turns * 0.8 * SpeedOfLight / f}
}

// The law's limits. With y = G + jωC and z = R + j(ωL + R) the expansion for
// small losses is γ = jω/v + a√f(1+j) + bf + terms of order α²/β; the
// tolerance is three times that order.
func TestWaveLowLoss(t *testing.T) {
	for _, f := range []float64{1e6, 1e7, 1e8, 1e9, 1e10} {
		gamma, zc := typical.Wave(f)
		a, b := typical.ConductorNp*math.Sqrt(f), typical.DielectricNp*f
		omegaOverV := 2 * math.Pi * f / (SpeedOfLight * typical.VelocityFactor)
		second := 3 * (a + b) * (a + b) / omegaOverV
		near(t, fmt.Sprintf("γ at %g Hz", f), gamma, complex(a+b, omegaOverV+a), second)
		near(t, fmt.Sprintf("Zc at %g Hz", f), zc, complex(50, 0), 3*50*(a+b)/omegaOverV)
		if got := typical.AttenuationNp(f); math.Abs(got-(a+b)) > 1e-15 {
			t.Errorf("law at %g Hz: %g", f, got)
		}
		if real(gamma) <= 0 || imag(gamma) <= 0 {
			t.Errorf("γ at %g Hz is %v: a wave must decay and advance", f, gamma)
		}
	}
	// At 1 GHz the law must be within 0.1 % of what the cable really loses.
	gamma, _ := typical.Wave(1e9)
	if r := real(gamma)/typical.AttenuationNp(1e9) - 1; math.Abs(r) > 1e-3 {
		t.Errorf("loss at 1 GHz differs from the law by %g", r)
	}
}

// For any medium γ·Zc = z and γ/Zc = y, the definitions of both turned round
// (D. M. Pozar, "Microwave Engineering", 4th ed., ch. 2.1).
func TestWaveIsPerMetre(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	for range 100 {
		m := randomMedium(random)
		f := math.Pow(10, 6+4*random.Float64())
		z, y := m.perMetre(f)
		gamma, zc := m.Wave(f)
		near(t, "γ·Zc/z", gamma*zc/z, 1, 1e-12)
		near(t, "γ/Zc/y", gamma/zc/y, 1, 1e-12)
	}
}

func randomMedium(random *rand.Rand) Medium {
	return Medium{
		ImpedanceOhm: 30 + 70*random.Float64(), VelocityFactor: 0.6 + 0.4*random.Float64(),
		ConductorNp: 3e-6 * random.Float64(), DielectricNp: 2e-11 * random.Float64(),
	}
}

// Worked examples, all from memory of the books, to the digits printed there.
func TestTextbookLines(t *testing.T) {
	const f = 1e9
	// D. M. Pozar, Microwave Engineering, ch. 2.4, example of the Smith chart:
	// 40+j70 ohm behind 0.3 wavelength of 100-ohm line. Load 0.59 at 104
	// degrees, SWR 3.87, return loss 4.6 dB, input 36.5-j61.1 ohm.
	load := constant(40+70i, 100)
	if g := load(f); math.Abs(cmplx.Abs(g)-0.59) > 0.005 || math.Abs(cmplx.Phase(g)*180/math.Pi-104) > 0.5 {
		t.Errorf("load reflection %v", g)
	}
	g := one(Cascade{lossless(100, 0.3, f)}, load, 100, f)
	near(t, "Pozar, input impedance", inputOhm(g, 100), 36.5-61.1i, 0.15)
	if rho := cmplx.Abs(g); math.Abs((1+rho)/(1-rho)-3.87) > 0.005 || math.Abs(-20*math.Log10(rho)-4.6) > 0.05 {
		t.Errorf("SWR %g, return loss %g dB", (1+rho)/(1-rho), -20*math.Log10(rho))
	}
	// F. T. Ulaby, Fundamentals of Applied Electromagnetics, ch. 2: 100+j50
	// ohm behind 67 cm of 50-ohm line at 1.05 GHz, phase velocity 2.1e8 m/s:
	// load 0.45 at 26.6 degrees, input 21.9+j17.4 ohm.
	line := Stretch{Medium{ImpedanceOhm: 50, VelocityFactor: 2.1e8 / SpeedOfLight}, 0.67}
	near(t, "Ulaby, load", constant(100+50i, 50)(0), cmplx.Rect(0.45, 26.6*math.Pi/180), 0.005)
	near(t, "Ulaby, input impedance", inputOhm(one(Cascade{line}, constant(100+50i, 50), 50, 1.05e9), 50), 21.9+17.4i, 0.1)
	// Pozar, ch. 5.4: a quarter-wave section of √(50·100) ohm matches 100 ohm
	// to 50 ohm at its own frequency, and off it
	// |Γ| = 1/√(1 + 4·Z0·ZL/(ZL−Z0)²·sec²θ).
	transformer := Cascade{lossless(math.Sqrt(50*100), 0.25, f)}
	near(t, "quarter-wave transformer", one(transformer, constant(100, 50), 50, f), 0, 1e-14)
	for _, off := range []float64{0.3, 0.7, 0.9, 1.4, 1.8} {
		theta := math.Pi / 2 * off
		want := 1 / math.Sqrt(1+4*50*100/(50.*50.)/(math.Cos(theta)*math.Cos(theta)))
		if got := cmplx.Abs(one(transformer, constant(100, 50), 50, off*f)); math.Abs(got-want) > 1e-12 {
			t.Errorf("transformer at %g of its frequency: |Γ| %g, want %g", off, got, want)
		}
	}
}

func TestClosedForms(t *testing.T) {
	const f = 1e9
	// Half a wavelength repeats the load, whatever the line's impedance.
	near(t, "half wave", one(Cascade{lossless(75, 0.5, f)}, constant(20+30i, 50), 50, f), constant(20+30i, 50)(f), 1e-13)
	// Stubs: jZ·tan βl shorted, −jZ·cot βl open. Pozar, ch. 2.3.
	for _, turns := range []float64{0.05, 0.1, 0.2, 0.3, 0.45, 0.6} {
		tan := complex(0, math.Tan(2*math.Pi*turns))
		stub := Cascade{lossless(75, turns, f)}
		near(t, "shorted stub", inputOhm(one(stub, full(-1), 50, f), 50)/75/tan, 1, 1e-11)
		near(t, "open stub", inputOhm(one(stub, full(1), 50, f), 50)/75*tan, 1, 1e-11)
	}
	// A series and a shunt element in a matched line: Γ = Z/(Z+2Z0) and
	// Γ = −Y·Z0/(2+Y·Z0). Pozar, table 4.1 with the definition of S11.
	z := Series(func(float64) complex128 { return 5 + 12i })
	near(t, "series element", one(Cascade{z}, full(0), 50, f), (5+12i)/(105+12i), 1e-15)
	y := Shunt(func(float64) complex128 { return 0.001 + 0.004i })
	near(t, "shunt element", one(Cascade{y}, full(0), 50, f), -(0.05+0.2i)/(2.05+0.2i), 1e-15)
}

// The echo of an open or short end returns 2αl weaker. Zc is a little complex,
// so the port itself reflects ρ = (Zc−Z0)/(Zc+Z0) and turns the answer by at
// most about 2|ρ|; that is the tolerance.
func TestLossyEndReturnsTwiceTheLoss(t *testing.T) {
	for _, lengthM := range []float64{1, 10, 30} {
		for _, f := range []float64{1e8, 1e9, 3e9} {
			_, zc := typical.Wave(f)
			rho := cmplx.Abs((zc - 50) / (zc + 50))
			want := math.Exp(-2 * typical.AttenuationNp(f) * lengthM)
			for _, end := range []complex128{1, -1} {
				got := cmplx.Abs(one(Cascade{Stretch{typical, lengthM}}, full(end), 50, f))
				if math.Abs(got-want) > 2.1*rho {
					t.Errorf("%g m at %g Hz: |Γ| %g, want e^(−2αl) = %g ± %.2g", lengthM, f, got, want, 2.1*rho)
				}
			}
		}
	}
}

func randomCascade(random *rand.Rand, elements int, lossy bool) Cascade {
	c := make(Cascade, elements)
	for i := range c {
		value := random.Float64()
		resistance := 0.0
		if lossy {
			resistance = 10 * random.Float64()
		}
		switch random.IntN(4) {
		case 0:
			c[i] = Series(func(f float64) complex128 { return complex(resistance, 2*math.Pi*f*5e-9*value) })
		case 1:
			c[i] = Shunt(func(f float64) complex128 { return complex(resistance/1e4, 2*math.Pi*f*2e-12*value) })
		default:
			m := randomMedium(random)
			if !lossy {
				m.ConductorNp, m.DielectricNp = 0, 0
			}
			c[i] = Stretch{m, 5 * value}
		}
	}
	return c
}

// Reciprocal: AD − BC = 1. Lossless: A and D real, B and C imaginary, and what
// is not reflected reaches the load. Passive: |Γ| ≤ 1. And both ways of
// computing a reflection agree. Pozar, ch. 4.2 and 4.4.
func TestCascadeIsPassiveAndReciprocal(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 3))
	for range 300 {
		lossy := random.IntN(2) == 0
		c := randomCascade(random, 1+random.IntN(10), lossy)
		f := math.Pow(10, 7+2.5*random.Float64())
		m := c.TwoPort(f)
		scale := cmplx.Abs(m.A*m.D) + cmplx.Abs(m.B*m.C) + 1
		near(t, "AD − BC", m.A*m.D-m.B*m.C, 1, 1e-12*scale)

		load := cmplx.Rect(random.Float64(), 2*math.Pi*random.Float64())
		g := m.InputReflection(load, 50)
		near(t, "Reflection", one(c, full(load), 50, f), g, 1e-11)
		if cmplx.Abs(g) > 1+1e-12 {
			t.Errorf("a passive cascade returns %g", cmplx.Abs(g))
		}
		if lossy {
			continue
		}
		size := cmplx.Abs(m.A) + cmplx.Abs(m.D) + cmplx.Abs(m.B)/50 + cmplx.Abs(m.C)*50
		if out := math.Abs(imag(m.A)) + math.Abs(imag(m.D)) + math.Abs(real(m.B))/50 + math.Abs(real(m.C))*50; out > 1e-11*size {
			t.Errorf("a lossless chain has A, D imaginary or B, C real by %g of %g", out, size)
		}
		// For a voltage of 1+load at the load; the power it takes over what
		// is available at the port.
		v, i := 1+load, (1-load)/50
		in, at := m.A*v+m.B*i, m.C*v+m.D*i
		available := cmplx.Abs(in+50*at) * cmplx.Abs(in+50*at) / 200
		delivered := real(v * cmplx.Conj(i))
		if d := delivered/available - (1 - cmplx.Abs(g)*cmplx.Abs(g)); math.Abs(d) > 1e-10 {
			t.Errorf("power is lost in a lossless chain: %g", d)
		}
	}
}

// A kilometre of thin cable at a high frequency swallows everything; what
// comes back is the port's own mismatch, and numbers stay finite.
func TestHugeLossStaysFinite(t *testing.T) {
	thin := Medium{ImpedanceOhm: 60, VelocityFactor: 0.66, ConductorNp: 5e-6, DielectricNp: 1e-11}
	c := Cascade{Stretch{thin, 3000}, Stretch{thin, 3000}, Stretch{thin, 3000}}
	_, zc := thin.Wave(6e9)
	near(t, "reflection", one(c, full(1), 50, 6e9), (zc-50)/(zc+50), 1e-14)
}

func randomLine(random *rand.Rand) *Line {
	line := &Line{Load: Load{Kind: Open}}
	for i := range 1 + random.IntN(6) {
		id := fmt.Sprint("cable ", i)
		line.Cables = append(line.Cables, Type{
			ID: id, ImpedanceOhm: 50 + 25*float64(random.IntN(2)), VelocityFactor: 0.5 + 0.5*random.Float64(), VelocityFactorTolerance: 0.01,
			Attenuation: []AttenuationPoint{{1e8, 5 * random.Float64()}, {1e9, 10 + 30*random.Float64()}},
		})
		name := fmt.Sprint("section ", i)
		line.Sections = append(line.Sections, Section{Name: name, CableID: id, LengthM: 0.1 + 60*random.Float64()})
		for range random.IntN(3) {
			line.Devices = append(line.Devices, Device{After: name, Kind: "surge-arrestor", LengthM: 0.2 * float64(random.IntN(3))})
		}
	}
	return line
}

func mustPath(t *testing.T, line *Line) *Path {
	t.Helper()
	p, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Over random lines: both conversions undo each other, Θ is continuous, adds
// the spans up, and its phase agrees with the electrical length where loss is
// left out; joints ascend and SpanAt agrees with them.
func TestPathProperties(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 8))
	for range 300 {
		line := randomLine(random)
		p := mustPath(t, line)
		end := p.LengthM()
		places := append(p.JointsM(), -3, end+7)
		for range 20 {
			places = append(places, (1.4*random.Float64()-0.2)*end)
		}
		f := math.Pow(10, 7+2.5*random.Float64())
		for _, x := range places {
			e := p.ElectricalM(x)
			if back := p.PhysicalM(e); math.Abs(back-x) > 1e-9 {
				t.Fatalf("%g m is %g m electrically and %g m back", x, e, back)
			}
			if again := p.ElectricalM(p.PhysicalM(e)); math.Abs(again-e) > 1e-9 {
				t.Fatalf("electrical %g m comes back as %g m", e, again)
			}
			const step = 1e-9
			before, after := p.Theta(f, x-step), p.Theta(f, x+step)
			if jump := cmplx.Abs(after - before); jump > 2*step*2*math.Pi*f/(0.4*SpeedOfLight)+1e-9 {
				t.Fatalf("Θ jumps by %g at %g m", jump, x)
			}
			if s := p.SpanAt(x); x >= 0 && x < end {
				if span := p.Spans[s]; x < span.StartM || x >= span.StartM+span.LengthM {
					t.Fatalf("%g m is not in span %d, from %g m, %g m long", x, s, span.StartM, span.LengthM)
				}
			}
		}
		var sum complex128
		for _, s := range p.Spans {
			gamma, _ := s.Medium.Wave(f)
			sum += gamma * complex(s.LengthM, 0)
		}
		near(t, "Θ at the end", p.Theta(f, end), sum, 1e-9*cmplx.Abs(sum))
		for i := range p.Spans {
			p.Spans[i].Medium.ConductorNp, p.Spans[i].Medium.DielectricNp = 0, 0
		}
		x := end * random.Float64()
		near(t, "Θ without loss", p.Theta(f, x), complex(0, 2*math.Pi*f/SpeedOfLight*p.ElectricalM(x)), 1e-8)
		if joints := p.JointsM(); len(joints) != len(line.Sections)+len(line.Devices)+1 || joints[0] != 0 || joints[len(joints)-1] != end {
			t.Fatalf("joints %v of a line of %g m", joints, end)
		}
	}
}

// A line laid out by hand.
func TestPathByHand(t *testing.T) {
	line := &Line{
		ReferenceImpedanceOhm: 75,
		Cables: []Type{
			{ID: "a", ImpedanceOhm: 75, VelocityFactor: 0.5, VelocityFactorTolerance: 0.01},
			{ID: "b", ImpedanceOhm: 75, VelocityFactor: 0.8},
		},
		Sections: []Section{{"jumper", "a", 2}, {"feeder", "b", 8}},
		Devices:  []Device{{After: "jumper", Kind: "filter", LengthM: 1}},
	}
	p := mustPath(t, line)
	if got := fmt.Sprint(p.JointsM()); got != "[0 2 3 11]" {
		t.Errorf("joints %s", got)
	}
	for _, c := range []struct{ x, electrical float64 }{{-1, -2}, {0, 0}, {1, 2}, {2, 4}, {2.5, 4.5}, {3, 5}, {11, 15}, {19, 25}} {
		if got := p.ElectricalM(c.x); math.Abs(got-c.electrical) > 1e-12 {
			t.Errorf("%g m: electrical %g m, want %g", c.x, got, c.electrical)
		}
		if got := p.PhysicalM(c.electrical); math.Abs(got-c.x) > 1e-12 {
			t.Errorf("electrical %g m: %g m, want %g", c.electrical, got, c.x)
		}
	}
	if v := p.Spans[0].VelocityTolerance; math.Abs(v-0.02/3) > 1e-15 { // three standard deviations
		t.Errorf("relative velocity tolerance %g", v)
	}
	// All of it is 75 ohm, the device too: nothing may reflect in 75 ohm.
	near(t, "matched 75-ohm line", one(p.Cascade(), full(0), 75, 1e9), 0, 1e-14)
	if p.SpanAt(2) != 1 || p.SpanAt(-1) != 0 || p.SpanAt(99) != 2 {
		t.Errorf("spans %d %d %d", p.SpanAt(2), p.SpanAt(-1), p.SpanAt(99))
	}
}

func TestPathErrors(t *testing.T) {
	good := func() *Line {
		line := SimpleLine(Type{ID: "a", ImpedanceOhm: 50, VelocityFactor: 0.66}, 10)
		line.Devices = []Device{{After: "cable", Kind: "filter"}}
		return line
	}
	mustPath(t, good())
	for want, spoil := range map[string]func(*Line){
		"the line has no section of cable":                                       func(l *Line) { l.Sections = nil },
		`section "cable": a length of -1 m is not positive and finite`:           func(l *Line) { l.Sections[0].LengthM = -1 },
		`section "cable": a length of NaN m is not positive and finite`:          func(l *Line) { l.Sections[0].LengthM = math.NaN() },
		`section "cable": the line defines no cable "b"`:                         func(l *Line) { l.Sections[0].CableID = "b" },
		`cable "a": a velocity factor of 66 is not above 0 and at most 1`:        func(l *Line) { l.Cables[0].VelocityFactor = 66 },
		`cable "a": an impedance of 0 ohm is not positive and finite`:            func(l *Line) { l.Cables[0].ImpedanceOhm = 0 },
		`cable "a": a velocity factor tolerance of -1 is negative or not finite`: func(l *Line) { l.Cables[0].VelocityFactorTolerance = -1 },
		`device "filter": no section is called "x"`:                              func(l *Line) { l.Devices[0].After = "x" },
		`device "filter": a length of -1 m is negative or not finite`:            func(l *Line) { l.Devices[0].LengthM = -1 },
		`device "filter": 2 sections are called "cable"`:                         func(l *Line) { l.Sections = append(l.Sections, l.Sections[0]) },
		"a reference impedance of -50 ohm is not positive and finite":            func(l *Line) { l.ReferenceImpedanceOhm = -50 },
		`cable "a": attenuation point [0 Hz, 1 dB/100 m] needs a positive frequency and a finite loss of at least 0`: func(l *Line) {
			l.Cables[0].Attenuation = []AttenuationPoint{{0, 1}}
		},
	} {
		line := good()
		spoil(line)
		if _, err := line.Path(); err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}

func TestFitAttenuation(t *testing.T) {
	law := func(a, b float64, at ...float64) (points []AttenuationPoint) {
		for _, f := range at {
			points = append(points, AttenuationPoint{f, (a*math.Sqrt(f) + b*f) / NeperPerDB * 100})
		}
		return points
	}
	for _, c := range []struct {
		name   string
		points []AttenuationPoint
		a, b   float64
	}{
		{"both terms come back", law(1e-6, 5e-12, 1e7, 1e8, 1e9), 1e-6, 5e-12},
		{"conductor loss only", law(1e-6, 0, 1e7, 1e8, 1e9), 1e-6, 0},
		{"dielectric loss only", law(0, 5e-12, 1e7, 1e8, 1e9), 0, 5e-12},
		{"one point is conductor loss", law(1e-6, 0, 3e8), 1e-6, 0},
		{"no points are no loss", nil, 0, 0},
		{"zero loss says nothing", []AttenuationPoint{{1e8, 0}}, 0, 0},
	} {
		a, b, err := FitAttenuation(c.points)
		if err != nil || math.Abs(a-c.a) > 1e-9*1e-6 || math.Abs(b-c.b) > 1e-9*5e-12 {
			t.Errorf("%s: %g, %g, %v; want %g, %g", c.name, a, b, err, c.a, c.b)
		}
	}
	for _, bad := range []AttenuationPoint{{-1, 1}, {math.NaN(), 1}, {1e8, -1}, {1e8, math.NaN()}, {math.Inf(1), 1}, {1e8, math.Inf(1)}} {
		if _, _, err := FitAttenuation([]AttenuationPoint{bad}); err == nil {
			t.Errorf("%v was fitted", bad)
		}
	}
}

// VSWR and return loss: 1.1 is 26.4 dB and 1.5 is 13.98 dB in every table of
// the trade (common practice, no source). The tolerances are the half digit
// that the decibels are rounded by: dVSWR/dRL = 0.115·2ρ/(1−ρ)² per dB.
func TestLimitVSWR(t *testing.T) {
	for _, c := range []struct {
		limits    Limits
		want, tol float64
	}{
		{Limits{}, 0, 0},
		{Limits{VSWR: 1.3}, 1.3, 0},
		{Limits{ReturnLossDB: 26.4}, 1.1, 0.05 * 0.012},
		{Limits{ReturnLossDB: 13.98}, 1.5, 0.005 * 0.0725},
		{Limits{ReturnLossDB: 20}, 11. / 9, 1e-12},
	} {
		if got := c.limits.LimitVSWR(); math.Abs(got-c.want) > c.tol {
			t.Errorf("%+v: %g, want %g", c.limits, got, c.want)
		}
	}
}

func TestVelocityLine(t *testing.T) {
	line := VelocityLine(0.66, 30)
	p := mustPath(t, line)
	if e := p.ElectricalM(30); math.Abs(e-30/0.66) > 1e-12 {
		t.Errorf("electrical length %g m", e)
	}
	if theta := p.Theta(1e9, 30); real(theta) != 0 {
		t.Errorf("loss %g Np on a line of unknown loss", real(theta))
	}
	if len(line.Notes) != 1 {
		t.Errorf("notes %q do not say what was assumed", line.Notes)
	}
}

// 1001 points over 10 elements: what a locator computes for each trial fault.
func BenchmarkCascade(b *testing.B) {
	c := randomCascade(rand.New(rand.NewPCG(2, 3)), 10, true)
	f := make([]float64, 1001)
	for i := range f {
		f[i] = 500e6 + 2e6*float64(i)
	}
	for b.Loop() {
		c.Reflection(f, full(0.1), 50)
	}
}
