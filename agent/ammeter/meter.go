package ammeter

import (
	"math"
	"time"

	"bayward/agent/reading"
)

// Bounds, as shares of the capacity per hour.
const (
	// MostRate bounds zero and noise: 0.02, the current that a full battery takes at
	// 2.40 V a cell (EN 62485-3, quoted). A zero that hides more hides the end of a charge.
	// The walk accepts half of it.
	MostRate = 0.02
	// quietRate is the noise that is not averaged: a quarter of the current below which a
	// charge ends, see agent/charge.
	quietRate = 0.001
	// leftRate is what averaging leaves of the noise, one deviation.
	leftRate = 0.0005
	// tellRate is a change of the zero that is an event: the current that the count of
	// ampere-hours does not see anyway.
	tellRate = 0.002
	// sameRate is by how much two windows may differ and agree.
	sameRate = 0.001
	// loadRate is by how much a load that is none may change.
	loadRate = 0.005
)

const (
	// restV is above the voltage of any cell at rest (a full one rests at 2.13 V,
	// DOE-HDBK-1084-95) and below any that a charger holds (float is 2.23 to 2.27 V).
	restV = 2.20
	// noPackV is as in agent/bay: leakage of a charger's output filter.
	noPackV   = 0.3
	settleFor = time.Minute // longer than a current takes to die away
	gapMax    = 2 * time.Minute
	// lostFor is how long a reading may be gone until the sensor may be another one.
	lostFor = 15 * time.Minute
	// steadyFor is how long a discharge beyond the bound must stay the same to be none: a
	// machine at work does not do that, and a lamp left on is gone or has taken 8 %.
	steadyFor = 4 * time.Hour
)

// Config is what the bounds depend on.
type Config struct {
	CapacityAh float64
	Fitted     bool // a current sensor
	Feedback   bool // a contact that shows the contactor
	// Sensor identifies the sensor's configuration: with another one the zero is dropped.
	Sensor string
}

// Inputs is one tick.
type Inputs struct {
	Now      time.Duration
	CurrentA reading.Reading // as read
	CellV    reading.Reading // V of one cell
	Feedback reading.Reading // 1: contactor closed
	Open     bool            // open was ordered at the last tick, and the keeper obeyed
	Probe    bool            // the level probe, which is in the pack, gives a level
}

// Status is what is known of the sensor. Currents are in A.
type Status struct {
	ZeroA     float64       // taken off each reading; valid with ZeroKnown
	ZeroAt    time.Duration // when it was last measured; valid with ZeroAtKnown
	ZeroKnown bool
	// ZeroAtKnown is false after a restart with an unknown gap.
	ZeroAtKnown bool
	NoiseA      float64 // standard deviation of one reading; valid with NoiseKnown
	NoiseKnown  bool
	// BandA is what noise may make of nothing in this tick: three deviations of the
	// current as shown.
	BandA float64
	// UnsureA is what noise that is not known yet may make of nothing: not 0 for the first
	// readings only.
	UnsureA float64
	NowA    float64       // the last reading less its zero, not averaged
	Fault   reading.Fault // ZeroOff, Noisy or None
	FarA    float64       // with a Fault: the zero or the noise that is too large
}

// Meter follows the current sensor of one bay. Create it with [New].
type Meter struct {
	cfg     Config
	s       Status
	started bool
	now     time.Duration
	lastOK  time.Duration
	window  window
	block   block
	smooth  smooth
	unsure  int // readings while the noise was not known
	blocks  int // of noise
	wasOpen bool
	k       kept
}

// kept is what must survive a restart besides the status.
type kept struct {
	toldA, refA, loadA float64
	told               bool
	high, low          int // windows above and below the zero, which agree with refA
	lowOpenings        int
	loadS              float64 // for which a discharge beyond the bound has stayed at loadA
	lowNew             bool    // the next low window is in another opening
}

// New returns a meter that knows nothing.
func New(cfg Config) *Meter { return &Meter{cfg: cfg, s: Status{Fault: reading.None}} }

// Status returns the state after the last step.
func (m *Meter) Status() *Status { return &m.s }

// Pack sets the capacity of another pack. The sensor stays, and so does what is known of
// it.
func (m *Meter) Pack(capacityAh float64) { m.cfg.CapacityAh = capacityAh }

// Reset drops what is known of the sensor: a person has looked at it, and it may be
// another one.
func (m *Meter) Reset() {
	*m = Meter{cfg: m.cfg, s: Status{Fault: reading.None}, started: m.started, now: m.now, lastOK: m.lastOK}
}

// Step processes one tick. It returns the reading as it counts, and reports whether the
// zero has changed by so much that it is an event.
func (m *Meter) Step(in *Inputs) (counts reading.Reading, changed bool) {
	if !m.cfg.Fitted {
		m.s.NowA = in.CurrentA.Value
		return in.CurrentA, false
	}
	dt := m.elapsed(in)
	if !in.CurrentA.OK() {
		if in.Now-m.lastOK > lostFor && (m.s.ZeroKnown || m.s.NoiseKnown) {
			m.Reset()
		}
		m.window, m.block = window{}, block{}
		return in.CurrentA, false
	}
	m.lastOK = in.Now
	m.watch(in, dt)
	m.doubtNoise()
	changed = m.tell()
	counts = in.CurrentA
	if m.s.ZeroKnown {
		counts.Value -= m.s.ZeroA
	}
	m.s.NowA = counts.Value
	counts.Value = m.smoothed(counts.Value, in, dt)
	if m.s.Fault != reading.None {
		counts.Fault = m.s.Fault
	}
	return counts, changed
}

// doubtNoise bounds what the first readings may be by noise. A rest shows it within
// unsureTicks, and the first block of them alone may show half; a contactor that is stuck
// from the beginning may never show it.
func (m *Meter) doubtNoise() {
	m.s.UnsureA = 0
	if quiet := m.s.NoiseKnown && m.s.NoiseA <= quietRate*m.cfg.CapacityAh; m.unsure < unsureTicks && !quiet {
		m.unsure++
		m.s.UnsureA = bandDevs * m.mostA()
	}
}

func (m *Meter) elapsed(in *Inputs) time.Duration {
	dt := in.Now - m.now
	if !m.started || dt < 0 || dt > gapMax {
		if !m.started {
			m.lastOK = in.Now
		}
		m.started, dt = true, 0
		m.window, m.block, m.smooth = window{}, block{}, smooth{}
	}
	m.now = in.Now
	return dt
}

// away reports whether there is no pack and so no current. A broken sense lead looks the
// same but for the probe.
func (m *Meter) away(in *Inputs) bool {
	return in.CellV.OK() && math.Abs(in.CellV.Value) < noPackV && !in.Probe
}

// open reports whether the contactor is proven open in this tick; see the package.
func (m *Meter) open(in *Inputs) bool {
	if !in.Open || !in.CellV.OK() || m.cfg.Feedback && (!in.Feedback.OK() || in.Feedback.Value != 0) {
		return false
	}
	return m.away(in) || m.cfg.Feedback && in.CellV.Value >= noPackV && in.CellV.Value < restV
}

// watch adds a tick to block and window and judges those that are complete.
func (m *Meter) watch(in *Inputs, dt time.Duration) {
	open, away := m.open(in), m.away(in)
	if open && !m.wasOpen {
		m.k.lowNew = true
	}
	m.wasOpen = open
	if !open || away != m.window.away {
		m.window = window{away: away}
	}
	if !open && !(in.CellV.OK() && in.CellV.Value < restV) {
		m.block = block{}
		return
	}
	if m.window.settled += dt; m.window.settled-dt < settleFor && m.window.settled >= settleFor {
		m.block = block{} // what is before is not settled
	}
	m.window.span += dt
	if !m.block.add(in.CurrentA.Value) {
		return
	}
	midA, noiseA := m.block.judge()
	m.block = block{}
	if math.Abs(midA-m.zeroA()) <= m.mostA() {
		m.noise(noiseA)
	}
	if open && m.window.settled >= settleFor {
		m.judgeBlock(midA, noiseA)
	}
}

func (m *Meter) zeroA() float64 {
	if m.s.ZeroKnown {
		return m.s.ZeroA
	}
	return 0
}

func (m *Meter) mostA() float64 { return MostRate * m.cfg.CapacityAh }

// tell reports whether the zero has moved far enough since it was last an event.
func (m *Meter) tell() bool {
	if !m.s.ZeroKnown || m.k.told && math.Abs(m.s.ZeroA-m.k.toldA) < tellRate*m.cfg.CapacityAh {
		return false
	}
	m.k.told, m.k.toldA = true, m.s.ZeroA
	return true
}
