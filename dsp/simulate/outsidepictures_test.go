package simulate

import (
	"fmt"
	"testing"

	"downlead/cables"
)

// pythonChain writes what the scripts below add to pythonHead: two-ports from
// series impedances and shunt admittances.
const pythonChain = `
def chain(a, b, c, d):
    n = skrf.Network(frequency=band, z0=50, s=skrf.network.a2s(np.moveaxis(np.array([[a+0*f, b+0*f], [c+0*f, d+0*f]], complex), 2, 0), 50*np.ones((len(f), 2))))
    return n
def series(z):
    return chain(1, z, 0*f, 1)
def shunt(y):
    return chain(1, 0*f, y, 1)
`

// A dent on a lossy line, and the 75-ohm cable that is taken where a scenario
// names none, against scikit-rf's cascade.
func TestDentAndForeignCableAgainstScikitRF(t *testing.T) {
	s := plain(Fault{Cause: dentOrKink, DistanceM: 1.2, ExtentM: 0.08, ImpedanceOhm: 33}, Fault{Cause: wrongImpedance, At: "upper"})
	table := []cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 6.2}, {FrequencyHz: 1e9, DBPerHundredM: 24}}
	s.Line.Cables[0].Attenuation = table
	_, got := swept(t, s, func(float64) complex128 { return 0.8 })
	a, b, err := cables.FitAttenuation(table)
	if err != nil {
		t.Fatal(err)
	}
	// The 75-ohm cable's table, as stated at seventyFive.
	foreignA, foreignB, err := cables.FitAttenuation([]cables.AttenuationPoint{{FrequencyHz: 100e6, DBPerHundredM: 6.6}, {FrequencyHz: 1e9, DBPerHundredM: 21.5}})
	if err != nil {
		t.Fatal(err)
	}
	var want points
	python(t, pythonHead+fmt.Sprintf(`
a, b = %.17g, %.17g
one = per_metre(50, 0.8, a, b)
put(line(*one, 1.2) ** line(*per_metre(33, 0.8, a, b), 0.08) ** line(*one, 3.7 - 1.28) ** line(*per_metre(75, 0.83, %.17g, %.17g), 2.3) ** load(0.8))
`, a, b, foreignA, foreignB), &want)
	if worst := want.largest(t, got); worst > 1e-9 {
		t.Errorf("largest difference from scikit-rf %g, want at most 1e-9", worst)
	}
}

// A wet connector whose water loses by a loss tangent, which ngspice's capacitor
// cannot, against scikit-rf with the constant-Q law written out.
func TestWetConnectorAgainstScikitRF(t *testing.T) {
	s := plain(Fault{Cause: waterInConnector, At: "lower / upper", SeriesOhm: 0.6, ShuntSiemens: 8e-3, ShuntFarad: 2.1e-12, LossTangent: 0.09})
	_, got := swept(t, s, func(float64) complex128 { return 0.8 })
	var want points
	python(t, pythonHead+pythonChain+`
phi = np.arctan(0.09)
wet = 8e-3 + 1j*w*2.1e-12*(1j*f/1e9)**(-2*phi/np.pi)
put(line(*per_metre(50, 0.8, 0, 0), 3.7) ** series(0.6 + 0*f) ** shunt(wet) ** line(*per_metre(50, 0.66, 0, 0), 2.3) ** load(0.8))
`, &want)
	if worst := want.largest(t, got); worst > 1e-9 {
		t.Errorf("largest difference from scikit-rf %g, want at most 1e-9", worst)
	}
}

// Antennas, sound and with each of their faults, against scikit-rf's cascade of a
// ladder whose element values are worked out again from the ripple: G. Matthaei,
// L. Young, E. M. T. Jones, "Microwave Filters ...", eq. 4.05-2. How far a fault
// turns the knobs is the simulator's own search; that it turns them to the return
// loss asked for is checked in the end.
func TestAntennasAgainstScikitRF(t *testing.T) {
	script := pythonHead + pythonChain + `
out = []
def antenna(model, first_in_series, feed, inner, corner_share, shift, radiation, pass_db):
    rho2 = 10**(-pass_db/10)
    ripple = -10*np.log10(1 - rho2)
    beta = np.log(1/np.tanh(ripple/17.371779276130073))   # 40/ln 10
    gam = np.sinh(beta/6)
    a1, a2 = np.sin(np.pi/6), np.sin(np.pi/2)
    b1 = gam**2 + np.sin(np.pi/3)**2
    g1 = 2*a1/gam
    g2 = 4*a1*a2/(b1*g1)
    low, high = 860e6*(1 + shift), 960e6*(1 + shift)
    centre, q = np.sqrt(low*high), 150.0
    width = (high - low)/centre
    if model == 'band-pass':
        s = 1/(q*width) + 1j*(f/centre - centre/f)/width
    else:
        s = 1/q - 1j*corner_share*low/f
    loss = 1.2/2*np.log(10)/20/feed/np.sqrt(centre)
    n = line(*per_metre(50, 0.7, loss, 0), feed)
    if first_in_series:
        n = n ** series(50*g1*s) ** shunt(g2/50*s) ** series(50*g1*s)
    else:
        n = n ** shunt(g1/50*s) ** series(50*g2*s) ** shunt(g1/50*s)
    r = np.exp(radiation)
    if model == 'wide-band':
        n = n ** line(*per_metre(50, 0.9, 0, 0), inner)
        i = 0.6*10**(-pass_db/20)
        r = r*(1 + i)/(1 - i)
    n = line(*per_metre(50, 0.8, 0, 0), 3.7) ** line(*per_metre(50, 0.66, 0, 0), 2.3) ** n ** load((r - 1)/(r + 1))
    out.extend(n.s[:,0,0])
`
	var got []complex128
	for _, model := range []string{"band-pass", "wide-band"} {
		for _, mode := range []string{"", "detuned", "arm-lost", "poor-match"} {
			s := plain()
			s.Line.Load = cables.Load{Kind: cables.Antenna, BandHz: [2]float64{860e6, 960e6}, ReturnLossDB: 16}
			s.Antenna = AntennaModel{Model: model, SwallowDB: 1.2, Q: 150}
			if mode != "" {
				s.Faults = []Fault{{Cause: antennaFault, Mode: mode, ReturnLossDB: 6}}
			}
			if err := s.Check(); err != nil {
				t.Fatal(err)
			}
			b, err := newBuilder(s)
			if err != nil {
				t.Fatal(err)
			}
			fault := b.antennaFault([]bool{mode != ""})
			built := b.load(fault)
			_, gamma := swept(t, s, built.gamma)
			got = append(got, gamma...)
			// The dice of load, in its order.
			random := s.random(loadStream)
			draw := antennaDraw{0.08 + 0.4*random.Float64(), 0.1 + 0.3*random.Float64(), random.IntN(2) == 0, 0.3 + 0.3*random.Float64()}
			turned := knob{passRipple: b.soundRipple(built, draw, 16+2*random.Float64())}
			if fault != nil {
				turned = b.spoil(built, draw, turned, fault)
			}
			script += fmt.Sprintf("antenna(%q, %d, %.17g, %.17g, %.17g, %.17g, %.17g, %.17g)\n", model, map[bool]int{true: 1}[draw.seriesFirst],
				draw.feedM, draw.innerM, draw.lowCorner, turned.shift, turned.radiation, turned.passRipple)
			// The search ends within a thousandth of what was asked, a sound antenna
			// above what it promises.
			if mode != "" && (built.worstDB > 6.001 || built.worstDB < 5.9) || mode == "" && built.worstDB < 15.99 {
				t.Errorf("%s %s: worst return loss in the band %.3f dB", model, mode, built.worstDB)
			}
		}
	}
	var want points
	python(t, script+"print(json.dumps({'re': np.real(out).tolist(), 'im': np.imag(out).tolist()}))\n", &want)
	if worst := want.largest(t, got); worst > 1e-9 {
		t.Errorf("largest difference from scikit-rf %g, want at most 1e-9", worst)
	}
}
