package cooldown

import (
	"time"

	"bayward/agent/reading"
)

// Config holds the limits of the rule; see bay.Limits.
type Config struct {
	WateringMaxC float64
	NearAmbientK float64
	FallMaxKPerH float64
	RestMin      time.Duration
	HasAmbient   bool
	// SensorShare is the share of the electrolyte's excess over the air that the
	// sensor shows, 0.5 to 1; 0 means 1, a sensor in the electrolyte. See
	// [CaseShare].
	SensorShare float64
}

// CaseShare is the SensorShare of a sensor on the outside of a cell's jar. Heat
// that leaves through 3 to 5 mm of polypropylene (0.2 W/(m K)) and then to still
// air (8 W/(m² K)) drops 11 to 17 % of the excess in the wall; both figures from
// memory. Covering the sensor raises the share.
const CaseShare = 0.85

// ElectrolyteC bounds the temperature of the electrolyte behind a sensor that shows
// share of its excess over the air (0 or 1: a sensor in the electrolyte, see
// [CaseShare]). The lower bound is for freezing, the upper one for heat; the reading
// itself is always between them. Without a temperature of the air both allow for the
// lost share of an excess of 17 K. A reading that is not a number bounds nothing: both
// are NaN.
func ElectrolyteC(packC float64, air reading.Reading, share float64) (lowC, highC float64) {
	switch {
	case !(share > 0 && share < 1):
		return packC, packC
	case !air.OK():
		return packC - blindCaseK, packC + blindCaseK
	}
	inside := air.Value + (packC-air.Value)/share
	return min(packC, inside), max(packC, inside)
}

// Inputs is one tick's input.
type Inputs struct {
	Now      time.Duration
	PackC    reading.Reading
	AmbientC reading.Reading
	Full     bool          // proven full
	Resting  bool          // no charge in progress
	EndedAt  time.Duration // when the last charging current stopped
}

const (
	// rewarmK is how far a cool pack may warm again, from the sun or because a fan
	// stops, before it no longer counts as cool. A reading more than this above its mean
	// counts, too.
	rewarmK = 2.0
	// holdFor is how long the rules must hold without a break, so that neither a
	// spike nor noise makes a pack cool. Readings further apart than holdGap start
	// it again.
	holdFor, holdGap = 5 * time.Minute, 15 * time.Minute
	// holdAgain is added after a restart: the means begin again, and the remaining
	// noise of their first reading must not make the pack cool earlier.
	holdAgain = 2 * time.Minute
	// settleFor is how long after a restart the new means are not used for the
	// fall. By then less than a ten-thousandth of the first reading's noise is
	// left. After five minutes it was a twelfth, and the call to water could come a
	// mark earlier than without the restart. A night that begins when its charge
	// ends has hours to go and needs only one mark's time.
	settleFor = 10 * smoothOver
	// lagFor is how long after a charge nothing is learned: the electrolyte is
	// still mixing and a sensor on the case is still catching up.
	lagFor = 20 * time.Minute
	// Without a reading of the air only the fall can decide: a third of the limit,
	// after twice the rest.
	blindShare, blindRests = 3.0, 2
	// blindCaseK is what a sensor on the case may miss when the air temperature is
	// unknown: the lost share of an excess of 17 K.
	blindCaseK = 3.0
)

// Rest judges one cool-down. Create it with [New].
type Rest struct {
	cfg Config
	s   Status

	marks  marks
	air    drift
	fit    fit
	fitted bool

	holdAt time.Duration // when the rules began to hold
	holds  bool
	lastAt time.Duration // of the last good reading
	noted  bool
	goesOn bool // from a restart to the next charge

	reach   span // hours from reachAt
	reachAt time.Duration
	shown   shown

	learned, learnedSE float64 // 1/tau of the last night, 1/h; 0: unknown
}

// New returns a rule that is not cool.
func New(cfg Config) *Rest {
	if !(cfg.SensorShare > 0 && cfg.SensorShare <= 1) {
		cfg.SensorShare = 1
	}
	return &Rest{cfg: cfg}
}

// Status returns the state after the last step; it is valid until the next.
func (r *Rest) Status() *Status { return &r.s }

// Step processes one tick.
func (r *Rest) Step(in *Inputs) {
	r.air.add(in.Now, in.AmbientC.Value, in.AmbientC.OK())
	if !in.Full || !in.Resting {
		r.goesOn = r.goesOn && in.Full
		r.reset()
		return
	}
	wasCool := r.s.Cool
	lately := (wasCool || r.s.Lately) && in.Now-r.lastAt <= holdGap
	r.s.Cool, r.s.Lately = false, false
	r.s.Rested = max(in.Now-in.EndedAt, 0)
	r.s.RestLeft = max(r.cfg.RestMin-r.s.Rested, 0)
	r.s.NoAmbient = !r.cfg.HasAmbient || !in.AmbientC.OK()
	r.s.TempUnknown = !in.PackC.OK()
	if r.s.TempUnknown {
		r.s.WaitingFor, r.holds = TemperatureReading, false
		r.s.ReadyKnown, r.s.FallKnown = false, false
		r.s.Lately = lately
		return
	}
	if r.marks.add(in.Now, in.PackC.Value, in.AmbientC.Value, !r.s.NoAmbient, r.settleTime()) {
		r.s.FallKPerH, r.s.FallKnown = r.marks.fall()
		r.learn()
		r.estimate(in.Now)
	}
	r.s.WaitingFor = r.held(in, r.waiting(in, wasCool), wasCool)
	r.s.Cool = r.s.WaitingFor == NothingLeft
	r.s.Lately = !r.s.Cool && lately && r.waiting(in, true) == NothingLeft
	r.tell(in.Now)
}

// reset starts again for a pack that is not at rest after a full charge.
func (r *Rest) reset() {
	if r.marks.primed {
		r.marks, r.fitted, r.holds, r.noted = marks{}, false, false, false
		r.reach, r.shown = span{}, shown{}
	}
	tau, spread, known := r.s.TauH, r.s.TauSpreadH, r.s.TauKnown
	r.s = Status{TauH: tau, TauSpreadH: spread, TauKnown: known, NoAmbient: !r.cfg.HasAmbient}
}

// held passes a cool verdict once the rules have held for holdFor.
func (r *Rest) held(in *Inputs, why Reason, wasCool bool) Reason {
	if r.noted && in.Now-r.lastAt > holdGap {
		r.holds = false
	}
	r.lastAt, r.noted = in.Now, true
	switch {
	case wasCool && why == NothingLeft:
		return why
	case why != NothingLeft && why != MinimumRest:
		r.holds = false
		return why
	case !r.holds:
		r.holds, r.holdAt = true, in.Now
	}
	if why == NothingLeft && in.Now-r.holdAt < r.holdTime() {
		return StayingSo
	}
	return why
}

func (r *Rest) holdTime() time.Duration {
	if r.goesOn {
		return holdFor + holdAgain
	}
	return holdFor
}

func (r *Rest) settleTime() time.Duration {
	if r.goesOn {
		return settleFor
	}
	return markEvery
}

// waiting checks the temperatures first, because the rest may run out while they
// already hold.
func (r *Rest) waiting(in *Inputs, wasCool bool) Reason {
	slack := 0.0
	if wasCool {
		slack = rewarmK
	}
	packC := max(r.marks.packC, in.PackC.Value-rewarmK)
	switch {
	case !(r.electrolyteC(packC) <= r.cfg.WateringMaxC+slack):
		return r.or(WateringTemperature)
	case wasCool:
		return r.or(NothingLeft)
	case r.s.NoAmbient:
		return r.waitingBlind()
	case !((packC-r.marks.airC)/r.cfg.SensorShare <= r.cfg.NearAmbientK):
		return r.or(NearAmbient)
	case !r.s.FallKnown || r.s.FallKPerH > r.cfg.FallMaxKPerH:
		return r.or(FallingFast)
	}
	return r.or(NothingLeft)
}

// or returns the minimum rest in place of any other reason while it is not over.
func (r *Rest) or(why Reason) Reason {
	if r.s.RestLeft > 0 {
		if why != NothingLeft {
			r.holds = false
		}
		return MinimumRest
	}
	return why
}

func (r *Rest) waitingBlind() Reason {
	switch {
	case !r.s.FallKnown || r.s.FallKPerH > r.cfg.FallMaxKPerH/blindShare:
		return r.or(FallingFast)
	case r.s.Rested < blindRests*r.cfg.RestMin:
		return MinimumRest
	}
	return NothingLeft
}

// electrolyteC estimates the temperature of the electrolyte from a reading.
func (r *Rest) electrolyteC(packC float64) float64 {
	air := reading.Good(r.marks.airC, 0)
	if r.s.NoAmbient {
		air = reading.Reading{}
	}
	_, highC := ElectrolyteC(packC, air, r.cfg.SensorShare)
	return highC
}
