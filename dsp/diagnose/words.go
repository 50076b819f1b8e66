package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"
	"strconv"
	"strings"

	"downlead/cables"
	"downlead/dsp/calibration"
	"downlead/dsp/linemodel"
	"downlead/dsp/sweep"
)

// From the model's relative quantities to those of the bench. z and y are over
// the line's impedance zLine (ohm), f0 is where q is 1 (Hz):
//
//	L = Rising·zLine/(2π·f0)      C_gap = 1/(2π·f0·Falling·zLine)
//	G = Flat/zLine                C_shunt = Rising/(2π·f0·zLine)
//
// Definitions of impedance and admittance; D. M. Pozar, "Microwave
// Engineering", 4th ed., ch. 2.1 and 4.1, from memory.

// inductanceH is the inductance of a relative series reactance at f0.
func inductanceH(rising, zLine, f0 float64) float64 { return rising * zLine / (2 * math.Pi * f0) }

// gapF is the capacitance of a gap with a relative series reactance of
// −falling at f0; +Inf for 0, which is no gap.
func gapF(falling, zLine, f0 float64) float64 { return 1 / (2 * math.Pi * f0 * falling * zLine) }

// shuntF is the capacitance of a relative shunt susceptance at f0.
func shuntF(rising, zLine, f0 float64) float64 { return rising / (2 * math.Pi * f0 * zLine) }

// Permittivity and the rest of a stretch. κ is how many times slower than by
// the record the wave goes: |κ(f)| = (f/1 GHz)^(−δ/π)/(1 − drop), tan δ the
// loss tangent; its angle is −δ/2. See linemodel.Point.

// slowing is |κ| at frequencyHz.
func slowing(drop, tangent, frequencyHz float64) float64 {
	return math.Pow(frequencyHz/1e9, -math.Atan(tangent)/math.Pi) / (1 - drop)
}

// permittivity is the effective relative permittivity of a cable whose wave
// goes at velocityFactor/kappa: (κ/VF)².
func permittivity(kappa, velocityFactor float64) float64 {
	return kappa * kappa / (velocityFactor * velocityFactor)
}

// wetLossDB is what lengthM of wet cable loses beyond its record, one way, dB:
// (2πf/v)·l·|κ|·sin(δ/2), v the record's velocity in m/s.
func wetLossDB(drop, tangent, lengthM, velocity, frequencyHz float64) float64 {
	return 2 * math.Pi * frequencyHz / velocity * lengthM * slowing(drop, tangent, frequencyHz) *
		math.Sin(math.Atan(tangent)/2) / cables.NeperPerDB
}

// wetDelayS is how much later than by the record the wave leaves lengthM of
// wet cable, one way: (|κ|·cos(δ/2) − 1)·l/v.
func wetDelayS(drop, tangent, lengthM, velocity, frequencyHz float64) float64 {
	return (slowing(drop, tangent, frequencyHz)*math.Cos(math.Atan(tangent)/2) - 1) * lengthM / velocity
}

// stubF is the capacitance across the line that a stretch much shorter than a
// wave acts like: (l/(v·zLine))·(1/ratio − ratio), ratio its impedance over the
// line's; negative where the impedance is higher, which acts like an inductance.
// First order in the phase along it of the stretch's input impedance; Pozar,
// eq. 2.44, from memory.
func stubF(lengthM, velocity, zLine, ratio float64) float64 {
	return lengthM / (velocity * zLine) * (1/ratio - ratio)
}

// lineOhm is the impedance of the line at x.
func lineOhm(path *cables.Path, x float64) float64 {
	return path.Spans[path.SpanAt(x)].Medium.ImpedanceOhm
}

// Words says a cause the way a rigger would.
func (c Cause) Words() string {
	switch c {
	case Unnamed:
		return "fault of unknown cause"
	case WaterInConnector:
		return "water in a connector"
	case WaterInCable:
		return "water in the cable"
	case DentOrKink:
		return "dent or kink"
	case WrongImpedance:
		return "cable of the wrong impedance"
	case AntennaFault:
		return "antenna out of specification"
	}
	return strings.ReplaceAll(string(c), "-", " ")
}

// atMetres writes a place to the centimetre, which is as well as anybody can
// lay a tape; a smaller sigma is rounded up to that.
func atMetres(x, sigmaM float64) string {
	if !(sigmaM > 0) {
		return fmt.Sprintf("%.2f m", x)
	}
	return fmt.Sprintf("%.2f ± %.2f m", x, math.Max(0.01, sigmaM))
}

// significant writes v with three significant digits.
func significant(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'e', 2, 64), 64) // 0.9999 has its digits as 1.00
	return decimals(v, 2-int(math.Floor(math.Log10(math.Abs(v)))))
}

// decimals writes v rounded to the given decimals, negative ones included.
func decimals(v float64, n int) string {
	if n < 0 {
		unit := math.Pow(10, float64(-n))
		return strconv.FormatFloat(math.Round(v/unit)*unit, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'f', n, 64)
}

// sigmaDecimals is how many decimals show one digit of sigma, two where it
// begins with a 1.
func sigmaDecimals(sigma float64) int {
	exponent := int(math.Floor(math.Log10(sigma)))
	if sigma/math.Pow(10, float64(exponent)) < 1.95 {
		exponent--
	}
	return -exponent
}

// uncertain writes "14 ± 2 ohm": a value with the digits that its standard
// deviation leaves it. sigma 0: not known, three digits.
func uncertain(v, sigma float64, unit string) string {
	unit = behind(unit)
	if !(sigma > 0) || math.IsInf(sigma, 0) {
		return significant(v) + unit
	}
	n := sigmaDecimals(sigma)
	return decimals(v, n) + " ± " + decimals(sigma, n) + unit
}

// behind is a unit with its space.
func behind(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

// size is uncertain for what cannot be negative: what is not seen by two sigma
// is given as a bound.
func size(v, sigma float64, unit string) string {
	if sigma > 0 && v < 2*sigma {
		return fmt.Sprintf("below %s%s (two sigma)", decimals(v+2*sigma, sigmaDecimals(v+2*sigma)), behind(unit))
	}
	return uncertain(v, sigma, unit)
}

// hertz writes a frequency in GHz from 1 GHz up, in MHz below.
func hertz(f float64) string {
	if f >= 1e9 {
		return strconv.FormatFloat(math.Round(f/1e6)/1e3, 'f', -1, 64) + " GHz"
	}
	return strconv.FormatFloat(math.Round(f/1e3)/1e3, 'f', -1, 64) + " MHz"
}

// bandWords writes a band.
func bandWords(lowHz, highHz float64) string {
	low, high := hertz(lowHz), hertz(highHz)
	if strings.HasSuffix(low, " MHz") && strings.HasSuffix(high, " GHz") {
		if lowHz < 100e6 {
			return low + " to " + high
		}
		low = strconv.FormatFloat(math.Round(lowHz/1e6)/1e3, 'f', -1, 64) + " GHz"
	}
	return low[:len(low)-len(" MHz")] + "–" + high
}

// atPlace puts a place in words behind what is there: " at the joint …".
func atPlace(place string) string {
	switch {
	case place == "":
		return ""
	case strings.HasPrefix(place, "in ") || strings.HasPrefix(place, "at "):
		return " " + place
	}
	return " at the " + place
}

// describe says in words and numbers what circuit p is. sigma holds the standard
// deviations of its quantities by linemodel.ByFlat, ByRising, …, in the model's
// terms; what is missing or 0 is not known. zLine is the line's impedance at
// the place, ohm, 0 for the record's; place is in words or empty. There is
// always at least one sentence.
func describe(p *linemodel.Point, sigma map[int]float64, fit *linemodel.Fit, zLine float64, place string) []string {
	if zLine == 0 {
		zLine = lineOhm(fit.Path, p.X)
	}
	d := description{p: p, sigma: sigma, fit: fit, zLine: zLine, at: atPlace(place), f0: fit.MiddleHz}
	switch p.Form {
	case linemodel.Series:
		d.series()
	case linemodel.Shunt:
		d.shunt()
	case linemodel.Step:
		d.step()
	case linemodel.OpenEnd, linemodel.ShortEnd:
		d.end()
	case linemodel.Wet:
		d.wet()
	case linemodel.Foreign:
		d.foreign()
	}
	d.local()
	if len(d.words) == 0 {
		d.say("nothing that reflects%s", d.where())
	}
	return d.words
}

// description is the work of describe.
type description struct {
	p         *linemodel.Point
	sigma     map[int]float64
	fit       *linemodel.Fit
	zLine, f0 float64
	at        string // " at the joint …", said once
	words     []string
}

func (d *description) say(format string, arguments ...any) {
	d.words = append(d.words, fmt.Sprintf(format, arguments...))
}

// where is the place, the first time.
func (d *description) where() string {
	at := d.at
	d.at = ""
	return at
}

// told says whether a quantity is part of the circuit: it was fitted, or it is
// there.
func (d *description) told(quantity int, value float64) bool {
	return value != 0 || d.p.Fits[quantity] && d.sigma[quantity] > 0
}

func (d *description) band() string {
	return bandWords(d.fit.FrequencyHz[0], d.fit.FrequencyHz[len(d.fit.FrequencyHz)-1])
}

// reactance says an inductance in series (relative reactance x at f0), as which
// a negative capacitance across shows as well; or, across set, a capacitance
// across the line. To first order either of negative value is the other.
func (d *description) reactance(x, sigma float64, across bool) {
	if x < 0 {
		across, x = !across, -x
	}
	if across {
		d.say("capacitance across the line %s%s, its reflection growing in proportion to frequency",
			size(1e12*shuntF(x, d.zLine, d.f0), 1e12*shuntF(sigma, d.zLine, d.f0), "pF"), d.where())
		return
	}
	d.say("inductance in series %s%s, its reflection growing in proportion to frequency",
		size(1e9*inductanceH(x, d.zLine, d.f0), 1e9*inductanceH(sigma, d.zLine, d.f0), "nH"), d.where())
}

// resistance says a resistance in series (relative r), or, across set, a
// conductance across the line; one below 0 shows as the other, as in reactance.
func (d *description) resistance(r, sigma float64, across bool) {
	if r < 0 {
		across, r = !across, -r
	}
	if !across {
		d.say("series resistance %s%s, flat over %s", size(r*d.zLine, sigma*d.zLine, "ohm"), d.where(), d.band())
		return
	}
	text := size(1e3*r/d.zLine, 1e3*sigma/d.zLine, "mS")
	if r > 2*sigma {
		text += fmt.Sprintf(" (%s ohm)", significant(d.zLine/r))
	}
	d.say("conductance across the line %s%s, flat over %s", text, d.where(), d.band())
}

// resistanceAndReactance says both, first the one that makes the circuit, last what a
// sound connector has besides.
func (d *description) resistanceAndReactance(across bool) {
	p := d.p
	resistance := func() {
		if d.told(linemodel.ByFlat, p.Flat) {
			d.resistance(p.Flat, d.sigma[linemodel.ByFlat], across)
		}
	}
	if besides := p.Prior[linemodel.ByFlat].Sigma > 0; !besides {
		resistance()
	} else {
		defer resistance()
	}
	if d.told(linemodel.ByRising, p.Rising) {
		d.reactance(p.Rising, d.sigma[linemodel.ByRising], across)
	}
}

func (d *description) series() {
	p := d.p
	d.resistanceAndReactance(false)
	if s := d.sigma[linemodel.ByFalling]; d.told(linemodel.ByFalling, p.Falling) {
		if p.Falling < 2*s { // a large capacitance is no gap
			d.say("a gap in series, if there is one, of more than %s pF (two sigma)%s", significant(1e12*gapF(p.Falling+2*s, d.zLine, d.f0)), d.where())
		} else {
			c := 1e12 * gapF(p.Falling, d.zLine, d.f0)
			d.say("a gap in series of %s%s, most of it seen at the low frequencies", uncertain(c, c*s/p.Falling, "pF"), d.where())
		}
	}
}

func (d *description) shunt() {
	p := d.p
	d.resistanceAndReactance(true)
	if p.Rising > 0 && d.told(linemodel.ByFalling, p.Falling) {
		tangent := p.Falling / p.Rising
		rise, fall := d.sigma[linemodel.ByRising]/p.Rising, d.sigma[linemodel.ByFalling]/p.Rising
		d.say("the dielectric of that capacitance loses: loss tangent %s", size(tangent, math.Hypot(fall, tangent*rise), ""))
	}
}

// totalAbove is the |Γ| from which a step is called a total reflection.
const totalAbove = 0.7

func (d *description) step() {
	r, sigma := d.p.Flat, d.sigma[linemodel.ByFlat]
	if math.Abs(r) >= totalAbove {
		kind := "an open circuit: the voltage comes back upright"
		if r < 0 {
			kind = "a short circuit: the voltage comes back inverted"
		}
		d.say("like %s, %s of it%s", kind, uncertain(100*math.Abs(r), 100*sigma, "%"), d.where())
		if db := d.p.Rising / cables.NeperPerDB; db > 0 {
			d.say("on the way there and back %s dB more is lost at %s than the record says", significant(db), hertz(d.f0))
		}
		return
	}
	after := d.zLine * (1 + r) / (1 - r)
	d.say("step of impedance %s → %s%s", significant(d.zLine), uncertain(after, 2*d.zLine*sigma/((1-r)*(1-r)), "ohm"), d.where())
}

func (d *description) end() {
	p := d.p
	flat, rising := d.sigma[linemodel.ByFlat], d.sigma[linemodel.ByRising]
	back := 100 * d.fit.RMS(p)
	if p.Form == linemodel.OpenEnd {
		d.say("like an open circuit: the voltage comes back upright, %.1f %% of it%s", back, d.where())
		d.say("across the open end %s and %s", size(1e3*p.Flat/d.zLine, 1e3*flat/d.zLine, "mS"), size(1e12*shuntF(p.Rising, d.zLine, d.f0), 1e12*shuntF(rising, d.zLine, d.f0), "pF"))
	} else {
		d.say("like a short circuit: the voltage comes back inverted, %.1f %% of it%s", back, d.where())
		d.say("in the short %s and %s", size(p.Flat*d.zLine, flat*d.zLine, "ohm"), size(1e9*inductanceH(p.Rising, d.zLine, d.f0), 1e9*inductanceH(rising, d.zLine, d.f0), "nH"))
	}
	if s := d.sigma[linemodel.ByFalling]; p.Falling > 2*s {
		d.say("on the way there and back %s dB more is lost at %s than the record says", significant(p.Falling/cables.NeperPerDB), hertz(d.f0))
	}
}

func (d *description) wet() {
	p := d.p
	medium := d.fit.Path.Spans[d.fit.SpanAt(p.X+p.Extent/2)].Medium
	velocity := cables.SpeedOfLight * medium.VelocityFactor
	kappa := slowing(p.Drop, p.Tangent, d.f0)
	relative := d.sigma[linemodel.ByDrop] / (1 - p.Drop) // of 1/κ, and of κ
	length := math.Max(0, p.Extent-p.Taper)
	d.say("a stretch of cable %s long%s that is slower and lossier than its record", uncertain(p.Extent, d.sigma[linemodel.ByExtent], "m"), d.where())
	d.say("at %s its impedance is %s → %s and its velocity factor %s → %s", hertz(d.f0),
		significant(d.zLine), uncertain(d.zLine/kappa, relative*d.zLine/kappa, "ohm"),
		significant(medium.VelocityFactor), uncertain(medium.VelocityFactor/kappa, relative*medium.VelocityFactor/kappa, ""))
	e := permittivity(kappa, medium.VelocityFactor)
	d.say("its effective permittivity is %s → %s, its loss tangent %s", significant(permittivity(1, medium.VelocityFactor)),
		uncertain(e, 2*relative*e, ""), size(p.Tangent, d.sigma[linemodel.ByTangent], ""))
	d.say("at %s it loses %s dB more than its record, one way, and holds the wave up by %s ns: what lies behind seems %s m farther out", hertz(d.f0),
		significant(wetLossDB(p.Drop, p.Tangent, length, velocity, d.f0)),
		significant(1e9*wetDelayS(p.Drop, p.Tangent, length, velocity, d.f0)), significant(p.ExcessM()))
	if p.Taper > 0 {
		d.say("it begins and ends gradually, over about %s", uncertain(p.Taper, d.sigma[linemodel.ByTaper], "m"))
	}
}

// lengthTold is how well the length of other cable must be known, relative, for its velocity to follow.
const lengthTold = 0.05

// pointBelowM is how long a stretch of other impedance may be and still be
// told as one place that is out of shape.
const pointBelowM = 0.3

func (d *description) foreign() {
	p := d.p
	medium := d.fit.Path.Spans[d.fit.SpanAt(p.X+p.Extent/2)].Medium
	velocity := cables.SpeedOfLight * medium.VelocityFactor
	length, sigma := p.Extent, d.sigma[linemodel.ByExtent]
	told := p.Fits[linemodel.ByShift] && p.Prior[linemodel.ByShift].Sigma < lengthTold*p.LengthM()
	if told {
		length, sigma = p.LengthM(), math.Hypot(sigma, d.sigma[linemodel.ByShift])
	}
	d.say("impedance %s → %s over %s%s", significant(d.zLine), uncertain(p.Ratio*d.zLine, d.sigma[linemodel.ByDrop]*d.zLine, "ohm"),
		uncertain(length, sigma, "m"), d.where())
	if c := 1e12 * stubF(p.Extent, velocity, d.zLine, p.Ratio); p.Extent < pointBelowM {
		if c > 0 {
			d.say("to a wave much longer than that it acts like %s pF across the line; the sweep knows that better than length and impedance by themselves", significant(c))
		}
		return
	}
	if told {
		d.say("by the record that is how long it is, so its velocity factor is %.2f where the record has %s", medium.VelocityFactor*length/p.Extent, significant(medium.VelocityFactor))
	} else {
		d.say("that length is at the record's velocity factor of %s: length and velocity of the stretch cannot be told apart, so cable of velocity factor VF would be %s m × VF long",
			significant(medium.VelocityFactor), significant(p.Extent/medium.VelocityFactor))
	}
	if d.told(linemodel.ByTangent, p.LossScale-1) {
		d.say("its attenuation is %s times the record's", uncertain(p.LossScale, d.sigma[linemodel.ByTangent], ""))
	}
}

// local says how large the reflection is by itself, and its phase.
func (d *description) local() {
	if len(d.p.Reflect) == 0 {
		return
	}
	middle := 0
	for k, f := range d.fit.FrequencyHz {
		if math.Abs(f-d.f0) < math.Abs(d.fit.FrequencyHz[middle]-d.f0) {
			middle = k
		}
	}
	rms := d.fit.RMS(d.p)
	if !(rms > 0) {
		return
	}
	phase := math.Round(cmplx.Phase(d.p.Reflect[middle])*180/math.Pi) + 0 // no −0
	d.say("by itself it has a return loss of %.1f dB over %s (VSWR %.2f), phase %.0f° at %s%s",
		sweep.ReturnLossFromMagnitude(rms), d.band(), math.Min(total, sweep.VSWRFromMagnitude(rms)), phase, hertz(d.fit.FrequencyHz[middle]), d.where())
}

// calibrationWords says whether the sweep can be believed, loudly where not.
func calibrationWords(s *sweep.Sweep) string {
	if notice := calibration.Notice(s); notice != "" {
		return notice
	}
	if s.Correction == sweep.AssumedCorrected {
		return "assumed corrected by the instrument: the file does not say"
	}
	text := s.Correction.String() + " with standards that passed their checks"
	worst := 0.0
	for _, e := range s.ErrorFloor {
		worst = math.Max(worst, e)
	}
	if worst > 0 {
		text += fmt.Sprintf("; residual directivity %.0f dB or better", sweep.ReturnLossFromMagnitude(worst))
	}
	return text
}
