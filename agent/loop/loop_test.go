package loop

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/lease"
)

// TestRelayBeforeOutputs: in each tick all relays get their order before any output
// sees that tick. The second relay is slow, and the clock does not move until all
// other goroutines wait: an output that got the news earlier would have taken it by
// then.
func TestRelayBeforeOutputs(t *testing.T) {
	bubble(t, func(t *testing.T) {
		j := &journal{}
		out := &testOutput{name: "journal", do: func(n *News) { j.add("take %d", n.Picture.Now/time.Second) }}
		r := newRig(t, 2, nil, out)
		for _, relay := range r.relays {
			relay.j, relay.slow = j, 50*time.Millisecond
		}
		r.Start(t.Context())
		for range 100 {
			j.add("tick %d", r.now()/time.Second)
			if err := r.Tick(t.Context()); err != nil {
				t.Fatal(err)
			}
			synctest.Wait()
			time.Sleep(900 * time.Millisecond)
		}
		if err := r.Stop(time.Second); err != nil {
			t.Fatal(err)
		}
		relays, takes := 0, 0
		for i, line := range j.all() {
			switch word, _, _ := strings.Cut(line, " "); word {
			case "tick":
				relays = 0
			case "relay":
				relays++
			default:
				if takes++; relays != 2 {
					t.Fatalf("line %d: %q after %d of 2 relays", i, line, relays)
				}
			}
		}
		if takes < 200 {
			t.Errorf("the output saw %d pictures, want those of 100 ticks of 2 bays", takes)
		}
	})
}

// TestBlockedOutputs: outputs that never come back do not affect relays, other
// outputs or the time of a tick.
func TestBlockedOutputs(t *testing.T) {
	bubble(t, func(t *testing.T) {
		gate := make(chan struct{})
		stuck := func(name string) *testOutput { return &testOutput{name: name, do: func(*News) { <-gate }} }
		live := &testOutput{name: "live"}
		var longest atomic.Int64
		r := newRig(t, 1, func(_ *rig, o *Options) {
			o.Observe = func(tick, _ time.Duration) { longest.Store(max(longest.Load(), int64(tick))) }
		}, stuck("broker"), stuck("logbook"), live, stuck("page"))
		end := r.running()
		r.closing()
		before, _ := r.relays[0].counts()
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		after, _ := r.relays[0].counts()
		if !r.relays[0].isClosed() || r.GuardTrips() != 0 || after-before != 600 {
			t.Errorf("with blocked outputs: closed %v, trips %d, %d refreshes in 600 s", r.relays[0].isClosed(), r.GuardTrips(), after-before)
		}
		if took := time.Duration(longest.Load()); took != 0 {
			t.Errorf("a tick took %s on a clock that moves only while something waits", took)
		}
		if n := len(live.all()); n < 600 {
			t.Errorf("the working output got %d pictures", n)
		}
		r.sources[0].set(func(context.Context) { panic("gone") })
		at := time.Now()
		time.Sleep(time.Minute)
		synctest.Wait()
		if took := r.relays[0].movedAt().Sub(at); r.relays[0].isClosed() || took > stale+4*time.Second {
			t.Errorf("with blocked outputs the relay opened after %s (closed: %v)", took, r.relays[0].isClosed())
		}
		close(gate)
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

// TestHungSource: readings of a hanging source grow old, and the permit is blocked
// within their stale time, the finding's raise time and two ticks. The hanging
// source costs the patience of one tick, not of each.
func TestHungSource(t *testing.T) {
	bubble(t, func(t *testing.T) {
		var slow atomic.Int64
		r := newRig(t, 1, func(_ *rig, o *Options) {
			o.Observe = func(tick, _ time.Duration) {
				if tick > 0 {
					slow.Add(1)
				}
			}
		})
		end := r.running()
		r.closing()
		gate := make(chan struct{})
		r.sources[0].set(func(context.Context) { <-gate })
		at, asked := time.Now(), r.sources[0].count()
		time.Sleep(time.Minute)
		synctest.Wait()
		bound := stale + interlock.Table[interlock.VoltageUnknown].Raise + 2*time.Second
		if took := r.relays[0].movedAt().Sub(at); r.relays[0].isClosed() || took > bound {
			t.Errorf("opened after %s (closed: %v), want within %s", took, r.relays[0].isClosed(), bound)
		}
		if r.GuardTrips() != 0 {
			t.Error("the guard had to open: the core should have")
		}
		if slow.Load() != 1 || r.sources[0].count() != asked+1 {
			t.Errorf("%d ticks waited, asked %d times: want one each", slow.Load(), r.sources[0].count()-asked)
		}
		if n := r.log.count("does not answer"); n != 1 {
			t.Errorf("logged %d times that it hangs", n)
		}
		r.sources[0].set(nil)
		close(gate)
		r.closing()
		if n := r.log.count("answers again"); n != 1 {
			t.Errorf("logged %d times that it is back", n)
		}
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

// TestLateAnswer: an answer that comes after the tick is used in the next one, with
// the time at which it was requested.
func TestLateAnswer(t *testing.T) {
	for name, patience := range map[string]time.Duration{"slower than the patience": 250 * time.Millisecond, "no patience": 0} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				r := newRig(t, 1, func(_ *rig, o *Options) {
					o.Patience = func(Source) time.Duration { return patience }
				})
				r.sources[0].set(func(context.Context) { time.Sleep(700 * time.Millisecond) })
				end := r.running()
				time.Sleep(10*time.Second + 900*time.Millisecond)
				seen := r.Pictures()[0].Seen
				if !seen.PackV.OK() || seen.PackV.At.Round(time.Second) != 9*time.Second || seen.Now.Round(time.Second) != 10*time.Second {
					t.Errorf("the tick at %s used %v of %s, want that of the previous tick", seen.Now, seen.PackV, seen.PackV.At)
				}
				r.closing() // a slow bus is enough for a charge
				if err := end(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// TestReadingsAreOfThePast: a tick is stamped after its sampling. A reading that
// seems to come from the future counts as stale, so no charge could ever start.
func TestReadingsAreOfThePast(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, nil)
		r.sources[0].set(func(context.Context) { time.Sleep(20 * time.Millisecond) })
		end := r.running()
		r.closing()
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

// TestDriverPanics: panics are counted each time and logged once; the readings grow
// old; other bays continue; and the source is asked again.
func TestDriverPanics(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 2, nil)
		end := r.running()
		r.closing()
		r.sources[0].set(func(context.Context) { panic("index out of range") })
		time.Sleep(30 * time.Second)
		synctest.Wait()
		if r.relays[0].isClosed() || !r.relays[1].isClosed() {
			t.Errorf("closed: %v and %v, want only that of the good bay", r.relays[0].isClosed(), r.relays[1].isClosed())
		}
		if n := r.Panics(); n != 30 || r.log.count("panic contained") != 1 {
			t.Errorf("%d panics counted and %d logged, want 30 and 1", n, r.log.count("panic contained"))
		}
		r.sources[0].set(nil)
		r.closing()
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}

// TestFirstBeat: the heartbeat begins with the first good step. An agent that is started
// again and again beside a relay that sticks must not hold the watchdog relay closed.
func TestFirstBeat(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 2, nil)
		for _, relay := range r.relays {
			if _, beats := relay.counts(); beats != 0 {
				t.Errorf("%d beats before the first step", beats)
			}
		}
		r.ticks(1)
		for _, relay := range r.relays {
			if _, beats := relay.counts(); beats != 1 {
				t.Errorf("%d beats after the first step", beats)
			}
		}
	})
}

// TestCorePanic: all relays open, the heart stops, and the run ends with an error
// that has the cause.
func TestCorePanic(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 3, nil)
		r.ticks(120)
		for _, relay := range r.relays {
			if !relay.isClosed() {
				t.Fatal("not closed")
			}
		}
		r.Loop.bays[1].Core = nil // its next step panics, after the first bay's relay was closed again
		beats := r.relays[1].beats
		err := r.Tick(t.Context())
		if err == nil || !strings.Contains(err.Error(), "core panicked") || !strings.Contains(err.Error(), "nil pointer") {
			t.Errorf("got %v", err)
		}
		for i, relay := range r.relays {
			if relay.isClosed() {
				t.Errorf("relay %d is closed after the panic", i+1)
			}
		}
		if r.relays[1].beats != beats {
			t.Error("the bay's heart still beats")
		}
		if !errors.Is(r.Healthy(), ErrEnded) {
			t.Errorf("healthy: %v", r.Healthy())
		}
		_ = r.Tick(t.Context())
		if r.relays[0].isClosed() {
			t.Error("a tick after the panic closed a relay")
		}
	})
}

// TestRunEnds: the relays open at once, whatever the outputs do; the last tick's
// news and memory reach the outputs.
func TestRunEnds(t *testing.T) {
	bubble(t, func(t *testing.T) {
		gate := make(chan struct{})
		out, stuck := &testOutput{name: "logbook"}, &testOutput{name: "stuck", do: func(*News) { <-gate }}
		ctx, cancel := context.WithCancel(t.Context())
		var last atomic.Bool
		r := newRig(t, 1, func(_ *rig, o *Options) {
			o.Wall = func() (time.Time, bool) {
				if last.Swap(false) { // the end is requested within a tick, before its news is offered
					cancel()
					synctest.Wait()
				}
				return time.Now(), false
			}
		}, out, stuck)
		done := make(chan error, 1)
		go func() { done <- r.Run(ctx) }()
		r.closing()
		answer := r.ask(context.Background(), hold("last"))
		last.Store(true)
		if got := <-answer; got.err != nil || got.event.Kind != bay.OrderTaken {
			t.Errorf("the order: %+v", got)
		}
		at := time.Now()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if r.relays[0].isClosed() || time.Since(at) != 0 {
			t.Errorf("closed %v, %s after the end was requested", r.relays[0].isClosed(), time.Since(at))
		}
		if err := r.Stop(3 * time.Second); err != nil {
			t.Error(err)
		}
		if took := time.Since(at); took != 3*time.Second || r.log.count("did not finish") != 1 {
			t.Errorf("stopped after %s with one output stuck", took)
		}
		if !slices.ContainsFunc(out.events(), func(e bay.Event) bool { return e.Kind == bay.OrderTaken && e.Order == "last" }) {
			t.Error("an answered order is not in the record")
		}
		close(gate)
	})
}

// TestRunSavesAtTheEnd what has happened since the memory was last due.
func TestRunSavesAtTheEnd(t *testing.T) {
	bubble(t, func(t *testing.T) {
		out := &testOutput{name: "logbook"}
		r := newRig(t, 1, func(_ *rig, o *Options) { o.SaveEvery = time.Hour }, out)
		end := r.running()
		r.closing()
		time.Sleep(20 * time.Minute) // no event, no memory
		if err := end(); err != nil {
			t.Error(err)
		}
		all := out.all()
		before, last := all[len(all)-2], all[len(all)-1]
		var m bay.Memory
		if err := json.Unmarshal(last.Memory, &m); err != nil || before.Memory != nil || m.PermitS < 20*60-1 {
			t.Errorf("the last memory has %v s of permit (%v)", m.PermitS, err)
		}
	})
}

// TestStop: Stop opens first and for good.
func TestStop(t *testing.T) {
	bubble(t, func(t *testing.T) {
		gate := make(chan struct{})
		r := newRig(t, 1, nil, &testOutput{name: "stuck", do: func(*News) { <-gate }})
		r.Start(t.Context())
		r.Start(t.Context()) // does nothing
		r.ticks(120)
		at := time.Now()
		stopped := make(chan error)
		go func() { stopped <- r.Stop(time.Minute) }()
		synctest.Wait() // Stop waits for the output
		if r.relays[0].isClosed() || !r.relays[0].movedAt().Equal(at) {
			t.Error("the relay is not opened before waiting for the outputs")
		}
		close(gate)
		if err := <-stopped; err != nil || time.Since(at) != 0 {
			t.Errorf("stopped after %s: %v", time.Since(at), err)
		}
		beats := r.relays[0].beats
		r.ticks(120)
		if !r.relays[0].movedAt().Equal(at) || r.reportsClosed() || r.relays[0].beats != beats {
			t.Error("a tick after Stop closed the relay or kept the heart beating")
		}
	})
}

func TestStopReportsWhatDoesNotOpen(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 3, nil)
		r.ticks(120)
		r.relays[0].spoil(func(y *testRelay) { y.panics = true })
		r.relays[1].spoil(func(y *testRelay) { y.stuck = errors.New("line is gone") })
		err := r.Stop(0)
		if !errors.Is(err, lease.ErrLine) || !strings.Contains(err.Error(), "bay-2") || !strings.Contains(err.Error(), "bay-1: relay driver panicked") {
			t.Errorf("got %v", err)
		}
		if r.relays[2].isClosed() {
			t.Error("the third relay was not opened because of the others")
		}
	})
}

func TestHealthy(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, nil)
		if r.Healthy() == nil || len(r.Pictures()) != 0 {
			t.Error("healthy before the first tick")
		}
		r.ticks(1)
		for _, row := range []struct {
			after time.Duration
			ok    bool
		}{{0, true}, {2 * time.Second, true}, {time.Millisecond, false}, {time.Hour, false}} {
			time.Sleep(row.after)
			if err := r.Healthy(); (err == nil) != row.ok {
				t.Errorf("%s after the tick: %v", r.now(), err)
			}
		}
		r.ticks(1)
		if err := r.Healthy(); err != nil {
			t.Errorf("after another tick: %v", err)
		}
		if err := r.Stop(0); err != nil || !errors.Is(r.Healthy(), ErrEnded) {
			t.Errorf("after the end: %v, %v", err, r.Healthy())
		}
	})
}

// TestNewOpensAll: each relay is ordered open before the first tick, even if one
// does not obey. The core knows of it.
func TestNewOpensAll(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 2, func(r *rig, _ *Options) {
			for _, y := range r.relays {
				y.spoil(func(y *testRelay) { y.closed = true })
			}
			r.relays[0].stuck = errors.New("line is gone")
		})
		if r.relays[1].isClosed() {
			t.Error("the second is closed")
		}
		r.ticks(1)
		for i, want := range []bay.Keeper{bay.KeeperFails, bay.KeeperObeys} {
			if got := r.Pictures()[i].Seen.Keeper; got != want {
				t.Errorf("bay %d: %v, want %v", i+1, got, want)
			}
		}
	})
}

// TestRecordFailing: the core gets it, and it is called only after the relays.
func TestRecordFailing(t *testing.T) {
	bubble(t, func(t *testing.T) {
		failing := false
		r := newRig(t, 1, func(r *rig, o *Options) {
			o.RecordFailing = func() bool {
				if r.relays[0].sets < 3 { // one by the keeper, one by New
					t.Error("called before the relay")
				}
				return failing
			}
		})
		r.ticks(1)
		failing = true
		r.ticks(20)
		if !r.Pictures()[0].Findings[interlock.RecordFailing].Raised {
			t.Error("not raised")
		}
	})
}

// TestMemoryIsDue with the first tick, with each event, and at intervals.
func TestMemoryIsDue(t *testing.T) {
	bubble(t, func(t *testing.T) {
		out := &testOutput{name: "record"}
		r := newRig(t, 1, func(_ *rig, o *Options) { o.SaveEvery = time.Minute }, out)
		r.Start(t.Context())
		for range 600 {
			r.ticks(1)
			synctest.Wait()
		}
		if err := r.Stop(time.Second); err != nil {
			t.Fatal(err)
		}
		quietFor, longest := 0, 0
		for i, n := range out.all() {
			if n.Memory == nil && (i == 0 || len(n.Events) > 0) {
				t.Errorf("news %d with %d events has no memory", i, len(n.Events))
			}
			if quietFor++; n.Memory != nil {
				quietFor = 0
			}
			longest = max(longest, quietFor)
		}
		if longest != 59 {
			t.Errorf("%d ticks without a memory, want 59", longest)
		}
	})
}
