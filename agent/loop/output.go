package loop

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"bayward/agent/bay"
)

// News is what one tick of one bay hands to the outputs. They share it: none may
// change it.
type News struct {
	Bay       string
	Picture   *bay.Picture
	Events    []bay.Event
	Memory    []byte        // JSON of bay.Memory, when it is due to be stored
	Histories []PackHistory // histories of packs that the previous memory had
	Wall      time.Time
	Trusted   bool          // the wall clock has been set since boot
	Mono      time.Duration // since boot, of the tick
}

// Output consumes pictures and events. Take is called from a goroutine of its own
// and may block; then pictures are skipped and events wait in order. The news of
// one bay always comes in the order of its ticks.
type Output interface {
	// Name is for the log.
	Name() string
	// Take may block; news that comes meanwhile waits in a bounded mailbox.
	Take(ctx context.Context, n *News)
}

// maxWaiting is how many ticks with events wait for a blocked output before the
// oldest is dropped and counted: some days of a busy yard, and less than 20 MB,
// which all blocked outputs share.
const maxWaiting = 4096

// mailbox is the queue between the loop and one output.
type mailbox struct {
	out     Output
	log     *slog.Logger
	dropped atomic.Uint64
	panics  panics
	wake    chan struct{}

	mu     sync.Mutex // guards the fields below
	events []*News
	latest map[string]*News // without events, and newer than all events of its bay
	order  []string         // bays with a latest, oldest first
}

func newMailbox(o Output, log *slog.Logger, count func()) *mailbox {
	log = log.With("output", o.Name())
	return &mailbox{
		out: o, log: log, panics: panics{count: count, log: log},
		wake: make(chan struct{}, 1), latest: map[string]*News{},
	}
}

// offer never blocks.
func (m *mailbox) offer(n *News) {
	m.mu.Lock()
	if len(n.Events) > 0 {
		m.addEvents(n)
	} else {
		m.addPicture(n)
	}
	m.mu.Unlock()
	select {
	case m.wake <- struct{}{}:
	default:
	}
}

// addEvents drops the bay's older picture: it must not come after these events, or
// an output would go back in time. The caller holds the mutex.
func (m *mailbox) addEvents(n *News) {
	if old := m.latest[n.Bay]; old != nil {
		n = withMemory(n, old)
		delete(m.latest, n.Bay)
		m.order = slices.DeleteFunc(m.order, func(name string) bool { return name == n.Bay })
	}
	if len(m.events) >= maxWaiting {
		m.pop()
		if m.dropped.Add(1) == 1 {
			m.log.Error("output stuck: its oldest events are lost", "kept", maxWaiting)
		}
	}
	m.events = append(m.events, n)
}

// addPicture replaces the bay's older picture. The caller holds the mutex.
func (m *mailbox) addPicture(n *News) {
	old := m.latest[n.Bay]
	if old == nil {
		m.order = append(m.order, n.Bay)
	} else {
		n = withMemory(n, old)
	}
	m.latest[n.Bay] = n
}

// withMemory keeps the memory of a skipped picture, which is still the newest one,
// for the output that stores it. News is shared, so it makes a copy.
func withMemory(n, old *News) *News {
	if (n.Memory != nil || old.Memory == nil) && len(old.Histories) == 0 {
		return n
	}
	c := *n
	if c.Memory == nil {
		c.Memory = old.Memory
	}
	c.Histories = slices.Concat(old.Histories, n.Histories)
	return &c
}

// pop takes the oldest events and drops their memory. The caller holds the mutex.
func (m *mailbox) pop() *News {
	n := m.events[0]
	m.events[0] = nil
	if m.events = m.events[1:]; len(m.events) == 0 {
		m.events = nil
	}
	return n
}

// next takes events before pictures: a waiting picture is newer than all events of
// its bay.
func (m *mailbox) next() *News {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.events) > 0 {
		return m.pop()
	}
	if len(m.order) == 0 {
		return nil
	}
	name := m.order[0]
	m.order = slices.Delete(m.order, 0, 1)
	n := m.latest[name]
	delete(m.latest, name)
	return n
}

func (m *mailbox) run(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			m.drain(ctx)
			return
		case <-m.wake:
			m.drain(ctx)
		}
	}
}

func (m *mailbox) drain(ctx context.Context) {
	for n := m.next(); n != nil; n = m.next() {
		m.take(ctx, n)
	}
}

func (m *mailbox) take(ctx context.Context, n *News) {
	m.panics.contain(func() { m.out.Take(ctx, n) })
}
