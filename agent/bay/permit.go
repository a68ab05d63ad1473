package bay

import (
	"time"

	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/electrolyte"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// chargedFor is how long after a charge a high voltage counts as its
// after-effect.
const chargedFor = 30 * time.Minute

// lastCharged is when the pack was last charged, or allowed to be.
type lastCharged struct {
	at    time.Duration
	known bool
}

// recently processes one tick and reports whether a high voltage may come from a
// recent charge.
func (l *lastCharged) recently(now time.Duration, charging bool) bool {
	if charging {
		l.at, l.known = now, true
	}
	return l.known && now-l.at <= chargedFor
}

func lockLimits(s *Setup, p *Pack) interlock.Limits {
	l := &s.Limits
	return interlock.Limits{
		ChargeLevelMM: p.ChargeLevelMM, ChargeMaxC: l.ChargeMaxC, ChargeResumeC: l.ChargeResumeC,
		HydrogenMaxPct: l.HydrogenMaxPct, HydrogenResumePct: l.HydrogenResumePct, OffMin: l.OffMin, CloseDelay: l.CloseDelay,
		Fitted: s.Fitted, StrayA: strayRate * p.CapacityAh,
	}
}

// permit has the rules judge this tick and copies their decision into the
// picture. It returns the findings that it raised or cleared there.
func (b *Bay) permit(now, dt time.Duration, cellV reading.Reading) (changed interlock.Codes) {
	in := &b.judged
	b.permitInputs(in, now, cellV)
	b.pic.Holds = b.asked.holds
	if bare := &b.pic.Seen.Bare; bare.Usable() {
		e := interlock.Evidence{Value: bare.LowMM - b.BareAtMM(), Limit: b.history.pack.ChargeLevelMM, Fault: reading.None}
		b.lock.Prove(interlock.PlatesBare, e, now)
	}
	b.lock.Limits.StrayA = max(b.strayA(), b.pic.Amps.UnsureA)
	b.lock.Step(in, b.asked.release)
	b.asked.release = false
	if b.pic.Permit.Granted {
		b.pic.PermitS += dt.Seconds()
	} else {
		b.pic.BlockedS += dt.Seconds()
	}
	b.pic.Permit = Permit{Granted: b.lock.Granted(), Since: b.lock.Changed()}
	raised := b.lock.Raised()
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		f := &b.pic.Findings[c]
		if raised>>c&1 == 0 && !f.Raised {
			continue // what is shown of it stays unchanged
		}
		s := b.lock.Standing(c)
		if s.Raised != f.Raised {
			changed |= 1 << c
			b.history.latched[c] = s.Raised && s.Latched && packLatch(c) && b.identity.open != none
			if c == interlock.ChargeOverrun && !s.Raised { // only a person can have cleared it
				b.history.charge.Released()
			}
		}
		*f = Finding{s.Raised, s.Since, s.Latched, s.Evidence, s.Clearing(), s.Raised && s.Gone}
	}
	return changed
}

// permitInputs fills in what the rules judge in this tick.
func (b *Bay) permitInputs(in *interlock.Inputs, now time.Duration, cellV reading.Reading) {
	s, c, w := &b.pic.Seen, &b.pic.Charge, &b.pic.Water
	*in = interlock.Inputs{
		Now: now, CellV: cellV, Level: s.Level,
		BareCells: w.Bare.Len(), Overfilled: w.Over.First(), OverCells: w.Over.Len(),
		AirNeverOff: !b.setup.Fan.SeenOff && !b.alive.FanSeenOff(),
		FreezingC:   electrolyte.FreezingC(b.history.charge.LeastGravity()) + electrolyte.FreezingMarginC,
		Charged:     b.charged.recently(now, c.Active || c.Flowing || b.lock.Granted()),
		CellsFit:    cellsFit(&b.pic.Cells, b.history.pack.Cells), CellsOf: b.history.pack.Cells,
		WaterKnown: w.Known && w.PredictOK, ApartMM: w.ApartMM, UnrecordedMM: w.UnrecordedMM, ReadOffMM: w.ReadOffMM,
		VisitOpen: b.pic.Visit.Open, Held: len(b.asked.holds) > 0, LeaveFor: b.asked.leave.left(now), RecordFailing: s.RecordFailing,
		Ready: b.steady(now) && b.conn.ready(now), Plug: b.conn.plug(),
	}
	s.judged(in)
	if in.Level.Usable() {
		in.Level.LowMM -= b.BareAtMM()
	}
	in.SurelyMM, in.SurelyKnown = b.history.water.SurelyNowMM()
	in.SurelyAt = b.surelyAt()
	if s.PackC.OK() {
		low, high := cooldown.ElectrolyteC(s.PackC.Value, s.AmbientC, sensorShare(b.setup.TempOnCase))
		in.ColderK, in.WarmerK = s.PackC.Value-low, high-s.PackC.Value
	}
	switch {
	case b.asked.forgot:
		in.HeldAt.Reason = interlock.Forgotten
	case b.asked.isNew:
		in.HeldAt.Reason = interlock.NewBay
	}
	in.ReadyAt = b.conn.unready(now, b.setup.Limits.SettleFor)
	switch {
	case s.Keeper != KeeperObeys:
		in.ReadyAt = interlock.Evidence{Reason: keeperReasons[min(s.Keeper, numKeepers-1)]}
	case in.ReadyAt.Reason == interlock.NoPack:
	case s.LateTick:
		in.ReadyAt = interlock.Evidence{Reason: interlock.LateTick}
	case b.conn.ready(now) && !in.Ready:
		in.ReadyAt = interlock.Evidence{Value: (b.setup.Limits.OffMin - (now - b.failedAt)).Seconds(), Reason: interlock.ContactorRest}
	case b.doubted != NoDoubt:
		in.ReadyAt.Reason = interlock.Restored
	}
	in.Name, in.NameAt.Reason = b.identity.judged(now, &b.conn, s.Taken, b.pic.Visit.Open)
	in.Overrun, in.OverrunAt = overrun(b.history.charge.Overrun())
	in.RunawayAt.Value, in.RunawayAt.Limit, in.Runaway = b.history.charge.Runaway()
}

// steady reports whether ticks are on time and the keeper obeys, and did for the minimum
// off time. With that time counted only from when the contactor opened, what fails each
// other second would close it for one second a minute.
func (b *Bay) steady(now time.Duration) bool {
	if s := &b.pic.Seen; s.LateTick || s.Keeper != KeeperObeys {
		b.failed, b.failedAt = true, now
		return false
	}
	return !b.failed || now-b.failedAt >= b.setup.Limits.OffMin
}

// surelyAt is the evidence for the careful lower bound: how long the cell with it was not
// read, and which cell that is. Where it is the cell with the probe, the balance
// contradicts the probe.
func (b *Bay) surelyAt() interlock.Evidence {
	w := &b.pic.Water
	e := interlock.Evidence{Value: w.ReadAgeH, Limit: float64(w.SurelyCell)}
	switch {
	case w.NeverRead:
		e.Reason = interlock.NeverRead
	case w.SurelyCell == b.history.pack.ProbeCell:
		e.Reason = interlock.ByBalance
	}
	return e
}

// BareAtMM returns the measured level of the pilot cell, in mm, at or below which
// the plates of the lowest cell are bare; 0 or more.
func (b *Bay) BareAtMM() float64 { return -min(b.history.water.LowestMM(), 0) }

func overrun(o charge.Overrun) (interlock.Reason, interlock.Evidence) {
	e := interlock.Evidence{Value: o.Value, Limit: o.Limit}
	switch {
	case o.Hours && o.AfterFull:
		e.Reason = interlock.AfterFull
	case o.Hours:
		e.Reason = interlock.ByHours
	case o.AmpereHours:
		e.Reason = interlock.ByAmpereHours
	}
	return e.Reason, e
}
