package diagnose

import (
	"math"
	"testing"

	"downlead/cables"
	"downlead/dsp/simulate"
)

// Edges as soft as these reflect nothing in the band, and a termination hides delay and loss. What is uneven
// inside still shows, where the band resolves it.
func TestWetCableThatIsUnevenInside(t *testing.T) {
	fault := simulate.Fault{Cause: string(WaterInCable), DistanceM: 7, ExtentM: 1.1, ImpedanceDrop: 0.09, LossTangent: 0.02, TaperM: 0.28, Unevenness: 0.27}
	s := band(clearLine(cables.Termination, fault), 700e6, 2700e6, 801)
	s.Errors.DirectivityDB, s.Errors.SourceMatchDB = 38, 34
	found, _ := diagnosed(t, s)
	alone(t, found, WaterInCable, fault.DistanceM, 0.2)
	if f := nearestFault(t, found, fault.DistanceM); math.Abs(f.ExtentM-fault.ExtentM) > 0.25*fault.ExtentM {
		t.Errorf("over %.2f m, is %.2f m", f.ExtentM, fault.ExtentM)
	}
	if testing.Short() {
		return
	}
	// Drawn lines, of terminations and an antenna.
	for _, seed := range []uint64{81018, 81019, 82017} {
		s := drawn(t, seed, WaterInCable)
		found, truth := diagnosed(t, s)
		alone(t, found, WaterInCable, truth.Faults[0].DistanceM, 0.2)
	}
}

// Neither what a joint leaves at its place nor the roughness of sound cable, which shows the less the farther out it is, is
// taken for cable that is uneven; what is, is, in its place.
func TestRoughStretches(t *testing.T) {
	for _, c := range []struct {
		name                string
		faults              []simulate.Fault
		roughness, from, to float64 // of the stretch; 0: none
	}{
		{"sound", nil, 1e-3, 0, 0},
		{"dent", []simulate.Fault{{Cause: string(DentOrKink), DistanceM: 8, ExtentM: 0.06, ImpedanceOhm: 35}}, 1e-3, 0, 0},
		{"uneven", []simulate.Fault{{Cause: string(WaterInCable), DistanceM: 7, ExtentM: 1.6, ImpedanceDrop: 0.1, LossTangent: 0.01, TaperM: 0.2, Unevenness: 0.3}}, 3e-4, 7, 8.6},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := clearLine(cables.Termination, c.faults...)
			s.AsBuilt = simulate.AsBuilt{JointReturnLossDB: [2]float64{34, 46}, Roughness: c.roughness}
			s.Errors.NoiseDB = -90
			for seed := range uint64(10) {
				s.Seed = seed
				record := seen(t, s, 700, 2700).lineOfRecord()
				found := record.rough(record.base[0])
				if c.from == 0 {
					for _, w := range found {
						t.Errorf("seed %d: found from %.2f m on over %.2f m", seed, w.x, w.extent)
					}
					continue
				}
				if len(found) == 0 || found[0].x < c.from-0.6 || found[0].x+found[0].extent > c.to+0.4 || found[0].extent < 0.5*(c.to-c.from) {
					t.Errorf("seed %d: found %+v, want one from %.1f to %.1f m", seed, found, c.from, c.to)
				}
			}
		})
	}
}

// Cable that is unevenly wet is so at every half cell, however long it is and wide the band.
func TestUnevenAllAlong(t *testing.T) {
	s := seen(t, clearLine(cables.Termination, simulate.Fault{Cause: string(WaterInCable), DistanceM: 6, ExtentM: 6, ImpedanceDrop: 0.15, LossTangent: 0.004, TaperM: 0.5, Unevenness: 0.2}), 700, 2700).lineOfRecord()
	s.fit.Restore(s.base[0])
	s.fit.Gains()
	p := s.wetPoint(soakStart{x: 6, extent: 6, taper: 0.5, drop: 0.15})
	s.put(p, true)
	u, _ := s.unevenly(trial{cause: WaterInCable, point: p, state: s.fit.Save(), score: math.Inf(-1)})
	half := s.fit.Cell(6) * (1 - 0.15) / 2
	if want := (6 - 0.5) / half; math.Abs(float64(len(u.point.Inside))-want) > 2 {
		t.Errorf("%d places, want %.0f", len(u.point.Inside), want)
	}
}
