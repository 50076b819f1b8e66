package diagnose

import (
	"context"
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/simulate"
)

// seen looks at a simulated line in a band, MHz.
func seen(t *testing.T, scenario *simulate.Scenario, low, high float64) *view {
	t.Helper()
	scenario.Sweep.Segments[0] = simulate.Segment{LowHz: low * 1e6, HighHz: high * 1e6, Points: 601}
	return looked(t, scenario)
}

// looked looks at a simulated line.
func looked(t *testing.T, scenario *simulate.Scenario) *view {
	t.Helper()
	made, err := simulate.Run(context.Background(), scenario)
	if err != nil {
		t.Fatal(err)
	}
	path, err := made.Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	v, err := look(context.Background(), made.Sweep, made.Line, path, Settings{}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// What wet cable does to all that is behind it tells its section, its loss and its delay, in bands without a low end
// too; and its edges are found then.
func TestPassagesTellTheSection(t *testing.T) {
	for _, c := range []struct {
		name      string
		load      cables.LoadKind
		low, high float64
		fault     simulate.Fault
		span      string
	}{
		{"open end", cables.Open, 700, 1000, simulate.Fault{DistanceM: 9, ExtentM: 2.5, ImpedanceDrop: 0.1, LossTangent: 0.02, TaperM: 0.3}, "feeder"},
		{"short, in the top jumper", cables.Short, 1710, 2170, simulate.Fault{DistanceM: 17.5, ExtentM: 1, ImpedanceDrop: 0.15, LossTangent: 0.02, TaperM: 0.2}, "top jumper"},
		{"wide band, much loss", cables.Open, 700, 2700, simulate.Fault{DistanceM: 5, ExtentM: 2, ImpedanceDrop: 0.1, LossTangent: 0.03, TaperM: 0.3}, "feeder"},
		{"termination", cables.Termination, 700, 2700, simulate.Fault{DistanceM: 8, ExtentM: 2, ImpedanceDrop: 0.2, LossTangent: 0.01, TaperM: 0.4}, "feeder"},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.fault.Cause = string(WaterInCable)
			s := seen(t, clearLine(c.load, c.fault), c.low, c.high).lineOfRecord()
			ways := s.passages(s.base[0])
			if len(ways) == 0 {
				t.Fatal("no passage")
			}
			if at := s.path.Spans[ways[0].span].Name; at != c.span {
				t.Fatalf("in the %s, is in the %s", at, c.span)
			}
			s.fit.Restore(ways[0].state)
			p := s.passage()
			length := c.fault.ExtentM - c.fault.TaperM
			late := length * c.fault.ImpedanceDrop / (1 - c.fault.ImpedanceDrop)
			lost := c.fault.LossTangent * s.npPerTangent(c.fault.DistanceM, length) / (1 - c.fault.ImpedanceDrop)
			if math.Abs(p.ExcessM()-late) > 2*placeSigma(c.fault.DistanceM) {
				t.Errorf("%.3f m late, is %.3f m", p.ExcessM(), late)
			}
			// How much is lost in front of a weak load does not show well.
			if within := map[bool]float64{true: 0.1, false: 0.5}[s.mirror() != 0]; math.Abs(s.lost(p)-lost) > within*lost {
				t.Errorf("%.3f Np lost, are %.3f Np", s.lost(p), lost)
			}
			var nearest float64 = math.Inf(1)
			for _, trial := range s.search(s.base) {
				nearest = math.Min(nearest, math.Abs(trial.point.X-c.fault.DistanceM))
			}
			if nearest > c.fault.TaperM {
				t.Errorf("the nearest wet cable begins %.2f m off", nearest)
			}
		})
	}
}

// No section is taken for wet where nothing holds the wave up and no more is lost than a sound line may lose.
func TestNoPassageOnASoundLine(t *testing.T) {
	for _, load := range []cables.LoadKind{cables.Open, cables.Short, cables.Termination, cables.Antenna} {
		for _, band := range [][2]float64{{700, 1000}, {700, 2700}, {25, 1200}} {
			s := seen(t, clearLine(load), band[0], band[1]).lineOfRecord()
			if ways := s.passages(s.base[0]); len(ways) > 0 {
				t.Errorf("%v, %v MHz: something holds the wave up in the %s", load, band, s.path.Spans[ways[0].span].Name)
			}
		}
	}
}

// Places that explain the sweep as well share the confidence, by their odds; near ones are one place, and unlikely ones none.
func TestElsewhere(t *testing.T) {
	at := func(x, cost float64) soaking { return soaking{point: &linemodel.Point{X: x}, cost: cost} }
	best := at(5, 100)
	other := elsewhere(&best, []soaking{best, at(5.3, 100.1), at(9, 101), at(9.2, 103), at(12, 110)}, 1)
	if len(other) != 1 || other[0].x != 9 || math.Abs(other[0].share-1/(1+math.E)) > 1e-12 {
		t.Errorf("%+v, want 9 m with a share of %.3f", other, 1/(1+math.E))
	}
}
