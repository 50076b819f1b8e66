package lesson

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"downlead/cables"
	"downlead/dsp/calibration"
	"downlead/dsp/diagnose"
	"downlead/dsp/distance"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// quantity is a name that a formula may use.
type quantity struct {
	arguments []string // their names and units
	about     string
	eval      func(ctx context.Context, s *Scene, index int, values []float64) (Value, error)
}

func (q *quantity) usage(name string) string {
	if len(q.arguments) == 0 {
		return name
	}
	return name + "(" + strings.Join(q.arguments, ", ") + ")"
}

// Described is a quantity in words.
type Described struct{ Usage, About string }

// Quantities lists what formulas may use, in alphabetical order. Entries with []
// are counted from 1: finding[1].distance_m.
func Quantities() []Described {
	var out []Described
	for name, q := range quantities() {
		out = append(out, Described{q.usage(name), q.about})
	}
	slices.SortFunc(out, func(a, b Described) int { return strings.Compare(a.Usage, b.Usage) })
	return out
}

// quantities are made anew on each call: the house has no package variables, and
// a lesson has a few dozen formulas.
func quantities() map[string]quantity {
	all := map[string]quantity{}
	add := func(name, about string, eval func(ctx context.Context, s *Scene, index int, values []float64) (Value, error), arguments ...string) {
		all[name] = quantity{arguments, about, eval}
	}
	plain := func(name, about string, f func(v []float64) float64, arguments ...string) {
		add(name, about, func(_ context.Context, _ *Scene, _ int, v []float64) (Value, error) { return number(f(v)), nil }, arguments...)
	}

	// The verdict and the findings of the diagnosis.
	verdict := func(name, about string, f func(v *diagnose.Verdict) Value) {
		add("verdict."+name, about, func(ctx context.Context, s *Scene, _ int, _ []float64) (Value, error) {
			found, err := s.Findings(ctx)
			if err != nil {
				return Value{}, err
			}
			return f(&found.Verdict), nil
		})
	}
	verdict("worst_vswr", "worst VSWR at the test port in the judged band", func(v *diagnose.Verdict) Value { return number(v.WorstVSWR) })
	verdict("worst_return_loss_db", "the same as return loss, dB", func(v *diagnose.Verdict) Value { return number(sweep.ReturnLossFromVSWR(v.WorstVSWR)) })
	verdict("at_hz", "where that is, Hz", func(v *diagnose.Verdict) Value { return number(v.AtHz) })
	verdict("limit_vswr", "the line's limit; 0: none", func(v *diagnose.Verdict) Value { return number(v.LimitVSWR) })
	verdict("passes", "whether the line is within its limit", func(v *diagnose.Verdict) Value { return truth(v.Passes) })
	add("findings.faults", "how many faults are found", func(ctx context.Context, s *Scene, _ int, _ []float64) (Value, error) {
		faults, err := s.faults(ctx)
		return number(float64(len(faults))), err
	})
	finding := func(under, what string, is func(*diagnose.Finding) bool, name, about string, f func(f *diagnose.Finding) (Value, error)) {
		add(under+"[]."+name, about, func(ctx context.Context, s *Scene, index int, _ []float64) (Value, error) {
			list, err := s.those(ctx, is)
			if err != nil {
				return Value{}, err
			}
			if index > len(list) {
				return Value{}, fmt.Errorf("there are %d %s", len(list), what)
			}
			return f(&list[index-1])
		})
	}
	isFault := func(f *diagnose.Finding) bool { return f.IsFault }
	isBuilt := func(f *diagnose.Finding) bool { return !f.IsFault && f.Cause != diagnose.Ghost }
	isGhost := func(f *diagnose.Finding) bool { return f.Cause == diagnose.Ghost }
	for _, u := range []struct {
		under, what string
		is          func(*diagnose.Finding) bool
	}{{"finding", "faults found", isFault}, {"built", "parts as built found", isBuilt}, {"ghost", "echoes found", isGhost}} {
		finding(u.under, u.what, u.is, "distance_m", "of "+u.what+": its place, m", func(f *diagnose.Finding) (Value, error) { return number(f.DistanceM), nil })
		finding(u.under, u.what, u.is, "sigma_m", "of "+u.what+": standard deviation of its place, m", func(f *diagnose.Finding) (Value, error) { return number(f.SigmaM), nil })
		finding(u.under, u.what, u.is, "return_loss_db", "of "+u.what+": its own return loss, the loss on the way taken out, dB", func(f *diagnose.Finding) (Value, error) { return number(f.ReturnLossDB), nil })
		finding(u.under, u.what, u.is, "cause", "of "+u.what+": what it is", func(f *diagnose.Finding) (Value, error) { return text(string(f.Cause)), nil })
		finding(u.under, u.what, u.is, "place", "of "+u.what+": where in words", func(f *diagnose.Finding) (Value, error) { return text(f.Place), nil })
	}
	fault := func(name, about string, f func(f *diagnose.Finding) (Value, error)) {
		finding("finding", "faults found", isFault, name, "of faults found: "+about, f)
	}
	fault("extent_m", "its length, m", func(f *diagnose.Finding) (Value, error) { return number(f.ExtentM), nil })
	fault("end_m", "where it ends, m", func(f *diagnose.Finding) (Value, error) { return number(f.DistanceM + f.ExtentM), nil })
	fault("from_far_end_m", "how far from the far end, m", func(f *diagnose.Finding) (Value, error) { return number(f.FromFarEndM), nil })
	fault("confidence", "how sure, 0 to 1", func(f *diagnose.Finding) (Value, error) { return number(f.Confidence), nil })
	fault("alternative", "the next likely cause, or none", func(f *diagnose.Finding) (Value, error) {
		if len(f.Alternatives) == 0 {
			return text("none"), nil
		}
		return text(string(f.Alternatives[0].Cause)), nil
	})
	repaired := func(f *diagnose.Finding) (*diagnose.Verdict, error) {
		if f.Repaired == nil {
			return nil, errors.New("what a repair would bring cannot be told")
		}
		return f.Repaired, nil
	}
	fault("repaired_worst_vswr", "the worst VSWR if it alone were repaired", func(f *diagnose.Finding) (Value, error) {
		v, err := repaired(f)
		if err != nil {
			return Value{}, err
		}
		return number(v.WorstVSWR), nil
	})
	fault("repaired_passes", "whether the line would be within its limit then", func(f *diagnose.Finding) (Value, error) {
		v, err := repaired(f)
		if err != nil {
			return Value{}, err
		}
		return truth(v.Passes), nil
	})

	// The truth of the scenario.
	known := func(name, about string, f func(t *simulate.Truth) (Value, error)) {
		add("truth."+name, about, func(_ context.Context, s *Scene, _ int, _ []float64) (Value, error) { return f(s.bench.Result.Truth) })
	}
	known("faults", "how many faults the scenario has", func(t *simulate.Truth) (Value, error) { return number(float64(len(t.Faults))), nil })
	known("far_end_m", "where the line as built ends, m", func(t *simulate.Truth) (Value, error) { return number(t.FarEndM), nil })
	known("load_return_loss_db", "the antenna's or termination's worst in its band, dB", func(t *simulate.Truth) (Value, error) {
		if t.Load.WorstReturnLossDB == 0 {
			return Value{}, errors.New("the line ends in neither antenna nor termination")
		}
		return number(t.Load.WorstReturnLossDB), nil
	})
	trueFault := func(name, about string, f func(f *simulate.FaultTruth) Value) {
		add("truth.fault[]."+name, "of the scenario's faults: "+about, func(_ context.Context, s *Scene, index int, _ []float64) (Value, error) {
			faults := s.bench.Result.Truth.Faults
			if index > len(faults) {
				return Value{}, fmt.Errorf("the scenario has %d faults", len(faults))
			}
			return f(&faults[index-1]), nil
		})
	}
	trueFault("distance_m", "its place as built, m", func(f *simulate.FaultTruth) Value { return number(f.DistanceM) })
	trueFault("apparent_distance_m", "where it seems to be by the record, m", func(f *simulate.FaultTruth) Value { return number(f.ApparentDistanceM) })
	trueFault("extent_m", "its length, m", func(f *simulate.FaultTruth) Value { return number(f.ExtentM) })
	trueFault("end_m", "where it ends, m", func(f *simulate.FaultTruth) Value { return number(f.DistanceM + f.ExtentM) })
	trueFault("cause", "what it is", func(f *simulate.FaultTruth) Value {
		v := text(f.Cause)
		v.Alike = f.ConfusableWith
		return v
	})

	// The sweep and the line as they are shown.
	shown := func(name, about string, f func(s *Scene) (float64, error)) {
		add(name, about, func(_ context.Context, s *Scene, _ int, _ []float64) (Value, error) {
			v, err := f(s)
			return number(v), err
		})
	}
	figures := func(name, about string, f func(f *distance.Figures) float64) {
		shown(name, about, func(s *Scene) (float64, error) {
			all, err := s.Figures()
			if err != nil {
				return 0, err
			}
			return f(all), nil
		})
	}
	shown("points", "points of the sweep as shown", func(s *Scene) (float64, error) { return float64(len(s.Sweep.FrequencyHz)), nil })
	shown("low_hz", "its first frequency, Hz", func(s *Scene) (float64, error) { return s.Sweep.FrequencyHz[0], nil })
	shown("high_hz", "its last frequency, Hz", func(s *Scene) (float64, error) { return s.Sweep.FrequencyHz[len(s.Sweep.FrequencyHz)-1], nil })
	figures("band_hz", "last frequency less first, Hz", func(f *distance.Figures) float64 { return f.BandHz })
	figures("step_hz", "between two points, Hz", func(f *distance.Figures) float64 { return f.StepHz })
	figures("cell_m", "resolution cell, m", func(f *distance.Figures) float64 { return f.CellM })
	figures("range_m", "where echoes fold back, m", func(f *distance.Figures) float64 { return f.AliasFreeM })
	figures("lobe3_m", "width of a reflection at -3 dB under the window, m", func(f *distance.Figures) float64 { return f.MainLobe3DBM })
	figures("lobe6_m", "the same at -6 dB: closer than this two equal ones merge, m", func(f *distance.Figures) float64 { return f.MainLobe6DBM })
	figures("side_lobe_db", "highest side lobe of the window, dB, negative", func(f *distance.Figures) float64 { return f.HighestSideLobeDB })
	shown("line.length_m", "length of the line by the record, m", func(s *Scene) (float64, error) { return s.Path.LengthM(), nil })
	shown("line.load_return_loss_db", "what the record promises of the load, dB", func(s *Scene) (float64, error) { return s.Line.Load.ReturnLossDB, nil })
	add("line.loss_db", "loss of the line by the record, one way, dB", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
		if !(v[0] > 0 && v[0] < 1e12) {
			return Value{}, fmt.Errorf("%g Hz is no frequency", v[0])
		}
		return number(real(s.Path.Theta(v[0], s.Path.LengthM())) / cables.NeperPerDB), nil
	}, "frequency Hz")
	add("loss_to_db", "loss of the line by the record to a place, one way, dB", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
		if !(v[0] > 0 && v[0] < 1e12) || !(v[1] >= 0 && v[1] < 1e5) {
			return Value{}, fmt.Errorf("%g Hz, %g m are no frequency and place", v[0], v[1])
		}
		return number(real(s.Path.Theta(v[0], v[1])) / cables.NeperPerDB), nil
	}, "frequency Hz", "place m")
	section := func(name, about string, f func(s *cables.Span) float64) {
		add("section[]."+name, "of the record's sections: "+about, func(_ context.Context, s *Scene, index int, _ []float64) (Value, error) {
			n := 0
			for i := range s.Path.Spans {
				if s.Path.Spans[i].Device == nil {
					if n++; n == index {
						return number(f(&s.Path.Spans[i])), nil
					}
				}
			}
			return Value{}, fmt.Errorf("the line has %d sections", n)
		})
	}
	section("start_m", "where it begins, m", func(s *cables.Span) float64 { return s.StartM })
	section("end_m", "where it ends, m", func(s *cables.Span) float64 { return s.StartM + s.LengthM })
	section("length_m", "its length, m", func(s *cables.Span) float64 { return s.LengthM })
	section("velocity_factor", "its velocity factor", func(s *cables.Span) float64 { return s.Medium.VelocityFactor })
	section("impedance_ohm", "its impedance, ohm", func(s *cables.Span) float64 { return s.Medium.ImpedanceOhm })

	// Readings.
	near := func(s *Scene, hz float64) (int, error) {
		f := s.Sweep.FrequencyHz
		if !(hz >= f[0]*(1-1e-9) && hz <= f[len(f)-1]*(1+1e-9)) {
			return 0, fmt.Errorf("%g Hz is outside the sweep", hz)
		}
		best := 0
		for k := range f {
			if math.Abs(f[k]-hz) < math.Abs(f[best]-hz) {
				best = k
			}
		}
		return best, nil
	}
	reading := func(name, about string, f func(g complex128) float64) {
		add("at."+name, about+" at the nearest point", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
			k, err := near(s, v[0])
			if err != nil {
				return Value{}, err
			}
			return number(f(s.Sweep.Gamma[k])), nil
		}, "frequency Hz")
	}
	reading("gamma", "size of the reflection coefficient", cmplx.Abs)
	reading("return_loss_db", "return loss, dB,", func(g complex128) float64 { return sweep.ReturnLossFromMagnitude(cmplx.Abs(g)) })
	reading("vswr", "VSWR", func(g complex128) float64 { return sweep.VSWRFromMagnitude(cmplx.Abs(g)) })
	worst := func(s *Scene, of *sweep.Sweep, v []float64) (float64, error) {
		if of == nil {
			return 0, errors.New("the scenario makes no such sweep")
		}
		biggest, any := 0.0, false
		for k, f := range of.FrequencyHz {
			if f >= v[0] && f <= v[1] {
				biggest, any = math.Max(biggest, cmplx.Abs(of.Gamma[k])), true
			}
		}
		if !any {
			return 0, fmt.Errorf("no point lies between %g and %g Hz", v[0], v[1])
		}
		return sweep.VSWRFromMagnitude(biggest), nil
	}
	for _, w := range []struct {
		name string
		of   func(s *Scene) *sweep.Sweep
	}{
		{"shown", func(s *Scene) *sweep.Sweep { return s.Sweep }},
		{"measured", func(s *Scene) *sweep.Sweep { return s.bench.Result.Sweep }},
		{"earlier", func(s *Scene) *sweep.Sweep { return s.bench.Result.Baseline }},
		{"raw", func(s *Scene) *sweep.Sweep {
			if s.bench.Result.Standards == nil {
				return nil
			}
			return s.bench.Result.Standards.Device
		}},
	} {
		add(w.name+".worst_vswr", "worst VSWR of the sweep ("+w.name+") in a band", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
			x, err := worst(s, w.of(s), v)
			return number(x), err
		}, "from Hz", "to Hz")
	}
	highest := func(s *Scene, from, to float64) (distanceM, returnLossDB float64, err error) {
		p, err := s.Profile()
		if err != nil {
			return 0, 0, err
		}
		best := -1
		for k, x := range p.DistanceM {
			if x >= from && x <= to && (best < 0 || cmplx.Abs(p.Amplitude[k]) > cmplx.Abs(p.Amplitude[best])) {
				best = k
			}
		}
		if best < 0 {
			return 0, 0, fmt.Errorf("nothing is drawn between %g and %g m", from, to)
		}
		return p.DistanceM[best], sweep.ReturnLossFromMagnitude(cmplx.Abs(p.Amplitude[best])), nil
	}
	add("peak.distance_m", "where the profile is highest between two places, m", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
		x, _, err := highest(s, v[0], v[1])
		return number(x), err
	}, "from m", "to m")
	add("peak.return_loss_db", "return loss of the profile there, dB", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
		_, rl, err := highest(s, v[0], v[1])
		return number(rl), err
	}, "from m", "to m")
	add("peaks", "how many peaks the profile has between two places above a return loss", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
		p, err := s.Profile()
		if err != nil {
			return Value{}, err
		}
		n, least := 0, sweep.MagnitudeFromReturnLoss(v[2])
		for k := 1; k+1 < len(p.Amplitude); k++ {
			a := cmplx.Abs(p.Amplitude[k])
			if x := p.DistanceM[k]; x >= v[0] && x <= v[1] && a >= least && a > cmplx.Abs(p.Amplitude[k-1]) && a >= cmplx.Abs(p.Amplitude[k+1]) {
				n++
			}
		}
		return number(float64(n)), nil
	}, "from m", "to m", "return loss dB")
	add("impedance_ohm", "impedance that the step response draws at a place, ohm", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
		p, err := s.Steps()
		if err != nil {
			return Value{}, err
		}
		best := 0
		for k := range p.DistanceM {
			if math.Abs(p.DistanceM[k]-v[0]) < math.Abs(p.DistanceM[best]-v[0]) {
				best = k
			}
		}
		return number(p.ImpedanceOhm[best]), nil
	}, "place m")

	// Waves that are reflected again, the strongest first.
	echo := func(name, about string, f func(l *simulate.Lattice, p *simulate.LatticePath) float64) {
		add("echo[]."+name, "of waves reflected more than once, the strongest first: "+about, func(ctx context.Context, s *Scene, index int, _ []float64) (Value, error) {
			list, err := s.bench.echoes(ctx)
			if err != nil {
				return Value{}, err
			}
			if index > len(list) {
				return Value{}, fmt.Errorf("there are %d above %d dB", len(list), latticeDB)
			}
			return number(f(s.bench.lattice, &list[index-1])), nil
		})
	}
	echo("distance_m", "where it seems to be, m", func(_ *simulate.Lattice, p *simulate.LatticePath) float64 { return p.DistanceM })
	echo("level_db", "what it adds at the port, rms, dB, negative", func(_ *simulate.Lattice, p *simulate.LatticePath) float64 { return p.LevelDB })
	echo("time_s", "when it is back, s", func(_ *simulate.Lattice, p *simulate.LatticePath) float64 { return p.TimeS })
	echo("far_m", "the place that it turns at first, m", func(l *simulate.Lattice, p *simulate.LatticePath) float64 {
		return l.Places[p.Turns[0]].DistanceM
	})
	echo("back_m", "the place that sends it out again, m", func(l *simulate.Lattice, p *simulate.LatticePath) float64 {
		return l.Places[p.Turns[1]].DistanceM
	})

	// The calibration: what of it still holds.
	add("calibration.corrects", "whether the lesson's calibration corrects a sweep from one frequency to another", func(_ context.Context, s *Scene, _ int, v []float64) (Value, error) {
		terms, err := s.bench.errorTerms()
		if err != nil {
			return Value{}, err
		}
		if !(v[0] > 0 && v[0] < v[1]) {
			return Value{}, fmt.Errorf("%g to %g Hz is no band", v[0], v[1])
		}
		raw := &sweep.Sweep{Name: "another band", ReferenceOhm: terms.ReferenceOhm}
		const points = 101
		for k := range points {
			raw.FrequencyHz = append(raw.FrequencyHz, v[0]+(v[1]-v[0])*float64(k)/(points-1))
			raw.Gamma = append(raw.Gamma, 0.1)
		}
		_, err = terms.Correct(raw)
		var refusal *calibration.Refusal
		if err != nil && !errors.As(err, &refusal) {
			return Value{}, err
		}
		return truth(err == nil), nil
	}, "from Hz", "to Hz")
	plain("calibration.doubts", "how much is wrong with a calibration at one temperature and a sweep at another", func(v []float64) float64 {
		return float64(len(calibration.CheckConditions(calibration.Conditions{TemperatureC: v[0], TemperatureKnown: true}, calibration.Conditions{TemperatureC: v[1], TemperatureKnown: true})))
	}, "then °C", "now °C")

	// Arithmetic of the trade.
	plain("vswr_of_return_loss", "VSWR of a return loss", func(v []float64) float64 { return sweep.VSWRFromReturnLoss(v[0]) }, "dB")
	plain("return_loss_of_vswr", "return loss of a VSWR, dB", func(v []float64) float64 { return sweep.ReturnLossFromVSWR(v[0]) }, "VSWR")
	plain("gamma_of_vswr", "size of the reflection coefficient of a VSWR", func(v []float64) float64 { return sweep.MagnitudeFromVSWR(v[0]) }, "VSWR")
	plain("gamma_of_return_loss", "the same of a return loss", func(v []float64) float64 { return sweep.MagnitudeFromReturnLoss(v[0]) }, "dB")
	plain("vswr_of_gamma", "VSWR of a reflection coefficient's size", func(v []float64) float64 { return sweep.VSWRFromMagnitude(v[0]) }, "0..1")
	plain("return_loss_of_gamma", "return loss of it, dB", func(v []float64) float64 { return sweep.ReturnLossFromMagnitude(v[0]) }, "0..1")
	plain("reads_low_db", "the lowest return loss that an instrument may show, dB", func(v []float64) float64 {
		low, _ := calibration.ReturnLossBounds(v[0], v[1], v[2])
		return low
	}, "true return loss dB", "directivity dB", "source match dB")
	plain("reads_high_db", "the highest, dB", func(v []float64) float64 {
		_, high := calibration.ReturnLossBounds(v[0], v[1], v[2])
		return high
	}, "true return loss dB", "directivity dB", "source match dB")
	plain("abs", "size of a number", func(v []float64) float64 { return math.Abs(v[0]) }, "number")
	plain("min", "the smaller", func(v []float64) float64 { return math.Min(v[0], v[1]) }, "number", "number")
	plain("max", "the greater", func(v []float64) float64 { return math.Max(v[0], v[1]) }, "number", "number")
	plain("speed_of_light", "in vacuum, m/s", func([]float64) float64 { return cables.SpeedOfLight })
	return all
}
