package diagnose

import (
	"fmt"
	"math"
	"math/cmplx"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// total stands for an infinite VSWR in numbers.
const total = 9999

// without returns s without the given points, whose indices ascend.
func without(s *sweep.Sweep, points []int) *sweep.Sweep {
	if len(points) == 0 {
		return s
	}
	c := *s
	c.FrequencyHz, c.Gamma = nil, nil
	for k, f := range s.FrequencyHz {
		if len(points) > 0 && points[0] == k {
			points = points[1:]
			continue
		}
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Gamma = append(c.Gamma, s.Gamma[k])
	}
	return &c
}

// judgedBand is where the limit holds: in the antenna's band as far as the
// sweep has it, over the whole sweep without one, or where it has none of it.
func judgedBand(s *sweep.Sweep, line *cables.Line) (lowHz, highHz float64, whole bool) {
	lowHz, highHz = s.FrequencyHz[0], s.FrequencyHz[len(s.FrequencyHz)-1]
	band := line.Load.BandHz
	if line.Load.Kind != cables.Antenna || band[1] <= band[0] {
		return lowHz, highHz, true
	}
	for _, f := range s.FrequencyHz {
		if f >= band[0] && f <= band[1] {
			return math.Max(lowHz, band[0]), math.Min(highHz, band[1]), band[0] >= lowHz && band[1] <= highHz
		}
	}
	return lowHz, highHz, false
}

// coverageWarnings says what the sweep leaves unjudged of the antenna's band.
func coverageWarnings(s *sweep.Sweep, line *cables.Line) []string {
	low, high, whole := judgedBand(s, line)
	if whole {
		return nil
	}
	band := line.Load.BandHz
	if high < band[0] || low > band[1] {
		return []string{fmt.Sprintf("the sweep has no point in the antenna's band, %s: the limit was judged over the whole sweep, where an antenna need not match; sweep its band for a verdict",
			bandWords(band[0], band[1]))}
	}
	return []string{fmt.Sprintf("the sweep covers only %s of the antenna's band, %s: the rest was not judged", bandWords(low, high), bandWords(band[0], band[1]))}
}

// foldedWarning says, where the sweep's steps are so wide that the line is seen folded over itself, how far
// it is seen as it is and how many points would do.
func foldedWarning(s *sweep.Sweep, line *cables.Line, path *cables.Path) []string {
	if len(s.FrequencyHz) < 2 || line.Load.Kind == cables.Unstated {
		return nil
	}
	step := meanStep(s.FrequencyHz)
	aliasFreeM := cables.SpeedOfLight / (2 * step)
	wholeM := path.ElectricalM(path.LengthM())
	if aliasFreeM >= wholeM {
		return nil
	}
	return []string{fmt.Sprintf("the sweep has too few points for this line: it shows it folded over itself, alias-free to %.2f m of %.2f m, and what is told of places and causes may be wrong; sweep again with %d points at least",
		path.PhysicalM(aliasFreeM), path.LengthM(), int(math.Ceil(foldedMargin*wholeM/aliasFreeM*float64(len(s.FrequencyHz)-1)))+1)}
}

// foldedMargin is how many times the line the alias-free range of a sweep should be: bounces come from beyond its end.
const foldedMargin = 1.3

// judge holds the sweep against the line's limit.
func judge(s *sweep.Sweep, line *cables.Line) Verdict {
	v := Verdict{LimitVSWR: line.Limits.LimitVSWR()}
	v.LowHz, v.HighHz, _ = judgedBand(s, line)
	worst := 0.0
	for k, f := range s.FrequencyHz {
		if f < v.LowHz || f > v.HighHz {
			continue
		}
		if a := cmplx.Abs(s.Gamma[k]); a > worst || v.AtHz == 0 {
			worst, v.AtHz = a, f
		}
	}
	v.WorstVSWR = math.Min(total, sweep.VSWRFromMagnitude(worst))
	v.Passes = v.LimitVSWR == 0 || v.WorstVSWR <= v.LimitVSWR
	return v
}
