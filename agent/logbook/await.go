package logbook

import (
	"slices"

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
