package bay

import (
	"time"

	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/electrolyte"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/water"
)

const (
	// noPackV is the highest voltage of a cell that counts as no pack: leakage
	// of a charger's output filter, common practice, no source.
	noPackV = 0.3
	// strayRate is the current, in parts of the capacity per hour, that may be
	// the offset of a sensor.
	strayRate = 0.01
	// doubtAfter is how long the voltage may be unknown before another pack
	// may stand in the bay.
	doubtAfter = 15 * time.Minute
	// chargedFor is how long after a charge a high voltage is its remainder.
	chargedFor = 30 * time.Minute
)

// Bay is the core of one bay. Make it with New; it is not safe for use by
// several goroutines at once.
type Bay struct {
	setup  Setup
	pic    Picture
	events []Event

	who      identity
	nobody   *Pack       // stands for a pack that is not known
	released *PackMemory // of a pack that was let go, until taken
	// Of the totals: what the packs before had, and what this one had when it came.
	before, atSeat Totals
	ours           [interlock.NumCodes]bool // latches that are of this pack

	lock   *interlock.Interlock
	charge *charge.Tracker
	cool   *cooldown.Rest
	water  *water.Balance
	in     interlock.Inputs

	started bool
	start   time.Duration
	seat    seat
	held    bool
	forgot  bool    // held since what people had ordered cannot be read
	visitMM float64 // settled level of the pilot when the visit opened
	visitOK bool
	orders  taken
	release bool
	told    interlock.Codes // the findings that stand in the picture
	cellV   reading.Reading // Seen.PackV over the cells, V
	doubted string          // why the memory was doubted, until told
	hotAt   time.Duration
	wasHot  bool // hotAt is set: current flowed or was granted then
	chargeI charge.Inputs
	coolI   cooldown.Inputs
	waterI  water.Inputs
}

// New makes a core that knows nothing and blocks. The setup must be one
// that the configuration has checked.
func New(s Setup) *Bay {
	b := &Bay{setup: s, events: make([]Event, 0, 32), who: identity{by: ByConfig, want: none}}
	pack := &b.setup.Pack
	if b.several() {
		b.nobody = nobody(s.Packs)
		pack, b.who.at, b.who.by = b.nobody, none, NotNamed
	}
	b.pic = Picture{Bay: s.Name, Naming: b.who.by, Limits: &b.setup.Limits, has: &b.setup}
	b.place(pack)
	return b
}

func sensorShare(onCase bool) float64 {
	if onCase {
		return cooldown.CaseShare
	}
	return 1
}

// Step takes in one tick and returns what is known after it and what happened
// in it. Both are valid until the next Step; Clone keeps a picture. A time
// that goes back is taken as the time of the tick before.
func (b *Bay) Step(r *Readings) (*Picture, []Event) {
	b.events = b.events[:0]
	now := clamped(r.Now)
	if !b.started {
		b.begin(now)
	}
	now = max(now, b.pic.Now)
	dt := now - b.pic.Now
	b.pic.Now = now
	if b.who.leaving && !b.pic.Visit.Open {
		b.letGo(now)
	}
	if b.who.fresh {
		b.tellSeat()
	}
	before := b.chargeNow()
	b.see(r, now)
	b.seat.step(now, b.cellV, &b.pic.Seen.CurrentA, strayRate*b.setup.Pack.CapacityAh, b.setup.Limits.SettleFor)
	if b.seat.left {
		b.charge.PackGone(now)
	}
	if b.several() {
		b.identify(now)
	}
	if len(r.Orders) > 0 {
		b.take(r.Orders, now)
	}
	b.stepCharge(now)
	b.stepCool(now)
	b.stepWater(now)
	b.stepLock(now, dt)
	if before != b.chargeNow() {
		b.tellCharge(before, now)
	}
	b.stage(now)
	b.pic.Totals = b.totals()
	return &b.pic, b.events
}

// begin is the first step's own part.
func (b *Bay) begin(now time.Duration) {
	b.started, b.start = true, now
	b.pic.Now, b.pic.StageAt, b.pic.Permit.Since = now, now, now
	latches := b.lock
	b.lock = interlock.New(b.lockLimits(), now)
	if latches != nil {
		b.relatch(latches, now)
	}
	if b.doubted != "" {
		b.tell(Event{Kind: MemoryDoubted, Text: b.doubted})
	}
}

// clamped keeps a clock in the range in which no difference of two times
// overflows: 36 years to either side of its zero, ages of a memory on top.
func clamped(now time.Duration) time.Duration {
	const most = 1 << 60
	return min(max(now, -most), most)
}

func (b *Bay) lockLimits() interlock.Limits {
	s, l := &b.setup, &b.setup.Limits
	return interlock.Limits{
		ChargeLevelMM: s.Pack.ChargeLevelMM, ChargeMaxC: l.ChargeMaxC, ChargeResumeC: l.ChargeResumeC,
		HydrogenMaxPct: l.HydrogenMaxPct, HydrogenResumePct: l.HydrogenResumePct, OffMin: l.OffMin,
		Fitted: s.Fitted, StrayA: strayRate * s.Pack.CapacityAh,
	}
}

// see ages the readings: what is judged and shown from here on is only what
// counts at this tick.
func (b *Bay) see(r *Readings, now time.Duration) {
	stale := b.setup.Limits.StaleAfter
	s := &b.pic.Seen
	s.Now = now
	for i := range sensorTable {
		if row := &sensorTable[i]; row.at != nil {
			*row.at(s) = within(row.at(r).Aged(now, stale), row.most)
		}
	}
	b.cellV = s.PackV
	b.cellV.Value /= float64(b.setup.Pack.Cells)
	s.Level = r.Level.Aged(now, stale)
	if s.Level.OK() && (s.Level.LowMM < -mostMM || s.Level.HighMM > mostMM) {
		s.Level.Fault = reading.Implausible
	}
	s.RecordFailing, s.LateTick, s.Bare = r.RecordFailing, r.LateTick, r.Bare
	s.Pack, s.Taken = r.Pack.Aged(now, stale), r.Taken
}

func within(r reading.Reading, most float64) reading.Reading {
	if r.OK() && (r.Value > most || r.Value < -most) {
		r.Fault = reading.Implausible
	}
	return r
}

func (b *Bay) stepCharge(now time.Duration) {
	s := &b.pic.Seen
	in := &b.chargeI
	in.Now, in.CellV, in.CurrentA, in.PackC, in.Complete = now, b.cellV, s.CurrentA, s.PackC, s.ChargerComplete
	if b.seat.here != present {
		in.CellV = reading.Bad(reading.Missing, now)
	}
	if !b.mine() {
		*in = charge.Inputs{Now: now}
	}
	b.charge.Step(in)
	b.pic.Charge = *b.charge.Status()
}

func (b *Bay) stepCool(now time.Duration) {
	c := &b.pic.Charge
	in := &b.coolI
	in.Now, in.PackC, in.AmbientC = now, b.pic.Seen.PackC, b.pic.Seen.AmbientC
	in.Full, in.Resting, in.EndedAt = c.Full, c.Ended && !c.Active && !c.Flowing, c.EndedAt
	if !b.mine() {
		in.PackC = reading.Bad(reading.Missing, now)
	}
	b.cool.Step(in)
	b.pic.Cool = *b.cool.Status()
}

func (b *Bay) stepWater(now time.Duration) {
	c := &b.pic.Charge
	in := &b.waterI
	in.Now, in.Level, in.PackC, in.Gassing = now, b.pic.Seen.Level, b.pic.Seen.PackC, c.Flowing
	in.GassingAh, in.ChargeEnded, in.AnyCharge = c.TotalGassingAh, c.EndedAt, c.Ended
	in.Visit, in.VisitMM, in.GivenML = b.pic.Visit.Open && b.visitOK, b.visitMM, &b.pic.Visit.GivenML
	if !b.mine() {
		in.Level, in.PackC = reading.Level{At: now}, reading.Bad(reading.Missing, now)
	}
	b.water.Step(in)
	b.pic.Water = *b.water.Status()
}

// stepLock gives the rules their inputs and takes over what they decided.
func (b *Bay) stepLock(now, dt time.Duration) {
	s, c, in := &b.pic.Seen, &b.pic.Charge, &b.in
	in.Now, in.Level, in.CellV, in.PackC = now, s.Level, b.cellV, s.PackC
	if low := b.water.LowestMM(); low < 0 && in.Level.OK() {
		in.Level.LowMM += low
	}
	in.CurrentA, in.Hydrogen, in.Airflow, in.Feedback = s.CurrentA, s.HydrogenPct, s.Airflow, s.ContactorClosed
	in.FreezingC = electrolyte.FreezingC(b.charge.GravityNow()) + electrolyte.FreezingMarginC
	if c.Active || c.Flowing || b.lock.Granted() {
		b.hotAt, b.wasHot = now, true
	}
	in.Charged = b.wasHot && now-b.hotAt <= chargedFor
	b.chargeFaults()
	in.WaterKnown, in.ApartMM = b.pic.Water.Known && b.pic.Water.PredictOK, b.pic.Water.ApartMM
	in.VisitOpen, in.Held, in.RecordFailing = b.pic.Visit.Open, b.held, s.RecordFailing
	in.HeldAt.Reason = interlock.Usual
	if b.forgot {
		in.HeldAt.Reason = interlock.Forgotten
	}
	in.Ready = b.seat.here == present && b.seat.settled && !b.seat.gone(now) && !b.pic.Seen.LateTick
	in.Plug = b.seat.plug()
	in.Name, in.NameAt.Reason = b.known(now)
	in.ReadyAt = b.unready(now)
	if s.Bare.OK() {
		e := interlock.Evidence{Value: s.Bare.LowMM - b.BareAtMM(), Limit: b.setup.Pack.ChargeLevelMM, Fault: reading.None}
		b.lock.Prove(interlock.PlatesBare, e, now)
	}
	b.lock.Step(in, b.release)
	b.release = false
	b.takePermit(dt)
}

// BareAtMM is the level of the pilot cell, as measured, at or below which the
// plates of the lowest cell are bare, mm; 0 or more.
func (b *Bay) BareAtMM() float64 { return -min(b.water.LowestMM(), 0) }

func (b *Bay) chargeFaults() {
	in := &b.in
	in.Overrun = interlock.Usual
	switch o := b.charge.Overrun(); {
	case o.Hours:
		in.Overrun, in.OverrunAt = interlock.ByHours, interlock.Evidence{Value: o.Value, Limit: o.Limit, Reason: interlock.ByHours}
	case o.AmpereHours:
		in.Overrun, in.OverrunAt = interlock.ByAmpereHours, interlock.Evidence{Value: o.Value, Limit: o.Limit, Reason: interlock.ByAmpereHours}
	}
	riseA, riseK, ok := b.charge.Runaway()
	in.Runaway, in.RunawayAt = ok, interlock.Evidence{Value: riseA, Limit: riseK}
}

func (b *Bay) unready(now time.Duration) interlock.Evidence {
	if b.seat.here == vacant || b.seat.empty {
		return interlock.Evidence{Reason: interlock.NoPack}
	}
	if b.pic.Seen.LateTick {
		return interlock.Evidence{Reason: interlock.LateTick}
	}
	e := interlock.Evidence{Value: b.setup.Limits.SettleFor.Seconds()}
	if b.seat.here == present {
		e.Value = max((b.setup.Limits.SettleFor - (now - b.seat.since)).Seconds(), 0)
	}
	if b.doubted != "" {
		e.Reason = interlock.Restored
	}
	return e
}

// takePermit moves findings and permit into the picture and tells the changes.
func (b *Bay) takePermit(dt time.Duration) {
	was := b.pic.Permit.Granted
	if was {
		b.pic.PermitS += dt.Seconds()
	} else {
		b.pic.BlockedS += dt.Seconds()
	}
	// What is told of a finding moves only while it stands.
	raised := b.lock.Raised()
	for c := range (raised | b.told).All() {
		s, f := b.lock.Standing(c), &b.pic.Findings[c]
		old := f.Raised
		f.Raised, f.Since, f.Latched, f.Evidence = s.Raised, s.Since, s.Latched, s.Evidence
		if old != s.Raised {
			b.ours[c] = s.Raised && s.Latched && packLatch(c) && b.who.at != none
			b.tellFinding(c, f)
		}
	}
	b.told = raised
	b.pic.Permit = Permit{Granted: b.lock.Granted(), Since: b.lock.Changed()}
	if b.pic.Permit.Granted != was {
		b.tellPermit()
	}
}
