package charge

import "bayward/agent/electrolyte"

// Drift of the count: how much it may fall short by.
const (
	// deadRate is the current, as a share of the capacity, that may be only the
	// offset of a sensor and is not counted: half of stopRate.
	deadRate = stopRate / 2
	// gainShare is how much a sensor's gain may differ between the two directions:
	// 1 % is usual for a shunt with a 16-bit converter or a compensated Hall sensor
	// (common practice, no source).
	gainShare = 0.01
	takenOut  = 0.02 // share of the capacity that makes a full pack not full
)

// counter keeps what the trapezoid needs from the previous tick.
type counter struct {
	a, gas     float64
	hadA, hadV bool
	backAh     float64 // returned since the pack was last full
	unseenAh   float64 // possibly taken out below deadRate
}

// integrate counts ampere-hours by the trapezoid between two ticks.
func (t *Tracker) integrate(n *tick) {
	if n.aOK {
		if t.count.hadA {
			t.add((n.countA+t.count.a)/2*n.dtH, n)
		}
		t.count.a = n.countA
	}
	t.count.hadA = n.aOK
	if !n.vOK {
		t.count.hadV = false
		return
	}
	gas := t.gassingA(n)
	if t.count.hadV {
		ah := (gas + t.count.gas) / 2 * n.dtH
		t.s.TotalGassingAh += ah
		if t.s.Active {
			t.s.GassingAh += ah
		}
		t.watchGas(n, ah)
	}
	t.count.gas, t.count.hadV = gas, true
}

func (t *Tracker) add(ah float64, n *tick) {
	dead := deadRate * t.cfg.CapacityAh
	switch {
	case n.a > dead:
		t.addIn(ah)
	case n.a < -dead:
		t.s.TotalOutAh -= ah
		t.s.OutAh -= ah
	default:
		t.count.unseenAh += dead * n.dtH
	}
	t.s.OutPlusAh = t.count.unseenAh + gainShare*t.s.OutAh
}

// addIn counts a charge. Charge into a full pack returns nothing; it only makes up
// for the little taken out that left the pack full.
func (t *Tracker) addIn(ah float64) {
	t.s.TotalInAh += ah
	if t.s.Active {
		t.s.InAh += ah
	}
	t.session.backAh += ah
	if t.s.Full {
		t.s.OutAh = max(t.s.OutAh-ah, 0)
		return
	}
	t.count.backAh += ah
}

// recount restarts the count from a proven full pack.
func (t *Tracker) recount() {
	t.s.OutAh, t.s.OutPlusAh, t.s.OutKnown = 0, 0, true
	t.count.backAh, t.count.unseenAh = 0, 0
}

// gassingA returns the part of the current that splits water: by voltage and
// temperature (see electrolyte.GassingCurrentA), never more than the charging
// current, and all of it once the pack is full.
func (t *Tracker) gassingA(n *tick) float64 {
	gas := t.gas.timesLaw() * electrolyte.GassingCurrentA(t.cfg.CapacityAh, n.v, n.c)
	if n.aOK && t.flow.on {
		gas = electrolyte.BoundGassingA(gas, n.a, t.allGas())
	}
	return gas
}
