package chart

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func TestPositionAndValueAreInverse(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		a := Axis{Low: r.NormFloat64() * 100, High: r.NormFloat64() * 100}
		if r.IntN(2) == 0 {
			a = Axis{Scale: Log, Low: math.Exp(r.NormFloat64() * 5), High: math.Exp(r.NormFloat64() * 5)}
		}
		length := 1 + 2000*r.Float64()
		p := r.Float64() * length
		v := a.Value(p, length)
		if got := a.Position(v, length); math.Abs(got-p) > 1e-6*length {
			t.Fatalf("%+v: %g pixels is %g, which is at %g", a, p, v, got)
		}
		if a.Position(a.Low, length) != 0 || math.Abs(a.Position(a.High, length)-length) > 1e-9*length {
			t.Fatalf("%+v does not end at its ends", a)
		}
		if got := a.positions(length)(v); math.Abs(got-p) > 1e-6*length {
			t.Fatalf("%+v: positions gives %g, want %g", a, got, p)
		}
	}
}

// What is under the pointer stays there when the wheel turns.
func TestZoomKeepsThePlace(t *testing.T) {
	for _, a := range []Axis{{Low: 0, High: 60}, {Low: 60, High: 0}, {Scale: Log, Low: 1e6, High: 1e9}} {
		v := a.Value(300, 800)
		for _, factor := range []float64{0.5, 0.9, 1.2} {
			z := a.Zoomed(factor, 300, 800)
			if got := z.Position(v, 800); math.Abs(got-300) > 1e-6 {
				t.Errorf("%+v by %g: the place moved to %g", a, factor, got)
			}
		}
	}
}

func TestWithinShowsNothingOutside(t *testing.T) {
	whole := Axis{Low: 0, High: 60}
	for _, c := range []struct{ low, high, wantLow, wantHigh float64 }{
		{10, 20, 10, 20}, {-10, 20, 0, 30}, {50, 80, 30, 60}, {-100, 200, 0, 60}, {5, 5, 0, 60}, {5, 5 + 1e-9, 5 - 3e-5, 5 + 3e-5}, {20, 10, 0, 60},
		{math.NaN(), 3, 0, 60}, {math.Inf(-1), 3, 0, 60},
	} {
		got := Axis{Low: c.low, High: c.high}.Within(whole)
		if math.Abs(got.Low-c.wantLow) > 1e-8 || math.Abs(got.High-c.wantHigh) > 1e-8 {
			t.Errorf("%g to %g becomes %g to %g, want %g to %g", c.low, c.high, got.Low, got.High, c.wantLow, c.wantHigh)
		}
	}
	turned := Axis{Low: 40, High: 20}.Within(Axis{Low: 60, High: 0})
	if turned.Low != 40 || turned.High != 20 {
		t.Errorf("a turned axis becomes %+v", turned)
	}
}

func labels(ticks []Tick) string {
	var out []string
	for _, tick := range ticks {
		if tick.Label != "" {
			out = append(out, tick.Label)
		}
	}
	return strings.Join(out, " ")
}

func TestTicks(t *testing.T) {
	for name, c := range map[string]struct {
		axis          Axis
		length, apart float64
		want          string
	}{
		"metres":          {Axis{Quantity: Metre, Low: 0, High: 60}, 700, 76, "0 10 20 30 40 50 60 m"},
		"feet":            {Axis{Quantity: Foot, Low: 0, High: 60 * FootM}, 700, 76, "0 10 20 30 40 50 60 ft"},
		"a band":          {Axis{Quantity: Hertz, Low: 25e6, High: 1.2e9}, 700, 76, "200 400 600 800 1000 1200 MHz"},
		"above 3 GHz":     {Axis{Quantity: Hertz, Low: 0.6e9, High: 6e9}, 500, 76, "1 2 3 4 5 6 GHz"},
		"dB from the top": {Axis{Quantity: Decibel, Low: 0, High: 60}, 400, 40, "0 10 20 30 40 50 60 dB"},
		"degrees":         {Axis{Quantity: Degree, Low: 180, High: -180}, 400, 40, "180 135 90 45 0 −45 −90 −135 −180°"},
		"a close look":    {Axis{Quantity: Metre, Low: 31.412, High: 31.4195}, 700, 76, "31.412 31.413 31.414 31.415 31.416 31.417 31.418 31.419 m"},
		"a ratio":         {Axis{Quantity: Ratio, Low: 2, High: 1}, 300, 40, "2.0 1.8 1.6 1.4 1.2 1.0"},
		"log":             {Axis{Quantity: Hertz, Scale: Log, Low: 1e6, High: 1e9}, 900, 76, "1 2 5 10 20 50 100 200 500 1000 MHz"},
		"nanoseconds":     {Axis{Quantity: Second, Low: 0, High: 400e-9}, 400, 76, "0 100 200 300 400 ns"},
	} {
		got := c.axis.Ticks(c.length, c.apart)
		if labels(got) != c.want {
			t.Errorf("%s: %q, want %q", name, labels(got), c.want)
		}
		before := math.Inf(-1)
		for _, tick := range got {
			p := c.axis.Position(tick.Value, c.length)
			if p < before || p < -1 || p > c.length+1 {
				t.Errorf("%s: a tick at %g pixels after %g", name, p, before)
			}
			before = p
		}
	}
	if got := (Axis{Low: 3, High: 3}).Ticks(100, 10); got != nil {
		t.Errorf("an axis without a range has ticks %v", got)
	}
}

// Labels keep their distance whatever is looked at.
func TestTicksKeepApart(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 3000 {
		low := r.NormFloat64() * math.Pow(10, float64(r.IntN(10)))
		a := Axis{Quantity: Metre, Low: low, High: low + math.Pow(10, 4*r.Float64()-2)}
		length, apart := 100+2000*r.Float64(), 40+60*r.Float64()
		ticks := a.Ticks(length, apart)
		ticks = slices.DeleteFunc(ticks, func(tick Tick) bool { return tick.Label == "" })
		for i := 1; i < len(ticks); i++ {
			if d := a.Position(ticks[i].Value, length) - a.Position(ticks[i-1].Value, length); d < apart*0.999 {
				t.Fatalf("%+v over %g pixels: labels %g apart, want %g", a, length, d, apart)
			}
		}
	}
}

func TestWrite(t *testing.T) {
	for _, c := range []struct {
		quantity   Quantity
		value, res float64
		want       string
	}{
		{Metre, 31.4159, 0.01, "31.42 m"}, {Foot, 30.48, 0.3048, "100 ft"}, {Hertz, 824e6, 1e6, "824 MHz"}, {Hertz, 3.5e9, 1e8, "3.5 GHz"},
		{Decibel, 14, 0.1, "14.0 dB"}, {Degree, -90, 1, "−90°"}, {Ratio, 1.5, 0.01, "1.50"}, {Metre, -0.0001, 0.01, "0.00 m"},
		{Decibel, math.Inf(1), 0.1, "+∞"}, {Decibel, math.NaN(), 0.1, "–"}, {Ohm, 50, 0.1, "50.0 Ω"}, {Second, 12e-9, 1e-10, "12.0 ns"}, {Metre, 12.3456, 0, "12.35 m"},
	} {
		if got := c.quantity.Write(c.value, c.res); got != c.want {
			t.Errorf("%g to %g is written %q, want %q", c.value, c.res, got, c.want)
		}
	}
}
