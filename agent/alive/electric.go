package alive

import (
	"math"
	"time"

	"bayward/agent/reading"
)

// Voltage against current. Voltages are those of one cell, currents shares of the
// capacity per hour.
const (
	// No cell at rest before a charge is above restV (a full one rests at 2.13 V,
	// DOE-HDBK-1084-95); none gets to chargeV without a current of more than stopRate,
	// see agent/charge.
	restV, chargeV = 2.20, 2.35
	stopRate       = 0.004
	contradictFor  = 10 * time.Minute
	// surelyRate is a current that moves the voltage of any cell by far more than stuckV
	// in contradictFor, when it begins and when it ends; the charge tracker's figure for
	// the end is 80 mV.
	surelyRate, stuckV = 0.05, 0.005
	lifeV              = 0.02
	lifeRate           = 0.01
	rampFor            = time.Minute // the longest soft start
	// When a current stops, the voltage falls by dropV at once; a current that is shown
	// unchanged through that, within sameShare, is none.
	dropV, sameShare = 0.08, 0.02
	dropWithin       = 2 * time.Minute
	dropFor          = 30 * time.Second
	dropTicks        = 3
	showsRate        = 0.02
)

type currentState struct {
	RestA float64 `json:"rest_a,omitempty"` // shown while the pack rested
	Rest  bool    `json:"rest,omitempty"`   // it rested, and the current has not moved since
	HoldS float64 `json:"hold_s,omitempty"` // at a charge's voltage since
}

type voltageState struct {
	Prev float64 `json:"prev,omitempty"` // of the last tick of either
	Last float64 `json:"last,omitempty"` // before the current began or ended
	// The same of three ticks before, because a noisy current is seen to step late.
	Prev2 float64 `json:"prev2,omitempty"`
	Prev3 float64 `json:"prev3,omitempty"`
	Last3 float64 `json:"last3,omitempty"`
	Known bool    `json:"known,omitempty"`
	On    bool    `json:"on,omitempty"`
	ForS  float64 `json:"for_s,omitempty"`
	MidS  float64 `json:"mid_s,omitempty"`  // of neither
	MostV float64 `json:"most_v,omitempty"` // the largest difference since
	Move  band    `json:"move"`             // since the voltage last showed life
}

// ramp looks for a voltage that drops while the current stays: figures of a minute ago
// and of two.
type ramp struct {
	v, a  [2]float64
	n     int
	age   time.Duration
	down  time.Duration // how long it has been down, and for how many ticks
	ticks int
}

func (w *Watch) followCurrent(in *Inputs) {
	st, n := &w.s.Amps, &w.senses[reading.PackCurrent]
	if !in.CurrentA.OK() {
		st.Rest, w.step, w.volts = false, ramp{}, filter{}
		return
	}
	a := in.CurrentA.Value
	if n.doubted() {
		// That it falls back to nothing is no sign of life: an exchanged sign does too.
		if life := lifeRate * w.cfg.CapacityAh; w.moved(reading.PackCurrent, a, life) && (a >= life || n.atValue >= life) {
			w.prove(reading.PackCurrent)
		}
		return
	}
	if !in.CellV.OK() || w.senses[reading.PackVoltage].doubted() {
		w.step, w.volts = ramp{}, filter{}
		return
	}
	w.judgeCurrent(a, in.CellV.Value)
	if smooth, ok := w.volts.add(in.CellV.Value, w.dt); ok {
		w.followDrop(smooth, a)
	}
}

// judgeCurrent sets a current that no fault is known of beside the voltage.
func (w *Watch) judgeCurrent(a, v float64) {
	st, least := &w.s.Amps, stopRate*w.cfg.CapacityAh
	switch life := lifeRate * w.cfg.CapacityAh; {
	case st.Rest && a-st.RestA >= least:
		if a-st.RestA >= life {
			w.prove(reading.PackCurrent)
		}
		*st = currentState{}
	case v < restV && math.Abs(a) < life:
		if !st.Rest {
			st.RestA = a
		}
		st.RestA, st.Rest, st.HoldS = min(st.RestA, a), true, 0
	case st.Rest && v >= chargeV:
		if st.HoldS += w.dt.Seconds(); st.HoldS >= contradictFor.Seconds() {
			w.suspect(reading.PackCurrent, reading.NotMoving, a)
		}
	}
}

// followDrop: the voltage falls as it does when a current stops, and the current is shown
// all the same.
func (w *Watch) followDrop(v, a float64) {
	r := &w.step
	if a < showsRate*w.cfg.CapacityAh || w.dt > dropWithin {
		*r = ramp{}
		return
	}
	if r.n > 0 && math.Abs(a-r.a[0]) > sameShare*r.a[0] {
		// It lives, and the voltage falls with it: what is still smoothed must not look
		// like a fall at the new current.
		*r, w.volts = ramp{}, filter{}
		return
	}
	same := func(i int) bool {
		return i < r.n && r.v[i]-v >= dropV && math.Abs(a-r.a[i]) <= sameShare*r.a[i]
	}
	if same(0) || same(1) {
		r.ticks++
		if r.down += w.dt; r.down >= dropFor && r.ticks >= dropTicks {
			w.suspect(reading.PackCurrent, reading.NotMoving, a)
		}
		return
	}
	r.down, r.ticks = 0, 0
	if r.age += w.dt; r.n == 0 || r.age >= dropWithin/2 {
		r.v[1], r.a[1] = r.v[0], r.a[0]
		r.v[0], r.a[0] = v, a
		r.age, r.n = 0, min(r.n+1, len(r.v))
	}
}

func (w *Watch) followVoltage(in *Inputs) {
	st, n := &w.s.Volts, &w.senses[reading.PackVoltage]
	if !in.CellV.OK() {
		st.Known = false
		return
	}
	v := in.CellV.Value
	if n.doubted() {
		if w.moved(reading.PackVoltage, v, lifeV) {
			w.s.Volts = voltageState{}
			w.prove(reading.PackVoltage)
		}
		return
	}
	if st.Move.add(v); st.Move.width() >= lifeV {
		st.Move = band{v, v, true}
		w.prove(reading.PackVoltage)
	}
	if !in.CurrentA.OK() || w.senses[reading.PackCurrent].doubted() {
		st.Known = false
		return
	}
	w.followEdge(v, in.CurrentA.Value/w.cfg.CapacityAh)
}

// followEdge: the voltage must move when a current begins, and when it ends.
func (w *Watch) followEdge(v, rate float64) {
	st := &w.s.Volts
	on, off := rate >= surelyRate, rate < stopRate && rate > -stopRate
	switch {
	case !on && !off: // on the way, or a taper, which says nothing
		st.MidS += w.dt.Seconds()
		st.Known = st.Known && st.MidS <= rampFor.Seconds()
		return
	case !st.Known:
		*st = voltageState{Prev: v, Prev2: v, Prev3: v, Known: true, On: on, ForS: -1, Move: st.Move}
		return
	case on != st.On:
		st.On, st.Last, st.Last3, st.ForS, st.MostV = on, st.Prev, st.Prev3, 0, 0
	}
	st.Prev, st.Prev2, st.Prev3, st.MidS = v, st.Prev, st.Prev2, 0
	if st.ForS < 0 {
		return
	}
	st.MostV = max(st.MostV, math.Abs(v-st.Last), math.Abs(v-st.Last3))
	if st.ForS += w.dt.Seconds(); st.ForS < contradictFor.Seconds() {
		return
	}
	if st.MostV < stuckV {
		w.suspect(reading.PackVoltage, reading.NotMoving, v)
	}
	st.ForS = -1
}

// followContacts takes each change of a contact for a sign of life.
func (w *Watch) followContacts(in *Inputs) {
	for _, c := range [...]struct {
		sensor reading.Sensor
		r      *reading.Reading
	}{{reading.Airflow, &in.Airflow}, {reading.ContactorFeedback, &in.Feedback}, {reading.ChargerComplete, &in.Complete}} {
		if !c.r.OK() {
			continue
		}
		if w.contactSeen.Has(c.sensor) && w.contact[c.sensor] != c.r.Value {
			w.prove(c.sensor)
		}
		w.contact[c.sensor], w.contactSeen = c.r.Value, w.contactSeen.With(c.sensor, true)
		w.s.FanOff = w.s.FanOff || c.sensor == reading.Airflow && c.r.Value == 0
	}
}
