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

// The fast loop watches one thing, the level in the pilot cell, several times a
// second while the relay is closed, and can do one thing: open it. It decides
// nothing else, so the core keeps ticking once a second on evenly spaced readings;
// otherwise its medians, means and windows would count one reading twice. The guard
// keeps the relay open until the next tick passes the level seen to the core. The
// core then raises the finding, and its rules block the permit.
//
// Nothing else is worth the bus time. A feedback contact shows a contactor that
// does not obey, which no order can fix. A hydrogen sensor takes tens of seconds to
// show most of a step, many ticks.

// leastDry is how many samples must agree, however long they take: a bubble at the
// probe is not the level. fastDrain is how many that show electrolyte make up for one
// that shows dry, so a level that is dry in more than a fifth of the samples opens the
// relay although it never stays so. A wave is such a level; bubbles of a few samples are
// not.
const leastDry, fastDrain = 3, 4

// fast watches one bay between the ticks. The zero value is not usable.
type fast struct {
	source Source
	within time.Duration // how long the level must show dry
	panics panics
	dry    int           // leaky count of dry samples, in parts of 1/fastDrain; at most full
	since  time.Duration // the dry sample with which it began

	closed chan struct{} // signals that the relay was closed
	bareAt atomic.Uint64 // mm as a float64's bits: at or below, the lowest cell is bare

	mu    sync.Mutex    // guards the fields below
	seen  reading.Level // what opened the relay, until the core has it
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
			f.dry = 0
		}
	}
}

// look takes one sample and, while the probe shows dry, more in quick succession. A
// failed sample proves nothing either way: a level that stays unknown is left to
// the ticks.
func (f *fast) look(ctx context.Context, g *guard, t *time.Timer) {
	for isDry := false; ; {
		var r bay.Readings
		f.source.Sample(ctx, &r)
		switch c := r.Level; {
		case !c.Usable() && !isDry:
			return
		case !c.Usable():
		case !(c.LowMM <= math.Float64frombits(f.bareAt.Load())):
			f.dry = max(f.dry-1, 0)
			return
		case f.isBare(c.At):
			f.trip(g, c)
			return
		default:
			isDry = true
		}
		if !sleep(ctx, t, f.within/8) {
			return
		}
	}
}

// isBare counts a dry sample and reports whether that is enough.
func (f *fast) isBare(at time.Duration) bool {
	const full = leastDry * fastDrain
	if f.dry == 0 {
		f.since = at
	}
	f.dry = min(f.dry+fastDrain, full)
	return f.dry == full && at-f.since >= f.within
}

// sleep returns false when ctx has ended.
func sleep(ctx context.Context, t *time.Timer, d time.Duration) bool {
	t.Reset(d)
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// trip stores the reason before it opens the relay, so the tick that finds it open
// finds the reason too.
func (f *fast) trip(g *guard, c reading.Level) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.seen = c
	if !g.drop() {
		f.seen = reading.Level{}
		return
	}
	f.trips++
}

// take returns once what opened the relay.
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
