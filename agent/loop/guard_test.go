package loop

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/lease"
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
		if r.reportsClosed() {
			t.Error("reported closed")
		}
		back := time.Now()
		r.ticks(1)
		if r.GuardTrips() != 1 {
			t.Errorf("%d trips", r.GuardTrips())
		}
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
		if r.log.count("the relay had opened") != 1 {
			t.Errorf("logged %d times", r.log.count("the relay had opened"))
		}
		if err := r.Stop(time.Second); err != nil {
			t.Error(err)
		}
	})
}

// TestGuardWithoutTimer: in a process that was stopped for a while the next tick may
// come before the keeper's timer. The core learns of it, once.
func TestGuardWithoutTimer(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		now := time.Hour
		relays, _ := kept(func() time.Duration { return now }, relay)
		g := newGuard(relays[0], 3*time.Second, func() time.Duration { return now })
		if err := g.order(true); err != nil || !relay.isClosed() {
			t.Fatal(err)
		}
		now += 3 * time.Second // no timer runs
		if g.isClosed() {
			t.Error("closed by what the agent knows")
		}
		if !g.takeTrip() || relay.isClosed() || g.trips != 1 {
			t.Errorf("not taken as late; closed %v, trips %d", relay.isClosed(), g.trips)
		}
		if err := g.order(true); err != nil || !relay.isClosed() || g.takeTrip() || g.trips != 1 {
			t.Errorf("reported twice: %v, closed %v, trips %d", err, relay.isClosed(), g.trips)
		}
	})
}

// TestGuardWithoutTelling: a relay that has opened by itself stays open until the core
// knows; otherwise it would close again without its minimum off time.
func TestGuardWithoutTelling(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		g := guarded(relay, 3*time.Second)
		for _, row := range []struct{ trip, want bool }{{true, false}, {false, false}} {
			if row.trip {
				_ = g.order(true)
				time.Sleep(4 * time.Second)
				synctest.Wait()
			}
			if err := g.order(true); err != nil || relay.isClosed() != row.want {
				t.Errorf("%+v: closed %v, %v", row, relay.isClosed(), err)
			}
		}
		if !g.takeTrip() {
			t.Error("the trip is lost")
		}
		if err := g.order(true); err != nil || !relay.isClosed() {
			t.Errorf("after it was reported: closed %v, %v", relay.isClosed(), err)
		}
		_ = g.close()
	})
}

// TestKeeperTrips: a keeper that opens although the lease runs is believed.
func TestKeeperTrips(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		now, late := 0*time.Second, 0*time.Second
		relays, _ := kept(func() time.Duration { return now + late }, relay)
		g := newGuard(relays[0], 3*time.Second, func() time.Duration { return now })
		_ = g.order(true)
		late = 4 * time.Second
		now += time.Second
		if err := g.order(true); err != nil || relay.isClosed() || g.trips != 1 {
			t.Errorf("closed %v, trips %d, %v", relay.isClosed(), g.trips, err)
		}
		late = 0
		if _ = g.order(true); relay.isClosed() {
			t.Error("closed before the core knew")
		}
		if !g.takeTrip() || g.takeTrip() {
			t.Error("not reported exactly once")
		}
		if _ = g.order(true); !relay.isClosed() {
			t.Error("open although the core knows")
		}
	})
}

// TestLateDecision: a decision that is older than a lease closes nothing, and the core
// learns that its relay is open.
func TestLateDecision(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		g := guarded(relay, 3*time.Second)
		time.Sleep(time.Minute)
		if err := g.refresh(g.now()-3*time.Second, true, true); err != nil || relay.isClosed() || g.isClosed() {
			t.Errorf("closed %v, %v", relay.isClosed(), err)
		}
		if !g.takeTrip() || g.trips != 0 {
			t.Errorf("the core does not know, or %d trips of a relay that was open", g.trips)
		}
		if err := g.refresh(g.now()-2*time.Second, true, true); err != nil || !relay.isClosed() {
			t.Errorf("closed %v, %v", relay.isClosed(), err)
		}
		time.Sleep(time.Second)
		synctest.Wait()
		if relay.isClosed() {
			t.Error("closed for longer than the decision was good for")
		}
	})
}

// TestLeaseBeginsWithTheTick: the time that sensors take is not added to the lease.
func TestLeaseBeginsWithTheTick(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, nil)
		r.ticks(120)
		r.sources[0].set(func(context.Context) { time.Sleep(200 * time.Millisecond) })
		began := time.Now()
		r.ticks(1)
		time.Sleep(time.Minute)
		synctest.Wait()
		if after := r.relays[0].movedAt().Sub(began); after != 3*time.Second {
			t.Errorf("opened %s after the beginning of the last tick", after)
		}
	})
}

// TestGuardOfOpenRelay never trips: there is nothing to open.
func TestGuardOfOpenRelay(t *testing.T) {
	bubble(t, func(t *testing.T) {
		g := guarded(&testRelay{}, 3*time.Second)
		if err := g.order(false); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Hour)
		if g.takeTrip() || g.trips != 0 {
			t.Error("tripped")
		}
	})
}

// TestGuardAfterIsBounded: no lease is longer than a keeper accepts.
func TestGuardAfterIsBounded(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		g := guarded(relay, time.Hour)
		_ = g.order(true)
		time.Sleep(lease.Longest)
		synctest.Wait()
		if relay.isClosed() || g.isClosed() {
			t.Errorf("closed %v, by what the agent knows %v", relay.isClosed(), g.isClosed())
		}
	})
}

// TestClose: a keeper that is not there is no failure to open what it never closed.
func TestClose(t *testing.T) {
	for name, row := range map[string]struct {
		closed bool
		spoil  func(*testRelay)
		want   error
	}{
		"all well":            {true, func(*testRelay) {}, nil},
		"nobody was there":    {false, func(r *testRelay) { r.silent = true }, nil},
		"gone while closed":   {true, func(r *testRelay) { r.silent = true }, lease.ErrSilent},
		"the line is stuck":   {true, func(r *testRelay) { r.stuck = errors.New("no") }, lease.ErrLine},
		"and was open before": {false, func(r *testRelay) { r.stuck = errors.New("no") }, lease.ErrLine},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				relay := &testRelay{}
				g := guarded(relay, 3*time.Second)
				_ = g.order(row.closed)
				relay.spoil(row.spoil)
				if err := g.close(); !errors.Is(err, row.want) {
					t.Errorf("got %v", err)
				}
				relay.spoil(func(r *testRelay) { r.silent, r.stuck = false, nil })
				if _ = g.order(true); relay.isClosed() {
					t.Error("closed after the end")
				}
			})
		})
	}
}

// TestGuardProperty: whatever happens in whatever order, the relay is closed only
// within the limit after the decision to close it was begun, with nothing before that
// has opened it and was not reported, and, if the keeper is reached, with no later
// decision to open it and no end.
func TestGuardProperty(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) { rapid.SyncTest(rt, checkGuard) })
}

func checkGuard(rt *rapid.T) {
	const limit = 3 * time.Second
	relay := &testRelay{}
	g := guarded(relay, limit)
	var begun time.Duration // the last decision to close that reached the keeper
	wanted, ended, untold, arrived := false, false, false, true
	refresh := func(age time.Duration, closed bool) {
		at := max(g.now()-age, 0)
		_, wanted, arrived = g.refresh(at, closed, true), closed, !relay.cut()
		if closed && arrived {
			begun = at
		}
	}
	rt.Repeat(map[string]func(*rapid.T){
		"close": func(*rapid.T) { refresh(0, true) },
		"late": func(rt *rapid.T) {
			refresh(time.Duration(rapid.IntRange(0, 4000).Draw(rt, "ms"))*time.Millisecond, true)
		},
		"open": func(*rapid.T) { refresh(0, false) },
		"tick": func(*rapid.T) {
			late := g.takeTrip()
			untold = false
			refresh(0, !late && g.obeys() == bay.KeeperObeys)
		},
		"end": func(*rapid.T) { _, ended, arrived = g.close(), true, !relay.cut() },
		"wait": func(rt *rapid.T) {
			time.Sleep(time.Duration(rapid.IntRange(0, 5000).Draw(rt, "ms")) * time.Millisecond)
		},
		"fail":   func(*rapid.T) { relay.spoil(func(r *testRelay) { r.refused = errors.New("no") }) },
		"silent": func(*rapid.T) { relay.spoil(func(r *testRelay) { r.silent = true }) },
		"panic":  func(*rapid.T) { relay.spoil(func(r *testRelay) { r.panics = true }) },
		"repair": func(*rapid.T) { relay.spoil(func(r *testRelay) { r.refused, r.silent, r.panics = nil, false, false }) },
		"": func(rt *rapid.T) {
			synctest.Wait()
			closed := relay.isClosed()
			switch {
			case closed && g.now()-begun >= limit, closed && untold, closed && arrived && (!wanted || ended):
				rt.Fatalf("closed: wanted %v, ended %v, unreported %v, %s after the decision was begun", wanted, ended, untold, g.now()-begun)
			case arrived && closed != g.isClosed(), !closed && g.isClosed():
				rt.Fatalf("closed %v, reported %v", closed, g.isClosed())
			}
			untold = untold || !closed && wanted && !ended // until the next tick
		},
	})
	_ = g.close()
}

// TestRelayErrors: a relay that does not obey is opened as far as possible. The core
// knows in the next tick, does not grant a charge that cannot run, and tries again
// by its own rules. Every change is logged once.
func TestRelayErrors(t *testing.T) {
	for name, row := range map[string]struct {
		spoil func(*testRelay, bool)
		want  interlock.Reason
	}{
		"error": {func(r *testRelay, on bool) {
			if r.refused = nil; on {
				r.refused = errors.New("line is gone")
			}
		}, interlock.KeeperFails},
		"panic":     {func(r *testRelay, on bool) { r.panics = on }, interlock.KeeperSilent},
		"no answer": {func(r *testRelay, on bool) { r.silent = on }, interlock.KeeperSilent},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				r := newRig(t, 2, nil)
				r.ticks(100)
				r.relays[0].spoil(func(y *testRelay) { row.spoil(y, true) })
				beats := r.relays[0].beats
				r.ticks(2)
				if p := r.Pictures()[0]; p.Permit.Granted || p.FirstReason() != interlock.AgentUnready || p.Findings[interlock.AgentUnready].Evidence.Reason != row.want {
					t.Errorf("permit %s: %s", p.Permit, words.EnglishSI().Says(p))
				}
				r.ticks(10)
				if n := r.log.count("does not obey"); n != 1 || r.log.count("was late") != 1 || r.GuardTrips() != 1 {
					t.Errorf("logged %d and %d times, %d trips", n, r.log.count("was late"), r.GuardTrips())
				}
				if r.relays[0].isClosed() || r.reportsClosed() || !r.relays[1].isClosed() {
					t.Errorf("closed %v (reported %v), the other %v", r.relays[0].isClosed(), r.reportsClosed(), r.relays[1].isClosed())
				}
				if row.want == interlock.KeeperSilent && r.relays[0].beats != beats {
					t.Error("it beats")
				}
				r.relays[0].spoil(func(y *testRelay) { row.spoil(y, false) })
				for range 100 {
					r.ticks(1)
				}
				if !r.relays[0].isClosed() {
					t.Errorf("open after it was fixed: %s", words.EnglishSI().Says(r.Pictures()[0]))
				}
				if r.log.count("obeys again") != 1 || r.log.count("does not obey") != 1 {
					t.Errorf("logged %d times as fixed and %d as failed", r.log.count("obeys again"), r.log.count("does not obey"))
				}
				if err := r.Stop(0); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// TestOtherLines: a keeper that was started with other lines closes nothing, and the
// bay says so.
func TestOtherLines(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, func(r *rig, o *Options) {
			relays, _ := kept(r.now, &testRelay{name: "another"})
			stranger := relays[0].(way)
			stranger.Relay = lease.NewClient(r.keeper).Relay(lease.Row{Bay: "bay-1", Charge: "GPIO1"})
			o.Bays[0].Relay = stranger
		})
		r.ticks(200)
		p := r.Pictures()[0]
		if r.relays[0].isClosed() || p.Permit.Granted || p.Findings[interlock.AgentUnready].Evidence.Reason != interlock.KeeperOther {
			t.Errorf("closed %v, permit %s: %s", r.relays[0].isClosed(), p.Permit, words.EnglishSI().Says(p))
		}
		if err := r.Stop(0); err != nil {
			t.Error(err)
		}
	})
}
