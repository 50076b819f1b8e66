package dsp

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestRanked holds the selection to the library's sort, ties included.
func TestRanked(t *testing.T) {
	rng := rand.New(rand.NewPCG(60, 1))
	for n := 1; n < 60; n++ {
		for k := range n {
			v := make([]float64, n)
			for i := range v {
				v[i] = float64(rng.IntN(n)) // with ties
			}
			sorted := append([]float64(nil), v...)
			slices.Sort(sorted)
			if got := Ranked(v, k); got != sorted[k] {
				t.Fatalf("index %d of %d: %v, want %v", k, n, got, sorted[k])
			}
		}
	}
}
