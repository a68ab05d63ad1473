package charge

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// tick is one tick's readings as the rules use them.
type tick struct {
	now      time.Duration
	dt       time.Duration
	dtS, dtH float64 // the same, s and h
	v, a, c  float64 // V of a cell, A, °C; c is assumed without cOK
	vOK      bool
	aOK      bool
	cOK      bool
	smoothV  float64 // v over a minute; valid with vOK
	countA   float64 // a as it is counted; valid with aOK
	midA     float64 // the median of three a, as v is of the voltage
	markA    float64 // the same of countA: marks average by themselves
	complete reading.Reading
	danger   danger
}

// danger is what the runaway rule judges: doubted readings too, because a sensor that is
// doubted for an hour and then believed again would have hidden that hour.
type danger struct {
	v, a, c float64
	ok      bool
	lags    bool // v is still that before a step
}

func (n *tick) dangerOf(in *Inputs) danger {
	d := danger{v: n.v, a: n.a, c: in.PackC.Value, ok: in.PackC.Shown()}
	if !n.vOK {
		d.v, d.ok = in.CellV.Value, d.ok && in.CellV.Shown()
	}
	if !n.aOK {
		d.a, d.ok = in.CurrentA.Value, d.ok && in.CurrentA.Shown()
	}
	d.lags = math.Abs(in.CellV.Value-d.v) > runV
	return d
}

// v25 returns the cell voltage referred to 25 °C.
func (n *tick) v25() float64 { return electrolyte.Compensate(n.v, n.c) }

// filter removes disturbed values from the readings.
type filter struct {
	v, i   [3]float64 // the last voltages and currents
	m      [3]float64 // the last currents as counted
	nv, ni int        // how many there are
	smooth float64
	a      float64
	countA float64
	aAt    time.Duration
	aSeen  bool
}

const (
	smoothFor = time.Minute
	// medianWithin is the longest step at which the median of three voltages stands
	// in for the present one.
	medianWithin = 2 * time.Minute
)

func (f *filter) take(in *Inputs, dt time.Duration, capacityAh float64) tick {
	n := tick{now: in.Now, dt: dt, dtS: dt.Seconds(), dtH: dt.Hours(), c: unknownC, complete: in.Complete}
	if in.PackC.OK() {
		n.c, n.cOK = in.PackC.Value, true
	}
	f.current(in, &n, capacityAh)
	f.voltage(in, &n)
	n.danger = n.dangerOf(in)
	return n
}

// current lets the last plausible value stand in for a short time.
func (f *filter) current(in *Inputs, n *tick, capacityAh float64) {
	if !in.CurrentA.OK() {
		f.ni = 0
		return
	}
	a, count := in.CurrentA.Value, in.CountA.Value
	if !in.CountA.OK() {
		count = a
	}
	if within := func(a float64) bool { return a <= mostIn*capacityAh && a >= -mostOut*capacityAh }; within(a) && within(count) {
		f.a, f.countA, f.aAt, f.aSeen = a, count, in.Now, true
	}
	if f.aSeen && in.Now-f.aAt <= spikeFor {
		n.a, n.countA, n.aOK = f.a, f.countA, true
	}
	if n.dt > medianWithin {
		f.ni = 0
	}
	f.ni++
	n.midA, n.markA = push(&f.i, f.ni, n.a), push(&f.m, f.ni, n.countA)
}

// push adds the newest of three values and returns their median, or the newest
// while there are fewer than three.
func push(last *[3]float64, n int, v float64) float64 {
	last[0], last[1], last[2] = last[1], last[2], v
	if n < 3 {
		return v
	}
	return max(min(last[0], last[1]), min(max(last[0], last[1]), v))
}

// voltage takes the median of three successive readings, which removes a single
// spike, and smooths it.
func (f *filter) voltage(in *Inputs, n *tick) {
	if !in.CellV.OK() {
		f.nv = 0
		return
	}
	v := in.CellV.Value
	if n.dt > medianWithin {
		f.nv = 0
	}
	f.nv++
	v = push(&f.v, f.nv, v)
	if f.nv == 1 {
		f.smooth = v
	}
	f.smooth += float64(n.dt) / float64(n.dt+smoothFor) * (v - f.smooth)
	n.v, n.vOK, n.smoothV = v, true, f.smooth
}
