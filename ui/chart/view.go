package chart

import "math"

// view is the part of the whole that is seen.
type view struct {
	x [2]Axis
	y Axis
}

// fit shows everything that c holds.
func (v *view) fit(c *Content) { v.x, v.y = c.X, c.Y }

// keep holds the view to what c holds now: where an axis has become another one
// it is shown whole, else what is seen stays.
func (v *view) keep(c, before *Content) {
	for side := range v.x {
		v.x[side] = kept(v.x[side], c.X[side], before.X[side])
	}
	v.y = kept(v.y, c.Y, before.Y)
}

func kept(seen, whole, before Axis) Axis {
	switch {
	case seen.Quantity != whole.Quantity || seen.Scale != whole.Scale || seen.Low == before.Low && seen.High == before.High || seen.Low == seen.High:
		return whole
	case whole.Low == whole.High:
		return whole
	}
	return seen.Within(whole)
}

// zoom scales the horizontal axis of side about position.
func (v *view) zoom(c *Content, side Side, factor, position, length float64) {
	v.x[side] = v.x[side].Zoomed(factor, position, length).Within(c.X[side])
}

func (v *view) zoomY(c *Content, factor, position, length float64) {
	v.y = v.y.Zoomed(factor, position, length).Within(c.Y)
}

func (v *view) pan(c *Content, side Side, pixels, length float64) {
	v.x[side] = v.x[side].Panned(pixels, length).Within(c.X[side])
}

func (v *view) panY(c *Content, pixels, length float64) {
	v.y = v.y.Panned(pixels, length).Within(c.Y)
}

// box shows what lies between two corners, in pixels.
func (v *view) box(c *Content, side Side, from, to Dot, width, height float64) {
	left, right := math.Min(from.X, to.X), math.Max(from.X, to.X)
	top, bottom := math.Min(from.Y, to.Y), math.Max(from.Y, to.Y)
	if right-left < 4 || bottom-top < 4 {
		return
	}
	a := v.x[side]
	a.Low, a.High = v.x[side].Value(left, width), v.x[side].Value(right, width)
	v.x[side] = a.Within(c.X[side])
	y := v.y
	y.Low, y.High = v.y.Value(top, height), v.y.Value(bottom, height)
	v.y = y.Within(c.Y)
}
