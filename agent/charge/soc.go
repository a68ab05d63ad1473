package charge

import (
	"time"

	"bayward/agent/electrolyte"
)

// rest remembers since when no current flows, for the rest voltage.
type rest struct {
	since   time.Duration
	resting bool
}

const (
	restTry   = 2 * time.Hour // below, the rest voltage says too little
	socFull   = 0.02          // half width of "full"
	socDrift  = 0.002         // per hour of counting: 0.2 % of a current sensor at C/5 and its offset
	socUsable = 0.40          // a wider range is no estimate
)

// estimate keeps the state of charge: counted from the last certain point, and
// set anew by a rest voltage that is more certain than the count.
func (t *Tracker) estimate(in *Inputs, dtH float64) {
	if t.s.Full && !t.disch && t.s.OutAh <= 0 {
		t.s.Soc, t.s.SocPlus, t.s.SocKnown = 1, socFull, true
	} else if t.s.SocKnown {
		t.countSoc(in, dtH)
	}
	quiet := in.CellV.OK() && !t.flow.on && !t.disch &&
		(!in.CurrentA.OK() || in.CurrentA.Value < stopRate*t.cfg.CapacityAh)
	if !quiet {
		t.rest.resting = false
		return
	}
	if !t.rest.resting {
		t.rest = rest{since: in.Now, resting: true}
	}
	if in.Now-t.rest.since >= restTry {
		t.byRest(in)
	}
}

func (t *Tracker) countSoc(in *Inputs, dtH float64) {
	t.s.SocPlus += socDrift * dtH
	switch {
	case in.CurrentA.OK():
		i := in.CurrentA.Value
		if t.flow.on {
			i -= min(t.lastGas, max(i, 0))
		}
		if t.flow.on || t.disch {
			t.s.Soc += i * dtH / t.cfg.CapacityAh
		}
	case t.flow.on:
		t.s.SocPlus += dtH / 5 // a charge of unknown current: up to C/5
	}
	t.s.Soc = min(max(t.s.Soc, 0), 1)
	if t.s.SocPlus > socUsable {
		t.s.SocKnown = false
	}
}

func (t *Tracker) byRest(in *Inputs) {
	c := unknownC
	if in.PackC.OK() {
		c = in.PackC.Value
	}
	soc, plus, ok := electrolyte.StateOfChargeFromRest(in.CellV.Value, c, t.cfg.FullGravity, (in.Now - t.rest.since).Hours())
	if ok && plus < socUsable && (!t.s.SocKnown || plus < t.s.SocPlus) {
		t.s.Soc, t.s.SocPlus, t.s.SocKnown = soc, plus, true
	}
}

// GravityNow estimates the specific gravity at 25 °C from the state of charge;
// where that is not known, the gravity of a flat cell, which freezes first.
func (t *Tracker) GravityNow() float64 {
	soc := 0.0
	if t.s.SocKnown {
		soc = max(t.s.Soc-t.s.SocPlus, 0)
	}
	return t.cfg.FullGravity - electrolyte.GravitySpan*(1-soc)
}
