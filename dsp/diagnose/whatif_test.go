package diagnose

import (
	"context"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// |Γ| = 10^(−14/20) = 0.19953 behind 3 dB of loss, |S21| = 0.70795: what comes
// back is 0.19953·0.70795² = 0.1000, or 20 dB.
func TestMaskedReturnLoss(t *testing.T) {
	if got := maskedReturnLossDB(14, 3); got != 20 {
		t.Errorf("14 dB behind 3 dB is %g dB", got)
	}
	// Against the cable package's chain matrices: 50 m of cable in its own
	// impedance, whose skin effect makes it slightly complex.
	line := siteLine()
	path, err := line.Path()
	if err != nil {
		t.Fatal(err)
	}
	f := []float64{1e9}
	load := complex(math.Pow(10, -14.0/20), 0)
	g := path.Cascade().Reflection(f, func(float64) complex128 { return load }, 50)
	loss := real(path.Theta(1e9, path.LengthM())) / cables.NeperPerDB
	near(t, "loss of 50 m at 4 dB/100 m", loss, 2, 1e-3)
	if got, want := sweep.ReturnLossFromMagnitude(cmplx.Abs(g[0])), maskedReturnLossDB(14, loss); math.Abs(got-want) > 0.1 {
		t.Errorf("%.3f dB by chain matrices, %.3f dB by the formula", got, want)
	}
}

// siteFit is the fit of the site's line with an antenna of load, the points put
// in by change, and a sweep that it explains but for a residual.
func siteFit(t *testing.T, line *cables.Line, load float64, residual complex128, change func(*linemodel.Fit)) (*linemodel.Fit, *sweep.Sweep) {
	t.Helper()
	fit := testFit(t, line, 1710e6, 2170e6, 201)
	fit.Load = linemodel.NewLoad(&fit.Medium, fit.Path.LengthM(), 0, 1e-9, 1, fit.Weight)
	for k := range fit.Load.Gamma {
		fit.Load.Gamma[k] = complex(load, 0)
	}
	fit.Load.Taps[0] = complex(load, 0)
	change(fit)
	fit.Forward()
	s := &sweep.Sweep{Name: "site", FrequencyHz: fit.FrequencyHz, ReferenceOhm: 50}
	for _, g := range fit.Sum {
		s.Gamma = append(s.Gamma, g+residual)
	}
	copy(fit.Measured, s.Gamma)
	fit.Evaluate()
	return fit, s
}

func TestMaskingIsToldInNumbers(t *testing.T) {
	line := siteLine()
	// An antenna of 0.5: 6.02 dB, VSWR 3. At 1.94 GHz the 50 m lose 4·√1.94·0.5 =
	// 2.786 dB; at 1.71 GHz, where it is least, 2.615 dB: 6.02 + 5.23 = 11.25 dB.
	fit, s := siteFit(t, line, 0.5, 0, func(*linemodel.Fit) {})
	want := []string{
		"the line loses 2.8 dB one way at 1.94 GHz by its record, so what the antenna throws back reaches the port 5.6 dB weaker",
		"worst return loss over 1.71–2.17 GHz: 11.3 dB (VSWR 1.75) at the port, 6.0 dB (VSWR 3.00) at the antenna's connector at 1.71 GHz with the line's loss removed; the record gives it 15.0 dB",
		// 13.98 − 5.57 = 8.41 dB: 0.3798, VSWR 2.22; −5.57 dB: 0.5265, VSWR 3.22.
		"a total reflection in the antenna's place would read 5.6 dB (VSWR 3.22) at the port, and the port's limit of VSWR 1.50 (14.0 dB) lets an antenna of 8.4 dB (VSWR 2.22) pass",
	}
	got := maskingWords(s, line, fit, 0)
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	// Loss that the record does not know is in the fitted antenna: 1 dB of it one
	// way at 1.94 GHz is 2·√(2.17/1.94) = 2.115 dB there and back at 2.17 GHz, which
	// leaves the antenna 6.021 − 2.115 = 3.905 dB: 0.638, VSWR 4.52.
	got = maskingWords(s, line, fit, 1)
	if !strings.Contains(got[0], "3.8 dB one way") || !strings.Contains(got[0], "excess found included") || !strings.Contains(got[1], "3.9 dB (VSWR 4.52)") {
		t.Errorf("with excess loss: %q", got)
	}
	line.Limits.VSWR = 3.5
	if got = maskingWords(s, line, fit, 0); !strings.Contains(got[2], "cannot tell any antenna from none") {
		t.Errorf("a limit that nothing misses: %q", got[2])
	}
	line.Load.Kind = cables.Termination
	if got = maskingWords(s, line, fit, 0); got != nil {
		t.Errorf("a termination masks: %q", got)
	}
}

func TestRepairedVerdict(t *testing.T) {
	line := siteLine()
	var contact, dent *linemodel.Point
	residual := complex(0.01, 0)
	fit, s := siteFit(t, line, 0.1, residual, func(fit *linemodel.Fit) {
		contact = fit.NewPoint(2.5, linemodel.Series)
		contact.Flat = 0.6 // 30 ohm: 0.6/2.6, VSWR 1.6 and more
		dent = fit.NewPoint(30, linemodel.Shunt)
		dent.Rising = 0.2
		for _, p := range []*linemodel.Point{contact, dent} {
			fit.Sample(p)
			fit.Insert(p)
		}
	})
	before := judge(s, line)
	if before.Passes {
		t.Fatalf("the faults keep the limit: VSWR %.2f", before.WorstVSWR)
	}
	cost, points := fit.Cost, len(fit.Points)
	// The truth: the same line without the contact, by a model of its own.
	_, mended := siteFit(t, line, 0.1, residual, func(fit *linemodel.Fit) {
		p := fit.NewPoint(30, linemodel.Shunt)
		p.Rising = 0.2
		fit.Sample(p)
		fit.Insert(p)
	})
	want := judge(mended, line)
	after := judge(withoutPoints(fit, []*linemodel.Point{contact}, s), line)
	if math.Abs(after.WorstVSWR-want.WorstVSWR) > 1e-9 || after.AtHz != want.AtHz || !after.Passes {
		t.Errorf("repaired %+v, want %+v", after, want)
	}
	if fit.Cost != cost || len(fit.Points) != points || fit.Points[0] != contact {
		t.Error("the fit is not as it was")
	}
	if text := repairedWords("this fault", before, after, true); !strings.Contains(text, "instead of "+vswrWords(before)) || !strings.HasSuffix(text, "inside the limit of 1.50: it explains the failure") {
		t.Error(text)
	}
	after = judge(withoutPoints(fit, []*linemodel.Point{dent}, s), line)
	if text := repairedWords("this fault", before, after, true); after.Passes || !strings.HasSuffix(text, "still outside the limit of 1.50: it is not all that is wrong") {
		t.Errorf("without the dent: %+v, %s", after, text)
	}
	// A point recognised as interference does not count.
	s.Gamma[100] += 0.9
	fit.Weight[100] = 0
	if after = judge(withoutPoints(fit, []*linemodel.Point{contact}, s), line); math.Abs(after.WorstVSWR-want.WorstVSWR) > 1e-9 {
		t.Errorf("interference makes it %.3f, want %.3f", after.WorstVSWR, want.WorstVSWR)
	}
	if withoutPoints(fit, nil, s) != nil {
		t.Error("repairing nothing has a verdict")
	}
}

func TestATotalReflectionHidesTheRepair(t *testing.T) {
	line := siteLine()
	for name, c := range map[string]struct {
		form linemodel.Form
		flat float64
	}{"an open": {linemodel.Step, 0.95}, "a short": {linemodel.Step, -0.9}, "a kilohm in series": {linemodel.Series, 20}} {
		var p *linemodel.Point
		fit, s := siteFit(t, line, 0.1, 0, func(fit *linemodel.Fit) {
			p = fit.NewPoint(30, c.form)
			p.Flat = c.flat
			fit.Sample(p)
			fit.Insert(p)
		})
		without := withoutPoints(fit, []*linemodel.Point{p}, s)
		if without != nil || !strings.Contains(repairedWords("this fault", judge(s, line), Verdict{}, false), "cannot be told: it hides what lies behind it") {
			t.Errorf("%s: what it hides is said to be known", name)
		}
	}
}

func TestAntennaVerdict(t *testing.T) {
	line := siteLine()
	fit, s := siteFit(t, line, 0.9, 0, func(*linemodel.Fit) {})
	if v := judge(s, line); v.Passes {
		t.Fatalf("%+v", v)
	}
	// 15 dB behind 2.615 dB at 1.71 GHz: 20.23 dB, 0.0974, VSWR 1.216.
	v := judge(withAntenna(fit, 15, s, line), line)
	if !v.Passes || math.Abs(v.WorstVSWR-1.216) > 0.005 {
		t.Errorf("%+v", v)
	}
	if cmplx.Abs(fit.Load.Gamma[0]) != 0.9 {
		t.Errorf("the fit's antenna is now %v", fit.Load.Gamma[0])
	}
	fit.Load = nil
	if withAntenna(fit, 15, s, line) != nil {
		t.Error("a line without an antenna has its verdict")
	}
}

// The model drawn over the measurement, and the sweep without a fault, are what
// the findings promise: the first leaves no more than noise of the sweep, the
// second is judged as the finding's Repaired says.
func TestRunGivesTheModel(t *testing.T) {
	scenario, err := simulate.Demo()
	if err != nil {
		t.Fatal(err)
	}
	made, err := simulate.Run(context.Background(), scenario)
	if err != nil {
		t.Fatal(err)
	}
	found, err := Run(context.Background(), made.Sweep, made.Line, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	if found.Model == nil || !slices.Equal(found.Model.FrequencyHz, made.Sweep.FrequencyHz) {
		t.Fatal("no model at the sweep's frequencies")
	}
	left, all := 0.0, 0.0
	for k, g := range made.Sweep.Gamma {
		left += math.Pow(cmplx.Abs(g-found.Model.Gamma[k]), 2)
		all += math.Pow(cmplx.Abs(g), 2)
	}
	if left > all*1e-3 {
		t.Errorf("the model leaves %.1f dB of the sweep", 10*math.Log10(left/all))
	}
	repaired := 0
	for _, f := range found.Findings {
		if f.Repaired == nil {
			continue
		}
		repaired++
		if v := judge(f.Without, made.Line); v != *f.Repaired {
			t.Errorf("%s: judged %+v, said %+v", f.Cause, v, *f.Repaired)
		}
	}
	if repaired == 0 {
		t.Error("no fault of the demonstration has a verdict after its repair")
	}
}
