package bench

import (
	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
	"downlead/ui/traces"
)

// scene is a sweep that is shown as it is, of a lesson or a blind case, for as long as
// nothing on the bench is changed that it depends on; and how it is looked at, which stays.
type scene struct {
	sweep         *sweep.Sweep
	record        *cables.Line
	window        dsp.Window
	views         views
	zoomHz, zoomM [2]float64
	overlays      overlays
	raw, sound    bool // the sweep is not corrected; it is of the line without its faults
	locked        bool // nothing can be turned
	secret        bool // its faults are not in the setup

	earlier, model, expected *sweep.Sweep // beside it; nil: none
}

// views are what the two charts show.
type views struct {
	over  traces.OverFrequency
	along traces.AlongLine
}

// overlays are what a lesson lays over the charts beside further sweeps.
type overlays struct{ ghosts, bounces, limit bool }

// setup is what is on the bench with the scene: its faults and instrument are those of a
// scenario.
func (s *scene) setup(of *simulate.Scenario) Setup {
	out := SetupOf(of)
	f := s.sweep.FrequencyHz
	out.LowHz, out.HighHz, out.Points = f[0], f[len(f)-1], len(f)
	out.Window, out.Record, out.Raw = s.window, s.record, s.raw
	if s.sound {
		out.Faults = nil
	}
	return out
}

// limited says whether the line's limit is shown.
func (s *scene) limited() bool { return s == nil || s.overlays.limit || s.secret }
