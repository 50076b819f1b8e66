package batch

import (
	"context"
	"sync"
)

// heldPerWorker is how many finished rows wait, per worker, for the row of a
// sweep before theirs.
const heldPerWorker = 32

// Run judges the items with so many workers at a time and gives each the rows, in
// the items' order, from one goroutine. It ends with the error of each, or with
// ctx's; rows that are not given by then are lost.
func (j *Judge) Run(ctx context.Context, items []Item, workers int, each func(*Row) error) error {
	ctx, cancel := context.WithCancel(ctx)
	var all sync.WaitGroup
	defer all.Wait()
	defer cancel()
	type job struct {
		path string
		row  chan *Row
	}
	jobs, waiting := make(chan job), make(chan chan *Row, heldPerWorker*workers)
	all.Go(func() {
		defer close(waiting)
		defer close(jobs)
		for _, item := range items {
			one := job{item.Path, make(chan *Row, 1)}
			select {
			case waiting <- one.row:
			case <-ctx.Done():
				return
			}
			select {
			case jobs <- one:
			case <-ctx.Done():
				return
			}
		}
	})
	for range workers {
		all.Go(func() {
			for one := range jobs {
				one.row <- j.Sweep(ctx, one.path) // has room
			}
		})
	}
	for row := range waiting {
		select {
		case judged := <-row:
			if err := ctx.Err(); err != nil { // then it may be nil
				return err
			}
			if err := each(judged); err != nil {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return ctx.Err()
}
