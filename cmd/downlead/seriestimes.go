package main

import (
	"cmp"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"downlead/dsp/sweep"
)

// timed is a sweep of a series and when it was taken.
type timed struct {
	path  string
	sweep *sweep.Sweep
	at    time.Time // zero: not known
}

// dated finds a date and a time of day, with or without signs between.
var dated = regexp.MustCompile(`(\d{4})[-_.]?(\d{2})[-_.]?(\d{2})[T _-]{1,2}(\d{2})[:._-]?(\d{2})[:._-]?(\d{2})(\.\d{1,9})?(Z|[+-]\d{2}:?\d{2})?`)

// timeIn returns the first time that a text states; without a zone it is UTC,
// since only differences matter.
func timeIn(text string) (time.Time, bool) {
	for _, m := range dated.FindAllStringSubmatch(text, -1) {
		var n [6]int
		for i := range n {
			n[i], _ = strconv.Atoi(m[i+1]) // digits only
		}
		zone := time.UTC
		if z := strings.ReplaceAll(m[8], ":", ""); len(z) == 5 {
			hours, _ := strconv.Atoi(z[:3])
			minutes, _ := strconv.Atoi(z[:1] + z[3:])
			zone = time.FixedZone("", hours*3600+minutes*60)
		}
		fraction, _ := strconv.ParseFloat("0"+m[7], 64) // "0" or "0.…"
		at := time.Date(n[0], time.Month(n[1]), n[2], n[3], n[4], n[5], int(1e9*fraction), zone)
		if n[0] > 1900 && int(at.Month()) == n[1] && at.Day() == n[2] && n[3] < 24 && n[4] < 60 && n[5] < 60 {
			return at, true
		}
	}
	return time.Time{}, false
}

// order sorts the sweeps of a series by their times, which come from the
// comments of all files, or the names of all, or, where names sort so, the times of
// change of all; else by their names. It says which.
func order(list []timed) (from string) {
	slices.SortStableFunc(list, func(a, b timed) int { return natural(a.path, b.path) })
	for _, source := range []struct {
		from string
		time func(timed) (time.Time, bool)
	}{
		{"the times in the files' comments", func(t timed) (time.Time, bool) { return timeIn(strings.Join(t.sweep.Comments, "\n")) }},
		{"the times in the files' names", func(t timed) (time.Time, bool) { return timeIn(filepath.Base(t.path)) }},
		{"the order of the names, and the times that the files were changed", func(t timed) (time.Time, bool) {
			info, err := os.Stat(t.path)
			if err != nil {
				return time.Time{}, false
			}
			return info.ModTime().UTC(), true
		}},
	} {
		times := make([]time.Time, len(list))
		all, ascending := true, true
		for i, t := range list {
			var has bool
			times[i], has = source.time(t)
			all = all && has
			ascending = ascending && (i == 0 || times[i].After(times[i-1]))
		}
		if !all || !ascending && strings.HasPrefix(source.from, "the order") {
			continue
		}
		for i := range list {
			list[i].at = times[i]
		}
		slices.SortStableFunc(list, func(a, b timed) int { return a.at.Compare(b.at) })
		return source.from
	}
	return "the order of the names; times are not known"
}

// natural compares texts with the numbers in them as numbers: 2 before 10.
func natural(a, b string) int {
	for a != "" && b != "" {
		x, restA := leading(a)
		y, restB := leading(b)
		i, errA := strconv.ParseUint(x, 10, 64)
		j, errB := strconv.ParseUint(y, 10, 64)
		if errA == nil && errB == nil && i != j {
			return cmp.Compare(i, j)
		}
		if c := strings.Compare(x, y); c != 0 && (errA != nil || errB != nil) {
			return c
		}
		a, b = restA, restB
	}
	return cmp.Compare(len(a), len(b))
}

// leading cuts the digits, or what is no digits, from the front of a text.
func leading(text string) (front, rest string) {
	digit := func(c byte) bool { return c >= '0' && c <= '9' }
	n := 1
	for n < len(text) && digit(text[n]) == digit(text[0]) {
		n++
	}
	return text[:n], text[n:]
}
