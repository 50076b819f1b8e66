// A little over 500 lines: the settings and the checks on them are read side by
// side.

package simulate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"downlead/cables"
)

// Scenario is a line with everything that is wrong about it and about the
// instrument that measures it.
type Scenario struct {
	Name     string
	Seed     uint64
	Baseline bool // also sweep the line without its faults, on another day
	Line     *cables.Line
	Sweep    Grid
	Faults   []Fault
	AsBuilt  AsBuilt
	Antenna  AntennaModel
	Errors   Instrument
}

// Grid is the frequencies of a sweep: one segment or several.
type Grid struct {
	Segments []Segment
}

// Segment is a run of frequencies, both ends included.
type Segment struct {
	LowHz       float64 `toml:"low_hz"`
	HighHz      float64 `toml:"high_hz"`
	Points      int     `toml:"points"`
	Logarithmic bool    `toml:"log"`
}

// mostPoints bounds what a scenario may ask for.
const mostPoints = 200_001

// FrequencyHz returns the frequencies in ascending order; the first point of a
// segment that begins where the one before ends is left out.
func (g Grid) FrequencyHz() []float64 {
	var out []float64
	for _, s := range g.Segments {
		for k := range s.Points {
			share := float64(k) / float64(max(s.Points-1, 1))
			f := s.LowHz + share*(s.HighHz-s.LowHz)
			if s.Logarithmic {
				f = s.LowHz * math.Pow(s.HighHz/s.LowHz, share)
			}
			if k == s.Points-1 {
				f = s.HighHz
			}
			if len(out) == 0 || f > out[len(out)-1] {
				out = append(out, f)
			}
		}
	}
	return out
}

// Fault is one thing wrong. Where it is: At a joint ("bottom jumper / feeder",
// "test port", "load") or along a whole section ("feeder"), or at DistanceM
// along the line as recorded; the sweep has it at the same place of the cable as
// built. A severity of zero means the typical one of its cause; those that do
// not belong to the cause must be zero.
type Fault struct {
	Cause     string  `toml:"cause"`
	At        string  `toml:"at,omitempty"`
	DistanceM float64 `toml:"distance_m,omitempty"`
	ExtentM   float64 `toml:"extent_m,omitempty"` // stretches; 0: to the end of the section, dents 0.08 m

	SeriesOhm    float64 `toml:"series_ohm,omitempty"`
	SeriesHenry  float64 `toml:"series_henry,omitempty"`
	GapFarad     float64 `toml:"gap_farad,omitempty"`
	ShuntFarad   float64 `toml:"shunt_farad,omitempty"`
	ShuntSiemens float64 `toml:"shunt_siemens,omitempty"`
	LossTangent  float64 `toml:"loss_tangent,omitempty"`

	ImpedanceDrop float64 `toml:"impedance_drop,omitempty"` // water-in-cable: relative fall of Z0 and velocity at 1 GHz
	TaperM        float64 `toml:"taper_m,omitempty"`        // water-in-cable: length of each tapered edge, at most half the extent
	Unevenness    float64 `toml:"unevenness,omitempty"`     // water-in-cable: relative, one standard deviation inside
	ImpedanceOhm  float64 `toml:"impedance_ohm,omitempty"`
	Cable         string  `toml:"cable,omitempty"`       // wrong-impedance: a cable of the line in place of the 75-ohm one
	LossFactor    float64 `toml:"loss_factor,omitempty"` // lossy-section: how many times the loss
	Mode          string  `toml:"mode,omitempty"`        // antenna: detuned, arm-lost, poor-match
	ReturnLossDB  float64 `toml:"return_loss_db,omitempty"`
}

// AsBuilt says how far the line was built away from its record. The zero value
// is a line that is exactly as recorded, with perfect joints.
type AsBuilt struct {
	JointReturnLossDB [2]float64 `toml:"joint_return_loss_db"` // range at 1 GHz that each joint is drawn from; zero: perfect joints
	ImpedanceOhm      float64    `toml:"impedance_ohm"`        // one standard deviation per section, as are the next three
	Velocity          float64    `toml:"velocity"`             // relative
	Length            float64    `toml:"length"`               // relative
	Loss              float64    `toml:"loss"`                 // relative
	Roughness         float64    `toml:"roughness"`            // rms of Z0 along a section, relative
}

// AntennaModel says what kind of antenna ends the line. The zero value is a
// band-pass one when the line's record has a band that lies inside the sweep,
// else a wide-band one.
type AntennaModel struct {
	Model     string  `toml:"model"`      // band-pass, wide-band
	SwallowDB float64 `toml:"swallow_db"` // lost there and back in its feed at mid-band
	Q         float64 `toml:"q"`          // of the band-pass resonators; 0: 200
}

// Instrument is the errors of the measurement. The zero value is a perfect
// instrument.
type Instrument struct {
	DirectivityDB float64 `toml:"directivity_db"`  // residual, rms; 0: none
	SourceMatchDB float64 `toml:"source_match_db"` // residual, rms; 0: none
	TrackingDB    float64 `toml:"tracking_db"`     // residual, rms
	NoiseDB       float64 `toml:"noise_db"`        // additive, rms per point over full scale, negative; 0: none
	TraceNoise    float64 `toml:"trace_noise"`     // multiplicative, rms per point, relative
	SpikeShare    float64 `toml:"spike_share"`     // share of the points hit by interference
	SpikeDB       float64 `toml:"spike_db"`        // rms of those hits over full scale
	Raw           bool    `toml:"raw"`             // also the uncorrected sweep and the standards
}

// The vocabulary of causes, the words of the findings.
const (
	openCircuit       = "open-circuit"
	shortCircuit      = "short-circuit"
	poorContact       = "poor-contact"
	connectorMismatch = "connector-mismatch"
	waterInConnector  = "water-in-connector"
	waterInCable      = "water-in-cable"
	dentOrKink        = "dent-or-kink"
	wrongImpedance    = "wrong-impedance"
	lossySection      = "lossy-section"
	antennaFault      = "antenna"
)

// causes lists each cause with the settings it understands.
func causes() map[string][]string {
	return map[string][]string{
		openCircuit:       {"shunt_farad", "shunt_siemens", "gap_farad"},
		shortCircuit:      {"series_ohm", "series_henry"},
		poorContact:       {"series_ohm", "gap_farad"},
		connectorMismatch: {"series_henry", "shunt_farad"},
		waterInConnector:  {"series_ohm", "shunt_siemens", "shunt_farad", "loss_tangent"},
		waterInCable:      {"extent_m", "impedance_drop", "loss_tangent", "taper_m", "unevenness"},
		dentOrKink:        {"extent_m", "impedance_ohm"},
		wrongImpedance:    {"extent_m", "impedance_ohm", "cable"},
		lossySection:      {"extent_m", "loss_factor"},
		antennaFault:      {"mode", "return_loss_db"},
	}
}

// Causes returns the words that Fault.Cause may hold, in alphabetical order.
func Causes() []string {
	var words []string
	for word := range causes() {
		words = append(words, word)
	}
	slices.Sort(words)
	return words
}

// stretch says whether the fault has a length of its own.
func (f *Fault) stretch() bool {
	switch f.Cause {
	case waterInCable, dentOrKink, wrongImpedance, lossySection:
		return true
	}
	return false
}

// numbers lists the settings of the fault by their name in the file.
func (f *Fault) numbers() map[string]*float64 {
	return map[string]*float64{
		"extent_m": &f.ExtentM, "series_ohm": &f.SeriesOhm, "series_henry": &f.SeriesHenry, "gap_farad": &f.GapFarad,
		"shunt_farad": &f.ShuntFarad, "shunt_siemens": &f.ShuntSiemens, "loss_tangent": &f.LossTangent,
		"impedance_drop": &f.ImpedanceDrop, "taper_m": &f.TaperM, "unevenness": &f.Unevenness,
		"impedance_ohm": &f.ImpedanceOhm, "loss_factor": &f.LossFactor, "return_loss_db": &f.ReturnLossDB,
	}
}

// placeError is a complaint about one setting; the reader adds file and line.
type placeError struct {
	table string // "sweep", "fault", ...
	index int    // of the table in an array of tables
	key   string // "" for the table as a whole
	err   error
}

func (e *placeError) Error() string {
	name := e.table
	if e.table == "fault" || e.table == "sweep.segment" {
		name = fmt.Sprintf("%s %d", e.table, e.index+1)
	}
	if e.key != "" {
		name += ", " + e.key
	}
	return name + ": " + e.err.Error()
}

func (e *placeError) Unwrap() error { return e.err }

func complain(table string, index int, key, format string, args ...any) error {
	return &placeError{table, index, key, fmt.Errorf(format, args...)}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Check returns the first thing that makes the scenario impossible, nil when
// there is none.
func (s *Scenario) Check() error {
	if s.Line == nil {
		return complain("line", 0, "", "missing; give the tables [line] and [[line.section]], or line = \"site.toml\"")
	}
	path, err := s.Line.Path()
	if err != nil {
		return &placeError{"line", 0, "", err}
	}
	if total := path.LengthM(); !(total <= 2000) {
		return complain("line", 0, "", "%g m long; the simulator goes up to 2000 m", total)
	}
	if path.ReferenceOhm <= 0 || !finite(path.ReferenceOhm) {
		return complain("line", 0, "reference_impedance_ohm", "%g ohm is not positive; 50 is usual", path.ReferenceOhm)
	}
	if err := s.Sweep.check(); err != nil {
		return err
	}
	if err := s.AsBuilt.check(); err != nil {
		return err
	}
	if err := s.Errors.check(); err != nil {
		return err
	}
	switch s.Antenna.Model {
	case "", "band-pass", "wide-band":
	default:
		return complain("antenna", 0, "model", "%q is unknown; use band-pass or wide-band", s.Antenna.Model)
	}
	if !(s.Antenna.SwallowDB >= 0 && s.Antenna.SwallowDB <= 20) {
		return complain("antenna", 0, "swallow_db", "%g dB is outside 0 to 20", s.Antenna.SwallowDB)
	}
	if s.Antenna.Q != 0 && !(s.Antenna.Q >= 5 && s.Antenna.Q <= 1e6) {
		return complain("antenna", 0, "q", "%g is outside 5 to 1e6", s.Antenna.Q)
	}
	if band := s.Line.Load.BandHz; s.Line.Load.Kind == cables.Antenna && band != [2]float64{} && !(band[0] > 0 && band[1] > band[0] && finite(band[1])) {
		return complain("line.load", 0, "band_hz", "[%g, %g] is not an ascending band", band[0], band[1])
	}
	if rl := s.Line.Load.ReturnLossDB; rl != 0 && !(rl >= 3 && rl <= 60) {
		return complain("line.load", 0, "return_loss_db", "%g dB is outside 3 to 60", rl)
	}
	if top := s.topHz(); path.LengthM()*top/3e8 > 40_000 {
		return complain("sweep", 0, "high_hz", "%g Hz on a line of %g m takes too many slices; lower one of them", top, path.LengthM())
	}
	return s.checkFaults(path)
}

func (s *Scenario) topHz() float64 {
	return s.Sweep.Segments[len(s.Sweep.Segments)-1].HighHz
}

func (g Grid) check() error {
	if len(g.Segments) == 0 {
		return complain("sweep", 0, "", "missing; give low_hz, high_hz and points")
	}
	table, total := "sweep", 0
	if len(g.Segments) > 1 {
		table = "sweep.segment"
	}
	for i, s := range g.Segments {
		switch {
		case !(s.LowHz > 0) || !finite(s.LowHz):
			return complain(table, i, "low_hz", "%g Hz is not positive", s.LowHz)
		case !(s.HighHz > s.LowHz) || s.HighHz > 1e11:
			return complain(table, i, "high_hz", "%g Hz must be above low_hz (%g Hz) and at most 100 GHz", s.HighHz, s.LowHz)
		case s.Points < 2 || s.Points > mostPoints:
			return complain(table, i, "points", "%d is outside 2 to %d", s.Points, mostPoints)
		case i > 0 && s.LowHz < g.Segments[i-1].HighHz:
			return complain(table, i, "low_hz", "%g Hz lies below the end of the segment before (%g Hz); put segments in ascending order", s.LowHz, g.Segments[i-1].HighHz)
		}
		total += s.Points
	}
	if total > mostPoints {
		return complain(table, 0, "points", "%d in all; the most is %d", total, mostPoints)
	}
	return nil
}

func (a AsBuilt) check() error {
	if a.JointReturnLossDB != [2]float64{} && !(a.JointReturnLossDB[0] >= 6 && a.JointReturnLossDB[1] >= a.JointReturnLossDB[0] && a.JointReturnLossDB[1] <= 100) {
		return complain("as_built", 0, "joint_return_loss_db", "%v is not an ascending pair between 6 and 100 dB", a.JointReturnLossDB)
	}
	for _, v := range []struct {
		key         string
		value, most float64
	}{{"impedance_ohm", a.ImpedanceOhm, 5}, {"velocity", a.Velocity, 0.05}, {"length", a.Length, 0.1}, {"loss", a.Loss, 0.3}, {"roughness", a.Roughness, 0.02}} {
		if !(v.value >= 0 && v.value <= v.most) {
			return complain("as_built", 0, v.key, "%g is outside 0 to %g", v.value, v.most)
		}
	}
	return nil
}

func (i Instrument) check() error {
	for _, v := range []struct {
		key              string
		value, low, most float64
	}{{"directivity_db", i.DirectivityDB, 10, 100}, {"source_match_db", i.SourceMatchDB, 10, 100}, {"tracking_db", i.TrackingDB, 0, 3},
		{"noise_db", i.NoiseDB, -200, -20}, {"trace_noise", i.TraceNoise, 0, 0.1}, {"spike_share", i.SpikeShare, 0, 0.5}, {"spike_db", i.SpikeDB, -100, 20}} {
		if v.value != 0 && !(v.value >= v.low && v.value <= v.most) {
			return complain("instrument", 0, v.key, "%g is outside %g to %g", v.value, v.low, v.most)
		}
	}
	return nil
}

// checkFaults places every fault on the recorded path.
func (s *Scenario) checkFaults(path *cables.Path) error {
	known := causes()
	if len(s.Faults) > 50 {
		return complain("fault", 50, "", "the most is 50 faults")
	}
	type taken struct{ from, to float64 }
	var stretches []taken
	antennas := 0
	for i := range s.Faults {
		f := &s.Faults[i]
		allowed, ok := known[f.Cause]
		if !ok {
			return complain("fault", i, "cause", "%q is unknown; use one of %s", f.Cause, strings.Join(Causes(), ", "))
		}
		for key, value := range f.numbers() {
			if !(*value >= 0) || !finite(*value) {
				return complain("fault", i, key, "%g is not a finite number of at least 0", *value)
			}
			if *value != 0 && !slices.Contains(allowed, key) {
				return complain("fault", i, key, "does not belong to %s, which takes %s", f.Cause, strings.Join(allowed, ", "))
			}
		}
		if f.Cable != "" && f.Cause != wrongImpedance {
			return complain("fault", i, "cable", "belongs to %s only", wrongImpedance)
		}
		if f.Mode != "" && f.Cause != antennaFault {
			return complain("fault", i, "mode", "belongs to %s only", antennaFault)
		}
		if err := s.checkSeverity(i, f); err != nil {
			return err
		}
		if f.Cause == antennaFault && s.Line.Load.Kind != cables.Antenna {
			return complain("fault", i, "cause", "the line ends in a %s, not an antenna", s.Line.Load.Kind)
		}
		from, to, err := f.span(path)
		if err != nil {
			return &placeError{"fault", i, "", err}
		}
		if f.Cause == antennaFault {
			antennas++
			if antennas > 1 {
				return complain("fault", i, "cause", "a line has one antenna; join the two faults")
			}
			continue
		}
		if f.stretch() {
			for _, t := range stretches {
				if from < t.to-1e-9 && to > t.from+1e-9 {
					return complain("fault", i, "", "overlaps another stretch (%.3f to %.3f m); move it or join the two", t.from, t.to)
				}
			}
			stretches = append(stretches, taken{from, to})
		}
	}
	for i := range s.Faults {
		if f := &s.Faults[i]; !f.stretch() {
			at, _, _ := f.span(path)
			for _, t := range stretches {
				if at > t.from+1e-9 && at < t.to-1e-9 {
					return complain("fault", i, "", "lies inside a stretch that is at fault itself (%.3f to %.3f m); move it to an edge", t.from, t.to)
				}
			}
		}
	}
	return nil
}

func (s *Scenario) checkSeverity(i int, f *Fault) error {
	over := func(key string, value, most float64) error {
		if value > most {
			return complain("fault", i, key, "%g is more than %g", value, most)
		}
		return nil
	}
	for _, err := range []error{
		over("impedance_drop", f.ImpedanceDrop, 0.7), over("loss_tangent", f.LossTangent, 1), over("unevenness", f.Unevenness, 1),
		over("loss_factor", f.LossFactor, 100), over("series_henry", f.SeriesHenry, 1e-3), over("shunt_farad", f.ShuntFarad, 1e-6),
		over("series_ohm", f.SeriesOhm, 1e6), over("shunt_siemens", f.ShuntSiemens, 1e3), over("impedance_ohm", f.ImpedanceOhm, 1000),
	} {
		if err != nil {
			return err
		}
	}
	if f.GapFarad != 0 && f.GapFarad < 1e-18 {
		return complain("fault", i, "gap_farad", "%g is less than 1e-18; leave it out for no gap", f.GapFarad)
	}
	switch {
	case f.Cause == connectorMismatch && f.SeriesHenry != 0 && f.ShuntFarad != 0:
		return complain("fault", i, "shunt_farad", "a mismatch is a series inductance or a shunt capacitance, not both")
	case f.Cause == lossySection && f.LossFactor != 0 && f.LossFactor < 1:
		return complain("fault", i, "loss_factor", "%g would make the cable better; use more than 1", f.LossFactor)
	case f.Cause == dentOrKink && f.ImpedanceOhm != 0 && f.ImpedanceOhm < 1, f.Cause == wrongImpedance && f.ImpedanceOhm != 0 && f.ImpedanceOhm < 1:
		return complain("fault", i, "impedance_ohm", "%g is less than 1 ohm", f.ImpedanceOhm)
	case f.Cause == antennaFault && f.ReturnLossDB != 0 && !(f.ReturnLossDB >= 0.5 && f.ReturnLossDB <= 30):
		return complain("fault", i, "return_loss_db", "%g dB is outside 0.5 to 30", f.ReturnLossDB)
	}
	if f.Cause == wrongImpedance && f.Cable != "" {
		if f.ImpedanceOhm != 0 {
			return complain("fault", i, "impedance_ohm", "the cable %q has its own; leave one out", f.Cable)
		}
		if typeOf(s.Line, f.Cable) == nil {
			return complain("fault", i, "cable", "the line defines no cable %q", f.Cable)
		}
	}
	switch f.Mode {
	case "", "detuned", "arm-lost", "poor-match":
	default:
		return complain("fault", i, "mode", "%q is unknown; use detuned, arm-lost or poor-match", f.Mode)
	}
	return nil
}

func typeOf(line *cables.Line, id string) *cables.Type {
	for i := range line.Cables {
		if line.Cables[i].ID == id {
			return &line.Cables[i]
		}
	}
	return nil
}

// jointNames names the joints of path in order: "test port", "a / b", ...,
// "load".
func jointNames(path *cables.Path) []string {
	names := []string{"test port"}
	for i := 1; i < len(path.Spans); i++ {
		names = append(names, path.Spans[i-1].Name+" / "+path.Spans[i].Name)
	}
	return append(names, "load")
}

// span returns where the fault begins and ends along path, m. A lumped fault
// has no extent.
func (f *Fault) span(path *cables.Path) (from, to float64, err error) {
	if f.Cause == antennaFault {
		if f.At != "" && f.At != "load" || f.DistanceM != 0 {
			return 0, 0, fmt.Errorf("an antenna fault is at the load; leave its place out")
		}
		return path.LengthM(), path.LengthM(), nil
	}
	if f.At != "" && f.DistanceM != 0 {
		return 0, 0, fmt.Errorf("both at and distance_m; leave one out")
	}
	if !(f.DistanceM >= 0) || f.DistanceM > path.LengthM()+1e-9 {
		return 0, 0, fmt.Errorf("distance_m %g is not on the line (0 to %.3f m)", f.DistanceM, path.LengthM())
	}
	if !f.stretch() {
		if f.At == "" {
			return f.DistanceM, f.DistanceM, nil
		}
		names := jointNames(path)
		k := slices.Index(names, f.At)
		if k < 0 {
			return 0, 0, fmt.Errorf("no joint is called %q; the joints are %q", f.At, names)
		}
		x := path.JointsM()[k]
		return x, x, nil
	}
	span := path.SpanAt(f.DistanceM)
	from = f.DistanceM
	if f.At != "" {
		span = slices.IndexFunc(path.Spans, func(s cables.Span) bool { return s.Device == nil && s.Name == f.At })
		if span < 0 {
			return 0, 0, fmt.Errorf("no section is called %q; a %s lies in a section, or at distance_m", f.At, f.Cause)
		}
		from = path.Spans[span].StartM
		if f.Cause == dentOrKink {
			from += path.Spans[span].LengthM / 2
		}
	}
	s := path.Spans[span]
	if s.Device != nil {
		return 0, 0, fmt.Errorf("%g m lies in a %s; a %s lies in a section of cable", f.DistanceM, s.Name, f.Cause)
	}
	end := s.StartM + s.LengthM
	to = from + f.ExtentM
	if f.ExtentM == 0 {
		to = end
		if f.Cause == dentOrKink {
			to = math.Min(end, from+0.08)
		}
	}
	if to > end+1e-6 {
		return 0, 0, fmt.Errorf("%.3f to %.3f m reaches beyond the end of section %q (%.3f m); shorten it", from, to, s.Name, end)
	}
	if to = math.Min(to, end); !(to > from+1e-4) {
		return 0, 0, fmt.Errorf("%.3f to %.3f m is no stretch; give it a length", from, to)
	}
	if f.Cause == waterInCable && f.TaperM > (to-from)/2+1e-9 {
		return 0, 0, fmt.Errorf("taper_m %g is more than half the extent (%.3f m)", f.TaperM, to-from)
	}
	return from, to, nil
}
