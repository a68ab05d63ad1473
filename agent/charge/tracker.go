package charge

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// Config is what the tracker must know of the pack and its limits.
type Config struct {
	CapacityAh  float64
	FullGravity float64
	Factor      float64 // ampere-hours back over ampere-hours out that prove full
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
	Complete reading.Reading // 1: the charger says that it has finished
}

const (
	gapMax     = 15 * time.Minute // over a longer gap nothing is integrated or taken for continuous
	endAfter   = 30 * time.Minute // a pause of a charge that is not full yet
	endFull    = 10 * time.Minute // a pause of one that is
	takenOut   = 0.02             // share of the capacity that makes a full pack not full
	leastOut   = 0.05             // share of the capacity below which a charge factor proves nothing
	completeIn = 10 * time.Minute // a charger that says so sooner was not charging
	gravityTol = 0.005            // within this of full: NAVEDTRA 14344, last equalize value
	unknownC   = 25.0             // °C assumed for gassing where no temperature is known
)

// Tracker follows one pack's charges. The zero value is not usable: see New.
type Tracker struct {
	cfg Config
	s   Status

	flow      flow
	plateau   plateau
	run       runaway
	started   bool
	last      time.Duration
	lastI     float64 // A at the last tick; valid with hadI
	lastGas   float64
	hadI      bool
	hadV      bool
	flowS     float64 // seconds of flow in this charge
	backAh    float64 // put in since the pack was last full
	dischAt   time.Duration
	disch     bool
	sawOpen   bool // the charger's contact was seen open in this charge
	handFull  bool
	overrun   Overrun
	runRiseA  float64
	runRiseK  float64
	isRunaway bool
	rest      rest
}

// Overrun says which ceiling a charge passed. The zero value is none.
type Overrun struct {
	Hours, AmpereHours bool
	Value, Limit       float64 // h or Ah
}

// New makes a tracker that knows nothing of the pack yet.
func New(cfg Config) *Tracker { return &Tracker{cfg: cfg} }

// Status gives the state after the last step; it is valid until the next.
func (t *Tracker) Status() *Status { return &t.s }

// Overrun tells whether the charge has passed a ceiling without becoming full.
func (t *Tracker) Overrun() Overrun { return t.overrun }

// Runaway tells whether the current rises with the temperature, by how many
// amperes and by how many kelvins.
func (t *Tracker) Runaway() (riseA, riseK float64, ok bool) {
	return t.runRiseA, t.runRiseK, t.isRunaway
}

// PackGone forgets what belonged to the pack that was here: it may come back
// used, or another may come.
func (t *Tracker) PackGone(now time.Duration) {
	if t.s.Active {
		t.end(now)
	}
	keep := t.s
	*t = Tracker{cfg: t.cfg, started: t.started, last: now}
	t.s = Status{
		TotalInAh: keep.TotalInAh, TotalOutAh: keep.TotalOutAh, TotalGassingAh: keep.TotalGassingAh,
		Charges: keep.Charges, ChargesFull: keep.ChargesFull, Since: now,
	}
}

// Step takes in one tick.
func (t *Tracker) Step(in *Inputs) {
	dt := in.Now - t.last
	if !t.started {
		t.started, t.s.Since, dt = true, in.Now, 0
	}
	t.last = in.Now
	if dt > gapMax {
		t.hadI, t.hadV, dt = false, false, 0
		t.plateau.reset()
		t.run.reset()
	}
	t.integrate(in, dt.Hours())
	t.watchFlow(in)
	t.follow(in, dt)
	t.prove(in)
	t.ceilings()
	t.estimate(in, dt.Hours())
}

// integrate counts ampere-hours by the trapezoid between two ticks.
func (t *Tracker) integrate(in *Inputs, dtH float64) {
	if in.CurrentA.OK() {
		i := in.CurrentA.Value
		if t.hadI {
			t.count((i + t.lastI) / 2 * dtH)
		}
		t.lastI = i
	}
	t.hadI = in.CurrentA.OK()
	if !in.CellV.OK() {
		t.hadV = false
		return
	}
	gas := t.gassingA(in)
	if t.hadV {
		ah := (gas + t.lastGas) / 2 * dtH
		t.s.TotalGassingAh += ah
		if t.s.Active {
			t.s.GassingAh += ah
		}
	}
	t.lastGas, t.hadV = gas, true
}

func (t *Tracker) count(ah float64) {
	switch floor := stopRate / 2 * t.cfg.CapacityAh; {
	case t.lastI > floor:
		t.s.TotalInAh += ah
		t.backAh += ah
		if t.s.Active || t.flow.on {
			t.s.InAh += ah
		}
	case t.lastI < -floor:
		t.s.TotalOutAh -= ah
		t.s.OutAh -= ah
	}
}

// gassingA is the part of the current that splits water: by voltage and
// temperature (see electrolyte.GassingCurrentA), never more than the charging
// current, and all of that current once the pack is full.
func (t *Tracker) gassingA(in *Inputs) float64 {
	c := unknownC
	if in.PackC.OK() {
		c = in.PackC.Value
	}
	gas := electrolyte.GassingCurrentA(t.cfg.CapacityAh, in.CellV.Value, c)
	if in.CurrentA.OK() && t.flow.on {
		gas = electrolyte.BoundGassingA(gas, in.CurrentA.Value, t.s.Full && t.s.Evidence >= SteadyVoltage)
	}
	return gas
}

func (t *Tracker) watchFlow(in *Inputs) {
	switch {
	case in.CurrentA.OK():
		t.flow.byCurrent(in.Now, in.CurrentA.Value, t.cfg.CapacityAh)
	case t.cfg.HasCurrent:
		// A sensor that should be there and is not: nothing is known to flow.
		t.flow.set(false, in.Now)
	case in.CellV.OK():
		t.flow.byVoltage(in.Now, in.CellV.Value)
	default:
		t.flow.set(false, in.Now)
	}
	t.s.Flowing = t.flow.on
	t.watchDischarge(in)
}

func (t *Tracker) watchDischarge(in *Inputs) {
	out := in.CurrentA.OK() && in.CurrentA.Value < -startRate*t.cfg.CapacityAh
	if out && !t.disch {
		t.dischAt = in.Now
	}
	t.disch = out
	if out && in.Now-t.dischAt >= confirm && t.s.Active {
		t.end(min(t.flow.since, in.Now))
	}
	if t.s.Full && t.s.OutAh > takenOut*t.cfg.CapacityAh {
		t.notFull()
	}
}

func (t *Tracker) notFull() { t.s.Full, t.s.Evidence, t.handFull = false, NoEvidence, false }

// follow begins and ends charges.
func (t *Tracker) follow(in *Inputs, dt time.Duration) {
	for_ := in.Now - t.flow.since
	switch {
	case !t.s.Active && t.flow.on && for_ >= confirm:
		t.begin(in.Now)
	case t.s.Active && t.flow.on:
		t.flowS += dt.Seconds()
	case t.s.Active && !t.flow.on:
		limit := endAfter
		if t.s.Full {
			limit = endFull
		}
		if for_ >= limit {
			t.end(t.flow.since)
		}
	}
	t.heat(in.PackC)
}

func (t *Tracker) heat(c reading.Reading) {
	if t.s.Active && c.OK() {
		t.s.MaxPackC = max(t.s.MaxPackC, c.Value)
		t.s.TempKnown = true
	}
}

func (t *Tracker) begin(now time.Duration) {
	t.s.Active, t.s.Since = true, t.flow.since
	t.s.Charges++
	t.s.InAh, t.s.GassingAh, t.flowS = 0, 0, (now - t.flow.since).Seconds()
	t.s.MaxPackC, t.s.TempKnown, t.sawOpen = math.Inf(-1), false, false
	t.overrun, t.isRunaway = Overrun{}, false
	if t.hadI {
		t.s.InAh = t.lastI * t.flowS / 3600
	}
	t.plateau.reset()
	t.run.reset()
}

func (t *Tracker) end(at time.Duration) {
	t.s.Active, t.s.Ended, t.s.EndedAt, t.s.Since = false, true, at, at
	t.overrun, t.isRunaway = Overrun{}, false
	t.plateau.reset()
	t.run.reset()
}

// prove looks for evidence of full while a charge is under way.
func (t *Tracker) prove(in *Inputs) {
	if !t.s.Active {
		return
	}
	if !t.flow.on || !in.CellV.OK() {
		t.plateau.reset() // successive readings must be successive
		t.run.reset()
		t.judgeComplete(in)
		return
	}
	c := unknownC
	if in.PackC.OK() {
		c = in.PackC.Value
	}
	v25 := electrolyte.Compensate(in.CellV.Value, c)
	t.plateau.add(in.Now, mark{in.CellV.Value, v25, in.CurrentA.Value}, in.CurrentA.OK())
	if in.CurrentA.OK() && in.PackC.OK() {
		t.run.add(in.Now, in.CellV.Value, in.CurrentA.Value, in.PackC.Value)
		t.runRiseA, t.runRiseK, t.isRunaway = t.run.found(t.cfg.CapacityAh)
	}
	if e := t.plateau.evidence(t.cfg.CapacityAh); e != NoEvidence {
		t.full(in.Now, e)
	}
	if t.s.OutKnown && in.CurrentA.OK() && v25 >= regulatedV &&
		t.s.OutAh >= leastOut*t.cfg.CapacityAh && t.backAh >= t.cfg.Factor*t.s.OutAh {
		t.full(in.Now, ChargeFactor)
	}
	t.judgeComplete(in)
}

// judgeComplete trusts the charger's contact only if it was open earlier in
// this charge: a stuck contact proves nothing.
func (t *Tracker) judgeComplete(in *Inputs) {
	if !in.Complete.OK() {
		return
	}
	if in.Complete.Value == 0 {
		t.sawOpen = true
		return
	}
	if t.sawOpen && t.flowS >= completeIn.Seconds() {
		t.full(in.Now, ChargerComplete)
	}
}

// full takes note of evidence; later evidence of more trust replaces the
// first, but the time of full stays the first.
func (t *Tracker) full(now time.Duration, e Evidence) {
	if t.s.Full {
		t.s.Evidence = max(t.s.Evidence, e)
		return
	}
	t.s.Full, t.s.Evidence, t.s.FullAt = true, e, now
	t.s.OutAh, t.s.OutKnown, t.backAh = 0, true, 0
	t.overrun, t.isRunaway = Overrun{}, false
	if t.s.Active {
		t.s.ChargesFull++
	}
}

// Gravity takes in a hydrometer reading handed in by a person, corrected to
// 25 °C. It outranks every other evidence, both ways.
func (t *Tracker) Gravity(now time.Duration, sg25 float64) {
	if sg25 >= t.cfg.FullGravity-gravityTol {
		t.full(now, HandGravity)
		return
	}
	if t.s.Full && sg25 < t.cfg.FullGravity-3*gravityTol {
		t.notFull()
		t.s.OutKnown = false
	}
}

func (t *Tracker) ceilings() {
	if !t.s.Active || t.s.Full {
		return
	}
	switch {
	case t.flowS > t.cfg.MaxFor.Seconds():
		t.overrun = Overrun{Hours: true, Value: t.flowS / 3600, Limit: t.cfg.MaxFor.Hours()}
	case t.s.InAh > t.cfg.MaxAh:
		t.overrun = Overrun{AmpereHours: true, Value: t.s.InAh, Limit: t.cfg.MaxAh}
	}
}
