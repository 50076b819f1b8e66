package simulate

import (
	"math"

	"downlead/cables"
)

// loadModel is what ends the line, as built.
type loadModel struct {
	kind    cables.LoadKind
	model   string // of an antenna: band-pass or wide-band
	gamma   func(frequencyHz float64) complex128
	worstDB float64 // return loss at its worst in its band, dB
	bandHz  [2]float64
}

// antennaDraw is what is random about an antenna.
type antennaDraw struct {
	feedM, innerM float64
	seriesFirst   bool
	lowCorner     float64 // of a wide-band one, relative to the low end of its band
}

// load draws the load of the scenario; fault is the antenna's, nil when it is
// sound. The same seed gives the same antenna with and without its fault.
func (b *builder) load(fault *placedFault) loadModel {
	s := b.scenario
	random := s.random(loadStream)
	low, high := s.Sweep.Segments[0].LowHz, s.topHz()
	spec := s.Line.Load
	z0 := b.path.ReferenceOhm
	out := loadModel{kind: spec.Kind, bandHz: [2]float64{low, high}}
	switch spec.Kind {
	case cables.Open:
		fringe := (0.03 + 0.05*random.Float64()) * 1e-12
		out.gamma = func(f float64) complex128 {
			y := complex(0, 2*math.Pi*f*fringe*z0)
			return (1 - y) / (1 + y)
		}
		return out
	case cables.Short:
		inductance := 0.15e-9 * random.Float64()
		out.gamma = func(f float64) complex128 {
			z := complex(0, 2*math.Pi*f*inductance/z0)
			return (z - 1) / (z + 1)
		}
		return out
	case cables.Termination:
		rl := spec.ReturnLossDB
		if rl == 0 {
			rl = 30
		}
		// A resistance that is a little off and an inductance that takes over
		// towards the top, together rl at the top.
		share, sign := random.Float64(), float64(1-2*random.IntN(2))
		rho := math.Pow(10, -(rl+4*random.Float64())/20)
		dc := sign * rho * share
		reactive := rho * math.Sqrt(1-share*share)
		out.gamma = func(f float64) complex128 {
			r := (1 + dc) / (1 - dc)
			z := complex(r, 2*reactive*f/high)
			return (z - 1) / (z + 1)
		}
		out.worstDB = worstReturnLoss(out.gamma, low, high)
		return out
	}
	// An antenna.
	inside := spec.BandHz[0] > 0 && spec.BandHz[1] > low && spec.BandHz[0] < high
	out.model = s.Antenna.Model
	if out.model == "" {
		out.model = "wide-band"
		if inside && spec.BandHz[1] < 1.9*spec.BandHz[0] && (spec.BandHz[1]-spec.BandHz[0]) < 0.8*(high-low) {
			out.model = "band-pass"
		}
	}
	if spec.BandHz[0] > 0 {
		out.bandHz = spec.BandHz
	}
	draw := antennaDraw{0.08 + 0.4*random.Float64(), 0.1 + 0.3*random.Float64(), random.IntN(2) == 0, 0.3 + 0.3*random.Float64()}
	target := spec.ReturnLossDB
	if target == 0 {
		target = 16
	}
	target += 2 * random.Float64() // better than it promises
	turned := knob{passRipple: b.soundRipple(out, draw, target)}
	if fault != nil {
		turned = b.spoil(out, draw, turned, fault)
	}
	out.gamma = b.ladder(out, draw, turned)
	out.worstDB = worstReturnLoss(out.gamma, out.bandHz[0], out.bandHz[1])
	return out
}

// bandPoints is how many frequencies of a band are looked at.
const bandPoints = 301

// worstReturnLoss scans a band, dB.
func worstReturnLoss(gamma func(float64) complex128, low, high float64) float64 {
	worst := 0.0
	for k := range bandPoints {
		g := gamma(low + (high-low)*float64(k)/(bandPoints-1))
		worst = math.Max(worst, real(g)*real(g)+imag(g)*imag(g))
	}
	if worst == 0 {
		return 200
	}
	return -10 * math.Log10(worst)
}

// misses says whether a band has a return loss worse than target, dB; it need not see all of
// it where it has.
func misses(gamma func(float64) complex128, low, high, target float64) bool {
	most := math.Pow(10, -target/10)
	for k := range bandPoints {
		if g := gamma(low + (high-low)*float64(k)/(bandPoints-1)); real(g)*real(g)+imag(g)*imag(g) > most {
			return true
		}
	}
	return false
}

// knob is what an antenna is turned with.
type knob struct {
	shift      float64 // of all frequencies of the ladder, relative
	radiation  float64 // ln of the radiation resistance over its sound value
	passRipple float64 // return loss of the prototype's pass band, dB
}

// soundRipple returns the pass-band return loss with which the worst in the
// antenna's band is target, all in dB; the best that its losses allow when it
// cannot be reached.
func (b *builder) soundRipple(m loadModel, draw antennaDraw, target float64) float64 {
	low, high := 3.0, 45.0
	for range 30 {
		middle := (low + high) / 2
		if misses(b.ladder(m, draw, knob{passRipple: middle}), m.bandHz[0], m.bandHz[1], target) {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// spoil returns the knobs of the antenna at fault: its mode's is turned until
// the worst in the band is what the fault says.
func (b *builder) spoil(m loadModel, draw antennaDraw, sound knob, fault *placedFault) knob {
	sign := 1.0
	if draw.seriesFirst {
		sign = -1
	}
	turn := func(t float64) knob {
		k := sound
		switch fault.Mode {
		case "arm-lost":
			k.radiation = 2.5 * t
		case "poor-match":
			k.radiation = -2.5 * t
		default:
			k.shift = sign * 0.4 * t
			if m.model == "wide-band" { // only its low corner can move into the band
				k.shift = 4 * t
			}
		}
		return k
	}
	worst := func(t float64) float64 {
		return worstReturnLoss(b.ladder(m, draw, turn(t)), m.bandHz[0], m.bandHz[1])
	}
	// The worst grows with the turn up to a mirror; find the first turn that is
	// bad enough.
	const steps = 120
	at := 1.0
	for k := 1; k <= steps; k++ {
		t := float64(k) / steps
		if worst(t) <= fault.ReturnLossDB {
			at = t
			break
		}
	}
	from, to := at-1.0/steps, at
	for range 20 {
		middle := (from + to) / 2
		if worst(middle) > fault.ReturnLossDB {
			from = middle
		} else {
			to = middle
		}
	}
	return turn(to)
}

// ladder returns the reflection of a lossy feed and a third-order Chebyshev
// ladder of resonators (band-pass) or reactances (wide-band) that ends in the
// radiation resistance. Prototype g1 = 2·a1/γ, g2 = 4·a1·a2/(b1·g1), g3 = g1:
// Matthaei et al., eq. 4.05-2.
func (b *builder) ladder(m loadModel, draw antennaDraw, k knob) func(float64) complex128 {
	z0 := b.path.ReferenceOhm
	// Ripple Lar from the return loss of the pass band.
	ripple := -10 * math.Log10(1-math.Pow(10, -k.passRipple/10))
	beta := math.Log(1 / math.Tanh(ripple*math.Ln10/40))
	sinh := math.Sinh(beta / 6)
	g1 := 2 * math.Sin(math.Pi/6) / sinh
	g2 := 4 * math.Sin(math.Pi/6) * math.Sin(math.Pi/2) / ((sinh*sinh + math.Sin(math.Pi/3)*math.Sin(math.Pi/3)) * g1)
	low, high := m.bandHz[0]*(1+k.shift), m.bandHz[1]*(1+k.shift)
	centre := math.Sqrt(low * high)
	width := (high - low) / centre
	q := b.scenario.Antenna.Q
	if q == 0 {
		q = 200
	}
	// The feed's loss follows the skin effect and swallows half on each way.
	feed := cables.Stretch{LengthM: draw.feedM, Medium: cables.Medium{ImpedanceOhm: z0, VelocityFactor: 0.7,
		ConductorNp: b.scenario.Antenna.SwallowDB / 2 * cables.NeperPerDB / draw.feedM / math.Sqrt(centre)}}
	normal := func(f float64) complex128 { // low-pass prototype's jω' with losses
		if m.model == "wide-band" {
			corner := draw.lowCorner * low
			return complex(1/q, -corner/f)
		}
		return complex(1/(q*width), (f/centre-centre/f)/width)
	}
	series := func(g float64) cables.Element {
		return cables.Series(func(f float64) complex128 { return complex(g*z0, 0) * normal(f) })
	}
	shunt := func(g float64) cables.Element {
		return cables.Shunt(func(f float64) complex128 { return complex(g/z0, 0) * normal(f) })
	}
	chain := cables.Cascade{feed}
	if draw.seriesFirst {
		chain = append(chain, series(g1), shunt(g2), series(g1))
	} else {
		chain = append(chain, shunt(g1), series(g2), shunt(g1))
	}
	r := math.Exp(k.radiation)
	end := complex((r-1)/(r+1), 0)
	if m.model == "wide-band" { // some of its mismatch is inside it, and does not fade above the corner
		chain = append(chain, cables.Stretch{Medium: cables.Medium{ImpedanceOhm: z0, VelocityFactor: 0.9}, LengthM: draw.innerM})
		inner := 0.6 * math.Pow(10, -k.passRipple/20)
		mismatch := r * (1 + inner) / (1 - inner)
		end = complex((mismatch-1)/(mismatch+1), 0)
	}
	return func(f float64) complex128 { return chain.TwoPort(f).InputReflection(end, z0) }
}
