// Package traces turns sweeps and lines into what the charts draw: the views
// over frequency, the views along the line, and the range that suits each. The
// physics is that of packages sweep and distance; nothing is computed here but
// units and ranges. It draws nothing itself.
package traces

import (
	"fmt"
	"math"
	"runtime"
	"sync"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/distance"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
)

// OverFrequency is a view over frequency.
type OverFrequency int

// The views over frequency.
const (
	ReturnLoss OverFrequency = iota
	VSWR
	Phase
	Smith
	Impedance
	CableLoss
	GroupDelay
)

// Name is what a view is called on screen.
func (v OverFrequency) Name() string {
	return [...]string{"return loss", "VSWR", "phase", "Smith chart", "impedance", "cable loss", "group delay"}[v]
}

// EveryOverFrequency returns all views over frequency in the order of the screen.
func EveryOverFrequency() []OverFrequency {
	return []OverFrequency{ReturnLoss, VSWR, Phase, Smith, Impedance, CableLoss, GroupDelay}
}

// AlongLine is a view along the line.
type AlongLine int

// The views along the line.
const (
	ReturnLossAlong AlongLine = iota
	VSWRAlong
	MagnitudeAlong
	ImpedanceAlong
)

// Name is what a view is called on screen.
func (v AlongLine) Name() string {
	return [...]string{"return loss", "VSWR", "|Γ|", "impedance"}[v]
}

// EveryAlongLine returns all views along the line in the order of the screen.
func EveryAlongLine() []AlongLine {
	return []AlongLine{ReturnLossAlong, VSWRAlong, MagnitudeAlong, ImpedanceAlong}
}

// SameScale says whether both views measure the same, so that they can share a
// canvas.
func SameScale(f OverFrequency, a AlongLine) bool {
	return f == ReturnLoss && a == ReturnLossAlong || f == VSWR && a == VSWRAlong
}

// Part is one line of a view: most views have one, impedance has two.
type Part struct {
	Name   string
	Series *chart.Series
}

// Drawn is a view ready to be drawn.
type Drawn struct {
	Parts []Part
	Y     chart.Axis // the range that suits the view; Low is at the top
}

// The ends of vertical axes.
const (
	floorDB  = 60.0 // return loss beyond which nothing is worth seeing, unless zoomed
	mostVSWR = 10.0
)

func vswrAxis(most float64) chart.Axis {
	top := 2.0
	for _, t := range []float64{3, 5, mostVSWR} {
		if most > top {
			top = t
		}
	}
	return chart.Axis{Quantity: chart.Ratio, Low: top, High: 1}
}

// around is an axis that holds all of the series, with some air.
func around(q chart.Quantity, parts []Part) chart.Axis {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range parts {
		if l, h, ok := p.Series.Range(); ok {
			low, high = math.Min(low, l), math.Max(high, h)
		}
	}
	if !(low <= high) {
		low, high = 0, 1
	}
	air := math.Max((high-low)*0.05, 1e-12+math.Abs(high)*1e-6)
	return chart.Axis{Quantity: q, Low: high + air, High: low - air}
}

// Frequency returns a view of s over frequency. Smith has no lines: see Circle.
func Frequency(s *sweep.Sweep, v OverFrequency) Drawn {
	one := func(name string, y []float64) []Part { return []Part{{name, &chart.Series{X: s.FrequencyHz, Y: y}}} }
	switch v {
	case VSWR:
		y := s.VSWR()
		most := 1.0
		for _, one := range y {
			most = math.Max(most, one)
		}
		return Drawn{one("VSWR", y), vswrAxis(most)}
	case Phase:
		return Drawn{one("phase", s.PhaseDeg()), chart.Axis{Quantity: chart.Degree, Low: 180, High: -180}}
	case Impedance:
		z := s.Impedance()
		r, x := make([]float64, len(z)), make([]float64, len(z))
		limit := 6 * s.ReferenceOhm // an open end runs off to infinity; that is said by leaving the chart
		for k, one := range z {
			r[k], x[k] = real(one), imag(one)
		}
		parts := []Part{{"resistance", &chart.Series{X: s.FrequencyHz, Y: r}}, {"reactance", &chart.Series{X: s.FrequencyHz, Y: x}}}
		y := around(chart.Ohm, parts)
		y.Low, y.High = math.Min(y.Low, limit), math.Max(y.High, -limit)
		return Drawn{parts, y}
	case CableLoss:
		parts := one("loss one way", s.CableLossDB())
		y := around(chart.Decibel, parts)
		return Drawn{parts, chart.Axis{Quantity: chart.Decibel, Low: math.Min(0, y.High), High: math.Min(y.Low, floorDB/2)}}
	case GroupDelay:
		parts := one("delay there and back", s.GroupDelayS())
		return Drawn{parts, around(chart.Second, parts)}
	case Smith:
		return Drawn{}
	}
	return Drawn{one("return loss", s.ReturnLossDB()), chart.Axis{Quantity: chart.Decibel, Low: 0, High: floorDB}}
}

// Profile is the response along a line, in the views that come from it.
type Profile struct {
	DistanceM []float64
	Magnitude []float64
	HeldFromM float64 // from here on the loss is no longer corrected; +Inf: everywhere
	HeldNoise bool    // noise, not the end of the line, is why
}

// Settings say how the view along the line is made. The zero value is a good
// default.
type Settings struct {
	Window dsp.Window
	ToM    float64 // 0: the end of the line and a little behind it
	Loss   distance.Loss
	Most   int // most places; 0: 8001
}

// mostPlaces is what a screen and its zoom can use.
const mostPlaces = 8001

// NewProfile computes the response of s along path.
func NewProfile(s *sweep.Sweep, path *cables.Path, settings Settings) (*Profile, error) {
	plan, err := NewPlan(s.FrequencyHz, path, settings)
	if err != nil {
		return nil, err
	}
	return plan.Profiles(s.Gamma)[0], nil
}

// Plan computes responses along one line from reflections over one grid of frequencies.
// Any number of goroutines may use it.
type Plan struct {
	mu   sync.Mutex
	free []*distance.Transform // those that nobody uses
	like *distance.Transform   // the first, which more are made like
}

// NewPlan plans the responses along path of reflections over frequencyHz.
func NewPlan(frequencyHz []float64, path *cables.Path, settings Settings) (*Plan, error) {
	most := settings.Most
	if most == 0 {
		most = mostPlaces
	}
	if len(frequencyHz) < 2 {
		return nil, fmt.Errorf("a profile needs two points at least; the sweep has %d", len(frequencyHz))
	}
	config := distance.Settings{Window: settings.Window, ToM: settings.ToM, Loss: settings.Loss}
	t, err := distance.New(path, frequencyHz, config)
	if err != nil {
		return nil, err
	}
	if len(t.DistanceM()) > most {
		config.Points = most
		if t, err = distance.New(path, frequencyHz, config); err != nil {
			return nil, err
		}
	}
	return &Plan{free: []*distance.Transform{t}, like: t}, nil
}

// borrow returns a transform for one goroutine, which gives it back with giveBack.
func (p *Plan) borrow() *distance.Transform {
	p.mu.Lock()
	defer p.mu.Unlock()
	last := len(p.free) - 1
	if last < 0 {
		return p.like.Clone()
	}
	t := p.free[last]
	p.free = p.free[:last]
	return t
}

func (p *Plan) giveBack(t *distance.Transform) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.free = append(p.free, t)
}

// Profiles computes the response to each gamma, one value for each frequency, on all cores.
func (p *Plan) Profiles(gamma ...[]complex128) []*Profile {
	all := make([]*Profile, len(gamma))
	workers := min(runtime.GOMAXPROCS(0), len(gamma))
	var done sync.WaitGroup
	for w := range workers {
		done.Go(func() {
			t := p.borrow()
			defer p.giveBack(t)
			for i := w; i < len(gamma); i += workers {
				r := t.Profile(nil, gamma[i])
				all[i] = &Profile{DistanceM: r.DistanceM, Magnitude: make([]float64, len(r.Amplitude)), HeldFromM: r.HeldFromM, HeldNoise: r.HeldByNoise}
				for k, a := range r.Amplitude {
					all[i].Magnitude[k] = math.Hypot(real(a), imag(a))
				}
			}
		})
	}
	done.Wait()
	return all
}

// Draw returns a view of the profile. ImpedanceAlong is not one: see Step.
func (p *Profile) Draw(v AlongLine) Drawn {
	y := make([]float64, len(p.Magnitude))
	switch v {
	case VSWRAlong:
		most := 1.0
		for i, m := range p.Magnitude {
			y[i] = sweep.VSWRFromMagnitude(m)
			most = math.Max(most, y[i])
		}
		return Drawn{[]Part{{"VSWR", &chart.Series{X: p.DistanceM, Y: y}}}, vswrAxis(most)}
	case MagnitudeAlong:
		copy(y, p.Magnitude)
		return Drawn{[]Part{{"|Γ|", &chart.Series{X: p.DistanceM, Y: y}}}, chart.Axis{Quantity: chart.Ratio, Low: 1, High: 0}}
	}
	for i, m := range p.Magnitude {
		y[i] = sweep.ReturnLossFromMagnitude(m)
	}
	return Drawn{[]Part{{"return loss", &chart.Series{X: p.DistanceM, Y: y}}}, chart.Axis{Quantity: chart.Decibel, Low: 0, High: floorDB}}
}

// Step returns the impedance along path, or why the sweep cannot show it.
func Step(s *sweep.Sweep, path *cables.Path, window dsp.Window) (Drawn, error) {
	p, err := distance.Step(path, s.FrequencyHz, s.Gamma, distance.StepSettings{Window: window})
	if err != nil {
		return Drawn{}, err
	}
	y := make([]float64, len(p.ImpedanceOhm))
	for i, z := range p.ImpedanceOhm {
		y[i] = math.Min(z, 6*s.ReferenceOhm)
	}
	parts := []Part{{"impedance", &chart.Series{X: p.DistanceM, Y: y}}}
	axis := around(chart.Ohm, parts)
	axis.Low, axis.High = math.Max(axis.Low, 1.5*s.ReferenceOhm), math.Min(axis.High, 0.5*s.ReferenceOhm)
	return Drawn{parts, axis}, nil
}
