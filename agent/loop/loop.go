package loop

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"bayward/agent/bay"
)

// Bay is one charging place as the loop runs it.
type Bay struct {
	Name    string
	Core    *bay.Bay
	Sources []Source
	Relay   Relay
}

// Options are what a loop needs. Zero values take the defaults in brackets.
type Options struct {
	Bays    []Bay
	Outputs []Output
	Log     *slog.Logger
	Every   time.Duration // between ticks [1s]
	// Now is the monotonic clock that the sources stamp readings with. It is
	// required.
	Now func() time.Duration
	// GuardAfter is how long a closed relay stays closed without a refresh
	// [three ticks].
	GuardAfter time.Duration
	// Patience is how long a tick waits for a source [a quarter of a tick];
	// with 0 its answer is used in the tick after.
	Patience func(Source) time.Duration
	// Wall gives the wall clock for records and whether it has been set since
	// boot [the system's, not trusted].
	Wall func() (time.Time, bool)
	// SaveEvery is the time between two savings of the memory [10m]; it is
	// saved on every event besides.
	SaveEvery time.Duration
	// RecordFailing tells whether the logbook cannot be written.
	RecordFailing func() bool
	// Observe is told how long a tick took, and how long from the start of its
	// sampling to each order to a relay.
	Observe func(tick, reaction time.Duration)
	// OnTick is called after each good tick, for a watchdog.
	OnTick func()
}

// Loop runs the bays. Make it with New.
type Loop struct {
	o     Options
	bays  []*runningBay
	boxes []*mailbox

	lastTick atomic.Int64 // unix nanoseconds of the last good tick
	panics   atomic.Uint64
	workers  sync.WaitGroup
	begin    sync.Once
	stop     context.CancelFunc
}

type runningBay struct {
	Bay
	samplers []*sampler
	guard    *guard
	desk     desk
	seen     bay.Readings
	board    atomic.Pointer[bay.Picture]
	savedAt  time.Duration
	saved    bool
	relayErr bool
	pic      *bay.Picture // of this tick, the core's own
	events   []bay.Event  // of this tick, the core's own
}

// New makes a loop. No relay is closed before the first tick; each is ordered
// open at once, and an error to do that is returned.
func New(o Options) (*Loop, error) {
	o.defaults()
	l := &Loop{o: o}
	for i := range o.Bays {
		b := &runningBay{Bay: o.Bays[i]}
		if err := b.Relay.Set(false); err != nil {
			return nil, fmt.Errorf("open the relay of %s: %w", b.Name, err)
		}
		b.guard = newGuard(b.Relay, o.GuardAfter)
		for _, s := range b.Sources {
			log := o.Log.With("bay", b.Name)
			b.samplers = append(b.samplers, newSampler(s, o.Patience(s), log, l.countPanic))
		}
		l.bays = append(l.bays, b)
	}
	for _, out := range o.Outputs {
		l.boxes = append(l.boxes, newMailbox(out, o.Log, l.countPanic))
	}
	return l, nil
}

func (o *Options) defaults() {
	if o.Every == 0 {
		o.Every = time.Second
	}
	if o.GuardAfter == 0 {
		o.GuardAfter = 3 * o.Every
	}
	if o.Patience == nil {
		every := o.Every
		o.Patience = func(Source) time.Duration { return every / 4 }
	}
	if o.Wall == nil {
		o.Wall = func() (time.Time, bool) { return time.Now(), false }
	}
	if o.SaveEvery == 0 {
		o.SaveEvery = 10 * time.Minute
	}
	if o.RecordFailing == nil {
		o.RecordFailing = func() bool { return false }
	}
	if o.Observe == nil {
		o.Observe = func(time.Duration, time.Duration) {}
	}
	if o.OnTick == nil {
		o.OnTick = func() {}
	}
}

func (l *Loop) countPanic() { l.panics.Add(1) }

// Panics counts the panics of drivers and outputs that were contained.
func (l *Loop) Panics() uint64 { return l.panics.Load() }

// Dropped counts the ticks with events that a blocked output has lost.
func (l *Loop) Dropped() (n uint64) {
	for _, m := range l.boxes {
		n += m.dropped.Load()
	}
	return n
}

// GuardTrips counts how often a guard has opened a relay.
func (l *Loop) GuardTrips() (n uint64) {
	for _, b := range l.bays {
		b.guard.mu.Lock()
		n += b.guard.trips
		b.guard.mu.Unlock()
	}
	return n
}

// Pictures are the latest pictures, in the order of the bays; a bay that has
// not had its first tick has none. They must not be changed.
func (l *Loop) Pictures() []*bay.Picture {
	out := make([]*bay.Picture, 0, len(l.bays))
	for _, b := range l.bays {
		if p := b.board.Load(); p != nil {
			out = append(out, p)
		}
	}
	return out
}

// RelayClosed tells what is ordered of a bay's relay now.
func (l *Loop) RelayClosed(bayName string) bool {
	b := l.find(bayName)
	return b != nil && b.guard.isClosed()
}

// Healthy is nil while ticks are on time.
func (l *Loop) Healthy() error {
	last := l.lastTick.Load()
	if last == 0 {
		return fmt.Errorf("no tick yet")
	}
	if ago := time.Since(time.Unix(0, last)); ago > l.o.GuardAfter {
		return fmt.Errorf("the last tick was %s ago, more than %s", ago.Round(time.Millisecond), l.o.GuardAfter)
	}
	return nil
}

func (l *Loop) find(name string) *runningBay {
	for _, b := range l.bays {
		if b.Name == name {
			return b
		}
	}
	return nil
}

// Start begins the goroutines of sources and outputs. Stop ends them.
func (l *Loop) Start(ctx context.Context) {
	l.begin.Do(func() {
		workers, stop := context.WithCancel(ctx)
		l.stop = stop
		for _, b := range l.bays {
			for _, s := range b.samplers {
				l.workers.Go(func() { s.run(workers) })
			}
		}
		for _, m := range l.boxes {
			l.workers.Go(func() { m.run(workers) })
		}
	})
}

// Stop opens every relay, then lets the outputs finish for at most the given
// time. A source or an output that hangs is left behind.
func (l *Loop) Stop(within time.Duration) error {
	err := l.open()
	if l.stop == nil {
		return err
	}
	l.stop()
	done := make(chan struct{})
	go func() { l.workers.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(within):
		l.o.Log.Warn("an output or a sensor did not finish in time", "within_s", within.Seconds())
	}
	return err
}

func (l *Loop) open() (first error) {
	for _, b := range l.bays {
		if err := b.guard.end(); err != nil && first == nil {
			first = fmt.Errorf("open the relay of %s: %w", b.Name, err)
		}
	}
	return first
}

// Run ticks in real time until ctx ends, then opens every relay. It returns an
// error when the core panicked; the process must then end.
func (l *Loop) Run(ctx context.Context) error {
	l.Start(ctx)
	tick := time.NewTicker(l.o.Every)
	defer tick.Stop()
	for {
		if err := l.Tick(ctx); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return l.open()
		case <-tick.C:
		}
	}
}

// Tick runs one tick of every bay: all relays are served before any output is
// made. The tick is stamped after its sampling, so that no reading comes from
// its future. After a panic of the core all relays are open and the error says
// what happened.
func (l *Loop) Tick(ctx context.Context) (err error) {
	defer func() {
		if p := recover(); p != nil {
			_ = l.open() // the panic is what must be told
			err = fmt.Errorf("the core panicked, all relays are open: %v\n%s", p, debug.Stack())
		}
	}()
	began := time.Now()
	l.sample(ctx)
	now := l.o.Now()
	failing := l.o.RecordFailing()
	var reaction time.Duration
	for _, b := range l.bays {
		b.step(now, failing, l.o.Log)
		reaction = time.Since(began)
	}
	for _, b := range l.bays {
		l.publish(b, now)
	}
	l.lastTick.Store(time.Now().UnixNano())
	l.o.Observe(time.Since(began), reaction)
	l.o.OnTick()
	return nil
}

// sample asks every source at once and waits for each no longer than its
// patience.
func (l *Loop) sample(ctx context.Context) {
	for _, b := range l.bays {
		for _, s := range b.samplers {
			s.start(&b.seen)
		}
	}
	began := time.Now()
	for _, b := range l.bays {
		for _, s := range b.samplers {
			if s.patience <= 0 {
				continue
			}
			select {
			case r := <-s.done:
				s.take(r, &b.seen)
				continue
			default:
			}
			l.await(ctx, s, &b.seen, s.patience-time.Since(began))
		}
	}
}

func (l *Loop) await(ctx context.Context, s *sampler, into *bay.Readings, left time.Duration) {
	t := time.NewTimer(max(left, 0))
	defer t.Stop()
	select {
	case r := <-s.done:
		s.take(r, into)
	case <-t.C:
	case <-ctx.Done():
	}
}

// step decides and drives the relay: nothing else happens in between.
func (b *runningBay) step(now time.Duration, failing bool, log *slog.Logger) {
	b.seen.Now, b.seen.RecordFailing = now, failing
	b.seen.LateTick = b.guard.takeTrip()
	b.seen.Orders = b.desk.take()
	b.pic, b.events = b.Core.Step(&b.seen)
	err := b.guard.refresh(b.pic.Permit.Granted)
	if (err != nil) != b.relayErr {
		b.relayErr = err != nil
		if err != nil {
			log.Error("the relay does not obey", "bay", b.Name, "err", err)
		} else {
			log.Info("the relay obeys again", "bay", b.Name)
		}
	}
}

// publish clones what the core will overwrite and offers it to the outputs.
func (l *Loop) publish(b *runningBay, now time.Duration) {
	b.desk.tell(b.events)
	n := &News{Bay: b.Name, Picture: b.pic.Clone()}
	b.board.Store(n.Picture)
	n.Wall, n.Trusted = l.o.Wall()
	if len(b.events) > 0 {
		n.Events = append([]bay.Event{}, b.events...)
	}
	if len(b.events) > 0 || !b.saved || now-b.savedAt >= l.o.SaveEvery {
		b.saved, b.savedAt = true, now
		m, err := json.Marshal(b.Core.Memory())
		if err != nil {
			l.o.Log.Error("the memory cannot be stored", "bay", b.Name, "err", err)
		} else {
			n.Memory = m
		}
	}
	for _, m := range l.boxes {
		m.offer(n)
	}
}
