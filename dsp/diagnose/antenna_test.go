package diagnose

import (
	"math"
	"math/cmplx"
	"testing"

	"downlead/cables"
	"downlead/dsp/linemodel"
	"downlead/dsp/simulate"
	"downlead/dsp/sweep"
)

// A fault of an antenna is told by how far its band is out, as the simulated
// antenna itself has it, for every way in which one goes wrong.
func TestAntennaOutOfSpecification(t *testing.T) {
	for _, mode := range []string{"detuned", "arm-lost", "poor-match"} {
		s := clearLine(cables.Antenna, simulate.Fault{Cause: "antenna", Mode: mode, ReturnLossDB: 8})
		found, truth := diagnosed(t, s)
		faults := faultsOf(found)
		if len(faults) != 1 || faults[0].Cause != AntennaFault {
			t.Errorf("%s: %d faults, %+v", mode, len(faults), faults)
			continue
		}
		f := faults[0]
		is := truth.Faults[0].Severity["in_band_worst_return_loss_db"].(float64)
		if got := told(t, f, "return loss of "+number); math.Abs(got-is) > 0.7 {
			t.Errorf("%s: told %.1f dB at its worst, is %.1f dB", mode, got, is)
		}
		if got := told(t, f, number+" dB short of the 16.0 dB"); math.Abs(got-(16-is)) > 0.7 {
			t.Errorf("%s: told to be %.1f dB short, is %.1f dB", mode, got, 16-is)
		}
		if f.Confidence < 0.8 {
			t.Errorf("%s: confidence %.2f", mode, f.Confidence)
		}
	}
}

// An antenna that is worse than both the limit and its record by more than the sweep may be wrong is out of limits,
// however seldom antennas are; one that may be as its record is not.
func TestAntennaBeyondDoubt(t *testing.T) {
	for _, c := range []struct {
		worstDB float64
		want    bool
	}{{10, true}, {12, false}} {
		s := band(clearLine(cables.Antenna, simulate.Fault{Cause: "antenna", ReturnLossDB: c.worstDB}), 700e6, 2700e6, 801)
		s.Line.Load.BandHz, s.Line.Load.ReturnLossDB = [2]float64{1537e6, 1844e6}, 14.4
		found, _ := diagnosed(t, s)
		faults := faultsOf(found)
		if told := len(faults) == 1 && faults[0].Cause == AntennaFault; told != c.want || !c.want && len(faults) > 0 {
			t.Errorf("%.0f dB, limit 14.0 and record 14.4 dB: out of limits: %v", c.worstDB, told)
		}
	}
}

// A contact, water or a break at the antenna's connector is not the antenna.
func TestAtTheAntennasConnector(t *testing.T) {
	for _, c := range []struct {
		name    string
		fault   simulate.Fault
		cause   Cause
		pattern string
		want    float64
	}{
		{"contact", simulate.Fault{Cause: "poor-contact", SeriesOhm: 19}, PoorContact, "series resistance " + number, 19},
		{"water", simulate.Fault{Cause: "water-in-connector", ShuntSiemens: 8e-3, ShuntFarad: 1e-12, SeriesOhm: 0.1, LossTangent: 0.04}, WaterInConnector, "conductance across the line " + number, 8},
		{"open", simulate.Fault{Cause: "open-circuit", ShuntFarad: 0.05e-12}, OpenCircuit, "", 0},
		{"short", simulate.Fault{Cause: "short-circuit", SeriesHenry: 0.1e-9}, ShortCircuit, "", 0},
	} {
		c.fault.DistanceM = 19 // the far end
		found, _ := diagnosed(t, clearLine(cables.Antenna, c.fault))
		faults := faultsOf(found)
		if len(faults) != 1 || faults[0].Cause != c.cause || math.Abs(faults[0].DistanceM-19) > 0.1 {
			t.Errorf("%s: %d faults, %+v", c.name, len(faults), faults)
			continue
		}
		if c.pattern != "" {
			if got := told(t, faults[0], c.pattern); math.Abs(got/c.want-1) > 0.2 {
				t.Errorf("%s: told %.1f, is %.1f", c.name, got, c.want)
			}
		}
	}
}

// Without a mirror anywhere in the sweep, and no delay that a long line's
// tolerance would leave, contact and antenna look alike, and that is said.
func TestAntennaAndContactAreAlikeInItsBand(t *testing.T) {
	s := clearLine(cables.Antenna, simulate.Fault{Cause: "poor-contact", DistanceM: 19, SeriesOhm: 60})
	s.Sweep = simulate.Grid{Segments: []simulate.Segment{{LowHz: 1710e6, HighHz: 2170e6, Points: 401}}}
	s.Antenna.Model = "wide-band"
	found, _ := diagnosed(t, s)
	faults := faultsOf(found)
	if len(faults) != 1 {
		t.Fatalf("%d faults, %+v", len(faults), faults)
	}
	f := faults[0]
	of := map[Cause]float64{f.Cause: f.Confidence}
	for _, x := range f.Alternatives {
		of[x.Cause] = x.Confidence
	}
	if f.Confidence > 0.8 || of[PoorContact] < 0.1 || !has(f.Evidence, "one port cannot tell here whether it is") {
		t.Errorf("confidence %.2f, alternatives %v, evidence %q", f.Confidence, f.Alternatives, f.Evidence)
	}
}

// What takeOff takes off is what the model of the line puts on.
func TestTakingOffACircuit(t *testing.T) {
	hz := evenly(100e6, 900e6, 9)
	path, err := siteLine().Path()
	if err != nil {
		t.Fatal(err)
	}
	fit := linemodel.NewFit(path, hz, make([]complex128, len(hz)))
	fit.Load = linemodel.NewLoad(&fit.Medium, path.LengthM(), 0, 1e-9, 1, fit.Weight)
	for k, f := range hz {
		fit.Load.Gamma[k] = cmplx.Rect(0.6+0.3*f/1e9, -4e-8*f)
	}
	b := &bench{fit: fit, path: path, load: cables.Antenna}
	a := &antennaSeen{hz: hz, low: 300e6, high: 400e6, promisedDB: 16, sigma: 0.01, placeSigmaM: 0.01}
	for _, h := range a.antennaCircuits(fit.MiddleHz, hz[len(hz)-1]) {
		if len(h.fits) == 0 {
			continue
		}
		values := append([]float64(nil), h.log...)
		c := antennaTrial{atAntenna: h, values: values}
		p := c.trial(fit).point
		fit.Insert(p)
		fit.Evaluate()
		a.gamma = append([]complex128(nil), p.Local...)
		bench := b.newAntennaBench(a)
		bench.shift(0)
		bench.takeOff(&h, values)
		for k, got := range bench.left {
			if want := fit.Load.Gamma[k]; cmplx.Abs(got-want) > 1e-9 {
				t.Errorf("%s %v at %.0f MHz: %v behind it, is %v", h.cause, h.fits, hz[k]/1e6, got, want)
			}
		}
		fit.Remove(p)
	}
}

// The place that a band is reflected from is that of a delay in cable.
func TestDelayInTheBand(t *testing.T) {
	const velocityFactor = 0.8
	for _, metres := range []float64{-0.4, 0, 0.3, 2} {
		a := &antennaSeen{low: 800e6, high: 900e6, sigma: 0.01, worstDB: 8}
		for _, f := range evenly(500e6, 1200e6, 701) {
			rho := 0.9
			if f >= a.low && f <= a.high {
				rho = sweep.MagnitudeFromReturnLoss(8 + 20*math.Abs(f-850e6)/100e6)
			}
			a.hz, a.gamma = append(a.hz, f), append(a.gamma, cmplx.Rect(rho, -2*math.Pi*f*2*metres/(cables.SpeedOfLight*velocityFactor)))
		}
		a.delay(velocityFactor)
		if math.Abs(a.delayM-metres) > 1e-6 {
			t.Errorf("%g m: %g m", metres, a.delayM)
		}
		if !(a.delaySigmaM > 0 && a.delaySigmaM < 0.02) {
			t.Errorf("%g m: sigma %g m", metres, a.delaySigmaM)
		}
	}
	if got := (&antennaSeen{delaySigmaM: math.Inf(1)}).whence(); got != "" {
		t.Errorf("of no delay it says %q", got)
	}
}

// What the band comes back from is in front of the antenna only where locating would not have seen it.
func TestInFrontOfTheAntenna(t *testing.T) {
	for _, c := range []struct {
		delayM   float64
		possible bool
	}{{0.3, false}, {-0.3, true}, {-1.9, false}} {
		b := &antennaBench{antennaSeen: &antennaSeen{delayM: c.delayM, delaySigmaM: 0.02, placeSigmaM: 0.05}, hiddenM: 0.4}
		if cost := b.delayCost(&atAntenna{cause: Unnamed}, 0); math.IsInf(cost, 1) == c.possible {
			t.Errorf("from %g m: cost %g, possible %v", c.delayM, cost, c.possible)
		}
	}
}

// A resonance that takes up less than all that arrives advances the phase, so that an antenna at fault may seem to reflect from in
// front of its connector: it is likelier than what nobody found there, as far as locating leaves the place to it.
func TestAntennaThatAdvances(t *testing.T) {
	prior := map[Cause]float64{}
	seen := &antennaSeen{delaySigmaM: 0.02, placeSigmaM: 0.05, worstDB: 8, promisedDB: 16}
	for _, h := range seen.antennaCircuits(300e6, 500e6) {
		if _, met := prior[h.cause]; !met {
			prior[h.cause] = h.prior
		}
	}
	for _, c := range []struct {
		delayM float64
		want   bool
	}{{-0.3, true}, {-0.8, true}, {-1.9, false}} {
		seen.delayM = c.delayM
		b := &antennaBench{antennaSeen: seen, hiddenM: 1}
		antenna := prior[AntennaFault] - b.delayCost(&atAntenna{cause: AntennaFault}, 0)
		unnamed := prior[Unnamed] - b.delayCost(&atAntenna{cause: Unnamed}, 0)
		if c.want && antenna < unnamed || !c.want && antenna > -10 {
			t.Errorf("from %g m: antenna %.2f, what nobody found %.2f", c.delayM, antenna, unnamed)
		}
	}
}

// A deep dent just in front of an antenna makes it look bad: the dent is told, and that it hides how good the antenna is.
func TestDentHidesTheAntenna(t *testing.T) {
	s := drawn(t, 90012, DentOrKink)
	s.Faults[0].ImpedanceOhm = 22.6
	found, truth := diagnosed(t, s)
	alone(t, found, DentOrKink, truth.Faults[0].DistanceM, 0.2)
}
