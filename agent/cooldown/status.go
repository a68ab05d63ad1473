package cooldown

import (
	"fmt"
	"time"
)

// ReadyCoverage is the target share of nights in which the true time is between
// Status.ReadyEarly and Status.ReadyLate.
const ReadyCoverage = 0.90

// Status is the state of the cool-down after a tick.
type Status struct {
	Cool bool // rested, cool and no longer falling fast
	// Lately: it was cool, and since then it has only lacked readings, for at most a
	// quarter of an hour at a time, in which it warms by less than it may. False while Cool.
	Lately      bool
	Rested      time.Duration // since the end of the charge
	RestLeft    time.Duration // of the configured minimum
	ReadyIn     time.Duration // estimate; valid with ReadyKnown
	ReadyEarly  time.Duration // early end of its range, see ReadyCoverage
	ReadyLate   time.Duration // late end of its range
	ReadyKnown  bool
	TauH        float64 // time constant of Newton's law, hours; valid with TauKnown
	TauSpreadH  float64 // standard error of TauH, hours
	TauKnown    bool
	SunKPerH    float64 // warming that the air does not explain, K/h; valid with TauKnown
	FallKPerH   float64 // how fast the temperature falls, K/h; valid with FallKnown
	FallKnown   bool
	WaitingFor  Reason // the first thing that is missing
	NoAmbient   bool   // judged without an ambient reading
	TempUnknown bool
}

// Reason is what a cool-down is still waiting for.
type Reason uint8

// The reasons, in the order in which they are checked. Zero means nothing.
const (
	NothingLeft Reason = iota
	TemperatureReading
	MinimumRest
	WateringTemperature
	NearAmbient
	FallingFast
	StayingSo // all rules hold, but not yet for long enough
	NumReasons
)

var reasonNames = [NumReasons]string{
	"nothing", "temperature-reading", "minimum-rest", "watering-temperature", "near-ambient", "falling-fast", "staying-so",
}

// String returns the reason's name, such as "minimum-rest".
func (r Reason) String() string {
	if r >= NumReasons {
		return fmt.Sprintf("reason-%d", uint8(r))
	}
	return reasonNames[r]
}

// ParseReason finds a reason by its name; an unknown name is NothingLeft.
func ParseReason(name string) Reason {
	for r := range NumReasons {
		if reasonNames[r] == name {
			return r
		}
	}
	return NothingLeft
}
