package calibration

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"
	"time"

	"downlead/dsp/sweep"
)

func kinds(problems []Problem) string {
	var words []string
	for _, p := range problems {
		words = append(words, fmt.Sprintf("%s %s", p.Severity, p.Kind))
	}
	return strings.Join(words, ", ")
}

// TestHealthyRaisesNothing: sound standards on instruments with ordinary
// errors, over bands from HF to 6 GHz, raise no problem whatever.
func TestHealthyRaisesNothing(t *testing.T) {
	runs := 0
	for _, band := range []struct {
		low, high float64
		points    int
	}{
		{2e9, 6e9, 401},
		{2e6, 30e6, 201}, {5e6, 1e9, 401}, {25e6, 1.2e9, 1001}, {100e6, 500e6, 2001},
		{700e6, 2.7e9, 1001}, {1.71e9, 2.17e9, 201}, {5e6, 3e9, 51}, {3.3e9, 3.8e9, 137}, {5e6, 6e9, 1001},
	} {
		f := grid(band.low, band.high, band.points)
		for seed := range uint64(30) {
			in := newInstrument(seed)
			kit := fieldKit()
			if seed%2 == 1 {
				kit = unbalancedKit()
			}
			in.noise = []float64{1e-5, 1e-4, 1e-3}[seed%3]
			terms, problems, err := Solve(kit, in.standards(kit, f))
			if err != nil || len(problems) > 0 {
				t.Errorf("%s-%s, seed %d: %v %v", hz(band.low), hz(band.high), seed, problems, err)
				continue
			}
			corrected, err := terms.Correct(in.read("line.s1p", f, feeder(120e-9)))
			if err != nil || corrected.Correction != sweep.Corrected || len(corrected.Warnings) > 0 {
				t.Errorf("%s-%s, seed %d: corrected: %v %v", hz(band.low), hz(band.high), seed, corrected, err)
			}
			runs++
		}
	}
	if runs != 300 {
		t.Errorf("%d healthy runs of 300", runs)
	}
}

// TestMistakes makes each mistake in otherwise sound standards, on ten
// instruments, and wants its problem named each time, and nothing else.
func TestMistakes(t *testing.T) {
	kit := fieldKit()
	mismatch := func(returnLossDB float64) func(float64) complex128 {
		g := math.Pow(10, -returnLossDB/20)
		return func(f float64) complex128 { return complex(g, 0) }
	}
	for _, c := range []struct {
		name      string
		low, high float64
		make      func(in *instrument, f []float64, s *Standards)
		kind      Kind
		severity  Severity
	}{
		{"load and open exchanged", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Open, s.Load = s.Load, s.Open
		}, KindSwapped, Refuse},
		{"load and short exchanged", 1.7e9, 2.2e9, func(in *instrument, f []float64, s *Standards) {
			s.Short, s.Load = s.Load, s.Short
		}, KindSwapped, Refuse},
		{"all three turned round", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Open, s.Short, s.Load = s.Load, s.Open, s.Short
		}, KindSwapped, Refuse},
		{"short forgotten, open still on", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Short = in.read("short.s1p", f, at50(kit.Open))
		}, KindAlike, Refuse},
		{"one file twice", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Load = s.Short
		}, KindAlike, Refuse},
		{"load forgotten, short still on", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Load = in.read("load.s1p", f, at50(kit.Short))
		}, KindAlike, Refuse},
		{"load at -8 dB", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Load = in.read("load.s1p", f, mismatch(8))
		}, KindLoad, Refuse},
		{"load at -4 dB", 700e6, 2.7e9, func(in *instrument, f []float64, s *Standards) {
			s.Load = in.read("load.s1p", f, mismatch(4))
		}, KindLoad, Refuse},
		{"short through 30 ohm of contact", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Short = in.read("short.s1p", f, at50(Load{ResistanceOhm: 30, Offset: kit.Short.Offset}))
		}, KindSourceMatch, Doubtful},
		{"open 4 mm longer than defined", 2e9, 6e9, func(in *instrument, f []float64, s *Standards) {
			longer := kit.Open
			longer.Offset.DelayS += 15e-12
			s.Open = in.read("open.s1p", f, at50(longer))
		}, KindSourceMatch, Doubtful},
		{"loose short", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Short = in.read("short.s1p", f, func(at float64) complex128 {
				if at > 4e8 && at < 5e8 { // opens for a moment by some ohms
					return Load{ResistanceOhm: 3, Offset: kit.Short.Offset}.Reflection(at, 50)
				}
				return kit.Short.Reflection(at, 50)
			})
		}, KindLoose, Doubtful},
		{"transmitter in the load", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			s.Load.Gamma[200] += 0.05
		}, KindLoose, Doubtful},
		{"noisy open", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			in.noise = 0.02
			s.Open = in.read("open.s1p", f, at50(kit.Open))
		}, KindNoise, Doubtful},
		{"attenuator in the way", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			for _, sw := range s.list() {
				for k := range sw.Gamma {
					sw.Gamma[k] *= 0.03
				}
			}
		}, KindTracking, Doubtful},
		{"amplifier in the way", 5e6, 1e9, func(in *instrument, f []float64, s *Standards) {
			for _, sw := range s.list() {
				for k := range sw.Gamma {
					sw.Gamma[k] *= 4
				}
			}
		}, KindTracking, Doubtful},
	} {
		f := grid(c.low, c.high, 1001)
		for seed := range uint64(10) {
			in := newInstrument(seed)
			standards := in.standards(kit, f)
			c.make(in, f, &standards)
			terms, problems, err := Solve(kit, standards)
			if want := fmt.Sprintf("%s %s", c.severity, c.kind); kinds(problems) != want {
				t.Errorf("%s, seed %d: %q, want %q: %v", c.name, seed, kinds(problems), want, problems)
				continue
			}
			if problems[0].Text == "" || problems[0].Mend == "" {
				t.Errorf("%s: no text or no mend: %+v", c.name, problems[0])
			}
			var refused *Refusal
			if errors.As(err, &refused) != (c.severity == Refuse) {
				t.Errorf("%s, seed %d: error %v", c.name, seed, err)
			}
			if terms == nil {
				continue // no solution at all, refused above
			}
			// Who insists gets a sweep that says what it is.
			corrected, err := terms.Correct(in.read("line.s1p", f, feeder(50e-9)))
			if err != nil {
				continue
			}
			if corrected.Correction != sweep.Doubtful || !strings.HasPrefix(Notice(corrected), "CALIBRATION IN DOUBT") || !strings.Contains(Notice(corrected), problems[0].Text) {
				t.Errorf("%s, seed %d: corrected as %v, notice %q", c.name, seed, corrected.Correction, Notice(corrected))
			}
		}
	}
}

// TestOpenLooksLikeShort: a kit whose open and short are no mirror images
// shows the two exchanged, on every instrument.
func TestOpenLooksLikeShort(t *testing.T) {
	kit := unbalancedKit()
	for _, band := range [][2]float64{{3e9, 6e9}, {3.3e9, 4.2e9}} {
		f := grid(band[0], band[1], 501)
		for seed := range uint64(30) {
			standards := newInstrument(seed).standards(kit, f)
			standards.Open, standards.Short = standards.Short, standards.Open
			_, problems, err := Solve(kit, standards)
			if kinds(problems) != "refused swapped" || err == nil || !strings.Contains(problems[0].Text, "the open looks like a short") {
				t.Errorf("%v, seed %d: %v", band, seed, problems)
			}
		}
	}
}

// TestSwapBeyondSight: where the kit's open and short are mirror images the
// exchange cannot be seen, and the limits say so; where they are not, they
// say nothing.
func TestSwapBeyondSight(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		kit       *Kit
		limits    int
	}{{5e6, 500e6, fieldKit(), 1}, {1e9, 3e9, IdealKit(50), 1}, {3e9, 6e9, unbalancedKit(), 0}} {
		f := grid(c.low, c.high, 1001)
		terms, _, err := Solve(c.kit, newInstrument(4).standards(c.kit, f))
		if err != nil || len(terms.Limits) != c.limits {
			t.Errorf("%s-%s: limits %q, %v", hz(c.low), hz(c.high), terms.Limits, err)
		}
	}
}

// TestReversedTracking: out of sight by the definitions, an exchange still
// shows on an instrument whose phase counts from its port.
func TestReversedTracking(t *testing.T) {
	kit, f := fieldKit(), grid(5e6, 500e6, 401)
	for seed := range uint64(20) {
		in := newInstrument(seed)
		in.gain = 1
		standards := in.standards(kit, f)
		exchanged := Standards{Open: standards.Short, Short: standards.Open, Load: standards.Load}
		for _, c := range []struct {
			Standards
			remark bool
		}{{standards, false}, {exchanged, true}} {
			terms, _, err := Solve(kit, c.Standards)
			if err != nil || len(terms.Limits) != 1 || strings.Contains(terms.Limits[0], "what an exchange looks like") != c.remark {
				t.Errorf("seed %d, exchanged %v: limits %q, %v", seed, c.remark, terms.Limits, err)
			}
		}
	}
}

// TestCondition: open and short of offsets a quarter turn apart coincide near
// one frequency.
func TestCondition(t *testing.T) {
	kit := fieldKit()
	kit.Open.Offset.DelayS = kit.Short.Offset.DelayS + 1/(4*5e9)
	f := grid(1e9, 6e9, 1001)
	in := newInstrument(2)
	_, problems, err := Solve(kit, in.standards(kit, f))
	var got *Problem
	for i := range problems {
		if problems[i].Kind == KindCondition {
			got = &problems[i]
		}
	}
	if err != nil || got == nil {
		t.Fatalf("problems %v, %v", problems, err)
	}
	// The fringing capacitance lowers the frequency a little.
	if got.Severity != Doubtful || !(got.LowHz > 4e9 && got.LowHz < 5e9 && got.HighHz > got.LowHz && got.HighHz < 5.5e9) {
		t.Errorf("%+v, want a stretch around 4.8 GHz", *got)
	}
}

// TestRoughTerms: a definition that breaks off inside the band cannot
// come from a polynomial, so the solved terms are tried directly.
func TestRoughTerms(t *testing.T) {
	kit, f := fieldKit(), grid(5e6, 1e9, 401)
	in := newInstrument(5)
	var known, raw [3][]complex128
	for i, s := range in.standards(kit, f).list() {
		raw[i] = s.Gamma
		known[i] = make([]complex128, len(f))
		for k, at := range f {
			known[i][k] = [3]Definition{kit.Open, kit.Short, kit.Load}[i].Reflection(at, 50)
			if i == 0 && at > 5e8 {
				known[i][k] *= cmplx.Rect(1, -0.2)
			}
		}
	}
	solved, err := solveTerms(f, known, raw)
	if err != nil {
		t.Fatal(err)
	}
	problems, _ := checkTerms(f, known, raw, solved)
	if len(problems) == 0 {
		t.Fatal("nothing found")
	}
	for _, p := range problems {
		if p.Kind != KindLoose || !strings.HasPrefix(p.Text, "the solved ") || p.LowHz < 4.9e8 || p.HighHz > 5.1e8 {
			t.Errorf("%+v", p)
		}
	}
}

func TestGrids(t *testing.T) {
	kit := fieldKit()
	in := newInstrument(6)
	in.noise, in.delayS = 0, 20e-9
	f := grid(100e6, 900e6, 401) // 2 MHz · 20 ns: 14° a point
	terms, _, err := Solve(kit, in.standards(kit, f))
	if err != nil {
		t.Fatal(err)
	}
	device := feeder(60e-9)

	between := grid(100e6, 900e6, 777)
	got, err := terms.Correct(in.read("line.s1p", between, device))
	if err != nil {
		t.Fatal(err)
	}
	var worst float64
	for k, at := range between {
		worst = max(worst, cmplx.Abs(got.Gamma[k]-device(at)))
	}
	// turnPerPointRad promises 0.2 % at 30°; a cubic at 14° is (14/30)⁴ of it.
	if worst > 2e-4 {
		t.Errorf("interpolated terms leave %g", worst)
	}
	if got.Correction != sweep.Corrected || len(got.Warnings) != 1 || !strings.Contains(got.Warnings[0], "interpolated") {
		t.Errorf("%v %q", got.Correction, got.Warnings)
	}

	coarse, _, err := Solve(kit, in.standards(kit, grid(100e6, 900e6, 81)))
	if err != nil {
		t.Fatal(err)
	}
	sparse, _, err := Solve(kit, in.standards(kit, grid(100e6, 900e6, 41)))
	if err != nil {
		t.Fatal(err)
	}
	if len(coarse.Limits) == 0 || !strings.Contains(strings.Join(coarse.Limits, " "), "too coarsely") {
		t.Errorf("limits %q do not say that looseness was not judged", coarse.Limits)
	}
	for _, c := range []struct {
		name  string
		terms *ErrorTerms
		grid  []float64
		kind  Kind
		says  string
	}{
		{"band left below", terms, grid(50e6, 900e6, 401), KindBand, "the sweep covers 50 MHz to 900 MHz, the standards only 100 MHz to 900 MHz"},
		{"band left above", terms, grid(100e6, 2e9, 401), KindBand, "the calibration is void"},
		{"too coarse", coarse, grid(100e6, 900e6, 201), KindGrid, "between 100 MHz and 110 MHz the instrument's errors turn by"},
		{"ambiguous", sparse, grid(100e6, 900e6, 201), KindGrid, "the standards' points lie 20 MHz apart at 100 MHz"},
	} {
		s, err := c.terms.Correct(in.read("line.s1p", c.grid, device))
		var refused *Refusal
		if s != nil || !errors.As(err, &refused) || refused.Problems[0].Kind != c.kind || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}

	standards := in.standards(kit, f)
	standards.Short = in.read("short.s1p", grid(100e6, 901e6, 401), at50(kit.Short))
	_, _, err = Solve(kit, standards)
	if want := "calibration refused: the frequencies of the open and the short differ: point 2 lies at 102 MHz against 102.002 MHz; measure open, short and load in one go with the same start, stop and number of points"; fmt.Sprint(err) != want {
		t.Errorf("standards on two grids: %v\nwant %s", err, want)
	}
	// What rounding in a file does is no difference.
	rounded := in.read("line.s1p", grid(100e6+10, 900e6+10, 401), device)
	if got, err := terms.Correct(rounded); err != nil || len(got.Warnings) != 0 {
		t.Errorf("a grid off by rounding: %v %v", got, err)
	}
}

func TestCorrectRefuses(t *testing.T) {
	kit, f := fieldKit(), grid(100e6, 900e6, 101)
	in := newInstrument(6)
	terms, _, err := Solve(kit, in.standards(kit, f))
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		spoil func(*sweep.Sweep)
		want  string
	}{
		"twice":     {func(s *sweep.Sweep) { s.Correction = sweep.Corrected }, "correcting line.s1p: it is already corrected; give the raw sweep"},
		"reference": {func(s *sweep.Sweep) { s.ReferenceOhm = 75 }, "calibration refused: the sweep is in 75 ohm, the standards in 50 ohm; measure both with one reference impedance"},
		"falling":   {func(s *sweep.Sweep) { s.FrequencyHz[2] = 1e8 }, "correcting line.s1p: the frequencies do not rise at point 3 (100 MHz); measure it again"},
		"empty":     {func(s *sweep.Sweep) { s.Gamma = nil }, "correcting line.s1p: 101 frequencies and 0 readings; measure it again"},
		"NaN":       {func(s *sweep.Sweep) { s.Gamma[1] = cmplx.NaN() }, "correcting line.s1p: no corrected value at point 2 (108 MHz); measure the standards and the line again"},
	} {
		raw := in.read("line.s1p", slices.Clone(f), feeder(50e-9))
		c.spoil(raw)
		if got, err := terms.Correct(raw); got != nil || fmt.Sprint(err) != c.want {
			t.Errorf("%s: %v\nwant %s", name, err, c.want)
		}
	}
}

// TestActive: a calibration taken with an attenuator makes a line that gives
// back more than it gets.
func TestActive(t *testing.T) {
	kit, f := fieldKit(), grid(100e6, 900e6, 401)
	in := newInstrument(6)
	standards := in.standards(kit, f)
	for _, s := range standards.list() {
		for k := range s.Gamma {
			s.Gamma[k] *= 0.5
		}
	}
	terms, problems, err := Solve(kit, standards)
	if err != nil || problems != nil {
		t.Fatal(problems, err)
	}
	got, err := terms.Correct(in.read("line.s1p", f, func(f float64) complex128 { return cmplx.Rect(0.9, -4*math.Pi*f*50e-9) }))
	if err != nil {
		t.Fatal(err)
	}
	if got.Correction != sweep.Doubtful || len(got.Warnings) != 1 || !strings.Contains(got.Warnings[0], "which no line does") {
		t.Errorf("%v %q", got.Correction, got.Warnings)
	}
}

func TestConditions(t *testing.T) {
	at := time.Date(2031, 5, 4, 9, 0, 0, 0, time.UTC)
	known := func(c float64) Conditions { return Conditions{TemperatureC: c, TemperatureKnown: true} }
	for _, c := range []struct {
		name                string
		calibration, device Conditions
		want                string
	}{
		{"nothing known", Conditions{}, Conditions{}, ""},
		{"one unknown", known(20), Conditions{}, ""},
		{"steady", known(-2), known(2.5), ""},
		{"moved", known(20), known(13), "note temperature"},
		{"moved far", known(20), known(33), "doubtful temperature"},
		{"not a number", known(20), known(math.NaN()), "doubtful temperature"},
		{"same morning", Conditions{At: at}, Conditions{At: at.Add(3 * time.Hour)}, ""},
		{"last week", Conditions{At: at}, Conditions{At: at.Add(150 * time.Hour)}, "note age"},
	} {
		if got := kinds(CheckConditions(c.calibration, c.device)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	// They reach the corrected sweep.
	kit, f := fieldKit(), grid(100e6, 900e6, 101)
	in := newInstrument(6)
	terms, _, err := Solve(kit, in.standards(kit, f))
	if err != nil {
		t.Fatal(err)
	}
	terms.Problems = append(terms.Problems, CheckConditions(known(20), known(33))...)
	got, err := terms.Correct(in.read("line.s1p", f, feeder(50e-9)))
	if err != nil || got.Correction != sweep.Doubtful || !strings.Contains(Notice(got), "calibrated at 20.0 °C, swept at 33.0 °C") {
		t.Errorf("%v, %v: %s", got.Correction, err, Notice(got))
	}
}

func TestNotice(t *testing.T) {
	for c, want := range map[sweep.Correction]string{
		sweep.AssumedCorrected: "", sweep.Corrected: "",
		sweep.Doubtful: "CALIBRATION IN DOUBT.", sweep.Uncorrected: "NOT CALIBRATED.", sweep.Correction(99): "NOT CALIBRATED.",
	} {
		got := Notice(&sweep.Sweep{Correction: c})
		if want == "" && got != "" || !strings.HasPrefix(got, want) {
			t.Errorf("state %d: %q, want %q", c, got, want)
		}
	}
}
