package charge

import (
	"time"

	"bayward/agent/electrolyte"
)

const (
	restTry = 2 * time.Hour // before that, the rest voltage shows too little
	// socFull is the half width of "full": the finish stage of the published model
	// (Schiffer et al.) settles at 0.96 to 0.98 of its scale, warm packs lowest.
	socFull   = 0.05
	socDrift  = 0.002 // per hour of counting: 0.2 % of a current sensor at C/5 and its offset
	socUsable = 0.40  // a wider range is no estimate

	restSmooth = 10 * time.Minute
	// Without a current reading a slow charge below onV looks like rest. Its
	// voltage climbs by 6 mV/h and more (C/20); after some hours of rest the
	// voltage moves by less than 3 (the open 12 V 17 Ah record, Sulzer et al.
	// 2019).
	stillV, stillFor = 0.0015, 30 * time.Minute
	// emptyFor is the rest after which a voltage below that of a flat cell is taken
	// at face value: electrolyte.MinRestH.
	emptyFor = time.Hour
	// emptyV is how far below the rest voltage of a flat cell a rested pack must be
	// to raise the doubt: the rule's error there (16 mV), the spread of the span
	// (0.010) and the lack of charge at the plates after an hour.
	emptyV = 0.05
	// fullLowV is how far below the rest voltage of full gravity a full pack may
	// be: 20 points of gravity that the acid may have lost, and 10 mV for the rule,
	// the hydrometer's scale and the voltmeter. TM 5-684/MO-200: lower than the
	// rule points to a fault.
	fullLowV = 0.03
	// revokeV is the same for revoking a proven full: more cautious, because the
	// evidence was good.
	revokeV   = 0.05
	revokeFor = 10 * time.Minute
)

// rest tracks when the current stopped, and the smoothed voltage since.
type rest struct {
	since   time.Duration
	resting bool
	v       float64
	lowAt   time.Duration
	low     bool
	selfOut float64 // share of the charge lost by self-discharge since full
	agedH   float64 // hours not yet included in it
	markV   float64 // v half an hour ago or less
	markAt  time.Duration
	still   bool // v did not move over the last half hour
}

// watchRest judges the voltage while no current flows.
func (t *Tracker) watchRest(n *tick) {
	quiet := n.vOK && !t.flow.on && !t.session.disch && (!n.aOK || n.a < stopRate*t.cfg.CapacityAh && n.a > -stopRate*t.cfg.CapacityAh)
	r := &t.rest
	if !quiet {
		r.resting, r.low = false, false
		return
	}
	if !r.resting {
		r.since, r.resting, r.v = n.now, true, n.smoothV
		r.markV, r.markAt, r.still = r.v, n.now, false
	}
	r.v += float64(n.dt) / float64(n.dt+restSmooth) * (n.smoothV - r.v)
	r.watchStill(n.now)
	rested := n.now - r.since
	full := electrolyte.RestVoltage(t.cfg.FullGravity, n.c)
	t.revoke(n.now, r.v < full-revokeV)
	if t.proof.complete && rested >= revokeFor && r.v >= full-revokeV {
		t.proof.complete = false
		t.evidence(n.now, ChargerComplete)
	}
	if rested >= emptyFor && r.v < electrolyte.RestVoltage(t.cfg.FullGravity-electrolyte.GravitySpan, n.c)-emptyV {
		t.s.Doubt = RestsTooLow
	}
	if rested >= restTry {
		t.settle(n.now, r.v >= full-fullLowV)
	}
}

// revoke ends a full that the rest voltage contradicts.
func (t *Tracker) revoke(now time.Duration, low bool) {
	r := &t.rest
	if !low || !t.s.Full {
		r.low = false
		return
	}
	if !r.low {
		r.low, r.lowAt = true, now
	}
	if now-r.lowAt >= revokeFor {
		t.neverFull()
		t.s.Doubt, t.s.OutKnown, t.s.SocKnown = RestsTooLow, false, false
	}
}

// settle ends a doubt after a long enough rest, one way or the other.
func (t *Tracker) settle(now time.Duration, high bool) {
	switch {
	case high && t.s.Pending != NoEvidence:
		t.s.Doubt = NoDoubt
		t.full(now, t.s.Pending)
	case high:
		t.s.Doubt = NoDoubt
	case t.s.Pending != NoEvidence:
		t.s.Pending, t.s.Doubt = NoEvidence, RestsTooLow
	}
}

func (r *rest) watchStill(now time.Duration) {
	moved := r.v-r.markV > stillV || r.markV-r.v > stillV
	if moved {
		r.still = false
	}
	if now-r.markAt >= stillFor {
		r.still = !moved
		r.markV, r.markAt = r.v, now
	}
}
