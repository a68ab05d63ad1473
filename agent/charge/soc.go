package charge

import (
	"time"

	"bayward/agent/electrolyte"
)

// selfOut is the share of the charge that a full pack may lose by self-discharge
// before it no longer counts as full. The published rates are good to a factor of
// two (electrolyte.SelfDischargePerDay), so at least half of this is gone.
const selfOut = 0.10

// ageEvery is how often the loss is added.
const ageEvery = 5 * time.Minute

// estimate tracks the state of charge: counted from the last certain point, and
// reset by a rest voltage that is more certain than the count.
func (t *Tracker) estimate(n *tick) {
	switch {
	case t.s.Full && !t.session.disch && t.s.OutAh <= 0:
		if t.flow.on {
			t.rest.selfOut = 0
		}
		t.s.Soc, t.s.SocPlus, t.s.SocKnown = 1-t.rest.selfOut, socFull+t.rest.selfOut, true
	case t.s.SocKnown:
		t.countSoc(n)
	}
	if !t.rest.resting {
		return
	}
	t.selfDischarge(n)
	if t.s.Doubt == RestsTooLow {
		t.s.SocKnown = false // a mean that includes a dead cell shows nothing about the others
		return
	}
	if n.aOK || t.rest.still {
		t.byRest(n)
	}
}

// selfDischarge reduces the charge of a resting pack by the published rates.
func (t *Tracker) selfDischarge(n *tick) {
	r := &t.rest
	if r.agedH += n.dtH; r.agedH < ageEvery.Hours() {
		return
	}
	lost := electrolyte.SelfDischargePerDay(n.c) * r.agedH / 24
	r.agedH = 0
	if !t.s.Full {
		t.s.Soc = max(t.s.Soc-lost, 0)
		return
	}
	if t.rest.selfOut += lost; t.rest.selfOut > selfOut {
		t.rest.selfOut = 0
		t.neverFull()
		t.s.OutKnown = false
	}
}

func (t *Tracker) countSoc(n *tick) {
	t.s.SocPlus += socDrift * n.dtH
	switch {
	case n.aOK:
		i := n.countA
		if t.flow.on {
			i -= min(t.count.gas, max(i, 0))
		}
		if t.flow.on || t.session.disch {
			t.s.Soc += i * n.dtH / t.cfg.CapacityAh
		}
	case t.flow.on:
		t.s.SocPlus += n.dtH / 5 // a charge of unknown current: up to C/5
	}
	t.s.Soc = min(max(t.s.Soc, 0), 1)
	if t.s.SocPlus > socUsable {
		t.s.SocKnown = false
	}
}

func (t *Tracker) byRest(n *tick) {
	soc, plus, ok := electrolyte.StateOfChargeFromRest(t.rest.v, n.c, t.cfg.FullGravity, (n.now - t.rest.since).Hours())
	if ok && plus < socUsable && (!t.s.SocKnown || plus < t.s.SocPlus) {
		t.s.Soc, t.s.SocPlus, t.s.SocKnown = soc, plus, true
	}
}

// LeastGravity returns the lowest specific gravity at 25 °C that the state of charge
// allows; where that is unknown, the gravity of a flat cell, which freezes first.
func (t *Tracker) LeastGravity() float64 {
	soc := 0.0
	if t.s.SocKnown {
		soc = max(t.s.Soc-t.s.SocPlus, 0)
	}
	return t.cfg.FullGravity - electrolyte.FrostSpan*(1-soc)
}
