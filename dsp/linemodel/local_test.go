package linemodel

import (
	"math"
	"math/cmplx"
	"testing"
)

// TestLocal holds what some points reflect together against the model of a line
// that has nothing else on it, and the fit of that against its own cost: at the
// points' own values nothing is left.
func TestLocal(t *testing.T) {
	crowd := measuredFit(crowded(t))
	members := []*Point{crowd.Points[2], crowd.Points[1], crowd.Points[3]} // not in the order of their places
	alone := New(crowd.Path, crowd.FrequencyHz)
	for _, p := range members {
		q := alone.NewPoint(p.X, p.Form)
		q.CopyFrom(p)
		alone.Sample(q)
		alone.Insert(q)
	}
	alone.Forward()
	for k, r := range crowd.Together(members) {
		if want := alone.Sum[k] / members[0].Phasor[k]; cmplx.Abs(r-want) > 1e-9 {
			t.Fatalf("point %d: %v, want %v", k, r, want)
		}
	}
	for _, most := range []int{1000, 40} {
		local := crowd.Local(members, most)
		if n := len(local.FrequencyHz); n > most || n < min(most/2, len(crowd.FrequencyHz)) {
			t.Errorf("%d frequencies of at most %d", n, most)
		}
		before := local.Cost
		for _, p := range members {
			q := local.NewPoint(p.X, p.Form)
			q.CopyFrom(p)
			local.Sample(q)
			local.Insert(q)
		}
		if local.Evaluate(); before == 0 || local.Cost > 1e-12*before {
			t.Errorf("at most %d frequencies: cost %.3g of %.3g is left", most, local.Cost, before)
		}
	}
}

// TestLocalCostCompares takes a weak point out of a fit: what that costs the
// local fit is what it costs the whole one, however few frequencies are left.
func TestLocalCostCompares(t *testing.T) {
	m := New(testPath(t), testGrid(801, 300e6, 1.2e9))
	for _, x := range []float64{2.6, 9} {
		q := m.NewPoint(x, Series)
		q.Flat = 0.02
		m.Sample(q)
		m.Insert(q)
	}
	p := measuredFit(m)
	p.Evaluate()
	weak := p.Points[1]
	local := p.Local([]*Point{weak}, 100)
	p.Remove(weak)
	p.Evaluate()
	if ratio := local.Cost / p.Cost; math.Abs(ratio-1) > 0.03 { // (1 − 0.01²)² of the way, and 100 of 801 frequencies
		t.Errorf("the local fit costs %.3f of the whole one", ratio)
	}
}
