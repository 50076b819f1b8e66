package chart

import (
	"math"
	"strconv"
	"strings"

	"downlead/dsp"
)

// Quantity says what an axis measures. It decides how values are written;
// values themselves are always in SI units, and decibels.
type Quantity int

// The quantities that are drawn.
const (
	Ratio   Quantity = iota // dimensionless: VSWR, |Γ|
	Hertz                   // frequency
	Metre                   // distance, written in metres
	Foot                    // distance, held in metres and written in feet
	Decibel                 // return loss, loss
	Ohm                     // impedance
	Degree                  // phase
	Second                  // delay
	Siemens                 // admittance
	Farad                   // capacitance
	Henry                   // inductance
)

// FootM is the length of the international foot, m (exact, 1959 agreement).
const FootM = 0.3048

// measure is a way to write values of a quantity: value over size, then name.
type measure struct {
	size float64
	name string
}

// unitFor returns the unit that suits an axis whose largest value is about most.
func (q Quantity) unitFor(most float64) measure {
	most = math.Abs(most)
	prefixed := func(base string) measure {
		for _, u := range []measure{{1e9, "G"}, {1e6, "M"}, {1e3, "k"}, {1, ""}, {1e-3, "m"}, {1e-6, "µ"}, {1e-9, "n"}} {
			if most >= u.size {
				return measure{u.size, u.name + base}
			}
		}
		return measure{1e-12, "p" + base}
	}
	switch q {
	case Hertz:
		if most < 3e9 && most >= 1e6 {
			return measure{1e6, "MHz"} // bands of the trade are named in MHz up to there
		}
		return prefixed("Hz")
	case Metre:
		return measure{1, "m"}
	case Foot:
		return measure{FootM, "ft"}
	case Decibel:
		return measure{1, "dB"}
	case Ohm:
		if most < 1e3 && most >= 1 {
			return measure{1, "Ω"}
		}
		return prefixed("Ω")
	case Degree:
		return measure{1, "°"}
	case Second:
		return prefixed("s")
	case Siemens:
		return prefixed("S")
	case Farad:
		return prefixed("F")
	case Henry:
		return prefixed("H")
	}
	return measure{1, ""}
}

// Write writes a value with its unit, with as many decimals as a change of
// resolution needs to show. A resolution of 0 gives four significant digits.
func (q Quantity) Write(value, resolution float64) string {
	if math.IsNaN(value) {
		return "–"
	}
	if math.IsInf(value, 0) {
		return strings.Replace(strconv.FormatFloat(value, 'f', 0, 64), "Inf", "∞", 1)
	}
	u := q.unitFor(value)
	text := number(value/u.size, resolution/u.size)
	switch {
	case u.name == "":
		return text
	case u.name == "°":
		return text + u.name
	}
	return text + " " + u.name
}

// number writes v with the decimals that resolution needs.
func number(v, resolution float64) string {
	decimals := 0
	switch {
	case resolution > 0:
		decimals = int(math.Ceil(-math.Log10(resolution) - 1e-9))
	case v != 0:
		decimals = 3 - int(math.Floor(math.Log10(math.Abs(v))))
	}
	text := strconv.FormatFloat(v, 'f', min(max(decimals, 0), 9), 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return strings.Replace(text, "-", "−", 1)
}

// Scale says how values are laid out along an axis.
type Scale int

// The scales.
const (
	Linear Scale = iota
	Log
)

// Axis lays values from Low to High out along a length of pixels. Low may be
// above High, and the axis then runs the other way.
type Axis struct {
	Quantity  Quantity
	Scale     Scale
	Low, High float64 // at the first and the last pixel; Log: both positive
}

func (a Axis) bend(v float64) float64 {
	if a.Scale == Log {
		return math.Log(math.Max(v, math.SmallestNonzeroFloat64))
	}
	return v
}

func (a Axis) unbend(t float64) float64 {
	if a.Scale == Log {
		return math.Exp(t)
	}
	return t
}

// Position returns how many pixels from the axis' beginning v lies.
func (a Axis) Position(v, length float64) float64 {
	low, high := a.bend(a.Low), a.bend(a.High)
	return (a.bend(v) - low) / (high - low) * length
}

// positions returns Position for many values.
func (a Axis) positions(length float64) func(v float64) float64 {
	low, high := a.bend(a.Low), a.bend(a.High)
	scale := length / (high - low)
	if a.Scale == Log {
		return func(v float64) float64 { return (a.bend(v) - low) * scale }
	}
	return func(v float64) float64 { return (v - low) * scale }
}

// Value is the inverse of Position.
func (a Axis) Value(position, length float64) float64 {
	low, high := a.bend(a.Low), a.bend(a.High)
	return a.unbend(low + position/length*(high-low))
}

// Resolution is the change of value over one pixel about v.
func (a Axis) Resolution(v, length float64) float64 {
	p := a.Position(v, length)
	return math.Abs(a.Value(p+0.5, length) - a.Value(p-0.5, length))
}

// Zoomed returns the axis with its range scaled by factor (below 1: closer)
// about the place position pixels from its beginning.
func (a Axis) Zoomed(factor, position, length float64) Axis {
	low, high := a.bend(a.Low), a.bend(a.High)
	at := low + position/length*(high-low)
	a.Low, a.High = a.unbend(at+(low-at)*factor), a.unbend(at+(high-at)*factor)
	return a
}

// Panned returns the axis moved so that what was pixels further on comes to its
// beginning.
func (a Axis) Panned(pixels, length float64) Axis {
	low, high := a.bend(a.Low), a.bend(a.High)
	by := pixels / length * (high - low)
	a.Low, a.High = a.unbend(low+by), a.unbend(high+by)
	return a
}

// closest is the least part of a whole axis that can be zoomed to.
const closest = 1e-6

// Within returns the axis moved and, where it is too wide, narrowed so that it
// shows nothing outside whole, and not less than a millionth of it.
func (a Axis) Within(whole Axis) Axis {
	low, high := a.bend(a.Low), a.bend(a.High)
	wholeLow, wholeHigh := a.bend(whole.Low), a.bend(whole.High)
	turned := wholeLow > wholeHigh
	if turned {
		low, high, wholeLow, wholeHigh = high, low, wholeHigh, wholeLow
	}
	if !(low < high) || math.IsInf(low, 0) || math.IsInf(high, 0) {
		a.Low, a.High = whole.Low, whole.High
		return a
	}
	span := math.Min(math.Max(high-low, closest*(wholeHigh-wholeLow)), wholeHigh-wholeLow)
	middle := (low + high) / 2
	low = math.Min(math.Max(middle-span/2, wholeLow), wholeHigh-span)
	high = low + span
	if turned {
		low, high = high, low
	}
	a.Low, a.High = a.unbend(low), a.unbend(high)
	return a
}

// Tick is a mark on an axis. Minor ones have no Label.
type Tick struct {
	Value float64
	Label string
}

// Ticks returns the marks of an axis of length pixels, labels at least apart
// pixels from each other, in order of position. The last label carries the unit.
func (a Axis) Ticks(length, apart float64) []Tick {
	if !(length > 0) || a.Low == a.High {
		return nil
	}
	u := a.Quantity.unitFor(math.Max(math.Abs(a.Low), math.Abs(a.High)))
	var out []Tick
	if a.Scale == Log && math.Abs(math.Log10(a.High/a.Low)) > 0.7 {
		out = a.logTicks(u, length, apart)
	} else {
		out = a.linearTicks(u, length, apart)
	}
	if a.Low > a.High {
		for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
			out[i], out[j] = out[j], out[i]
		}
	}
	for i := len(out) - 1; i >= 0 && u.name != ""; i-- {
		if out[i].Label != "" {
			space := " "
			if u.name == "°" {
				space = ""
			}
			out[i].Label += space + u.name
			break
		}
	}
	return out
}

func (a Axis) linearTicks(u measure, length, apart float64) []Tick {
	low, high := math.Min(a.Low, a.High)/u.size, math.Max(a.Low, a.High)/u.size
	major := dsp.TickStep((high - low) * apart / length)
	if a.Quantity == Degree && high-low > 90 {
		for _, s := range []float64{15, 30, 45, 90, 180, 360} {
			if major = s; s/(high-low)*length >= apart {
				break
			}
		}
	}
	parts := 5.0
	if lead := major / math.Pow(10, math.Floor(math.Log10(major)+1e-9)); math.Abs(lead-2) < 1e-6 {
		parts = 4
	}
	minor := major / parts
	var out []Tick
	for k := math.Ceil(low/minor - 1e-9); k*minor <= high+1e-9*minor && len(out) < 2000; k++ {
		t := Tick{Value: k * minor * u.size}
		if math.Abs(math.Remainder(k, parts)) < 0.5 {
			t.Label = number(k*minor, major)
		}
		out = append(out, t)
	}
	return out
}

func (a Axis) logTicks(u measure, length, apart float64) []Tick {
	low, high := math.Min(a.Low, a.High)/u.size, math.Max(a.Low, a.High)/u.size
	decade := length / math.Log10(high/low)
	var out []Tick
	for e := math.Floor(math.Log10(low)); e <= math.Log10(high); e++ {
		for m := 1.0; m < 10; m++ {
			v := m * math.Pow(10, e)
			if v < low*(1-1e-9) || v > high*(1+1e-9) {
				continue
			}
			t := Tick{Value: v * u.size}
			if m == 1 || (m == 2 || m == 5) && 0.3*decade > apart {
				t.Label = number(v, v)
			}
			out = append(out, t)
		}
	}
	return out
}
