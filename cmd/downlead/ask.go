package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strings"
)

// mostAnswerBytes bounds one row of an answer.
const mostAnswerBytes = 64 << 10

// asker asks on the terminal and reads the answers, one a row.
type asker struct {
	out  io.Writer
	rows chan string // closed at the end of the input
}

// newAsker begins to read in. The reader of a terminal cannot be interrupted, so
// it has a goroutine of its own that ends with the input or ctx.
func newAsker(ctx context.Context, in io.Reader, out io.Writer) *asker {
	a := &asker{out, make(chan string)}
	go func() {
		defer close(a.rows)
		scanner := bufio.NewScanner(in)
		scanner.Buffer(make([]byte, 0, 4096), mostAnswerBytes)
		for scanner.Scan() {
			select {
			case a.rows <- strings.TrimSpace(scanner.Text()):
			case <-ctx.Done():
				return
			}
		}
	}()
	return a
}

// ask shows the question and waits for a row. more is false at the end of the
// input. The error is ctx's.
func (a *asker) ask(ctx context.Context, question string) (answer string, more bool, err error) {
	fmt.Fprint(a.out, question)
	select {
	case answer, more = <-a.rows:
		if !more {
			fmt.Fprintln(a.out)
		}
		return answer, more, ctx.Err()
	case <-ctx.Done():
		return "", false, ctx.Err()
	}
}
