package bench

import (
	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/sweep"
	"downlead/ui/traces"
)

// scene is a sweep that is shown as it is, of a lesson or a blind case, for as long as
// the bench is not played with.
type scene struct {
	sweep           *sweep.Sweep
	record          *cables.Line
	window          dsp.Window
	over            traces.OverFrequency
	along           traces.AlongLine
	zoomHz, zoomM   [2]float64
	ghosts, bounces bool
	earlier, model  *sweep.Sweep // beside it; nil: none
}

// views are those of a scene that the charts of the bench have: what of a sweep is a
// circle is shown as return loss.
func (s *scene) views() (traces.OverFrequency, traces.AlongLine) {
	if s == nil {
		return traces.ReturnLoss, traces.ReturnLossAlong
	}
	if s.over == traces.Smith {
		return traces.ReturnLoss, s.along
	}
	return s.over, s.along
}

// begin makes the picture of a scene.
func (s *scene) begin() (*picture, error) {
	p := &picture{sweep: s.sweep, record: s.record}
	var err error
	if p.path, err = s.record.Path(); err != nil {
		return nil, err
	}
	return p, nil
}
