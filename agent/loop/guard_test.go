package loop

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/words"
)

// TestGuardOpens: when the loop stops ticking, the relay opens within three ticks
// of its last refresh. The core learns of it and blocks, and the permit returns
// only after the contactor's minimum off time.
func TestGuardOpens(t *testing.T) {
	bubble(t, func(t *testing.T) {
		out := &testOutput{name: "record"}
		r := newRig(t, 1, nil, out)
		r.Start(t.Context())
		r.ticks(120)
		last := time.Now().Add(-time.Second) // of the last tick
		if !r.relays[0].isClosed() {
			t.Fatal("not closed")
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if late := r.relays[0].movedAt().Sub(last); r.relays[0].isClosed() || late != 3*time.Second {
			t.Errorf("opened after %s (closed: %v), want three ticks", late, r.relays[0].isClosed())
		}
		if r.GuardTrips() != 1 || r.RelayClosed("bay-1") {
			t.Errorf("trips %d, closed %v", r.GuardTrips(), r.RelayClosed("bay-1"))
		}
		back := time.Now()
		r.ticks(1)
		p := r.Pictures()[0]
		if p.Permit.Granted || !p.Seen.LateTick || p.FirstReason() != interlock.AgentUnready || r.relays[0].isClosed() {
			t.Errorf("the core does not know: permit %s, %s", p.Permit, words.EnglishSI().Says(p))
		}
		off := bay.DefaultLimits().OffMin
		for !r.relays[0].isClosed() {
			r.ticks(1)
			if time.Since(back) > 2*off {
				t.Fatalf("the permit does not come back: %s", words.EnglishSI().Says(r.Pictures()[0]))
			}
		}
		if rest := r.relays[0].movedAt().Sub(back); rest < off {
			t.Errorf("closed again after %s, the minimum off time is %s", rest, off)
		}
		if r.log.count("guard had opened") != 1 {
			t.Errorf("logged %d times", r.log.count("guard had opened"))
		}
		if err := r.Stop(time.Second); err != nil {
			t.Error(err)
		}
	})
}

// TestGuardWithoutTimer: a process that was stopped for a while may run its next
// tick before the guard's timer runs.
func TestGuardWithoutTimer(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		g := newGuard(relay, 3*time.Second)
		if err := g.refresh(true); err != nil {
			t.Fatal(err)
		}
		g.timer.Stop()
		time.Sleep(time.Minute)
		if !g.takeTrip() || relay.isClosed() || g.trips != 1 {
			t.Errorf("not taken as late; closed %v, trips %d", relay.isClosed(), g.trips)
		}
		if g.takeTrip() {
			t.Error("reported twice")
		}
	})
}

// TestGuardWithoutTelling: a relay that the guard has opened stays open until the
// core knows; otherwise it would close again without its minimum off time.
func TestGuardWithoutTelling(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		g := newGuard(relay, 3*time.Second)
		for _, row := range []struct{ trip, want bool }{{true, false}, {false, false}} {
			if row.trip {
				_ = g.refresh(true)
				time.Sleep(4 * time.Second)
				synctest.Wait()
			}
			if err := g.refresh(true); err != nil || relay.isClosed() != row.want {
				t.Errorf("%+v: closed %v, %v", row, relay.isClosed(), err)
			}
		}
		if !g.takeTrip() {
			t.Error("the trip is lost")
		}
		if err := g.refresh(true); err != nil || !relay.isClosed() {
			t.Errorf("after it was reported: closed %v, %v", relay.isClosed(), err)
		}
		_ = g.end()
	})
}

// TestGuardOfOpenRelay never trips: there is nothing to open.
func TestGuardOfOpenRelay(t *testing.T) {
	bubble(t, func(t *testing.T) {
		g := newGuard(&testRelay{}, 3*time.Second)
		if err := g.refresh(false); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Hour)
		if g.takeTrip() || g.trips != 0 {
			t.Error("tripped")
		}
	})
}

// TestGuardProperty: whatever happens in whatever order, the relay is closed only
// within the limit after a refresh that ordered it, with no unreported trip and no
// end before.
func TestGuardProperty(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) { rapid.SyncTest(rt, checkGuard) })
}

func checkGuard(rt *rapid.T) {
	const limit = 3 * time.Second
	relay := &testRelay{}
	g := newGuard(relay, limit)
	var asked time.Time
	wanted, ended := false, false
	rt.Repeat(map[string]func(*rapid.T){
		"close": func(*rapid.T) { _, asked, wanted = g.refresh(true), time.Now(), true },
		"open":  func(*rapid.T) { _, wanted = g.refresh(false), false },
		"tick": func(*rapid.T) {
			late := g.takeTrip()
			_, asked, wanted = g.refresh(!late), time.Now(), !late
		},
		"end": func(*rapid.T) { _, ended = g.end(), true },
		"wait": func(rt *rapid.T) {
			time.Sleep(time.Duration(rapid.IntRange(0, 5000).Draw(rt, "ms")) * time.Millisecond)
		},
		"fail":   func(*rapid.T) { relay.spoil(func(r *testRelay) { r.refused = errors.New("no") }) },
		"repair": func(*rapid.T) { relay.spoil(func(r *testRelay) { r.refused = nil }) },
		"": func(rt *rapid.T) {
			synctest.Wait()
			if relay.isClosed() && (!wanted || ended || time.Since(asked) >= limit) {
				rt.Fatalf("closed: wanted %v, ended %v, %s after the refresh", wanted, ended, time.Since(asked))
			}
			if relay.isClosed() != g.isClosed() {
				rt.Fatalf("closed %v, reported %v", relay.isClosed(), g.isClosed())
			}
		},
	})
	_ = g.end()
}

// TestRelayErrors: a relay that does not obey is opened as far as possible, logged
// once, tried again each tick, and does not beat.
func TestRelayErrors(t *testing.T) {
	for name, spoil := range map[string]func(*testRelay, bool){
		"error": func(r *testRelay, on bool) {
			if r.refused = nil; on {
				r.refused = errors.New("line is gone")
			}
		},
		"panic": func(r *testRelay, on bool) { r.panics = on },
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				r := newRig(t, 2, nil)
				r.relays[0].spoil(func(y *testRelay) { spoil(y, true) })
				r.ticks(120)
				beats := r.relays[0].beats
				if r.relays[0].isClosed() || r.RelayClosed("bay-1") || !r.relays[1].isClosed() {
					t.Errorf("closed %v (reported %v), the other %v", r.relays[0].isClosed(), r.RelayClosed("bay-1"), r.relays[1].isClosed())
				}
				r.ticks(10)
				if r.relays[0].beats != beats {
					t.Error("it beats")
				}
				if n := r.log.count("relay command failed"); n != 1 {
					t.Errorf("logged %d times", n)
				}
				r.relays[0].spoil(func(y *testRelay) { spoil(y, false) })
				r.ticks(1)
				if !r.relays[0].isClosed() || r.log.count("relay works again") != 1 || r.relays[0].beats == beats {
					t.Errorf("fixed: closed %v, logged %d", r.relays[0].isClosed(), r.log.count("relay works again"))
				}
				if err := r.Stop(0); err != nil {
					t.Error(err)
				}
			})
		})
	}
}
