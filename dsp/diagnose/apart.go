package diagnose

import (
	"slices"
	"sort"

	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
)

// Two faults within a few cells of each other, a dent and the edge of other cable for one, make one cluster, which
// neither explains by itself. Free points explain it, as they do an unevenly wet stretch: so before it is
// called that, something that happens to cable is put in place of each of its two parts.

// apart returns cluster i of all in two, parted where the way between its reflections is longest, if what they are named then
// explains the sweep better than wet, the unevenly wet stretch of the same reflections, in whose unit the cost of the fit
// counts; else nil.
func (b *bench) apart(i int, all []*cluster, consumed map[*locate.Reflection]bool, wet trial, unit float64) []*cluster {
	if !wet.uneven || len(all[i].members) < 2 {
		return nil
	}
	held := b.fit.Save()
	defer b.fit.Restore(held)
	parts := all[i].parted(b.fit)
	with, order := inPlaceOf(all, i, parts, nil)
	score := 0.0
	for _, k := range order {
		if !with[k].excess {
			return nil
		}
		fits := func(t trial) bool { return t.state.Cost < partHopeless*held.Cost } // the other part being free still
		trials := append(b.ends(with[k]), b.dent(with[k].points)...)
		if !slices.ContainsFunc(trials, fits) {
			trials = b.foreignCable(k, with, consumed)
		}
		if !slices.ContainsFunc(trials, fits) {
			return nil
		}
		trials = b.settle(endsForTotals(trials))
		b.fit.Restore(trials[0].state)
		score += trials[0].score + trials[0].state.Cost/b.unit
	}
	if score-b.fit.Cost/unit-faultGain < wet.score {
		return nil
	}
	return parts
}

// partHopeless is how many times the cost of the free points what is fitted to one part leaves before all is fitted with it.
const partHopeless = 30

// inPlaceOf returns all with parts in place of cluster i, and the order to name them in: these first.
func inPlaceOf(all []*cluster, i int, parts []*cluster, order []int) ([]*cluster, []int) {
	with, first := slices.Clone(all), []int{i}
	with[i] = parts[0]
	for _, part := range parts[1:] {
		first = append(first, len(with))
		with = append(with, part)
	}
	return with, append(first, order...)
}

// parted is c in two, the stronger first.
func (c *cluster) parted(fit *linemodel.Fit) []*cluster {
	members := slices.Clone(c.members)
	sort.Slice(members, func(i, j int) bool { return members[i].DistanceM < members[j].DistanceM })
	at, longest := 1, 0.0
	for k := 1; k < len(members); k++ {
		if way := members[k].DistanceM - members[k-1].DistanceM; way > longest {
			at, longest = k, way
		}
	}
	var parts []*cluster
	for _, some := range [][]*locate.Reflection{members[:at], members[at:]} {
		parts = append(parts, newCluster(fit, some))
	}
	if fit.RMS(parts[0].points[0]) < fit.RMS(parts[1].points[0]) {
		slices.Reverse(parts)
	}
	return parts
}
