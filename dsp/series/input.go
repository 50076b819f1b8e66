package series

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"downlead/dsp/sweep"
)

// alike says what keeps sweeps from being a series.
func alike(sweeps []*sweep.Sweep) error {
	if len(sweeps) < LeastSweeps {
		return fmt.Errorf("%d sweeps are no series: noise and motion can be told apart from %d on", len(sweeps), LeastSweeps)
	}
	first := sweeps[0]
	for _, s := range sweeps[1:] {
		if len(s.FrequencyHz) != len(first.FrequencyHz) || len(s.Gamma) != len(s.FrequencyHz) {
			return fmt.Errorf("%s has %d points and %s %d: a series needs the same frequencies in all sweeps; leave out those of another setting", s.Name, len(s.FrequencyHz), first.Name, len(first.FrequencyHz))
		}
		if math.Abs(s.ReferenceOhm-first.ReferenceOhm) > 1e-6 {
			return fmt.Errorf("%s is in %g ohm and %s in %g ohm: a series needs the same reference in all sweeps", s.Name, s.ReferenceOhm, first.Name, first.ReferenceOhm)
		}
		for k, f := range s.FrequencyHz {
			if math.Abs(f-first.FrequencyHz[k]) > 1e-6*f {
				return fmt.Errorf("point %d of %s is at %g Hz and that of %s at %g Hz: a series needs the same frequencies in all sweeps; leave out those of another setting", k+1, s.Name, f, first.Name, first.FrequencyHz[k])
			}
		}
	}
	return nil
}

// interference returns, per sweep, the points that single out themselves: far from
// the median of all sweeps against their neighbours in frequency, as what hits the
// sweep from outside, and not as what moves on the line.
func interference(sweeps []*sweep.Sweep) [][]int {
	n := len(sweeps[0].FrequencyHz)
	median := make([]complex128, n)
	re, im := make([]float64, len(sweeps)), make([]float64, len(sweeps))
	for k := range median {
		for i, s := range sweeps {
			re[i], im[i] = real(s.Gamma[k]), imag(s.Gamma[k])
		}
		median[k] = complex(middle(re), middle(im))
	}
	hits := make([][]int, len(sweeps))
	away, around := make([]float64, n), make([]float64, 0, 2*spikeNeighbours)
	for i, s := range sweeps {
		for k, g := range s.Gamma {
			away[k] = cmplx.Abs(g - median[k])
		}
		var hit []int
		for k := range away {
			around = around[:0]
			for j := max(0, k-spikeNeighbours); j < min(n, k+spikeNeighbours+1); j++ {
				if j != k {
					around = append(around, away[j])
				}
			}
			if away[k] > spikesAbove*middle(around) {
				hit = append(hit, k)
			}
		}
		if len(hit) <= int(mostSpikes*float64(n)) { // else they are not single points
			hits[i] = hit
		}
	}
	return hits
}

// meanOf returns the mean sweep, without the hits.
func meanOf(sweeps []*sweep.Sweep, hits [][]int) *sweep.Sweep {
	m := *sweeps[0]
	m.Name, m.TwoPort = "mean", nil
	m.Gamma = make([]complex128, len(m.FrequencyHz))
	count := make([]float64, len(m.FrequencyHz))
	for i, s := range sweeps {
		for k, g := range s.Gamma {
			if _, hit := slices.BinarySearch(hits[i], k); !hit {
				m.Gamma[k] += g
				count[k]++
			}
		}
	}
	for k := range m.Gamma {
		if count[k] == 0 { // hit in all: locate leaves it out
			m.Gamma[k] = sweeps[0].Gamma[k]
			continue
		}
		m.Gamma[k] /= complex(count[k], 0)
	}
	return &m
}
