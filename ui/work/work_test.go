package work

import (
	"context"
	"errors"
	"strings"
	"testing"
)

// take waits for a result.
func take[T any](t *testing.T, s *Slot[T], told <-chan struct{}) Result[T] {
	t.Helper()
	for range told {
		if r, ok := s.Take(); ok {
			return r
		}
	}
	t.Fatal("no result")
	return Result[T]{}
}

func slot() (*Slot[int], chan struct{}) {
	told := make(chan struct{}, 16)
	return &Slot[int]{Notify: func() { told <- struct{}{} }}, told
}

func TestLatestWins(t *testing.T) {
	s, told := slot()
	cancelled := make(chan struct{})
	s.Start(func(ctx context.Context) (int, error) {
		<-ctx.Done()
		close(cancelled)
		return 1, nil // a job that pays no heed still does not come through
	})
	s.Start(func(context.Context) (int, error) { return 2, nil })
	if r := take(t, s, told); r.Value != 2 || r.Err != nil {
		t.Errorf("got %v, %v, want the second job's 2", r.Value, r.Err)
	}
	<-cancelled
	s.Wait()
	if _, again := s.Take(); again {
		t.Error("a result can be taken twice")
	}
	if _, running := s.Running(); running {
		t.Error("still running")
	}
}

func TestStopDropsTheResult(t *testing.T) {
	s, _ := slot()
	s.Start(func(ctx context.Context) (int, error) { <-ctx.Done(); return 0, ctx.Err() })
	if _, running := s.Running(); !running {
		t.Error("not running")
	}
	s.Wait()
	if r, ok := s.Take(); ok {
		t.Errorf("a stopped job came through: %v", r)
	}
}

func TestErrorsAndPanicsComeBack(t *testing.T) {
	s, told := slot()
	bad := errors.New("sweep.s1p:3: bad")
	s.Start(func(context.Context) (int, error) { return 0, bad })
	if r := take(t, s, told); !errors.Is(r.Err, bad) {
		t.Errorf("got %v", r.Err)
	}
	s.Start(func(context.Context) (int, error) { panic("boo") })
	if r := take(t, s, told); r.Err == nil || !strings.Contains(r.Err.Error(), "boo") {
		t.Errorf("got %v", r.Err)
	}
}
