package charge

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
)

// Three successive equal half hours prove a plateau: TM 5-4320-258-12, full charge,
// three half-hour intervals; TM 10-3930-644-14&P has three hourly readings. Both
// are for a hydrometer, whose last digit, 0.005, is 3.6 % of the charge of a
// traction cell. Voltage and current of a cell near full are finer: by the charge
// equation of Schiffer et al., J. Power Sources 168 (2007) 66, 12 mV at the finish
// rate are less than 0.1 % of the charge. So the shorter time is used, with the
// finer reading. Readings are averaged over ten minutes, so noise and pulses
// average out and everything in between counts too.
const (
	markEvery = 10 * time.Minute
	marks     = 9 // 90 minutes
	perThird  = marks / 3
	// steadyV is how far the compensated voltage of a cell may move from one half
	// hour to the next. 8.3 mV are one digit, 0.1 V, of a voltmeter on a 24 V pack,
	// and the pack warms by up to 2 K in that time, of which the compensation (-3
	// to -6 mV/K in textbooks) may miss 2 mV each. A charger that stops after three
	// unchanged half-hour readings has then met this, too.
	steadyV = 0.012
	// blindSteadyV is the same where no current shows how much still goes in; a
	// taper charger's voltage creeps. A third, as small as the noise of the
	// averages allows.
	blindSteadyV = 0.004
	// regulatedSpanV is how far a regulator and its drift may move in 90 minutes:
	// 1 % of 2.40 V, the usual tolerance of a regulated charger (from memory). The
	// means of the three half hours span 60 of the 90 minutes.
	regulatedSpanV = 0.025 * 2 / 3
	// The current may move by a tenth in 90 minutes, or by an amount lost in noise.
	// A current that falls exponentially with a time constant of 5 h (old, sulfated
	// plates; new ones have 1 to 2 h) and has lost 0.15 A for each 100 Ah in 90 min
	// has some 2 % of the charge still to deliver: 0.15 / (1 - e^-0.3) = 0.58, at
	// the end 0.43, times 5 h.
	steadyShare, steadyRate = 0.10 * 2 / 3, 0.0015 * 2 / 3
	// Within the half hours the marks may scatter this many times as far.
	scatter = 4
	// taperRate is the highest current of a full vented battery at a
	// regulated 2.40 V: 2 A for each 100 Ah, EN 62485-3 (quoted), and a
	// quarter for age and sensor.
	taperRate = 0.025
	// steepRate is the usual finish rate (from memory): old plates gas all of it at a
	// voltage below finishV.
	steepRate = 0.08
	// tafelV is the rise of voltage of a cell that gasses for each e-fold of its
	// current: the law's 1/(11/V) (Schiffer et al. 2007).
	tafelV = 1 / 11.0
	// seenRiseV is the least rise in half an hour that is not the noise of the
	// averages or of the compensation.
	seenRiseV = 0.0025
	// slowPerK is the warming that doubles their rate, K (project's own).
	slowPerK = 20.0
	// gainsMost is the share of the capacity that such a rise may leave: it is an upper
	// bound, because gas of a pack that warms does the same to the voltage.
	gainsMost = 0.10
	// slowH is the time constant of old, sulfated plates, h (see steadyRate).
	slowH = 5.0
	// readRate is the usual finish rate and a fifth, of three single readings.
	readRate = 0.06
	// finishRate is twice the usual finish rate of 5 A for each 100 Ah (from
	// memory): a constant current above it is the bulk of a charge.
	finishRate = 0.10
	// regulatedV is the lowest compensated voltage at which a tapered current
	// counts: just below the gassing onset of 2.37 V, TM 10-6140-200-14.
	regulatedV = 2.33
	// finishV: an unregulated charger takes a full cell above it; gassing is normal
	// at 2.40 and rapid at 2.50 V, TM 10-6140-200-14.
	finishV = 2.45
	// blindV is the same without a current reading, when only the voltage rules out
	// a charger that holds it and is still in its bulk: rapid gassing plus 2 %. The
	// voltage must exceed it both as it is and referred to 25 °C, because a charger
	// may or may not follow the temperature.
	blindV = 2.55
	// lawTimes is how many times the current of the gassing law may flow in a full
	// cell: twice between one battery and another (electrolyte.GassingCurrentA) and
	// 1.35 for 5 K between sensor and plates, rounded up. Gassing does not explain
	// more.
	lawTimes = 3.0
	// fewCells is the most cells among which a shorted one shows during the charge or
	// right after it (see Limits in the package comment).
	fewCells = 12
	// oldTimes is the same for old plates with much antimony: 0.24 A for each 100 Ah
	// of a full battery at float (UFC 3-410-04N, 25 °C), where the law gives 0.02.
	oldTimes = 12.0
	// oldestTimes is the same where nothing moves any more: twice that.
	oldestTimes = 24.0
)

// mark is the mean over ten minutes: the voltage of a cell as it is and referred to
// 25 °C, the current and the temperature.
type mark struct{ v, v25, i, c float64 }

func (m *mark) add(o *mark, w float64) {
	m.v += w * o.v
	m.v25 += w * o.v25
	m.i += w * o.i
	m.c += w * o.c
}

// plateau collects the marks of a charge.
type plateau struct {
	sum     mark
	weightS float64
	at      time.Duration // start of the current mark
	begun   bool
	flowed  bool // at the previous tick
	current bool // the marks have a current
	warm    bool // they have a temperature
	marks   [marks]mark
	n       int // taken since the last reset, up to marks
	next    int
}

// add processes one reading with its step and reports whether a mark is complete.
// Between the pulses of a charger the cells do not show its end, so only readings
// with flow are averaged. A sparse trace has longer marks.
func (p *plateau) add(n *tick, flows bool) bool {
	if !p.begun || p.current != n.aOK || p.warm != n.cOK {
		*p = plateau{begun: true, at: n.now, current: n.aOK, warm: n.cOK}
		return false
	}
	if flows && p.flowed { // v and markA are medians of three
		w := n.dtS
		p.sum.add(&mark{n.v, n.v25(), n.markA, n.c}, w)
		p.weightS += w
	}
	p.flowed = flows
	if n.now-p.at < markEvery || p.weightS < confirm.Seconds() {
		return false
	}
	m := &p.marks[p.next]
	*m = mark{}
	m.add(&p.sum, 1/p.weightS)
	p.next = (p.next + 1) % marks
	p.n = min(p.n+1, marks)
	p.sum, p.weightS, p.at = mark{}, 0, n.now
	return true
}

// back returns the mark k marks ago, 0 being the last; ok is false when there is
// none.
func (p *plateau) back(k int) (m *mark, ok bool) {
	if k >= p.n {
		return nil, false
	}
	return &p.marks[(p.next-1-k+2*marks)%marks], true
}

// span is the lowest and the highest of some marks.
type span struct{ lo, hi mark }

func (s *span) widen(m *mark, first bool) {
	if first {
		s.lo, s.hi = *m, *m
		return
	}
	s.lo = mark{min(s.lo.v, m.v), min(s.lo.v25, m.v25), min(s.lo.i, m.i), min(s.lo.c, m.c)}
	s.hi = mark{max(s.hi.v, m.v), max(s.hi.v25, m.v25), max(s.hi.i, m.i), max(s.hi.c, m.c)}
}

// spans returns the range of the single marks, that of the three half hours, and
// the largest change of the compensated voltage from one half hour to the next.
func (p *plateau) spans() (single, half span, changeV float64) {
	var third mark
	last := 0.0
	for k := range marks {
		m := &p.marks[(p.next+k)%marks]
		single.widen(m, k == 0)
		third.add(m, 1.0/perThird)
		if k%perThird == perThird-1 {
			half.widen(&third, k < perThird)
			if k > perThird {
				changeV = max(changeV, third.v25-last, last-third.v25)
			}
			last, third = third.v25, mark{}
		}
	}
	return single, half, changeV
}

// judge looks for a plateau after a complete mark. holdBack is true when the
// current is steady but more than gassing explains.
func (p *plateau) judge(capacityAh float64) (e Evidence, holdBack bool) {
	if p.n == marks {
		e, holdBack = p.judgeHalfHours(capacityAh)
	}
	if e == NoEvidence || holdBack {
		if r := p.judgeReadings(capacityAh); r != NoEvidence {
			return r, false
		}
	}
	return e, holdBack
}

// judgeHalfHours compares the means of three half hours.
func (p *plateau) judgeHalfHours(capacityAh float64) (e Evidence, holdBack bool) {
	single, half, changeV := p.spans()
	within := func(one, three, limit float64) bool { return three <= limit && one <= scatter*limit }
	if !p.current {
		if within(single.hi.v25-single.lo.v25, changeV, blindSteadyV) && p.warm && half.lo.v >= blindV && half.lo.v25 >= blindV {
			return SteadyVoltage, false
		}
		return NoEvidence, false
	}
	steadyI := func(share float64) bool {
		return within(single.hi.i-single.lo.i, half.hi.i-half.lo.i, max(share*half.hi.i, steadyRate*capacityAh))
	}
	if !steadyI(steadyShare) {
		return NoEvidence, false
	}
	level := within(single.hi.v25-single.lo.v25, changeV, steadyV)
	held := within(single.hi.v-single.lo.v, half.hi.v-half.lo.v, regulatedSpanV)
	explained := !unexplained(&mark{v: half.lo.v, i: half.hi.i, c: half.hi.c}, capacityAh)
	switch {
	case explained && held && half.hi.i <= taperRate*capacityAh && half.lo.v25 >= regulatedV:
		return SteadyTaper, false
	case p.stillGains(capacityAh):
		return NoEvidence, false
	case explained && level && half.hi.i <= finishRate*capacityAh && half.lo.v25 >= finishV:
		return SteadyVoltage, false
	case explained || half.lo.v25 < regulatedV || !held && !level:
		return NoEvidence, false
	}
	if tooMuch(&mark{v: half.lo.v, i: half.hi.i, c: half.hi.c}, capacityAh, oldTimesAt(changeV)) {
		return NoEvidence, false
	}
	// More than gassing explains: what is still charged would show in a slow change.
	still := steadyI(steadyShare / 2)
	switch {
	case still && held && half.hi.i <= taperRate*capacityAh:
		return SteadyTaper, true
	case still && half.hi.i <= steepRate*capacityAh:
		return SteadyVoltage, true
	}
	return NoEvidence, false
}

// oldTimesAt returns how many times the gassing law old plates may gas, by how far the
// voltage still moves.
func oldTimesAt(changeV float64) float64 {
	if changeV <= seenRiseV {
		return oldestTimes
	}
	return oldTimes
}

// stillGains reports whether the voltage of a finish shows that much is missing. The
// share of the current that still charges, f, raises the voltage by a slope of Tafel
// times -ln(1-f) as it vanishes, with the time constant that the two last half hours
// show.
func (p *plateau) stillGains(capacityAh float64) bool {
	share, takesH := p.charges()
	m, _ := p.back(0)
	return share*m.i/capacityAh*takesH > gainsMost
}

// charges returns the share of the current that still charges, and its time constant, h.
// A voltage that does not rise shows none.
func (p *plateau) charges() (share, takesH float64) {
	u := [3]float64{}
	for k := range u {
		m, ok := p.back(k * perThird)
		if !ok || m.i <= 0 {
			return 0, 0
		}
		u[k] = m.v25 - tafelV*math.Log(m.i)
	}
	const half = 0.5 // h
	d1, d2 := u[1]-u[2], u[0]-u[1]
	if d2 <= seenRiseV {
		return 0, 0
	}
	m, _ := p.back(0)
	takesH = slowH / coldRate(m.c)
	if d1 >= 2*d2 { // else warming may have flattened it
		takesH = half / math.Log(d1/d2)
	}
	x := d2 / half * takesH / tafelV
	return x / (1 + x), takesH
}

// coldRate is how fast slow plates charge, of their rate at 25 °C; no faster when warm.
func coldRate(atC float64) float64 {
	return math.Exp2(min(atC-electrolyte.ReferenceC, 0) / slowPerK)
}

// judgeReadings takes three readings half an hour apart, of a cell that gasses
// rapidly at a finishing current.
func (p *plateau) judgeReadings(capacityAh float64) Evidence {
	if p.n < 2*perThird+1 || !p.current {
		return NoEvidence
	}
	var s span
	for k := 0; k <= 2; k++ {
		m, _ := p.back(k * perThird)
		s.widen(m, k == 0)
	}
	steady := s.hi.v25-s.lo.v25 <= steadyV && s.hi.i-s.lo.i <= max(0.10*s.hi.i, steadyRate*capacityAh)
	if !steady || p.stillGains(capacityAh) || s.lo.v25 < blindV || s.hi.i > readRate*capacityAh || unexplained(&mark{v: s.lo.v, i: s.hi.i, c: s.hi.c}, capacityAh) {
		return NoEvidence
	}
	return SteadyVoltage
}

// unexplained reports whether more current flows than gassing explains.
func unexplained(m *mark, capacityAh float64) bool { return tooMuch(m, capacityAh, lawTimes) }

// tooMuch reports whether more current flows than so many times the gassing law.
func tooMuch(m *mark, capacityAh, times float64) bool {
	law := electrolyte.GassingCurrentA(capacityAh, m.v, m.c)
	return m.i > max(times*law, deadRate*capacityAh)
}
