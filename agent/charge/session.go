package charge

import (
	"math"
	"time"
)

const (
	endAfter = 30 * time.Minute // ends a charge that is not full yet
	endFull  = 10 * time.Minute // ends one that is
	leastOut = 0.05             // share of the capacity below which a charge factor proves nothing
)

// session belongs to the current charge, or to the last one.
type session struct {
	flowS   float64 // seconds of flow
	outAh   float64 // taken out before it, since the pack was full
	outOK   bool
	backAh  float64 // returned, including earlier charges since the pack was full
	full    bool    // counted as full
	disch   bool
	dischAt time.Duration
}

func (t *Tracker) watchFlow(n *tick) {
	switch {
	case n.aOK:
		t.flow.byCurrent(n.now, n.a, t.cfg.CapacityAh, n.vOK && held(n.v, n.c))
	case t.cfg.HasCurrent:
		// A configured sensor gives no reading: no current counts as proven.
		t.flow.lose(n.now)
	case n.vOK:
		t.flow.byVoltage(n.now, n.smoothV)
	default:
		t.flow.lose(n.now)
	}
	if t.s.Flowing && !t.flow.on {
		t.bookGas()
	}
	t.s.Flowing = t.flow.on
	t.watchDischarge(n)
}

func (t *Tracker) watchDischarge(n *tick) {
	s := &t.session
	out := n.aOK && n.a < -startRate*t.cfg.CapacityAh
	if out && !s.disch {
		s.dischAt = n.now
	}
	s.disch = out
	if out && n.now-s.dischAt >= confirm && t.s.Active {
		t.end(min(t.flow.since, n.now))
	}
	if t.s.OutAh > takenOut*t.cfg.CapacityAh {
		if t.s.Full {
			t.notFull()
		}
		if t.ceiling.afterFull {
			t.ceiling.restart(false)
		}
	}
	if t.s.OutAh > t.proof.pendingOutAh+takenOut*t.cfg.CapacityAh {
		t.s.Pending = NoEvidence
	}
}

// notFull takes back a full, because of use or because it is not certain any more.
func (t *Tracker) notFull() {
	t.s.Full, t.s.Evidence = false, NoEvidence
	t.count.backAh = 0
}

// neverFull takes back a full that was wrong, with the ceiling that began with it.
func (t *Tracker) neverFull() {
	t.notFull()
	t.ceiling.afterFull, t.proof.proven = false, false
}

// follow starts and ends charges.
func (t *Tracker) follow(n *tick) {
	lasts := n.now - t.flow.since
	switch {
	case !t.s.Active && t.flow.on && t.flow.raw && lasts >= confirm:
		t.begin(n.now)
	case t.s.Active && t.flow.on:
		t.session.flowS += n.dtS
	case t.s.Active:
		limit := endAfter
		if t.s.Full {
			limit = endFull
		}
		if lasts >= limit {
			t.end(t.flow.since)
		}
	}
	if t.s.Active && n.cOK {
		t.s.MaxPackC, t.s.TempKnown = max(t.s.MaxPackC, n.c), true
	}
	if t.session.outOK && t.session.outAh >= leastOut*t.cfg.CapacityAh {
		t.s.ReturnFactor, t.s.ReturnKnown = t.session.backAh/t.session.outAh, true
	}
}

func (t *Tracker) begin(now time.Duration) {
	s := &t.session
	s.flowS = (now - t.flow.since).Seconds()
	first := 0.0
	if t.count.hadA {
		first = max(t.count.a, 0) * s.flowS / 3600
	}
	s.full = false
	s.outAh, s.outOK, s.backAh = t.s.OutAh, t.s.OutKnown, t.count.backAh
	t.depth()
	t.s.Active, t.s.Since = true, t.flow.since
	t.s.Charges++
	t.s.InAh, t.s.GassingAh = first, 0
	t.s.MaxPackC, t.s.TempKnown = math.Inf(-1), false
	t.s.ReturnKnown = false
	before := t.proof
	t.proof = proof{collapsed: before.collapsed, proven: t.s.Full}
	goesOn := t.s.Ended && t.s.Since-t.s.EndedAt < restTry
	if goesOn { // its voltage is still that of the charge before
		t.proof.start = before.start
	}
	if goesOn && t.s.Doubt == AwaitsRest { // as a float whose current comes and goes
		t.proof.slow, t.proof.pendingOutAh = before.slow, before.pendingOutAh
	} else {
		t.s.Pending = NoEvidence
		if t.s.Doubt >= DrawsTooMuch {
			t.s.Doubt = NoDoubt
		}
	}
	if s := &t.s; s.SocKnown && !s.OutKnown {
		t.proof.missing, t.proof.missingOK = 1-max(s.Soc-s.SocPlus, 0), true
	}
	t.plateau = plateau{}
	t.gas = gassing{times: t.gas.times}
	t.dropGravity() // the readings belong to the state before
}

// depth records how far the pack is discharged, by the count or, without one, by
// the estimate.
func (t *Tracker) depth() {
	s := &t.s
	s.DepthKnown = s.OutKnown || s.SocKnown
	switch {
	case s.OutKnown && s.Full:
		s.DepthBefore = s.OutAh / t.cfg.CapacityAh
	case s.OutKnown:
		s.DepthBefore = max(s.OutAh-t.count.backAh/t.cfg.Factor, 0) / t.cfg.CapacityAh
	case s.SocKnown:
		s.DepthBefore = 1 - s.Soc
	default:
		s.DepthBefore = 0
	}
}

func (t *Tracker) end(at time.Duration) {
	t.s.Active, t.s.Ended, t.s.EndedAt, t.s.Since = false, true, at, at
	t.ceiling.over = Overrun{}
	if t.s.Full && !t.session.full {
		t.s.ChargesFull++ // full before, and still
	}
	t.unproven()
	t.plateau = plateau{}
	if t.run.ended = t.run.flows; !t.run.ended {
		t.run = runaway{}
	}
}
