package logbook

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"
)

// Store is what a Recorder writes to: a Book.
type Store interface {
	// Write stores all entries, or none and returns why.
	Write(ctx context.Context, entries ...Entry) error
}

// RecorderOptions tune a Recorder. Zero values take the defaults.
type RecorderOptions struct {
	// MaxEvents bounds the events that wait while the disk fails; default 10,000.
	// Beyond it the oldest are dropped, counted and logged.
	MaxEvents int
	// MaxSeries bounds the thinned readings that wait; default 2,000. They are
	// dropped first, and silently.
	MaxSeries int
	// Every is how long a memory or rows without an event may wait for the next
	// commit; default an hour. Each commit wears the card.
	Every time.Duration
	// BackOff is the wait after the n-th failure in a row, n from 1; default 1 s
	// doubling to 60 s.
	BackOff func(n int) time.Duration
	// StuckAfter is how long one write may take before the Recorder counts as
	// failing; default 10 s.
	StuckAfter time.Duration
	// LateAfter is how long one write may take before the Recorder counts as late;
	// default 0.8 s. A tick asks once a second, and whoever is told after 2 s that an
	// order is not on record must find the next one refused that would loosen.
	LateAfter time.Duration
	// Witness gets each batch once it is stored, before anybody learns that it is. A
	// batch that it fails on is given to it again, and nothing else is written
	// meanwhile. nil for none.
	Witness func(batch []Entry) error
}

// Recorder accepts what the loop offers and writes it in the background, in order.
// Only Close waits for the disk.
type Recorder struct {
	store  Store
	log    *slog.Logger
	opt    RecorderOptions
	wake   chan struct{} // something was offered
	stored chan struct{} // events were stored
	stop   chan struct{} // Close was called
	done   chan struct{} // the goroutine has ended
	cancel context.CancelFunc

	mu       sync.Mutex       // guards all fields below
	queue    []Entry          // oldest first, without memory
	queued   int              // events in queue
	series   int              // thinned readings in queue
	flying   int              // events in the current write
	memory   map[string]Entry // newest memory of each bay, without events
	packs    map[string]Entry // newest memory of each pack that has left its bay
	dropped  uint64
	failures int       // in a row
	writing  time.Time // start of the current write, or zero
	commit   time.Time // end of the last good write
	waiters  map[takenOrder][]chan struct{}
}

// NewRecorder starts a Recorder; Close must end it.
func NewRecorder(store Store, opt RecorderOptions, log *slog.Logger) *Recorder {
	if opt.MaxEvents == 0 {
		opt.MaxEvents = 10_000
	}
	if opt.MaxSeries == 0 {
		opt.MaxSeries = 2_000
	}
	if opt.Every == 0 {
		opt.Every = time.Hour
	}
	if opt.BackOff == nil {
		opt.BackOff = doubling
	}
	if opt.LateAfter == 0 {
		opt.LateAfter = 800 * time.Millisecond
	}
	if opt.StuckAfter == 0 {
		opt.StuckAfter = 10 * time.Second
	}
	ctx, cancel := context.WithCancel(context.Background())
	r := &Recorder{
		store: store, log: log, opt: opt, cancel: cancel, memory: map[string]Entry{}, packs: map[string]Entry{},
		waiters: map[takenOrder][]chan struct{}{},
		wake:    make(chan struct{}, 1), stored: make(chan struct{}, 1),
		stop: make(chan struct{}), done: make(chan struct{}),
	}
	go r.run(ctx)
	return r
}

// doubling is the default back-off.
func doubling(n int) time.Duration {
	return min(time.Minute, time.Second<<min(n-1, 6))
}

// Offer hands over what one tick of a bay left. It keeps the rows, copies the rest,
// and never waits. Events are written at once, together with everything that waits;
// rows and memories without events wait for the next commit, at most Every. A nil
// memory keeps the old one.
func (r *Recorder) Offer(e Entry) {
	r.mu.Lock()
	if len(e.Events) > 0 || !e.Rows.Empty() {
		kept := e
		kept.Events, kept.Memory, kept.PackMemory = slices.Clone(e.Events), nil, nil
		r.supersede(&kept)
		r.queue = append(r.queue, kept)
		r.queued += len(e.Events)
		r.series += len(e.Rows.Series)
		r.trim()
	}
	if e.Memory != nil || e.PackMemory != nil {
		r.remember(e)
	}
	r.mu.Unlock()
	signal(r.wake)
}

// supersede drops what a newer state of an open row makes useless, so that a disk
// that fails for weeks does not fill the memory. The caller holds the mutex.
func (r *Recorder) supersede(e *Entry) {
	if len(e.Rows.Charges)+len(e.Rows.Visits) == 0 {
		return // the queue may be long
	}
	for i := range r.queue {
		old := &r.queue[i]
		if old.Bay != e.Bay {
			continue
		}
		if len(e.Rows.Charges) > 0 {
			old.Rows.Charges = slices.DeleteFunc(old.Rows.Charges, func(c Charge) bool { return c.Open() })
		}
		if len(e.Rows.Visits) > 0 {
			old.Rows.Visits = slices.DeleteFunc(old.Rows.Visits, func(v Visit) bool { return v.Open() })
		}
	}
}

// remember keeps the newest memory of a bay, and separately that of a pack, which
// may be in another bay by the next commit. The caller holds the mutex.
func (r *Recorder) remember(e Entry) {
	if e.Memory != nil {
		r.memory[e.Bay] = Entry{Bay: e.Bay, Stamp: e.Stamp, Memory: slices.Clone(e.Memory)}
	}
	if e.PackMemory != nil {
		r.packs[e.Pack] = Entry{Bay: e.Bay, Pack: e.Pack, Stamp: e.Stamp, PackMemory: slices.Clone(e.PackMemory)}
	}
}

// trim drops the oldest thinned readings and the oldest events beyond their bounds.
// It does not touch those in the current write: they may be on the disk already.
// Other rows stay, because a charge or a visit is not repeated. The caller holds
// the mutex.
func (r *Recorder) trim() {
	for i := 0; r.series > r.opt.MaxSeries; i++ {
		rows := &r.queue[i].Rows
		n := min(len(rows.Series), r.series-r.opt.MaxSeries)
		r.series, rows.Series = r.series-n, rows.Series[n:]
	}
	for i := 0; r.queued > r.opt.MaxEvents; i++ {
		e := &r.queue[i]
		n := min(len(e.Events), r.queued-r.opt.MaxEvents)
		if n > 0 && r.dropped == 0 {
			r.log.Error("events lost: the logbook has failed for too long", "kept", r.opt.MaxEvents)
		}
		r.dropped += uint64(n)
		r.queued, e.Events = r.queued-n, e.Events[n:]
	}
	for len(r.queue) > 0 && len(r.queue[0].Events) == 0 && r.queue[0].Rows.Empty() {
		r.queue[0] = Entry{}
		r.queue = r.queue[1:]
	}
}

// Dropped returns the number of events lost because the logbook could not be
// written for too long.
func (r *Recorder) Dropped() uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.dropped
}

// Waiting returns the number of events offered and not yet stored.
func (r *Recorder) Waiting() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.queued + r.flying
}

// Stored returns a channel that receives a signal after new events were stored. It
// has one reader; signals before its next receive merge into one.
func (r *Recorder) Stored() <-chan struct{} { return r.stored }

// Close writes what waits, until ctx ends, and stops. The error gives the number of
// events that could not be stored. Call it once, after the last Offer.
func (r *Recorder) Close(ctx context.Context) error {
	close(r.stop)
	select {
	case <-r.done:
	case <-ctx.Done():
	}
	r.cancel()
	select {
	case <-r.done:
	case <-time.After(time.Second): // a hanging disk does not delay the exit
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if n := r.queued + r.flying; n > 0 || len(r.memory)+len(r.packs) > 0 || !r.writing.IsZero() {
		return fmt.Errorf("logbook: %d events and perhaps the newest memory were not stored", n)
	}
	return nil
}

func (r *Recorder) run(ctx context.Context) {
	defer close(r.done)
	for ctx.Err() == nil {
		stopping := r.stopping() // first: the take then includes all that was offered before Close
		batch, wait := r.take(stopping)
		if len(batch) == 0 {
			if stopping {
				return
			}
			r.sleep(ctx, wait, r.wake)
			continue
		}
		err := r.store.Write(ctx, batch...)
		if err != nil {
			r.sleep(ctx, r.putBack(batch, err), nil)
			continue
		}
		if r.witness(ctx, batch) {
			r.keep(batch)
		}
	}
}

// witness shows a stored batch to the witness until that has taken it. It reports
// false when ctx ended before.
func (r *Recorder) witness(ctx context.Context, batch []Entry) bool {
	for r.opt.Witness != nil {
		err := r.opt.Witness(batch)
		if err == nil {
			return true
		}
		if ctx.Err() != nil {
			return false
		}
		r.sleep(ctx, r.unwitnessed(err), nil)
		r.mu.Lock()
		r.writing = time.Now()
		r.mu.Unlock()
	}
	return true
}

// unwitnessed records that the witness failed, and returns how long to wait.
func (r *Recorder) unwitnessed(err error) time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.failures++
	if r.failures == 1 {
		r.log.Error("what is on record cannot be witnessed: events wait in memory", "waiting", r.queued, "err", err)
	}
	return r.opt.BackOff(r.failures)
}

func (r *Recorder) stopping() bool {
	select {
	case <-r.stop:
		return true
	default:
		return false
	}
}

// sleep waits for d, or until early gets a signal. A call to Close ends the first
// sleep; after it the waits are short, to use what little time is left.
func (r *Recorder) sleep(ctx context.Context, d time.Duration, early <-chan struct{}) {
	stop := r.stop
	if r.stopping() {
		d, stop = min(d, 100*time.Millisecond), nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-early:
	case <-stop:
	case <-ctx.Done():
	}
}

// take removes what is due, all of it when stopping, or returns how long nothing
// will be.
func (r *Recorder) take(stopping bool) (batch []Entry, wait time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	due := r.commit.Add(r.opt.Every)
	wait = r.opt.Every
	if r.queued == 0 && !stopping && time.Now().Before(due) {
		return nil, time.Until(due)
	}
	batch = r.queue
	for _, newest := range []map[string]Entry{r.packs, r.memory} {
		for _, name := range sortedKeys(newest) {
			batch = append(batch, newest[name])
		}
	}
	r.queue, r.memory, r.packs = nil, map[string]Entry{}, map[string]Entry{}
	r.flying, r.queued, r.series = r.queued, 0, 0
	if len(batch) > 0 {
		r.writing = time.Now()
	}
	return batch, wait
}

// keep records that a batch is stored.
func (r *Recorder) keep(batch []Entry) {
	events := count(batch)
	r.mu.Lock()
	after := r.failures
	r.flying = 0
	r.answer(batch)
	r.failures, r.writing, r.commit = 0, time.Time{}, time.Now()
	dropped := r.dropped
	r.mu.Unlock()
	if after > 0 {
		r.log.Info("logbook can be written again", "failures", after, "events_lost", dropped)
	}
	if events > 0 {
		signal(r.stored)
	}
}

// putBack returns a batch to the front of the queue and how long to wait.
func (r *Recorder) putBack(batch []Entry, err error) time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	var back []Entry
	for _, e := range batch {
		switch {
		case e.PackMemory != nil:
			putUnless(r.packs, e.Pack, e)
		case e.Memory != nil:
			putUnless(r.memory, e.Bay, e)
		default:
			back = append(back, e)
			r.series += len(e.Rows.Series)
		}
	}
	r.queue = append(back, r.queue...)
	r.queued, r.flying = r.queued+r.flying, 0
	r.trim()
	r.writing = time.Time{}
	r.failures++
	if r.failures == 1 {
		r.log.Error("cannot write the logbook: events wait in memory", "waiting", r.queued, "err", err)
	}
	return r.opt.BackOff(r.failures)
}

// putUnless does not replace a newer entry.
func putUnless(m map[string]Entry, key string, e Entry) {
	if _, newer := m[key]; !newer {
		m[key] = e
	}
}

func count(batch []Entry) int {
	n := 0
	for i := range batch {
		n += len(batch[i].Events)
	}
	return n
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// signal leaves one signal for the reader and never waits.
func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

var _ Store = &Book{}
