package loop

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// Source is one thread of sensors, such as an I²C bus. Sample fills in its own
// fields and leaves the others alone. It may take long or hang: then its last
// readings grow old.
type Source interface {
	// Name is for the log.
	Name() string
	// Sample reads once. It must not keep out.
	Sample(ctx context.Context, out *bay.Readings)
}

// sampler owns a source and the goroutine that asks it.
type sampler struct {
	source   Source
	patience time.Duration // how long a tick waits for it
	ask      chan struct{}
	done     chan *bay.Readings
	buf      bay.Readings // the goroutine's between ask and done
	busy     bool
	log      *slog.Logger
	panicked func()
}

func newSampler(s Source, patience time.Duration, log *slog.Logger, panicked func()) *sampler {
	return &sampler{
		source: s, patience: patience, log: log, panicked: panicked,
		ask: make(chan struct{}, 1), done: make(chan *bay.Readings, 1),
	}
}

func (s *sampler) run(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-s.ask:
			s.sample(ctx)
			s.done <- &s.buf // has room: one answer for each question
		}
	}
}

// sample contains a driver's panic: its readings stay as they are and age.
func (s *sampler) sample(ctx context.Context) {
	defer func() {
		if p := recover(); p != nil {
			s.panicked()
			s.log.Error("a sensor's driver panicked", "source", s.source.Name(), "panic", fmt.Sprint(p))
		}
	}()
	s.source.Sample(ctx, &s.buf)
}

// start asks for a sample unless the last one is still under way; an answer
// that came since the last tick is taken first.
func (s *sampler) start(into *bay.Readings) {
	s.collect(into)
	if !s.busy {
		s.busy = true
		s.ask <- struct{}{} // has room: it is not busy
	}
}

// collect takes an answer if there is one.
func (s *sampler) collect(into *bay.Readings) {
	select {
	case r := <-s.done:
		s.take(r, into)
	default:
	}
}

func (s *sampler) take(r, into *bay.Readings) {
	s.busy = false
	merge(into, r)
}

// merge takes over the fields that a source has filled in.
func merge(into, from *bay.Readings) {
	one := func(to *reading.Reading, r reading.Reading) {
		if r.Fault != reading.Missing {
			*to = r
		}
	}
	one(&into.PackV, from.PackV)
	one(&into.CurrentA, from.CurrentA)
	one(&into.PackC, from.PackC)
	one(&into.AmbientC, from.AmbientC)
	one(&into.HydrogenPct, from.HydrogenPct)
	one(&into.Airflow, from.Airflow)
	one(&into.ContactorClosed, from.ContactorClosed)
	one(&into.ChargerComplete, from.ChargerComplete)
	if from.Cover.Fault != reading.Missing {
		into.Cover = from.Cover
	}
}
