package charge

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// Config is the data of the pack and its limits that the tracker needs.
type Config struct {
	CapacityAh  float64
	FullGravity float64
	Factor      float64 // ampere-hours returned over ampere-hours out that prove full
	MaxFor      time.Duration
	MaxAh       float64
	HasCurrent  bool
}

// Inputs is one tick of readings, as judged by age.
type Inputs struct {
	Now      time.Duration
	CellV    reading.Reading // V of one cell, mean of the pack
	CurrentA reading.Reading // positive while charging
	PackC    reading.Reading
	Complete reading.Reading // 1: the charger signals that it has finished
}

const (
	gapMax   = 15 * time.Minute // a longer gap is not integrated or taken as continuous
	unknownC = 25.0             // °C assumed for gassing where no temperature is known
	// mostIn and mostOut are the highest plausible currents, as shares of the
	// capacity: three times the fastest opportunity charger, and a tenth of a short
	// circuit (common practice, no source). More is a disturbed reading.
	mostIn, mostOut = 1.5, 5.0
	spikeFor        = 2 * time.Minute // how long the last good value bridges disturbed ones
)

// Tracker follows one pack's charges. The zero value is not usable: see [New].
type Tracker struct {
	cfg Config
	s   Status

	started bool
	last    time.Duration

	sense   sense
	count   counter
	flow    flow
	round   round
	plateau plateau
	proof   proof
	rest    rest
	run     runaway
	ceiling ceiling
	cells   gravities
	equal   equalizer
}

// New returns a tracker that knows nothing of the pack yet.
func New(cfg Config) *Tracker {
	t := &Tracker{cfg: cfg}
	t.s.MaxPackC = math.Inf(-1)
	return t
}

// Status returns the state after the last step; it is valid until the next.
func (t *Tracker) Status() *Status { return &t.s }

// PackGone drops the state of the pack that was here: it may come back used, or
// another may come. The equalize advice stays, and so does a doubt about a cell,
// because it is usually the same pack that comes back.
func (t *Tracker) PackGone(now time.Duration) {
	if t.s.Active {
		t.end(now)
	}
	keep := t.s
	*t = Tracker{cfg: t.cfg, started: t.started, last: now, equal: t.equal}
	t.s = Status{
		TotalInAh: keep.TotalInAh, TotalOutAh: keep.TotalOutAh, TotalGassingAh: keep.TotalGassingAh,
		Charges: keep.Charges, ChargesFull: keep.ChargesFull, Since: now, MaxPackC: math.Inf(-1),
		InAh: keep.InAh, GassingAh: keep.GassingAh,
		DepthBefore: keep.DepthBefore, DepthKnown: keep.DepthKnown,
		ReturnFactor: keep.ReturnFactor, ReturnKnown: keep.ReturnKnown, Equalize: keep.Equalize,
	}
	if keep.Doubt == RestsTooLow {
		t.s.Doubt = RestsTooLow // if it is another pack, the doubt costs it two hours
	}
}

// Step processes one tick.
func (t *Tracker) Step(in *Inputs) {
	dt := in.Now - t.last
	if !t.started {
		t.started, t.s.Since, dt = true, in.Now, 0
	}
	t.last = in.Now
	if dt > gapMax {
		t.gap(in.Now)
		dt = 0
	}
	now := t.sense.take(in, dt, t.cfg.CapacityAh)
	t.integrate(now)
	t.watchFlow(now)
	t.follow(now)
	t.prove(now)
	t.ceilings(now)
	t.watchRest(now)
	t.estimate(now)
	t.watchEqualize(now)
}

// gap handles a time without readings. The pack may have been used or exchanged in
// it, so neither full nor the count survives it.
func (t *Tracker) gap(now time.Duration) {
	t.sense, t.plateau, t.run, t.rest = sense{}, plateau{}, runaway{}, rest{}
	t.count.lose()
	t.flow.lose(now)
	t.notFull()
	t.s.Pending, t.s.OutKnown = NoEvidence, false
	t.s.SocPlus, t.s.SocKnown = 1, false
	t.cells = gravities{}
}

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
	midA     float64 // the median of three a, as v is of the voltage
	complete reading.Reading
}

// v25 returns the cell voltage referred to 25 °C.
func (n *tick) v25() float64 { return electrolyte.Compensate(n.v, n.c) }

// sense removes disturbed values from the readings.
type sense struct {
	v, i   [3]float64 // the last voltages and currents
	n, ni  int
	smooth float64
	a      float64
	aAt    time.Duration
	aSeen  bool
	out    tick
}

const (
	smoothFor = time.Minute
	// medianWithin is the longest step at which the median of three voltages stands
	// in for the present one.
	medianWithin = 2 * time.Minute
)

func (s *sense) take(in *Inputs, dt time.Duration, capacityAh float64) *tick {
	s.out = tick{now: in.Now, dt: dt, dtS: dt.Seconds(), dtH: dt.Hours(), c: unknownC, complete: in.Complete}
	if in.PackC.OK() {
		s.out.c, s.out.cOK = in.PackC.Value, true
	}
	s.current(in, dt, capacityAh)
	s.voltage(in, dt)
	return &s.out
}

// current lets the last plausible value stand in for a short time.
func (s *sense) current(in *Inputs, dt time.Duration, capacityAh float64) {
	if !in.CurrentA.OK() {
		s.ni = 0
		return
	}
	if a := in.CurrentA.Value; a <= mostIn*capacityAh && a >= -mostOut*capacityAh {
		s.a, s.aAt, s.aSeen = a, in.Now, true
	}
	if s.aSeen && in.Now-s.aAt <= spikeFor {
		s.out.a, s.out.aOK = s.a, true
	}
	if dt > medianWithin {
		s.ni = 0
	}
	s.ni++
	s.out.midA = push(&s.i, s.ni, s.out.a)
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
func (s *sense) voltage(in *Inputs, dt time.Duration) {
	if !in.CellV.OK() {
		s.n = 0
		return
	}
	v := in.CellV.Value
	if dt > medianWithin {
		s.n = 0
	}
	s.n++
	v = push(&s.v, s.n, v)
	if s.n == 1 {
		s.smooth = v
	}
	s.smooth += float64(dt) / float64(dt+smoothFor) * (v - s.smooth)
	s.out.v, s.out.vOK, s.out.smoothV = v, true, s.smooth
}
