package simulate

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"downlead/dsp/sweep"
)

// phasors are the strengths of three phasors with delays of 0, 0.2 and 0.4 ns.
type phasors [3]complex128

const phasorStepS = 0.2e-9

func (p phasors) at(frequencyHz float64) complex128 {
	turn := cmplx.Rect(1, -2*math.Pi*frequencyHz*phasorStepS)
	return p[0] + turn*(p[1]+turn*p[2])
}

// newPhasors draws a slowly turning error: three complex phasors with delays
// of 0, 0.2 and 0.4 ns, normalised to an rms of level over frequencyHz.
func newPhasors(random *rand.Rand, level float64, frequencyHz []float64) phasors {
	var p phasors
	for k := range p {
		p[k] = complex(random.NormFloat64(), random.NormFloat64())
	}
	sum := 0.0
	for _, f := range frequencyHz {
		v := p.at(f)
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	scale := complex(level/math.Sqrt(sum/float64(len(frequencyHz))), 0)
	for k := range p {
		p[k] *= scale
	}
	return p
}

// errorBox is a one-port error model: S = e00 + (1+t)·Γ/(1 - e11·Γ).
type errorBox struct{ directivity, sourceMatch, tracking phasors }

func (e errorBox) read(frequencyHz float64, gamma complex128) complex128 {
	return e.directivity.at(frequencyHz) + (1+e.tracking.at(frequencyHz))*gamma/(1-e.sourceMatch.at(frequencyHz)*gamma)
}

// level is the amplitude of a loss in dB; 0 dB stands for none.
func level(lossDB float64) float64 {
	if lossDB == 0 {
		return 0
	}
	return math.Pow(10, -lossDB/20)
}

func (i Instrument) trackingLevel() float64 { return math.Pow(10, i.TrackingDB/20) - 1 }

// box draws the residual errors.
func (i Instrument) box(random *rand.Rand, frequencyHz []float64) errorBox {
	return errorBox{
		newPhasors(random, level(i.DirectivityDB), frequencyHz),
		newPhasors(random, level(i.SourceMatchDB), frequencyHz),
		newPhasors(random, i.trackingLevel(), frequencyHz),
	}
}

// another returns the box after some time: each phasor has moved by a tenth.
func (e errorBox) another(random *rand.Rand) errorBox {
	for _, p := range []*phasors{&e.directivity, &e.sourceMatch, &e.tracking} {
		size := 0.0
		for _, v := range p {
			size = math.Max(size, cmplx.Abs(v))
		}
		for k := range p {
			p[k] += complex(0.1*size*random.NormFloat64(), 0.1*size*random.NormFloat64())
		}
	}
	return e
}

// noisy adds noise to a reading in place.
func (i Instrument) noisy(reading []complex128, random *rand.Rand) {
	noise := 0.0
	if i.NoiseDB != 0 {
		noise = math.Pow(10, i.NoiseDB/20) / math.Sqrt2
	}
	trace := i.TraceNoise / math.Sqrt2
	for k := range reading {
		a, p := random.NormFloat64(), random.NormFloat64()
		x, y := random.NormFloat64(), random.NormFloat64()
		reading[k] = reading[k]*complex(1+trace*a, trace*p) + complex(noise*x, noise*y)
	}
}

// interfere adds transmitters' hits to single points in place and returns
// which points were hit, ascending.
func (i Instrument) interfere(reading []complex128, random *rand.Rand) []int {
	var hit []int
	size := math.Pow(10, i.SpikeDB/20) / math.Sqrt2
	for k := range reading {
		chance, x, y := random.Float64(), random.NormFloat64(), random.NormFloat64()
		if chance < i.SpikeShare {
			reading[k] += complex(size*x, size*y)
			hit = append(hit, k)
		}
	}
	return hit
}

// Kit is the definitions of the open, short and load that a raw sweep comes
// with. The offset of open and short is a line of DelayS one way and OffsetOhm,
// with a skin-effect loss of LossOhmPerS (ohm per second) at 1 GHz.
type Kit struct {
	OpenFarad  [4]float64 // C(f) = C0 + C1·f + C2·f² + C3·f³
	ShortHenry [4]float64 // L(f) likewise
	Open       Offset
	Short      Offset
	LoadOhm    float64
	LoadHenry  float64 // in series
}

// Offset is the line in front of a standard.
type Offset struct{ DelayS, OffsetOhm, LossOhmPerS float64 }

// newKit draws definitions of the size that precision coaxial kits have
// (orders of magnitude: common practice, no source).
func newKit(random *rand.Rand) Kit {
	around := func(v, relative float64) float64 { return v * (1 + relative*(2*random.Float64()-1)) }
	return Kit{
		OpenFarad:  [4]float64{around(50e-15, 0.1), around(150e-27, 0.5), around(5e-36, 0.5), around(0.1e-45, 0.5)},
		ShortHenry: [4]float64{around(10e-12, 0.3), around(40e-24, 0.5), around(-0.3e-33, 0.5), around(3e-44, 0.5)},
		Open:       Offset{around(30e-12, 0.1), 50, around(1.2e9, 0.3)},
		Short:      Offset{around(27e-12, 0.1), 50, around(1.8e9, 0.3)},
		LoadOhm:    around(50, 0.004),
		LoadHenry:  around(15e-12, 0.4),
	}
}

func cubic(c [4]float64, f float64) float64 { return c[0] + f*(c[1]+f*(c[2]+f*c[3])) }

// behind returns what a mirror end shows in z0 through the offset line.
func (o Offset) behind(end complex128, frequencyHz, z0 float64) complex128 {
	alpha := o.LossOhmPerS * o.DelayS / (2 * o.OffsetOhm) * math.Sqrt(frequencyHz/1e9)
	theta := complex(alpha, 2*math.Pi*frequencyHz*o.DelayS+alpha)
	size := o.LossOhmPerS / (4 * math.Pi * frequencyHz) * math.Sqrt(frequencyHz/1e9)
	return lineTwoPort(theta, complex(o.OffsetOhm+size, -size)).InputReflection(end, z0)
}

// Reflections returns the defined reflections of open, short and load in
// referenceOhm. The formulas are those of the kit file's head comment, the
// usual polynomial definitions of coaxial standards.
func (k Kit) Reflections(frequencyHz, referenceOhm float64) (open, short, load complex128) {
	omega := 2 * math.Pi * frequencyHz
	y := complex(0, omega*cubic(k.OpenFarad, frequencyHz)*referenceOhm)
	z := complex(0, omega*cubic(k.ShortHenry, frequencyHz)/referenceOhm)
	r := complex(k.LoadOhm/referenceOhm, omega*k.LoadHenry/referenceOhm)
	return k.Open.behind((1-y)/(1+y), frequencyHz, referenceOhm), k.Short.behind((z-1)/(z+1), frequencyHz, referenceOhm), (r - 1) / (r + 1)
}

// Standards is a raw sweep with the measured standards and their definitions.
type Standards struct {
	Device, Open, Short, Load *sweep.Sweep // uncorrected
	Kit                       Kit
}

// raw puts the corrected sweep and the standards as defined behind the
// uncorrected instrument and its test lead: correcting the device with the kit gives
// corrected back. corrected already carries its noise.
func raw(corrected *sweep.Sweep, random *rand.Rand) *Standards {
	box := errorBox{newPhasors(random, 0.06, corrected.FrequencyHz), newPhasors(random, 0.1, corrected.FrequencyHz), newPhasors(random, 0.08, corrected.FrequencyHz)}
	leadS := 2 * (0.5 + random.Float64()) / (0.7 * 299792458.0) // there and back through 0.5 to 1.5 m
	kit := newKit(random)
	blank := func(name string) *sweep.Sweep {
		return &sweep.Sweep{Name: name, FrequencyHz: corrected.FrequencyHz, Gamma: make([]complex128, len(corrected.Gamma)),
			ReferenceOhm: corrected.ReferenceOhm, Correction: sweep.Uncorrected}
	}
	s := &Standards{blank("device.s1p"), blank("open.s1p"), blank("short.s1p"), blank("load.s1p"), kit}
	for k, f := range corrected.FrequencyHz {
		lead := cmplx.Rect(math.Exp(-0.05*math.Sqrt(f/1e9)), -2*math.Pi*f*leadS)
		read := func(gamma complex128) complex128 {
			e00, e11, t := box.directivity.at(f), box.sourceMatch.at(f), 1+box.tracking.at(f)
			return e00 + t*lead*gamma/(1-e11*gamma)
		}
		open, short, load := kit.Reflections(f, corrected.ReferenceOhm)
		s.Device.Gamma[k], s.Open.Gamma[k], s.Short.Gamma[k], s.Load.Gamma[k] = read(corrected.Gamma[k]), read(open), read(short), read(load)
	}
	return s
}
