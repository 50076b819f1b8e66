package diagnose

import (
	"math"
	"slices"

	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// Within a few cells in front of an open or shorted end a fault at a joint and the mirror behind it, between which the wave goes
// to and fro, are one crowd to who locates them by free points. The way from the joint to the end is short, and so known far better
// than the way to either: both are moved together along the line of the record, with every circuit at the joint.

// beforeEndReach is how many standard deviations of its place the end may lie from where the record has it.
const beforeEndReach = 2.5

// circuitBeforeEnd fits the line of the record with a circuit at a joint just in front of its mirror, and returns that and what
// it leaves.
func (s *soakSearch) circuitBeforeEnd() (best *linemodel.Point, cost float64) {
	fit, length := s.fit, s.path.LengthM()
	cell, sigma := fit.Cell(length), placeSigma(length)
	var rows [][]start
	for _, joint := range s.joints[1 : len(s.joints)-1] {
		if way := length - joint; way > nearLoadCells*cell || way < nearLoadLeast*cell {
			continue
		}
		s.asRecorded()
		for _, q := range slices.Clone(fit.Points) {
			if q.Prior[linemodel.ByPlace].Mean == joint {
				fit.Remove(q)
			}
		}
		bare, ends := fit.Save(), s.end()
		if len(ends) == 0 {
			continue
		}
		trial := fit.NewPoint(joint, linemodel.Step)
		for _, c := range circuits() {
			if !c.needsJoint {
				continue
			}
			var row []start // of the best size at every place
			for off := -beforeEndReach * sigma; off < beforeEndReach*sigma; off += s.eighth(length) {
				var best start
				least := math.Inf(1)
				for _, size := range c.startsOfSize() {
					one := func(p *linemodel.Point) {
						fit.Return(bare)
						end := ends[0]
						end.X = length + off
						fit.Move(end)
						p.X, p.Prior = joint+off, [len(p.Prior)]linemodel.Prior{linemodel.ByPlace: {Mean: joint, Sigma: placeSigma(joint)}}
						p.Flat, p.Rising, p.Falling = size[0], size[1], size[2]
						c.shape(p, fit.MiddleHz)
						fit.Links = append(fit.Links, linemodel.Link{A: p, B: end, LengthM: length - joint, SigmaM: placeSigma(length - joint)})
					}
					if start(one).begin(fit, trial); fit.Cost < least {
						best, least = one, fit.Cost
					}
					if fit.Over() {
						return nil, 0
					}
				}
				if best != nil {
					row = append(row, best)
				}
			}
			rows = append(rows, row)
		}
	}
	return s.leastOf(rows, func(p *linemodel.Point) bool { return fit.RMS(p) > locate.JointMost(fit) })
}

// startsOfSize lists what c is begun with where no reflection of its own tells its size: flat, rising and falling.
func (c *circuit) startsOfSize() (sizes [][3]float64) {
	for _, v := range c.sizes {
		for _, scale := range startSizes() {
			sizes = append(sizes, [3]float64{v[0] * scale, v[1] * scale, v[2] * scale})
		}
	}
	return sizes
}

// alone takes from what was found beside a circuit that is known what lies in the same place: locating may have shared it out.
func (b *bench) alone(found *locate.Result) {
	fit := b.fit
	for _, p := range found.Known {
		if p.Form == linemodel.Foreign || p.Form == linemodel.Wet {
			continue
		}
		beside := func(r locate.Reflection) bool {
			return r.Kind != locate.AtFarEnd && r.Total == locate.NotTotal && math.Abs(r.DistanceM-p.X) < fit.Cell(p.X)/2
		}
		for _, r := range found.Reflections {
			if !beside(r) {
				continue
			}
			for _, q := range r.Points {
				fit.Remove(q)
			}
		}
		found.Reflections = slices.DeleteFunc(found.Reflections, beside)
		fit.Evaluate()
		fit.Refine(around(fit, p), false, false, 8)
		fit.Refine(fit.Points, true, true, 8)
	}
}
