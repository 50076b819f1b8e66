package locate

import (
	"slices"
	"sync"

	"downlead/cables"
	"downlead/dsp/linemodel"
)

// Prepared keeps, from one Find to the next, what depends on the line and the
// frequencies and not on the sweep: a fifth of the work on a plain line. The results
// are the same, to the bit. The zero value is ready; it serves any number of
// goroutines.
type Prepared struct {
	lock sync.Mutex
	idle []*scan
}

// mostIdle is how many scans are kept; two cores and two grids need four.
const mostIdle = 16

// plan is what a scan was made for.
type plan struct {
	path              *cables.Path
	frequencyHz       []float64
	fromM, toM, stepM float64
}

func (p plan) same(q plan) bool {
	return p.path == q.path && p.fromM == q.fromM && p.toM == q.toM && p.stepM == q.stepM && slices.Equal(p.frequencyHz, q.frequencyHz)
}

// scan returns a scan as newScan does, one that was kept if there is one. Without
// all points it is one that will not be kept.
func (p *Prepared) scan(fit *linemodel.Fit, fromM, toM, step float64) (*scan, error) {
	if p == nil || slices.ContainsFunc(fit.Weight, func(w float64) bool { return w <= 0 }) {
		return newScan(fit, fromM, toM, step)
	}
	want := plan{fit.Path, fit.FrequencyHz, fromM, toM, step}
	p.lock.Lock()
	i := slices.IndexFunc(p.idle, func(s *scan) bool { return s.plan.same(want) })
	if i >= 0 {
		s := p.idle[i]
		p.idle = slices.Delete(p.idle, i, i+1)
		p.lock.Unlock()
		copy(s.taper, s.transform.Weights())
		s.behind = nil
		return s, nil
	}
	p.lock.Unlock()
	s, err := newScan(fit, fromM, toM, step)
	if err == nil {
		s.plan = want
		s.plan.frequencyHz = slices.Clone(want.frequencyHz)
	}
	return s, err
}

// keep takes back scans that are no longer used.
func (p *Prepared) keep(scans []*scan) {
	if p == nil {
		return
	}
	p.lock.Lock()
	defer p.lock.Unlock()
	for _, s := range scans {
		if s.plan.path != nil {
			p.idle = append(p.idle, s)
		}
	}
	if over := len(p.idle) - mostIdle; over > 0 { // the oldest
		p.idle = slices.Delete(p.idle, 0, over)
	}
}
