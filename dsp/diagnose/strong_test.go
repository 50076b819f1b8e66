package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/locate"
	"downlead/dsp/simulate"
)

// The far edge of 75-ohm cable that the sweep does not tell from the antenna's
// connector may be a fifth of what is reflected there; that of a dent or of a
// stretch that ends before does not count.
func TestEdgeAtAntenna(t *testing.T) {
	path, err := clearLine(cables.Antenna).Line.Path()
	if err != nil {
		t.Fatal(err)
	}
	hz := []float64{100e6, 400e6, 700e6, 1000e6}
	for _, c := range []struct {
		x, extent, want float64
	}{{17, 2.05, 0.2}, {12, 3, 0}, {18.95, 0.1, 0}} {
		b := &bench{fit: linemodel.NewFit(path, hz, make([]complex128, len(hz))), path: path, load: cables.Antenna}
		b.fit.Load = linemodel.NewLoad(&b.fit.Medium, path.LengthM(), 0, 1e-9, 1, b.fit.Weight)
		p := b.fit.NewPoint(c.x, linemodel.Foreign)
		p.Extent, p.Ratio = c.extent, 1.5
		b.fit.Insert(p)
		if got := b.edgeAtAntenna(); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%.2f m from %.2f m: %.3f, want %.3f", c.extent, c.x, got, c.want)
		}
	}
}

// Loss many times that of a little wet cable is a lossy section beside it.
func TestLossBesideWetCable(t *testing.T) {
	s := clearLine(cables.Open,
		simulate.Fault{Cause: string(WaterInCable), DistanceM: 5, ExtentM: 1.1, ImpedanceDrop: 0.1, LossTangent: 0.004, TaperM: 0.15},
		simulate.Fault{Cause: string(LossySection), At: "top jumper", LossFactor: 6})
	s.Sweep = simulate.Grid{Segments: []simulate.Segment{{LowHz: 5e6, HighHz: 1000e6, Points: 401}}}
	found, _ := diagnosed(t, s)
	wet, lossy := 0, 0
	for _, f := range faultsOf(found) {
		t.Logf("told %s at %.2f m (%.2f)", f.Cause, f.DistanceM, f.Confidence)
		switch f.Cause {
		case WaterInCable:
			wet++
		case LossySection:
			lossy++
		}
	}
	if wet != 1 || lossy != 1 || len(faultsOf(found)) != 2 {
		t.Error("want wet cable and a lossy section")
	}
}

// Where the points that stand for a shorted end begin two metres in front of it,
// the recorded loss of these two metres is no excess.
func TestNoExcessInFrontOfTheEnd(t *testing.T) {
	line := clearLine(cables.Short).Line
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	var hz []float64
	for k := range 201 {
		hz = append(hz, 400e6+float64(k)*4e6)
	}
	fit := linemodel.NewFit(path, hz, make([]complex128, len(hz)))
	first := fit.NewPoint(17, linemodel.Series)
	end := fit.NewPoint(19, linemodel.Step)
	end.Flat = -1
	for _, p := range []*linemodel.Point{first, end} {
		fit.Sample(p)
		fit.Insert(p)
	}
	fit.Evaluate()
	lost, ok := excessLoss(fit, []locate.Reflection{{Kind: locate.AtFarEnd, Points: []*linemodel.Point{end, first}}}, line)
	way := 2 * 2 * lossDB(t, "braid", fit.MiddleHz)
	if !ok || math.Abs(lost.middleDB)+math.Abs(lost.baseDB) > 0.02*way {
		t.Errorf("excess of %.2f dB + %.2f dB (%v), want none; the way between loses %.2f dB", lost.middleDB, lost.baseDB, ok, way)
	}
}
