package charge

import "math"

// What a held voltage proves. At a voltage that the charger holds, the current of a
// pack that fills up falls exponentially, and what still goes in is that current times
// its time constant. Chargers end there, long before the current is steady: EN 62485-3
// has 2 A for each 100 Ah of a full vented battery at 2.40 V (quoted), and of a taper
// charge TM 10-6140-200-14 says that the current falls sharply once cells gas.
const (
	heldEvery = 300.0 // s of a mean
	heldMarks = 36    // three hours of them
	heldV5    = 0.012 // how far a mean of a held voltage may be from the last one
	heldLeast = 3     // means of a held voltage
	tailLeast = 6     // the fewest that show a fall
	tailMarks = 12    // the most: a longer time mixes the fast beginning in
	slowMarks = 24    // the same to find a slow fall
	// A charge holds holdsV at 25 °C, or regulatedV as it is. A float holds floatsV as
	// it is: 2.23 V less 3 mV for each of 15 K.
	holdsV, floatsV = 2.30, 2.18
	// holdLeastH is the held charge that a float must follow, h, and stepV by how much lower
	// it is than that: a charge holds 2.35 V or more, a float 2.23 to 2.30 V. Of a hot float
	// the voltage at 25 °C may be that of a charge, but plates take their last charge at it
	// far more slowly.
	holdLeastH, stepV = 0.5, 0.05
	// holdLongH is the hold that proves without a current, in the middle of the 8 to
	// 24 h that a stationary battery is held at its equalize voltage (maintenance task
	// card). Plates that take 5 h and miss 60 % when the hold begins miss 5 % after
	// it. An hour of float counts half, and a cold one less: the rate doubles for 20 K.
	holdLongH, floatWeight = 12.0, 0.5
	// floatRise is how far the current of a float may be above its lowest of the last
	// three hours.
	floatRise = 1.25
	// tailRate is the highest current that is a tail: twice that of EN 62485-3.
	tailRate = 0.04
	// tailLeft is what may be missing, as a share of the capacity, while the charger
	// continues. tailLeftEnd is the same once it has ended by itself, and what a slow fall
	// may not exceed; a tail below coldTailC, °C, may hide more.
	tailLeft, tailLeftEnd  = 0.05, 0.091
	coldTailC, coldLeftEnd = 20.0, 0.075
	// floorFall is how fast a current may still fall that is the gas of old plates for
	// the most part, 1/h.
	floorFall = 0.30
	// gasFall is the same where it also falls as slowly as that of plates which take 5 h
	// (see steadyRate), half of it gas; more is such a gas only if plates gas oldLeast times the
	// law (the project's own).
	gasFall, oldLeast = 0.12, 5.0
	// tailLow is a current so low that even plates which take 5 h (see steadyRate)
	// miss 4 % only. At float they take longer: half of it after an hour, or all of
	// it after floatLongH.
	tailLow = 0.008
	// floatSinkV is the fall in an hour that a float does not show: the open 12 V 17 Ah
	// record (Sulzer et al. 2019) sinks by 6 mV in the second hour of its rest.
	floatSinkV             = 0.0025
	floatLow, floatLowH    = 0.005, 1.0
	floatLongA, floatLongH = 0.008, 4.0
)

// heldMark is the mean of five minutes; h is the time, v, v25 and c are of the cells
// while current flows, i is of all of it, pauses of a pulsed charger included.
type heldMark struct{ h, v, v25, i, c float64 }

// holding follows a voltage that the charger holds.
type holding struct {
	sum           heldMark
	allS, flowS   float64
	nowH          float64
	marks         [heldMarks]heldMark
	n             int
	current       bool
	flowed        bool
	slowH         float64 // both, as slow plates count them
	holdH, floatH float64 // at the voltage of a charge, and then at that of a float
	topV          float64 // the highest of the charge
	gas           float64 // multiple of the gassing law that the tail shows, averaged
	fastest       float64 // fall of the current of a held voltage, 1/h
	left          float64 // what still goes in by the last means; valid with known
	leftC         float64 // °C of those means
	known         bool
}

// watchHeld processes a tick, during a charge and after it: a float goes on when its
// current is too small to be a charge.
func (t *Tracker) watchHeld(n *tick) {
	if !n.vOK || t.held.current != n.aOK {
		t.held = holding{current: n.aOK}
		return
	}
	if t.held.add(n, t.flow.raw || !t.flow.on) {
		t.judgeHeld()
	}
}

// add reports whether a mean is complete.
func (p *holding) add(n *tick, flows bool) bool {
	p.nowH += n.dtH
	p.allS += n.dtS
	p.sum.i += n.dtS * n.markA
	if flows && p.flowed { // v is a median of three
		p.flowS += n.dtS
		p.sum.v += n.dtS * n.v
		p.sum.v25 += n.dtS * n.v25()
		p.sum.c += n.dtS * n.c
	}
	p.flowed = flows
	if p.allS < heldEvery {
		return false
	}
	ok := p.flowS >= confirm.Seconds()
	if ok {
		copy(p.marks[:], p.marks[1:])
		s := p.flowS
		p.marks[heldMarks-1] = heldMark{p.nowH - p.allS/7200, p.sum.v / s, p.sum.v25 / s, p.sum.i / p.allS, p.sum.c / s}
		p.n = min(p.n+1, heldMarks)
	}
	p.sum, p.allS, p.flowS = heldMark{}, 0, 0
	return ok
}

// steady returns the last means in which the voltage did not move, as it is or
// referred to 25 °C: a charger may or may not follow the temperature.
func (p *holding) steady() []heldMark {
	k, last := heldMarks, &p.marks[heldMarks-1]
	for k > heldMarks-p.n {
		m := &p.marks[k-1]
		if math.Abs(m.v-last.v) > heldV5 && math.Abs(m.v25-last.v25) > heldV5 {
			break
		}
		k--
	}
	return p.marks[k:]
}

// judgeHeld runs after each mean.
func (t *Tracker) judgeHeld() {
	p := &t.held
	ms, last := p.steady(), &p.marks[heldMarks-1]
	if len(ms) < heldLeast {
		p.fastest, p.gas = 0, 0
	}
	if len(ms) < heldLeast && p.known {
		p.known = false
		if (p.left <= coldLeftEnd || p.left <= tailLeftEnd && p.leftC >= coldTailC) && !t.proof.collapsed {
			t.awaitRest(HeldTail)
		}
	}
	switch {
	case last.v < floatsV, last.i < -stopRate*t.cfg.CapacityAh:
		*p = holding{current: p.current}
	case len(ms) < heldLeast:
	case !p.steppedDown(last.v) && last.v25 >= holdsV || last.v >= regulatedV:
		if !t.s.Active {
			return // a voltage without a charge proves nothing
		}
		p.holdH, p.floatH, p.topV = p.holdH+heldEvery/3600, 0, max(p.topV, last.v)
		t.judgeHold(ms)
		t.judgeHours(ms)
	case p.holdH >= holdLeastH:
		p.floatH += heldEvery / 3600
		t.judgeFloat(ms)
		t.judgeHours(ms)
	}
}

// steppedDown reports whether a voltage is that of a float after a held charge.
func (p *holding) steppedDown(v float64) bool {
	return p.holdH >= holdLeastH && v < p.topV-stepV
}

// judgeHours judges a held voltage by its hours alone, where no current is measured.
func (t *Tracker) judgeHours(ms []heldMark) {
	p := &t.held
	if p.current || p.floatH > 0 && sinks(ms[max(len(ms)-tailMarks, 0):]) {
		return
	}
	h := heldEvery / 3600 * coldRate(ms[len(ms)-1].c)
	if p.floatH > 0 {
		h *= floatWeight
	}
	if p.slowH += h; p.slowH >= holdLongH {
		t.evidence(t.last, HeldHours)
	}
}

// floats reports whether a charger holds a float on a pack that is full, or seems so.
// A current that rises is no float: it is how a runaway begins.
func (t *Tracker) floats() bool {
	p, capAh := &t.held, t.cfg.CapacityAh
	ms := p.steady()
	if !t.s.Full && t.s.Pending == NoEvidence || len(ms) < heldLeast {
		return false
	}
	last := &ms[len(ms)-1]
	if last.v < floatsV || last.v >= regulatedV || last.v25 >= finishV {
		return false
	}
	lowest := last.i
	for k := range ms {
		lowest = min(lowest, ms[k].i)
	}
	return !p.current || last.i <= taperRate*capAh && last.i <= floatRise*lowest+deadRate*capAh
}

// judgeHold judges the current at the voltage of a charge.
func (t *Tracker) judgeHold(ms []heldMark) {
	p, capAh, last := &t.held, t.cfg.CapacityAh, &ms[len(ms)-1]
	p.known = false
	if !p.current || t.proof.collapsed || len(ms) < tailLeast || last.i > steepRate*capAh {
		return
	}
	m := mark{v: last.v, v25: last.v25, i: last.i, c: last.c}
	f, ok := fitted(ms[max(len(ms)-tailMarks, 0):], capAh)
	if ok {
		t.learnTail(m, &f)
	}
	t.proof.slow = p.stillCharges(capAh)
	if floor, sees := aboveFloor(ms, capAh); sees && floor <= tailLeft && t.floorIsGas(&f) && !tooMuch(&m, capAh, oldTimes) {
		t.awaitRest(HeldTail)
	}
	left := f.left(f.fall - f.plus)
	long, _ := fitted(ms[max(len(ms)-slowMarks, 0):], capAh)
	p.left, p.leftC, p.known = min(left, long.left(long.fall-long.plus)), last.c, ok && last.i <= taperRate*capAh
	low := highest(ms[len(ms)-tailLeast:]) <= tailLow*capAh
	if t.proof.slow || !low && !(ok && left <= tailLeft && last.i <= tailRate*capAh) {
		return
	}
	// A shorted cell among many shows at rest only.
	if t.cfg.Cells > fewCells || unexplained(&m, capAh) {
		t.awaitRest(HeldTail)
		return
	}
	t.evidence(t.last, HeldTail)
}

// floorIsGas reports whether a floor of the current may be the gas of old plates, and not
// the charge of slow ones.
func (t *Tracker) floorIsGas(f *fit) bool {
	switch {
	case f.fall > floorFall, !t.proof.start.takes() && f.rate > tailRate:
		return false
	case t.proof.slow && f.fall > gasFall && t.held.gas < oldLeast:
		return false
	}
	return true
}

// judgeFloat judges the current of a float.
func (t *Tracker) judgeFloat(ms []heldMark) {
	p, capAh, last := &t.held, t.cfg.CapacityAh, &ms[len(ms)-1]
	ms = ms[max(len(ms)-tailMarks, 0):]
	if p.floatH < floatLowH || sinks(ms) {
		return // too short, or a rest
	}
	if !p.current || t.proof.collapsed {
		return
	}
	f, ok := fitted(ms, capAh)
	high := highest(ms)
	switch {
	case ok && f.left(f.fall-f.plus) <= tailLeft:
	case high <= floatLow*capAh:
	case p.floatH >= floatLongH && high <= floatLongA*capAh:
	default:
		return
	}
	if unexplained(&mark{v: last.v, v25: last.v25, i: last.i, c: last.c}, capAh) {
		t.awaitRest(HeldFloat)
		return
	}
	t.evidence(t.last, HeldFloat)
}

// stillCharges reports whether the current of a held voltage falls so slowly, and
// without doubt, that much is missing.
func (p *holding) stillCharges(capacityAh float64) bool {
	ms := p.steady()
	f, ok := fitted(ms[max(len(ms)-slowMarks, 0):], capacityAh)
	return ok && f.fall > f.plus && f.left(f.fall) > tailLeftEnd
}

// sinks reports whether the voltage falls, as at rest. A charger that floats holds it,
// as it is or referred to 25 °C.
func sinks(ms []heldMark) bool {
	if len(ms) < tailLeast {
		return true
	}
	a, b := &ms[0], &ms[len(ms)-1]
	fall := a.v - b.v
	for k := 1; k < heldLeast; k++ {
		fall += ms[k].v - ms[len(ms)-1-k].v
	}
	fall /= heldLeast
	fall25 := fall + (a.v25 - a.v) - (b.v25 - b.v)
	return fall > floatSinkV && fall25 > floatSinkV
}

func highest(ms []heldMark) (i float64) {
	for k := range ms {
		i = max(i, ms[k].i)
	}
	return i
}
