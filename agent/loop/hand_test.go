package loop

import (
	"context"
	"fmt"
	"os/exec"
	"runtime"
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

// BenchmarkHand is the agent's own part of a reaction: from the last reading in
// hand to the last order at a relay. The physical floor comes on top and is not
// the agent's: for three agreeing samples of a bay three conversions of 2.2 ms
// for each bay on the converter, the time set in the configuration, and 10 to
// 30 ms for the contactor.
//
//	go test ./agent/loop -run xxx -bench Hand -benchtime 100000x -timeout 1h
//
// "tick" is a whole tick from the end of its sampling to the last bay's relay,
// "fast" from the third dry sample to the relay. Disk and broker are outputs that
// never come back.
func BenchmarkHand(b *testing.B) {
	for _, under := range []string{"nothing", "cpu", "garbage", "stalled-disk-and-broker"} {
		for _, bays := range []int{1, 4, 8} {
			for _, path := range []string{"tick", "fast"} {
				b.Run(fmt.Sprintf("%s/bays=%d/under=%s", path, bays, under), func(b *testing.B) {
					h := newHand(b, bays, under == "stalled-disk-and-broker")
					stop := strain(b, under)
					defer stop()
					if path == "tick" {
						h.ticks(b)
					} else {
						h.fast(b)
					}
				})
			}
		}
	}
}

// strain keeps the machine busy until stop is called: with other processes, twice
// as many as there are processors, or with garbage from this one.
func strain(b *testing.B, under string) (stop func()) {
	b.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	switch under {
	case "cpu":
		for range 2 * runtime.GOMAXPROCS(0) {
			other := exec.CommandContext(ctx, "sh", "-c", "while :; do :; done")
			if err := other.Start(); err != nil {
				b.Fatal(err)
			}
			all.Go(func() { _ = other.Wait() })
		}
	case "garbage":
		all.Go(func() {
			var keep [64][]byte
			for n := 0; ctx.Err() == nil; n++ {
				keep[n%len(keep)] = make([]byte, 16<<10)
			}
			runtime.KeepAlive(keep)
		})
	}
	return func() { cancel(); all.Wait() }
}

// hand is a loop whose sources answer at once and whose relays record the time.
type hand struct {
	loop   *Loop
	inHand atomic.Int64 // when a source last returned, nanoseconds since start
	pin    atomic.Int64 // when a relay was last ordered
	opened chan struct{}
	dry    atomic.Int32 // the bay whose plates fall dry, from 1; 0: none
	start  time.Time
	took   []time.Duration
}

// stuckOutput is a disk or a broker that never answers.
type stuckOutput struct{ until <-chan struct{} }

func (stuckOutput) Name() string                        { return "stuck" }
func (o stuckOutput) Take(context.Context, *News)       { <-o.until }
func (h *hand) now() time.Duration                      { return time.Since(h.start) }
func (h *hand) note(at *atomic.Int64) (d time.Duration) { d = h.now(); at.Store(int64(d)); return d }

// handSource is all sensors of a bay, or its level alone.
type handSource struct {
	h     *hand
	bay   int32
	level bool
}

func (handSource) Name() string { return "bus" }

func (s handSource) Sample(_ context.Context, out *bay.Readings) {
	at, mm := s.h.now(), 9.0
	isDry := s.level && s.h.dry.Load() == s.bay
	if isDry {
		mm = -1
	}
	out.Level = reading.LevelBetween(mm, mm, at)
	if !s.level {
		out.PackV, out.PackC = reading.Good(24.6, at), reading.Good(25, at)
	}
	if !s.level || isDry {
		s.h.note(&s.h.inHand)
	}
}

// handLine is the line of a relay, behind a keeper in this process.
type handLine struct{ h *hand }

func (l handLine) Out(level gpio.Level) error {
	l.h.note(&l.h.pin)
	if level == gpio.Low {
		select {
		case l.h.opened <- struct{}{}:
		default:
		}
	}
	return nil
}

func newHand(b *testing.B, bays int, stalled bool) *hand {
	h := &hand{opened: make(chan struct{}, 1), start: time.Now()}
	o := Options{Now: h.now, Log: quiet(), Outputs: []Output{nowhere{}}, GuardAfter: time.Hour}
	until := make(chan struct{})
	if stalled {
		o.Outputs = []Output{stuckOutput{until}, stuckOutput{until}}
	}
	lines := make([]lease.Lines, bays)
	for i := range lines {
		name := fmt.Sprintf("bay-%d", i+1)
		lines[i] = lease.Lines{Row: lease.Row{Bay: name, Charge: name}, Charge: handLine{h}}
	}
	keeper, err := lease.NewKeeper(lines)
	if err != nil {
		b.Fatal(err)
	}
	o.KeeperNow = func() time.Duration { return 0 } // no lease ends
	client := lease.NewClient(lease.NewLocal(keeper, o.KeeperNow))
	for i := range lines {
		name := lines[i].Row.Bay
		o.Bays = append(o.Bays, Place{
			Name: name, Core: bay.New(setup(name)), Relay: client.Relay(lines[i].Row),
			Sources: []Source{handSource{h: h}}, Level: handSource{h, int32(i + 1), true}, BareWithin: 400 * time.Microsecond,
		})
	}
	h.loop = New(o)
	h.loop.Start(context.Background())
	b.Cleanup(func() {
		close(until)
		if err := h.loop.Stop(time.Minute); err != nil {
			b.Error(err)
		}
	})
	return h
}

func (h *hand) ticks(b *testing.B) {
	h.took = make([]time.Duration, 0, b.N)
	for b.Loop() {
		if err := h.loop.Tick(b.Context()); err != nil {
			b.Fatal(err)
		}
		h.took = append(h.took, time.Duration(h.pin.Load()-h.inHand.Load()))
	}
	h.report(b)
}

// fast closes the relays by hand, to avoid waiting for the core's permit.
func (h *hand) fast(b *testing.B) {
	bays := h.loop.bays
	for _, r := range bays {
		_ = r.guard.order(true)
		r.fast.follow(r.Core, true)
	}
	for n := 0; b.Loop(); n++ {
		r := bays[n%len(bays)]
		h.drain()
		h.dry.Store(int32(n%len(bays) + 1))
		<-h.opened
		h.took = append(h.took, time.Duration(h.pin.Load()-h.inHand.Load()))
		h.dry.Store(0)
		_ = r.fast.take()
		r.guard.takeDry()
		_ = r.guard.order(true)
		r.fast.follow(r.Core, true)
	}
	h.report(b)
}

func (h *hand) drain() {
	select {
	case <-h.opened:
	default:
	}
}

func (h *hand) report(b *testing.B) {
	slices.Sort(h.took)
	us := func(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }
	b.ReportMetric(us(h.took[len(h.took)/2]), "median-µs")
	b.ReportMetric(us(h.took[len(h.took)*99/100]), "p99-µs")
	b.ReportMetric(us(h.took[len(h.took)-1]), "worst-µs")
	b.ReportMetric(0, "ns/op")
}
