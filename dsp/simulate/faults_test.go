package simulate

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"downlead/cables"
)

// plain returns a scenario of two lossless 50-ohm sections, 3.7 m and 2.3 m,
// with the faults, on a perfect instrument.
func plain(faults ...Fault) *Scenario {
	cable := func(id string, velocity float64) cables.Type {
		return cables.Type{ID: id, ImpedanceOhm: 50, VelocityFactor: velocity, VelocityFactorTolerance: 0.01}
	}
	return &Scenario{Seed: 1, Faults: faults, Sweep: Grid{[]Segment{{LowHz: 50e6, HighHz: 2.05e9, Points: 101}}},
		Line: &cables.Line{Name: "plain", ReferenceImpedanceOhm: 50, Cables: []cables.Type{cable("a", 0.8), cable("b", 0.66)},
			Sections: []cables.Section{{Name: "lower", CableID: "a", LengthM: 3.7}, {Name: "upper", CableID: "b", LengthM: 2.3}},
			Load:     cables.Load{Kind: cables.Open}}}
}

// swept returns the scenario's reflection as built with every fault and the
// given load, and the reflections' frequencies.
func swept(t *testing.T, s *Scenario, load func(float64) complex128) (frequency []float64, gamma []complex128) {
	t.Helper()
	if err := s.Check(); err != nil {
		t.Fatal(err)
	}
	b, err := newBuilder(s)
	if err != nil {
		t.Fatal(err)
	}
	all := make([]bool, len(s.Faults))
	for i := range all {
		all[i] = true
	}
	frequency = s.Sweep.FrequencyHz()
	gamma, err = reflection(context.Background(), b.build(s.draw(b.path), load, all), frequency)
	if err != nil {
		t.Fatal(err)
	}
	return frequency, gamma
}

func matched(float64) complex128 { return 0 }
func mirror(float64) complex128  { return 1 }

// back is a wave's way there and back over lengthM at velocityFactor.
func back(f, lengthM, velocityFactor float64) complex128 {
	return cmplx.Rect(1, -4*math.Pi*f*lengthM/(velocityFactor*cables.SpeedOfLight))
}

// Closed forms of a part between matched lines: a series impedance z reflects
// z/(z + 2·Z0), a shunt admittance y reflects -y·Z0/(y·Z0 + 2): Pozar, 4th ed.,
// from table 4.1 and 4.2. A stretch of Z1 with ρ = (Z1-Z0)/(Z1+Z0) reflects
// ρ(1-e^{-2θ})/(1-ρ²e^{-2θ}): ibid., ch. 5.5 (theory of small reflections,
// before the approximation).
func TestFaultsAgainstClosedForms(t *testing.T) {
	jw := func(f float64) complex128 { return complex(0, 2*math.Pi*f) }
	series := func(z complex128) complex128 { return z / (z + 100) }
	shunt := func(y complex128) complex128 { return -y * 50 / (y*50 + 2) }
	stretch := func(f, z1, lengthM, velocity float64) complex128 {
		rho := complex((z1-50)/(z1+50), 0)
		turn := back(f, lengthM, velocity)
		return rho * (1 - turn) / (1 - rho*rho*turn)
	}
	parallel := func(y complex128) complex128 { return (1 - 50*y) / (1 + 50*y) }
	for _, c := range []struct {
		name  string
		fault Fault
		at    float64
		want  func(f float64) complex128
	}{
		{"series R at the joint", Fault{Cause: poorContact, At: "lower / upper", SeriesOhm: 18}, 3.7, func(f float64) complex128 { return series(18) }},
		{"series R and gap in a section", Fault{Cause: poorContact, DistanceM: 1.25, SeriesOhm: 7, GapFarad: 9e-12}, 1.25,
			func(f float64) complex128 { return series(7 + 1/(jw(f)*9e-12)) }},
		{"series L at the test port", Fault{Cause: connectorMismatch, At: "test port", SeriesHenry: 2.2e-9}, 0,
			func(f float64) complex128 { return series(jw(f) * 2.2e-9) }},
		{"shunt C", Fault{Cause: connectorMismatch, At: "lower / upper", ShuntFarad: 1.1e-12}, 3.7,
			func(f float64) complex128 { return shunt(jw(f) * 1.1e-12) }},
		{"shunt G, hardly anything else", Fault{Cause: waterInConnector, At: "lower / upper", SeriesOhm: 1e-12, ShuntSiemens: 6e-3, ShuntFarad: 1e-25, LossTangent: 1e-9}, 3.7,
			func(f float64) complex128 { return shunt(6e-3) }},
		{"open with fringe and leak", Fault{Cause: openCircuit, DistanceM: 2.5, ShuntFarad: 0.08e-12, ShuntSiemens: 1e-3}, 2.5,
			func(f float64) complex128 { return parallel(1e-3 + jw(f)*0.08e-12) }},
		{"short with R and L", Fault{Cause: shortCircuit, At: "load", SeriesOhm: 0.7, SeriesHenry: 0.3e-9}, 6.0,
			func(f float64) complex128 { return parallel(1 / (0.7 + jw(f)*0.3e-9)) }},
		{"dent", Fault{Cause: dentOrKink, DistanceM: 1.5, ExtentM: 0.07, ImpedanceOhm: 31}, 1.5,
			func(f float64) complex128 { return stretch(f, 31, 0.07, 0.8) }},
		{"another cable by its id", Fault{Cause: wrongImpedance, DistanceM: 1, ExtentM: 1.5, Cable: "c"}, 1,
			func(f float64) complex128 { return stretch(f, 75, 1.5, 0.83) }},
		{"wet without loss or edges", Fault{Cause: waterInCable, DistanceM: 0.5, ExtentM: 2, ImpedanceDrop: 0.2, TaperM: 1e-8, LossTangent: 1e-12}, 0.5,
			func(f float64) complex128 { return stretch(f, 40, 2, 0.8*0.8) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := plain(c.fault)
			s.Line.Cables = append(s.Line.Cables, cables.Type{ID: "c", ImpedanceOhm: 75, VelocityFactor: 0.83})
			frequency, got := swept(t, s, matched)
			for k, f := range frequency {
				want := c.want(f) * back(f, math.Min(c.at, 3.7), 0.8) * back(f, math.Max(c.at-3.7, 0), 0.66)
				// The wet slice's edges of 10 nm are the only thing that the
				// closed forms do not have: they turn the phase by 1e-6.
				if cmplx.Abs(got[k]-want) > 2e-6 {
					t.Fatalf("%g Hz: %v, want %v", f, got[k], want)
				}
				if c.fault.Cause != waterInCable && cmplx.Abs(got[k]-want) > 1e-11 {
					t.Fatalf("%g Hz: %v, want %v to rounding", f, got[k], want)
				}
			}
		})
	}
}

// A lossy section behind which everything is open shows Zc·coth(γ·l), its R
// and G being the factor times those of the cable law: Pozar, 4th ed., eq. 2.91
// and ch. 2.1, written out here without package cables.
func TestLossySectionAgainstClosedForm(t *testing.T) {
	s := plain(Fault{Cause: lossySection, At: "lower", LossFactor: 2.6})
	s.Line.Cables[0].Attenuation = []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 3}, {FrequencyHz: 1e9, DBPerHundredM: 11}}
	s.Faults = append(s.Faults, Fault{Cause: openCircuit, At: "lower / upper", ShuntFarad: 1e-30})
	frequency, got := swept(t, s, matched)
	// α = a√f + b·f through both points of the table.
	np := math.Ln10 / 20 / 100
	b := (11*np/math.Sqrt(1e9) - 3*np/math.Sqrt(100e6)) / (math.Sqrt(1e9) - math.Sqrt(100e6))
	a := 3*np/math.Sqrt(100e6) - b*math.Sqrt(100e6)
	if a < 0 || b < 0 {
		t.Fatalf("the example's table does not fit: a %g, b %g", a, b)
	}
	for k, f := range frequency {
		r, g := 2.6*2*50*a*math.Sqrt(f), 2.6*2*b*f/50
		z := complex(r, r+2*math.Pi*f*50/(0.8*299792458))
		y := complex(g, 2*math.Pi*f/(50*0.8*299792458))
		zin := cmplx.Sqrt(z/y) / cmplx.Tanh(cmplx.Sqrt(z*y)*3.7)
		if want := (zin - 50) / (zin + 50); cmplx.Abs(got[k]-want) > 1e-9 {
			t.Errorf("%g Hz: %v, want %v", f, got[k], want)
		}
	}
}

// The wet stretch at 1 GHz: impedance and velocity both fall by the drop, and a
// wave loses π·f·tanδ/v more per metre (Pozar, 4th ed., eq. 2.85c with 3.30).
func TestWetStretchAtReference(t *testing.T) {
	dry := cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.88}
	w := wetStretch{dry, []wetSlice{newWetSlice(slice{1, 1}, 1/(0.8*0.8), 0.01)}}
	p := w.TwoPort(1e9)
	zc := cmplx.Sqrt(p.B / p.C)
	gamma := cmplx.Log(p.A + cmplx.Sqrt(p.A*p.A-1)) // one metre
	if real(gamma) < 0 {
		gamma = -gamma
	}
	if math.Abs(cmplx.Abs(zc)-40) > 0.002 {
		t.Errorf("impedance %v ohm, want 40", zc)
	}
	beta := 2 * math.Pi * 1e9 / (0.88 * 0.8 * cables.SpeedOfLight)
	if want := beta * 0.01 / 2; math.Abs(real(gamma)/want-1) > 1e-4 { // tan against sin of a small angle: tanδ²
		t.Errorf("loss %g Np/m, want %g", real(gamma), want)
	}
	if turned := math.Remainder(imag(gamma)-beta, 2*math.Pi); math.Abs(turned) > 1e-3 {
		t.Errorf("phase is %g rad off", turned)
	}
}

// Kramers-Kronig, once subtracted: with ε = ε' - jε”,
// ε'(ω1)-ε'(ω2) = (2/π)·P∫ x·ε”(x)·[1/(x²-ω1²) - 1/(x²-ω2²)] dx
// (L. D. Landau, E. M. Lifshitz, "Electrodynamics of Continuous Media", § 82,
// from memory). The pole is taken out with P∫ dx/(x²-ω²) = 0.
func TestWetPermittivityIsCausal(t *testing.T) {
	for _, lossTangent := range []float64{0.003, 0.02, 0.1, 0.5} {
		imaginary := func(x float64) float64 { return -imag(constantLossTangent(lossTangent, x)) }
		one := func(w float64) float64 {
			sum := 0.0
			const steps = 400 // per decade
			// The same range for both, so that what lies beyond cancels.
			from := -9*steps - int(math.Round(steps*math.Log10(w/1e9)))
			for k := range 18 * steps {
				x := w * math.Pow(10, (float64(from+k)+0.5)/steps)
				dx := x * math.Ln10 / steps
				sum += (x*imaginary(x) - w*imaginary(w)) / (x*x - w*w) * dx
			}
			return 2 / math.Pi * sum
		}
		f1, f2 := 0.2e9, 2e9
		got := one(f1) - one(f2)
		want := real(constantLossTangent(lossTangent, f1)) - real(constantLossTangent(lossTangent, f2))
		if math.Abs(got-want) > 2e-4*math.Abs(want) {
			t.Errorf("tan δ %g: ε' falls by %g, its loss asks for %g", lossTangent, want, got)
		}
	}
}

// acausal is a wet stretch as it must not be: a constant loss tangent with a
// permittivity that does not fall.
type acausal struct{ wetStretch }

func (w acausal) TwoPort(frequencyHz float64) cables.TwoPort {
	gamma, zc := w.Wave(frequencyHz)
	z, y := gamma*zc, gamma/zc
	wet := complex(imag(y)*w.slices[0].permittivity, 0) * (1i + complex(w.slices[0].lossTangent, 0))
	root := cmplx.Sqrt(z * wet)
	return lineTwoPort(root*complex(w.slices[0].lengthM, 0), root/wet)
}

// Nothing comes back before it was sent: the impulse response of what a mirror
// behind a wet stretch sends back, from a windowed sweep by direct sums. The
// control is the same stretch with a permittivity that does not fall, whose
// pulse is symmetric and so begins before time zero.
func TestWetCableIsCausalInTime(t *testing.T) {
	const top, extent, tangent = 6e9, 3.0, 0.2
	dry := cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.8}
	stretch := wetStretch{dry, []wetSlice{newWetSlice(slice{extent, 1}, 1.5, tangent)}}
	early := func(e cables.Element) float64 { // the part before time zero over the peak
		const step = 0.5e6 // fine enough that the pulse's long tail does not wrap around
		var windowed []complex128
		for f := step; f < top; f += step {
			u := math.Pi * f / top // Blackman-Harris, its middle at 0 Hz
			w := 0.35875 + 0.48829*math.Cos(u) + 0.14128*math.Cos(2*u) + 0.01168*math.Cos(3*u)
			// Between its own impedances, so that nothing reflects: e^{-2γl}.
			p := e.TwoPort(f)
			through := 2 / (p.A + p.D + p.B*cmplx.Sqrt(p.C/p.B) + p.C*cmplx.Sqrt(p.B/p.C))
			windowed = append(windowed, complex(w, 0)*through*through)
		}
		response := func(from, to float64) float64 {
			peak := 0.0
			for at := from; at < to; at += 0.25e-9 {
				sum, turn, angle := 0.5, cmplx.Rect(1, 2*math.Pi*step*at), complex128(1) // 0.5: half the term at 0 Hz
				for _, v := range windowed {
					angle *= turn
					sum += real(v * angle)
				}
				peak = math.Max(peak, math.Abs(sum))
			}
			return peak
		}
		return response(-8e-9, -0.5e-9) / response(0, 50e-9)
	}
	causal, control := early(stretch), early(acausal{stretch})
	t.Logf("too soon: %.2g of the peak, control %.2g", causal, control)
	if causal > 1e-4 || control < 1e-3 { // the window's side lobes are 92 dB down
		t.Errorf("too soon: %g of the peak (at most 1e-4); the control must show more than 1e-3 and shows %g", causal, control)
	}
}

// A thin slice by its series is the same line as by hyperbolic functions, right up to the
// thickness where these take over.
func TestThinSlices(t *testing.T) {
	for _, length := range []float64{1e-6, 0.001, 0.01, 0.02} {
		z, y := complex(3, 900), complex(0.002, 0.6) // ohm and siemens per metre
		whole, across := z*complex(length, 0), y*complex(length, 0)
		if size := cmplx.Abs(whole * across); size > mostThin {
			t.Fatalf("%g m is too thick: %g", length, size)
		}
		root := cmplx.Sqrt(z * y)
		got, want := thinTwoPort(whole, across, whole*across), lineTwoPort(root*complex(length, 0), root/y)
		for name, pair := range map[string][2]complex128{"A": {got.A, want.A}, "B": {got.B, want.B}, "C": {got.C, want.C}, "D": {got.D, want.D}} {
			if off := cmplx.Abs(pair[0]-pair[1]) / cmplx.Abs(pair[1]); off > 1e-15/length { // the hyperbolic sine of little loses digits, the series none
				t.Errorf("%s of %g m: %v, want %v", name, length, pair[0], pair[1])
			}
		}
	}
}

// The series has as many terms as it needs: without loss it is a cosine and a sine to the last
// digits, at the thickest slice that it is used for.
func TestThinSlicesWithoutLoss(t *testing.T) {
	for _, theta := range []float64{0.1, 0.3, 0.4999} {
		got := thinTwoPort(complex(0, theta), complex(0, theta), complex(-theta*theta, 0))
		if theta*theta > mostThin || math.Abs(real(got.A)-math.Cos(theta)) > 1e-15 || math.Abs(imag(got.B)-math.Sin(theta)) > 4e-16*theta {
			t.Errorf("%g rad: %v and %v, want %v and %v", theta, got.A, got.B, math.Cos(theta), math.Sin(theta))
		}
	}
}

// Slices must be fine enough not to matter: halving the step hardly changes the
// sweep, and they are thinner than a tenth of the wavelength at the top.
func TestWetSlicesAreFineEnough(t *testing.T) {
	f := Fault{Cause: waterInCable, ImpedanceDrop: 0.3, TaperM: 0.4, LossTangent: 0.02, Unevenness: 0.2}
	piece := roughStretch{cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.88}, []slice{{1.1, 1}, {0.9, 1.001}}}
	uneven := []float64{0.3, -1, 0.5, 1.2, -0.4}
	coarse, fine := wet(piece, f, uneven, 2.7e9), wet(piece, f, uneven, 5.4e9)
	total := 0.0
	for _, s := range coarse.slices {
		total += s.lengthM
		wavelength := cables.SpeedOfLight * 0.88 / math.Sqrt(s.permittivity) / 2.7e9
		if s.lengthM > wavelength/10 {
			t.Fatalf("a slice of %g m, a tenth of the wavelength is %g m", s.lengthM, wavelength/10)
		}
	}
	if math.Abs(total-2) > 1e-9 {
		t.Errorf("slices add up to %g m, want 2", total)
	}
	for f := 100e6; f < 2.7e9; f += 50e6 {
		a, b := coarse.TwoPort(f).InputReflection(0, 50), fine.TwoPort(f).InputReflection(0, 50)
		if cmplx.Abs(a-b) > 3e-4 {
			t.Errorf("%g Hz: %v against %v", f, a, b)
		}
	}
}

// No fault gives energy away: |Γ| ≤ 1 for every cause, also with a mirror at
// the far end, over drawn lines.
func TestEveryCauseIsPassive(t *testing.T) {
	for _, cause := range Causes() {
		for seed := range uint64(3) {
			t.Run(fmt.Sprintf("%s/%d", cause, seed), func(t *testing.T) {
				s, err := Draw(seed, DrawOptions{Cause: cause})
				if err != nil {
					t.Fatal(err)
				}
				s.Sweep.Segments[0].Points = 101
				b, err := newBuilder(s)
				if err != nil {
					t.Fatal(err)
				}
				load := b.load(b.antennaFault([]bool{true}))
				for _, end := range []func(float64) complex128{load.gamma, mirror, func(float64) complex128 { return -1i }} {
					_, gamma := swept(t, s, end)
					for k, g := range gamma {
						if a := cmplx.Abs(g); !(a <= 1+1e-9) {
							t.Fatalf("point %d: |Γ| = %v", k, a)
						}
					}
				}
			})
		}
	}
}

// A reactance is drawn by its reflection at 1 GHz.
func TestReactanceReflectsWhatItSays(t *testing.T) {
	for _, r := range []reactance{0.01, -0.02, 0.5, -0.7} {
		got := cables.Cascade{r.element(50)}.TwoPort(1e9).InputReflection(0, 50)
		if math.Abs(cmplx.Abs(got)-math.Abs(float64(r))) > 1e-12 {
			t.Errorf("%v: |Γ| = %v", r, cmplx.Abs(got))
		}
		if imag(got)*float64(r) <= 0 { // a series L turns up, a shunt C down
			t.Errorf("%v: Γ = %v", r, got)
		}
	}
}

// Antennas keep what they promise in their band, swallow at most what they are
// told outside (and what their resonators lose), and at fault are as bad as asked.
func TestAntennas(t *testing.T) {
	for seed := range uint64(12) {
		s := plain()
		s.Seed = seed
		s.Sweep.Segments[0] = Segment{LowHz: 25e6, HighHz: 1.2e9, Points: 101}
		s.Line.Load = cables.Load{Kind: cables.Antenna, BandHz: [2]float64{824e6, 960e6}, ReturnLossDB: 16}
		s.Antenna.SwallowDB = 1
		s.Faults = []Fault{{Cause: antennaFault, Mode: []string{"detuned", "arm-lost", "poor-match"}[seed%3], ReturnLossDB: 6}}
		b, err := newBuilder(s)
		if err != nil {
			t.Fatal(err)
		}
		sound, bad := b.load(nil), b.load(&b.faults[0])
		if sound.model != "band-pass" || sound.worstDB < 15.9 || sound.worstDB > 18.1 {
			t.Errorf("seed %d: a %s antenna of %.2f dB, want band-pass of 16 to 18 dB", seed, sound.model, sound.worstDB)
		}
		if math.Abs(bad.worstDB-6) > 0.1 {
			t.Errorf("seed %d: %s gives %.2f dB, want 6", seed, s.Faults[0].Mode, bad.worstDB)
		}
		for _, f := range []float64{50e6, 200e6, 500e6} {
			if lost := -20 * math.Log10(cmplx.Abs(sound.gamma(f))); lost < 0 || lost > 1.2 {
				t.Errorf("seed %d, %g Hz: %.2f dB swallowed, want 0 to 1.2", seed, f, lost)
			}
		}
	}
}
