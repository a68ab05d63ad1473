package logbook

import (
	"slices"
	"time"

	"bayward/agent/bay"
)

// takenOrder is an order that a bay has taken.
type takenOrder struct{ bay, order string }

// Await returns a channel that is closed once the event that a bay has taken an order
// is stored. Call it before the order is given, and forget when nobody waits any
// more.
func (r *Recorder) Await(bayName, orderID string) (stored <-chan struct{}, forget func()) {
	key, done := takenOrder{bayName, orderID}, make(chan struct{})
	r.mu.Lock()
	defer r.mu.Unlock()
	r.waiters[key] = append(r.waiters[key], done)
	return done, func() {
		r.mu.Lock()
		defer r.mu.Unlock()
		left := slices.DeleteFunc(r.waiters[key], func(c chan struct{}) bool { return c == done })
		if r.waiters[key] = left; len(left) == 0 {
			delete(r.waiters, key)
		}
	}
}

// answer closes the channels of those who wait for orders of a stored batch. The
// caller holds the mutex.
func (r *Recorder) answer(batch []Entry) {
	for i := range batch {
		for j := range batch[i].Events {
			e := &batch[i].Events[j]
			if e.Kind != bay.OrderTaken {
				continue
			}
			key := takenOrder{batch[i].Bay, e.Order}
			for _, done := range r.waiters[key] {
				close(done)
			}
			delete(r.waiters, key)
		}
	}
}

// Failing reports whether the logbook cannot be written now: the last write failed,
// or the current one has taken too long.
func (r *Recorder) Failing() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.failures > 0 || !r.writing.IsZero() && time.Since(r.writing) > r.opt.StuckAfter
}

// Late reports whether what is offered now will not be stored soon: the last write
// failed, or the current one takes longer than it should.
func (r *Recorder) Late() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.failures > 0 || !r.writing.IsZero() && time.Since(r.writing) > r.opt.LateAfter
}
