package charge

import (
	"time"

	"bayward/agent/electrolyte"
)

const (
	// unprovenAfter is the charge that is worth a word when it proved nothing: less is
	// an opportunity charge. Without a current a pack that is nearly full gasses to its end
	// in less.
	unprovenAfter, unprovenBlind = 3 * time.Hour, time.Hour
	// startFor and startNearly are what judges how a charge begins: a quarter hour, before
	// which a contact is no end of a charge, and the share that a pack may miss and still gas
	// at once (both the project's own). The voltage is the onset of gassing, 2.37 V
	// (TM 10-6140-200-14), less 1 in 250 for the voltmeter.
	startFor    = 15 * time.Minute
	startGasV   = 2.36
	startNearly = 0.10
	// gassedLongH is how long the gassing voltage must last in a charge that did not begin
	// freely, h: a stationary battery is held at its equalize voltage for 8 to 24 h
	// (maintenance task card).
	gassedLongH = 8.0
	// pulsePause is the longest pause that does not interrupt a plateau.
	pulsePause = markEvery
	// settledFor is how long a charge must have run before a collapse of its
	// current is suspicious: on a pack plugged in already full the current falls
	// within minutes, in a running charge over hours.
	settledFor = 30 * time.Minute
)

// proof is what the evidence must remember of the current charge.
type proof struct {
	sawOpen      bool    // the charger's contact was seen open
	sawGas       bool    // the gassing voltage was reached
	signalled    bool    // the contact closed after it was open
	complete     bool    // and after the gassing voltage; the rest must not contradict it
	collapsed    bool    // the current fell to nothing at an unchanged voltage
	bulkMarks    int     // marks since the last one with a bulk current, that one included; 0: none
	pendingOutAh float64 // OutAh when evidence was first held back
	missing      float64 // charge missing at the start, at most; valid with missingOK
	missingOK    bool
	slow         bool // the current of the held voltage falls slowly: much is missing
	start        start
	proven       bool // it was full, by whatever evidence, and nothing took that back
}

// start is how a charge began and how long it has gassed.
type start struct {
	judged  bool    // the quarter hour is over
	unseen  bool    // it, or what followed, was not seen: nothing shows that plates hardly take a charge
	freely  bool    // the pack took its charge as sound plates do, or was nearly full
	gassedH float64 // time at the gassing voltage, as slow plates count it, a float half
}

// Runaway reports whether the current rises with the temperature, by how many
// amperes and by how many kelvins.
func (t *Tracker) Runaway() (riseA, riseK float64, ok bool) {
	return t.run.riseA, t.run.riseK, t.run.is
}

// prove looks for evidence of full during a charge.
func (t *Tracker) prove(n *tick) {
	if !t.s.Active {
		return
	}
	if !n.vOK || !t.flow.on && n.now-t.flow.since > pulsePause {
		t.plateau = plateau{} // successive readings must be successive
	} else if t.plateau.add(n, t.flow.raw) {
		t.judgeMark()
	}
	t.watchStart(n)
	t.judgeComplete(n)
}

// judgeMark runs after each complete mark, every ten minutes.
func (t *Tracker) judgeMark() {
	m, _ := t.plateau.back(0)
	capAh := t.cfg.CapacityAh
	if m.v25 >= regulatedV {
		t.proof.sawGas = true
	}
	t.proof.start.gasses(m)
	t.takesCharge(m)
	t.watchCollapse(m)
	if t.proof.collapsed {
		return
	}
	t.judgeFactor(m)
	e, holdBack := t.plateau.judge(capAh)
	t.learnGas(e != NoEvidence)
	if e == NoEvidence {
		t.judgeRise(m)
		return
	}
	if holdBack {
		if t.proof.slow && e == SteadyTaper {
			return
		}
		t.doubt(e, DrawsTooMuch)
		return
	}
	t.evidence(t.last, e)
}

// watchCollapse finds a current that vanishes within 20 minutes while the voltage
// holds, in a charge that has run for long. Plates do not do that; a broken current
// sensor does, and it must not read as tapered.
func (t *Tracker) watchCollapse(m *mark) {
	capAh := t.cfg.CapacityAh
	p := &t.proof
	if p.bulkMarks > 0 {
		p.bulkMarks++
	}
	if !t.plateau.current || m.i >= startRate*capAh {
		p.collapsed = false
		if t.plateau.current && m.i > taperRate*capAh {
			p.bulkMarks = 1
		}
		return
	}
	if t.session.flowS < settledFor.Seconds() || m.i >= stopRate*capAh || !held(m.v, m.c) {
		return
	}
	if p.bulkMarks > 0 && p.bulkMarks <= 3 {
		p.collapsed = true
	}
}

// judgeFactor accepts ampere-hours as proof only at the gassing voltage and a
// finishing current, and only if they exceed the drift of the count. Where no proven
// full came before, they must exceed what the rest voltage showed missing at the most.
func (t *Tracker) judgeFactor(m *mark) {
	s, capAh := &t.s, t.cfg.CapacityAh
	if s.Full || !t.plateau.current || m.v25 < regulatedV || m.i > finishRate*capAh {
		return
	}
	var e Evidence
	switch {
	case s.OutKnown && s.OutAh >= leastOut*capAh && t.count.backAh >= t.cfg.Factor*(s.OutAh+s.OutPlusAh):
		e = ChargeFactor
	case t.proof.missingOK && t.proof.missing >= leastOut && s.InAh*(1-gainShare) >= t.cfg.Factor*t.proof.missing*capAh:
		e = RestFactor
	default:
		return
	}
	if unexplained(m, capAh) {
		t.doubt(e, DrawsTooMuch)
		return
	}
	t.evidence(t.last, e)
}

// unproven names what is missing after a charge of some hours that proved nothing.
func (t *Tracker) unproven() {
	after := unprovenAfter
	if !t.cfg.HasCurrent && t.proof.sawGas {
		after = unprovenBlind
	}
	if t.session.flowS >= after.Seconds() {
		t.missing()
	}
}

// missing names what is missing to call the pack full, unless something else is said.
func (t *Tracker) missing() {
	if t.s.Full || t.proof.proven || t.s.Pending != NoEvidence || t.s.Doubt != NoDoubt {
		return
	}
	switch p := &t.proof; {
	case p.signalled && p.sawGas && !p.start.takes():
		t.s.Doubt = ContactAlone
	case t.cfg.HasCurrent:
		t.s.Doubt = EndedEarly
	default:
		t.s.Doubt = NeedsCurrent
	}
}

// watchRunaway judges doubted readings too, and so goes on when the charge seems to have
// ended only because its current is doubted.
func (t *Tracker) watchRunaway(n *tick) {
	d, r := n.danger, &t.run
	r.flows = d.ok && d.a >= startRate*t.cfg.CapacityAh
	if r.ended && !r.flows && !t.s.Active {
		*r = runaway{}
	}
	// A pause or a missing reading leaves the windows as they are: the end of the
	// charge clears them. The voltage is a median, which follows a step a tick later.
	on := d.ok && (t.s.Active || r.ended) && (t.flow.raw || r.flows)
	if on && (r.on || !d.lags) {
		r.add(n.now, d.v, d.a, d.c)
		r.riseA, r.riseK, r.is = r.found(t.cfg.CapacityAh)
	}
	r.on = on
}

// judgeComplete trusts the charger's contact only if it was open earlier in this
// charge, because a stuck contact proves nothing, and only if the voltage has
// reached gassing, because a charger also stops for its own faults. The rest must
// agree (watchRest, settle), because a timer closes it on a pack that is not full. Where
// the pack seemed not to take its charge freely, it must have gassed for long, too.
func (t *Tracker) judgeComplete(n *tick) {
	if !n.complete.OK() {
		return
	}
	if n.complete.Value == 0 {
		t.proof.sawOpen = true
		return
	}
	p := &t.proof
	p.signalled = p.sawOpen
	p.complete = p.sawOpen && p.sawGas && p.start.takes()
}

// takes reports whether the pack took its charge freely, or has gassed for long.
func (s *start) takes() bool { return s.freely || s.gassedH >= gassedLongH }

// watchStart judges the first quarter hour of a charge: plates that hardly take it reach
// the gassing voltage at once although much is missing, and then a timer ends it early.
// What rested high enough before is nearly full, and gasses soon for that reason.
func (t *Tracker) watchStart(n *tick) {
	s := &t.proof.start
	if s.judged || !n.vOK || t.session.flowS < startFor.Seconds() {
		return
	}
	nearly := t.rest.before >= electrolyte.RestVoltage(t.cfg.FullGravity-startNearly*electrolyte.GravitySpan, n.c)
	s.unseen = t.rest.before <= 0 // no rest was seen before it
	s.judged, s.freely = true, t.rest.peak25 > 0 && t.rest.peak25 < startGasV || nearly
}

// gasses counts a mean of ten minutes.
func (s *start) gasses(m *mark) {
	h := markEvery.Hours() * coldRate(m.c)
	switch {
	case m.v25 >= regulatedV:
		s.gassedH += h
	case s.gassedH > 0:
		s.gassedH += h * floatWeight
	}
}

// evidence records what proves the pack full. If a doubt remains that it cannot
// outweigh, the rest after the charge must settle that.
func (t *Tracker) evidence(now time.Duration, e Evidence) {
	if t.s.Doubt == RestsTooLow || t.s.Doubt == DrawsTooMuch && e < SteadyVoltage {
		t.doubt(e, t.s.Doubt)
		return
	}
	hardly := !t.proof.start.takes() && !t.proof.start.unseen || t.proof.slow && e == SteadyVoltage
	if hardly && !t.s.Full && e != ChargeFactor {
		if t.s.Active && e >= SteadyVoltage && !t.allGas() {
			t.bookGas()
		}
		t.awaitRest(e) // plates that hardly take a charge show all of this too early
		return
	}
	t.s.Doubt, t.s.Pending = NoDoubt, NoEvidence
	t.full(now, e)
}

func (t *Tracker) doubt(e Evidence, d Doubt) {
	if t.s.Full {
		return // proven before, without this doubt
	}
	if t.s.Pending == NoEvidence {
		t.proof.pendingOutAh = t.s.OutAh
	}
	t.s.Pending = max(t.s.Pending, e)
	if t.s.Doubt == NoDoubt || t.s.Doubt > DrawsTooMuch {
		t.s.Doubt = d
	}
}

// awaitRest holds evidence back until the pack has rested. Unlike more current than
// gassing explains, it contradicts nothing.
func (t *Tracker) awaitRest(e Evidence) { t.doubt(e, AwaitsRest) }

// full makes the pack full. Later evidence of more trust replaces the first, but
// the time of full stays.
func (t *Tracker) full(now time.Duration, e Evidence) {
	if t.s.Full {
		t.s.Evidence = max(t.s.Evidence, e)
		return
	}
	if t.s.Active {
		t.bookGas()
	}
	t.s.Full, t.s.Evidence, t.s.FullAt = true, e, now
	t.proof.proven = true
	t.recount()
	t.rest.selfOut = 0
	t.s.Soc, t.s.SocPlus, t.s.SocKnown = 1, socFull, true
	if !t.ceiling.afterFull { // else it was full before, and never used since
		t.ceiling.restart(true)
	}
	t.run.is = false
	if t.s.Active || t.s.Pending != NoEvidence {
		t.s.ChargesFull++
		t.session.full = true
		t.equal.cycles++
	}
	t.s.Pending = NoEvidence
}
