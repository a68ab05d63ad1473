package charge

import "bayward/agent/electrolyte"

// gasTimes are the multiples of the gassing law by which a charge's gas is kept until it
// is known which of them is the pack's.
var gasTimes = [...]float64{1, 2, 3, 5, 8, oldTimes} //nolint:gochecknoglobals // a constant table

// gasOver is how many means of a tail the multiple is averaged over.
const gasOver = 3

// gassing is what of the current splits water. The law (electrolyte.GassingCurrentA) is a
// fit to many batteries: one gasses at twice of it, one with old plates at twelve times.
// How a charge ends shows this pack's multiple, which also corrects what was counted of
// that charge before. A pack that gasses less than the law counts by the law: to count too
// little would leave plates bare.
type gassing struct {
	times  float64                // multiple of the law, 1 to oldTimes, by the charges before; 0: not learned
	seen   float64                // the same by this charge
	ah     [len(gasTimes)]float64 // of this charge, by each multiple, until all of it gasses
	toldAh float64                // what was counted of the same time
}

// timesLaw returns the multiple to count with.
func (g *gassing) timesLaw() float64 { return max(g.times, 1) }

// byTimes returns the gas of this charge by a multiple.
func (g *gassing) byTimes(times float64) float64 {
	for k := 1; k < len(gasTimes); k++ {
		if lo, hi := gasTimes[k-1], gasTimes[k]; times <= hi {
			return g.ah[k-1] + (g.ah[k]-g.ah[k-1])*(times-lo)/(hi-lo)
		}
	}
	return g.ah[len(gasTimes)-1]
}

// watchGas keeps what the charge may have gassed.
func (t *Tracker) watchGas(n *tick, toldAh float64) {
	if !t.s.Active || !n.aOK || !t.flow.on || t.allGas() {
		return
	}
	g := &t.gas
	law := electrolyte.GassingCurrentA(t.cfg.CapacityAh, n.v, n.c)
	for k := range g.ah {
		g.ah[k] += electrolyte.BoundGassingA(gasTimes[k]*law, n.a, false) * n.dtH
	}
	g.toldAh += toldAh
}

// allGas reports whether all of a charge's current splits water. A steady finish that
// waits for the rest counts as one: to count too little would leave plates bare.
func (t *Tracker) allGas() bool {
	if t.s.Full {
		return t.s.Evidence >= SteadyVoltage
	}
	return t.s.Doubt == AwaitsRest && t.s.Pending >= SteadyVoltage
}

// gasTimesOf returns the multiple of the law that a current is.
func (t *Tracker) gasTimesOf(m *mark) float64 {
	times := m.i / electrolyte.GassingCurrentA(t.cfg.CapacityAh, m.v, m.c)
	if !(times > 1) { // or not a number
		return 1
	}
	return min(times, oldTimes)
}

// learnGas takes a current of which all splits water once voltage and current are steady.
// Before that, in rapid gassing, the rise of the voltage shows what still charges.
func (t *Tracker) learnGas(steady bool) {
	m, _ := t.plateau.back(0)
	if !t.plateau.current || !steady && (t.plateau.n < marks || m.v25 < finishV || m.i > finishRate*t.cfg.CapacityAh) {
		return
	}
	gas := *m
	if !steady {
		share, _ := t.plateau.charges()
		gas.i *= 1 - share
	}
	t.gas.seen = t.gasTimesOf(&gas)
}

// learnTail takes what the current of a held voltage will not fall below: the part that
// charges falls as fast as the whole did at its fastest, the rest is gas. A fast beginning
// makes it too much.
func (t *Tracker) learnTail(m mark, f *fit) {
	p := &t.held
	p.fastest = max(p.fastest, f.fall)
	if p.fastest < 1/slowH || m.i > tailRate*t.cfg.CapacityAh {
		return
	}
	m.i *= 1 - min(max(f.fall, 0)/p.fastest, 1)
	p.gas += (t.gasTimesOf(&m) - p.gas) / gasOver
	t.gas.seen = max(t.gas.seen, p.gas)
}

// bookGas adds what the charge has gassed by what it showed and was not counted: once, when
// the pack is full or the current stops, because what it shows on the way still moves.
func (t *Tracker) bookGas() {
	g := &t.gas
	if g.seen == 0 {
		return
	}
	g.times = g.seen
	if more := g.byTimes(g.times) - g.toldAh; more > 0 {
		t.s.TotalGassingAh += more
		t.s.GassingAh += more
		g.toldAh += more
	}
}
