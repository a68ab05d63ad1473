package charge

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
)

const (
	restTry = 2 * time.Hour // before that, the rest voltage shows too little of one cell of many
	restFew = time.Hour     // enough to see one cell of a few missing
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
	// tailLowV is the same for evidence that waited for the rest, or that is not steady,
	// which slow plates can give too: 7 points of gravity and 5 mV.
	tailLowV = 0.012
	// hardLowV is the same for what such plates show most easily, a finish that is steady
	// because they gas all of it, or a slow tail: only the voltmeter's 5 mV are left, of which
	// acid that the charge has left at the plates takes some. A voltage that still rose has
	// left more of it.
	hardLowV, riseLowV = 0.003, 0.0
	// surfaceV is the most that a resting pack is above full (see
	// electrolyte.StateOfChargeFromRest): higher is a float.
	surfaceV = 0.08
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
	before  float64 // v where the last rest ended
	peak25  float64 // the highest voltage since, referred to 25 °C
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
	quiet := n.vOK && !t.flow.on && !t.session.disch && (!n.aOK || n.midA < stopRate*t.cfg.CapacityAh && n.midA > -stopRate*t.cfg.CapacityAh)
	r := &t.rest
	if !quiet {
		t.noRest(n)
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
	if t.proof.complete && rested >= revokeFor {
		t.proof.complete = false
		if r.v >= full-revokeV {
			t.awaitRest(ChargerComplete)
		}
	}
	if rested >= emptyFor && r.v < electrolyte.RestVoltage(t.cfg.FullGravity-electrolyte.GravitySpan, n.c)-emptyV {
		t.s.Doubt = RestsTooLow
	}
	if rested >= t.settleAfter() && r.v <= full+surfaceV {
		t.settle(n.now, full-r.v)
	}
}

// noRest notes how high the pack has rested and how high its voltage is since. A charger
// that steps down lets it fall like one that stops: above full it is no rest.
func (t *Tracker) noRest(n *tick) {
	r := &t.rest
	if t.session.disch { // the next charge begins from an unknown rest
		r.before, r.peak25 = 0, 0
		return
	}
	if r.resting && r.v <= electrolyte.RestVoltage(t.cfg.FullGravity, n.c)+fullLowV {
		r.before, r.peak25 = r.v, 0
	}
	if n.vOK {
		r.peak25 = max(r.peak25, n.v25())
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
		t.s.Doubt, t.s.OutKnown = RestsTooLow, false
	}
}

// settleAfter returns the rest that shows a shorted cell: of twelve it takes 0.18 V
// away, of 24 half of it, where 0.08 V may still be at the surface when the rest begins
// (see electrolyte.StateOfChargeFromRest).
func (t *Tracker) settleAfter() time.Duration {
	if t.cfg.Cells <= fewCells && t.s.Doubt != DrawsTooMuch && t.s.Pending != ChargerComplete {
		return restFew
	}
	return restTry
}

// settle ends a doubt after a long enough rest, one way or the other, and takes back a full
// that the rest does not show; below is how far the pack rests below full gravity, V.
func (t *Tracker) settle(now time.Duration, below float64) {
	s := &t.s
	takes := t.proof.start.takes()
	most := t.waitedLow(s.Pending, takes)
	switch {
	case s.Pending == NoEvidence && s.Full && below-t.rest.selfOut*electrolyte.GravitySpan > lowestRest(s.Evidence):
		t.neverFull()
		s.Doubt, s.OutKnown, s.SocKnown = EndedEarly, false, false
		if below > fullLowV {
			s.Doubt = RestsTooLow
		}
	case (s.Pending == ChargerComplete || s.Pending != NoEvidence && !takes) && below <= most && !t.rest.still:
	case s.Pending != NoEvidence && below <= most:
		s.Doubt = NoDoubt
		t.full(now, s.Pending)
	case s.Pending != NoEvidence && below <= fullLowV:
		s.Pending, s.Doubt = NoEvidence, EndedEarly
	case s.Pending != NoEvidence:
		s.Pending, s.Doubt = NoEvidence, RestsTooLow
	case below <= fullLowV && (s.Doubt == RestsTooLow || s.Doubt == DrawsTooMuch):
		s.Doubt = NoDoubt
	}
	if flow := time.Duration(t.session.flowS * float64(time.Second)); flow > 0 && s.Ended && s.FullAt <= s.EndedAt-flow && below <= tailLowV {
		t.missing() // however short the charge was, it rests as a full pack does, and was not proven since
	}
}

// waitedLow is lowestRest for evidence that waited for the rest.
func (t *Tracker) waitedLow(e Evidence, takes bool) float64 {
	switch {
	case e == FinishRise:
		return riseLowV
	case e == SteadyVoltage && !takes, e == HeldTail && t.proof.slow:
		return hardLowV
	}
	return tailLowV
}

// lowestRest returns how far below full gravity a pack may rest, V, that an evidence has
// shown to be full.
func lowestRest(e Evidence) float64 {
	switch {
	case e == HandGravity:
		return math.Inf(1)
	case e >= SteadyVoltage:
		return fullLowV
	}
	return tailLowV
}

func (r *rest) watchStill(now time.Duration) {
	moved := math.Abs(r.v-r.markV) > stillV
	if moved {
		r.still = false
	}
	if now-r.markAt >= stillFor {
		r.still = !moved
		r.markV, r.markAt = r.v, now
	}
}
