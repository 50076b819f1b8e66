package pictures

import (
	"context"
	"math"
	"slices"

	"downlead/dsp/sweep"
	"downlead/ui/lesson"
	"downlead/ui/report"
	"downlead/ui/traces"
)

// shown are the two views of a step as the window shows them: its views, its zoom, and what
// it lays beside the sweep.
func shown(ctx context.Context, b *lesson.Bench, show *lesson.Show) ([]report.File, error) {
	s, err := b.Scene(show)
	if err != nil {
		return nil, err
	}
	all := []beside{{"measured", report.MeasuredLine, s.Sweep}}
	has := func(overlay string) bool { return slices.Contains(show.Overlays, overlay) }
	if has("expected") {
		expected, err := s.Expected(ctx)
		if err != nil {
			return nil, err
		}
		all = append(all, beside{"expected by the record", report.ExpectedLine, expected})
	}
	if (has("earlier") || show.AgainstEarlier) && show.Sweep != lesson.Earlier && b.Result.Baseline != nil {
		before := *show
		before.Sweep = lesson.Earlier
		e, err := b.Scene(&before)
		if err != nil {
			return nil, err
		}
		all = append(all, beside{"earlier sweep", report.EarlierLine, e.Sweep})
	}
	if has("model") && show.Sweep != lesson.Raw {
		found, err := s.Findings(ctx)
		if err != nil {
			return nil, err
		}
		all = append(all, beside{"fitted model", report.ModelLine, found.Model})
	}
	charts := []report.Chart{overFrequency(s, all)}
	along, err := alongLine(s, all, b.Feet)
	if err == nil { // a sweep that cannot show an impedance along the line has no such picture
		charts = append(charts, along)
	}
	var files []report.File
	for i := range charts {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		drawn, err := charts[i].Files()
		if err != nil {
			return nil, err
		}
		files = append(files, drawn...)
	}
	return files, nil
}

// beside is a sweep that is shown, with its name.
type beside struct {
	name string
	kind report.LineKind
	s    *sweep.Sweep
}

const megahertz = 1e6

// overFrequency is the view over frequency.
func overFrequency(s *lesson.Scene, all []beside) report.Chart {
	view := traces.EveryOverFrequency()[max(slices.Index(lesson.Overs(), s.Show.Over), 0)]
	f := s.Sweep.FrequencyHz
	c := report.Chart{Name: "shown-over-frequency", XLabel: "frequency, MHz", X: [2]float64{f[0] / megahertz, f[len(f)-1] / megahertz}}
	if zoom := s.Show.ZoomHz; zoom[1] > 0 {
		c.X = [2]float64{zoom[0] / megahertz, zoom[1] / megahertz}
	}
	limit := 0.0
	if slices.Contains(s.Show.Overlays, "limit") {
		limit = s.Line.Limits.LimitVSWR()
	}
	if view == traces.Smith {
		return smith(c, all, limit)
	}
	unit, scale := unitOf(view)
	c.YLabel = view.Name() + unit
	for _, one := range all {
		if one.s == nil {
			continue
		}
		drawn := traces.Frequency(one.s, view)
		if one.kind == report.MeasuredLine {
			c.Y = [2]float64{drawn.Y.Low * scale, drawn.Y.High * scale}
		}
		c.Lines = append(c.Lines, lines(one, drawn, 1/megahertz, scale)...)
	}
	if limit > 1 && (view == traces.ReturnLoss || view == traces.VSWR) {
		level := limit
		if view == traces.ReturnLoss {
			level = sweep.ReturnLossFromVSWR(limit)
		}
		from, to := c.X[0], c.X[1]
		if band := s.Line.Load.BandHz; band[1] > band[0] {
			from, to = band[0]/megahertz, band[1]/megahertz
		}
		c.Lines = append(c.Lines, report.Line{Name: "limit", Kind: report.LimitLine, X: []float64{from, to}, Y: []float64{level, level}})
	}
	return c
}

// unitOf is the unit of a view over frequency, and what its values are multiplied by for it.
func unitOf(view traces.OverFrequency) (unit string, scale float64) {
	switch view {
	case traces.ReturnLoss, traces.CableLoss:
		return ", dB", 1
	case traces.Phase:
		return ", °", 1
	case traces.Impedance:
		return ", ohm", 1
	case traces.GroupDelay:
		return ", ns", 1e9
	}
	return "", 1
}

// lines are the lines of a view in the units of a chart.
func lines(of beside, d traces.Drawn, scaleX, scaleY float64) []report.Line {
	var out []report.Line
	for _, part := range d.Parts {
		l := report.Line{Name: of.name, Kind: of.kind, X: make([]float64, len(part.Series.X)), Y: make([]float64, len(part.Series.Y))}
		if len(d.Parts) > 1 {
			l.Name += ", " + part.Name
		}
		for k := range l.X {
			l.X[k], l.Y[k] = part.Series.X[k]*scaleX, part.Series.Y[k]*scaleY
		}
		out = append(out, l)
	}
	return out
}

// alongLine is the view along the line; the error says why it cannot be shown.
func alongLine(s *lesson.Scene, all []beside, feet bool) (report.Chart, error) {
	view := traces.EveryAlongLine()[max(slices.Index(lesson.Alongs(), s.Show.Along), 0)]
	scale := report.InMetres()
	if feet {
		scale = report.InFeet()
	}
	c := report.Chart{Name: "shown-along-the-line", Along: true, XLabel: "distance from the test port, " + scale.Unit, YLabel: view.Name()}
	switch view {
	case traces.ReturnLossAlong:
		c.YLabel += ", dB"
	case traces.ImpedanceAlong:
		c.YLabel += ", ohm"
	}
	for _, one := range all {
		if one.s == nil {
			continue
		}
		var drawn traces.Drawn
		var err error
		if view == traces.ImpedanceAlong {
			drawn, err = traces.Step(one.s, s.Path, s.Show.Window)
		} else {
			var p *traces.Profile
			if p, err = traces.NewProfile(one.s, s.Path, traces.Settings{Window: s.Show.Window, ToM: s.Show.ZoomM[1]}); err == nil {
				drawn = p.Draw(view)
			}
		}
		if err != nil {
			return c, err
		}
		if one.kind == report.MeasuredLine {
			c.Y = [2]float64{drawn.Y.Low, drawn.Y.High}
			x := drawn.Parts[0].Series.X
			c.X = [2]float64{0, x[len(x)-1] / scale.Metres}
		}
		c.Lines = append(c.Lines, lines(one, drawn, 1/scale.Metres, 1)...)
	}
	if zoom := s.Show.ZoomM; zoom[1] > 0 {
		c.X = [2]float64{zoom[0] / scale.Metres, zoom[1] / scale.Metres}
	}
	return c, nil
}

// smith is the plane of Γ with circles of constant resistance and reactance.
func smith(c report.Chart, all []beside, limitVSWR float64) report.Chart {
	c.Square, c.XLabel, c.YLabel = true, "real part of Γ", "imaginary part of Γ"
	c.X, c.Y = [2]float64{-1.05, 1.05}, [2]float64{1.05, -1.05}
	for _, one := range all {
		if one.s == nil {
			continue
		}
		l := report.Line{Name: one.name, Kind: one.kind}
		for _, g := range one.s.Gamma {
			l.X, l.Y = append(l.X, real(g)), append(l.Y, imag(g))
		}
		c.Lines = append(c.Lines, l)
	}
	circle := func(kind report.LineKind, name string, x, y, radius float64) {
		l := report.Line{Name: name, Kind: kind}
		for k := range 361 {
			px, py := x+radius*math.Cos(float64(k)*math.Pi/180), y+radius*math.Sin(float64(k)*math.Pi/180)
			if px*px+py*py > 1+1e-9 {
				py = math.NaN()
			}
			l.X, l.Y = append(l.X, px), append(l.Y, py)
		}
		c.Lines = append(c.Lines, l)
	}
	if limitVSWR > 1 {
		circle(report.LimitLine, "limit", 0, 0, (limitVSWR-1)/(limitVSWR+1))
	}
	circle(report.GridLine, "", 0, 0, 1)
	for _, v := range []float64{0.2, 0.5, 1, 2, 5} {
		circle(report.GridLine, "", v/(1+v), 0, 1/(1+v))
		circle(report.GridLine, "", 1, 1/v, 1/v)
		circle(report.GridLine, "", 1, -1/v, 1/v)
	}
	return c
}
