package dsp

import "math"

// Comb is a row of delays τ_t, evenly spaced, seen at frequencies f_k:
//
//	e_t(f_k) = e^{−j2π·f_k·τ_t}
//
// and the sums over either. On an even grid of frequencies both are symmetrical
// about their middles, and with κ, t' counted from there
//
//	Σ_k z_k·e^{jaκt'} for ±t' = Σ_{κ>0} (z_κ + z_−κ)·cos aκt' ± j·Σ_{κ>0} (z_κ − z_−κ)·sin aκt'
//
// so one real sum in four is left of each complex product, and a quarter of the
// table. A Comb owns its scratch and serves one goroutine at a time.
type Comb struct {
	frequencyHz      []float64
	firstS, spacingS float64
	count            int

	plain  [][]complex128 // e, per delay: of an uneven grid
	half   int            // of the frequencies, rounded up to whole vectors
	rows   int            // half of the delays, rounded up to pairs
	table  []float64      // per row half cosines and half sines
	turn   []complex128   // e^{−j2π·f_k·τ} at the middle τ of the delays
	across []complex128   // e^{−j2π·f·(τ_t − τ)} at the middle f of the frequencies
	planes []float64      // real and imaginary part of even and of odd halves
	sums   []float64      // per row four of these
}

// combEven is how far from an even grid a frequency may be, in phase at the
// longest delay, rad.
const combEven = 1e-6

// NewComb returns count delays spacingS apart from firstS, at the given
// frequencies, ascending.
func NewComb(frequencyHz []float64, firstS, spacingS float64, count int) *Comb {
	c := &Comb{frequencyHz: frequencyHz, firstS: firstS, spacingS: spacingS, count: count}
	n := len(frequencyHz)
	step := 0.0
	if n > 1 {
		step = (frequencyHz[n-1] - frequencyHz[0]) / float64(n-1)
	}
	longest := 2 * math.Pi * math.Max(math.Abs(firstS), math.Abs(firstS+float64(count-1)*spacingS))
	even := true
	for k, f := range frequencyHz {
		even = even && math.Abs(f-frequencyHz[0]-float64(k)*step)*longest <= combEven
	}
	if !even {
		c.fillPlain(frequencyHz, firstS, spacingS)
		return c
	}
	middleS := firstS + float64(count-1)/2*spacingS
	c.turn = make([]complex128, n)
	for k, f := range frequencyHz {
		c.turn[k] = cis(-2 * math.Pi * f * middleS)
	}
	middleHz := frequencyHz[0] + float64(n-1)/2*step
	c.across = make([]complex128, count)
	for t := range c.across {
		c.across[t] = cis(-2 * math.Pi * middleHz * (firstS + float64(t)*spacingS - middleS))
	}
	c.half = ((n+1)/2 + 3) &^ 3
	c.rows = ((count+1)/2 + 1) &^ 1
	c.table = make([]float64, 2*c.half*c.rows)
	c.planes = make([]float64, 4*c.half)
	c.sums = make([]float64, 4*c.rows)
	used := (count + 1) / 2
	for i := range used {
		cos, sin := c.row(i)
		angle := 2 * math.Pi * step * spacingS * (float64(i) + 0.5*float64(1-count%2))
		turn, e := cis(angle), complex128(0)
		for k := range (n + 1) / 2 {
			from := float64(k) + 0.5*float64(1-n%2)
			if k%32 == 0 { // keep the recursion's rounding down
				e = cis(angle * from)
			}
			cos[k], sin[k] = real(e), imag(e)
			e *= turn
		}
	}
	return c
}

// Picked returns the comb at the picked ones of its frequencies.
func (c *Comb) Picked(pick []int) *Comb {
	f := make([]float64, len(pick))
	for i, k := range pick {
		f[i] = c.frequencyHz[k]
	}
	return NewComb(f, c.firstS, c.spacingS, c.count)
}

func cis(phi float64) complex128 {
	sin, cos := math.Sincos(phi)
	return complex(cos, sin)
}

func (c *Comb) fillPlain(frequencyHz []float64, firstS, spacingS float64) {
	n := len(frequencyHz)
	flat := make([]complex128, n*c.count)
	for t := range c.count {
		row := flat[t*n : (t+1)*n]
		for k, f := range frequencyHz {
			row[k] = cis(-2 * math.Pi * f * (firstS + float64(t)*spacingS))
		}
		c.plain = append(c.plain, row)
	}
}

// row returns the cosines and sines of row i, of the delays i either side of the
// middle.
func (c *Comb) row(i int) (cos, sin []float64) {
	at := 2 * i * c.half
	return c.table[at : at+c.half], c.table[at+c.half : at+2*c.half]
}

// Len is the number of delays.
func (c *Comb) Len() int { return c.count }

// Correlate writes Σ_k e_t(f_k)*·z_k to dst, one value per delay; z has one per
// frequency.
func (c *Comb) Correlate(dst, z []complex128) {
	if c.plain != nil {
		for t, row := range c.plain {
			dst[t] = conjugateSum(row, z)
		}
		return
	}
	n, h := len(c.turn), c.half
	er, ei, or, oi := c.planes[:h], c.planes[h:2*h], c.planes[2*h:3*h], c.planes[3*h:]
	for k := range (n + 1) / 2 {
		i, j := n/2+k, (n-1)/2-k
		a, b := turnBack(z[i], c.turn[i]), turnBack(z[j], c.turn[j])
		if i == j { // the middle counts once
			b = 0
		}
		er[k], ei[k], or[k], oi[k] = real(a)+real(b), imag(a)+imag(b), real(a)-real(b), imag(a)-imag(b)
	}
	combSums(c.sums, c.table, c.planes, h)
	for i := range (c.count + 1) / 2 {
		s := c.sums[4*i:][:4]
		later, earlier := c.count/2+i, (c.count-1)/2-i
		dst[later] = turnBack(complex(s[0]-s[3], s[1]+s[2]), c.across[later])
		dst[earlier] = turnBack(complex(s[0]+s[3], s[1]-s[2]), c.across[earlier])
	}
}

// Compose writes Σ_t e_t(f_k)·taps_t to dst, one value per frequency.
func (c *Comb) Compose(dst, taps []complex128) {
	if c.plain != nil {
		clear(dst)
		for t, row := range c.plain {
			v := taps[t]
			for k, e := range row {
				dst[k] += v * e
			}
		}
		return
	}
	for i := range (c.count + 1) / 2 {
		later, earlier := c.count/2+i, (c.count-1)/2-i
		a, b := taps[later]*c.across[later], taps[earlier]*c.across[earlier]
		if later == earlier {
			b = 0
		}
		s := c.sums[4*i:][:4]
		s[0], s[1], s[2], s[3] = real(a)+real(b), imag(a)+imag(b), real(a)-real(b), imag(a)-imag(b)
	}
	clear(c.planes)
	combSpread(c.planes, c.table, c.sums, c.half)
	n, h := len(c.turn), c.half
	er, ei, or, oi := c.planes[:h], c.planes[h:2*h], c.planes[2*h:3*h], c.planes[3*h:]
	for k := range (n + 1) / 2 { // e^{∓jaκt'}
		i, j := n/2+k, (n-1)/2-k
		dst[i] = complex(er[k]+oi[k], ei[k]-or[k]) * c.turn[i]
		dst[j] = complex(er[k]-oi[k], ei[k]+or[k]) * c.turn[j]
	}
}

// turnBack returns z·e*.
func turnBack(z, e complex128) complex128 {
	return complex(real(z)*real(e)+imag(z)*imag(e), imag(z)*real(e)-real(z)*imag(e))
}

// conjugateSum returns Σ a*·z.
func conjugateSum(a, z []complex128) complex128 {
	var re, im float64
	for k, e := range a {
		v := z[k]
		re += real(e)*real(v) + imag(e)*imag(v)
		im += real(e)*imag(v) - imag(e)*real(v)
	}
	return complex(re, im)
}

// combSumsPlain writes per row of table (half cosines, half sines) to dst the
// sums of the cosines with the first and second plane and of the sines with the
// third and fourth.
func combSumsPlain(dst, table, planes []float64, half int) {
	a, b, c, d := planes[:half], planes[half:2*half], planes[2*half:3*half], planes[3*half:4*half]
	for i := range len(table) / (2 * half) {
		cos, sin := table[2*i*half:][:half], table[(2*i+1)*half:][:half]
		var s0, s1, s2, s3 float64
		for k, v := range cos {
			s0 += v * a[k]
			s1 += v * b[k]
			w := sin[k]
			s2 += w * c[k]
			s3 += w * d[k]
		}
		dst[4*i], dst[4*i+1], dst[4*i+2], dst[4*i+3] = s0, s1, s2, s3
	}
}

// combSpreadPlain adds to the planes what combSumsPlain would sum: per row the
// cosines times its first and second value, the sines times its third and fourth.
func combSpreadPlain(planes, table, values []float64, half int) {
	a, b, c, d := planes[:half], planes[half:2*half], planes[2*half:3*half], planes[3*half:4*half]
	for i := range len(table) / (2 * half) {
		cos, sin := table[2*i*half:][:half], table[(2*i+1)*half:][:half]
		v := values[4*i:][:4]
		for k, e := range cos {
			a[k] += v[0] * e
			b[k] += v[1] * e
			w := sin[k]
			c[k] += v[2] * w
			d[k] += v[3] * w
		}
	}
}
