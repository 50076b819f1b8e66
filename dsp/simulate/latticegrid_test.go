package simulate

import (
	"context"
	"math"
	"math/cmplx"
	"slices"
	"testing"
)

// The paths put on the whole grid of the sweep add up to Γ of the exact cascade,
// which knows no paths.
func TestLatticeOnTheWholeGrid(t *testing.T) {
	s, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	s.AsBuilt.Roughness, s.Errors, s.Baseline = 0, Instrument{}, false
	l, err := Bounces(context.Background(), s, -70)
	if err != nil {
		t.Fatal(err)
	}
	made, err := Measure(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	frequency := made.Sweep.FrequencyHz
	if len(l.FrequencyHz) == len(frequency) {
		t.Fatal("the lattice is not thinned; the test would show nothing")
	}
	left := slices.Clone(made.Sweep.Gamma)
	for i := range l.Paths {
		for k, g := range l.On(i, frequency) {
			left[k] -= g
		}
	}
	if got := 20 * math.Log10(rms(left)); got > -50 { // between the points an antenna turns faster than its straight lines
		t.Errorf("what is left of Γ is %.1f dB, want below -50 dB", got)
	}
	for k, f := range l.FrequencyHz {
		if got := l.On(0, []float64{f})[0]; cmplx.Abs(got-l.Paths[0].Gamma[k]) > 1e-12 {
			t.Fatalf("at %g Hz of the lattice itself %v, want %v", f, got, l.Paths[0].Gamma[k])
		}
	}
}

// MeasureApart shows what Measure and Bounces show, on smooth cable and on rough cable,
// whose unevenness the paths leave out.
func TestMeasureApart(t *testing.T) {
	for _, roughness := range []float64{0, 0.01} {
		s, err := Demo()
		if err != nil {
			t.Fatal(err)
		}
		s.AsBuilt.Roughness = roughness
		made, err := Measure(context.Background(), s)
		if err != nil {
			t.Fatal(err)
		}
		paths, err := Bounces(context.Background(), s, -50)
		if err != nil {
			t.Fatal(err)
		}
		both, apart, err := MeasureApart(context.Background(), s, -50)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(made.Sweep.Gamma, both.Sweep.Gamma) {
			t.Errorf("roughness %g: another sweep", roughness)
		}
		if len(paths.Paths) < 5 || len(paths.Paths) != len(apart.Paths) || math.Abs(paths.RemainderDB-apart.RemainderDB) > 1e-6 {
			t.Errorf("roughness %g: %d paths that leave %g dB, want %d and %g dB", roughness, len(apart.Paths), apart.RemainderDB, len(paths.Paths), paths.RemainderDB)
			continue
		}
		for i := range paths.Paths {
			if !slices.Equal(paths.Paths[i].Gamma, apart.Paths[i].Gamma) || !slices.Equal(paths.Paths[i].Turns, apart.Paths[i].Turns) {
				t.Errorf("roughness %g: path %d is another", roughness, i)
			}
		}
	}
}

// Measure shows what Run shows.
func TestMeasureIsRunsSweep(t *testing.T) {
	s, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	s.Sweep.Segments[0].Points = 51
	s.Errors.Raw = true
	whole, err := Run(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	quick, err := Measure(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(whole.Sweep.Gamma, quick.Sweep.Gamma) || !slices.Equal(whole.Standards.Device.Gamma, quick.Standards.Device.Gamma) {
		t.Error("Measure and Run differ")
	}
	if whole.Truth == nil || quick.Truth != nil {
		t.Error("the truth is there or missing in the wrong one")
	}
}
