package loop

import (
	"context"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// The fast loop looks at one thing, the level in the pilot cell, several times
// a second while the relay is closed, and can do one thing: open it. It decides
// nothing else, so that the core goes on ticking once a second on readings of
// one rhythm: its medians, means and windows would count a voltage twice that
// was read once. The guard keeps the relay open until the core was told, in the
// next tick, what was seen; the core raises the finding and the permit is
// blocked by its rules from there on.
//
// Nothing else is worth the bus time. A feedback contact tells of a contactor
// that does not obey, which no order to it mends. A hydrogen sensor takes tens of
// seconds to show most of a step, many ticks.

// leastDry is how many samples must agree, whatever the time: a bubble at the
// probe is not the level.
const leastDry = 3

// fast watches one bay between the ticks. The zero value is not usable.
type fast struct {
	source Source
	within time.Duration // for which the level must show dry
	panics panics

	closed chan struct{} // tells that the relay was closed
	bareAt atomic.Uint64 // mm as a float64's bits: at or below, the lowest cell is bare

	mu    sync.Mutex    // guards what follows
	seen  reading.Level // what opened the relay and the core has not been told of
	trips uint64        // how often it did
}

func newFast(s Source, within time.Duration) *fast {
	return &fast{source: s, within: within, closed: make(chan struct{}, 1)}
}

// run samples while the guard's relay is closed and sleeps while it is open.
func (f *fast) run(ctx context.Context, g *guard) {
	t := time.NewTimer(0)
	defer t.Stop()
	for {
		for g.isClosed() {
			f.panics.contain(func() { f.look(ctx, g, t) })
			if !sleep(ctx, t, f.within/2) {
				return
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-f.closed:
		}
	}
}

// look takes one sample and, while the probe shows dry, further ones soon after
// each other. A sample that failed proves nothing, neither way: a level that
// stays unknown is for the ticks to judge.
func (f *fast) look(ctx context.Context, g *guard, t *time.Timer) {
	var since time.Duration
	for n := 0; ; {
		var r bay.Readings
		f.source.Sample(ctx, &r)
		switch c := r.Level; {
		case !c.OK() && n == 0, c.OK() && !(c.LowMM <= math.Float64frombits(f.bareAt.Load())):
			return
		case !c.OK():
		case n == 0:
			n, since = 1, c.At
		default:
			n++
			if n >= leastDry && c.At-since >= f.within {
				f.trip(g, c)
				return
			}
		}
		if !sleep(ctx, t, f.within/8) {
			return
		}
	}
}

// sleep is false when ctx has ended.
func sleep(ctx context.Context, t *time.Timer, d time.Duration) bool {
	t.Reset(d)
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// trip notes why before it opens the relay, so that the tick that finds it open
// finds the reason too.
func (f *fast) trip(g *guard, c reading.Level) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.seen = c
	if !g.trip() {
		f.seen = reading.Level{}
		return
	}
	f.trips++
}

// take gives once what has opened the relay.
func (f *fast) take() reading.Level {
	f.mu.Lock()
	defer f.mu.Unlock()
	c := f.seen
	f.seen = reading.Level{}
	return c
}

// follow is called after each tick's order to the relay.
func (f *fast) follow(core *bay.Bay, closed bool) {
	f.bareAt.Store(math.Float64bits(core.BareAtMM()))
	if closed {
		select {
		case f.closed <- struct{}{}:
		default:
		}
	}
}

// FastTrips counts how often the fast loop has opened a relay.
func (l *Loop) FastTrips() (n uint64) {
	for _, b := range l.bays {
		if b.fast != nil {
			b.fast.mu.Lock()
			n += b.fast.trips
			b.fast.mu.Unlock()
		}
	}
	return n
}
