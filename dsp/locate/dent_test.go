package locate

import (
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

// What falls over the band from all to a third 3 m from the port would be the end of
// a line that loses 9 dB more than its record on that way: no cable does, and a fit
// must not make it so. 60 m out, where the record has 10 dB, 3 dB more may be.
func TestLossBeyondRecordIsBounded(t *testing.T) {
	for _, c := range []struct {
		x, lostNp float64
		may       bool
	}{{3, 1.09, false}, {60, 0.35, true}} {
		line := plain(t, 0.85, 62)
		line.Load = cables.Load{Kind: cables.Termination}
		hz := grid(801, 5e6, 1000e6)
		m := linemodel.New(line.Path, hz)
		p := m.NewPoint(c.x, linemodel.Step)
		p.Flat, p.Rising = -0.998, c.lostNp
		m.Sample(p)
		m.Insert(p)
		m.Forward()
		f, err := newFinder(sweepOf(hz, m.Sum), line, Settings{})
		if err != nil {
			t.Fatal(err)
		}
		f.Noise = 1e-9
		q := f.NewPoint(c.x, linemodel.Step)
		q.Flat, q.Fits = -0.9, linemodel.Fitting(linemodel.ByFlat, linemodel.ByRising)
		f.boundLoss(q)
		f.Sample(q)
		f.Insert(q)
		f.Evaluate()
		f.Refine([]*linemodel.Point{q}, false, false, 20)
		if got := q.Rising > 0.95*c.lostNp; got != c.may {
			t.Errorf("at %.0f m: fitted %.2f Np beyond the record, is %.2f, allowed %v", c.x, q.Rising, c.lostNp, c.may)
		}
	}
}
