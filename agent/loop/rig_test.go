package loop

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/lease"
	"bayward/agent/reading"
	"bayward/agent/words"
)

const stale = 5 * time.Second

// setup is a pack whose charge is granted on good readings, after checking (30 s)
// and the contactor's minimum off time (1 min).
func setup(name string) bay.Setup {
	s := baytest.Setup(name)
	s.Limits.StaleAfter, s.Fitted = stale, 0
	return s
}

// journal records what happened in which order, from all goroutines.
type journal struct {
	mu    sync.Mutex
	lines []string
}

func (j *journal) add(format string, args ...any) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.lines = append(j.lines, fmt.Sprintf(format, args...))
}

func (j *journal) all() []string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return append([]string{}, j.lines...)
}

// testRelay is a contactor that remembers, behind a real keeper and its frames.
type testRelay struct {
	name string
	j    *journal
	slow time.Duration // an order takes this long

	mu      sync.Mutex
	closed  bool
	sets    int
	high    gpio.Level // of the heartbeat
	beats   int        // its edges
	moved   time.Time  // the last change
	refused error      // to close
	stuck   error      // to open
	panics  bool       // the way to the keeper
	silent  bool       // nothing gets to the keeper
}

func (r *testRelay) row() lease.Row {
	return lease.Row{Bay: r.name, Charge: r.name + "-charge", Heartbeat: r.name + "-beat"}
}

// kept returns the relays of a loop as it has them, and their keeper, which works by
// the clock now.
func kept(now func() time.Duration, relays ...*testRelay) ([]Relay, *lease.Local) {
	lines := make([]lease.Lines, len(relays))
	for i, r := range relays {
		lines[i] = lease.Lines{Row: r.row(), Charge: chargeLine{r}, Beat: beatLine{r}}
	}
	k, _ := lease.NewKeeper(lines) // a line that fails shows in the leases
	local := lease.NewLocal(k, now)
	client := lease.NewClient(local)
	out := make([]Relay, len(relays))
	for i, r := range relays {
		out[i] = way{r, client.Relay(r.row())}
	}
	return out, local
}

// way is the way from the loop to the keeper.
type way struct {
	r *testRelay
	*lease.Relay
}

func (w way) Lease(at, span time.Duration, beat bool) error {
	w.r.mu.Lock()
	panics, silent := w.r.panics, w.r.silent
	w.r.mu.Unlock()
	switch {
	case panics:
		panic("relay driver")
	case silent:
		return lease.ErrSilent
	}
	return w.Relay.Lease(at, span, beat)
}

// chargeLine and beatLine are the relay's lines as the keeper has them.
type (
	chargeLine struct{ r *testRelay }
	beatLine   struct{ r *testRelay }
)

func (l chargeLine) Out(level gpio.Level) error {
	r, closed := l.r, bool(level)
	if r.slow > 0 {
		time.Sleep(r.slow)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sets++
	if closed && r.refused != nil {
		return r.refused
	}
	if !closed && r.stuck != nil {
		return r.stuck
	}
	if closed != r.closed {
		r.moved = time.Now()
	}
	r.closed = closed
	if r.j != nil {
		r.j.add("relay %s", r.name)
	}
	return nil
}

func (l beatLine) Out(level gpio.Level) error {
	l.r.mu.Lock()
	defer l.r.mu.Unlock()
	if level != l.r.high {
		l.r.high = level
		l.r.beats++
	}
	return nil
}

// guarded returns a guard of a relay whose keeper works by the present clock.
func guarded(r *testRelay, span time.Duration) *guard {
	start := time.Now()
	now := func() time.Duration { return time.Since(start) }
	relays, _ := kept(now, r)
	return newGuard(relays[0], span, now)
}

// order refreshes at once.
func (g *guard) order(closed bool) error { return g.refresh(g.now(), closed, true) }

func (r *testRelay) isClosed() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.closed
}

// cut reports whether nothing gets to the keeper.
func (r *testRelay) cut() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.silent || r.panics
}

func (r *testRelay) counts() (sets, beats int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.sets, r.beats
}

func (r *testRelay) movedAt() time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.moved
}

func (r *testRelay) spoil(f func(*testRelay)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	f(r)
}

// testSource gives good readings until set otherwise.
type testSource struct {
	name  string
	now   func() time.Duration
	mu    sync.Mutex
	fault func(ctx context.Context) // called before each answer
	asked int
}

func (s *testSource) Name() string { return s.name }

func (s *testSource) Sample(ctx context.Context, out *bay.Readings) {
	at := s.now()
	s.mu.Lock()
	s.asked++
	fault := s.fault
	s.mu.Unlock()
	if fault != nil {
		fault(ctx)
	}
	out.PackV = reading.Good(24.6, at)
	out.PackC = reading.Good(25, at)
	out.Level = reading.LevelBetween(9, 9, at)
}

func (s *testSource) set(fault func(context.Context)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fault = fault
}

func (s *testSource) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.asked
}

// testOutput keeps what it takes, after doing what it was set to do.
type testOutput struct {
	name string
	do   func(*News)
	mu   sync.Mutex
	took []*News
}

func (o *testOutput) Name() string { return o.name }

func (o *testOutput) Take(_ context.Context, n *News) {
	if o.do != nil {
		o.do(n)
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.took = append(o.took, n)
}

func (o *testOutput) all() []*News {
	o.mu.Lock()
	defer o.mu.Unlock()
	return append([]*News{}, o.took...)
}

func (o *testOutput) events() (out []bay.Event) {
	for _, n := range o.all() {
		out = append(out, n.Events...)
	}
	return out
}

// logged counts the lines of a log by message.
type logged struct {
	mu    sync.Mutex
	lines map[string]int
}

func (l *logged) Enabled(context.Context, slog.Level) bool { return true }
func (l *logged) WithAttrs([]slog.Attr) slog.Handler       { return l }
func (l *logged) WithGroup(string) slog.Handler            { return l }
func (l *logged) Handle(_ context.Context, r slog.Record) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.lines == nil {
		l.lines = map[string]int{}
	}
	l.lines[r.Message]++
	return nil
}

func (l *logged) count(part string) (n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for message, times := range l.lines {
		if strings.Contains(message, part) {
			n += times
		}
	}
	return n
}

// rig is a loop with one or more bays on test parts.
type rig struct {
	*Loop
	t       *testing.T
	start   time.Time
	relays  []*testRelay
	keeper  *lease.Local
	sources []*testSource
	log     *logged
}

// reportsClosed is what the loop reports of bay-1's relay.
func (r *rig) reportsClosed() bool {
	closed, known := r.RelayClosed("bay-1")
	return closed && known
}

func (r *rig) now() time.Duration { return time.Since(r.start) }

// newRig creates bays bay-1, bay-2, …; change may alter the options.
func newRig(t *testing.T, bays int, change func(*rig, *Options), outputs ...Output) *rig {
	t.Helper()
	r := &rig{t: t, start: time.Now(), log: &logged{}}
	o := Options{Now: r.now, Log: slog.New(r.log), Outputs: outputs}
	for i := range bays {
		name := fmt.Sprintf("bay-%d", i+1)
		relay := &testRelay{name: name, closed: true}
		source := &testSource{name: "bus", now: r.now}
		r.relays, r.sources = append(r.relays, relay), append(r.sources, source)
		o.Bays = append(o.Bays, Place{Name: name, Core: bay.New(setup(name)), Sources: []Source{source}})
	}
	relays, keeper := kept(r.now, r.relays...)
	for i := range o.Bays {
		o.Bays[i].Relay = relays[i]
	}
	r.keeper = keeper
	if change != nil {
		change(r, &o)
	}
	r.Loop = New(o)
	t.Cleanup(func() { _ = r.Stop(time.Second) }) // the bubble waits for all goroutines
	return r
}

// bubble runs a test on a fake clock, which moves on when all goroutines wait.
func bubble(t *testing.T, f func(*testing.T)) {
	t.Helper()
	synctest.Test(t, f)
}

// running starts Run and returns a function that ends it.
func (r *rig) running() (end func() error) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.Run(ctx) }()
	return func() error {
		cancel()
		err := <-done
		return errors.Join(err, r.Stop(time.Second))
	}
}

// closing waits until bay-1's relay is closed, which takes checking and the minimum
// off time.
func (r *rig) closing() {
	r.t.Helper()
	const bound = 3 * time.Minute
	for range int(bound / time.Second) {
		if r.relays[0].isClosed() {
			return
		}
		time.Sleep(time.Second)
		synctest.Wait()
	}
	r.t.Fatalf("the relay is not closed after %s: %s", bound, words.EnglishSI().Says(r.Pictures()[0]))
}

// ticks runs ticks by hand, a second apart.
func (r *rig) ticks(n int) {
	r.t.Helper()
	r.Start(r.t.Context())
	for range n {
		if err := r.Tick(r.t.Context()); err != nil {
			r.t.Fatal(err)
		}
		time.Sleep(time.Second)
	}
}

func slogOf(h slog.Handler) *slog.Logger { return slog.New(h) }

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }
