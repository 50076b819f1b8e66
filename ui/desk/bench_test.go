package desk

import (
	"context"
	"image"
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp"
	"downlead/dsp/sweep"
	"downlead/ui/chart"
	"downlead/ui/investigation"
	"downlead/ui/traces"
)

// long is a desk with a sweep of n points on a line of 100 m. The search for
// faults is left out: its cost has a benchmark of its own.
func long(b *testing.B, n int) *deskRig {
	g := newRig(b, image.Pt(1440, 900))
	line := cables.VelocityLine(0.85, 100)
	s := &sweep.Sweep{ReferenceOhm: 50}
	for k := range n {
		f := 10e6 + 1.2e9*float64(k)/float64(n)
		s.FrequencyHz = append(s.FrequencyHz, f)
		s.Gamma = append(s.Gamma, complex(0.3*math.Cos(f/1e6), 0.3*math.Sin(f/1.3e6)))
	}
	doc := investigation.Document{Sweep: investigation.Source{Sweep: s}, Line: line}
	g.desk.history.Begin(doc)
	g.desk.diagnosedOf = diagnosisOf{s, nil, line, [2]float64{}, 0}
	g.desk.restored()
	g.settle()
	return g
}

// A frame with traces of 100,001 points, standing and moving: layout and paint on
// the processor, without the graphics card's part.
func BenchmarkFrame100001(b *testing.B) {
	g := long(b, 100_001)
	b.Run("still", func(b *testing.B) {
		for b.Loop() {
			g.frame()
		}
	})
	b.Run("moving", func(b *testing.B) {
		k := 0
		for b.Loop() {
			k++
			g.desk.plots.over.Show(chart.Upper, 10e6+float64(k%1000)*1e4, 1.1e9)
			g.frame()
		}
	})
}

// From a changed window parameter to the new picture, 2001 points.
func BenchmarkPicture2001(b *testing.B) {
	g := long(b, 2001)
	a := g.desk.reach
	k := 0
	for b.Loop() {
		k++
		a.window = dsp.Window{Kind: dsp.Kaiser, Parameter: 4 + float64(k%50)/10}
		a.frequency, a.along = traces.ReturnLoss, traces.ReturnLossAlong
		if _, err := draw(context.Background(), a); err != nil {
			b.Fatal(err)
		}
	}
}
