package notify

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"slices"
	"sync"
	"time"
)

// Way carries messages to people.
type Way interface {
	// Name is for metrics and the log; it is unique.
	Name() string
	// Send delivers one message. An error that wraps ErrRefused is final; any other
	// is tried again.
	Send(ctx context.Context, m *Message) error
}

// Rota lets one of several senders send the daily round of a day. Its methods return at
// once.
type Rota interface {
	// Turn returns how long after its time this sender is to send the round of a day,
	// such as 2026-03-01, and whether another has sent it.
	Turn(day string) (after time.Duration, sent bool)
	// Sent tells that this sender's has been delivered, by one way at least.
	Sent(day string)
}

// ErrRefused means that a message will never be accepted as it is, so it is not
// tried again.
var ErrRefused = errors.New("message refused")

// Options tune a Sender.
type Options struct {
	Ways  []Way
	Quiet Quiet
	// Round is the local time of day of the daily round, such as "06:30"; "" for
	// none. Summary returns its message.
	Round   string
	Summary func() Message
	// Rota shares the daily round with other senders; nil if there are none.
	Rota Rota
	// Wall is the clock for quiet hours and rounds, and whether it can be trusted.
	// While it cannot, nothing is held back and no round is sent.
	Wall func() (time.Time, bool)
	Log  *slog.Logger
}

const (
	sendFor   = 30 * time.Second // one attempt
	lookEvery = 20 * time.Second // for quiet hours and rounds
	firstWait = 5 * time.Second
	mostWait  = 10 * time.Minute
	maxWaits  = 64 // messages waiting for one way: more than bays can produce
)

// Sender sends messages over all ways. Callers never wait for it: messages that
// cannot be sent yet are queued, and newer news of a notice replaces older. Create
// it with [NewSender] and run it with Run.
type Sender struct {
	opt   Options
	lanes []*lane
}

// lane is one way with its queue.
type lane struct {
	way  Way
	wake chan struct{}

	mu      sync.Mutex // guards the fields below
	waiting []Message
	told    map[string]bool // notices that were sent as raised and not yet as settled
	flying  string          // the notice that is being sent
	sent    uint64
	failed  uint64
	refused uint64
	dropped uint64
}

// NewSender returns a sender. It sends nothing until Run.
func NewSender(o Options) *Sender {
	s := &Sender{opt: o}
	for _, w := range o.Ways {
		s.lanes = append(s.lanes, &lane{way: w, wake: make(chan struct{}, 1), told: map[string]bool{}})
	}
	return s
}

// Offer accepts a message. It never blocks.
func (s *Sender) Offer(m *Message) {
	for _, l := range s.lanes {
		l.offer(m)
	}
}

// offer replaces older news with newer. A notice that is settled before it was ever
// sent is dropped.
func (l *lane) offer(m *Message) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.waiting = slices.DeleteFunc(l.waiting, func(w Message) bool { return w.ID == m.ID })
	if m.State == Settled.String() && !l.told[m.ID] && l.flying != m.ID {
		return
	}
	if len(l.waiting) >= maxWaits {
		l.waiting = l.waiting[1:]
		l.dropped++
	}
	l.waiting = append(l.waiting, *m)
	select {
	case l.wake <- struct{}{}:
	default:
	}
}

// next returns the oldest message that may be sent now.
func (l *lane) next(quiet bool) *Message {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i := range l.waiting {
		if m := l.waiting[i]; m.Danger || !quiet {
			l.flying = m.ID
			return &m
		}
	}
	return nil
}

// done removes a message, unless newer news has replaced it.
func (l *lane) done(m *Message, sent bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.flying = ""
	l.waiting = slices.DeleteFunc(l.waiting, func(w Message) bool { return w == *m })
	if !sent {
		l.refused++
		l.forget()
		return
	}
	l.sent++
	if m.State == Settled.String() {
		delete(l.told, m.ID)
	} else if m.Kind != roundKind {
		l.told[m.ID] = true
	}
}

// drop removes a message that need not be sent any more.
func (l *lane) drop(m *Message) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.flying = ""
	l.waiting = slices.DeleteFunc(l.waiting, func(w Message) bool { return w == *m })
}

// fail counts an attempt that will be repeated.
func (l *lane) fail() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.failed++
	l.flying = ""
	l.forget()
}

// forget drops the end of a notice that was never sent. The caller holds mu.
func (l *lane) forget() {
	l.waiting = slices.DeleteFunc(l.waiting, func(w Message) bool { return w.State == Settled.String() && !l.told[w.ID] })
}

// Run sends until the context ends.
func (s *Sender) Run(ctx context.Context) error {
	var all sync.WaitGroup
	for _, l := range s.lanes {
		all.Go(func() { s.drive(ctx, l) })
	}
	if _, ok := parseClock(s.opt.Round); ok && s.opt.Summary != nil {
		all.Go(func() { s.rounds(ctx) })
	}
	all.Wait()
	return nil
}

func (s *Sender) quiet() bool {
	now, trusted := s.opt.Wall()
	return trusted && s.opt.Quiet.Holds(now)
}

// drive empties one lane in order, one message at a time.
func (s *Sender) drive(ctx context.Context, l *lane) {
	failures := 0
	for {
		m := l.next(s.quiet())
		if m == nil {
			failures = 0
			sleep(ctx, lookEvery, l.wake)
			if ctx.Err() != nil {
				return
			}
			continue
		}
		if s.send(ctx, l, m, failures) {
			failures = 0
			continue
		}
		failures++
		sleep(ctx, backOff(failures), nil) // news does not shorten it: it waits for the same server
		if ctx.Err() != nil {
			return
		}
	}
}

// send reports whether the message has left the lane.
func (s *Sender) send(ctx context.Context, l *lane, m *Message, failures int) bool {
	try, cancel := context.WithTimeout(ctx, sendFor)
	defer cancel()
	if s.sentByOther(m) {
		l.drop(m)
		return true
	}
	err := s.carry(try, l, m)
	switch {
	case err == nil:
		l.done(m, true)
		if m.Kind == roundKind && s.opt.Rota != nil {
			s.opt.Rota.Sent(dayOf(m))
		}
		if failures > 0 {
			s.opt.Log.Info("notices can be sent again", "way", l.way.Name())
		}
		return true
	case errors.Is(err, ErrRefused):
		s.opt.Log.Error("notice refused", "way", l.way.Name(), "notice", m.ID, "err", err)
		l.done(m, false)
		return true
	case ctx.Err() != nil:
		return false
	}
	l.fail()
	if failures == 0 {
		s.opt.Log.Warn("cannot send notice; will try again", "way", l.way.Name(), "notice", m.ID, "err", err)
	}
	return false
}

// carry keeps a way that panics from ending the others.
func (s *Sender) carry(ctx context.Context, l *lane, m *Message) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: way panicked: %T", ErrRefused, p) // its text may contain a secret
		}
	}()
	return l.way.Send(ctx, m)
}

// backOff grows to mostWait, spread so that many agents do not retry at once.
func backOff(failures int) time.Duration {
	full := firstWait
	for range failures - 1 {
		if full *= 2; full >= mostWait {
			full = mostWait
			break
		}
	}
	return full/2 + rand.N(full/2+1) //nolint:gosec // G404: it spreads attempts, it protects nothing
}

// sleep waits for d, or until wake gets a signal.
func sleep(ctx context.Context, d time.Duration, wake <-chan struct{}) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	case <-wake:
	}
}

// Counts are the outcomes of the messages of one way.
type Counts struct {
	Way     string
	Sent    uint64
	Failed  uint64 // failed attempts
	Refused uint64 // messages that will never be sent
	Dropped uint64 // messages dropped for lack of room
	Waiting int
}

// Counts returns the counts of every way, in the order of the configuration.
func (s *Sender) Counts() []Counts {
	var all []Counts
	for _, l := range s.lanes {
		l.mu.Lock()
		all = append(all, Counts{l.way.Name(), l.sent, l.failed, l.refused, l.dropped, len(l.waiting)})
		l.mu.Unlock()
	}
	return all
}
