package loop

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"bayward/agent/bay"
	"bayward/agent/lease"
)

// Relay is the charge-enable relay of one bay, which its keeper closes only while
// somebody renews a lease. *lease.Relay implements it.
type Relay interface {
	// Lease closes the relay until span after at, by the keeper's clock, or opens it if
	// span is 0; with beat the heartbeat beats once. After an error the relay is open,
	// or opens by the end of its last lease. lease.ErrLine means that it may not have
	// obeyed.
	Lease(at, span time.Duration, beat bool) error
	// Closed reports whether the keeper drove the relay closed when it last answered.
	Closed() bool
}

// guard asks for the leases of one relay, and keeps it open until the core knows what
// else has opened it.
type guard struct {
	relay Relay
	span  time.Duration        // of a lease
	now   func() time.Duration // the keeper's clock

	mu      sync.Mutex // guards the fields below, and the order of the requests
	leased  bool       // the keeper has closed the relay until end
	end     time.Duration
	tripped bool  // opened behind the core's back, and the core does not know yet
	dry     bool  // opened by the fast loop, and the core does not know yet
	err     error // of the last request
	trips   uint64
	ended   bool
}

func newGuard(r Relay, span time.Duration, now func() time.Duration) *guard {
	return &guard{relay: r, span: min(span, lease.Longest), now: now}
}

// refresh asks for a lease for a decision that was begun at a time, or opens the
// relay; with beat the heartbeat beats. It does not close a relay that was opened
// before the core knows. After end it only opens. The error is for the log; a relay
// that has opened by itself is none, because the core learns of it.
func (g *guard) refresh(at time.Duration, closed, beat bool) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	span := time.Duration(0)
	if closed && !g.tripped && !g.dry && !g.ended {
		span = g.span
	}
	err := g.ask(at, span, beat && !g.ended)
	if g.keeper() == bay.KeeperObeys {
		return nil
	}
	return err
}

// ask makes a request and notes what follows from the answer. The caller holds the
// mutex.
func (g *guard) ask(at, span time.Duration, beat bool) error {
	g.lapse()
	was := g.leased
	g.err = request(g.relay, at, span, beat)
	g.leased, g.end = g.err == nil && span > 0, at+span
	if g.err != nil && span > 0 {
		g.trip(was)
	}
	return g.err
}

// lapse notes a lease that is over: also before an order to open, after which nothing else
// would show that the relay had opened by itself. It reports whether there was one. The
// caller holds the mutex.
func (g *guard) lapse() bool {
	over := g.leased && g.now() >= g.end
	if over {
		g.leased = false
		g.trip(true)
	}
	return over
}

// trip notes that the relay is open although the core had it closed. The caller holds
// the mutex.
func (g *guard) trip(was bool) {
	g.tripped = true
	if was {
		g.trips++
	}
}

// drop opens a closed relay between two ticks and keeps it open until takeDry was
// called. It reports whether it opened the relay.
func (g *guard) drop() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.leased {
		return false
	}
	g.dry = true
	_ = g.ask(g.now(), 0, false) // no caller to report to: the next refresh tries again and reports
	return true
}

// takeDry reports once that drop has opened the relay.
func (g *guard) takeDry() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	d := g.dry
	g.dry = false
	return d
}

// takeTrip reports once that the relay was opened behind the core's back. The clock
// alone shows that a lease is over, in a process that was stopped for a while or
// whose keeper is gone; the keeper is then asked for what it has counted, so that its
// next answer has no news.
func (g *guard) takeTrip() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.lapse() {
		_ = request(g.relay, g.now(), 0, false) // the next refresh reports what is wrong
	}
	t := g.tripped
	g.tripped = false
	return t
}

// isClosed reports whether the relay is closed as far as the agent knows.
func (g *guard) isClosed() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.leased && g.now() < g.end
}

// driven reports what the keeper drives; it is not known while the keeper is silent.
func (g *guard) driven() (closed, known bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	over := g.leased && g.now() >= g.end
	return g.relay.Closed() && !over, g.keeper() != bay.KeeperSilent
}

// obeys returns how the keeper answered the last request.
func (g *guard) obeys() bay.Keeper {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.keeper()
}

// keeper is obeys for a caller that holds the mutex.
func (g *guard) keeper() bay.Keeper {
	switch {
	case g.err == nil, errors.Is(g.err, lease.ErrTripped), errors.Is(g.err, lease.ErrLate):
		return bay.KeeperObeys
	case errors.Is(g.err, lease.ErrUnknown):
		return bay.KeeperOther
	case errors.Is(g.err, lease.ErrLine):
		return bay.KeeperFails
	}
	return bay.KeeperSilent
}

// close opens the relay for good. A keeper that is not there or has other lines is an
// error only if it had closed the relay.
func (g *guard) close() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	was := g.leased
	g.ended = true
	err := g.ask(g.now(), 0, false)
	switch k := g.keeper(); {
	case k == bay.KeeperObeys, !was && k != bay.KeeperFails:
		return nil
	}
	return err
}

// request makes one request. A panic on the way is an error like any other: it must
// not stop the relays of other bays from being opened.
func request(r Relay, at, span time.Duration, beat bool) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("relay driver panicked: %v", p)
		}
	}()
	return r.Lease(at, span, beat)
}
