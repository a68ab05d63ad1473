package loop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// Place is one charging place as the loop runs it.
type Place struct {
	Name    string
	Core    *bay.Bay
	Sources []Source
	Relay   Relay
	// Level, when set, is sampled several times a second while the relay is closed.
	// When it has shown bare plates for BareWithin the relay opens without waiting
	// for a tick. It must not share its state with Sources.
	Level      Source
	BareWithin time.Duration
}

// Options configure a loop. Zero values take the defaults in brackets.
type Options struct {
	Bays []Place
	// Histories has the histories of the packs that are in no bay [an empty one].
	Histories *bay.Histories
	Outputs   []Output
	Log       *slog.Logger
	Every     time.Duration // between ticks [1s]
	// Now is the monotonic clock that the sources stamp readings with. It is
	// required.
	Now func() time.Duration
	// KeeperNow is the clock of the relays' keeper, which stamps leases [Now].
	KeeperNow func() time.Duration
	// GuardAfter is how long after the beginning of a tick a relay that it has closed
	// stays closed without another, at most lease.Longest [three ticks].
	GuardAfter time.Duration
	// Patience is how long a tick waits for a source [a quarter of a tick]; with 0
	// its answer is used in the next tick.
	Patience func(Source) time.Duration
	// Wall returns the wall clock for records and whether it has been set since
	// boot [the system's, not trusted].
	Wall func() (time.Time, bool)
	// Mono returns the time since boot for records [Now].
	Mono func() time.Duration
	// SaveEvery is the time between two saves of the memory [bay.SavedWithin, and it
	// must not be longer]; every event saves it too.
	SaveEvery time.Duration
	// RecordFailing reports whether the logbook cannot be written. It is called
	// after the relays, for the next tick.
	RecordFailing func() bool
	// NoRecord reports whether an order taken now would not be on record soon [as
	// RecordFailing]. It is called after RecordFailing.
	NoRecord func() bool
	// Observe receives how long a tick took, and the time from the start of its
	// sampling to each order to a relay.
	Observe func(tick, reaction time.Duration)
	// OnTick is called after each good tick of all bays, for a watchdog.
	OnTick func()
}

// Loop runs the bays. Create it with [New].
type Loop struct {
	o     Options
	bays  []*runningBay
	cores []*bay.Bay // of the bays
	boxes []*mailbox

	born     time.Time    // the health's own clock counts from here
	lastTick atomic.Int64 // of the last good tick, nanoseconds since born
	panics   atomic.Uint64
	timer    *time.Timer // the tick's, for the patience with sources
	failing  bool        // the record, as of the last tick
	noRecord bool        // for orders, as of the last tick
	workers  sync.WaitGroup

	ending sync.Once
	ended  chan struct{} // no more ticks

	mu   sync.Mutex         // guards the fields below
	stop context.CancelFunc // nil before Start
}

type runningBay struct {
	Place
	samplers []*sampler
	guard    *guard
	fast     *fast // nil for none
	orders   orderQueue
	seen     bay.Readings
	latest   atomic.Pointer[bay.Picture]
	savedAt  time.Duration
	saved    bool
	pic      *bay.Picture // of this tick, the core's own
	events   []bay.Event  // of this tick, the core's own
	relayErr error        // of this tick
	defiant  bool         // relay failure already logged
}

// New returns a loop. No relay is closed before the first tick. New orders each one
// open at once; the first tick knows of a keeper that did not obey.
func New(o Options) *Loop {
	o.defaults()
	l := &Loop{o: o, born: time.Now(), ended: make(chan struct{}), timer: time.NewTimer(time.Hour)}
	l.timer.Stop()
	for i := range o.Bays {
		b := &runningBay{Place: o.Bays[i], guard: newGuard(o.Bays[i].Relay, o.GuardAfter, o.KeeperNow)}
		_ = b.guard.refresh(o.KeeperNow(), false, false) // the heartbeat begins with the first good step
		for _, s := range b.Sources {
			b.samplers = append(b.samplers, newSampler(s, o.Patience(s), o.Log.With("bay", b.Name), l.countPanic))
		}
		b.seen.Taken = o.Histories.OpenElsewhere(b.Name)
		if b.Level != nil {
			b.fast = newFast(b.Level, b.BareWithin)
			b.fast.panics = panics{count: l.countPanic, log: o.Log.With("bay", b.Name, "source", b.Level.Name())}
		}
		l.bays, l.cores = append(l.bays, b), append(l.cores, b.Core)
	}
	for _, out := range o.Outputs {
		l.boxes = append(l.boxes, newMailbox(out, o.Log, l.countPanic))
	}
	return l
}

func (o *Options) defaults() {
	if o.Every == 0 {
		o.Every = time.Second
	}
	if o.KeeperNow == nil {
		o.KeeperNow = o.Now
	}
	if o.GuardAfter == 0 {
		o.GuardAfter = 3 * o.Every
	}
	if o.Histories == nil {
		o.Histories = bay.NewHistories()
	}
	if o.Patience == nil {
		every := o.Every
		o.Patience = func(Source) time.Duration { return every / 4 }
	}
	if o.Wall == nil {
		o.Wall = func() (time.Time, bool) { return time.Now(), false }
	}
	if o.Mono == nil {
		o.Mono = o.Now
	}
	if o.SaveEvery == 0 {
		o.SaveEvery = bay.SavedWithin
	}
	if o.RecordFailing == nil {
		o.RecordFailing = func() bool { return false }
	}
	if o.NoRecord == nil {
		o.NoRecord = o.RecordFailing
	}
	if o.Observe == nil {
		o.Observe = func(time.Duration, time.Duration) {}
	}
	if o.OnTick == nil {
		o.OnTick = func() {}
	}
}

// Start starts the goroutines of sources and outputs. They keep the values of ctx
// but not its end: Stop ends them, so nothing of the last tick is lost.
func (l *Loop) Start(ctx context.Context) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.stop != nil {
		return
	}
	ctx, l.stop = context.WithCancel(context.WithoutCancel(ctx))
	for _, b := range l.bays {
		for _, s := range b.samplers {
			l.workers.Go(func() { s.run(ctx) })
		}
		if b.fast != nil {
			l.workers.Go(func() { b.fast.run(ctx, b.guard) })
		}
	}
	for _, m := range l.boxes {
		l.workers.Go(func() { m.run(ctx) })
	}
}

// Stop opens every relay for good, then lets the outputs finish for at most the
// given time. It leaves a hanging source or output behind. Call it after the last
// tick, or the news of that tick is lost.
func (l *Loop) Stop(within time.Duration) error {
	err := l.open()
	l.mu.Lock()
	stop := l.stop
	l.mu.Unlock()
	if stop == nil {
		return err
	}
	stop()
	done := make(chan struct{})
	go func() { l.workers.Wait(); close(done) }()
	t := time.NewTimer(within)
	defer t.Stop()
	select {
	case <-done:
	case <-t.C:
		l.o.Log.Warn("an output or sensor did not finish in time", "within_s", within.Seconds())
	}
	return err
}

// open opens every relay for good, even if one fails.
func (l *Loop) open() error {
	l.ending.Do(func() { close(l.ended) })
	var errs []error
	for _, b := range l.bays {
		if err := b.guard.close(); err != nil {
			errs = append(errs, fmt.Errorf("open the relay of %s: %w", b.Name, err))
		}
	}
	return errors.Join(errs...)
}

// Run ticks in real time until ctx ends, then opens every relay and offers the
// memory of each bay to the outputs. It returns an error when the core panicked;
// the process must then exit.
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
			return l.finish()
		case <-tick.C:
		}
	}
}

// finish saves what has happened since the memory was last due.
func (l *Loop) finish() error {
	err := l.open()
	for _, b := range l.bays {
		l.offer(&News{Bay: b.Name, Picture: b.latest.Load(), Memory: l.memory(b)})
	}
	return err
}

// Tick runs one tick of every bay. It serves all relays before it makes any output
// or calls anything else that might wait. The tick is stamped after its sampling,
// so no reading comes from its future; leases are stamped before it, so that none
// is older than it looks. After a panic of the core all relays are open and the
// error has the cause.
func (l *Loop) Tick(ctx context.Context) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = errors.Join(fmt.Errorf("the core panicked, all relays were ordered open: %v\n%s", p, debug.Stack()), l.open())
		}
	}()
	began, at := time.Now(), l.o.KeeperNow()
	l.sample(ctx)
	now := l.o.Now()
	var reaction time.Duration
	for _, b := range l.bays {
		b.step(now, at, l.failing, l.noRecord)
		reaction = time.Since(began)
	}
	released := l.o.Histories.Collect(l.cores, now)
	for _, b := range l.bays {
		l.publish(b, now, released)
	}
	l.openHistories(now, len(released) > 0)
	l.failing, l.noRecord = l.o.RecordFailing(), l.o.NoRecord()
	l.lastTick.Store(int64(time.Since(l.born)) + 1) // 0 means none
	l.o.Observe(time.Since(began), reaction)
	l.o.OnTick()
	return nil
}

// sample asks every source at once and waits for each no longer than its patience.
func (l *Loop) sample(ctx context.Context) {
	for _, b := range l.bays {
		for _, s := range b.samplers {
			s.start(&b.seen)
		}
	}
	began := time.Now()
	for _, b := range l.bays {
		for _, s := range b.samplers {
			if s.awaited {
				s.await(ctx, &b.seen, began, l.timer)
			}
		}
	}
}

// step decides and serves the relay; nothing else happens in between. at is when
// the tick began, by the keeper's clock.
func (b *runningBay) step(now, at time.Duration, failing, noRecord bool) {
	b.seen.Now, b.seen.RecordFailing, b.seen.NoRecord = now, failing, noRecord
	b.seen.LateTick, b.seen.Keeper = b.guard.takeTrip(), b.guard.obeys()
	b.seen.Bare = reading.Level{}
	if b.guard.takeDry() {
		b.seen.Bare = b.fast.take()
	}
	b.seen.Orders = b.orders.take()
	b.pic, b.events = b.Core.Step(&b.seen)
	b.relayErr = b.guard.refresh(at, b.pic.Permit.Granted, b.pic.Beats())
	if b.fast != nil {
		b.fast.follow(b.Core, b.pic.Permit.Granted)
	}
}

// publish clones what the core will overwrite and offers it to the outputs.
func (l *Loop) publish(b *runningBay, now time.Duration, released []*bay.PackMemory) {
	n := &News{Bay: b.Name, Picture: b.pic.Clone()}
	b.latest.Store(n.Picture)
	b.orders.tell(b.events) // whoever is answered finds it in the picture
	b.complain(l.o.Log)
	if len(b.events) > 0 {
		n.Events = slices.Clone(b.events)
	}
	n.Histories = l.released(b, released)
	if len(b.events) > 0 || len(n.Histories) > 0 || !b.saved || now-b.savedAt >= l.o.SaveEvery {
		b.saved, b.savedAt = true, now
		n.Memory = l.memory(b)
	}
	l.offer(n)
}

func (l *Loop) offer(n *News) {
	n.Wall, n.Trusted = l.o.Wall()
	n.Mono = l.o.Mono()
	for _, m := range l.boxes {
		m.offer(n)
	}
}

func (l *Loop) memory(b *runningBay) []byte {
	m, err := json.Marshal(b.Core.Memory())
	if err != nil {
		l.o.Log.Error("cannot store the memory", "bay", b.Name, "err", err)
		return nil
	}
	return m
}

// complain logs changes of the relay and the sources.
func (b *runningBay) complain(log *slog.Logger) {
	if b.seen.LateTick {
		log.Warn("agent or keeper was late: the relay had opened", "bay", b.Name)
	}
	if b.seen.Bare.Usable() {
		log.Warn("bare plates between two ticks: relay opened at once", "bay", b.Name, "level_mm", b.seen.Bare.LowMM)
	}
	switch defiant := b.relayErr != nil; {
	case defiant && !b.defiant:
		log.Error("the relay's keeper does not obey: the bay is blocked", "bay", b.Name, "err", b.relayErr)
	case b.defiant && !defiant:
		log.Info("the relay's keeper obeys again", "bay", b.Name)
	}
	b.defiant = b.relayErr != nil
	for _, s := range b.samplers {
		s.tell()
	}
}
