package diagnose

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"downlead/cables"
	"downlead/dsp/locate"
	"downlead/dsp/sweep"
)

// Places is Run without the search for causes: the verdict, and where the line
// reflects more than it should by place and size alone. Of causes it knows total
// reflections and the antenna; every other fault is Unnamed. Wet cable and lossy
// sections, which show by what lies behind them, it does not look for, nor does it
// compare with Settings.Baseline. path is line.Path(), made once for all sweeps of
// the line; it is only read. prepared keeps what they share; nil: nothing is kept.
func Places(ctx context.Context, s *sweep.Sweep, line *cables.Line, path *cables.Path, prepared *locate.Prepared, settings Settings) (*Findings, error) {
	begun := time.Now()
	if settings.LowHz > 0 || settings.HighHz > 0 {
		var err error
		if s, err = s.Band(settings.LowHz, settings.HighHz); err != nil {
			return nil, err
		}
	}
	unstated := line.Load.Kind == cables.Unstated
	found, err := locate.Find(ctx, s, locate.Line{Path: path, Load: line.Load, OpenEnded: unstated}, locate.Settings{ToM: settings.RangeM, Prepared: prepared})
	if err != nil {
		return nil, err
	}
	out := &Findings{Schema: Schema, Warnings: slices.Concat(s.Warnings, line.Notes), Findings: []Finding{}, Calibration: calibrationWords(s)}
	for _, k := range found.LeftOut {
		out.LeftOutHz = append(out.LeftOutHz, s.FrequencyHz[k])
	}
	judged := without(s, found.LeftOut)
	out.Verdict = judge(judged, line)
	out.Warnings = slices.Concat(out.Warnings, coverageWarnings(judged, line), foldedWarning(s, line, path))
	for _, r := range slices.Concat(found.Reflections, found.Echoes) {
		out.Findings = append(out.Findings, finding(r))
	}
	if unstated {
		unstatedEnd(out.Findings)
	}
	slices.SortStableFunc(out.Findings, func(x, y Finding) int { return cmp.Compare(x.DistanceM, y.DistanceM) })
	out.RuntimeS = time.Since(begun).Seconds()
	return out, nil
}

// ErrNoLimit says that a sweep without phase has nothing to be held against.
var ErrNoLimit = errors.New("this sweep has no phase and the line states no limit, so nothing can be said; sweep again with phase")

// JudgeScalar holds a sweep without phase against the line's limit, in the
// antenna's band, or in lowHz to highHz where these are not 0. covered is false
// when the sweep does not reach over the whole band; then the verdict does not
// pass. Errors: ErrNoLimit, or that the sweep has no point in the band.
func JudgeScalar(s *sweep.Scalar, line *cables.Line, lowHz, highHz float64) (verdict Verdict, covered bool, err error) {
	limit := sweep.LimitBand{Name: line.Name, LowHz: line.Load.BandHz[0], HighHz: line.Load.BandHz[1], MaxVSWR: line.Limits.LimitVSWR()}
	if limit.MaxVSWR == 0 {
		return Verdict{}, false, ErrNoLimit
	}
	if lowHz > 0 {
		limit.LowHz, limit.HighHz = lowHz, highHz
	}
	bands, err := s.Judge([]sweep.LimitBand{limit})
	if err != nil {
		return Verdict{}, false, fmt.Errorf("the limit: %w", err)
	}
	v := bands[0]
	return Verdict{Passes: v.Passes, WorstVSWR: math.Min(total, v.WorstVSWR), AtHz: v.AtHz, LimitVSWR: v.LimitVSWR, LowHz: limit.LowHz, HighHz: limit.HighHz}, v.Covered, nil
}
