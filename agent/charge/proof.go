package charge

import "time"

const (
	completeIn = 10 * time.Minute // a charger that signals sooner was not charging
	// unprovenAfter is the charge that is worth a word when it proved nothing: less is
	// an opportunity charge.
	unprovenAfter = 3 * time.Hour
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
	complete     bool    // the contact closed after both; the rest must not contradict it
	collapsed    bool    // the current fell to nothing at an unchanged voltage
	bulkMarks    int     // marks since the last one with a bulk current, that one included; 0: none
	pendingOutAh float64 // OutAh when evidence was first held back
	missing      float64 // charge missing at the start, at most; valid with missingOK
	missingOK    bool
	slow         bool // the current of the held voltage falls slowly: much is missing
	riseA        float64
	riseK        float64
	isRunaway    bool
}

// Runaway reports whether the current rises with the temperature, by how many
// amperes and by how many kelvins.
func (t *Tracker) Runaway() (riseA, riseK float64, ok bool) {
	return t.proof.riseA, t.proof.riseK, t.proof.isRunaway
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
	t.watchRunaway(n)
	t.judgeComplete(n)
}

// judgeMark runs after each complete mark, every ten minutes.
func (t *Tracker) judgeMark() {
	m, _ := t.plateau.back(0)
	capAh := t.cfg.CapacityAh
	if m.v25 >= regulatedV {
		t.proof.sawGas = true
	}
	t.takesCharge(m)
	t.watchCollapse(m)
	if t.proof.collapsed {
		return
	}
	t.judgeFactor(m)
	e, holdBack := t.plateau.judge(capAh)
	if e == NoEvidence {
		return
	}
	if holdBack {
		if t.proof.slow {
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
	if t.s.Full || t.s.Pending != NoEvidence || t.s.Doubt != NoDoubt || t.session.flowS < unprovenAfter.Seconds() {
		return
	}
	t.s.Doubt = EndedEarly
	if !t.cfg.HasCurrent {
		t.s.Doubt = NeedsCurrent
	}
}

func (t *Tracker) watchRunaway(n *tick) {
	// A pause or a missing reading leaves the windows as they are: the end of the
	// charge clears them.
	if t.flow.on && n.vOK && n.aOK && n.cOK {
		t.run.add(n.now, n.v, n.a, n.c)
		t.proof.riseA, t.proof.riseK, t.proof.isRunaway = t.run.found(t.cfg.CapacityAh)
	}
}

// judgeComplete trusts the charger's contact only if it was open earlier in this
// charge, because a stuck contact proves nothing, and only if the voltage has
// reached gassing, because a charger also stops for its own faults. The rest must
// agree (watchRest, settle), because a timer closes it on a pack that is not full.
func (t *Tracker) judgeComplete(n *tick) {
	if !n.complete.OK() {
		return
	}
	if n.complete.Value == 0 {
		t.proof.sawOpen = true
		return
	}
	t.proof.complete = t.proof.sawOpen && t.proof.sawGas && t.session.flowS >= completeIn.Seconds()
}

// evidence records what proves the pack full. If a doubt remains that it cannot
// outweigh, the rest after the charge must settle that.
func (t *Tracker) evidence(now time.Duration, e Evidence) {
	if t.s.Doubt == RestsTooLow || t.s.Doubt == DrawsTooMuch && e < SteadyVoltage {
		t.doubt(e, t.s.Doubt)
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
	t.s.Full, t.s.Evidence, t.s.FullAt = true, e, now
	t.recount()
	t.rest.selfOut = 0
	t.s.Soc, t.s.SocPlus, t.s.SocKnown = 1, socFull, true
	if !t.ceiling.afterFull { // else it was full before, and never used since
		t.ceiling.restart(true)
	}
	t.proof.isRunaway = false
	if t.s.Active || t.s.Pending != NoEvidence {
		t.s.ChargesFull++
		t.equal.cycles++
	}
	t.s.Pending = NoEvidence
}
