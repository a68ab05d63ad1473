package cooldown

import (
	"math"
	"time"

	"bayward/agent/reading"
)

// Config is the limits of the rule; see bay.Limits.
type Config struct {
	WateringMaxC float64
	NearAmbientK float64
	FallMaxKPerH float64
	RestMin      time.Duration
	HasAmbient   bool
}

// Inputs is one tick.
type Inputs struct {
	Now      time.Duration
	PackC    reading.Reading
	AmbientC reading.Reading
	Full     bool          // proven full
	Resting  bool          // no charge is under way and none flows
	EndedAt  time.Duration // when the last charging current stopped
}

const (
	// rewarmK is how far the pack may warm again, by the sun or by a working
	// fan that stops, before it no longer counts as cool.
	rewarmK = 2.0
	// Without a reading of the air the fall alone must tell: a third of the
	// limit, after twice the rest.
	blindShare, blindRests = 3.0, 2
)

// Rest judges one cool-down. Make it with New.
type Rest struct {
	cfg Config
	fit fit
	s   Status
}

// New makes a rule that is not cool.
func New(cfg Config) *Rest { return &Rest{cfg: cfg} }

// Status gives the state after the last step; it is valid until the next.
func (r *Rest) Status() *Status { return &r.s }

// Step takes in one tick.
func (r *Rest) Step(in *Inputs) {
	tau, tauOK := r.s.TauH, r.s.TauKnown
	wasCool := r.s.Cool
	if !in.Full || !in.Resting {
		r.fit.reset()
		r.s = Status{TauH: tau, TauKnown: tauOK, NoAmbient: !r.cfg.HasAmbient}
		return
	}
	r.s = Status{Rested: max(in.Now-in.EndedAt, 0), TauH: tau, TauKnown: tauOK}
	r.s.RestLeft = max(r.cfg.RestMin-r.s.Rested, 0)
	r.s.NoAmbient = !r.cfg.HasAmbient || !in.AmbientC.OK()
	if !in.PackC.OK() {
		r.s.TempUnknown, r.s.WaitingFor = true, TemperatureReading
		return
	}
	r.fit.add(in.Now, in.PackC.Value, in.AmbientC.Value, in.AmbientC.OK())
	r.s.FallKPerH, r.s.FallKnown = r.fit.fall()
	if t, _, ok := r.fit.tau(); ok {
		r.s.TauH, r.s.TauKnown = t, true
	}
	r.s.WaitingFor = r.waiting(in, wasCool)
	r.s.Cool = r.s.WaitingFor == NothingLeft
	r.forecast(in)
}

func (r *Rest) waiting(in *Inputs, wasCool bool) Reason {
	slack := 0.0
	if wasCool {
		slack = rewarmK
	}
	packC := in.PackC.Value - slack
	switch {
	case r.s.RestLeft > 0:
		return MinimumRest
	case !(packC <= r.cfg.WateringMaxC):
		return WateringTemperature
	case wasCool:
		return NothingLeft
	case r.s.NoAmbient:
		return r.waitingBlind()
	case !(packC <= in.AmbientC.Value+r.cfg.NearAmbientK):
		return NearAmbient
	case !r.s.FallKnown || r.s.FallKPerH > r.cfg.FallMaxKPerH:
		return FallingFast
	}
	return NothingLeft
}

func (r *Rest) waitingBlind() Reason {
	switch {
	case r.s.Rested < blindRests*r.cfg.RestMin:
		return MinimumRest
	case !r.s.FallKnown || r.s.FallKPerH > r.cfg.FallMaxKPerH/blindShare:
		return FallingFast
	}
	return NothingLeft
}

// forecast estimates the time to ready by Newton's law of cooling,
// T(t) = Ta + (T0 - Ta) exp(-t/tau), and the minimum rest. The range comes from
// the standard error of the fit.
func (r *Rest) forecast(in *Inputs) {
	if r.s.Cool {
		r.s.ReadyKnown = true
		return
	}
	tau, se, ok := r.fit.tau()
	if !ok || r.s.NoAmbient {
		return
	}
	target := min(r.cfg.WateringMaxC, in.AmbientC.Value+r.cfg.NearAmbientK, in.AmbientC.Value+r.cfg.FallMaxKPerH*tau)
	above := in.PackC.Value - in.AmbientC.Value
	to := target - in.AmbientC.Value
	if to <= 0 {
		return // the air is warmer than the watering temperature: no end in sight
	}
	ln := math.Log(max(above/to, 1))
	r.s.ReadyKnown = true
	r.s.ReadyIn = max(hours(tau*ln), r.s.RestLeft)
	r.s.ReadyEarly = max(hours(max(tau-2*se, 0)*ln), r.s.RestLeft)
	r.s.ReadyLate = max(hours((tau+2*se)*ln), r.s.RestLeft)
}

func hours(h float64) time.Duration {
	const most = 1000 // hours: beyond, the figure says nothing and would overflow
	return time.Duration(min(h, most) * float64(time.Hour))
}
