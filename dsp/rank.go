package dsp

import "math"

// Ranked returns what would stand at index k were v, whose order it changes,
// sorted: C. A. R. Hoare, "Algorithm 65: Find", Commun. ACM 4(7), 1961 (from
// memory), with the middle of three as the pivot.
func Ranked(v []float64, k int) float64 {
	low, high := 0, len(v)-1
	for low < high {
		a, b, c := v[low], v[(low+high)/2], v[high]
		pivot := math.Max(math.Min(a, b), math.Min(math.Max(a, b), c))
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	return v[k]
}
