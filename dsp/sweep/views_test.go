package sweep

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"
)

// The table of VSWR against return loss that hangs in every workshop: common
// practice, no single source; the values follow from the definitions of IEC
// 60050-726, RL = 20·log10((VSWR+1)/(VSWR-1)), and are printed here to two
// decimals (26.4 dB and 13.98 dB among them), hence the tolerance of half the
// last digit.
func TestVSWRAgainstReturnLossCommonPractice(t *testing.T) {
	for _, c := range []struct{ vswr, returnLossDB float64 }{
		{1.01, 46.06}, {1.02, 40.09}, {1.05, 32.26}, {1.1, 26.44}, {1.15, 23.13}, {1.2, 20.83},
		{1.25, 19.08}, {1.3, 17.69}, {1.4, 15.56}, {1.5, 13.98}, {1.6, 12.74}, {1.7, 11.73},
		{1.8, 10.88}, {1.9, 10.16}, {2, 9.54}, {2.5, 7.36}, {3, 6.02}, {5, 3.52}, {10, 1.74}, {20, 0.87},
	} {
		if got := ReturnLossFromVSWR(c.vswr); !(math.Abs(got-c.returnLossDB) <= 0.005) {
			t.Errorf("VSWR %v: return loss %.4f dB, want %v", c.vswr, got, c.returnLossDB)
		}
		// Back, from the exact definition: ρ = (VSWR-1)/(VSWR+1).
		exact := 20 * math.Log10((c.vswr+1)/(c.vswr-1))
		if got := VSWRFromReturnLoss(exact); !(math.Abs(got-c.vswr) <= 1e-12*c.vswr*c.vswr) {
			t.Errorf("return loss %v dB: VSWR %v, want %v", exact, got, c.vswr)
		}
	}
}

// The other way, printed return losses to VSWR; common practice likewise.
func TestReturnLossAgainstVSWRCommonPractice(t *testing.T) {
	for _, c := range []struct{ returnLossDB, vswr float64 }{
		{40, 1.02}, {30, 1.07}, {26.4, 1.10}, {20, 1.22}, {18, 1.29}, {16, 1.38}, {14, 1.50}, {12, 1.67}, {10, 1.92}, {6, 3.01}, {3, 5.85}, {1, 17.39},
	} {
		if got := VSWRFromReturnLoss(c.returnLossDB); !(math.Abs(got-c.vswr) <= 0.005) {
			t.Errorf("return loss %v dB: VSWR %.4f, want %v", c.returnLossDB, got, c.vswr)
		}
	}
}

func TestConversionsAtTheirEnds(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"VSWR of no reflection", VSWRFromMagnitude(0), 1},
		{"VSWR of total reflection", VSWRFromMagnitude(1), inf},
		{"VSWR of more than total reflection", VSWRFromMagnitude(1.01), inf},
		{"return loss of no reflection", ReturnLossFromMagnitude(0), inf},
		{"return loss of total reflection", ReturnLossFromMagnitude(1), 0},
		{"magnitude of an infinite VSWR", MagnitudeFromVSWR(inf), 1},
		{"magnitude of VSWR 3", MagnitudeFromVSWR(3), 0.5},
		{"magnitude of an infinite return loss", MagnitudeFromReturnLoss(inf), 0},
		{"VSWR of a return loss of 0", VSWRFromReturnLoss(0), inf},
		{"return loss of VSWR 1", ReturnLossFromVSWR(1), inf},
		{"magnitude of an impossible VSWR", MagnitudeFromVSWR(0.9), math.NaN()},
	} {
		if c.got != c.want && !(math.IsNaN(c.got) && math.IsNaN(c.want)) {
			t.Errorf("%s: got %v, want %v", c.what, c.got, c.want)
		}
	}
}

// Closed forms: an impedance Z on the reference R makes Γ = (Z-R)/(Z+R)
// (Pozar, eq. 2.35, from memory), and the views give Z and 1/Z back.
func TestImpedanceAndAdmittanceClosedForm(t *testing.T) {
	loads := []complex128{50, 75, 25 + 10i, 5 - 200i, 1e-3}
	s := &Sweep{ReferenceOhm: 75}
	for i, z := range loads {
		s.FrequencyHz = append(s.FrequencyHz, float64(i+1)*1e6)
		s.Gamma = append(s.Gamma, (z-75)/(z+75))
	}
	for i, z := range s.Impedance() {
		near(t, "Z", z, loads[i], 1e-12*75*(1+cmplx.Abs(loads[i])/75)*(1+cmplx.Abs(loads[i])/75))
	}
	for i, y := range s.Admittance() {
		near(t, "Y·Z", y*loads[i], 1, 1e-9) // 1e-3 ohm: 1+Γ loses five digits
	}
	open, short := &Sweep{Gamma: []complex128{1}, ReferenceOhm: 50}, &Sweep{Gamma: []complex128{-1}, ReferenceOhm: 50}
	if z := open.Impedance()[0]; !cmplx.IsInf(z) {
		t.Errorf("impedance of an open: %v", z)
	}
	if y := open.Admittance()[0]; y != 0 {
		t.Errorf("admittance of an open: %v", y)
	}
	if z := short.Impedance()[0]; z != 0 {
		t.Errorf("impedance of a short: %v", z)
	}
	if y := short.Admittance()[0]; !cmplx.IsInf(y) {
		t.Errorf("admittance of a short: %v", y)
	}
}

// delayed is a mirror of magnitude 0.8 behind seconds of delay, there and back.
func delayed(frequencyHz []float64, seconds float64) *Sweep {
	s := &Sweep{FrequencyHz: frequencyHz, ReferenceOhm: 50}
	for _, f := range frequencyHz {
		s.Gamma = append(s.Gamma, cmplx.Rect(0.8, -2*math.Pi*math.Remainder(f*seconds, 1)))
	}
	return s
}

// A pure delay has that group delay at every point of any grid; the phase
// steps stay below half a turn here. Tolerance: phase rounding of 1e-13
// degrees over a step of 1 MHz is 1e-22 s; 1e-18 s leaves room for the unwrapped
// phase of some thousand degrees.
func TestGroupDelayOfAPureDelayOnAnUnevenGrid(t *testing.T) {
	const want = 300e-9
	var grid []float64
	for f, step := 700e6, 0.2e6; len(grid) < 200; f += step {
		grid = append(grid, f)
		step = 0.2e6 + 1.2e6*math.Abs(math.Sin(float64(len(grid))))
	}
	s := delayed(grid, want)
	for i, got := range s.GroupDelayS() {
		if !(math.Abs(got-want) <= 1e-18) {
			t.Fatalf("point %d: %v s, want %v", i, got, want)
		}
	}
	phase := s.UnwrappedPhaseDeg()
	if got, want := phase[199]-phase[0], -360*want*(grid[199]-grid[0]); !(math.Abs(got-want) <= 1e-8) {
		t.Errorf("unwrapped phase goes %v degrees, want %v", got, want)
	}
}

// The derivative is exact for a parabola: φ = -360·(a·f + b·f²) gives
// τ = a + 2·b·f at every point, the ends included.
func TestGroupDelayIsOfSecondOrder(t *testing.T) {
	const a, b = 20e-9, 1e-17
	grid := []float64{100e6, 101e6, 103e6, 103.5e6, 107e6, 108e6}
	s := &Sweep{FrequencyHz: grid, ReferenceOhm: 50}
	for _, f := range grid {
		s.Gamma = append(s.Gamma, cmplx.Rect(1, -2*math.Pi*(a*f+b*f*f)))
	}
	for i, got := range s.GroupDelayS() {
		if want := a + 2*b*grid[i]; !(math.Abs(got-want) <= 1e-18) {
			t.Errorf("point %d: %v s, want %v", i, got, want)
		}
	}
}

func TestGroupDelayOfFewPoints(t *testing.T) {
	if got := delayed([]float64{1e9}, 1e-9).GroupDelayS(); len(got) != 1 || got[0] != 0 {
		t.Errorf("one point: %v", got)
	}
	for i, got := range delayed([]float64{1e9, 1.01e9}, 10e-9).GroupDelayS() {
		if !(math.Abs(got-10e-9) <= 1e-20) {
			t.Errorf("two points, %d: %v s", i, got)
		}
	}
}

func TestPhaseIsInHalfOpenTurn(t *testing.T) {
	s := &Sweep{Gamma: []complex128{1, 1i, complex(-1, 0), complex(-1, math.Copysign(0, -1)), -1i, 0}}
	want := []float64{0, 90, 180, 180, -90, 0}
	for i, got := range s.PhaseDeg() {
		if !(math.Abs(got-want[i]) <= 1e-13) {
			t.Errorf("phase of %v: %v, want %v", s.Gamma[i], got, want[i])
		}
	}
}

// A line of 3 dB one way ended in a short returns 6 dB: common practice.
func TestCableLossIsHalfTheReturnLoss(t *testing.T) {
	s := &Sweep{Gamma: []complex128{complex(-MagnitudeFromReturnLoss(6), 0)}}
	if got := s.CableLossDB()[0]; !(math.Abs(got-3) <= 1e-14) {
		t.Errorf("cable loss %v dB, want 3", got)
	}
}

func TestValidateNamesThePoint(t *testing.T) {
	good := func() *Sweep {
		return &Sweep{Name: "roof", FrequencyHz: []float64{1e6, 2e6, 3e6}, Gamma: []complex128{.1, .2, .3}, ReferenceOhm: 50}
	}
	if err := good().Validate(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		damage func(s *Sweep)
		want   string
	}{
		{func(s *Sweep) { s.Gamma = s.Gamma[:2] }, `sweep "roof": 3 frequencies but 2 reflection coefficients`},
		{func(s *Sweep) { s.FrequencyHz, s.Gamma = nil, nil }, `sweep "roof": no data point: the file is empty or was cut off; export the sweep again`},
		{func(s *Sweep) { s.ReferenceOhm = 0 }, `sweep "roof": reference impedance 0 ohm: it must be positive`},
		{func(s *Sweep) { s.FrequencyHz[2] = 2e6 }, `sweep "roof": point 3 of 3: frequency 2000000 Hz repeats the point before; delete one of the two`},
		{func(s *Sweep) { s.FrequencyHz[1] = math.NaN() }, `sweep "roof": point 2 of 3: the frequency is not a finite number; correct or delete the point`},
		{func(s *Sweep) { s.Gamma[1] = cmplx.NaN() }, `sweep "roof": point 2 of 3, 2e+06 Hz: the reflection coefficient is not finite; correct or delete the point`},
		{func(s *Sweep) { s.ErrorFloor = []float64{0} }, `sweep "roof": 3 frequencies but an error floor of 1 values`},
		{func(s *Sweep) { s.ErrorFloor = []float64{0, -1, 0} }, `sweep "roof": point 2 of 3: error floor -1`},
		{func(s *Sweep) { s.TwoPort = &TwoPort{ReferenceOhm: 50} }, `sweep "roof": 3 frequencies but 0, 0 and 0 values of S21, S12 and S22`},
	} {
		s := good()
		c.damage(s)
		if err := s.Validate(); err == nil || err.Error() != c.want {
			t.Errorf("got %v, want %s", err, c.want)
		}
	}
}

func TestBandCopiesThePointsInside(t *testing.T) {
	s := &Sweep{
		Name: "roof", FrequencyHz: []float64{1, 2, 3, 4, 5}, Gamma: []complex128{.1, .2, .3, .4, .5}, ReferenceOhm: 50,
		ErrorFloor: []float64{.01, .02, .03, .04, .05},
		TwoPort:    &TwoPort{S21: []complex128{1, 2, 3, 4, 5}, S12: []complex128{1, 2, 3, 4, 5}, S22: []complex128{1, 2, 3, 4, 5}, ReferenceOhm: 50},
	}
	b, err := s.Band(2, 4)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Validate(); err != nil {
		t.Error(err)
	}
	if len(b.Gamma) != 3 || b.Gamma[0] != .2 || b.Gamma[2] != .4 || b.ErrorFloor[1] != .03 || b.TwoPort.S22[2] != 4 {
		t.Errorf("band %+v", b)
	}
	b.Gamma[0] = 9
	if s.Gamma[1] != .2 {
		t.Error("the band shares memory with its sweep")
	}
	if b, err := s.Band(0, 3.5); err != nil || len(b.Gamma) != 3 {
		t.Errorf("open below: %v, %v", b, err)
	}
	if b, err := s.Band(3.5, 0); err != nil || len(b.Gamma) != 2 {
		t.Errorf("open above: %v, %v", b, err)
	}
	_, err = s.Band(4.5, 9)
	if want := `sweep "roof": 1 of its points lie in the band 4.5 Hz to 9 Hz, at least 2 are needed; the sweep covers 1 Hz to 5 Hz`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	if _, err := s.Band(4, 2); err == nil {
		t.Error("a band that ends below its start is taken")
	}
}

func TestJudgeByBand(t *testing.T) {
	s := &Sweep{
		Name: "roof", ReferenceOhm: 50, FrequencyHz: []float64{700e6, 750e6, 800e6, 1700e6, 1750e6, 1800e6},
		// VSWR 1.5 is ρ = 0.2 by definition; ρ = 0.1 is a return loss of 20 dB.
		Gamma: []complex128{.1, .2i, .05, .1, -.25, .1i},
	}
	verdicts, err := s.Judge([]LimitBand{
		{Name: "low", LowHz: 700e6, HighHz: 800e6, MaxVSWR: 1.5},
		{Name: "high", LowHz: 1700e6, HighHz: 1800e6, MinReturnLossDB: 14},
		{Name: "wide", LowHz: 400e6, HighHz: 1800e6, MaxVSWR: 2},
		{Name: "edge", LowHz: 690e6, HighHz: 760e6, MinReturnLossDB: 10},
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		passes, covered bool
		points          int
		vswr, atHz      float64
		marginDB        float64
	}{
		{true, true, 3, 1.5, 750e6, 0},                                 // on the limit passes
		{false, true, 3, 1.25 / .75, 1750e6, -20*math.Log10(.25) - 14}, // 12.04 dB against 14 dB
		{false, false, 6, 1.25 / .75, 1750e6, 20 * math.Log10(4./3.)},  // in limits, but 400-700 MHz was not swept
		{true, true, 2, 1.5, 750e6, -20*math.Log10(.2) - 10},           // 10 MHz short with a step of 50 MHz
	} {
		v := verdicts[i]
		if v.Passes != want.passes || v.Covered != want.covered || v.Points != want.points || v.AtHz != want.atHz {
			t.Errorf("band %s: %+v, want %+v", v.Band.Name, v, want)
		}
		if !(math.Abs(v.WorstVSWR-want.vswr) <= 1e-14) || !(math.Abs(v.MarginDB-want.marginDB) <= 1e-13) {
			t.Errorf("band %s: VSWR %v margin %v, want %+v", v.Band.Name, v.WorstVSWR, v.MarginDB, want)
		}
		if !(math.Abs(v.WorstReturnLossDB-ReturnLossFromVSWR(v.WorstVSWR)) <= 1e-13) ||
			!(math.Abs(v.LimitReturnLossDB-ReturnLossFromVSWR(v.LimitVSWR)) <= 1e-13) {
			t.Errorf("band %s: VSWR and return loss disagree: %+v", v.Band.Name, v)
		}
	}
	vswr, at, err := s.WorstVSWR(1e9, 0)
	if err != nil || !(math.Abs(vswr-1.25/.75) <= 1e-14) || at != 1750e6 {
		t.Errorf("worst VSWR %v at %v, %v", vswr, at, err)
	}
}

func TestJudgeOfAnUnvalidatedNaNFails(t *testing.T) {
	s := &Sweep{FrequencyHz: []float64{1e6, 2e6, 3e6}, Gamma: []complex128{.1, cmplx.NaN(), .1}, ReferenceOhm: 50}
	verdicts, err := s.Judge([]LimitBand{{MaxVSWR: 1.5}})
	if err != nil || verdicts[0].Passes || verdicts[0].AtHz != 2e6 {
		t.Errorf("%+v, %v", verdicts, err)
	}
}

func TestJudgeErrors(t *testing.T) {
	s := &Sweep{Name: "roof", FrequencyHz: []float64{1e6, 2e6}, Gamma: []complex128{.1, .1}, ReferenceOhm: 50}
	for _, c := range []struct {
		band LimitBand
		want string
	}{
		{LimitBand{}, `no limit: set a VSWR or a return loss`},
		{LimitBand{MaxVSWR: 1}, `VSWR limit 1: it must be above 1`},
		{LimitBand{MaxVSWR: math.NaN()}, `VSWR limit NaN: it must be above 1`},
		{LimitBand{MinReturnLossDB: -14}, `return loss limit -14 dB: it must be above 0`},
		{LimitBand{MaxVSWR: 1.5, MinReturnLossDB: 14}, `both a VSWR and a return loss limit: leave one`},
		{LimitBand{MaxVSWR: 1.5, LowHz: 3e6, HighHz: 4e6}, `no point lies in the band 3000000 Hz to 4000000 Hz; the sweep covers 1000000 Hz to 2000000 Hz`},
		{LimitBand{MaxVSWR: 1.5, LowHz: 2e6, HighHz: 1e6}, `it ends at 1000000 Hz, below its start: swap the two`},
	} {
		_, err := s.Judge([]LimitBand{c.band})
		want := `judging sweep "roof": limit band 1 "": ` + c.want
		if err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	_, _, err := s.WorstVSWR(3e6, 0)
	if want := `sweep "roof": no point lies in the band 3000000 Hz to end; the sweep covers 1000000 Hz to 2000000 Hz`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestScalarIsJudged(t *testing.T) {
	s, err := ReadScalar("a.csv", strings.NewReader("Frequency (MHz),VSWR\n700,1.2\n710,1.5\n720,1.1\n"))
	if err != nil {
		t.Fatal(err)
	}
	verdicts, err := s.Judge([]LimitBand{{LowHz: 700e6, HighHz: 720e6, MaxVSWR: 1.4}})
	if err != nil {
		t.Fatal(err)
	}
	if v := verdicts[0]; v.Passes || !v.Covered || v.AtHz != 710e6 || !(math.Abs(v.WorstVSWR-1.5) <= 1e-15) {
		t.Errorf("%+v", v)
	}
}
