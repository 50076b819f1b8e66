package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

// At either end of an arrestor shorter than the sweep resolves, both of its joints
// are candidates, the nearer first; it reflects as a sound one whatever stands at
// its joint, once; and it has no cable to dent.
func TestFaultBesideADevice(t *testing.T) {
	line := clearLine(cables.Termination).Line
	line.Devices = []cables.Device{{After: "bottom jumper", Kind: "surge-arrestor", LengthM: 0.1, ReturnLossDB: 26}}
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	var hz []float64
	for k := range 101 {
		hz = append(hz, 1710e6+float64(k)*4.6e6)
	}
	b := &bench{fit: linemodel.NewFit(path, hz, make([]complex128, len(hz))), path: path, load: cables.Termination, joints: path.JointsM()}
	for _, c := range []struct {
		x    float64
		want []float64
	}{{3.02, []float64{3, 3.1}}, {3.09, []float64{3.1, 3}}, {12, nil}} {
		p := b.fit.NewPoint(c.x, linemodel.Series)
		got := b.jointsWithin([]*linemodel.Point{p})
		same := len(got) == len(c.want)
		for i := range c.want {
			same = same && math.Abs(got[i]-c.want[i]) < 1e-9
		}
		if !same {
			t.Errorf("at %.2f m: joints at %v m, want %v", c.x, got, c.want)
		}
	}
	for range 2 {
		b.soundDevices(3.1)
	}
	b.soundDevices(12)
	if n := len(b.fit.Points); n != 1 || math.Abs(b.fit.Points[0].X-3.05) > 1e-9 || b.fit.Points[0].Prior[linemodel.ByRising].Sigma != 2*math.Pow(10, -26.0/20) {
		t.Errorf("%d devices in the model, want one at 3.05 m of 26 dB", n)
	}
	if !b.inDevice(3.05) || b.inDevice(2.9) || b.inDevice(3.2) {
		t.Error("the device is not where the record has it")
	}
}

// An arrestor stands on the line of the record beside its joints, on that on which wet cable is sought as on that whose faults are
// named, also where the sweep sees them as one: a joint alone reflects less than it may.
func TestLineOfRecordHasTheDevice(t *testing.T) {
	s := clearLine(cables.Open)
	s.Line.Devices = []cables.Device{{After: "bottom jumper", Kind: "surge-arrestor", LengthM: 0.1, ReturnLossDB: 25}}
	v := seen(t, s, 380, 470)
	search := v.lineOfRecord()
	search.asRecorded()
	v.bench.toRecord(nil, v.found)
	for name, fit := range map[string]*linemodel.Fit{"wet cable is sought": search.fit, "faults are named": v.bench.fit} {
		devices := 0
		for _, p := range fit.Points {
			if math.Abs(p.X-3.05) < 0.02 && p.Prior[linemodel.ByRising].Sigma > 0.1 {
				devices++
			}
		}
		if devices != 1 {
			t.Errorf("on the line on which %s there are %d devices at 3.05 m, want 1", name, devices)
		}
	}
}
