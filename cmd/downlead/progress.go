package main

import (
	"fmt"
	"io"
	"os"
	"time"
)

// terminalOf returns w when it is a terminal, else nil.
func terminalOf(w io.Writer) *os.File {
	terminal, ok := w.(*os.File)
	if !ok {
		return nil
	}
	if info, err := terminal.Stat(); err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil
	}
	return terminal
}

// working shows on a terminal that something takes long: what, and for how
// many seconds. The function that it returns ends that and clears the row.
func working(stderr io.Writer, what string) (done func()) {
	terminal := terminalOf(stderr)
	if terminal == nil {
		return func() {}
	}
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		for seconds := 0; ; {
			select {
			case <-stop:
				if seconds > 0 {
					fmt.Fprint(terminal, "\r\x1b[K")
				}
				return
			case <-tick.C:
				seconds++
				fmt.Fprintf(terminal, "\r%s, %d s (Ctrl-C stops)", what, seconds)
			}
		}
	}()
	return func() { close(stop); <-stopped }
}

// terminalIn says whether answers come from a terminal.
func terminalIn(r io.Reader) bool {
	f, ok := r.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
