// Package work runs what takes too long for a frame of the window in the
// background. Of one Slot the latest job wins: starting one cancels the one
// before, whose result is dropped when it comes.
package work

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// Slot runs one kind of job. The zero value is ready. Its methods may be called
// from any goroutine; a frame loop calls Start, Take and Running.
type Slot[T any] struct {
	// Notify is called, from the job's goroutine, when a result is there to be
	// taken; nil: nobody is told.
	Notify func()

	mu         sync.Mutex
	generation uint64
	cancel     context.CancelFunc
	begun      time.Time
	running    bool
	result     *Result[T]
	done       sync.WaitGroup
}

// Result is how a job ended.
type Result[T any] struct {
	Value T
	Err   error
	Took  time.Duration
}

// Start runs job in place of the one that is running. What job uses must not be
// changed by others while it runs. A panic of the job becomes its error.
func (s *Slot[T]) Start(job func(ctx context.Context) (T, error)) {
	ctx, cancel := context.WithCancel(context.Background())
	s.mu.Lock()
	if s.cancel != nil {
		s.cancel()
	}
	s.generation++
	mine, begun := s.generation, time.Now()
	s.cancel, s.begun, s.running, s.result = cancel, begun, true, nil
	s.mu.Unlock()
	s.done.Go(func() {
		defer cancel()
		value, err := guarded(ctx, job)
		s.mu.Lock()
		latest := mine == s.generation && ctx.Err() == nil
		if mine == s.generation {
			s.running = false
		}
		if latest {
			s.result = &Result[T]{value, err, time.Since(begun)}
		}
		s.mu.Unlock()
		if s.Notify != nil {
			s.Notify()
		}
	})
}

func guarded[T any](ctx context.Context, job func(ctx context.Context) (T, error)) (value T, err error) {
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("this is a mistake in the program, not in your files: %v", fault)
		}
	}()
	return job(ctx)
}

// Take returns the result of the latest job, once.
func (s *Slot[T]) Take() (Result[T], bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.result == nil {
		return Result[T]{}, false
	}
	r := *s.result
	s.result = nil
	return r, true
}

// Running says whether a job runs, and since when.
func (s *Slot[T]) Running() (since time.Time, running bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.begun, s.running
}

// Stop cancels the job that runs; its result is dropped.
func (s *Slot[T]) Stop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cancel != nil {
		s.cancel()
	}
	s.generation++
	s.running, s.result = false, nil
}

// Wait stops the job that runs and returns when its goroutine has ended.
func (s *Slot[T]) Wait() {
	s.Stop()
	s.done.Wait()
}
