package diagnose

import (
	"math"
	"math/cmplx"

	"downlead/cables"
)

// carrier is the phase 2·Im Θ of the middle of the band along the line.
type carrier struct {
	path *cables.Path
	beta []float64 // per span: 2·Im γ
	at   []float64 // per span: the phase where it starts
}

func newCarrier(path *cables.Path, frequencyHz float64) *carrier {
	c := &carrier{path: path}
	sum := 0.0
	for _, span := range path.Spans {
		gamma, _ := span.Medium.Wave(frequencyHz)
		c.beta = append(c.beta, 2*imag(gamma))
		c.at = append(c.at, sum)
		sum += 2 * imag(gamma) * span.LengthM
	}
	return c
}

func (c *carrier) phase(x float64) float64 {
	i := c.path.SpanAt(x)
	return c.at[i] + c.beta[i]*(x-c.path.Spans[i].StartM)
}

// demodulated is a profile without its carrier, for reading between its places.
type demodulated struct {
	carrier *carrier
	from    float64
	step    float64
	value   []complex128
}

// demodulate takes the carrier out of a profile whose places are as far apart
// as those of p.
func (p *sweepPair) demodulate(profile []complex128) *demodulated {
	d := &demodulated{carrier: p.carrier, from: p.x[0], step: p.x[1] - p.x[0], value: make([]complex128, len(profile))}
	for i, v := range profile {
		d.value[i] = v * cmplx.Rect(1, -p.carrier.phase(d.from+d.step*float64(i)))
	}
	return d
}

// readingOrder is over how many places a profile is read.
const readingOrder = 6

// reading is how a profile is read at a place: the same for all whose places
// are the same.
type reading struct {
	first  int
	weight [readingOrder]float64
	turn   complex128
}

// reading is how d is read at x, by Lagrange's formula; ok is false beyond its
// ends.
func (d *demodulated) reading(x float64) (r reading, ok bool) {
	t := (x - d.from) / d.step
	r.first = min(max(0, int(math.Floor(t))-readingOrder/2+1), len(d.value)-readingOrder)
	if t < 0 || t > float64(len(d.value)-1) {
		return r, false
	}
	// Π (t − j) over the places before and behind each, over Π (i − j).
	below := [readingOrder]float64{-120, 24, -12, 12, -24, 120}
	ahead, behind := [readingOrder]float64{1}, 1.0
	u := t - float64(r.first)
	for i := 1; i < readingOrder; i++ {
		ahead[i] = ahead[i-1] * (u - float64(i-1))
	}
	for i := readingOrder - 1; i >= 0; i-- {
		r.weight[i] = ahead[i] * behind / below[i]
		behind *= u - float64(i)
	}
	r.turn = cmplx.Rect(1, d.carrier.phase(x))
	return r, true
}

// read reads d so.
func (d *demodulated) read(r *reading) complex128 {
	var re, im float64
	for i, v := range d.value[r.first : r.first+readingOrder] {
		re += r.weight[i] * real(v)
		im += r.weight[i] * imag(v)
	}
	return complex(re, im) * r.turn
}

// at reads at x; 0 beyond the ends.
func (d *demodulated) at(x float64) complex128 {
	r, ok := d.reading(x)
	if !ok {
		return 0
	}
	return d.read(&r)
}
