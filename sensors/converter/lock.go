package converter

import (
	"context"
	"fmt"
)

// Lock lets one caller at a time use a chip. It is not a mutex, because a caller that
// waits behind a stuck transfer must be able to give up.
type Lock chan struct{}

// NewLock returns a free lock.
func NewLock() Lock { return make(Lock, 1) }

// Take waits until the chip is free, or returns the context's error.
func (l Lock) Take(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case l <- struct{}{}:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("wait for the conversion of another input: %w", ctx.Err())
	}
}

// Free gives the chip to the next caller.
func (l Lock) Free() { <-l }
