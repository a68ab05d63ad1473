package loop

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bay"
	"bayward/agent/lease"
	"bayward/agent/reading"
)

// nowhere accepts news and drops it.
type nowhere struct{}

func (nowhere) Name() string                { return "nowhere" }
func (nowhere) Take(context.Context, *News) {}

// BenchmarkTick is the loop's own cost for eight bays with a source and an output
// each: hand over to goroutines and back, step, clone, publish.
func BenchmarkTick(b *testing.B) {
	start := time.Now()
	now := func() time.Duration { return time.Since(start) }
	o := Options{Now: now, Log: quiet(), Outputs: []Output{nowhere{}}}
	var all []*testRelay
	for i := range 8 {
		name := fmt.Sprintf("bay-%d", i+1)
		all = append(all, &testRelay{name: name})
		o.Bays = append(o.Bays, Place{Name: name, Core: bay.New(setup(name)), Sources: []Source{&testSource{name: "bus", now: now}}})
	}
	relays, _ := kept(now, all...)
	for i := range o.Bays {
		o.Bays[i].Relay = relays[i]
	}
	l := New(o)
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

// conversion is one look at a probe over a bus that all bays share: 1.3 ms of
// conversion at 860 samples a second and 0.9 ms of transfers at 100 kHz.
const conversion = 2200 * time.Microsecond

// wire is a probe on a shared bus.
type wire struct {
	bus *sync.Mutex
	now func() time.Duration
	dry atomic.Bool
}

func (*wire) Name() string { return "level" }

func (w *wire) Sample(_ context.Context, out *bay.Readings) {
	w.bus.Lock()
	defer w.bus.Unlock()
	at := w.now()
	mm := 9.0
	if w.dry.Load() {
		mm = -1
	}
	time.Sleep(conversion)
	out.Level = reading.LevelBetween(mm, mm, at)
}

// opens is a line that reports when it was driven low.
type opens struct{ at chan time.Time }

func (o opens) Out(l gpio.Level) error {
	if l == gpio.Low {
		select {
		case o.at <- time.Now():
		default:
		}
	}
	return nil
}

// alone is a keeper of one relay on a line.
func alone(line lease.Output, now func() time.Duration) *guard {
	row := lease.Row{Bay: "bay-1", Charge: "GPIO17"}
	k, _ := lease.NewKeeper([]lease.Lines{{Row: row, Charge: line}})
	return newGuard(lease.NewClient(lease.NewLocal(k, now)).Relay(row), lease.Longest, now)
}

// BenchmarkReaction is the time from the plates of one bay falling dry to the order
// at its relay, in real time, with all bays on one bus. It counts only the time of
// driver and chip; the floor is three conversions of each bay and the required
// 40 ms.
func BenchmarkReaction(b *testing.B) {
	for _, bays := range []int{1, 4, 8} {
		b.Run(fmt.Sprintf("bays=%d", bays), func(b *testing.B) { benchReaction(b, bays) })
	}
}

func benchReaction(b *testing.B, bays int) {
	start := time.Now()
	now := func() time.Duration { return time.Since(start) }
	ctx, cancel := context.WithCancel(b.Context())
	var bus sync.Mutex
	var all sync.WaitGroup
	wires, guards, fasts := make([]*wire, bays), make([]*guard, bays), make([]*fast, bays)
	relay := opens{make(chan time.Time, 1)}
	for i := range bays {
		wires[i] = &wire{bus: &bus, now: now}
		guards[i] = alone(relay, func() time.Duration { return 0 }) // no lease ends
		fasts[i] = newFast(wires[i], 40*time.Millisecond)
		_ = guards[i].order(true)
		all.Go(func() { fasts[i].run(ctx, guards[i]) })
	}
	var took []time.Duration
	for n := 0; b.Loop(); n++ {
		i := n % bays
		select {
		case <-relay.at: // of its keeper's start
		default:
		}
		time.Sleep(time.Duration(n*7%23) * time.Millisecond) // not in step with the looks
		fell := time.Now()
		wires[i].dry.Store(true)
		took = append(took, (<-relay.at).Sub(fell))
		wires[i].dry.Store(false)
		_ = fasts[i].take()
		guards[i].takeDry()
		_ = guards[i].order(true)
		select {
		case fasts[i].closed <- struct{}{}:
		default: // it does not sleep yet
		}
	}
	cancel()
	all.Wait()
	slices.Sort(took)
	ms := func(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
	b.ReportMetric(ms(took[len(took)/2]), "median-ms")
	b.ReportMetric(ms(took[len(took)*99/100]), "p99-ms")
	b.ReportMetric(ms(took[len(took)-1]), "worst-ms")
}

// BenchmarkTrip is the time from a dry reading in hand to the order at the relay.
func BenchmarkTrip(b *testing.B) {
	g := guarded(&testRelay{}, lease.Longest)
	f := newFast(nil, 40*time.Millisecond)
	c := reading.LevelBetween(-1, -1, 0)
	b.ReportAllocs()
	for b.Loop() {
		_ = g.order(true)
		f.trip(g, c)
		g.takeDry()
	}
	_ = g.close()
}
