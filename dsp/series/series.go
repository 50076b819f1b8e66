package series

import (
	"context"

	"downlead/cables"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// Schema names the JSON form of a Result.
const Schema = "downlead/series/1"

// Settings of Find. The zero value is a good default.
type Settings struct {
	// FalseAlarmRate is the probability, at most, that a series in which nothing
	// moves shows a place anywhere. 0: 1e-3.
	FalseAlarmRate float64
	PlaneSigmaM    float64 // how well the reference plane is known; 0: 5 mm
}

// Result is what a series shows.
type Result struct {
	Schema         string  `json:"schema"`
	Sweeps         int     `json:"sweeps"`
	FalseAlarmRate float64 `json:"false_alarm_rate"`
	// NoiseDB is the noise of one point of one sweep against a total reflection,
	// dB, as the series shows it.
	NoiseDB  float64  `json:"noise_db"`
	Places   []Place  `json:"places"` // nearest first, never null
	Echoes   []Echo   `json:"echoes"` // never null
	Length   Drift    `json:"length"` // electrical length to what reflects most
	Gain     Drift    `json:"gain"`   // of everything together
	Port     Drift    `json:"port"`   // directivity, or the connector at the test port
	Summary  string   `json:"summary"`
	Warnings []string `json:"warnings,omitempty"`
	Map      Map      `json:"-"`
}

// Motion says how something moves.
type Motion string

// The kinds of motion.
const (
	Steady Motion = "steady"
	Jumps  Motion = "jumps"  // from one sweep to the next
	Drifts Motion = "drifts" // slowly, to one side
	Swings Motion = "swings" // slowly, to and fro
)

// Place is where the line moves.
type Place struct {
	DistanceM float64 `json:"distance_m"`
	SigmaM    float64 `json:"sigma_m"`
	Place     string  `json:"place"` // in words
	Motion    Motion  `json:"motion"`
	// RMSDB and PeakDB are the change of the local reflection from its mean over the
	// series, and at most from its resting state, dB against a total reflection.
	RMSDB   float64 `json:"rms_db"`
	PeakDB  float64 `json:"peak_db"`
	FloorDB float64 `json:"floor_db"` // noise of one sweep here, in the same terms
	// Moved are the sweeps, from 1, in which it is away from its resting state
	// (the median) by more than 4 sigma and a tenth of its largest change; Jumped
	// those before which it jumped.
	Moved  []int `json:"moved"`
	Jumped []int `json:"jumped"`
	// Trace is the change of the local reflection from its median, one per sweep,
	// along the direction in the complex plane in which it moves most.
	Trace []float64 `json:"trace"`

	changes []complex128 // of the local reflection, by its own columns
	left    []complex128 // the same, as what the others leave: too small, but with less noise
}

// Echo is a place that moves in step with one in front of it: what passes there
// is changed too.
type Echo struct {
	DistanceM float64 `json:"distance_m"`
	OfM       float64 `json:"of_m"`
	RMSDB     float64 `json:"rms_db"`
}

// Drift is something that all places do together. Trace has one value per sweep,
// from the series' mean, with standard deviation Sigma; Motion is Steady when
// noise explains it.
type Drift struct {
	Unit   string    `json:"unit"`
	Motion Motion    `json:"motion"`
	Range  float64   `json:"range"` // largest less smallest
	Sigma  float64   `json:"sigma"`
	Trace  []float64 `json:"trace"`
}

// Map is the change along the line in each sweep from the median of all, what all
// places do together taken out, and with it most of what one does to those behind
// it: for a picture of distance against sweep.
type Map struct {
	DistanceM []float64
	ChangeDB  [][]float64 // per sweep and place; dB against a total reflection, the loss removed
	FloorDB   []float64   // per place: noise of one sweep
}

// LeastSweeps is how many sweeps make a series.
const LeastSweeps = 4

// Bounds of the search.
const (
	mostPlaces   = 12
	mostRounds   = 40
	guardCells   = 1.25 // about a place, within which there is no other
	portCells    = 1.0  // in front, where changes are the port's
	mostAtPlace  = 3    // times that a place may take more columns
	mostSettling = 4    // rounds of moving places
	// so many sigmas of sizeSigma: then it may be what reflects most that changes
	beyondInstrument = 3.0
	spikesAbove      = 6.0 // times the median of the neighbours on either side
	spikeNeighbours  = 8
	mostSpikes       = 0.05 // of a sweep's points
	awaySigmas       = 4.0
	awayShare        = 0.1
	shareOfJumps     = 0.55 // of the whole range, that one step takes where something jumps
	trendRelated     = 0.85 // correlation with the number of the sweep where something drifts
	stepInStep       = 0.9  // squared correlation of an echo with what it echoes, at least
	chanceInStep     = 1e-3 // and no more likely by chance than this
	leakDB           = 30.0 // so far under a place, what moves in step is no better known than the model
	driftUnlikely    = 1e-4 // probability that noise alone drifts so
	stepLeaves       = 0.03 // of what places do to everything may be left when that is taken out
	leastGainDB      = 0.005
	leastLengthMM    = 0.02
	leastPort        = 3e-4 // an instrument holds gain, length and port no better (common practice, no source)
)

// Find says where the line moves in a series of at least four sweeps, in the
// order they were taken. The sweeps must have the same frequencies and reference.
// It gives up with ctx's error when ctx ends.
func Find(ctx context.Context, sweeps []*sweep.Sweep, record *cables.Line, settings Settings) (*Result, error) {
	if settings.FalseAlarmRate == 0 {
		settings.FalseAlarmRate = 1e-3
	}
	if settings.PlaneSigmaM == 0 {
		settings.PlaneSigmaM = 0.005
	}
	if err := alike(sweeps); err != nil {
		return nil, err
	}
	path, err := record.Path()
	if err != nil {
		return nil, err
	}
	hits := interference(sweeps)
	mean := meanOf(sweeps, hits)
	found, err := locate.Find(ctx, mean, locate.Line{Path: path, Load: record.Load, OpenEnded: record.Load.Kind == cables.Unstated}, locate.Settings{})
	if err != nil {
		return nil, err
	}
	s, err := newSearch(sweeps, mean, hits, found, path, record, settings)
	if err != nil {
		return nil, err
	}
	if err := s.run(ctx); err != nil {
		return nil, err
	}
	return s.result(), nil
}
