package series

import (
	"math"
	"math/cmplx"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

// frame is an orthonormal basis of columns with real coefficients, each column
// with a row of its own below the data that holds its coefficient near 0 (ridge
// regression: A. Hoerl, R. Kennard, Technometrics 12, 1970), made by modified
// Gram-Schmidt, twice for the sake of rounding (G. Golub, C. Van Loan, "Matrix
// Computations", ch. 5.2; both from memory). Without those rows columns that nearly
// make each other up would take large coefficients of opposite sign from noise.
type frame struct {
	rows    int            // of data
	columns [][]complex128 // as given, those that were kept
	pull    []float64      // what stands in the row of each
	q       [][]complex128 // q[i] has i+1 rows below the data
	r       [][]float64    // r[j] holds what column j takes of each q up to its own
}

// dependent is how little of a column may be left, relative, before it counts as
// made of the others.
const dependent = 1e-5

// add appends a column whose coefficient is 0 ± sigma beforehand, where each real
// number of the data is known to ± noise; it is left out, and add returns false,
// when the others make it up.
func (f *frame) add(column []complex128, sigma, noise float64) (added bool) {
	f.rows = len(column)
	v := make([]complex128, len(column)+len(f.q)+1)
	copy(v, column)
	pull := noise / sigma
	v[len(v)-1] = complex(pull, 0)
	before := norm(column)
	r := make([]float64, len(f.q)+1)
	for range 2 {
		for i, q := range f.q {
			c := dot(q, v)
			r[i] += c
			subtract(v, c, q)
		}
	}
	left := norm(v)
	if !(left > dependent*before) {
		return false
	}
	for k := range v {
		v[k] /= complex(left, 0)
	}
	r[len(f.q)] = left
	f.columns, f.pull, f.q, f.r = append(f.columns, column), append(f.pull, pull), append(f.q, v), append(f.r, r)
	return true
}

// addBoth appends a column with a complex coefficient.
func (f *frame) addBoth(column []complex128, sigma, noise float64) {
	f.add(column, sigma, noise)
	f.add(times(column, 1i), sigma, noise)
}

// copy returns a frame that can grow by itself.
func (f *frame) copy() *frame {
	n := len(f.q)
	return &frame{f.rows, f.columns[:n:n], f.pull[:n:n], f.q[:n:n], f.r[:n:n]}
}

// fit returns the coefficients of the columns that fit d best, what they leave of
// it, and the cost in squares of noise: of what is left, and of the coefficients by
// what is known of them.
func (f *frame) fit(d []complex128) (coefficients []float64, left []complex128, cost float64) {
	whole := make([]complex128, f.rows+len(f.q))
	copy(whole, d)
	y := make([]float64, len(f.q))
	for i, q := range f.q {
		y[i] = dot(q, whole)
		subtract(whole, y[i], q)
	}
	cost = dot(whole, whole)
	for j := len(y) - 1; j >= 0; j-- { // R·c = y from the last row up
		y[j] /= f.r[j][j]
		for i := range j {
			y[i] -= f.r[j][i] * y[j]
		}
	}
	left = whole[:f.rows]
	copy(left, d)
	for j, c := range y {
		subtract(left, c, f.columns[j])
	}
	return y, left, cost
}

// variance returns that of Σ a_j·c_j for coefficients c from data of unit variance
// in each real number, what is known of them beforehand included: ‖R^{-T}·a‖².
func (f *frame) variance(a []float64) float64 {
	y := make([]float64, len(a))
	sum := 0.0
	for j := range a {
		v := a[j]
		for i := range j {
			v -= f.r[j][i] * y[i]
		}
		y[j] = v / f.r[j][j]
		sum += y[j] * y[j]
	}
	return sum
}

// dot returns Re Σ conj(a)·b over a's length.
func dot(a, b []complex128) float64 {
	sum := 0.0
	for k, x := range a {
		y := b[k]
		sum += real(x)*real(y) + imag(x)*imag(y)
	}
	return sum
}

// inner returns Σ conj(a)·b over a's length.
func inner(a, b []complex128) complex128 {
	im := 0.0
	for k, x := range a {
		y := b[k]
		im += real(x)*imag(y) - imag(x)*real(y)
	}
	return complex(dot(a, b), im)
}

// subtract takes c·b from a.
func subtract(a []complex128, c float64, b []complex128) {
	for k, y := range b {
		a[k] -= complex(c*real(y), c*imag(y))
	}
}

func norm(a []complex128) float64 { return math.Sqrt(dot(a, a)) }

// product returns a·b, element by element.
func product(a, b []complex128) []complex128 {
	out := make([]complex128, len(a))
	for k := range a {
		out[k] = a[k] * b[k]
	}
	return out
}

// times returns a·c.
func times(a []complex128, c complex128) []complex128 {
	out := make([]complex128, len(a))
	for k := range a {
		out[k] = a[k] * c
	}
	return out
}

// line is the model that the columns come from.
type line struct {
	fit  *linemodel.Fit
	path *cables.Path
	load cables.LoadKind
	hz   []float64
	q    []complex128 // −1 to 1 over the band
	used []complex128 // 1, and 0 for points that are left out
}

// powers returns a, a·q, a·q², … a·q^(count−1).
func (l *line) powers(a []complex128, count int) [][]complex128 {
	out := [][]complex128{a}
	for len(out) < count {
		out = append(out, product(out[len(out)-1], l.q))
	}
	return out
}

// at returns the gain of the place x and what comes back from behind it.
func (l *line) at(x float64) (gain, back []complex128) {
	p := l.fit.NewPoint(x, linemodel.Series) // without an impedance: transparent
	l.fit.Insert(p)
	l.fit.Forward()
	l.fit.Remove(p)
	return product(p.Gain, l.used), p.Back
}

// share is a column of what all places do together.
type share struct {
	kind   kind
	column []complex128
	sigma  float64 // of its coefficient, beforehand
	span   int     // of a section
}

type kind int

const (
	ofSize    kind = iota // S̄ times a power of q: everything larger
	ofPhase               // the same, times j
	ofPlane               // metres of electrical length in front of the line
	ofPort                // directivity
	ofSection             // relative lengthening of a section
	ofLoss                // the same, times −j: more loss
)

// What is known of their coefficients beforehand, one standard deviation. An
// instrument that is warm holds its gain within 0.03 dB, its phase within a degree,
// its cable within 2 mm and its directivity within 50 dB; a hundred parts in a
// million are what 5 to 10 degrees do to foam cable, a tenth of that by loss what they
// do to its attenuation. Common practice, no source: they matter where the sweeps
// do not tell two of them apart, and where a far end may have changed instead. A
// place's coefficients are a few times its largest change at most.
const (
	sizeSigma    = 3e-3
	phaseSigma   = 2e-2
	planeSigma   = 2e-3
	portSigma    = 3e-3
	sectionSigma = 1e-4
	lossSigma    = 1e-5
	placeSigma   = 3.0
)

// together returns the columns of what all places do together.
func (l *line) together(mean []complex128) []share {
	var out []share
	whole := product(mean, l.used)
	for i, column := range l.powers(whole, 3) {
		out = append(out, share{kind: ofSize, column: column, sigma: sizeSigma})
		if i != 1 { // a slope of phase is length
			out = append(out, share{kind: ofPhase, column: times(column, 1i), sigma: phaseSigma})
		}
	}
	plane := make([]complex128, len(l.hz))
	for k, f := range l.hz {
		plane[k] = whole[k] * complex(0, -4*math.Pi*f/cables.SpeedOfLight)
	}
	out = append(out, share{kind: ofPlane, column: plane, sigma: planeSigma})
	for _, column := range l.powers(l.used, 2) {
		out = append(out, share{kind: ofPort, column: column, sigma: portSigma}, share{kind: ofPort, column: times(column, 1i), sigma: portSigma})
	}
	for i, span := range l.path.Spans {
		if span.Device != nil {
			continue
		}
		column := make([]complex128, len(l.hz))
		for _, piece := range l.pieces(span.StartM, span.StartM+span.LengthM) {
			g, back := l.at((piece[0] + piece[1]) / 2)
			for k := range column {
				beta := imag(l.fit.Gamma[i][k])
				column[k] -= complex(0, 2*beta*(piece[1]-piece[0])) * g[k] * back[k]
			}
		}
		out = append(out, share{ofSection, column, sectionSigma, i}, share{ofLoss, times(column, -1i), lossSigma, i})
	}
	return out
}

// pieces cuts a stretch at the points of the model.
func (l *line) pieces(from, to float64) [][2]float64 {
	var out [][2]float64
	for _, p := range l.fit.Points {
		if p.X > from && p.X < to {
			out = append(out, [2]float64{from, p.X})
			from = p.X
		}
	}
	return append(out, [2]float64{from, to})
}

// far says whether x is the far end, as well as that is known.
func (l *line) far(x float64) bool {
	end := l.path.LengthM()
	return x > end-math.Max(1.5*l.fit.Cell(end), 2*math.Sqrt(l.path.VelocityVariance(end)))
}

// bounces is how often a wave may pass a changing place from behind, at most,
// before that is no longer followed.
const bounces = 4

// From how many cells in front of the record's end to how many behind an antenna
// may move: the line is not exactly as long as its record, and antennas ring.
const (
	firstTap = -2
	lastTap  = 8
)

// local returns the columns of a change at x, the largest of any sweep about
// largest, in sweeps whose points have noise of variance noise. An antenna's change
// rings.
func (l *line) local(x, largest, noise float64) [][]complex128 {
	if l.load == cables.Antenna && l.far(x) {
		l.fit.Forward()
		var out [][]complex128
		band := l.hz[len(l.hz)-1] - l.hz[0]
		for tap := firstTap; tap <= lastTap; tap++ {
			column := product(l.fit.LoadGain, l.used)
			for k, f := range l.hz {
				column[k] *= cmplx.Rect(1, -2*math.Pi*f*float64(tap)/band)
			}
			out = append(out, column)
		}
		return out
	}
	gain, back := l.at(x)
	out := l.powers(gain, 3)
	column := gain
	for m := 1; m <= bounces; m++ {
		column = product(column, back)
		if size := largest * norm(column); size*size < noise {
			break
		}
		out = append(out, l.powers(column, 3)...)
	}
	return out
}
