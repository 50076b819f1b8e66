package distance

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp"
)

// Closed forms: 401 points over 500 MHz on 0.88: cell c·0.88/(2·500 MHz) =
// 0.2638 m, alias-free c·0.88/(2·1.25 MHz) = 105.527 m; the rectangular
// window's half amplitude width is 1.2067 cells (root of sinc = ½) and its side
// lobe -13.26 dB; equal weights of n points lower the noise by 10·log10 n.
func TestTradeOffClosedForms(t *testing.T) {
	path := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.88}, 60)
	f, err := TradeOff(path, uniform(600e6, 1100e6, 401), dsp.Window{Kind: dsp.Rectangular})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name             string
		got, want, digit float64
	}{
		{"cell", f.CellM, 0.263817, 1e-6},
		{"alias-free range", f.AliasFreeM, 105.5269, 1e-4},
		{"main lobe", f.MainLobe6DBM, 0.263817 * 1.20671, 1e-5},
		{"side lobe", f.HighestSideLobeDB, -13.26, 0.01},
		{"noise", f.NoiseGainDB, -26.031, 0.001},
	} {
		if math.Abs(c.got-c.want) > c.digit {
			t.Errorf("%s: %.6f, want %g", c.name, c.got, c.want)
		}
	}
	if f.Uneven {
		t.Error("an even grid counts as uneven")
	}
}

// The figures must be those of the profile itself: half amplitude at half the
// main lobe, the alias of the mirror one alias-free range on.
func TestTradeOffDescribesTheProfile(t *testing.T) {
	path := onePath(cables.Medium{ImpedanceOhm: 50, VelocityFactor: 0.88}, 60)
	grid := uniform(600e6, 1100e6, 401)
	for _, kind := range dsp.Kinds() {
		window := dsp.Window{Kind: kind}
		f, err := TradeOff(path, grid, window)
		if err != nil {
			t.Fatal(err)
		}
		gamma := mirrors(path, grid, []float64{20}, []complex128{1})
		read := func(x float64) float64 {
			transform, err := New(path, grid, Settings{Window: window, FromM: x, ToM: x + 1, Points: 2})
			if err != nil {
				t.Fatal(err)
			}
			return cmplx.Abs(transform.Profile(nil, gamma).Amplitude[0])
		}
		// The widths are those of many points; 401 points stay within 1 %.
		if got := read(20 + f.MainLobe6DBM/2); math.Abs(got-0.5) > 0.01 {
			t.Errorf("%v: %.4f half a main lobe away, want 0.5", kind, got)
		}
		if got := read(20 + f.AliasFreeM); math.Abs(got-1) > 1e-6 {
			t.Errorf("%v: %.6f one alias-free range on, want 1", kind, got)
		}
	}
}

func TestAliasFreeRangeOfSections(t *testing.T) {
	path := mustPath(t, feederLine(false))
	f, err := TradeOff(path, uniform(700e6, 700e6+500*3e6, 501), dsp.Window{})
	if err != nil {
		t.Fatal(err)
	}
	// c/(2·3 MHz) = 49.9654 m of air: 2.5/0.82 + 0.1 + rest/0.89.
	if want := 2.6 + 0.89*(49.965410-2.5/0.82-0.1); math.Abs(f.AliasFreeM-want) > 1e-5 {
		t.Errorf("alias-free range %.6f m, want %.6f", f.AliasFreeM, want)
	}
	if len(f.SpanCellM) != 4 || math.Abs(f.SpanCellM[0]/f.SpanCellM[2]-0.82/0.89) > 1e-12 {
		t.Errorf("cells %v", f.SpanCellM)
	}
}

func TestPlan(t *testing.T) {
	for _, c := range []struct {
		name    string
		change  func(*cables.Line, *Request)
		met     bool
		binding string // what of the limits that bind; "" for none
		says    string
	}{
		{"free", func(l *cables.Line, r *Request) {}, true, "", "Two equal reflections 0.3"},
		{"cable's upper frequency", func(l *cables.Line, r *Request) { r.ResolutionM = 0.01 }, false, "cable feeder", "up to 5 GHz"},
		{"as fine as can be", func(l *cables.Line, r *Request) { r.ResolutionM = 0 }, true, "cable feeder", "up to 5 GHz"},
		{"filter", func(l *cables.Line, r *Request) {
			l.Devices = append(l.Devices, cables.Device{After: "feeder", Kind: "filter", PassbandHz: [2]float64{800e6, 960e6}})
		}, false, "filter", "passes 800 MHz to 960 MHz only"},
		{"filter behind the range", func(l *cables.Line, r *Request) {
			l.Devices = append(l.Devices, cables.Device{After: "feeder", Kind: "filter", PassbandHz: [2]float64{800e6, 960e6}})
			r.RangeM = 40
		}, true, "", ""},
		{"antenna in band", func(l *cables.Line, r *Request) { r.AntennaInBand = true }, false, "antenna", "own match in its band 824 MHz to 960 MHz"},
		{"instrument's points", func(l *cables.Line, r *Request) { l.Instrument.MostPoints = 201 }, false, "instrument", "at most 201 points"},
		{"points asked", func(l *cables.Line, r *Request) { r.MostPoints = 101 }, false, "instrument", "at most 101 points"},
		{"instrument's band", func(l *cables.Line, r *Request) { r.BandHz = [2]float64{1e6, 500e6} }, false, "instrument", "1 MHz to 500 MHz"},
	} {
		line, request := feederLine(true), Request{ResolutionM: 0.3}
		c.change(line, &request)
		plan, err := Plan(line, request)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		binding := ""
		for _, l := range plan.Limits {
			if l.Binding {
				binding += l.What
			}
		}
		words := strings.Join(plan.Sentences, " ")
		if plan.Met != c.met || binding != c.binding || !strings.Contains(words, c.says) {
			t.Errorf("%s: met %v, binding %q, says:\n%s", c.name, plan.Met, binding, words)
		}
		// What a plan promises, the trade-off of its own grid must show.
		f, err := TradeOff(mustPath(t, line), uniform(plan.StartHz, plan.StopHz, plan.Points), plan.Window)
		if err != nil || math.Abs(f.MainLobe6DBM/plan.ResolutionM-1) > 1e-9 {
			t.Errorf("%s: resolution %g m, the grid's own %g m, %v", c.name, plan.ResolutionM, f.MainLobe6DBM, err)
		}
		wanted := request.RangeM
		if wanted == 0 {
			wanted = 1.25 * 53.16
		}
		if f.AliasFreeM < wanted*(1-1e-9) {
			t.Errorf("%s: alias-free to %g m only", c.name, f.AliasFreeM)
		}
	}
}

func TestPlanNarrowsTheWindowBeforeItGivesUp(t *testing.T) {
	line := feederLine(true)
	line.Load.BandHz = [2]float64{}
	// 150 MHz on 0.89: a cell of 0.889 m; Kaiser of β = 6 resolves 1.77 m, the
	// rectangular window 1.07 m.
	plan, err := Plan(line, Request{ResolutionM: 1.3, BandHz: [2]float64{800e6, 950e6}})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Window.Kind != dsp.Kaiser || plan.Window.Parameter >= 6 || !plan.Met {
		t.Errorf("window %+v, met %v at %g m", plan.Window, plan.Met, plan.ResolutionM)
	}
	plan, err = Plan(line, Request{ResolutionM: 0.5, BandHz: [2]float64{800e6, 950e6}})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Window.Kind != dsp.Rectangular || plan.Met {
		t.Errorf("window %+v, met %v at %g m", plan.Window, plan.Met, plan.ResolutionM)
	}
}

func TestPlanErrors(t *testing.T) {
	for _, c := range []struct {
		name    string
		change  func(*cables.Line)
		request Request
		want    string
	}{
		{"no sections", func(l *cables.Line) { l.Sections = nil }, Request{}, "no section"},
		{"negative resolution", func(l *cables.Line) {}, Request{ResolutionM: -1}, "not something to plan for"},
		{"NaN range", func(l *cables.Line) {}, Request{RangeM: math.NaN()}, "not something to plan for"},
		{"nothing in common", func(l *cables.Line) {
			l.Devices = []cables.Device{{After: "feeder", Kind: "filter", PassbandHz: [2]float64{800e6, 960e6}}, {After: "feeder", Kind: "amplifier", PassbandHz: [2]float64{1.7e9, 2.2e9}}}
		}, Request{}, "no band is left"},
		{"no bound", func(l *cables.Line) {
			for i := range l.Cables {
				l.Cables[i].MaxFrequencyHz = 0
			}
		}, Request{}, "nothing bounds the band"},
		{"absurd", func(l *cables.Line) { l.Cables[0].MaxFrequencyHz, l.Cables[1].MaxFrequencyHz = 0, 0 }, Request{ResolutionM: 1e-12}, "more than any sweep"},
	} {
		line := feederLine(true)
		c.change(line)
		if plan, err := Plan(line, c.request); plan != nil || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
	}
}
