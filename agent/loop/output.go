package loop

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"bayward/agent/bay"
)

// News is what one tick of one bay has to tell. It is shared by the outputs:
// none may change it.
type News struct {
	Bay     string
	Picture *bay.Picture
	Events  []bay.Event
	Memory  []byte // JSON of bay.Memory, when it is due to be stored
	Wall    time.Time
	Trusted bool // the wall clock has been set since boot
}

// Output is made from pictures and events. Take is called from a goroutine of
// its own and may block; then pictures are skipped and events wait in order.
type Output interface {
	// Name is for the log.
	Name() string
	// Take may block; what comes meanwhile waits in a bounded mailbox.
	Take(ctx context.Context, n *News)
}

// maxWaiting is how many ticks with events wait for a blocked output before
// the oldest is dropped and counted: some days of a busy yard.
const maxWaiting = 10000

// mailbox stands between the loop and one output.
type mailbox struct {
	out      Output
	log      *slog.Logger
	dropped  atomic.Uint64
	panicked func()
	wake     chan struct{}

	mu     sync.Mutex // guards what follows
	events []*News
	latest map[string]*News
	order  []string // bays with a latest, oldest first
}

func newMailbox(o Output, log *slog.Logger, panicked func()) *mailbox {
	return &mailbox{out: o, log: log, panicked: panicked, wake: make(chan struct{}, 1), latest: map[string]*News{}}
}

// offer never blocks.
func (m *mailbox) offer(n *News) {
	m.mu.Lock()
	if len(n.Events) > 0 || n.Memory != nil {
		if len(m.events) >= maxWaiting {
			m.events = m.events[1:]
			m.dropped.Add(1)
		}
		m.events = append(m.events, n)
	} else {
		if m.latest[n.Bay] == nil {
			m.order = append(m.order, n.Bay)
		}
		m.latest[n.Bay] = n
	}
	m.mu.Unlock()
	select {
	case m.wake <- struct{}{}:
	default:
	}
}

// next takes what has waited longest: events before pictures, so that an
// output never sees an event after a newer picture.
func (m *mailbox) next() *News {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.events) > 0 {
		n := m.events[0]
		m.events = m.events[1:]
		return n
	}
	if len(m.order) == 0 {
		return nil
	}
	name := m.order[0]
	m.order = m.order[1:]
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
	defer func() {
		if p := recover(); p != nil {
			m.panicked()
			m.log.Error("an output panicked", "output", m.out.Name(), "panic", fmt.Sprint(p))
		}
	}()
	m.out.Take(ctx, n)
}
