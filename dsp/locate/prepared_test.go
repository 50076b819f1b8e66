package locate

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	"downlead/cables"
	"downlead/dsp/sweep"
)

// What is kept from sweep to sweep changes nothing, whatever came before, also
// where points were left out, and for two at a time.
func TestPreparedChangesNothing(t *testing.T) {
	line := plain(t, 0.88, 60)
	line.Load = cables.Load{Kind: cables.Termination, ReturnLossDB: 26}
	var sweeps []*sweep.Sweep
	for i := range 6 {
		rng := rand.New(rand.NewPCG(51, uint64(i)))
		f := grid(401+200*(i/4), 25e6, 1200e6) // two grids
		gamma := noisy(build(line.Path, f, []part{{2.5, inductance(0.4e-9)}, {20 + 5*float64(i), resistance(8)}}, matched), 1e-4, rng)
		if i%2 == 1 {
			gamma[100] += 0.3
		}
		sweeps = append(sweeps, &sweep.Sweep{FrequencyHz: f, Gamma: gamma, ReferenceOhm: 50})
	}
	text := func(s *sweep.Sweep, prepared *Prepared) string {
		r, err := Find(t.Context(), s, line, Settings{Prepared: prepared})
		if err != nil {
			t.Error(err)
			return ""
		}
		out := fmt.Sprint(r.LeftOut, r.NoiseRMS, r.ResidualRMS, r.Model)
		for _, x := range r.Reflections {
			x.Points = nil // addresses
			out += fmt.Sprintf("%+v", x)
		}
		return out
	}
	var want []string
	for _, s := range sweeps {
		want = append(want, text(s, nil))
	}
	prepared := &Prepared{}
	var all sync.WaitGroup
	for worker := range 2 {
		all.Go(func() {
			for round := range 2 {
				for i := range sweeps {
					i = (i*(1+4*worker) + round) % len(sweeps) // in two orders
					if got := text(sweeps[i], prepared); got != want[i] {
						t.Errorf("sweep %d is found differently with what was kept", i)
					}
				}
			}
		})
	}
	all.Wait()
	if len(prepared.idle) == 0 {
		t.Error("nothing was kept")
	}
}
