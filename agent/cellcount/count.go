package cellcount

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// Currents are shares of the capacity per hour.
const (
	flowRate, noneRate = 0.01, 0.004 // as in agent/charge
	endRate            = 0.07        // a finish current of 5 A for each 100 Ah, and room
	markEvery          = 10 * time.Minute
	marks              = 7 // six intervals of ten minutes
	// By how much the last hour may move: 0.6 % of 2.4 V are 14 mV, and the current by
	// 15 %, or what is lost in noise.
	steadyShareV, steadyShareA, steadyRate = 0.006, 0.15, 0.0015
	// gasShare is 2.33 V, just below the onset of gassing at 2.37 V (TM 10-6140-200-14),
	// over 2.135 V, a full cell of gravity 1.290 at rest.
	gasShare = 1.09

	restFrom = 4 * time.Hour
	lookAt   = 30 * time.Minute // of the rest: how far the voltage has sunk since
	// sankShare is how far it must have sunk until restFrom to be a rest: 5 mV a cell. The
	// open 12 V 17 Ah record (Sulzer et al. 2019) sinks by 35 to 60 in two hours.
	sankShare = 0.0024
	gapMax    = 15 * time.Minute
	smoothFor = 10 * time.Minute
)

// Deviations of what a cell rests at, V. A bound counts as a rectangular distribution.
const (
	ruleBoundV, scaleBoundV = 0.005, 0.004 // see electrolyte.RestVoltage and StateOfChargeFromRest
	// fullBound is how far the true full gravity may be from the configured one: packs are
	// filled to 1.280 within 0.010 (TM 10-6140-200-14: 1.280 to 1.300 when full).
	fullBound = 0.010
	readBound = 0.003 // of the mean of several hydrometer readings with 0.005 divisions
	// meterBound is a hand meter's half per cent, beside which the walk calibrates.
	meterBound = 0.005
	// At the end of such a charge 2 % are missing, within 3.
	missing, missingDev = 0.02, 0.03
	surfaceV, surfaceH  = 0.080, 4.0 // see electrolyte.StateOfChargeFromRest
)

// alarmDevs is how many deviations the configured number must be off: by chance once in
// 1,400 packs (normal distribution, both sides). sharpDevs more find 95 of 100.
const alarmDevs, sharpDevs = 3.2, 1.645

// SharpCells is the most cells of which one more or less is found by one rest without
// gravities in 95 of 100 packs; see TestOneCellMoreOrLess.
const SharpCells = 36

const mostRounds = 5

// Config is the pack as configured.
type Config struct {
	Cells       int
	CapacityAh  float64
	FullGravity float64 // at 25 °C
}

// Inputs is one tick.
type Inputs struct {
	Now          time.Duration
	PackV, PackC reading.Reading
	CurrentA     reading.Reading // positive while charging
	Gravity      float64         // mean of at least half of the cells at 25 °C; valid with GravityKnown
	GravityKnown bool
	Open         bool // the contactor is ordered open: no charger holds the voltage
}

// Verdict is whether the configured number fits. The zero value is not known.
type Verdict uint8

// The verdicts.
const (
	Unknown   Verdict = iota // no rest after a full charge was seen yet
	Fits                     // one more or less would have been found
	Undecided                // it fits, but one more or less may, too: gravities would decide
	Fewer                    // fewer cells fit better: configured wrong, or cells are dead
	More                     // more cells fit better
	numVerdicts
)

var verdictNames = [numVerdicts]string{"", "fits", "undecided", "fewer", "more"}

// String returns the verdict's name in messages, "" while unknown.
func (v Verdict) String() string {
	if v >= numVerdicts {
		return ""
	}
	return verdictNames[v]
}

// Status is what is known of the number of cells.
type Status struct {
	Verdict Verdict
	Best    int     // the number that fits best; valid unless Unknown
	Fit     float64 // the same, not rounded
	// PlusMinus is how far Fit may be off, cells: alarmDevs deviations.
	PlusMinus float64
	Rounds    int // rests that it is the mean of
}

// Counter follows one pack. Create it with [New].
type Counter struct {
	cfg     Config
	s       Status
	started bool
	last    time.Duration
	charge  charge
	rest    rest
	rounds  []Round
}

// Round is what one rest came to: the logarithm of measured over expected voltage, and
// its deviation.
type Round struct {
	Off float64 `json:"off"`
	Dev float64 `json:"dev"`
}

// New returns a counter that has seen nothing.
func New(cfg Config) *Counter { return &Counter{cfg: cfg} }

// Status returns the state after the last step.
func (c *Counter) Status() *Status { return &c.s }

// Gone drops what was not finished: the pack has left.
func (c *Counter) Gone() { c.charge, c.rest = charge{}, rest{} }

// charge is the present charge, or the last one.
type charge struct {
	v, a   [marks]float64
	n      int
	peakV  float64
	sumV   float64
	sumA   float64
	weight float64 // s
	full   bool    // it was steady at its last mark
}

// rest is the time without current since.
type rest struct {
	began  bool
	since  time.Duration
	v      float64 // smoothed
	firstV float64 // at lookAt
	open   bool    // the contactor was ordered open all the time since restFrom/2
	judged time.Duration
	added  bool // the last of rounds is this rest's
}

// Step processes one tick.
func (c *Counter) Step(in *Inputs) {
	dt := in.Now - c.last
	if !c.started || dt < 0 || dt > gapMax {
		c.started, dt = true, 0
		c.Gone()
	}
	c.last = in.Now
	if !in.PackV.OK() || !in.CurrentA.OK() || in.PackV.Value <= float64(c.cfg.Cells)/2 {
		c.rest = rest{}
		return
	}
	switch a := in.CurrentA.Value / c.cfg.CapacityAh; {
	case a >= flowRate:
		c.flows(in, dt)
	case a > -noneRate && a < noneRate:
		c.rests(in, dt)
	case a <= -noneRate:
		c.Gone()
	default: // a tail: neither
		c.rest = rest{}
	}
}

// flows averages a charge over ten minutes each.
func (c *Counter) flows(in *Inputs, dt time.Duration) {
	if c.rest.began && in.Now-c.rest.since > markEvery {
		c.charge = charge{}
	}
	c.rest = rest{}
	p, s := &c.charge, dt.Seconds()
	p.sumV, p.sumA, p.weight = p.sumV+s*in.PackV.Value, p.sumA+s*in.CurrentA.Value, p.weight+s
	if p.weight < markEvery.Seconds() {
		return
	}
	copy(p.v[:], p.v[1:])
	copy(p.a[:], p.a[1:])
	p.v[marks-1], p.a[marks-1] = p.sumV/p.weight, p.sumA/p.weight
	p.n, p.peakV = min(p.n+1, marks), max(p.peakV, p.v[marks-1])
	p.sumV, p.sumA, p.weight = 0, 0, 0
	p.full = c.steady()
}

// steady reports whether the last hour was steady at a finishing current.
func (c *Counter) steady() bool {
	p := &c.charge
	if p.n < marks {
		return false
	}
	lowV, highV, lowA, highA := p.v[0], p.v[0], p.a[0], p.a[0]
	for i := range marks {
		lowV, highV, lowA, highA = min(lowV, p.v[i]), max(highV, p.v[i]), min(lowA, p.a[i]), max(highA, p.a[i])
	}
	return highA <= endRate*c.cfg.CapacityAh && highV-lowV <= steadyShareV*highV &&
		highA-lowA <= max(steadyShareA*highA, steadyRate*c.cfg.CapacityAh)
}

func (c *Counter) rests(in *Inputs, dt time.Duration) {
	r := &c.rest
	if !r.began {
		*r = rest{began: true, since: in.Now, v: in.PackV.Value, open: true}
	}
	r.v += float64(dt) / float64(dt+smoothFor) * (in.PackV.Value - r.v)
	span := in.Now - r.since
	switch {
	case span <= lookAt:
		r.firstV = r.v
	case span >= restFrom/2:
		r.open = r.open && in.Open
	}
	if span < restFrom || !in.PackC.OK() || r.added && in.Now-r.judged < lookAt {
		return
	}
	r.judged = in.Now
	c.look(in, span.Hours())
}

// look judges the rest as far as it has gone; a longer rest replaces it.
func (c *Counter) look(in *Inputs, hours float64) {
	r := &c.rest
	if !in.GravityKnown && !(c.charge.full && c.charge.peakV >= gasShare*r.v) {
		return
	}
	expectV, devV := c.expected(in, hours)
	off := math.Log(r.v / (expectV * float64(c.cfg.Cells)))
	held := r.firstV-r.v < sankShare*r.v && !r.open
	if math.IsNaN(off) || held && off > alarmDevs*devV/expectV {
		return
	}
	if r.added {
		c.rounds = c.rounds[:len(c.rounds)-1]
	}
	if len(c.rounds) == mostRounds {
		c.rounds = append(c.rounds[:0], c.rounds[1:]...)
	}
	c.rounds, r.added = append(c.rounds, Round{off, devV / expectV}), true
	c.judge()
}

// expected returns what a cell rests at and its deviation, V.
func (c *Counter) expected(in *Inputs, hours float64) (v, dev float64) {
	root3 := math.Sqrt(3)
	surface := surfaceV * math.Exp(-hours/surfaceH)
	gravity, lostV := c.cfg.FullGravity-missing*electrolyte.GravitySpan, missingDev*electrolyte.GravitySpan
	gravityBound := fullBound
	if in.GravityKnown {
		gravity, lostV, gravityBound = in.Gravity, 0, readBound
	}
	v = electrolyte.RestVoltage(gravity, in.PackC.Value) + surface/2
	sum := lostV * lostV
	for _, bound := range [...]float64{ruleBoundV, scaleBoundV, gravityBound, meterBound * v, surface / 2} {
		sum += bound * bound / (root3 * root3)
	}
	return v, math.Sqrt(sum)
}

// judge draws the verdict from the mean of the rests. Most of what they may be off by is
// the same in all, so the mean is not taken to be better than one.
func (c *Counter) judge() {
	off, dev := 0.0, 0.0
	for _, r := range c.rounds {
		off, dev = off+r.Off/float64(len(c.rounds)), dev+r.Dev/float64(len(c.rounds))
	}
	of := float64(c.cfg.Cells)
	fit := of * math.Exp(off)
	s := Status{Best: int(math.Round(fit)), Fit: fit, PlusMinus: alarmDevs * dev * of, Rounds: len(c.rounds)}
	far := math.Abs(off) > alarmDevs*dev && math.Abs(math.Log(fit/float64(s.Best))) <= alarmDevs*dev
	switch apart := math.Log((of + 1) / of); {
	case far && s.Best < c.cfg.Cells:
		s.Verdict = Fewer
	case far && s.Best > c.cfg.Cells:
		s.Verdict = More
	case apart >= (alarmDevs+sharpDevs)*dev && s.Best == c.cfg.Cells:
		s.Verdict = Fits
	default:
		s.Verdict = Undecided
	}
	c.s = s
}

// Memory is what must survive a restart and a change of bay.
type Memory struct {
	Rounds []Round `json:"rounds,omitempty"`
}

// Memory returns what must survive, nil while there is nothing.
func (c *Counter) Memory() *Memory {
	if len(c.rounds) == 0 {
		return nil
	}
	return &Memory{Rounds: append([]Round{}, c.rounds...)}
}

// Valid reports whether a memory can be one that was saved; nil can.
func (m *Memory) Valid() bool {
	if m == nil {
		return true
	}
	for _, r := range m.Rounds {
		if !(math.Abs(r.Off) < 10 && r.Dev > 0 && r.Dev < 1) {
			return false
		}
	}
	return len(m.Rounds) <= mostRounds
}

// Restore restores a valid memory of the same pack before the first step; nil restores
// nothing.
func (c *Counter) Restore(m *Memory) {
	if m == nil || len(m.Rounds) == 0 {
		return
	}
	c.rounds = append([]Round{}, m.Rounds...)
	c.judge()
}
