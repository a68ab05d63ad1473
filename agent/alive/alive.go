package alive

import (
	"math"
	"time"

	"bayward/agent/reading"
)

// Config is what the movements that are demanded depend on.
type Config struct {
	CapacityAh     float64
	ElectrolyteML  float64 // of one cell
	FreeSurfaceCM2 float64
	FullGravity    float64
	GasHoldUpMM    float64
	// Current means that a current sensor is fitted: without it no heat is known, and
	// neither voltage nor current can contradict the other.
	Current bool
	// OfPack are the sensors that stay in the pack and go with it.
	OfPack reading.Sensors
}

// Inputs is one tick: the readings as judged by age, before any doubt, and the totals of
// the charge tracker.
type Inputs struct {
	Now                         time.Duration
	Level                       reading.Level   // of the pilot cell, as measured
	CellV                       reading.Reading // V of one cell
	CurrentA, PackC, AmbientC   reading.Reading
	Airflow, Feedback, Complete reading.Reading
	TotalInAh, TotalGassingAh   float64
	PredictMM                   float64 // of the pilot cell by the balance, as a probe shows it
	PredictOK                   bool
}

// sense is what is known of one sensor.
type sense struct {
	doubt    reading.Fault // zero or None: none
	atValue  float64       // what it showed when the doubt began
	atApart  float64       // for the pack's thermometer: how much more than the air's, valid with hasAir
	hasAir   bool
	provenAt time.Duration
	proven   bool
}

func (s *sense) doubted() bool { return s.doubt == reading.NotMoving || s.doubt == reading.Exchanged }

// Watch follows the sensors of one bay. Create it with [New].
type Watch struct {
	cfg    Config
	senses [reading.NumSensors]sense

	started     bool
	now         time.Duration
	inAh, gasAh float64 // totals of the last step
	totals      bool    // they are of this pack
	dt          time.Duration
	levelMM     filter
	volts       filter
	span        span // of rods
	shown       reading.Level
	fill        fill
	contact     [reading.NumSensors]float64
	contactSeen reading.Sensors
	step        ramp
	s           state
}

// state is what must survive a restart besides the doubts. It counts seconds instead of
// noting times, so that a restart neither forgets nor repeats any.
type state struct {
	packState
	bayState
}

// packState is about the pack in place, bayState about the bay.
type (
	packState struct {
		Level  levelState  `json:"level"`
		Warmth warmthState `json:"warmth"`
	}
	bayState struct {
		Air    airState     `json:"air"`
		Amps   currentState `json:"amps"`
		Volts  voltageState `json:"volts"`
		FanOff bool         `json:"fan_off,omitempty"` // the fan's proof was seen off
	}
)

// gapMax is the longest time between two ticks that is followed.
const gapMax = 15 * time.Minute

// New returns a watch that doubts nothing and has seen no proof.
func New(cfg Config) *Watch { return &Watch{cfg: cfg} }

// Pack puts another pack in place: what is known of the pack's own sensors goes.
func (w *Watch) Pack(cfg Config) {
	w.cfg, w.totals, w.fill = cfg, false, fill{}
	for s := range w.senses {
		if cfg.OfPack.Has(reading.Sensor(s)) {
			w.senses[s] = sense{}
		}
	}
	w.s.Warmth = warmthState{}
	if cfg.OfPack.Has(reading.ElectrolyteLevel) {
		w.s.Level, w.levelMM, w.span = levelState{}, filter{}, span{}
	}
}

// Step processes one tick.
func (w *Watch) Step(in *Inputs) {
	dt := in.Now - w.now
	if !w.started || dt < 0 || dt > gapMax {
		w.started, dt, w.totals = true, 0, false
	}
	w.now, w.dt = in.Now, dt
	inAh, gasAh := w.counted(in)
	w.followLevel(in, gasAh)
	w.followWarmth(in, inAh, gasAh)
	w.followAir(in)
	if w.cfg.Current {
		w.followCurrent(in)
		w.followVoltage(in)
	}
	w.followContacts(in)
}

// counted returns what was charged and gassed since the last step, Ah.
func (w *Watch) counted(in *Inputs) (inAh, gasAh float64) {
	if w.totals {
		inAh, gasAh = max(in.TotalInAh-w.inAh, 0), max(in.TotalGassingAh-w.gasAh, 0)
	}
	w.inAh, w.gasAh, w.totals = in.TotalInAh, in.TotalGassingAh, true
	return inAh, gasAh
}

// Fault returns why a sensor's readings count as a fault, None for a sensor that is not
// doubted.
func (w *Watch) Fault(s reading.Sensor) reading.Fault {
	if w.senses[s].doubted() {
		return w.senses[s].doubt
	}
	return reading.None
}

// Proof returns when a sensor last showed that it lives; ok is false when that is not
// known.
func (w *Watch) Proof(s reading.Sensor) (at time.Duration, ok bool) {
	return w.senses[s].provenAt, w.senses[s].proven
}

// FanSeenOff reports whether the fan's proof was ever seen off.
func (w *Watch) FanSeenOff() bool { return w.s.FanOff }

// Trial ends every doubt but that of the level, because a person with the right to
// release has looked: each sensor must prove itself in the next charge, or is doubted
// again.
func (w *Watch) Trial() {
	for s := range w.senses {
		if reading.Sensor(s) != reading.ElectrolyteLevel {
			w.senses[s].doubt = reading.None
		}
	}
	w.s.Warmth, w.s.Air, w.s.Amps, w.s.Volts = warmthState{}, airState{}, currentState{}, voltageState{}
}

// prove notes that a sensor has shown life, which ends a doubt.
func (w *Watch) prove(s reading.Sensor) {
	w.senses[s] = sense{provenAt: w.now, proven: true}
}

func (w *Watch) suspect(s reading.Sensor, why reading.Fault, showing float64) {
	if n := &w.senses[s]; n.doubt != why {
		n.doubt, n.atValue = why, showing
	}
}

// moved reports whether a doubted sensor shows something else than when the doubt began.
func (w *Watch) moved(s reading.Sensor, value, least float64) bool {
	n := &w.senses[s]
	return n.doubt == reading.NotMoving && math.Abs(value-n.atValue) >= least
}

// band is the lowest and the highest of some values.
type band struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	Seen bool    `json:"seen,omitempty"`
}

func (b *band) add(v float64) {
	if !b.Seen {
		*b = band{v, v, true}
	}
	b.Low, b.High = min(b.Low, v), max(b.High, v)
}

func (b *band) width() float64 { return b.High - b.Low }

// filter is the median of three values, smoothed over a minute. It says nothing before it
// has settled.
type filter struct {
	last [3]float64
	n    int
	v    float64
	span time.Duration
}

const (
	smoothFor = time.Minute
	settleFor = 2 * smoothFor
)

func (f *filter) add(v float64, dt time.Duration) (smooth float64, ok bool) {
	f.last[0], f.last[1], f.last[2] = f.last[1], f.last[2], v
	if f.n++; f.n >= 3 {
		v = max(min(f.last[0], f.last[1]), min(max(f.last[0], f.last[1]), v))
	}
	if f.n <= 3 {
		f.v = v
	}
	f.v += float64(dt) / float64(dt+smoothFor) * (v - f.v)
	f.span += dt
	return f.v, f.span >= settleFor
}
