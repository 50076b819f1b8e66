package batch

import (
	"container/heap"
	"slices"
	"strings"
)

// Summary counts rows and holds the worst of them. Set Top before the first.
type Summary struct {
	Top    int             // how many of the worst are held, and of the unusable ones
	Counts map[Outcome]int // how many had which outcome
	// Uncalibrated and InDoubt are how many of them rest on readings that are not
	// calibrated, or on a calibration that is in doubt.
	Uncalibrated, InDoubt int

	worst, broken worstRows
}

// Add counts a row in.
func (s *Summary) Add(row *Row) {
	if s.Counts == nil {
		s.Counts = map[Outcome]int{}
	}
	s.Counts[row.Outcome]++
	switch {
	case row.Uncalibrated():
		s.Uncalibrated++
	case row.InDoubt():
		s.InDoubt++
	}
	if row.Outcome == Unusable {
		s.broken.hold(row, s.Top)
	} else {
		s.worst.hold(row, s.Top)
	}
}

// Total is how many rows were counted.
func (s *Summary) Total() int {
	n := 0
	for _, count := range s.Counts {
		n += count
	}
	return n
}

// Worst returns the worst rows, worst first: out of limits by how far, then with a
// fault by how strongly it reflects, then those that pass by how narrowly.
func (s *Summary) Worst() []*Row { return s.worst.sorted() }

// Broken returns the first unusable ones by path.
func (s *Summary) Broken() []*Row { return s.broken.sorted() }

// worstRows is a heap with the least bad row on top.
type worstRows []*Row

func (h worstRows) Len() int           { return len(h) }
func (h worstRows) Less(i, j int) bool { return compare(h[i], h[j]) > 0 }
func (h worstRows) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *worstRows) Push(row any)      { *h = append(*h, row.(*Row)) }
func (h *worstRows) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}

func (h *worstRows) hold(row *Row, most int) {
	heap.Push(h, row)
	if h.Len() > most {
		heap.Pop(h)
	}
}

func (h worstRows) sorted() []*Row { return slices.SortedFunc(slices.Values(h), compare) }

// compare puts the worse row first, of equals the one whose path does.
func compare(a, b *Row) int {
	aClass, aDegree := a.severity()
	bClass, bDegree := b.severity()
	switch {
	case aClass != bClass:
		return bClass - aClass
	case aDegree > bDegree:
		return -1
	case aDegree < bDegree:
		return 1
	}
	return strings.Compare(a.Path, b.Path)
}
