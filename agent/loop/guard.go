package loop

import (
	"fmt"
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

// guard opens its relay by itself when the refresh of a closed relay is late.
type guard struct {
	relay Relay
	limit time.Duration

	mu      sync.Mutex // guards the fields below, and the order of calls to the relay
	timer   *time.Timer
	at      time.Time // of the last refresh that closed
	closed  bool
	tripped bool // and the core does not know yet
	dry     bool // opened by the fast loop, and the core does not know yet
	trips   uint64
	ended   bool
}

func newGuard(r Relay, limit time.Duration) *guard {
	g := &guard{relay: r, limit: limit}
	g.timer = time.AfterFunc(limit, g.late)
	g.timer.Stop()
	return g
}

// refresh orders the relay for the next limit. If the guard has opened the relay,
// refresh does not close it before the core knows. After end it only opens. The
// heart beats once for each refresh that the relay obeys.
func (g *guard) refresh(closed bool) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.timer.Stop()
	if g.ended {
		return drive(g.relay, false)
	}
	g.closed = closed && !g.tripped && !g.dry
	if err := drive(g.relay, g.closed); err != nil {
		g.closed = false
		_ = drive(g.relay, false) // the caller has the first error
		return err
	}
	if g.closed {
		g.at = time.Now()
		g.timer.Reset(g.limit)
	}
	return beat(g.relay)
}

// late runs when a closed relay was not refreshed in time.
func (g *guard) late() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.tripIfLate()
}

// tripIfLate checks the clock, because the timer may have waited for a refresh that
// has just come. The caller holds the mutex.
func (g *guard) tripIfLate() {
	if !g.closed || time.Since(g.at) < g.limit {
		return
	}
	g.closed, g.tripped = false, true
	g.trips++
	_ = drive(g.relay, false) // no caller to report to: the next refresh tries again and reports
}

// trip opens a closed relay between two ticks and keeps it open until takeDry was
// called. It reports whether it opened the relay.
func (g *guard) trip() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.closed {
		return false
	}
	g.closed, g.dry = false, true
	g.timer.Stop()
	_ = drive(g.relay, false) // no caller to report to: the next refresh tries again and reports
	return true
}

// takeDry reports once that trip has opened the relay.
func (g *guard) takeDry() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	d := g.dry
	g.dry = false
	return d
}

// takeTrip reports once that the refresh was late, so the relay is open. It does
// not rely on the timer: in a process that was stopped for a while the tick may
// come before it.
func (g *guard) takeTrip() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.tripIfLate()
	t := g.tripped
	g.tripped = false
	return t
}

// isClosed reports whether closed is ordered.
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
	return drive(g.relay, false)
}

// drive sets a relay. A panic of its driver is an error like any other: it must not
// stop the relays of other bays from being opened.
func drive(r Relay, closed bool) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = panicked(p)
		}
	}()
	return r.Set(closed)
}

func beat(r Relay) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = panicked(p)
		}
	}()
	return r.Beat()
}

func panicked(p any) error { return fmt.Errorf("relay driver panicked: %v", p) }
