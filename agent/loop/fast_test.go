package loop

import (
	"context"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/words"
)

const fastWithin = 40 * time.Millisecond

// probe is a level probe that can be read between the ticks. A look takes two
// milliseconds, like a conversion.
type probe struct {
	r    *rig
	dryA func(after time.Duration) (lowMM float64, fault reading.Fault)

	mu   sync.Mutex // guards the fields below
	from time.Time
	n    int
}

func (p *probe) looks() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.n
}

func (*probe) Name() string { return "level" }

func (p *probe) Sample(_ context.Context, out *bay.Readings) {
	time.Sleep(2 * time.Millisecond)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.n++
	mm, fault := 9.0, reading.None
	if !p.from.IsZero() && time.Now().After(p.from) {
		mm, fault = p.dryA(time.Since(p.from))
	}
	out.Level = reading.Level{LowMM: mm, HighMM: mm, At: p.r.now(), Fault: fault}
}

// fastRig is a loop in real time whose relay is closed and whose probe follows dry
// from halfway between two ticks.
func fastRig(t *testing.T, dry func(time.Duration) (float64, reading.Fault)) (*rig, *probe) {
	t.Helper()
	p := &probe{dryA: dry}
	r := newRig(t, 1, func(r *rig, o *Options) {
		p.r = r
		o.Bays[0].Level, o.Bays[0].BareWithin = p, fastWithin
	})
	end := r.running()
	t.Cleanup(func() {
		if err := end(); err != nil {
			t.Error(err)
		}
	})
	r.closing()
	time.Sleep(300 * time.Millisecond)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.from = time.Now()
	return r, p
}

func dryFor(d time.Duration) func(time.Duration) (float64, reading.Fault) {
	return func(after time.Duration) (float64, reading.Fault) {
		if after < d {
			return -2, reading.None
		}
		return 9, reading.None
	}
}

// TestFastOpens: bare plates open the relay within a tenth of a second. The core
// learns of it in the next tick and raises the finding with its numbers, although
// that tick's own reading is good again. The permit comes back only by the rules.
func TestFastOpens(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r, p := fastRig(t, dryFor(200*time.Millisecond))
		time.Sleep(100 * time.Millisecond)
		if r.relays[0].isClosed() || r.FastTrips() != 1 {
			t.Fatalf("closed %v, trips %d, after %d looks", r.relays[0].isClosed(), r.FastTrips(), p.looks())
		}
		if took := r.relays[0].movedAt().Sub(p.from); took < fastWithin {
			t.Errorf("opened after %s, before the level had shown dry for %s", took, fastWithin)
		}
		time.Sleep(time.Second)
		synctest.Wait()
		pic := r.Pictures()[0]
		f := pic.Findings[interlock.PlatesBare]
		if pic.Permit.Granted || !f.Raised || pic.FirstReason() != interlock.PlatesBare || r.relays[0].isClosed() {
			t.Errorf("the core has %s: %s", pic.Permit, words.EnglishSI().Says(pic))
		}
		looks := p.looks()
		time.Sleep(9 * time.Second)
		if p.looks() != looks {
			t.Error("it samples while the relay is open")
		}
		opened := r.relays[0].movedAt()
		r.closing()
		if rest := r.relays[0].movedAt().Sub(opened); rest < bay.DefaultLimits().OffMin {
			t.Errorf("closed again after %s", rest)
		}
		if r.log.count("bare plates between two ticks") != 1 {
			t.Error("not logged exactly once")
		}
	})
}

// TestFastSpares: a bubble, faults and a level above the plates open nothing
// between the ticks.
func TestFastSpares(t *testing.T) {
	for name, dry := range map[string]func(time.Duration) (float64, reading.Fault){
		"a bubble":          dryFor(fastWithin - time.Millisecond),
		"a bubble a second": turns(fastWithin-5*time.Millisecond, time.Second),
		"small bubbles":     turns(time.Millisecond, 120*time.Millisecond),
		"faults":            func(time.Duration) (float64, reading.Fault) { return 0, reading.NoAnswer },
		"just covered":      func(time.Duration) (float64, reading.Fault) { return 0.1, reading.None },
		"not a number":      func(time.Duration) (float64, reading.Fault) { return math.NaN(), reading.Implausible },
		"panic each time":   func(time.Duration) (float64, reading.Fault) { panic("driver") },
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				r, p := fastRig(t, dry)
				time.Sleep(5 * time.Second)
				if !r.relays[0].isClosed() || r.FastTrips() != 0 || p.looks() > 2000 {
					t.Errorf("closed %v, trips %d, looks %d", r.relays[0].isClosed(), r.FastTrips(), p.looks())
				}
			})
		})
	}
}

// turns is a level that is dry for a while in each period.
func turns(dry, period time.Duration) func(time.Duration) (float64, reading.Fault) {
	return func(after time.Duration) (float64, reading.Fault) {
		return map[bool]float64{true: -1, false: 9}[after%period < dry], reading.None
	}
}

// TestFastCountsWaves: a level that comes and goes opens the relay, although no three
// samples in a row are dry for long enough.
func TestFastCountsWaves(t *testing.T) {
	for name, row := range map[string]struct {
		dry    func(time.Duration) (float64, reading.Fault)
		within time.Duration
	}{
		"each other 30 ms":     {turns(30*time.Millisecond, 60*time.Millisecond), 150 * time.Millisecond},
		"20 ms of 50":          {turns(20*time.Millisecond, 50*time.Millisecond), 300 * time.Millisecond},
		"nine tenths":          {turns(36*time.Millisecond, 40*time.Millisecond), 100 * time.Millisecond},
		"dry at a third of it": {turns(40*time.Millisecond, 120*time.Millisecond), 400 * time.Millisecond},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				r, p := fastRig(t, row.dry)
				time.Sleep(row.within)
				if r.relays[0].isClosed() || r.FastTrips() != 1 {
					t.Fatalf("closed %v, trips %d, after %d looks", r.relays[0].isClosed(), r.FastTrips(), p.looks())
				}
				if took := r.relays[0].movedAt().Sub(p.from); took < fastWithin {
					t.Errorf("opened after %s", took)
				}
			})
		})
	}
}

// TestFastBeginsAtZero: what was counted before the relay opened is not counted when it
// is closed again.
func TestFastBeginsAtZero(t *testing.T) {
	f := newFast(nil, fastWithin)
	f.dry = leastDry * fastDrain
	ctx, end := context.WithCancel(t.Context())
	done := make(chan struct{})
	g := guarded(&testRelay{}, time.Second) // open
	go func() { f.run(ctx, g); close(done) }()
	f.closed <- struct{}{}
	f.closed <- struct{}{} // taken once the first was handled
	end()
	<-done
	if f.dry != 0 {
		t.Errorf("counts %d", f.dry)
	}
}

// TestFastThroughFaults: a failed sample between dry ones hides nothing.
func TestFastThroughFaults(t *testing.T) {
	bubble(t, func(t *testing.T) {
		n := 0
		r, p := fastRig(t, func(time.Duration) (float64, reading.Fault) {
			if n++; n%2 == 0 {
				return 0, reading.NoAnswer
			}
			return -2, reading.None
		})
		time.Sleep(300 * time.Millisecond)
		if took := r.relays[0].movedAt().Sub(p.from); r.relays[0].isClosed() || took > 200*time.Millisecond {
			t.Errorf("closed %v, after %s", r.relays[0].isClosed(), took)
		}
	})
}

// TestFastNeverCloses: an open relay stays open whatever the fast loop sees.
func TestFastNeverCloses(t *testing.T) {
	bubble(t, func(t *testing.T) {
		relay := &testRelay{}
		g := guarded(relay, time.Second)
		sets := relay.sets
		f := newFast(nil, fastWithin)
		f.trip(g, reading.LevelBetween(-1, -1, 0))
		if relay.sets != sets || g.takeDry() || f.take().Usable() || f.trips != 0 {
			t.Error("it moved a relay that was open")
		}
		_ = g.order(true)
		f.trip(g, reading.LevelBetween(-1, -1, 0))
		if relay.isClosed() {
			t.Error("not opened")
		}
		if _ = g.order(true); relay.isClosed() {
			t.Error("closed before the core knew")
		}
		if !g.takeDry() || !f.take().Usable() || g.takeDry() || f.take().Usable() {
			t.Error("not reported exactly once")
		}
		_ = g.close()
	})
}
