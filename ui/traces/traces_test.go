package traces

import (
	"math"
	"math/cmplx"
	"testing"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
)

// mirror is a lossless line of 20 m ended in a reflection of 0.5.
func mirror() (*sweep.Sweep, *cables.Path) {
	line := cables.VelocityLine(0.8, 20)
	path, err := line.Path()
	if err != nil {
		panic(err)
	}
	s := &sweep.Sweep{ReferenceOhm: 50}
	for k := range 801 {
		f := 1e6 + float64(k)*1.25e6
		s.FrequencyHz = append(s.FrequencyHz, f)
		s.Gamma = append(s.Gamma, 0.5*cmplx.Exp(-2*path.Theta(f, 20)))
	}
	return s, path
}

// ρ = 0.5 is a return loss of 6.02 dB and a VSWR of 3; a lossless delay of T there
// and back has that group delay.
func TestFrequencyViews(t *testing.T) {
	s, _ := mirror()
	delay := 2 * 20 / (0.8 * cables.SpeedOfLight)
	for view, want := range map[OverFrequency]float64{ReturnLoss: 6.0206, VSWR: 3, CableLoss: 3.0103, GroupDelay: delay} {
		d := Frequency(s, view)
		if got := d.Parts[0].Series.Y[400]; math.Abs(got-want) > 1e-4*want {
			t.Errorf("%s: %g, want %g", view.Name(), got, want)
		}
		if top, bottom := d.Y.Low, d.Y.High; !((want-top)*(want-bottom) <= 0) {
			t.Errorf("%s: %g is outside the axis from %g to %g", view.Name(), want, top, bottom)
		}
	}
	z := Frequency(s, Impedance)
	if len(z.Parts) != 2 {
		t.Fatalf("impedance has %d lines", len(z.Parts))
	}
	want := 50 * (1 + s.Gamma[3]) / (1 - s.Gamma[3])
	if got := complex(z.Parts[0].Series.Y[3], z.Parts[1].Series.Y[3]); cmplx.Abs(got-want) > 1e-9 {
		t.Errorf("impedance %v, want %v", got, want)
	}
}

func TestProfileShowsTheMirror(t *testing.T) {
	s, path := mirror()
	p, err := NewProfile(s, path, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	best := 0
	for i, m := range p.Magnitude {
		if m > p.Magnitude[best] {
			best = i
		}
	}
	if math.Abs(p.DistanceM[best]-20) > 0.03 || math.Abs(p.Magnitude[best]-0.5) > 0.005 {
		t.Errorf("the mirror of 0.5 at 20 m shows as %.3f at %.2f m", p.Magnitude[best], p.DistanceM[best])
	}
	for view, want := range map[AlongLine]float64{ReturnLossAlong: 6.02, VSWRAlong: 3, MagnitudeAlong: 0.5} {
		if got := p.Draw(view).Parts[0].Series.Y[best]; math.Abs(got-want) > 0.03*want {
			t.Errorf("%s: %g, want %g", view.Name(), got, want)
		}
	}
	few, err := NewProfile(s, path, Settings{Most: 101})
	if err != nil || len(few.DistanceM) != 101 {
		t.Errorf("%d places, want 101 (%v)", len(few.DistanceM), err)
	}
}

// Behind a mirror of +0.5 a step sees 150 ohm; before it the line's 50.
func TestStep(t *testing.T) {
	s, path := mirror()
	for k := range s.FrequencyHz { // on multiples of the step
		s.FrequencyHz[k] = float64(k+1) * 1.25e6
		s.Gamma[k] = 0.5 * cmplx.Exp(-2*path.Theta(s.FrequencyHz[k], 20))
	}
	d, err := Step(s, path, dsp.Window{})
	if err != nil {
		t.Fatal(err)
	}
	if got := d.Parts[0].Series.At(10); math.Abs(got-50) > 1.5 {
		t.Errorf("before the mirror %.1f ohm", got)
	}
	high := &sweep.Sweep{ReferenceOhm: 50, FrequencyHz: []float64{1e9, 1.001e9, 1.002e9}, Gamma: make([]complex128, 3)}
	if _, err := Step(high, path, dsp.Window{}); err == nil {
		t.Error("a band that begins at 1 GHz has a step response")
	}
}

func TestSameScale(t *testing.T) {
	if !SameScale(ReturnLoss, ReturnLossAlong) || !SameScale(VSWR, VSWRAlong) || SameScale(Phase, ReturnLossAlong) || SameScale(ReturnLoss, VSWRAlong) {
		t.Error("only like may share a canvas")
	}
	if _, err := NewProfile(&sweep.Sweep{FrequencyHz: []float64{1e9}}, nil, Settings{}); err == nil {
		t.Error("one point has a profile")
	}
	if a := around(chart.Ohm, nil); a.Low == a.High {
		t.Errorf("an axis of nothing is %+v", a)
	}
}
