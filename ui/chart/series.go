package chart

import "math"

// Series is the data of a trace. It must not be changed once it is drawn: a
// changed trace is a new Series, and drawings are kept by the address of the old.
type Series struct {
	X, Y []float64 // X ascending; Y may hold NaN (a gap) and ±Inf (drawn at the edge)
}

// Range returns the least and the largest finite Y; ok is false without one.
func (s *Series) Range() (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, y := range s.Y {
		if math.IsInf(y, 0) || math.IsNaN(y) {
			continue
		}
		low, high = math.Min(low, y), math.Max(high, y)
	}
	return low, high, low <= high
}

// At returns Y at x between the points, NaN outside them.
func (s *Series) At(x float64) float64 {
	n := len(s.X)
	if n == 0 || x < s.X[0] || x > s.X[n-1] {
		return math.NaN()
	}
	i := s.above(x)
	if i == 0 {
		return s.Y[0]
	}
	if i == n {
		return s.Y[n-1]
	}
	share := (x - s.X[i-1]) / (s.X[i] - s.X[i-1])
	if share == 1 {
		return s.Y[i]
	}
	return s.Y[i-1] + share*(s.Y[i]-s.Y[i-1])
}

// above returns the first index whose X is above x.
func (s *Series) above(x float64) int {
	low, high := 0, len(s.X)
	for low < high {
		if middle := (low + high) / 2; s.X[middle] > x {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return low
}

// Dot is a place in pixels.
type Dot struct{ X, Y float64 }

// Polyline appends to dst the trace as it is drawn: in pixels from the corner
// where both axes begin, at most four dots a pixel column (the first, the
// least, the largest and the last point of the column, in the order of the
// data), so that no spike is lost whatever the number of points. A gap is a dot
// with NaN. The points next to the visible ones on either side are included.
// Time is linear in the visible points.
func (s *Series) Polyline(dst []Dot, x, y Axis, width, height float64) []Dot {
	n := len(s.X)
	if n == 0 || !(width > 0) || !(height > 0) {
		return dst
	}
	left, right := math.Min(x.Low, x.High), math.Max(x.Low, x.High)
	begin, end := max(s.above(left)-1, 0), min(s.above(right)+1, n)
	far := 4 * height // what lies outside is cut there, which keeps the slope of what is seen near enough
	across, along := y.positions(height), x.positions(width)
	vertical := func(v float64) float64 { return min(max(across(v), -far), height+far) }
	column, open := math.MinInt, false
	var first, least, most, last Dot
	var leastAt, mostAt int
	flush := func() {
		if !open {
			return
		}
		low, high := least, most
		if leastAt > mostAt {
			low, high = high, low
		}
		at := len(dst)
		for _, d := range [4]Dot{first, low, high, last} {
			if len(dst) == at || dst[len(dst)-1] != d {
				dst = append(dst, d)
			}
		}
		open = false
	}
	for i := begin; i < end; i++ {
		v := vertical(s.Y[i])
		if math.IsNaN(v) {
			flush()
			if len(dst) > 0 && !math.IsNaN(dst[len(dst)-1].Y) {
				dst = append(dst, Dot{math.NaN(), math.NaN()})
			}
			continue
		}
		d := Dot{along(s.X[i]), v}
		c := int(math.Floor(min(max(d.X, -1e9), 1e9)))
		if !open || c != column {
			flush()
			column, open = c, true
			first, least, most, leastAt, mostAt = d, d, d, i, i
		}
		if d.Y < least.Y {
			least, leastAt = d, i
		}
		if d.Y > most.Y {
			most, mostAt = d, i
		}
		last = d
	}
	flush()
	return dst
}

// Dashes appends to dst the polyline cut into dashes of the given length with
// gaps between, in pixels. NaN dots stay gaps.
func Dashes(dst, line []Dot, dash, gap float64) []Dot {
	nothing := Dot{math.NaN(), math.NaN()}
	drawn, left := true, dash
	for i, d := range line {
		if math.IsNaN(d.Y) || i == 0 || math.IsNaN(line[i-1].Y) {
			drawn, left = true, dash
			if i > 0 {
				dst = append(dst, nothing)
			}
			if !math.IsNaN(d.Y) {
				dst = append(dst, d)
			}
			continue
		}
		from := line[i-1]
		length := math.Hypot(d.X-from.X, d.Y-from.Y)
		for done := 0.0; done < length; {
			by := math.Min(left, length-done)
			done += by
			left -= by
			share := done / length
			at := Dot{from.X + share*(d.X-from.X), from.Y + share*(d.Y-from.Y)}
			if drawn {
				dst = append(dst, at)
			}
			if left > 0 {
				continue
			}
			if drawn = !drawn; drawn {
				left = dash
				dst = append(dst, nothing, at)
			} else {
				left = gap
			}
		}
	}
	return dst
}
