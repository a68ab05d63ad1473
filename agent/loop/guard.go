package loop

import (
	"sync"
	"time"
)

// Relay is the charge-enable output of one bay. It is open when not driven.
type Relay interface {
	// Set orders the relay; an error means that it may not have obeyed.
	Set(closed bool) error
	// Beat toggles the heartbeat for an external timer relay.
	Beat() error
}

// guard opens its relay by itself when the refresh of a closed one is late.
type guard struct {
	relay Relay
	limit time.Duration

	mu      sync.Mutex // guards what follows, and the order of calls to the relay
	timer   *time.Timer
	closed  bool
	tripped bool
	trips   uint64
	ended   bool
}

func newGuard(r Relay, limit time.Duration) *guard {
	g := &guard{relay: r, limit: limit}
	g.timer = time.AfterFunc(limit, g.late)
	g.timer.Stop()
	return g
}

// refresh orders the relay for the next limit. After end it only opens.
func (g *guard) refresh(closed bool) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.timer.Stop()
	g.closed = closed && !g.ended
	err := g.relay.Set(g.closed)
	if err != nil {
		g.closed = false
		_ = g.relay.Set(false) // the caller has the first error
		return err
	}
	if g.closed {
		g.timer.Reset(g.limit)
	}
	return g.relay.Beat()
}

// late runs when a closed relay was not refreshed in time.
func (g *guard) late() {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.closed {
		return
	}
	g.closed, g.tripped = false, true
	g.trips++
	_ = g.relay.Set(false) // nobody to tell: the next refresh tries again and reports
}

// takeTrip tells once that the guard has opened the relay.
func (g *guard) takeTrip() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	t := g.tripped
	g.tripped = false
	return t
}

// isClosed tells what is ordered now.
func (g *guard) isClosed() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.closed
}

// end opens the relay for good.
func (g *guard) end() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.ended, g.closed = true, false
	g.timer.Stop()
	return g.relay.Set(false)
}
