package loop

import (
	"context"
	"testing"
	"time"

	"bayward/agent/bay"
)

// nowhere takes and forgets.
type nowhere struct{}

func (nowhere) Name() string                { return "nowhere" }
func (nowhere) Take(context.Context, *News) {}

// BenchmarkTick is the loop's own cost for eight bays with a source and an
// output each: hand over to goroutines and back, step, clone, publish.
func BenchmarkTick(b *testing.B) {
	start := time.Now()
	now := func() time.Duration { return time.Since(start) }
	o := Options{Now: now, Log: quiet(), Outputs: []Output{nowhere{}}}
	for range 8 {
		o.Bays = append(o.Bays, Bay{
			Name: "bay-1", Core: bay.New(setup("bay-1")), Relay: &testRelay{},
			Sources: []Source{&testSource{name: "bus", now: now}},
		})
	}
	l, err := New(o)
	if err != nil {
		b.Fatal(err)
	}
	l.Start(b.Context())
	b.ReportAllocs()
	for b.Loop() {
		if err := l.Tick(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
	if err := l.Stop(time.Second); err != nil {
		b.Fatal(err)
	}
}
