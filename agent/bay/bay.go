package bay

import (
	"time"

	"bayward/agent/alive"
	"bayward/agent/ammeter"
	"bayward/agent/interlock"
)

// Bay is the core of one bay. Create it with New. It is not safe for concurrent
// use.
type Bay struct {
	setup  Setup
	pic    Picture
	events []Event // of the last tick

	conn     connection           // whether a pack is connected
	identity identity             // which pack it is
	history  history              // its history, which is open here
	nobody   *Pack                // placeholder for an unknown pack
	counts   counts               // what the packs of this bay have accumulated here
	asked    asked                // what users have ordered
	charged  lastCharged          // when it was last on charge
	alive    *alive.Watch         // which sensors show life
	meter    *ammeter.Meter       // zero and noise of the current
	lock     *interlock.Interlock // nil before the first tick, unless a latch came back
	judged   interlock.Inputs     // what it judges in this tick; here so that no tick allocates
	released *PackMemory          // of a pack whose history was closed, until Histories takes it
	between  []Event              // events between two ticks, reported in the next one

	started  bool
	failedAt time.Duration // the last late tick, or one that the keeper failed, if failed
	failed   bool
	bad      map[string]float64 // restored bad times, until the first step; see Memory
	doubted  Doubt              // why the memory was not used as stored
	keptFile string             // see Doubt
}

// New makes a core that knows nothing and blocks. The configuration must have
// checked the setup.
func New(s Setup) *Bay {
	b := &Bay{setup: s, events: make([]Event, 0, 32), identity: newIdentity(&s), alive: alive.New(alive.Config{}), meter: newMeter(&s)}
	b.pic = Picture{Bay: s.Name, Naming: b.identity.by, Limits: &b.setup.Limits, has: &b.setup}
	if b.identity.fixed {
		b.place(&b.identity.packs[0])
		return b
	}
	b.nobody = mostCareful(s.Packs)
	b.place(b.nobody)
	return b
}

// Step processes one tick. It returns the picture after the tick and the tick's
// events, both valid until the next Step; use Clone to keep a picture. If the time
// goes back or does not advance, Step uses the time of the previous tick, and the tick
// is a late one: no raise time passes while the clock stands, so it blocks.
func (b *Bay) Step(r *Readings) (*Picture, []Event) {
	p := &b.pic
	now := clamped(r.Now)
	stands := b.started && now <= p.Now
	now, dt := b.start(now)
	was := stateOf(p)

	judgeReadings(&p.Seen, r, now, b.setup.Limits.StaleAfter)
	p.Seen.LateTick = p.Seen.LateTick || stands
	b.measure(now)
	b.doubtReadings(now)
	cellV := p.Seen.PackV
	cellV.Value /= float64(b.history.pack.Cells)

	b.conn.step(now, cellV, flows(&p.Seen.CurrentA, b.presentA()), p.Seen.Level.Usable(), b.setup.Limits.SettleFor)
	if b.conn.left {
		b.history.charge.PackGone(now)
		b.history.cells.Gone()
		if b.conn.pack == absent {
			b.history.charge.Unplugged()
		}
	}
	b.identity.step(now, &b.conn, &p.Seen.Pack)
	b.take(r.Orders, now)

	var own packReadings
	own.take(&p.Seen, p.Amps.NowA, cellV, b.identity.sure(), b.conn.pack == present)
	p.Charge = *b.history.followCharge(&own)
	p.Cells = *b.history.countCells(&own, &p.Charge, !b.lock.Granted())
	p.Cool = *b.history.followCooldown(&own, &p.Charge)
	p.Water = *b.history.followWater(&own, &p.Charge, &p.Visit, &b.asked.visit, b.lock.Standing(interlock.PlatesBare).Raised)
	p.Visit.noteBare(p.Water.Bare)

	changed := b.permit(now, dt, cellV)
	p.enter(nextStage(p, &b.conn, b.identity.sure()))
	p.Totals = b.counts.sum(b.history.totals())
	b.events = was.appendChanges(b.events, p, changed)
	return p, b.events
}

// start begins a tick: it advances the clock and reports what happened to the
// pack in place between two ticks.
func (b *Bay) start(now time.Duration) (at, dt time.Duration) {
	if !b.started {
		b.begin(now)
	}
	now = max(now, b.pic.Now)
	dt = now - b.pic.Now
	b.pic.Now = now
	if b.identity.leaving && !b.pic.Visit.Open {
		b.letGo(now)
	}
	b.events = append(b.events[:0], b.between...)
	for i := range b.events {
		b.events[i].At = now
	}
	b.between = b.between[:0]
	return now, dt
}

// begin does what only the first tick needs.
func (b *Bay) begin(now time.Duration) {
	b.started = true
	b.pic.Now, b.pic.StageAt, b.pic.Permit.Since = now, now, now
	latches, others := latched(b.lock), raised(b.lock, false)
	b.lock = others.raise(latches.raise(interlock.New(lockLimits(&b.setup, b.history.pack), now), now), now)
	for name, s := range b.bad {
		b.lock.RestoreBad(interlock.Lookup(name), agoOf(s))
	}
	b.bad = nil
	if b.doubted != NoDoubt {
		b.between = append(b.between, Event{Kind: MemoryDoubted, Doubt: b.doubted, File: b.keptFile})
	}
}

// clamped limits a clock to the range in which no difference of two times
// overflows: 36 years to either side of its zero, plus the age of a memory.
func clamped(now time.Duration) time.Duration {
	const most = 1 << 60
	return min(max(now, -most), most)
}
