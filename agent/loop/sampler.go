package loop

import (
	"context"
	"log/slog"
	"time"

	"bayward/agent/bay"
)

// Source is one thread of sensors, such as an I²C bus. Sample fills in its own
// fields and leaves the others alone. It may take long or hang; then its last
// readings grow old.
type Source interface {
	// Name is for the log.
	Name() string
	// Sample reads once. It must not keep out.
	Sample(ctx context.Context, out *bay.Readings)
}

// hungAfter is how long a source may take before it is logged as hanging: no bus
// needs that long.
const hungAfter = 15 * time.Second

// sampler owns a source and the goroutine that asks it.
type sampler struct {
	source   Source
	patience time.Duration // how long a tick waits for it
	ask      chan struct{}
	done     chan *bay.Readings
	buf      bay.Readings // the goroutine's between ask and done
	panics   panics       // the goroutine's
	log      *slog.Logger

	busy    bool // asked, and the answer is not taken yet
	awaited bool // asked in this tick, which waits for the answer
	asked   time.Time
	hung    bool // logged that it does not answer
}

func newSampler(s Source, patience time.Duration, log *slog.Logger, count func()) *sampler {
	log = log.With("source", s.Name())
	return &sampler{
		source: s, patience: patience, log: log,
		panics: panics{count: count, log: log},
		ask:    make(chan struct{}, 1), done: make(chan *bay.Readings, 1),
	}
}

func (s *sampler) run(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-s.ask:
			s.sample(ctx)
			s.done <- &s.buf // never blocks: one answer for each question
		}
	}
}

// sample contains a driver's panic: its readings stay as they are and age.
func (s *sampler) sample(ctx context.Context) {
	s.panics.contain(func() { s.source.Sample(ctx, &s.buf) })
}

// start asks for a sample unless the last one is still running; an answer that came
// since the last tick is taken first. A tick waits only for what it has asked for
// itself, so a hanging source costs one tick's patience, not every tick's.
func (s *sampler) start(into *bay.Readings) {
	select {
	case r := <-s.done:
		s.take(r, into)
	default:
	}
	s.awaited = !s.busy && s.patience > 0
	if !s.busy {
		s.busy, s.asked = true, time.Now()
		s.ask <- struct{}{} // never blocks: it is not busy
	}
}

// await takes the answer if it comes before the end of the patience, which began
// with the tick's sampling. The timer is the loop's, stopped.
func (s *sampler) await(ctx context.Context, into *bay.Readings, began time.Time, t *time.Timer) {
	select {
	case r := <-s.done:
		s.take(r, into)
		return
	default:
	}
	left := s.patience - time.Since(began)
	if left <= 0 {
		return
	}
	t.Reset(left)
	defer t.Stop()
	select {
	case r := <-s.done:
		s.take(r, into)
	case <-t.C:
	case <-ctx.Done():
	}
}

func (s *sampler) take(r, into *bay.Readings) {
	s.busy = false
	into.Merge(r)
}

// tell logs once that a source hangs, and once that it is back. It is called after
// the relays.
func (s *sampler) tell() {
	switch hangs := s.busy && time.Since(s.asked) > hungAfter; {
	case hangs && !s.hung:
		s.hung = true
		s.log.Warn("sensor source does not answer", "waited_s", time.Since(s.asked).Seconds())
	case s.hung && !hangs:
		s.hung = false
		s.log.Info("sensor source answers again")
	}
}
