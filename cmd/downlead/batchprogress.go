package main

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// tally shows how far a long row of equal jobs has come: on a terminal a bar that
// is drawn over, elsewhere a line every so often.
type tally struct {
	to       io.Writer
	terminal bool
	what     string // the jobs in the plural
	all      int
	now      func() time.Time

	begun, shown time.Time
	done         int
}

// How often a tally is shown.
const (
	barEvery  = 200 * time.Millisecond
	lineEvery = 30 * time.Second
)

func newTally(to io.Writer, what string, all int, now func() time.Time) *tally {
	t := now()
	return &tally{to: to, terminal: terminalOf(to) != nil, what: what, all: all, now: now, begun: t, shown: t}
}

// step counts a job as done.
func (t *tally) step() {
	t.done++
	now, every := t.now(), lineEvery
	if t.terminal {
		every = barEvery
	}
	if now.Sub(t.shown) < every {
		return
	}
	t.shown = now
	text := fmt.Sprintf("%d of %d %s, %d %%", t.done, t.all, t.what, 100*t.done/t.all)
	if t.done < t.all {
		perJob := now.Sub(t.begun) / time.Duration(t.done)
		text += ", " + leftText(perJob*time.Duration(t.all-t.done)) + " left"
	}
	if !t.terminal {
		fmt.Fprintln(t.to, text)
		return
	}
	const wide = 24
	full := wide * t.done / t.all
	fmt.Fprintf(t.to, "\r▕%s%s▏ %s (Ctrl-C stops)\x1b[K", strings.Repeat("█", full), strings.Repeat("░", wide-full), text)
}

// end clears the bar.
func (t *tally) end() {
	if t.terminal {
		fmt.Fprint(t.to, "\r\x1b[K")
	}
}

// leftText writes a duration as nobody needs it more exactly.
func leftText(d time.Duration) string {
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%d s", int(d.Seconds())+1)
	case d < 90*time.Minute:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}
