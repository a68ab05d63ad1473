package charge

import (
	"math"
	"time"

	"bayward/agent/reading"
)

// Config is the data of the pack and its limits that the tracker needs.
type Config struct {
	Cells       int
	CapacityAh  float64
	FullGravity float64 // at 25 °C
	// ElectrolyteML is that of one cell at its fill mark.
	ElectrolyteML float64
	Factor        float64 // ampere-hours returned over ampere-hours out that prove full
	MaxFor        time.Duration
	MaxAh         float64
	HasCurrent    bool
}

// Inputs is one tick of readings, as judged by age.
type Inputs struct {
	Now      time.Duration
	CellV    reading.Reading // V of one cell, mean of the pack
	CurrentA reading.Reading // positive while charging
	// CountA is the same current not averaged, for the count; without it CurrentA is
	// counted. An average lags behind a falling current, and a step drops what it is behind.
	CountA   reading.Reading
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

	filter  filter
	count   counter
	gas     gassing
	flow    flow
	session session
	plateau plateau
	held    holding
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
// because it is usually the same pack that comes back. So does how much it gasses, and so do the hours and
// ampere-hours of its charge: a pulled plug proves neither another pack nor work.
func (t *Tracker) PackGone(now time.Duration) {
	if t.s.Active {
		t.end(now)
	}
	keep := t.s
	t.dropGravity()
	t.ceiling.over = Overrun{}
	*t = Tracker{cfg: t.cfg, started: t.started, last: now, equal: t.equal, cells: t.cells, ceiling: t.ceiling, gas: gassing{times: t.gas.times}}
	t.s = Status{
		TotalInAh: keep.TotalInAh, TotalOutAh: keep.TotalOutAh, TotalGassingAh: keep.TotalGassingAh,
		UnsavedGasAh: keep.UnsavedGasAh, Charges: keep.Charges, ChargesFull: keep.ChargesFull, Since: now, MaxPackC: math.Inf(-1),
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
	n := t.filter.take(in, dt, t.cfg.CapacityAh)
	t.integrate(&n)
	t.watchFlow(&n)
	t.follow(&n)
	t.prove(&n)
	t.watchRunaway(&n)
	t.watchHeld(&n)
	t.ceilings(&n)
	t.watchRest(&n)
	t.estimate(&n)
	t.watchEqualize(&n)
	t.mix(&n)
}

// gap handles a time without readings. The pack may have been used or exchanged in
// it, so neither full nor the count survives it.
func (t *Tracker) gap(now time.Duration) {
	t.filter, t.plateau, t.run, t.rest, t.held = filter{}, plateau{}, runaway{}, rest{}, holding{}
	t.proof.start.judged, t.proof.start.unseen = true, true // how it went on was not seen
	t.flow.lose(now)
	t.notFull()
	t.s.Pending, t.s.OutKnown, t.s.SocKnown = NoEvidence, false, false
	t.dropGravity()
}
