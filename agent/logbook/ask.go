package logbook

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// ErrNoAnswer is returned when the record did not answer in time: its device hangs or
// is very slow, or another program keeps it locked.
var ErrNoAnswer = errors.New("the record does not answer")

// AnswerWithin bounds how long one query waits for the file; every method that reads
// then ends with ErrNoAnswer. 0, the initial value, waits as long as the disk takes. A
// thread in the kernel cannot be called back, so a query that hangs is left behind; no
// more than a few are, since each keeps one of the reader's connections.
func (r *Reader) AnswerWithin(d time.Duration) { r.patience.Store(int64(d)) }

// ask runs one query, which must be short: it holds a lock on the file.
func ask[T any](ctx context.Context, r *Reader, query func(ctx context.Context, db querier) (T, error)) (T, error) {
	var none T
	patience := time.Duration(r.patience.Load())
	if patience == 0 {
		v, err := query(ctx, r.db)
		return v, answered(err)
	}
	bound, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	select {
	case r.slots <- struct{}{}:
	case <-bound.Done():
		return none, silent(ctx)
	}
	type result struct {
		v   T
		err error
	}
	done := make(chan result, 1)
	go func() {
		defer func() { <-r.slots }()
		v, err := contained(bound, r, query)
		done <- result{v, err}
	}()
	select {
	case got := <-done:
		if got.err != nil && bound.Err() != nil {
			return none, silent(ctx)
		}
		return got.v, answered(got.err)
	case <-bound.Done():
		return none, silent(ctx)
	}
}

// contained keeps a panic over a damaged file from ending the program: the goroutine
// is not its caller's.
func contained[T any](ctx context.Context, r *Reader, query func(ctx context.Context, db querier) (T, error)) (v T, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("a query panicked: %v", p)
		}
	}()
	return query(ctx, r.db)
}

// silent returns why a query was given up.
func silent(ctx context.Context) error {
	if err := ctx.Err(); err != nil { // the caller's own end
		return err
	}
	return ErrNoAnswer
}

// answered replaces the database's word for a file that others keep locked.
func answered(err error) error {
	if busy(err) {
		return fmt.Errorf("%w: %w", ErrNoAnswer, err)
	}
	return err
}
